"""The analyses of a trial: of each round, and of each plot's mean over days.

What was rated on two days or more is one round more, with comparisons of its own. It takes the
ratings that every site has, so that no site is a mean over other days than the rest.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

from windowcast.records.model import Rating
from windowcast.records.trial_rounds import TrialRound, days_after, rounds_of
from windowcast.trials.model import TrialAnalysis
from windowcast.trials.over_days import mean_over_days
from windowcast.trials.trial_file import TrialFile


def analysed_rounds(
    trial: TrialFile, ratings: Sequence[Rating], against: str = ""
) -> list[tuple[TrialRound, TrialAnalysis]]:
    """Every round with its analysis, then each measure's mean over days; see `rounds_of`."""
    from windowcast.trials.analysis import analyse

    rounds = all_rounds(trial, ratings, against)
    return [(found, analyse(found.rows, found.options)) for found in rounds]


def all_rounds(
    trial: TrialFile, ratings: Sequence[Rating], against: str = ""
) -> tuple[TrialRound, ...]:
    """Every round, then each measure's mean over days; see `rounds_of`."""
    rounds = rounds_of(trial, ratings, against)
    return rounds + rounds_over_days(trial, rounds)


def rounds_over_days(trial: TrialFile, rounds: Sequence[TrialRound]) -> tuple[TrialRound, ...]:
    """A round for each measure and weed that every site has two ratings or more of.

    Parameters
    ----------
    rounds
        Of single days, in order of time.
    """
    found = []
    for what in dict.fromkeys((r.measure, r.weed) for r in rounds):
        same = [r for r in rounds if (r.measure, r.weed) == what]
        sites = {site for r in same for site in r.dates}
        shared = [r for r in same if sites == set(r.dates)]
        if len(shared) > 1:
            found.append(replace(_over(trial, shared), apart=len(same) - len(shared)))
    return tuple(found)


def _over(trial: TrialFile, rounds: Sequence[TrialRound]) -> TrialRound:
    first = {site: min(r.dates[site] for r in rounds) for site in rounds[0].dates}
    last = {site: max(r.dates[site] for r in rounds) for site in first}
    return replace(
        rounds[-1],
        dates=last,
        days={},
        rows=mean_over_days([row for r in rounds for row in r.rows]),
        options=max((r.options for r in rounds), key=lambda o: (o.kind == "amount", o.before)),
        frames=max(r.frames for r in rounds),
        strangers=tuple(sorted({name for r in rounds for name in r.strangers})),
        pending=tuple(dict.fromkeys(name for r in rounds for name in r.pending)),
        namesake=0,
        since=first,
        span=_span(trial, rounds, first, last),
    )


def _span(
    trial: TrialFile,
    rounds: Sequence[TrialRound],
    first: Mapping[str, dt.date],
    last: Mapping[str, dt.date],
) -> tuple[int, int] | None:
    """Days after treatment of the first and last rating; None where an application came between."""
    start, end = rounds[0].day, rounds[-1].day
    if start is None or end is None:
        return None
    for site in first:
        before, after = (days_after(trial, site, day) for day in (first[site], last[site]))
        between = (last[site] - first[site]).days
        if before is not None and after is not None and after - before != between:
            return None
    return start, end
