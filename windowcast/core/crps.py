"""A normal: its continuous ranked probability score, and where its 10 and 90 % points lie."""

from __future__ import annotations

from math import erf, pi, sqrt

import numpy as np

from windowcast.core.record import FloatArray

TO_10_90 = 1.2816  # standard deviations from the middle of a normal to its 10 and 90 % points


def crps_normal(z: FloatArray) -> FloatArray:
    """Continuous ranked probability score of a standard normal, ``[...]``.

    References
    ----------
    Gneiting et al. 2005, *Mon. Wea. Rev.* 133:1098, eq. 5.

    Examples
    --------
    >>> crps_normal(np.array([0.0, 1.0, 2.0])).round(6).tolist()
    [0.233695, 0.602441, 1.452792]
    """
    below = np.array([0.5 * (1 + erf(v / sqrt(2))) for v in np.ravel(z)]).reshape(np.shape(z))
    density = np.exp(-(z**2) / 2) / sqrt(2 * pi)
    score: FloatArray = z * (2 * below - 1) + 2 * density - 1 / sqrt(pi)
    return score
