"""Season logs in the state that an earlier program, or another one, may have left them in."""

from __future__ import annotations

import json
import sqlite3

from windowcast.records.model import Entry
from windowcast.records.store import SeasonLog


def spoiled(log: SeasonLog, sound: Entry, kind: str, body: object) -> str:
    """The id of an entry as an earlier program, or another one, may have left it in the file."""
    (entry,) = log.add(sound)
    with sqlite3.connect(log.path) as db:
        db.execute(
            "INSERT INTO changes (uid, at, action) VALUES (?, '2025-01-01T00:00+00:00', 'edit')",
            (entry,),
        )
        db.execute(
            "INSERT INTO revisions SELECT max(number), ?, ?, ? FROM changes",
            (entry, kind, json.dumps(body)),
        )
    return entry
