"""One decision: the order, the sentence, the table and "now or wait" say the same."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from report_fixtures import TODAY, ranking, window

import windowcast
from windowcast.core.phrase import NOTHING, say
from windowcast.limits.model import TurfSpan
from windowcast.materials.actives import load_actives
from windowcast.programme.answer import answer
from windowcast.report import board
from windowcast.report.catalogue import Voice
from windowcast.report.decision_table import decision_table
from windowcast.windows.decision import decide, order_key
from windowcast.windows.decision_model import Decided, Effect, Shut, told_apart
from windowcast.windows.model import Job, Odds, PurposeOutlook, Verdict, Window

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
