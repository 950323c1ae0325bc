"""What people do who go by a rule: on which day and at what hour, and what they do not look at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lived_seasons import (
    FORAMSULFURON,
    GLYPHOSATE,
    PRODIAMINE,
    WATER_MM,
    Season,
    season,
    station,
    worlds,
)
from uscrn_sites import DEEP_SOUTH

from windowcast.core.record import Record, Weather
from windowcast.core.spray_calendar import Calendar
from windowcast.verify.lived import lived
from windowcast.verify.simple_rules import by_rules, calendar_date
from windowcast.verify.sprays import Done, Tank
from windowcast.verify.worth import Worlds
from windowcast.windows.model import PURPOSES, PurposeName

YEAR = 2017  # turf went dormant in December; there was rain on 28 January and 25 February
TANKS: dict[PurposeName, Tank] = {
    "pre-fall": PRODIAMINE,
    "post-early": FORAMSULFURON,
    "dormant": GLYPHOSATE,
    "pre-spring": PRODIAMINE,
}
CAME = season(DEEP_SOUTH, YEAR)
LATITUDE = CAME.daily.place.latitude_deg
DAY = dt.timedelta(1)
Known = Callable[[dt.date], Weather]


@cache
def _worlds(*, irrigated: bool = True) -> Worlds:
    return worlds(DEEP_SOUTH, YEAR, irrigated=irrigated, draws=2)


def known_of(came: Season) -> Known:
    """What is foretold is what comes."""
    return lambda today: Weather(came.daily, came.hourly, today)


def dates_of(found: tuple[Done, ...]) -> dict[str, dt.date]:
    """Purpose → date."""
    return {one.applied.purpose: one.applied.date for one in found}


def rules(
    came: Season = CAME, where: Worlds | None = None, known: Known | None = None
) -> dict[str, tuple[Done, ...]]:
    """The rules, with a forecast that comes true."""
    return by_rules(came, where or _worlds(), TANKS, known=known or known_of(came))


def with_hours(came: Season, name: str, on: Callable[[np.ndarray], np.ndarray]) -> Season:
    """The season with other hours of a variable."""
    values = {**came.hourly.values, name: on(came.hourly.values[name].copy())}
    return replace(came, hourly=replace(came.hourly, values=values))


def hours_on(record: Record, first: dt.date, days: int = 1) -> slice:
    """The hours of local days (Central standard time)."""
    start = np.datetime64(first, "h") + np.timedelta64(6, "h")
    at = int((start - record.times[0]).astype(np.int64))
    return slice(at, at + 24 * days)


def with_green(where: Worlds, half_green: np.ndarray) -> Worlds:
    """Turf that looks otherwise."""
    state = where.came.state
    turf = replace(state.turf, half_green_probability=half_green)
    return replace(where, came=replace(where.came, state=replace(state, turf=turf)))


def with_calendar(where: Worlds, **keys: object) -> Worlds:
    """Ground that may be sprayed at other times."""
    site = where.site.model_copy(update={"calendar": Calendar.model_validate(keys)})
    return replace(where, ground=replace(where.ground, site=site))


def rain_mm(date: dt.date) -> float:
    """Rain of a day as it came."""
    at = int((np.datetime64(date) - CAME.daily.times[0]).astype(np.int64))
    return float(CAME.daily.get("precip_mm")[at])


def first_dry(text: str) -> dt.date:
    """The first dry day from a date of the season on."""
    date = dt.date(YEAR + (text < "07-01"), int(text[:2]), int(text[3:]))
    while rain_mm(date) > 0:
        date += dt.timedelta(1)
    return date


def test_by_the_calendar_on_the_first_dry_day_from_the_published_date_on():
    """Selma, Alabama, lies in the band of Georgia's Piedmont: 10 Sep, 15 Nov, 28 Jan, 25 Feb."""
    assert [calendar_date(p, LATITUDE) for p in PURPOSES] == ["09-10", "11-15", "01-28", "02-25"]
    found = dates_of(rules()["calendar"])
    assert found == {p: first_dry(calendar_date(p, LATITUDE)) for p in PURPOSES}
    assert found["dormant"] == dt.date(2018, 1, 29)


def test_by_the_soil_a_thermometer_decides_on_pre_emergents_alone():
    where, at = _worlds(), np.arange(len(_worlds().came.dates))
    soil = np.where(at < 200, 30.05 - 0.1 * at, 8.05 + 0.1 * (at - 200))  # tests/test_rule_dates.py
    state = replace(where.came.state, soil_5cm_c=soil)
    found = rules(where=replace(where, came=replace(where.came, state=state)))
    dates = dates_of(found["soil"])
    start = dt.date(YEAR, 7, 1)
    assert dates["pre-fall"] == first_dry((start + dt.timedelta(94)).isoformat()[5:])
    assert dates["pre-spring"] == first_dry((start + dt.timedelta(252)).isoformat()[5:])
    calendar = dates_of(found["calendar"])
    assert {p: dates[p] for p in ("post-early", "dormant")} == {
        p: calendar[p] for p in ("post-early", "dormant")
    }


def test_the_first_warm_dry_day_of_january():
    warm = dt.date(2018, 1, 1)
    highs = CAME.daily.get("tmax_c")
    begin = int((np.datetime64(warm) - CAME.daily.times[0]).astype(np.int64))
    day = next(d for d in range(31) if highs[begin + d] >= 10.0 and not rain_mm(warm + d * DAY))
    found = rules()
    assert dates_of(found["warm_day"])["dormant"] == warm + day * DAY
    assert dates_of(found["warm_day"])["pre-fall"] == dates_of(found["calendar"])["pre-fall"]
    cold = CAME.daily.get("tmax_c").copy()
    cold[begin : begin + 31] = 9.9
    told = replace(CAME.daily, values={**CAME.daily.values, "tmax_c": cold})
    assert "dormant" not in dates_of(
        rules(known=lambda today: Weather(told, CAME.hourly, today))["warm_day"]
    )


@pytest.mark.parametrize(
    ("keys", "allowed"),
    [
        ({"spray_weekdays": ("tue", "thu")}, lambda t: t.weekday() in (1, 3)),
        ({"spray_hours": "06:00-12:00"}, lambda t: 6 <= t.hour <= 10),
        (
            {"blackout": [{"first": "2017-09-10", "last": "2017-09-20"}]},
            lambda t: not dt.date(2017, 9, 10) <= t.date() <= dt.date(2017, 9, 20),
        ),
    ],
)
def test_only_when_the_site_may_be_sprayed(keys, allowed):
    found = rules(where=with_calendar(_worlds(), **keys))
    assert {len(done) for done in found.values()} == {4}
    assert all(allowed(one.start) for done in found.values() for one in done)


def test_wind_over_the_limit_puts_it_off_and_after_three_weeks_it_is_let_be():
    date = first_dry("09-10")

    def blown(days: int) -> Season:
        def on(wind: np.ndarray) -> np.ndarray:
            wind[hours_on(CAME.hourly, dt.date(2017, 9, 10), days)] = 4.6
            return wind

        return with_hours(CAME, "wind_m_s", on)

    still = (date + DAY).isoformat()[5:]
    assert dates_of(rules(blown((date - dt.date(2017, 9, 10)).days + 1))["calendar"])[
        "pre-fall"
    ] == first_dry(still)
    assert "pre-fall" not in dates_of(rules(blown(21))["calendar"])


def test_neither_with_rain_foretold_nor_in_the_rain():
    date = first_dry("09-10")

    def rained(rain: np.ndarray) -> np.ndarray:
        rain[hours_on(CAME.hourly, date)] = 0.5
        return rain

    wet = with_hours(CAME, "precip_mm", rained)
    later = first_dry((date + DAY).isoformat()[5:])
    foretold = rules(known=known_of(wet))["calendar"]
    fallen = rules(wet, known=known_of(CAME))["calendar"]
    assert dates_of(foretold)["pre-fall"] == dates_of(fallen)["pre-fall"] == later


def test_irrigated_ground_is_watered_in_the_same_day_after_a_pre_emergent():
    for one in rules()["calendar"]:
        barrier = one.applied.purpose.startswith("pre")
        assert one.applied.watered_in_mm == (WATER_MM if barrier else None)
        assert one.applied.watered_in_on == (one.applied.date if barrier else None)
    dry = rules(where=_worlds(irrigated=False))["calendar"]
    assert {one.applied.watered_in_mm for one in dry} == {None}


def test_what_leaves_take_up_goes_out_in_the_warmest_hours():
    temp = CAME.hourly.get("temp_c")
    for one in rules()["calendar"]:
        hours = hours_on(CAME.hourly, one.applied.date)
        by_start = (temp[hours][:-1] + temp[hours][1:])[6:18]  # 6 am to 7 pm, two hours each
        warmest = 6 + int(np.argmax(by_start))
        clock = one.start.astimezone(dt.timezone(dt.timedelta(hours=-6))).hour
        first = 6 - bool(one.start.dst())
        assert clock == (first if one.applied.purpose.startswith("pre") else warmest)
        assert one.end - one.start == dt.timedelta(hours=2)


def test_nobody_sprays_a_non_selective_on_turf_that_is_plainly_green():
    where = _worlds()
    days = len(where.came.dates)
    always = rules(where=with_green(where, np.full(days, 0.51)))
    assert all("dormant" not in dates_of(done) for done in always.values())
    assert all(len(done) == 3 for done in always.values())
    until = np.where(where.came.dates < np.datetime64("2018-02-03"), 0.9, 0.5)
    late = dates_of(rules(where=with_green(where, until))["calendar"])
    assert late["dormant"] == first_dry("02-03")


def test_harm_is_not_prevented():
    """Turf that looks dormant is sprayed though live leaf is there."""
    where = _worlds()
    leaf = np.ones_like(where.came.leaf)
    green = replace(where, came=replace(where.came, leaf=leaf))
    done = next(d for d in rules(where=green)["calendar"] if d.applied.purpose == "dormant")
    assert green.worth([done]).hurt_chance[0] == pytest.approx(1.0)


@settings(max_examples=15)
@given(st.integers(60, 330), st.integers(0, 2**16))
def test_weather_after_a_day_changes_nothing_that_was_sprayed_by_then(day, seed):
    rng = np.random.default_rng(seed)
    where, date = _worlds(), dt.date(YEAR, 7, 1) + day * DAY
    cut = hours_on(CAME.hourly, date + DAY).start

    def other(values: np.ndarray) -> np.ndarray:
        values[cut:] = rng.choice([0.0, 9.0], len(values) - cut)
        return values

    changed = with_hours(with_hours(CAME, "wind_m_s", other), "precip_mm", other)
    state = where.came.state
    soil, green = state.soil_5cm_c.copy(), state.turf.half_green_probability.copy()
    soil[day + 1 :] = rng.uniform(0, 30, len(soil) - day - 1)
    green[day + 1 :] = rng.uniform(0, 1, len(green) - day - 1)
    turf = replace(state.turf, half_green_probability=green)
    came = replace(where.came, state=replace(state, soil_5cm_c=soil, turf=turf))
    one, two = rules(), rules(changed, replace(where, came=came))
    for rule, done in one.items():
        assert [d for d in done if d.applied.date <= date] == [
            d for d in two[rule] if d.applied.date <= date
        ]


def test_in_a_season_with_drawn_forecasts_what_is_done_can_be_scored():
    came = lived(station(DEEP_SOUTH).record, YEAR)
    assert came is not None
    where = Worlds.of(station(DEEP_SOUTH), came, draws=2)
    for done in by_rules(came, where, TANKS, known=came.on).values():
        assert list(done) == sorted(done, key=lambda one: one.start)
        assert set(dates_of(done)) == set(PURPOSES)
        worth = where.worth(done)
        assert 0.5 < worth.winter.mean() <= 1.0
        for one in done:
            ends = [t.astimezone(dt.UTC).replace(tzinfo=None) for t in (one.start, one.end)]
            hours = slice(*np.searchsorted(came.hourly.times, np.array(ends, "datetime64[h]")))
            assert not came.hourly.get("precip_mm")[hours].any()
            assert came.hourly.get("wind_m_s")[hours].max() <= 4.5
