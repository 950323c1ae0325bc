"""How a table was understood, in words, for its owner to look at before anything is stored."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import cast

from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES, Record
from windowcast.report.catalogue import Voice
from windowcast.report.measures import MEASURES
from windowcast.sources.understood import Understood
from windowcast.sources.written_dates import ORDER_NAMES
from windowcast.weather.quality import checked

_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_MARKS = {".": "point", ",": "comma"}
_UNITS: Mapping[str, str] = {
    "c": "°C", "f": "°F", "°c": "°C", "°f": "°F",
    "m_s": "m/s", "km_h": "km/h", "mj_m2": "MJ/m²", "w_m2": "W/m²",
    "pct": "%", "deg": "°", "hpa": "hPa", "kpa": "kPa", "inhg": "inHg",
}  # fmt: skip


def weather_lines(record: Record, table: Understood | None, voice: Voice) -> list[str]:
    """A weather file: its days or hours, how it was understood, and what the checks find."""
    step = "days" if record.daily else "hours"
    lines = [f"{record.provenance[0].detail}: {step}, {record.times[0]} to {record.times[-1]}"]
    if table is None:
        lines.append(f"Read as {', '.join(record.values)}; this format leaves no doubt.")
    else:
        lines += understood_lines(table, voice)
    return [*lines, *(f"Note: {text}." for _, text in remarks(record, voice))]


def remarks(record: Record, voice: Voice) -> list[tuple[str, str]]:
    """What reader and checks find in a record: name of the check, and a clause."""
    return [(flag.check, voice.text(flag.text)) for flag in checked(record).flags]


def understood_lines(table: Understood, voice: Voice) -> list[str]:
    """A table of weather as it was understood, a line each."""
    labels = DAILY_VARIABLES if table.daily else HOURLY_VARIABLES
    lines = [
        *_layout(table, "a day each" if table.daily else "an hour each"),
        "Columns:",
        f"  {' and '.join(map(repr, table.time_columns))}: {'date' if table.daily else 'time'}",
    ]
    for column in table.columns:
        unit = _UNITS.get(column.unit, column.unit)
        lines.append(f"  {column.header!r}: {labels[column.name].label}{unit and f' ({unit})'}")
    lines += ignored_lines(table)
    values = []
    for name, value in table.first.items():
        values.append(f"{labels[name].label} {_shown(value, labels[name].unit, voice)}")
    time = table.first_time.replace("T", " ") + ("" if table.daily else ":00 UTC")
    lines.append(f"First row (row {table.first_row}): {time}")
    return [*lines, *(f"  {value.strip()}" for value in values)]


def _shown(value: float, unit: str, voice: Voice) -> str:
    """A value in the reader's units; in the schema's own where people have no other for it."""
    if unit not in MEASURES:
        return "missing" if math.isnan(value) else f"{value:g} {_UNITS.get(unit, unit)}".strip()
    row = MEASURES[unit][voice.units]
    number = row.number(value)
    return f"{number} {row.unit}" if number else "missing"


def log_lines(table: Understood, first: str) -> list[str]:
    """A table of log entries as it was understood, a line each; `first` is its first entry."""
    lines = [*_layout(table, ""), "Columns:"]
    for column in table.columns:
        unit = f" ({_UNITS.get(column.unit, column.unit)})" if column.unit else ""
        lines.append(f"  {column.header!r}: {column.name}{unit}")
    lines += ignored_lines(table)
    return [*lines, f"First row (row {table.first_row}): {first}"]


def _layout(table: Understood, rows: str) -> list[str]:
    """What separates columns and decimals, and how dates and times are read."""
    count = f"{table.rows} row{'s' if table.rows != 1 else ''}{rows and ', '}{rows}"
    lines = [
        f"{count}; columns apart by {_DELIMITERS[table.delimiter]}, decimal {_MARKS[table.mark]}."
    ]
    if table.order:
        lines.append(f"Dates are {ORDER_NAMES[table.order]}; years of two digits are 1950 to 2049.")
    if table.zone:
        lines.append(f"Times are on the clock of {table.zone}.")
    return lines


def ignored_lines(table: Understood) -> list[str]:
    """The columns that are not read; no line where all are."""
    return [f"Not read: {', '.join(map(repr, table.ignored))}"] if table.ignored else []


def as_json(table: Understood) -> dict[str, object]:
    """The same as plain values; numbers of the first row in SI, named with their units."""
    return {
        "rows": table.rows,
        "step": None if table.daily is None else "day" if table.daily else "hour",
        "delimiter": table.delimiter,
        "decimal": _MARKS[table.mark],
        "dates": cast("str | None", table.order),
        "zone": table.zone or None,
        "columns": [
            {"header": c.header, "name": c.name, "unit": c.unit or None} for c in table.columns
        ],
        "time_columns": list(table.time_columns),
        "ignored": list(table.ignored),
        "first": {
            "row": table.first_row,
            "as_written": dict(table.first_as_written),
            "time": table.first_time,
            "values": {n: v if math.isfinite(v) else None for n, v in table.first.items()},
        },
    }
