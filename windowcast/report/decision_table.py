"""The decision as a table: what to expect today, tomorrow, on the best day, and of skipping it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import Name, Phrase, Quantity, Share, Span, names, say
from windowcast.report.board import chance
from windowcast.windows.decision_model import Decided, Effect, Option

HARDLY = 0.005  # a share that is not worth a number


@dataclass(frozen=True, slots=True)
class DecisionTable:
    """Columns are ways to decide, rows are questions.

    Attributes
    ----------
    best
        Index of the column that is advised; -1: none of them.
    rows
        Each with its name and a cell for each column.
    """

    columns: tuple[Phrase, ...]
    best: int
    rows: tuple[tuple[Phrase, tuple[Phrase, ...]], ...]


def decision_table(decided: Decided) -> DecisionTable | None:
    """The table of a decision; None where there is no spray window to decide about."""
    options = decided.options
    if not options:
        return None
    rows = [(say("decide.row.hours"), _hours)]
    effects = [one.effect for one in options if one.effect is not None]
    rows.append((_effect_name(effects), _effect))
    if any(effect.up is not None for effect in effects):
        rows.append((say("decide.row.up"), _up))
    if len({effect.actives for effect in effects}) > 1:
        rows.append((say("decide.row.tank"), _tank))
    rows.append((say("decide.row.works"), _works))
    rows.append((say("decide.row.hurt"), _hurt))
    if any(one.rain_matters for one in options):
        rows.append((say("decide.row.washed"), _washed))
    if any(one.lost is not None for one in options):
        rows.append((say("decide.row.lost"), _lost))
    money = next((one.money for one in options if one.money), "")
    if money:
        rows.append((say("decide.row.at_risk", money=Name(money)), _at_risk))
    return DecisionTable(
        tuple(say(f"decide.column.{one.name}") for one in options),
        next((place for place, one in enumerate(options) if one.best), -1),
        tuple((name, tuple(_cell(one, of) for one in options)) for name, of in rows),
    )


def _cell(option: Option, of: Callable[[Option], Phrase]) -> Phrase:
    """One answer; a day without a spray window answers no other question."""
    if option.start is not None or of is _hours:
        return of(option)
    if option.answer == "skip" and of is _effect:
        return say("decide.share", share=Share(0.0))
    return say("decide.none")


def _hours(option: Option) -> Phrase:
    if option.answer == "skip":
        return say("decide.none")
    if option.start is None or option.end is None:
        if not option.shut_by:
            return option.why
        no = option.answer == "no"
        return say("decide.shut" if no else "decide.untold", limit=option.shut_by)
    if option.name in ("today", "tomorrow"):
        return say("decide.clock", when=Span(option.start, option.end))
    return say("decide.when", when=Span(option.start, option.end))


def _effect_name(effects: Sequence[Effect]) -> Phrase:
    """What the row of effects is called: of several weeds, just control."""
    kinds = {(effect.kind, effect.weed) for effect in effects}
    if len(kinds) != 1:
        return say("decide.row.effect")
    ((kind, weed),) = kinds
    if kind == "trials":
        return say("decide.row.control", weed=say(f"weed.{weed}"))
    return say("decide.row.residual") if kind == "residual" else say("decide.row.effect")


def _tank(option: Option) -> Phrase:
    if option.effect is None:
        return say("decide.none")
    return say("decide.tank", actives=names(*option.effect.actives, join="plus"))


def _effect(option: Option) -> Phrase:
    effect = option.effect
    if effect is None:
        return say("decide.no_trial")
    ends = {"low": Share(effect.low), "high": Share(effect.high)}
    return say("decide.effect", middle=Share(effect.middle), **ends)


def _up(option: Option) -> Phrase:
    if option.effect is None or option.effect.up is None:
        return say("decide.none")
    return say("decide.share", share=Share(option.effect.up))


def _works(option: Option) -> Phrase:
    return _unknown() if option.chance is None else say("decide.works", share=Share(option.chance))


def _hurt(option: Option) -> Phrase:
    return _unknown() if option.hurt is None else chance(option.hurt)


def _washed(option: Option) -> Phrase:
    if not option.rain_matters:
        return say("decide.none")
    return _unknown() if option.washed is None else chance(option.washed)


def _lost(option: Option) -> Phrase:
    if option.lost is None:
        return _unknown()
    if option.lost < HARDLY:
        return say("decide.hardly")
    return say("decide.share", share=Share(option.lost))


def _at_risk(option: Option) -> Phrase:
    if option.at_risk_per_ha is None:
        return _unknown()
    return say("decide.cost", cost=Quantity(option.at_risk_per_ha, "ha-1"))


def _unknown() -> Phrase:
    return say("decide.cannot_tell")
