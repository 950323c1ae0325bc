"""How a criterion is graded for the actives at hand: knots, shifts and the values behind them."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Any

import pytest
from limit_values import entry

from windowcast.core.values import Table, Value, load
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows.criteria import HOUR_CRITERIA
from windowcast.windows.days import DAY_CRITERIA
from windowcast.windows.grade import (
    ScoreCurve,
    asked_for,
    grade_for,
    grade_of,
    needs_behind,
    plain_grade,
    sources_of,
)
from windowcast.windows.purposes import Purpose, purpose_of, weights_of

NEEDS = purpose_of("post-early").generic
NAMES = sorted({*HOUR_CRITERIA, *DAY_CRITERIA})


def _entry(value: Any, unit: str = "", source: str = "a trial") -> dict[str, Any]:
    return {"value": value, "unit": unit, "source": source, "status": "published"}


CRITERIA = Table(
    "criteria",
    {
        "humidity": {"at": _entry([25, 40]), "score": _entry([0.5, 1.0])},
        "cool_soil": {"at": _entry([10, 20]), "score": _entry([1.0, 0.0])},
        "greenup_margin": {"at": _entry([14, 21]), "score": _entry([0.0, 1.0])},
        "air_temperature": {
            "at": _entry([2, 10, 20, 26, 32]), "score": _entry([0.0, 0.5, 1.0, 1.0, 0.25]),
            "active_margin": _entry(5, "K", "margin"),
            "active_low_score": _entry(0.4, "1", "low"),
        },
        "plant_size": {
            "at": _entry([13, 18]), "score": _entry([0.9, 0.2]), "margin": _entry(4),
        },
        "share_up": {
            "at": _entry([0, 1]), "score": _entry([1, 1]), "weight": _entry(0.5),
            "says": ["low"],
        },
    },
)  # fmt: skip
OWN = Table("purpose", {"share_up": {"at": _entry([0.1, 0.4]), "score": _entry([0, 1])}})


def graded(name: str, **needs: Any) -> tuple[tuple[float, ...], tuple[float, ...]]:
    found = grade_of(name, replace(NEEDS, **needs), CRITERIA)
    return tuple(round(x, 9) for x in found.at), found.score


# --- shifts ---------------------------------------------------------------------------------------


def test_a_purpose_may_have_knots_of_its_own() -> None:
    table = OWN.table("share_up")
    own = ScoreCurve((0.1, 0.4), (0.0, 1.0), (table.value("at"), table.value("score")))
    assert grade_of("share_up", NEEDS, CRITERIA, OWN) == own
    assert plain_grade("share_up", CRITERIA, OWN) == own
    assert plain_grade("share_up", CRITERIA).at == (0.0, 1.0)
    assert plain_grade("humidity", CRITERIA, OWN).at == (25.0, 40.0)


@pytest.mark.parametrize(
    ("name", "needs", "at", "score"),
    [
        ("humidity", {"humidity_low_pct": 60.0}, (45.0, 60.0), (0.5, 1.0)),
        ("humidity", {"humidity_low_pct": 30.0}, (15.0, 30.0), (0.5, 1.0)),
        ("humidity", {"humidity_low_pct": math.nan}, (25.0, 40.0), (0.5, 1.0)),
        ("humidity", {"humidity_low_pct": None}, (25.0, 40.0), (0.5, 1.0)),
        ("cool_soil", {"soil_temp_high_c": 15.0}, (15.0, 25.0), (1.0, 0.0)),
        ("greenup_margin", {"before_greenup_d": 30.0}, (30.0, 37.0), (0.0, 1.0)),
        ("greenup_margin", {"before_greenup_d": 10.0}, (14.0, 21.0), (0.0, 1.0)),  # only up
        ("greenup_margin", {"before_greenup_d": 14.0}, (14.0, 21.0), (0.0, 1.0)),
        ("plant_size", {"largest_bbch": 14.0}, (14.0, 18.0), (0.9, 0.2)),
        ("plant_size", {"largest_bbch": 14.0, "lost_bbch": 21.0}, (14.0, 21.0), (0.9, 0.0)),
        ("plant_size", {"largest_bbch": 22.0, "lost_bbch": 21.0}, (22.0, 26.0), (0.9, 0.2)),
        ("plant_size", {"largest_bbch": 21.0, "lost_bbch": 21.0}, (21.0, 25.0), (0.9, 0.2)),
        ("plant_size", {"largest_bbch": math.nan, "lost_bbch": 21.0}, (13.0, 18.0), (0.9, 0.2)),
        ("air_temperature", {"temp_low_c": 8.0, "temp_good_c": 16.0},
         (3.0, 8.0, 16.0, 26.0, 32.0), (0.0, 0.4, 1.0, 1.0, 0.25)),
        ("air_temperature", {"temp_low_c": 8.0, "temp_good_c": 16.0, "temp_high_c": 29.0},
         (3.0, 8.0, 16.0, 29.0, 35.0), (0.0, 0.4, 1.0, 1.0, 0.25)),
        ("air_temperature", {"temp_low_c": 8.0, "temp_good_c": 16.0, "temp_high_c": math.nan},
         (3.0, 8.0, 16.0, 26.0, 32.0), (0.0, 0.4, 1.0, 1.0, 0.25)),
        # knots rise, also where an active is good from its low temperature on, or to below it
        ("air_temperature", {"temp_low_c": 8.0, "temp_good_c": 8.0, "temp_high_c": 5.0},
         (3.0, 8.0, 8.1, 8.1, 14.1), (0.0, 0.4, 1.0, 1.0, 0.25)),
        ("air_temperature", {"temp_low_c": 8.0}, (2.0, 10.0, 20.0, 26.0, 32.0),
         (0.0, 0.5, 1.0, 1.0, 0.25)),
        ("air_temperature", {"temp_low_c": math.nan, "temp_good_c": 16.0},
         (2.0, 10.0, 20.0, 26.0, 32.0), (0.0, 0.5, 1.0, 1.0, 0.25)),
        ("air_temperature", {"temp_low_c": 8.0, "temp_good_c": math.nan},
         (2.0, 10.0, 20.0, 26.0, 32.0), (0.0, 0.5, 1.0, 1.0, 0.25)),
    ],
)  # fmt: skip
def test_an_active_shifts_the_knots(
    name: str, needs: dict[str, Any], at: tuple[float, ...], score: tuple[float, ...]
) -> None:
    assert graded(name, **needs) == (at, score)


# --- the values behind a grade --------------------------------------------------------------------


def of(need: str, table: str = "simazine") -> Value:
    return replace(entry(1.0), path=f"actives.{table}.{need}")


def test_a_shifted_grade_rests_on_the_actives_own_values() -> None:
    plain = plain_grade("humidity", CRITERIA)
    mine, other = of("humidity_low_pct"), of("rain_free_h")
    needs = replace(NEEDS, humidity_low_pct=60.0, used=(mine, other))
    assert grade_for("humidity", needs, plain, CRITERIA).used == (mine,)
    assert grade_for("humidity", replace(needs, used=(other,)), plain, CRITERIA).used == plain.used
    unshifted = replace(needs, humidity_low_pct=None)
    assert grade_for("humidity", unshifted, plain, CRITERIA) == plain


def test_every_value_behind_a_judgement_once() -> None:
    table = CRITERIA.table("air_temperature")
    low, good, state = of("temp_low_c"), of("temp_good_c"), of("turf.hybrid_bermudagrass")
    needs = replace(NEEDS, temp_low_c=8.0, temp_good_c=16.0, used=(low, good, low, state))
    grade = grade_of("air_temperature", needs, CRITERIA)
    found = sources_of("air_temperature", grade, needs, CRITERIA)
    margin, at_low = table.value("active_margin"), table.value("active_low_score")
    assert found == (low, good, margin, at_low)
    plain = plain_grade("air_temperature", CRITERIA)
    assert sources_of("air_temperature", plain, NEEDS, CRITERIA) == (*plain.used, margin, at_low)
    # the state of the turf is kept by species, the other needs by their own names
    unused = sources_of("turf_safety", plain_grade("turf_safety", load("criteria")), needs,
                        load("criteria"))  # fmt: skip
    assert state in unused
    assert low not in unused


def test_the_needs_behind_a_criterion_are_needs() -> None:
    known = {field.name for field in fields(ActiveNeeds)}
    assert needs_behind("wind") == ()
    assert needs_behind("plant_size") == ("largest_bbch", "lost_bbch")
    assert all(set(needs_behind(name)) <= known for name in NAMES)


# --- what is asked --------------------------------------------------------------------------------

LEAF = {
    "air_temperature",
    "cold_after",
    "dry_before",
    "leaf_wetness",
    "rain_after",
    "chance_of_rain",
}
SOIL = {"washing_rain", "water_in"}
STATED = {
    "humidity": "humidity_low_pct", "plant_size": "largest_bbch", "cool_soil": "soil_temp_high_c",
}  # fmt: skip
NOTHING: dict[str, Any] = {
    "rain_free_h": None, "activation_mm": None, "humidity_low_pct": None, "largest_bbch": None,
    "soil_temp_high_c": None, "light_needed": False,
}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_each_criterion_asks_of_the_actives_that_it_is_about(name: str) -> None:
    bare = replace(NEEDS, **NOTHING)
    always = name not in LEAF | SOIL | {*STATED, "sun_after"}
    assert asked_for(name, bare) is (always or name == "heat")
    leaf = replace(bare, rain_free_h=math.nan)  # taken up by leaves, for how long nobody says
    assert asked_for(name, leaf) is ((always and name != "heat") or name in LEAF)
    soil = replace(bare, activation_mm=0.0)
    assert asked_for(name, soil) is (always or name in SOIL)
    for light, asked in ((True, True), (None, True), (False, False)):
        if name == "sun_after":
            assert asked_for(name, replace(bare, light_needed=light)) is asked
    if name in STATED:
        assert asked_for(name, replace(bare, **{STATED[name]: 0.0}))  # type: ignore[arg-type]


# --- purposes -------------------------------------------------------------------------------------


def made(**known: Any) -> Purpose:
    return replace(
        purpose_of("post-early"), timing=("share_up",), hours=("humidity", "share_up", "cool_soil"),
        own=OWN, rules=CRITERIA, **known,
    )  # fmt: skip


def test_a_purpose_asks_its_hours_first_and_what_opens_its_season_last() -> None:
    purpose = made()
    assert purpose.criteria == ("humidity", "cool_soil", "share_up")
    assert purpose.asked(replace(NEEDS, **NOTHING)) == ("share_up",)
    both = replace(NEEDS, humidity_low_pct=60.0, soil_temp_high_c=15.0)
    assert purpose.asked(both) == purpose.criteria
    assert list(purpose.grades(both)) == list(purpose.criteria)
    assert purpose.grades(both)["humidity"].at == (45.0, 60.0)
    assert purpose.grade("share_up", both).at == (0.1, 0.4)
    assert purpose.timing_grades(both) == {"share_up": purpose.grade("share_up", both)}
    assert purpose.weights == {"humidity": 1.0, "cool_soil": 1.0, "share_up": 0.5}
    assert weights_of(["share_up"], CRITERIA) == {"share_up": 0.5}


@pytest.mark.parametrize(("barrier", "pre", "post", "serves"), [
    (True, True, False, True), (True, False, True, False),
    (False, True, False, False), (False, False, True, True),
])  # fmt: skip
def test_a_barrier_is_served_by_what_acts_before_emergence(
    barrier: bool, pre: bool, post: bool, serves: bool
) -> None:
    assert made(barrier=barrier).serves(replace(NEEDS, pre=pre, post=post)) is serves


PURPOSES = Table(
    "purposes",
    {
        "every": {"hours": ["wind", "gusts"]},
        "pre-fall": {
            "weeds": "fall", "timing": ["share_up"], "barrier": True, "turf": "semi-dormant",
            "needs": {"activation_mm": _entry(12.7), "activation_days": _entry(7)},
            "grade": {"share_up": {"at": _entry([0.1, 0.4]), "score": _entry([0, 1])}},
            "soil_mark": _entry(21.1),
        },
        "dormant": {
            "weeds": "spring", "timing": ["dormancy"], "barrier": False, "turf": "dormant",
            "facts": ["dormancy"], "needs": {"rain_free_h": _entry(6)},
        },
    },
)  # fmt: skip


def test_a_purpose_as_its_table_describes_it() -> None:
    tables: Any = {"purposes": PURPOSES, "criteria": CRITERIA}
    fall, brown = purpose_of("pre-fall", tables), purpose_of("dormant", tables)
    table = PURPOSES.table("pre-fall")
    assert (fall.name, fall.weeds, fall.barrier) == ("pre-fall", "fall", True)
    assert (fall.timing, fall.hours, fall.facts) == (("share_up",), ("wind", "gusts"), ())
    assert fall.own is not None
    assert fall.own.value("share_up.at") == table.value("grade.share_up.at")
    assert fall.soil_mark == table.value("soil_mark")
    assert fall.rules is CRITERIA
    bare = {field.name: None for field in fields(ActiveNeeds)}
    usual: dict[str, Any] = bare | {
        "names": (), "groups": (), "contact": False, "light_needed": False, "governs": {},
        "unknown": (), "actives": (),
    }  # fmt: skip
    assert fall.generic == ActiveNeeds(**usual | {
        "pre": True, "post": False, "translocated": False, "activation_mm": 12.7,
        "activation_days": 7.0, "turf_state": "semi-dormant",
        "used": (table.value("needs.activation_mm"), table.value("needs.activation_days")),
    })  # fmt: skip
    assert (brown.weeds, brown.facts, brown.own, brown.soil_mark) == (
        "spring", ("dormancy",), None, None,
    )  # fmt: skip
    assert brown.generic == ActiveNeeds(**usual | {
        "pre": False, "post": True, "translocated": True, "rain_free_h": 6.0,
        "turf_state": "dormant", "used": (PURPOSES.value("dormant.needs.rain_free_h"),),
    })  # fmt: skip
