"""What each criterion measures, on weather and state of a few hours and days worked out by hand."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from windows_fixtures import TODAY, past, site, state, weather

from windowcast.core.phrase import NOTHING, Listing, Name, say
from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED
from windowcast.windows.criteria import (
    HOUR_CRITERIA,
    about,
    allowed_hours,
    off_areas,
    over_limit,
)
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.hours import hour_context
from windowcast.windows.purposes import purpose_of

NAN = math.nan
NEEDS = purpose_of("post-early").generic
PRE = purpose_of("pre-fall").generic
MEMBERS = 21
TABLES = PACKAGED.varied(
    {
        "criteria.frost.hours": 2, "criteria.cold_after.hours": 3, "criteria.sun_after.hours": 3,
        "criteria.dry_before.hours": 2, "criteria.saturated_soil.hours": 3,
        "criteria.saturated_soil.full": 0.75, "criteria.washing_rain.hours": 3,
        "criteria.chance_of_rain.wet_mm": 0.25, "criteria.inversion.sun_deg": [2.0, 12.0],
        "criteria.inversion.wind_m_s": [1.0, 3.0], "criteria.inversion.cloud": [0.25, 0.75],
        "criteria.inversion.overcast_share": 0.2, "criteria.inversion.night_hours": 3,
        "criteria.inversion.warming_c": [0.5, 2.5], "criteria.emergence_lead.begun": 0.25,
        "criteria.rule.members": 4,
    }
)  # fmt: skip


def context(**hourly: Any) -> Any:
    """Hours ``[member, hour]`` with nothing before them, unless `lead` says how many are."""
    known = {"lead": 0, "ahead_moisture": 0.5, "unplaced_mm": None} | hourly
    rows = {
        n: np.atleast_2d(np.asarray(v, dtype=np.float64))
        for n, v in known.items()
        if n not in ("lead", "unplaced_mm", "ahead_moisture", "sun_deg")
    }
    count = max((v.shape[-1] for v in rows.values()), default=len(known.get("sun_deg", [])))
    here = hour_context(site(), state(), weather(site()), tables=TABLES)
    sun = np.asarray(known.get("sun_deg", [30.0] * count), dtype=np.float64)
    made = replace(
        here, times=here.times[:count], local=here.local[:count], day=np.zeros(count, dtype=int),
        lead=known["lead"], hourly=rows, ahead=state(moisture=known["ahead_moisture"]),
        unplaced_mm=known["unplaced_mm"],
    )  # fmt: skip
    made.__dict__["sun_deg"] = sun
    return made


def measured(name: str, needs: Any = NEEDS, **hourly: Any) -> FloatArray:
    found = HOUR_CRITERIA[name](context(**hourly), needs)
    return np.atleast_2d(found)


def same(found: Any, expected: Any) -> None:
    np.testing.assert_allclose(found, expected, atol=1e-9)


# --- wind -----------------------------------------------------------------------------------------


def test_wind_above_the_sprayers_own_limit() -> None:
    wind = np.array([2.9, 3.0, 3.1, NAN])
    same(over_limit(wind, site(equipment={"wind_max_m_s": 3.0})), [0, 0, 1, NAN])
    same(over_limit(wind, site()), [0, 0, 0, 0])  # it has none


def test_how_far_the_wind_blows_past_the_nearest_sensitive_area() -> None:
    """To the east lies a pond from 80 to 100°, to the north a school from 350 to 10°."""
    here = site(sensitive=[
        {"name": "pond", "bearing_from_deg": 80, "bearing_to_deg": 100},
        {"name": "the school", "bearing_from_deg": 350, "bearing_to_deg": 10},
    ])  # fmt: skip
    wind_from = np.array([270.0, 290.0, 300.0, 240.0, 225.0, 200.0, 180.0, 90.0, NAN])
    same(off_areas(wind_from, here.sensitive), [0, 10, 20, 20, 35, 10, 0, 80, NAN])
    same(off_areas(wind_from, []), [180.0] * 9)
    ctx: Any = SimpleNamespace(site=here, get=lambda name: wind_from[None])
    pond, school = (
        say("place.common", name=Name("pond")),
        say("place.proper", name=Name("the school")),
    )
    assert about("sensitive_areas", ctx, 0) == Listing((pond,))
    assert about("sensitive_areas", ctx, 6) == Listing((school,))
    assert about("sensitive_areas", ctx, 4) == Listing((pond, school))  # 35° off both
    assert about("wind", ctx, 0) == NOTHING
    assert about("sensitive_areas", SimpleNamespace(site=site()), 0) == NOTHING  # type: ignore[arg-type]


def test_hours_that_are_still_to_come() -> None:
    here = site()
    for minutes, first in ((0, 11), (1, 12), (59, 12)):
        now = dt.datetime.combine(TODAY, dt.time(11, minutes), here.zone)
        ctx = hour_context(here, state(), weather(here), now=now.astimezone(dt.UTC))
        assert int(np.flatnonzero(allowed_hours(ctx))[0]) - ctx.lead == first
    whole = hour_context(here, state(), weather(here))
    assert allowed_hours(whole)[whole.lead + 10]


@pytest.mark.parametrize(
    ("change", "index"),
    [
        ({}, 1.0),
        ({"sun_deg": 7.0}, 0.5),
        ({"sun_deg": 12.0}, 0.0),
        ({"wind_m_s": 1.5}, 0.75),
        ({"wind_m_s": 3.0}, 0.0),
        ({"cloud_fraction": 0.5}, 0.6),  # half of the way to a fifth
        ({"cloud_fraction": 1.0}, 0.2),
        ({"cloud_fraction": NAN}, 1.0),  # unknown counts as clear
        ({"temp_c": [4.0, 3.0, 4.0, 4.5]}, 0.5),  # 1.5 K above the low, and warming
        ({"temp_c": [4.0, 3.0, 4.5, 4.5]}, 1.0),  # as high above it, and still
        ({"temp_c": [0.0, 9.0, 8.0, 8.5]}, 0.0),
        ({"temp_c": [NAN, 4.0, 3.0, 4.5]}, 0.5),  # the low of what is known
        ({"wind_m_s": NAN}, NAN),
        ({"sun_deg": 7.0, "wind_m_s": 2.0, "cloud_fraction": 0.5}, 0.5 * 0.5 * 0.6),
    ],
)
def test_the_index_of_an_inversion(change: dict[str, Any], index: float) -> None:
    fair = {"sun_deg": 0.0, "wind_m_s": 0.5, "cloud_fraction": 0.0, "temp_c": [4.0, 4.0, 4.0, 4.0]}
    given = fair | change
    rows = {n: v if isinstance(v, list) else [v] * 4 for n, v in given.items()}
    same(measured("inversion", **rows)[0, 3], index)


# --- air ------------------------------------------------------------------------------------------


def test_air_that_is_hot_and_dry() -> None:
    """Above 25 °C and below 40 %; what is neither hot nor dry needs no other figure."""
    temp = [26.0, 25.0, 26.0, NAN, 26.0, 20.0, NAN]
    ctx = context(temp_c=temp)
    ctx.__dict__["rh_pct"] = np.array([[39.0, 39.0, 40.0, 50.0, NAN, NAN, 30.0]])
    found = HOUR_CRITERIA["hot_and_dry"](ctx, NEEDS)
    same(found, [[1, 0, 0, 0, NAN, 0, NAN]])


def test_the_coldest_of_the_hours_about() -> None:
    temp = [5.0, 3.0, 9.0, 1.0, 7.0, 8.0]
    same(measured("cold_after", temp_c=temp), [[1, 1, 1, NAN, NAN, NAN]])
    same(measured("frost", temp_c=temp), [[NAN, NAN, 3, 1, 1, 1]])
    dew = measured("leaf_wetness", temp_c=temp, dewpoint_c=[4.0, 2.5, 1.0, 1.0, 7.0, 2.0])
    same(dew, [[1.0, 0.5, 8.0, 0.0, 0.0, 6.0]])


def test_clear_sky_is_counted_by_day_alone() -> None:
    """Three hours ahead of each: by night there is no cloud to count."""
    sun = [10.0, 20.0, -5.0, -5.0, 10.0, 20.0]
    cloud = [0.5, 0.0, 1.0, NAN, 0.25, 1.0]
    asked = replace(NEEDS, light_needed=True)
    found = measured("sun_after", asked, sun_deg=sun, cloud_fraction=cloud)[0]
    # hours 0 to 3: half and full of two lit ones; 1 to 4: full and three quarters; 2 to 5
    same(found[:3], [0.75, 0.875, 0.375])
    assert np.isnan(found[3:]).all()
    unsaid = measured(
        "sun_after", replace(NEEDS, light_needed=None), sun_deg=sun, cloud_fraction=cloud
    )
    assert np.isnan(unsaid).all()
    dark = measured("sun_after", asked, sun_deg=[-1.0] * 5, cloud_fraction=[0.0] * 5)[0]
    same(dark[:2], [0.0, 0.0])


# --- rain -----------------------------------------------------------------------------------------

RAIN = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0]


def test_rain_of_the_hours_about() -> None:
    same(measured("rain_now", precip_mm=RAIN), [RAIN])
    same(measured("dry_before", precip_mm=RAIN), [[NAN, NAN, 3, 6, 12, 24]])
    same(measured("washing_rain", precip_mm=RAIN), [[7, 14, 28, 56, NAN, NAN]])
    for free, expected in ((2.0, [7, 14, 28, 56, NAN, NAN]), (1.5, [7, 14, 28, 56, NAN, NAN]),
                           (0.0, RAIN)):  # fmt: skip
        needs = replace(NEEDS, rain_free_h=free)
        same(measured("rain_after", needs, precip_mm=RAIN), [expected])
    for unknown in (None, NAN):
        untold = measured("rain_after", replace(NEEDS, rain_free_h=unknown), precip_mm=RAIN)
        assert np.isnan(untold).all()


def test_a_soil_that_is_full_has_no_room_for_rain() -> None:
    fallen = [NAN, NAN, 7, 14, 28, 56]
    same(measured("saturated_soil", precip_mm=RAIN, ahead_moisture=0.75), [fallen])
    same(measured("saturated_soil", precip_mm=RAIN, ahead_moisture=0.74), [[NAN, NAN, 0, 0, 0, 0]])
    same(measured("saturated_soil", precip_mm=RAIN, ahead_moisture=NAN), [fallen])
    # what is unknown before today leaves room where the soil has some; ahead of it, none
    before = [NAN, NAN, 4.0, 8.0, 16.0, 32.0]
    same(measured("saturated_soil", precip_mm=before, lead=2), [[NAN, NAN, 0, 0, 0, 0]])
    ahead = [1.0, 2.0, NAN, 8.0, 16.0, 32.0]
    same(measured("saturated_soil", precip_mm=ahead, lead=1), [[NAN, NAN, NAN, NAN, NAN, 0]])


def test_the_chance_of_rain_in_the_futures_or_by_the_forecasts_word() -> None:
    needs = replace(NEEDS, rain_free_h=1.0)
    alone = measured(
        "chance_of_rain", needs, precip_mm=[0.0, 0.0, 0.25, 0.0, 0.24, NAN],
        precip_prob=[0.1, 0.3, 0.2, NAN, 0.4, 0.5],
    )  # fmt: skip
    # the largest word of this hour and the next, certain where the forecast itself has rain
    same(alone, [[0.3, 1.0, 1.0, 0.0, NAN, NAN]])
    rows = np.zeros((5, 3))
    rows[0] = 9.0  # the forecast counts as none of the futures
    rows[1, 1] = rows[2, 1] = rows[3, 2] = 0.25
    rows[4, 2] = 0.125
    many = measured("chance_of_rain", needs, precip_mm=rows, precip_prob=[0.9] * 3)
    same(many[0], [0.5, 0.75, NAN])
    same(many[1:, 0], [1, 1, 0, 0])
    few = measured("chance_of_rain", needs, precip_mm=rows[:4], precip_prob=[0.9] * 3)
    same(few[:, 0], [1, 1, 1, 0])
    for free in (None, NAN):
        untold = measured("chance_of_rain", replace(NEEDS, rain_free_h=free), precip_mm=RAIN,
                          precip_prob=[0.5] * 6)  # fmt: skip
        assert np.isnan(untold).all()


# --- days -----------------------------------------------------------------------------------------


def on_days(name: str, needs: Any = PRE, **known: Any) -> FloatArray:
    usual: dict[str, Any] = {
        "site": site(),
        "state": state(days=5),
        "weeds": "fall",
        "tables": TABLES,
    }
    found = DAY_CRITERIA[name](DayContext(**(usual | known)), needs)
    assert found.ndim == 2
    return found


def with_share(base: Any, *rows: list[float], weed: str = "POAAN") -> Any:
    """The state with a curve for one weed of fall, or for several."""
    known = {
        f"W{n}": replace(base.emergence[weed], weed=f"W{n}", share=np.array(row))
        for n, row in enumerate(rows)
    }
    return replace(base, emergence=known)


def test_the_mean_of_a_week_reaches_back_before_today() -> None:
    ahead = replace(state(days=3), soil_5cm_c=np.array([7.0, 14.0, NAN]))
    before = past(days=6, soil_c=0.0)
    same(on_days("soil_week", state=ahead, before=before), [[1, 3, NAN]])
    assert np.isnan(on_days("soil_week", state=ahead, before=past(days=5, soil_c=0.0))[0, 0])
    gap = past(TODAY - dt.timedelta(days=1), soil_c=0.0)  # yesterday is missing
    assert np.isnan(on_days("soil_week", state=ahead, before=gap)).all()
    assert np.isnan(on_days("soil_week", state=ahead)).all()
    whole = replace(state(days=9), soil_5cm_c=np.arange(9.0))
    same(on_days("soil_week", state=whole), [[NAN] * 6 + [3, 4, 5]])
    many = replace(state(days=2), soil_5cm_c=np.array([[7.0, 7.0], [14.0, 14.0]]))
    same(on_days("soil_week", state=many, before=before), [[1, 2], [2, 4]])


@pytest.mark.parametrize(
    ("share", "lead"),
    [
        ([0.0, 0.1, 0.25, 0.5], [2, 1, 0, 0]),
        ([0.0, 0.1, 0.2, 0.24], [4, 3, 2, 1]),  # not within what is known: at least so long
        ([0.3, 0.3, 0.3, 0.3], [0, 0, 0, 0]),
        # a gap is without emergence where the share after it says so, else nothing is told
        ([0.0, NAN, 0.1, 0.25], [3, 2, 1, 0]),
        ([0.0, NAN, 0.25, 0.3], [NAN, NAN, 0, 0]),
        ([0.0, 0.1, NAN, NAN], [NAN, NAN, NAN, NAN]),
        ([0.25, NAN, NAN, NAN], [0, NAN, NAN, NAN]),
    ],
)
def test_days_until_the_weeds_begin_to_come_up(share: list[float], lead: list[float]) -> None:
    ahead = with_share(state(days=4), share)
    same(on_days("emergence_lead", state=ahead), [lead])


def test_the_days_after_count_by_their_middle_future() -> None:
    ahead = with_share(state(days=2), [0.0, 0.1])
    later = with_share(state(days=3), [[0.1, 0.2, 0.9], [0.1, 0.3, 0.9], [0.1, 0.3, 0.9]])  # type: ignore[list-item]
    same(on_days("emergence_lead", state=ahead, after=later), [[3, 2]])
    assert np.isnan(on_days("emergence_lead", state=replace(ahead, emergence={}))).all()


def test_of_several_weeds_the_mean_is_up_and_the_largest_is_met() -> None:
    ahead = with_share(state(days=2), [0.2, 0.4], [0.4, 0.8])
    same(on_days("share_up", state=ahead), [[0.3, 0.6]])
    weeds = {
        code: replace(weed, youngest_share=np.array([y, y]), mean_leaf=np.array([leaf, leaf]))
        for (code, weed), y, leaf in zip(
            ahead.emergence.items(), (0.5, 1.0), (1.0, 3.0), strict=True
        )
    }
    ahead = replace(ahead, emergence=weeds)
    same(on_days("young_share", state=ahead), [[0.75, 0.75]])
    small = replace(PRE, largest_bbch=12.0)
    same(on_days("plant_size", small, state=ahead), [[13, 13]])
    for unknown in (None, NAN):
        assert np.isnan(
            on_days("plant_size", replace(PRE, largest_bbch=unknown), state=ahead)
        ).all()


def test_the_state_of_soil_and_turf() -> None:
    soil = np.array([[1.0, NAN], [2.0, 3.0]])
    ahead = replace(state(days=2), soil_5cm_c=soil, soil_frozen=np.array([True, False]))
    same(on_days("frozen_soil", state=ahead), [[1, NAN], [1, 0]])
    same(on_days("cool_soil", state=ahead), soil)
    same(on_days("season_months", state=state(days=2)), [[199, 200]])  # 16 January, since 1 July
    south = site(latitude=-33.0)
    same(on_days("season_months", state=state(days=2), site=south), [[15, 16]])
    turf = replace(ahead.turf, nonselective_safe=np.array([1.0, NAN]))
    same(on_days("dormancy", state=replace(ahead, turf=turf)), [[1, NAN]])


def test_days_left_to_green_up_where_a_record_ends() -> None:
    def turf(left: Any, half: Any) -> Any:
        base = state(days=30)
        known = replace(base.turf, days_to_greenup=np.asarray(left, dtype=float),
                        half_green_probability=np.asarray(half, dtype=float))  # fmt: skip
        return replace(base, turf=known)

    unknown = [NAN] * 30
    # known to stay dormant for the full margin of 21 days, the days so known count
    found = on_days("greenup_margin", state=turf(unknown, [0.0] * 30))[0]
    same(found[:11], [*range(30, 20, -1), NAN])
    same(on_days("greenup_margin", state=turf([5.0] * 30, [0.0] * 30)), [[5.0] * 30])
    many = turf([unknown, unknown], [[0.0] * 30, [0.0] * 30])
    assert np.isnan(on_days("greenup_margin", state=many)).all()


@pytest.mark.parametrize(
    ("irrigated", "expected"),
    [
        (True, [1.0, 1.0, 1.0]),
        (False, [0.6, 0.2, 0.0]),
        (None, [NAN, NAN, NAN]),  # no chance of it is high enough
    ],
)
def test_the_chance_that_rain_waters_it_in(irrigated: bool | None, expected: Any) -> None:
    """Of five futures three have 10 mm within two days after the first, one of them later."""
    rain = np.zeros((6, 6))
    rain[0] = 99.0  # as issued: no future
    rain[1, 1], rain[2, 2], rain[3, 1], rain[3, 2] = 10.0, 10.0, 5.0, 5.0
    rain[4, 0] = 50.0  # on the day itself: nobody knows whether before or after
    needs = replace(PRE, activation_mm=10.0, activation_days=2.0)
    here = site(turf={"irrigated": irrigated})
    found = on_days("water_in", needs, site=here, rain_mm=rain[:, :5], state=state(days=5))
    same(found[0, :3], expected)
    if irrigated:
        same(found, [[1.0] * 5])
        return
    assert np.isnan(found[0, 3:]).all()  # beyond what is known
    same(found[1:, 0], [1, 1, 1, 0, 0] if irrigated is False else [1, 1, 1, NAN, NAN])


def test_rain_that_is_not_told_is_known_only_if_the_rest_is_enough() -> None:
    sure = float(TABLES["criteria"].table("water_in").value("at").value[-1])
    needs = replace(PRE, activation_mm=10.0, activation_days=1.0)
    rain = np.zeros((11, 3))
    wet = math.ceil(10 * sure)
    rain[1 : 1 + wet, 1] = 10.0
    rain[10, 1] = NAN if wet < 10 else 10.0
    for irrigated in (False, None):
        here = site(turf={"irrigated": irrigated})
        found = on_days("water_in", needs, site=here, rain_mm=rain, state=state(days=3))
        same(found[0, 0], wet / 10)
    rain[wet, 1] = 0.0  # one less: it cannot be told
    found = on_days("water_in", needs, site=site(turf={"irrigated": False}), rain_mm=rain,
                    state=state(days=3))  # fmt: skip
    assert np.isnan(found[0, 0])
    for change in ({"activation_mm": None}, {"activation_mm": NAN}, {"activation_days": NAN}):
        less: Any = change
        assert np.isnan(on_days("water_in", replace(needs, **less), rain_mm=rain)).all()
    assert np.isnan(on_days("water_in", needs, site=site(turf={"irrigated": False}))).all()
