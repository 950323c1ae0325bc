"""Another science value gives another answer: values are handed down, not fetched on the way."""

from __future__ import annotations

import datetime as dt
import sys
from importlib import resources

import numpy as np
import pytest
from windows_fixtures import past, site, state, weather

import windowcast
from windowcast.core import values
from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Record
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.materials.actives import load_actives
from windowcast.materials.nozzle import nozzle_check
from windowcast.materials.rotation import Use, plan_flags
from windowcast.programme.answer import answer
from windowcast.programme.season_plan import season_plan
from windowcast.season.leaf import worlds
from windowcast.season.model import SiteState
from windowcast.season.state import build
from windowcast.season.weeds import weed
from windowcast.weather.gaps import filled
from windowcast.weather.hourly import daily_to_hourly
from windowcast.weather.quality import checked
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.windows.barrier import cover
from windowcast.windows.model import Ranking
from windowcast.windows.purposes import purpose_of
from windowcast.windows.rank import rank
from windowcast.windows.residual import Laying, usual_material
from windowcast.windows.running_season import RunningSeason


def ranked(tables: Tables) -> Ranking:
    here = site()
    members = weather(here, wind_m_s=3.5)
    running = RunningSeason.of(here, past(), state(), members, tables=tables)
    return rank(running, purposes=["post-early"])


def test_a_window_goes_by_the_criteria_handed_down() -> None:
    knots = {"criteria.wind.at": [0.0, 1.0, 2.0, 3.0], "criteria.wind.score": [1.0, 1.0, 0.5, 0.0]}
    usual, strict = (ranked(t).purposes[0] for t in (PACKAGED, PACKAGED.varied(knots)))
    assert usual.windows
    assert not strict.windows
    assert strict.closest is not None
    assert strict.closest.limiting is not None
    assert strict.closest.limiting.criterion == "wind"


def test_a_barrier_lasts_by_the_loss_handed_down() -> None:
    def lasts(tables: Tables) -> float:
        values = tables["barrier"]
        watered = Laying(values, irrigated=True)
        laid = usual_material(purpose_of("pre-fall", tables), values).laid(watered)
        days = np.arange(365.0)
        return float(cover(days / 365, np.full(365, 20.0), np.zeros(365), laid).lasts_days[0, 0])

    half = PACKAGED.varied({"barrier.enough_left": 0.5})
    life = float(PACKAGED["barrier"].value("default_half_life"))
    assert abs(lasts(half) - life) < 0.01
    assert lasts(PACKAGED) > lasts(half)


def test_the_state_of_a_site_goes_by_the_values_handed_down() -> None:
    daily = sample_weather().daily
    record = daily.between(np.datetime64("2016-06-01"), np.datetime64("2017-12-31"))

    def states(changed: dict[str, object]) -> SiteState:
        return build(record, sample_site(), tables=PACKAGED.varied(changed))[0]

    usual = states({})
    assert (states({"turf.safety.harm_cap": 1.0}).turf.nonselective_safe == 0).sum() == 0
    assert (usual.turf.nonselective_safe == 0).any()
    warmer = states({"soil.surface.solar": 0.5}).soil_5cm_c
    assert not np.allclose(warmer, usual.soil_5cm_c, equal_nan=True)
    later = states({"weeds.POAAN.base_temp": 15.0}).emergence["POAAN"].share
    assert np.nansum(later) < np.nansum(usual.emergence["POAAN"].share)


def test_checks_gaps_and_hours_go_by_the_values_handed_down() -> None:
    tmax = np.array([10.0, 12.0, np.nan, np.nan, 14.0, 40.0, 15.0])
    dates = np.datetime64("2020-03-01") + np.arange(len(tmax))
    series = {"tmax_c": tmax, "tmin_c": np.full(len(tmax), 2.0)}
    grades = {
        name: np.where(np.isnan(v), Grade.MISSING, Grade.OBSERVED) for name, v in series.items()
    }
    record = Record(site().place, dates, series, {k: g.astype(np.uint8) for k, g in grades.items()})
    assert np.isfinite(filled(record).get("tmax_c")).all()
    short = filled(record, PACKAGED.varied({"quality.gap_days": 1}))
    assert np.isnan(short.get("tmax_c")[2:4]).all()
    lenient = checked(record, tables=PACKAGED.varied({"quality.spike_day": 50.0}))
    assert [np.isnan(r.get("tmax_c")[5]) for r in (checked(record), lenient)] == [True, False]
    slow = PACKAGED.varied({"hourly.parton_logan.b": 0.5})
    by_night = [
        daily_to_hourly(record, dt.date(2020, 3, 1), 1, tables).get("temp_c")[22]
        for tables in (PACKAGED, slow)
    ]
    assert by_night[1] > by_night[0]


def test_tank_and_rotation_go_by_the_values_handed_down() -> None:
    caught = nozzle_check(400.0, 1.5, 0.5, 2.1)
    loose = nozzle_check(
        400.0, 1.5, 0.5, 2.1, tables=PACKAGED.varied({"tank.nozzle.tolerance": 0.2})
    )
    assert (caught.within_tolerance, loose.within_tolerance) == (False, True)
    past, planned = (
        Use(dt.date(year, 9, 10), f"{year}-{year - 1999}", "pre-fall", ("prodiamine",), (3,))
        for year in (2024, 2025)
    )
    patient = PACKAGED.varied({"rotation.repeat.seasons_note": 2})
    assert plan_flags([planned], [past])
    assert not plan_flags([planned], [past], tables=patient)


READ_AT_THE_EDGE = "windowcast.core.weed_codes"  # which names a site file may hold


def test_an_answer_fetches_no_table_on_the_way(monkeypatch: pytest.MonkeyPatch) -> None:
    data = resources.files("windowcast.data").iterdir()
    names = [entry.name.removesuffix(".toml") for entry in data if entry.name.endswith(".toml")]
    given = Tables({name: PACKAGED[name] for name in (*names, "rotation", "tank")})
    site, weather, materials = sample_site(), sample_weather(), load_actives()
    weed.cache_clear()
    worlds.cache_clear()

    def refused(name: str, package: str = "") -> Table:
        raise AssertionError(f"{name} was fetched, not handed down")

    load = values.load
    for name, module in list(sys.modules.items()):
        inside = name.startswith("windowcast.") and name != READ_AT_THE_EDGE
        if inside and getattr(module, "load", None) is load:
            monkeypatch.setattr(module, "load", refused)
    found = answer(site, weather, materials=materials, futures=20, tables=given)
    assert found.ranking.purposes
    plan = season_plan(found.running, weather, barriers=found.barriers)
    assert plan.purposes


def test_a_value_varied_from_python_is_named_and_one_that_does_not_fit_is_refused() -> None:
    given = {"turf.safety.margin": 21.0}
    found = windowcast.rank(sample_site(), sample_weather(), futures=20, values=given)
    cautions = [windowcast.words(caution) for caution in found.cautions]
    assert any("turf.safety.margin = 21.0" in said for said in cautions)
    lines = [windowcast.words(line) for line in found.explain]
    assert any("turf.safety.margin = 21.0 days before green-up [varied]" in line for line in lines)
    for path, value in (
        ("turf.safety.margin", "long"),
        ("turf.safety.margin", float("nan")),
        ("turf.safety.margin", True),
        ("criteria.wind.at", [1.0]),
        ("turf.safety", 1.0),
        ("turf.nothing", 1.0),
        ("sources.age.record", 1.0),
        ("turf", 1.0),
    ):
        with pytest.raises(InputError, match=path):
            windowcast.rank(sample_site(), sample_weather(), values={path: value})
