"""How a table was understood, in words, for its owner to look at before anything is stored."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import cast

from windowcast.core.phrase import NOTHING, Name, Phrase, Value, names, say
from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES, Record
from windowcast.records.import_export import LogFile
from windowcast.report.catalogue import Voice
from windowcast.report.log_entries import entry_text
from windowcast.report.measures import MEASURES
from windowcast.sources.understood import ColumnRead, Understood
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
    file = record.provenance[0].detail
    ends = {"first": str(record.times[0]), "last": str(record.times[-1])}
    lines = [voice.say(f"understood.{'days' if record.daily else 'hours'}", file=file, **ends)]
    if table is None:
        lines.append(voice.say("understood.no_doubt", values=names(*record.values, join="comma")))
    else:
        lines += understood_lines(table, voice)
    notes = (voice.say("understood.note", text=text) for _, text in remarks(record, voice))
    return [*lines, *notes]


def remarks(record: Record, voice: Voice) -> list[tuple[str, str]]:
    """What reader and checks find in a record: name of the check, and a clause."""
    return [(flag.check, voice.text(flag.text)) for flag in checked(record).flags]


def understood_lines(table: Understood, voice: Voice) -> list[str]:
    """A table of weather as it was understood, a line each."""
    labels = DAILY_VARIABLES if table.daily else HOURLY_VARIABLES
    step = say("understood.a_day") if table.daily else say("understood.an_hour")
    written = names(*map(repr, table.time_columns))
    time = say("understood.date", columns=written)
    if not table.daily:
        time = say("understood.time", columns=written)
    lines = [*layout_lines(table, voice, step), voice.say("understood.columns"), voice.text(time)]
    for column in table.columns:
        lines.append(_column(column, say(f"variable.{column.name}"), voice))
    lines += ignored_lines(table, voice)
    at = table.first_time.replace("T", " ") + ("" if table.daily else ":00 UTC")
    lines.append(voice.say("understood.first_row", row=table.first_row, what=at))
    for name, value in table.first.items():
        shown = _shown(value, labels[name].unit, voice)
        variable = say(f"variable.{name}")
        lines.append(voice.say("understood.value", variable=variable, value=shown).rstrip())
    return lines


def _column(column: ColumnRead, means: Value, voice: Voice) -> str:
    """What a column holds, and in which unit."""
    header, unit = repr(column.header), _UNITS.get(column.unit, column.unit)
    if unit:
        return voice.say("understood.column_in", column=header, variable=means, unit=unit)
    return voice.say("understood.column", column=header, variable=means)


def _shown(value: float, unit: str, voice: Voice) -> str:
    """A value in the reader's units; in the schema's own where people have no other for it."""
    missing = voice.say("understood.missing")
    if unit not in MEASURES:
        return missing if math.isnan(value) else f"{value:g} {_UNITS.get(unit, unit)}".strip()
    row = MEASURES[unit][voice.units]
    number = row.number(value)
    return f"{number} {row.unit}" if number else missing


def log_lines(table: Understood, first: str, voice: Voice) -> list[str]:
    """A table of log entries as it was understood, a line each; `first` is its first entry."""
    lines = [*layout_lines(table, voice), voice.say("understood.columns")]
    lines += (_column(column, Name(column.name), voice) for column in table.columns)
    lines += ignored_lines(table, voice)
    return [*lines, voice.say("understood.first_row", row=table.first_row, what=first)]


def layout_lines(table: Understood, voice: Voice, step: Phrase = NOTHING) -> list[str]:
    """What separates columns and decimals, and how dates and times are read."""
    rows = say("understood.rows", rows=table.rows)
    if step:
        rows = say("understood.rows_of", rows=rows, step=step)
    apart = say(f"understood.delimiter.{_DELIMITERS[table.delimiter]}")
    mark = say(f"understood.mark.{_MARKS[table.mark]}")
    said = [say("understood.layout", rows=rows, delimiter=apart, mark=mark)]
    if table.order:
        said.append(say("understood.dates", order=say(f"understood.order.{table.order}")))
    if table.zone:
        said.append(say("understood.zone", zone=Name(table.zone)))
    return [voice.text(phrase) for phrase in said]


def ignored_lines(table: Understood, voice: Voice) -> list[str]:
    """The columns that are not read; no line where all are."""
    if not table.ignored:
        return []
    columns = names(*map(repr, table.ignored), join="comma")
    return [voice.say("understood.not_read", columns=columns)]


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


def import_lines(read: LogFile, voice: Voice) -> list[str]:
    """How a table was understood, a line each; an export leaves no doubt and has none."""
    if read.understood is None:
        return []
    first = read.revisions[0]
    entry = first.entry
    assert entry is not None
    kind, text = say(f"log_kind.{first.kind}"), entry_text(entry, voice)
    words = voice.say("log.first", kind=kind, day=entry.date, text=text)
    return log_lines(read.understood, words, voice)


def entries_counted(read: LogFile, voice: Voice) -> str:
    """``"1 entry"`` or ``"2 entries"``: versions of entries in the file."""
    return voice.say("log_page.entries", count=len(read.revisions))
