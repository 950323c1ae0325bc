"""The one weather schema: checked daily or hourly values for one place, each with its grade.

A record's time axis is complete and regular (no missing steps); a missing value is NaN with
grade `Grade.MISSING`. Value arrays have shape ``[..., time]``; leading axes are members.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from windowcast.core.frames import grid_of, table_of
from windowcast.core.phrase import Phrase

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

FloatArray = npt.NDArray[np.float64]
DateArray = npt.NDArray[np.datetime64]


class Grade(IntEnum):
    """How a value came to be known, from best to worst."""

    OBSERVED = 0
    FORECAST = 1
    ESTIMATED = 2  # gap fill, daily → hourly, trace rain set to a figure
    CLIMATOLOGY = 3  # taken from other years
    MISSING = 4


@dataclass(frozen=True, slots=True)
class Variable:
    """One quantity of the schema."""

    name: str
    unit: str
    low: float
    high: float
    label: str


DAILY_VARIABLES: Mapping[str, Variable] = {
    v.name: v
    for v in (
        Variable("tmax_c", "degC", -70, 60, "highest air temperature"),
        Variable("tmin_c", "degC", -90, 45, "lowest air temperature"),
        Variable("tmean_c", "degC", -80, 50, "24-hour mean air temperature"),
        Variable("tmax_sd_k", "K", 0, 20, "the forecast's own error of the highest temperature"),
        Variable("tmin_sd_k", "K", 0, 20, "the forecast's own error of the lowest temperature"),
        Variable("precip_mm", "mm", 0, 1900, "rain"),
        Variable("snow_depth_mm", "mm", 0, 12000, "snow depth"),
        Variable("rh_mean_pct", "%", 0, 100, "mean relative humidity"),
        Variable("wind_mean_m_s", "m s-1", 0, 60, "mean wind at 10 m"),
        Variable("solar_mj_m2", "MJ m-2", 0, 45, "solar"),
        Variable("soil_5cm_c", "degC", -40, 65, "soil temperature at 5 cm"),
        Variable("soil_10cm_c", "degC", -40, 60, "soil temperature at 10 cm"),
    )
}

MADE_VARIABLES: Mapping[str, Variable] = {  # no file holds these; `windowcast.weather` makes them
    v.name: v
    for v in (
        Variable("rain_filled_mm", "mm", 0, 1900, "rain, with usual amounts where it is unknown"),
        Variable(
            "rh_filled_pct", "%", 0, 100, "mean relative humidity, with that of a coarse grid"
        ),
    )
}

HOURLY_VARIABLES: Mapping[str, Variable] = {
    v.name: v
    for v in (
        Variable("temp_c", "degC", -90, 60, "air temperature"),
        Variable("temp_sd_k", "K", 0, 20, "the forecast's own error of air temperature"),
        Variable("dewpoint_c", "degC", -90, 40, "dew point"),
        Variable("dewpoint_sd_k", "K", 0, 20, "the forecast's own error of the dew point"),
        Variable("rh_pct", "%", 0, 100, "relative humidity"),
        Variable("wind_m_s", "m s-1", 0, 75, "wind at 10 m"),
        Variable("wind_sd_m_s", "m s-1", 0, 20, "the forecast's own error of the wind"),
        Variable("gust_m_s", "m s-1", 0, 110, "gust"),
        Variable("wind_from_deg", "degree", 0, 360, "wind direction"),
        Variable("precip_mm", "mm", 0, 320, "rain"),
        Variable("precip_prob", "1", 0, 1, "probability of precipitation"),
        Variable("cloud_fraction", "1", 0, 1, "cloud cover"),
        Variable("pressure_hpa", "hPa", 500, 1090, "pressure"),
        Variable("soil_5cm_c", "degC", -40, 75, "soil temperature at 5 cm"),
    )
}


# what a forecast says of its own error (a standard deviation) → the variable it speaks of
OWN_ERRORS: Mapping[str, str] = {
    "tmax_sd_k": "tmax_c",
    "tmin_sd_k": "tmin_c",
    "temp_sd_k": "temp_c",
    "dewpoint_sd_k": "dewpoint_c",
    "wind_sd_m_s": "wind_m_s",
}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a record belongs: degrees north and east, metres above sea level, IANA zone."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None = None
    timezone: str = "UTC"

    @property
    def southern(self) -> bool:
        """True where the season is turned by half a year."""
        return self.latitude_deg < 0


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where values came from, traceable on every report."""

    source: str  # short id: "file", "archive", "forecast", "sample", "own-station"
    detail: str  # file name (no folders), station id and name, grid cell
    variables: tuple[str, ...] = ()
    first: str = ""  # ISO date or time of the first value used
    last: str = ""
    fetched: dt.datetime | None = None  # aware, UTC
    distance_km: float | None = None
    elevation_m: float | None = None
    weight: float | None = None  # share in a blend of stations
    licence: str = ""
    stale: bool = False
    issued: dt.datetime | None = None  # of a forecast; aware, UTC
    digest: str = ""  # of the source's raw answer


@dataclass(frozen=True, slots=True)
class Flag:
    """Something a quality check or a gap fill did or found."""

    check: str  # id of the check: "tmin-above-tmax", "stuck", "gap-filled", ...
    variable: str
    first: str  # ISO date or time
    last: str
    count: int
    action: str  # "removed", "filled", "kept", "refused"
    text: Phrase  # one clause for the report


@dataclass(frozen=True)
class Misses:
    """How far a source's forecasts missed at a place, by what stands on record there.

    Attributes
    ----------
    dates
        Successive local dates before today, ``[date]``.
    errors_k
        ``tmax_c`` and ``tmin_c`` → measured minus forecast, ``[date, lead]``, NaN where there is
        none; the lead is the number of dates from issue to day.
    """

    source: str
    dates: DateArray
    errors_k: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Record:
    """Values on a complete, regular time axis.

    Parameters
    ----------
    place
        Where.
    times
        ``datetime64[D]`` local dates (daily) or ``datetime64[h]`` UTC (hourly), shape ``[time]``,
        strictly increasing by one step. An hourly amount (rain) is what falls in the hour that
        begins at the time; other hourly values hold at the time itself.
    values
        Variable name → float array ``[..., time]`` in the unit of the schema, NaN when missing.
    grades
        Variable name → ``uint8`` array of `Grade`, ``[time]``.
    """

    place: Place
    times: DateArray
    values: Mapping[str, FloatArray]
    grades: Mapping[str, npt.NDArray[np.uint8]]
    provenance: tuple[Provenance, ...] = ()
    flags: tuple[Flag, ...] = field(default=())

    def __post_init__(self) -> None:
        step = np.timedelta64(1, "D" if self.daily else "h")
        if len(self.times) > 1 and not bool(np.all(np.diff(self.times) == step)):
            raise ValueError(
                "times must be complete and regular; use core.time_axis.on_regular_axis"
            )
        for name, value in self.values.items():
            if value.shape[-1] != len(self.times) or len(self.grades[name]) != len(self.times):
                raise ValueError(f"{name} does not match the time axis")

    @property
    def daily(self) -> bool:
        """True for a daily record, False for an hourly one."""
        return bool(np.datetime_data(self.times.dtype)[0] == "D")

    def __contains__(self, name: str) -> bool:
        """Whether the variable is there with at least one value."""
        return name in self.values and bool(np.isfinite(self.values[name]).any())

    def get(self, name: str) -> FloatArray:
        """Values of a variable, all NaN when the record has none, shape ``[..., time]``."""
        if name in self.values:
            return self.values[name]
        return np.full(len(self.times), np.nan)

    def grade(self, name: str) -> npt.NDArray[np.uint8]:
        """Grades of a variable, all MISSING when the record has none, shape ``[time]``."""
        if name in self.grades:
            return self.grades[name]
        return np.full(len(self.times), Grade.MISSING, dtype=np.uint8)

    def to_pandas(self) -> pd.DataFrame:
        """A column for each variable, indexed by date (daily) or UTC time (hourly).

        Raises
        ------
        ValueError
            The record has members: see `to_xarray`.
        """
        return table_of(self.times, self.values)

    def to_xarray(self) -> xr.Dataset:
        """A variable for each quantity, ``(member, time)`` or ``(time)``, with units and place.

        Raises
        ------
        InputError
            xarray is not installed.
        """
        known = {**DAILY_VARIABLES, **MADE_VARIABLES} if self.daily else HOURLY_VARIABLES
        about = {
            name: {"units": known[name].unit, "long_name": known[name].label}
            for name in self.values
        }
        where = {
            "latitude": self.place.latitude_deg,
            "longitude": self.place.longitude_deg,
            "place": self.place.name,
        }
        return grid_of(self.times, self.values, about).assign_coords(where)

    def with_variables(
        self,
        values: Mapping[str, FloatArray],
        grades: Mapping[str, npt.NDArray[np.uint8]],
        *,
        flags: Iterable[Flag] = (),
    ) -> Record:
        """The record with variables put in, new or over its own, and with more flags."""
        return replace(
            self,
            values={**self.values, **values},
            grades={**self.grades, **grades},
            flags=(*self.flags, *flags),
        )

    def between(self, first: np.datetime64, last: np.datetime64) -> Record:
        """The part from `first` to `last`, both included."""
        start, stop = np.searchsorted(self.times, first), np.searchsorted(self.times, last, "right")
        keep = slice(int(start), int(stop))
        return replace(
            self,
            times=self.times[keep],
            values={k: v[..., keep] for k, v in self.values.items()},
            grades={k: g[keep] for k, g in self.grades.items()},
        )


@dataclass(frozen=True)
class NearbySoil:
    """Soil measured at a public station: its air, rain and soil at 5 cm, at its own place.

    Attributes
    ----------
    station
        As its network names it.
    record
        Daily; soil that no sound probe can have measured is missing.
    distance_km
        From the site.
    above_m
        Height over the site; None where one of the heights is unknown.
    """

    station: str
    record: Record
    distance_km: float
    above_m: float | None


@dataclass(frozen=True)
class Weather:
    """All the weather one answer rests on.

    `daily` reaches from the first year of record to the end of the forecast; `hourly`, when
    there is any, covers recent days and the forecast. `today` is the local date of the answer:
    days before it are past, today and later are ahead. `nearby` is soil measured at public
    stations around.
    """

    daily: Record
    hourly: Record | None
    today: dt.date
    misses: Misses | None = None  # of the forecast in hand; None: nothing is on record
    nearby: tuple[NearbySoil, ...] = ()

    @property
    def place(self) -> Place:
        """Where."""
        return self.daily.place

    @property
    def today_index(self) -> int:
        """Index of `today` on the daily axis (may equal the length when the record ends before)."""
        return int(np.searchsorted(self.daily.times, np.datetime64(self.today, "D")))


@dataclass(frozen=True)
class Members:
    """The weather ahead as an ensemble that carries on from today.

    Value arrays are ``[member, time]``. Member 0 is the forecast as issued (beyond its reach: the
    median of past years); members 1… are equally likely futures, from which odds are counted.

    Attributes
    ----------
    daily
        From today to the end of the season.
    hourly
        From today's local midnight over the horizon in which hours are ranked (and two days
        more for what must follow); variables nobody forecasts are absent, never invented.
    forecast_days
        How many days from today the issued forecast reaches.
    past_years
        How many different past years the days beyond the forecast rest on.
    year_of
        Which of these stands behind each future, numbered from 0, ``[member]`` without member 0;
        None where there are none.
    """

    daily: Record
    hourly: Record
    forecast_days: int
    past_years: int = 0
    year_of: npt.NDArray[np.int64] | None = None
