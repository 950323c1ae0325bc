"""The day loop compiled with Numba, for thousands of columns over decades.

Nothing of the physics is written here: the functions of `soil_column`, `soil_surface`,
`soil_properties` and `soil_stepper` are compiled as they stand, for one column of floats, and
give the same numbers to the bit. Columns run one after another through all their days.
"""

from __future__ import annotations

import hashlib
import inspect
from types import ModuleType
from typing import Any

import numpy as np
from numba.extending import overload, register_jitable

from windowcast.core.compiled import compiled
from windowcast.core.record import FloatArray
from windowcast.physics import soil_column, soil_properties, soil_stepper, soil_surface
from windowcast.physics.soil_column import Ice, Step, conduct, freeze, frozen_share
from windowcast.physics.soil_forcing import SoilDrivers
from windowcast.physics.soil_stepper import (
    FREEZING,
    FROZEN_LAYER,
    LAYERS,
    ROOM,
    STATE_SIZE,
    Columns,
    Room,
    Setup,
    Weights,
    layers_of,
    may_freeze,
)
from windowcast.physics.soil_surface import Day, Surface, surface_day

_MODULES: tuple[ModuleType, ...] = (soil_column, soil_properties, soil_surface, soil_stepper)
_FUNCTIONS = (
    conduct, freeze, frozen_share, soil_column._apparent, soil_column._settled,
    soil_properties.conductivity_w_m_k,
    soil_properties.heat_capacity_j_m3_k, soil_properties.snow_conductivity_w_m_k, surface_day,
    soil_surface.snow_day, soil_surface.irrigated_water, soil_surface.sward_closed,
    soil_surface.green_target, soil_surface.water_day, soil_surface.humid_climate,
    soil_surface.drive, layers_of, may_freeze,
)  # fmt: skip
for _function in _FUNCTIONS:
    register_jitable(error_model="numpy", forceinline=True)(_function)


overload(soil_column.minimum)(lambda a, b: lambda a, b: a if a < b else b)
overload(soil_column.maximum)(lambda a, b: lambda a, b: a if a > b else b)
overload(soil_column.choose)(
    lambda condition, yes, no: lambda condition, yes, no: yes if condition else no
)


def _compile(edition: int) -> Any:
    """The compiled loop over columns and days.

    Numba keeps compiled code on disk and makes it anew when this file changes, but does not see
    those it calls change; so their `edition` is taken in, which is part of its key.
    """

    @compiled()
    def run(setup, state, weather, picked, weights, out, sums):  # type: ignore[no-untyped-def] # noqa: PLR0917
        p = setup.p
        late, width = p.end_of_day_weight, p.freezing_width_k
        depths = len(weights)
        now, before = np.empty(LAYERS), np.empty(LAYERS)
        room = Room(
            np.empty(ROOM.store), np.empty(ROOM.conductance), np.empty(ROOM.latent),
            np.empty(ROOM.ratios),
        )  # fmt: skip
        ice = Ice(width, room.latent, range(FREEZING))
        for c in range(len(state)):
            before[:] = state[c, :LAYERS]
            s = Surface(
                state[c, LAYERS], state[c, LAYERS + 1], state[c, LAYERS + 2],
                state[c, LAYERS + 3], state[c, LAYERS + 4], state[c, LAYERS + 5],
                state[c, LAYERS + 6], state[c, LAYERS + 7],
            )  # fmt: skip
            for t in range(weather.shape[-1]):
                day = Day(
                    weather[0, c, t], weather[1, c, t], weather[2, c, t],
                    weather[3, c, t], weather[4, c, t], weather[5, c, t],
                )  # fmt: skip
                s, driving, resistance = surface_day(s, p, setup.cover, day)
                link = layers_of(setup, s, resistance, room)
                step = Step(room.store, room.conductance, link, driving)
                conduct(before, step, room.ratios, now)
                if may_freeze(before, now):
                    freeze(before, step, ice, now)
                for d in range(depths):
                    total = 0.0
                    for k in range(weights.shape[1]):
                        i = picked[d, k]
                        total += (late * now[i] + (1.0 - late) * before[i]) * weights[d, k]
                    out[t, d, c] = total
                if depths:
                    out[t, depths, c] = s.top_water
                    out[t, depths + 1, c] = frozen_share(now[FROZEN_LAYER], width)
                    out[t, depths + 2, c] = s.snow_mm
                for i in range(LAYERS):
                    sums[i, c] += now[i]
                now, before = before, now
            state[c, :LAYERS] = before
            for i, value in enumerate(s):
                state[c, LAYERS + i] = value
        return edition

    return run


_RUN = _compile(
    int(hashlib.sha256("".join(map(inspect.getsource, _MODULES)).encode()).hexdigest()[:15], 16)
)


_NOWHERE = np.empty((2, 2, 2)).transpose(2, 0, 1)  # strided like results: compiled but once


class CompiledColumns(Columns):
    """Columns stepped by the compiled loop."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.state = np.empty((0, STATE_SIZE))

    def load(self, flat: FloatArray) -> None:  # noqa: D102
        self.state = np.array(flat, order="C")

    def dump(self) -> FloatArray:  # noqa: D102
        return self.state.copy()

    def run(self, drivers: SoilDrivers, weights: Weights, out: FloatArray) -> None:  # noqa: D102
        width = max(len(part) for part in weights)
        padded = [[*part, *[(0, 0.0)] * (width - len(part))] for part in weights]
        self._step(drivers, np.array(padded), out)

    def year_sums(self, year: SoilDrivers) -> FloatArray:  # noqa: D102
        return self._step(year, np.empty((0, 0, 2)), _NOWHERE)

    def _step(self, drivers: SoilDrivers, weights: FloatArray, out: FloatArray) -> FloatArray:
        """Move on through all days; gives each layer's temperatures summed."""
        series = [getattr(drivers, name) for name in Day._fields]
        weather = np.empty((len(series), *drivers.air_c.T.shape))
        for row, values in zip(weather, series, strict=True):
            row[:] = np.nan if values is None else values.T
        sums = np.zeros((LAYERS, len(self.state)))
        _RUN(self.setup, self.state, weather, weights[..., 0].astype(np.int64),
              weights[..., 1].copy(), out, sums)  # fmt: skip
        return sums
