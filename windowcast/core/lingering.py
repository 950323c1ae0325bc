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
    kept = np.broadcast_to(np.asarray(keep, dtype=np.float64), noise.shape[-1:])
    scores = np.empty_like(noise)
    scores[..., 0] = noise[..., 0]
    for step in range(1, noise.shape[-1]):
        k = kept[step]
        scores[..., step] = k * scores[..., step - 1] + np.sqrt(1 - k**2) * noise[..., step]
    return scores
