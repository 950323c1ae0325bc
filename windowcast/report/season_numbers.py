"""The numbers of the season's picture: one season of an answer and its plan, as arrays by day.

One season is cut out of the past record and the members ahead. All arrays are ``[day]`` along its
dates, which run from the season's first day (1 July, or 1 January in the southern hemisphere) to
its last; NaN where nothing is known.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import season_end, season_start
from windowcast.core.time_axis import day_index, steps
from windowcast.programme.answer import Answer
from windowcast.programme.model import PurposePlan
from windowcast.season.model import Emergence
from windowcast.windows.loss import Loss, loss_rate
from windowcast.windows.model import Job
from windowcast.windows.odds import DateRange
from windowcast.windows.season_axis import SeasonAxis

MIN_YEARS = 5  # fewer past seasons give no band


@dataclass(frozen=True)
class Fan:
    """The 10, 50 and 90 % lines of the members, ``[day]``."""

    low: FloatArray
    mid: FloatArray
    high: FloatArray


def season_dates(answer: Answer) -> DateArray:
    """The days of the season of the answer."""
    today, southern = answer.ranking.today, answer.site.place.southern
    first, last = season_start(today, southern=southern), season_end(today, southern=southern)
    return steps(np.datetime64(first, "D"), np.datetime64(last, "D"))


def onto(dates: DateArray, own_dates: DateArray, values: FloatArray) -> FloatArray:
    """Values ``[..., own day]`` moved onto `dates`, NaN where there are none."""
    out = np.full((*values.shape[:-1], len(dates)), np.nan)
    if not len(own_dates):
        return out
    place = (dates - own_dates[0]).astype(int)
    here = (place >= 0) & (place < len(own_dates))
    out[..., here] = values[..., place[here]]
    return out


def fan(dates: DateArray, own_dates: DateArray, members: FloatArray) -> Fan:
    """Percentiles over the futures (member 0, the forecast as issued, is not one of them)."""
    return fan_of_futures(dates, own_dates, _futures(members))


def fan_of_futures(dates: DateArray, own_dates: DateArray, futures: FloatArray) -> Fan:
    """Percentiles over rows that are all futures."""
    low, mid, high = _percentiles(futures, (10, 50, 90))
    return Fan(*(onto(dates, own_dates, line) for line in (low, mid, high)))


def mean_of_futures(futures: FloatArray) -> FloatArray:
    """Mean over the futures that can be told, ``[day]``; NaN where half of them cannot."""
    known = np.isfinite(futures)
    total = np.where(known, futures, 0.0).sum(axis=0)
    mean = total / np.maximum(known.sum(axis=0), 1)
    return np.where(known.mean(axis=0) > 0.5, mean, np.nan)


def known_then_ahead(known: FloatArray, ahead: FloatArray) -> FloatArray:
    """What is known, and the days ahead where it is not."""
    return np.where(np.isfinite(known), known, ahead)


def _futures(members: FloatArray) -> FloatArray:
    return members[1:] if members.ndim > 1 and len(members) > 1 else np.atleast_2d(members)


def past_band(
    dates: DateArray, own_dates: DateArray, values: FloatArray
) -> tuple[FloatArray, FloatArray, int]:
    """10 and 90 % of the same days in earlier seasons, and how many seasons there were."""
    first = dates[0].astype(dt.date)
    seasons = []
    earliest = own_dates[0].astype(dt.date).year if len(own_dates) else first.year
    for year in range(earliest - 1, first.year):
        start = np.datetime64(first.replace(year=year), "D")
        same_days = start + np.arange(len(dates)).astype("timedelta64[D]")
        season = onto(same_days, own_dates, values)
        if np.isfinite(season).mean() > 0.5:
            seasons.append(season)
    if len(seasons) < MIN_YEARS:
        nothing = np.full(len(dates), np.nan)
        return nothing, nothing, len(seasons)
    low, high = _percentiles(np.array(seasons), (10, 90))
    return low, high, len(seasons)


def _percentiles(values: FloatArray, shares: tuple[int, ...]) -> list[FloatArray]:
    """Percentiles of the rows that are known on each day, straight between ranks; NaN without any.

    As ``numpy.nanpercentile``, which goes from column to column and takes a hundred times as long.
    """
    ranked = np.sort(values, axis=0)  # what is not known comes last
    last = np.isfinite(values).sum(axis=0) - 1
    days = np.arange(values.shape[-1])
    found = []
    for share in shares:
        rank = np.maximum(last, 0) * share / 100
        below = rank.astype(int)
        low, high = ranked[below, days], ranked[np.minimum(below + 1, np.maximum(last, 0)), days]
        found.append(low + (rank - below) * (high - low))
    return found


WEEK = 7
RESTART = 0.3  # fall of the emerged share from one day to the next that only a new count makes
RANGE = (0.1, 0.5, 0.9)  # what the three dates of a `DateRange` stand for


@dataclass(frozen=True)
class WeedSeason:
    """One weed: what emerges in the week around each day, and what has emerged by it.

    Shares of its season's total, 0..1; `usual_low` and `usual_high` are 10 and 90 % of past seasons
    of `rate`. `doubt_weeks` is of a general clock, as in `Emergence`.
    """

    code: str
    season: str
    rate: Fan
    usual_low: FloatArray
    usual_high: FloatArray
    emerged: Fan
    doubt_weeks: float = 0.0

    @property
    def known(self) -> bool:
        """Whether there is anything to draw."""
        return bool(np.isfinite(self.rate.mid).any())


@dataclass(frozen=True)
class SeasonNumbers:
    """One season.

    Attributes
    ----------
    today
        Index of today.
    soil_c, soil_ahead_c, soil_past_c
        Daily mean at 5 cm [°C]: up to yesterday, the days ahead, 10 and 90 % of `past_years`
        earlier seasons.
    dormant, safe
        Chance that the turf is dormant, and that its state takes a non-selective, 0..1.
    """

    dates: DateArray
    today: int
    soil_c: FloatArray
    soil_ahead_c: Fan
    soil_past_c: tuple[FloatArray, FloatArray]
    past_years: int
    dormant: FloatArray
    safe: FloatArray
    weeds: tuple[WeedSeason, ...]

    @property
    def soil_expected_c(self) -> FloatArray:
        """What is known, then the middle of the days ahead."""
        return np.where(np.isfinite(self.soil_c), self.soil_c, self.soil_ahead_c.mid)


def season_numbers(answer: Answer) -> SeasonNumbers:
    """The season that the answer's day lies in."""
    dates = season_dates(answer)
    past, ahead = answer.past, answer.ahead
    axis = answer.running.axis
    turf = axis.state.turf
    low, high, years = past_band(dates, past.dates, past.soil_5cm_c)
    return SeasonNumbers(
        dates=dates,
        today=day_index(dates, answer.ranking.today),
        soil_c=onto(dates, past.dates, past.soil_5cm_c),
        soil_ahead_c=fan(dates, ahead.dates, ahead.soil_5cm_c),
        soil_past_c=(low, high),
        past_years=years,
        dormant=onto(dates, axis.dates, mean_of_futures(turf.dormant_probability)),
        safe=onto(dates, axis.dates, mean_of_futures(turf.nonselective_safe)),
        weeds=tuple(_weed(answer, axis, dates, code) for code in past.emergence),
    )


def _weed(answer: Answer, axis: SeasonAxis, dates: DateArray, code: str) -> WeedSeason:
    past, curve = answer.past, answer.past.emergence[code]
    weekly = per_week(axis.state.emergence[code].share)
    spread = fan_of_futures(dates, axis.dates, weekly)
    mean = onto(dates, axis.dates, weekly.mean(axis=0))
    rate = Fan(np.fmin(spread.low, mean), mean, np.fmax(spread.high, mean))
    low, high, _ = past_band(dates, past.dates, per_week(curve.share))
    emerged = _emerged(answer, dates, curve)
    return WeedSeason(code, curve.season, rate, low, high, emerged, curve.doubt_weeks)


def _emerged(answer: Answer, dates: DateArray, curve: Emergence) -> Fan:
    """Emerged share in this season's count: none before it begins, blank in the next one's."""
    ahead, days = answer.ahead.emergence[curve.weed], answer.past.dates
    of_rank = (("share_low", "low"), ("share", "mid"), ("share_high", "high"))
    lines = [
        known_then_ahead(
            onto(dates, days, getattr(curve, name)),
            getattr(fan(dates, answer.ahead.dates, getattr(ahead, name)), rank),
        )
        for name, rank in of_rank
    ]
    other = _other_season(lines[1])
    for line in lines:
        line[other] = np.nan if other.start else 0.0
    return Fan(*lines)


def _other_season(share: FloatArray) -> slice:
    """Days in the count of another season: before a restart, or after a late one."""
    drops = np.flatnonzero(np.diff(np.nan_to_num(share)) < -RESTART)
    if not len(drops):
        return slice(0, 0)
    restart = int(drops[-1]) + 1
    return slice(restart, None) if restart > 0.9 * len(share) else slice(0, restart)


def per_week(share: FloatArray) -> FloatArray:
    """Share that emerges in the seven days around each day, ``[..., day]``, from the emerged share.

    Where the count begins anew nothing is taken away. At the ends the days there are stand for all
    seven.
    """
    daily = np.diff(share, axis=-1, prepend=share[..., :1])
    daily = np.where(daily < 0, np.where(daily < -RESTART, share, 0.0), daily)
    half = WEEK // 2
    known = np.isfinite(daily)
    room = [(0, 0)] * (daily.ndim - 1) + [(half + 1, half)]
    total, count = (
        np.cumsum(np.pad(values, room), axis=-1)
        for values in (np.where(known, daily, 0.0), known.astype(np.float64))
    )
    days = count[..., WEEK:] - count[..., :-WEEK]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (total[..., WEEK:] - total[..., :-WEEK]) / days
    result: FloatArray = np.where(known, WEEK * mean, np.nan)
    return result


def chance_open(plan: PurposePlan, dates: DateArray) -> FloatArray:
    """Chance that a purpose is open on each day, 0..1; NaN where it cannot be told."""
    begun = _come_by(dates, plan.opened, plan.opens)
    over = plan.status == "over" and plan.closed is None and plan.closes is None
    ended = np.full(len(dates), np.nan) if over else _come_by(dates, plan.closed, plan.closes)
    ended = np.concatenate([[0.0], ended[:-1]])  # its last day is open still
    shut = (begun == 0) | (ended == 1)
    return np.where(shut, 0.0, begun * (1 - ended))


def _come_by(dates: DateArray, day: dt.date | None, when: DateRange | None) -> FloatArray:
    """Chance that a date has come by each day: certain steps, or straight lines through a range."""
    if day is not None:
        return (dates >= np.datetime64(day, "D")).astype(np.float64)
    if when is None or when.unknown > 0.5:
        return np.full(len(dates), np.nan)
    ends = zip((when.early, when.median, when.late), RANGE, strict=True)
    points = {float(day_index(dates, date)): share for date, share in ends if date is not None}
    if not points:
        return np.zeros(len(dates))
    places = list(points)
    tail = max(1.0, (places[-1] - places[0]) / 8)
    most = 1 - when.never if when.late is not None else max(points.values())
    x = [places[0] - tail, *places, places[-1] + tail]
    return np.interp(np.arange(len(dates)), x, [0.0, *points.values(), most])


def control_left(job: Job, numbers: SeasonNumbers, loss: Loss) -> Fan | None:
    """What is left of a pre-emergent by day: 1 when applied, 0 when too little is left to work.

    Lost first-order at a rate that follows the soil, so that it runs out on the dates of
    `Job.residual_until`; an end beyond the days looked at is NaN. None where nothing lasts.
    """
    if job.applied is None or job.residual_until is None:
        return None
    dates = numbers.dates
    start = day_index(dates, job.applied)
    soil = np.where(np.isfinite(numbers.soil_expected_c), numbers.soil_expected_c, loss.reference_c)
    lost = np.cumsum(loss_rate(soil, loss))
    lines = [_left(lost, start, end, dates, loss) for end in job.residual_until]
    return Fan(*lines)


def _left(
    lost: FloatArray, start: int, end: dt.date | None, dates: DateArray, loss: Loss
) -> FloatArray:
    days = np.arange(len(dates))
    if end is None:
        return np.where(days >= start, np.nan, 0.0)
    stop = day_index(dates, end)
    # an end beyond the season goes on at the mean rate of its last month
    beyond = max(0, stop - (len(dates) - 1)) * float(np.diff(lost[-31:]).mean())
    from_start = lost - lost[min(max(start, 0), len(lost) - 1)]
    whole = float(from_start[min(max(stop, 0), len(lost) - 1)]) + beyond
    share = from_start / whole if whole > 0 else np.where(days > start, 1.0, 0.0)
    least = loss.enough_left
    left = (least ** np.clip(share, 0, 1) - least) / (1 - least)
    return np.where(days < start, 0.0, left)
