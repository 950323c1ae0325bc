"""A pre-emergent as what stays of it in the ground: half-life, water it needs, losses before.

Where nobody said, it counts as sprayed, not spread, and the thatch as deep: saying either can only
raise what the residual is credited with. A rate that is not said of a plan counts as the usual one,
and so does one above it. Of what was put out, a rate that is not known may have been a low one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.site import Site
from windowcast.core.values import Table, Value
from windowcast.materials.actives import Active, Formulation
from windowcast.windows.exposure import Barrier
from windowcast.windows.loss import Loss
from windowcast.windows.purposes import Purpose

# irrational steps spread members evenly in 0..1, each in an order of its own
STEPS = 0.6180339887498949, 0.4142135623730951, 0.7320508075688772, 0.2360679774997898


def spread_evenly(count: int, which: int = 0) -> FloatArray:
    """One place in 0..1 for each member, evenly spread; another order for each `which`."""
    return ((np.arange(count, dtype=np.float64) + 0.5) * STEPS[which]) % 1.0


@dataclass(frozen=True)
class Laying:
    """On what ground a pre-emergent is laid, and by which values.

    Attributes
    ----------
    values
        ``data/barrier.toml``.
    irrigated
        Whether it is sure to be watered in by irrigation; else rain must.
    thatch_mm
        Depth of the thatch; None: not known, which counts as deep.
    """

    values: Table
    irrigated: bool = False
    thatch_mm: float | None = None

    @classmethod
    def of(cls, site: Site, values: Table) -> Laying:
        """On a site, by ``data/barrier.toml``."""
        return cls(values, bool(site.turf.irrigated), site.turf.thatch_mm)

    def needed_mm(self, asked_mm: float) -> float:
        """Water that carries it through the thatch where a source asks for so much; 0: sure."""
        if self.irrigated:
            return 0.0
        thatch = self.values.table("thatch")
        usual, most = thatch.number("usual"), thatch.number("most")
        deep = most if self.thatch_mm is None else min(self.thatch_mm, most)
        return asked_mm + thatch.number("holds") * max(deep - usual, 0.0)


@dataclass(frozen=True)
class ResidualActive:
    """A pre-emergence active for the purpose; an empty name is a usual one.

    Attributes
    ----------
    half_life
        In soil [d], with its range.
    activation_mm, activation_days
        Water it needs, within how many days.
    leaf_half_life, air_half_life
        On leaves, and by vapour and light at the surface [d]; None: no source says. Unknown loss by
        vapour and light counts as none.
    usual_kg_ha
        Rate of active ingredient that its figures hold for; None: not known.
    formulation
        Granules stay off the leaves; None: not said, which counts as sprayed.
    """

    name: str
    half_life: Value
    activation_mm: float
    activation_days: int
    leaf_half_life: Value | None = None
    air_half_life: Value | None = None
    usual_kg_ha: Value | None = None
    formulation: Formulation | None = None

    @property
    def range_d(self) -> tuple[float, float, float]:
        """Half-life: low, usual, high."""
        low, high = self.half_life.ends
        return low, float(self.half_life), high

    def dose(self, rate_kg_ha: float | None) -> float | None:
        """`dose_share` of a rate."""
        return dose_share(rate_kg_ha, self.usual_kg_ha)

    def laid(self, on: Laying) -> Barrier:
        """The barrier that the usual rate makes, of its usual half-life and energy of loss."""
        return Barrier(
            float(self.half_life),
            on.needed_mm(self.activation_mm),
            self.activation_days,
            Loss.of(on.values),
            waiting_per_day=self._waiting_per_day(on.values.table("waiting")),
        )

    def drawn(self, count: int, on: Laying) -> Barrier:
        """The barrier it makes in each of so many futures, over the ranges of what is not known."""
        low, _, high = self.range_d
        usual = self.laid(on)
        least, most = on.values.value("activation_energy").ends
        energy = least + (most - least) * spread_evenly(count, 2)[:, None]
        return replace(
            usual,
            half_life_d=low * (high / low) ** spread_evenly(count, 1),
            loss=replace(usual.loss, energy_kj_mol=energy),
        )

    def left_by(
        self, rate_kg_ha: float | None, count: int, on: Laying, *, usual: bool = False
    ) -> Barrier:
        """The barrier that an application made, in each of so many futures.

        A dose that is not known lies between ``unknown_dose`` of the usual one and all of it, or is
        the `usual` one.
        """
        barrier = self.drawn(count, on)
        dose = 1.0 if usual and self.dose(rate_kg_ha) is None else self.dose(rate_kg_ha)
        if dose is not None:
            return replace(barrier, dose=dose)
        least = on.values.number("unknown_dose")
        return replace(barrier, dose=least + (1 - least) * spread_evenly(count, 3)[:, None])

    def _waiting_per_day(self, waiting: Table) -> float:
        """Half-lives lost for each day at the surface, beside those lost in soil."""
        on_leaves = waiting.number(f"on_leaves.{self.formulation or 'spray'}")
        if self.leaf_half_life is None:
            life = min(
                waiting.number("leaf_of_soil") * float(self.half_life), waiting.number("leaf_most")
            )
        else:
            life = float(self.leaf_half_life)
        spread = self.formulation == "granule"
        in_air = 0.0 if spread or self.air_half_life is None else 1 / float(self.air_half_life)
        return on_leaves / life + in_air


def dose_share(rate_kg_ha: float | None, usual_kg_ha: Value | None) -> float | None:
    """A rate as a share of the usual one, at most 1; None where one of the two is unknown."""
    if rate_kg_ha is None or usual_kg_ha is None:
        return None
    return min(rate_kg_ha / float(usual_kg_ha), 1.0)


def material_of(active: Active, formulation: Formulation | None = None) -> ResidualActive | None:
    """An active as a barrier; None when it is none or its half-life or watering-in is unknown."""
    life, depth, days = active.soil_dt50_d, active.activation_mm, active.activation_days
    if not active.pre or life is None or depth is None or days is None:
        return None
    return ResidualActive(
        active.name,
        life,
        float(depth),
        int(float(days)),
        active.leaf_dt50_d,
        active.air_dt50_d,
        active.usual_kg_ha,
        formulation,
    )


def usual_material(purpose: Purpose, values: Table) -> ResidualActive:
    """What stands for a barrier when no material is named; `values` is ``data/barrier.toml``."""
    needs = purpose.generic
    return ResidualActive(
        "",
        values.value("default_half_life"),
        float(needs.activation_mm or 0.0),
        int(needs.activation_days or 0),
    )
