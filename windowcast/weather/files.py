"""Weather files: which format, read by which reader."""

from __future__ import annotations

from os import PathLike

from windowcast.weather.columns import FileUnits
from windowcast.weather.record import Place, Record
from windowcast.weather.tables import read_table
from windowcast.weather.textfile import read_text_bytes, text_of


def read_weather(
    path: str | PathLike[str], *, place: Place | None = None, units: FileUnits | None = None
) -> Record:
    """Read a weather file of any known format, plain or gzip."""
    text = text_of(read_text_bytes(path), path)
    return read_table(text, str(path), place=place, units=units)
