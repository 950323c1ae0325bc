"""Plot trials of the log: control against the untreated check, and an analysis of each measure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Phrase, say
from windowcast.records.model import Rating
from windowcast.trials.analysis import analyse
from windowcast.trials.model import PlotRow, TrialAnalysis
from windowcast.trials.percent_control import MeasuredControl, control, control_over_sites
from windowcast.trials.rated_measures import MEASURES, options_for
from windowcast.trials.spread import FALLS

CHECK = "untreated"
_NO_WEEDS = ("injury", "control", "quality", "color", "turf")  # so begin measures of other things
CHECK_WORDS = frozenset({"untreated", "nontreated", "unsprayed", "check", "control"})


@dataclass(frozen=True, slots=True)
class TrialResult:
    """What one measure of a trial on one date says.

    Attributes
    ----------
    at
        Control of each treatment at each location by itself; one where the trial has one.
    timings
        Pairs of treatments that differ in their timing alone, as far as applications are logged.
    """

    trial: str
    measure: str
    weed: str
    date: str
    controls: dict[str, MeasuredControl]
    analysis: TrialAnalysis | None
    notes: tuple[Phrase, ...]
    at: dict[str, dict[str, MeasuredControl]] = field(default_factory=dict)
    timings: tuple[tuple[str, str], ...] = ()


def trial_results(
    ratings: Sequence[Rating], files: Mapping[str, str] | None = None
) -> tuple[TrialResult, ...]:
    """Results of every trial, measure and date in the log, in order of date.

    Ratings without a trial are of a place; `windowcast.records.looks` reads them.

    Parameters
    ----------
    files
        Name of the file of each trial that has one (`windowcast.records.trial_log.trial_files`).
        Only that knows whole plots and checks, so its means are left to `trial analyse`.
    """
    ratings = [r for r in ratings if r.trial]
    keys = dict.fromkeys(
        (r.date, r.trial, r.measure, r.weed) for r in sorted(ratings, key=_when) if not r.before
    )
    return tuple(_result(ratings, *key, file=(files or {}).get(key[1], "")) for key in keys)


def _when(rating: Rating) -> tuple[Any, ...]:
    return rating.date, rating.trial, rating.measure


def _result(
    ratings: Sequence[Rating], date: Any, trial: str, measure: str, weed: str, *, file: str
) -> TrialResult:
    same = [r for r in ratings if (r.trial, r.measure, r.weed) == (trial, measure, weed)]
    sampled = [r for r in same if r.date == date and not r.before]
    after = plot_means(sampled)
    counted = [r for r in same if r.before and r.date <= date]
    last = max((r.date for r in counted), default=None)
    before = {_plot(r): r.value for r in plot_means([r for r in counted if r.date == last])}
    notes: list[Phrase] = []
    if len(after) < len(sampled):
        notes.append(say("trial.averaged", values=len(sampled), plots=len(after)))
    if len({_plot(r) for r in after}) < len(after):
        notes.append(say("trial.two_treatments"))
    check = [r for r in after if is_check(r)]
    treatments = list(dict.fromkeys(r.treatment for r in after if not is_check(r)))
    controls: dict[str, MeasuredControl] = {}
    at: dict[str, dict[str, MeasuredControl]] = {}
    if not check:
        notes.append(say("trial.no_check"))
    elif not _of_weeds(measure):
        notes.append(say("trial.no_count", measure=Name(measure)))
    else:
        for name in treatments:
            rows = [r for r in after if r.treatment == name]
            try:
                controls[name] = _control(rows, check, before)
            except InputError as error:
                why = Name(error.problem)
                notes.append(say("trial.problem_of", treatment=Name(name), problem=why))
        notes += _left_out(after, before)
        at = _at_each(after, before, controls)
        if len(at) > 1:
            controls = _over_sites(after, before, controls, len(at))
    analysis = None if file else _analysis(after, before, notes)
    if file:
        notes.append(say("trial.has_file", file=Name(file)))
    return TrialResult(trial, measure, weed, str(date), controls, analysis, tuple(notes), at)


def _of_weeds(measure: str) -> bool:
    """Whether a measure is the more, the more weeds there are; one that nobody knows may be."""
    return measure in FALLS if measure in MEASURES else not measure.startswith(_NO_WEEDS)


def _analysis(
    after: Sequence[Rating], before: dict[tuple[str, str, str], float], notes: list[Phrase]
) -> TrialAnalysis | None:
    """Means and letters of plots in the blocks that were logged; why there are none to `notes`."""
    analysis = _analysed(after, before)
    if analysis.problem:
        notes.append(say("trial.problem", problem=analysis.problem))
        return None
    return analysis


def _analysed(after: Sequence[Rating], before: dict[tuple[str, str, str], float]) -> TrialAnalysis:
    """The analysis of plots in the blocks that were logged."""
    plots = [
        PlotRow(
            r.location, r.block, r.plot, r.treatment, r.value, date=r.date, measure=r.measure,
            before=before.get(_plot(r)),
        )
        for r in after
    ]  # fmt: skip
    options = options_for(
        after[0].measure,
        [r.value for r in after],
        design="rcbd" if any(r.block for r in after) else "crd",
        checks=dict.fromkeys(r.treatment for r in after if is_check(r)),
        counted=bool(before),
    )
    return analyse(plots, options)


def _at_each(
    after: Sequence[Rating],
    before: dict[tuple[str, str, str], float],
    controls: dict[str, MeasuredControl],
) -> dict[str, dict[str, MeasuredControl]]:
    """Control at each location, where it can be told there."""
    places = list(dict.fromkeys(r.location for r in after))
    if len(places) == 1:
        return {places[0]: controls}
    found: dict[str, dict[str, MeasuredControl]] = {}
    for place in places:
        rows = [r for r in after if r.location == place]
        check = [r for r in rows if is_check(r)]
        found[place] = {}
        for name in controls:
            treated = [r for r in rows if r.treatment == name]
            with suppress(InputError):
                if treated and check:
                    found[place][name] = _control(treated, check, before)
    return found


def _over_sites(
    after: Sequence[Rating],
    before: dict[tuple[str, str, str], float],
    controls: Mapping[str, MeasuredControl],
    sites: int,
) -> dict[str, MeasuredControl]:
    """Control over several sites: plots of one site do not speak for others.

    Plots without a count before are left out where others have one, as in control itself.
    """
    counted = [r for r in after if not before or _plot(r) in before]
    plots = [replace(r, treatment=CHECK) if is_check(r) else r for r in counted]
    found = _analysed(plots, before)
    return {
        name: control_over_sites(one, found, name, CHECK, sites) for name, one in controls.items()
    }


def _left_out(after: Sequence[Rating], before: dict[tuple[str, str, str], float]) -> list[Phrase]:
    """That plots without a count before are left out of control, where others have one."""
    missing = [r for r in after if _plot(r) not in before]
    if not before or not missing:
        return []
    return [say("trial.before_missing", missing=len(missing), plots=len(after))]


def plot_means(ratings: Sequence[Rating]) -> list[Rating]:
    """One value for each plot: several frames counted in a plot are not several plots."""
    plots: dict[tuple[str, ...], list[Rating]] = {}
    for r in ratings:
        plots.setdefault((*_plot(r), r.treatment), []).append(r)
    return [
        replace(rows[0], value=math.fsum(r.value for r in rows) / len(rows))
        for rows in plots.values()
    ]


def _plot(rating: Rating) -> tuple[str, str, str]:
    return rating.location, rating.block, rating.plot


def is_check(rating: Rating) -> bool:
    """Whether a plot is an untreated check, by the names trials give it."""
    words = rating.treatment.lower().replace("-", "").split()
    return bool(words) and set(words) <= CHECK_WORDS


def _control(
    treated: Sequence[Rating], check: Sequence[Rating], before: dict[Any, float]
) -> MeasuredControl:
    """Control of one treatment; where plots were counted before, only those that were."""
    if before:
        treated = [r for r in treated if _plot(r) in before]
        check = [r for r in check if _plot(r) in before]
        if not treated or not check:
            raise InputError("no plot was counted before, though others of the trial were")

    def place(r: Rating) -> tuple[str, str]:
        return r.location, r.block

    by_place = {place(r): r for r in check}
    paired = (
        all(r.block for r in (*treated, *check))
        and len(by_place) == len(check)
        and {place(r) for r in treated} == set(by_place)
        and len(treated) == len(check)
    )
    if paired:
        check = [by_place[place(r)] for r in treated]
    plots = [_plot(r) for r in (*treated, *check)]
    return control(
        [r.value for r in treated],
        [r.value for r in check],
        treated_before=[before[k] for k in plots[: len(treated)]] if before else None,
        check_before=[before[k] for k in plots[len(treated) :]] if before else None,
        paired=paired,
    )
