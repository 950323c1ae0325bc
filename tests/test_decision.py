"""One decision: the order, the sentence, the table and "now or wait" say the same."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from report_fixtures import TODAY, judged, ranking, window
from spoken import ordered

import windowcast
from windowcast.core.phrase import NOTHING, Phrase, Share, Value, say
from windowcast.limits.model import TurfSpan
from windowcast.materials.actives import load_actives
from windowcast.programme.answer import answer
from windowcast.report import board
from windowcast.report.catalogue import Voice
from windowcast.report.decision_table import decision_table
from windowcast.windows.decision import decide, order_key
from windowcast.windows.decision_model import Decided, Effect, Option, Shut, told_apart
from windowcast.windows.model import Choice, Job, Odds, PurposeOutlook, Verdict, Window

US = Voice("us", "en")
WIND = say("criterion.wind.label")


def on(
    day: int,
    verdict: Verdict = "fit",
    chance: float | None = 0.8,
    control: float | None = 0.9,
    up: float | None = None,
    **known: Any,
) -> Window:
    """A window so many days from today."""
    effect = None
    if control is not None:
        effect = Effect("trials", "POAAN", control, control - 0.3, 0.99, ("simazine",), up)
    counted = None if chance is None else Odds(chance, chance, chance, 100, "forecast")
    return replace(
        window(day=day, verdict=verdict), odds=counted, effect=effect, harm=0.01, **known
    )


def outlook(*windows: Window, **known: Any) -> PurposeOutlook:
    """An open application with windows in their order."""
    ordered = tuple(sorted(windows, key=order_key))
    return replace(ranking().purposes[1], windows=ordered, **known)


def shut(day: int, answer: Any = "no") -> Shut:
    return Shut(TODAY + dt.timedelta(day), answer, WIND, say("limit.none"))


def refusal(answer: Any) -> TurfSpan:
    return TurfSpan(TODAY, TODAY, answer, "overseeding", "", None, NOTHING, NOTHING, "", None)


def cells(decided: Decided, row: str) -> tuple[str, ...]:
    table = decision_table(decided)
    assert table is not None
    return next(tuple(map(US.text, found)) for name, found in table.rows if US.text(name) == row)


# --- the order ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (on(3, chance=0.5), on(0, "marginal", chance=0.99)),  # fit before marginal
        (on(2, chance=0.9, control=0.8), on(1, chance=0.7, control=0.9)),  # 0.72 before 0.63
        (on(1), on(2)),  # of equals the earlier
        (on(3, control=0.85, up=0.6), on(0, up=0.4)),  # 51 % of all weeds before 36 %
        (on(1, control=0.9), on(2, control=0.9004)),  # no more than a rounding apart
        (on(1, control=None, score=80.0), on(0, control=None, score=60.0)),  # no trial: the hours
        (on(1, "marginal", chance=0.1), on(0, "cannot tell", chance=None)),
        (on(1, "cannot tell", chance=None), on(0, "unfit")),
    ],
)
def test_there_is_one_order(first: Window, second: Window) -> None:
    assert sorted([second, first], key=order_key) == [first, second]


# --- sentence, table and now or wait --------------------------------------------------------------

CASES = {
    "today is best": (outlook(on(0), on(3, chance=0.6)), "act", "decide.now_best"),
    "only today": (outlook(on(0)), "act", "decide.now_only"),
    "a tie is for today": (outlook(on(0), on(1), on(2)), "act", "decide.now_best"),
    "today, marginal": (outlook(on(0, "marginal")), "act", "decide.now_marginal"),
    "later, today shut": (outlook(on(2), shut=(shut(0),)), "wait", "decide.wait"),
    "later, today unknown": (outlook(on(2), shut=(shut(0, "cannot tell"),)), "wait", "decide.wait"),
    "later, no hours today": (outlook(on(2)), "wait", "decide.wait"),
    "later is likelier": (outlook(on(0, chance=0.5), on(2, chance=0.9)), "wait", "decide.wait"),
    "later is stronger": (outlook(on(0, control=0.5), on(2)), "wait", "decide.wait"),
    "later meets more": (outlook(on(0, up=0.4), on(4, up=0.6)), "wait", "decide.wait"),
    "today marginal": (outlook(on(0, "marginal"), on(2)), "wait", "decide.wait"),
    "all marginal": (outlook(on(2, "marginal"), shut=(shut(0),)), "wait", "decide.wait_marginal"),
    "no members": (outlook(on(0, chance=None), on(2, chance=None, control=0.95)), "wait",
                   "decide.wait"),
    "no windows": (outlook(), "wait", ""),
    "unknown": (outlook(cannot_tell=True), "cannot tell", ""),
    "turf says no": (outlook(on(0), turf=(refusal("no"),)), "neither", ""),
    "turf unknown": (outlook(on(0), turf=(refusal("cannot tell"),)), "cannot tell", ""),
    "done": (outlook(on(0), job=Job("done", NOTHING, NOTHING)), "neither", ""),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_sentence_table_and_now_or_wait_agree(case: str) -> None:
    about, now, text = CASES[case]
    decided = decide(about, TODAY)
    assert decided.now == now
    lead = board.lead(about)
    if not text:  # nothing to spray in: one sentence serves both, and no figure is given
        assert decided.text == lead == about.advice
        assert decided.options == ()
        assert decision_table(decided) is None
        return
    assert decided.text.id == text
    best = about.windows[0]
    assert lead.value("when") == board.lead(replace(about, windows=(best,))).value("when")
    (advised,) = [one for one in decided.options if one.best]
    assert (advised.start, advised.chance) == (best.start, best.odds and best.odds.share)
    assert (decided.now == "act") == (best.date == TODAY)
    assert bool(decided.why_not_today) == (decided.now == "wait")
    if decided.now == "wait":
        assert decided.text.value("day") == best.date
    # sure and table give the same chance
    if best.odds is not None:
        place = decided.options.index(advised)
        assert cells(decided, "Weather stays fit")[place] in US.text(board.sure(about))


@pytest.mark.parametrize("ups", [(0.90, 0.92, 0.94), (0.4, None, 0.9), (None, None, None)])
def test_hardly_more_weeds_or_an_unknown_number_is_nothing_to_wait_for(
    ups: tuple[float | None, ...],
) -> None:
    """Each day has a few more: today would never come. Unknown must not rank as all."""
    effects = [e for n, up in enumerate(ups) if (e := on(n, up=up).effect) is not None]
    told = told_apart(effects)
    assert [effect.up for effect in told] == [None] * 3
    assert {effect.reached for effect in told} == {0.9}


def test_days_that_differ_by_how_many_weeds_they_meet_keep_that() -> None:
    effects = [e for n, up in enumerate((0.4, 0.5, 0.6)) if (e := on(n, up=up).effect) is not None]
    assert told_apart(effects) == effects
    assert cells(decide(outlook(on(0, up=0.4), on(4, up=0.6)), TODAY), "Weeds emerged by then")[
        :3
    ] == ("40 %", "–", "60 %")


def test_why_not_today_names_what_the_order_goes_by() -> None:
    def why(about: PurposeOutlook) -> str:
        return US.text(decide(about, TODAY).why_not_today)

    assert why(CASES["later is likelier"][0]) == (
        "that day is likely (9 in 10), today only about even (5 in 10)"
    )
    assert CASES["later is likelier"][0].windows[0].date == TODAY + dt.timedelta(2)
    assert why(CASES["later is stronger"][0]).endswith("90 % against 50 % today")
    assert why(CASES["later meets more"][0]).endswith("emerged, 60 % against 40 % today")
    assert why(CASES["today marginal"][0]).startswith("today is only marginal")
    assert why(CASES["later, today shut"][0]).startswith("wind rules it out")
    assert why(CASES["later, today unknown"][0]).startswith("wind cannot be judged")
    assert why(CASES["later, no hours today"][0]) == "no spray hours"
    waits = Job("re-treat", NOTHING, NOTHING, again=TODAY + dt.timedelta(2))
    assert why(outlook(on(2), job=waits)).startswith("not before")


def test_why_not_today_is_a_line_of_the_board_where_today_would_do() -> None:
    named = {US.text(fact.name) for fact in board.facts(CASES["later is likelier"][0], TODAY)}
    assert "Not today" in named
    named = {US.text(fact.name) for fact in board.facts(CASES["later, today shut"][0], TODAY)}
    assert "Not today" not in named  # hours and table say it


# --- the table ------------------------------------------------------------------------------------


def test_the_table_asks_each_question_once() -> None:
    about = outlook(on(2, lost=0.03), on(1, "marginal", chance=0.5, lost=0.001), shut=(shut(0),))
    table = decision_table(decide(about, TODAY))
    assert table is not None
    assert [US.text(name) for name in table.columns] == ["Today", "Tomorrow", "Best day", "Skip it"]
    assert table.best == 2
    decided = decide(about, TODAY)
    assert cells(decided, "Hours")[0] == "no: wind"
    assert cells(decided, "Control of annual bluegrass") == (
        "–", "90 % (60 to 99 %)", "90 % (60 to 99 %)", "0 %")  # fmt: skip
    assert cells(decided, "Turf is hurt") == ("–", "1 in 100", "1 in 100", "–")
    assert cells(decided, "Weeds lost by waiting") == ("–", "hardly any", "3 %", "–")


def test_what_is_unknown_is_no_number() -> None:
    about = outlook(replace(on(0, chance=None, control=None), harm=None), shut=(shut(1),))
    decided = decide(about, TODAY)
    assert cells(decided, "Weather stays fit")[0] == "cannot tell"
    assert cells(decided, "Turf is hurt")[0] == "cannot tell"
    assert cells(decided, "Control")[0] == "no trial"
    unknown = outlook(on(2, lost=0.03), on(0, lost=None))
    assert "cannot tell" in cells(decide(unknown, TODAY), "Weeds lost by waiting")
    blind = outlook(on(2), shut=(shut(0, "cannot tell"),))
    assert cells(decide(blind, TODAY), "Hours")[0] == "cannot tell: wind"


def test_money_at_risk_is_the_price_times_the_chance_that_it_fails() -> None:
    found = windowcast.rank(windowcast.sample_site(), windowcast.sample_weather()).purposes[2]
    first = replace(found.choices[0], cost_per_ha=100.0, money="USD")
    decided = decide(replace(found, choices=(first,)), dt.date(2018, 1, 18))
    (best,) = [one for one in decided.options if one.best]
    assert best.chance is not None
    assert best.at_risk_per_ha == pytest.approx(100 * (1 - best.chance))
    table = decision_table(decided)
    assert table is not None
    assert US.text(table.rows[-1][0]) == "Money at risk (USD)"


def test_the_sample_takes_control_in_table_and_choices_from_one_figure() -> None:
    found = windowcast.rank(windowcast.sample_site(), windowcast.sample_weather()).purposes[2]
    effect = found.windows[0].effect
    assert effect is not None
    assert effect.actives == found.choices[0].actives
    said = found.choices[0].speaks_for[0]
    assert said.id == "choice.trials"
    assert said.value("middle").value == effect.middle  # type: ignore[union-attr]
    assert found.decision == decide(found, dt.date(2018, 1, 18))
    assert tuple(sorted(found.windows, key=order_key)) == found.windows


def test_decisions_of_many_answers_are_those_of_one() -> None:
    materials = load_actives()
    stock = ("glyphosate", "prodiamine", "simazine")
    site = windowcast.sample_site().model_copy(update={"stock": stock})
    whole, brief = (
        answer(
            site,
            windowcast.sample_weather(),
            materials=materials,
            in_full=not many,
            compiled=many,
        ).ranking
        for many in (False, True)
    )
    assert any(outlook.windows and outlook.stock for outlook in whole.purposes)
    assert not brief.explain
    assert brief.hours is None
    for one, other in zip(whole.purposes, brief.purposes, strict=True):
        assert other == replace(one, strip=None, stock=(), covers=())


# --- each in full ---------------------------------------------------------------------------------

DAYS = [TODAY + dt.timedelta(days=n) for n in range(6)]
HURT_BY_WIND: dict[str, Value] = {"limit": WIND, "reason": say("limit.none")}
RULED_OUT = say("decide.ruled_out", **HURT_BY_WIND)
UNKNOWN = say("decide.unknown", **HURT_BY_WIND)
HELD = replace(judged(), label=WIND)


def likelier(then: float, now: float) -> Phrase:
    return say("decide.likelier", then=Share(then), now=Share(now))


@pytest.mark.parametrize(
    ("about", "why"),
    [
        (outlook(on(2), shut=(shut(1), shut(0))), RULED_OUT),
        (outlook(on(2), shut=(shut(0, "cannot tell"),)), UNKNOWN),
        (outlook(on(2), shut=(shut(1),)), say("decide.no_hours")),
        (outlook(on(2), job=Job("re-treat", NOTHING, NOTHING, again=DAYS[1]), shut=(shut(0),)),
         say("decide.again", day=DAYS[1])),
        (outlook(on(2), job=Job("re-treat", NOTHING, NOTHING, again=TODAY), shut=(shut(0),)),
         RULED_OUT),
        (outlook(on(0, "marginal", limiting=HELD), on(2)), say("decide.marginal", limit=WIND)),
        (outlook(on(0, "marginal", limiting=None), on(2)), say("decide.marginal_only")),
        # the larger of the two ratios is named: of the chances, or of what is controlled
        (outlook(on(0, chance=0.5), on(2, chance=0.9)), likelier(0.9, 0.5)),
        (outlook(on(0, chance=0.5, control=0.5), on(2, chance=0.8, control=0.8)),
         likelier(0.8, 0.5)),
        (outlook(on(0, chance=0.5, control=0.5), on(2, chance=0.79, control=0.8)),
         say("decide.stronger", then=Share(0.8), now=Share(0.5))),
        (outlook(on(0, chance=0.0), on(2, chance=0.9)), likelier(0.9, 0.0)),
        (outlook(on(0, chance=None, control=0.6), on(2, control=0.9)),
         say("decide.stronger", then=Share(0.9), now=Share(0.6))),
        (outlook(on(0, up=0.4), on(2, up=0.6)),
         say("decide.more_up", then=Share(0.6), now=Share(0.4))),
        (outlook(on(0, control=0.8, up=0.4), on(2, control=0.9, up=0.6)),
         say("decide.stronger", then=Share(0.9), now=Share(0.8))),
        (outlook(on(0, control=None, score=60.0, limiting=HELD), on(2, control=None, score=80.0)),
         say("decide.better_but", limit=WIND)),
        (outlook(on(0, control=None, score=60.0, limiting=None), on(2, control=None, score=80.0)),
         say("decide.better")),
    ],
)  # fmt: skip
def test_why_not_today_in_full(about: PurposeOutlook, why: Phrase) -> None:
    decided = decide(about, TODAY)
    assert ordered(decided.why_not_today) == ordered(why)
    text = say("decide.wait", day=about.windows[0].date, why=why)
    assert ordered(decided.text) == ordered(text)
    assert (decided.do, decided.now) == ("go", "wait")
    assert US.text(decided.text)


@pytest.mark.parametrize(
    ("about", "do", "said"),
    [
        (outlook(on(0)), "go", "decide.now_only"),
        (outlook(on(0), on(1, chance=0.5)), "go", "decide.now_best"),
        (outlook(on(0), replace(on(0), score=70.0)), "go", "decide.now_only"),  # both are today's
        (outlook(on(0, "marginal"), on(1, "marginal", chance=0.5)), "marginal",
         "decide.now_marginal"),
    ],
)  # fmt: skip
def test_today_in_full(about: PurposeOutlook, do: str, said: str) -> None:
    decided = decide(about, TODAY)
    assert (decided.do, decided.now, decided.why_not_today) == (do, "act", NOTHING)
    assert decided.text == say(said)


@pytest.mark.parametrize(
    ("known", "do", "now"),
    [
        ({"job": Job("done", NOTHING, NOTHING)}, "done", "neither"),
        ({"job": Job("look", NOTHING, NOTHING)}, "look", "neither"),
        ({"job": Job("failed", NOTHING, NOTHING), "in_season": False}, "out of season", "wait"),
        ({"in_season": False}, "out of season", "wait"),
        ({"turf": (refusal("no"), refusal("cannot tell"))}, "do not spray", "neither"),
        ({"turf": (refusal("cannot tell"), refusal("no"))}, "cannot tell", "cannot tell"),
        ({"cannot_tell": True}, "cannot tell", "cannot tell"),
        ({}, "wait", "wait"),
    ],
)
def test_without_a_window_there_is_nothing_to_choose(
    known: dict[str, Any], do: str, now: str
) -> None:
    about = outlook(**known)
    assert decide(about, TODAY) == Decided(do, now, (), NOTHING, about.advice)  # type: ignore[arg-type]


def option(name: Any, window: Window, **more: Any) -> Option:
    answer: Any = window.verdict
    return Option(
        name, window.date, window.start, window.end, answer, NOTHING, NOTHING,
        effect=window.effect, chance=None if window.odds is None else window.odds.share,
        hurt=0.01, **more,
    )  # fmt: skip


def closed(name: Any, day: int, answer: Any, why: Phrase, by: Phrase = NOTHING) -> Option:
    return Option(name, DAYS[day], None, None, answer, why, by)


SKIP = Option("skip", None, None, None, "skip", NOTHING, NOTHING)


def test_the_ways_to_decide_in_full() -> None:
    today, third, fourth = on(0, "marginal", chance=0.75), on(3), on(4, chance=0.5)
    found = decide(outlook(today, fourth, third, shut=(shut(1),)), TODAY).options
    assert found == (
        option("today", today),
        closed("tomorrow", 1, "no", RULED_OUT, WIND),
        option("best", third, best=True),
        SKIP,
    )
    first, tomorrow = on(0), replace(on(1, chance=0.5), washed=0.25, lost=0.125)
    found = decide(outlook(first, tomorrow, fourth), TODAY).options
    assert found == (
        option("today", first, best=True),
        option("tomorrow", tomorrow, washed=0.25, lost=0.125),
        option("next", fourth),
        SKIP,
    )
    found = decide(outlook(on(1), shut=(shut(0, "cannot tell"),)), TODAY).options
    assert found == (
        closed("today", 0, "cannot tell", UNKNOWN, WIND),
        option("tomorrow", on(1), best=True),
        SKIP,
    )
    again = Job("re-treat", NOTHING, NOTHING, again=DAYS[2])
    found = decide(outlook(on(2), job=again, shut=(shut(0), shut(1))), TODAY).options
    wait = say("decide.again", day=DAYS[2])
    assert found[:2] == (closed("today", 0, "no", wait), closed("tomorrow", 1, "no", wait))


@pytest.mark.parametrize(
    ("chance", "cost", "at_risk"), [(0.75, 100.0, 25.0), (None, 100.0, None), (0.75, None, None)]
)
def test_what_stands_to_be_lost_in_money(
    chance: float | None, cost: float | None, at_risk: float | None
) -> None:
    tank = Choice(
        ("simazine",), (5,), "fit", 80.0, 0.9, False, (), (), cost_per_ha=cost, money="EUR"
    )  # fmt: skip
    other = replace(tank, cost_per_ha=7.0)
    about = outlook(on(0, chance=chance), choices=(tank, other))
    today = decide(about, TODAY).options[0]
    assert today.at_risk_per_ha == at_risk
    assert today.money == ("" if cost is None else "EUR")
    assert decide(replace(about, choices=()), TODAY).options[0].at_risk_per_ha is None


@pytest.mark.parametrize("criterion", ["rain_after", "washing_rain", "wind"])
def test_rain_matters_where_it_can_wash_it_off(criterion: str) -> None:
    about = outlook(on(0, judged=(HELD, replace(HELD, criterion=criterion))))
    assert decide(about, TODAY).options[0].rain_matters is (criterion != "wind")


def test_what_is_no_go_is_ordered_by_how_near_it_comes() -> None:
    """Mean scores of the criteria multiplied; a no counts as 0.05, what is unknown as a half."""

    def untold(day: int, *scores: float | None) -> Window:
        parts = tuple(replace(HELD, score=score) for score in scores)
        return replace(on(day, "unfit", chance=None), judged=parts)

    near = [untold(3, 0.9, 0.9), untold(2, None, 0.9), untold(0, 0.4, 0.9), untold(1, 0.0, 1.0)]
    assert sorted([near[i] for i in (3, 1, 0, 2)], key=order_key) == near
    assert order_key(near[1]) == (3, -0.45, near[1].start.timestamp())
    assert order_key(near[3])[:2] == (3, -0.05)
    assert order_key(replace(near[1], verdict="cannot tell"))[:2] == (2, -0.45)
    assert order_key(on(0))[:2] == (0, -0.72)
    assert order_key(on(0, control=None, score=None, chance=None))[:2] == (0, 0.0)


def test_days_are_told_apart_by_how_many_weeds_are_up_from_a_twentieth_on() -> None:
    def told(*ups: float | None) -> list[float | None]:
        made = [on(n, up=up).effect for n, up in enumerate(ups)]
        return [effect.up for effect in told_apart([effect for effect in made if effect])]

    assert told(0.5, 0.55) == [0.5, 0.55]
    assert told(0.5, 0.54) == [None, None]
    assert told(0.5, None) == [None, None]
    assert told() == []
