"""What came back over HTTP, judged: a checked body, or a named `FetchError`."""

from __future__ import annotations

import os
import time
import zlib
from email.utils import parsedate_to_datetime
from enum import StrEnum
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from windowcast.core.errors import InputError, SourceUnreachableError

if TYPE_CHECKING:
    from requests import Response

_CHUNK = 65536


class Kind(StrEnum):
    """What went wrong with a request."""

    OFFLINE = "offline"
    CONNECTION = "no connection"
    TIMEOUT = "timeout"
    DEADLINE = "deadline"
    BROKEN_OFF = "answer broken off"
    RATE_LIMITED = "rate limited"
    SERVER = "server error"
    REFUSED = "refused"
    REDIRECT = "redirect not followed"
    WRONG_CONTENT = "wrong content"
    TOO_LARGE = "too large"


_RETRIED = frozenset(
    {
        Kind.CONNECTION,
        Kind.TIMEOUT,
        Kind.BROKEN_OFF,
        Kind.RATE_LIMITED,
        Kind.SERVER,
        Kind.WRONG_CONTENT,
    }
)


class FetchError(SourceUnreachableError):
    """A request that came to nothing; `kind` says why, the message names only the host."""

    def __init__(
        self, kind: Kind, host: str, text: str, *, wait_s: float | None = None, retry: bool = True
    ) -> None:
        self.kind, self.host, self.wait_s = kind, host, wait_s
        self.retry = retry and kind in _RETRIED
        self.cut_off = False  # whether the time for everything asked was over
        self.status = 0  # of the answer, where it was one that is no answer
        super().__init__(f"{host}: {kind}: {text}")


class Expect(StrEnum):
    """What a body must be; checked by its first bytes as well as by the header."""

    JSON = "json"
    CSV = "csv"
    SQLITE = "sqlite"
    TEXT = "text"
    ZIP = "zip"


def host_of(url: str) -> str:
    """Host and port of an address, without user information."""
    return urlsplit(url).netloc.rpartition("@")[2]


def base_url(variable: str, otherwise: str) -> str:
    """The address in an environment variable, or `otherwise`; never one with credentials.

    Raises
    ------
    InputError
        Not a plain http(s) address.
    """
    url = os.environ.get(variable) or otherwise
    if not url.startswith(("https://", "http://")) or "@" in url:
        raise InputError(
            "is not a plain http(s) address",
            field=variable,
            remedy="name a host without user and password",
        )
    return url.rstrip("/")


def read_body(response: Response, host: str, max_bytes: int, stop: float) -> bytes:
    """The whole body with content coding undone, bounded in size and time."""
    import urllib3

    coded = response.headers.get("Content-Encoding", "").strip().lower()
    if coded not in ("", "identity", "gzip", "x-gzip"):
        raise FetchError(Kind.WRONG_CONTENT, host, f"content coding {coded!r} was not asked for")
    parts: list[bytes] = []
    size = 0
    try:
        while chunk := response.raw.read1(_CHUNK, decode_content=False):
            parts.append(chunk)
            size += len(chunk)
            if size > max_bytes:
                raise FetchError(Kind.TOO_LARGE, host, f"more than {max_bytes:,} bytes")
            if time.monotonic() > stop:
                raise FetchError(Kind.DEADLINE, host, "no complete answer before the deadline")
    except urllib3.exceptions.ReadTimeoutError:
        raise FetchError(Kind.TIMEOUT, host, "it fell silent in the middle of an answer") from None
    except (urllib3.exceptions.HTTPError, OSError):
        raise FetchError(Kind.BROKEN_OFF, host, "the connection was cut in mid-answer") from None
    body = b"".join(parts)
    if coded.endswith("gzip"):
        body = gunzip(body, host, max_bytes)
    if body[:2] == b"\x1f\x8b":  # the file itself is packed
        body = gunzip(body, host, max_bytes)
    return body


def gunzip(packed: bytes, host: str, max_bytes: int) -> bytes:
    """Unpack a complete gzip stream (of one or more members).

    Raises
    ------
    FetchError
        The stream is truncated, damaged or unpacks to more than `max_bytes`.
    """
    parts: list[bytes] = []
    size = 0
    try:
        while packed:
            unpack = zlib.decompressobj(31)
            part = unpack.decompress(packed, max_bytes - size + 1)
            size += len(part)
            if size > max_bytes:
                raise FetchError(Kind.TOO_LARGE, host, f"unpacks to more than {max_bytes:,} bytes")
            parts.append(part)
            if not unpack.eof:
                raise FetchError(Kind.BROKEN_OFF, host, "the packed answer is truncated")
            packed = unpack.unused_data.lstrip(b"\0")
    except zlib.error:
        raise FetchError(Kind.BROKEN_OFF, host, "the packed answer is damaged") from None
    return b"".join(parts)


def unfit(expect: Expect, content_type: str, body: bytes) -> str:
    """Why a body is not what was asked for; empty when it is."""
    kind = content_type.partition(";")[0].strip().lower()
    head = body[:512].lstrip().lower()
    if kind in ("text/html", "application/xhtml+xml") or head.startswith(
        (b"<!doctype", b"<html", b"<head", b"<body")
    ):
        return f"a web page came instead of {expect.value}"
    if kind.startswith(("image/", "audio/", "video/", "font/", "multipart/")) or "xml" in kind:
        return f"{kind} came instead of {expect.value}"
    if not body:
        return "the answer is empty"
    if expect is Expect.JSON:
        if kind and "json" not in kind and kind != "text/plain":
            return f"{kind} came instead of json"
        return "" if head.startswith((b"{", b"[")) else "the answer is not json"
    if expect is Expect.ZIP:
        return "" if body.startswith(b"PK") else "the answer is not a zip file"
    if expect is Expect.TEXT:
        # a damaged line of NUL bytes is the reader's to leave out
        plain = "json" not in kind and not head.startswith((b"{", b"["))
        return "" if plain and body.count(b"\0") * 20 < len(body) else "the answer is not text"
    if expect is Expect.SQLITE:
        return "" if body.startswith(b"SQLite format 3\0") else "the answer is not a database"
    if "json" in kind or b"\0" in body[:512] or b"," not in head:
        return f"the answer is not csv ({kind or 'no type'})"
    return ""


def http_date(text: str) -> float | None:
    """POSIX seconds of a date header, None when it is not one."""
    try:
        return parsedate_to_datetime(text).timestamp()
    except (ValueError, TypeError):
        return None


def status_error(
    response: Response, host: str, server_time: float | None, stop: float
) -> FetchError:
    """The error for a status that is neither an answer nor 'not there'."""
    status, wait = response.status_code, response.headers.get("Retry-After", "")
    wait_s: float | None = None
    if wait.strip().isdecimal():
        # digits beyond these say "never"; no pause may become infinite
        wait_s = float(wait) if len(wait.strip()) < 9 else 1e9
    elif (until := http_date(wait)) is not None:
        wait_s = max(0.0, until - (server_time or time.time()))
    problem = _problem(response, host, stop)
    text = f"status {status}{problem}"
    if wait_s is not None:
        text += f", it asks to wait {wait_s:.0f} s"
    if status == 429:
        error = FetchError(Kind.RATE_LIMITED, host, text, wait_s=wait_s)
    elif status in (408, 425) or status >= 500:
        # an expired grid is an outage of hours; asking again soon does not help
        retry = "expired" not in text
        error = FetchError(Kind.SERVER, host, text, wait_s=wait_s, retry=retry)
    else:
        error = FetchError(Kind.REFUSED, host, text, wait_s=wait_s)
    error.status = status
    return error


def _problem(response: Response, host: str, stop: float) -> str:
    """Title and correlation id of a problem document (RFC 9457), empty when there is none."""
    import json

    if "json" not in response.headers.get("Content-Type", ""):
        return ""
    try:
        raw = json.loads(read_body(response, host, _CHUNK, stop))
        title = " ".join(str(raw.get("title", "")).split())[:80]
        number = "".join(c for c in str(raw.get("correlationId", "")) if c.isalnum() or c == "-")
    except (FetchError, ValueError, AttributeError):
        return ""
    named = f" ({title.lower()})" if title.isprintable() and title else ""
    return named + (f" [correlation {number[:40]}]" if number else "")
