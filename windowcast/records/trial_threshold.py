"""From which weed cover on treating pays, by a trial's own ratings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from windowcast.core.errors import InputError
from windowcast.materials.product import parse_area_price
from windowcast.records.place_effects import untreated_arm
from windowcast.records.trial_rounds import TrialRound
from windowcast.trials.contrasts import COVER
from windowcast.trials.model import TrialAnalysis
from windowcast.trials.threshold import (
    WEEDS,
    ControlKnown,
    PayingCover,
    QualityLine,
    controls_of,
    paying_cover,
    quality_line,
)
from windowcast.trials.trial_file import TrialFile

QUALITY = "quality 1-9"
Rounds = Sequence[tuple[TrialRound, TrialAnalysis]]


@dataclass(frozen=True, slots=True)
class TurfThreshold:
    """What a trial says of when to treat.

    Attributes
    ----------
    round
        Whose control was taken; None where no round has any.
    paying
        For each treatment, where a worth was given or follows from quality.
    quality
        How quality falls with weed cover; None where plots were not rated for both on one day.
    quality_round
        That day's round of cover.
    good_up_to
        The cover up to which quality is acceptable, with its range; None where it was not asked.
    """

    round: TrialRound | None
    controls: tuple[ControlKnown, ...]
    paying: tuple[PayingCover, ...]
    quality: QualityLine | None
    quality_round: TrialRound | None
    good_up_to: tuple[float, float, float] | None


def turf_threshold(
    trial: TrialFile,
    rounds: Rounds,
    *,
    costs: Mapping[str, float],
    worth: float | None = None,
    worth_step: float | None = None,
    acceptable: float | None = None,
    key: str = "",
    weed: str = "",
) -> TurfThreshold:
    """From which cover on treating pays.

    Parameters
    ----------
    costs
        Of treating an area once, by treatment; that of "" is of every other. A treatment without
        one is left out.
    worth, worth_step
        Of one percent of cover less, or of one step of quality more, on the same area and in the
        same money; None where it is not said.
    acceptable
        Lowest quality that is good enough.
    key
        The round whose control is taken; "" for the last one of control, else of cover, else of
        counts.
    weed
        Code of the weed whose control and cover are taken; "" for that of the round that is taken.
    """
    rounds = [(r, a) for r, a in rounds if weed in ("", r.weed) or r.measure == QUALITY]
    check = untreated_arm(trial)
    able = [
        (found, _controls(found, analysis, check.name if check else ""))
        for found, analysis in rounds
        if not analysis.problem
    ]
    taken, controls = _taken(able, key)
    line, seen = _line(rounds, weed or (taken.weed if taken else ""))
    doubt = 0.0
    if worth is None and worth_step is not None and line is not None and line.falls:
        worth, doubt = worth_step * line.fall, line.doubt
    paying = []
    for known in controls:
        cost = costs.get(known.treatment, costs.get(""))
        if cost is not None and worth is not None:
            paying.append(paying_cover(cost, worth, known, doubt))
    good = None
    if acceptable is not None and line is not None and line.falls:
        good = line.cover_at(acceptable)
    return TurfThreshold(taken, controls, tuple(paying), line, seen, good)


def _controls(found: TrialRound, analysis: TrialAnalysis, check: str) -> tuple[ControlKnown, ...]:
    known = controls_of(found.measure, found.options, analysis, check, len(found.dates))
    return tuple(each for each in known if each.treatment not in found.pending)


def _taken(
    able: Sequence[tuple[TrialRound, tuple[ControlKnown, ...]]], key: str
) -> tuple[TrialRound | None, tuple[ControlKnown, ...]]:
    """The round whose control is taken, with it."""
    if key:
        return next(((found, known) for found, known in able if found.key == key), (None, ()))
    single = [(found, known) for found, known in able if known and not found.since]
    for measure in WEEDS:
        same = [each for each in single if each[0].measure == measure]
        if same:
            return max(same, key=lambda each: max(each[0].dates.values()))
    return None, ()


def _line(rounds: Rounds, weed: str) -> tuple[QualityLine | None, TrialRound | None]:
    """The last day on which plots were rated for quality and cover: of a weed, else of all."""
    single = [found for found, _ in rounds if not found.since]
    covers = [r for r in single if r.measure == COVER and (not weed or r.weed in ("", weed))]
    for cover in sorted(covers, key=lambda r: (max(r.dates.values()), bool(r.weed)), reverse=True):
        for quality in single:
            if quality.measure == QUALITY and dict(quality.dates) == dict(cover.dates):
                line = quality_line(cover.rows, quality.rows)
                if line is not None:
                    return line, cover
    return None, None


def prices_said(
    costs: Sequence[str], worth: str, worth_step: str, names: Sequence[str]
) -> dict[tuple[str, str], float]:
    """Money for a m² by option of the command and treatment, "" where it is for all.

    Parameters
    ----------
    costs
        "45 USD per acre", or "simazine=20 USD per acre" for one treatment of `names`.
    worth, worth_step
        "" where it is not said.

    Raises
    ------
    InputError
        No money, no such treatment, several kinds of money, no cost, or both of the worths.
    """
    if worth and worth_step:
        raise InputError(
            "both worths are given", field="--worth-step", remedy="say the one or the other"
        )
    if (worth or worth_step) and not costs:
        raise InputError(
            "no cost is given", field="--cost", remedy='say what treating costs: "45 USD per acre"'
        )
    given = [("--worth", "", worth), ("--worth-step", "", worth_step)]
    for text in costs:
        name, is_named, price = text.rpartition("=")
        if is_named and name not in names:
            raise InputError(
                f"{name!r} is no treatment of the trial", field="--cost",
                remedy=f"use one of {', '.join(names)}",
            )  # fmt: skip
        given.append(("--cost", name, price))
    found = {(field, name): parse_area_price(text, field) for field, name, text in given if text}
    money = dict.fromkeys(money for _, money in found.values())
    if len(money) > 1:
        raise InputError(
            f"{' and '.join(money)} are not the same money", field="--cost", remedy="use one"
        )
    return {key: price for key, (price, _) in found.items()}
