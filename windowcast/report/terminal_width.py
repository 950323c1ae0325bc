"""How wide the reader's screen is, and text broken to it."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Collection, Iterable, Sequence

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


def table_width() -> int:
    """Columns for tables: those of the screen, or `TABLE_WIDTH` where there is none."""
    return max(NARROWEST, screen_width() or TABLE_WIDTH)


def table_lines(
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    right: Collection[int] = (1, 2),
    width: int | None = None,
) -> list[str]:
    """A table with its columns below each other, some of them to the right.

    What is wider than `width` goes on below, with the first column again. A column that is too wide
    by itself stays whole: `fitted` breaks it.
    """
    wide = [max(len(row[n]) for row in (columns, *rows)) for n in range(len(columns))]
    parts, used = [[0]], wide[0]
    for n in range(1, len(columns)):
        if width is not None and used + 2 + wide[n] > width and len(parts[-1]) > 1:
            parts.append([0])
            used = wide[0]
        parts[-1].append(n)
        used += 2 + wide[n]
    lines: list[str] = []
    for part in parts:
        lines += [""] if lines else []
        for row in (columns, *rows):
            cells = (f"{row[n]:{'>' if n in right else '<'}{wide[n]}}" for n in part)
            lines.append("  ".join(cells).rstrip())
    return lines


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
