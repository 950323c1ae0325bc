"""Numbers as people write them: decimal commas, thousands apart, a minus sign of print.

Which mark is the decimal one is told by all numbers of a file together, never by one alone:
``1,013`` may be a thousand or one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

from windowcast.core.errors import InputError

Mark = Literal[".", ","]
_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}(?:\1\d{3})*", re.ASCII)
_ONE_MARK = re.compile(r"[+-]?\d*([.,])\d*(?:e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
_OTHER: dict[str, Mark] = {".": ",", ",": "."}
_BLANKS = r" \u00a0\u2009\u202f"  # also those that do not break a line
_GROUPED = {
    mark: re.compile(
        rf"[+-]?[1-9]\d{{0,2}}(?:[{apart}{_BLANKS}]\d{{3}})+(?:{re.escape(mark)}\d*)?", re.ASCII
    )
    for mark, apart in ((".", ","), (",", "."))
}


def _plain(text: str) -> str:
    return text.strip().replace("−", "-")


def mark_shown(text: str) -> Mark | None:
    """The decimal mark that a number shows by itself; None where it shows none or is no number."""
    text = _plain(text)
    if not any(char.isdigit() for char in text):
        return None
    if "." in text and "," in text:
        last: Mark = "." if text.rindex(".") > text.rindex(",") else ","
        return last if _GROUPED[last].fullmatch(text) else None
    if groups := _GROUPS.fullmatch(text):
        apart = groups[1]
        return None if text.count(apart) == 1 else _OTHER[apart]
    if one := _ONE_MARK.fullmatch(text):
        return "," if one[1] == "," else "."
    return None


def decimal_mark(
    cells: Iterable[tuple[str, int, str]], said: Mark | None, path: str, remedy: str
) -> Mark:
    """The decimal mark of a file; a point where nothing in it has a comma.

    Parameters
    ----------
    cells
        Texts that may be numbers, each with its row and field.
    said
        The mark that the owner says.
    remedy
        How to say it.

    Raises
    ------
    InputError
        Both marks are used as decimal ones, or a comma may be either and nothing decides.
    """
    shown: dict[Mark, tuple[str, int, str]] = {}
    unsure = None
    seen: set[str] = set()  # the same number shows the same mark
    for cell in cells:
        if cell[0] in seen:
            continue
        seen.add(cell[0])
        if mark := mark_shown(cell[0]):
            shown.setdefault(mark, cell)
        elif unsure is None and "," in cell[0] and _GROUPS.fullmatch(_plain(cell[0])):
            unsure = cell
    if said:
        return said
    if len(shown) == 2:
        (text, row, field), (beside, _, _) = shown[","], shown["."]
        raise InputError(
            f"{text.strip()!r} has a decimal comma and {beside.strip()!r} a decimal point",
            path=path, row=row, field=field, remedy="write all numbers with one mark",
        )  # fmt: skip
    if shown:
        return next(iter(shown))
    if unsure is not None:
        text, row, field = unsure
        raise InputError(
            f"{text.strip()!r} could be {text.strip().replace(',', '')} or"
            f" {text.strip().replace(',', '.')}", path=path, row=row, field=field, remedy=remedy,
        )  # fmt: skip
    return "."


def number_written(text: str, mark: Mark) -> float:
    """A number with a decimal mark, thousands apart or not.

    Raises
    ------
    ValueError
        It is none.
    """
    text = _plain(text)
    if _GROUPED[mark].fullmatch(text):
        text = re.sub(rf"[^\d{re.escape(mark)}+-]", "", text)
    elif mark == "," and "." in text:
        raise ValueError("a point where the decimal mark is a comma")
    return float(text.replace(",", ".") if mark == "," else text)
