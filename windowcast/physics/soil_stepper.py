"""The day loop: surface, water, conduction and freezing put together for a block of columns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, fields

import numpy as np

from windowcast.physics.soil_column import (
    ARRAYS,
    FLOATS,
    LATENT_HEAT_J_M3,
    Freezing,
    Grid,
    Layers,
    Number,
    conduct,
)
from windowcast.physics.soil_forcing import Drivers, in_order
from windowcast.physics.soil_properties import Texture
from windowcast.physics.soil_surface import (
    Day,
    Parameters,
    Surface,
    drive,
    irrigate,
    snow_day,
    snow_known,
    sward_day,
    water_day,
)
from windowcast.weather.record import FloatArray

GRID = Grid.of((0.02, 0.05, 0.10, 0.20, 0.35, 0.60, 1.0, 1.7, 3.0), bottom_m=3.8)
TOP = 3  # layers that share the water of the top; the rest have that of the root zone
FREEZING = 6  # layers that may freeze
STATE_SIZE = len(GRID.node_m) + len(fields(Surface))
DAY_S = 86400.0
SETTLING_ROUNDS = 3

_PER_DAY = tuple(dz / DAY_S for dz in GRID.thickness_m)
_TOP_GAPS = tuple(1.0 / dz for dz in GRID.gap_m[: TOP - 1])
_DEEP_GAPS = tuple(1.0 / dz for dz in GRID.gap_m[TOP:])
_ABOVE_EDGE_M = GRID.face_m[TOP - 1] - GRID.node_m[TOP - 1]
_BELOW_EDGE_M = GRID.node_m[TOP] - GRID.face_m[TOP - 1]

Weights = Sequence[Sequence[tuple[int, float]]]


class Stepper:
    """Columns of soil and what lies on them, moved on day by day.

    Parameters
    ----------
    columns
        How many. A single one runs on floats, more on arrays.
    soil, parameters
        Texture properties and fitted parameters.
    turf, irrigated
        See `windowcast.physics.soil.SoilSite`.
    """

    def __init__(
        self,
        columns: int,
        soil: Texture,
        parameters: Parameters,
        *,
        turf: bool = True,
        irrigated: bool = False,
    ) -> None:
        self.single = columns == 1
        self.ops = FLOATS if self.single else ARRAYS
        self.soil, self.p, self.turf, self.irrigated = soil, parameters, turf, irrigated
        self.temps: Layers = []
        self.surface = Surface(*[0.0] * len(fields(Surface)))

    def load(self, flat: FloatArray) -> None:
        """Take the state ``[columns, STATE_SIZE]``."""
        rows: list[Number] = flat[0].tolist() if self.single else list(np.array(flat.T))
        self.temps = rows[: len(GRID.node_m)]
        self.surface = Surface(*rows[len(GRID.node_m) :])

    def dump(self) -> FloatArray:
        """The state as ``[columns, STATE_SIZE]``."""
        rows = [*self.temps, *astuple(self.surface)]
        return np.array(rows, dtype=np.float64).reshape(STATE_SIZE, -1).T

    def spin_up(self, year: Drivers) -> None:
        """Start from the means of a year and run it until the start is forgotten."""
        air, precip, demand = (
            in_order(a) / len(a) for a in (year.air_c, year.precip_mm, year.demand_mm)
        )
        zero = np.zeros_like(air)
        surface = [zero, zero + 0.2, zero + 0.7, zero + 0.7, zero + 0.5, air, precip, demand]
        self.load(np.array([air] * len(GRID.node_m) + surface).T)
        self.settle(year)

    def settle(self, year: Drivers) -> None:
        """Run a year over and over, moving each layer's yearly mean to that of the top between.

        Heat would take years to reach the lowest layers; over a year it flows neither up nor
        down, so all layers have the same mean but for what freezing and wetness rectify.
        """
        for round_ in range(SETTLING_ROUNDS):
            means = [0.0 * t for t in self.temps]
            for temps in self.days(year):
                means = [m + t for m, t in zip(means, temps, strict=True)]
            if round_ < SETTLING_ROUNDS - 1:
                days = len(year.air_c)
                self.temps = [
                    t + (means[0] - m) / days for t, m in zip(self.temps, means, strict=True)
                ]

    def run(self, drivers: Drivers, weights: Weights, out: FloatArray) -> None:
        """Write ``out[time, depths + (water, frozen share, snow), columns]`` for all days.

        `weights` gives for each depth the layers and weights that interpolate to it.
        """
        late = self.p.end_of_day_weight
        freezing = Freezing(self.ops, self.p.freezing_width_k, [])
        before = self.temps
        for i, temps in enumerate(self.days(drivers)):
            mean = {
                k: late * temps[k] + (1.0 - late) * before[k] for part in weights for k, _ in part
            }
            row = [_interpolated(mean, part) for part in weights]
            share = freezing.frozen_share(temps[1])
            out[i] = np.array([*row, self.surface.top_water, share, self.surface.snow_mm]).reshape(
                out.shape[1:]
            )
            before = temps

    def days(self, drivers: Drivers) -> Iterator[Layers]:
        """Move on through all days, giving the temperatures at the end of each."""
        arrays = (
            drivers.air_c,
            drivers.precip_mm,
            drivers.solar_w_m2,
            drivers.longwave_w_m2,
            drivers.demand_mm,
        )
        rows = [a[:, 0].tolist() if self.single else a for a in arrays]
        for i, values in enumerate(zip(*rows, strict=True)):
            self._advance(
                Day(*values), None if drivers.snow_depth_mm is None else drivers.snow_depth_mm[i]
            )
            yield self.temps

    def _advance(self, day: Day, snow_depth_mm: FloatArray | None) -> None:
        ops, p, s = self.ops, self.p, self.surface
        supply = snow_day(ops, s, p, day)
        if snow_depth_mm is not None:
            snow_known(s, snow_depth_mm[0] if self.single else snow_depth_mm)
        if self.irrigated:
            irrigate(ops, s)
        closed = sward_day(ops, s, p, day)
        if not self.turf:
            closed = s.green = closed * 0.0
        water_day(ops, s, p, supply, day.demand_mm)
        driving, resistance = drive(ops, s, p, day, closed)
        self._conduct(driving, resistance)

    def _conduct(self, driving: Number, resistance: Number) -> None:
        p, s, soil = self.p, self.surface, self.soil
        c0, c1, c2 = soil.conductivity_curve
        top, root = s.top_water, s.root_water
        top_k = (c0 + top * (c1 + top * c2)) * p.conductivity_top
        root_k = (c0 + root * (c1 + root * c2)) * p.conductivity_deep
        top_c = soil.heat_capacity_j_m3_k(soil.water(top))
        root_c = soil.heat_capacity_j_m3_k(soil.water(root))
        store = [top_c * z for z in _PER_DAY[:TOP]] + [root_c * z for z in _PER_DAY[TOP:]]
        conductance = [
            *(top_k * g for g in _TOP_GAPS),
            1.0 / (_ABOVE_EDGE_M / top_k + _BELOW_EDGE_M / root_k),
            *(root_k * g for g in _DEEP_GAPS),
        ]
        surface = 1.0 / (resistance + GRID.node_m[0] / top_k), driving
        after = conduct(self.temps, store, conductance, surface)
        self.temps = self._freeze(after, store, conductance, surface)

    def _freeze(
        self, after: Layers, store: Layers, conductance: Layers, surface: tuple[Number, Number]
    ) -> Layers:
        """Replace `after` in the columns where water is or comes to be frozen."""
        before, latent = self.temps, self._latent()
        if self.single:
            if min(*before[:FREEZING], *after[:FREEZING]) >= 0.0:
                return after
            freezing = Freezing(FLOATS, self.p.freezing_width_k, latent)
            return freezing.conduct(before, store, conductance, surface)
        lowest = np.minimum.reduce([*before[:FREEZING], *after[:FREEZING]])
        cold = np.flatnonzero(lowest < 0.0)
        if not cold.size:
            return after

        def some(numbers: Sequence[Number]) -> Layers:
            return [n[cold] if np.ndim(n) else n for n in numbers]

        width, link, driving = some([self.p.freezing_width_k, *surface])
        freezing = Freezing(ARRAYS, width, some(latent))
        found = freezing.conduct(some(before), some(store), some(conductance), (link, driving))
        for whole, part in zip(after, found, strict=True):
            whole[cold] = part
        return after

    def _latent(self) -> Layers:
        """Latent heat of the layers that may freeze, over a day, W/m²."""
        p, s = self.p, self.surface
        top = LATENT_HEAT_J_M3 * (p.freezing_water + p.freezing_water_wet * s.top_water)
        root = LATENT_HEAT_J_M3 * (p.freezing_water + p.freezing_water_wet * s.root_water)
        return [(top if i < TOP else root) * z for i, z in enumerate(_PER_DAY[:FREEZING])]


def _interpolated(layers: Mapping[int, Number], part: Sequence[tuple[int, float]]) -> Number:
    """Weighted sum in the same order of rounding for floats and arrays."""
    total: Number = 0.0
    for layer, weight in part:
        total = total + layers[layer] * weight
    return total
