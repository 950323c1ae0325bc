"""Soil measured at public stations around a site: what of it is sound, and what is said of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.core.phrase import Name, Phrase, Quantity, say
from windowcast.core.record import Flag, Grade, NearbySoil, Place, Record
from windowcast.core.source_flags import remark
from windowcast.core.values import PACKAGED, Tables
from windowcast.weather.gaps import filled
from windowcast.weather.probe_screen import screen

SOIL = "soil_5cm_c"


def judged_nearby(
    records: Sequence[Record], place: Place, today: dt.date, tables: Tables = PACKAGED
) -> tuple[tuple[NearbySoil, ...], tuple[Flag, ...]]:
    """The stations whose soil can be used, and a remark for each of them and each refused one.

    What a failed probe gives is left out (`probe_screen`). A station most of whose days of late
    were left out is refused as a whole; one without soil of late is passed over: that only leaves
    the model as it is.

    Parameters
    ----------
    records
        Daily, of stations at their own places.
    place
        Of the site.
    today
        Days from it on are not looked at.
    tables
        The science values to go by: ``sources``, ``quality`` and ``usual_rain``.
    """
    table = tables["sources"].table("soil_network")
    lately = int(table.number("lately"))
    kept, flags = [], []
    for record in records:
        past = record.between(record.times[0], np.datetime64(today) - np.timedelta64(1, "D"))
        late = past.times >= np.datetime64(today) - np.timedelta64(lately, "D")
        soil = past.get(SOIL)
        both = np.stack([soil, np.full(len(soil), np.nan)])[:, None]
        screened, faults = screen(both, past.get("tmax_c")[None], past.get("tmin_c")[None])
        sound = screened[0, 0]
        known, left = np.isfinite(soil[late]).sum(), np.isfinite(sound[late]).sum()
        if not known:
            continue
        station = record.provenance[0].detail.partition(",")[0]
        if known - left > table.number("refused_share") * known:
            why = say(f"soil_fault.{max(faults[0], key=lambda rule: faults[0][rule])}")
            text = say("flag.soil_refused", station=Name(station), why=why)
            flags.append(remark("soil-refused", text, variable=SOIL))
            continue
        if np.isfinite(sound).sum() < table.number("least_days"):
            continue
        grade = np.where(np.isfinite(sound), past.grade(SOIL), Grade.MISSING).astype(np.uint8)
        clean = replace(
            past, values={**past.values, SOIL: sound}, grades={**past.grades, SOIL: grade}
        )
        near = _near(station, filled(clean, tables), place)
        kept.append(near)
        flags.append(remark("soil-nearby", _told(near), variable=SOIL))
    return tuple(kept), tuple(flags)


def _near(station: str, record: Record, place: Place) -> NearbySoil:
    """The station with its distance and height from a place."""
    there = record.place
    away = distance_km(
        there.latitude_deg, there.longitude_deg, place.latitude_deg, place.longitude_deg
    )
    above = None
    if there.elevation_m is not None and place.elevation_m is not None:
        above = there.elevation_m - place.elevation_m
    return NearbySoil(station, record, float(away), above)


def _told(near: NearbySoil) -> Phrase:
    """How far away and how much higher or lower the soil was measured."""
    station, distance = Name(near.station), Quantity(near.distance_km, "km")
    if near.above_m is None:
        return say("flag.soil_nearby", station=station, distance=distance)
    height = Quantity(abs(near.above_m), "m", "elevation")
    if near.above_m > 0:
        return say("flag.soil_nearby_higher", station=station, distance=distance, height=height)
    return say("flag.soil_nearby_lower", station=station, distance=distance, height=height)
