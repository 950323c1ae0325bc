"""Draws of forecast errors that grow with lead and hang together in time and between variables.

`values` is the table ``data/ensemble.toml``, or one that a caller varied (`Table.varied`).
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from windowcast.core.lingering import lingering
from windowcast.core.record import FloatArray
from windowcast.core.values import Table

LEAST_VARIANCE_K2 = 1e-12  # below which nothing is left to share out
LEAST_EIGENVALUE = 0.02  # of a correlation matrix put together from several sources


class ErrorPart(IntEnum):
    """Position of a variable in the last axis of `error_scores`."""

    HIGH = 0
    LOW = 1
    DEW = 2
    WIND = 3
    RAIN = 4


def middle_of_days(days: int) -> FloatArray:
    """Leads of the middles of consecutive days counted from an issue at local midnight, days."""
    return np.arange(days, dtype=np.float64) + 0.5


def variance_share(lead_days: FloatArray, values: Table) -> FloatArray:
    """How far the forecast has lost its skill, 0..1: v of the table's ``temperature`` entries."""
    table = values.table("temperature")
    floor, scale = table.number("variance_floor"), table.number("variance_scale")
    grown = 1 - np.exp(-((lead_days / scale) ** table.number("variance_power")))
    return floor + (1 - floor) * grown


class Spread(NamedTuple):
    """How far a forecast temperature misses, ``[lead]``.

    Attributes
    ----------
    sd_c
        Standard deviation of the miss at a place whose bias nobody knows, °C.
    lasting
        The share of its variance that is the same on every day ahead, 0..1: the place's bias, and
        what one bulletin carries through all its days.
    """

    sd_c: FloatArray
    lasting: FloatArray


def spread_of(
    part: ErrorPart,
    lead_days: FloatArray,
    climate_sd_c: float,
    values: Table,
    own_sd_c: FloatArray | None = None,
) -> Spread:
    """Spread of the misses of the high or the low.

    Parameters
    ----------
    climate_sd_c
        Spread of the departures from the normal at the place in this part of the year, °C.
    own_sd_c
        What the forecast in hand says of its own error, °C, ``[lead]``, NaN where it says nothing;
        the place's bias comes on top, of which it knows nothing.

    Notes
    -----
    ``local² + v(lead)·(climate² - local²)``, and the lasting bias on top. The local part never
    exceeds the climate's own swings: a forecast is not worse than the normal.
    """
    table = values.table("temperature")
    name = "low" if part == ErrorPart.LOW else "high"
    local = min(table.number("local_sd"), climate_sd_c) ** 2
    passing = local + variance_share(lead_days, values) * (climate_sd_c**2 - local)
    if own_sd_c is not None:
        passing = np.where(np.isfinite(own_sd_c), own_sd_c**2, passing)
    bias = table.number(f"{name}_lasting_sd") ** 2
    lasting = bias + table.number("bulletin_share") * passing
    total = passing + bias
    return Spread(np.sqrt(total), lasting / np.maximum(total, LEAST_VARIANCE_K2))


def trust(lead_days: FloatArray, values: Table) -> FloatArray:
    """Weight of the forecast's departure from the normal, 1 at short leads and 0 at long."""
    table = values.table("temperature")
    full, none = table.number("full_trust_days"), table.number("no_trust_days")
    return np.clip((none - lead_days) / (none - full), 0.0, 1.0)


def climate_correlation(values: Table, with_rain: Mapping[str, float] | None = None) -> FloatArray:
    """Correlation of the climate between the variables, ``[ErrorPart, ErrorPart]``.

    Parameters
    ----------
    with_rain
        ``tmax_c`` and ``tmin_c`` → the correlation with rain around the place in this part of the
        year; that of all months where there is none. Spells of rain carry only a part of their
        day's draw, so the day's must go the closer with temperature.
    """
    carried = values.number("rain.day_share")
    climate = np.array(values.value("correlation.climate").value, dtype=np.float64)
    for name, part in (("tmax_c", ErrorPart.HIGH), ("tmin_c", ErrorPart.LOW)):
        if name in (with_rain or {}):
            own = float(np.clip((with_rain or {})[name] / carried, -0.9, 0.9))
            climate[part, ErrorPart.RAIN] = climate[ErrorPart.RAIN, part] = own
    size, axes = np.linalg.eigh(climate)
    if size[0] >= LEAST_EIGENVALUE:
        return climate
    mended = (axes * np.maximum(size, LEAST_EIGENVALUE)) @ axes.T  # no such weather: the nearest
    scale = np.sqrt(np.diag(mended))
    return np.asarray(mended / np.outer(scale, scale))


def bias_c(
    part: ErrorPart, lead_days: FloatArray, climate_sd_c: float, values: Table
) -> FloatArray:
    """What came minus the forecast of the high or the low in the mean over places, °C, ``[lead]``.

    Parameters
    ----------
    climate_sd_c
        As for `spread_of`; the bias is a share of it.
    """
    table = values.table("temperature")
    if part == ErrorPart.LOW:
        return np.full(len(lead_days), table.number("low_bias") * climate_sd_c)
    share = np.interp(lead_days, table.value("leads").value, table.value("high_bias").value)
    return np.asarray(share * climate_sd_c)


def error_scores(
    rng: np.random.Generator,
    count: int,
    lead_days: FloatArray,
    values: Table,
    *,
    climate: FloatArray | None = None,
    lasting: Mapping[ErrorPart, FloatArray] | None = None,
) -> FloatArray:
    """Standard error scores, ``[member, lead, ErrorPart]``, each of mean 0 and variance 1.

    Parameters
    ----------
    lasting
        For high and low the share of the variance that is the same at all leads, ``[lead]``; none
        where it is not given.

    Notes
    -----
    Members come in pairs of opposite sign and are scaled to the variance asked for, so that the
    ensemble has neither a bias nor a spread by chance. Along
    leads and between variables the correlation moves from that of short-lead misses to that of the
    climate as the forecast loses skill. Temperatures and dew point share fat tails (a multivariate
    t: one scale per pair, less wide at longer leads); wind and rain stay normal, since they are
    used through other transforms. What lasts is normal too.
    """
    climate = climate_correlation(values) if climate is None else climate
    skill_lost = variance_share(lead_days, values)
    short = values.number("correlation.short_share")
    mix = (short + (1 - short) * skill_lost)[:, None, None]
    roots = np.linalg.cholesky(mix * climate + (1 - mix) * np.eye(len(climate)))
    near, far = values.number("correlation.lead_short"), values.number("correlation.lead_long")
    along = near + (far - near) * skill_lost

    half = -(-count // 2)
    noise = rng.standard_normal((half, len(lead_days), len(climate)))
    fresh = np.einsum("lij,mlj->mli", roots, noise)
    scores = lingering(fresh.swapaxes(1, 2), along).swapaxes(1, 2)
    scores[..., : ErrorPart.WIND] *= tail_scales(rng, half, lead_days, values)[..., None]
    pair = values.number("temperature.lasting_pair")
    same = rng.standard_normal((half, 2)) @ np.linalg.cholesky([[1.0, pair], [pair, 1.0]]).T
    for column, part in enumerate((ErrorPart.HIGH, ErrorPart.LOW)):
        share = (lasting or {}).get(part, np.zeros(len(lead_days)))
        passing = np.sqrt(1 - share) * scores[..., part]
        scores[..., part] = passing + np.sqrt(share) * same[:, column : column + 1]
    scores /= np.sqrt(np.mean(scores**2, axis=0))
    pairs = np.stack([scores, -scores], axis=1).reshape(2 * half, *scores.shape[1:])
    return pairs[:count]


def tail_scales(
    rng: np.random.Generator, count: int, lead_days: FloatArray, values: Table
) -> FloatArray:
    """Factors of the error of whole bulletins, ``[member, lead]``: those that make a normal a t.

    One draw for each member, so that a bulletin that goes wrong does so on all its days.

    References
    ----------
    Wilson & Hilferty 1931, *PNAS* 17:684, for the chi-square of a normal draw.
    """
    table = values.table("temperature")
    dof = np.interp(lead_days, table.value("leads").value, table.value("tail_dof").value)
    part = 2 / (9 * dof)
    draw = np.clip(rng.standard_normal((count, 1)), -2.5, 2.5)  # below that the formula is off
    chi_square = dof * (1 - part + draw * np.sqrt(part)) ** 3
    return np.asarray(np.sqrt((dof - 2) / chi_square))


def dewpoint_sd_c(lead_days: FloatArray, low_sd_c: FloatArray, values: Table) -> FloatArray:
    """Spread of the misses of the dew point from that of the low, °C, ``[lead]``."""
    table = values.table("dewpoint")
    ratio = np.interp(lead_days, table.value("leads").value, table.value("ratio").value)
    return np.asarray(ratio * low_sd_c)


def wind_rmse_m_s(lead_days: FloatArray, values: Table) -> FloatArray:
    """Error of wind speed at a typical wind, m/s, growing from the first day to days 5-7."""
    table = values.table("wind")
    first, late = table.number("rmse_first_day"), table.number("rmse_long")
    grown = 1 - np.exp(-np.maximum(lead_days - 1, 0) / table.number("rmse_days"))
    return first + (late - first) * grown


def wind_with_errors(
    wind_m_s: FloatArray,
    scores: FloatArray,
    lead_days: FloatArray,
    values: Table,
    own_sd_m_s: FloatArray | None = None,
) -> FloatArray:
    """Wind speeds about a forecast: errors on the square root of speed, never below calm.

    The forecast is lowered by the variance of the error first, so that the mean stays.

    Parameters
    ----------
    own_sd_m_s
        What the forecast says of its own error at its wind, like `wind_m_s`, NaN where it says
        nothing.
    """
    typical = values.number("wind.typical")
    sd = wind_rmse_m_s(lead_days, values) / (2 * np.sqrt(typical))
    if own_sd_m_s is not None:
        own = own_sd_m_s / (2 * np.sqrt(np.fmax(wind_m_s, values.number("wind.own_least"))))
        sd = np.where(own > 0, own, sd)  # none is sure
    centre = np.sqrt(np.maximum(wind_m_s - sd**2, 0.0))
    return np.asarray(np.maximum(centre + sd * scores, 0.0) ** 2)


def in_day_scores(
    rng: np.random.Generator, day_scores: FloatArray, fade_h: float, day_share: float
) -> FloatArray:
    """Hourly scores from day scores ``[member, hour]`` plus a part that changes within the day."""
    quick = lingering(rng.standard_normal(day_scores.shape), np.exp(-1 / fade_h))
    return np.asarray(np.sqrt(day_share) * day_scores + np.sqrt(1 - day_share) * quick)


def even_uniforms(within: FloatArray, scores: FloatArray) -> FloatArray:
    """Scores ``[member, ...]`` turned into evenly spread uniforms in the same order.

    `within` are draws from 0..1, one for each score: where in its part a value lies.

    Each column holds one value in each of the `member` equal parts of 0..1, so that a chance is
    met by as many members as it says, to one in the ensemble's size.
    """
    ranks = np.argsort(np.argsort(scores, axis=0), axis=0)
    return (ranks + within) / len(scores)
