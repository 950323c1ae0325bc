"""Noise that lingers: each step keeps a part of the one before."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray


def lingering(noise: FloatArray, keep: npt.ArrayLike) -> FloatArray:
    """Scores that hang together along the last axis, ``[..., step]``, of the variance of the noise.

    Parameters
    ----------
    noise
        Independent standard normal scores, ``[..., step]``, at least one step.
    keep
        Correlation of a step with the one before, 0..1, a number or ``[step]``; the first step has
        none before it.

    Notes
    -----
    First-order autoregression: ``s(t) = k s(t-1) + sqrt(1 - k²) e(t)``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.core.lingering import lingering
    >>> lingering(np.array([1.0, 0.0, 0.0]), 0.5)
    array([1.  , 0.5 , 0.25])
    """
    given = np.asarray(keep, dtype=np.float64)
    new = np.array([np.sqrt(1 - k**2) for k in np.atleast_1d(given)])
    kept = np.broadcast_to(given, noise.shape[-1:]).tolist()
    scores: FloatArray = new * noise
    scores[..., 0] = noise[..., 0]
    for step in range(1, noise.shape[-1]):
        scores[..., step] += kept[step] * scores[..., step - 1]
    return scores
