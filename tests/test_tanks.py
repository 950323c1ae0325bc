"""How an active at hand would do, and which tank orders the days, on hours and trials made up."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import pytest
from limit_values import entry
from report_fixtures import judged, window
from spoken import ordered, render
from test_choices_said import Trials, active, met
from windows_fixtures import site, state

from windowcast.core.phrase import Listing, Phrase, say
from windowcast.limits.model import Limit, TurfAnswer
from windowcast.materials.actives import Active
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.materials.resistance import Resistances, ResistanceStatus
from windowcast.materials.rotation import Use
from windowcast.windows import reasons
from windowcast.windows.choices import Candidate
from windowcast.windows.decision_model import Effect
from windowcast.windows.model import Choice, StockFit, Window
from windowcast.windows.purposes import purpose_of
from windowcast.windows.tanks import Tanks

TODAY = dt.date(2023, 1, 16)
POST, PRE = purpose_of("post-early"), purpose_of("pre-fall")
WEEDS = Listing((say("weed.POAAN"),))
THIN = say("limit.thin")


def answers(*said: str) -> list[TurfAnswer]:
    return [
        TurfAnswer(TODAY + dt.timedelta(days=n), (Limit("a", one, THIN, "s"),))  # type: ignore[arg-type]
        for n, one in enumerate(said)
    ]


@dataclass(frozen=True)
class Made(Tanks):
    """Tanks whose choices and trials are written down, by the start of the window."""

    chosen: dict[dt.datetime, tuple[Choice, ...]] = field(default_factory=dict)
    trials: dict[dt.datetime, Trials] = field(default_factory=dict)

    def _choices(self, purpose: Any, window: Window, controlled: Any, met: Any) -> Any:
        return self.chosen.get(window.start, ())

    def _met(self, purpose: Any, window: Window) -> Trials:
        return self.trials[window.start]


def tanks(
    found: Window | None = None, turf: tuple[str, ...] = ("yes", "yes"), **known: Any
) -> Made:
    hours: Any = SimpleNamespace(
        ctx=SimpleNamespace(ahead=state(), site=site()),
        judge=SimpleNamespace(turf=lambda needs: answers(*turf), scores=lambda *of: of),
        days=2,
        ordered=lambda needs, scores: [] if found is None else [(needs, scores), "worse"],
        window=lambda purpose, needs, rated: (
            found if rated == (needs, (purpose, needs)) else pytest.fail("not the best hours")
        ),
    )
    usual: dict[str, Any] = {
        "running": SimpleNamespace(today=TODAY, daily=None), "barriers": (), "candidates": (),
        "uses": (), "resistance": Resistances(),
    }  # fmt: skip
    return Made(hours, **(usual | known))


def simazine(**more: Any) -> Active:
    return replace(active("simazine", 5), **more)


def needs(*members: Active) -> ActiveNeeds:
    return needs_of(members or [simazine()])


HELD = judged()
BECAUSE = reasons.because(HELD.label, HELD.reason)
FIT = window(score=80.0)
HOURS = (FIT.start, FIT.end)


def fit(verdict: Any, reason: Phrase, *, name: str = "simazine", hours: bool = False) -> StockFit:
    start, end = HOURS if hours else (None, None)
    return StockFit(name, verdict, start, end, 80.0 if hours else None, reason)


def same(found: StockFit, expected: StockFit) -> None:
    assert ordered(found) == ordered(expected)
    assert render(found.reason)


def clauses(*parts: Phrase) -> Phrase:
    return say("stock.reasons", of=Listing(parts, "clauses"))


# --- what is at hand ------------------------------------------------------------------------------


def test_an_active_is_judged_by_the_best_hours_it_has() -> None:
    free = replace(FIT, limiting=None)
    same(tanks(free).stock_fit(POST, needs()), fit("fit", say("stock.nothing"), hours=True))
    same(tanks(FIT).stock_fit(POST, needs()), fit("fit", BECAUSE, hours=True))
    two = needs(simazine(), active("MSMA", 0))
    same(tanks(FIT).stock_fit(POST, two), fit("fit", BECAUSE, name="simazine + MSMA", hours=True))
    low = replace(FIT, verdict="unfit")
    same(tanks(low).stock_fit(POST, needs()), fit("unfit", BECAUSE, hours=True))


def test_an_active_that_is_of_no_use_here_says_why() -> None:
    pre, growth = simazine(timing=entry("pre")), simazine(timing=entry("growth"))
    for one, acts in ((pre, "pre"), (growth, "growth")):
        found = tanks(FIT).stock_fit(POST, needs(one))
        same(found, fit("unfit", say(f"advice.acts_only.{acts}")))
    late = tanks(FIT).stock_fit(PRE, needs())
    same(late, fit("unfit", say("advice.acts_only.post")))
    # known to do nothing, and known by nobody to do anything
    for does, verdict, said in (
        ({"POAAN": entry("no")}, "unfit", "stock.misses"),
        ({"POAAN": entry("suppresses")}, "cannot tell", "stock.reach_unknown"),
    ):
        found = tanks(FIT).stock_fit(POST, needs(simazine(spectrum=does)))
        same(found, fit(verdict, say(said, weeds=WEEDS)))
    same(tanks().stock_fit(POST, needs()), fit("unfit", say("stock.no_hours")))


@pytest.mark.parametrize(
    ("turf", "verdict"),
    [
        (("no", "no", "yes"), "unfit"),  # the third day is not ranked
        (("cannot tell", "no", "yes"), "cannot tell"),
        (("no", "yes"), ""),
    ],
)
def test_the_turf_says_no_to_an_active_only_on_all_days(
    turf: tuple[str, ...], verdict: str
) -> None:
    found = tanks(FIT, turf=turf).stock_fit(POST, needs())
    same(found, fit(verdict, THIN) if verdict else fit("fit", BECAUSE, hours=True))


@pytest.mark.parametrize("standing", ["resistant", "segregating", "suspected"])
@pytest.mark.parametrize("verdict", ["fit", "unfit"])
def test_what_a_weed_may_resist_is_marginal_at_most(standing: Any, verdict: Any) -> None:
    here = Resistances(
        (ResistanceStatus("POAAN", 5, standing, "declared"),), groups={"simazine": 5}
    )
    best = replace(FIT, verdict=verdict)
    made = tanks(best, resistance=here)
    failing = made.against(POST)(("simazine",))
    assert failing is not None
    found = made.stock_fit(POST, needs())
    if standing == "resistant":
        same(found, fit("unfit", failing.text))
        return
    worse = "marginal" if verdict == "fit" else verdict
    same(found, fit(worse, clauses(failing.text, BECAUSE), hours=True))


def use(group: int, season: str = "2022/23", purpose: str = "post-early") -> Use:
    return Use(TODAY - dt.timedelta(days=30), season, purpose, ("x",), (group,))


def used(group: int, when: str) -> Phrase:
    return say(f"stock.used_{when}", group=group)


def test_a_group_that_was_used_lately_is_marginal_at_most() -> None:
    this, before = use(5), use(9, "2021/22")
    spent = say("stock.reasons", of=Listing((used(5, "this"),)))
    made = tanks(FIT, uses=(this,))
    same(made.stock_fit(POST, needs()), fit("marginal", clauses(spent, BECAUSE), hours=True))
    free = tanks(replace(FIT, limiting=None), uses=(this,))
    same(free.stock_fit(POST, needs()), fit("marginal", spent, hours=True))
    unfit = tanks(replace(FIT, verdict="unfit"), uses=(this,))
    assert unfit.stock_fit(POST, needs()).verdict == "unfit"
    # a mixture only where each of its groups was, another purpose not at all
    both = needs(simazine(), active("glyphosate", 9))
    half = tanks(FIT, uses=(this,)).stock_fit(POST, both)
    same(half, fit("fit", BECAUSE, name="simazine + glyphosate", hours=True))
    whole = tanks(FIT, uses=(this, before)).stock_fit(POST, both)
    two = say("stock.reasons", of=Listing((used(5, "this"), used(9, "last"))))
    same(whole, fit("marginal", clauses(two, BECAUSE), name="simazine + glyphosate", hours=True))
    same(tanks(FIT, uses=(use(5, purpose="dormant"),)).stock_fit(POST, needs()),
         fit("fit", BECAUSE, hours=True))  # fmt: skip
    # an active of no known group repeats none
    plain = needs(simazine(group=entry(0)))
    same(tanks(FIT, uses=(use(0),)).stock_fit(POST, plain), fit("fit", BECAUSE, hours=True))


def test_what_the_label_must_say_is_named_where_it_keeps_it_from_being_told() -> None:
    unknown = (THIN, say("limit.mature"))
    asked = replace(needs(), unknown=unknown)
    found = tanks(replace(FIT, verdict="cannot tell")).stock_fit(POST, asked)
    told = say("stock.unknown", what=Listing(unknown, "clauses"))
    assert ordered(found) == ordered(fit("cannot tell", told, hours=True))
    assert tanks(FIT).stock_fit(POST, asked).reason == BECAUSE
    blind = tanks(replace(FIT, verdict="cannot tell")).stock_fit(POST, replace(asked, unknown=()))
    assert blind.reason == BECAUSE


def test_what_surely_does_nothing_to_all_watched_weeds() -> None:
    made = tanks(FIT)
    assert made.codes(POST) == ("POAAN",)
    assert made.codes(purpose_of("pre-spring")) == ("DIGIS",)
    assert made.misses_all(POST, needs(simazine(spectrum={"POAAN": entry("no")})))
    assert not made.misses_all(POST, needs(simazine(spectrum={})))
    assert not made.misses_all(POST, needs())
    assert not made.misses_all(POST, POST.generic)  # no active is named


# --- the order of the days ------------------------------------------------------------------------


def at(day: int, score: float = 80.0) -> Window:
    return replace(window(day=day, score=score), odds=None)


def choice(name: str) -> Choice:
    return Choice((name,), (), "fit", 80.0, None, False, (), ())


FIRST, SECOND = at(1), at(2)
SIMAZINE, MSMA = Candidate(needs()), Candidate(needs(active("MSMA", 0)))
WEAK, STRONG = (met(simazine={"POAAN": c}, MSMA={"POAAN": c - 0.1}) for c in (0.5, 0.75))


def effect(middle: float, name: str = "simazine", up: float | None = None) -> Effect:
    return Effect("trials", "POAAN", middle, middle - 0.2, middle + 0.1, (name,), up)


def test_the_tank_asked_for_orders_the_days_by_what_it_does_on_them() -> None:
    made = tanks(trials={FIRST.start: WEAK, SECOND.start: STRONG}, candidates=(MSMA,))
    windows, choices = made.by_effect(POST, needs(), (FIRST, SECOND))
    assert [window.effect for window in windows] == [effect(0.75), effect(0.5)]
    assert [window.start for window in windows] == [SECOND.start, FIRST.start]
    assert choices == ()


def test_the_first_choice_of_each_window_is_its_tank() -> None:
    chosen = {FIRST.start: (choice("MSMA"),), SECOND.start: (choice("simazine"), choice("MSMA"))}
    made = tanks(
        trials={FIRST.start: STRONG, SECOND.start: WEAK}, candidates=(SIMAZINE, MSMA),
        chosen=chosen,
    )  # fmt: skip
    for mixture in (None, replace(needs(), names=())):
        windows, choices = made.by_effect(POST, mixture, (SECOND, FIRST))
        assert [window.effect for window in windows] == [effect(0.65, "MSMA"), effect(0.5)]
        assert choices == chosen[FIRST.start]
    # where no source tells of one of the days, the order is that of the hours
    for untold in (replace(made, trials={FIRST.start: met(), SECOND.start: WEAK}),
                   replace(made, chosen={SECOND.start: chosen[SECOND.start]})):  # fmt: skip
        windows, choices = untold.by_effect(POST, None, (SECOND, FIRST))
        assert windows == (SECOND, FIRST)
        assert choices == chosen[SECOND.start]
    assert made.by_effect(POST, None, ()) == ((), ())


def test_how_many_weeds_are_up_counts_where_it_tells_the_days_apart() -> None:
    few, many = (replace(STRONG, up=up) for up in (0.5, 0.75))
    for trials, ups in (({FIRST.start: few, SECOND.start: many}, [0.75, 0.5]),
                        ({FIRST.start: few, SECOND.start: few}, [None, None])):  # fmt: skip
        windows, _ = tanks(trials=trials).by_effect(POST, needs(), (FIRST, SECOND))
        assert [window.effect.up if window.effect else -1 for window in windows] == ups
