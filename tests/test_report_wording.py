"""Words and units. Conversion factors: NIST SP 811, appendix B (exact by definition)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from report_fixtures import judged, ranking, window
from spoken import METRIC, US, render

from windowcast.core.values import load
from windowcast.report import wording
from windowcast.windows import reasons
from windowcast.windows.decision import answer_word
from windowcast.windows.grade import ScoreCurve

CRITERIA = load("criteria")


def test_a_value_that_cannot_be_told_is_a_dash_not_a_zero() -> None:
    assert wording.quantity(None, "degC", US) == "–"
    assert wording.score(window(score=None)) == "?"
    assert METRIC.write(wording.odds(None)) == "–"


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [(0.25, "1", "25 %"), (-0.04, "degC", "0 °C"), (3.0, "h", "3 h")],
)
def test_single_quantities(value: float, unit: str, expected: str) -> None:
    assert wording.quantity(value, unit, METRIC) == expected


def test_dates_do_not_depend_on_the_platform() -> None:
    assert METRIC.write(dt.date(2023, 11, 6), "day") == "Mon 6 Nov"
    assert METRIC.write(dt.date(2024, 2, 29), "long") == "Thursday 29 February 2024"


def test_limit_names_the_criterion_and_the_reason_in_units() -> None:
    limit = US.text(wording.limit(judged()))
    assert limit == "air temperature: 53 °F, slow uptake, best from 60 °F"
    assert US.text(wording.limit(None)) == "nothing"
    soil = wording.limit(
        replace(judged(), label=reasons.label("soil_week", CRITERIA.table("soil_week")))
    )
    assert US.text(soil).startswith("soil at 2 in, mean of 7 days: 53 °F")


def test_answer_words() -> None:
    words = [answer_word(outlook) for outlook in ranking().purposes]
    assert words == ["cannot tell", "go", "out of season", "out of season"]


@pytest.mark.parametrize(
    ("stage", "says"),
    # Meier 2018, BBCH monograph, cereals: 13 three leaves, 21 first tiller, 29 nine or more
    [
        (13.2, "BBCH 13, 3 leaves"),
        (21.0, "BBCH 21, 1 tiller"),
        (20.0, "BBCH 20"),
        (25.4, "BBCH 25, 5 tillers"),
        (29.0, "BBCH 29, 9 or more tillers"),
        (31.0, "BBCH 31"),
    ],
)
def test_a_stage_says_what_the_plant_looks_like(stage: float, says: str) -> None:
    assert wording.quantity(stage, "BBCH", US) == says


def test_a_good_distance_from_the_dew_point_does_not_read_as_a_temperature() -> None:
    curve = ScoreCurve((0.5, 2.0), (0.2, 1.0))
    text = render(reasons.reason("leaf_wetness", CRITERIA.table("leaf_wetness"), curve, 17.2), "us")
    assert text == "air 31 °F above its dew point, good"
