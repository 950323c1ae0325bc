"""Every knot of every criterion, and every rule, from just inside to just outside.

The knots are read from the data tables; how weather and state are made to measure a given value is
written here once for each criterion. So a knot that moves is followed, and a criterion that counts
an hour too many, turns a sign or takes the wrong unit is noticed at its own limits. What has no
such maker fails the last test of the first part.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from windows_fixtures import FAIR, TODAY, local_index, past, site, state, weather

from windowcast.core.site import Site
from windowcast.core.values import load
from windowcast.materials.needs import ActiveNeeds
from windowcast.physics.humidity import delta_t_c, dewpoint_from_rh_c, pressure_hpa
from windowcast.season.model import TurfPhase
from windowcast.windows.criteria import HOUR_CRITERIA
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.grade import grade_of
from windowcast.windows.hours import chance, hour_context
from windowcast.windows.judge import Judge
from windowcast.windows.model import PURPOSES, PurposeName, Window
from windowcast.windows.purposes import purpose_of
from windowcast.windows.rank import rank
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.score import Block, Rule, best_block, holds, limiting

CRITERIA = load("criteria")
RULE = Rule.of(load("criteria"))
POST, BARRIER = purpose_of("post-early"), purpose_of("pre-fall")
SUN_UP = range(9, 16)


def _dew_for(delta: float, temp: float = 30.0) -> float:
    low, high = -60.0, temp
    for _ in range(80):
        middle = (low + high) / 2
        if delta_t_c(temp, middle, pressure_hpa(100.0)) > delta:
            low = middle
        else:
            high = middle
    return low


def _hours(name: str) -> int:
    return int(CRITERIA.table(name).number("hours"))


def _rain(name: str, first: int, last: int) -> Callable[[float], dict[str, Any]]:
    """All of the depth in hours `first` to `last` after noon tomorrow, and a flood outside them."""

    def made(depth_mm: float) -> dict[str, Any]:
        here = site()
        noon = local_index(here, 1, 12)
        rain = np.full(len(weather(here).hourly.times), 500.0)
        rain[noon + first : noon + last + 1] = depth_mm / (last - first + 1)
        return {"precip_mm": rain}

    return made


def _futures_with_rain(share: float) -> dict[str, Any]:
    return {"wet_futures": share}


FREE = math.ceil(POST.generic.rain_free_h or 0)
# Criterion → what makes it measure a value at noon tomorrow
MADE: dict[str, Callable[[float], dict[str, Any]]] = {
    "wind": lambda v: {"wind_m_s": v},
    "gusts": lambda v: {"gust_m_s": v},
    "sensitive_areas": lambda v: {"wind_from_deg": (270.0 + v) % 360.0, "area": True},
    "delta_t": lambda v: {"temp_c": 30.0, "dewpoint_c": _dew_for(v)},
    "air_temperature": lambda v: {"temp_c": v, "dewpoint_c": v - 5.0},
    "heat": lambda v: {"temp_c": v, "dewpoint_c": v - 5.0},
    "humidity": lambda v: {"dewpoint_c": float(dewpoint_from_rh_c(FAIR["temp_c"], v))},
    "frost": lambda v: {"temp_c": v, "dewpoint_c": v - 5.0},
    "cold_after": lambda v: {"temp_c": v, "dewpoint_c": v - 5.0},
    "saturated_soil": lambda v: (
        _rain("saturated_soil", 1 - _hours("saturated_soil"), 0)(v) | {"ahead": {"moisture": 1.0}}
    ),
    "dry_before": _rain("dry_before", -_hours("dry_before"), -1),
    "leaf_wetness": lambda v: {"dewpoint_c": FAIR["temp_c"] - v},
    "rain_now": _rain("rain_now", 0, 0),
    "rain_after": _rain("rain_after", 0, FREE),
    "chance_of_rain": lambda v: {"precip_prob": v},
    "washing_rain": _rain("washing_rain", 0, _hours("washing_rain") - 1),
    "water_in": _futures_with_rain,
    "sun_after": lambda v: {"cloud_fraction": 1.0 - v},
    "plant_size": lambda v: {"ahead": {"leaf": v - 17.0}},
    "cool_soil": lambda v: {"ahead": {"soil_c": v}},
    "greenup_margin": lambda v: {"ahead": {"to_greenup": v}},
    "share_up": lambda v: {"ahead": {"share": v, "spring_share": v}},
    "young_share": lambda v: {"ahead": {"young": v}},
    "soil_week": lambda v: {"ahead": {"soil_c": v}, "before": {"soil_c": v}},
    "season_months": lambda v: {"today": dt.date(2022, 7, 1) + dt.timedelta(v)},
    "emergence_lead": lambda v: {"emerges_in": v},
}
# yes or no, or not by a knot: by hand below, in test_criteria.py or in the tests of the limits
BY_HAND = {
    "daylight", "site_hours", "sprayer_limit", "inversion", "hot_and_dry", "frozen_soil",
    "dormancy", "turf_safety",
}  # fmt: skip


def measured_noon(name: str, needs: ActiveNeeds, purpose_name: PurposeName, **made: Any) -> float:
    """Score of a criterion at noon tomorrow in weather and state made for it."""
    here, today = site(), made.pop("today", TODAY)
    purpose = purpose_of(purpose_name)
    if made.pop("area", False):
        area = {"name": "pond", "bearing_from_deg": 90, "bearing_to_deg": 90}
        here = site(sensitive=[area])
    ahead, before = state(**made.pop("ahead", {})), past(**made.pop("before", {}))
    grade = purpose.grades(needs)[name]
    if name in ("season_months", "emergence_lead"):
        days = state(first=today, days=120)
        lead = int(made.get("emerges_in", 0))
        for weed in days.emergence.values():
            weed.share[:] = np.arange(120) >= lead
        ctx = DayContext(here, days, purpose.weeds)
        return float(grade(DAY_CRITERIA[name](ctx, needs))[0, 0])
    if "wet_futures" in made:
        here = site(turf={"irrigated": False})
        members = weather(here, futures=40)
        enough = (needs.activation_mm or 0.0) + 0.01
        wet = round(made.pop("wet_futures") * 40)
        members.daily.values["precip_mm"][1 : 1 + wet, 2] = enough
    else:
        members = weather(here, **made)
    ctx = hour_context(here, ahead, members)
    got = Judge(ctx, before).scores(purpose, needs).scores[name]
    at = local_index(here, 4 if name == "soil_week" else 1, 12)
    return float(np.broadcast_to(got, (got.shape[0], len(members.hourly.times)))[0, at])


def asking(name: str, purpose: PurposeName) -> ActiveNeeds:
    """The purpose's usual active, with a question for the criterion."""
    generic = purpose_of(purpose).generic
    return dataclasses.replace(
        generic,
        light_needed=True if name == "sun_after" else generic.light_needed,
        largest_bbch=22.0 if name == "plant_size" else generic.largest_bbch,
        humidity_low_pct=45.0 if name == "humidity" else generic.humidity_low_pct,
        soil_temp_high_c=12.0 if name == "cool_soil" else generic.soil_temp_high_c,
    )


def knots() -> Iterator[tuple[str, PurposeName, float, float]]:
    """Criterion, purpose, and each knot with how far to its sides is looked."""
    for purpose in map(purpose_of, PURPOSES):
        own = purpose.own if purpose.own is not None else {}
        for name in purpose.criteria:
            if name not in MADE or (name not in own and not _first(name, purpose.name)):
                continue
            grade = purpose.grades(asking(name, purpose.name))[name]
            for at in grade.at:
                step = 0.02 * (grade.at[-1] - grade.at[0])
                if name == "water_in":
                    step = 1 / 40
                if name in ("season_months", "emergence_lead"):
                    step = 1.0
                yield name, purpose.name, at, step


def _first(name: str, purpose: PurposeName) -> bool:
    """Whether a purpose is the first that asks for a criterion, so that each is asked once."""
    asked = [p for p in PURPOSES if name in purpose_of(p).asked(asking(name, p))]
    return bool(asked) and asked[0] == purpose


KNOTS = list(knots())


@pytest.mark.parametrize(("name", "purpose", "knot", "step"), KNOTS)
def test_score_and_verdict_on_both_sides_of_a_knot(
    name: str, purpose: PurposeName, knot: float, step: float
) -> None:
    needs = asking(name, purpose)
    own = purpose_of(purpose).own
    table = own.table(name) if own is not None and name in own else CRITERIA.table(name)
    at, score = list(table.value("at").value), list(table.value("score").value)
    shown = purpose_of(purpose).grades(needs)[name].at
    at = [x + shown[0] - at[0] for x in at] if name != "plant_size" else list(shown)
    lowest = 0.0 if name == "water_in" or shown[0] >= 0 else -math.inf
    highest = 1.0 if name == "water_in" else math.inf
    for beside in (knot - step, knot, knot + step):
        value = min(max(beside, lowest), highest)
        wanted = float(np.interp(value, at, score))
        got = measured_noon(name, needs, purpose, **MADE[name](value))
        assert got == pytest.approx(wanted, abs=0.002), value
        assert RULE.verdict(round(got, 6)) == RULE.verdict(round(wanted, 6)) or math.isclose(
            got, RULE.fit, abs_tol=0.002
        )


def test_every_criterion_is_asked_at_its_knots_or_by_hand() -> None:
    assert {*MADE} | BY_HAND == {*HOUR_CRITERIA, *DAY_CRITERIA}
    assert not {*MADE} & BY_HAND
    assert {knot[0] for knot in KNOTS} == {*MADE}


# What each criterion cannot do without → what takes it away
MISSING: dict[str, dict[str, Any]] = {
    "wind": {"without": ("wind_m_s",)},
    "gusts": {"without": ("wind_m_s", "gust_m_s")},
    "sensitive_areas": {"area": True},
    "delta_t": {"without": ("dewpoint_c",)},
    "air_temperature": {"without": ("temp_c",)},
    "heat": {"without": ("temp_c",)},
    "humidity": {"without": ("dewpoint_c",)},
    "frost": {"without": ("temp_c",)},
    "cold_after": {"without": ("temp_c",)},
    "saturated_soil": {"without": ("precip_mm",), "ahead": {"moisture": 1.0}},
    "dry_before": {"without": ("precip_mm",)},
    "leaf_wetness": {"without": ("dewpoint_c",)},
    "rain_now": {"without": ("precip_mm",)},
    "rain_after": {"without": ("precip_mm",)},
    "chance_of_rain": {"without": ("precip_mm",)},
    "washing_rain": {"without": ("precip_mm",)},
    "sun_after": {"without": ("cloud_fraction",)},
    "plant_size": {"ahead": {"leaf": math.nan}},
    "cool_soil": {"ahead": {"soil_c": math.nan}},
    "frozen_soil": {"ahead": {"soil_c": math.nan}},
    "greenup_margin": {"ahead": {"to_greenup": math.nan, "phase": TurfPhase.GROWING}},
    "dormancy": {"ahead": {"safe": math.nan}},
    "share_up": {"ahead": {"share": math.nan, "spring_share": math.nan}},
    "young_share": {"ahead": {"young": math.nan}},
    "soil_week": {"before": {"soil_c": math.nan}, "ahead": {"soil_c": math.nan}},
    "inversion": {"without": ("wind_m_s",)},
    "hot_and_dry": {"temp_c": 30.0, "without": ("dewpoint_c",)},
}


@pytest.mark.parametrize("name", sorted(MISSING))
def test_missing_input_cannot_be_told(name: str) -> None:
    purpose = next(p for p in PURPOSES if name in purpose_of(p).asked(asking(name, p)))
    got = measured_noon(name, asking(name, purpose), purpose, **MISSING[name])
    assert math.isnan(got)
    assert RULE.verdict(got) == "cannot tell"


# --- yes or no ----------------------------------------------------------------------------------


def test_the_sprayers_limit_itself_is_allowed() -> None:
    here = site(equipment={"wind_max_m_s": 3.0})
    for wind, wanted in ((3.0, 1.0), (3.001, 0.0)):
        ctx = hour_context(here, state(), weather(here, wind_m_s=wind))
        got = Judge(ctx, past()).scores(POST, POST.generic).scores["sprayer_limit"]
        assert got[0, local_index(here, 1, 12)] == wanted


@pytest.mark.parametrize("side", [-1, 1])
def test_hot_and_dry_at_both_of_its_limits(side: int) -> None:
    rule = CRITERIA.table("hot_and_dry")
    hot, dry = rule.number("temp_c"), rule.number("rh_pct")
    for temp, rh in ((hot + side * 0.1, dry - 5.0), (hot + 5.0, dry - side * 0.1)):
        dew = float(dewpoint_from_rh_c(temp, rh))
        got = measured_noon("hot_and_dry", POST.generic, "post-early", temp_c=temp, dewpoint_c=dew)
        assert got == (0.0 if side > 0 else 1.0), (temp, rh)


def test_soil_counts_as_full_from_its_limit_on() -> None:
    full = CRITERIA.table("saturated_soil").number("full")
    for moisture, wanted in ((full - 0.001, 1.0), (full, 0.0), (math.nan, 0.0)):
        got = measured_noon(
            "saturated_soil",
            POST.generic,
            "post-early",
            precip_mm=3.0,
            ahead={"moisture": moisture},
        )
        assert got == wanted, moisture


def test_rain_is_measurable_from_its_limit_on() -> None:
    wet = CRITERIA.table("chance_of_rain").number("wet_mm")
    here = site()
    for depth, wanted in ((wet - 0.001, 1.0), (wet + 0.001, 0.0)):
        rain = np.zeros(len(weather(here).hourly.times))
        rain[local_index(here, 1, 12) + FREE] = depth
        got = measured_noon("chance_of_rain", POST.generic, "post-early", precip_mm=rain)
        assert got == wanted, depth


@pytest.mark.parametrize("free_h", [1.0, 3.5, 6.0])
def test_rain_free_hours_are_those_of_the_active(free_h: float) -> None:
    needs = dataclasses.replace(POST.generic, rain_free_h=free_h)
    here = site()
    for after, wanted in ((math.ceil(free_h), 0.0), (math.ceil(free_h) + 1, 1.0)):
        rain = np.zeros(len(weather(here).hourly.times))
        rain[local_index(here, 1, 12) + after] = 5.0
        for name in ("rain_after", "chance_of_rain"):
            assert measured_noon(name, needs, "post-early", precip_mm=rain) == wanted, after


@pytest.mark.parametrize(
    ("depth", "day", "counts"),
    [(12.7, 8, True), (12.6, 8, False), (30.0, 9, False), (30.0, 1, False)],
)
def test_watering_in_takes_the_depth_within_the_days_after(
    depth: float, day: int, counts: bool
) -> None:
    here = site(turf={"irrigated": False})
    needs = BARRIER.generic
    assert (needs.activation_mm, needs.activation_days) == (12.7, 7)
    members = weather(here)
    members.daily.values["precip_mm"][0, day] = depth
    ctx = hour_context(here, state(), members)
    got = Judge(ctx, past()).scores(BARRIER, needs).scores["water_in"]
    assert bool(got[0, local_index(here, 1, 12)] == 1.0) is counts


def test_rain_that_is_likely_enough_waters_in_where_irrigation_is_not_said() -> None:
    sure = CRITERIA.table("water_in").value("at").value[-1]
    here = site(turf={"irrigated": None})
    for wet, told in ((round(sure * 40), True), (round(sure * 40) - 1, False)):
        members = weather(here, futures=40)
        members.daily.values["precip_mm"][1 : 1 + wet, 2] = 20.0
        got = Judge(hour_context(here, state(), members), past()).scores(BARRIER, BARRIER.generic)
        score = got.scores["water_in"][0, local_index(here, 1, 12)]
        assert bool(score == 1.0) is told
        assert bool(np.isnan(score)) is not told


# --- what an active shifts ----------------------------------------------------------------------


def test_an_actives_own_band_of_temperature() -> None:
    rule = CRITERIA.table("air_temperature")
    margin, at_low = rule.number("active_margin"), rule.number("active_low_score")
    needs = dataclasses.replace(POST.generic, temp_low_c=12.0, temp_good_c=18.0, temp_high_c=24.0)
    grade = grade_of("air_temperature", needs, CRITERIA)
    plain = grade_of("air_temperature", POST.generic, CRITERIA)
    fade = plain.at[-1] - plain.at[-2]
    temps = [12 - margin - 1, 12 - margin, 12, 15, 18, 24, 24 + fade, 24 + fade + 5]
    middle = (at_low + 1) / 2
    wanted = [0, 0, at_low, middle, 1, 1, plain.score[-1], plain.score[-1]]
    assert grade(np.array(temps)) == pytest.approx(wanted)
    no_high = grade_of("air_temperature", dataclasses.replace(needs, temp_high_c=None), CRITERIA)
    assert no_high(np.array([plain.at[-2], plain.at[-1]])) == pytest.approx([1, plain.score[-1]])
    for unknown in ("temp_low_c", "temp_good_c"):
        for value in (None, math.nan):
            some = dataclasses.replace(needs, **{unknown: value})
            assert grade_of("air_temperature", some, CRITERIA).at == plain.at


@pytest.mark.parametrize(
    ("name", "field", "knot"),
    [
        ("cold_after", "night_low_c", -1),
        ("humidity", "humidity_low_pct", -1),
        ("cool_soil", "soil_temp_high_c", 0),
        ("greenup_margin", "before_greenup_d", 0),
    ],
)
def test_an_actives_limit_moves_all_knots(name: str, field: str, knot: int) -> None:
    plain = grade_of(name, POST.generic, CRITERIA)
    for move in (3.0, -3.0):
        limit = plain.at[knot] + move
        moved = grade_of(name, dataclasses.replace(POST.generic, **{field: limit}), CRITERIA)
        kept = name == "greenup_margin" and move < 0  # a label may ask for more days, not for fewer
        wanted = plain.at if kept else tuple(x + move for x in plain.at)
        assert moved.at == pytest.approx(wanted)
        assert moved.score == plain.score
    unknown = grade_of(name, dataclasses.replace(POST.generic, **{field: math.nan}), CRITERIA)
    assert unknown.at == plain.at


# --- the rules ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mark", "above", "below"),
    [(RULE.fit, "fit", "marginal"), (RULE.marginal, "marginal", "unfit")],
)
def test_verdicts_turn_at_their_rules(mark: float, above: str, below: str) -> None:
    assert RULE.verdict(mark) == above
    assert RULE.verdict(mark - 1e-9) == below


def test_rules_are_those_of_the_table() -> None:
    table = load("criteria").table("rule")
    for field in dataclasses.fields(Rule):
        assert getattr(RULE, field.name) == table.number(field.name), field.name


def test_a_block_is_as_short_and_as_long_as_the_rules_say() -> None:
    day = np.zeros(24)
    day[5 : 5 + RULE.shortest_h] = 1.0
    allowed = day > 0
    assert best_block(day, allowed, RULE) == Block(5, 5 + RULE.shortest_h)
    allowed[5] = False
    assert best_block(day, allowed, RULE) is None
    everywhere = np.ones(24, dtype=bool)
    whole = best_block(np.ones(24), everywhere, RULE)
    assert whole == Block(0, RULE.longest_h)


def test_a_block_grows_while_its_neighbours_reach_the_share() -> None:
    everywhere = np.ones(6, dtype=bool)
    for neighbour, grown in ((RULE.extend * 0.8, True), (RULE.extend * 0.8 - 1e-6, False)):
        value = np.array([0.0, neighbour, 0.8, 0.8, neighbour, 0.0])
        wanted = Block(1, 5) if grown else Block(2, 4)
        assert best_block(value, everywhere, RULE) == wanted


def test_a_future_holds_from_the_mark_of_a_workable_hour() -> None:
    for score, held in ((RULE.marginal, True), (RULE.marginal - 1e-9, False)):
        future = np.zeros((1, 6))
        future[0, 2 : 2 + RULE.shortest_h] = score
        assert holds(future, RULE).tolist() == [held]


def test_nothing_is_named_that_holds_nothing_down() -> None:
    enough = load("criteria").number("rule.limits")
    assert limiting({"a": enough - 1e-6}, {"a": 1.0}, RULE) == "a"
    assert limiting({"a": enough}, {"a": 1.0}, RULE) == ""


def test_a_chance_needs_its_fewest_members() -> None:
    fewest = int(load("criteria").number("rule.members"))
    event = np.zeros((1 + fewest, 2))
    event[1:6, 0] = 1.0
    assert chance(event, RULE)[0] == pytest.approx([5 / fewest, 0.0])
    assert chance(event[:-1], RULE)[0].tolist() == [0.0, 0.0]


def _best(purpose: PurposeName, futures: int = 40, failing: int = 0, **values: Any) -> Window:
    """The best window on tomorrow, a gale in some of the futures."""
    here = site()
    wind = np.full((1 + futures, len(weather(here).hourly.times)), 2.5)
    wind[1 : 1 + failing] = 12.0
    members = weather(here, futures=futures, **({"wind_m_s": wind} | values))
    running = RunningSeason.of(here, past(), state(), members)
    answer = rank(running, purposes=[purpose], days=1)
    return answer.purposes[0].windows[0]


def test_a_window_that_fails_in_more_futures_than_it_holds_in_is_not_fit() -> None:
    at_half = round(40 * (1 - RULE.even))
    for failing, verdict in ((at_half, "fit"), (at_half + 1, "marginal")):
        found = _best("dormant", failing=failing, gust_m_s=4.0)
        assert found.verdict == verdict, failing
        assert found.odds is not None
        assert found.odds.share == pytest.approx(1 - failing / 40)


@pytest.mark.parametrize("hour", [min(SUN_UP), max(SUN_UP)])
def test_daylight_begins_and_ends_with_the_sun(hour: int) -> None:
    here: Site = site(calendar={"spray_hours": "00:00-23:00"})
    ctx = hour_context(here, state(), weather(here))
    light = Judge(ctx, past()).scores(POST, POST.generic).scores["daylight"][0]
    assert light[local_index(here, 1, hour)] == 1.0
    assert light[local_index(here, 1, min(SUN_UP) - 1)] == 0.0  # the sun rises at 08:14
    assert light[local_index(here, 1, max(SUN_UP) + 2)] == 0.0  # and sets at 17:48
