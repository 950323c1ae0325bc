"""Heat conduction and freezing in a layered soil column.

The step is backward Euler on control volumes, solved exactly by elimination: stable for any
step length and any contrast of properties. Written with plain operators on lists of layers, so
that a layer may be a float (one column, free of array overhead) or an array over columns
(stations, members).

Units: depth m, temperature °C, conductance W/m²/K. The heat capacity of a layer is given as its
`store`, J/m²/K divided by the length of the step in s, hence W/m²/K.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

Number = Any  # float, or an array over columns
Layers = list[Number]

LATENT_HEAT_J_M3 = 3.34e8  # of fusion, per volume of water
PASSES = 3  # of Newton's method where water freezes


@dataclass(frozen=True)
class Ops:
    """Elementwise functions for one kind of number."""

    minimum: Callable[[Number, Number], Number]
    maximum: Callable[[Number, Number], Number]
    each: Callable[..., Layers]  # a function of numbers applied to each layer


def _float_min(a: float, b: float) -> float:
    return a if a < b else b


def _float_max(a: float, b: float) -> float:
    return a if a > b else b


def _each_float(function: Callable[..., float], *layers: Layers) -> Layers:
    return [function(*values) for values in zip(*layers, strict=True)]


def _each_array(function: Callable[..., Number], *layers: Layers) -> Layers:
    return list(function(*(np.array(values) for values in layers)))


FLOATS = Ops(_float_min, _float_max, _each_float)
ARRAYS = Ops(np.minimum, np.maximum, _each_array)


@dataclass(frozen=True)
class Grid:
    """Depths of the nodes and of the control volumes around them, m."""

    node_m: tuple[float, ...]
    face_m: tuple[float, ...]  # between node i and i + 1
    gap_m: tuple[float, ...]  # from node i to i + 1
    thickness_m: tuple[float, ...]

    @classmethod
    def of(cls, node_m: Sequence[float], bottom_m: float) -> Grid:
        """Faces half way between nodes, from the surface down to `bottom_m`."""
        faces = [(a + b) / 2 for a, b in pairwise(node_m)]
        edges = [0.0, *faces, bottom_m]
        return cls(
            node_m=tuple(node_m),
            face_m=tuple(faces),
            gap_m=tuple(b - a for a, b in pairwise(node_m)),
            thickness_m=tuple(b - a for a, b in pairwise(edges)),
        )


def conduct(
    temps: Layers,
    store: Layers,
    conductance: Layers,
    surface: tuple[Number, Number],
) -> Layers:
    """Temperatures one step later, with no heat flow through the bottom.

    Parameters
    ----------
    temps
        One entry per layer, from the top.
    store
        Heat capacity of each layer over the length of the step, W/m²/K.
    conductance
        Between each layer and the next (one fewer than layers), W/m²/K.
    surface
        Conductance between the top layer's node and what drives it, and the driving temperature.
    """
    from_above, driving = surface
    pull = from_above * driving
    ratios: Layers = []  # elimination downwards: T[i] = partial[i] + ratio[i] * T[i+1]
    partials: Layers = []
    last = len(temps) - 1
    for i in range(last):
        below, held = conductance[i], store[i]
        inverse = 1.0 / (held + from_above + below)
        ratio = below * inverse
        partial = (held * temps[i] + pull) * inverse
        ratios.append(ratio)
        partials.append(partial)
        from_above, pull = below - below * ratio, below * partial
    current = (store[last] * temps[last] + pull) / (store[last] + from_above)
    result: Layers = [current]
    for i in range(last - 1, -1, -1):
        current = partials[i] + ratios[i] * current
        result.append(current)
    result.reverse()
    return result


@dataclass(frozen=True)
class Freezing:
    """Soil water that freezes evenly over a range of temperature just below 0 °C.

    Parameters
    ----------
    width_k
        Range in which the water freezes.
    latent
        Latent heat of each layer's freezable water over the length of the step, W/m².
    """

    ops: Ops
    width_k: Number
    latent: Layers

    def frozen_share(self, temp: Number) -> Number:
        """Share of the freezable water that is ice, 0 to 1."""
        return self.ops.minimum(self.ops.maximum(temp * (-1.0 / self.width_k), 0.0), 1.0)

    def conduct(
        self,
        temps: Layers,
        store: Layers,
        conductance: Layers,
        surface: tuple[Number, Number],
    ) -> Layers:
        """As the function `conduct`, with water freezing and melting in the upper layers.

        Newton's method on the heat of each layer, sensible less latent, as a function of its
        temperature; the last pass keeps exactly the heat that has flowed. A layer that neither was
        nor is frozen keeps its result to the bit, so that a column gives the same numbers alone
        and beside colder ones.
        """
        count = len(self.latent)
        upper, below, held = temps[:count], temps[count:], store[:count]
        each, guess = self.ops.each, upper
        for _ in range(PASSES):
            used = each(self._apparent, guess, held, self.latent)
            start = each(self._tangent, upper, guess, held, used, self.latent)
            after = conduct(start + below, used + store[count:], conductance, surface)
            guess = each(self._settled, guess, after[:count], held, used, self.latent)
        return guess + after[count:]

    def _apparent(self, temp: Number, held: Number, latent: Number) -> Number:
        """Heat capacity, with the latent heat of a layer that is in the freezing range."""
        return held + latent * ((temp < 0.0) & (temp > -self.width_k)) / self.width_k

    def _tangent(
        self, before: Number, guess: Number, held: Number, used: Number, latent: Number
    ) -> Number:
        """Temperature from which a layer of capacity `used` holds the heat it has at `guess`."""
        ice = latent * (self.frozen_share(guess) - self.frozen_share(before))
        return before + ((used - held) * (guess - before) + ice) / used

    def _settled(
        self, guess: Number, after: Number, held: Number, used: Number, latent: Number
    ) -> Number:
        """Temperature that holds the heat at `guess` and ``used * (after - guess)``."""
        ops, width = self.ops, self.width_k
        ice = latent * self.frozen_share(guess)
        warm = after + ((used - held) * (after - guess) - ice) / held  # if nothing were frozen
        heat = held * ops.minimum(warm, 0.0)
        all_frozen = -(held * width + latent)
        partly = ops.maximum(heat, all_frozen) / (held + latent / width)
        beyond = ops.minimum(heat - all_frozen, 0.0) / held
        return ops.maximum(warm, 0.0) + partly + beyond
