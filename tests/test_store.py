"""The season log: nothing lost by edits, processes, kills, full disks, upgrades or exports."""

from __future__ import annotations

import datetime as dt
import json
import os
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fuzzing import LONG
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from log_fixtures import spoiled
from spoken import METRIC, US

from windowcast.core.errors import InputError
from windowcast.records import import_export, store_schema
from windowcast.records.entry_checks import check_dates, from_plain, to_plain
from windowcast.records.model import (
    MOST,
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Material,
    Rating,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.store import SeasonLog
from windowcast.report.log_entries import entry_text

ZONE = dt.timezone(dt.timedelta(hours=-6))
SPRAY = Application(
    start=dt.datetime(2025, 12, 3, 10, 15, tzinfo=ZONE),
    materials=(Material("glyphosate", rate_kg_ha=0.56, registration="as on label"),),
    area_m2=8093.7128448,
    wind_m_s=2.4,
)
READING = SoilReading(dt.date(2025, 10, 1), depth_m=0.05, temp_c=19.4)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[SeasonLog]:
    with SeasonLog(tmp_path / "season.sqlite") as opened:
        yield opened


# ---- entries ----------------------------------------------------------------------------------

text = st.text(
    st.characters(exclude_categories=["Cs"]) | st.sampled_from('\r\n",;\x00'), max_size=30
)
name = text.filter(bool)
dates = st.dates(dt.date(1950, 1, 1), dt.date(2025, 12, 31))
amounts = st.none() | st.floats(1e-9, 1e9, exclude_min=True)
moments = st.datetimes(
    dt.datetime(1950, 1, 1),  # noqa: DTZ001
    dt.datetime(2025, 12, 31),  # noqa: DTZ001
    timezones=st.integers(-12 * 60, 14 * 60).map(lambda m: dt.timezone(dt.timedelta(minutes=m))),
)
percent = st.none() | st.floats(0, 100)
weeds = st.sampled_from(["", "POAAN", "DIGIS", "ELEIN"])
applications = st.builds(
    Application,
    start=moments,
    materials=st.lists(
        st.builds(
            Material,
            active=name,
            rate_kg_ha=amounts,
            product=text,
            product_total=text,
            restricted=st.none() | st.booleans(),
        ),
        min_size=1,
        max_size=3,
    ).map(tuple),
    where=text,
    area_m2=amounts,
    purpose=st.sampled_from(["", "pre-fall", "dormant"]),
    target=weeds,
    temp_c=st.none() | st.floats(-60, 70),
    rh_pct=percent,
    notes=text,
)
entries = st.one_of(
    applications,
    st.builds(
        SoilReading,
        date=dates,
        depth_m=st.floats(0.005, 3),
        temp_c=st.floats(-40, 65),
        time=st.none() | st.times(),
        notes=text,
    ),
    st.builds(
        ScoutingCount,
        date=dates,
        weed=weeds.filter(bool),
        per_m2=st.floats(0, 1e6),
        cover_pct=percent,
        stage_bbch=st.none() | st.integers(0, 99),
    ),
    st.builds(
        Rating,
        date=dates,
        trial=name,
        plot=name,
        treatment=name,
        value=st.floats(-MOST, MOST),
        measure=name,
        before=st.booleans(),
    ),
    st.builds(CoverReading, date=dates, green_pct=st.floats(0, 100), where=text),
    st.builds(CoverReading, date=dates, green_pct=st.none(), live_shoots=st.booleans()),
    st.builds(
        FieldNote, date=dates, text=name, weed=weeds, survivors_mixed=st.none() | st.booleans()
    ),
)


@given(entries)
@settings(max_examples=200, deadline=None)
def test_plain_values_hold_all_of_an_entry(entry: Entry) -> None:
    from windowcast.records.model import kind_of

    assert from_plain(kind_of(entry), json.loads(json.dumps(to_plain(entry)))) == entry
    assert entry_text(entry, US)
    assert entry_text(entry, METRIC)


@given(st.lists(entries, min_size=1, max_size=6), st.sampled_from(["json", "csv"]))
@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_export_and_import_lose_nothing(
    tmp_path_factory: pytest.TempPathFactory, found: list[Entry], form: str
) -> None:
    folder = tmp_path_factory.mktemp("log")
    file = folder / f"export.{form}"
    with SeasonLog(folder / "a.sqlite") as log, SeasonLog(folder / "b.sqlite") as other:
        ids = log.add(*found)
        log.edit(ids[0], found[0])
        if len(ids) > 1:
            log.remove(ids[1])
            log.undo()
            log.remove(ids[-1])
        written = import_export.to_json(log) if form == "json" else import_export.to_csv(log)
        file.write_bytes(written.encode())
        assert other.merge(import_export.read_log_file(file).changes) == len(log.history())
        assert other.history() == log.history()
        assert other.entries() == log.entries()
        assert other.merge(import_export.read_log_file(file).changes) == 0  # nothing twice


@pytest.mark.parametrize(
    ("kind", "plain", "match"),
    [
        ("application", {"start": "2025-11-03T09:30:00Z", "materials": []}, "materials"),
        ("application", {"start": "2025-11-03T09:30:00", "materials": [{"active": "x"}]}, "timez"),
        (
            "application",
            {"start": "2025-11-03T09:30:00Z", "materials": [{"active": "x"}], "area_m2": -1},
            "area_m2",
        ),
        (
            "application",
            {
                "start": "2025-11-03T09:30:00Z",
                "end": "2025-11-03T08:30:00Z",
                "materials": [{"active": "x"}],
            },
            "before the start",
        ),
        ("probe", {"date": "2025-10-01", "depth_m": 5, "temp_c": 10}, "depth_m"),
        ("probe", {"date": "2025-10-01", "depth_m": 0.1, "temp_c": float("nan")}, "temp_c"),
        ("count", {"date": "2025-10-01", "weed": "POAAN"}, "nothing was counted"),
        ("count", {"date": "2025-10-01", "weed": "bluegrass", "per_m2": 4}, "EPPO"),
        ("cover", {"date": "2025-10-01", "green_pct": 130}, "green_pct"),
        ("cover", {"date": "2025-10-01"}, "green_pct: nothing was seen; give the share"),
        (
            "cover",
            {"date": "2025-10-01", "green_pct": 4, "live_shoots": False},
            "live_shoots: no, but 4 % was green; correct one of the two",
        ),
        ("probes", {}, "close: probe"),
        ("note", {"date": "2025-10-01", "text": "x", "colour": "red"}, "colour"),
    ],
)
def test_impossible_entries_are_refused(kind: str, plain: dict[str, object], match: str) -> None:
    with pytest.raises(InputError, match=match):
        from_plain(kind, plain)


def test_dates_before_the_turf_existed_and_ahead() -> None:
    with pytest.raises(InputError, match="before the turf existed"):
        check_dates(READING, today=dt.date(2026, 1, 1), established=dt.date(2025, 11, 1))
    with pytest.raises(InputError, match="lies ahead"):
        check_dates(SPRAY, today=dt.date(2025, 1, 1), established=None)
    check_dates(SPRAY, today=dt.date(2026, 1, 1), established=dt.date(2025, 11, 1))


# ---- history ----------------------------------------------------------------------------------


TOMORROW = dt.datetime.now(dt.timezone(dt.timedelta(hours=14))).date() + dt.timedelta(days=1)


@pytest.mark.parametrize(
    ("date", "match"),
    [
        (dt.date(1, 1, 1), "date: 0001-01-01 is before 1950; check the year"),
        (dt.date(1949, 12, 31), "date: 1949-12-31 is before 1950"),
        (TOMORROW + dt.timedelta(days=1), "date: .* lies ahead; log what has happened"),
    ],
)
def test_impossible_dates_get_into_no_log(
    log: SeasonLog, tmp_path: Path, date: dt.date, match: str
) -> None:
    with pytest.raises(InputError, match=match):
        log.add(replace(READING, date=date))
    (entry,) = log.add(READING)
    with pytest.raises(InputError, match=match):
        log.edit(entry, replace(READING, date=date))
    file = tmp_path / "readings.csv"
    file.write_text(f"kind,date,depth_m,temp_c\nprobe,2025-10-01,0.05,19\nprobe,{date},0.05,19\n")
    with pytest.raises(InputError, match=f"readings.csv: row 3: {match}"):
        import_export.read_log_file(file)
    for form, write in (("json", import_export.to_json), ("csv", import_export.to_csv)):
        file = tmp_path / f"all.{form}"
        file.write_text(write(log).replace("2025-10-01", str(date)))
        where = {"json": r"changes.0.revisions.0.body\.", "csv": "row 2: "}[form]
        with pytest.raises(InputError, match=rf"all\.{form}: {where}{match}"):
            import_export.read_log_file(file)
    assert [s.entry for s in log.entries()] == [READING]


def test_the_first_and_the_last_possible_day(log: SeasonLog) -> None:
    days = [dt.date(1950, 1, 1), TOMORROW]
    log.add(*(replace(READING, date=day) for day in days))
    assert [s.entry.date for s in log.entries()] == days


@pytest.mark.parametrize(
    ("kind", "body", "why"),
    [
        ("probe", {**to_plain(READING), "date": "0001-01-01"}, "date: 0001-01-01 is before 1950"),
        ("probe", {**to_plain(READING), "date": "2991-01-01"}, "date: 2991-01-01 lies ahead"),
        ("probe", {**to_plain(READING), "temp_c": "warm"}, "temp_c: "),
        ("poem", {"text": "an ode"}, "'poem' is not a kind"),
        ("probe", [1, 2], "probe: is not the body of an entry"),
    ],
)
def test_a_bad_entry_leaves_the_others_readable(
    log: SeasonLog, kind: str, body: dict[str, object], why: str
) -> None:
    log.add(SPRAY)
    bad = spoiled(log, READING, kind, body)
    found, unusable = log.read()
    assert [s.entry for s in found] == [SPRAY] == [s.entry for s in log.entries()]
    assert [(u.id, u.kind) for u in unusable] == [(bad, kind)]
    assert why in str(unusable[0].why)
    assert log.remove(bad).body == body
    assert log.read()[1] == []
    log.undo()
    assert [u.id for u in log.read()[1]] == [bad]


def test_a_bad_date_can_be_put_right_and_then_moved(log: SeasonLog, tmp_path: Path) -> None:
    bad = spoiled(log, READING, "probe", {**to_plain(READING), "date": "0001-01-01"})
    assert log.get(bad).entry.date == dt.date(1, 1, 1)
    log.edit(bad, READING)
    for form, write in (("json", import_export.to_json), ("csv", import_export.to_csv)):
        file = tmp_path / f"all.{form}"
        file.write_bytes(write(log).encode())
        with SeasonLog(tmp_path / f"{form}.sqlite") as other:
            other.merge(import_export.read_log_file(file).changes)
            assert other.history() == log.history()


def test_every_version_is_kept_and_undo_walks_back(log: SeasonLog) -> None:
    (first,) = log.add(READING)
    warmer = SoilReading(READING.date, READING.depth_m, 21.0)
    log.edit(first, warmer)
    log.remove(first[:6])
    assert log.entries() == []
    with pytest.raises(InputError, match="was removed") as refused:
        log.get(first)
    assert Path(refused.value.path or "") == log.path
    assert log.undo().action == "remove"
    assert log.get(first).entry == warmer
    assert log.undo().action == "edit"
    assert log.get(first).entry == READING
    log.edit(first, warmer)  # a new step after undoing
    assert log.undo().action == "edit"
    assert log.get(first).entry == READING
    assert log.undo().action == "add"
    with pytest.raises(InputError, match="nothing to undo") as refused:
        log.undo()
    assert Path(refused.value.path or "") == log.path
    history = log.history(first)
    assert [c.action for c in history] == [
        "add", "edit", "remove", "undo", "undo", "edit", "undo", "undo",
    ]  # fmt: skip
    assert [r.entry for c in history for r in c.revisions].count(warmer) == 3


def test_history_cannot_be_rewritten_even_with_sql(log: SeasonLog) -> None:
    log.add(READING)
    db = sqlite3.connect(log.path)
    for statement in (
        "DELETE FROM revisions",
        "UPDATE revisions SET body = NULL",
        "DELETE FROM changes",
        "UPDATE changes SET at = ''",
    ):
        with pytest.raises(sqlite3.DatabaseError, match="history is kept"):
            db.execute(statement)
    db.close()


def test_an_edit_over_another_edit_is_refused(log: SeasonLog) -> None:
    (first,) = log.add(READING)
    seen = log.get(first).version
    log.edit(first, SoilReading(READING.date, 0.05, 20.0), version=seen)
    with pytest.raises(InputError, match="changed by someone else"):
        log.edit(first, SoilReading(READING.date, 0.05, 22.0), version=seen)
    assert log.get(first).entry.temp_c == 20.0


def test_ids_may_be_shortened_but_not_guessed(log: SeasonLog) -> None:
    (first,) = log.add(READING)
    assert log.get(first[:5]).id == first
    for wrong in (first[:3], "zzzz", "", "%"):
        with pytest.raises(InputError, match="id"):
            log.get(wrong)
    with pytest.raises(InputError, match="of kind probe, not application"):
        log.edit(first, SPRAY)


def test_one_bad_entry_stops_the_whole_change(log: SeasonLog) -> None:
    bad = SoilReading(dt.date(2025, 10, 2), depth_m=-1, temp_c=4)
    with pytest.raises(InputError, match="depth_m"):
        log.add(READING, bad)
    assert log.history() == []


# ---- files ------------------------------------------------------------------------------------

WRITER = """
import datetime as dt, sys
from windowcast.records.model import SoilReading
from windowcast.records.store import SeasonLog
from windowcast.report.log_entries import entry_text
with SeasonLog(sys.argv[1]) as log:
    for number in range(int(sys.argv[2])):
        log.add(SoilReading(dt.date(2025, 10, 1), 0.05, number % 30, notes=sys.argv[3]))
        print(number, flush=True)
"""


def _writer(path: Path, count: int, who: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(count), who],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_processes_writing_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "shared.sqlite"
    writers = [_writer(path, 30, who) for who in "ABC"]  # none of them finds the file made
    for writer in writers:
        _, errors = writer.communicate(timeout=60)
        assert writer.returncode == 0, errors
    with SeasonLog(path) as log:
        notes = [s.entry.notes for s in log.entries()]
        assert sorted(notes) == sorted("ABC" * 30)
        assert [c.number for c in log.history()] == list(range(1, 91))


def test_kill_9_keeps_all_that_was_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "killed.sqlite"
    writer = _writer(path, 100_000, "X")
    assert writer.stdout is not None
    seen = [int(writer.stdout.readline()) for _ in range(25)][-1]
    os.kill(writer.pid, signal.SIGKILL)
    rest, _ = writer.communicate()
    acknowledged = int(rest.split()[-1]) if rest.split() and rest.endswith("\n") else seen
    with SeasonLog(path) as log:
        assert len(log.entries()) >= acknowledged + 1
        log.add(READING)  # and it goes on
        check = sqlite3.connect(path)
        assert check.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        check.close()


KILLED = """
import os, random, signal, sys, time
from windowcast.records.store import SeasonLog
from windowcast.records.model import FieldNote
import datetime as dt
place, points, chance = sys.argv[1], int(sys.argv[2]), random.Random(7)
told = 0
for point in range(points):
    ear, mouth = os.pipe()
    child = os.fork()
    if child == 0:
        with SeasonLog(place) as log:
            while True:
                log.add(FieldNote(dt.date(2025, 1, 1), "x" * chance.randrange(1, 500)))
                os.write(mouth, b".")
    os.close(mouth)
    os.read(ear, 1)
    told += 1
    time.sleep(chance.random() * 0.004)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(ear, 4096):
        told += len(more)
    os.close(ear)
    with SeasonLog(place) as log:
        assert point % 20 or log._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        (kept,) = log._db.execute("SELECT count(*) FROM changes").fetchone()
    assert told <= kept <= told + point + 1, (told, kept)
print(kept)
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="the writer is a fork of the one that kills it")
def test_kill_9_at_many_points_loses_nothing(tmp_path: Path) -> None:
    points = 40 * LONG  # 200 by hand
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(tmp_path / "killed.sqlite"), str(points)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= points


def test_full_disk_is_said_and_loses_nothing(log: SeasonLog) -> None:
    log.add(READING)
    (pages,) = log._db.execute("PRAGMA page_count").fetchone()
    log._db.execute(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(InputError, match="disk is full; nothing was written"):
        log.add(*[FieldNote(dt.date(2025, 1, 1), "x" * 3000) for _ in range(20)])
    assert [s.entry for s in log.entries()] == [READING]
    log._db.execute("PRAGMA max_page_count = 1000000")
    log.add(SPRAY)
    assert [s.entry for s in log.entries()] == [READING, SPRAY]


FULL = """
import datetime as dt, resource, signal, sys
from windowcast.core.errors import InputError
from windowcast.records.model import FieldNote
from windowcast.records.store import SeasonLog
from windowcast.report.log_entries import entry_text
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with SeasonLog(sys.argv[1]) as log:
    log.add(FieldNote(dt.date(2025, 1, 1), "first"))
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
    try:
        for number in range(2000):
            log.add(FieldNote(dt.date(2025, 1, 1), "x" * 3000))
            print(number, flush=True)
    except InputError as error:
        print(error, file=sys.stderr)
        sys.exit(error.exit_code)
"""


def test_operating_system_refusing_to_write_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "small.sqlite"
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert "nothing was" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    with SeasonLog(path) as log:
        assert len(log.entries()) == 1 + len(done.stdout.split())
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 200_000


def test_older_log_is_brought_up_to_date_and_a_copy_kept(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    db = sqlite3.connect(path)
    db.executescript(store_schema.MIGRATIONS[0])
    db.execute(f"PRAGMA application_id = {store_schema.APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")
    db.execute(
        "INSERT INTO changes (uid, at, action) VALUES ('u', '2024-01-01T00:00+00:00', 'add')"
    )
    db.execute(
        "INSERT INTO revisions VALUES (1, 'abcdef', 'probe', ?)",
        (json.dumps(to_plain(READING)),),
    )
    db.commit()
    db.close()
    with SeasonLog(path) as log:
        assert [s.entry for s in log.entries()] == [READING]
        assert log._db.execute("PRAGMA user_version").fetchone() == (store_schema.VERSION,)
        with pytest.raises(sqlite3.DatabaseError, match="history is kept"):
            log._db.execute("DELETE FROM changes")
    copy = sqlite3.connect(tmp_path / "old.sqlite.schema1.bak")
    assert copy.execute("PRAGMA user_version").fetchone() == (1,)
    assert copy.execute("SELECT count(*) FROM revisions").fetchone() == (1,)
    copy.close()


def test_log_from_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite"
    with SeasonLog(path) as log:
        log.add(READING)
        log._db.execute(f"PRAGMA user_version = {store_schema.VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"newer windowcast.*nothing was changed; update"):
        SeasonLog(path)
    assert path.read_bytes() == before


def test_files_that_are_no_log(tmp_path: Path) -> None:
    text_file = tmp_path / "text.sqlite"
    text_file.write_text("this is not a database, it is a text of some length" * 30)
    with pytest.raises(InputError, match="is not a season log"):
        SeasonLog(text_file)
    other = tmp_path / "other.sqlite"
    db = sqlite3.connect(other)
    db.execute("CREATE TABLE addresses (name TEXT)")
    db.commit()
    db.close()
    with pytest.raises(InputError, match="another program's database"):
        SeasonLog(other)
    with pytest.raises(InputError, match="folder does not exist"):
        SeasonLog(tmp_path / "no" / "log.sqlite")
    with pytest.raises(InputError, match="no such season log"):
        SeasonLog(tmp_path / "absent.sqlite", create=False)
    assert not (tmp_path / "absent.sqlite").exists()


def test_a_locked_log_is_said_not_hung(log: SeasonLog, monkeypatch: pytest.MonkeyPatch) -> None:
    log.add(READING)
    log._db.execute("PRAGMA busy_timeout = 100")
    other = sqlite3.connect(log.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    begun = time.monotonic()
    with pytest.raises(InputError, match="in use by another program; nothing was written"):
        log.add(SPRAY)
    assert time.monotonic() - begun < 5
    assert len(log.entries()) == 1  # reading goes on meanwhile
    other.execute("ROLLBACK")
    other.close()
    log.add(SPRAY)


def test_backup_is_a_whole_log_and_overwrites_nothing(log: SeasonLog, tmp_path: Path) -> None:
    log.add(READING, SPRAY)
    target = log.backup(tmp_path / "copy.sqlite")
    with SeasonLog(target) as copy:
        assert copy.history() == log.history()
    with pytest.raises(InputError, match="exists already"):
        log.backup(target)
    with pytest.raises(InputError):
        log.backup(tmp_path / "no" / "copy.sqlite")
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


# ---- import of foreign files --------------------------------------------------------------------


def test_hand_written_csv_is_one_change(log: SeasonLog, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(
        "kind,date,depth_m,temp_c,weed,per_m2,notes\n"
        "probe,2025-10-01,0.05,19.4,,,by hand\n"
        "count,2025-11-01,,,poaan,12,\n"
    )
    assert log.merge(import_export.read_log_file(file).changes) == 1
    assert [s.entry for s in log.entries()] == [
        SoilReading(dt.date(2025, 10, 1), 0.05, 19.4, notes="by hand"),
        ScoutingCount(dt.date(2025, 11, 1), "POAAN", 12.0),
    ]
    log.undo()
    assert log.entries() == []


def test_hand_written_rows_are_never_there_twice(log: SeasonLog, tmp_path: Path) -> None:
    # a trial counted twice would halve its variance
    file = tmp_path / "ratings.csv"
    head = "kind,date,trial,plot,treatment,value\n"
    rows = ["rating,2025-02-20,T,1,untreated,80\n", "rating,2025-02-20,T,2,simazine,20\n"]
    file.write_text(head + "".join(rows) + rows[1])  # two samples of a plot may be alike
    assert log.merge(import_export.read_log_file(file).changes) == 1
    assert len(log.entries()) == 3
    assert log.merge(import_export.read_log_file(file).changes) == 0
    file.write_text(head + "".join(rows) + rows[1] + "rating,2025-02-20,T,3,simazine,10\n")
    assert log.merge(import_export.read_log_file(file).changes) == 1
    assert len(log.entries()) == 4
    log.undo()
    assert len(log.entries()) == 3
    assert (
        log.merge(import_export.read_log_file(file).changes) == 1
    )  # what was taken back may come again
    assert len(log.entries()) == 4


@pytest.mark.parametrize(
    ("content", "match"),
    [
        ("kind,date,depth_m,temp_c\nprobe,2025-10-01,0.05,warm\n", r"row 2: temp_c: 'warm'"),
        ("kind,date,depth_m,temp_c\nprobe,2025-13-01,0.05,4\n", r"row 2: date"),
        ("kind,date,depth_m,temp_c\nprobe,2025-10-01,0.05\n", r"row 2: has not 4 cells"),
        ("kind,date,depth_m,temp_c\nprobe,2025-10-01,0.05,4,5\n", r"row 2: has not 4 cells"),
        ("kind,date,green_pct,temp_c\ncover,2025-10-01,5,4\n", r"temp_c: a cover has no temp_c"),
        ("kind,when\nprobe,2025-10-01\n", "column 'when' is not known"),
        ("date,temp_c\n2025-10-01,3\n", "no column 'kind'"),
        ("kind,date\nprobee,2025-10-01\n", r"row 2: kind: 'probee'.*close: probe"),
        ('{"format": "something else"}', "not an export of a season log"),
        ('{"format": "season log", "schema": 99, "changes": []}', "newer windowcast"),
        ('{"format": "season log", "schema": 1, "changes": [{}]}', "a change lacks a part"),
        ('{"format": ', "is not JSON"),
    ],
)
def test_bad_imports_add_nothing(log: SeasonLog, tmp_path: Path, content: str, match: str) -> None:
    file = tmp_path / "in.txt"
    file.write_text(content)
    with pytest.raises(InputError, match=match) as error:
        log.merge(import_export.read_log_file(file).changes)
    assert "in.txt" in str(error.value)
    assert log.history() == []
