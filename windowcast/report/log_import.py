"""What a file holds for a log, in words, before it is stored."""

from __future__ import annotations

from windowcast.core.units import System
from windowcast.records.import_export import LogFile
from windowcast.records.kinds import TITLES
from windowcast.report.log_entries import entry_text
from windowcast.report.table_understood import log_lines


def import_lines(read: LogFile, system: System) -> list[str]:
    """How a table was understood, a line each; an export leaves no doubt and has none."""
    if read.understood is None:
        return []
    first = read.revisions[0]
    entry = first.entry
    assert entry is not None
    words = f"{TITLES[first.kind]}, {entry.date}: {entry_text(entry, system)}"
    return log_lines(read.understood, words)


def entries_counted(read: LogFile) -> str:
    """``"1 entry"`` or ``"2 entries"``: versions of entries in the file."""
    count = len(read.revisions)
    return f"{count} entr{'y' if count == 1 else 'ies'}"
