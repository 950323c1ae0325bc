"""One application in hindsight, and what a whole review puts together: on made-up weather, by hand.

The eight days from 16 Jan 2023 on are fair: 16 °C, no rain, little wind, dormant turf, and 85 % of
the annual bluegrass is up.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from spoken import render
from test_past_conditions import ACTIVES, context
from test_past_windows import at, done
from windows_fixtures import site, state

from windowcast.core.phrase import NOTHING
from windowcast.core.record import Weather
from windowcast.core.site import Site
from windowcast.materials.rotation import Use
from windowcast.records import review
from windowcast.records.application_review import outcome_only_of, reviewed_with, unreviewed
from windowcast.records.ledger import Ledger
from windowcast.records.looks import Lookbook
from windowcast.records.model import Application, FieldNote, Material, Rating
from windowcast.records.observations import Logged
from windowcast.records.past_windows import PastSeason
from windowcast.records.resistance import resistance_by_area
from windowcast.records.reviewed import ReviewedApplication
from windowcast.records.stored import Stored
from windowcast.records.trials import TrialResult
from windowcast.trials.percent_control import MeasuredControl
from windowcast.trials.timing_and_control import Point
from windowcast.windows.hours import HourContext

HERE, TODAY = site(), dt.date(2023, 7, 1)
SPRAY = done(at(2, 10), at(2, 12), purpose="dormant")
SEEN = dt.date(2023, 5, 1)
AIR = ["temp_c", "soil_5cm_c", "dry_h", "low_c", "freeze_h", "week_temp_c", "share_POAAN",
       "young_POAAN", "weeds_bbch", "phase", "days_since_dormant", "days_to_greenup"]  # fmt: skip


def stored(application: Application) -> Stored[Application]:
    return Stored("e1", application, 1, 1, at(3, 0))


def ledger(application: Application, *seen: Any) -> Ledger:
    return Ledger([application], Lookbook(seen), [], label_kg_ha={}, today=TODAY)


def looked_into(
    application: Application, *seen: Any, of: HourContext | None = None, here: Site = HERE
) -> ReviewedApplication:
    season = PastSeason(of or context())
    return reviewed_with(stored(application), here, ACTIVES, season, ledger(application, *seen))


def keys(item: ReviewedApplication) -> list[str]:
    return [fact.key for fact in item.facts]


def test_an_application_with_all_that_is_known_of_it() -> None:
    found = looked_into(SPRAY)
    assert (found.id, found.application, found.purpose_noted) == ("e1", SPRAY, True)
    assert keys(found) == [
        *AIR, "effect_glyphosate", "control_glyphosate", "expected_control",
    ]  # fmt: skip
    assert found.scored is not None
    assert (found.scored.purpose, found.scored.score) == ("dormant", 100.0)
    assert (found.better_days, found.faults, found.notes) == (0, (), ())
    assert render(found.missed) == (
        "None of the season's 7 spray days was clearly better. The best was Mon 16 Jan, 09:00 to"
        " 17:00 with 100, this had 100."
    )
    assert found.verdict is not None
    assert render(found.verdict.sentence) == (
        "Cannot tell whether the dormant application of 18 Jan 2023 worked: nothing was looked at."
    )
    assert "cold" in [cause.name for cause in found.verdict.causes]
    assert found.share_up == 0.85
    there = looked_into(replace(SPRAY, where="tees")).verdict
    assert there is not None
    assert "18 Jan 2023 on tees" in render(there.sentence)


def test_days_that_were_ten_points_better_are_counted() -> None:
    wind = [9.0 if 58 <= hour < 60 else 2.5 for hour in range(192)]
    found = looked_into(SPRAY, of=context(wind_m_s=np.array(wind)))
    assert found.scored is not None
    assert found.scored.score == 0.0
    assert found.better_days == len(found.scored.windows) == 7
    assert [render(fault).partition(" (")[0] for fault in found.faults or ()]


def test_without_a_purpose_it_is_judged_by_the_likeliest() -> None:
    found = looked_into(replace(SPRAY, purpose=""))
    assert not found.purpose_noted
    assert found.scored is not None
    assert found.scored.purpose == "dormant"
    assert [render(note) for note in found.notes] == [
        "the log does not say what it was for; judged as dormant"
    ]
    assert found.share_up == 0.85


@pytest.mark.parametrize(
    ("start", "inside"),
    [(at(0, 0), True), (at(-1, 23.99), False), (at(7, 23), True), (at(8, 0), False)],
)
def test_a_day_beyond_the_record_has_no_weather(start: dt.datetime, inside: bool) -> None:
    found = looked_into(replace(SPRAY, start=start, end=None))
    assert (found.scored is not None) is inside
    if inside:
        return
    assert keys(found) == ["effect_glyphosate", "control_glyphosate"]
    assert [render(note) for note in found.notes] == [
        "the weather record does not include this date"
    ]
    assert (found.purpose_noted, found.better_days, found.missed) == (True, 0, NOTHING)
    assert found.faults is None
    assert math.isnan(found.share_up)
    assert found.verdict is not None
    assert found.verdict.causes == ()


def test_an_active_that_nobody_knows_is_not_scored() -> None:
    found = looked_into(replace(SPRAY, materials=(Material("water", 1.0),)))
    assert keys(found) == AIR
    assert (found.scored, found.faults) == (None, None)
    assert [render(note) for note in found.notes] == [
        "water is not a known active, so its needs cannot be judged"
    ]
    both = replace(SPRAY, materials=(Material("water", 1.0), Material("glyphosate", 0.8)))
    assert looked_into(both).scored is not None  # by the one that is known


def test_groups_that_served_the_same_purpose_before_speak_for_resistance() -> None:
    """Whatever purpose it was for: where the log says none, it counts for the likeliest."""
    for application in (SPRAY, replace(SPRAY, purpose="")):
        before = [Use(dt.date(year, 1, 10), f"{year - 1}/{year % 100}", "dormant", ("glyphosate",),
                      (9,), "") for year in (2021, 2022)]  # fmt: skip
        known = Ledger([application], Lookbook([]), before, label_kg_ha={}, today=TODAY)
        season = PastSeason(context())
        found = reviewed_with(stored(application), HERE, ACTIVES, season, known).verdict
        assert found is not None
        (cause,) = [cause for cause in found.causes if cause.name == "resistance"]
        (said,) = cause.speaks_for
        assert (said.id, dict(said.values)["seasons"]) == ("verdict.fact.group", 2)


@pytest.mark.parametrize(
    ("control", "said"),
    [(30.0, True), (79.9, True), (80.0, False), (None, False)],
)
def test_where_trials_let_expect_more_a_poor_outcome_has_another_reason(
    control: float | None, said: bool
) -> None:
    pre = replace(SPRAY, purpose="pre-fall", materials=(Material("prodiamine", 0.84),))
    seen = [] if control is None else [Rating(SEEN, control, "control %")]
    found = looked_into(pre, *seen)
    (expected,) = [fact for fact in found.facts if fact.key == "expected_control"]
    assert expected.value > 90
    assert [note.id for note in found.notes] == ["review.expected_more"] * said


def test_of_another_season_the_outcome_and_the_weeds_that_were_up_are_told() -> None:
    ratings = [Rating(SEEN, 30.0, "control %")]

    def found(application: Application) -> ReviewedApplication:
        return outcome_only_of(stored(application), ACTIVES, state(), ledger(application, *ratings))

    one = found(SPRAY)
    assert (one.id, one.application, one.purpose_noted, one.share_up) == ("e1", SPRAY, True, 0.85)
    assert one.verdict is not None
    assert (one.verdict.outcome, one.verdict.causes) == ("failed", ())
    assert render(one.verdict.sentence) == "The dormant application of 18 Jan 2023 failed."
    assert (one.facts, one.scored, one.missed, one.faults, one.notes) == (
        (), None, NOTHING, None, (),
    )  # fmt: skip
    bare = found(replace(SPRAY, purpose=""))
    assert not bare.purpose_noted
    assert math.isnan(bare.share_up)
    assert bare.verdict is not None
    assert render(bare.verdict.sentence) == "The application of 18 Jan 2023 failed."
    late = found(replace(SPRAY, start=at(30, 10), end=None))
    assert math.isnan(late.share_up)  # the state has 30 days


def test_what_cannot_be_reviewed_says_why() -> None:
    found = unreviewed(stored(SPRAY), ValueError("no such day"))
    assert (found.id, found.application, found.purpose_noted) == ("e1", SPRAY, True)
    assert "no such day" in render(found.notes[0])
    assert (found.verdict, found.better_days, found.faults) == (None, 0, None)
    silent = unreviewed(stored(replace(SPRAY, purpose="")), KeyError())
    assert not silent.purpose_noted
    assert "KeyError" in render(silent.notes[0])


# ---- trials beside their applications ------------------------------------------------------------


def control(percent: float) -> MeasuredControl:
    return MeasuredControl(percent, None, None, 3, "Abbott 1925", NOTHING)


def plots(**more: Any) -> Application:
    return replace(SPRAY, trial="T", treatment="a", where="North", **more)


def result(date: str = "2023-04-01", **at_places: float) -> TrialResult:
    places = {name: {"a": control(percent)} for name, percent in at_places.items()}
    controls = next(iter(places.values()))
    return TrialResult("T", "count per m2", "", date, controls, None, (), places)


def test_a_point_has_what_the_application_met() -> None:
    item = looked_into(plots())
    (point,) = review._points([item], [result(North=80.0)])
    assert point == Point(
        label="T, a, 2023-01-18", control_pct=80.0, score=100.0, weeds_bbch=29.0,
        week_temp_c=12.0, trial="T", treatment="(('glyphosate', 0.8),)", site="North",
        occasion="2023-01-18",
    )  # fmt: skip
    bare = ReviewedApplication(id="", application=plots(materials=(Material("x"),)),
                               purpose_noted=False)  # fmt: skip
    (point,) = review._points([bare], [result(North=80.0)])
    assert (point.treatment, point.control_pct) == ("a", 80.0)
    assert all(map(math.isnan, (point.score, point.weeds_bbch, point.week_temp_c)))


def test_a_point_needs_a_result_of_its_trial_treatment_and_place_after_it() -> None:
    def count(application: Application, *of: TrialResult) -> int:
        item = ReviewedApplication(id="", application=application, purpose_noted=False)
        return len(review._points([item], of))

    both = result(North=80.0, South=60.0)
    assert count(plots(), both) == 1
    assert count(replace(plots(), where="West"), both) == 0
    assert count(replace(plots(), where="West"), result(North=80.0)) == 1  # there is but one place
    assert count(replace(plots(), treatment="b"), both) == 0
    assert count(replace(plots(), trial="U"), both) == 0
    assert count(replace(plots(), trial=""), replace(both, trial="")) == 0
    assert count(plots(), replace(both, date="2023-01-17")) == 0
    assert count(plots(), replace(both, date="2023-01-18")) == 1
    assert count(plots(), replace(both, controls={})) == 0
    assert count(plots()) == 0
    item = ReviewedApplication(id="", application=plots(), purpose_noted=False)
    (last,) = review._points([item], [result("2023-03-01", North=50.0), result(North=80.0)])
    assert last.control_pct == 80.0  # the last one decides


def test_what_plots_got_is_known_with_all_its_rates() -> None:
    two = (Material("simazine", 1.0), Material("glyphosate", 0.8))
    assert review._given(plots(materials=two)) == (("glyphosate", 0.8), ("simazine", 1.0))
    assert review._given(plots(materials=two, adjuvant="NIS")) == (
        ("glyphosate", 0.8), ("simazine", 1.0), ("NIS", 0.0),
    )  # fmt: skip
    assert review._given(plots(materials=(*two, Material("diquat")))) == ()


def test_treatments_that_got_the_same_on_other_days_differ_in_their_timing() -> None:
    late = replace(plots(start=at(20, 10), end=None), treatment="b")
    other = replace(plots(materials=(Material("glyphosate", 0.4),)), treatment="c")
    elsewhere = replace(late, trial="U", treatment="d")
    log = [stored(one) for one in (plots(), late, other, elsewhere, replace(late, treatment=""))]
    assert review._with_timings(result(North=80.0), log).timings == (("a", "b"),)
    before = result("2023-02-04", North=80.0)  # the day before b was put out
    assert review._with_timings(before, log).timings == ()
    assert review._with_timings(replace(before, date="2023-02-05"), log).timings == (("a", "b"),)
    unrated = {"materials": (Material("x"),)}
    unknown = [stored(replace(one, **unrated)) for one in (plots(), late)]
    assert review._with_timings(result(North=80.0), unknown).timings == ()


# ---- what a review says of itself ----------------------------------------------------------------


def test_notes_on_what_is_lacking() -> None:
    daily, hourly = object(), object()
    whole = Weather(daily, hourly, TODAY)  # type: ignore[arg-type]
    unsaid = site()
    unsaid = unsaid.model_copy(update={"turf": unsaid.turf.model_copy(update={"overseeded": None})})

    def said(here: Site, weather: Weather, *log: Stored[Application]) -> list[str]:
        return [note.id for note in review._notes(here, weather, log)]

    assert said(HERE, whole, stored(SPRAY)) == []
    assert said(HERE, whole) == ["review.no_applications"]
    assert said(HERE, replace(whole, hourly=None), stored(SPRAY)) == ["review.no_hours"]
    assert said(unsaid, whole, stored(SPRAY)) == ["review.overseeding_not_said"]


def test_an_application_in_the_table_of_what_worked() -> None:
    found = review._tried(looked_into(replace(SPRAY, purpose=""), Rating(SEEN, 90.0, "control %")))
    assert (found.purpose, found.outcome, found.up) == ("dormant", "worked", 0.85)
    broken = review._tried(unreviewed(stored(SPRAY), ValueError("x")))
    assert (broken.application, broken.purpose, broken.outcome) == (SPRAY, "dormant", "cannot tell")
    assert math.isnan(broken.up)


# ---- resistance on each piece of ground ----------------------------------------------------------


def test_a_low_rate_by_the_own_label_explains_survivors_on_their_ground() -> None:
    here = site(area=[{"name": "greens"}, {"name": "tees"}], stock=["glyphosate"])
    sprays = tuple(
        replace(SPRAY, start=dt.datetime(year, 1, 12, 10, tzinfo=dt.UTC), end=None, where="greens")
        for year in (2022, 2023)
    )
    notes = tuple(
        FieldNote(dt.date(year, 2, 20), "seen", where="greens", weed="POAAN", survivors_mixed=True)
        for year in (2022, 2023)
    )
    logged = Logged((), (), (), sprays, notes)

    def found(label: float | None) -> dict[tuple[str, ...], list[str]]:
        by_area = resistance_by_area(
            here, logged, ACTIVES, today=TODAY,
            label_kg_ha=None if label is None else {"glyphosate": label},
        )  # fmt: skip
        return {one.areas: [status.standing for status in one.statuses] for one in by_area}

    # what surveys say of the weed is told of either ground
    assert found(0.8) == {("greens",): ["suspected"], ("tees",): []}
    assert found(1.6) == {("greens",): [], ("tees",): []}  # half of the label's rate went out
    assert found(None) == found(0.8)
