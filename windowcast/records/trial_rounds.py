"""The ratings of a trial in rounds: one measure, rated once on every site, as an analysis takes it.

Sites are sprayed and rated on days of their own. A round holds the same rating of all of them: of
each site the one day nearest to a planned day after an application. What days are left go together
as the first, the second and so on of each site, where all have equally many; else each is a round
of its own. No round holds two days of one site.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from windowcast.records.model import Rating
from windowcast.records.trials import plot_means
from windowcast.trials.layout import TrialArm, arms_of, plan_of
from windowcast.trials.model import Design, PlotRow, TrialOptions
from windowcast.trials.rated_measures import MEASURES, options_for
from windowcast.trials.timing_and_control import only_timing_differs
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
    namesake
        How many earlier rounds are of the same measure as many days after an application.
    since, span
        Of a mean over days (`records.trial_analyses`): each site's first day, and the days after
        treatment of the first and the last rating, None where no site knows them.
    apart
        How many ratings are not in a mean over days, because not every site has them.
    pending
        Treatments of which an application was still to come on a site when it was rated.
    timings
        Pairs of treatments that differ in their timing alone, none of them `pending`.
    """

    measure: str
    weed: str
    dates: Mapping[str, dt.date]
    days: Mapping[str, int]
    rows: tuple[PlotRow, ...]
    options: TrialOptions
    frames: int = 1
    strangers: tuple[str, ...] = ()
    namesake: int = 0
    since: Mapping[str, dt.date] = field(default_factory=dict)
    span: tuple[int, int] | None = None
    apart: int = 0
    pending: tuple[str, ...] = ()
    timings: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> str:
        """A name for files: ``control-poaan-28d``, and ``control-poaan-28d-2`` of a second one.

        A mean over days is ``control-poaan-14-to-56d``.
        """
        what = MEASURES[self.measure].id.replace("%", "").replace("per m2", "").strip()
        when = f"{self.day}d" if self.day is not None else f"{min(self.dates.values())}"
        if self.span is not None:
            when = f"{self.span[0]}-to-{self.span[1]}d"
        elif self.since:
            when = f"{min(self.since.values())}-to-{max(self.dates.values())}"
        turn = f"{self.namesake + 1}" if self.namesake else ""
        return "-".join(filter(None, ("-".join(what.split()), self.weed.lower(), when, turn)))

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
    for measure, weed in dict.fromkeys((r.measure, r.weed) for r in ratings):
        if measure not in MEASURES:
            continue
        same = [r for r in ratings if (r.measure, r.weed) == (measure, weed)]
        before = [r for r in same if is_before(trial, r)]
        for group in _rounds(trial, measure, [r for r in same if not is_before(trial, r)]):
            found.append(_round(trial, group, before, against))
    found.sort(key=lambda r: (min(r.dates.values()), r.measure, r.weed))
    names: Counter[str] = Counter()
    for n, each in enumerate(found):
        found[n] = replace(each, namesake=names[each.key])
        names[each.key] += 1
    return tuple(found)


def is_before(trial: TrialFile, rating: Rating) -> bool:
    """Whether a rating was taken before treatment, by its day and what the trial file says now.

    A rating that was stored as taken before counts so while an application may follow it.
    """
    applied = [timing.date_at(rating.location) for timing in trial.timing]
    known = [day for day in applied if day is not None]
    if known and rating.date < min(known):
        return True
    return rating.before and any(day is None or rating.date <= day for day in applied)


def _rounds(trial: TrialFile, measure: str, ratings: Sequence[Rating]) -> list[list[Rating]]:
    """Ratings after treatment, put together as one round for each look at the trial."""
    days: dict[str, list[dt.date]] = {}
    for site, date in sorted({(r.location, r.date) for r in ratings}):
        days.setdefault(site, []).append(date)
    planned = sorted({day for m in trial.measure if m.what == measure for day in m.days})
    look: dict[tuple[str, dt.date], object] = {}
    left = []
    for site, dates in days.items():
        look |= {(site, date): key for date, key in _planned(trial, site, dates, planned).items()}
        left.append([(site, date) for date in dates if (site, date) not in look])
    left = [dates for dates in left if dates]
    if len({len(dates) for dates in left}) == 1:
        turns = [(n, turn) for n, turn in enumerate(zip(*left, strict=True))]
        even = all(_alike(days_after(trial, *each) for each in turn) for _, turn in turns)
    else:
        turns, even = [], False
    look |= {each: n for n, turn in turns if even for each in turn}
    rounds: dict[object, list[Rating]] = {}
    for rating in ratings:
        key = look.get((rating.location, rating.date), rating.date)
        rounds.setdefault(key, []).append(rating)
    return list(rounds.values())


def _planned(
    trial: TrialFile, site: str, dates: Sequence[dt.date], planned: Sequence[int]
) -> dict[dt.date, tuple[str, int]]:
    """Dates of a site that are planned looks: of each look the nearest date, of a date one look.

    A look is a planned number of days after an application, told by the code of that.
    """
    pairs = []
    for date in dates:
        last = _last(trial, site, date)
        if last is not None:
            code, after = last
            pairs += [(abs(after - day), date, (code, day)) for day in planned if near(after, day)]
    found: dict[dt.date, tuple[str, int]] = {}
    for _, date, key in sorted(pairs):
        if date not in found and key not in found.values():
            found[date] = key
    return found


def _alike(days: Iterable[int | None]) -> bool:
    """Whether days after treatment, where known, are so near that they are one look."""
    known = [day for day in days if day is not None]
    return not known or near(max(known), min(known))


def near(day: int, planned: int) -> bool:
    """Whether a rating so many days after an application is the one of a planned day."""
    return abs(day - planned) <= max(_DAYS, _NEAR * planned)


def days_after(trial: TrialFile, site: str, date: dt.date) -> int | None:
    """Days from a site's last application to a date; None where nobody says when that was."""
    last = _last(trial, site, date)
    return None if last is None else last[1]


def _last(trial: TrialFile, site: str, date: dt.date) -> tuple[str, int] | None:
    """Code of a site's last application up to a date, and the days since; None if unknown."""
    applied = [(timing.date_at(site), timing.code) for timing in trial.timing]
    past = [(day, code) for day, code in applied if day is not None and day <= date]
    if not past:
        return None
    day, code = max(past)
    return code, (date - day).days


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
    dates = {r.location: r.date for r in ratings}
    start = _start(before, dates)
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
            before=start.get((r.location, r.block, r.plot)),
        )
        for r in sorted(means, key=lambda r: (arms[r.treatment].number, r.location, r.plot))
    )
    days = {site: days_after(trial, site, date) for site, date in dates.items()}
    pending = tuple(arm.name for arm in arms.values() if _to_come(trial, arm, dates))
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
        pending=pending,
        timings=only_timing_differs(
            {a.name: (_put_out(a), a.timing) for a in arms.values() if a.name not in pending}
        ),
    )  # fmt: skip


def _put_out(arm: TrialArm) -> tuple[object, ...]:
    """What a treatment gets, and how often; nothing where that is not known."""
    return (*sorted(arm.materials), arm.adjuvant, len(arm.timing)) if arm.materials else ()


def _to_come(trial: TrialFile, arm: TrialArm, dates: Mapping[str, dt.date]) -> bool:
    """Whether a site was sprayed with a treatment, or once more, after it was rated."""
    own = [timing for timing in trial.timing if timing.code in arm.timing]
    applied = [(timing.date_at(site), day) for timing in own for site, day in dates.items()]
    return any(sprayed is not None and sprayed > day for sprayed, day in applied)


def _start(
    before: Sequence[Rating], dates: Mapping[str, dt.date]
) -> dict[tuple[str, str, str], float]:
    """Value of each plot by site, block and plot on the last day of its site before treatment."""
    past = [r for r in before if r.location in dates and r.date <= dates[r.location]]
    last: dict[str, dt.date] = {}
    for r in past:
        last[r.location] = max(r.date, last.get(r.location, r.date))
    means = plot_means([r for r in past if r.date == last[r.location]])
    return {(r.location, r.block, r.plot): r.value for r in means}


def _factors(arm: TrialArm, trial: TrialFile) -> tuple[tuple[str, str], ...]:
    if not trial.crossed or arm.check not in {None, "standard"}:
        return ()
    return ("timing", arm.timing[0]), ("treatment", arm.factor)
