"""Cover of a pre-emergent in the running season: curve over dates, best date, cost, a split."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Name, Phrase, Share, joined, say
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.time_axis import day_index
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.season.model import Emergence
from windowcast.windows import barrier
from windowcast.windows.exposure import Barrier
from windowcast.windows.model import CoverPlan, CoverPoint, PurposeName, TrialControl
from windowcast.windows.residual import Laying, ResidualActive, spread_evenly
from windowcast.windows.season_axis import SeasonAxis
from windowcast.windows.trials import Met, trial_phrases


class Season(NamedTuple):
    """What a barrier meets, ``[member, day]``, and the days on which it may be applied.

    `shut` names the timing criterion that speaks most against each day; none where nobody asked.
    """

    dates: DateArray
    share: FloatArray
    soil_c: FloatArray
    rain_mm: FloatArray
    candidates: npt.NDArray[np.bool_]
    shut: tuple[Phrase, ...] = ()


def season_of(
    axis: SeasonAxis,
    weeds: Sequence[Emergence],
    rain_mm: FloatArray,
    *,
    first: int,
    candidates: npt.NDArray[np.bool_],
    shut: Sequence[Phrase] = (),
) -> Season | None:
    """The part of the axis over which the weeds emerge; None without weeds.

    Parameters
    ----------
    weeds
        Curves on the axis, ``[member, day]``; their mean is followed. Each member takes its own
        place within the band of the curves.
    rain_mm
        Rain on the axis, ``[member, day]``.
    first
        Day of the season from which the weeds' new year counts.
    candidates
        Days on which the barrier may be applied, ``[day]`` of the axis.
    shut
        Label of the timing criterion that speaks most against each day of the axis.
    """
    if not weeds:
        return None
    share = np.mean([_within_band(w) for w in weeds], axis=0)
    begin = int(np.searchsorted(axis.number, first))
    drops = np.flatnonzero((np.diff(share[:, begin + 1 :], axis=1) < -0.3).any(axis=0))
    end = begin + 2 + int(drops[0]) if drops.size else share.shape[1]
    part = slice(begin, end)
    curve = np.maximum.accumulate(share[:, part], axis=1)
    return Season(
        axis.dates[part],
        curve,
        axis.state.soil_5cm_c[:, part],
        rain_mm[:, part],
        candidates[part],
        tuple(shut[part]),
    )


def _within_band(weed: Emergence) -> FloatArray:
    """The curve at each member's place in its 10-90 % band."""
    share = np.atleast_2d(weed.share)
    normal = NormalDist()
    place = np.array([normal.inv_cdf(p) for p in spread_evenly(len(share))])[:, None]
    step = np.clip(place / normal.inv_cdf(0.9), -1.5, 1.5)
    toward = np.where(step < 0, share - weed.share_low, weed.share_high - share)
    result: FloatArray = np.clip(share + step * np.nan_to_num(toward), 0.0, 1.0)
    return result


def cover_plan(
    season: Season,
    material: ResidualActive,
    purpose: PurposeName,
    *,
    codes: Sequence[str],
    today: dt.date,
    on: Laying,
    tables: Tables = PACKAGED,
) -> CoverPlan:
    """Cover of one material over the dates on which it may be applied.

    Parameters
    ----------
    codes
        EPPO codes of the weeds that the season's curve is of.
    """
    values = tables["barrier"]
    weeds = [say(f"weed.{code}") for code in codes]
    low, usual, high = material.range_d
    laid = material.drawn(len(season.share), on)
    weather = season.share, season.soil_c, season.rain_mm
    result = barrier.cover(*weather, laid)
    watered = barrier.watered_in_time(season.rain_mm, laid)
    curve = _points(season, result, watered)
    dates = season.dates.astype(object)
    mean = np.array([np.nan if p.caught is None else p.caught for p in curve])
    known = np.isfinite(mean)
    later = values.number("later_worth")
    open_now = np.array([p.date >= today for p in curve], dtype=bool) & known
    best = curve[int(barrier.best_day(mean, open_now, later))] if open_now.any() else None
    week = dt.timedelta(days=values.number("week"))
    early = now = None
    if best is not None and best.date - week >= today:
        early = _caught_on(season, result, best.date - week)
    elif best is not None and best.date > today:
        now = _caught_on(season, result, today)  # a week earlier is past
    late = _caught_on(season, result, best.date + week) if best else None
    hindsight = curve[int(barrier.best_day(mean, known, later))] if known.any() else None
    split, split_caught = _best_split(season, laid, best, today, tables)
    better = _better(season, best, week, {"earlier": early, "later": late})
    on_time = Met(dict.fromkeys(codes, 0.0), "pre", None, tables["efficacy"])
    trials = on_time.by([material.name])
    partner = values.number("partner_from")
    needs_partner = None if best is None or best.up is None else best.up >= partner
    return CoverPlan(
        purpose=purpose,
        active=material.name,
        half_life_d=(low, usual, high),
        half_life_source=f"{material.half_life.status}: {material.half_life.source}",
        weeds=tuple(weeds),
        curve=tuple(curve),
        best=best,
        week_early=early,
        week_late=late,
        split=None if split is None else (dates[split[0]], dates[split[1]]),
        split_caught=split_caught,
        needs_partner=needs_partner,
        text=_text(
            best or hindsight,
            {"week_earlier": early, "today": now, "week_later": late},
            active=material.name,
            weeds=weeds,
            today=today,
            values=values,
            better=better,
            trials=trials,
        ),
        better=better,
        trials=trials,
    )


def _points(season: Season, result: barrier.DayCover, watered: FloatArray) -> list[CoverPoint]:
    """What each day on which it may be applied would catch."""
    days = np.flatnonzero(season.candidates)
    # a row for each day: a mean over the futures is then that of the day by itself
    caught, cover, up, wet = (
        np.ascontiguousarray(values[:, days].T)
        for values in (result.caught, result.cover, result.up, watered)
    )
    low, high = np.quantile(np.nan_to_num(caught), [0.1, 0.9], axis=-1).tolist()  # as the mean
    points = []
    for n, date in enumerate(season.dates[days].astype(object)):
        middle, gone = mean_share(caught[n]), _mean_known(up[n])
        if middle is None:
            points.append(CoverPoint(date, None, None, None, None, gone, None))
            continue
        points.append(
            CoverPoint(
                date=date,
                caught=middle,
                low=low[n],
                high=high[n],
                cover=mean_share(cover[n]),
                up=gone,
                watered=float(wet[n].mean()),
            )
        )
    return points


def mean_share(values: FloatArray) -> float | None:
    """Mean over the futures, in which one that cannot be told counts as none; None: most cannot."""
    if np.isfinite(values).mean() < 0.5:
        return None
    return float(np.nan_to_num(values, nan=0.0).mean())


def _mean_known(values: FloatArray) -> float | None:
    """Mean over the futures that tell, where none is no good news; None: most cannot."""
    return None if np.isfinite(values).mean() < 0.5 else float(np.nanmean(values))


def _better(
    season: Season,
    best: CoverPoint | None,
    week: dt.timedelta,
    others: Mapping[str, float | None],
) -> tuple[Phrase, ...]:
    """Why a day a week off, on which the share is larger, is not the one named."""
    said = []
    for side, caught in others.items():
        if best is None or best.caught is None or caught is None or caught <= best.caught:
            continue
        date = best.date + (week if side == "later" else -week)
        at = day_index(season.dates, date)
        if season.candidates[at]:
            said.append(say(f"cover_better.as_good_{side}"))
        elif season.shut:
            limit = season.shut[at]
            said.append(say(f"cover_better.shut_{side}", caught=Share(caught), limit=limit))
    return tuple(said)


def _caught_on(season: Season, result: barrier.DayCover, date: dt.date) -> float | None:
    at = day_index(season.dates, date)
    if not 0 <= at < len(season.dates):
        return None
    return mean_share(result.caught[:, at])


def _best_split(
    season: Season,
    laid: Barrier,
    best: CoverPoint | None,
    today: dt.date,
    tables: Tables,
) -> tuple[tuple[int, int] | None, float | None]:
    """The best two dates for half the dose each, when they catch enough more than one."""
    if best is None or best.caught is None:
        return None, None
    days = np.flatnonzero(season.candidates & (season.dates >= np.datetime64(today)))
    split = tables["barrier"].table("split")
    days = days[:: int(split.number("step"))]
    first, second = (grid.ravel() for grid in np.meshgrid(days, days, indexing="ij"))
    apart = second - first >= tables["barrier"].number("split_apart")
    if not apart.any():
        return None, None
    pairs = {"first": first[apart], "second": second[apart]}
    some = slice(None, None, max(1, len(season.share) // int(split.number("futures"))))
    few = laid.of_members(some)
    rough = barrier.split_caught(
        season.share[some], season.soil_c[some], season.rain_mm[some], few, **pairs
    ).mean(axis=0)
    if not np.isfinite(rough).any():
        return None, None
    top = int(np.nanargmax(rough))
    pair = {name: days_[top : top + 1] for name, days_ in pairs.items()}
    fine = barrier.split_caught(season.share, season.soil_c, season.rain_mm, laid, **pair)
    caught = mean_share(fine)
    if caught is None or caught < best.caught + tables["plan"].number("split_gain"):
        return None, None
    return (int(pair["first"][0]), int(pair["second"][0])), caught


def _text(
    best: CoverPoint | None,
    others: Mapping[str, float | None],
    *,
    active: str,
    weeds: Sequence[Phrase],
    today: dt.date,
    values: Table,
    better: Sequence[Phrase],
    trials: Sequence[TrialControl],
) -> Phrase:
    """The answer; `others` are what other days of application catch, by the id of their text."""
    what, of = barrier_named(active), joined(*weeds)
    if best is None or best.caught is None:
        return say("cover.unknown", barrier=what)
    if best.date < today:
        return say("cover.over", barrier=what, day=best.date, caught=Share(best.caught), weeds=of)
    known = {day: caught for day, caught in others.items() if caught is not None}
    dry = best.watered is not None and best.watered <= values.number("seldom_watered")
    rain = little = partner = NOTHING
    if known and not dry and best.caught - min(known.values()) <= 2 * values.number("as_good"):
        little = say("cover.little_hangs")
        better = [phrase for phrase in better if not phrase.id.startswith("cover_better.as_good")]
    if best.up is not None and best.up >= values.number("partner_from"):
        partner = say("cover.partner", up=Share(best.up))
    if best.watered is not None and (dry or best.watered < 1):
        rain = say(f"cover.rain_{'seldom' if dry else 'waters'}", share=Share(best.watered))
    costs = [say(f"cover_on.{day}", caught=Share(caught)) for day, caught in known.items()]
    return say(
        "cover.applied",
        when=say("cover.now") if best.date == today else say("cover.about", day=best.date),
        barrier=what,
        caught=Share(best.caught),
        weeds=of,
        likely=likely(best),
        costs=say("cover.costs", of=joined(*costs, join="comma")) if costs else NOTHING,
        little=little,
        partner=partner,
        rain=rain,
        beside=_beside(better, trials),
    )


def beside(cover: CoverPlan) -> Phrase:
    """What else stands behind a cover: why no better day is named, and control in trials."""
    return _beside(cover.better, cover.trials)


def _beside(better: Sequence[Phrase], trials: Sequence[TrialControl]) -> Phrase:
    said = [*better, *trial_phrases(trials)]
    return say("cover.beside", of=joined(*said, join="sentences")) if said else NOTHING


def barrier_named(active: str) -> Phrase:
    """``a barrier of prodiamine``, or a usual one where none is named."""
    return say("cover.barrier", active=Name(active)) if active else say("cover.usual_barrier")


def likely(point: CoverPoint) -> Phrase:
    """The band of a share; nothing where its ends read the same."""
    low, high = point.low, point.high
    if low is None or high is None or round(100 * low) == round(100 * high):
        return NOTHING
    return say("cover.likely", low=Share(low), high=Share(high))


def share(value: float | None) -> Share:
    """A share that may be unknown."""
    return Share(math.nan if value is None else value)
