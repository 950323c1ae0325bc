"""Criteria on hours: each is one function that says what is measured, hour by hour.

A criterion measures; how the measured value is graded (0..1, where 0 is a no) and worded stands in
``data/criteria.toml`` under the function's name. NaN means "cannot tell". To add one: write the
function here with ``@criterion``, its table there, and its name in ``data/purposes.toml``.
Criteria on days, which also say when a purpose is in season, are in `windowcast.windows.days`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Value
from windowcast.core.record import FloatArray
from windowcast.core.site import Site
from windowcast.core.turf import Sensitive
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows import reasons
from windowcast.windows.hours import HourContext, chance, sliding

Measure = Callable[[HourContext, ActiveNeeds], FloatArray]
HOUR_CRITERIA: dict[str, Measure] = {}
SCHEDULE = ("daylight", "site_hours")  # what no weather can change
RAIN_AFTER = ("rain_after", "washing_rain")  # what takes an application off again
FALLING = (
    "saturated_soil",
    "dry_before",
    "rain_now",
    "rain_after",
    "chance_of_rain",
    "washing_rain",
)


def criterion(measure: Measure) -> Measure:
    """Register a criterion on hours under its function's name.

    The function returns what is measured, broadcastable to ``[member, hour]``, NaN where it cannot
    be told.
    """
    HOUR_CRITERIA[measure.__name__] = measure
    return measure


# --- when ------------------------------------------------------------------------------------


@criterion
def daylight(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Lowest height of the sun within the hour."""
    return ctx.sun_deg


@criterion
def site_hours(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """1 in hours the site's calendar allows and that are still to come."""
    return allowed_hours(ctx).astype(np.float64)


def allowed_hours(ctx: HourContext) -> npt.NDArray[np.bool_]:
    """Whole hours within the site's hours and weekdays, outside its blackouts, not yet begun."""
    allowed = ctx.site.calendar.open_hours(ctx.local)
    if ctx.now is not None:
        now = np.datetime64(ctx.now.astimezone(dt.UTC).replace(tzinfo=None), "m")
        allowed &= ctx.times.astype("datetime64[m]") >= now
    return allowed


# --- drift -----------------------------------------------------------------------------------


@criterion
def wind(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Mean wind at 10 m."""
    return ctx.wind_m_s


@criterion
def sprayer_limit(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """1 where the wind is above the equipment's own limit, which can only lower the general one."""
    return over_limit(ctx.wind_m_s, ctx.site)


def over_limit(wind_m_s: FloatArray, site: Site) -> FloatArray:
    """1 where the wind is above the limit in the site file, 0 where not or where there is none."""
    limit = site.equipment.wind_max_m_s
    if limit is None:
        return np.zeros_like(wind_m_s)
    return np.where(np.isnan(wind_m_s), np.nan, wind_m_s > limit)


@criterion
def sensitive_areas(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Degrees by which the wind blows past the nearest sensitive area of the site, 0 towards it."""
    return off_areas(ctx.get("wind_from_deg"), ctx.site.sensitive)


def off_areas(wind_from_deg: FloatArray, areas: Sequence[Sensitive]) -> FloatArray:
    """Angle between where the wind blows to and the nearest of the areas, 180 without any.

    NaN where there are areas and the direction is not known.
    """
    off = np.full_like(wind_from_deg, 180.0)
    for area in areas:
        off = np.minimum(off, _off(wind_from_deg, area))
    return off


def _off(wind_from_deg: FloatArray, area: Sensitive) -> FloatArray:
    clockwise = (wind_from_deg + 180.0 - area.bearing_from_deg) % 360.0
    beyond = np.minimum(clockwise - area.width_deg, 360.0 - clockwise)
    return np.maximum(beyond, 0.0)


def about(name: str, ctx: HourContext, hour: int) -> Value:
    """What a criterion measured in an hour of the forecast; nothing where there is no choice.

    Of the sensitive areas those that the wind blows nearest to.
    """
    if name != "sensitive_areas" or not ctx.site.sensitive:
        return NOTHING
    wind = ctx.get("wind_from_deg")[0, hour]
    off = [float(_off(wind, area)) for area in ctx.site.sensitive]
    near = [a.name for a, o in zip(ctx.site.sensitive, off, strict=True) if not o > min(off)]
    return reasons.named(near)


@criterion
def gusts(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Gusts; the mean wind tells nothing of how hard it blows at times."""
    return ctx.get("gust_m_s")


@criterion
def inversion(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Index 0..1 of an inversion: low sun, light wind, clear sky, air not yet warming.

    Missing cloud counts as clear, the cautious reading.
    """
    rule = ctx.criterion("inversion")
    low_sun = _fades(ctx.sun_deg, rule.value("sun_deg").value)
    calm = _fades(ctx.wind_m_s, rule.value("wind_m_s").value)
    cover = np.where(np.isnan(ctx.cloud), 0.0, ctx.cloud)
    clear = _fades(cover, rule.value("cloud").value, floor=rule.number("overcast_share"))
    night = sliding(ctx.temp_c, int(rule.number("night_hours")), 0)
    since_low = ctx.temp_c - np.fmin.reduce(night, axis=-1)
    warmer = np.diff(ctx.temp_c, axis=-1, prepend=ctx.temp_c[..., :1]) > 0
    still = np.where(warmer, _fades(since_low, rule.value("warming_c").value), 1.0)
    return low_sun * calm * clear * still


def _fades(measured: FloatArray, ends: list[float], floor: float = 0.0) -> FloatArray:
    """1 below the first end, `floor` above the second, a straight line between."""
    return np.interp(measured, ends, [1.0, floor])


@criterion
def delta_t(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Air temperature minus wet bulb."""
    return ctx.delta_t_c


@criterion
def hot_and_dry(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """1 where the air is both hot and dry; unknown where it is hot and humidity is missing."""
    rule = ctx.criterion("hot_and_dry")
    hot = np.where(np.isnan(ctx.temp_c), np.nan, ctx.temp_c > rule.number("temp_c"))
    dry = np.where(np.isnan(ctx.rh_pct), np.nan, ctx.rh_pct < rule.number("rh_pct"))
    return np.where((hot == 0) | (dry == 0), 0.0, hot * dry)


# --- uptake ----------------------------------------------------------------------------------


@criterion
def air_temperature(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Air temperature in the hour."""
    return ctx.temp_c


@criterion
def heat(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Air temperature, for materials that only heat can harm."""
    return ctx.temp_c


@criterion
def humidity(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Relative humidity."""
    return ctx.rh_pct


@criterion
def cold_after(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Lowest air temperature of the hours after spraying."""
    hours = int(ctx.criterion("cold_after").number("hours"))
    result: FloatArray = sliding(ctx.temp_c, 0, hours).min(axis=-1)
    return result


@criterion
def sun_after(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Share of clear sky by day, from now to tomorrow evening."""
    if needs.light_needed is None:
        return np.full_like(ctx.sun_deg, np.nan)
    hours = int(ctx.criterion("sun_after").number("hours"))
    by_day = np.where(ctx.sun_deg > 0, 1.0 - ctx.cloud, 0.0)
    ahead = sliding(by_day, 0, hours).sum(axis=-1)
    lit = sliding((ctx.sun_deg > 0).astype(np.float64), 0, hours).sum(axis=-1)
    result: FloatArray = ahead / np.maximum(lit, 1.0)
    return result


# --- the surface ------------------------------------------------------------------------------


@criterion
def frost(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Lowest air temperature of the last hours, while frost would still lie."""
    result: FloatArray = sliding(ctx.temp_c, int(ctx.criterion("frost").number("hours")), 0).min(
        axis=-1
    )
    return result


@criterion
def saturated_soil(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Rain of the last day where the soil is full, 0 where it has room."""
    rule = ctx.criterion("saturated_soil")
    fallen = ctx.rain_around(int(rule.number("hours")) - 1, 0).sum(axis=-1)
    moisture = ctx.on_hours(ctx.ahead.soil_moisture)
    ahead = ctx.rain_mm.copy()
    ahead[..., : ctx.lead] = 0.0  # what is unknown of the past leaves the moisture unknown
    told = np.isfinite(sliding(ahead, int(rule.number("hours")) - 1, 0).sum(axis=-1))
    # an unknown moisture counts as full, and no ground has room for a depth that is not told
    room = (moisture < rule.number("full")) & told
    return np.where(room, 0.0, fallen)


@criterion
def dry_before(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Rain of the last hours, this one left out."""
    hours = int(ctx.criterion("dry_before").number("hours"))
    result: FloatArray = ctx.rain_around(hours, 0)[..., :-1].sum(axis=-1)
    return result


@criterion
def leaf_wetness(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """How far the air is from its dew point."""
    return ctx.temp_c - ctx.dewpoint_c


# --- rain after -------------------------------------------------------------------------------


@criterion
def rain_now(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Rain during the hour."""
    return ctx.rain_around(0, 0)[..., 0]


def _rain_free(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Rain from now to the end of the rain-free time; NaN when that time is unknown."""
    if needs.rain_free_h is None or math.isnan(needs.rain_free_h):
        return np.full_like(ctx.sun_deg, np.nan)
    result: FloatArray = ctx.rain_around(0, math.ceil(needs.rain_free_h)).sum(axis=-1)
    return result


@criterion
def rain_after(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Depth of rain within the rain-free time."""
    return _rain_free(ctx, needs)


@criterion
def chance_of_rain(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Chance of measurable rain within the rain-free time.

    Counted in the members; without enough of them it is the largest hourly probability of
    precipitation, or certain where the forecast itself has rain.
    """
    fallen = np.atleast_2d(_rain_free(ctx, needs))
    wet = ctx.criterion("chance_of_rain").number("wet_mm")
    event = np.where(np.isnan(fallen), np.nan, fallen >= wet)
    if needs.rain_free_h and not math.isnan(needs.rain_free_h) and event.shape[0] == 1:
        hours = math.ceil(needs.rain_free_h)
        probability = sliding(ctx.get("precip_prob"), 0, hours).max(axis=-1)
        return np.fmax(event, np.where(np.isnan(event), np.nan, probability))
    return chance(event, ctx.rule)


@criterion
def washing_rain(ctx: HourContext, needs: ActiveNeeds) -> FloatArray:
    """Rain of the first day after a soil-applied material."""
    hours = int(ctx.criterion("washing_rain").number("hours"))
    result: FloatArray = ctx.rain_around(0, hours - 1).sum(axis=-1)
    return result
