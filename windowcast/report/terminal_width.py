"""How wide the reader's screen is, and text broken to it."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable

TABLE_WIDTH = 120  # of tables that go to a file or a pipe
PROSE_WIDTH = 100  # of sentences: longer lines read badly on any screen
NARROWEST = 40
_NO_BREAK = "\N{NO-BREAK SPACE}"
_TOGETHER = re.compile(r"(?<=\d) (?=[%°]|[A-Z][a-z]{2}\b)")  # 97 %, 31 Mar


def screen_width() -> int | None:
    """Columns of the terminal, or what COLUMNS asks for; None where neither says."""
    asked = os.environ.get("COLUMNS", "")
    told = asked.isdecimal() and int(asked) > 0
    return shutil.get_terminal_size().columns if told or sys.stdout.isatty() else None


def prose_width() -> int:
    """Columns for sentences: `PROSE_WIDTH`, or fewer on a narrower terminal."""
    return max(NARROWEST, min(PROSE_WIDTH, screen_width() or PROSE_WIDTH))


def wrapped(text: str, width: int, indent: str = "", hanging: str = "") -> list[str]:
    """A text in lines of at most `width` columns, none for an empty one.

    A word longer than a line, such as an address, stays whole, and no number is parted from its
    unit or month.

    Parameters
    ----------
    indent
        What each line begins with.
    hanging
        What each but the first begins with besides.
    """
    lines = textwrap.wrap(
        _TOGETHER.sub(_NO_BREAK, text),
        width,
        initial_indent=indent,
        subsequent_indent=indent + hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_NO_BREAK, " ") for line in lines]


def fitted(lines: Iterable[str], width: int) -> list[str]:
    """Lines broken to `width`; what follows stands two columns further in than its line began."""
    done: list[str] = []
    for line in lines:
        text = line.lstrip()
        done += wrapped(text, width, line[: len(line) - len(text)], "  ") or [""]
    return done
