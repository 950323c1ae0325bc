"""A site's own record of its forecast, put in the place of the general error.

The rule, for each lead and for high and low apart, from the misses of the last 90 days that were
known when the forecast was issued (``own`` of ``ensemble.toml``):

- below 7 of them nothing changes;
- the bias is the general one moved towards the misses' mean by n / (n + 15) a day ahead; at other
  leads 15 goes with the variance of a miss: places differ by as much at each lead, and a mean of
  larger misses says less of it;
- the variance is the general one moved towards theirs by the same share. Wider, it holds at once.
  Narrower, it holds only where it did better on at least 30 of those days, each foretold from the
  days before it alone;
- what the general error says lasts at a place is less by the same share of its variance, since the
  bias is then known so far.

Days of which the forecast tells its own error keep that, and take the bias. Beyond the days on
which the forecast is trusted in full nothing changes.

References
----------
Gneiting, Raftery, Westveld & Goldman 2005, *Mon. Wea. Rev.* 133:1098: a normal about a corrected
forecast, fitted over the last days, scored by the CRPS. This is its case of one forecast without a
spread of its own, with the slope held at one and both other parameters shrunk: a month of days
does not carry four free parameters at a long lead.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.crps import crps_normal
from windowcast.core.record import FloatArray, Misses
from windowcast.core.values import Table
from windowcast.weather.ensemble_errors import LEAST_VARIANCE_K2, Spread

BoolArray = npt.NDArray[np.bool_]


class Error(NamedTuple):
    """What a forecast of highs or lows is taken to miss by, ``[lead]``.

    Attributes
    ----------
    bias_c
        What comes minus the forecast in the mean, °C.
    own
        Leads at which the site's own record had a say.
    """

    bias_c: FloatArray
    spread: Spread
    own: BoolArray


def with_own(
    general_bias_c: FloatArray,
    general: Spread,
    errors_k: FloatArray | None,
    place_sd_c: float,
    values: Table,
    *,
    may: BoolArray,
    told: BoolArray,
) -> Error:
    """The general error, with a site's own misses put over it.

    Parameters
    ----------
    general_bias_c, general
        ``[lead]``, the lead being the number of dates after today.
    errors_k
        Measured minus forecast on successive dates, ``[date, lead]``, NaN where there is none, at
        least as many leads as are wanted or fewer; None: no record.
    place_sd_c
        How far the lasting biases of places differ, °C: part of `general`.
    values
        ``ensemble``.
    may, told
        Leads at which the rule may act, and those of which the forecast tells its own spread.
    """
    bias, variance = general_bias_c.copy(), general.sd_c**2
    lasting = general.lasting * variance
    own = np.zeros(len(bias), dtype=bool)
    if errors_k is None:
        return Error(bias, general, own)
    table = values.table("own")
    shrink = table.number("shrink") * variance / variance[min(1, len(variance) - 1)]
    fewest = table.number("fewest")
    for lead in np.flatnonzero(may[: errors_k.shape[1]]):
        errors, stands_in = errors_k[:, lead], False
        if lead == 0 and errors_k.shape[1] > 1 and not np.isfinite(errors).any():
            errors, stands_in = errors_k[:, 1], True  # of today none is ever foretold in time
        some = errors[np.isfinite(errors)]
        if len(some) < fewest:
            continue
        own[lead] = True
        share = len(some) / (len(some) + float(shrink[lead]))
        pooled = float(variance[lead])
        bias[lead] += share * (float(some.mean()) - bias[lead])
        if told[lead]:
            continue
        mine = pooled + share * (float(some.var(ddof=1)) - pooled)
        proof = not stands_in and narrower_is_proven(
            errors, int(lead), (float(general_bias_c[lead]), pooled), float(shrink[lead]), table
        )
        variance[lead] = mine if mine > pooled or proof else pooled
        lasting[lead] = max(lasting[lead] - share * place_sd_c**2, 0.0)
    ratio = np.clip(lasting / np.maximum(variance, LEAST_VARIANCE_K2), 0.0, 1.0)
    sd = np.where(own, np.sqrt(variance), general.sd_c)
    return Error(bias, Spread(sd, np.where(own, ratio, general.lasting)), own)


def narrower_is_proven(
    errors_k: FloatArray, lead: int, general: tuple[float, float], shrink: float, own: Table
) -> bool:
    """Whether a narrower spread did better on enough days, each foretold from those before alone.

    Parameters
    ----------
    errors_k
        Of one lead on successive dates, ``[date]``, NaN where there is none.
    lead
        In dates: a day's forecast was issued so many before it, and knew the misses up to then.
    general
        The general bias [°C] and variance [K²].
    shrink
        As many days as the general error is worth.
    """
    bias_c, variance_k2 = general
    known = np.isfinite(errors_k)
    value = np.where(known, errors_k, 0.0)
    back = lead + 1
    count, total, square = (
        np.concatenate([np.zeros(back), np.cumsum(v)[: max(len(v) - back, 0)]])[: len(value)]
        for v in (known.astype(np.float64), value, value**2)
    )
    at = np.flatnonzero(known & (count >= own.number("fewest")))
    if len(at) < own.number("proof"):
        return False
    n = count[at]
    share = n / (n + shrink)
    mean = total[at] / n
    seen = np.maximum(square[at] - n * mean**2, 0.0) / (n - 1)
    centre = bias_c + share * (mean - bias_c)
    mine = variance_k2 + share * (seen - variance_k2)
    off = value[at] - centre
    scores = []
    for variance in (np.maximum(mine, variance_k2), mine):
        sd = np.sqrt(np.maximum(variance, LEAST_VARIANCE_K2))
        scores.append(sd * crps_normal(off / sd))
    gain = scores[0] - scores[1]
    return bool(gain.mean() > gain.std() / np.sqrt(len(gain)))


def own_days(misses: Misses | None, values: Table) -> int:
    """On how many of the site's own days the odds go; 0 where there are too few."""
    if misses is None:
        return 0
    most = max(int(np.isfinite(e).sum(axis=0).max()) for e in misses.errors_k.values())
    return most if most >= values.number("own.fewest") else 0
