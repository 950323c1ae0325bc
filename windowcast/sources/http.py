"""One small HTTP client: each request ends in an answer or a named error before its deadline.

`Client.get` returns a `Reply` with status 200 (checked body), 304 or 404 ("not there" is a value,
not an error). All else is a `FetchError` whose `kind` says what happened. What is sent names the
program and nothing about the user: no credentials from ``.netrc``, no cookies.
"""

from __future__ import annotations

import math
import random
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeVar
from urllib.parse import urljoin, urlsplit

from windowcast.core.errors import InputError
from windowcast.core.values import load
from windowcast.core.version import __version__
from windowcast.sources.http_answer import (
    Expect,
    FetchError,
    Kind,
    host_of,
    http_date,
    read_body,
    status_error,
    unfit,
)

if TYPE_CHECKING:
    from requests import PreparedRequest, Response, Session

USER_AGENT = f"windowcast/{__version__} (turf application timing; open source)"
_T = TypeVar("_T")
# one failure of this kind, or so many of any kind in a row, and a host is left alone
_HOST_DOWN = frozenset({Kind.CONNECTION, Kind.TIMEOUT, Kind.DEADLINE})
_FAILURES_IN_A_ROW = 3
_CONNECT_TRIES = 2  # no network: said soon


@dataclass(frozen=True, slots=True)
class Limits:
    """Times in seconds and counts of one client; the defaults come from ``data/sources.toml``."""

    connect_s: float
    read_s: float
    deadline_s: float
    tries: int
    backoff_s: float
    backoff_max_s: float
    redirects: int

    @classmethod
    def default(cls) -> Limits:
        """The packaged limits."""
        http = load("sources").table("http")
        return cls(
            connect_s=http.number("connect_timeout"),
            read_s=http.number("read_timeout"),
            deadline_s=http.number("deadline"),
            tries=int(http.number("tries")),
            backoff_s=http.number("backoff_first"),
            backoff_max_s=http.number("backoff_max"),
            redirects=int(http.number("redirects_max")),
        )


@dataclass(frozen=True, slots=True)
class Manners:
    """How a service wants to be asked.

    Attributes
    ----------
    agent
        What the program calls itself there.
    pause_s
        Seconds for which it is left alone after status 403 or 429. Above 0 the service has strict
        terms: its ``Expires`` is kept to, status 429 is not tried again, and status 203 (a service
        that is to be withdrawn) is taken as an answer.
    """

    agent: str = USER_AGENT
    pause_s: float = 0.0

    @property
    def strict(self) -> bool:
        """Whether the service has terms of its own on when it may be asked."""
        return self.pause_s > 0


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer: body decoded and checked (empty for 304 and 404)."""

    status: int
    body: bytes = b""
    etag: str = ""
    last_modified: str = ""
    server_time: float | None = None  # POSIX seconds from the Date header
    skew_s: float = 0.0  # server clock minus this clock
    expires_in_s: float | None = None  # from the Expires header
    deprecated: bool = False  # status 203


@dataclass(frozen=True, slots=True)
class _Asked:
    """One request: what is asked, what must come, and until when (monotonic seconds)."""

    url: str
    headers: dict[str, str]
    expect: Expect
    max_bytes: int
    stop: float
    manners: Manners
    head: bool = False  # only whether there is an answer, without its body

    @property
    def host(self) -> str:
        return host_of(self.url)


@dataclass
class Client:
    """Sends GET requests; safe to use from several threads."""

    limits: Limits = field(default_factory=Limits.default)
    stop: float = math.inf  # of everything this client asks [monotonic seconds]
    sleep: Callable[[float], None] = time.sleep
    requests_sent: int = 0
    _down: dict[str, FetchError] = field(default_factory=dict)
    _failures: dict[str, int] = field(default_factory=dict)
    _local: threading.local = field(default_factory=threading.local)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def get(
        self,
        url: str,
        *,
        expect: Expect,
        max_bytes: int,
        within_s: float = math.inf,
        accept: str = "*/*",
        etag: str = "",
        last_modified: str = "",
        manners: Manners | None = None,
        stop: float = math.inf,
    ) -> Reply:
        """Fetch one address.

        Parameters
        ----------
        expect, max_bytes
            What the body must be, and its largest size once unpacked [byte].
        within_s
            Seconds for this address, where that is less than the client gives any.
        etag, last_modified
            Validators of a kept body; the reply may then be 304.
        manners
            How the service wants to be asked.
        stop
            Until when this address may take at most [monotonic seconds].

        Raises
        ------
        FetchError
            No usable answer before the deadline, this address's or the client's. A host that could
            not be reached is not tried again by this client.
        """
        host = host_of(url)
        if host in self._down:
            raise self._down[host]
        if self._out_of_time:
            late = FetchError(Kind.DEADLINE, host, "not asked: the time for this command was over")
            late.cut_off = True
            raise late
        manners = manners or Manners()
        headers = {
            "User-Agent": manners.agent,
            "Accept": accept,
            "Accept-Encoding": "gzip",
            **({"If-None-Match": etag} if etag else {}),
            **({"If-Modified-Since": last_modified} if last_modified else {}),
        }
        session = self._session()
        stop = min(time.monotonic() + min(self.limits.deadline_s, within_s), self.stop, stop)
        asked = _Asked(url, headers, expect, max_bytes, stop, manners)
        attempt = 0
        while True:
            attempt += 1
            try:
                left = stop - time.monotonic()
                reply = _within(left, host, lambda: self._follow(session, asked))
                self._failures[host] = 0
                return reply
            except FetchError as error:
                tries = self.limits.tries if error.kind is not Kind.CONNECTION else _CONNECT_TRIES
                limited = manners.strict and error.kind is Kind.RATE_LIMITED
                if error.retry and not limited and attempt < tries:
                    pause = self._pause(attempt, error.wait_s)
                    if time.monotonic() + pause < stop:
                        self.sleep(pause)
                        continue
                    error.cut_off = time.monotonic() + pause >= self.stop
                error.cut_off |= self._out_of_time
                if error.kind is Kind.DEADLINE:
                    del self._local.session  # the thread left behind may still be using it
                self._failures[host] = self._failures.get(host, 0) + 1
                if error.kind in _HOST_DOWN or self._failures[host] >= _FAILURES_IN_A_ROW:
                    self._down[host] = error
                raise

    def touch(self, url: str, *, within_s: float) -> Reply:
        """Ask once for the head of an answer: whether its host can be reached, and its clock.

        Any answer of the host itself counts, whatever its status below 500; the reply has no body.

        Raises
        ------
        FetchError
            None came within `within_s` seconds, or one of a proxy or of another host.
        InputError
            The certificates to trust cannot be read.
        """
        stop = min(time.monotonic() + within_s, self.stop)
        headers = {"User-Agent": USER_AGENT, "Accept": "*/*"}
        asked = _Asked(url, headers, Expect.TEXT, 0, stop, Manners(), head=True)
        session = self._session()
        return _within(stop - time.monotonic(), asked.host, lambda: self._follow(session, asked))

    @property
    def _out_of_time(self) -> bool:
        """Whether the time for everything this client asks is over."""
        return time.monotonic() >= self.stop

    def _pause(self, attempt: int, wait_s: float | None) -> float:
        """Seconds before the next try: what the server asked for, or backoff with jitter."""
        if wait_s is not None:
            return wait_s
        longest = min(self.limits.backoff_s * 2 ** (attempt - 1), self.limits.backoff_max_s)
        return float(longest * random.uniform(0.5, 1.0))

    def _follow(self, session: Session, asked: _Asked) -> Reply:
        """One try: the request and redirects on the same host."""
        for _ in range(self.limits.redirects + 1):
            with self._send(session, asked) as response:
                if response.status_code not in (301, 302, 303, 307, 308):
                    return _reply(response, asked)
                target = _joined(asked.url, response.headers.get("Location", ""))
            if not target or not _same_host(asked.url, target):
                other = host_of(target) or "nowhere"
                text = f"it points to another host ({other})"
                raise FetchError(Kind.REDIRECT, asked.host, text)
            asked = replace(asked, url=target)
        text = f"more than {self.limits.redirects} redirects"
        raise FetchError(Kind.REDIRECT, asked.host, text)

    def _send(self, session: Session, asked: _Asked) -> Response:
        import requests

        host, left = asked.host, max(asked.stop - time.monotonic(), 0.05)
        with self._lock:
            self.requests_sent += 1
        try:
            return session.request(
                "HEAD" if asked.head else "GET",
                asked.url,
                headers=asked.headers,
                stream=True,
                allow_redirects=False,
                timeout=(min(self.limits.connect_s, left), min(self.limits.read_s, left)),
            )
        except requests.Timeout:
            raise FetchError(Kind.TIMEOUT, host, "it did not answer in time") from None
        except requests.exceptions.SSLError:
            raise FetchError(
                Kind.CONNECTION, host, "its certificate could not be verified", retry=False
            ) from None
        except (requests.exceptions.InvalidURL, requests.exceptions.InvalidSchema):
            raise FetchError(Kind.CONNECTION, host, "is not a web address", retry=False) from None
        except requests.RequestException as error:
            broken = any(word in repr(error) for word in ("RemoteDisconnected", "ConnectionReset"))
            kind = Kind.BROKEN_OFF if broken else Kind.CONNECTION
            text = "the connection was closed" if broken else "could not be reached"
            raise FetchError(kind, host, text) from None
        except OSError as error:  # before anything is sent: its own files cannot be read
            raise InputError(
                f"the certificates to trust cannot be read ({error})",
                field="REQUESTS_CA_BUNDLE",
                remedy="name a file that is there, or unset it",
            ) from None
        except ValueError:  # the library reads a redirect even where it is not to follow it
            raise FetchError(Kind.REDIRECT, host, "it points to no address") from None

    def _session(self) -> Session:
        """The calling thread's session: one connection to a host serves many requests."""
        if not hasattr(self._local, "session"):
            from http.cookiejar import DefaultCookiePolicy

            import requests

            session = requests.Session()
            session.auth = _no_credentials
            session.cookies.set_policy(DefaultCookiePolicy(allowed_domains=[]))
            self._local.session = session
        made: Session = self._local.session
        return made


def _reply(response: Response, asked: _Asked) -> Reply:
    """Judge a response that is no redirect."""
    status, headers, host = response.status_code, response.headers, asked.host
    server_time = http_date(headers.get("Date", ""))
    skew = 0.0 if server_time is None else server_time - time.time()
    if asked.head and status < 500 and status != 407:
        return Reply(status, server_time=server_time, skew_s=skew)
    if status in (404, 410):
        with suppress(FetchError):  # read, so that the connection can serve the next request
            read_body(response, host, asked.max_bytes, asked.stop)
        return Reply(404, server_time=server_time, skew_s=skew)
    deprecated = status == 203 and asked.manners.strict
    if status not in (200, 304) and not deprecated:
        raise status_error(response, host, server_time, asked.stop)
    body = b""
    if status != 304:
        body = read_body(response, host, asked.max_bytes, asked.stop)
        if why := unfit(asked.expect, headers.get("Content-Type", ""), body):
            raise FetchError(Kind.WRONG_CONTENT, host, why)
    etag, modified = headers.get("ETag", ""), headers.get("Last-Modified", "")
    expires = http_date(headers.get("Expires", ""))
    left = None if expires is None else expires - (server_time or time.time())
    return Reply(
        200 if deprecated else status, body, etag, modified, server_time, skew, left, deprecated
    )


def _no_credentials(request: PreparedRequest) -> PreparedRequest:
    """Stands in for authentication, so that none is taken from ``.netrc``."""
    return request


def _joined(url: str, location: str) -> str:
    """Where a redirect leads; "" where that is no address (an open bracket, a port past 65535)."""
    try:
        target = urljoin(url, location)
        _ = urlsplit(target).port  # is read, and judged, only here
    except ValueError:
        return ""
    return target


def _same_host(url: str, target: str) -> bool:
    """Whether a redirect stays on its host; http may become https, never the reverse."""
    old, new = urlsplit(url), urlsplit(target)
    if old.hostname != new.hostname or new.username:
        return False
    if (old.scheme, new.scheme) == ("http", "https"):
        return old.port is None and new.port is None
    return (old.scheme, old.port) == (new.scheme, new.port)


def _within(seconds: float, host: str, work: Callable[[], _T]) -> _T:
    """Run `work`, giving up after so long even where no socket timeout applies.

    Name look-up and a header sent byte by byte have no timeout of their own. The thread left
    behind is a daemon and ends by itself.
    """
    result: list[_T] = []
    failure: list[BaseException] = []

    def run() -> None:
        try:
            result.append(work())
        except BaseException as error:  # handed to the caller below
            failure.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(max(seconds, 0.0))
    if result:
        return result[0]
    if failure:
        raise failure[0]
    raise FetchError(Kind.DEADLINE, host, "no complete answer before the deadline")
