"""What people saw and did on a site: it corrects the models and spends modes of action."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import EARTH_RADIUS_KM
from windowcast.core.places import plain_name
from windowcast.core.record import FloatArray, NearbySoil, Place, Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.resistance import NO_RESISTANCE, Resistances
from windowcast.materials.rotation import Use
from windowcast.physics.soil import SoilForcing, SoilResult, SoilSite, simulate
from windowcast.physics.soil_site import (
    NEAR_SURFACE_M,
    ProbeReading,
    SiteCorrection,
    fit_site_correction,
)
from windowcast.season.scouting import Count
from windowcast.season.sightings import CanopyLook, GreenCover
from windowcast.season.soil_days import measured, soil_forcing, soil_site
from windowcast.season.soil_kept import SoilModel

SPIN_UP_DAYS = 365
LATE_DAYS = 60  # three times the memory of the drift


@dataclass(frozen=True, slots=True)
class Applied:
    """An application to the ground an answer is about.

    Attributes
    ----------
    purpose
        As noted, "" where it was not.
    actives
        ISO common name and rate [kg a.i. ha-1; None: not noted] of each active ingredient.
    watered_in_mm, watered_in_on
        Irrigation noted for it.
    where
        As noted; "" for all of the site.
    whole
        Whether all of that ground was treated, as far as the note says.
    plots
        Trial and treatment, for an application to plots of a trial; none else.
    """

    date: dt.date
    purpose: str
    actives: tuple[tuple[str, float | None], ...]
    watered_in_mm: float | None = None
    watered_in_on: dt.date | None = None
    where: str = ""
    whole: bool = True
    plots: tuple[str, str] | None = None


def most_anywhere(amounts: Iterable[tuple[tuple[str, str] | None, float]]) -> float:
    """The most of an active that any piece of ground has had, from what was put out.

    Treatments of one trial lie on plots of their own: no plot has had the sum of them. What was
    not put on plots of a trial counts everywhere; so does, to be safe, each other trial, and what
    went to plots of a treatment that is not noted. One treatment is one however it is written.

    Parameters
    ----------
    amounts
        Trial and treatment (None: no trial) and amount [kg a.i. ha-1] of each application; NaN
        where the amount is not known.

    Examples
    --------
    >>> from windowcast.season.observed import most_anywhere
    >>> most_anywhere([(None, 1.0), (("t", "A"), 0.5), (("t", "B"), 0.75), (("t", "A"), 0.5)])
    2.0
    """
    everywhere = 0.0
    trials: dict[str, dict[str, float]] = {}
    for plots, amount in amounts:
        trial, treatment = plots or ("", "")
        if not treatment:
            everywhere += amount
            continue
        on, name = trials.setdefault(trial, {}), plain_name(treatment)
        on[name] = on.get(name, 0.0) + amount
    for on in trials.values():
        everywhere += math.nan if any(map(math.isnan, on.values())) else max(on.values())
    return everywhere


@dataclass(frozen=True)
class Observed:
    """What the season log knows of a site, or of one of its areas."""

    readings: tuple[ProbeReading, ...] = ()
    counts: tuple[Count, ...] = ()
    green_cover: tuple[GreenCover, ...] = ()
    looks: tuple[CanopyLook, ...] = ()  # by date
    uses: tuple[Use, ...] = ()  # past applications, for the rotation of modes of action
    applied: tuple[Applied, ...] = ()  # by date
    control: tuple[tuple[dt.date, float], ...] = ()  # ratings of the ground, 0..1 of weeds gone
    survivors: tuple[dt.date, ...] = ()  # live plants were seen beside dying ones of the same size
    resistance: Resistances = NO_RESISTANCE


def soil_correction(
    record: Record,
    site: Site,
    seen: Observed,
    tables: Tables = PACKAGED,
    *,
    nearby: Sequence[NearbySoil] = (),
    soil_model: SoilModel = simulate,
) -> SiteCorrection | None:
    """Of the soil model, from the site's own probe readings and soil measured nearby.

    Parameters
    ----------
    record
        Daily, up to yesterday.
    nearby
        Stations that measure soil; the model's error there, in their own weather, is taken to the
        site, the less the farther away.
    soil_model
        As in `windowcast.season.state.build`.
    """
    if not seen.readings and not nearby:
        return None
    forcing, soil = soil_forcing(record), soil_site(site, tables=tables)
    plain = soil_model(forcing, soil, depths_m=NEAR_SURFACE_M, state=None, compiled=False)
    moved = [
        reading
        for station in nearby
        for reading in readings_at(station, record, plain.temp_c[:, 0], tables, soil_model)
    ]
    return fit_site_correction(
        plain.temp_c,
        record.times,
        (*seen.readings, *moved),
        hourly_c=_hourly_c(seen.readings, forcing, soil, plain),
        values=tables["soil"],
    )


def _hourly_c(
    readings: Sequence[ProbeReading], forcing: SoilForcing, soil: SoilSite, plain: SoilResult
) -> FloatArray | None:
    """The plain model by the hour, ``[time, hour, 2]``; None where no reading tells its own."""
    if all(reading.hour is None for reading in readings):
        return None
    from windowcast.physics.soil_hourly import hourly_top_c

    by_depth = [hourly_top_c(forcing, soil, plain, depth_m=z) for z in NEAR_SURFACE_M]
    return np.stack(by_depth, axis=-1)


def readings_at(
    station: NearbySoil,
    record: Record,
    model_c: FloatArray,
    tables: Tables = PACKAGED,
    soil_model: SoilModel = simulate,
) -> list[ProbeReading]:
    """What a station nearby says of the model's error, as readings at the site.

    The first year of the station's record is left to the model to forget its start.

    Parameters
    ----------
    record
        Of the site; its dates and place.
    model_c
        The site's model at 5 cm, ``[day]``.
    """
    there, site = station.record, SoilSite(values=tables["soil"])
    run = soil_model(soil_forcing(there), site, depths_m=NEAR_SURFACE_M, state=None, compiled=False)
    error = there.get("soil_5cm_c") - run.temp_c[:, 0]
    at = (there.times - record.times[0]).astype(np.int64)
    good = measured(there, "soil_5cm_c") & np.isfinite(error)  # not what a line bridges
    good &= (at >= 0) & (at < len(record.times))
    day = np.arange(len(error))
    good &= day >= min(SPIN_UP_DAYS, len(error) // 2)
    good &= thinned(len(error) - 1 - day)
    away = _place_km(there.place, record.place, tables)
    depth = NEAR_SURFACE_M[0]
    return [
        ProbeReading(
            there.times[i],
            depth,
            float(model_c[at[i]] + error[i]),
            station=station.station,
            away_km=away,
        )
        for i in np.flatnonzero(good)
    ]


def thinned(ago: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Which days, so many ago, are taken: all of late, of the year before each fifth."""
    return np.asarray((ago < LATE_DAYS) | (ago % 5 == 0))


def _place_km(there: Place, here: Place, tables: Tables) -> tuple[float, float, float]:
    """Where a place lies from another: east, north and up [km], height as distance.

    A height that is not known counts as 100 m.
    """
    up_m = 100.0
    if there.elevation_m is not None and here.elevation_m is not None:
        up_m = there.elevation_m - here.elevation_m
    turn = np.radians((there.longitude_deg - here.longitude_deg + 180) % 360 - 180)
    east = EARTH_RADIUS_KM * turn * np.cos(np.radians(here.latitude_deg))
    north = EARTH_RADIUS_KM * np.radians(there.latitude_deg - here.latitude_deg)
    per_m = tables["sources"].number("archive.height_km_per_100m") / 100.0
    return float(east), float(north), up_m * per_m


def readings_at_5cm_c(
    record: Record, site: Site, readings: Sequence[ProbeReading], tables: Tables = PACKAGED
) -> dict[np.datetime64, float]:
    """Probe readings as daily means at 5 cm, °C, by date; several of one date in the mean.

    From the depth and hour of the reading to the day at 5 cm goes the model's own difference
    between the two, which its error at the place hardly touches.
    """
    if not readings:
        return {}
    forcing, soil = soil_forcing(record), soil_site(site, tables=tables)
    plain = simulate(forcing, soil, depths_m=NEAR_SURFACE_M)
    daily, hourly = plain.temp_c, _hourly_c(readings, forcing, soil, plain)
    found: dict[np.datetime64, list[float]] = {}
    for reading in readings:
        at = int((reading.date - record.times[0]).astype(np.int64))
        if 0 <= at < len(record.times):
            there = daily[at]
            if hourly is not None and reading.hour is not None:
                there = hourly[at, int(reading.hour) % 24]
            off = daily[at, 0] - np.interp(reading.depth_m, NEAR_SURFACE_M, there)
            if np.isfinite(off):
                found.setdefault(reading.date, []).append(reading.temp_c + float(off))
    return {date: sum(some) / len(some) for date, some in found.items()}
