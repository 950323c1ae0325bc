"""Live green leaf through the year, in many possible worlds.

In each world leaf comes and goes by a switch with two thresholds: it comes when the soil (or the
air's heat) passes the one, and goes when frosts have added up while the soil lies below it, or when
the soil falls below the other. Between the two it stays what it was. The worlds differ in where a
site's thresholds lie and in the models' own error; the share of worlds with live leaf is the
chance of it. Figures come from ``data/turf.toml``; the size of the soil model's error is handed in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any, Literal, NamedTuple, Self

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.season.runs import BoolArray, latest, trailing_mean, trailing_sum

SOIL_DAYS = 7
Level = Literal["first", "half"]


@dataclass(frozen=True)
class Care:
    """What is done to the turf, as far as it moves its colour; None: not said, the careful side."""

    mowing_height_mm: float | None = None
    shade: Literal["none", "partial", "full"] | None = None
    covered: bool = False


class World(NamedTuple):
    """Thresholds in one possible world.

    Attributes
    ----------
    gain_c, loss_c
        7-day mean of soil at or above which leaf comes, below which it goes without frost [°C], as
        they are without error.
    place
        Of this world in the distribution of the error of both, 0..1; below a half leaf comes in
        cooler soil than is usual.
    heat
        Growth potential added up over `leaf.heat_days` that brings leaf [d].
    frost
        Frost added up over `leaf.frost_days` that ends it [K·night].
    """

    gain_c: float
    loss_c: float
    place: float
    heat: float
    frost: float

    @property
    def score(self) -> float:
        """`place` as a standard normal score."""
        return NormalDist().inv_cdf(self.place)


class ByDay:
    """Arrays ``[..., day]``, of which some days can be taken."""

    def on(self, days: npt.NDArray[np.intp]) -> Self:
        """On some of the days."""
        return type(self)(*(values.take(days, axis=-1) for values in vars(self).values()))


@dataclass(frozen=True)
class Driver(ByDay):
    """What leaf depends on, each ``[..., day]``; NaN where it is not known.

    Attributes
    ----------
    soil_c
        7-day mean of soil at 10 cm [°C].
    heat
        Growth potential of the last days, added up [d].
    frost
        Frost up to the day that shows now, added up [K·night]; nights not known count as none.
    frozen
        Whether the night that shows now had frost; `unseen` whether it is not known.
    """

    soil_c: FloatArray
    heat: FloatArray
    frost: FloatArray
    frozen: BoolArray
    unseen: BoolArray

    def after(self, days: int) -> Driver:
        """Without the first days."""
        return Driver(*(values[..., days:] for values in vars(self).values()))


def reach_days(table: Table) -> int:
    """Earlier days that a driver looks back on; `table` is ``leaf`` of ``data/turf.toml``."""
    frost = int(table.number("frost_days") + table.number("colour_lag"))
    return max(SOIL_DAYS, int(table.number("heat_days")), frost)


def driver_of(
    soil_10cm_c: FloatArray, tmin_c: FloatArray, air_c: FloatArray, *, table: Table
) -> Driver:
    """What leaf depends on, from daily soil, minimum and mean air temperature ``[..., day]``.

    `table` is ``leaf`` of ``data/turf.toml``.
    """
    soil, night, air = np.broadcast_arrays(soil_10cm_c, tmin_c, air_c)
    z = (air - table.number("growth_optimum")) / table.number("growth_width")
    lag = int(table.number("colour_lag"))
    cold = np.where(np.isnan(night), 0.0, np.maximum(-night, 0.0))
    dose = _later(_sum(cold, int(table.number("frost_days"))), lag, 0.0)
    return Driver(
        trailing_mean(soil, SOIL_DAYS),
        _sum(np.exp(-0.5 * z * z), int(table.number("heat_days"))),
        dose,
        _later(night < 0.0, lag, fill=False),
        _later(np.isnan(night), lag, fill=True),
    )


def _sum(values: FloatArray, days: int) -> FloatArray:
    """Trailing sum in which days before the first count as 0."""
    head = np.zeros((*values.shape[:-1], days - 1))
    return trailing_sum(np.concatenate([head, values], axis=-1), days)[..., days - 1 :]


def _later(values: npt.NDArray[np.generic], days: int, fill: float | bool) -> npt.NDArray:  # type: ignore[type-arg]
    head = np.full((*values.shape[:-1], days), fill, values.dtype)
    return np.concatenate([head, values], axis=-1)[..., : values.shape[-1]]


@lru_cache(maxsize=64)
def worlds(
    species: str, care: Care, level: Level = "first", tables: Tables = PACKAGED
) -> tuple[World, ...]:
    """The possible worlds of a grass, cared for like this, by `World.place`.

    A Latin hypercube over the errors, always the same one.

    Parameters
    ----------
    level
        Thresholds of the first (and last) live leaf, or of half the leaf.
    """
    values = tables["turf"]
    leaf, error, own = values.table("leaf"), values.table("error"), values.table("species")[species]
    count = int(error.number("draws"))
    rank = (np.arange(count) + 0.5) / count
    normal = np.array([NormalDist().inv_cdf(p) for p in rank])
    generator = np.random.default_rng(count)
    by_heat, by_frost = normal[generator.permutation(count)], normal[generator.permutation(count)]
    first = level == "first"
    gain, loss, times = _moved(care, values.table("care"), careful=first)
    gain += own.number("gain") + (leaf.number("first") if first else 0.0)
    loss += own.number("loss") + (leaf.number("cold") if first else 0.0)
    heat = leaf.number("heat") * np.exp(error.number("heat") * by_heat)
    frost = times * leaf.number("frost_dose") * np.exp(error.number("frost") * by_frost)
    if not first:
        heat, frost = heat * leaf.number("half_heat"), frost * leaf.number("half_frost")
    return tuple(
        World(gain, min(loss, gain), float(place), float(h), float(f))
        for place, h, f in zip(rank, heat, frost, strict=True)
    )


def threshold_sd_c(soil_sd_c: npt.ArrayLike, turf: Table) -> FloatArray:
    """Error of the thresholds, ``[...]`` [K]: that of sites and grasses, and that of the soil.

    Parameters
    ----------
    soil_sd_c
        Standard deviation of the soil's error in a mean over `SOIL_DAYS`, ``[...]`` [K].
    turf
        ``data/turf.toml``.
    """
    return np.hypot(turf.number("error.threshold"), np.asarray(soil_sd_c, np.float64))


def _moved(care: Care, table: Table, *, careful: bool) -> tuple[float, float, float]:
    """What care adds to the thresholds of gain and loss [K], and by what frost is multiplied.

    What is not said counts as the side that keeps leaf longer where one is `careful`.
    """
    gain = loss = 0.0
    height = care.mowing_height_mm
    if careful if height is None else height <= table.number("close_height"):
        gain = loss = table.number("close_mown")
    if care.shade == "full":
        gain += table.number("full_shade")
    sunny = care.shade == "none" or (care.shade is None and not careful)
    times = 1.0 if sunny else table.number("shade_frost")
    if care.covered:
        gain, loss = gain + table.number("cover_gain"), loss + table.number("cover_gain")
        times *= table.number("cover_frost")
    return gain, loss, times


@dataclass(frozen=True)
class Seen(ByDay):
    """What looks said, ``[day]``.

    Attributes
    ----------
    share
        Of the worlds in which there is live leaf, 0..1; NaN where nobody looked.
    soil_c, heat
        ``[..., day]``: what leaf must at least exceed to come, after a look that found none.
    """

    share: FloatArray
    soil_c: FloatArray
    heat: FloatArray


class Leaf(NamedTuple):
    """Live leaf in one world, ``[..., day]``: `sure` where it is there, `possible` where it may."""

    sure: BoolArray
    possible: BoolArray


class Run(NamedTuple):
    """Worlds that are followed, and the spread of their thresholds' error, ``[...]`` [K]."""

    worlds: tuple[World, ...]
    spread_c: FloatArray


@dataclass(frozen=True)
class Counts(ByDay):
    """In how many worlds something is so, ``[..., day]``.

    Attributes
    ----------
    possible, sure
        There may be, and is, live leaf.
    half_possible, half_sure
        The same of half the leaf.
    begun
        Green-up of this season has begun.
    """

    possible: npt.NDArray[np.uint8]
    sure: npt.NDArray[np.uint8]
    half_possible: npt.NDArray[np.uint8]
    half_sure: npt.NDArray[np.uint8]
    begun: npt.NDArray[np.uint8]


class LeafDay(NamedTuple):
    """What a day does to leaf: numbers, or arrays ``[..., day]``; see `Driver`."""

    soil_c: Any
    heat: Any
    frost: Any
    frozen: Any
    unseen: Any
    unknown: Any  # the soil is not known
    no_heat: Any  # soil or heat is not known


class Thresholds(NamedTuple):
    """A world's, with its error: numbers, or arrays that broadcast; see `World`."""

    gain_c: Any
    loss_c: Any
    soil_c: Any  # from which leaf comes: `gain_c`, or more after a look that found none
    heat: Any
    frost: Any


class Switched(NamedTuple):
    """Whether leaf comes or goes on a day, and may do so as far as is known."""

    comes: Any
    goes: Any
    may_come: Any
    may_go: Any


def switched(day: LeafDay, world: Thresholds) -> Switched:
    """The switch on days, in plain operators: for arrays, and compiled for numbers."""
    cold = day.soil_c < world.loss_c
    below = day.soil_c < world.gain_c
    comes = (day.soil_c >= world.soil_c) | ((day.heat >= world.heat) & ~cold)
    goes = (cold | (below & day.frozen & (day.frost >= world.frost))) & ~comes
    still = ~(comes | goes)
    return Switched(comes, goes, still & day.no_heat, still & (day.unknown | (below & day.unseen)))


def leaf_in(driver: Driver, run: Run, seen: Seen, start: Iterator[Leaf | None]) -> Iterator[Leaf]:
    """Live leaf in each of some worlds.

    Parameters
    ----------
    run
        The worlds; their spread is that of `threshold_sd_c`.
    start
        For each of them the leaf of the day before, ``[...]``; None: it is not known.
    """
    unknown = np.isnan(driver.soil_c)
    day = LeafDay(
        driver.soil_c, driver.heat, driver.frost, driver.frozen, driver.unseen, unknown,
        unknown | np.isnan(driver.heat),
    )  # fmt: skip
    asked = bool(np.isfinite(seen.soil_c).any())
    told = np.isfinite(seen.share)
    for world, before in zip(run.worlds, start, strict=True):
        off = world.score * run.spread_c[..., None]
        gain = world.gain_c + off
        heat = np.maximum(world.heat, seen.heat) if asked else world.heat
        soil = np.maximum(gain, seen.soil_c) if asked else gain
        at = Thresholds(gain, world.loss_c + off, soil, heat, world.frost)
        comes, goes, may_come, may_go = switched(day, at)
        if told.any():
            green = world.place < seen.share
            comes, goes = np.where(told, green, comes), np.where(told, ~green, goes)
            may_come, may_go = may_come & ~told, may_go & ~told
        least, most = (False, True) if before is None else (before.sure, before.possible)
        possible = latest(comes | may_come, goes, most)
        sure = possible
        if before is None or may_come.any() or may_go.any() or not np.array_equal(least, most):
            sure = latest(comes, goes | may_go, least)
        yield Leaf(sure, possible)
