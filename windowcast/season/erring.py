"""The season so far and ahead as each future has it, with its own errors of the models."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.season.clocks import ClockSpeed, Drivers
from windowcast.season.emergence import WeedCarry, emerge_in_futures
from windowcast.season.errors import ModelErrors
from windowcast.season.model import Emergence, SoFar
from windowcast.season.weeds import Weed


@dataclass(frozen=True)
class LastDays:
    """What the last days of a run were like, up to a year, ``[day]``; for errors drawn in them."""

    drivers: Drivers
    soil_5cm_c: FloatArray
    soil_10cm_c: FloatArray
    measured: npt.NDArray[np.bool_]  # soil by a probe: no error of the model


@dataclass(frozen=True)
class Erring:
    """Days before and ahead as the futures have them, each with its own error of the models."""

    errors: ModelErrors
    last: LastDays
    drivers: Drivers
    before_c: FloatArray  # added to the soil, [1 + future, day]
    ahead_c: FloatArray

    @classmethod
    def of(cls, errors: ModelErrors, last: LastDays, drivers: Drivers) -> Erring:
        """Of the last days of the record and the drivers ahead, ``[1 + future, day]``."""
        before = errors.soil_c(last.drivers.dates)
        ahead = errors.soil_c(drivers.dates)
        return cls(errors, last, drivers, np.where(last.measured, 0.0, before), ahead)

    def emerge(
        self, entry: Weed, carry: WeedCarry, timings: Mapping[int, ClockSpeed]
    ) -> tuple[Emergence, Emergence, FloatArray]:
        """A weed's emergence so far and ahead; see `emerge_in_futures`."""
        before = self.last.drivers
        return emerge_in_futures(
            entry,
            self._with(before, self.before_c),
            self._with(self.drivers, self.ahead_c),
            carry,
            scores=self.errors.clock(entry.code),
            timings=timings,
        )

    def _with(self, drivers: Drivers, soil_error_c: FloatArray) -> Drivers:
        """What drives a weed, with the errors of each future."""
        soil_c, air_c = drivers.soil_c + soil_error_c, self.errors.with_error(drivers.air_c)
        return replace(drivers, soil_c=soil_c, air_c=air_c)

    def so_far(self, emergence: Mapping[str, Emergence]) -> SoFar:
        """The days before as the futures have them."""
        last, error = self.last, self.before_c
        return SoFar(last.soil_5cm_c + error, last.soil_10cm_c + error, emergence)
