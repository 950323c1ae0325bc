"""The record of what was foretold: kept once, bounded, and never at the cost of an answer."""

from __future__ import annotations

import datetime as dt
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from click.testing import CliRunner

from windowcast.cli.weather import doctor
from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Place, Provenance, Record, Weather
from windowcast.core.time_axis import grades_of
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE, remove
from windowcast.sources.foretold import (
    DAY_S,
    Announced,
    Came,
    Foretold,
    HeldWindow,
    Issue,
    Said,
    SaidOnce,
    ground_key,
)
from windowcast.weather.foretold_days import (
    NIGHT_LOW,
    cases_of,
    measured,
    night_lows,
    on_record,
    said_by,
)

ZONE = ZoneInfo("America/Chicago")
PLACE = Place("Long Meadow", 33.5, -86.8, 190.0, ZONE.key)
NOW = 1_800_000_000
HOUR = 3600


@pytest.fixture
def store(tmp_path: Path) -> Foretold:
    return Foretold(tmp_path / "c.sqlite", clock=lambda: float(NOW))


def issue(issued: int = NOW, digest: str = "d", source: str = "forecast") -> Issue:
    return Issue("", source, issued, issued, digest)


def high(day: int, value: float = 20.0) -> Said:
    start = NOW + day * DAY_S
    return Said("tmax_c", start, start + DAY_S, value)


def window(start: int = NOW + DAY_S) -> Announced:
    return Announced(
        "post-early", start, start + 5 * HOUR, "fit", 81.0, 0.8, 0.7, 0.9, 100, "forecast", ""
    )


def test_what_was_said_is_kept_once_with_its_lead(store: Foretold) -> None:
    assert store.keep(PLACE, issue(), [high(1), high(2)])
    assert not store.keep(PLACE, issue(), [high(1), high(2)]), "the same forecast asked for again"
    assert store.keep(PLACE, issue(digest="e"), [high(1, 21.0)])
    found = store.said(PLACE, NOW)
    assert [(one.lead_h, one.said.value) for one in found] == [
        (24.0, 20.0), (48.0, 20.0), (24.0, 21.0)
    ]  # fmt: skip
    assert store.said(Place("elsewhere", 33.6, -86.8), NOW) == []


def test_only_what_existed_before_the_event_is_read(store: Foretold) -> None:
    store.keep(PLACE, issue(), [high(-1), Said("tmax_c", NOW, NOW + DAY_S, 20.0)])
    assert [one.said.start for one in store.said(PLACE, 0)] == [NOW]
    late = Issue("g", "windowcast", NOW - DAY_S, NOW + HOUR, "d")  # answered after it had begun
    store.keep(PLACE, late, [Said("soil_5cm_c", NOW, NOW + DAY_S, 12.0)], [window(NOW)])
    assert store.said(PLACE, 0, ground="g") == []
    assert store.announced(PLACE, 0) == []


def test_windows_with_their_odds_and_what_came_of_them(store: Foretold) -> None:
    ground = ground_key("field 1", "bermudagrass")
    assert "field" not in ground
    store.keep(PLACE, Issue(ground, "windowcast", NOW, NOW, "d"), [], [window()])
    (one,) = store.announced(PLACE, NOW)
    assert (one.lead_h, one.window) == (24.0, window())
    came = HeldWindow(ground, "post-early", NOW, NOW + HOUR, "", None, ("gusts", "inversion"))
    store.keep_held(PLACE, [came])
    store.keep_held(PLACE, [HeldWindow(ground, "post-early", NOW, NOW + HOUR, "", True, ())])
    assert store.held(PLACE, NOW) == [came], "what was judged first stands"


def test_rows_are_never_changed(store: Foretold) -> None:
    store.keep(PLACE, issue(), [high(1)])
    with sqlite3.connect(store.path) as db, pytest.raises(sqlite3.IntegrityError, match="added to"):
        db.execute("UPDATE told SET value = 99")


def test_old_rows_and_too_many_go(store: Foretold) -> None:
    store.keep(PLACE, issue(NOW - 400 * DAY_S, "old"), [high(-399)])
    store.keep_came(PLACE, [Came(NIGHT_LOW, NOW - 399 * DAY_S, NOW - 398 * DAY_S, 1.0)])
    store.keep(PLACE, issue(NOW, "new"), [high(1)])
    assert store.count(PLACE) == 1
    assert store.came(PLACE, 0) == []
    store._values = store._values.varied({"max_rows": 60})
    for number in range(5):
        store.keep(PLACE, issue(NOW + number, f"n{number}"), [high(day) for day in range(1, 21)])
    said = store.said(PLACE, 0)
    assert 40 <= len(said) <= 60
    assert said[-1].issued == NOW + 4, "the newest stay"


def test_a_year_of_hourly_forecasts_stays_small(store: Foretold) -> None:
    rows = [high(day) for day in range(60)]
    for number in range(12):
        store.keep(PLACE, issue(NOW - number, str(number)), rows)
    with sqlite3.connect(store.path) as db:
        pages = db.execute("SELECT page_count * page_size FROM pragma_page_count, pragma_page_size")
        assert pages.fetchone()[0] / (12 * 60) < 130, "bytes a row"


# ---- faults: each costs the record, none the answer ----------------------------------------


def weather(now: dt.datetime) -> tuple[Weather, Record]:
    """Two days measured by the hour, then a forecast of four days issued an hour ago."""
    today = np.datetime64(now.astimezone(ZONE).date())
    start = np.datetime64(now.replace(tzinfo=None), "h")
    hours = np.arange(start - np.timedelta64(48, "h"), start + np.timedelta64(96, "h"))
    temp = 10.0 + 5 * np.cos((hours.astype(int) % 24 - 20) * np.pi / 12)
    ahead = hours >= start
    said = Record(
        PLACE, hours[ahead], {"temp_c": temp[ahead]},
        {"temp_c": grades_of(temp[ahead], Grade.FORECAST)},
        (Provenance("forecast", "", issued=now - dt.timedelta(hours=1), fetched=now, digest="x"),),
    )  # fmt: skip
    grade = np.where(ahead, np.uint8(Grade.FORECAST), np.uint8(Grade.OBSERVED))
    hourly = Record(PLACE, hours, {"temp_c": temp}, {"temp_c": grade})
    days = np.arange(today - np.timedelta64(30, "D"), today)
    value = np.full(30, 15.0)
    daily = Record(PLACE, days, {"tmax_c": value}, {"tmax_c": grades_of(value)})
    return Weather(daily, hourly, today.astype(object)), said


def kept(store: Foretold) -> list[str]:
    found, said = weather(dt.datetime.fromtimestamp(NOW, dt.UTC))
    return [flag.check for flag in on_record(found, [said], store).daily.flags]


def test_forecast_and_nights_are_kept_and_asking_again_adds_nothing(store: Foretold) -> None:
    assert kept(store) == [] == kept(store)
    assert store.count(PLACE) == 1
    elements = {one.said.element for one in store.said(PLACE, 0)}
    assert elements == {"tmax_c", "tmin_c", NIGHT_LOW}
    assert {c.element for c in store.came(PLACE, 0)} == {NIGHT_LOW}


def test_a_locked_database_costs_the_record_and_no_time(store: Foretold) -> None:
    kept(store)
    holding = sqlite3.connect(store.path, isolation_level=None)
    holding.execute("BEGIN EXCLUSIVE")
    store._values = store._values.varied({"busy": 0.02})
    began = time.monotonic()
    assert kept(store) == ["not-on-record"]
    assert time.monotonic() - began < 1.0
    holding.execute("ROLLBACK")
    holding.close()
    assert kept(store) == []


def test_a_full_disk_costs_the_record(store: Foretold, monkeypatch: pytest.MonkeyPatch) -> None:
    store.keep(PLACE, issue(), [high(1)])
    connect = Foretold._connect

    def full(self: Foretold) -> sqlite3.Connection:
        db = connect(self)
        (pages,) = db.execute("PRAGMA page_count").fetchone()
        db.execute(f"PRAGMA max_page_count = {pages}")
        return db

    monkeypatch.setattr(Foretold, "_connect", full)
    with pytest.raises(InputError, match="full"):
        store.keep(PLACE, issue(digest="big"), [high(day) for day in range(3000)])
    monkeypatch.undo()
    assert len(store.said(PLACE, 0)) == 1, "nothing of it stays"


def test_a_damaged_table_costs_the_record_and_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Foretold(tmp_path / FILE, clock=lambda: float(NOW))
    store.keep(PLACE, issue(), [high(day) for day in range(200)])
    with sqlite3.connect(store.path) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'told'").fetchone()
        (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    raw = bytearray(store.path.read_bytes())
    raw[(page - 1) * size : page * size] = b"\x77" * size
    store.path.write_bytes(raw)
    assert "malformed" in store.problem()
    assert kept(store) == ["not-on-record"]
    monkeypatch.setenv("WINDOWCAST_CACHE", str(store.path.parent))
    done = CliRunner().invoke(doctor, [])
    assert done.exit_code == 10
    assert "clear --all" in done.output
    with Cache(store.path) as cache:  # the answers beside it are whole
        cache.put("u", "s", b"{}", fresh_s=60)
        assert cache.body("u") == b"{}"
    remove(store.path)  # as windowcast weather clear --all, which the doctor names
    assert kept(store) == []
    assert store.problem() == ""


def test_tables_of_another_form_are_set_aside(store: Foretold) -> None:
    with Cache(store.path) as cache:
        cache.size()
    with sqlite3.connect(store.path) as db:
        db.execute("CREATE TABLE told (issue INTEGER, words TEXT)")
        db.execute("INSERT INTO told VALUES (1, 'of an older program')")
    assert store.said(PLACE, 0) == []
    assert kept(store) == []
    assert store.count(PLACE) == 1
    with sqlite3.connect(store.path) as db:
        assert db.execute("SELECT words FROM told_before").fetchall() == [("of an older program",)]


def test_a_cache_of_the_first_form_takes_the_record(store: Foretold) -> None:
    with Cache(store.path) as cache:
        cache.put("u", "s", b"{}", fresh_s=60)
    with sqlite3.connect(store.path) as db:
        db.executescript("DROP TABLE former; PRAGMA user_version = 1;")
    assert kept(store) == []
    with Cache(store.path) as cache:
        assert cache.body("u") == b"{}"


def test_no_database_no_record_and_none_is_made_by_reading(store: Foretold) -> None:
    assert store.said(PLACE, 0) == []
    assert store.problem() == ""
    assert not store.path.exists()
    store.path.write_bytes(b"not a database" * 100)
    assert kept(store) == ["not-on-record"]


def test_many_threads_write_at_once(store: Foretold) -> None:
    store.keep(PLACE, issue(), [high(1)])
    store._values = store._values.varied({"busy": 20.0})

    def write(number: int) -> None:
        for k in range(5):
            store.keep(PLACE, issue(NOW + k, f"{number}"), [high(day) for day in range(1, 4)])

    threads = [threading.Thread(target=write, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert store.count(PLACE) == 21
    assert len(store.said(PLACE, NOW - DAY_S)) >= 40


WRITER = """
import sys
from pathlib import Path
from windowcast.core.record import Place
from windowcast.sources.foretold import Foretold, Issue, Said
store = Foretold(Path(sys.argv[1]))
store._values = store._values.varied({"busy": 20.0})
place = Place("x", 33.5, -86.8)
print("ready", flush=True)
for number in range(int(sys.argv[2]), 100_000, 2):
    rows = [Said("tmax_c", 2_000_000_000 + 86_400 * k, 2_000_086_400 + 86_400 * k, 1.0)
            for k in range(30)]
    issue = Issue("", "forecast", 1_800_000_000 + number, 1_800_000_000, str(number))
    store.keep(place, issue, rows)
"""


@pytest.mark.slow
def test_two_processes_write_and_are_killed(tmp_path: Path) -> None:
    path = tmp_path / "c.sqlite"
    for _ in range(3):
        running = [
            subprocess.Popen(
                [sys.executable, "-c", WRITER, str(path), str(n)], stdout=subprocess.PIPE
            )
            for n in range(2)
        ]
        for one in running:
            assert one.stdout is not None
            one.stdout.readline()
        time.sleep(0.3)
        for one in running:
            os.kill(one.pid, signal.SIGKILL)
            one.wait()
            assert one.stdout is not None
            one.stdout.close()
        store = Foretold(path)
        assert store.problem() == ""
        with sqlite3.connect(path) as db:
            uneven = db.execute(
                "SELECT count(*) FROM told_issue i WHERE count !="
                " (SELECT count(*) FROM told t WHERE t.issue = i.id)"
            ).fetchone()
            assert uneven == (0,), "every issue is whole"
    assert store.count(Place("x", 33.5, -86.8)) > 10


# ---- what is held against what --------------------------------------------------------------


def test_a_night_is_not_the_lowest_of_the_date() -> None:
    """On a day on which the cold comes in the evening the two differ by a night."""
    midnight = np.datetime64("2026-01-10T06", "h")  # local midnight
    hours = np.arange(midnight - np.timedelta64(12, "h"), midnight + np.timedelta64(48, "h"))
    temp = np.where(hours < midnight + np.timedelta64(20, "h"), 8.0, -6.0)  # freezes from 20:00
    record = Record(PLACE, hours, {"temp_c": temp}, {"temp_c": grades_of(temp)})
    nights = {c.start: c.value for c in night_lows(record)}
    evening = int((midnight - np.timedelta64(6, "h")).astype(int)) * HOUR
    assert nights[evening] == 8.0
    assert nights[evening + DAY_S] == -6.0
    said = {(s.element, s.start): s.value for s in said_by(record)}
    assert said["tmin_c", evening + 6 * HOUR] == -6.0, "the lowest of the date is the next night's"


def test_a_night_needs_its_hours() -> None:
    midnight = np.datetime64("2026-01-10T06", "h")
    hours = np.arange(midnight - np.timedelta64(6, "h"), midnight + np.timedelta64(10, "h"))
    temp = np.linspace(9.0, 2.0, 16)
    holed = temp.copy()
    holed[4:7] = np.nan
    for values, count in ((temp, 1), (holed, 0)):
        record = Record(PLACE, hours, {"temp_c": values}, {"temp_c": grades_of(values)})
        assert len(night_lows(record)) == count


def test_cases_count_once_a_day_and_lead() -> None:
    store_rows = []
    start = int(dt.datetime(2026, 1, 10, tzinfo=ZONE).timestamp())
    for hour, value in ((6, 10.0), (12, 11.0), (18, 12.0)):
        issued = int(dt.datetime(2026, 1, 8, hour, tzinfo=ZONE).timestamp())
        said = Said("tmax_c", start, start + DAY_S, value)
        store_rows.append(SaidOnce("", "forecast", issued, issued, 0.0, said))
    came = [Came("tmax_c", start, start + DAY_S, 13.0)]
    (case,) = cases_of(store_rows, came, ZONE)
    assert (case.lead, case.said, case.came) == (2, 12.0, 13.0)
    assert cases_of(store_rows, [], ZONE) == []


def test_measured_is_not_forecast() -> None:
    found, _ = weather(dt.datetime.fromtimestamp(NOW, dt.UTC))
    came = measured(found, found.today - dt.timedelta(days=5))
    assert sum(c.element == "tmax_c" for c in came) == 5
    assert max(c.stop for c in came) <= NOW + 12 * HOUR
    nights = [c for c in came if c.element == NIGHT_LOW]
    assert 1 <= len(nights) <= 2
