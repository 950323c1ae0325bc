"""Cells that a spreadsheet would run as a formula: marked as text, and the mark taken off."""

from __future__ import annotations

import re

_RUN = re.compile(r"'*[=+\-@\t\r]")  # marks before it: so that every text comes back as it was
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")


def as_text(cell: str) -> str:
    """A cell that no spreadsheet runs: with a mark (') before ``=``, ``+``, ``-``, ``@``, tab, CR.

    >>> as_text("=1+1"), as_text("-3.5"), as_text("field 2")
    ("'=1+1", '-3.5', 'field 2')
    """
    return f"'{cell}" if _runs(cell) else cell


def as_written(cell: str) -> str:
    """What `as_text` was given.

    >>> as_written("'=1+1")
    '=1+1'
    """
    return cell[1:] if cell[:1] == "'" and _runs(cell[1:]) else cell


def _runs(cell: str) -> bool:
    return bool(_RUN.match(cell)) and not _NUMBER.fullmatch(cell)
