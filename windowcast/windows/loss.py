"""How a pre-emergent is watered in and lost: shares of the ground, half-lives by temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Table

GAS_CONSTANT = 8.314462618e-3  # kJ mol-1 K-1, CODATA 2018
KELVIN = 273.15
_TINY = 1e-9  # keeps accumulated loss strictly rising in frozen soil


@dataclass(frozen=True)
class Loss:
    """How an active is watered in, lost, and how long it works; see ``data/barrier.toml``.

    Attributes
    ----------
    reference_c
        Soil temperature [°C] at which half-lives are given.
    energy_kj_mol
        Activation energy of the loss, a number or ``[member, 1]``.
    frozen_below_c
        Soil temperature [°C] below which nothing is lost.
    enough_left
        Share of the usual dose that still works, 0..1.
    at_need, water_shape
        Share of the ground watered in by the water that is asked for, 0..1, and how steeply it
        grows about it (shape of the Weibull).
    """

    reference_c: float
    energy_kj_mol: FloatArray | float
    frozen_below_c: float
    enough_left: float
    at_need: float
    water_shape: float

    @classmethod
    def of(cls, barrier: Table) -> Loss:
        """From a table such as ``data/barrier.toml``."""
        return cls(
            reference_c=barrier.number("reference_temp"),
            energy_kj_mol=barrier.number("activation_energy"),
            frozen_below_c=barrier.number("frozen_below"),
            enough_left=barrier.number("enough_left"),
            at_need=barrier.number("watered.at_need"),
            water_shape=barrier.number("watered.shape"),
        )

    @property
    def half_lives_held(self) -> float:
        """Half-lives from the full dose to the least that still works."""
        return float(-np.log2(self.enough_left))


def loss_rate(soil_c: FloatArray, loss: Loss) -> FloatArray:
    """Rate of loss relative to that at the reference temperature, ``[..., day]``.

    Arrhenius: ``exp(Ea/R · (1/Tref - 1/T))``; none in frozen soil.
    """
    reference, energy = loss.reference_c + KELVIN, loss.energy_kj_mol / GAS_CONSTANT
    rate = np.exp(energy * (1 / reference - 1 / (soil_c + KELVIN)))
    return np.where(soil_c < loss.frozen_below_c, 0.0, rate)


def half_lives_lost(rate: FloatArray, half_life_d: FloatArray | float) -> FloatArray:
    """Half-lives lost from the first day to the start of each day and to the end of the last one.

    Parameters
    ----------
    rate
        As `loss_rate` has it, ``[member, day]``.
    half_life_d
        ``[member]`` or a number.

    Returns
    -------
    FloatArray
        ``[member, day + 1]``, strictly rising.
    """
    return from_start(rate / np.reshape(half_life_d, (-1, 1)) + _TINY)


def watered_share(water_mm: FloatArray | float, need_mm: float, loss: Loss) -> FloatArray:
    """Share of the ground on which water since laying has carried the dose into the soil, 0..1.

    Weibull: ``1 - (1 - at_need)^((W / need)^shape)``; 1 where no water is needed.
    """
    if need_mm <= 0:
        return np.ones(np.shape(water_mm))
    of_need = np.maximum(water_mm, 0.0) / need_mm
    dry: FloatArray = (1 - loss.at_need) ** (of_need**loss.water_shape)
    return 1.0 - dry


def spot_need_mm(share: FloatArray | float, need_mm: float, loss: Loss) -> FloatArray:
    """Water by which a share of the ground is watered in [mm]: the inverse of `watered_share`."""
    of_need = np.log1p(-np.asarray(share)) / np.log1p(-loss.at_need)
    result: FloatArray = need_mm * of_need ** (1 / loss.water_shape)
    return result


def from_start(per_day: FloatArray) -> FloatArray:
    """Running total before each day and after the last, ``[..., day + 1]``."""
    total = np.cumsum(per_day, axis=-1)
    return np.concatenate([np.zeros((*total.shape[:-1], 1)), total], axis=-1)
