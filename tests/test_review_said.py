"""What a review says of one application: verdict, next steps, and what the season offered.

Each sentence was worked out by hand from what was seen and from the causes.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import pytest
from evidence_made_up import POST
from spoken import render

from windowcast.core.phrase import NOTHING, Phrase, say
from windowcast.materials.actives import load_actives
from windowcast.records.conditions import Fact
from windowcast.records.evidence import Evidence
from windowcast.records.looks import Look, SeenAfter
from windowcast.records.model import Application, FieldNote, Material
from windowcast.records.observations import uses_in
from windowcast.records.past_windows import Scored, SeasonWindow
from windowcast.records.reviewed import ReviewedApplication, faults_of, missed_by
from windowcast.records.survivors import suspected_in
from windowcast.records.verdict import verdict_of
from windowcast.windows.model import Judged
from windowcast.windows.reasons import because

DAY, FIRST, LAST = dt.date(2025, 2, 1), dt.date(2025, 2, 15), dt.date(2025, 6, 1)
ON = dt.date(2025, 3, 10)
IT = say("verdict.it", what=say("verdict.what.dormant"), day=DAY)
NAME = "dormant application of 1 Feb 2025"
NO_CHECK = (
    "Leave an untreated strip next time and rate both: only that shows what the application did."
)
NOT_SHOWN = "Resistance is not shown: there is no untreated check."


def seen(level: Any, *, checked: bool = False, **more: Any) -> SeenAfter:
    looks = () if level is None else (Look(ON, say("turf.dormant"), level, checked),)
    return SeenAfter(FIRST, LAST, looks, even=True, **more)


def verdict(evidence: Evidence | None, of: SeenAfter, today: dt.date = LAST, **more: Any) -> Any:
    return verdict_of(of, evidence, it=IT, today=today, **more)


@pytest.mark.parametrize(
    ("today", "outcome", "sentence", "steps"),
    [
        (FIRST - dt.timedelta(1), "not known yet",
         f"Too early to tell whether the {NAME} worked: look from 15 Feb.",
         ["Look from 15 Feb 2025 to 1 Jun 2025 and log a rating or a count with its place.",
          NO_CHECK]),
        (FIRST, "not known yet",
         (f"Cannot tell yet whether the {NAME} worked: nobody has logged a look. Look now, until"
         " 1 Jun 2025."),
         ["Look from 15 Feb 2025 to 1 Jun 2025 and log a rating or a count with its place.",
          NO_CHECK]),
        (LAST, "not known yet",
         (f"Cannot tell yet whether the {NAME} worked: nobody has logged a look. Look now, until"
         " 1 Jun 2025."),
         ["Look from 1 Jun 2025 to 1 Jun 2025 and log a rating or a count with its place.",
          NO_CHECK]),
        (LAST + dt.timedelta(1), "cannot tell",
         f"Cannot tell whether the {NAME} worked: nothing was looked at.",
         ["Log a rating or a count with its place, a few weeks after each application.",
          NO_CHECK]),
    ],
)  # fmt: skip
def test_without_a_look_it_goes_by_the_day(
    today: dt.date, outcome: str, sentence: str, steps: list[str]
) -> None:
    found = verdict(POST, seen(None), today)
    assert (found.outcome, render(found.sentence)) == (outcome, sentence)
    assert [render(step) for step in found.next_steps] == steps
    assert (found.look_from, found.look_until, found.seen, found.harm) == (FIRST, LAST, (), ())


def test_it_worked_and_a_check_makes_it_sure() -> None:
    for checked, steps in ((False, [NO_CHECK]), (True, [])):
        found = verdict(POST, seen("worked", checked=checked))
        assert found.outcome == "worked"
        assert render(found.sentence) == f"The {NAME} worked: the turf is dormant."
        assert [render(step) for step in found.next_steps] == steps
        assert found.seen == (say("turf.dormant"),)


COLD = "it was too cold (6 °C)"


@pytest.mark.parametrize(
    ("evidence", "level", "sentence"),
    [
        (replace(POST, air_c=6.0), "failed",
         f"The {NAME} failed, most likely because {COLD} (likely). {NOT_SHOWN}"),
        (replace(POST, air_c=6.0, rate_share=0.4), "partly",
         (f"The {NAME} worked only in part, most likely because {COLD} and only 40 % of your"
         f" label's rate went out (likely). {NOT_SHOWN}")),
        (replace(POST, air_c=12.0), "failed",
         f"The {NAME} failed, possibly because it was cool (12 °C). {NOT_SHOWN}"),
        (replace(POST, air_c=12.0, rate_share=0.8), "failed",
         (f"The {NAME} failed, possibly because it was cool (12 °C) or only 80 % of your label's"
         f" rate went out. {NOT_SHOWN}")),
        (replace(POST, dry_h=math.nan), "failed",
         f"The {NAME} failed. Why is unknown: too little was recorded. {NOT_SHOWN}"),
        (None, "failed", f"The {NAME} failed. Why is unknown: too little was recorded."),
        (POST, "failed",
         f"The {NAME} failed, and neither weather, timing nor rate explains it. {NOT_SHOWN}"),
    ],
)  # fmt: skip
def test_why_it_failed_in_a_sentence(evidence: Evidence | None, level: str, sentence: str) -> None:
    found = verdict(evidence, seen(level))
    assert (found.outcome, render(found.sentence)) == (level, sentence)


@pytest.mark.parametrize(
    ("mixed", "checked", "evidence", "said"),
    [
        (True, False, POST, ("Resistance is possible but not shown, and there is no untreated"
                             " check: have survivors tested.")),
        (True, True, POST, "Resistance is possible but not shown: have survivors tested."),
        (True, True, replace(POST, dry_h=math.nan),
         "Resistance cannot be ruled out: plants live beside dead ones."),
        (True, False, replace(POST, dry_h=math.nan),
         ("Resistance cannot be ruled out: plants live beside dead ones, and there is no untreated"
         " check.")),
        (None, True, POST, "Resistance is not shown."),
        (False, True, POST, "Resistance is not shown."),
        (False, False, POST, NOT_SHOWN),
    ],
)  # fmt: skip
def test_what_survivors_say_of_resistance(
    mixed: bool | None, checked: bool, evidence: Evidence, said: str
) -> None:
    on = None if mixed is None else ON
    found = verdict(
        evidence, seen("failed", checked=checked, survivors_mixed=mixed, survivors_on=on)
    )
    assert render(found.sentence).endswith(f". {said}")


def test_of_another_season_only_the_outcome_is_told() -> None:
    for level, sentence in (
        ("failed", f"The {NAME} failed."), ("partly", f"The {NAME} worked only in part."),
        ("worked", f"The {NAME} worked: the turf is dormant."),
    ):  # fmt: skip
        found = verdict(None, seen(level), outcome_only=True)
        assert (render(found.sentence), found.causes) == (sentence, ())


@pytest.mark.parametrize(
    ("evidence", "steps"),
    [
        (replace(POST, air_c=6.0, rate_share=0.8),
         ["Wait for 15 °C or more next time.",
          "Check the rate against your label and calibrate the sprayer.", NO_CHECK]),
        (replace(POST, dry_h=math.nan, rate_share=math.nan, stage=math.nan),
         [("To find out why: rain is unknown: add a rain column or your gauge; the size of the"
          " weeds is unknown: log a count with its stage."), NO_CHECK]),
        (POST, [("To find out why: nobody noted whether live plants stand beside dead ones: look"
                 " from 14 days on."), NO_CHECK]),
        (None, [NO_CHECK]),
    ],
)  # fmt: skip
def test_what_to_do_after_a_failure(evidence: Evidence | None, steps: list[str]) -> None:
    assert [render(step) for step in verdict(evidence, seen("failed")).next_steps] == steps
    checked = verdict(evidence, seen("failed", checked=True)).next_steps
    assert [render(step) for step in checked] == steps[:-1]


# ---- what the season offered ---------------------------------------------------------------------


def at(day: int, hour: int = 9, month: int = 2) -> dt.datetime:
    return dt.datetime(2025, month, day, hour, tzinfo=dt.UTC)


def window(day: int, score: float, month: int = 2) -> SeasonWindow:
    return SeasonWindow(at(day, month=month), at(day, 12, month), score)


def scored(*windows: SeasonWindow, own: float = 60.0, left_out: tuple[Phrase, ...] = ()) -> Scored:
    return Scored(
        "dormant", (at(1), at(1, 11)), own, "marginal", (), None, own, left_out, windows, NOTHING
    )


DONE = Application(at(1), (Material("glyphosate", 0.8),), purpose="dormant")


@pytest.mark.parametrize(
    ("windows", "said"),
    [
        ([], "No day of the season had hours fit to spray."),
        ([window(3, 69.9)], ("None of the season's 1 spray days was clearly better. The best was"
         " {best} with 70, this had 60.")),
        ([window(3, 70.0)], ("1 of the season's 1 spray days was better. The best was {best} with"
         " 70, this had 60; closest was 2 days later, {best} (70).")),
        ([window(1, 90.0), window(2, 80.0)], ("2 of the season's 2 spray days were better. The best"
         " was {best} with 90, this had 60; closest was the same day, {best} (90).")),
        ([window(31, 90.0, 1), window(3, 80.0)], ("2 of the season's 2 spray days were better. The"
         " best was {best} with 90, this had 60; closest was 1 day earlier, {best} (90).")),
        ([window(3, 90.0), window(30, 85.0, 1), window(2, 65.0)], ("2 of the season's 3 spray days"
         " were better. The best was {best} with 90, this had 60; closest was 2 days later, {best}"
         " (90).")),
        ([window(22, 90.0)], ("1 of the season's 1 spray days was better. The best was {best} with"
         " 90, this had 60; closest was 21 days later, {best} (90).")),
        ([window(23, 90.0)], ("1 of the season's 1 spray days was better. The best was {best} with"
         " 90, this had 60.")),
    ],
)  # fmt: skip
def test_what_was_missed_in_words(windows: list[SeasonWindow], said: str) -> None:
    best = ""
    if windows:
        day = windows[0].start
        best = f"{day:%a} {day.day} {day:%b}, 09:00 to 12:00"
    words = render(missed_by(scored(*windows), DONE))
    assert words == said.format(best=best)
    left = (say("criterion.wind.label"), say("criterion.gusts.label"))
    without = render(missed_by(scored(*windows, left_out=left), DONE))
    assert without == words.removesuffix(".") + " (compared without wind, gusts)."


def judged(name: str, verdict: str, score: float | None) -> Judged:
    reason = say("fact.phase_is.growing")
    return Judged(name, say(f"criterion.{name}.label"), verdict, score, None, "", reason, "")  # type: ignore[arg-type]


def test_faults_are_what_was_unfit_worst_first_then_the_lack_of_water() -> None:
    marks = (judged("gusts", "unfit", 0.2), judged("wind", "unfit", 0.0),
             judged("rain_after", "unfit", None), judged("humidity", "marginal", 0.4))  # fmt: skip
    water = Fact("watered_mm", say("fact.watered_mm"), 1.0, "mm", say("fact.phase"),
                 say("origin.model"), good=False)  # fmt: skip
    of = replace(scored(), judged=marks)
    wind, gusts = (because(marks[n].label, marks[n].reason) for n in (1, 0))
    short = because(water.label, water.text)
    assert faults_of(of, [water]) == (wind, gusts, short)
    assert faults_of(of, [replace(water, good=True)]) == (wind, gusts)
    item = reviewed(faults=(wind, gusts))
    held = replace(item, scored=replace(of, limiting=marks[1]))
    assert (held.held_down_by, held.other_faults) == (wind, (gusts,))
    assert (item.held_down_by, item.other_faults) == (NOTHING, (wind, gusts))
    assert replace(item, faults=None).other_faults == ()


# ---- survivors -----------------------------------------------------------------------------------


def reviewed(application: Application = DONE, **more: Any) -> ReviewedApplication:
    plain = ReviewedApplication(id="a", application=application, purpose_noted=True, faults=())
    return replace(plain, **more)


def test_survivors_are_judged_against_the_last_application_on_their_ground() -> None:
    greens = replace(DONE, start=at(1), where="greens")
    tees = replace(DONE, start=at(5), where="tees", materials=(Material("diquat", 0.5),))
    everywhere = replace(DONE, start=at(3), where="")
    items = [reviewed(greens, id="g"), reviewed(everywhere, id="e"), reviewed(tees, id="t")]
    uses = uses_in([greens, everywhere, tees], load_actives(), southern=False)
    notes = [
        FieldNote(ON, "x", where="greens", weed="POAAN", survivors_mixed=True),
        FieldNote(ON, "x", where="tees", survivors_mixed=True),
        FieldNote(ON, "x", survivors_mixed=True),
        FieldNote(at(2).date(), "x", where="greens", survivors_mixed=True),
        FieldNote(at(1).date(), "x", survivors_mixed=True),  # nothing was before it
        FieldNote(ON, "x", survivors_mixed=False), FieldNote(ON, "x"),
    ]  # fmt: skip
    found = suspected_in(items, uses, notes, load_actives(), False)
    assert [(one.application, one.date, one.where, one.weed) for one in found] == [
        ("e", ON, "greens", "POAAN"), ("t", ON, "tees", ""), ("t", ON, "", ""),
        ("g", at(2).date(), "greens", ""),
    ]  # fmt: skip
    assert [one.suspicion.raised for one in found] == [True, True, True, False]
    assert found[1].suspicion.groups == (22,)
    assert found[0].suspicion.groups == (9,)


def test_a_suspicion_says_what_could_not_be_told_and_needs_a_known_active() -> None:
    note = FieldNote(ON, "x", survivors_mixed=True)
    marks = (judged("wind", "cannot tell", None), judged("gusts", "cannot tell", None))
    item = reviewed(scored=replace(scored(), judged=marks))
    actives = load_actives()
    (one,) = suspected_in([item], uses_in([DONE], actives, southern=False), [note], actives, False)
    assert render(one.suspicion.reason).endswith(
        "suspect resistance to group 9, unless the cause was wind or gusts (unknown)"
    )
    cold = reviewed(faults=(say("verdict.cause.cold"),), scored=item.scored)
    (one,) = suspected_in([cold], uses_in([DONE], actives, southern=False), [note], actives, False)
    assert not one.suspicion.raised
    assert "unless" not in render(one.suspicion.reason)
    odd = reviewed(replace(DONE, materials=(Material("water", 1.0),)))
    (one,) = suspected_in([odd], [], [note], actives, False)
    assert one.suspicion.groups == ()
