"""Another science value gives another answer: values are handed down, not fetched on the way."""

from __future__ import annotations

import numpy as np
from windows_fixtures import TODAY, past, site, state, weather

from windowcast.core.values import PACKAGED, Tables
from windowcast.season.model import SiteState
from windowcast.season.state import build
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.windows.barrier import Loss, cover
from windowcast.windows.cover_plan import usual_material
from windowcast.windows.model import Ranking
from windowcast.windows.purposes import purpose_of
from windowcast.windows.rank import rank


def ranked(tables: Tables) -> Ranking:
    here = site()
    members = weather(here, wind_m_s=3.5)
    return rank(here, past(), state(), members, today=TODAY, purposes=["post-early"], tables=tables)


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
        laid = usual_material(purpose_of("pre-fall", tables), values).laid(
            Loss.of(values), irrigated=True
        )
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
