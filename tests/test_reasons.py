"""What a criterion says of a value: which clause, with which values, on each side of its range.

On a made-up table, so that what is expected can be read here; the texts themselves are put into
words, so that an id without a text or a value that it lacks fails too.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
import pytest
from spoken import ordered, render, written

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Quantity, Share, Span, Value, say
from windowcast.core.values import Table
from windowcast.windows import reasons
from windowcast.windows.grade import ScoreCurve


def _entry(value: Any, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "source": "made up", "status": "choice"}


CRITERIA = Table(
    "criteria",
    {
        "wind": {"unit": "m s-1", "says": ["low", "high", "missing"], "hourly": "wind"},
        "sprayer_limit": {
            "unit": "", "says": ["high", "missing", "change"], "hourly": "wind", "lacks": "wind",
        },
        "inversion": {
            "unit": "1", "says": ["high", "missing", "change"], "hourly": "wind", "lacks": "wind",
        },
        "gusts": {
            "unit": "m s-1", "says": ["high", "missing"], "hourly": "gusts", "lacks": "gusts",
        },
        "hot_and_dry": {
            "unit": "", "says": ["high", "missing", "change"], "hourly": "humidity",
            "temp_c": _entry(25, "degC"), "rh_pct": _entry(40, "%"), "margin_d": _entry(3, "d"),
            "at": _entry([0, 1], "degC"),
        },
        "leaf_wetness": {"unit": "K", "says": ["low", "good", "missing", "change"]},
        "soil_week": {
            "unit": "degC", "says": ["low", "high", "missing", "remedy", "fact"],
        },
        "cool_soil": {"unit": "degC", "says": ["high", "missing", "remedy"]},
        "share_up": {"unit": "1", "says": ["low", "high", "missing", "remedy", "fact"]},
        "dormancy": {"unit": "", "says": ["low", "missing", "remedy", "change", "fact"]},
        "plant_size": {"unit": "BBCH", "says": ["high", "missing", "remedy", "change"]},
    },
)  # fmt: skip
GRADE = ScoreCurve((1.0, 3.0, 5.0, 9.0), (0.0, 1.0, 1.0, 0.0))  # good from 3 to 5
ONE_SIDED = ScoreCurve((3.0, 5.0), (1.0, 0.0))  # good up to 3
DEPTH = Quantity(5.0, "cm")


def wind(value: float) -> Quantity:
    return Quantity(value, "m s-1")


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (0.25, "1", Share(0.25)),
        (2.5, "mm", Quantity(2.5, "mm")),
        (10.0, "BBCH", say("stage.bare", code=10)),
        (11.0, "BBCH", say("stage.leaves", code=11, count=1)),
        (13.6, "BBCH", say("stage.leaves", code=14, count=4)),
        (19.0, "BBCH", say("stage.leaves_or_more", code=19, count=9)),
        (20.0, "BBCH", say("stage.bare", code=20)),
        (21.0, "BBCH", say("stage.tillers", code=21, count=1)),
        (29.0, "BBCH", say("stage.tillers_or_more", code=29, count=9)),
        (31.0, "BBCH", say("stage.bare", code=31)),
        (math.inf, "BBCH", NOTHING),
        (-math.inf, "BBCH", NOTHING),
    ],
)
def test_a_value_with_the_unit_of_its_table(value: float, unit: str, expected: Value) -> None:
    found = reasons.measured(value, unit)
    assert ordered(found) == ordered(expected)
    assert found is NOTHING or written(found)


def test_a_unit_that_no_text_knows_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^'furlong' is not a unit of phrases$"):
        reasons.measured(1.0, "furlong")


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("wind", {}),
        ("hot_and_dry", {"temp_c": Quantity(25.0, "degC"), "rh_pct": Quantity(40.0, "%")}),
        ("soil_week", {"depth": DEPTH}),
        ("cool_soil", {"depth": DEPTH}),
    ],
)
def test_a_label_has_the_limits_of_its_table(name: str, values: dict[str, Value]) -> None:
    found = reasons.label(name, CRITERIA.table(name))
    assert ordered(found) == ordered(say(f"criterion.{name}.label", **values))
    assert render(found)


def wind_is(side: str, value: float, low: float = 3.0, high: float = 5.0) -> Phrase:
    values: dict[str, Value] = {
        "about": NOTHING,
        "measured": wind(value),
        "low": wind(low),
        "high": wind(high),
    }
    return say(f"criterion.wind.{side}", **values)


@pytest.mark.parametrize(
    ("name", "grade", "value", "expected"),
    [
        ("wind", GRADE, 2.9, wind_is("low", 2.9)),
        ("wind", GRADE, 3.0, say("criterion.good", measured=wind(3.0))),
        ("wind", GRADE, 5.0, say("criterion.good", measured=wind(5.0))),
        ("wind", GRADE, 5.1, wind_is("high", 5.1)),
        ("wind", GRADE, math.nan, say("criterion.wind.unknown")),
        ("wind", ONE_SIDED, 4.0, wind_is("high", 4.0, -math.inf, 3.0)),
        ("gusts", GRADE, 2.0, say("criterion.good", measured=wind(2.0))),  # nothing to say below
        ("leaf_wetness", GRADE, 4.0,
         say("criterion.leaf_wetness.good", measured=Quantity(4.0, "K"))),
        ("leaf_wetness", GRADE, 6.0,
         say("criterion.leaf_wetness.good", measured=Quantity(6.0, "K"))),
        ("dormancy", GRADE, 4.0, say("criterion.no_objection")),
        ("dormancy", GRADE, 1.0, say("criterion.dormancy.low", about=NOTHING)),
        ("hot_and_dry", ONE_SIDED, 4.0,
         say("criterion.hot_and_dry.high", about=NOTHING, temp_c=Quantity(25.0, "degC"),
             rh_pct=Quantity(40.0, "%"))),
    ],
)  # fmt: skip
def test_the_clause_on_a_value(
    name: str, grade: ScoreCurve, value: float, expected: Phrase
) -> None:
    found = reasons.reason(name, CRITERIA.table(name), grade, value)
    assert ordered(found) == ordered(expected)
    assert render(found)


def test_a_clause_names_the_place_it_is_about() -> None:
    places = reasons.named(["the school", "pond", "Long Pond", "theatre"])
    assert places == Listing((
        say("place.proper", name=Name("the school")), say("place.common", name=Name("pond")),
        say("place.proper", name=Name("Long Pond")), say("place.common", name=Name("theatre")),
    ))  # fmt: skip
    found = reasons.reason("wind", CRITERIA.table("wind"), GRADE, 9.0, places)
    assert found.value("about") == places
    beyond = reasons.outside(
        "dormancy", CRITERIA.table("dormancy"), "low", NOTHING, (1.0, 2.0), about=places
    )
    assert beyond == say("criterion.dormancy.low", about=places)


@pytest.mark.parametrize(
    ("name", "value", "score", "expected"),
    [
        ("wind", 2.0, 1.0, ("reach", wind(3.0))),
        ("wind", 2.0, 0.75, ("reach", wind(2.5))),
        ("wind", 8.0, 1.0, ("fall", wind(5.0))),
        ("wind", 8.0, 1.1, ("better", None)),
    ],
)
def test_what_would_have_to_be_different(
    name: str, value: float, score: float, expected: tuple[str, Value | None]
) -> None:
    table = CRITERIA.table(name)
    said, needed = expected
    values: dict[str, Value] = {"criterion": reasons.label(name, table)}
    if needed is not None:
        values["needed"] = needed
    found = reasons.change(name, table, GRADE, value, score)
    assert ordered(found) == ordered(say(f"criterion.{said}", **values))
    assert render(found)


def test_some_criteria_say_in_their_own_words_what_would_have_to_change() -> None:
    found = reasons.change("inversion", CRITERIA.table("inversion"), GRADE, 8.0, 1.0)
    assert found == say("criterion.inversion.change")


def test_facts_of_today() -> None:
    def fact(name: str, value: float) -> Phrase:
        return reasons.fact(name, CRITERIA.table(name), value)

    soil = say("criterion.soil_week.fact", depth=DEPTH, measured=Quantity(20.5, "degC"))
    assert ordered(fact("soil_week", 20.5)) == ordered(soil)
    assert fact("share_up", 0.4) == say("criterion.share_up.fact", measured=Share(0.4))
    assert fact("dormancy", 1.0) == say("criterion.dormancy.fact")
    assert fact("dormancy", math.nan) == NOTHING
    assert fact("wind", 3.0) == NOTHING


def test_an_input_that_several_criteria_lack_is_named_once() -> None:
    lacking = reasons.missing(["sprayer_limit", "gusts", "inversion", "wind"], CRITERIA)
    assert lacking == Listing(
        (
            say("hourly.wind"), say("criterion.gusts.missing"), say("hourly.wind"),
            say("criterion.wind.missing"),
        ),
        "clauses",
    )  # fmt: skip
    alone = reasons.missing(["inversion", "gusts"], CRITERIA)
    assert alone == Listing(
        (say("criterion.inversion.missing"), say("criterion.gusts.missing")), "clauses"
    )
    assert "wind" in written(lacking)


def test_what_would_let_criteria_be_told() -> None:
    both = reasons.remedies(["dormancy", "wind", "gusts", "leaf_wetness", "cool_soil"], CRITERIA)
    hourly = say("advice.hourly", inputs=Listing((say("hourly.wind"), say("hourly.gusts"))))
    assert both == Listing(
        (hourly, say("criterion.dormancy.remedy"), say("criterion.cool_soil.remedy")), "clauses"
    )
    assert reasons.remedies(["dormancy"], CRITERIA) == Listing(
        (say("criterion.dormancy.remedy"),), "clauses"
    )
    assert written(both)


def test_small_clauses() -> None:
    label = reasons.label("wind", CRITERIA.table("wind"))
    assert reasons.inputs("wind") == say("criterion.wind.inputs")
    because = reasons.because(label, say("criterion.no_objection"))
    assert ordered(because) == ordered(
        say("criterion.because", criterion=label, reason=say("criterion.no_objection"))
    )
    start = dt.datetime(2026, 11, 10, 8, tzinfo=dt.UTC)
    end = start + dt.timedelta(hours=3)
    assert reasons.hours(start, end) == Span(start, end)


@pytest.mark.parametrize(("days", "late"), [(0, False), (3, False), (4, True), (None, False)])
def test_an_opening_that_the_calendar_holds_back(days: int | None, late: bool) -> None:
    opens, basis = dt.date(2027, 1, 12), say("opening.by_past_years")
    by = None if days is None else opens + dt.timedelta(days)
    values: dict[str, Value] = {"day": opens, "basis": basis}
    if late and by is not None:
        values["late"] = by
    said = say("opening.start_late" if late else "opening.start", **values)
    assert ordered(reasons.from_start(opens, by, basis)) == ordered(said)
    assert reasons.from_start(opens, by).value("basis") == NOTHING


# --- curves ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "score", "good"),
    [
        ((1.0, 3.0, 5.0), (0.0, 1.0, 0.0), (3.0, 3.0)),
        ((1.0, 3.0), (1.0, 0.0), (-math.inf, 1.0)),
        ((1.0, 3.0), (0.0, 1.0), (3.0, math.inf)),
        ((1.0, 3.0), (0.5, 0.5), (-math.inf, math.inf)),
        ((1.0, 2.0, 3.0, 4.0), (0.2, 0.8, 0.8, 0.2), (2.0, 3.0)),
    ],
)
def test_the_good_range_of_a_curve(
    at: tuple[float, ...], score: tuple[float, ...], good: tuple[float, float]
) -> None:
    assert ScoreCurve(at, score).good == good


@pytest.mark.parametrize(
    ("value", "score", "nearest"),
    [
        (0.0, 0.0, 1.0),
        (0.0, 0.5, 2.0),
        (8.0, 0.5, 7.0),
        (4.4, 0.5, 5.0),  # of knots and crossings the nearest
        (4.0, 1.0, 3.0),  # of two as near the first
        (4.0, 1.5, None),
    ],
)
def test_the_nearest_value_with_a_score(value: float, score: float, nearest: float | None) -> None:
    assert GRADE.nearest(value, score) == nearest


def test_a_curve_is_flat_beyond_its_knots() -> None:
    found = GRADE(np.array([-9.0, 1.0, 2.0, 4.0, 6.0, 20.0, np.nan]))
    assert found[:-1].tolist() == [0.0, 0.0, 0.5, 1.0, 0.75, 0.0]
    assert np.isnan(found[-1])
