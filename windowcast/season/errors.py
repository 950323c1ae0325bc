"""What the models of soil and weeds may be wrong by, drawn once for each future.

Weather is not all that is unknown of the days ahead. The soil model errs at a site, and a weed's
clock runs faster or slower than published. Each future therefore has a soil error and a clock of
its own, over the season so far as much as ahead, so that dates, shares and odds hold both. The turf
counts the same soil error in possible worlds instead (`windowcast.season.leaf`). The forecast as
issued, the first row, has no error. Draws are seeded with place and season: the same future errs
alike from one day to the next.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.season.soil_doubt import SoilDoubt


@dataclass(frozen=True)
class ModelErrors:
    """Errors of the models, one for each future.

    Attributes
    ----------
    soil
        Of the soil model, for the futures alone.
    clocks
        EPPO code → place of each future in the distribution of the clock's speed, as a standard
        normal score, ``[future]``.
    air
        Of the mean air temperature that weeds' clocks run on, ``[future]`` [K]; None where it was
        measured at the place.
    """

    soil: SoilDoubt
    clocks: Mapping[str, FloatArray]
    air: FloatArray | None = None

    def soil_c(self, dates: DateArray) -> FloatArray:
        """What to add to the soil on days in a row, ``[1 + future, day]`` [K]."""
        return np.concatenate([np.zeros((1, len(dates))), self.soil.at(dates)])

    def clock(self, code: str) -> FloatArray:
        """Score of the clock of a weed, ``[1 + future]``."""
        return np.append(0.0, self.clocks[code])

    def with_error(self, air_c: FloatArray) -> FloatArray:
        """Mean air of some days as the futures have it, ``[1 + future, day]`` [°C]."""
        return air_c if self.air is None else air_c + np.append(0.0, self.air)[:, None]
