"""How far the soil model may be off at a place: what futures have to carry beside the weather.

The error of the daily mean near the surface is taken as three parts: a bias of the site that lasts
(or comes back at the same time of each year), a slow random part that fades within weeks, and a
fast part that is new every day or two. Their sizes are those of the model at stations its fit did
not use, given daily highs, lows and rain alone (``data/soil.toml``, table ``error``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from windowcast.core.values import Table, load


@dataclass(frozen=True)
class SoilError:
    """Standard deviations of the parts of the soil model's error, of a daily mean at 5 or 10 cm.

    Attributes
    ----------
    bias_sd_c
        Of the site's lasting bias, K: one draw for a season.
    slow_sd_c, slow_days
        Of the slow part, K, and the days in which its correlation falls to 1/e.
    fast_sd_c
        Of the part that is new every day, K.
    air_sd_c
        Of the air temperature in the mean, where it was measured some way off or at an unknown
        height, K: one draw for a season. The bias of the soil has it too.
    """

    bias_sd_c: float
    slow_sd_c: float
    slow_days: float
    fast_sd_c: float
    air_sd_c: float = 0.0

    def mean_sd_c(self, days: int) -> float:
        """Standard deviation of the error of a mean over some days in a row, K.

        Notes
        -----
        The bias stays whole. Of the slow part's variance the mean of ``r^|i-j|`` over all pairs of
        days is left, with ``r = exp(-1 / slow_days)``; of the fast part's one in `days`.

        Examples
        --------
        >>> from windowcast.physics.soil_error import SoilError
        >>> size = SoilError(bias_sd_c=0.9, slow_sd_c=1.0, slow_days=17.6, fast_sd_c=0.55)
        >>> round(size.mean_sd_c(1), 2), round(size.mean_sd_c(7), 2)
        (1.45, 1.32)
        """
        keep = math.exp(-1.0 / self.slow_days)
        pairs = days + 2.0 * sum((days - apart) * keep**apart for apart in range(1, days))
        slow, fast = self.slow_sd_c**2 * pairs / days**2, self.fast_sd_c**2 / days
        return math.sqrt(self.bias_sd_c**2 + slow + fast)


def soil_error(
    readings: int = 0,
    *,
    humid: bool | None = None,
    unknown_rain_sd_c: float = 0.0,
    distance_km: float | None = 0.0,
    known_height: bool = True,
    values: Table | None = None,
) -> SoilError:
    """Sizes of the soil model's error at a place.

    Parameters
    ----------
    readings
        Probe readings that corrected the model there (`soil_site`); only the bias shrinks.
    humid
        Whether the climate is mild and humid (`mild_and_humid`); None, not known, counts as not.
    unknown_rain_sd_c
        What usual rain in place of unknown rain adds, K (`windowcast.season.unknown_rain`).
    distance_km
        How far away the weather was measured; adds to the bias, which readings then shrink. None,
        not known, counts as the farthest of the pairs of stations that its cost comes from.
    known_height
        Whether the heights of site and measurement are both known, or one and the same.
    values
        Instead of ``data/soil.toml``, whose table ``error`` holds the sizes.

    Returns
    -------
    SoilError
        [K] and [d].

    Notes
    -----
    With n readings the bias has the variance ``f + (b - f) / (1 + n / h)``: b without any, f with
    many, half of the difference gone with h. Distance d adds ``c d`` to b, an unknown height a
    variance of its own: that of the air's mean, which soil follows nearly degree by degree.
    Readings tell of the soil alone and leave the air's.

    Examples
    --------
    >>> from windowcast.physics.soil_error import soil_error
    >>> none, ten = soil_error(humid=True), soil_error(10, humid=True)
    >>> none.bias_sd_c > ten.bias_sd_c > 0.4
    True
    >>> soil_error(humid=True, unknown_rain_sd_c=0.6).slow_sd_c > none.slow_sd_c
    True
    >>> far, untold = (soil_error(distance_km=km, humid=True) for km in (80.0, None))
    >>> untold.bias_sd_c > far.bias_sd_c > none.bias_sd_c
    True
    """
    table = (values or load("soil")).table("error")
    where = "humid" if humid else "elsewhere"
    before, least = (table.number(name) ** 2 for name in ("bias_sd", "bias_sd_many_readings"))
    away = table.number("unknown_distance") if distance_km is None else distance_km
    air = table.number("far_sd") ** 2 * away / table.number("far_distance")
    air += 0.0 if known_height else table.number("unknown_height_sd") ** 2
    before += air
    shrunk = least + (before - least) / (1 + readings / table.number("half_readings"))
    return SoilError(
        bias_sd_c=math.sqrt(shrunk),
        slow_sd_c=math.hypot(table.number(f"slow_sd_{where}"), unknown_rain_sd_c),
        slow_days=table.number("slow_days"),
        fast_sd_c=table.number("fast_sd"),
        air_sd_c=math.sqrt(air),
    )


def mild_and_humid(
    rain_mm_year: float, coldest_month_c: float, values: Table | None = None
) -> bool:
    """Whether a climate is one where the model does best, as in the south-eastern US.

    Parameters
    ----------
    rain_mm_year
        Mean rain of a year [mm].
    coldest_month_c
        Mean air temperature of the coldest month [°C].
    values
        Instead of ``data/soil.toml``.

    Examples
    --------
    >>> from windowcast.physics.soil_error import mild_and_humid
    >>> mild_and_humid(1400.0, 7.0), mild_and_humid(350.0, 7.0), mild_and_humid(900.0, -8.0)
    (True, False, False)
    """
    coldest = (values or load("soil")).number("error.humid_coldest_month")
    return has_humid_rain(rain_mm_year, values) and coldest_month_c >= coldest


def has_humid_rain(rain_mm_year: float, values: Table | None = None) -> bool:
    """Whether a place has the rain of a humid climate [mm a year]; `values` as above."""
    return rain_mm_year >= (values or load("soil")).number("error.humid_rain")
