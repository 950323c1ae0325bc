"""Where a weed's curve can be used: its clock must start in a season in which nothing comes up.

In a summer as cool as the fall elsewhere, and in a winter as warm as spring, the clock runs from
the day on which it is started. The dates that follow are those of the calendar, alike each year,
and say nothing of the weed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import on_date
from windowcast.season.weeds import Weed


def can_be_used(
    weed: Weed, share: FloatArray, dates: DateArray, *, southern: bool
) -> npt.NDArray[np.bool_]:
    """Whether a weed's curve holds at a place, ``[...]``.

    Parameters
    ----------
    share
        Emerged share over the years of a record, ``[..., day]``; NaN where it is unknown.

    Returns
    -------
    numpy.ndarray
        False where in most years more has come up by the end of the quiet time than the table
        allows; True where no year tells.
    """
    limit = weed.common.too_early if weed.season == "fall" else weed.common.no_winter
    return _quiet(weed, share > limit, np.isfinite(share), dates, southern)


def air_rule_can_be_used(
    weed: Weed, first_by_air: FloatArray, dates: DateArray, *, southern: bool
) -> npt.NDArray[np.bool_]:
    """Whether the rule of air temperature holds at a place, ``[...]``; as `can_be_used`.

    False where in most years it tells the first plants before the end of the quiet time.
    """
    return _quiet(weed, first_by_air >= 1.0, np.isfinite(first_by_air), dates, southern)


def _quiet(
    weed: Weed,
    early: npt.NDArray[np.bool_],
    known: npt.NDArray[np.bool_],
    dates: DateArray,
    southern: bool,
) -> npt.NDArray[np.bool_]:
    days = on_date(dates, weed.common.quiet_until[weed.season], southern)
    return np.asarray(2 * early[..., days].sum(axis=-1) <= known[..., days].sum(axis=-1))
