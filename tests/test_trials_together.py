"""Places of several trials put together, rounds of one, and what an own trial may say: by hand.

Every place, treatment and round is made up, so that each reason and figure can be checked by
reading it.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from spoken import render
from trial_fixtures import trial_text

from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.values import PACKAGED
from windowcast.materials.actives import load_actives
from windowcast.materials.own_evidence import OwnResult
from windowcast.records import own_evidence, place_effects, pooled_trials, trial_rounds
from windowcast.records.model import Rating
from windowcast.records.place_effects import NoEffect, PlaceEffect, TrialRead
from windowcast.records.trial_analyses import rounds_over_days
from windowcast.records.trial_rounds import TrialRound, days_after, is_before, near
from windowcast.trials.contrasts import ContrastEffect, ShownEffect
from windowcast.trials.given import Given
from windowcast.trials.layout import TrialArm, arms_of
from windowcast.trials.model import PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.rated_measures import options_for
from windowcast.trials.trial_file import TrialFile, trial_from

NAN, ACTIVES = math.nan, load_actives()
FALL = Given("Fall", (("prodiamine", 0.84),), ("A",), (75.0,))
SHOWN = ShownEffect(0, 0, 0)
SPRAYED, LATER = dt.date(2024, 9, 12), dt.date(2025, 3, 1)


def place(trial: str = "one", site: str = "North", **of: Any) -> PlaceEffect:
    known: dict[str, Any] = {
        "rated": dt.date(2024, 12, 11), "days": 90, "season": "2024/25", "applied": (SPRAYED,),
        "given": FALL, "scale": "left", "effect": ContrastEffect(-2.0, 0.3, math.inf),
        "shown": SHOWN,
    }  # fmt: skip
    return PlaceEffect(trial, site, **{**known, **of})


def group(*places: PlaceEffect, measure: str = "count per m2") -> pooled_trials._Group:
    return pooled_trials._Group(measure, "POAAN", Given("untreated"), list(places))


def ids(phrases: Sequence[Phrase]) -> list[str]:
    return [phrase.id for phrase in phrases]


# ---- contrasts over places -----------------------------------------------------------------------

NEXT = {"season": "2025/26"}


def on(*month_day: tuple[int, int]) -> list[PlaceEffect]:
    """Places of two seasons, sprayed on these days."""
    return [
        place(f"t{n}", season=f"{n}", applied=(dt.date(2024, *day),))
        for n, day in enumerate(month_day)
    ]


@pytest.mark.parametrize(
    ("places", "minded"),
    [
        ([place(), place("two", **NEXT)], []),
        ([place(), place("two")], ["pool.one_season"]),
        ([place(), place("two", given=replace(FALL, adjuvant="NIS"), **NEXT)], ["pool.adjuvants"]),
        ([place(given=replace(FALL, adjuvant="nis")),
          place("two", given=replace(FALL, adjuvant="NIS"), **NEXT)], []),
        ([place(), place("two", given=replace(FALL, days=(NAN,)), **NEXT)], ["pool.by_code"]),
        ([place(), place("two", given=replace(FALL, actives=()), **NEXT)], ["pool.by_name"]),
        ([place(), place("two", effect=ContrastEffect(-2, 1, 3, bound=True), **NEXT)],
         ["pool.bounds"]),
        # 2024 is a leap year: 1 Jan is its day 1, 1 Apr 92, 2 Apr 93, 30 Sep 274, 1 Oct 275
        (on((1, 1), (4, 1)), []),
        (on((1, 1), (4, 2)), ["pool.half_a_year"]),
        (on((1, 1), (9, 30)), ["pool.half_a_year"]),
        (on((1, 1), (10, 1)), []),
        ([place(), place("two", applied=(None,), **NEXT)], []),
    ],
)  # fmt: skip
def test_what_to_mind_of_places_taken_together(
    places: list[PlaceEffect], minded: list[str]
) -> None:
    assert ids(list(pooled_trials._notes(group(*places)))) == minded


def test_a_contrast_over_places_is_said_for_its_middle_day() -> None:
    days = [place(str(n), days=day) for n, day in enumerate((88, 95, 90))]
    found = pooled_trials._pooled(group(*days))
    assert (found.measure, found.weed, found.days, found.scale) == (
        "count per m2", "POAAN", 90, "left",
    )  # fmt: skip
    assert (found.given, found.against.name) == (FALL, "untreated")
    assert found.places == tuple(days)
    # all places say that exp(-2) of the weeds are left: 86.5 % less
    assert found.shown.middle == pytest.approx(100 * (1 - math.exp(-2)))
    assert found.shown.low < found.shown.middle < found.shown.high
    assert found.next_one is not None
    assert found.next_one.low < found.shown.low
    assert math.isnan(found.base)
    assert pooled_trials._pooled(group(*days[:2])).next_one is None


def test_a_rating_beside_another_is_told_where_that_has_its_usual_one() -> None:
    # quality 1 to 9: a logit of 0 is its middle, 5; one unit of logit more is 1 + 8 / (1 + 1 / e)
    effect = ContrastEffect(1.0, 0.3, math.inf, base=0.0)
    both = [place(name, scale="beside", effect=effect) for name in "ab"]
    found = pooled_trials._pooled(group(*both, measure="quality 1-9"))
    assert found.base == pytest.approx(5.0)
    assert found.shown.middle == pytest.approx(1 + 8 / (1 + math.exp(-1)))


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (place("two", days=113), "pool.other_day"),
        (place("two", days=112), "pool.twice"),  # a quarter of 90 days later
        (place("one", "North", days=300), "pool.nobody_else"),  # the same place tells nothing
        (place("one", "South", days=300), "pool.other_day"),
        (place("two", given=replace(FALL, actives=(("prodiamine", 0.4),))), "pool.other_rate"),
        (place("two", given=Given("fall", (("simazine", 1.1),), ("A",), (75.0,))),
         "pool.other_actives"),
        (place("two", given=Given("Mix", (("simazine", 1.1),), ("A",), (75.0,))),
         "pool.nobody_else"),
    ],
)  # fmt: skip
def test_why_a_contrast_stands_alone(other: PlaceEffect, why: str) -> None:
    mine = group(place())
    assert pooled_trials._why_alone(mine, [mine, group(other)]).id == why
    elsewhere = replace(group(other), weed="STEME")
    assert pooled_trials._why_alone(mine, [mine, elsewhere]).id == "pool.nobody_else"
    elsewhere = replace(group(other), measure="cover %")
    assert pooled_trials._why_alone(mine, [mine, elsewhere]).id == "pool.nobody_else"


def test_treatments_without_materials_are_not_alike_by_having_none() -> None:
    bare = Given("Mix 1", (), ("A",), (75.0,))
    mine, other = group(place(given=bare)), group(place("two", given=replace(bare, name="Mix 2")))
    assert pooled_trials._why_alone(mine, [mine, other]).id == "pool.nobody_else"


def round_of(**of: Any) -> TrialRound:
    known: dict[str, Any] = {
        "dates": {"North": dt.date(2024, 12, 11)}, "days": {"North": 90}, "rows": (),
        "options": TrialOptions("count"),
    }  # fmt: skip
    return TrialRound(of.pop("measure", "count per m2"), of.pop("weed", "POAAN"), **{**known, **of})


@pytest.mark.parametrize(
    ("other", "joined"),
    [
        (place("two"), True),
        (place("two", days=71), False), (place("two", days=72), True),  # a quarter of 72 is 18
        (place("two", scale="level"), False), (place(), False), (place("one", "South"), True),
        (place("two", given=replace(FALL, codes=("A", "B"), days=(75.0, 99.0))), False),
    ],
)  # fmt: skip
def test_places_of_the_same_contrast_are_one_group(other: PlaceEffect, joined: bool) -> None:
    groups: list[Any] = []
    for one in (place(), other):
        pooled_trials._put(groups, round_of(), one, Given("untreated"))
    assert [len(each.places) for each in groups] == ([2] if joined else [1, 1])
    for of in ({"measure": "cover %"}, {"weed": "STEME"}):
        pooled_trials._put(groups, round_of(**of), other, Given("untreated"))
        assert len(groups[-1].places) == 1


# ---- what a place says ---------------------------------------------------------------------------


def trial(*treated: str, **applied: str) -> TrialFile:
    return trial_from(tomllib.loads(trial_text(*treated, **applied)))


ARM = TrialArm(2, "F", "F", None, ("A",), (), "")


def test_days_count_from_the_treatments_own_last_application() -> None:
    of = trial("F", North="2024-09-12")
    site = of.site[0]
    rated = dt.date(2024, 12, 11)

    def since(arm: TrialArm, usual: int | None) -> int | None:
        return place_effects._since_applied(of, arm, site, rated, usual)

    assert since(ARM, 30) == 90
    assert since(replace(ARM, timing=()), 30) == 30  # it has no day of its own
    assert since(replace(ARM, timing=()), None) is None
    early = place_effects._since_applied(of, ARM, site, dt.date(2024, 9, 11), 30)
    assert early == -1
    assert place_effects.dates_at(of, ARM, site) == (SPRAYED,)
    planned = of.timing[0].model_copy(update={"applied": {}, "planned": dt.date(2024, 9, 20)})
    later = of.model_copy(update={"timing": (planned,)})
    assert place_effects.dates_at(later, ARM, site) == (dt.date(2024, 9, 20),)


@pytest.mark.parametrize(
    ("scale", "days", "why"),
    [(None, 9, "pool.no_scale"), ("left", None, "pool.no_days"), ("left", -1, "pool.not_yet"),
     ("left", 0, "")],
)  # fmt: skip
def test_why_a_treatment_has_no_effect(scale: Any, days: int | None, why: str) -> None:
    assert place_effects._why_none(TrialAnalysis("count"), scale, days).id == why
    broken = TrialAnalysis("count", problem=say("pool.no_check"))
    assert place_effects._why_none(broken, "left", 9).id == "pool.no_check"


def test_what_plots_got_adds_up_rates_of_one_active_under_any_of_its_names() -> None:
    of = trial("F", North="2024-09-12")
    arm = replace(ARM, adjuvant=" NIS ", check="standard")

    def given(*materials: str) -> Given:
        return place_effects.given_at(of, replace(arm, materials=materials), of.site[0], ACTIVES)

    found = given("simazine 1 kg/ha; prodiamine 0.5 kg/ha", "Prodiamine 0.25 kg/ha", "water")
    assert found.actives == (("prodiamine", 0.75), ("simazine", 1.0), ("water", None))
    assert (found.name, found.codes, found.adjuvant, found.check) == (
        "F",
        ("A",),
        "NIS",
        "standard",
    )
    assert found.days == (73.0,)  # 12 Sep is the 74th day from 1 Jul on: 31 + 31 + 12
    for twice in ("prodiamine 0.5 kg/ha; prodiamine", "prodiamine; prodiamine 0.5 kg/ha"):
        assert given(twice).actives == (("prodiamine", None),)


def effects(measure: str, of_percent: float) -> list[PlaceEffect | NoEffect]:
    """Two treatments, one of which left no weed on any plot, rated in tens of percent."""
    of = trial("F", "G", North="2024-09-12")
    control = {"untreated": (0, 0, 0, 0), "F": (100, 100, 100, 100), "G": (80, 70, 90, 80)}
    rows = tuple(
        PlotRow("", str(block), f"{name}{block}", name, value * of_percent, date=LATER,
                measure=measure)
        for name, values in control.items() for block, value in enumerate(values)
    )  # fmt: skip
    options = options_for(
        measure, [row.value for row in rows], design="rcbd", checks=["untreated"], standard=""
    )
    look = round_of(measure=measure, rows=rows, options=options, dates={"North": LATER},
                    days={"North": 170})  # fmt: skip
    return list(place_effects.place_effects(of, look, arms_of(of)[0], ACTIVES))


def test_a_rating_from_0_to_10_says_the_same_as_in_percent() -> None:
    pairs = list(zip(effects("control %", 1.0), effects("control 0-10", 0.1), strict=True))
    assert len(pairs) == 2
    for percent, ten in pairs:
        assert isinstance(percent, PlaceEffect)
        assert isinstance(ten, PlaceEffect)
        assert (percent.given.name, percent.effect.bound) in (("F", True), ("G", False))
        assert (ten.effect.value, ten.effect.error) == pytest.approx(
            (percent.effect.value, percent.effect.error)
        )
        assert ten.shown.middle == pytest.approx(percent.shown.middle / 10)
        assert (ten.rated, ten.days, ten.season, ten.scale) == (LATER, 170, "2024/25", "level")


# ---- rounds --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "planned", "same"),
    [(3, 0, True), (4, 0, False), (13, 10, True), (14, 10, False), (21, 28, True),
     (20, 28, False), (35, 28, True), (36, 28, False)],
)  # fmt: skip
def test_a_rating_is_of_a_planned_day_within_three_days_or_a_quarter(
    day: int, planned: int, same: bool
) -> None:
    assert near(day, planned) is same


def test_days_after_the_last_application_up_to_a_day() -> None:
    of = trial("F", North="2024-09-12", South="2024-09-20")
    for site, day, days in (
        ("North", 12, 0), ("North", 30, 18), ("North", 11, None), ("South", 30, 10),
        ("West", 30, None),
    ):  # fmt: skip
        assert days_after(of, site, dt.date(2024, 9, day)) == days


@pytest.mark.parametrize(
    ("day", "before", "is_it"),
    [(11, False, True), (12, False, False), (12, True, True), (13, True, False),
     (13, False, False)],
)  # fmt: skip
def test_a_rating_is_from_before_by_its_day_and_what_was_said(
    day: int, before: bool, is_it: bool
) -> None:
    of = trial("F", North="2024-09-12")
    rating = Rating(dt.date(2024, 9, day), 1.0, location="North", before=before)
    assert is_before(of, rating) is is_it
    undated = of.model_copy(update={"timing": (of.timing[0].model_copy(update={"applied": {}}),)})
    assert is_before(undated, rating) is before


def test_of_two_looks_near_a_planned_day_the_nearest_is_its() -> None:
    planned = trial_text("F", North="2024-09-12").replace(
        'what = "control %"', 'what = "control %"\ndays = [28]'
    )
    of = trial_from(tomllib.loads(planned))

    def day(after: int) -> dt.date:
        return SPRAYED + dt.timedelta(after)

    for days, nearest in (((24, 29), 29), ((26, 31), 26), ((26, 30), 26), ((10, 40), None)):
        found = trial_rounds._planned(of, "North", [day(n) for n in days], [28])
        wanted = {} if nearest is None else {day(nearest): ("A", 28)}
        assert found == wanted
    assert trial_rounds._planned(of, "West", [SPRAYED], [28]) == {}
    early = [day(-1)]
    assert trial_rounds._planned(of, "North", early, [0]) == {}
    both = trial_rounds._planned(of, "North", [day(n) for n in (24, 33)], [28, 35])
    assert both == {day(33): ("A", 35), day(24): ("A", 28)}


def test_a_round_has_a_name_for_its_files() -> None:
    two = {"North": dt.date(2024, 12, 11), "South": dt.date(2024, 12, 13)}
    of = round_of(dates=two, days={"North": 90, "South": 84})
    assert (of.day, of.key) == (90, "count-poaan-90d")  # of two the later one
    assert round_of(days={"N": 28, "S": 35, "W": 30}).day == 30
    assert replace(of, namesake=1).key == "count-poaan-90d-2"
    assert replace(of, weed="", measure="control %", days={}).key == "control-2024-12-11"
    over = replace(of, days={}, since={s: dt.date(2024, 10, 1) for s in two})
    assert over.key == "count-poaan-2024-10-01-to-2024-12-13"
    assert replace(over, span=(19, 90)).key == "count-poaan-19-to-90d"


def test_a_treatment_is_pending_while_a_site_is_still_to_be_sprayed_with_it() -> None:
    of = trial("F", North="2024-09-12", South="2024-09-20")
    arm = next(one for one in arms_of(of) if one.name == "F")
    for north, south, pending in ((12, 20, False), (12, 19, True), (11, 20, True)):
        dates = {"North": dt.date(2024, 9, north), "South": dt.date(2024, 9, south)}
        assert trial_rounds._to_come(of, arm, dates) is pending
    assert not trial_rounds._to_come(of, replace(arm, timing=()), {"North": dt.date(2024, 9, 1)})


def test_the_value_before_is_that_of_the_last_day_before_treatment() -> None:
    def counted(day: int, value: float, plot: str = "1", site: str = "North") -> Rating:
        return Rating(dt.date(2024, 9, day), value, plot=plot, block="b", location=site)

    before = [counted(1, 9.0), counted(8, 4.0), counted(8, 6.0), counted(8, 3.0, "2"),
              counted(15, 7.0), counted(8, 1.0, site="South")]  # fmt: skip
    assert trial_rounds._start(before, {"North": dt.date(2024, 9, 12)}) == {
        ("North", "b", "1"): 5.0, ("North", "b", "2"): 3.0,
    }  # fmt: skip


def looked(**of: Any) -> TrialRound:
    """A round with a plot at each site on its day."""
    found = round_of(**of)
    rows = [PlotRow(site, "1", "1", "F", 4.0, date=day) for site, day in found.dates.items()]
    return replace(found, rows=tuple(rows))


def test_a_mean_over_days_takes_the_days_that_every_site_has() -> None:
    of = trial("F", North="2024-09-12", South="2024-09-14")

    def look(north: int, south: int | None, **more: Any) -> TrialRound:
        dates = {"North": SPRAYED + dt.timedelta(north)}
        days = {"North": north}
        if south is not None:
            dates["South"] = dt.date(2024, 9, 14) + dt.timedelta(south)
            days["South"] = south
        return looked(dates=dates, days=days, **more)

    looks = [
        look(28, 28, frames=3, strangers=("X",), pending=("F",)), look(42, None),
        look(56, 54, frames=1, strangers=("W",), pending=("G", "F"), namesake=2),
    ]  # fmt: skip
    (found,) = rounds_over_days(of, looks)
    assert found.apart == 1
    assert found.since == {"North": dt.date(2024, 10, 10), "South": dt.date(2024, 10, 12)}
    assert found.dates == {"North": dt.date(2024, 11, 7), "South": dt.date(2024, 11, 7)}
    assert (found.days, found.span, found.namesake) == ({}, (28, 56), 0)
    assert (found.frames, found.strangers, found.pending) == (3, ("W", "X"), ("F", "G"))
    assert rounds_over_days(of, looks[:2]) == ()  # one day of both sites is no mean
    other = [looks[0], replace(looks[2], weed="STEME")]
    assert rounds_over_days(of, other) == ()
    unknown = [replace(looks[0], days={}), looks[2]]
    assert rounds_over_days(of, unknown)[0].span is None
    assert rounds_over_days(of, [looks[0], replace(looks[2], days={})])[0].span is None


def test_days_after_treatment_have_no_span_where_it_was_sprayed_between() -> None:
    of = trial("F", North="2024-09-12")
    again = of.timing[0].model_copy(
        update={"code": "B", "applied": {"North": dt.date(2024, 10, 20)}}
    )
    twice = of.model_copy(update={"timing": (*of.timing, again)})
    looks = [
        looked(dates={"North": SPRAYED + dt.timedelta(n)}, days={"North": n}) for n in (28, 56)
    ]
    assert rounds_over_days(of, looks)[0].span == (28, 56)
    assert rounds_over_days(twice, looks)[0].span is None


# ---- what an own trial says of control -----------------------------------------------------------


@pytest.mark.parametrize(
    ("check", "rated", "why"),
    [("untreated", False, "pool.not_rated"), ("standard", True, "pool.no_check"),
     ("standard", False, "pool.not_rated"), ("untreated", True, "own.no_measure")],
)  # fmt: skip
def test_why_a_whole_trial_says_nothing(check: str, rated: bool, why: str) -> None:
    text = trial_text("F", North="2024-09-12").replace('check = "untreated"', f'check = "{check}"')
    ratings = (Rating(dt.date(2024, 12, 1), 5.0, "injury %", trial="Timing", plot="101",
                      treatment="F", block="1", location="North"),)  # fmt: skip
    read = TrialRead(Path("t.toml"), trial_from(tomllib.loads(text)), ratings if rated else ())
    found = own_evidence.own_evidence([read], ACTIVES, PACKAGED)
    assert found.results == ()
    assert found.left_out == (say("pool.left_trial", trial=Name("Timing"), why=say(why)),)


def materials(*tank: tuple[str, float | None], codes: tuple[str, ...] = ("A",)) -> Given:
    return Given("F", tuple(tank), codes, tuple(75.0 for _ in codes))


def result(given: Given, stage: int | None = None, weed: str = "POAAN") -> OwnResult | Phrase:
    of = trial("F", North="2024-09-12")
    timing = of.timing[0].model_copy(update={"stage_bbch": stage})
    seen = [(round_of(weed=weed), place(given=given))]
    return own_evidence._result(
        of.model_copy(update={"timing": (timing,)}), seen, ACTIVES, PACKAGED
    )


@pytest.mark.parametrize(
    ("given", "stage", "why"),
    [
        (materials(), None, "no materials are given"),
        (materials(("water", 1.0)), None, "water is no active ingredient"),
        (materials(("prodiamine", 0.84), codes=()), None, "the trial file gives it no timing"),
        (materials(("prodiamine", 0.84), codes=("A", "B")), None,
         "2 applications: nobody knows which one did what"),
        (materials(("simazine", 1.1)), None, "say the stage of the weeds at timing A (stage_bbch)"),
        (materials(("foramsulfuron", 0.03)), 9,
         "timing A says that no weeds were up (stage_bbch), and nothing in the tank acts before"),
    ],
)  # fmt: skip
def test_why_a_treatment_is_no_evidence(given: Given, stage: int | None, why: str) -> None:
    found = result(given, stage)
    assert isinstance(found, Phrase)
    assert why in render(found)


def test_a_weed_that_no_trial_was_done_on_is_named() -> None:
    found = result(materials(("prodiamine", 0.84)), weed="XXXXX")
    assert found == say("own.no_kind", weed=Name("XXXXX"))


@pytest.mark.parametrize(
    ("given", "stage", "timing", "met"),
    [
        (materials(("prodiamine", 0.84)), None, "pre", 0.0),
        (materials(("prodiamine", 0.84)), 21, "pre", 21),  # it acts on seedlings whenever it is out
        (materials(("foramsulfuron", 0.03)), None, "post", None),
        (materials(("foramsulfuron", 0.03)), 10, "post", 10),  # up from BBCH 10 on
        (materials(("simazine", 1.1)), 9, "pre", 9),
        (materials(("simazine", 1.1)), 10, "post", 10),
    ],
)  # fmt: skip
def test_a_result_has_the_timing_and_stage_that_were_met(
    given: Given, stage: int | None, timing: str, met: float | None
) -> None:
    found = result(given, stage)
    assert isinstance(found, OwnResult)
    assert (found.trial, found.weed, found.timing, found.stage_bbch) == (
        "Timing", "POAAN", timing, met,
    )  # fmt: skip


def last_seen(
    monkeypatch: pytest.MonkeyPatch, *looks: tuple[str, PlaceEffect | NoEffect]
) -> tuple[Any, dict[str, list[str]]]:
    """What counts of looks, each at its measure, and the reasons where nothing does."""
    rounds = {round_of(measure=measure).key: round_of(measure=measure) for measure, _ in looks}
    monkeypatch.setattr(own_evidence, "rounds_of", lambda *_: rounds.values())
    monkeypatch.setattr(
        own_evidence, "place_effects",
        lambda _trial, found, *_: [one for measure, one in looks if measure == found.measure],
    )  # fmt: skip
    read = TrialRead(Path("t.toml"), trial("F", North="2024-09-12"), ())
    places, reasons = own_evidence._last_seen(read, ARM, ACTIVES)
    seen = {key: [(r.measure, e.site, e.rated) for r, e in these] for key, these in places.items()}
    return seen, {name: [why.id for why in whys] for name, whys in reasons.items()}


def nothing(site: str = "North", rated: dt.date = LATER, *, seen: bool = True) -> NoEffect:
    return NoEffect("Fall", site, rated, say("pool.check_bare"), seen)


COUNT, CONTROL, WANTED = "count per m2", "control %", ("Fall", "POAAN")


def test_of_what_was_seen_on_the_last_day_counts_go_first(monkeypatch: pytest.MonkeyPatch) -> None:
    first, late = place(), place(rated=LATER)
    south = place("one", "South")
    seen, reasons = last_seen(
        monkeypatch, (CONTROL, first), (CONTROL, late), (COUNT, late), (COUNT, south),
        ("injury %", place(rated=dt.date(2025, 6, 1))),
    )  # fmt: skip
    assert seen == {WANTED: [(COUNT, "North", LATER), (COUNT, "South", first.rated)]}
    assert reasons == {}


def test_a_last_day_that_tells_nothing_leaves_the_site_out_with_the_reason(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert last_seen(monkeypatch, (COUNT, place()), (COUNT, nothing())) == (
        {}, {"Fall": ["own.last"]},
    )  # fmt: skip
    assert last_seen(monkeypatch, (COUNT, nothing())) == ({}, {"Fall": ["pool.check_bare"]})
    seen, reasons = last_seen(monkeypatch, (COUNT, place()), (COUNT, nothing("South")))
    assert (seen, reasons) == (
        {WANTED: [(COUNT, "North", place().rated)]}, {"Fall": ["pool.check_bare"]},
    )  # fmt: skip
    # who was not rated again keeps the last look
    seen, reasons = last_seen(monkeypatch, (COUNT, place()), (COUNT, nothing(seen=False)))
    assert (seen, reasons) == ({WANTED: [(COUNT, "North", place().rated)]}, {})


def test_of_several_rates_the_nearest_to_the_full_one_counts_the_poorer_of_two() -> None:
    found = OwnResult("T", "POAAN", ("prodiamine",), "pre", 1.0, 0.4, 0.0, 1.0)
    ordered = [
        replace(found, logit=-1.0), found, replace(found, rate_share=2.0, logit=-9.0),
        replace(found, rate_share=0.5, logit=9.0), replace(found, rate_share=0.0),
        replace(found, rate_share=None),
    ]  # fmt: skip
    mixed = [*ordered[3:], *ordered[:3]]
    assert sorted(mixed, key=own_evidence._from_full) == ordered


def test_a_rate_is_a_share_of_the_full_one_or_of_the_usual_one() -> None:
    """Glyphosate's full rate is that of the trials; what these lack goes by the usual rate."""
    full = PACKAGED["efficacy"].table("full_rate").number("prodiamine")
    usual = next(
        a for a in ACTIVES.values()
        if a.usual_kg_ha is not None and a.name not in PACKAGED["efficacy"].table("full_rate")
    )  # fmt: skip
    assert usual.usual_kg_ha is not None
    for tank, share in (
        ([("prodiamine", full / 2)], 0.5), ([("prodiamine", None)], None),
        ([(usual.name, 2 * float(usual.usual_kg_ha))], 2.0), ([("water", 1.0)], None),
        ([("prodiamine", full), ("water", 1.0)], None),
    ):  # fmt: skip
        assert own_evidence._rate(materials(*tank), ACTIVES, PACKAGED) == (
            share if share is None else pytest.approx(share)
        )
