"""What single places say: the effect of each treatment of a trial at one of its sites.

A place is a site of a trial. Its plots are analysed by themselves, and give one effect for each
treatment on each look, with what was put out there and when.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING, Name, Phrase, names, say
from windowcast.core.season_calendar import season_day, season_name
from windowcast.materials.actives import Actives
from windowcast.materials.rates import materials_from
from windowcast.records.model import Rating
from windowcast.records.trial_log import ratings_or_names
from windowcast.records.trial_rounds import TrialRound
from windowcast.trials.contrasts import (
    ContrastEffect,
    PoolScale,
    ShownEffect,
    effect_of,
    scale_of,
    told,
)
from windowcast.trials.given import Given
from windowcast.trials.layout import TrialArm, arms_of
from windowcast.trials.model import PlotRow, TrialAnalysis
from windowcast.trials.percent_control import too_uneven
from windowcast.trials.trial_file import TrialFile, TrialSite, kept_trial

_CHECKS = frozenset({"untreated", "weed-free"})


@dataclass(frozen=True, slots=True)
class TrialRead:
    """A trial file with what was rated; `others` are the trials of its log, where it has none."""

    file: Path
    trial: TrialFile
    ratings: tuple[Rating, ...]
    others: tuple[str, ...] = ()

    @property
    def why_not_rated(self) -> Phrase:
        """Why it has no ratings."""
        if self.others:
            return say("pool.other_name", trials=names(*self.others))
        return say("pool.not_rated")


@dataclass(frozen=True, slots=True)
class PlaceEffect:
    """The effect of one contrast at one site of a trial.

    Attributes
    ----------
    rated
        Day of the rating, and `days` after the site's last application.
    given, applied
        What the treatment's plots got there, and when.
    shown
        The effect as it is told.
    """

    trial: str
    site: str
    rated: dt.date
    days: int
    season: str
    applied: tuple[dt.date | None, ...]
    given: Given
    scale: PoolScale
    effect: ContrastEffect
    shown: ShownEffect


@dataclass(frozen=True, slots=True)
class NoEffect:
    """A treatment that has no effect at a site on one look, and why; `seen` if it was rated."""

    treatment: str
    site: str
    rated: dt.date
    why: Phrase
    seen: bool


def read_trials(files: Sequence[Path]) -> tuple[TrialRead, ...]:
    """The trials of some files with their ratings, none where there is no log yet.

    Raises
    ------
    InputError
        A file cannot be read, or a trial is named twice.
    """
    found: list[TrialRead] = []
    for file in files:
        trial = kept_trial(file)
        if file.resolve() in {other.file.resolve() for other in found}:
            raise InputError("is named twice", path=file, remedy="name each trial once")
        for other in found:
            if other.trial.name.casefold() == trial.name.casefold():
                raise InputError(
                    f"has the name of the trial in {other.file.name}", path=file, field="name",
                    remedy="name each trial once; give another trial a name of its own",
                )  # fmt: skip
        rated, others = ratings_or_names(trial, file)
        found.append(TrialRead(file, trial, tuple(rated), others))
    return tuple(found)


def dates_at(trial: TrialFile, arm: TrialArm, site: TrialSite) -> tuple[dt.date | None, ...]:
    """When a treatment was applied at a site; planned dates where it was not yet."""
    timings = {timing.code: timing for timing in trial.timing}
    return tuple(timings[code].date_at(site.name) or timings[code].planned for code in arm.timing)


def given_at(trial: TrialFile, arm: TrialArm, site: TrialSite, materials: Actives) -> Given:
    """What the plots of a treatment got at a site."""
    tank = [part for text in arm.materials for part in materials_from(text)]
    rates: dict[str, float | None] = {}
    for part in tank:
        active = part["active"]
        name = materials[active].name if active in materials else active
        rate, more = part.get("rate_kg_ha"), rates.get(name, 0.0)
        rates[name] = None if rate is None or more is None else more + rate
    days = tuple(
        math.nan
        if date is None
        else float(
            season_day(np.array([date], dtype="datetime64[D]"), southern=site.latitude < 0)[0]
        )
        for date in dates_at(trial, arm, site)
    )
    actives = tuple(sorted(rates.items()))
    return Given(arm.name, actives, arm.timing, days, arm.adjuvant.strip(), arm.check or "")


def untreated_arm(trial: TrialFile) -> TrialArm | None:
    """The untreated check of a trial; None where it has none."""
    return next((arm for arm in arms_of(trial) if arm.check == "untreated"), None)


def place_effects(
    trial: TrialFile, found: TrialRound, other: TrialArm, materials: Actives
) -> Iterable[PlaceEffect | NoEffect]:
    """The effect of each treatment at each site of a round, or why there is none.

    Parameters
    ----------
    other
        The treatment with which the others are compared.
    """
    from windowcast.trials.analysis import analyse

    arms = [a for a in arms_of(trial) if a.name != other.name and a.check not in _CHECKS]
    for site in trial.site:
        rated = found.dates.get(site.name)
        if rated is None:
            continue
        rows = [row for row in found.rows if row.site in {"", site.name}]
        analysis = analyse(rows, replace(found.options, standard=other.name))
        scale = scale_of(found.measure, analysis.link, check=other.check in _CHECKS)
        ends = found.options.low, found.options.high
        for arm in arms:
            days = _since_applied(trial, arm, site, rated, found.days.get(site.name))
            effect = None
            why = _why_none(analysis, scale, days)
            if not why and scale == "left" and other.check == "untreated" and _bare(rows, other):
                why = say("pool.check_bare")
            if not why and scale is not None:
                effect = effect_of(analysis, arm.name, other.name, scale, ends=ends)
            if effect is None or days is None or scale is None:
                where = say("pool.at", site=Name(site.name))
                why = say("pool.where", where=where, why=why or say("pool.no_doubt"))
                seen = any(row.treatment == arm.name for row in rows)
                yield NoEffect(arm.name, site.name, rated, why, seen)
                continue
            within = effect.value, *effect.interval()
            yield PlaceEffect(
                trial.name, site.name, rated, days, season_name(rated, site.latitude < 0),
                dates_at(trial, arm, site), given_at(trial, arm, site, materials), scale, effect,
                told(scale, within, effect.base, *ends),
            )  # fmt: skip


def _bare(rows: Sequence[PlotRow], check: TrialArm) -> bool:
    """Whether a site may have had nothing to control, by its check plots."""
    weeds = np.array([row.value for row in rows if row.treatment == check.name])
    return not np.any(weeds) or too_uneven(weeds)


def _since_applied(
    trial: TrialFile, arm: TrialArm, site: TrialSite, rated: dt.date, usual: int | None
) -> int | None:
    """Days from a treatment's own last application to a rating; negative while some is to come.

    `usual` are those from the last application at the site, where its own have no day.
    """
    timings = {timing.code: timing for timing in trial.timing}
    known = [timings[code].date_at(site.name) for code in arm.timing]
    days = [(rated - day).days for day in known if day is not None]
    return min(days, default=usual)


def _why_none(analysis: TrialAnalysis, scale: PoolScale | None, days: int | None) -> Phrase:
    """Why a treatment has no effect at a site; nothing where it may have one."""
    if analysis.problem:
        return analysis.problem
    if scale is None:
        return say("pool.no_scale")
    if days is None:
        return say("pool.no_days")
    return say("pool.not_yet") if days < 0 else NOTHING
