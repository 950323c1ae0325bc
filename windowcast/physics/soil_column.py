"""Heat conduction and freezing in a layered soil column.

The step is backward Euler on control volumes, solved exactly by elimination: stable for any
step length and any contrast of properties. Written with plain operators and loops over layers,
so that a layer may be a float (one column, free of array overhead) or an array over columns
(stations, members); `soil_compiled` compiles the same functions for thousands of columns.

Units: depth m, temperature °C, conductance W/m²/K. The heat capacity of a layer is given as its
`store`, J/m²/K divided by the length of the step in s, hence W/m²/K.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

Number = Any  # float, or an array over columns
Layers = Any  # a number for each layer from the top: a list, or an array when compiled

LATENT_HEAT_J_M3 = 3.34e8  # of fusion, per volume of water
PASSES = 3  # of Newton's method where water freezes


def minimum(a: Number, b: Number) -> Number:
    """The lesser of two numbers, elementwise; `b` may be an array where `a` is one."""
    if isinstance(a, float):
        return a if a < b else b
    return np.minimum(a, b)


def maximum(a: Number, b: Number) -> Number:
    """The greater of two numbers, elementwise; `b` may be an array where `a` is one."""
    if isinstance(a, float):
        return a if a > b else b
    return np.maximum(a, b)


def choose(condition: Number, yes: Number, no: Number) -> Number:
    """One number where a condition holds, another where not, elementwise."""
    if isinstance(condition, np.ndarray):
        return np.where(condition, yes, no)
    return yes if condition else no


@dataclass(frozen=True)
class SoilGrid:
    """Depths of the nodes and of the control volumes around them, m."""

    node_m: tuple[float, ...]
    face_m: tuple[float, ...]  # between node i and i + 1
    gap_m: tuple[float, ...]  # from node i to i + 1
    thickness_m: tuple[float, ...]

    @classmethod
    def of(cls, node_m: Sequence[float], bottom_m: float) -> SoilGrid:
        """Faces half way between nodes, from the surface down to `bottom_m`."""
        faces = [(a + b) / 2 for a, b in pairwise(node_m)]
        edges = [0.0, *faces, bottom_m]
        return cls(
            node_m=tuple(node_m),
            face_m=tuple(faces),
            gap_m=tuple(b - a for a, b in pairwise(node_m)),
            thickness_m=tuple(b - a for a, b in pairwise(edges)),
        )


class Step(NamedTuple):
    """What the layers are like during a step.

    Attributes
    ----------
    store
        Heat capacity of each layer over the length of the step, W/m²/K.
    conductance
        Between each layer and the next (one fewer than layers), W/m²/K.
    link, driving
        Conductance between the top layer's node and what drives it, W/m²/K, and the driving
        temperature, °C.
    """

    store: Layers
    conductance: Layers
    link: Number
    driving: Number


class Ice(NamedTuple):
    """How the water of the upper layers freezes: evenly over a range just below 0 °C.

    Attributes
    ----------
    width_k
        That range.
    latent
        Latent heat of each upper layer's freezable water over the length of the step, W/m².
    upper
        Their indices; where layers are the rows of arrays, a slice does all at once.
    """

    width_k: Number
    latent: Layers
    upper: Iterable[Any]


def conduct(temps: Layers, step: Step, ratios: Layers, after: Layers) -> None:
    """Write temperatures one step later to `after`, with no heat flow through the bottom.

    Parameters
    ----------
    temps
        One entry per layer, from the top.
    ratios
        Room for as many entries as conductances.
    after
        As many entries as `temps`.

    Notes
    -----
    Backward Euler on control volumes: ``C_i (T_i' - T_i) = G_{i-1} (T_{i-1}' - T_i') -
    G_i (T_i' - T_{i+1}')``, where C is the heat capacity over the step and G the conductance. The
    system has three diagonals and is solved by elimination.

    References
    ----------
    Patankar (1980), *Numerical Heat Transfer and Fluid Flow*, chapter 4.

    Examples
    --------
    Three layers at 10 °C under air of 20 °C:

    >>> from windowcast.physics.soil_column import Step, conduct
    >>> after = [0.0, 0.0, 0.0]
    >>> step = Step(store=[10.0, 10.0, 10.0], conductance=[5.0, 5.0], link=5.0, driving=20.0)
    >>> conduct([10.0, 10.0, 10.0], step, [0.0, 0.0], after)
    >>> [round(temp, 2) for temp in after]
    [12.68, 10.73, 10.24]
    """
    last = len(temps) - 1
    from_above, pull = step.link, step.link * step.driving
    for i in range(last):  # elimination downwards: T[i] = after[i] + ratio[i] * T[i+1]
        below, held = step.conductance[i], step.store[i]
        inverse = 1.0 / (held + from_above + below)
        ratio = below * inverse
        partial = (held * temps[i] + pull) * inverse
        ratios[i], after[i] = ratio, partial
        from_above, pull = below - below * ratio, below * partial
    held = step.store[last]
    after[last] = (held * temps[last] + pull) / (held + from_above)
    for i in range(last - 1, -1, -1):
        after[i] = after[i] + ratios[i] * after[i + 1]


def frozen_share(temp: Number, width_k: Number) -> Number:
    """Share of the freezable water that is ice, 0 to 1.

    Notes
    -----
    It rises evenly from 0 at 0 °C to 1 at `width_k` below.

    Examples
    --------
    >>> from windowcast.physics.soil_column import frozen_share
    >>> [frozen_share(temp, 1.0) for temp in (1.0, -0.25, -3.0)]
    [0.0, 0.25, 1.0]
    """
    return minimum(maximum(temp * (-1.0 / width_k), 0.0), 1.0)


def freeze(temps: Layers, step: Step, ice: Ice, after: Layers) -> None:
    """As `conduct`, with water freezing and melting in the upper layers.

    Newton's method on the heat of each layer, sensible less latent, as a function of its
    temperature; the last pass keeps exactly the heat that has flowed. A layer that neither was
    nor is frozen keeps its result to the bit, so that a column gives the same numbers alone
    and beside colder ones.
    """
    store, latent, width = step.store, ice.latent, ice.width_k
    guess, start, used = temps.copy(), temps.copy(), store.copy()
    ratios = step.conductance.copy()
    for _ in range(PASSES):
        for i in ice.upper:  # a capacity, and a start that holds the heat there is at `guess`
            used[i] = _apparent(guess[i], store[i], latent[i], width)
            grown = latent[i] * (frozen_share(guess[i], width) - frozen_share(temps[i], width))
            start[i] = temps[i] + ((used[i] - store[i]) * (guess[i] - temps[i]) + grown) / used[i]
        conduct(start, Step(used, step.conductance, step.link, step.driving), ratios, after)
        for i in ice.upper:
            freed = latent[i] * frozen_share(guess[i], width)
            gained = (used[i] - store[i]) * (after[i] - guess[i]) - freed
            guess[i] = _settled(after[i] + gained / store[i], store[i], latent[i], width)
    for i in ice.upper:
        after[i] = guess[i]


def _apparent(temp: Number, held: Number, latent: Number, width_k: Number) -> Number:
    """Heat capacity, with the latent heat of a layer that is in the freezing range."""
    return held + latent * ((temp < 0.0) & (temp > -width_k)) / width_k


def _settled(warm: Number, held: Number, latent: Number, width_k: Number) -> Number:
    """Temperature of a layer whose heat would have it at `warm` if nothing were frozen."""
    heat = held * minimum(warm, 0.0)
    all_frozen = -(held * width_k + latent)
    partly = maximum(heat, all_frozen) / (held + latent / width_k)
    beyond = minimum(heat - all_frozen, 0.0) / held
    return maximum(warm, 0.0) + partly + beyond
