"""What worked on this ground: applications of all seasons by place, purpose and actives."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from windowcast.records.looks import places_of
from windowcast.records.model import Application
from windowcast.records.verdict import Outcome


@dataclass(frozen=True, slots=True)
class Tried:
    """One application for the table: when, and how it went; `up` is NaN where not known."""

    application: Application
    purpose: str
    outcome: Outcome
    up: float


@dataclass(frozen=True, slots=True)
class TrackRecord:
    """One row: the same actives for the same purpose at the same place.

    Attributes
    ----------
    earliest, latest
        The day of the season on which they went out, earliest and latest of all seasons.
    up
        Share of the weeds up on those days, median; NaN where it is not known.
    """

    where: str
    purpose: str
    actives: str
    applications: int
    worked: int
    partly: int
    failed: int
    unknown: int
    earliest: dt.date
    latest: dt.date
    up: float


def what_worked(tried: Iterable[Tried], *, southern: bool) -> tuple[TrackRecord, ...]:
    """The table, places and purposes together, what worked most often first."""
    rows: dict[tuple[str, ...], list[Tried]] = {}
    for one in tried:
        actives = " + ".join(sorted(one.application.actives))
        for place in places_of(one.application.where):
            rows.setdefault((place, one.purpose, actives), []).append(one)
    found = [_record(key, those, southern) for key, those in rows.items()]
    return tuple(
        sorted(found, key=lambda r: (r.where, r.purpose, -r.worked / r.applications, r.actives))
    )


def _record(key: tuple[str, ...], those: list[Tried], southern: bool) -> TrackRecord:
    outcomes = [one.outcome for one in those]
    counted = {name: outcomes.count(name) for name in ("worked", "partly", "failed")}
    dates = sorted(
        (one.application.date for one in those),
        key=lambda day: (day.month - (1 if southern else 7)) % 12 * 31 + day.day,
    )
    up = [one.up for one in those if not math.isnan(one.up)]
    names = {n for one in those for n in one.application.where.replace(";", ",").split(",")}
    where = next((" ".join(n.split()) for n in sorted(names) if places_of(n) == key[:1]), "")
    return TrackRecord(
        where,
        key[1],
        key[2],
        len(those),
        **counted,
        unknown=len(those) - sum(counted.values()),
        earliest=dates[0],
        latest=dates[-1],
        up=median(up) if up else math.nan,
    )
