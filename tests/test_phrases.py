"""Meaning before words: phrases, their catalogue, and the one conversion from SI."""

from __future__ import annotations

import datetime as dt
import math
import subprocess
import sys
from decimal import ROUND_HALF_EVEN, Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from phrase_ids import said
from spoken import render, written

from windowcast.core.phrase import (
    NOTHING,
    UNITS,
    Listing,
    Name,
    Phrase,
    Quantity,
    Share,
    Span,
    Value,
    about,
    joined,
    merged,
    names,
    say,
    sentence,
)
from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES
from windowcast.core.units import System
from windowcast.report import catalogue as words
from windowcast.report.catalogue import catalogue, languages
from windowcast.report.measures import MEASURES
from windowcast.report.plain import meaning

DAY = dt.date(2025, 11, 6)
NOON = dt.datetime(2025, 11, 6, 12, tzinfo=ZoneInfo("America/New_York"))


# --- the catalogue and the code ---------------------------------------------------------------


def test_every_phrase_of_the_code_has_its_text_and_every_text_is_said() -> None:
    ids = catalogue("en").raw
    found = {one: one.among(ids) for one in {one.pattern: one for one in said()}.values()}
    unsaid = set(ids).difference(*found.values())
    untold = {one.where for one, texts in found.items() if not texts}
    assert not unsaid, "texts that nothing says"
    assert not untold, "phrases without a text"


def test_a_phrase_is_given_the_values_that_its_text_names_and_no_others() -> None:
    wrong = []
    for one in said():
        texts = [catalogue("en").text(i) for i in one.among(catalogue("en").raw)]
        named = [text.names for text in texts if text is not None]
        if one.names is None or not named:
            continue
        spare = one.names - frozenset().union(*named)
        lacking = [sorted(names - one.names) for names in named if names - one.names]
        if spare or lacking or (not one.family and one.names != named[0]):
            wrong.append((one.where, one.pattern, sorted(spare), lacking))
    assert not wrong


@pytest.mark.parametrize("lang", languages())
def test_every_quantity_of_the_weather_has_a_name(lang: str) -> None:
    """A check of a forecast may speak of any of them, also of the errors it states of itself."""
    known = {key.removeprefix("variable.") for key in catalogue(lang).raw}
    assert {*DAILY_VARIABLES, *HOURLY_VARIABLES} <= known


def test_every_plural_text_has_a_form_for_one_and_for_others_with_the_same_values() -> None:
    for id_, raw in catalogue("en").raw.items():
        text = catalogue("en").text(id_)
        assert text is not None
        if isinstance(raw, str):
            continue
        assert set(raw) == {"count", "one", "other"}, id_
        counted = {text.count}
        spoken = [{n for _, n, _ in parts if n} | counted for parts in text.forms.values()]
        assert spoken[0] == spoken[1], id_


def test_a_missing_text_or_value_is_an_error_here_and_an_id_for_a_reader(
    monkeypatch: pytest.MonkeyPatch, real_fault: object
) -> None:
    with pytest.raises(AssertionError, match="has no text"):
        render(Phrase("no.such.text"))
    with pytest.raises(AssertionError, match="lacks clause"):
        render(Phrase("sentence.of"))
    monkeypatch.setattr(words, "fault", real_fault)
    assert render(Phrase("no.such.text")) == "[no.such.text]"
    assert render(Phrase("sentence.of")) == "[sentence.of]"


def test_the_catalogue_is_not_read_when_the_program_starts() -> None:
    code = (
        "import windowcast.report.catalogue as c, windowcast.cli;"
        "print(c.catalogue.cache_info().currsize)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "0"


# --- names --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["5 K trail", "hole 3 m", "  {x} 10 mm", "20 °C", "12 km loop"])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_name_is_written_as_it_was_given(name: str, units: System) -> None:
    assert render(say("sentence.of", clause=Name(name)), units) == name
    assert written(names(name, name), units) == f"{name} and {name}"


# --- rounding -----------------------------------------------------------------------------------


def _exact(value: float, factor: str, offset: str, digits: int) -> str:
    """The value converted and rounded in decimal arithmetic, as the program writes numbers."""
    shown = Decimal(value) * Decimal(factor) + Decimal(offset)
    text = str(shown.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_EVEN))
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.removeprefix("-") if Decimal(text) == 0 else text.replace("-", "−")


def test_temperatures_and_depths_of_rain_are_converted_exactly_and_rounded_once() -> None:
    """Rounding to a tenth of a degree or millimetre first gave other figures for 4 % and 10 %."""
    rng = np.random.default_rng(1)
    twice = {"degC": 0, "mm": 0}
    for value in rng.uniform(-20, 45, 4000):
        text = written(Quantity(value, "degC"), "us")
        assert text == f"{_exact(value, '1.8', '32', 0)} °F"
        twice["degC"] += text != f"{_exact(round(value, 1), '1.8', '32', 0)} °F"
    for value in rng.uniform(0, 60, 4000):
        text = written(Quantity(value, "mm"), "us")
        inches = Decimal(value) / Decimal("25.4")
        assert text == f"{_exact(float(inches), '1', '0', 2)} in"
        twice["mm"] += text != f"{_exact(round(value, 1) / 25.4, '1', '0', 2)} in"
    assert twice["degC"] > 100, "the check would not have noticed the old way"
    assert twice["mm"] > 300


@given(st.floats(-1e4, 1e4))
def test_metric_values_keep_their_tenth(value: float) -> None:
    assert written(Quantity(value, "degC"), "metric") == f"{_exact(value, '1', '0', 1)} °C"


def test_a_difference_has_no_offset_and_shares_the_sign_of_temperatures() -> None:
    assert written(Quantity(5, "K"), "us") == "9 °F"
    assert written(Quantity(5, "degC"), "us") == "41 °F"
    assert written(Quantity(5, "K"), "metric") == "5 °C"


@pytest.mark.parametrize(
    ("quantity", "us", "metric"),
    [
        (Quantity(4.47, "m s-1"), "10 mph", "16 km/h"),
        (Quantity(12.7, "mm"), "0.5 in", "12.7 mm"),
        (Quantity(5, "cm"), "2 in", "5 cm"),
        (Quantity(55, "degC d"), "99 °F·d", "55 °C·d"),
        (Quantity(1.1209, "kg ha-1"), "1 lb/acre", "1.12 kg/ha"),
        (Quantity(0.40468564224, "ha"), "1 acre", "0.4 ha"),
        (Quantity(1, "d"), "1 day", "1 day"),
        (Quantity(12.4, "d"), "12 days", "12 days"),
        (Quantity(-0.2, "degC"), "32 °F", "−0.2 °C"),
        (Quantity(90, "degree"), "90°", "90°"),
        (Quantity(math.nan, "degC"), "–", "–"),
        (Quantity(78.4, "1", "score"), "78", "78"),
    ],
)
def test_each_quantity_in_both_systems(quantity: Quantity, us: str, metric: str) -> None:
    assert written(quantity, "us") == us
    assert written(quantity, "metric") == metric


def test_every_unit_has_a_row_and_no_other_unit_can_be_made() -> None:
    assert set(MEASURES) >= UNITS
    with pytest.raises(ValueError, match="furlong"):
        Quantity(1.0, "furlong")  # type: ignore[arg-type]


# --- forms --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "form", "text"),
    [
        (DAY, "", "Thu 6 Nov"),
        (DAY, "short", "6 Nov"),
        (DAY, "long", "Thursday 6 November 2025"),
        (NOON, "", "Thu 6 Nov 12:00"),
        (NOON, "clock", "12:00"),
        (NOON, "day", "Thu 6 Nov"),
        (Span(NOON, NOON + dt.timedelta(hours=3)), "", "Thu 6 Nov, 12:00 to 15:00"),
        (Span(NOON, NOON + dt.timedelta(hours=3)), "clock", "12:00–15:00"),
        (Span(DAY, DAY + dt.timedelta(days=30)), "", "6 Nov to 6 Dec"),
        (Share(0.734), "", "73 %"),
        (Share(0.734), "bare", "73"),
        (Share(math.nan), "", "–"),
        (Quantity(5, "degC"), "bare", "5"),
        (7, "", "7"),
        (-2.5, "", "−2.5"),
        (names("a", "b", "c"), "", "a, b and c"),
        (names("a", "b", join="or"), "", "a or b"),
        (names("a", "b", "c", join="clauses"), "", "a; b; c"),
        (names("a"), "", "a"),
        (joined(NOTHING, Name("b"), NOTHING), "", "b"),
        (Listing(()), "", ""),
        (NOTHING, "sentence", ""),
    ],
)
def test_each_value_in_each_form(value: Value, form: str, text: str) -> None:
    assert written(value, "metric", form) == text


def test_a_clause_becomes_a_sentence() -> None:
    clause = joined(say("turf.dormant"), say("turf.growing"))
    assert render(sentence(clause)) == "The turf is dormant and the turf is growing."


def test_a_name_keeps_its_small_letter_at_the_start_of_a_sentence() -> None:
    dry = say("turf.dormant")
    assert render(sentence(about(Name("hole 3 m"), dry))) == "hole 3 m: the turf is dormant."
    assert render(sentence(joined(Name("hole 3 m"), Name("b")))) == "hole 3 m and b."


def test_remarks_that_say_the_same_become_one_sentence() -> None:
    dry, wet = say("turf.dormant"), say("turf.growing")
    notes = [about(Name("a"), dry), wet, about(Name("b"), dry), about(Name("a"), dry)]
    said = [render(note) for note in merged(notes)]
    assert said == ["a and b: the turf is dormant.", "The turf is growing."]


def test_nothing_is_false_and_says_nothing() -> None:
    assert not NOTHING
    assert say("sentence.of", clause=NOTHING)
    assert render(NOTHING) == ""


def test_phrases_are_values_that_can_be_compared_and_kept_in_sets() -> None:
    one, two = (say("sentence.of", clause=Quantity(5, "degC")) for _ in range(2))
    assert len({one, two}) == 1
    assert one.value("clause") == Quantity(5, "degC")


# --- JSON ---------------------------------------------------------------------------------------


def test_the_meaning_in_json_has_si_units_and_names_as_given() -> None:
    phrase = say(
        "sentence.of",
        clause=say("sentence.of", clause=joined(Quantity(5.0, "degC"), Name("5 K trail"))),
    )
    assert meaning(phrase) == {
        "id": "sentence.of",
        "values": [
            {
                "name": "clause",
                "value": {
                    "id": "sentence.of",
                    "values": [
                        {
                            "name": "clause",
                            "value": [
                                {"value": 5.0, "unit": "degC"},
                                {"value": "5 K trail", "unit": ""},
                            ],
                            "unit": "",
                        }
                    ],
                },
                "unit": "",
            }
        ],
    }
    phrase = Phrase(
        "any",
        (
            ("share", Share(0.25)),
            ("day", DAY),
            ("span", Span(DAY, DAY)),
            ("count", 3),
            ("lost", Quantity(math.inf, "d")),
        ),
    )
    values = {v["name"]: (v["value"], v["unit"]) for v in meaning(phrase)["values"]}
    assert values == {
        "share": (0.25, "1"),
        "day": ("2025-11-06", ""),
        "span": (["2025-11-06", "2025-11-06"], ""),
        "count": (3, ""),
        "lost": (None, "d"),
    }
