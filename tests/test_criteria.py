"""Criteria one by one: tables complete, bounds, monotone where they should be, unknown stays so."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from windows_fixtures import FAIR, TODAY, local_index, past, site, state, weather

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_day
from windowcast.core.site import Site
from windowcast.core.values import load
from windowcast.materials.actives import load_actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.report.catalogue import catalogue
from windowcast.season.model import TurfPhase
from windowcast.windows.criteria import HOUR_CRITERIA
from windowcast.windows.days import DAY_CRITERIA
from windowcast.windows.grade import grade_of, needs_behind
from windowcast.windows.hours import hour_context
from windowcast.windows.judge import Judge
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

CRITERIA = load("criteria")
POST = purpose_of("post-early")
BARRIER = purpose_of("pre-fall")
ASKING = dataclasses.replace(  # an active with a question for every criterion
    POST.generic, light_needed=True, largest_bbch=14.0, humidity_low_pct=40.0,
    soil_temp_high_c=15.0,
    activation_mm=12.7, activation_days=7.0,
)  # fmt: skip
NAMES = sorted({*HOUR_CRITERIA, *DAY_CRITERIA})


def scored(
    name: str,
    *,
    here: Site | None = None,
    needs: ActiveNeeds | None = None,
    ahead: dict[str, object] | None = None,
    now: dt.datetime | None = None,
    **values: object,
) -> FloatArray:
    """Scores of one criterion on the hours of the days ahead, ``[member, hour]``."""
    here = here or site()
    purpose = next(p for p in map(purpose_of, PURPOSES) if name in p.asked(needs or p.generic))
    needs = needs or purpose.generic
    members = weather(here, **values)
    ctx = hour_context(here, state(**(ahead or {})), members, now=now)  # type: ignore[arg-type]
    result = Judge(ctx, past()).scores(purpose, needs).scores[name]
    return np.broadcast_to(result, (result.shape[0], len(members.hourly.times)))


def noon(name: str, **asked: object) -> float:
    """Score of one criterion at noon tomorrow."""
    here = asked.get("here") or site()
    return float(scored(name, **asked)[0, local_index(here, 1, 12)])  # type: ignore[arg-type]


# --- the tables -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_every_criterion_has_a_complete_table(name: str) -> None:
    table = CRITERIA.table(name)
    at, score = table.value("at").value, table.value("score").value
    assert len(at) == len(score) >= 2
    assert list(at) == sorted(set(at))
    assert all(0 <= s <= 1 for s in score)
    says = set(table["says"])
    assert ("missing" in says) == ("hourly" in table or "remedy" in says)
    texts = {"label", "inputs"} | says | ({"unknown"} if "missing" in says else set())
    assert {
        i.split(".")[2] for i in catalogue("en").raw if i.startswith(f"criterion.{name}.")
    } == texts
    grade = grade_of(name, POST.generic, CRITERIA)
    for side, end in zip(("low", "high"), grade.good, strict=True):
        if math.isfinite(end):
            assert side in says, f"{name} has no words for a value on its {side} side"


def test_every_purpose_names_known_criteria_once() -> None:
    used = []
    for purpose in map(purpose_of, PURPOSES):
        assert len(set(purpose.criteria)) == len(purpose.criteria)
        assert set(purpose.timing) <= set(DAY_CRITERIA)
        used += purpose.criteria
    assert set(used) == {*HOUR_CRITERIA, *DAY_CRITERIA} == set(load("criteria")) - {"rule"}


def test_no_criterion_is_registered_twice() -> None:
    assert not set(HOUR_CRITERIA) & set(DAY_CRITERIA)


def test_needs_behind_criteria_exist() -> None:
    fields = {f.name for f in dataclasses.fields(ActiveNeeds)}
    assert all(set(needs_behind(name)) <= fields for name in NAMES)


# --- bounds and order -----------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_fair_weather_leaves_every_score_within_bounds(name: str) -> None:
    got = scored(name, needs=BARRIER.generic if name == "heat" else ASKING)
    assert np.all((got >= 0) & (got <= 1) | np.isnan(got))


@given(st.lists(st.floats(-10, 26), min_size=2, max_size=2).map(sorted))
@settings(deadline=None, max_examples=25)
def test_warmer_is_never_worse_on_the_graded_band(pair: list[float]) -> None:
    cold, warm = (noon("air_temperature", temp_c=t, dewpoint_c=t - 5) for t in pair)
    assert cold <= warm


def test_air_temperature_has_no_cliff_above_10_c() -> None:
    """Sources conflict (NC State 60 °F, NDSU mid 50s, Toler et al. 2007 winter control): smooth."""
    grade = grade_of("air_temperature", POST.generic, CRITERIA)
    steps = grade(np.arange(10.0, 26.0, 0.1))
    assert np.all(np.diff(steps) <= 0.01)
    assert steps[0] >= 0.5


@pytest.mark.parametrize(
    ("mph", "low", "high"),
    # 3 to 8 mph good, 8 to 10 marginal, above 10 or below 3 poor (pesticidestewardship.org and
    # a common US label band)
    [(3, 1.0, 1.0), (5, 1.0, 1.0), (8, 1.0, 1.0), (9, 0.4, 0.99), (10.1, 0.0, 0.0), (1, 0.3, 0.9)],
)
def test_wind_bands_as_published(mph: float, low: float, high: float) -> None:
    assert low - 0.01 <= noon("wind", wind_m_s=mph * 0.44704) <= high + 0.01


def test_the_sprayer_can_only_lower_the_wind_limit() -> None:
    calm = site(equipment={"wind_max_m_s": 3.0})
    assert noon("sprayer_limit", here=calm, wind_m_s=3.2) == 0.0
    assert noon("sprayer_limit", here=calm, wind_m_s=2.9) == 1.0
    assert noon("sprayer_limit", wind_m_s=3.2) == 1.0
    assert noon("wind", here=site(equipment={"wind_max_m_s": 8.0}), wind_m_s=5.0) == 0.0


def towards(*bearings: tuple[float, float]) -> Site:
    areas = [
        {"name": f"area {n}", "bearing_from_deg": a, "bearing_to_deg": b}
        for n, (a, b) in enumerate(bearings)
    ]
    return site(sensitive=areas)


# A wind from the west blows towards the east (WMO-No. 8: named by where it comes from)
@pytest.mark.parametrize(
    ("wind_from", "bearings", "score"),
    [
        (270, [(60, 120)], 0.0),  # towards the middle of it
        (300, [(60, 120)], 0.0),  # just on its edge: towards 120
        (311, [(60, 120)], 0.0),  # towards 131: within half a point of its edge
        (345, [(60, 120)], 1.0),  # towards 165: 45 degrees past it
        (90, [(60, 120)], 1.0),  # away from it
        (180, [(330, 20)], 0.0),  # about north, over the zero
        (0, [(330, 20)], 1.0),
        (360, [(330, 20)], 1.0),
        (180, [(60, 120), (350, 10)], 0.0),  # the second of two
        (37, [(0, 360)], 0.0),  # all round
        (270, [(90, 90)], 0.0),  # one bearing
        (270, [], 1.0),
    ],
)
def test_wind_towards_a_sensitive_area_is_a_no(
    wind_from: float, bearings: list[tuple[float, float]], score: float
) -> None:
    here = towards(*bearings)
    assert noon("sensitive_areas", here=here, wind_from_deg=wind_from) == score


def test_between_towards_and_past_it_fades_and_unknown_stays_unknown() -> None:
    east = towards((60.0, 120.0))
    steps = [
        noon("sensitive_areas", here=east, wind_from_deg=(120.0 + off + 180.0) % 360.0)
        for off in range(61)
    ]
    assert steps == sorted(steps)
    assert 0 < steps[28] < 1
    assert math.isnan(noon("sensitive_areas", here=east))  # no direction in the forecast
    assert noon("sensitive_areas") == 1.0  # nothing to ask where no area is named


@pytest.mark.parametrize(
    ("delta", "good"),
    # ideal 2 to 8, caution below 2 or above 10 °C (Wolf; Australian Bureau of Meteorology)
    [(1.0, False), (2.5, True), (7.5, True), (11.0, False)],
)
def test_delta_t_as_published(delta: float, good: bool) -> None:
    # choose the dew point at 24 °C that gives this Delta T, by bisection on the psychrometer
    from windowcast.physics.humidity import delta_t_c, pressure_hpa

    low, high = -30.0, 24.0
    for _ in range(60):
        middle = (low + high) / 2
        if delta_t_c(24.0, middle, pressure_hpa(100.0)) > delta:
            low = middle
        else:
            high = middle
    score = noon("delta_t", temp_c=24.0, dewpoint_c=low)
    assert (score == pytest.approx(1.0)) is good


def test_hot_and_dry_stops() -> None:
    """RH below 40 % together with more than 25 °C: do not spray (ontario.ca)."""
    assert noon("hot_and_dry", temp_c=27.0, dewpoint_c=5.0) == 0.0
    assert noon("hot_and_dry", temp_c=27.0, dewpoint_c=20.0) == 1.0
    assert noon("hot_and_dry", temp_c=20.0, dewpoint_c=-5.0) == 1.0


# --- times ------------------------------------------------------------------------------------


def test_daylight_and_site_hours() -> None:
    here = site(
        calendar={
            "spray_hours": "07:00-16:00",
            "spray_weekdays": ["mon", "tue"],
            "blackout": [{"first": TODAY, "hours": "11:30-13:00", "reason": "match"}],
        }
    )
    allowed = scored("site_hours", here=here)[0]
    assert allowed[local_index(here, 0, 15)] == 1.0
    assert allowed[local_index(here, 0, 16)] == 0.0  # the hour would end after closing
    assert allowed[local_index(here, 0, 10)] == 1.0
    assert allowed[local_index(here, 0, 11)] == 0.0
    assert allowed[local_index(here, 0, 12)] == 0.0
    assert allowed[local_index(here, 0, 13)] == 1.0
    assert allowed[local_index(here, 1, 11)] == 1.0
    assert allowed[local_index(here, 2, 11)] == 0.0  # Wednesday
    light = scored("daylight", here=here)[0]
    assert light[local_index(here, 0, 7)] == 0.0  # before sunrise in January
    assert light[local_index(here, 0, 12)] == 1.0


def test_hours_gone_by_are_no_windows() -> None:
    here = site()
    now = dt.datetime.combine(TODAY, dt.time(11, 20), here.zone)
    allowed = scored("site_hours", here=here, now=now)[0]
    assert allowed[local_index(here, 0, 11)] == 0.0
    assert allowed[local_index(here, 0, 12)] == 1.0


@pytest.mark.parametrize(
    ("date", "southern", "day"),
    [
        ("2023-07-01", False, 0),
        ("2023-06-30", False, 364),
        ("2024-01-01", False, 184),
        ("2023-01-01", True, 0),
        ("2023-12-31", True, 364),
    ],
)
def test_season_day(date: str, southern: bool, day: int) -> None:
    assert season_day(np.array([date], dtype="datetime64[D]"), southern=southern)[0] == day


# --- scenarios ----------------------------------------------------------------------------------


def spell(here: Site, base: float, changes: dict[tuple[int, int], float]) -> np.ndarray:
    """An hourly series with other values at (day, local hour)."""
    series = np.full(len(weather(here).hourly.times), base)
    for (day, hour), value in changes.items():
        series[local_index(here, day, hour)] = value
    return series


def test_frost_lies_for_hours_after_the_air_has_warmed() -> None:
    here = site()
    temp = spell(here, 8.0, {(1, hour): -2.0 for hour in range(2, 9)})
    got = scored("frost", temp_c=temp, dewpoint_c=temp - 1)[0]
    assert got[local_index(here, 1, 8)] == 0.0
    assert got[local_index(here, 1, 10)] == 0.0
    assert got[local_index(here, 1, 11)] == 1.0


def test_rain_two_hours_after_spoils_the_hours_before_it_only() -> None:
    here = site()
    rain = spell(here, 0.0, {(1, 15): 6.0})
    after = scored("rain_after", precip_mm=rain)[0]
    free = int(POST.generic.rain_free_h or 0)
    assert free == 4
    assert [after[local_index(here, 1, h)] for h in (10, 11, 13, 15, 16)] == [1, 0, 0, 0, 1]
    before = scored("dry_before", precip_mm=rain)[0]
    assert before[local_index(here, 1, 15)] == 1.0
    assert before[local_index(here, 1, 16)] < 0.5
    assert before[local_index(here, 1, 18)] == 1.0
    assert scored("rain_now", precip_mm=rain)[0][local_index(here, 1, 15)] == 0.0


def test_a_shower_in_every_second_future_is_a_chance_of_rain() -> None:
    here = site()
    rain = np.zeros((41, len(weather(here).hourly.times)))
    rain[1:21, local_index(here, 1, 14)] = 2.0
    got = scored("chance_of_rain", futures=40, precip_mm=rain)
    at = local_index(here, 1, 12)
    assert got[0, at] == pytest.approx(
        float(grade_of("chance_of_rain", POST.generic, CRITERIA)(np.array(0.5)))
    )
    assert got[1, at] == 0.0
    assert got[40, at] == 1.0


def test_probability_alone_counts_where_there_are_no_futures() -> None:
    assert noon("chance_of_rain", precip_prob=0.9) == 0.0
    assert noon("chance_of_rain", precip_prob=0.1) == 1.0
    assert noon("chance_of_rain", precip_prob=0.0, precip_mm=0.5) == 0.0


def test_an_inversion_evening_and_a_morning_that_warms() -> None:
    here = site(calendar={"spray_hours": "00:00-23:00"})
    day = {(1, h): 6.0 + 8.0 * math.sin(math.pi * (h - 8) / 12) for h in range(8, 20)}
    temp = spell(here, 6.0, day)
    calm = {"temp_c": temp, "dewpoint_c": temp - 4, "wind_m_s": 0.8, "cloud_fraction": 0.0}
    got = scored("inversion", here=here, **calm)[0]
    assert got[local_index(here, 1, 18)] == 0.0  # after sunset, clear and calm
    assert got[local_index(here, 1, 6)] == 0.0  # before sunrise
    assert got[local_index(here, 1, 12)] == 1.0
    windy = scored("inversion", here=here, **(calm | {"wind_m_s": 4.0}))[0]
    assert windy[local_index(here, 1, 18)] == 1.0
    overcast = scored("inversion", here=here, **(calm | {"cloud_fraction": 1.0}))[0]
    assert overcast[local_index(here, 1, 18)] > 0.5
    blind = scored("inversion", here=here, without=("cloud_fraction",), **calm)[0]
    assert blind[local_index(here, 1, 18)] == 0.0  # unknown cloud is taken as a clear sky


def test_cold_after_looks_at_the_night_that_follows() -> None:
    here = site()
    temp = spell(here, 10.0, {(2, 5): -8.0})
    got = scored("cold_after", temp_c=temp, dewpoint_c=temp - 3)[0]
    assert got[local_index(here, 1, 12)] < 0.5
    assert got[local_index(here, 2, 12)] == 1.0


def test_ground() -> None:
    assert noon("frozen_soil", ahead={"frozen": True}) == 0.0
    assert noon("frozen_soil", ahead={"soil_c": math.nan}) != noon("frozen_soil")
    assert noon("saturated_soil", ahead={"moisture": 0.5}, precip_mm=2.0) == 1.0
    assert noon("saturated_soil", ahead={"moisture": 1.0}, precip_mm=2.0) == 0.0
    assert noon("washing_rain", precip_mm=3.0) == 0.0


# --- what follows -------------------------------------------------------------------------------


def test_watering_in() -> None:
    dry = site(turf={"irrigated": False})
    unsaid = site(turf={"irrigated": None})
    assert noon("water_in") == 1.0  # irrigated
    assert noon("water_in", here=dry) == pytest.approx(0.5)
    assert math.isnan(noon("water_in", here=unsaid))


def test_water_from_rain_is_counted_over_the_days_after() -> None:
    here = site(turf={"irrigated": False}, advice={"watering_in_days": 2})
    members = weather(here)
    members.daily.values["precip_mm"][0, 3] = 15.0
    ctx = hour_context(here, state(), members)
    got = Judge(ctx, past()).scores(BARRIER, BARRIER.generic).scores["water_in"][0]
    by_day = [got[local_index(here, d, 12)] for d in range(5)]
    assert [s > 0.5 for s in by_day] == [False, True, True, False, False]


# --- turf and weeds -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("turf_state", "phase", "score"),
    [
        ("green", TurfPhase.GROWING, 1.0),
        ("green", TurfPhase.DORMANT, 1.0),
        ("green", TurfPhase.GREENING, 0.0),  # not during green-up (Univ. Georgia Extension 2019)
        ("semi-dormant", TurfPhase.GROWING, 0.0),
        ("semi-dormant", TurfPhase.HARDENING, 1.0),
        ("dormant", TurfPhase.DORMANT, 1.0),
        ("never", TurfPhase.DORMANT, 0.0),
        ("", TurfPhase.DORMANT, math.nan),
        ("green", TurfPhase.UNKNOWN, math.nan),
    ],
)
def test_turf_safety(turf_state: str, phase: TurfPhase, score: float) -> None:
    needs = dataclasses.replace(POST.generic, turf_state=turf_state)
    got = noon("turf_safety", needs=needs, ahead={"phase": phase})
    assert got == pytest.approx(score, nan_ok=True)


def test_unsafe_or_untold_dormancy() -> None:
    needs = purpose_of("dormant").generic
    assert noon("turf_safety", needs=needs, ahead={"safe": 0.0}) == 0.0
    assert math.isnan(noon("turf_safety", needs=needs, ahead={"safe": math.nan}))


@pytest.mark.parametrize(
    ("days", "fit"),
    [(60, True), (21, True), (14, False), (3, False)],
)
def test_green_up_margin(days: float, fit: bool) -> None:
    """At least two weeks before green-up (Xiong, Diesburg & Lloyd 2013)."""
    got = noon("greenup_margin", ahead={"to_greenup": days})
    assert got == (1.0 if fit else 0.0)


# --- actives ------------------------------------------------------------------------------------


def test_an_active_brings_its_own_limits() -> None:
    warm = dataclasses.replace(
        POST.generic,
        temp_low_c=12.0, temp_good_c=20.0, largest_bbch=13.0, humidity_low_pct=60.0,
        light_needed=True, rain_free_h=8.0,
    )  # fmt: skip
    assert noon("air_temperature", needs=warm, temp_c=16.0) < noon("air_temperature", temp_c=16.0)
    assert noon("air_temperature", needs=warm, temp_c=20.0) == 1.0
    assert noon("air_temperature", needs=warm, temp_c=6.0, dewpoint_c=2.0) == 0.0
    assert noon("plant_size", needs=warm, ahead={"leaf": 22.0}) == pytest.approx(0.2)
    assert noon("humidity", needs=warm, dewpoint_c=-5.0) < 1.0
    cool = dataclasses.replace(warm, soil_temp_high_c=10.0)
    assert noon("cool_soil", needs=cool, ahead={"soil_c": 9.0}) == 1.0
    assert noon("cool_soil", needs=cool, ahead={"soil_c": 16.0}) == 0.5
    assert noon("sun_after", needs=warm, cloud_fraction=1.0) == pytest.approx(0.4)
    assert noon("sun_after", needs=warm, cloud_fraction=0.0) == 1.0
    here = site()
    rain = spell(here, 0.0, {(1, 19): 3.0})
    assert noon("rain_after", needs=warm, precip_mm=rain) == 0.0
    assert noon("rain_after", precip_mm=rain) == 1.0


@pytest.mark.parametrize(
    ("leaf", "low", "high"),
    [
        (3.0, 1.0, 1.0),  # BBCH 13, mid-November: 90 % control
        (5.6, 0.6, 0.9),  # BBCH 22.6, mid-December: 70 %
        (7.9, 0.0, 0.0),  # BBCH 24.9, mid-January: unacceptable, plants too big
    ],
)
def test_flumioxazin_fails_on_the_plants_of_january(leaf: float, low: float, high: float) -> None:
    # control by month: Flessner et al., Weed Technology (Auburn, Alabama); stages: means of five
    # seasons at a station in central Alabama, by the emergence model
    needs = needs_of([load_actives()["flumioxazin"]], "hybrid bermudagrass")
    score = noon("plant_size", needs=needs, ahead={"leaf": leaf})
    assert low <= score <= high


def test_a_label_that_names_larger_plants_goes_before_the_trial() -> None:
    needs = needs_of([load_actives()["flumioxazin"]], "hybrid bermudagrass")
    label = dataclasses.replace(needs, largest_bbch=26.0)
    assert noon("plant_size", needs=label, ahead={"leaf": 8.0}) == 1.0


@pytest.mark.parametrize(
    ("name", "field"),
    [
        ("rain_after", "rain_free_h"),
        ("chance_of_rain", "rain_free_h"),
        ("plant_size", "largest_bbch"),
        ("water_in", "activation_mm"),
    ],
)
def test_what_the_label_must_say_cannot_be_told(name: str, field: str) -> None:
    base = BARRIER.generic if name == "water_in" else POST.generic
    needs = dataclasses.replace(base, **{field: math.nan})
    here = site(turf={"irrigated": False})
    assert math.isnan(noon(name, needs=needs, here=here))


@pytest.mark.parametrize(
    "missing", sorted(set(FAIR) - {"gust_m_s", "precip_prob", "cloud_fraction"})
)
def test_a_missing_variable_is_never_a_go_ahead(missing: str) -> None:
    """No hour of any purpose can be told when wind, humidity, rain or temperature is missing."""
    here = site()
    ctx = hour_context(here, state(), weather(here, without=(missing,)))
    for purpose in map(purpose_of, PURPOSES):
        scores = Judge(ctx, past()).scores(purpose, purpose.generic)
        assert np.all(np.isnan(scores.score[0]) | (scores.score[0] == 0.0))


def test_leaf_and_soil_uptake_ask_different_questions() -> None:
    """Rain and warmth matter where leaves take it up, watering-in where the soil does."""
    from windowcast.materials.actives import load_actives
    from windowcast.materials.needs import needs_of

    actives = load_actives()

    def asked(text: str) -> set[str]:
        needs = needs_of(actives.mixture(text), "hybrid bermudagrass")
        return set(purpose_of("dormant").asked(needs))

    leaf = {"air_temperature", "cold_after", "dry_before", "rain_after", "chance_of_rain"}
    soil = {"washing_rain", "water_in"}
    assert leaf <= asked("glyphosate")
    assert not soil & asked("glyphosate")
    assert soil <= asked("prodiamine")
    assert not leaf & asked("prodiamine")
    assert leaf | soil <= asked("glyphosate+prodiamine")
    assert {"wind", "inversion", "frost", "turf_safety"} <= asked("glyphosate") & asked(
        "prodiamine"
    )
