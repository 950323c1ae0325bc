"""Barrier cover of the running season: curve over dates, best date, cost of missing it, a split."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Name, Phrase, Share, joined, say
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import PACKAGED, Table, Tables, Value
from windowcast.materials.actives import Active
from windowcast.season.model import Emergence
from windowcast.windows import barrier
from windowcast.windows.model import CoverPlan, CoverPoint, PurposeName
from windowcast.windows.purposes import Purpose
from windowcast.windows.season_axis import SeasonAxis

STEPS = 0.6180339887498949, 0.4142135623730951  # irrational: they spread members evenly in 0..1
SPLIT_STEP_DAYS = 4
SPLIT_MEMBERS = 25


@dataclass(frozen=True)
class ResidualActive:
    """A pre-emergence active for the purpose; an empty name is a usual one."""

    name: str
    half_life: Value
    activation_mm: float
    activation_days: int

    @property
    def range_d(self) -> tuple[float, float, float]:
        """Half-life: low, usual, high."""
        low, high = self.half_life.ends
        return low, float(self.half_life), high

    def laid(
        self,
        loss: barrier.Loss,
        *,
        irrigated: bool,
        half_life_d: FloatArray | float | None = None,
    ) -> barrier.Barrier:
        """The barrier it makes, of its usual half-life when None is given.

        Without irrigation rain must water it in.
        """
        return barrier.Barrier(
            float(self.half_life) if half_life_d is None else half_life_d,
            0.0 if irrigated else self.activation_mm,
            self.activation_days,
            loss,
        )


def material_of(active: Active) -> ResidualActive | None:
    """An active as a barrier; None when it is none or its half-life or watering-in is unknown."""
    life, depth, days = active.soil_dt50_d, active.activation_mm, active.activation_days
    if active.timing.value == "post" or life is None or depth is None or days is None:
        return None
    return ResidualActive(active.name, life, float(depth), int(float(days)))


def usual_material(purpose: Purpose, values: Table) -> ResidualActive:
    """What stands for a barrier when no material is named; `values` is ``data/barrier.toml``."""
    needs = purpose.generic
    return ResidualActive(
        "",
        values.value("default_half_life"),
        float(needs.activation_mm or 0.0),
        int(needs.activation_days or 0),
    )


@dataclass(frozen=True)
class Season:
    """What a barrier meets, ``[member, day]``, and the days on which it may be applied."""

    dates: DateArray
    share: FloatArray
    soil_c: FloatArray
    rain_mm: FloatArray
    candidates: npt.NDArray[np.bool_]


def season_of(
    axis: SeasonAxis,
    weeds: Sequence[Emergence],
    rain_mm: FloatArray,
    *,
    first: int,
    candidates: npt.NDArray[np.bool_],
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
    )


def spread_evenly(count: int, which: int = 0) -> FloatArray:
    """One place in 0..1 for each member, evenly spread; another order for each `which`."""
    places: FloatArray = ((np.arange(count, dtype=np.float64) + 0.5) * STEPS[which]) % 1.0
    return places


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
    weeds: Sequence[Phrase],
    today: dt.date,
    irrigated: bool,
    tables: Tables = PACKAGED,
) -> CoverPlan:
    """Cover of one material over the dates on which it may be applied."""
    values = tables["barrier"]
    low, usual, high = material.range_d
    place = spread_evenly(len(season.share), 1)
    life: FloatArray = np.asarray(low * (high / low) ** place, dtype=np.float64)
    laid = material.laid(barrier.Loss.of(values), irrigated=irrigated, half_life_d=life)
    weather = season.share, season.soil_c, season.rain_mm
    result = barrier.cover(*weather, laid)
    watered = np.isfinite(barrier.watered_in(season.rain_mm, laid))
    curve = [
        _point(season, result, watered, day) for day in np.flatnonzero(season.candidates).tolist()
    ]
    dates = season.dates.astype(object)
    mean = np.array([np.nan if p.caught is None else p.caught for p in curve])
    up = np.array([np.nan if p.up is None else p.up for p in curve])
    known = np.isfinite(mean)
    as_good = values.number("as_good")
    open_now = np.array([p.date >= today for p in curve], dtype=bool) & known
    best = curve[int(barrier.best_day(mean, up, open_now, as_good))] if open_now.any() else None
    week = dt.timedelta(days=values.number("week"))
    early = now = None
    if best is not None and best.date - week >= today:
        early = _caught_on(season, result, best.date - week)
    elif best is not None and best.date > today:
        now = _caught_on(season, result, today)  # a week earlier is past
    late = _caught_on(season, result, best.date + week) if best else None
    hindsight = curve[int(barrier.best_day(mean, up, known, as_good))] if known.any() else None
    split, split_caught = _best_split(season, laid, best, today, tables)
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
        ),
    )


def _point(
    season: Season, result: barrier.DayCover, watered: npt.NDArray[np.bool_], day: int
) -> CoverPoint:
    caught = result.caught[:, day]
    known = np.isfinite(caught)
    date = season.dates[day].astype(object)
    up = _mean(result.up[:, day])
    if known.mean() < 0.5:
        return CoverPoint(date, None, None, None, None, up, None)
    low, high = np.quantile(caught[known], [0.1, 0.9])
    return CoverPoint(
        date=date,
        caught=float(caught[known].mean()),
        low=float(low),
        high=float(high),
        cover=_mean(result.cover[:, day]),
        up=up,
        watered=float(watered[known, day].mean()),
    )


def _mean(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


def _caught_on(season: Season, result: barrier.DayCover, date: dt.date) -> float | None:
    at = int((np.datetime64(date, "D") - season.dates[0]).astype(int))
    if not 0 <= at < len(season.dates):
        return None
    return _mean(result.caught[:, at])


def _best_split(
    season: Season,
    laid: barrier.Barrier,
    best: CoverPoint | None,
    today: dt.date,
    tables: Tables,
) -> tuple[tuple[int, int] | None, float | None]:
    """The best two dates for half the dose each, when they catch enough more than one."""
    if best is None or best.caught is None:
        return None, None
    days = np.flatnonzero(season.candidates & (season.dates >= np.datetime64(today)))
    days = days[::SPLIT_STEP_DAYS]
    first, second = (grid.ravel() for grid in np.meshgrid(days, days, indexing="ij"))
    apart = second - first >= tables["barrier"].number("split_apart")
    if not apart.any():
        return None, None
    pairs = {"first": first[apart], "second": second[apart]}
    some = slice(None, None, max(1, len(season.share) // SPLIT_MEMBERS))
    life = np.broadcast_to(laid.half_life_d, (len(season.share),))
    few = replace(laid, half_life_d=life[some])
    rough = barrier.split_caught(
        season.share[some], season.soil_c[some], season.rain_mm[some], few, **pairs
    ).mean(axis=0)
    if not np.isfinite(rough).any():
        return None, None
    top = int(np.nanargmax(rough))
    pair = {name: days_[top : top + 1] for name, days_ in pairs.items()}
    fine = barrier.split_caught(season.share, season.soil_c, season.rain_mm, laid, **pair)
    caught = float(np.nanmean(fine))
    if caught < best.caught + tables["plan"].number("split_gain"):
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
) -> Phrase:
    """The answer; `others` are what other days of application catch, by the id of their text."""
    what, of = barrier_named(active), joined(*weeds)
    if best is None or best.caught is None:
        return say("cover.unknown", barrier=what)
    if best.date < today:
        return say("cover.over", barrier=what, day=best.date, caught=Share(best.caught), weeds=of)
    known = {day: caught for day, caught in others.items() if caught is not None}
    worst = min(known.values(), default=0.0)
    dry = best.watered is not None and best.watered <= values.number("seldom_watered")
    rain = little = partner = NOTHING
    if known and not dry and best.caught - worst <= 2 * values.number("as_good"):
        little = say("cover.little_hangs")
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
        low=share(best.low),
        high=share(best.high),
        costs=say("cover.costs", of=joined(*costs, join="comma")) if costs else NOTHING,
        little=little,
        partner=partner,
        rain=rain,
    )


def barrier_named(active: str) -> Phrase:
    """``a barrier of prodiamine``, or a usual one where none is named."""
    return say("cover.barrier", active=Name(active)) if active else say("cover.usual_barrier")


def share(value: float | None) -> Share:
    """A share that may be unknown."""
    return Share(math.nan if value is None else value)
