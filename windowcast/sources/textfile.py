"""Opening a table of text safely: plain, packed or a sheet of a workbook, and bounded.

What an owner says of a file stands behind its name: ``FILE:key=value,key=value``.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from os import PathLike, fspath

from windowcast.core.errors import InputError
from windowcast.core.given_files import read_regular
from windowcast.sources.written_numbers import Mark

MARKS: Mapping[str, Mark] = {"comma": ",", "point": "."}  # values of an option ``decimal``
_SPEC = re.compile(r"^(?P<path>.+?):(?P<options>[a-z]+=[^:=,]*(?:,[a-z]+=[^:=,]*)*)$")

MAX_BYTES = 64 * 1024 * 1024  # of text, after decompression; 150 years of .dly take 2 MB
WORKBOOK = b"PK\x03\x04"  # .xlsx is a zip archive
_GZIP = b"\x1f\x8b"
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_ASCII, _UNIT_SIGNS = bytes(range(128)), "°º²³µ\xa0".encode("cp1252")
_LINE_END = re.compile("\r\n|[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]")  # as ``str.splitlines``


def split_options(
    text: str | PathLike[str], known: Mapping[str, Sequence[str]]
) -> tuple[str, dict[str, str]]:
    """The path and the options behind it.

    Parameters
    ----------
    known
        Options, each with its values; () where any is allowed.

    Raises
    ------
    InputError
        An unknown option or value.
    """
    text = fspath(text)
    match = _SPEC.match(text)
    if match is None:
        return text, {}
    options = dict(item.split("=", 1) for item in match["options"].split(","))
    for key, value in options.items():
        if key not in known:
            raise InputError(
                f"option {key!r} is not known", path=match["path"],
                remedy=f"use {', '.join(known)}",
            )  # fmt: skip
        if known[key] and value not in known[key]:
            raise InputError(
                f"{key}={value} is not known", path=match["path"],
                remedy=f"use one of {', '.join(known[key])}",
            )  # fmt: skip
    return match["path"], options


def read_text_bytes(
    path: str | PathLike[str], *, limit: int = MAX_BYTES, sheet: str = "", nul: bool = False
) -> bytes:
    """The contents of a text file as UTF-8; what is packed or a workbook is unpacked.

    Parameters
    ----------
    limit
        Most bytes of text.
    sheet
        Which sheet of a workbook, read as CSV; only one with several needs it.
    nul
        Whether the text may hold the character NUL, as the notes of a log may.

    Raises
    ------
    InputError
        Missing, a folder, not readable, empty, larger than `limit`, broken gzip, or binary.
    """
    try:
        data = read_regular(path, limit)
    except IsADirectoryError:
        raise InputError("is a folder", path=path, remedy="name a file in it") from None
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror or error})",
            path=path,
            remedy="check the name and the permissions",
        ) from None
    if len(data) > limit:
        raise _too_large(path, limit)
    if data.startswith(_GZIP):
        data = _unzipped(data, path, limit)
    if len(data) > limit:
        raise _too_large(path, limit)
    if data.startswith(WORKBOOK):
        from windowcast.sources.workbook import sheet_csv

        data = sheet_csv(data, path, sheet, limit)
    elif sheet:
        raise InputError("has no sheets", path=path, remedy="leave sheet= out")
    elif data.startswith(_UTF16):
        data = _from_utf16(data, path)
    if not data or data.isspace():
        raise InputError("is empty", path=path, remedy="give a file with values in it")
    if not nul and b"\x00" in data[:65536]:
        raise InputError(
            "is not a text file in UTF-8", path=path, remedy="export it as CSV text, UTF-8"
        )
    return data.removeprefix(b"\xef\xbb\xbf")


def _from_utf16(data: bytes, path: str | PathLike[str]) -> bytes:
    try:
        return data.decode("utf-16").encode("utf-8")
    except UnicodeError:
        raise InputError(
            "is damaged UTF-16 text", path=path, remedy="export it as CSV text, UTF-8"
        ) from None


def _unzipped(data: bytes, path: str | PathLike[str], limit: int) -> bytes:
    parts: list[bytes] = []
    size = 0
    try:
        while data.startswith(_GZIP):
            unzip = zlib.decompressobj(wbits=31)
            parts.append(unzip.decompress(data, limit + 1 - size))
            size += len(parts[-1])
            if size > limit:
                raise _too_large(path, limit)
            if not unzip.eof:
                raise zlib.error("ends too early")
            data = unzip.unused_data
    except zlib.error:
        raise InputError(
            "is a damaged or cut-off gzip file", path=path, remedy="fetch or compress it again"
        ) from None
    return b"".join(parts)


def _too_large(path: str | PathLike[str], limit: int) -> InputError:
    return InputError(
        f"is larger than {limit // 1024**2} MB of text",
        path=path,
        remedy="give one station's file, or cut it to the years you need",
    )


def text_of(data: bytes, path: str | PathLike[str]) -> str:
    """Decode UTF-8, or Western text that has no other signs than those of units.

    Raises
    ------
    InputError
        Not UTF-8; names the row.
    """
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        if not data.translate(None, _ASCII + _UNIT_SIGNS):
            return data.decode("cp1252")
        raise InputError(
            "is not UTF-8 text",
            path=path,
            row=data.count(b"\n", 0, error.start) + 1,
            remedy="save it as UTF-8",
        ) from None


def lines_of(text: str) -> Iterator[tuple[str, int]]:
    """The lines as ``str.splitlines`` cuts them, one at a time, and where the next one begins."""
    start = 0
    for end in _LINE_END.finditer(text):
        yield text[start : end.start()], end.end()
        start = end.end()
    if start < len(text):
        yield text[start:], len(text)
