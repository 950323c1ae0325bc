"""Facts of an application and sums over the log, on both sides of where they turn."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from typing import Any

import numpy as np
import pytest
from windows_fixtures import TODAY, local_index, site, state, weather

from windowcast.materials.actives import load_actives
from windowcast.materials.needs import ActiveNeeds
from windowcast.records.conditions import LOOK_H, RAIN_MM, Fact, facts_of
from windowcast.records.model import Application, CoverReading, Material
from windowcast.records.observations import applied_kg_ha, looks_in, uses_in
from windowcast.windows.hours import hour_context
from windowcast.windows.purposes import purpose_of

HERE = site()
ACTIVES = load_actives()
TOMORROW = TODAY + dt.timedelta(days=1)
SOIL = purpose_of("pre-fall").generic
LEAF = purpose_of("post-early").generic
NOON = local_index(HERE, 1, 12)
AFTER = NOON + 2  # the application ends


def spray(**more: Any) -> Application:
    start = dt.datetime.combine(TOMORROW, dt.time(12), HERE.zone)
    values = {"end": start + dt.timedelta(hours=2), "materials": (Material("glyphosate", 0.5),)}
    return Application(start=start, **(values | more))


def facts(
    needs: ActiveNeeds | None = LEAF,
    *,
    ahead: dict[str, Any] | None = None,
    daily: dict[str, np.ndarray] | None = None,
    applied: Application | None = None,
    **values: Any,
) -> dict[str, Fact]:
    members = weather(HERE, **values)
    days = members.daily.values["precip_mm"].shape[-1]
    members.daily.values.update(tmax_c=np.full((1, days), 12.0), tmin_c=np.full((1, days), 4.0))
    members.daily.values.update(daily or {})
    context = hour_context(HERE, state(**(ahead or {})), members)
    return {f.key: f for f in facts_of(context, applied or spray(), needs, "post-early")}


def hours(base: float, changes: dict[int, float]) -> np.ndarray:
    """An hourly series with other values so many hours after the application."""
    series = np.full(len(weather(HERE).hourly.times), base)
    for after, value in changes.items():
        series[AFTER + after] = value
    return series


@pytest.mark.parametrize(
    ("rain", "dry_h"),
    [
        ({}, float(LOOK_H)),
        ({0: RAIN_MM}, 0.0),
        ({5: RAIN_MM, 9: 3.0}, 5.0),
        ({5: RAIN_MM - 0.01, 9: 3.0}, 9.0),
        ({-1: 9.0}, float(LOOK_H)),  # while it was sprayed, not after
        ({LOOK_H - 1: 1.0}, LOOK_H - 1.0),
        ({LOOK_H: 1.0}, float(LOOK_H)),
        ({3: math.nan, 5: 1.0}, math.nan),
        ({3: 1.0, 5: math.nan}, 3.0),
    ],
)
def test_hours_without_rain_that_followed(rain: dict[int, float], dry_h: float) -> None:
    got = facts(precip_mm=hours(0.0, rain))["dry_h"].value
    assert got == pytest.approx(dry_h, nan_ok=True)


@pytest.mark.parametrize(
    ("temps", "freeze_h", "low_c"),
    [
        ({}, math.inf, 5.0),
        ({4: 0.0}, math.inf, 0.0),
        ({4: -0.1, 8: -3.0}, 4.0, -3.0),
        ({LOOK_H - 1: -1.0}, LOOK_H - 1.0, -1.0),
        ({LOOK_H: -1.0}, math.inf, 5.0),
        ({4: math.nan}, math.nan, math.nan),
    ],
)
def test_frost_that_followed(temps: dict[int, float], freeze_h: float, low_c: float) -> None:
    got = facts(temp_c=hours(5.0, temps), dewpoint_c=-9.0)
    assert got["freeze_h"].value == pytest.approx(freeze_h, nan_ok=True)
    assert got["low_c"].value == pytest.approx(low_c, nan_ok=True)


def test_air_in_the_hours_of_the_application_and_the_week_after() -> None:
    temp = hours(9.0, {-2: 11.0, -1: 13.0})
    days = np.arange(30.0)[None]
    got = facts(temp_c=temp, dewpoint_c=0.0, daily={"tmax_c": days + 4.0, "tmin_c": days})
    assert got["temp_c"].value == pytest.approx(12.0)
    assert got["week_temp_c"].value == pytest.approx(np.arange(2, 9).mean() + 2.0)
    entered = facts(applied=spray(temp_c=21.0))
    assert entered["temp_c"].value == 21.0
    assert entered["temp_c"].source.id == "origin.entered"


@pytest.mark.parametrize(
    ("rain_mm", "logged", "total", "good"),
    [
        ({1: 6.0, 8: 6.7}, {}, 12.7, True),
        ({1: 6.0, 8: 6.6}, {}, 12.6, False),
        ({0: 50.0, 9: 50.0}, {}, 0.0, False),  # the day before, and a day too late
        ({2: 3.0}, {"watered_in_mm": 10.0}, 13.0, True),
        (
            {2: 3.0},
            {"watered_in_mm": 10.0, "watered_in_on": TOMORROW + dt.timedelta(7)},
            13.0,
            True,
        ),
        (
            {2: 3.0},
            {"watered_in_mm": 10.0, "watered_in_on": TOMORROW + dt.timedelta(8)},
            3.0,
            False,
        ),
        ({2: math.nan}, {}, math.nan, True),
        ({2: math.nan}, {"watered_in_mm": 13.0}, 13.0, True),
    ],
)
def test_watering_in(
    rain_mm: dict[int, float], logged: dict[str, Any], total: float, good: bool
) -> None:
    rain = np.zeros((1, 30))
    for day, depth in rain_mm.items():
        rain[0, day] = depth
    got = facts(SOIL, daily={"precip_mm": rain}, applied=spray(**logged))["watered_mm"]
    assert got.value == pytest.approx(total, nan_ok=True)
    assert got.good is good
    assert "watered_mm" not in facts(LEAF)
    unknown = dataclasses.replace(SOIL, activation_days=math.nan)
    assert math.isnan(facts(unknown)["watered_mm"].value)


def test_weeds_and_turf_of_the_day() -> None:
    got = facts(ahead={"share": 0.6, "young": 0.25, "leaf": 3.0, "to_greenup": 33.0})
    assert got["share_POAAN"].value == pytest.approx(60.0)
    assert got["young_POAAN"].value == pytest.approx(25.0)
    assert got["weeds_bbch"].value == pytest.approx(13.0)
    assert got["days_to_greenup"].value == 33.0
    assert got["days_since_dormant"].value == 20.0
    assert got["soil_5cm_c"].value == 8.0
    assert "share_DIGIS" not in got  # the purpose aims at winter annuals
    few = facts(ahead={"share": 0.004})
    assert "young_POAAN" not in few
    assert "weeds_bbch" not in few
    assert "share_POAAN" not in facts(ahead={"share": 0.0})
    assert math.isnan(facts(ahead={"share": math.nan})["share_POAAN"].value)


# --- sums over the log ----------------------------------------------------------------------------


def put_out(date: dt.date, rate: float | None, where: str = "") -> Application:
    start = dt.datetime.combine(date, dt.time(9), HERE.zone)
    return Application(start=start, materials=(Material("simazine", rate),), where=where)


def test_a_year_is_365_days_up_to_the_date() -> None:
    until = dt.date(2026, 11, 28)
    first = until - dt.timedelta(days=364)
    inside = [put_out(first, 1.0), put_out(until, 0.5)]
    outside = [put_out(first - dt.timedelta(1), 4.0), put_out(until + dt.timedelta(1), 4.0)]
    assert applied_kg_ha([*inside, *outside], until) == {"simazine": 1.5}
    north = [put_out(until, 1.0, "north"), put_out(until, 2.0, "south"), put_out(until, 4.0)]
    assert applied_kg_ha(north, until, "North ") == {"simazine": 5.0}
    assert math.isnan(applied_kg_ha([*inside, put_out(until, None)], until)["simazine"])


def test_only_known_actives_count_in_rotation() -> None:
    start = dt.datetime(2026, 11, 20, 9, tzinfo=HERE.zone)
    mixed = Application(
        start=start, purpose="dormant", where="north",
        materials=(Material("simazine"), Material("nobody knows"), Material("glyphosate")),
    )  # fmt: skip
    unknown = Application(start=start, materials=(Material("nobody knows"),))
    (found,) = uses_in([unknown, mixed], ACTIVES, southern=False)
    assert found.actives == ("simazine", "glyphosate")
    assert found.groups == (5, 9)
    assert (found.purpose, found.where, found.season) == ("dormant", "north", "2026/27")


def test_any_green_is_a_live_shoot_and_none_says_nothing() -> None:
    days = [dt.date(2026, 12, n) for n in range(1, 5)]
    looks = looks_in(
        [
            CoverReading(days[3], green_pct=2.0, live_shoots=False, where="a"),
            CoverReading(days[0], green_pct=0.0),
            CoverReading(days[1], green_pct=5.0),
            CoverReading(days[2], live_shoots=False),
        ]
    )
    assert [(look.date, look.live_shoots) for look in looks] == [
        (days[1], True), (days[2], False), (days[3], True),
    ]  # fmt: skip
