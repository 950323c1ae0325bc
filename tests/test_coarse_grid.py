"""A coarse grid stands in for what no station gave: marked, never surer than a measurement."""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import power
import pytest
from loopback import Answer, Loopback, closed_port, serving
from spoken import render

from windowcast.core.local_days import local_today
from windowcast.core.phrase import NOTHING
from windowcast.core.record import Flag, Grade, Place, Provenance, Record, Weather
from windowcast.core.site import Site
from windowcast.core.time_axis import record_of
from windowcast.core.values import PACKAGED
from windowcast.physics.soil_forcing import estimate_solar_mj_m2
from windowcast.physics.sun import day_of_year, extraterrestrial_radiation_mj_m2
from windowcast.programme.answer import foreseen
from windowcast.season.errors import soil_error_at
from windowcast.season.model import Substitute
from windowcast.season.unknown_rain import note_of, substitute_of
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.coarse_grid import CoarseGridSource, _columns, _spans, days_problem
from windowcast.sources.fetch import Fetcher
from windowcast.sources.source import Request
from windowcast.weather.gaps import filled
from windowcast.weather.grid_filled import with_coarse_grid
from windowcast.weather.load import load_weather
from windowcast.weather.rain_filled import FILLED
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.windows import trace

SITE: dict[str, Any] = {
    "name": "Long Meadow", "latitude": 30.5, "longitude": -85.25, "timezone": "Etc/GMT+6",
    "turf": {"overseeded": False, "mature": True}, "soil": {"texture": "loam"},
    "weather": {"forecast": "none"},
}  # fmt: skip
PLACE = Place("Long Meadow", 30.5, -85.25, timezone="Etc/GMT+6")
TODAY = local_today(Site.model_validate(SITE).zone)
FIRST = dt.date(TODAY.year - 2, 1, 1)


def thermometer(**more: np.ndarray) -> Record:
    """Highs and lows up to yesterday, and what else is given."""
    dates = np.arange(np.datetime64(FIRST), np.datetime64(TODAY))
    middle = 18 - 8 * np.cos(2 * np.pi * np.arange(len(dates)) / 365.25)
    return record_of(PLACE, dates, {"tmax_c": middle + 6, "tmin_c": middle - 6, **more})


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    with serving() as running:
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID", "on")
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID_URL", running.url)
        for span in _spans(FIRST, TODAY):
            assert span is not None
            late = 3 if span[1].year == TODAY.year or span[1] == TODAY - dt.timedelta(1) else 0
            power.serve(running, *span, power.days(*span, late=late))
        yield running


def loaded(
    home: Path, record: Record, *, switch: bool = True, later_s: float = 0.0, **how: Any
) -> Weather:
    weather = {"forecast": "none", "coarse_grid": switch}
    clock = lambda: time.time() + later_s  # noqa: E731
    with Cache(home / FILE, clock=clock) as cache:
        fetcher = Fetcher.within(cache, clock=clock, **how)
        site = Site.model_validate(SITE | {"weather": weather})
        return load_weather(site, files=[record], fetcher=fetcher)


def test_what_is_unknown_comes_from_the_grid_and_is_marked(
    server: Loopback, tmp_path: Path
) -> None:
    rain = np.full(len(thermometer().times), 3.0)
    rain[-40:] = np.nan
    humidity = np.full(len(rain), 55.0)
    humidity[100:112] = np.nan
    daily = loaded(tmp_path, thermometer(precip_mm=rain, rh_mean_pct=humidity)).daily
    assert np.isnan(daily.get("precip_mm")[-40:]).all(), "no limit takes a grid's rain for a fact"
    assert (daily.get(FILLED)[-40:-3] == 4.0).all()
    assert (daily.grade(FILLED)[-40:-3] == Grade.ESTIMATED).all()
    assert (daily.grade(FILLED)[-3:] == Grade.CLIMATOLOGY).all(), "the grid is days late"
    assert (daily.get("precip_mm")[:-40] == 3.0).all()
    assert (daily.get("rh_mean_pct")[:100] == 55.0).all()
    assert np.isnan(daily.get("rh_mean_pct")[100:112]).all(), "no dew is told by a grid"
    assert np.isfinite(daily.get("rh_filled_pct")[100:112]).all()
    assert (daily.grade("solar_mj_m2")[:-3] == Grade.ESTIMATED).all()
    said = [render(flag.text) for flag in daily.flags]
    assert (
        "mean relative humidity: 12 days from a coarse grid: dates up to 4 days less sure" in said
    )
    assert any(text.startswith("rain: 37 days from a coarse grid: dates up to") for text in said)
    origin = next(p for p in daily.provenance if p.source == "grid")
    assert "NASA" in origin.licence
    assert origin.elevation_m == 61.73
    assert "rh_mean_pct" in origin.variables


def test_nothing_is_taken_where_everything_is_known(server: Loopback, tmp_path: Path) -> None:
    full = np.full(len(thermometer().times), 1.0)
    names = ("precip_mm", "rh_mean_pct", "wind_mean_m_s", "solar_mj_m2")
    daily = loaded(tmp_path, thermometer(**dict.fromkeys(names, full))).daily
    for name in names:
        assert (daily.get(name) == 1.0).all()
    assert not any(p.source == "grid" for p in daily.provenance)
    assert {"rain_filled_mm", "rh_filled_pct"}.isdisjoint(daily.values)


@pytest.mark.parametrize("how", ["site", "environment"])
def test_one_switch_turns_it_off(
    how: str, server: Loopback, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if how == "environment":
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID", "off")
    daily = loaded(tmp_path, thermometer(), switch=how != "site").daily
    assert server.requests == []
    assert "solar_mj_m2" not in daily


def test_a_kept_answer_asks_nobody_and_one_of_the_day_before_serves(
    server: Loopback, tmp_path: Path
) -> None:
    first = loaded(tmp_path, thermometer())
    asked = len(server.requests)
    assert asked == 2, "years that are over, and the days since"
    again = loaded(tmp_path, thermometer())
    assert len(server.requests) == asked
    np.testing.assert_array_equal(again.daily.get(FILLED), first.daily.get(FILLED))
    server.routes = {path: Answer(b"", 503) for path in server.routes}
    _, current = _spans(FIRST, TODAY)
    assert current is not None
    with Cache(tmp_path / FILE) as cache, cache.writing() as db:  # as if kept a day ago
        earlier = power.path(current[0], current[1] - dt.timedelta(1))
        db.execute(
            "UPDATE entry SET url = ? WHERE url = ?",
            (server.url + earlier, server.url + power.path(*current)),
        )
    stale = loaded(tmp_path, thermometer(), later_s=90_000).daily
    np.testing.assert_array_equal(stale.get(FILLED), first.daily.get(FILLED))
    assert any(p.stale for p in stale.provenance)
    offline = loaded(tmp_path, thermometer(), offline=True).daily
    np.testing.assert_array_equal(offline.get(FILLED), first.daily.get(FILLED))


@pytest.mark.parametrize("wrong", ["{}", '{"properties": {"parameter": {}}}', "refused"])
def test_a_grid_that_is_away_is_named_and_costs_nothing_else(
    wrong: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WINDOWCAST_COARSE_GRID", "on")
    with serving() as server:
        url = f"http://127.0.0.1:{closed_port()}" if wrong == "refused" else server.url
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID_URL", url)
        for span in _spans(FIRST, TODAY):
            assert span is not None
            server.routes[power.path(*span)] = Answer(wrong.encode(), type="application/json")
        monkeypatch.setattr("windowcast.sources.http.Client._pause", lambda *_: 0.0)
        daily = loaded(tmp_path, thermometer()).daily
    assert "solar_mj_m2" not in daily
    assert "grid-unreachable" in {flag.check for flag in daily.flags}
    assert (daily.grade(FILLED) == Grade.CLIMATOLOGY).all()


def test_nobody_waits_for_it_longer_than_its_patience(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from windowcast.sources import coarse_grid

    real = coarse_grid.load

    def hasty(name: str) -> Any:
        return real(name).varied({"coarse_grid.patience": 0.1})

    monkeypatch.setattr(coarse_grid, "load", hasty)
    with serving() as server:
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID", "on")
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID_URL", server.url)
        for span in _spans(FIRST, TODAY):
            assert span is not None
            server.routes[power.path(*span)] = Answer(fault="hang")
        began = time.monotonic()
        daily = loaded(tmp_path, thermometer()).daily
        assert time.monotonic() - began < 3
    assert "grid-unreachable" in {flag.check for flag in daily.flags}


def test_units_are_read_and_impossible_values_are_missing() -> None:
    raw = power.payload(
        {
            "PRECTOTCORR": {"20250401": -999.0, "20250402": 12.5, "20250403": 9e9},
            "ALLSKY_SFC_SW_DWN": {"20250401": 5.0, "20250402": -5.0},
            "RH2M": {"20250401": None},
            "WS10M": {"20250401": 3.0},
        },
        ALLSKY_SFC_SW_DWN="kW-hr/m^2/day",
        WS10M="furlong/fortnight",
    )
    found = _columns(raw)
    np.testing.assert_array_equal(list(found["precip_mm"].values()), [np.nan, 12.5, np.nan])
    np.testing.assert_array_equal(list(found["solar_mj_m2"].values()), [18.0, np.nan])
    np.testing.assert_array_equal(list(found["rh_mean_pct"].values()), [np.nan])
    assert "wind_mean_m_s" not in found, "its unit is not known"
    assert _columns(power.recorded())["rh_mean_pct"] == {"19830101": 92.61}


@pytest.mark.parametrize("date", ["2025-04-01", "20251301", "202504", "٢٠٢٥٠٤٠١"])
def test_an_answer_with_odd_dates_is_not_used(date: str) -> None:
    raw = power.payload({"RH2M": {date: 50.0}})
    assert days_problem(json.dumps(raw).encode()) == "its answer is not as documented"


@pytest.mark.parametrize("today", [dt.date(2026, 1, 1), dt.date(2026, 2, 20), dt.date(2026, 3, 5)])
def test_every_day_is_asked_for_once(today: dt.date) -> None:
    closed, current = _spans(dt.date(2020, 5, 1), today)
    assert closed is not None
    assert current is not None
    assert closed[0] == dt.date(2020, 5, 1)
    assert current == (closed[1] + dt.timedelta(1), today - dt.timedelta(1))
    assert (today - closed[1]).days >= 60, "late values have settled before a year is kept for long"
    assert _spans(today, today) == (None, None)


@pytest.fixture
def grid(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Record:
    """What the grid says of January 2026."""
    first, last = dt.date(2026, 1, 1), dt.date(2026, 1, 31)
    with serving() as server, Cache(tmp_path / FILE) as cache:
        monkeypatch.setenv("WINDOWCAST_COARSE_GRID_URL", server.url)
        closed, current = _spans(first, last + dt.timedelta(1))
        assert (closed, current) == ((first, last), None) or closed is None
        power.serve(server, first, last, power.days(first, last, late=0))
        return (
            CoarseGridSource()
            .fetch(Request(PLACE, first, last + dt.timedelta(1)), Fetcher(cache))
            .records[0]
        )


def _cost(record: Record) -> Substitute | None:
    return substitute_of(record, irrigated=False, tables=PACKAGED)


def test_a_filled_layer_is_never_surer_than_a_measured_one(grid: Record) -> None:
    dates = np.arange("2023-01-01", "2026-02-01", dtype="datetime64[D]")
    columns = {"tmax_c": np.full(len(dates), 20.0), "tmin_c": np.full(len(dates), 10.0)}
    known = record_of(PLACE, dates, columns | {"precip_mm": np.full(len(dates), 3.0)})
    gap = columns | {"precip_mm": np.where(dates < dates[-31], 3.0, np.nan)}
    today, soil = dates[-1] + np.timedelta64(1, "D"), PACKAGED["soil"]
    unknown = record_of(PLACE, dates, gap)
    costs = {
        "measured": _cost(filled(known)),
        "grid": _cost(filled(with_coarse_grid(unknown, [grid], today))),
        "usual": _cost(filled(unknown)),
    }
    assert costs["measured"] is None
    assert costs["grid"] is not None
    assert costs["usual"] is not None
    assert costs["grid"].origin == "grid"
    assert 0 < costs["grid"].soil_sd_c <= costs["usual"].soil_sd_c
    sizes = [
        soil_error_at(known, 0, soil, () if cost is None else (cost,)).mean_sd_c(7)
        for cost in costs.values()
    ]
    assert sizes == sorted(sizes), "taking the grid away never narrows"
    assert sizes[0] < sizes[1]
    note = note_of(costs["grid"], PACKAGED["usual_rain"])
    assert note is not None
    assert render(note).startswith("Rain of a coarse grid on 31 of the last 180 days")


def test_a_grid_of_later_days_is_left_alone(grid: Record) -> None:
    record = record_of(PLACE, grid.times, {"tmax_c": np.full(31, 20.0), "tmin_c": np.zeros(31)})
    after = with_coarse_grid(record, [grid], grid.times[10])
    assert np.isnan(after.get("solar_mj_m2")[10:]).all()
    assert np.isfinite(after.get("solar_mj_m2")[:10]).all()
    assert with_coarse_grid(record, [], grid.times[10]) is record
    assert replace(after, values=record.values, grades=record.grades).get("tmax_c")[0] == 20.0


@pytest.mark.parametrize(("last", "said"), [("2018-01-10", True), ("2017-05-01", False)])
def test_wind_of_the_grid_is_named_in_the_answer_for_this_season(last: str, said: bool) -> None:
    flag = Flag("coarse-grid", "wind_mean_m_s", "2017-01-01", last, 9, "filled", NOTHING)
    today = np.array(["2018-01-18"], "datetime64[D]")
    ctx = SimpleNamespace(
        ahead=SimpleNamespace(dates=today),
        site=SimpleNamespace(place=SimpleNamespace(southern=False)),
    )
    assert trace._matters(flag, ctx) is said  # type: ignore[arg-type]


@pytest.mark.slow
@pytest.mark.parametrize("times", [0.6, 1.5])
def test_more_or_less_sun_of_the_grid_opens_nothing_for_the_turf(times: float) -> None:
    site, weather = sample_site(), sample_weather()
    daily = weather.daily
    bare = replace(
        daily,
        values={n: v for n, v in daily.values.items() if n in ("tmax_c", "tmin_c", "precip_mm")},
        grades={n: g for n, g in daily.grades.items() if n in ("tmax_c", "tmin_c", "precip_mm")},
    )
    sun = times * estimate_solar_mj_m2(
        bare.get("tmax_c"), bare.get("tmin_c"), bare.get("precip_mm"),
        extraterrestrial_radiation_mj_m2(site.latitude, day_of_year(bare.times)),
    )  # fmt: skip
    origin = Provenance("grid", "grid", ("solar_mj_m2",), "", "", None)
    layer = record_of(
        bare.place, bare.times, {"solar_mj_m2": sun}, grade=Grade.ESTIMATED, provenance=(origin,)
    )
    sunny = with_coarse_grid(bare, [layer], np.datetime64(weather.today))
    assert (sunny.get("solar_mj_m2") > 0).any()
    plain, filled_in = (
        foreseen(site, replace(weather, daily=each), futures=20).ahead.turf
        for each in (bare, sunny)
    )
    more = filled_in.injury_probability - plain.injury_probability
    assert np.nanmin(more) >= -1e-12
    assert not ((filled_in.nonselective_safe == 1) & (plain.nonselective_safe != 1)).any()
