"""The hours a window is sought in: weather, sun and site state on one axis.

Every array of an `HourContext` ends in the same hour axis. It starts `lead` hours before today, as
far as the record knows them, so that "rain in the last hours" means something this morning.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.local_days import local_dates, on_clock
from windowcast.core.phrase import Phrase, say
from windowcast.core.record import DateArray, FloatArray, Grade, Members, Weather
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.physics import humidity
from windowcast.physics.sun import solar_elevation_deg
from windowcast.season.model import SiteState
from windowcast.weather.rain_filled import told_rain_mm
from windowcast.windows.score import Block, Rule

LEAD_H = 24
_CARRIED = ("temp_c", "dewpoint_c", "rh_pct", "wind_m_s", "gust_m_s", "precip_mm", "cloud_fraction")


@dataclass(frozen=True)
class HourContext:
    """All that the criteria may look at.

    Attributes
    ----------
    site, ahead
        The site and its state on the days ahead, ``[member, day]`` or ``[day]``.
    times
        UTC hours, ``datetime64[h] [hour]``, starting `lead` hours before today's local midnight.
    local
        The same on the site's clock, ``datetime64[m] [hour]``.
    day
        Index of each hour's local date in ``ahead.dates``, kept within its ends, ``[hour]``.
    hourly, grade
        Variable of the hourly schema → values ``[member, hour]`` and grades ``[hour]``; a variable
        nobody knows is all NaN.
    daily
        Variable of the daily schema → values ``[member, day]`` on ``ahead.dates``.
    now
        When the answer is for the present moment: hours before it are gone.
    unplaced_mm
        Rain of each hour's local date that fell nobody knows when within it, ``[member, hour]``,
        to be counted wherever it may have fallen; None to take each hour's rain as it stands.
    tables
        The science values that the criteria go by.
    """

    site: Site
    ahead: SiteState
    times: DateArray
    local: DateArray
    day: npt.NDArray[np.intp]
    lead: int
    hourly: Mapping[str, FloatArray]
    grade: Mapping[str, npt.NDArray[np.uint8]]
    daily: Mapping[str, FloatArray]
    now: dt.datetime | None = None
    unplaced_mm: FloatArray | None = None
    tables: Tables = PACKAGED

    @cached_property
    def rule(self) -> Rule:
        """How scores become verdicts and hours become blocks."""
        return Rule.of(self.tables["criteria"])

    def criterion(self, name: str) -> Table:
        """A criterion's own values."""
        return self.tables["criteria"].table(name)

    def get(self, name: str) -> FloatArray:
        """Values of an hourly variable, all NaN when nobody knows it."""
        if name in self.hourly:
            return self.hourly[name]
        return np.full((1, len(self.times)), np.nan)

    def on_hours(self, days: npt.NDArray[np.generic]) -> FloatArray:
        """Daily values ``[..., day]`` taken to the hours of their local day."""
        return np.atleast_2d(days.astype(np.float64))[..., self.day]

    # --- derived quantities, each computed once -----------------------------------------------

    @cached_property
    def temp_c(self) -> FloatArray:
        """Air temperature."""
        return self.get("temp_c")

    @cached_property
    def dewpoint_c(self) -> FloatArray:
        """Dew point, from relative humidity where it is not given, never above the air."""
        given = self.get("dewpoint_c")
        from_rh = humidity.dewpoint_from_rh_c(self.temp_c, self.get("rh_pct"))
        return np.minimum(np.where(np.isnan(given), from_rh, given), self.temp_c)

    @cached_property
    def rh_pct(self) -> FloatArray:
        """Relative humidity, from the dew point."""
        return humidity.relative_humidity_pct(self.temp_c, self.dewpoint_c)

    @cached_property
    def delta_t_c(self) -> FloatArray:
        """Air minus wet bulb, at the site's height."""
        sea = self.get("pressure_hpa")
        sea = np.where(np.isnan(sea), humidity.SEA_LEVEL_HPA, sea)
        station = humidity.pressure_hpa(self.site.elevation_m or 0.0, sea)
        return humidity.delta_t_c(self.temp_c, self.dewpoint_c, station)

    @cached_property
    def wind_m_s(self) -> FloatArray:
        """Wind at 10 m."""
        return self.get("wind_m_s")

    @cached_property
    def rain_mm(self) -> FloatArray:
        """Rain of each hour."""
        return self.get("precip_mm")

    def rain_around(self, before: int, after: int) -> FloatArray:
        """Rain of each hour with the hours before and after it, ``[member, hour, step]``.

        What is unplaced stands, for each date that a run of hours touches, in the first of them.
        """
        fallen = sliding(self.rain_mm, before, after)
        if self.unplaced_mm is None:
            return fallen
        begins = np.diff(self.day, prepend=self.day[:1]) > 0
        rest = sliding(np.where(begins, self.unplaced_mm, 0.0), before, after).copy()
        rest[..., 0] = sliding(self.unplaced_mm, before, after)[..., 0]
        return fallen + rest

    @cached_property
    def cloud(self) -> FloatArray:
        """Cloud cover, 0..1."""
        return self.get("cloud_fraction")

    @cached_property
    def sun_deg(self) -> FloatArray:
        """Lower of the sun's heights at the start and the end of each hour, ``[hour]``."""
        edges = np.append(self.times, self.times[-1:] + np.timedelta64(1, "h"))
        height = solar_elevation_deg(self.site.latitude, self.site.longitude, edges)
        return np.minimum(height[:-1], height[1:])

    def span(self, block: Block) -> tuple[dt.datetime, dt.datetime]:
        """Start and end of a block of hours from today on, on the site's clock."""
        hours = self.times[self.lead :].astype(np.int64)
        start = dt.datetime.fromtimestamp(3600 * int(hours[block.start]), self.site.zone)
        end = 3600 * (int(hours[block.stop - 1]) + 1)
        return start, dt.datetime.fromtimestamp(end, self.site.zone)

    def grade_of(self, start: int, stop: int) -> Phrase:
        """How well the hours ``start:stop`` are known, by their worst important variable."""
        worst = max(
            (int(self.grade[name][start:stop].max()) for name in ("temp_c", "wind_m_s", "precip_mm")
             if name in self.grade),
            default=int(Grade.MISSING),
        )  # fmt: skip
        return say(f"hours.{Grade(worst).name.lower()}")


def sliding(values: FloatArray, before: int, after: int) -> FloatArray:
    """Each step with the steps before and after it, ``[..., time, before + 1 + after]``.

    NaN beyond the ends, so that what is not known there stays unknown.
    """
    pad = [(0, 0)] * (values.ndim - 1) + [(before, after)]
    padded = np.pad(values, pad, constant_values=np.nan)
    return np.lib.stride_tricks.sliding_window_view(padded, before + after + 1, axis=-1)


def chance(event: FloatArray, rule: Rule) -> FloatArray:
    """How likely an event is, in the place of the forecast's own yes or no.

    Parameters
    ----------
    event
        0 or 1 (NaN: unknown), ``[member, time]``.

    Returns
    -------
    FloatArray
        Row 0 (the forecast as issued) holds the share of the other members in which it happens,
        when there are enough of them; the other rows keep their own 0 or 1.
    """
    if event.shape[0] - 1 < rule.members:
        return event
    return np.concatenate([event[1:].mean(axis=0, keepdims=True), event[1:]])


def hour_context(
    site: Site,
    ahead: SiteState,
    members: Members,
    *,
    weather: Weather | None = None,
    now: dt.datetime | None = None,
    tables: Tables = PACKAGED,
) -> HourContext:
    """Put the members' hours, the hours before them and the days' state on one axis.

    Parameters
    ----------
    weather
        The record the members carry on from; its hours before today fill the lead, and where it
        has days only, yesterday's rain is spread evenly over the day.
    now
        Present moment, aware; None for an answer about another day.
    tables
        The science values to go by.
    """
    record = members.hourly
    zone = site.zone
    lead_times = record.times[0] - np.arange(LEAD_H, 0, -1).astype("timedelta64[h]")
    times = np.concatenate([lead_times, record.times])
    hourly = {
        name: np.concatenate(
            [
                np.broadcast_to(_before(name, lead_times, weather, zone), (*v.shape[:-1], LEAD_H)),
                v,
            ],
            axis=-1,
        )
        for name, v in ((n, np.atleast_2d(v)) for n, v in record.values.items())
        if name in _CARRIED or name in ("pressure_hpa", "precip_prob", "wind_from_deg")
    }
    unknown = np.full(LEAD_H, Grade.MISSING, dtype=np.uint8)
    dates = local_dates(zone, times)
    day = (dates - ahead.dates[0]).astype(np.intp)
    return HourContext(
        site=site,
        ahead=ahead,
        times=times,
        local=on_clock(zone, times),
        day=np.clip(day, 0, len(ahead.dates) - 1),
        lead=LEAD_H,
        hourly=hourly,
        grade={k: np.concatenate([unknown, g]) for k, g in record.grades.items() if k in hourly},
        daily=_on_dates(members, ahead.dates, zone),
        now=now,
        tables=tables,
    )


def _before(name: str, times: DateArray, weather: Weather | None, zone: ZoneInfo) -> FloatArray:
    """A variable in the hours before today, ``[hour]``; NaN where the record does not know it."""
    found = np.full(len(times), np.nan)
    if weather is None or name not in _CARRIED:
        return found
    if weather.hourly is not None and name in weather.hourly.values:
        at = (times - weather.hourly.times[0]).astype(np.intp)
        inside = (at >= 0) & (at < len(weather.hourly.times))
        found[inside] = weather.hourly.values[name][..., at[inside]]
    if name == "precip_mm" and np.isnan(found).any() and "precip_mm" in weather.daily.values:
        dates = local_dates(zone, times)
        at = (dates - weather.daily.times[0]).astype(np.intp)
        inside = (at >= 0) & (at < weather.today_index) & np.isnan(found)
        found[inside] = weather.daily.values["precip_mm"][..., at[inside]] / 24
    return found


def _on_dates(members: Members, dates: DateArray, zone: ZoneInfo) -> dict[str, FloatArray]:
    """Daily values of the members on the state's dates; NaN outside the record.

    Of rain what is told of its amount.
    """
    at = (dates - members.daily.times[0]).astype(np.intp)
    inside = (at >= 0) & (at < len(members.daily.times))
    out = {}
    for name, value in members.daily.values.items():
        rows = np.atleast_2d(told_rain_mm(members, zone) if name == "precip_mm" else value)
        placed = np.full((*rows.shape[:-1], len(dates)), np.nan)
        placed[..., inside] = rows[..., at[inside]]
        out[name] = placed
    return out
