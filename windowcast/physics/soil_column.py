"""Heat conduction and freezing in a layered soil column.

The step is backward Euler on control volumes, solved exactly by elimination: stable for any
step length and any property contrast. Written with plain operators on lists of layers, so that a
layer may be a float (one column, fast without array overhead) or an array over columns
(stations, members).

Units: depths m, temperatures °C, conductances W/m²/K, heat capacities per layer J/m²/K, heat J/m².
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

Number = Any  # float, or an array over columns
Layers = list[Number]

LATENT_HEAT_J_M3 = 3.34e8  # of fusion, per volume of water


@dataclass(frozen=True)
class Ops:
    """Elementwise functions for one kind of number."""

    minimum: Callable[[Number, Number], Number]
    maximum: Callable[[Number, Number], Number]
    log10: Callable[[Number], Number]
    lowest: Callable[[Number], float]  # over columns
    highest: Callable[[Number], float]


def _identity(value: float) -> float:
    return value


def _float_min(a: float, b: float) -> float:
    return a if a < b else b


def _float_max(a: float, b: float) -> float:
    return a if a > b else b


FLOATS = Ops(_float_min, _float_max, math.log10, _identity, _identity)
ARRAYS = Ops(np.minimum, np.maximum, np.log10, lambda a: float(a.min()), lambda a: float(a.max()))


@dataclass(frozen=True)
class Grid:
    """Depths of the nodes and the control volumes around them."""

    node_m: tuple[float, ...]
    face_m: tuple[float, ...]  # between node i and i + 1
    thickness_m: tuple[float, ...]

    @classmethod
    def of(cls, node_m: Sequence[float], bottom_m: float) -> Grid:
        """Faces half way between nodes, from the surface down to `bottom_m`."""
        faces = [(a + b) / 2 for a, b in zip(node_m, node_m[1:], strict=False)]
        edges = [0.0, *faces, bottom_m]
        return cls(
            tuple(node_m),
            tuple(faces),
            tuple(b - a for a, b in zip(edges, edges[1:], strict=False)),
        )


def conduct(
    temps: Layers,
    capacity: Layers,
    conductance: Layers,
    surface_conductance: Number,
    surface_temp: Number,
    step_s: float,
) -> Layers:
    """Temperatures one step later, with no heat flow through the bottom.

    Parameters
    ----------
    temps
        One entry per layer, from the top, °C.
    capacity
        Heat capacity of each layer, J/m²/K.
    conductance
        Between each layer and the next, W/m²/K (one fewer than layers).
    surface_conductance, surface_temp
        Between the top layer's node and whatever drives it (W/m²/K), and its temperature, °C.
    step_s
        Length of the step, s.
    """
    last = len(temps) - 1
    per_second = 1.0 / step_s
    ratios: Layers = []  # elimination downwards: T[i] = partial[i] + ratios[i] * T[i+1]
    partials: Layers = []
    from_above, pull = surface_conductance, surface_conductance * surface_temp
    for i in range(last):
        below = conductance[i]
        store = capacity[i] * per_second
        inverse = 1.0 / (store + from_above + below)
        ratio = below * inverse
        partial = (store * temps[i] + pull) * inverse
        ratios.append(ratio)
        partials.append(partial)
        from_above, pull = below * (1.0 - ratio), below * partial
    store = capacity[last] * per_second
    current = (store * temps[last] + pull) / (store + from_above)
    result: Layers = [current]
    for i in range(last - 1, -1, -1):
        current = partials[i] + ratios[i] * current
        result.append(current)
    result.reverse()
    return result


def freeze(
    ops: Ops, temps: Layers, ice: Layers, capacity: Layers, water_m: Layers
) -> tuple[Layers, Layers]:
    """Let water freeze or ice melt until heat and temperature agree at 0 °C.

    A layer below 0 °C gives its cold to freezing its water first; a layer above 0 °C gives its
    warmth to melting its ice first. Heat is conserved exactly.

    Parameters
    ----------
    temps, capacity
        As in `conduct`, for all layers.
    ice
        Share of the freezable water that is frozen, 0 to 1, for the upper layers only.
    water_m
        Freezable water of those layers, m.
    """
    temps, ice = list(temps), list(ice)
    for i, frozen in enumerate(ice):
        latent = water_m[i] * LATENT_HEAT_J_M3
        heat = capacity[i] * temps[i]  # J/m², above 0 °C
        # freezing is negative, melting positive; bounded by the water and the ice there
        change = ops.maximum(ops.minimum(heat, latent * frozen), latent * (frozen - 1.0))
        ice[i] = frozen - change / latent
        temps[i] = (heat - change) / capacity[i]
    return temps, ice
