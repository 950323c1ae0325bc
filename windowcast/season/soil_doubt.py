"""The soil model's error at a site, drawn for many futures.

Its sizes are those of `windowcast.physics.soil_error`: a bias that lasts, a slow part that fades
within weeks, and a part that is new every day. Probe readings lessen the bias; rain that is not
known adds to the slow part.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from windowcast.core.lingering import lingering
from windowcast.core.record import DateArray, FloatArray
from windowcast.physics.soil_error import SoilError


@dataclass(frozen=True)
class SoilDoubt:
    """Errors of the soil model near the surface, ``[draw, day]`` [K] from a first day on."""

    first: np.datetime64
    error_c: FloatArray

    def at(self, dates: DateArray) -> FloatArray:
        """The errors on some of the days drawn, in a row, ``[draw, day]`` [K]."""
        begin = int((dates[0] - self.first).astype(np.int64))
        return self.error_c[:, begin : begin + len(dates)]


def soil_doubt(
    rng: np.random.Generator, count: int, first: np.datetime64, last: np.datetime64, size: SoilError
) -> SoilDoubt:
    """Draw errors of the soil model.

    Parameters
    ----------
    count
        Draws; their biases are spread evenly over the distribution.
    first, last
        Days for which errors are wanted. A draw is the same on its first days however many follow.
    size
        Standard deviations of the parts.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.soil_error import SoilError
    >>> from windowcast.season.soil_doubt import soil_doubt
    >>> days = np.arange("2024-03-01", "2024-04-30", dtype="datetime64[D]")
    >>> rng = np.random.default_rng(0)
    >>> drawn = soil_doubt(rng, 500, days[0], days[-1], SoilError(0.9, 0.8, 20.0, 0.0))
    >>> round(float(drawn.at(days).std()), 1)
    1.2
    """
    days = int((last - first).astype(np.int64)) + 1
    bias = size.bias_sd_c * even_scores(rng, count)
    slow, fast = rng.standard_normal((days, 2, count)).transpose(1, 0, 2)
    slow = lingering(slow.T, np.exp(-1.0 / size.slow_days))
    error = bias[:, None] + size.slow_sd_c * slow + size.fast_sd_c * fast.T
    return SoilDoubt(first, np.ascontiguousarray(error))


def even_scores(rng: np.random.Generator, count: int) -> FloatArray:
    """Standard normal scores spread evenly over the distribution, in random order, ``[draw]``."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((n + 0.5) / count) for n in range(count)])
    return scores[rng.permutation(count)]
