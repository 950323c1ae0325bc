"""The soil of one place worked out once for records that each go on where another ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from windowcast.physics.soil import SoilForcing, SoilResult, SoilSite, SoilState, simulate


@dataclass
class GrowingSoil:
    """A soil model that carries on from what it did for other records of the same weather.

    For records of one place and soil that begin on one day, with the same values on the days that
    any two have.
    """

    _done: list[SoilResult] = field(default_factory=list)  # one after the other

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
        parts, days = self._up_to(len(forcing.dates))
        if days < len(forcing.dates):
            start = parts[-1].state if parts else None
            rest = _days(forcing, days)
            new = simulate(rest, site, depths_m=depths_m, state=start, compiled=compiled)
            if len(parts) == len(self._done):
                self._done.append(new)
            parts.append(new)
        return replace(
            parts[-1],
            dates=forcing.dates,
            temp_c=np.concatenate([part.temp_c for part in parts], axis=-2),
            moisture=np.concatenate([part.moisture for part in parts], axis=-1),
            frozen=np.concatenate([part.frozen for part in parts], axis=-1),
            snow_water_mm=np.concatenate([part.snow_water_mm for part in parts], axis=-1),
        )

    def _up_to(self, days: int) -> tuple[list[SoilResult], int]:
        """The runs that end within the first days, and how many days they are."""
        parts: list[SoilResult] = []
        known = 0
        for part in self._done:
            if known + len(part.dates) > days:
                break
            parts.append(part)
            known += len(part.dates)
        return parts, known


def _days(forcing: SoilForcing, day: int) -> SoilForcing:
    """The days of a forcing from one on."""
    rest = {name: values[..., day:] for name, values in forcing.by_day().items()}
    return replace(forcing, dates=forcing.dates[..., day:], **rest)
