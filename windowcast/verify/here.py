"""How right forecasts and answers were at the user's own site, by what stands on record there.

Pure: cases in, scores out. Days that follow each other are alike, so n days tell less than n
independent ones would; each doubt is that of the effective number.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.crps import TO_10_90
from windowcast.core.local_days import midnights_s
from windowcast.core.record import FloatArray
from windowcast.core.values import Table
from windowcast.sources.foretold import DAY_S, AnnouncedOnce, HeldWindow
from windowcast.verify.advice_kept import AdviceHere
from windowcast.weather.foretold_days import Case, lead_days

SPANS_DAYS = (30, 365)
ELEMENTS = ("tmax_c", "tmin_c", "night_low_c", "soil_5cm_c")
BINS = 5
RAIN_MM = 0.254  # what official chances of precipitation speak of: a hundredth of an inch


@dataclass(frozen=True)
class Off:
    """How far one element was off at one lead.

    Attributes
    ----------
    element
        "tmax_c", "tmin_c" (of the calendar date), "night_low_c" or "soil_5cm_c".
    source
        Who told it; "windowcast" for the program's own answers.
    lead_days
        Local dates between telling and the day.
    cases, effective_cases
        Days, and how many independent ones they are worth.
    bias_k, bias_doubt_k
        Measured minus told in the mean, and half of its 10 to 90 % range.
    mae_k
        Mean absolute error.
    inside_10_90, inside_cases
        Share of days that came between the 10 and 90 % points told, of how many that told them;
        0.8 is right. None where none did.
    enough
        Whether there are enough cases to say anything.
    """

    element: str
    source: str
    lead_days: int
    unit: str
    cases: int
    effective_cases: float
    bias_k: float
    bias_doubt_k: float
    mae_k: float
    inside_10_90: float | None
    inside_cases: int
    enough: bool


@dataclass(frozen=True)
class Rain:
    """Chances of rain at one lead: told in the mean, share of days with rain, Brier score."""

    source: str
    lead_days: int
    cases: int
    said: float
    came: float
    brier: float
    enough: bool


@dataclass(frozen=True)
class OddsBin:
    """Odds in one range and what came of them.

    Attributes
    ----------
    low, high
        The range, 0..1.
    cases, effective_cases
        Windows told, and how many independent ones they are worth.
    said, came
        Mean odds, and the share that held.
    luck_low, luck_high
        Between these the share would lie in 8 of 10 cases if the odds were right.
    """

    low: float
    high: float
    cases: int
    effective_cases: float
    said: float
    came: float
    luck_low: float
    luck_high: float


@dataclass(frozen=True)
class Windows:
    """Windows announced, each day and job once, by the last word before it began.

    `untold` cannot be told, for want of `unknown` (criteria, or "hours").
    """

    announced: int
    held: int
    failed: int
    untold: int
    unknown: tuple[str, ...]
    odds: tuple[OddsBin, ...]


@dataclass(frozen=True)
class HereSpan:
    """The last so many days."""

    days: int
    off: tuple[Off, ...]
    rain: tuple[Rain, ...]
    windows: Windows


@dataclass(frozen=True)
class HereReport:
    """What the record says of a site.

    `issues` counts the forecasts and answers on record, `measured_by` names what they are held
    against; `advice` is what past seasons say of following the answers.
    """

    site: str
    today: dt.date
    issues: int
    measured_by: tuple[str, ...]
    spans: tuple[HereSpan, ...]
    advice: AdviceHere
    program_version: str


def here_spans(
    cases: Sequence[Case],
    announced: Sequence[AnnouncedOnce],
    came: Sequence[HeldWindow],
    *,
    today: dt.date,
    zone: ZoneInfo,
    own: Table,
) -> tuple[HereSpan, ...]:
    """Scores of the last 30 and 365 days.

    Parameters
    ----------
    today
        The days before it count.
    own
        Table ``own`` of ``ensemble``: how many cases are enough, and how alike days are.
    """
    spans = []
    for days in SPANS_DAYS:
        since = midnights_s(zone, np.array([np.datetime64(today) - np.timedelta64(days, "D")]))[0]
        late = [c for c in cases if c.start >= since]
        told = [a for a in announced if a.window.start >= since]
        spans.append(HereSpan(days, offs(late, own), rains(late, own), windows(told, came, zone)))
    return tuple(spans)


def offs(cases: Iterable[Case], own: Table) -> tuple[Off, ...]:
    """Errors by element, source and lead; nothing where there is no case."""
    groups: dict[tuple[str, str, int], list[Case]] = {}
    for case in cases:
        if case.element in ELEMENTS and case.said is not None:
            groups.setdefault((case.element, case.source, case.lead), []).append(case)
    fewest = own.number("fewest")
    found = []
    for (element, source, lead), some in sorted(groups.items()):
        error = np.array([c.came - float(c.said or 0.0) for c in some])
        days, day = np.unique([c.start // DAY_S for c in some], return_inverse=True)
        of_day = np.bincount(day, error) / np.bincount(day)  # areas share a day: it counts once
        worth = effective(of_day, days, own.number("lag1"))
        spread = float(of_day.std(ddof=1)) if len(days) > 1 else math.nan
        banded = [c for c in some if c.low is not None and c.high is not None]
        inside = [float(c.low or 0.0) <= c.came <= float(c.high or 0.0) for c in banded]
        found.append(Off(
            element, source, lead, "K", len(days), worth, float(of_day.mean()),
            TO_10_90 * spread / math.sqrt(worth), float(np.abs(error).mean()),
            sum(inside) / len(inside) if inside else None, len(inside), len(days) >= fewest,
        ))  # fmt: skip
    return tuple(found)


def rains(cases: Iterable[Case], own: Table) -> tuple[Rain, ...]:
    """Chances of rain against rain, by source and lead."""
    groups: dict[tuple[str, int], list[Case]] = {}
    for case in cases:
        if case.element == "precip_mm" and case.chance is not None:
            groups.setdefault((case.source, case.lead), []).append(case)
    found = []
    for (source, lead), some in sorted(groups.items()):
        said = np.array([float(c.chance or 0.0) for c in some])
        came = np.array([c.came >= RAIN_MM for c in some], dtype=np.float64)
        score = float(((said - came) ** 2).mean())
        enough = len(some) >= own.number("fewest")
        found.append(Rain(source, lead, len(some), float(said.mean()), float(came.mean()), score,
                          enough))  # fmt: skip
    return tuple(found)


def windows(
    announced: Sequence[AnnouncedOnce], came: Sequence[HeldWindow], zone: ZoneInfo
) -> Windows:
    """What came of the windows announced, and how right their odds were.

    Parameters
    ----------
    announced
        By answer.
    """
    fate = {(w.ground, w.purpose, w.start, w.stop, w.actives): w for w in came}
    last: dict[tuple[str, str, dt.date], HeldWindow] = {}
    by_lead: dict[tuple[str, str, dt.date, int], tuple[float, bool]] = {}
    for one in announced:  # a later word takes the place of an earlier one
        w = one.window
        known = fate.get((one.ground, w.purpose, w.start, w.stop, w.actives))
        if known is None:
            continue
        date = dt.datetime.fromtimestamp(w.start, zone).date()
        last[one.ground, w.purpose, date] = known
        if w.share is not None and known.held is not None:
            lead = lead_days(w.start, one.made, zone)
            by_lead[one.ground, w.purpose, date, lead] = (w.share, known.held)
    fates = list(last.values())
    untold = [w for w in fates if w.held is None]
    return Windows(
        announced=len(fates),
        held=sum(w.held is True for w in fates),
        failed=sum(w.held is False for w in fates),
        untold=len(untold),
        unknown=tuple(sorted({name for w in untold for name in w.unknown})),
        odds=odds_bins([(key[2], *value) for key, value in by_lead.items()]),
    )


def odds_bins(told: Sequence[tuple[dt.date, float, bool]]) -> tuple[OddsBin, ...]:
    """A reliability table with what luck alone does, in fifths; empty ones are left out.

    Parameters
    ----------
    told
        Date, odds, and whether it held. Odds for one date at several leads or for several jobs
        are one day's weather: a bin is worth as many cases as it has dates.

    References
    ----------
    Bröcker & Smith 2007, *Weather and Forecasting* 22:651, for the consistency interval.
    """
    found = []
    for number in range(BINS):
        some = [t for t in told if min(int(t[1] * BINS), BINS - 1) == number]
        if not some:
            continue
        said = sum(t[1] for t in some) / len(some)
        worth = float(len({t[0] for t in some}))
        low, high = luck(said, worth)
        share = sum(t[2] for t in some) / len(some)
        found.append(OddsBin(number / BINS, (number + 1) / BINS, len(some), worth, said, share,
                             low, high))  # fmt: skip
    return tuple(found)


def luck(chance: float, trials: float) -> tuple[float, float]:
    """10 and 90 % points of the share seen in so many trials of a chance.

    Examples
    --------
    >>> luck(0.5, 10)
    (0.3, 0.7)
    >>> luck(0.9, 2)
    (0.5, 1.0)
    """
    count = max(int(trials), 1)
    below = np.cumsum([
        math.comb(count, k) * chance**k * (1 - chance) ** (count - k) for k in range(count + 1)
    ])  # fmt: skip
    low, high = (int(np.searchsorted(below, q - 1e-12)) for q in (0.1, 0.9))
    return low / count, min(high, count) / count


def effective(errors: FloatArray, days: FloatArray, lag1: float) -> float:
    """How many independent cases daily errors are worth: ``n (1 - r) / (1 + r)``.

    Parameters
    ----------
    errors
        ``[case]``.
    days
        Day numbers of the cases, ``[case]``, ascending.
    lag1
        Correlation from day to day where there are too few pairs to tell (below 20).

    References
    ----------
    Wilks 2019, *Statistical Methods in the Atmospheric Sciences*, 4th ed., section 5.2.4.

    Examples
    --------
    >>> effective(np.zeros(12), np.arange(12.0), 1 / 3)
    6.0
    """
    next_day = np.diff(days) == 1
    r = lag1
    if next_day.sum() >= 20 and errors.std() > 0:
        off = errors - errors.mean()
        r = float((off[:-1] * off[1:])[next_day].mean() / (off**2).mean())
    r = min(max(r, 0.0), 0.9)
    return max(round(len(errors) * (1 - r) / (1 + r), 6), 1.0)
