"""A sheet of an Excel workbook as CSV text, so that every reader of tables takes it.

Numbers keep all their digits, dates become ISO; what a cell looks like on the screen counts for
nothing. Rows keep their numbers: the third row of the sheet is the third row of the text.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from os import PathLike
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.extras import require

_XML_PER_TEXT = 8  # bytes of XML in a workbook for one of its text, at most


def sheet_csv(data: bytes, path: str | PathLike[str], sheet: str, limit: int) -> bytes:
    """A sheet as CSV in UTF-8.

    Parameters
    ----------
    sheet
        Its name; "" for the only sheet with anything in it.
    limit
        Most bytes of CSV.

    Raises
    ------
    InputError
        No reader is installed, it is no workbook, the sheet is not there or not named.
    """
    _refuse_other_archives(data, path, limit)
    require(f"{path}: reading Excel files", "excel", "python_calamine")
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = [sheet] if sheet in book.sheet_names else book.sheet_names
        tables = {
            name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in names
        }
    except (CalamineError, OSError, ValueError):
        raise InputError(
            "is a damaged or protected workbook", path=path, remedy="save it again as .xlsx"
        ) from None
    filled = [name for name, rows in tables.items() if any(any(map(_text, row)) for row in rows)]
    if sheet not in {"", *book.sheet_names} or (not sheet and len(filled) > 1):
        raise InputError(
            f"has no sheet {sheet!r}" if sheet else f"has {len(filled)} sheets", path=path,
            remedy=f"name one: FILE:sheet=NAME with {' or '.join(filled)}",
        )  # fmt: skip
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    for name in filled:
        writer.writerows([_text(cell) for cell in row] for row in tables[name])
    made = text.getvalue().encode("utf-8")
    if len(made) > limit:
        raise _too_large(path)
    return made


def _refuse_other_archives(data: bytes, path: str | PathLike[str], limit: int) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = set(archive.namelist())
            size = sum(item.file_size for item in archive.infolist())
    except zipfile.BadZipFile:
        names, size = set(), 0
    if not any(name.startswith("xl/") for name in names):
        raise InputError(
            "is a zip archive, not a table", path=path, remedy="unpack it and name a file in it"
        )
    if size > _XML_PER_TEXT * limit:
        raise _too_large(path)


def _too_large(path: str | PathLike[str]) -> InputError:
    return InputError(
        "is a workbook too large to read", path=path, remedy="save the one sheet as CSV, or cut it"
    )


def _text(cell: Any) -> str:
    """A cell as text; times are rounded to seconds, for Excel keeps them as parts of a day."""
    if isinstance(cell, dt.datetime):
        rounded = (cell + dt.timedelta(milliseconds=500)).replace(microsecond=0)
        return rounded.isoformat(" ")
    if isinstance(cell, dt.time):
        return _text(dt.datetime.combine(dt.date(2000, 1, 1), cell)).split(" ")[1]
    if isinstance(cell, dt.date):
        return cell.isoformat()
    if isinstance(cell, dt.timedelta):
        seconds = round(cell.total_seconds())
        return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    return " ".join(str(cell).split())
