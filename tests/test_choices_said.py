"""With what: which candidate is a choice, and all that is said for and against it.

The judge, the trials and the candidates are made up: each case is a hand-made reason to name one,
to put it last or to leave it out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from limit_values import entry
from spoken import ordered, render
from windows_fixtures import state

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Quantity, Share, say
from windowcast.core.values import Table, Value
from windowcast.materials.actives import Active
from windowcast.materials.needs import needs_of
from windowcast.materials.resistance import Failing, Resistances, ResistanceStatus
from windowcast.windows import trials as of_trials
from windowcast.windows.choices import MOST, Candidate, choices, expected
from windowcast.windows.decision_model import Effect
from windowcast.windows.model import Allowance, Choice, Judged, TrialControl
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import ResidualActive
from windowcast.windows.score import Block, Rule
from windowcast.windows.trials import Met

POST, DORMANT, PRE = (purpose_of(name) for name in ("post-early", "dormant", "pre-fall"))
WEEDS = ("POAAN", "STEME")
BLOCK = Block(3, 6)
RULE = Rule(0.6, 0.5, 0.3, 2, 8, 0.85, 0.3, 30, 0.97, 20)
WIND = say("criterion.wind.label")
LIMIT = Judged("wind", WIND, "marginal", 0.5, 9.0, "m s-1", say("criterion.wind.unknown"), "s")


def active(
    name: str, group: int = 9, timing: str = "post", spectrum: dict[str, str] | None = None
) -> Active:
    does = {"POAAN": "controls", "STEME": "controls"} if spectrum is None else spectrum
    return Active(
        name, entry(group), entry("translocated"), entry("leaf"), entry(timing),
        spectrum={weed: entry(what) for weed, what in does.items()},
    )  # fmt: skip


def candidate(*members: Active, **known: Any) -> Candidate:
    return Candidate(needs_of(members or [active("simazine", 5)]), **known)


def trial(weed: str, middle: float, *, own: tuple[str, ...] = (), trials: int = 3) -> TrialControl:
    return TrialControl(weed, middle - 0.2, middle + 0.1, "a paper", "", middle, trials, own)


@dataclass(frozen=True)
class Trials(Met):
    """What an application meets, with the control that trials let expect written down."""

    written: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def by(self, actives: Any, rate_share: float | None = 1.0) -> tuple[TrialControl, ...]:
        return tuple(
            trial(weed, middle) for (name, weed), middle in self.written.items() if name in actives
        )


def met(up: float | None = None, **control: Any) -> Trials:
    written = {(n, w): middle for n, of in control.items() for w, middle in of.items()}
    stages = dict.fromkeys(WEEDS, 12.0)
    return Trials(stages, "post", 10.0, Table("efficacy", {}), up=up, written=written)


def asked(
    *candidates: Candidate,
    purpose: Any = POST,
    score: float = 0.8,
    limit: Judged | None = None,
    taken: tuple[str, ...] = ("no", "yes", "no"),
    **known: Any,
) -> tuple[Choice, ...]:
    judge: Any = SimpleNamespace(
        turf=lambda needs: [SimpleNamespace(answer=answer) for answer in taken],
        at=lambda asked_of, needs, block: {(purpose.name, BLOCK): (score, limit)}[
            (asked_of.name, block)
        ],
        ctx=SimpleNamespace(rule=RULE),
    )
    usual: dict[str, Any] = {
        "codes": WEEDS, "timed_by": ("POAAN",), "day": 1, "spent": None,
        "against": lambda names: None, "controlled": {}, "met": met(),
    }  # fmt: skip
    return choices(judge, purpose, candidates, BLOCK, **(usual | known))


def said(trial_of: TrialControl) -> Phrase:
    return say("choice.trials", **of_trials.said_of(trial_of))


UNKNOWN = say("choice.unknown_effect")


def test_a_choice_in_full() -> None:
    (found,) = asked(candidate())
    expected_ = Choice(
        ("simazine",), (5,), "fit", 80.0, None, False, (), (UNKNOWN,), controls=WEEDS
    )
    assert found == expected_
    left = Allowance("simazine", 1.0, 3.0, 0.5)
    made = candidate(left=(left,), cost_per_ha=12.0, money="EUR")
    control = met(simazine={"STEME": 0.9, "POAAN": 0.5})
    (found,) = asked(made, score=0.45678, limit=LIMIT, spent={}, met=control)
    expected_ = Choice(
        ("simazine",), (5,), "marginal", 45.7, 0.7, False,
        speaks_for=(
            said(trial("POAAN", 0.5)), said(trial("STEME", 0.9)), say("choice.fresh"),
            say("choice.left_times", left=Quantity(2.0, "kg ha-1"), most=Quantity(3.0, "kg ha-1"),
                times=4),
            say("choice.cost", cost=Quantity(12.0, "ha-1"), money=Name("EUR")),
        ),
        speaks_against=(WIND,), left=(left,), cost_per_ha=12.0, money="EUR", controls=WEEDS,
    )  # fmt: skip
    assert ordered(found) == ordered(expected_)
    assert all(render(phrase) for phrase in (*found.speaks_for, *found.speaks_against))


@pytest.mark.parametrize(
    ("left", "expected_"),
    [
        (Allowance("simazine", None, None, None), NOTHING),
        (Allowance("simazine", 1.0, None, 0.5), NOTHING),
        (Allowance("simazine", 1.0, 3.0, None),
         say("choice.left", left=Quantity(2.0, "kg ha-1"), most=Quantity(3.0, "kg ha-1"))),
        (Allowance("simazine", 1.0, 3.0, 2.0),
         say("choice.left_times", left=Quantity(2.0, "kg ha-1"), most=Quantity(3.0, "kg ha-1"),
             times=1)),
    ],
)  # fmt: skip
def test_what_is_left_of_a_yearly_maximum(left: Allowance, expected_: Phrase) -> None:
    (found,) = asked(candidate(left=(left,)))
    assert ordered(found.speaks_for) == ordered((expected_,) if expected_ else ())


@pytest.mark.parametrize(
    ("amounts", "left", "more", "spent"),  # used, most, last rate
    [
        ((0.0, 3.0, None), 3.0, None, False),
        ((1.0, 3.0, 0.5), 2.0, 4, False),
        (
            (2.7, 3.0, 0.1),
            0.3,
            3,
            False,
        ),  # 0.3 / 0.1 is a little less than 3 in a machine's numbers
        ((2.0, 3.0, 2.0), 1.0, 0, True),
        ((4.0, 3.0, None), 0.0, None, True),
        ((3.0, 3.0, 1.0), 0.0, 0, True),
        ((None, 3.0, 1.0), None, None, True),  # the log lacks a rate
        ((1.0, None, 1.0), None, None, False),  # no maximum entered
    ],
)
def test_a_yearly_maximum_by_hand(
    amounts: tuple[float | None, float | None, float | None],
    left: float | None,
    more: int | None,
    spent: bool,
) -> None:
    found = Allowance("simazine", *amounts)
    assert found.left_kg_ha == (None if left is None else pytest.approx(left))
    assert found.more == more
    assert found.spent is spent
    assert bool(asked(candidate(left=(found,)))) is not spent


# --- what is no choice ----------------------------------------------------------------------------


def standing(kind: Any) -> Any:
    failing = Failing(kind, "simazine", ResistanceStatus("POAAN", 5, kind, "declared"))
    return lambda names: failing if names == ("simazine",) else None


@pytest.mark.parametrize(
    ("made", "known"),
    [
        (candidate(active("simazine", 5, "pre")), {}),  # acts on what is not yet up
        (candidate(active("simazine", 5, spectrum={})), {}),
        (candidate(active("simazine", 5, spectrum={"STEME": "controls"})), {}),  # not what times it
        (candidate(active("simazine", 5, spectrum={"POAAN": "suppresses"})), {}),
        (candidate(), {"taken": ("yes", "no", "yes")}),
        (candidate(), {"taken": ("yes", "cannot tell", "yes")}),
        (candidate(), {"against": standing("resistant")}),
        (candidate(), {"score": 0.29}),
        (candidate(), {"score": float("nan")}),
    ],
)
def test_what_is_no_choice_does_not_keep_others_out(made: Candidate, known: dict[str, Any]) -> None:
    assert asked(made, **known) == ()
    if "taken" not in known and "score" not in known:
        other = candidate(active("MSMA", 0))
        assert [one.actives for one in asked(made, other, **known)] == [("MSMA",)]


def test_a_group_used_lately_speaks_against_and_no_group_is_never_fresh() -> None:
    spent = {5: "this season", 9: "last season"}
    this, last = (say(f"stock.used_{when}", group=g) for when, g in (("this", 5), ("last", 9)))
    both = candidate(active("simazine", 5), active("glyphosate", 9))
    half = candidate(active("simazine", 5), active("MSMA", 17))
    for made, against, repeats in (
        (candidate(), [this], True),
        (both, [this, last], True),
        (half, [this], False),
    ):
        (found,) = asked(made, spent=spent)
        assert list(found.speaks_against) == [*against, UNKNOWN]
        assert found.repeats is repeats
        assert found.speaks_for == ()
    (fresh,) = asked(candidate(active("MSMA", 17)), spent=spent)
    assert fresh.speaks_for == (say("choice.fresh"),)
    (none,) = asked(candidate(active("MSMA", 0)), spent={})
    assert (none.groups, none.speaks_for, none.repeats) == ((), (), False)


def test_what_is_not_controlled_speaks_against() -> None:
    for does, said_ in (("no", "misses"), ("some", "untold")):
        (found,) = asked(
            candidate(active("MSMA", 0, spectrum={"POAAN": "controls", "STEME": does}))
        )
        weeds = Listing((say("weed.STEME"),))
        assert found.speaks_against == (say(f"choice.{said_}", weeds=weeds), UNKNOWN)
        assert found.controls == ("POAAN",)


@pytest.mark.parametrize("kind", ["segregating", "suspected"])
def test_what_may_be_resisted_says_so_and_comes_last(kind: Any) -> None:
    control = met(simazine={"POAAN": 0.9}, MSMA={"POAAN": 0.2})
    doubted, other = candidate(), candidate(active("MSMA", 0))
    first, last = asked(doubted, other, against=standing(kind), met=control)
    assert (first.actives, first.resistance) == (("MSMA",), None)
    assert (last.actives, last.resistance) == (("simazine",), kind)
    failing = standing(kind)(("simazine",))
    assert last.speaks_against == (failing.text,)


def test_no_more_are_named_than_a_tank_shop_has_hands_for() -> None:
    many = [candidate(active(f"made {n}", 0)) for n in range(5)]
    control = met(None, **{f"made {n}": {"POAAN": 0.1 * (n + 1)} for n in range(5)})
    assert [one.actives[0] for one in asked(*many, met=control)] == ["made 4", "made 3", "made 2"]
    assert MOST == 3


# --- what it is expected to do --------------------------------------------------------------------

LIFE = Value("made.up", 60.0, "d", "a trial", "published", 40.0, 90.0)
RESIDUAL = ResidualActive("simazine", LIFE, 12.7, 7)
LASTS = {"simazine": (0.6, 0.5, 0.7)}
OWN = Value("made.up", 85.0, "%", "mine", "label guidance", 80.0, 90.0)
NAMES = ("simazine",)


@pytest.mark.parametrize(
    ("purpose", "known", "controlled", "effect"),
    [
        (PRE, {"residual": RESIDUAL}, LASTS, Effect("residual", "", 0.6, 0.5, 0.7, NAMES)),
        (PRE, {"residual": RESIDUAL}, {}, Effect("trials", "POAAN", 0.5, 0.3, 0.6, NAMES, 0.4)),
        (PRE, {}, LASTS, Effect("trials", "POAAN", 0.5, 0.3, 0.6, NAMES, 0.4)),
        (POST, {"residual": RESIDUAL, "control": OWN}, LASTS,
         Effect("trials", "POAAN", 0.5, 0.3, 0.6, NAMES, 0.4)),
        (DORMANT, {"control": OWN}, {}, Effect("own", "", 0.8, 0.8, 0.9, NAMES, 0.4)),
    ],
)  # fmt: skip
def test_the_effect_that_counts(
    purpose: Any, known: dict[str, Any], controlled: Any, effect: Effect
) -> None:
    meets = met(0.4, simazine={"STEME": 0.9, "POAAN": 0.5})
    found = expected(candidate(**known), purpose, controlled, meets)
    assert found is not None
    assert replace(found, low=round(found.low, 9), high=round(found.high, 9)) == effect
    assert expected(candidate(active("MSMA", 0)), purpose, {}, meets) is None


def test_the_effect_of_a_choice_is_said() -> None:
    trials = met(simazine={"STEME": 0.9, "POAAN": 0.5})
    two = [said(trial("POAAN", 0.5)), said(trial("STEME", 0.9))]
    pre = candidate(active("simazine", 5, "both"), residual=RESIDUAL)
    (found,) = asked(pre, purpose=PRE, controlled=LASTS, met=trials)
    assert found.effect == 0.6
    assert list(found.speaks_for) == [say("choice.residual", share=Share(0.6)), *two]
    (own,) = asked(candidate(control=OWN), purpose=DORMANT, met=trials)
    assert own.effect == 0.8
    assert list(own.speaks_for) == [say("choice.control", low=Share(0.8), high=Share(0.9))]
    exact = candidate(control=replace(OWN, low=85.0, high=85.0))
    (own,) = asked(exact, purpose=DORMANT, met=trials)
    assert list(own.speaks_for) == [say("choice.control_of", share=Share(0.85))]
    # of all weeds the mean, one without a trial counting as not controlled
    (half,) = asked(candidate(), met=met(simazine={"POAAN": 0.5}))
    assert half.effect == 0.25


# --- what an application meets --------------------------------------------------------------------


def test_the_mean_control_of_the_weeds_and_how_many_are_up() -> None:
    base = state(share=0.5)
    early, late = base.emergence["POAAN"], base.emergence["DIGIS"]
    shares = np.array([[0.2, 0.4], [0.4, 0.6]])
    leaves = np.array([[1.0, 3.0], [2.0, 5.0]])
    fall = replace(early, share=shares, mean_leaf=leaves)
    other = replace(fall, weed="STEME", share=shares + 0.2, mean_leaf=leaves - 1)
    spring = replace(late, share=shares)
    known = replace(base, emergence={"POAAN": fall, "STEME": other, "DIGIS": spring})
    table = Table("efficacy", {})
    statuses = (
        ResistanceStatus("POAAN", 5, "resistant", "tested"),
        ResistanceStatus("", 9, "resistant", "declared"),
        ResistanceStatus("STEME", 14, "suspected", "log"),
    )
    resistance = Resistances(statuses)
    found = Met.on(1, POST, known, air_c=9.0, efficacy=table, resistance=resistance)
    # 10 + 3 leaves and, of 5 leaves where tillers begin with the fourth, 20 + 2
    assert found.stages_bbch == {"POAAN": (13.0 + 22.0) / 2, "STEME": (12.0 + 21.0) / 2}
    assert (found.timing, found.air_c, found.efficacy) == ("post", 9.0, table)
    assert found.resisted == {"POAAN": frozenset({5, 9}), "STEME": frozenset({9})}
    assert found.up == pytest.approx((0.5 + 0.7) / 2)
    pre = Met.on(1, PRE, known, air_c=None, efficacy=table)
    assert pre == Met({"POAAN": 0.0, "STEME": 0.0}, "pre", None, table,
                      {"POAAN": frozenset(), "STEME": frozenset()}, None)  # fmt: skip
    general = replace(fall, doubt_weeks=2.0)  # a clock that several weeds share tells no stage
    roughly = Met.on(
        1, POST, replace(base, emergence={"POAAN": general}), air_c=9.0, efficacy=table
    )
    assert roughly.stages_bbch == {"POAAN": None}
    blind = replace(fall, share=np.full((2, 2), np.nan), mean_leaf=np.full((2, 2), np.nan))
    for unknown in ({"POAAN": blind}, {"POAAN": blind, "STEME": other}):
        untold = Met.on(1, POST, replace(base, emergence=unknown), air_c=9.0, efficacy=table)
        assert untold.up is None
        assert untold.stages_bbch["POAAN"] is None
    assert Met.on(1, POST, replace(base, emergence={}), air_c=9.0, efficacy=table).up is None
    assert found.share([trial("POAAN", 0.5)]) == 0.25
    assert found.share([trial("POAAN", 0.5), trial("STEME", 0.9)]) == pytest.approx(0.7)
    assert found.share([]) is None


@pytest.mark.parametrize(
    ("trials", "own", "evidence"),
    [
        (3, (), say("evidence.published", trials=3)),
        (0, ("A", "B"), say("evidence.own", trials=2, own=Listing((Name("A"), Name("B"))))),
        (3, ("A",), say("evidence.both", trials=3, own=Listing((Name("A"),)))),
    ],
)
def test_what_a_figure_rests_on(trials: int, own: tuple[str, ...], evidence: Phrase) -> None:
    one = trial("POAAN", 0.5, own=own, trials=trials)
    assert ordered(of_trials.evidence_said(one)) == ordered(evidence)
    values: dict[str, Any] = {
        "evidence": evidence, "middle": Share(0.5), "low": Share(one.low), "high": Share(one.high),
        "weed": say("weed.POAAN"),
    }  # fmt: skip
    assert ordered(tuple(of_trials.said_of(one).items())) == ordered(tuple(values.items()))
    (phrase,) = of_trials.trial_phrases([one])
    assert ordered(phrase) == ordered(say("cover.trials", **values))
    assert render(phrase)
