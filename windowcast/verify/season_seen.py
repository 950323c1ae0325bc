"""What a picture of a lived season shows: weeds emerging, residuals, days that the turf permits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from windowcast.season.observed import Applied
from windowcast.verify.foresight import allowed, watering_mm
from windowcast.verify.sprays import Tank
from windowcast.verify.worth import FALL, SPRING, Worlds
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of

FIRST, LAST = (8, 1), (5, 31)  # month and day between which a picture lies
WEEK = 7
HALF = 0.5  # of the ground: less is no residual that holds
Dates = Mapping[str, Mapping[str, tuple[str, ...]]]  # who → purpose → ISO dates


@dataclass(frozen=True)
class Residual:
    """First and last day on which a pre-emergent holds on half the ground or more."""

    purpose: PurposeName
    first: dt.date
    last: dt.date


@dataclass(frozen=True)
class SeasonSeen:
    """A season from August to May.

    Attributes
    ----------
    days
        One a week.
    emerged
        EPPO code → share of the weed's season that had emerged at the end of each of them, the
        mean of all draws, 0..1, ``[day]``; a weed without a curve at the place is left out.
    residuals
        Who → what their pre-emergents left.
    permitted
        First and last of days in a row on which the turf permits a dormant application, by the
        weather that came.
    """

    days: tuple[dt.date, ...]
    emerged: Mapping[str, tuple[float, ...]]
    residuals: Mapping[str, tuple[Residual, ...]]
    permitted: tuple[tuple[dt.date, dt.date], ...]

    def emerged_by(self, code: str, date: dt.date) -> float | None:
        """Share of a weed that had emerged by a date; None where it has no curve."""
        if code not in self.emerged:
            return None
        days = [day.toordinal() for day in self.days]
        return float(np.interp(date.toordinal(), days, self.emerged[code]))

    def as_json(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {
            "days": [day.isoformat() for day in self.days],
            "emerged": {
                code: [round(share, 3) for share in found] for code, found in self.emerged.items()
            },
            "residuals": {
                who: [
                    {"purpose": r.purpose, "first": r.first.isoformat(), "last": r.last.isoformat()}
                    for r in found
                ]
                for who, found in self.residuals.items()
            },
            "permitted": [[a.isoformat(), b.isoformat()] for a, b in self.permitted],
        }


def season_seen(worlds: Worlds, tanks: Mapping[PurposeName, Tank], dates: Dates) -> SeasonSeen:
    """What a picture of a season shows.

    Parameters
    ----------
    worlds
        The season on its ground.
    tanks
        What goes out for each purpose; pre-emergents are watered in on the day where the ground
        can be.
    dates
        When it went out.
    """
    first, last = dt.date(worlds.season, *FIRST), dt.date(worlds.season + 1, *LAST)
    every = [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]
    weekly = tuple(every[::WEEK])
    emerged = {}
    for code, rows in {**worlds.emerging(FALL), **worlds.emerging(SPRING)}.items():
        up = np.cumsum(rows.mean(axis=0))
        emerged[code] = tuple(min(float(up[worlds.index(day)]), 1.0) for day in weekly)
    dormant = [day for day in every if allowed(worlds, tanks["dormant"], day)]
    residuals = {
        who: tuple(
            found
            for name in PURPOSES
            if purpose_of(name, worlds.tables).barrier
            for date in own.get(name, ())
            if (found := _residual(worlds, name, tanks[name], dt.date.fromisoformat(date)))
        )
        for who, own in dates.items()
    }
    return SeasonSeen(weekly, emerged, residuals, _in_a_row(dormant))


def _residual(worlds: Worlds, name: PurposeName, tank: Tank, date: dt.date) -> Residual | None:
    water = watering_mm(worlds, name, tank)
    held = worlds.held(Applied(date, name, tank, water, None if water is None else date))
    days = np.flatnonzero(held.mean(axis=0) >= HALF)
    if not len(days):
        return None
    begin = dt.date(worlds.season, 7, 1)
    ends = (begin + dt.timedelta(days=int(day)) for day in (days[0], days[-1]))
    return Residual(name, *ends)


def _in_a_row(days: list[dt.date]) -> tuple[tuple[dt.date, dt.date], ...]:
    """Days as spans without a gap."""
    found: list[tuple[dt.date, dt.date]] = []
    for day in days:
        if found and day - found[-1][1] == dt.timedelta(days=1):
            found[-1] = (found[-1][0], day)
        else:
            found.append((day, day))
    return tuple(found)
