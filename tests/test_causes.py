"""Every cause a verdict can name: the figures on either side of each mark, and all that it says.

The marks are those of ``data/verdict.toml``; each line was worked out by hand from them and from
what the module's docstring and `Evidence` say of a figure that is missing.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import pytest
from evidence_made_up import POST, PRE
from spoken import render

from windowcast.core.phrase import Phrase
from windowcast.records.causes import Cause, causes_of
from windowcast.records.evidence import Evidence
from windowcast.records.looks import SeenAfter

NAN = math.nan
FIRST, NOV, LAST = dt.date(2016, 10, 26), dt.date(2016, 11, 20), dt.date(2017, 5, 12)
WARMTH = (
    "ask: the warmth it needs, or had, is unknown in full: add the label's limits or the weather"
)


def seen(**more: Any) -> SeenAfter:
    return SeenAfter(FIRST, LAST, **{"even": True, **more})


def lines(cause: Cause) -> list[str]:
    """All that a cause says, but for its remedy."""
    said = [f"{cause.strength}: {render(cause.label)}"]
    if cause.because:
        said.append(f"because {render(cause.because)}")
    for word, phrases in (
        ("for", cause.speaks_for), ("against", cause.speaks_against), ("ask", cause.unknown)
    ):  # fmt: skip
        said += [f"{word}: {render(phrase)}" for phrase in phrases]
    return said


def causes(name: str, evidence: Evidence, **of: Any) -> list[Cause]:
    return [cause for cause in causes_of(evidence, seen(**of)) if cause.name == name]


def case(name: str, base: Evidence, *said: str, **change: Any) -> Any:
    """A cause, what it says, and the figures that make it say so."""
    told = ", ".join(f"{key}={value}" for key, value in change.items())
    return pytest.param(name, replace(base, **change), said, id=f"{name} {told}")


CASES = [
    # timing
    case("timing", PRE, "unlikely: too late",
         "against: 5 % of the season's weeds had emerged that day",
         up=0.049),
    case("timing", PRE, "possible: too late",
         "because 5 % of the season's weeds had emerged already",
         "for: 5 % of the season's weeds had emerged that day",
         up=0.05),
    case("timing", PRE, "likely: too late",
         "because 20 % of the season's weeds had emerged already",
         "for: 20 % of the season's weeds had emerged that day",
         up=0.2),
    case("timing", PRE, "cannot tell: too late",
         "ask: how many weeds had emerged is unknown: weather is missing",
         up=NAN),
    case("timing", POST, "unlikely: weeds emerged after it",
         "against: 5 % of the season's weeds emerged after it; 95 % had emerged that day",
         came_after=0.049),
    case("timing", POST, "possible: weeds emerged after it",
         "because 5 % of the season's weeds emerged after it",
         "for: 5 % of the season's weeds emerged after it; 95 % had emerged that day",
         came_after=0.05),
    case("timing", POST, "likely: weeds emerged after it",
         "because 20 % of the season's weeds emerged after it",
         "for: 20 % of the season's weeds emerged after it; 95 % had emerged that day",
         came_after=0.2),
    case("timing", POST, "cannot tell: weeds emerged after it",
         "ask: how many weeds had emerged is unknown: weather is missing",
         came_after=NAN),
    # water
    case("water", POST),  # does not apply
    case("water", PRE, "unlikely: no watering-in",
         "against: 12.7 mm of water had come within 7 days",
         wait_days=7.0),
    case("water", PRE, "likely: no watering-in",
         "because too little water came for 8 days",
         "for: 3.2 mm of water in 8 days; it needs 12.7 mm within 7 days",
         "for: 20 % of the season's weeds emerged before it was watered in",
         wait_days=8.0, waited_mm=3.2, up_waiting=0.2),
    case("water", PRE, "likely: no watering-in",
         "because almost no water came for 8 days",
         "for: 3.1 mm of water in 8 days; it needs 12.7 mm within 7 days",
         "for: 20 % of the season's weeds emerged before it was watered in",
         wait_days=8.0, waited_mm=3.1, up_waiting=0.2),
    case("water", PRE, "possible: no watering-in",
         "because almost no water came for 8 days",
         "for: 3.1 mm of water in 8 days; it needs 12.7 mm within 7 days",
         "for: 5 % of the season's weeds emerged before it was watered in",
         wait_days=8.0, waited_mm=3.1, up_waiting=0.05),
    case("water", PRE, "unlikely: no watering-in",
         "against: 4 % of the season's weeds emerged before it was watered in",
         "against: 5 mm of water in 8 days; it needs 12.7 mm within 7 days",
         wait_days=8.0, up_waiting=0.04),
    case("water", PRE, "unlikely: no watering-in",
         "against: 4 % of the season's weeds emerged before it was watered in",
         "against: 5 mm of water in 8 days; it needs 12.7 mm within 7 days",
         wait_days=8.0, up_waiting=0.04, watering_said=False),
    case("water", PRE, "possible: no watering-in",
         "because too little water came for 8 days",
         "for: 5 mm of water in 8 days; it needs 12.7 mm within 7 days",
         wait_days=8.0, up_waiting=NAN),
    case("water", PRE, "likely: no watering-in",
         "because the 12.7 mm of water it needed never came",
         "for: 9 mm of water in all; it needs 12.7 mm within 7 days",
         "for: 20 % of the season's weeds emerged before it was watered in",
         wait_days=math.inf, waited_mm=9.0, up_waiting=0.2),
    case("water", PRE, "possible: no watering-in",
         "because too little water came for 8 days",
         "for: 5 mm of water in 8 days; it needs 12.7 mm within 7 days",
         "for: 20 % of the season's weeds emerged before it was watered in",
         "ask: no irrigation was logged: log it, also when there was none",
         wait_days=8.0, up_waiting=0.2, watering_said=False),
    case("water", PRE, "possible: no watering-in",
         "because too little water came for 8 days",
         "for: 5 mm of water in 8 days; it needs 12.7 mm within 7 days",
         "for: 5 % of the season's weeds emerged before it was watered in",
         "ask: no irrigation was logged: log it, also when there was none",
         wait_days=8.0, up_waiting=0.05, watering_said=False),
    case("water", PRE, "cannot tell: no watering-in",
         "ask: rain is unknown: add a rain column or your gauge",
         wait_days=NAN),
    case("water", PRE, "cannot tell: no watering-in",
         "ask: how much water it needs, and how soon, is unknown: add it from your label",
         need_mm=NAN),
    case("water", PRE, "cannot tell: no watering-in",
         "ask: how much water it needs, and how soon, is unknown: add it from your label",
         need_days=NAN),
    # washed
    case("washed", POST, "unlikely: washed off",
         "against: 4 h without rain followed; it needs 4 h",
         dry_h=4.0),
    case("washed", POST, "likely: washed off",
         "because rain fell 3 h after it",
         "for: 3 h without rain followed; it needs 4 h",
         dry_h=3.0),
    case("washed", POST, "cannot tell: washed off",
         "ask: rain is unknown: add a rain column or your gauge",
         dry_h=NAN),
    case("washed", POST, "possible: washed off",
         "because it rained that day",
         "for: it rained that day, the hour is unknown; it needs 4 h without rain",
         dry_h=NAN, rain_that_day=True),
    case("washed", POST, "cannot tell: washed off",
         "ask: the rain-free hours are unknown: add them from your label",
         rain_free_h=NAN),
    case("washed", POST, rain_free_h=None),  # does not apply
    case("washed", PRE, "unlikely: washed off", "against: 2 mm of rain in the first day"),
    case("washed", PRE, "possible: washed off",
         "because 25 mm of rain fell in the first day",
         "for: 25 mm of rain in the first day",
         washing_mm=25.0),
    case("washed", PRE, "unlikely: washed off",
         "against: 24.9 mm of rain in the first day",
         washing_mm=24.9),
    case("washed", PRE, "cannot tell: washed off",
         "ask: rain is unknown: add a rain column or your gauge",
         washing_mm=NAN),
    case("washed", PRE, "cannot tell: washed off",
         "ask: rain is unknown: add a rain column or your gauge",
         washing_limit_mm=NAN),
    # cold
    case("cold", POST, "unlikely: too cold",
         "against: 18 °C at the time and 16 °C in the week after, good from 15 °C"),
    case("cold", POST, "likely: too cold",
         "because it was too cold (9.9 °C)",
         "for: 9.9 °C at the time, poor below 10 °C",
         air_c=9.9),
    case("cold", POST, "possible: too cold",
         "because it was cool (10 °C)",
         "for: 10 °C at the time, best from 15 °C",
         air_c=10.0),
    case("cold", POST, "possible: too cold",
         "because it was cool (14.9 °C)",
         "for: 14.9 °C at the time, best from 15 °C",
         air_c=14.9),
    case("cold", POST, "unlikely: too cold",
         "against: 15 °C at the time and 16 °C in the week after, good from 15 °C",
         air_c=15.0),
    case("cold", POST, "possible: too cold",
         "because the week after was cold (9.9 °C)",
         "for: the week after had 9.9 °C on average, poor below 10 °C",
         week_c=9.9),
    case("cold", POST, "unlikely: too cold",
         "against: 18 °C at the time and 10 °C in the week after, good from 15 °C",
         week_c=10.0),
    case("cold", POST, "possible: too cold",
         "because a night after was cold (3.9 °C)",
         "for: down to 3.9 °C in the nights after, poor below 4 °C",
         night_c=3.9),
    case("cold", POST, "unlikely: too cold",
         "against: 18 °C at the time and 16 °C in the week after, good from 15 °C",
         night_c=4.0),
    case("cold", POST, "likely: too cold",
         "because it was too cold (9 °C)",
         "for: 9 °C at the time, poor below 10 °C",
         "for: the week after had 8 °C on average, poor below 10 °C",
         "for: down to 1 °C in the nights after, poor below 4 °C",
         air_c=9.0, week_c=8.0, night_c=1.0),
    case("cold", POST, "possible: too cold",
         "because it was cool (12 °C)",
         "for: 12 °C at the time, best from 15 °C",
         "for: the week after had 8 °C on average, poor below 10 °C",
         air_c=12.0, week_c=8.0),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         air_c=NAN),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         week_c=NAN),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         night_c=NAN),
    case("cold", POST, "unlikely: too cold",
         "against: 18 °C at the time and 16 °C in the week after, good from 15 °C",
         night_c=NAN, night_low_c=None),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         night_low_c=NAN),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         low_c=NAN),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         good_c=NAN),
    case("cold", POST, "cannot tell: too cold",
         WARMTH,
         low_c=None),
    case("cold", POST, "likely: too cold",
         "because it was too cold (9 °C)",
         "for: 9 °C at the time, poor below 10 °C",
         good_c=None, air_c=9.0),
    case("cold", POST, low_c=None, good_c=None, night_low_c=None),  # does not apply
    case("cold", POST, "possible: too cold",
         "because a night after was cold (2 °C)",
         "for: down to 2 °C in the nights after, poor below 4 °C",
         low_c=None, good_c=None, night_c=2.0),
    # size
    case("size", POST, "unlikely: weeds too large",
         "against: the weeds had 3 leaves (counted); control ends about 2 tillers"),
    case("size", POST, "unlikely: weeds too large",
         "against: the weeds had 2 tillers (counted); control ends about 2 tillers",
         stage=22.0),
    case("size", POST, "likely: weeds too large",
         "because the weeds were too large (2 tillers)",
         "for: the weeds had 2 tillers (counted); control ends about 2 tillers",
         stage=22.1),
    case("size", POST, "possible: weeds too large",
         "because the weeds were too large (3 tillers)",
         "for: the weeds had 3 tillers (counted); control ends about 5 tillers",
         stage=23.0, lost=25.0),
    case("size", POST, "likely: weeds too large",
         "because the weeds were too large (5 tillers)",
         "for: the weeds had 5 tillers (counted); control ends about 5 tillers",
         stage=25.0, lost=25.0),
    case("size", POST, "possible: weeds too large",
         "because the weeds were too large (5 tillers)",
         "for: the weeds had 5 tillers (by the model); control ends about 5 tillers",
         stage=24.9, lost=25.0, stage_counted=False),
    case("size", POST, "possible: weeds too large",
         "because the weeds were too large (5 tillers)",
         "for: the weeds had 5 tillers (by the model); control ends about 5 tillers",
         stage=25.0, lost=25.0, stage_counted=False),
    case("size", POST, "cannot tell: weeds too large",
         "ask: the size of the weeds is unknown: log a count with its stage",
         stage=NAN),
    case("size", POST, "cannot tell: weeds too large",
         "ask: the largest weed it controls is unknown: add it from your label",
         largest=NAN),
    case("size", POST, "cannot tell: weeds too large",
         "ask: the largest weed it controls is unknown: add it from your label",
         largest=NAN, lost=25.0),
    case("size", POST, "likely: weeds too large",
         "because the weeds were too large (6 tillers)",
         "for: the weeds had 6 tillers (counted); control ends about 5 tillers",
         largest=NAN, lost=25.0, stage=26.0),
    case("size", POST, "cannot tell: weeds too large",
         "ask: the largest weed it controls is unknown: add it from your label",
         largest=None, lost=25.0),
    case("size", POST, largest=None),  # does not apply
    case("size", POST, "unlikely: weeds too large",
         "against: the weeds had 1 leaf (counted); control ends about 2 leaves",
         stage=11.0, largest=12.0),
    case("size", POST, "likely: weeds too large",
         "because the weeds were too large (9 tillers)",
         "for: the weeds had 9 tillers (counted); control ends about 2 tillers",
         stage=40.0),
    case("size", PRE, largest=22.0),  # does not apply
    # worn_out
    case("worn_out", PRE, "unlikely: worn out", "against: it had not run out"),
    case("worn_out", PRE, "cannot tell: worn out",
         "ask: how long it lasts, or the soil then, is unknown",
         up_later=0.05),
    case("worn_out", PRE, "cannot tell: worn out",
         "ask: how long it lasts, or the soil then, is unknown",
         up_later=NAN),
    case("worn_out", PRE, "unlikely: worn out",
         "against: too little was left from about 20 Nov 2016; 4 % of the weeds emerged after that",
         ran_out=NOV, up_later=0.04),
    case("worn_out", PRE, "possible: worn out",
         "because it ran out about 20 Nov, before 5 % of the weeds emerged",
         "for: too little was left from about 20 Nov 2016; 5 % of the weeds emerged after that",
         ran_out=NOV, up_later=0.05),
    case("worn_out", PRE, "likely: worn out",
         "because it ran out about 20 Nov, before 20 % of the weeds emerged",
         "for: too little was left from about 20 Nov 2016; 20 % of the weeds emerged after that",
         ran_out=NOV, up_later=0.2),
    case("worn_out", PRE, "cannot tell: worn out",
         "ask: how long it lasts, or the soil then, is unknown",
         ran_out=NOV, up_later=NAN),
    case("worn_out", POST),  # does not apply
    # rate
    case("rate", POST, "unlikely: too little applied",
         "against: 100 % of your label's rate",
         rate_share=1.0),
    case("rate", POST, "unlikely: too little applied",
         "against: 90 % of your label's rate",
         rate_share=0.9),
    case("rate", POST, "possible: too little applied",
         "because only 89 % of your label's rate went out",
         "for: 89 % of your label's rate",
         rate_share=0.89),
    case("rate", POST, "possible: too little applied",
         "because only 50 % of your label's rate went out",
         "for: 50 % of your label's rate",
         rate_share=0.5),
    case("rate", POST, "likely: too little applied",
         "because only 49 % of your label's rate went out",
         "for: 49 % of your label's rate",
         rate_share=0.49),
    case("rate", POST, "cannot tell: too little applied",
         "ask: log the rate and add your product with its label rate to the materials file",
         rate_share=NAN),
]  # fmt: skip


@pytest.mark.parametrize(("name", "evidence", "said"), CASES)
def test_a_cause_on_either_side_of_each_mark(
    name: str, evidence: Evidence, said: tuple[str, ...]
) -> None:
    found = causes(name, evidence)
    assert [line for cause in found for line in lines(cause)] == list(said)
    for cause in found:
        assert bool(cause.remedy) == (cause.strength in ("likely", "possible"))


@pytest.mark.parametrize(
    ("name", "evidence", "remedy"),
    [
        ("timing", replace(PRE, up=0.3), ("Apply before emergence begins next season; kill what has"
         " emerged with an early post-emergent.")),
        ("timing", replace(POST, came_after=0.3),
         "Treat what emerged later once more, while it is young."),
        ("water", replace(PRE, wait_days=8.0),
         "Apply just before rain next time, or run 12.7 mm the same night."),
        ("washed", replace(POST, dry_h=1.0),
         "Wait for 4 h without rain next time; treat again while the weeds are small."),
        ("washed", replace(PRE, washing_mm=30.0), "Keep off the day before heavy rain."),
        ("cold", replace(POST, air_c=9.0), "Wait for 15 °C or more next time."),
        ("cold", replace(POST, air_c=9.0, good_c=None), "Wait for 10 °C or more next time."),
        ("cold", replace(POST, night_c=1.0, low_c=None, good_c=None),
         "Wait for nights of 4 °C or more next time."),
        ("size", replace(POST, stage=30.0),
         "Treat before 2 tillers next time, or use an active that controls larger weeds."),
        ("size", replace(POST, stage=30.0, lost=25.0),
         "Treat before 5 tillers next time, or use an active that controls larger weeds."),
        ("worn_out", replace(PRE, ran_out=NOV, up_later=0.3),
         "Split it next season, or apply a second time before it runs out."),
        ("rate", replace(PRE, rate_share=0.4),
         "Check the rate against your label and calibrate the sprayer."),
    ],
)  # fmt: skip
def test_a_remedy_goes_by_what_went_wrong(name: str, evidence: Evidence, remedy: str) -> None:
    if name == "water":
        evidence = replace(evidence, up_waiting=0.3)
    (cause,) = causes(name, evidence)
    assert render(cause.remedy) == remedy


def test_several_spots_say_whether_all_of_the_ground_was_covered() -> None:
    label = "part of the ground missed"
    for even, said, remedy in (
        (None, [f"cannot tell: {label}", ("ask: whether all of the ground was covered is unknown:"
                " rate two spots or more")], ""),
        (True, [f"unlikely: {label}", "against: several spots looked alike"], ""),
        (False, [f"possible: {label}", "because part of the ground was missed",
                 "for: some spots are clean and others are not"],
         "Check nozzles and overlap; treat the missed part."),
    ):  # fmt: skip
        (cause,) = causes("coverage", POST, even=even)
        assert (lines(cause), render(cause.remedy)) == (said, remedy)


# ---- resistance: survivors in time, and nothing else that explains them --------------------------

BESIDE = "for: live plants beside dead ones of the same size"
MAYBE = ["possible: resistance", "because the weeds may resist it"]
ASK = "ask: nobody noted whether live plants stand beside dead ones: look from 14 days on"


@pytest.mark.parametrize(
    ("change", "mixed", "on", "said"),
    [
        ({}, True, NOV, [*MAYBE, BESIDE]),
        ({}, True, FIRST, [*MAYBE, BESIDE]),
        ({}, True, LAST, [*MAYBE, BESIDE]),
        ({}, True, FIRST - dt.timedelta(1), ["cannot tell: resistance", ASK]),
        ({}, True, LAST + dt.timedelta(1), ["cannot tell: resistance", ASK]),
        ({}, None, None, ["cannot tell: resistance", ASK]),
        ({}, False, NOV, ["unlikely: resistance", "against: no live plants beside dead ones"]),
        ({"group_seasons": 1}, True, NOV,
         [*MAYBE, "for: group 9 used for this the season before too", BESIDE]),
        ({"group_seasons": 3, "groups": (9, 14)}, True, NOV,
         [*MAYBE, "for: groups 9 and 14 used for this in the 3 seasons before too", BESIDE]),
        ({"group_seasons": 3, "groups": ()}, True, NOV, [*MAYBE, BESIDE]),
        ({"dry_h": 1.0, "air_c": 2.0}, True, NOV,
         ["unlikely: resistance", BESIDE, "against: explained by: washed off and too cold"]),
        ({"rate_share": 0.8, "stage": NAN}, True, NOV,
         ["cannot tell: resistance", BESIDE,
          "ask: not ruled out: weeds too large and too little applied"]),
        ({"rate_share": 0.8}, None, None,
         ["cannot tell: resistance", ASK, "ask: not ruled out: too little applied"]),
    ],
)  # fmt: skip
def test_resistance_is_possible_only_where_nothing_else_explains_survivors_in_time(
    change: dict[str, Any], mixed: bool | None, on: dt.date | None, said: list[str]
) -> None:
    (cause,) = causes("resistance", replace(POST, **change), survivors_mixed=mixed, survivors_on=on)
    assert lines(cause) == said
    have = "Have survivors tested, and control them with another group before they set seed."
    assert render(cause.remedy) == (have if cause.strength == "possible" else "")


def test_causes_stand_in_order_of_how_likely_they_are() -> None:
    found = causes_of(replace(POST, air_c=9.0, rate_share=0.8, dry_h=NAN), seen())
    assert [(c.name, c.strength) for c in found] == [
        ("cold", "likely"), ("rate", "possible"), ("washed", "cannot tell"),
        ("timing", "unlikely"), ("size", "unlikely"), ("coverage", "unlikely"),
        ("resistance", "unlikely"),
    ]  # fmt: skip
    for cause in found:
        assert all(isinstance(part, Phrase) for part in (cause.label, cause.because, cause.remedy))
