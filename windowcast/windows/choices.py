"""With what: of the actives at hand, or of all, those that serve an open window best.

A choice must be known to control a watched weed, be taken by the turf on the window's day and good
enough in its hours as forecast; what cannot be told of an active keeps it out. Nothing that a weed
of the purpose resists on this ground is named, and what it may resist comes last. Of the others
those whose mode of action was not used lately come first, then those that control most of the
weeds, then those that are expected to do most, as far as trials or the user's own numbers say it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Quantity, Share, joined, say
from windowcast.core.values import Value
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import Failing
from windowcast.materials.spectrum import Reach, reach
from windowcast.windows.decision_model import Effect
from windowcast.windows.judge import Judge
from windowcast.windows.model import Allowance, Choice
from windowcast.windows.purposes import Purpose
from windowcast.windows.residual import ResidualActive
from windowcast.windows.score import Block
from windowcast.windows.trials import Met, said_of

MOST = 3  # choices named for a purpose
WEEDS_SAID = 2  # of those that a choice is aimed at, the hardest first


@dataclass(frozen=True)
class Candidate:
    """Something that may go into the tank.

    Attributes
    ----------
    needs
        Of the active or mixture.
    residual
        What stays active in the soil, the longest lasting of its members; None: none is known.
    control
        Percent control on dormant turf by the user's own materials file; None: it does not say.
    left
        What is left of the yearly maximum of each of its actives.
    cost_per_ha, money
        As of `Choice`.
    """

    needs: ActiveNeeds
    residual: ResidualActive | None = None
    control: Value | None = None
    left: tuple[Allowance, ...] = ()
    cost_per_ha: float | None = None
    money: str = ""


def choices(
    judge: Judge,
    purpose: Purpose,
    candidates: Sequence[Candidate],
    block: Block,
    *,
    codes: Sequence[str],
    timed_by: Sequence[str],
    day: int,
    spent: Mapping[int, str] | None,
    against: Callable[[Sequence[str]], Failing | None],
    controlled: Mapping[str, tuple[float, float, float]],
    met: Met,
) -> tuple[Choice, ...]:
    """The best of the candidates for the hours of a window, at most `MOST`.

    Parameters
    ----------
    judge
        Of the hours that `block` lies in.
    codes, timed_by
        EPPO codes of the watched weeds of the purpose's season, and of those that its timing goes
        by: what is not known to control any of the latter is no choice.
    day
        Day of the window, counted from today.
    spent
        Group → when it was last used for the purpose, "this season" or "last season"; None: nobody
        logged what was used.
    against
        What speaks against the actives of a tank on the weeds of the purpose: a tank that fails on
        one of them is left out, one of which that is suspected comes last.
    controlled
        Name of a residual → share of the season's weeds that emerge while it holds, 0..1, when
        applied on that day: mean, 10 and 90 %.
    met
        The weeds that an application meets on that day, and the air.
    """
    found = []
    for candidate in candidates:
        needs = candidate.needs
        reached = reach(needs.actives, codes, pre=purpose.barrier)
        if not purpose.serves(needs) or not set(reached.controls) & set(timed_by):
            continue
        if judge.turf(needs)[day].answer != "yes":
            continue
        if any(left.spent for left in candidate.left):
            continue
        failing = against(needs.names)
        if failing is not None and failing.standing == "resistant":
            continue
        score, limit = judge.at(purpose, needs, block)
        verdict = judge.ctx.rule.verdict(score)
        if verdict not in ("fit", "marginal"):
            continue
        effect, texts = _effect(candidate, purpose, controlled, met)
        lately = spent or {}
        used = {g: lately[g] for g in needs.groups if g in lately}
        known = spent is not None and bool(needs.groups)
        fresh = say("choice.fresh") if known and not used else NOTHING
        found.append(
            Choice(
                actives=needs.names,
                groups=needs.groups,
                verdict=verdict,
                score=round(100 * score, 1),
                effect=effect,
                speaks_for=_some(*texts, fresh, *map(_left, candidate.left), _cost(candidate)),
                speaks_against=_some(
                    NOTHING if failing is None else failing.text,
                    *_beyond(reached),
                    *(used_lately(group, when) for group, when in used.items()),
                    say("choice.unknown_effect") if effect is None else NOTHING,
                    NOTHING if limit is None else limit.label,
                ),
                repeats=bool(used) and len(used) == len(needs.groups),
                left=candidate.left,
                cost_per_ha=candidate.cost_per_ha,
                money=candidate.money,
                resistance=None if failing is None else failing.standing,
                controls=reached.controls,
            )
        )
    return tuple(sorted(found, key=_order)[:MOST])


def _order(choice: Choice) -> tuple[float, ...]:
    effect = -1.0 if choice.effect is None else choice.effect
    doubted = choice.resistance is not None
    first = (doubted, choice.repeats, choice.verdict != "fit", -len(choice.controls))
    return (*first, -round(effect, 2), -choice.score)


def _beyond(reached: Reach) -> tuple[Phrase, ...]:
    """The watched weeds that a choice does nothing to, and those of which no source tells."""
    return _some(
        say("choice.misses", weeds=weed_names(reached.misses)) if reached.misses else NOTHING,
        say("choice.untold", weeds=weed_names(reached.unknown)) if reached.unknown else NOTHING,
    )


def weed_names(codes: Sequence[str]) -> Listing:
    """Weeds by name, in a row."""
    return joined(*(say(f"weed.{code}") for code in codes))


def _some(*phrases: Phrase) -> tuple[Phrase, ...]:
    return tuple(phrase for phrase in phrases if phrase)


def expected(
    candidate: Candidate,
    purpose: Purpose,
    controlled: Mapping[str, tuple[float, float, float]],
    met: Met,
) -> Effect | None:
    """What a candidate is expected to do; None where no source tells. Parameters as `choices`."""
    names_ = candidate.needs.names
    if purpose.barrier and candidate.residual is not None:
        shares = controlled.get(candidate.residual.name)
        if shares is not None:
            return Effect("residual", "", *shares, names_)
    if purpose.name == "dormant" and candidate.control is not None:
        low, high = (end / 100 for end in candidate.control.ends)
        return Effect("own", "", low, low, high, names_, met.up)
    worst = min(met.by(names_), key=lambda trial: trial.middle, default=None)
    if worst is None:
        return None
    return Effect("trials", worst.weed, worst.middle, worst.low, worst.high, names_, met.up)


def _effect(
    candidate: Candidate,
    purpose: Purpose,
    controlled: Mapping[str, tuple[float, float, float]],
    met: Met,
) -> tuple[float | None, list[Phrase]]:
    """The expected effect on all weeds, 0..1, and what it is; None where no source tells."""
    trials = sorted(met.by(candidate.needs.names), key=lambda trial: trial.middle)
    said = [say("choice.trials", **said_of(trial)) for trial in trials[:WEEDS_SAID]]
    effect = expected(candidate, purpose, controlled, met)
    if effect is not None and effect.kind == "residual":
        return effect.middle, [say("choice.residual", share=Share(effect.middle)), *said]
    if effect is not None and effect.kind == "own":
        low, high = Share(effect.low), Share(effect.high)
        own = say("choice.control", low=low, high=high)
        return effect.low, [own if low != high else say("choice.control_of", share=low)]
    return met.share(trials), said


def used_lately(group: int, when: str) -> Phrase:
    """That a group was used for the purpose "this season" or "last season"."""
    return say("stock.used_this" if when == "this season" else "stock.used_last", group=group)


def _cost(candidate: Candidate) -> Phrase:
    if candidate.cost_per_ha is None:
        return NOTHING
    cost = Quantity(candidate.cost_per_ha, "ha-1")
    return say("choice.cost", cost=cost, money=Name(candidate.money))


def _left(allowance: Allowance) -> Phrase:
    """What is left of a yearly maximum; nothing where the label's is not entered."""
    left = allowance.left_kg_ha
    if left is None or allowance.max_kg_ha is None:
        return NOTHING
    most = Quantity(allowance.max_kg_ha, "kg ha-1")
    if allowance.more is None:
        return say("choice.left", left=Quantity(left, "kg ha-1"), most=most)
    return say("choice.left_times", left=Quantity(left, "kg ha-1"), most=most, times=allowance.more)
