"""The log in memory says what the file says, whoever changed it and however."""

from __future__ import annotations

import datetime as dt
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_fixtures import spoiled

from windowcast.core.errors import InputError
from windowcast.records import log_mirror, store
from windowcast.records import stored as stored_module
from windowcast.records.log_mirror import LogMirror
from windowcast.records.model import FieldNote
from windowcast.records.store import SeasonLog

DAY = dt.date(2025, 9, 1)


def note(text: str = "x", day: dt.date = DAY) -> FieldNote:
    return FieldNote(day, text)


def same(mirror: LogMirror, path: Path) -> None:
    now = mirror.now()
    with SeasonLog(path) as log:
        entries, unusable = log.read()
    assert list(now.entries) == entries
    assert {(u.id, u.kind, str(u.why)) for u in now.unusable} == {
        (u.id, u.kind, str(u.why)) for u in unusable
    }


@settings(max_examples=25)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(["add", "edit", "remove", "undo"]), st.integers(0, 400)),
        max_size=12,
    )
)
def test_it_says_what_the_file_says_after_every_change(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, int]]
) -> None:
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    with SeasonLog(path) as log:
        log.add(note("first"))
        mirror = LogMirror(path)
        same(mirror, path)
        for number, (action, chance) in enumerate(steps):
            standing = log.entries()
            if action == "add":
                log.add(note(f"n{number}", DAY + dt.timedelta(chance % 40)), note("twin"))
            elif action == "undo":
                try:
                    log.undo()
                except InputError:
                    continue
            elif standing:
                chosen = standing[chance % len(standing)].id
                if action == "edit":
                    log.edit(chosen, note(f"e{number}", DAY - dt.timedelta(chance % 40)))
                else:
                    log.remove(chosen)
            same(mirror, path)


def test_only_what_was_changed_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "log.sqlite"
    with SeasonLog(path) as log:
        log.add(*(note(f"n{n}") for n in range(50)))
        mirror = LogMirror(path)
        mirror.now()
        read: list[str] = []
        stored = stored_module.stored_in

        def counted(row: tuple[object, ...]) -> object:
            read.append(str(row[0]))
            return stored(row)

        monkeypatch.setattr(stored_module, "stored_in", counted)
        mirror.now()
        assert not read
        (added,) = log.add(note("one more"))
        read.clear()
        assert len(mirror.now().entries) == 51
        assert read == [added]


def test_another_file_in_its_place_is_noticed(tmp_path: Path) -> None:
    path, other = tmp_path / "log.sqlite", tmp_path / "other.sqlite"
    for file, count in ((path, 3), (other, 3)):
        with SeasonLog(file) as log:
            for n in range(count):
                log.add(note(f"{file.stem} {n}"))
    mirror = LogMirror(path)
    same(mirror, path)
    shutil.copy(other, path)  # as many changes, but others
    same(mirror, path)
    assert {s.entry.text for s in mirror.now().entries} == {f"other {n}" for n in range(3)}
    path.unlink()
    with pytest.raises(InputError, match="no such season log"):
        mirror.now()


def test_entries_nobody_can_use_are_named_and_their_days_may_come(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log.sqlite"
    ahead = dt.date.today() + dt.timedelta(30)  # noqa: DTZ011
    with SeasonLog(path) as log:
        spoiled(log, note(), "note", {"date": ahead.isoformat(), "text": "ahead"})
        spoiled(log, note(), "note", {"date": "never"})
    mirror = LogMirror(path)
    same(mirror, path)
    assert len(mirror.now().unusable) == 2
    for module in (store, log_mirror):
        monkeypatch.setattr(module, "latest_today", lambda: ahead)
    assert [s.entry.text for s in mirror.now().entries] == ["ahead"]
    assert len(mirror.now().unusable) == 1


def test_readers_meet_writers(tmp_path: Path) -> None:
    """Each view is that of one moment: twins that are added in one change are never seen alone."""
    path = tmp_path / "log.sqlite"
    with SeasonLog(path) as log:
        log.add(note(), note())
    mirror, faults, done = LogMirror(path), [], threading.Event()

    def read() -> None:
        seen = 0
        while not done.is_set():
            now = mirror.now()
            if len(now.entries) % 2 or now.change < seen:
                faults.append(now.change)
            seen = now.change

    def write() -> None:
        with SeasonLog(path) as log:
            for _ in range(30):
                log.add(note(), note())

    readers = [threading.Thread(target=read) for _ in range(3)]
    writers = [threading.Thread(target=write) for _ in range(3)]
    for thread in (*readers, *writers):
        thread.start()
    for thread in writers:
        thread.join()
    done.set()
    for thread in readers:
        thread.join()
    assert not faults
    assert len(mirror.now().entries) == 182


def test_a_change_that_was_rolled_back_is_never_seen(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    with SeasonLog(path) as log:
        log.add(note())
    mirror = LogMirror(path)
    mirror.now()
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    db.execute("INSERT INTO changes (uid, at, action) VALUES ('u', '2025-01-01T00:00', 'add')")
    assert mirror.now().change == 1
    db.execute("ROLLBACK")
    db.close()
    assert mirror.now().change == 1
