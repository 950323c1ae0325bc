"""What an answer says of an application: which sentence, with which values, in each case.

Windows, openings and criteria are made up, so that each expected sentence can be read here. All are
put into words too: an id without a text, or a text that lacks a value, fails.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import asdict, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from spoken import ordered, render

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Quantity, Share, Span, Value, say
from windowcast.core.values import Table
from windowcast.limits.model import TurfSpan
from windowcast.materials.resistance import Failing, ResistanceStatus
from windowcast.season.model import Emergence
from windowcast.windows import advice, reasons
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.judge import HourScores
from windowcast.windows.model import FollowUp, Judged, Odds, Verdict, Window
from windowcast.windows.odds import DateRange
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block, Rule
from windowcast.windows.timing import Timing

RULE = Rule(
    fit=0.6, even=0.5, marginal=0.3, shortest_h=2, longest_h=8, extend=0.85, season=0.3,
    normal_years=30, limits=0.97, members=20,
)  # fmt: skip
POST, PRE = purpose_of("post-early"), purpose_of("pre-fall")
MONDAY = dt.datetime(2026, 11, 9, 8, tzinfo=dt.UTC)


def _entry(value: Any) -> dict[str, Any]:
    return {"value": value, "unit": "", "source": "made up", "status": "choice"}


CRITERIA = Table(
    "criteria",
    {
        "rule": {name: _entry(value) for name, value in asdict(RULE).items()},
        "wind": {"unit": "m s-1", "says": ["low", "high", "missing"], "hourly": "wind"},
        "gusts": {"unit": "m s-1", "says": ["high", "missing"], "hourly": "gusts"},
        "air_temperature": {"unit": "degC", "says": ["low", "high", "missing"]},
        "season_months": {"unit": "", "says": ["low", "high", "change"]},
        "soil_week": {
            "unit": "degC", "says": ["low", "high", "missing", "remedy", "fact"],
            "weight": _entry(0.5),
        },
        "share_up": {"unit": "1", "says": ["low", "high", "missing", "remedy", "fact"]},
        "dormancy": {"unit": "", "says": ["low", "missing", "remedy", "change", "fact"]},
    },
)  # fmt: skip


def label(name: str) -> Phrase:
    return reasons.label(name, CRITERIA.table(name))


def same(found: Phrase, expected: Phrase) -> None:
    assert ordered(found) == ordered(expected)
    assert found == NOTHING or render(found)


def judged(name: str, verdict: Verdict = "marginal") -> Judged:
    reason = say(f"criterion.{name}.unknown")
    return Judged(name, label(name), verdict, 0.5, 9.0, "", reason, "made up")


def window(
    verdict: Verdict = "fit",
    *,
    share: float | None = 0.9,
    score: float | None = 80.0,
    limit: str = "",
    day: int = 0,
    **more: Any,
) -> Window:
    start = MONDAY + dt.timedelta(days=day)
    return Window(
        purpose="post-early", start=start, end=start + dt.timedelta(hours=3), score=score,
        verdict=verdict,
        odds=None if share is None else Odds(share, 0.1, 0.99, 40, "forecast"),
        limiting=judged(limit) if limit else None, judged=(), follow_up=(),
        grade=say("hours.forecast"), **more,
    )  # fmt: skip


def when(day: int = 0) -> Span:
    start = MONDAY + dt.timedelta(days=day)
    return Span(start, start + dt.timedelta(hours=3))


SURE = say("advice.holds", share=Share(0.9))
SCORE = say("advice.score", score=Quantity(80.0, "1", "score"))
HELD = say("advice.held_back", criterion=label("wind"))


def second(day: int, share: float | None) -> Phrase:
    chance = NOTHING if share is None else say("advice.counted", share=Share(share))
    return say("advice.second", when=when(day), chance=chance)


@pytest.mark.parametrize(
    ("windows", "said", "values"),
    [
        ([window()], "spray", {"sure": SURE}),
        ([window(limit="wind"), window(day=1, share=0.7), window(day=2)], "spray",
         {"sure": SURE, "more": second(1, 0.7)}),
        ([window(share=None), window(day=1, share=None)], "spray",
         {"sure": SCORE, "more": second(1, None)}),
        ([window(share=None, score=None)], "spray",
         {"sure": say("advice.score", score=Quantity(0.0, "1", "score"))}),
        ([window(actives=("simazine", "MSMA"))], "spray_actives",
         {"sure": SURE, "actives": Listing((Name("simazine"), Name("MSMA")), "plus")}),
        ([window("marginal", limit="wind"), window(day=1, share=0.7)], "marginal",
         {"sure": SURE, "held": HELD, "doubt": NOTHING, "more": second(1, 0.7)}),
        ([window("marginal", share=0.49)], "marginal",
         {"sure": say("advice.holds", share=Share(0.49)), "held": NOTHING,
          "doubt": say("advice.doubtful")}),
        ([window("marginal", share=0.5)], "marginal",
         {"sure": say("advice.holds", share=Share(0.5)), "held": NOTHING, "doubt": NOTHING}),
        ([window("marginal", share=None)], "marginal",
         {"sure": SCORE, "held": NOTHING, "doubt": NOTHING}),
    ],
)  # fmt: skip
def test_what_to_do_where_there_are_windows(
    windows: list[Window], said: str, values: dict[str, Value]
) -> None:
    given: dict[str, Value] = {"when": when(), "more": NOTHING}
    same(advice.go(windows, RULE), say(f"advice.{said}", **(given | values)))


THIN = say("limit.thin")


@pytest.mark.parametrize(
    ("answer", "until", "remedy", "said"),
    [
        ("no", 5, NOTHING, say("advice.turf_no", reason=THIN, before=say(
            "advice.not_before", day=dt.date(2026, 11, 14)))),
        ("no", 1, NOTHING, say("advice.turf_no", reason=THIN, before=NOTHING)),  # within the days
        ("no", None, say("limit.let_root"), say("advice.turf_no", reason=THIN, before=NOTHING)),
        ("cannot tell", 5, say("limit.let_root"), say("advice.turf_unknown", reason=THIN)),
    ],
)  # fmt: skip
def test_what_the_turf_says_where_it_takes_nothing(
    answer: Any, until: int | None, remedy: Phrase, said: Phrase
) -> None:
    first = MONDAY.date()
    ends = None if until is None else first + dt.timedelta(days=until)
    spans = [
        TurfSpan(first, first, answer, "thin turf", "", ends, THIN, remedy, "s", None),
        TurfSpan(first + dt.timedelta(days=1), first + dt.timedelta(days=1), "no", "other", "",
                 None, say("limit.transition"), NOTHING, "s", None),
    ]  # fmt: skip
    after = say("advice.remedy", of=remedy) if remedy else NOTHING
    same(advice.turf(spans), say("advice.turf", said=said, remedy=after))


def test_what_cannot_be_told_names_what_is_unknown_and_hours_a_forecast_reaches() -> None:
    same(advice.cannot_tell(None, 7, CRITERIA, forecast=True), say("advice.no_hour", days=7))
    closest = replace(
        window("cannot tell", share=None, score=None),
        judged=(judged("wind", "cannot tell"), judged("gusts", "fit"),
                judged("share_up", "cannot tell")),
    )  # fmt: skip
    unknown = Listing((say("criterion.wind.missing"), say("criterion.share_up.missing")), "clauses")
    for forecast in (True, False):
        look = say("advice.look_at", when=when()) if forecast else NOTHING
        found = advice.cannot_tell(closest, 7, CRITERIA, forecast=forecast)
        same(found, say("advice.cannot_tell", unknown=unknown, look=look))


def test_waiting_names_what_came_closest() -> None:
    same(advice.wait(None, 3), say("advice.no_hours_allowed", days=3))
    same(advice.wait(window("unfit"), 3), say("advice.no_hours_allowed", days=3))
    expected = say(
        "advice.wait", days=3, when=when(), criterion=label("wind"),
        reason=say("criterion.wind.unknown"),
    )  # fmt: skip
    same(advice.wait(window("unfit", limit="wind"), 3), expected)


def hour_scores(**of: tuple[float, list[float]]) -> HourScores:
    """Scores of a block of two hours: by criterion the measured value and the hours' scores."""
    grade = ScoreCurve((1.0, 3.0, 5.0, 9.0), (0.0, 1.0, 1.0, 0.0))
    ctx: Any = SimpleNamespace(tables={"criteria": CRITERIA}, criterion=CRITERIA.table, rule=RULE)
    return HourScores(
        ctx,
        dict.fromkeys(of, grade),
        {name: 2.0 if name == "gusts" else 1.0 for name in of},
        {name: np.full((1, 2), value) for name, (value, _) in of.items()},
        {name: np.array([scores]) for name, (_, scores) in of.items()},
    )


def changed(*names: str) -> Phrase:
    """Sentence that these fall from 8 to where they are fit: 9 - 0.6 x 4."""
    falls = []
    for name in names:
        aim = reasons.measured(6.6, str(CRITERIA.table(name)["unit"]))
        falls.append(say("criterion.fall", criterion=label(name), needed=aim))
    return say("sentence.of", clause=Listing(tuple(falls)))


@pytest.mark.parametrize(
    ("scores", "expected"),
    [
        ({"wind": (8.0, [1.0, math.nan]), "gusts": (8.0, [0.1, 0.1])},
         say("advice.takes", remedies=Listing(
             (say("advice.hourly", inputs=Listing((say("hourly.wind"),))),), "clauses"))),
        # what lies below the mark of a workable hour
        ({"wind": (8.0, [0.2, 0.39]), "gusts": (8.0, [0.3, 0.3]), "share_up": (8.0, [0.0, 0.1])},
         changed("wind", "share_up")),
        # none does, but their product: the three that hold down most, by their weight
        ({"wind": (8.0, [0.7] * 2), "gusts": (8.0, [0.8] * 2), "share_up": (8.0, [0.9] * 2),
          "soil_week": (8.0, [0.6] * 2)}, changed("soil_week", "gusts", "wind")),
        ({"wind": (8.0, [0.7] * 2), "gusts": (8.0, [1.0] * 2)}, changed("wind")),
        ({"wind": (8.0, [1.0] * 2)}, NOTHING),
    ],
)  # fmt: skip
def test_what_would_have_to_change(
    scores: dict[str, tuple[float, list[float]]], expected: Phrase
) -> None:
    # the value itself is worked out by the curve; which criteria are named is asked here
    found = advice.would_change(hour_scores(**scores), Block(0, 2))
    assert render(found) == render(expected)


def test_why_an_application_is_out() -> None:
    post, growth = replace(POST.generic, names=("MSMA",)), replace(POST.generic, post=False)
    same(advice.no_weeds(PRE), say("advice.no_weeds.fall"))
    actives = Listing((Name("MSMA"),), "plus")
    for needs, acts in ((post, "post"), (replace(post, pre=True), "pre"), (growth, "growth")):
        assert advice.acts_only(needs) == say(f"advice.acts_only.{acts}")
        named = replace(needs, names=("MSMA",))
        same(advice.serves_not(named), say(f"advice.serves_not.{acts}", actives=actives))
    weeds = Listing((say("weed.POAAN"), say("weed.DIGIS")), "or")
    both = replace(post, names=("MSMA", "simazine"))
    same(
        advice.wrong_weeds(both, ["POAAN", "DIGIS"]),
        say("advice.wrong_weeds", weeds=weeds,
            actives=Listing((Name("MSMA"), Name("simazine")), "plus")),
    )  # fmt: skip
    failing = Failing("resistant", "MSMA", ResistanceStatus("POAAN", 0, "resistant", "tested"))
    same(advice.resisted(failing), say("advice.resisted", why=failing.text))


# --- in and out of season -------------------------------------------------------------------------

DAY = dt.date(2026, 12, 14)
UP = ScoreCurve((0.0, 10.0), (0.0, 1.0))  # 0 at 0, full from 10 on
TIMED = ("season_months", "soil_week", "share_up")


def timing(**known: Any) -> Timing:
    usual: dict[str, Any] = {
        "grades": dict.fromkeys((*TIMED, "dormancy"), UP), "measured": {}, "in_season": False,
        "season_end": dt.date(2027, 6, 30), "opened": None, "closed": None, "closed_sure": True,
        "opens": None, "closes": None, "usual": None,
    }  # fmt: skip
    return Timing(**(usual | known))


def measured(**values: float) -> dict[str, Any]:
    """Value of the first future on the first day; others must not count."""
    return {name: np.array([[value, 9.0], [3.0, 9.0]]) for name, value in values.items()}


def days(early: int | None, median: int | None, late: int | None, **more: Any) -> DateRange:
    first, middle, last = (
        None if n is None else DAY + dt.timedelta(days=n) for n in (early, median, late)
    )
    return DateRange(first, middle, last, **({"never": 0.25, "unknown": 0.0, "count": 40} | more))


FALL = replace(PRE, timing=TIMED, rules=CRITERIA, facts=())
SOIL = {"depth": Quantity(5.0, "cm")}


def low(name: str, value: float, unit: str = "degC") -> Phrase:
    given = SOIL if name == "soil_week" else {}
    ends = {"low": reasons.measured(10.0, unit), "high": reasons.measured(math.inf, unit)}
    shown = {"measured": reasons.measured(value, unit), "about": NOTHING}
    return say(f"criterion.{name}.low", **given, **shown, **ends)


def test_in_season_the_facts_of_today_are_said() -> None:
    told = timing(in_season=True, measured=measured(season_months=5.0, soil_week=4.0, share_up=0.0))
    facts = (
        NOTHING,
        say("criterion.soil_week.fact", measured=Quantity(4.0, "degC"), **SOIL),
        low("share_up", 0.0, "1"),  # a no, whatever the others say
    )
    same(advice.why(FALL, told), say("sentence.of", clause=Listing(facts)))
    quiet = replace(FALL, timing=("season_months",))
    assert advice.why(quiet, replace(told, measured=measured(season_months=5.0))) == NOTHING
    own = replace(purpose_of("dormant"), timing=("dormancy",), rules=CRITERIA)
    assert own.facts == ("dormancy",)
    same(advice.why(own, replace(told, measured=measured(dormancy=10.0))),
         say("sentence.of", clause=Listing((say("purpose.dormant.fact.dormancy"),))))  # fmt: skip


@pytest.mark.parametrize(
    ("known", "head"),
    [
        ({}, say("advice.waits", what=say("purpose.pre-fall.waits_for"))),
        ({"closed": DAY, "closed_sure": False}, say("advice.last_open", day=DAY)),
        ({"closed": DAY}, say("advice.ended", day=DAY)),
        ({"closed": DAY, "opens": days(0, 9, 20)}, say("advice.on_hold", day=DAY)),
    ],
)
def test_out_of_season_what_holds_it_back_is_said(known: dict[str, Any], head: Phrase) -> None:
    # of 0.5 and 0.3 by its weight of a half (0.55) the first holds back more
    for values, limit, value, unit in (
        ({"season_months": 10.0, "soil_week": 3.0, "share_up": 5.0}, "share_up", 5.0, "1"),
        ({"season_months": 10.0, "soil_week": 2.0, "share_up": 5.0}, "soil_week", 2.0, "degC"),
    ):
        told = timing(measured=measured(**values), **known)
        because = say("criterion.because", criterion=label(limit), reason=low(limit, value, unit))
        expected = say("advice.for_reason", what=head, reason=because)
        same(advice.why(FALL, told), say("sentence.of", clause=expected))
    # that it is not its months, or that it is not dormant, the head has said
    for purpose in (FALL, replace(FALL, timing=("dormancy",))):
        values = dict.fromkeys(TIMED, 10.0) | {purpose.timing[0]: 0.0}
        told = timing(measured=measured(**{n: values[n] for n in purpose.timing}), **known)
        same(advice.why(purpose, told), say("sentence.of", clause=head))


PAST = say("opening.by_past_years")


def about(n: int) -> dt.date:
    return DAY + dt.timedelta(days=n)


@pytest.mark.parametrize(
    ("known", "said", "values"),
    [
        ({"opens": days(0, 9, 20)}, "between",
         {"day": about(9), "ends": Span(about(0), about(20)), "basis": NOTHING}),
        ({"opens": days(9, 9, 9)}, "about", {"day": about(9), "basis": NOTHING}),
        ({"opens": days(0, 9, None)}, "seldom",
         {"day": about(9), "basis": NOTHING, "never": Share(0.25)}),
        ({"opens": days(None, 9, 20)}, "seldom",
         {"day": about(9), "basis": NOTHING, "never": Share(0.25)}),
        ({"opens": days(0, 9, 20, by_calendar=True)}, "start_late",
         {"day": about(9), "late": about(20), "basis": NOTHING}),
        ({"opens": days(0, 9, None, by_calendar=True)}, "seldom",
         {"day": about(9), "basis": NOTHING, "never": Share(0.25)}),
        ({"opens": days(0, 9, 20), "usual": days(1, 2, 3)}, "between",
         {"day": about(9), "ends": Span(about(0), about(20)), "basis": NOTHING}),
        ({"usual": days(1, 2, 3)}, "between",
         {"day": about(2), "ends": Span(about(1), about(3)), "basis": PAST}),
        ({"closed": DAY, "opens": days(0, None, None), "usual": days(2, 2, 2)}, "about",
         {"day": about(2), "basis": PAST}),
        ({}, "", {}),
        # the futures keep it closed this season: the past years' day in it is no hope
        ({"opens": days(0, None, None), "usual": days(1, 2, 3)}, "", {}),
        ({"opens": days(0, None, None), "usual": days(0, 198, 199)}, "", {}),  # its last day
        ({"opens": days(0, None, None), "usual": days(0, 199, 220)}, "between",
         {"day": about(199), "ends": Span(about(0), about(220)), "basis": PAST}),
    ],
)  # fmt: skip
def test_when_it_opens(known: dict[str, Any], said: str, values: dict[str, Value]) -> None:
    expected = say(f"opening.{said}", **values) if said else NOTHING
    same(advice.opening(timing(**known)), expected)


WHY = say("sentence.of", clause=say("limit.thin"))


@pytest.mark.parametrize(
    ("known", "said", "values"),
    [
        ({"opens": days(9, 9, 9)}, "not_now.opens",
         {"opening": say("opening.about", day=about(9), basis=NOTHING)}),
        ({"opens": days(9, 9, 9), "closed": DAY}, "not_now.again",
         {"opening": say("opening.about", day=about(9), basis=NOTHING)}),
        ({"opens": days(None, None, None, never=0.75), "closed": DAY, "usual": days(9, 9, 9)},
         "over",
         {"missed": say("purpose.pre-fall.if_missed"),
          "maybe": say("advice.may_reopen", share=Share(0.25)),
          "again": say("advice.next_season",
                       opening=say("opening.about", day=about(9), basis=PAST))}),
        ({"opens": days(None, None, None, never=0.96), "closed": DAY}, "over",
         {"missed": say("purpose.pre-fall.if_missed"), "maybe": NOTHING, "again": NOTHING}),
        ({"closed": DAY}, "not_now.unknown", {}),
        ({"opens": days(None, None, None, never=0.96), "closed": DAY, "closed_sure": False},
         "not_now.unknown", {}),
        ({"opens": days(None, None, None, never=0.75)}, "shut.this_season",
         {"share": Share(0.75)}),
        ({}, "not_now.unknown", {}),
        ({"usual": days(None, None, None, never=0.5)}, "not_now.seldom", {}),
        ({"usual": days(None, None, None, never=0.49)}, "not_now.unknown", {}),
    ],
)  # fmt: skip
def test_out_of_season_when_it_opens(
    known: dict[str, Any], said: str, values: dict[str, Value]
) -> None:
    found = advice.out_of_season(PRE, timing(**known), WHY, RULE)
    same(found, say(f"advice.{said}", why=WHY, **values))


# --- burs, and what must follow -------------------------------------------------------------------


def weed(code: str) -> Emergence:
    nothing = np.zeros(1)
    return Emergence(code, code, "fall", nothing, nothing, nothing, nothing, nothing)


@pytest.mark.parametrize("southern", [False, True])
def test_burs_are_to_be_forestalled(southern: bool) -> None:
    """Lawn burweed has its first burs in March (`sets_days`), half a year later in the south.

    243 and 274 days after 1 July are 1 March and 1 April; after 1 January 1 September and
    2 October.
    """
    first, last = dt.date(2027, 3, 1), dt.date(2027, 4, 1)
    if southern:
        first, last = dt.date(2027, 9, 1), dt.date(2027, 10, 1)
    weeds = [weed("POAAN"), weed("SOVSE")]
    burweed = say("weed.SOVSE")
    (before,) = advice.burs(weeds, first - dt.timedelta(days=1), southern=southern)
    same(before, say("advice.burs.before", weed=burweed, first=first, last=last))
    (now,) = advice.burs(weeds, first, southern=southern)
    same(now, say("advice.burs.now", weed=burweed))
    assert advice.burs(weeds[:1], first, southern=southern) == ()


END = MONDAY + dt.timedelta(hours=3)
HOURS = Quantity(6.0, "h")
WATER = Quantity(12.7, "mm")
DRY = {"rain_free_h": 6.0, "activation_mm": None}
WET = {"rain_free_h": None, "activation_mm": 12.7}


def water_in(by: dt.date | None, share: float | None) -> Phrase:
    return say(
        "follow_up.water_in", depth=WATER,
        by=NOTHING if by is None else say("follow_up.by", day=by),
        rain=NOTHING if share is None else say("follow_up.rain_does_it", share=Share(share)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("needs", "known", "expected"),
    [
        ({"rain_free_h": None, "activation_mm": None}, {}, []),
        (DRY | {"names": ("MSMA",)}, {},
         [FollowUp("keep dry", END + dt.timedelta(hours=6),
                   say("follow_up.keep_dry", until=END + dt.timedelta(hours=6), hours=HOURS))]),
        (DRY, {},
         [FollowUp("keep dry", END + dt.timedelta(hours=6),
                   say("follow_up.keep_dry_or_label", until=END + dt.timedelta(hours=6),
                       hours=HOURS))]),
        (DRY | {"rain_free_h": math.nan}, {},
         [FollowUp("keep dry", None, say("follow_up.keep_dry_by_label"))]),
        (WET, {}, [FollowUp("water in", END + dt.timedelta(days=7),
                            water_in(dt.date(2026, 11, 16), 0.25))]),
        (WET, {"irrigated": True},
         [FollowUp("water in", END + dt.timedelta(days=7), water_in(dt.date(2026, 11, 16), None))]),
        (WET, {"irrigated": None, "watering_days": math.nan},
         [FollowUp("water in", None, water_in(None, 0.25))]),
        (WET, {"rain_chance": math.nan},
         [FollowUp("water in", END + dt.timedelta(days=7), water_in(dt.date(2026, 11, 16), None))]),
        (WET | {"activation_mm": math.nan}, {},
         [FollowUp("water in", None, say("follow_up.water_in_by_label"))]),
        (DRY | {"rain_free_h": math.nan, "activation_mm": math.nan}, {},
         [FollowUp("keep dry", None, say("follow_up.keep_dry_by_label")),
          FollowUp("water in", None, say("follow_up.water_in_by_label"))]),
    ],
)  # fmt: skip
def test_what_must_follow(
    needs: dict[str, Any], known: dict[str, Any], expected: list[FollowUp]
) -> None:
    asked: dict[str, Any] = {"watering_days": 7.0, "irrigated": False, "rain_chance": 0.25} | known
    found = advice.follow_up(replace(POST.generic, **needs), END, **asked)
    assert ordered(found) == ordered(expected)
    assert all(render(one.text) for one in found)
