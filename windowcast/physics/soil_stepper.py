"""The day loop: surface, water, conduction and freezing put together for a block of columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import astuple, fields

import numpy as np

from windowcast.physics.soil_column import ARRAYS, FLOATS, Grid, Layers, Number, conduct, freeze
from windowcast.physics.soil_forcing import Drivers
from windowcast.physics.soil_properties import Texture
from windowcast.physics.soil_surface import (
    Parameters,
    Surface,
    cover_day,
    drive,
    parameters,
    snow_day,
    snow_known,
    water_day,
)
from windowcast.weather.record import FloatArray

GRID = Grid.of((0.02, 0.05, 0.10, 0.20, 0.35, 0.60, 1.0, 1.7, 3.0), bottom_m=3.8)
WET_TOP = 3  # layers that share the water of the top; the rest have that of the root zone
FREEZING = 6  # layers that may freeze
STATE_SIZE = len(GRID.node_m) + FREEZING + len(fields(Surface))
DAY_S = 86400.0
SPIN_UP_DAYS = 365
SPIN_UP_ROUNDS = 2
IRRIGATED_WATER = 0.7

Day = tuple[Number, ...]


class Stepper:
    """Columns of soil and what lies on them, moved on day by day.

    Parameters
    ----------
    drivers
        Prepared weather ``[time, columns]``.
    part
        Which columns. A single one runs on floats, more on arrays.
    soil
        Texture properties.
    turf, irrigated
        See `windowcast.physics.soil.SoilSite`.
    parameters
        The packaged ones unless given.
    """

    def __init__(
        self,
        drivers: Drivers,
        part: slice,
        soil: Texture,
        *,
        turf: bool = True,
        irrigated: bool = False,
        parameters: Parameters = parameters(),
    ) -> None:
        self.single = drivers.air_c[0, part].size == 1
        self.ops = FLOATS if self.single else ARRAYS
        self.soil, self.turf, self.irrigated, self.p = soil, turf, irrigated, parameters
        arrays = [
            drivers.air_c,
            drivers.range_k,
            drivers.precip_mm,
            drivers.solar_w_m2,
            drivers.longwave_w_m2,
            drivers.demand_mm,
        ]
        self.drivers: list[Sequence[Number]] = [self._column(a[:, part]) for a in arrays]
        depth = drivers.snow_depth_mm
        self.snow_depth = None if depth is None else self._column(depth[:, part])
        self.temps: Layers = []
        self.ice: Layers = []
        self.surface = Surface(*[0.0] * len(fields(Surface)))

    def _column(self, values: FloatArray) -> Sequence[Number]:
        if self.single:
            result: list[float] = values[:, 0].tolist()
            return result
        return np.ascontiguousarray(values)

    def load(self, flat: FloatArray) -> None:
        """Take the state ``[columns, STATE_SIZE]``."""
        rows: list[Number] = flat[0].tolist() if self.single else list(np.array(flat.T))
        layers = len(GRID.node_m)
        self.temps, self.ice = rows[:layers], rows[layers : layers + FREEZING]
        self.surface = Surface(*rows[layers + FREEZING :])

    def dump(self) -> FloatArray:
        """The state as ``[columns, STATE_SIZE]``."""
        rows = [*self.temps, *self.ice, *astuple(self.surface)]
        return np.array(rows, dtype=np.float64).reshape(STATE_SIZE, -1).T

    def spin_up(self) -> None:
        """Start from the mean of the first year and run that year until the start is forgotten."""
        days = min(SPIN_UP_DAYS, len(self.drivers[0]))
        air, _, precip, _, _, demand = (np.mean(d[:days], axis=0) for d in self.drivers)
        zero = air * 0.0
        rows = [zero + air] * len(GRID.node_m) + [zero] * FREEZING
        rows += [zero, zero + 0.2, zero + 0.7, zero + 0.7, zero + 0.5, zero + air, precip, demand]
        self.load(np.array(rows, dtype=np.float64).reshape(STATE_SIZE, -1).T)
        if days == SPIN_UP_DAYS:
            for _ in range(SPIN_UP_ROUNDS):
                for day in range(days):
                    self.advance(day)

    def run(self, out: FloatArray, weights: Iterable[Sequence[tuple[int, float]]]) -> None:
        """All days, writing ``out[time, depths + (water, ice, snow), columns]``."""
        weights = list(weights)
        late = self.p.end_of_day_weight
        for day in range(len(self.drivers[0])):
            before = self.temps
            self.advance(day)
            mean = [
                late * new + (1.0 - late) * old for new, old in zip(self.temps, before, strict=True)
            ]
            row = [sum(mean[i] * w for i, w in parts) for parts in weights]
            row += [self.surface.top_water, (self.ice[0] + self.ice[1]) / 2, self.surface.snow_mm]
            out[day] = np.array(row).reshape(out[day].shape)

    def advance(self, day: int) -> None:
        """One day on."""
        ops, p, s, soil = self.ops, self.p, self.surface, self.soil
        air, span, precip, solar, longwave, demand = (d[day] for d in self.drivers)
        rain, melt = snow_day(ops, s, p, air, precip)
        if self.snow_depth is not None:
            snow_known(s, self.snow_depth[day])
        if self.irrigated:
            growing = ops.minimum(ops.maximum((s.season_c - 10.0) / 5.0, 0.0), 1.0)
            s.top_water = ops.maximum(s.top_water, IRRIGATED_WATER * growing)
            s.root_water = ops.maximum(s.root_water, IRRIGATED_WATER * growing)
        cover_day(ops, s, p, air, precip, demand, turf=self.turf)
        water_day(ops, s, p, rain + melt, demand)
        driving, resistance = drive(ops, s, p, air, span, solar, longwave, demand, turf=self.turf)

        room = soil.field_capacity - soil.wilting_point
        top = soil.wilting_point + room * s.top_water
        root = soil.wilting_point + room * s.root_water
        top_k = soil.conductivity_w_m_k(ops, top) * p.conductivity_top_factor
        root_k = soil.conductivity_w_m_k(ops, root) * p.conductivity_factor
        top_c, root_c = soil.heat_capacity_j_m3_k(top), soil.heat_capacity_j_m3_k(root)
        capacity = [
            (top_c if i < WET_TOP else root_c) * dz for i, dz in enumerate(GRID.thickness_m)
        ]
        conductance = [
            (top_k if i < WET_TOP - 1 else root_k) / dz for i, dz in enumerate(NODE_GAPS_M)
        ]
        edge, upper, lower = (
            GRID.face_m[WET_TOP - 1],
            GRID.node_m[WET_TOP - 1],
            GRID.node_m[WET_TOP],
        )
        conductance[WET_TOP - 1] = 1.0 / ((edge - upper) / top_k + (lower - edge) / root_k)
        resistance = resistance + GRID.node_m[0] / top_k
        temps = conduct(self.temps, capacity, conductance, 1.0 / resistance, driving, DAY_S)
        if any(ops.lowest(t) < 0 for t in temps[:FREEZING]) or any(
            ops.highest(i) > 0 for i in self.ice
        ):
            water = [
                (top if i < WET_TOP else root) * p.freezable * GRID.thickness_m[i]
                for i in range(FREEZING)
            ]
            temps, self.ice = freeze(ops, temps, self.ice, capacity, water)
        self.temps = temps


NODE_GAPS_M = [b - a for a, b in zip(GRID.node_m, GRID.node_m[1:], strict=False)]
