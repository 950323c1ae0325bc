"""The soil of one place worked out once for records that each go on where another ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from windowcast.physics.soil import SoilForcing, SoilResult, SoilSite, SoilState, simulate


@dataclass
class GrowingSoil:
    """A soil model that carries on from what it did for a shorter record of the same weather.

    For records of one place and soil, each as long as the one before or longer, with the same
    values on the days that both have.
    """

    _done: list[SoilResult] = field(default_factory=list)

    def __call__(
        self,
        forcing: SoilForcing,
        site: SoilSite,
        *,
        depths_m: Sequence[float],
        state: SoilState | None = None,
        compiled: bool = False,
    ) -> SoilResult:
        """As `windowcast.physics.soil.simulate`; runs that carry on are not kept."""
        if state is not None:
            return simulate(forcing, site, depths_m=depths_m, state=state, compiled=compiled)
        days = sum(len(part.dates) for part in self._done)
        if days < len(forcing.dates):
            start = self._done[-1].state if self._done else None
            rest = _from(forcing, days)
            self._done.append(
                simulate(rest, site, depths_m=depths_m, state=start, compiled=compiled)
            )
        return replace(
            self._done[-1],
            dates=forcing.dates,
            temp_c=np.concatenate([part.temp_c for part in self._done], axis=-2),
            moisture=np.concatenate([part.moisture for part in self._done], axis=-1),
            frozen=np.concatenate([part.frozen for part in self._done], axis=-1),
            snow_water_mm=np.concatenate([part.snow_water_mm for part in self._done], axis=-1),
        )


def _from(forcing: SoilForcing, day: int) -> SoilForcing:
    """The days of a forcing from one on."""
    rest = {name: values[..., day:] for name, values in forcing.by_day().items()}
    return replace(forcing, dates=forcing.dates[..., day:], **rest)
