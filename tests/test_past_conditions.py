"""Conditions and figures of a past application on weather made up for it, worked out by hand.

It was sprayed on 16 Jan 2023 from 10 to 12 o'clock. Hours count from that midnight, days from that
day.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from spoken import render
from windows_fixtures import TODAY, site, state, weather

from windowcast.core.record import Grade
from windowcast.materials.actives import load_actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.records.conditions import Fact, facts_of
from windowcast.records.evidence import Evidence, evidence_of, rate_share, share_up
from windowcast.records.looks import Look, SeenAfter
from windowcast.records.model import Application, Material, ScoutingCount
from windowcast.season.model import SiteState, TurfPhase
from windowcast.windows.hours import HourContext, hour_context

NAN, ZONE = math.nan, ZoneInfo("Europe/Madrid")
ACTIVES = load_actives()
PRE, POST = (needs_of(ACTIVES.mixture(name)) for name in ("prodiamine", "glyphosate"))
FAIR = {"temp_c": 16.0, "precip_mm": 0.0}


def sprayed(active: str = "prodiamine", rate: float | None = 0.8, **more: Any) -> Application:
    start = dt.datetime(2023, 1, 16, 10, tzinfo=ZONE)
    return Application(
        start, (Material(active, rate),), **{"end": start + dt.timedelta(hours=2), **more}
    )


def hours(name: str, **at: float) -> np.ndarray:
    """A quantity as it is in fair weather but for some hours: ``h20=0.25``."""
    values = np.full(8 * 24, FAIR[name])
    for hour, value in at.items():
        values[int(hour[1:])] = value
    return values


def days(value: float, **at: float) -> np.ndarray:
    values = np.full((1, 30), value)
    for day, other in at.items():
        values[0, int(day[1:])] = other
    return values


def context(
    *, of: dict[str, Any] | None = None, daily: dict[str, Any] | None = None, length: int = 8,
    here: dict[str, Any] | None = None, grade: Grade | None = None, **hourly: Any,
) -> HourContext:  # fmt: skip
    place = site(**(here or {}))
    known = {name: value[: 24 * length] for name, value in hourly.items()}
    found = hour_context(place, state(**(of or {})), weather(place, days=length, **known))
    whole = {"tmax_c": days(20.0), "tmin_c": days(4.0), "precip_mm": days(0.0), **(daily or {})}
    marks = found.grade
    if grade is not None:
        marks = {name: np.full_like(values, grade) for name, values in marks.items()}
    return replace(found, daily={k: v for k, v in whole.items() if v is not None}, grade=marks)


def facts(of: HourContext, application: Application | None = None, **more: Any) -> list[Fact]:
    return list(facts_of(of, application or sprayed(), more.get("needs"), more.get("purpose")))


def fact(key: str, *args: Any, **more: Any) -> tuple[str, str, float]:
    """Words, origin and value of a fact."""
    (one,) = [found for found in facts(*args, **more) if found.key == key]
    return render(one.text), render(one.source), one.value


def test_every_condition_with_its_words_unit_and_origin() -> None:
    temp = hours("temp_c", h9=8.0, h10=10.0, h11=12.0, h12=14.0, h50=0.0, h60=-1.0)
    rain = hours("precip_mm", h20=0.24, h30=0.25)
    found = facts(context(temp_c=temp, precip_mm=rain), needs=PRE, purpose="pre-fall")
    assert [
        (one.key, render(one.label), one.value, one.unit, render(one.text), render(one.source))
        for one in found
    ] == [
        ("temp_c", "air temperature", 11.0, "°C", "11 °C", "forecast"),  # mean of two hours
        ("soil_5cm_c", "soil at 5 cm", 8.0, "°C", "8 °C", "model or probe"),
        ("dry_h", "hours without rain that followed", 18.0, "hours", "18 hours", "forecast"),
        ("low_c", "lowest air in the 72 hours after", -1.0, "°C", "−1 °C", "forecast"),
        ("freeze_h", "frost", 48.0, "hours", "after 48 hours", "forecast"),
        ("week_temp_c", "mean air of the week after", 12.0, "°C", "12 °C", "days"),
        ("share_POAAN", "annual bluegrass: share of the season emerged", 85.0, "%", "85 %",
         "model"),
        ("young_POAAN", "annual bluegrass: young among those emerged", 30.0, "%", "30 %", "model"),
        ("weeds_bbch", "annual bluegrass: mean stage of those emerged", 29.0, "BBCH", "BBCH 29",
         "model"),
        ("phase", "turf", float(TurfPhase.DORMANT), "", "dormant", "model"),
        ("days_since_dormant", "days since full dormancy began", 20.0, "days", "20 days", "model"),
        ("days_to_greenup", "days until green-up", 60.0, "days", "60 days", "model"),
        ("watered_mm", "watering-in", 0.0, "mm",
         "0 mm within 7 days, too little (12.7 mm needed)", "rain, log"),
    ]  # fmt: skip
    assert [one.key for one in found if not one.good] == ["watered_mm"]
    assert "watered_mm" not in [one.key for one in facts(context(), needs=POST)]
    assert "watered_mm" not in [one.key for one in facts(context(), needs=None)]


def test_what_the_operator_entered_is_said_to_be_entered() -> None:
    assert fact("temp_c", context(), sprayed(temp_c=7.0)) == ("7 °C", "as entered", 7.0)
    assert fact("temp_c", context(grade=Grade.OBSERVED)) == ("16 °C", "observed", 16.0)
    assert fact("low_c", context(grade=Grade.ESTIMATED)) == ("16 °C", "estimated", 16.0)


@pytest.mark.parametrize(
    ("rain", "said", "value"),
    [
        ({}, "more than 72 hours", 72.0),
        ({"h12": 0.25}, "0 hours", 0.0),  # the hour after the last one
        ({"h11": 5.0}, "more than 72 hours", 72.0),  # while it was sprayed
        ({"h13": 0.25}, "1 hour", 1.0),
        ({"h83": 0.25}, "71 hours", 71.0),
        ({"h84": 0.25}, "more than 72 hours", 72.0),
        ({"h20": NAN, "h30": 9.0}, "unknown", NAN),
        ({"h30": NAN, "h20": 9.0}, "8 hours", 8.0),
    ],
)
def test_hours_without_rain(rain: dict[str, float], said: str, value: float) -> None:
    words, _, found = fact("dry_h", context(precip_mm=hours("precip_mm", **rain)))
    assert words == said
    assert found == pytest.approx(value, nan_ok=True)


@pytest.mark.parametrize(
    ("rain", "said", "value"),
    [
        ({}, "more than 72 hours", 72.0),
        ({"d1": 0.25}, "at least 12 hours", 12.0),  # from 12 o'clock to midnight
        ({"d1": 0.24}, "more than 72 hours", 72.0),
        ({"d0": 4.0}, "unknown: it rained that day, at an unknown hour", NAN),
        ({"d2": NAN}, "unknown", NAN),
    ],
)
def test_rain_of_whole_days_may_have_fallen_in_any_hour(
    rain: dict[str, float], said: str, value: float
) -> None:
    of = context(grade=Grade.ESTIMATED, daily={"precip_mm": days(0.0, **rain)})
    words, _, found = fact("dry_h", of)
    assert words == said
    assert found == pytest.approx(value, nan_ok=True)


@pytest.mark.parametrize(
    ("temp", "length", "said", "value"),
    [
        ({}, 8, "none within 72 hours", math.inf),
        ({"h12": -0.1}, 8, "after 0 hours", 0.0),
        ({"h12": 0.0}, 8, "none within 72 hours", math.inf),
        ({"h84": -5.0}, 8, "none within 72 hours", math.inf),
        ({"h20": NAN}, 8, "unknown", NAN),
        ({"h20": NAN, "h30": -1.0}, 8, "after 18 hours", 18.0),
        ({}, 2, "unknown", NAN),
        ({"h30": -1.0}, 2, "after 18 hours", 18.0),
    ],
)
def test_frost_in_the_three_days_after(
    temp: dict[str, float], length: int, said: str, value: float
) -> None:
    words, _, found = fact("freeze_h", context(temp_c=hours("temp_c", **temp), length=length))
    assert words == said
    assert found == pytest.approx(value, nan_ok=True)


def test_weeds_that_are_hardly_up_have_no_age() -> None:
    keys = [one.key for one in facts(context(of={"share": 0.0}), purpose="pre-fall")]
    assert not [key for key in keys if key.endswith(("POAAN", "bbch"))]
    for share, aged in ((0.004, False), (0.006, True), (NAN, False)):
        keys = [one.key for one in facts(context(of={"share": share}), purpose="pre-fall")]
        assert "share_POAAN" in keys
        assert ("young_POAAN" in keys, "weeds_bbch" in keys) == (aged, aged)


def test_weeds_are_those_the_purpose_aims_at_and_the_oldest_has_the_stage() -> None:
    both = context(of={"share": 0.5, "spring_share": 0.4})
    for purpose, known in (
        ("pre-fall", ["POAAN"]), ("pre-spring", ["DIGIS"]), (None, ["POAAN", "DIGIS"])
    ):  # fmt: skip
        keys = [one.key for one in facts(both, purpose=purpose)]
        assert [k.removeprefix("share_") for k in keys if k.startswith("share_")] == known
    weeds = both.ahead.emergence
    young = replace(weeds["POAAN"], mean_leaf=np.full(30, 2.0))
    older = replace(both, ahead=replace(both.ahead, emergence={**weeds, "POAAN": young}))
    (stage,) = [one for one in facts(older) if one.key == "weeds_bbch"]
    assert render(stage.label).startswith("smooth crabgrass")


@pytest.mark.parametrize(
    ("rain", "log", "said", "good", "value"),
    [
        ({"d7": 12.7}, {}, "12.7 mm within 7 days, enough (12.7 mm needed)", True, 12.7),
        ({"d8": 12.7}, {}, "0 mm within 7 days, too little (12.7 mm needed)", False, 0.0),
        ({"d0": 6.0, "d3": 6.0}, {}, "12 mm within 7 days, too little (12.7 mm needed)", False,
         12.0),
        ({}, {"watered_in_mm": 13.0}, "13 mm within 7 days, enough (12.7 mm needed)", True, 13.0),
        ({"d1": 3.0}, {"watered_in_mm": 10.0, "watered_in_on": TODAY + dt.timedelta(7)},
         "13 mm within 7 days, enough (12.7 mm needed)", True, 13.0),
        ({}, {"watered_in_mm": 13.0, "watered_in_on": TODAY + dt.timedelta(8)},
         "0 mm within 7 days, too little (12.7 mm needed)", False, 0.0),
        ({"d2": NAN}, {}, "unknown", True, NAN),
        ({"d2": NAN}, {"watered_in_mm": 12.6}, "unknown", True, NAN),
        ({"d2": NAN}, {"watered_in_mm": 12.7}, "12.7 mm within 7 days, enough (12.7 mm needed)",
         True, 12.7),
    ],
)  # fmt: skip
def test_rain_and_logged_irrigation_water_in(
    rain: dict[str, float], log: dict[str, Any], said: str, good: bool, value: float
) -> None:
    of = context(daily={"precip_mm": days(0.0, **rain)})
    (one,) = [f for f in facts(of, sprayed(**log), needs=PRE) if f.key == "watered_mm"]
    assert (render(one.text), one.good) == (said, good)
    assert one.value == pytest.approx(value, nan_ok=True)
    words, origin, _ = fact("watered_mm", of, needs=replace(PRE, activation_days=NAN))
    assert (words, origin) == ("how soon is unknown", "rain, log")


def test_what_is_not_known_says_where_it_would_come_from() -> None:
    (soil,) = [one for one in facts(context(of={"soil_c": NAN})) if one.key == "soil_5cm_c"]
    assert (render(soil.text), render(soil.source), soil.unit) == (
        "unknown", "model or probe", "°C",
    )  # fmt: skip
    assert math.isnan(soil.value)


def test_without_rain_by_day_watering_in_is_not_known() -> None:
    assert fact("watered_mm", context(daily={"precip_mm": None}), needs=PRE)[0] == "unknown"


# ---- the figures of a verdict --------------------------------------------------------------------


def seen(day: dt.date | None = None) -> SeenAfter:
    looks = () if day is None else (Look(day, facts(context())[0].text, "failed"),)
    return SeenAfter(TODAY, TODAY + dt.timedelta(200), looks)


def rising(*shares: float) -> SiteState:
    """A state in which so many of the fall's weeds are up, day by day; then as on the last."""
    made = state()
    share = np.array([*shares, *[shares[-1]] * (30 - len(shares))])
    weed = replace(made.emergence["POAAN"], share=share)
    return replace(made, emergence={**made.emergence, "POAAN": weed})


def figures(
    of: HourContext, application: Application | None = None, needs: ActiveNeeds = PRE, *,
    purpose: Any = "pre-fall", looked: dt.date | None = None, counts: Sequence[ScoutingCount] = (),
    label: dict[str, float] | None = None,
) -> Evidence:  # fmt: skip
    done = application or sprayed()
    return evidence_of(
        of, done, needs.actives, needs, purpose=purpose,
        facts=facts_of(of, done, needs, purpose), seen=seen(looked), counts=counts,
        label_kg_ha=label, group_seasons=2,
    )  # fmt: skip


def test_all_figures_of_a_pre_emergent() -> None:
    of = context(
        daily={"precip_mm": days(0.0, d0=2.0, d2=5.0, d4=8.0)},
        temp_c=hours("temp_c", h30=1.5), precip_mm=hours("precip_mm", h13=2.0, h40=1.0),
    )  # fmt: skip
    of = replace(of, ahead=rising(0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7))
    found = figures(of, label={"prodiamine": 1.0}, looked=TODAY + dt.timedelta(5))
    assert (found.pre, found.groups, found.group_seasons) == (True, (3,), 2)
    assert found.up == pytest.approx(0.1)
    assert found.came_after == pytest.approx(0.5)  # from 0.1 to 0.6, the day it was looked at
    assert (found.need_mm, found.need_days) == (12.7, 7.0)
    assert (found.wait_days, found.waited_mm) == (4.0, 7.0)  # enough on the day of the 8 mm
    assert found.up_waiting == pytest.approx(0.4)
    assert found.watering_said is False  # the site is irrigated, and nobody logged how much
    assert found.dry_h == 1.0
    assert found.rain_that_day is False  # its hour is known
    assert found.washing_mm == pytest.approx(2.0)  # 13 to 12 o'clock of the next day
    assert found.washing_limit_mm == 25.0
    assert (found.air_c, found.week_c, found.night_c) == (16.0, 12.0, 1.5)
    assert (found.largest, found.lost) == (None, None)
    assert found.rate_share == pytest.approx(0.8)


def test_all_figures_of_a_post_emergent() -> None:
    of = replace(context(), ahead=rising(0.5, 0.7, 0.9))
    found = figures(of, sprayed("glyphosate"), POST, purpose="dormant")
    assert (found.pre, found.groups) == (False, (9,))
    assert (found.need_mm, found.washing_limit_mm) == (None, None)
    assert math.isnan(found.washing_mm)
    assert (found.up, found.came_after) == pytest.approx((0.5, 0.4))
    assert found.rain_free_h == POST.rain_free_h
    assert (found.low_c, found.good_c) == (POST.temp_low_c, POST.temp_good_c)
    assert (found.largest, found.lost) == (POST.largest_bbch, POST.lost_bbch)
    assert (found.stage, found.stage_counted) == (29.0, False)
    assert found.ran_out is None
    assert math.isnan(found.up_later)
    assert math.isnan(found.rate_share)  # no label


def test_what_was_up_counts_from_the_day_of_the_application() -> None:
    of = replace(context(), ahead=rising(0.1, 0.2, 0.3, 0.4))
    late = replace(sprayed(), start=dt.datetime(2023, 1, 18, 10, tzinfo=ZONE), end=None)
    found = figures(of, late)
    assert (found.up, found.came_after) == pytest.approx((0.3, 0.1))


@pytest.mark.parametrize(
    ("irrigated", "log", "said"),
    [(True, {}, False), (False, {}, True), (True, {"watered_in_mm": 0.0}, True),
     (True, {"watered_in_mm": 5.0}, True)],
)  # fmt: skip
def test_irrigation_is_known_from_the_log_or_where_there_is_none(
    irrigated: bool, log: dict[str, Any], said: bool
) -> None:
    of = context(here={"turf": {"irrigated": irrigated}})
    assert figures(of, sprayed(**log)).watering_said is said


@pytest.mark.parametrize(
    ("rain", "log", "wait", "before"),
    [
        ({"d0": 12.7}, {}, 0.0, 0.0),
        ({"d1": 12.6, "d3": 0.1}, {}, 3.0, 12.6),
        ({"d1": 12.6}, {}, math.inf, 12.6),
        ({"d1": 12.6}, {"watered_in_mm": 0.1}, 1.0, 0.1),
        ({"d1": 12.6}, {"watered_in_mm": 0.1, "watered_in_on": TODAY + dt.timedelta(2)}, 2.0, 12.6),
        ({"d1": 12.6}, {"watered_in_mm": 5.0, "watered_in_on": TODAY + dt.timedelta(30)}, math.inf,
         12.6),
        ({"d1": NAN, "d7": 12.7}, {}, 7.0, 0.0),  # in time, whatever fell on the other day
        ({"d1": NAN, "d8": 12.7}, {}, NAN, NAN),  # it may have been in time
        ({"d1": NAN}, {}, NAN, NAN),
        ({"d9": NAN, "d8": 12.7}, {}, 8.0, 0.0),  # what came later changes nothing
    ],
)  # fmt: skip
def test_days_until_it_was_watered_in(
    rain: dict[str, float], log: dict[str, Any], wait: float, before: float
) -> None:
    of = context(daily={"precip_mm": days(0.0, **rain)})
    found = figures(of, sprayed(**log))
    assert found.wait_days == pytest.approx(wait, nan_ok=True)
    assert found.waited_mm == pytest.approx(before, nan_ok=True)
    unknown = figures(of, sprayed(**log), replace(PRE, activation_mm=NAN))
    assert math.isnan(unknown.wait_days)


def test_without_rain_by_day_nobody_knows_when_it_was_watered_in() -> None:
    found = figures(context(daily={"precip_mm": None}))
    assert math.isnan(found.wait_days)
    assert math.isnan(found.waited_mm)


def test_a_residual_ends_by_the_last_look_or_is_not_known_to_end() -> None:
    """A quarter of the usual rate in soil of 35 °C; at 8 °C all of it outlasts the month."""
    of = context(of={"soil_c": 35.0})
    weak = sprayed(rate=float(ACTIVES["prodiamine"].usual_kg_ha or 0) / 4)
    ended = figures(of, weak).ran_out
    assert ended is not None
    assert TODAY < ended < TODAY + dt.timedelta(29)
    assert figures(of, weak, looked=ended).ran_out == ended
    assert figures(of, weak, looked=ended - dt.timedelta(1)).ran_out is None
    assert figures(context(), sprayed(rate=0.84)).ran_out is None
    bare = replace(PRE, actives=tuple(replace(a, soil_dt50_d=None) for a in PRE.actives))
    assert figures(of, weak, bare).ran_out is None


def test_a_drop_of_the_share_is_the_weeds_next_year() -> None:
    of = replace(context(), ahead=rising(0.6, 0.8, 0.9, 0.0, 0.1))
    assert figures(of).came_after == pytest.approx(0.3)
    slowly = replace(context(), ahead=rising(0.9, 0.6, 0.7))  # not by more than three tenths
    assert figures(slowly).came_after == 0.0  # weeds that were up do not go
    earlier = figures(of, looked=TODAY - dt.timedelta(3))
    assert earlier.came_after == 0.0


def test_the_target_weed_goes_before_those_of_the_purpose() -> None:
    of = context(of={"share": 0.5, "spring_share": 0.2})
    assert figures(of).up == 0.5
    assert figures(of, sprayed(target="DIGIS")).up == 0.2
    assert figures(of, sprayed(target="STEME")).up == 0.5  # nothing is known of it
    assert share_up(of.ahead, sprayed(), "spring") == 0.2
    assert share_up(of.ahead, sprayed(), "fall") == 0.5
    for days_off, known in ((29, True), (30, False), (-1, False)):
        start = sprayed().start + dt.timedelta(days_off)
        moved = replace(sprayed(), start=start, end=None)
        assert math.isnan(share_up(of.ahead, moved, "fall")) == (not known)


def test_a_stage_that_was_counted_goes_before_the_models() -> None:
    def counted(days_off: int, stage: int | None = 13, weed: str = "POAAN") -> ScoutingCount:
        return ScoutingCount(TODAY + dt.timedelta(days_off), weed, per_m2=1.0, stage_bbch=stage)

    for counts, target, stage in (
        ([counted(14)], "", 13.0), ([counted(-14)], "", 13.0), ([counted(15)], "", 29.0),
        ([counted(5), counted(-2, 21)], "", 21.0), ([counted(0, None)], "", 29.0),
        ([counted(0, 13, "STEME")], "POAAN", 29.0), ([counted(0, 0)], "", 0.0),
    ):  # fmt: skip
        found = figures(
            context(), sprayed("glyphosate", target=target), POST, purpose="dormant", counts=counts
        )
        assert (found.stage, found.stage_counted) == (stage, stage != 29.0)


def test_the_rate_is_the_lowest_of_the_tank_as_a_share_of_the_label() -> None:
    tank = replace(sprayed(), materials=(Material("a", 0.5), Material("b", 3.0)))
    assert rate_share(tank, {"a": 1.0, "b": 4.0}) == 0.5
    assert rate_share(tank, {"a": 0.5, "b": 4.0}) == 0.75
    assert math.isnan(rate_share(tank, {"a": 1.0}))
    assert math.isnan(rate_share(sprayed(rate=None), {"prodiamine": 1.0}))
    assert rate_share(sprayed(), {"prodiamine": 0.4}) == 2.0


def test_rain_at_an_hour_nobody_knows_is_rain_that_day() -> None:
    daily = {"precip_mm": days(0.0, d0=4.0)}
    unknown = figures(context(grade=Grade.ESTIMATED, daily=daily))
    assert unknown.rain_that_day is True
    assert figures(context(grade=Grade.ESTIMATED)).rain_that_day is False
    assert figures(context(daily=daily)).rain_that_day is False
    assert figures(context(daily={"precip_mm": None}), needs=POST).rain_that_day is False
