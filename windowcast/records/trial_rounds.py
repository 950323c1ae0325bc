"""The ratings of a trial in rounds: one measure, rated once on every site, as an analysis takes it.

Sites are sprayed and rated on days of their own. A round holds the same rating of all of them: that
nearest to one of the planned days after treatment, or else the first, the second and so on of each
site, where all sites were rated equally often.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from windowcast.records.model import Rating
from windowcast.records.trials import plot_means
from windowcast.trials.layout import TrialArm, arms_of, plan_of
from windowcast.trials.model import Design, PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.rated_measures import MEASURES, options_for
from windowcast.trials.trial_file import TrialFile

_DESIGNS: Mapping[str, Design] = {
    "crd": "crd",
    "rcbd": "rcbd",
    "factorial": "rcbd",
    "split-plot": "split-plot",
}
_NEAR = 0.25  # a rating belongs to a planned day within this share of it, or within _DAYS
_DAYS = 3


@dataclass(frozen=True, slots=True)
class TrialRound:
    """One measure of one weed, rated once on every site.

    Attributes
    ----------
    dates
        Day of the rating by site, and `days` after the site's last application before it, where
        that is known.
    rows, options
        What `windowcast.trials` analyses.
    frames
        Most values that one plot had; they are averaged.
    strangers
        Treatments of the log that the trial file does not have; their plots are left out.
    """

    measure: str
    weed: str
    dates: Mapping[str, dt.date]
    days: Mapping[str, int]
    rows: tuple[PlotRow, ...]
    options: TrialOptions
    frames: int = 1
    strangers: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """A name for files: ``control-poaan-28d``."""
        what = MEASURES[self.measure].id.replace("%", "").replace("per m2", "").strip()
        when = f"{self.day}d" if self.day is not None else f"{min(self.dates.values())}"
        return "-".join(filter(None, ("-".join(what.split()), self.weed.lower(), when)))

    @property
    def day(self) -> int | None:
        """Days after treatment, the middle one of the sites; None where no site knows them."""
        known = sorted(self.days.values())
        return known[len(known) // 2] if known else None


def rounds_of(
    trial: TrialFile, ratings: Sequence[Rating], against: str = ""
) -> tuple[TrialRound, ...]:
    """Every round of a trial, in order of time.

    Parameters
    ----------
    ratings
        Of this trial.
    against
        Treatment with which the others are compared; "" for the untreated check.
    """
    found = []
    for measure, weed in dict.fromkeys((r.measure, r.weed) for r in ratings if not r.before):
        if measure not in MEASURES:
            continue
        same = [r for r in ratings if (r.measure, r.weed) == (measure, weed)]
        for group in _rounds(trial, measure, [r for r in same if not r.before]):
            found.append(_round(trial, group, [r for r in same if r.before], against))
    return tuple(sorted(found, key=lambda r: (min(r.dates.values()), r.measure, r.weed)))


def _rounds(trial: TrialFile, measure: str, ratings: Sequence[Rating]) -> list[list[Rating]]:
    """Ratings after treatment, put together as one round for each look at the trial."""
    dates: dict[str, list[dt.date]] = {}
    for rating in sorted(ratings, key=lambda r: r.date):
        days = dates.setdefault(rating.location, [])
        if rating.date not in days:
            days.append(rating.date)
    planned = sorted({day for m in trial.measure if m.what == measure for day in m.days})
    even = len({len(days) for days in dates.values()}) == 1
    rounds: dict[object, list[Rating]] = {}
    for rating in ratings:
        after = days_after(trial, rating.location, rating.date)
        near = [d for d in planned if after is not None and _near(after, d)]
        turn = dates[rating.location].index(rating.date)
        key = min(near, key=lambda d: abs(d - (after or 0))) if near else None
        rounds.setdefault(("day", key) if near else turn if even else rating.date, []).append(
            rating
        )
    return list(rounds.values())


def _near(day: int, planned: int) -> bool:
    return abs(day - planned) <= max(_DAYS, _NEAR * planned)


def days_after(trial: TrialFile, site: str, date: dt.date) -> int | None:
    """Days from a site's last application to a date; None where nobody says when that was."""
    applied = [timing.date_at(site) for timing in trial.timing]
    before = [day for day in applied if day is not None and day <= date]
    return (date - max(before)).days if before else None


def _round(
    trial: TrialFile, ratings: Sequence[Rating], before: Sequence[Rating], against: str
) -> TrialRound:
    arms = {arm.name: arm for arm in arms_of(trial)}
    first = ratings[0]
    known = [r for r in ratings if r.treatment in arms]
    means = plot_means(known)
    whole = {}
    if trial.design == "split-plot" and trial.seed is not None:
        whole = {(p.site, p.plot): p.main for p in plan_of(trial)}
    start = {(r.location, r.plot): r.value for r in plot_means(before)}
    rows = tuple(
        PlotRow(
            site=r.location if len(trial.site) > 1 else "",
            block=r.block,
            plot=r.plot,
            treatment=r.treatment,
            value=r.value,
            whole_plot=whole.get((r.location, r.plot), ""),
            factors=_factors(arms[r.treatment], trial),
            date=r.date,
            measure=r.measure,
            before=start.get((r.location, r.plot)),
        )
        for r in sorted(means, key=lambda r: (arms[r.treatment].number, r.location, r.plot))
    )
    dates = {r.location: r.date for r in ratings}
    days = {site: days_after(trial, site, date) for site, date in dates.items()}
    options = options_for(
        first.measure,
        [row.value for row in rows] or [0.0],
        design=_DESIGNS[trial.design],
        checks=[
            arm.name
            for kind in ("untreated", "weed-free")
            for arm in arms.values()
            if arm.check == kind
        ],
        standard=against,
        counted=any(row.before is not None for row in rows),
    )
    return TrialRound(
        first.measure,
        first.weed,
        dates,
        {site: day for site, day in days.items() if day is not None},
        rows,
        options,
        max(1, round(len(known) / len(means))) if means else 1,
        tuple(sorted({r.treatment for r in ratings} - set(arms))),
    )


def _factors(arm: TrialArm, trial: TrialFile) -> tuple[tuple[str, str], ...]:
    if not trial.crossed or arm.check not in {None, "standard"}:
        return ()
    return ("timing", arm.timing[0]), ("treatment", arm.factor)


def analysed_rounds(
    trial: TrialFile, ratings: Sequence[Rating], against: str = ""
) -> list[tuple[TrialRound, TrialAnalysis]]:
    """Every round with its analysis; see `rounds_of`."""
    from windowcast.trials.analysis import analyse

    rounds = rounds_of(trial, ratings, against)
    return [(found, analyse(found.rows, found.options)) for found in rounds]
