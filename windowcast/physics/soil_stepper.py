"""The day loop: surface, water, conduction and freezing put together for a block of columns."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import repeat
from typing import NamedTuple

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.physics.soil_column import (
    LATENT_HEAT_J_M3,
    Ice,
    Layers,
    Number,
    SoilGrid,
    Step,
    conduct,
    freeze,
    frozen_share,
)
from windowcast.physics.soil_forcing import SoilDrivers, in_order
from windowcast.physics.soil_properties import Thermal, conductivity_w_m_k, heat_capacity_j_m3_k
from windowcast.physics.soil_surface import Cover, Day, Parameters, Surface, surface_day

GRID = SoilGrid.of((0.02, 0.05, 0.10, 0.20, 0.35, 0.60, 1.0, 1.7, 3.0), bottom_m=3.8)
LAYERS = len(GRID.node_m)
TOP = 3  # layers that share the water of the top; the rest have that of the root zone
FREEZING = 6  # layers that may freeze
FROZEN_LAYER = 1  # whose ice is reported
STATE_SIZE = LAYERS + len(Surface._fields)
DAY_S = 86400.0
SETTLING_ROUNDS = 3

_PER_DAY = tuple(dz / DAY_S for dz in GRID.thickness_m)
_PER_GAP = tuple(1.0 / dz for dz in GRID.gap_m)
_TOP_NODE_M = GRID.node_m[0]
_ABOVE_EDGE_M = GRID.face_m[TOP - 1] - GRID.node_m[TOP - 1]
_BELOW_EDGE_M = GRID.node_m[TOP] - GRID.face_m[TOP - 1]

Weights = Sequence[Sequence[tuple[int, float]]]


class Setup(NamedTuple):
    """All that stays the same from day to day."""

    p: Parameters
    soil: Thermal
    cover: Cover


class Columns(ABC):
    """Columns of soil and what lies on them, moved on day by day; a `Stepper` or compiled."""

    @abstractmethod
    def load(self, flat: FloatArray) -> None:
        """Take the state ``[columns, STATE_SIZE]``."""

    @abstractmethod
    def dump(self) -> FloatArray:
        """The state as ``[columns, STATE_SIZE]``."""

    @abstractmethod
    def run(self, drivers: SoilDrivers, weights: Weights, out: FloatArray) -> None:
        """Write ``out[time, depths + (water, frozen share, snow), columns]`` for all days.

        `weights` gives for each depth the layers and weights that interpolate to it.
        """

    @abstractmethod
    def year_sums(self, year: SoilDrivers) -> FloatArray:
        """Move on through a year; each layer's temperatures summed, ``[layer, columns]``."""

    def spin_up(self, year: SoilDrivers) -> None:
        """Start from the means of a year and run it until the start is forgotten."""
        air, precip, demand = (
            in_order(a) / len(a) for a in (year.air_c, year.precip_mm, year.demand_mm)
        )
        zero = np.zeros_like(air)
        surface = [zero, zero + 0.2, zero + 0.7, zero + 0.7, zero + 0.5, air, precip, demand]
        self.load(np.array([air] * LAYERS + surface).T)
        self.settle(year)

    def settle(self, year: SoilDrivers) -> None:
        """Run a year over and over, moving each layer's yearly mean to that of the top between.

        Heat would take years to reach the lowest layers; over a year it flows neither up nor
        down, so all layers have the same mean but for what freezing and wetness rectify.
        """
        for round_ in range(SETTLING_ROUNDS):
            sums = self.year_sums(year)
            if round_ < SETTLING_ROUNDS - 1:
                state = self.dump()
                state[:, :LAYERS] += ((sums[0] - sums) / len(year.air_c)).T
                self.load(state)


class Stepper(Columns):
    """Columns stepped by the interpreter: a single one on floats, more on arrays over columns."""

    def __init__(self, columns: int, setup: Setup) -> None:
        self.single = columns == 1
        self.setup = setup
        self.temps: list[Number] = []
        self.surface = Surface(*[0.0] * len(Surface._fields))
        self._room = Room(*([0.0] * size for size in ROOM))

    def load(self, flat: FloatArray) -> None:  # noqa: D102
        rows: list[Number] = flat[0].tolist() if self.single else list(np.array(flat.T))
        self.temps, self.surface = rows[:LAYERS], Surface(*rows[LAYERS:])

    def dump(self) -> FloatArray:  # noqa: D102
        rows = [*self.temps, *self.surface]
        return np.array(rows, dtype=np.float64).reshape(STATE_SIZE, -1).T

    def year_sums(self, year: SoilDrivers) -> FloatArray:  # noqa: D102
        sums = [0.0 * t for t in self.temps]
        for temps in self.days(year):
            sums = [m + t for m, t in zip(sums, temps, strict=True)]
        return np.array(sums, dtype=np.float64).reshape(LAYERS, -1)

    def run(self, drivers: SoilDrivers, weights: Weights, out: FloatArray) -> None:  # noqa: D102
        late, depths = self.setup.p.end_of_day_weight, len(weights)
        layers = sorted({k for part in weights for k, _ in part} | {FROZEN_LAYER})
        ends = np.empty((len(out) + 1, len(layers), out.shape[-1]))
        for row, layer in zip(ends[0], layers, strict=True):
            row[:] = self.temps[layer]
        for day, temps in enumerate(self.days(drivers)):
            for n, layer in enumerate(layers):
                ends[day + 1, n] = temps[layer]
            out[day, depths] = self.surface.top_water
            out[day, depths + 2] = self.surface.snow_mm
        means = late * ends[1:] + (1.0 - late) * ends[:-1]
        mean = {layer: means[:, n] for n, layer in enumerate(layers)}
        for depth, part in enumerate(weights):
            out[:, depth] = _interpolated(mean, part)
        frozen = ends[1:, layers.index(FROZEN_LAYER)]
        out[:, depths + 1] = frozen_share(frozen, self.setup.p.freezing_width_k)

    def days(self, drivers: SoilDrivers) -> Iterator[list[Number]]:
        """Move on through all days, giving the temperatures at the end of each."""
        for values in zip(*(self._by_day(getattr(drivers, n)) for n in Day._fields), strict=False):
            self._advance(Day(*values))
            yield self.temps

    def _by_day(self, values: FloatArray | None) -> Iterable[Number]:
        if values is None:
            return repeat(np.nan)
        return values[:, 0].tolist() if self.single else list(values)

    def _advance(self, day: Day) -> None:
        setup, room, before = self.setup, self._room, self.temps
        self.surface, driving, resistance = surface_day(self.surface, setup.p, setup.cover, day)
        link = layers_of(setup, self.surface, resistance, room)
        step, after = Step(room.store, room.conductance, link, driving), before.copy()
        conduct(before, step, room.ratios, after)
        if not self.single:
            self._freeze_some(step, after)
        elif may_freeze(before, after):
            ice = Ice(setup.p.freezing_width_k, room.latent, range(FREEZING))
            freeze(before, step, ice, after)
        self.temps = after

    def _freeze_some(self, step: Step, after: list[Number]) -> None:
        """Replace `after` in the columns where water is or comes to be frozen."""
        lowest = np.minimum.reduce([*self.temps[:FREEZING], *after[:FREEZING]])
        cold = np.flatnonzero(lowest < 0.0)
        if not cold.size:
            return

        def some(numbers: Sequence[Number]) -> FloatArray:
            return np.array([n[cold] if np.ndim(n) else np.full(cold.size, n) for n in numbers])

        width, link, driving = some([self.setup.p.freezing_width_k, step.link, step.driving])
        part = Step(some(step.store), some(step.conductance), link, driving)
        found = some(after)
        ice = Ice(width, some(self._room.latent), (slice(0, FREEZING),))
        freeze(some(self.temps), part, ice, found)
        for whole, thawed in zip(after, found, strict=True):
            whole[cold] = thawed


class Room(NamedTuple):
    """Where a step's layers are worked out: as `Step` and `Ice` have them, and `ratios`."""

    store: Layers
    conductance: Layers
    latent: Layers
    ratios: Layers


ROOM = Room(LAYERS, LAYERS - 1, FREEZING, LAYERS - 1)  # entries of each


def layers_of(setup: Setup, s: Surface, resistance: Number, room: Room) -> Number:
    """Write the day's properties of all layers; gives the link of the top one to the surface."""
    p, top, root = setup.p, s.top_water, s.root_water
    top_k = conductivity_w_m_k(setup.soil, top) * p.conductivity_top
    root_k = conductivity_w_m_k(setup.soil, root) * p.conductivity_deep
    top_c = heat_capacity_j_m3_k(setup.soil, top)
    root_c = heat_capacity_j_m3_k(setup.soil, root)
    top_ice = LATENT_HEAT_J_M3 * (p.freezing_water + p.freezing_water_wet * top)
    root_ice = LATENT_HEAT_J_M3 * (p.freezing_water + p.freezing_water_wet * root)
    for i in range(LAYERS):
        room.store[i] = (top_c if i < TOP else root_c) * _PER_DAY[i]
    for i in range(LAYERS - 1):
        room.conductance[i] = (top_k if i < TOP else root_k) * _PER_GAP[i]
    room.conductance[TOP - 1] = 1.0 / (_ABOVE_EDGE_M / top_k + _BELOW_EDGE_M / root_k)
    for i in range(FREEZING):
        room.latent[i] = (top_ice if i < TOP else root_ice) * _PER_DAY[i]
    return 1.0 / (resistance + _TOP_NODE_M / top_k)


def may_freeze(before: Layers, after: Layers) -> bool:
    """Whether water of a single column is frozen, or would come to be."""
    for i in range(FREEZING):  # noqa: SIM110  (a generator would be slow, compiled)
        if before[i] < 0.0 or after[i] < 0.0:
            return True
    return False


def _interpolated(layers: Mapping[int, Number], part: Sequence[tuple[int, float]]) -> Number:
    """Weighted sum in the same order of rounding for floats and arrays."""
    total: Number = 0.0
    for layer, weight in part:
        total = total + layers[layer] * weight
    return total
