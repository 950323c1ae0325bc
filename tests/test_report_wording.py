"""Words and units. Conversion factors: NIST SP 811, appendix B (exact by definition)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_fixtures import judged, ranking, window

from windowcast.core.units import Display
from windowcast.report import wording
from windowcast.report.catalogue import render
from windowcast.windows import reasons
from windowcast.windows.grade import ScoreCurve

US, METRIC = Display("us"), Display("metric")


@pytest.mark.parametrize(
    ("text", "us", "metric"),
    [
        ("21.1 °C", "70 °F", "21.1 °C"),  # 70 °F, the field rule of the fall barrier
        ("-2 °C to 4 °C", "28 °F to 39 °F", "−2 °C to 4 °C"),
        ("wind 1.34 to 3.58 m/s", "wind 3 to 8 mph", "wind 5 to 13 km/h"),
        ("12.7 mm within 7 days", "0.5 in within 7 days", "12.7 mm within 7 days"),
        ("soil at 5 cm", "soil at 2 in", "soil at 5 cm"),
        ("Delta T 5 K", "Delta T 9 °F", "Delta T 5 °C"),  # a difference has no offset
        ("100 °C·d", "180 °F·d", "100 °C·d"),
        ("1 kg/ha", "0.89 lb/acre", "1 kg/ha"),
        ("12 km away", "7 mi away", "12 km away"),
        ("on 2023-11-04, 5 h, 3 members", "on 2023-11-04, 5 h, 3 members", None),
        ("2 mmx and v1.2 m/s2", "2 mmx and v1.2 m/s2", None),
    ],
)
def test_quantities_in_a_sentence(text: str, us: str, metric: str | None) -> None:
    assert wording.in_units(text, US) == us
    assert wording.in_units(text, METRIC) == (text if metric is None else metric)


@given(st.text(max_size=80))
def test_any_text_is_put_in_units_without_failing(text: str) -> None:
    assert isinstance(wording.in_units(text, US), str)


@given(st.text(alphabet="abc <>&'", max_size=40))
def test_text_without_numbers_is_unchanged(text: str) -> None:
    assert wording.in_units(text, US) == text


def test_a_value_that_cannot_be_told_is_a_dash_not_a_zero() -> None:
    assert wording.quantity(None, "degC", US) == "–"
    assert wording.score(window(score=None)) == "?"
    assert wording.odds(None) == "–"


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [(0.25, "1", "25 %"), (-0.04, "degC", "0 °C"), (3.0, "h", "3 h")],
)
def test_single_quantities(value: float, unit: str, expected: str) -> None:
    assert wording.quantity(value, unit, METRIC) == expected


def test_dates_do_not_depend_on_the_platform() -> None:
    assert wording.day(dt.date(2023, 11, 6)) == "Mon 6 Nov"
    assert wording.long_day(dt.date(2024, 2, 29)) == "Thursday 29 February 2024"


def test_limit_names_the_criterion_and_the_reason_in_units() -> None:
    limit = wording.text(wording.limit(judged()), US)
    assert limit == "air temperature: 53 °F, slow uptake, best from 60 °F"
    assert wording.text(wording.limit(None), US) == "nothing"
    soil = wording.limit(replace(judged(), label=reasons.label("soil_week")))
    assert wording.text(soil, US).startswith("soil at 2 in, mean of 7 days: 53 °F")


def test_answer_words() -> None:
    words = [wording.answer_word(outlook) for outlook in ranking().purposes]
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
    text = render(reasons.reason("leaf_wetness", curve, 17.2), "us")
    assert text == "air 31 °F above its dew point, good"
