"""When the green-up of a season has begun: live leaf after a time without any.

Before such a time autumn's loss of colour is still going on; after it, leaf is the green-up even
where frost takes it back.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.season.runs import BoolArray, latest


def begun(
    leaf: BoolArray,
    without: FloatArray,
    enough_days: FloatArray,
    afresh: BoolArray,
    *,
    before: BoolArray | bool,
) -> BoolArray:
    """Whether green-up has begun, ``[..., day]``.

    Parameters
    ----------
    leaf
        Whether live leaf may be there, ``[..., day]``.
    without
        Days without up to the day before each, less one; -1: there was some. ``[..., day]``. They
        may be of another run of leaf, which no doubt of the soil makes greener: else more doubt,
        in which autumn's leaf stays longer, would begin the green-up less often.
    enough_days
        Days without that there must have been, less one, ``[..., day]`` or ``[day]``.
    afresh
        Days on which none has begun, whatever was before.
    before
        Whether it had begun on the day before, ``[...]``.
    """
    return latest(leaf & (without >= enough_days), np.broadcast_to(afresh, leaf.shape), before)
