"""Soil measured at public stations around a site: what of it is sound, and what is said of it.

Probes that have failed are told by the probes and the air alone: the rules know nothing of the soil
model, so that they cannot flatter it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.phrase import Name, Phrase, Quantity, say
from windowcast.core.record import Flag, FloatArray, Grade, NearbySoil, Place, Record
from windowcast.core.source_flags import remark
from windowcast.core.values import PACKAGED, Tables, load
from windowcast.weather.gaps import filled
from windowcast.weather.quality import streaks

SOIL = "soil_5cm_c"


def screen(
    soil_c: FloatArray, tmax_c: FloatArray, tmin_c: FloatArray
) -> tuple[FloatArray, tuple[dict[str, int], ...]]:
    """Remove what a failed probe gives, by rules on the probes and the air alone.

    Rules (limits in ``data/soil_verify.toml``): a value warmer or colder than the air of the
    days before allows; 5 and 10 cm further apart than heat conduction allows (both removed); a
    change from one day to the next beyond what a soil can do; the same value for many days in
    soil that is not held at 0 °C by freezing.

    Parameters
    ----------
    soil_c
        ``[depth, station, time]`` for 5 and 10 cm.
    tmax_c, tmin_c
        ``[station, time]``.
    """
    limit = load("soil_verify").table("screen")
    days = int(limit.number("air_days"))
    hottest = _trailing(np.fmax, tmax_c, days) + limit.number("above_air_k")
    coldest = _trailing(np.fmin, tmin_c, days) - limit.number("below_air_k")
    apart = np.abs(soil_c[0] - soil_c[1]) > limit.number("apart_k")
    step = np.abs(np.diff(soil_c, axis=-1, prepend=np.nan))
    jump = step > limit.number("jump_k")
    jump[..., :-1] |= jump[..., 1:]
    rules = {
        "air": (soil_c > hottest) | (soil_c < coldest),
        "apart": np.broadcast_to(apart, soil_c.shape),
        "jump": jump,
        "stuck": _stuck(soil_c, int(limit.number("stuck_days")), limit.number("stuck_above_c")),
    }
    kept = np.where(np.any(list(rules.values()), axis=0), np.nan, soil_c)
    counts = tuple(
        {rule: int(hit[:, i].sum()) for rule, hit in rules.items() if hit[:, i].any()}
        for i in range(soil_c.shape[1])
    )
    return kept, counts


def _trailing(choose: np.ufunc, values: FloatArray, days: int) -> FloatArray:
    """Largest or smallest known value of the last `days` days, today included."""
    result = values.copy()
    for lag in range(1, days):
        result[..., lag:] = choose(result[..., lag:], values[..., :-lag])
    return result


def _stuck(soil_c: FloatArray, days: int, above_c: float) -> npt.NDArray[np.bool_]:
    """Runs of at least `days` equal values further than `above_c` from 0 °C."""
    away = np.where(np.abs(soil_c) > above_c, soil_c, np.nan)
    return np.apply_along_axis(streaks, -1, away, days)


def judged_nearby(
    records: Sequence[Record], place: Place, today: dt.date, tables: Tables = PACKAGED
) -> tuple[tuple[NearbySoil, ...], tuple[Flag, ...]]:
    """The stations whose soil can be used, and a remark for each of them and each refused one.

    What a failed probe gives is left out (`screen`). A station most of whose days of late
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
        clean = past.with_variables({SOIL: sound}, {SOIL: grade})
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
