"""What is printed where the output's encoding lacks a mark: the nearest one that it has."""

from __future__ import annotations

import codecs
import io
import unicodedata
from typing import TextIO

_NEAREST = {
    "–": "-", "−": "-", "…": ".", "·": "-", "→": ">", "←": "<", "↔": "=", "×": "x", "÷": "/",
    "“": '"', "”": '"', "’": "'", "●": "*", "◐": "+", "○": "o", "°": " ", "≤": "<", "≥": ">",
    "¿": "", "€": "EUR ", "£": "GBP ", "µ": "u",
}  # fmt: skip
"""One mark for one where a column of a table would shift."""
_ASCII = "windowcast_ascii"


def print_what_it_can(*streams: TextIO) -> None:
    """Make streams that cannot encode every mark print the nearest one instead of failing."""
    codecs.register_error("windowcast.nearest", _nearest)
    codecs.register(_ascii_by_another_name)
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper) and "utf" not in stream.encoding.lower():
            plain = codecs.lookup(stream.encoding).name == "ascii"
            stream.reconfigure(encoding=_ASCII if plain else None, errors="windowcast.nearest")


def _ascii_by_another_name(name: str) -> codecs.CodecInfo | None:
    """ASCII for click, which writes UTF-8 wherever an output calls itself ASCII."""
    if name != _ASCII:
        return None
    ascii_ = codecs.lookup("ascii")
    return codecs.CodecInfo(
        ascii_.encode,
        ascii_.decode,
        ascii_.streamreader,
        ascii_.streamwriter,
        ascii_.incrementalencoder,
        ascii_.incrementaldecoder,
        name=_ASCII,
    )


def _nearest(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    text = error.object[error.start : error.end]
    return "".join(map(_plain, text)), error.end


def _plain(mark: str) -> str:
    """A mark of ASCII: the nearest in shape or, of a letter, the one without its accent."""
    if mark in _NEAREST:
        return _NEAREST[mark]
    base = unicodedata.normalize("NFKD", mark).encode("ascii", "ignore").decode()
    return base or "?"
