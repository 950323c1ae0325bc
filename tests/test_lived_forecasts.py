"""Forecasts drawn for past seasons miss as forecasts that were issued missed.

What is measured: official US forecasts of the high as issued for 111 cities of 48 states, September
to April 2014-17 (the data behind Lundell, Bean & Symanzik 2023, doi 10.1007/s00180-023-01339-3);
forecasts of 10 US airports recorded daily from October 2025 to July 2026, for lows and rain. A
place's lasting bias is taken out. A figure counts as met within its own spread over seasons
(resampled) and 0.04 for what differs between places.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from statistics import NormalDist
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from made_days import PLACE, made_record

from windowcast.core.local_days import local_dates
from windowcast.core.record import FloatArray
from windowcast.verify.drawn_forecast import LEADS, PERIODS, below, scores_that_came
from windowcast.verify.lived import Lived, lived
from windowcast.weather.ensemble import members

LOST = [0.119, 0.151, 0.189, 0.236, 0.302, 0.394, 0.504]  # of the climate's variance
LOST_OF_LOW = [0.091, 0.171, 0.180, 0.203, 0.246, 0.309, 0.424]
BEFORE = [0.85, 0.88, 0.89, 0.90, 0.90, 0.91]
NEXT_DAY = [0.24, 0.29, 0.32, 0.36, 0.40, 0.45]
DAY_AFTER_NEXT = [0.14, 0.14, 0.14, 0.15, 0.16]
YESTERDAY = [0.19, 0.26, 0.30, 0.33, 0.35, 0.39, 0.44]
HIGH_WITH_LOW = [0.05, -0.02, 0.04, 0.14, 0.30, 0.45, 0.57]
TAIL_DOF = [4.4, 4.9, 5.0, 6.1, 7.3, 7.2, 8.1]
RAIN_SKILL = [0.449, 0.449, 0.438, 0.391, 0.323, 0.257, 0.178]  # a day of 1 mm or more
RAIN_SKILL_AT_STATIONS = [0.31, 0.25, 0.18]  # 48 states 2014-17; 0.38, 0.33, 0.28 in the south-east
SEASONS = (2012, 2013, 2014, 2015)
PLACES = 10
WET_MM = 0.254
MONTHS_IN = slice(79, 319)  # September to April, of the days drawn


@pytest.fixture(scope="module")
def seasons() -> list[Lived]:
    found = []
    for number in range(PLACES):
        place = replace(PLACE, name=f"Place {number}")
        record = made_record(seed=number, place=place)
        found += [season for year in SEASONS if (season := lived(record, year)) is not None]
    assert len(found) == PLACES * len(SEASONS)
    return found


def misses(seasons: list[Lived], name: str) -> FloatArray:
    """Came minus told over the climate's spread, ``[season, day, lead]``, lasting bias out."""
    rows = []
    for season in seasons:
        told = season.mornings.foretold
        spread = told.came.spread[name][:, None]
        off = (told.came.extremes[name][:, None] - told.extremes[name]) / spread
        rows.append(off[MONTHS_IN])
    found = np.array(rows)
    by_place = found.reshape(PLACES, -1, LEADS).mean(axis=1)
    result: FloatArray = found - np.repeat(by_place, len(SEASONS), axis=0)[:, None]
    return result


def meets(
    figure: Callable[[FloatArray], float], of: FloatArray, measured: float, *, within: float = 0.04
) -> bool:
    """Whether a figure of all seasons is the measured one, but for chance and places."""
    rng = np.random.default_rng(1)
    again = [figure(of[rng.integers(0, len(of), len(of))]) for _ in range(60)]
    return abs(figure(of) - measured) < 2 * float(np.std(again)) + within


def together(a: FloatArray, b: FloatArray) -> float:
    return float(np.corrcoef(a.ravel(), b.ravel())[0, 1])


@pytest.mark.parametrize("lead", range(LEADS))
def test_errors_grow_as_measured(seasons: list[Lived], lead: int) -> None:
    for name, measured in (("tmax_c", LOST), ("tmin_c", LOST_OF_LOW)):
        off = misses(seasons, name)
        assert meets(lambda e: float(e[:, :, lead].var()), off, measured[lead]), name


@pytest.mark.parametrize("lead", range(LEADS - 1))
def test_bulletins_in_a_row_agree_as_measured(seasons: list[Lived], lead: int) -> None:
    off = misses(seasons, "tmax_c")
    figure = lambda e: together(e[..., lead], e[..., lead + 1])  # noqa: E731
    assert meets(figure, off, BEFORE[lead])
    assert meets(lambda e: together(e[:, :-1, lead], e[:, 1:, lead + 1]), off, NEXT_DAY[lead])


def test_misses_hang_together_over_days_as_measured(seasons: list[Lived]) -> None:
    off = misses(seasons, "tmax_c")
    for lead, measured in enumerate(DAY_AFTER_NEXT):  # the made-up climate lingers longer
        figure = lambda e, at=lead: together(e[:, :-2, at], e[:, 2:, at + 2])  # noqa: E731
        assert meets(figure, off, measured, within=0.06), lead
    for lead, measured in enumerate(YESTERDAY):
        assert meets(lambda e, at=lead: together(e[:, :-1, at], e[:, 1:, at]), off, measured), lead


def test_highs_and_lows_miss_together_on_long_leads(seasons: list[Lived]) -> None:
    both = np.stack([misses(seasons, name) for name in ("tmax_c", "tmin_c")], axis=1)
    found = [together(both[:, 0, :, lead], both[:, 1, :, lead]) for lead in range(LEADS)]
    assert found == sorted(found)
    assert found == pytest.approx(HIGH_WITH_LOW, abs=0.2)  # one winter of 10 places
    assert found[-1] == pytest.approx(HIGH_WITH_LOW[-1], abs=0.1)


def test_tails_are_heavy_and_thin_out_with_lead(seasons: list[Lived]) -> None:
    """Degrees of freedom of Student's t fitted to the misses (scipy)."""
    stats = pytest.importorskip("scipy.stats")
    off = misses(seasons, "tmax_c")
    dof = [stats.t.fit(off[..., lead].ravel(), floc=0)[0] for lead in (0, 3, 6)]
    assert dof == sorted(dof)
    assert dof[0] == pytest.approx(TAIL_DOF[0], abs=1.0)
    assert dof[1] == pytest.approx(TAIL_DOF[3], abs=2.5)
    assert TAIL_DOF[-1] - 2 < dof[2] < 16  # days whose climate is normal have thinner tails


def test_what_came_goes_with_what_was_told_one_to_one(seasons: list[Lived]) -> None:
    """Slope 0.94 to 0.99 at leads 0.5 to 6.5 days with no trend (the same forecasts)."""
    for lead in range(LEADS):
        told, came = [], []
        for season in seasons:
            of = season.mornings.foretold
            normal, high = of.came.normal["tmax_c"], of.came.extremes["tmax_c"]
            told.append((of.extremes["tmax_c"][:, lead] - normal)[MONTHS_IN])
            came.append((high - normal)[MONTHS_IN])
        slope = np.polyfit(np.ravel(told), np.ravel(came), 1)[0]
        assert 0.92 < slope < 1.04, lead


def test_highs_are_told_too_cool_the_more_so_the_longer_the_lead(seasons: list[Lived]) -> None:
    """By 0.48 to 0.84 °C from the first day to the fourth on (23 cities of the south-east)."""
    rows = []
    for season in seasons:
        of = season.mornings.foretold
        off = of.came.extremes["tmax_c"][:, None] - of.extremes["tmax_c"]
        rows.append(off[MONTHS_IN].mean(axis=0))
    mean = np.mean(rows, axis=0)
    places = np.array(rows).reshape(PLACES, -1, LEADS)[..., 0].mean(axis=1)
    spread = places.std(ddof=1)
    assert 0.4 < spread < 1.1  # 0.87 in 2014-17, 0.70 pooled with 2021-22
    assert mean[0] == pytest.approx(0.48, abs=2.5 * spread / np.sqrt(PLACES))
    assert mean[3] - mean[0] == pytest.approx(0.84 - 0.48, abs=0.12)


def rain_of(seasons: list[Lived], lead: int) -> tuple[FloatArray, FloatArray]:
    """The largest chance told of each day, and what fell, ``[season, day]``."""
    chances, amounts = [], []
    for season in seasons:
        mornings = season.mornings
        starts = mornings.hours.starts[:-1]
        told = mornings.foretold.by_hour["precip_prob"][lead]
        chances.append(np.maximum.reduceat(told, starts)[MONTHS_IN])
        fallen = np.add.reduceat(mornings.hours.record.get("precip_mm"), starts)
        amounts.append(fallen[MONTHS_IN])
    return np.array(chances), np.array(amounts)


def test_chances_of_rain_have_the_measured_skill(seasons: list[Lived]) -> None:
    """Between the two collections on the first days; later falling as the newer one does."""
    skills = []
    for lead in range(LEADS):
        chance, fallen = rain_of(seasons, lead)
        came = (fallen >= 1.0).astype(float).ravel()
        steps = np.minimum((chance.ravel() * 20).astype(int), 19)
        rate = np.bincount(steps, came, 20) / np.maximum(np.bincount(steps, minlength=20), 1)
        skills.append(1 - float(((rate[steps] - came) ** 2).mean() / came.var()))
    for lead, at_stations in enumerate(RAIN_SKILL_AT_STATIONS):
        assert at_stations < skills[lead] < RAIN_SKILL[lead]
    fall = np.array(skills) / skills[0]
    assert fall == pytest.approx(np.array(RAIN_SKILL) / RAIN_SKILL[0], abs=0.08)


def test_chances_of_rain_come_true_as_often_as_told(seasons: list[Lived]) -> None:
    for lead in (1, 5):
        told, came = [], []
        for season in seasons:
            mornings = season.mornings
            quarter = mornings.hours.day * 4 + mornings.hours.hour // 6
            chance = mornings.foretold.by_hour["precip_prob"][lead]
            first = np.flatnonzero(np.diff(quarter, prepend=-1))
            fallen = np.add.reduceat(mornings.hours.record.get("precip_mm"), first)
            told.append(chance[first])
            came.append(fallen >= 0.254)
        chance, wet = np.concatenate(told), np.concatenate(came)
        for low in np.arange(0.0, 1.0, 0.2):
            inside = (chance >= low) & (chance < low + 0.2)
            if inside.sum() > 200:
                assert wet[inside].mean() == pytest.approx(chance[inside].mean(), abs=0.06), low


def test_what_stays_dry_on_a_wet_day_came_near_to_rain() -> None:
    """Brute force: scores with a part in common, cut to wet and dry, are drawn again alike."""
    rng = np.random.default_rng(4)
    days, together, chance = 20_000, 0.58, 0.13
    of_day = np.repeat(rng.standard_normal(days), PERIODS)
    true = np.sqrt(together) * of_day + np.sqrt(1 - together) * rng.standard_normal(len(of_day))
    bound = NormalDist().inv_cdf(1 - chance)
    amounts = np.linspace(0.3, 30.0, 2000)
    rank = (below(true) - (1 - chance)) / chance
    rain = np.where(true > bound, np.interp(rank, np.linspace(0, 1, 2000), amounts), 0.0)
    drawn = scores_that_came(
        rain,
        np.full(len(rain), chance),
        amounts,
        wet=0.254,
        together=together,
        draws=rng.random(len(rain)),
        day_draws=rng.random(days),
    )
    usual = (rain > 0) & (true < 3)  # beyond, the amounts are few
    assert drawn[usual] == pytest.approx(true[usual], abs=0.05)
    assert (drawn[rain == 0] <= bound + 1e-9).all()
    assert drawn.mean() == pytest.approx(0.0, abs=0.02)
    assert drawn.std() == pytest.approx(1.0, abs=0.02)
    found = np.corrcoef(drawn.reshape(-1, PERIODS).T)[np.triu_indices(PERIODS, 1)]
    assert found == pytest.approx(np.full(6, together), abs=0.03)


def test_futures_are_wet_on_as_many_days_as_come(seasons: list[Lived]) -> None:
    """And they keep dry hours as often as these come, out to six days."""
    told, came = [], []
    for season in seasons[::4]:
        zone = ZoneInfo(season.daily.place.timezone)
        when, rain = local_dates(zone, season.hourly.times), season.hourly.get("precip_mm")
        for today in np.datetime64(f"{season.season}-09-15") + np.arange(0, 200, 10):
            ahead = members(season.on(today.astype(object)), until=today.astype(object), count=40)
            of_future = local_dates(zone, ahead.hourly.times)
            for day in today + np.arange(1, LEADS):
                future = ahead.hourly.get("precip_mm")[1:, of_future == day]
                told.append((future.sum(axis=-1) >= WET_MM).mean())
                came.append(rain[when == day].sum() >= WET_MM)
    # days of a season hang together: the standard error is that of seasons of 20 mornings
    error = np.std(np.array(came).reshape(len(seasons[::4]), -1).mean(axis=1), ddof=1)
    assert np.mean(told) == pytest.approx(np.mean(came), abs=2 * error / np.sqrt(PLACES))


def test_wind_and_dew_point_miss_by_as_much_as_measured(seasons: list[Lived]) -> None:
    """Mean absolute errors of days 1 to 7.

    Wind 0.62 to 1.13 m/s (one service's own estimates, 8 German stations) and 1.11 to 1.18 m/s (an
    hourly grid at one US station). Dew point over air temperature, the same service's: 0.85, 0.76,
    0.85, 0.91, 1.00, 1.03, 1.03.
    """
    errors = {}
    for name in ("wind_m_s", "dewpoint_c", "temp_c"):
        rows = []
        for season in seasons[::4]:
            hours = season.mornings.hours
            for morning in range(79, 300, 5):
                told = season.mornings.foretold.hours(morning)[name]
                came = hours.record.get(name)[hours.starts[morning] :][: len(told)]
                rows.append(np.abs(came - told)[: LEADS * 24 - 1])
        mean = np.mean(rows, axis=0)
        errors[name] = np.array([mean[day * 24 :][:16].mean() for day in range(LEADS)])
    assert 0.62 < errors["wind_m_s"][0] < 1.11
    assert 0.9 < errors["wind_m_s"][-1] < 1.3
    ratio = errors["dewpoint_c"] / errors["temp_c"]
    assert ratio == pytest.approx([0.85, 0.76, 0.85, 0.91, 1.0, 1.03, 1.03], abs=0.15)
