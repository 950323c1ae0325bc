"""What a file holds for a log, in words, before it is stored."""

from __future__ import annotations

from windowcast.core.phrase import say
from windowcast.records.import_export import LogFile
from windowcast.report.catalogue import Voice
from windowcast.report.log_entries import entry_text
from windowcast.report.table_understood import log_lines


def import_lines(read: LogFile, voice: Voice) -> list[str]:
    """How a table was understood, a line each; an export leaves no doubt and has none."""
    if read.understood is None:
        return []
    first = read.revisions[0]
    entry = first.entry
    assert entry is not None
    kind, text = say(f"log_kind.{first.kind}"), entry_text(entry, voice)
    words = voice.say("log.first", kind=kind, day=entry.date, text=text)
    return log_lines(read.understood, words, voice)


def entries_counted(read: LogFile, voice: Voice) -> str:
    """``"1 entry"`` or ``"2 entries"``: versions of entries in the file."""
    return voice.say("log_page.entries", count=len(read.revisions))
