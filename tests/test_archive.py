"""The station archive over HTTP: choice, blending, units, grades, and every trap of its client."""

from __future__ import annotations

import datetime as dt
import gzip
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import archive_world as world
import numpy as np
import pytest
from archive_world import Where, climate
from hypothesis import given, settings
from hypothesis import strategies as st
from loopback import GZIP, Answer, Loopback, closed_port, serving
from spoken import render

from windowcast.core.record import Grade, Place, Record
from windowcast.sources.archive import ArchiveSource
from windowcast.sources.archive_series import (
    Series,
    SeriesNotes,
    UnreadableError,
    joined,
    packed,
    read_year,
    unpacked,
)
from windowcast.sources.archive_stations import (
    completeness,
    months_that_matter,
    stations_near,
)
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetcher
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import FetchError, Kind
from windowcast.sources.source import Found, Request

LIMITS = Limits(0.5, 0.5, 2.0, 2, 0.01, 0.02, 2)
TODAY = dt.datetime.now(dt.UTC).date()
YESTERDAY = TODAY - dt.timedelta(1)
YEARS = range(TODAY.year - 2, TODAY.year + 1)
PLACE = Place("Long Meadow", 36.0, -95.0, 200.0, "America/Chicago")
# 10.0 km north and 20.0 km north on the sphere; heights as the site and 200 m above it
NEAR = Where("NEAR1", 36.0 + 10 / 111.195, -95.0, 200)
FAR = Where("FAR01", 36.0 + 20 / 111.195, -95.0, 200)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    with serving() as running:
        monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", running.url)
        yield running


@pytest.fixture(scope="module")
def read_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache in which the files of `two_stations` have been read, so that each test need not."""
    path = tmp_path_factory.mktemp("read") / "c.sqlite"
    with serving() as running, pytest.MonkeyPatch.context() as patch, Cache(path) as cache:
        patch.setenv("WINDOWCAST_ARCHIVE_URL", running.url)
        two_stations(running)
        ask(cache)
        with cache.writing() as db:
            db.execute("DELETE FROM entry")
    return path


@pytest.fixture
def cache(tmp_path: Path, read_once: Path) -> Iterator[Cache]:
    shutil.copy(read_once, tmp_path / "c.sqlite")
    with Cache(tmp_path / "c.sqlite") as opened:
        yield opened


def ask(
    cache: Cache,
    place: Place = PLACE,
    *,
    ahead_s: float = 0,
    offline: bool = False,
    station: str = "",
    past: bool = True,
) -> Found:
    clock = lambda: time.time() + ahead_s  # noqa: E731
    cache._clock = clock
    fetcher = Fetcher(cache, Client(LIMITS), clock=clock, offline=offline)
    request = Request(place, dt.date(YEARS[0], 1, 1), TODAY, past, station)
    return ArchiveSource().fetch(request, fetcher)


def daily_of(found: Found) -> Record:
    return next(r for r in found.records if r.daily)


def two_stations(server: Loopback, offset: float = 2.0) -> None:
    world.serve_stations(server, [NEAR, FAR])
    world.serve_daily(server, "NEAR1", YEARS, YESTERDAY)
    world.serve_daily(server, "FAR01", YEARS, YESTERDAY, lambda d: climate(d, offset))


# ---- choice of stations ----


def near(stations: list[Where], place: Place = PLACE) -> list[str]:
    return [s.id for s in stations_near(world.database(stations), place)]


def test_ranked_by_distance_and_height() -> None:
    """100 m of height count as 10 km (sources.toml, a choice)."""
    stations = [
        Where("HIGH1", 36.05, -95.0, 700),  # 5.6 km away, 500 m higher: as 50 km
        Where("LEVEL", 36.2, -95.0, 210),  # 22 km
        Where("NOHGT", 36.3, -95.0, None),  # 33 km, height unknown
        Where("DISTA", 37.5, -95.0, 200),  # 167 km: beyond the radius
    ]
    assert near(stations) == ["LEVEL", "NOHGT", "HIGH1"]


def test_stations_without_english_name_count() -> None:
    assert near([Where("DEUTS", 36.0, -95.1, language="de", name="Irgendwo")]) == ["DEUTS"]


def test_station_that_lists_no_temperature_comes_last() -> None:
    assert near([Where("RAIN1", 36.0, -95.0, listed=False), NEAR]) == ["NEAR1", "RAIN1"]


def test_ids_that_could_leave_the_path_are_refused() -> None:
    assert near([Where("../x1", 36.0, -95.0), NEAR]) == ["NEAR1"]


@pytest.mark.parametrize("lon", [179.9, -179.9])
def test_date_line_is_no_wall(lon: float) -> None:
    stations = [Where("WEST1", -17.0, -179.8), Where("EAST1", -17.0, 179.8)]
    assert set(near(stations, Place("Island", -17.0, lon, 100))) == {"WEST1", "EAST1"}


def test_box_is_wide_enough_in_the_north() -> None:
    """At 65° N a degree of longitude is 47 km."""
    assert near([Where("WIDE1", 65.0, -12.5)], Place("North", 65.0, -15.0, 100)) == ["WIDE1"]


def test_months_that_matter_are_turned_in_the_south() -> None:
    assert set(months_that_matter(False)) == {8, 9, 10, 11, 12, 1, 2, 3, 4}
    assert set(months_that_matter(True)) == {2, 3, 4, 5, 6, 7, 8, 9, 10}


def test_completeness_counts_only_months_that_matter() -> None:
    today = np.datetime64("2024-11-10", "D")
    times = np.arange(np.datetime64("2022-01-01"), today)
    summer = np.isin(times.astype("datetime64[M]").astype(int) % 12 + 1, [5, 6, 7])
    assert completeness(times, ~summer, today, southern=False) == 1.0
    assert completeness(times, summer, today, southern=False) == 0.0
    assert completeness(times, ~summer, today, southern=True) == pytest.approx(6 / 9, abs=0.02)


def test_incomplete_station_gives_way_to_a_farther_one(server: Loopback, cache: Cache) -> None:
    two_stations(server)
    world.serve_daily(
        server, "NEAR1", YEARS, YESTERDAY,
        lambda d: climate(d) if d.day < 10 else {"prcp": 0.0},
    )  # fmt: skip
    record = daily_of(ask(cache))
    assert [p.detail for p in record.provenance] == ["station FAR01 Somewhere, daily"]


def test_named_station_is_used_alone(server: Loopback, cache: Cache) -> None:
    two_stations(server)
    record = daily_of(ask(cache, station="FAR01"))
    assert len(record.provenance) == 1
    assert record.provenance[0].weight == 1.0
    assert f"/daily/{TODAY.year}/NEAR1.csv.gz" not in server.paths()
    assert render(ask(cache, station="NOSUC").flags[0].text) == "the archive has no station NOSUC"


# ---- blending ----


def test_two_stations_are_blended_by_inverse_square(server: Loopback, cache: Cache) -> None:
    """10 km and 20 km: 0.8 and 0.2 (Shepard 1968); 2 K apart, so +0.4 K on the nearer one."""
    two_stations(server)
    record = daily_of(ask(cache))
    days = [d.astype(dt.date) for d in record.times]
    for name, column in (("tmax_c", "tmax"), ("tmin_c", "tmin"), ("tmean_c", "temp")):
        expected = [0.8 * climate(d)[column] + 0.2 * climate(d, 2.0)[column] for d in days]
        np.testing.assert_allclose(record.get(name), expected, atol=1e-6)
    assert [p.weight for p in record.provenance] == [0.8, 0.2]
    assert [p.distance_km for p in record.provenance] == pytest.approx([10, 20], abs=0.01)
    assert str(record.times[0]) == f"{YEARS[0]}-01-01"
    assert record.times[-1] == np.datetime64(YESTERDAY)


def test_height_is_corrected_by_the_standard_lapse_rate(server: Loopback, cache: Cache) -> None:
    world.serve_stations(server, [Where("HILL1", 36.05, -95.0, 700)])
    world.serve_daily(server, "HILL1", YEARS, YESTERDAY)
    record = daily_of(ask(cache))
    first = climate(dt.date(YEARS[0], 1, 1))
    assert record.get("tmax_c")[0] == pytest.approx(first["tmax"] + 6.5 * 0.5)
    assert record.provenance[0].elevation_m == 700


def test_rain_is_that_of_the_nearest_station(server: Loopback, cache: Cache) -> None:
    two_stations(server)
    world.serve_daily(server, "FAR01", YEARS, YESTERDAY, lambda d: {**climate(d), "prcp": 9.0})
    rain = daily_of(ask(cache)).get("precip_mm")
    assert set(np.unique(rain)) == {0.0, 2.5}


# ---- units, grades, times: the form the installed client reads ----


def test_units_become_those_of_the_schema(server: Loopback, cache: Cache) -> None:
    """km/h → m/s, cm → mm, okta → fraction (units as meteostat declares them)."""
    world.serve_stations(server, [NEAR])
    world.serve_daily(
        server, "NEAR1", YEARS, YESTERDAY,
        lambda d: {**climate(d), "wspd": 36.0, "snwd": 12, "rhum": 71},
    )  # fmt: skip
    start = dt.datetime.combine(TODAY - dt.timedelta(2), dt.time())
    rows = world.hours(start, 24, lambda _: {
        "temp": 11.5, "wspd": 18.0, "wpgt": 54.0, "wdir": 270, "rhum": 66, "cldc": 6,
        "pres": 1016.4, "prcp": 0.4,
    })  # fmt: skip
    world.serve_hourly(server, "NEAR1", rows)
    found = ask(cache)
    day = daily_of(found)
    assert day.get("wind_mean_m_s")[-1] == pytest.approx(10.0)
    assert day.get("snow_depth_mm")[-1] == pytest.approx(120.0)
    assert day.get("rh_mean_pct")[-1] == pytest.approx(71.0)
    hour = next(r for r in found.records if not r.daily)
    at = int(np.searchsorted(hour.times, np.datetime64(start)))
    for name, value in (
        ("temp_c", 11.5), ("wind_m_s", 5.0), ("gust_m_s", 15.0), ("wind_from_deg", 270.0),
        ("rh_pct", 66.0), ("cloud_fraction", 0.75), ("pressure_hpa", 1016.4),
    ):  # fmt: skip
        assert hour.get(name)[at] == pytest.approx(value), name


def test_hourly_rain_belongs_to_the_hour_that_begins(server: Loopback, cache: Cache) -> None:
    """Services report the total of the hour that ends at the time, also over New Year."""
    world.serve_stations(server, [NEAR])
    start = dt.datetime.combine(TODAY - dt.timedelta(2), dt.time())
    rows = world.hours(start, 12, lambda w: {"temp": 5.0, "prcp": float(w.hour)})
    world.serve_hourly(server, "NEAR1", rows)
    hour = ask(cache, past=False).records[0]
    at = int(np.searchsorted(hour.times, np.datetime64(start)))
    np.testing.assert_array_equal(hour.get("precip_mm")[at - 1 : at + 11], np.arange(12.0))
    assert np.isnan(hour.get("temp_c")[at - 1])
    parts = {}
    for year in (2023, 2024):
        first = dt.datetime.fromisoformat("2023-12-31T20" if year == 2023 else "2024-01-01T00")
        part = world.hours(first, 4, lambda w: {"prcp": 1.0 + w.hour})
        body = gzip.decompress(world.table(part, world.HOURLY, hourly=True))
        parts[year] = read_year(body, "hourly", year, SeriesNotes.of_client())
    series = joined([parts[2023], parts[2024]])
    late = int(np.searchsorted(series.times, np.datetime64("2023-12-31T22", "h")))
    np.testing.assert_array_equal(series.values["precip_mm"][late : late + 3], [24.0, 1.0, 2.0])


def test_grades_follow_the_source_of_each_value(server: Loopback, cache: Cache) -> None:
    """Model values are mixed into the archive; of several sources the least one counts."""
    world.serve_stations(server, [NEAR])
    kinds = {
        1: ("isd_lite", Grade.OBSERVED),
        2: ("dwd_mosmix", Grade.FORECAST),
        3: ("metno_forecast", Grade.FORECAST),
        4: ("isd_lite dwd_mosmix", Grade.FORECAST),
        5: ("a_new_source", Grade.ESTIMATED),
        6: ("", Grade.ESTIMATED),  # a value that names no source
        7: ("ghcnd isd_lite", Grade.OBSERVED),
    }

    def make(day: dt.date) -> dict[str, object]:
        source = kinds.get(day.day, ("ghcnd", 0))[0]
        return {**climate(day), "tmax": (climate(day)["tmax"], source)}

    world.serve_daily(server, "NEAR1", YEARS, YESTERDAY, make)
    measured, modelled = (r for r in ask(cache).records if r.daily)
    for day, (source, grade) in kinds.items():
        at = int((np.datetime64(f"{YEARS[0]}-03-{day:02}") - measured.times[0]).astype(int))
        record, other = (modelled, measured) if grade == Grade.FORECAST else (measured, modelled)
        assert record.grade("tmax_c")[at] == grade, source
        assert np.isfinite(record.get("tmax_c")[at])
        assert np.isnan(other.get("tmax_c")[at]), "no value stands in both"


def test_values_are_those_the_client_reads_itself(tmp_path: Path) -> None:
    """Against meteostat used as its documentation says, on the same file."""
    import meteostat
    from meteostat.providers.meteostat import daily as provider

    last = dt.date(2024, 12, 31)

    def make(day: dt.date) -> dict[str, object]:
        """With a value that no weather has on one day of a month, and none on another."""
        odd = {7: {"tmax": 99.9}, 8: {"prcp": -5.0}, 9: {"tmin": ""}}
        return {**climate(day), **odd.get(day.day, {})}

    body = world.table(world.days(2024, last, make), world.DAILY, hourly=False)
    (tmp_path / "2024.csv.gz").write_bytes(body)
    kept = provider.ENDPOINT, meteostat.config.cache_enable
    provider.ENDPOINT, meteostat.config.cache_enable = f"file://{tmp_path}/{{year}}.csv.gz", False
    try:
        frame = meteostat.daily(
            meteostat.Station(id="X"), dt.date(2024, 1, 1), dt.date(2024, 12, 31)
        ).fetch()
    finally:
        provider.ENDPOINT, meteostat.config.cache_enable = kept
    ours = read_year(gzip.decompress(body), "daily", 2024, SeriesNotes.of_client())
    assert len(ours.times) == len(frame) == 366, "29 February included"
    for column, name in (("tmax", "tmax_c"), ("tmin", "tmin_c"), ("prcp", "precip_mm")):
        np.testing.assert_array_equal(ours.values[name], frame[column].to_numpy(float))


def test_series_survive_the_cache() -> None:
    times = np.array(["2024-02-28", "2024-03-01"], dtype="datetime64[D]")
    series = Series(
        times, {"tmax_c": np.array([1.5, np.nan])}, {"tmax_c": np.array([0, 4], np.uint8)}
    )
    back = unpacked(packed(series))
    np.testing.assert_array_equal(back.times, times)
    np.testing.assert_array_equal(back.values["tmax_c"], series.values["tmax_c"])
    np.testing.assert_array_equal(back.grades["tmax_c"], series.grades["tmax_c"])


# ---- no data, no network, bad files ----


def test_no_data_is_not_no_network(
    server: Loopback, cache: Cache, monkeypatch: pytest.MonkeyPatch
) -> None:
    """meteostat gives the same empty series for both."""
    world.serve_stations(server, [NEAR])
    found = ask(cache)  # every file is 404
    assert found.records == ()
    assert [f.check for f in found.flags] == ["no-station"]
    world.serve_stations(server, [Where("ELSEW", -36.0, 95.0)])
    with Cache(cache.path.with_name("b.sqlite")) as other:
        assert "no station within 120 km" in render(ask(other).flags[0].text)
    monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", f"http://127.0.0.1:{closed_port()}")
    with Cache(cache.path.with_name("c2.sqlite")) as other, pytest.raises(FetchError) as caught:
        ask(other)
    assert caught.value.kind is Kind.CONNECTION


def test_list_of_stations_of_another_form(server: Loopback, cache: Cache) -> None:
    server.routes["/stations.db"] = Answer(other_database(), type="application/octet-stream")
    with pytest.raises(FetchError, match="list of stations is not as documented"):
        ask(cache)
    body = world.database([NEAR])
    server.routes["/stations.db"] = Answer(body[: len(body) // 2], type="application/octet-stream")
    with Cache(cache.path.with_name("b.sqlite")) as other, pytest.raises(FetchError):
        ask(other)


BAD_FILES = {
    "truncated": Answer(gzip.compress(b"year,month,day\n" * 999)[:-8], type=GZIP),
    "page": Answer(b"<!DOCTYPE html><html></html>", type="text/html"),
    "error": Answer(b"", 500),
    "other columns": Answer(gzip.compress(b"a,b,c\n1,2,3\n"), type=GZIP),
    "no rows": Answer(gzip.compress(b"year,month,day,tmax,tmax_source\n"), type=GZIP),
    "words for numbers": Answer(
        gzip.compress(b"year,month,day,tmax,tmax_source\n2024,x,1,5,ghcnd\n"), type=GZIP
    ),
}


@pytest.mark.parametrize("fault", BAD_FILES)
def test_bad_file_costs_only_itself_and_is_told(fault: str, server: Loopback, cache: Cache) -> None:
    two_stations(server)
    server.routes[f"/daily/{YEARS[0]}/FAR01.csv.gz"] = BAD_FILES[fault]
    found = ask(cache)
    record = daily_of(found)
    at = int((np.datetime64(f"{YEARS[0]}-06-01") - record.times[0]).astype(int))
    expected = climate(dt.date(YEARS[0], 6, 1))["tmax"]
    assert record.get("tmax_c")[at] == pytest.approx(expected), "the other station alone"
    checks = {f.check for f in found.flags}
    assert "archive-incomplete" in checks


def test_lagging_archive_is_flagged(server: Loopback, cache: Cache) -> None:
    world.serve_stations(server, [NEAR])
    last = TODAY - dt.timedelta(9)
    world.serve_daily(server, "NEAR1", YEARS, last)
    found = ask(cache)
    assert any(f.check == "archive-lag" and str(last) in render(f.text) for f in found.flags)
    assert daily_of(found).provenance[0].last == str(last)


def test_days_are_used_where_the_hours_cannot_be_had(server: Loopback, cache: Cache) -> None:
    two_stations(server)
    for station in ("NEAR1", "FAR01"):
        for year in range(TODAY.year - 1, TODAY.year + 2):
            server.routes[f"/hourly/{year}/{station}.csv.gz"] = Answer(b"", 403)
    found = ask(cache)
    assert np.isfinite(daily_of(found).get("tmax_c")).all()
    assert any(
        f.check == "archive-incomplete" and "no hourly station data" in render(f.text)
        for f in found.flags
    )
    with pytest.raises(FetchError, match="403"):
        ask(cache, past=False)


def test_outage_uses_kept_files_flagged_and_not_for_ever(
    server: Loopback, cache: Cache, monkeypatch: pytest.MonkeyPatch
) -> None:
    two_stations(server)
    fresh = daily_of(ask(cache))
    monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", server.url)
    server.routes = {path: Answer(b"", 503) for path in server.routes}
    day = 86400
    old = ask(cache, ahead_s=3 * day)
    assert any(f.check == "stale-archive" and "503" in render(f.text) for f in old.flags)
    assert all(p.stale for p in daily_of(old).provenance)
    np.testing.assert_array_equal(daily_of(old).get("tmax_c"), fresh.get("tmax_c"))
    with pytest.raises(FetchError):
        ask(cache, ahead_s=16 * day)
    with pytest.raises(FetchError):
        ask(cache, ahead_s=16 * day, offline=True)
    offline = ask(cache, ahead_s=3 * day, offline=True)
    np.testing.assert_array_equal(daily_of(offline).get("tmax_c"), fresh.get("tmax_c"))


WARM = """
import datetime as dt, sys
from pathlib import Path
from windowcast.sources.archive import ArchiveSource
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetcher
from windowcast.core.record import Place
from windowcast.sources.source import Request
place = Place("x", 36.0, -95.0, 200.0, "America/Chicago")
fetcher = Fetcher(Cache(), refresh=len(sys.argv) > 2)
today = dt.date.fromisoformat(sys.argv[1])
found = ArchiveSource().fetch(Request(place, dt.date(today.year - 2, 1, 1), today), fetcher)
heavy = {"pandas", "meteostat", "requests"} & set(sys.modules)
print(fetcher.client.requests_sent, sorted(heavy), len(found.records))
"""


def test_second_run_asks_nothing_imports_nothing_heavy_and_leaves_no_files(
    server: Loopback, tmp_path: Path
) -> None:
    two_stations(server)
    env = {
        **os.environ, "HOME": str(tmp_path / "home"), "WINDOWCAST_CACHE": str(tmp_path / "cache"),
        "TMPDIR": str(tmp_path / "tmp"),
    }  # fmt: skip
    (tmp_path / "home").mkdir()
    (tmp_path / "tmp").mkdir()

    def run(*args: str) -> str:
        return subprocess.run(
            [sys.executable, "-c", WARM, TODAY.isoformat(), *args],
            env=env, capture_output=True, text=True, check=True,
        ).stdout.strip()  # fmt: skip

    outs = [run(), run()]
    asked, first_heavy = outs[0].split(" ", 1)
    assert int(asked) == len(server.requests) > 6
    assert "meteostat" in first_heavy
    assert outs[1] == "0 [] 2"
    world.serve_daily(server, "NEAR1", YEARS, YESTERDAY, lambda d: climate(d, 1.0))
    assert run("refresh").endswith("['requests'] 2"), "new files need no second look at its lists"
    left = sorted(p.name for p in (tmp_path / "home").rglob("*"))
    assert left == [], "no ~/.meteostat"
    assert list((tmp_path / "tmp").iterdir()) == []
    assert [p.name for p in (tmp_path / "cache").iterdir() if "sqlite" not in p.name] == []


@settings(max_examples=20)
@given(st.data())
def test_any_file_is_read_or_refused_by_name(data: st.DataObject) -> None:
    """Whatever stands in a cell, a row or a header: a series, or `UnreadableError`."""
    rows = gzip.decompress(
        world.table(world.days(2024, dt.date(2024, 1, 9), climate), world.DAILY, hourly=False)
    ).decode().split("\n")[:-1]  # fmt: skip
    table = [row.split(",") for row in rows]
    for _ in range(data.draw(st.integers(1, 3))):
        row = data.draw(st.sampled_from(table))
        column = data.draw(st.integers(0, len(row) - 1))
        odd = st.sampled_from(["", "x", "1e999", "-9999", "nan", "31", "\x00", '"', "ghcnd"])
        row[column] = data.draw(odd)
        if data.draw(st.booleans()):
            table.append(list(row))
    body = "\n".join(",".join(row) for row in table).encode()
    try:
        series = read_year(body, "daily", 2024, SeriesNotes.of_client())
    except UnreadableError:
        return
    assert (np.diff(series.times.astype(np.int64)) > 0).all()
    for value in series.values.values():
        assert len(value) == len(series.times)


def other_database() -> bytes:
    db = sqlite3.connect(":memory:")
    db.execute("CREATE TABLE other (x)")
    return db.serialize()


WRONG_FILES = {
    "error text": Answer(gzip.compress(b"service unavailable, try again\n"), type=GZIP),
    "no rows": BAD_FILES["no rows"],
    "other columns": BAD_FILES["other columns"],
    "not there": Answer(b"", 404),
}


@pytest.mark.parametrize("wrong", WRONG_FILES)
def test_a_wrong_file_never_takes_the_place_of_a_good_one(
    wrong: str, server: Loopback, cache: Cache
) -> None:
    two_stations(server)
    path = f"/daily/{YEARS[-1]}/NEAR1.csv.gz"
    good = daily_of(ask(cache))
    right, server.routes[path] = server.routes[path], WRONG_FILES[wrong]
    day = 86_400
    found = ask(cache, ahead_s=day)
    np.testing.assert_array_equal(daily_of(found).get("tmax_c"), good.get("tmax_c"))
    assert "stale-archive" in {flag.check for flag in found.flags}
    server.routes[path] = right
    healed = ask(cache, ahead_s=day + 301)
    assert "stale-archive" not in {flag.check for flag in healed.flags}


def test_another_database_never_takes_the_place_of_the_list_of_stations(
    server: Loopback, cache: Cache
) -> None:
    two_stations(server)
    ask(cache)
    server.routes["/stations.db"] = Answer(other_database(), type="application/octet-stream")
    found = ask(cache, ahead_s=40 * 86_400)
    assert found.records
