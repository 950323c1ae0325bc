"""Errors of the models drawn for a place: how large they are there, one draw for each future."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from windowcast.core.record import DateArray, Record
from windowcast.core.season_calendar import season_start
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.physics.soil_error import SoilError, mild_and_humid, soil_error
from windowcast.season.errors import ModelErrors
from windowcast.season.model import Substitute
from windowcast.season.soil_doubt import even_scores, soil_doubt
from windowcast.season.unknown_rain import rain_or_usual

BACK_DAYS = 366  # before the season begins, for weeds whose year began before it
YEAR_DAYS = 365.25


def model_errors(
    record: Record,
    codes: Iterable[str],
    dates: DateArray,
    count: int,
    *,
    readings: int = 0,
    substitutes: Sequence[Substitute] = (),
    tables: Tables = PACKAGED,
) -> ModelErrors:
    """Draw the errors of the models for some futures.

    Parameters
    ----------
    record
        Daily values up to yesterday, ``[time]``.
    codes
        EPPO codes of the weeds.
    dates
        Days ahead, ``[day]``; errors of the season's days before them are drawn too.
    count
        Futures, without the forecast as issued.
    readings
        Probe readings that corrected the soil model.
    substitutes
        What stands in for unknown inputs up to the end of the record; the slow part of the soil's
        error carries what they cost.
    """
    place = record.place
    today = dates[0].astype("datetime64[D]").astype(object)
    begins = np.datetime64(season_start(today, southern=place.southern), "D")
    seed = [
        round((place.latitude_deg + 90) * 1e4),
        round((place.longitude_deg + 180) * 1e4),
        int(begins.astype(np.int64)) & 0xFFFFFFFF,
    ]
    soil = soil_doubt(
        np.random.default_rng(seed),
        count,
        begins - np.timedelta64(BACK_DAYS, "D"),
        dates[-1].astype("datetime64[D]"),
        size_at(record, readings, tables["soil"], substitutes),
    )
    clocks = {
        code: even_scores(np.random.default_rng([*seed, *code.encode()]), count) for code in codes
    }
    return ModelErrors(soil, clocks)


def size_at(
    record: Record, readings: int, values: Table, substitutes: Sequence[Substitute] = ()
) -> SoilError:
    """How far the soil model may be off at the place of a record, at its end.

    Parameters
    ----------
    record
        Daily values up to yesterday, ``[time]``.
    readings
        Probe readings that corrected the model.
    values
        As in ``data/soil.toml``.
    substitutes
        As in `model_errors`.
    """
    return soil_error(
        readings,
        humid=_humid(record, values),
        unknown_rain_sd_c=math.hypot(*(found.soil_sd_c for found in substitutes)),
        distance_km=_distance_km(record),
        values=values,
    )


def _distance_km(record: Record) -> float:
    """How far away the air temperature was measured; 0 where that is not known.

    Of several sources the nearest counts: it has the most weight.
    """
    away = [
        p.distance_km
        for p in record.provenance
        if p.distance_km is not None and (not p.variables or "tmax_c" in p.variables)
    ]
    return min(away, default=0.0)


def _humid(record: Record, values: Table) -> bool | None:
    """Whether the climate is mild and humid; None where the record does not tell."""
    rain, air = rain_or_usual(record), (record.get("tmax_c") + record.get("tmin_c")) / 2.0
    month = record.times.astype("datetime64[M]").astype(np.int64) % 12
    days = np.bincount(month[np.isfinite(air)], minlength=12)
    if not days.all() or not np.isfinite(rain).any():
        return None
    known = np.isfinite(air)
    means = np.bincount(month[known], air[known], minlength=12) / days
    return mild_and_humid(float(np.nanmean(rain)) * YEAR_DAYS, float(means.min()), values)
