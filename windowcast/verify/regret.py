"""Where following the advice lost against the best dates, and what it said on the day it lost.

Most is said of the one application that lost most: put the advice's day in place of the best one
and leave the rest, and see what falls. Why, the last answer read up to the best day tells: that the
season was not open (soil and emergence curves), that the turf did not take it or nobody could tell
(limits), that no hours were fit as foretold (forecast), or that another day was better (now or
wait).

A picture of such a season shows weeds emerging, residuals, and days that the turf permits.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from windowcast.verify.advice_scores import ADVICE, FORESIGHT
from windowcast.verify.following import Followed, ReadThen
from windowcast.verify.foresight import allowed, watered_in
from windowcast.verify.sprays import Done, Tank
from windowcast.verify.worth import FALL, SPRING, Worlds
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of

SEEN_FROM, SEEN_TO = (8, 1), (5, 31)  # month and day between which a picture lies
WEEK = 7
HALF = 0.5  # of the ground: less is no residual that holds
Dates = Mapping[str, Mapping[str, tuple[str, ...]]]  # who → purpose → ISO dates

Cause = Literal["season", "limits", "unknown", "forecast", "wait", "early", "log", "none"]
_NOTHING: tuple[str, Cause] = ("", "none")
HARDLY = 0.01  # of the weeds: not worth a word


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
    first, last = dt.date(worlds.season, *SEEN_FROM), dt.date(worlds.season + 1, *SEEN_TO)
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
    held = worlds.held(watered_in(worlds, name, tank, date))
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


@dataclass(frozen=True)
class Regret:
    """A season in which the advice did worse than the best dates.

    Attributes
    ----------
    controlled
        Who → share of the season's weeds controlled, winter and summer alike, 0..1.
    lost
        Share of the weeds that hindsight controls more, 0..1.
    purpose, cost
        The application that lost most, and how much by itself, 0..1; "" where none did.
    sprayed, best
        When it went out, and when it best had; None: not at all.
    said
        What the answer said of it when it was last read up to the best day, as of `ReadThen.do`; ""
        where it never was.
    cause
        "season": not open that day by the models; "limits": the turf did not take it; "unknown":
        nobody could tell; "forecast": no fit hours were foretold; "wait": the answer named another
        day; "early": it had gone out before, or hindsight does without it; "log": it was done by
        the log; "none": lost little.
    dates
        Who → purpose → ISO dates.
    seen
        What a picture of it shows; None where that was not worked out.
    """

    station: str
    season: int
    controlled: Mapping[str, float]
    lost: float
    purpose: PurposeName | Literal[""]
    cost: float
    sprayed: dt.date | None
    best: dt.date | None
    said: str
    cause: Cause
    dates: Mapping[str, Mapping[str, tuple[str, ...]]]
    seen: SeasonSeen | None = None

    def as_json(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {
            "station": self.station,
            "season": self.season,
            "controlled": {who: round(share, 3) for who, share in self.controlled.items()},
            "lost": round(self.lost, 3),
            "purpose": self.purpose,
            "cost": round(self.cost, 3),
            "sprayed": None if self.sprayed is None else self.sprayed.isoformat(),
            "best": None if self.best is None else self.best.isoformat(),
            "said": self.said,
            "cause": self.cause,
            "dates": {who: dict(dates) for who, dates in self.dates.items()},
            **({} if self.seen is None else {"seen": self.seen.as_json()}),
        }


def dates_of(done: Sequence[Done]) -> dict[str, tuple[str, ...]]:
    """Purpose → ISO dates of what went out for it."""
    return {
        name: tuple(d.applied.date.isoformat() for d in done if d.applied.purpose == name)
        for name in PURPOSES
        if any(d.applied.purpose == name for d in done)
    }


def regret_of(lived: Followed, by: Mapping[str, Sequence[Done]], worlds: Worlds) -> Regret:
    """What a season lost, and on which application.

    Parameters
    ----------
    lived
        The follower's season.
    by
        Who → what went out.
    """
    share = {who: controlled_alike(worlds, done) for who, done in by.items()}
    best, own = by[FORESIGHT], by[ADVICE]
    lost = share[FORESIGHT] - share[ADVICE]
    costs = {
        name: share[FORESIGHT] - controlled_alike(worlds, _swapped(best, own, name))
        for name in PURPOSES
    }
    worst = max(costs, key=lambda name: costs[name])
    told_none = costs[worst] < HARDLY
    sprayed, when = _first(own, worst), _first(best, worst)
    said, cause = _NOTHING if told_none else _cause(lived.told, worst, sprayed, when)
    return Regret(
        worlds.place.name,
        worlds.season,
        share,
        lost,
        "" if told_none else worst,
        costs[worst],
        None if told_none else sprayed,
        None if told_none else when,
        said,
        cause,
        {who: dates_of(done) for who, done in by.items()},
    )


def controlled_alike(worlds: Worlds, done: Sequence[Done]) -> float:
    """Share of winter and summer weeds alike, 0..1; of a place without curves of one, the other."""
    shares = (worlds.controlled(done, season).mean() for season in (FALL, SPRING))
    return float(np.mean([share for share in shares if np.isfinite(share)] or [np.nan]))


def _swapped(best: Sequence[Done], own: Sequence[Done], name: PurposeName) -> tuple[Done, ...]:
    """The best dates, but one application as it was."""
    kept = [d for d in best if d.applied.purpose != name]
    kept += [d for d in own if d.applied.purpose == name]
    return tuple(sorted(kept, key=lambda d: d.start))


def _first(done: Sequence[Done], name: PurposeName) -> dt.date | None:
    return next((d.applied.date for d in done if d.applied.purpose == name), None)


def _cause(
    told: Sequence[ReadThen], name: PurposeName, sprayed: dt.date | None, best: dt.date | None
) -> tuple[str, Cause]:
    """What the answer last said up to the best day, and so why it was not taken."""
    if best is None or (sprayed is not None and sprayed < best):
        return "", "early"
    read = [t for t in told if t.purpose == name and t.date <= best]
    said = max(read, key=lambda t: t.date, default=None)
    if said is None:
        return "", "season"
    causes: dict[str, Cause] = {
        "do not spray": "limits",
        "cannot tell": "unknown",
        "wait": "forecast",
        "marginal": "forecast",
        "go": "wait",
        "out of season": "season",
    }
    return said.do, causes.get(said.do, "log")


def causes(regrets: Sequence[Regret]) -> dict[str, dict[str, float]]:
    """Cause → purpose → share of all that was lost, 0..1."""
    total = sum(max(r.cost, 0.0) for r in regrets) or 1.0
    found: dict[str, dict[str, float]] = {}
    for one in regrets:
        if one.cause != "none":
            own = found.setdefault(one.cause, {})
            own[one.purpose] = own.get(one.purpose, 0.0) + one.cost / total
    return {
        cause: {name: round(own[name], 4) for name in sorted(own, key=lambda n: -own[n])}
        for cause, own in sorted(found.items(), key=lambda item: -sum(item[1].values()))
    }
