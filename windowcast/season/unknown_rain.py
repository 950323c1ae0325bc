"""What it costs that rain is unknown on some days and usual rain stands in for it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, say
from windowcast.core.record import FloatArray, Grade, Record
from windowcast.core.values import Table, Tables
from windowcast.physics.soil_error import has_humid_rain
from windowcast.season.model import Substitute
from windowcast.weather.rain_filled import CHECK, FILLED

RAIN_DAYS = 7  # of rain that germination looks back on
YEAR_DAYS = 365.25


def rain_or_usual(record: Record) -> FloatArray:
    """Rain as known, else as is usual, ``[..., day]``; NaN where the record has neither."""
    rain = record.get("precip_mm")
    return np.where(np.isnan(rain), record.get(FILLED), rain)


def unknown_week(rain_mm: FloatArray) -> npt.NDArray[np.bool_]:
    """Days whose rain, or that of the six before, is not known, ``[..., day]``.

    What the soil holds then is a guess, and no limit is to rest on it.
    """
    unknown = np.isnan(rain_mm)
    week = unknown.copy()
    for ago in range(1, min(RAIN_DAYS, week.shape[-1])):
        week[..., ago:] |= unknown[..., :-ago]
    return week


def substitute_of(record: Record, *, irrigated: bool, tables: Tables) -> Substitute | None:
    """What stands in for unknown rain up to the end of a record.

    Parameters
    ----------
    record
        Daily. Of futures, ``[member, day]``, nothing is told.
    irrigated
        Whether weeds have water whatever the rain: then their dates cost no more than the soil's.
    tables
        The science values to go by: ``usual_rain``, and of ``soil`` what a humid climate is.

    Returns
    -------
    Substitute or None
        None where all rain of late is known.
    """
    values = tables["usual_rain"]
    unknown = np.isnan(record.get("precip_mm"))
    if unknown.ndim > 1:
        return None
    lately = unknown[-int(values.number("cost.look_back")) :]
    if not lately.any():
        return None
    gridded = unknown & (record.grade(FILLED) == Grade.ESTIMATED)
    origin = _origin(record, gridded[-len(lately) :], lately)
    weeds = 0.0 if irrigated else values.number("cost.weeds")
    soil, dates = 0.0, 0.0
    for source, days in (("grid", gridded), (_usual_origin(record), unknown & ~gridded)):
        cost, share = _cost(record, source, tables), _recent_share(days, values)
        soil += cost.number("soil_sd") ** 2 * share
        dates += max(cost.number("dates"), weeds) ** 2 * share
    return Substitute(
        variable="precip_mm",
        origin=origin,
        days=int(lately.sum()),
        of_days=len(lately),
        none_known=bool(unknown.mean() > values.number("cost.mostly")),
        soil_sd_c=round(float(np.sqrt(soil)), 2),
        date_days=round(float(np.sqrt(dates))),
    )


def note_of(found: Substitute, values: Table) -> Phrase | None:
    """The cost in words; None where it is too small to say. `values`: ``data/usual_rain.toml``."""
    if found.date_days < values.number("cost.least_said"):
        return None
    if found.origin == "grid":
        return say(
            "season_note.grid_rain", days=found.date_days, missing=found.days, whole=found.of_days
        )
    origin = say(f"rain_origin.{found.origin}")
    if found.none_known:
        return say("season_note.no_rain", days=found.date_days, origin=origin)
    return say(
        "season_note.rain_gaps",
        days=found.date_days,
        missing=found.days,
        whole=found.of_days,
        origin=origin,
    )


def _origin(record: Record, gridded: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_]) -> str:
    """Where the rain of most of the days of late without a measurement comes from."""
    return "grid" if 2 * gridded.sum() > unknown.sum() else _usual_origin(record)


def _usual_origin(record: Record) -> str:
    """Where the record's usual rain comes from; a record that has none leaves it to the soil model,
    which goes by the range of the temperature.
    """
    origins = [f.check.removeprefix(CHECK) for f in record.flags if f.check.startswith(CHECK)]
    return next((origin for origin in reversed(origins) if origin != "grid"), "range")


def _cost(record: Record, origin: str, tables: Tables) -> Table:
    rain = rain_or_usual(record)
    known = rain[np.isfinite(rain)]
    humid = len(known) > 0 and has_humid_rain(float(known.mean()) * YEAR_DAYS, tables["soil"])
    climate = "humid" if humid else "dry"
    return tables["usual_rain"].table(f"cost.{origin}.{climate}")


def _recent_share(unknown: npt.NDArray[np.bool_], values: Table) -> float:
    """Share of days without rain data up to the last one, older days counting less."""
    keep = np.exp(-1.0 / values.number("cost.memory"))
    ago = np.arange(len(unknown))[::-1]
    return float((1 - keep) * (unknown * keep**ago).sum())
