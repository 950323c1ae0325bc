"""Breaks in a station's temperature against its neighbours: found and flagged, never mended.

A station that was moved, or got another thermometer, jumps against the stations around it while
the climate does not. Each season's departure of daily highs (and lows) from the station's own usual
is compared with those of up to ``most`` neighbours; the median over them leaves a break of a single
neighbour out. The standard normal homogeneity test (Alexandersson 1986, *J. Climatol.* 6:661-675)
then asks for the clearest step. Neighbours are those nearest whose year-to-year changes go along
(Peterson and Easterling 1994, *Int. J. Climatol.* 14:671-679). Values: ``data/homogeneity.toml``.
Citations from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import Table, load
from windowcast.region.columns import DEPARTURE_COLUMNS
from windowcast.region.tables import FULL, break_fields, numbers

if TYPE_CHECKING:
    import pyarrow as pa

EARTH_KM = 6371.0
_BLOCK = 64  # stations whose neighbours are held at a time
Ints = npt.NDArray[np.int64]

NEEDED = ("station", "season", "complete", *DEPARTURE_COLUMNS)


@dataclass(frozen=True, slots=True)
class ClearestSteps:
    """The clearest step of each series, ``[series]``.

    Attributes
    ----------
    statistic
        Of the test, NaN with fewer than two values or where all are alike.
    first
        Index of the first value after the step.
    size
        Mean after it minus mean before it, in the unit of the series.
    count
        How many values are known.
    memory
        Lag-1 autocorrelation of what the step leaves over.
    """

    statistic: FloatArray
    first: Ints
    size: FloatArray
    count: Ints
    memory: FloatArray


@dataclass(frozen=True, slots=True)
class Breaks:
    """Whether and where each station breaks, ``[station]``.

    Attributes
    ----------
    season
        Index of the first season after the clearest step; -1 where it is not significant.
    p
        That white noise steps as clearly, for highs and lows together; NaN where it is not tested.
    size_k
        The step [K].
    highs
        Whether it is one of the highs rather than the lows.
    neighbours
        Stations it was compared with; 0 where it is not tested.
    """

    season: Ints
    p: FloatArray
    size_k: FloatArray
    highs: npt.NDArray[np.bool_]
    neighbours: Ints


def snht(series: FloatArray) -> ClearestSteps:
    """The standard normal homogeneity test of each series, ``[series, time]``; NaN is left out.

    Notes
    -----
    With z the n standardised values, the statistic is the largest of k·mean(z₁…zₖ)² +
    (n − k)·mean(zₖ₊₁…zₙ)² over k.

    References
    ----------
    Alexandersson (1986), *J. Climatol.* 6:661-675.
    """
    known = np.isfinite(series)
    before = known.cumsum(axis=1)
    count = before[:, -1]
    n = np.where(count > 1, count, np.nan)[:, None]
    mean = np.nansum(series, axis=1, keepdims=True) / n
    off = np.where(known, series - mean, 0.0)
    spread = np.sqrt((off**2).sum(axis=1, keepdims=True) / (n - 1))
    spread = np.where(spread > 1e-9, spread, np.nan)
    total = off.cumsum(axis=1)
    within = known & (before < n)
    k = np.where(within, before, np.nan)
    statistic = (total / spread) ** 2 * n / (k * (n - k))
    told = np.isfinite(statistic).any(axis=1)
    last = np.argmax(np.nan_to_num(statistic, nan=-1.0), axis=1)
    rows = np.arange(len(series))
    step = -(total[rows, last]) * (n / (k * (n - k)))[rows, last]
    first = np.argmax(known & (np.arange(series.shape[1]) > last[:, None]), axis=1)
    after = np.arange(series.shape[1]) > last[:, None]
    level = np.where(after, (step * (k[rows, last] / n[:, 0]))[:, None],
                     (-step * (1 - k[rows, last] / n[:, 0]))[:, None])  # fmt: skip
    rest = np.where(known, off - level, np.nan)
    pairs = rest[:, 1:] * rest[:, :-1]
    left = np.nansum(rest**2, axis=1)
    memory = np.nansum(pairs, axis=1) / np.where(left > 0, left, np.nan)
    best = np.where(told, np.nan_to_num(statistic, nan=-1.0).max(axis=1), np.nan)
    return ClearestSteps(best, first, step, count, np.nan_to_num(memory))


def chance(steps: ClearestSteps, marks: Table) -> FloatArray:
    """How often noise without a step has one as clear, ``[series]``; not below the least level.

    The statistic is first shrunk by (1 − r)/(1 + r), where r is the memory from one season to the
    next: so much less do values tell that resemble the one before (Wilks 2011, *Statistical Methods
    in the Atmospheric Sciences*, 5.2.4; from memory).
    """
    levels = np.array(marks.value("snht.levels").value)
    lengths = np.array(marks.value("snht.lengths").value, float)
    critical = np.array(marks.value("snht.critical").value)
    r = np.clip(steps.memory + marks.number("memory_bias") / np.maximum(steps.count, 1), 0.0, 0.9)
    shrunk = steps.statistic * (1 - r) / (1 + r)
    at = np.interp(np.log(np.maximum(steps.count, 1)), np.log(lengths), np.arange(len(lengths)))
    low = np.minimum(at.astype(np.int64), len(lengths) - 2)
    mine = critical[low] + (at - low)[:, None] * (critical[low + 1] - critical[low])
    p = np.full(len(shrunk), np.nan)
    for i in np.flatnonzero(np.isfinite(shrunk)).tolist():
        p[i] = np.exp(np.interp(shrunk[i], [0.0, *mine[i]], [0.0, *np.log(levels)]))
    return p


def breaks(
    highs_k: FloatArray,
    lows_k: FloatArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    marks: Table,
) -> Breaks:
    """Test every station against its neighbours.

    Parameters
    ----------
    highs_k, lows_k
        Departures of each season from the station's own usual, ``[station, season]``, NaN unknown.
    latitude_deg, longitude_deg
        ``[station]``.
    marks
        ``data/homogeneity.toml``.
    """
    near = nearest(latitude_deg, longitude_deg, marks)
    first = _broken((highs_k, lows_k), near, marks)
    suspect = first.season >= 0
    if not suspect.any():
        return first
    # once more without the stations that break: they would lend their step to those around them
    again = _broken((highs_k, lows_k), np.where(suspect[near], -1, near), marks)
    tested = again.neighbours > 0
    return Breaks(*(np.where(tested, getattr(again, f.name), getattr(first, f.name))
                    for f in fields(Breaks)))  # fmt: skip


def _broken(values_k: Sequence[FloatArray], near: Ints, marks: Table) -> Breaks:
    told = [_tested(values, near, marks) for values in values_k]
    p = np.stack([chance(steps, marks) for steps, _ in told])
    p = np.where(np.isfinite(p).all(axis=0), p, np.nan)
    tested = np.isfinite(p[0])
    better = np.argmin(np.where(tested, p, 1.0), axis=0)
    rows = np.arange(len(better))
    both = np.minimum(2 * p[better, rows], 1.0)  # two tests of one station
    first = np.stack([steps.first for steps, _ in told])[better, rows]
    size = np.stack([steps.size for steps, _ in told])[better, rows]
    count = np.minimum(*(number for _, number in told))
    return Breaks(
        np.where(both <= marks.number("level"), first, -1),
        both,
        np.where(tested, size, np.nan),
        better == 0,
        np.where(tested, count, 0),
    )


def nearest(latitude_deg: FloatArray, longitude_deg: FloatArray, marks: Table) -> Ints:
    """The stations nearest to each, ``[station, candidate]``; -1 beyond ``reach``."""
    from scipy.spatial import KDTree

    lat, lon = np.radians(latitude_deg), np.radians(longitude_deg)
    points = np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=1)
    wanted = int(marks.number("candidates"))
    chord = 2 * np.sin(marks.number("reach") / EARTH_KM / 2)
    far, rows = KDTree(points).query(points, k=wanted + 1, distance_upper_bound=chord)
    own = rows == np.arange(len(points))[:, None]
    own[~own.any(axis=1), -1] = True  # more stations than that at one place: the last makes room
    return np.asarray(np.where(np.isfinite(far), rows, -1)[~own].reshape(len(points), wanted))


def _tested(values: FloatArray, near: Ints, marks: Table) -> tuple[ClearestSteps, Ints]:
    """Steps of each station against its neighbours, and how many those are."""
    parts = []
    counts = []
    for start in range(0, len(values), _BLOCK):
        rows = slice(start, start + _BLOCK)
        apart, count = against(values[rows], values, near[rows], marks)
        parts.append(snht(apart))
        counts.append(count)
    whole = ClearestSteps(
        *(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(ClearestSteps))
    )
    return whole, np.concatenate(counts)


def against(
    own: FloatArray, values: FloatArray, near: Ints, marks: Table
) -> tuple[FloatArray, Ints]:
    """Stations less the median of their neighbours, ``[station, season]``, and how many there are.

    Each neighbour is first brought to the level of the station over the seasons both have. A season
    is known with ``fewest`` neighbours, a station with ``seasons`` such seasons.
    """
    number = marks.number
    other = np.where(near[..., None] >= 0, values[near], np.nan)  # [station, candidate, season]
    apart = own[:, None] - other
    both = np.isfinite(apart)
    shared = both.sum(axis=-1)
    along = _correlation(np.diff(own[:, None], axis=-1), np.diff(other, axis=-1))
    fit = (along >= number("along")) & (
        shared >= number("overlap") * np.isfinite(own).sum(axis=-1, keepdims=True)
    )
    order = np.argsort(np.where(fit, -along, np.inf), axis=1, kind="stable")
    order = order[:, : int(number("most"))]
    chosen = np.take_along_axis(fit, order, axis=1)
    apart = np.take_along_axis(apart, order[..., None], axis=1)
    level = np.nansum(apart, axis=-1) / np.maximum(np.take_along_axis(shared, order, axis=1), 1)
    apart = np.where(chosen[..., None], apart - level[..., None], np.nan)
    middle = _median(apart, int(number("fewest")))
    enough = np.isfinite(middle).sum(axis=1) >= number("seasons")
    return np.where(enough[:, None], middle, np.nan), chosen.sum(axis=1) * enough


def _correlation(a: FloatArray, b: FloatArray) -> FloatArray:
    """Along the last axis over what both know; NaN where that is constant."""
    both = np.isfinite(a) & np.isfinite(b)
    n = np.maximum(both.sum(axis=-1, keepdims=True), 1)
    x, y = (np.where(both, each, 0.0) for each in np.broadcast_arrays(a, b))
    x, y = (np.where(both, each - each.sum(axis=-1, keepdims=True) / n, 0.0) for each in (x, y))
    spread = np.sqrt((x**2).sum(axis=-1) * (y**2).sum(axis=-1))
    return np.asarray((x * y).sum(axis=-1) / np.where(spread > 0, spread, np.nan))


def _median(values: FloatArray, fewest: int) -> FloatArray:
    """Over the second axis; NaN where fewer than `fewest` are known."""
    ordered = np.sort(values, axis=1)  # unknown ones come last
    count = np.isfinite(values).sum(axis=1)[:, None]
    low, high = (np.take_along_axis(ordered, np.maximum(count - i, 0) // 2, axis=1) for i in (1, 0))
    return np.where(count >= fewest, (low + high) / 2, np.nan)[:, 0]


def break_table(stations: pa.Table, seasons: Iterable[pa.RecordBatch]) -> pa.Table:
    """`tables.break_fields` of each station, in their order; null where nothing is found.

    Parameters
    ----------
    stations
        Columns ``station``, ``latitude``, ``longitude``, ``first_season``, ``last_season``.
    seasons
        Rows with the columns `NEEDED`, of these and perhaps other stations.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    schema = pa.schema([stations.schema.field("station"), *break_fields()])
    if not len(stations):
        return schema.empty_table()
    first = int(numbers(stations, "first_season").min())
    last = int(numbers(stations, "last_season").max())
    grids = np.full((2, len(stations), last - first + 1), np.nan, np.float32)
    for batch in seasons:
        row = pc.index_in(batch["station"], value_set=stations["station"]).fill_null(-1).to_numpy()
        use = (row >= 0) & (np.nan_to_num(numbers(batch, "complete")) >= FULL)
        at = row[use], numbers(batch, "season")[use].astype(np.int64) - first
        for grid, name in zip(grids, DEPARTURE_COLUMNS, strict=True):
            grid[at] = numbers(batch, name)[use]
    found = breaks(
        grids[0],
        grids[1],
        numbers(stations, "latitude"),
        numbers(stations, "longitude"),
        load("homogeneity"),
    )
    broken, tested = found.season >= 0, found.neighbours > 0
    columns = (
        pa.array(first + found.season, mask=~broken),
        pa.array(found.p, mask=~tested),
        pa.array(found.size_k, mask=~broken),
        pa.array(np.where(found.highs, "highs", "lows"), mask=~broken),
        pa.array(found.neighbours, mask=~tested),
    )
    fields = break_fields()
    made = [column.cast(field.type) for column, field in zip(columns, fields, strict=True)]
    return pa.table([stations["station"], *made], schema=schema)


def with_breaks(batch: pa.RecordBatch, found: pa.Table) -> pa.RecordBatch:
    """Rows of stations with what was found at them."""
    import pyarrow.compute as pc

    row = pc.index_in(batch["station"], value_set=found["station"])
    for field in break_fields():
        at = batch.schema.get_field_index(field.name)
        column = found[field.name].take(row).combine_chunks()
        batch = batch.set_column(at, batch.schema.field(at), column)
    return batch
