"""Entries of the season log as plain values and back, and the checks on their way in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from functools import cache
from os import PathLike
from typing import Any

from pydantic import TypeAdapter, ValidationError

from windowcast.core.errors import InputError
from windowcast.core.validation import first_problem
from windowcast.records.model import (
    KINDS,
    Application,
    CoverReading,
    E,
    Entry,
    Rating,
    ResistanceTest,
    ScoutingCount,
    fields_of,
    kind_of,
)

EARLIEST = dt.date(1950, 1, 1)  # entries dated before are slips of the pen, such as year 1
_FIRST_ZONE = dt.timezone(dt.timedelta(hours=14))  # where a day begins first on earth


@cache
def _dated(kind: str) -> tuple[str, ...]:
    """The fields of a kind that hold a date or a moment."""
    return tuple(field.name for field in fields_of(kind) if field.type in {"date", "moment"})


@cache
def _adapter(kind: str) -> TypeAdapter[Any]:
    return TypeAdapter(KINDS[kind])


def to_plain(entry: Entry) -> dict[str, Any]:
    """JSON-ready values of an entry; fields at their default are left out."""
    plain: dict[str, Any] = _adapter(kind_of(entry)).dump_python(
        entry, mode="json", exclude_defaults=True
    )
    return plain


def from_plain(
    kind: str,
    plain: Mapping[str, Any],
    *,
    path: str | PathLike[str] | None = None,
    row: int | None = None,
) -> Entry:
    """The entry that plain values stand for, checked.

    Raises
    ------
    InputError
        Unknown kind or field, a missing or impossible value, an application that ends before
        it starts, a count without a number.
    """
    refuse_unknown(kind, path, row)
    try:
        entry: Entry = _adapter(kind).validate_python(dict(plain))
    except ValidationError as error:
        raise first_problem(error, path, row) from None
    problem = _CHECKS[type(entry)](entry) if type(entry) in _CHECKS else None
    if problem:
        raise InputError(problem[1], path=path, row=row, field=problem[0], remedy=problem[2])
    return entry


def refuse_unknown(kind: str, path: str | PathLike[str] | None, row: int | None) -> None:
    """InputError for what is no kind of entry, with a close one."""
    if kind in KINDS:
        return
    from difflib import get_close_matches

    near = get_close_matches(kind, KINDS)
    raise InputError(
        f"{kind!r} is not a kind of log entry" + (f" (close: {near[0]})" if near else ""),
        path=path,
        row=row,
        field="kind",
        remedy=f"use one of {', '.join(KINDS)}",
    )


def checked(entry: E) -> E:
    """The same entry after all checks of `from_plain` and of `check_dates`."""
    result = from_plain(kind_of(entry), to_plain(entry))
    assert isinstance(result, type(entry))
    check_dates(result)
    return result


def latest_today() -> dt.date:
    """The date where the day begins first on earth."""
    return dt.datetime.now(_FIRST_ZONE).date()


def check_dates(
    entry: Entry, *, today: dt.date | None = None, established: dt.date | None = None
) -> None:
    """Refuse a date before `EARLIEST`, more than a day ahead, or before the turf existed.

    Parameters
    ----------
    today
        On the site's clock; without it, `latest_today`.

    Raises
    ------
    InputError
        With the field named.
    """
    today = today or latest_today()
    last = today + dt.timedelta(days=1)
    for field in _dated(kind_of(entry)):
        value = getattr(entry, field)
        if value is None:
            continue
        date = value.date() if isinstance(value, dt.datetime) else value
        if date < EARLIEST:
            raise InputError(
                f"{date} is before {EARLIEST.year}", field=field, remedy="check the year"
            )
        if date > last:
            raise InputError(
                f"{date} lies ahead",
                field=field,
                remedy="log what has happened, not what is planned",
            )
    date = entry.date
    if established is not None and date < established:
        raise InputError(
            f"{date} is before the turf existed (established {established})",
            field="start" if isinstance(entry, Application) else "date",
            remedy="correct the date, or turf.established in the site file",
        )


def _check_application(entry: Application) -> tuple[str, str, str] | None:
    if entry.end is not None and entry.end < entry.start:
        return "end", f"{entry.end} lies before the start", "correct one of the two"
    if entry.watered_in_on is not None and entry.watered_in_on < entry.date:
        return "watered_in_on", "lies before the application", "correct one of the two"
    return None


def _check_count(entry: ScoutingCount) -> tuple[str, str, str] | None:
    if entry.per_m2 is None and entry.cover_pct is None and entry.stage_bbch is None:
        return "per_m2", "nothing was counted", "give a count, a cover or a stage"
    return None


def _check_cover(entry: CoverReading) -> tuple[str, str, str] | None:
    if entry.green_pct is None and entry.live_shoots is None:
        remedy = "give the share of green, or whether live shoots were seen"
        return "green_pct", "nothing was seen", remedy
    if entry.green_pct and entry.live_shoots is False:
        return "live_shoots", f"no, but {entry.green_pct:g} % was green", "correct one of the two"
    return None


def _check_rating(entry: Rating) -> tuple[str, str, str] | None:
    lacking = [name for name in ("plot", "treatment") if entry.trial and not getattr(entry, name)]
    if lacking:
        remedy = "give it, or leave trial empty to rate the place"
        return lacking[0], "is missing for a rating of a trial", remedy
    return None


def _check_resistance(entry: ResistanceTest) -> tuple[str, str, str] | None:
    if not entry.active and entry.group is None:
        return "active", "nothing was tested", "name an active ingredient or a group"
    if entry.survivors_pct is None and not entry.mutation:
        return "survivors_pct", "has no result", "give the share of plants that survived"
    return None


_CHECKS: Mapping[type, Callable[[Any], tuple[str, str, str] | None]] = {
    Application: _check_application,
    ScoutingCount: _check_count,
    Rating: _check_rating,
    CoverReading: _check_cover,
    ResistanceTest: _check_resistance,
}
