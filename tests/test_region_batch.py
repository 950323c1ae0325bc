"""Stations side by side give what a single site gives, whoever is beside them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_SOUTH, OHIO

from windowcast.core.record import Place, Record
from windowcast.core.season_calendar import season_slices
from windowcast.core.values import load
from windowcast.programme.workable_days import day_scores, workable
from windowcast.region import batch, columns
from windowcast.region.batch import Options, compute, station_record
from windowcast.region.columns import WEEKS
from windowcast.region.engine import Station
from windowcast.region.models import seasons_of, stacked, workable_weeks
from windowcast.season.dates import key_dates
from windowcast.season.state import build
from windowcast.sources.files import placed, read_weather
from windowcast.windows.barrier import best_day, cover
from windowcast.windows.days import DayContext
from windowcast.windows.model import PURPOSES
from windowcast.windows.opening import judged_days
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import Laying, usual_material
from windowcast.windows.score import Rule

OPTIONS = Options()
GHCN = FOLDER.parent / "ghcn"
AUSTIN, MELBOURNE = "USW00013904_1999-2004.dly.gz", "ASN00086071_2011-2012.dly.gz"
STATIONS = (  # all begin on other days, one has no place, one is in the south
    Station("selma", str(FOLDER / f"{DEEP_SOUTH}.txt.gz"), region="south"),
    Station("bowling", str(FOLDER / f"{MID_SOUTH}.txt.gz"), region="north"),
    Station("nowhere", str(GHCN / AUSTIN)),
    Station("ohio", str(FOLDER / f"{OHIO}.txt.gz"), region="north"),
    Station("melbourne", str(GHCN / MELBOURNE), latitude_deg=-37.83, longitude_deg=144.98),
    Station("austin", str(GHCN / AUSTIN), "Austin", "south", 30.3, -97.7, 200.0),
)
GOOD = tuple(s for s in STATIONS if s.id != "nowhere")


@pytest.fixture(scope="module")
def table() -> pa.Table:
    return computed(STATIONS)


def computed(stations: tuple[Station, ...], options: Options = OPTIONS) -> pa.Table:
    """Only the seasons."""
    return compute(stations, json.dumps(options.plain()))["seasons"]


def rows(table: pa.Table, station: str) -> list[dict[str, object]]:
    return [row for row in table.to_pylist() if row["station"] == station]


def number(value: object) -> float:
    return float("nan") if value is None else float(value)  # type: ignore[arg-type]


@pytest.mark.parametrize("station", GOOD, ids=lambda s: s.id)
def test_a_station_gives_the_numbers_of_the_single_site(table: pa.Table, station: Station) -> None:
    record = station_record(station, OPTIONS)
    southern = record.place.southern
    site = OPTIONS.site(southern=southern)
    state, _ = build(record, site)
    slices = season_slices(record.times, southern)
    dates = key_dates(state, southern=southern).days
    found = rows(table, station.id)
    by_season = {row["season"]: row for row in found}
    assert len(found) >= 2
    told = 0
    for s, (name, part) in enumerate(slices):
        row = by_season[int(name[:4])]
        for key in columns.KEY_DATES:
            np.testing.assert_equal(number(row[key]), float(dates[key][s]), err_msg=f"{name} {key}")
            told += row[key] is not None
        tmin = record.get("tmin_c")[part]
        if part.stop - part.start >= 365 and np.isfinite(tmin).all():
            assert row["frost_days"] == (tmin < 0).sum()
        start = np.datetime64(f"{name[:4]}-{'01' if southern else '07'}-01")
        offset = int((record.times[part.start] - start).astype(int))
        for purpose in PURPOSES:
            entry = purpose_of(purpose)
            days = workable(
                day_scores(record, entry, entry.generic, frozen=state.soil_frozen), entry.rule
            )
            whole = np.full(WEEKS * 7, np.nan)
            whole[offset : offset + part.stop - part.start] = days[part]
            mine = row[columns.WORKABLE_COLUMNS[purpose]]
            got = np.array(mine, dtype=np.float64)[:-1]  # type: ignore[call-overload]
            np.testing.assert_array_equal(got, whole.reshape(WEEKS, 7).sum(axis=1)[:-1])
    assert told >= 8


def test_a_file_from_another_height_is_moved_as_for_a_single_site(tmp_path: Path) -> None:
    days = np.arange("2020-01-01", "2021-03-01", dtype="datetime64[D]")
    number = np.arange(len(days))
    high = (20 + 10 * np.sin(number / 58) + 3 * np.sin(number)).round(1)
    lines = [f"{d},{h},{h - 9:.1f},0.0" for d, h in zip(days, high, strict=True)]
    top = "# latitude: 34.0\n# longitude: -84.0\n# elevation_m: 100\ndate,tmax_c,tmin_c,precip_mm\n"
    file = tmp_path / "valley.csv"
    file.write_text(top + "\n".join(lines), encoding="utf-8")
    valley, hill, untold = (
        station_record(Station("x", str(file), "X", "", latitude, -84.0, height), OPTIONS)
        for latitude, height in ((34.0, 700.0), (34.1, 700.0), (34.1, np.nan))
    )
    np.testing.assert_array_equal(valley.get("tmax_c"), high)  # on the spot: no other height
    np.testing.assert_allclose(hill.get("tmax_c"), high - 0.6 * 6.5)
    alone = placed(read_weather(str(file)), hill.place)
    np.testing.assert_array_equal(hill.get("tmin_c"), alone.get("tmin_c"))
    np.testing.assert_array_equal(untold.get("tmax_c"), high)


@pytest.mark.parametrize(("station", "season"), [("selma", "fall"), ("bowling", "spring")])
def test_the_best_barrier_is_that_of_the_plan(table: pa.Table, station: str, season: str) -> None:
    """The same functions as the season plan's: `judged_days`, `cover` and `best_day`."""
    own = next(s for s in STATIONS if s.id == station)
    record = station_record(own, OPTIONS)
    site = OPTIONS.site()
    state, _ = build(record, site)
    purpose = purpose_of("pre-fall" if season == "fall" else "pre-spring")
    open_ = judged_days(purpose, purpose.generic, DayContext(site, state, season))[1][0]
    year = 2014
    begin, end, last = (
        (f"{year}-07-01", f"{year + 1}-06-21", f"{year + 1}-06-21")
        if season == "fall"
        else (f"{year + 1}-01-01", f"{year + 1}-09-01", f"{year + 1}-07-01")
    )
    at = slice(*(int((np.datetime64(d) - record.times[0]).astype(int)) for d in (begin, end)))
    days = int((np.datetime64(last) - np.datetime64(begin)).astype(int))
    share = state.emergence["POAAN" if season == "fall" else "DIGIS"].share[at]
    values = load("barrier")
    laid = usual_material(purpose, values).laid(Laying.of(site, values))
    found = cover(share, state.soil_5cm_c[at], record.get("precip_mm")[at], laid)
    allowed = open_[at][:days] >= Rule.of(load("criteria")).season
    best = int(best_day(found.caught[0, :days], allowed, values.number("later_worth")))
    row = next(r for r in rows(table, station) if r["season"] == year)
    assert best >= 0
    date = np.datetime64(begin) + np.timedelta64(best, "D")
    assert number(row[f"barrier_{season}"]) == float(date.astype("datetime64[D]").astype(int))
    assert number(row[f"cover_{season}"]) == found.caught[0, best]


def test_barriers_are_laid_when_a_practitioner_would(table: pa.Table) -> None:
    """Watered in, before emergence: Aug-Oct in fall, Jan-Apr in spring (common practice)."""
    watered = computed(STATIONS[:2], replace(OPTIONS, irrigated=True))
    some = 0
    for row in watered.to_pylist():
        for season, months in (("fall", (8, 9, 10)), ("spring", (1, 2, 3, 4))):
            day, up = row[f"barrier_{season}"], row["poaan_10" if season == "fall" else "digis_10"]
            if day is not None:
                some += 1
                month = int(str(np.datetime64(int(number(day)), "D"))[5:7])
                assert month in months, (row["station"], row["season"], season, month)
                assert up is None or number(day) <= number(up)
    assert some >= 15
    # in the autumn drought of 2016 in Alabama the only rain from late September to 28 November fell
    # on 16 October: 9.4 mm, which waters in half of the ground (the station's own record)
    dry = next(r for r in rows(table, "selma") if r["season"] == 2016)
    assert str(np.datetime64(int(number(dry["barrier_fall"])), "D")) == "2016-10-15"


def test_a_station_without_rain_gives_the_same_alone_as_beside_one_with_rain() -> None:
    wet = station_record(STATIONS[0], replace(OPTIONS, first_year=2013, last_year=2016))
    told = {name: values for name, values in wet.values.items() if name != "precip_mm"}
    dry = Record(wet.place, wet.times, told, wet.grades)
    alone, beside = (seasons_of(stacked(r), OPTIONS.site()).values for r in ([dry], [dry, wet]))
    for name, values in alone.items():
        np.testing.assert_array_equal(values[0], beside[name][0], err_msg=name)
    assert np.isfinite(alone["soil_21"]).sum() >= 3
    assert not (alone["cover_fall"] > 0).any()  # nothing is known to water a barrier in


def test_no_day_is_best_where_no_rain_waters_a_barrier_in() -> None:
    wet = station_record(STATIONS[0], replace(OPTIONS, first_year=2013, last_year=2016))
    few = np.zeros_like(wet.get("precip_mm"))
    dry = Record(wet.place, wet.times, {**wet.values, "precip_mm": few}, wet.grades)
    for record, laid in ((wet, True), (dry, False)):
        found = seasons_of(stacked([record]), OPTIONS.site()).values
        share, day = found["cover_fall"][0], found["barrier_fall"][0]
        known = np.isfinite(share)
        assert known.sum() >= 3
        assert (share[known] > 0).all() == laid
        np.testing.assert_array_equal(np.isfinite(day), known & laid)


def test_neighbours_order_and_chunks_change_nothing() -> None:
    text = json.dumps(OPTIONS.plain())
    whole = compute(STATIONS, text)
    alone = [compute((station,), text) for station in STATIONS]
    turned = compute(tuple(reversed(STATIONS)), text)
    assert set(whole) == {"seasons", "stations"}
    for name, table in whole.items():
        assert table.equals(pa.concat_tables([part[name] for part in alone]).combine_chunks())
        for station in STATIONS:
            assert rows(turned[name], station.id) == rows(table, station.id)


def test_small_groups_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    text = json.dumps(OPTIONS.plain())
    whole = compute(STATIONS, text)
    monkeypatch.setattr(batch, "MOST_CELLS", 5000)
    monkeypatch.setattr("windowcast.region.models.SLICE", 1)
    for name, table in compute(STATIONS, text).items():
        assert table.equals(whole[name])


def test_a_station_that_cannot_be_used_has_a_row_with_its_problem(
    table: pa.Table, tmp_path: Path
) -> None:
    (row,) = rows(table, "nowhere")
    assert "does not say where the station stands" in str(row["problem"])
    assert row["season"] is None
    short = tmp_path / "short.csv"
    short.write_text("date,tmax_c,tmin_c\n2020-01-01,9,1\n2020-01-02,8,0\n")
    broken = tmp_path / "broken.csv"
    broken.write_text("date,tmax_c,tmin_c\n2020-01-01,9,x\n")
    rain = tmp_path / "rain.csv"
    rain.write_text("date,precip_mm\n2020-01-01,9\n")
    dates = np.arange("2020-01-01", "2021-06-01", dtype="datetime64[D]")
    empty = tmp_path / "empty.csv"
    days = [f"{d},{9 if n < 40 else ''},{1 if n > 400 else ''}" for n, d in enumerate(dates)]
    empty.write_text("\n".join(["date,tmax_c,tmin_c", *days, ""]))
    files = (short, broken, rain, empty, tmp_path / "gone.csv")
    chunk = tuple(Station(f.stem, str(f), latitude_deg=40, longitude_deg=0) for f in files)
    found = computed((chunk[0], STATIONS[0], *chunk[1:]))
    problems = {r["station"]: r["problem"] for r in found.to_pylist()}
    assert problems["selma"] is None
    assert "less than a year" in problems["short"]
    assert "row 2" in problems["broken"]
    assert "no daily highest and lowest" in problems["rain"]
    assert "no day with a believable" in problems["empty"]
    assert "cannot be read" in problems["gone"]
    ids = list(dict.fromkeys(r["station"] for r in found.to_pylist()))
    assert ids == ["short", "selma", "broken", "rain", "empty", "gone"]


def test_years_asked_for_bound_the_seasons() -> None:
    asked = replace(OPTIONS, first_year=2013, last_year=2015)
    found = computed(STATIONS[:1], asked)
    assert found.column("season").to_pylist() == [2013, 2014, 2015]
    # a season is what it is whatever came before, once turf and emergence are settled
    south = replace(OPTIONS, first_year=2012, last_year=2012)
    melbourne = computed(STATIONS[4:5], south)
    assert melbourne.column("season").to_pylist() == [2012]
    autumn = number(melbourne.column("soil_21")[0].as_py())
    assert 31 <= autumn - float(np.datetime64("2012-01-01").astype(int)) <= 181  # Feb to June


def test_a_season_that_begins_on_the_first_of_days_bounds_like_any_other(tmp_path: Path) -> None:
    """1970-01-01 is day 0, which counts as false."""
    days = np.arange("1968-01-01", "1973-01-01", dtype="datetime64[D]")
    path = tmp_path / "south.csv"
    rows = "".join(f"{day},{20 + n % 5},{8 + n % 3},0\n" for n, day in enumerate(days))
    path.write_text(f"date,tmax_c,tmin_c,precip_mm\n{rows}", "ascii")
    station = Station("S", str(path), latitude_deg=-33.0, longitude_deg=151.0)
    since = station_record(station, replace(OPTIONS, first_year=1970))
    assert since.times[0] == np.datetime64("1970-01-01")
    until = station_record(station, replace(OPTIONS, last_year=1969))
    assert until.times[-1] == np.datetime64("1969-12-31")


def test_the_season_of_the_south_is_turned_by_half_a_year() -> None:
    """A northern record moved by half a year to the south keeps its events half a year later."""
    north = station_record(STATIONS[0], replace(OPTIONS, first_year=2013, last_year=2016))
    days = len(north.times)
    axis = np.datetime64("2014-01-01") + np.arange(days)
    place = Place("mirror", -north.place.latitude_deg, 0.0)
    south = Record(place, axis, north.values, north.grades)
    mine = seasons_of(stacked([north]), OPTIONS.site())
    theirs = seasons_of(stacked([south]), OPTIONS.site(southern=True))
    assert theirs.first_years[0] == 2014
    start_n = np.array([np.datetime64(f"{y}-07-01").astype(int) for y in mine.first_years])
    start_s = np.array([np.datetime64(f"{y}-01-01").astype(int) for y in theirs.first_years])
    for key in ("soil_21", "poaan_50", "dormant", "greenup", "barrier_fall"):
        a, b = mine.values[key][0] - start_n, theirs.values[key][0][: len(start_n)] - start_s[:4]
        assert np.isfinite(a).sum() >= 3, key
        np.testing.assert_allclose(a[np.isfinite(a)], b[np.isfinite(a)], atol=6, err_msg=key)


def test_weeks_keep_what_is_unknown() -> None:
    can = np.ones((1, 366 + 365))
    can[0, 10] = np.nan
    can[0, 21:28] = 0
    weeks = workable_weeks(can, [slice(0, 366), slice(366, 731)])
    assert weeks.shape == (1, 2, WEEKS)
    assert np.isnan(weeks[0, 0, 1])
    assert weeks[0, 0, 3] == 0
    assert weeks[0, 0, 4] == 7
    assert weeks[0, :, -1].tolist() == [2, 1]  # what a leap year and a common year have over


def test_whether_a_date_came_and_spray_days_are_those_of_the_single_site(table: pa.Table) -> None:
    """Counted day by day from the state of the site alone."""
    record = station_record(STATIONS[1], OPTIONS)
    state, _ = build(record, OPTIONS.site())
    came = key_dates(state).happened
    entry = purpose_of("dormant")
    can = workable(day_scores(record, entry, entry.generic, frozen=state.soil_frozen), entry.rule)
    month = (record.times.astype("datetime64[M]").astype(int) % 12) + 1
    told = 0
    by_season = {row["season"]: row for row in rows(table, "bowling")}
    for s, (name, part) in enumerate(season_slices(record.times, southern=False)):
        row = by_season[int(name[:4])]
        for key in columns.KEY_DATES:
            np.testing.assert_equal(number(row[f"happened_{key}"]), float(came[key][s]))
        if number(row["spray_days_total"]) >= 0:
            safe = (state.turf.nonselective_safe[part] == 1) & (can[part] == 1)
            safe &= np.isin(month[part], (11, 12, 1, 2, 3, 4))  # as the purpose's months have it
            assert row["spray_days_total"] == safe.sum() == np.nansum(row["spray_days"])
            refused = (state.turf.nonselective_safe[part] == 1) & (can[part] == 0)
            lost = sum(number(row[f"lost_{reason}"]) for reason in columns.REASONS)
            assert lost == refused.sum()
            told += 1
    assert told >= 4
