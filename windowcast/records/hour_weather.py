"""The weather of the hour an application was made in, with where each value comes from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields, replace

import numpy as np

from windowcast.core.record import Grade, Record, Weather
from windowcast.records.model import Application, fields_of


@dataclass(frozen=True, slots=True)
class HourWeather:
    """Weather of one hour; None where it is not known. `source` is empty when nothing is."""

    temp_c: float | None
    rh_pct: float | None
    wind_m_s: float | None
    wind_from_deg: float | None
    source: str


_ASKED = {
    field.name: field.asked.filled for field in fields_of("application") if field.asked.filled
}
_FIELDS = {f.name: _ASKED[f.name] for f in fields(HourWeather) if f.name in _ASKED}


def hour_weather(weather: Weather, at: dt.datetime) -> HourWeather:
    """Weather of the hour that holds a time.

    Hours of the record serve when it has them; else air temperature is estimated from the day's
    extremes and the rest stays unknown.
    """
    hour = np.datetime64(at.astimezone(dt.UTC).replace(tzinfo=None), "h")
    for record, how in ((weather.hourly, ""), (_estimated(weather, at), "estimated from the day")):
        if record is None:
            continue
        index = int((hour - record.times[0]).astype(np.int64))
        if not 0 <= index < len(record.times):
            continue
        found = {name: _value(record, name, index) for name in _FIELDS}
        if found["temp_c"] is None:
            continue
        return HourWeather(**found, source=_source(record, found, index, at, how))
    return HourWeather(None, None, None, None, "")


def prefilled(application: Application, weather: Weather) -> Application:
    """An application with its empty weather fields filled from the record, and marked so.

    What the operator entered is never replaced.
    """
    found = hour_weather(weather, application.start)
    fresh = {
        name: getattr(found, name)
        for name in _FIELDS
        if getattr(application, name) is None and getattr(found, name) is not None
    }
    if not fresh:
        return application
    names = ", ".join(_FIELDS[name][0] for name in fresh)
    mark = f"{names} from {found.source}"
    entered = application.weather_source
    if not entered and len(fresh) < sum(getattr(found, name) is not None for name in _FIELDS):
        entered = "the rest as entered"
    source = "; ".join(filter(None, [mark, entered]))
    return replace(application, **fresh, weather_source=source)


def entered_by_operator(application: Application) -> dict[str, float]:
    """Weather values of a log entry that a person entered, without those filled in here."""
    mark = application.weather_source.partition(" from ")[0]
    return {
        name: float(value)
        for name, (label, _) in _FIELDS.items()
        if (value := getattr(application, name)) is not None and label not in mark.split(", ")
    }


def _estimated(weather: Weather, at: dt.datetime) -> Record | None:
    from zoneinfo import ZoneInfo

    from windowcast.weather.hourly import daily_to_hourly

    date = at.astimezone(ZoneInfo(weather.place.timezone)).date()
    day = np.datetime64(date, "D")
    if not weather.daily.times[0] <= day <= weather.daily.times[-1]:
        return None
    return daily_to_hourly(weather.daily, date, 1)


def _value(record: Record, name: str, index: int) -> float | None:
    value = float(record.get(name)[..., index])
    return round(value, _FIELDS[name][1]) if np.isfinite(value) else None


def _source(
    record: Record, found: dict[str, float | None], index: int, at: dt.datetime, how: str
) -> str:
    grades = {
        Grade(int(record.grade(name)[index])).name.lower()
        for name, value in found.items()
        if value is not None
    }
    origins = list(dict.fromkeys(p.detail for p in record.provenance))
    origin = ", ".join(origins) or "the weather record"
    return f"{origin}, the hour from {at:%H}:00 ({how or ' and '.join(sorted(grades))})"
