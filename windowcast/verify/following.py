"""A season lived by the advice: each morning what was known is asked, and what it says is done.

The follower reads the answer, sprays where its first line says so and the sky at the hour allows
it, waters in where the ground can be watered, logs it, and looks into the canopy or at the sprayed
weeds where the answer asks for it. What came decides what it was worth (`windowcast.verify.worth`).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from windowcast.core.record import Weather
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.limits.model import refused
from windowcast.materials.actives import Actives
from windowcast.materials.rotation import use_of
from windowcast.programme.answer import Foreseen, answer, foreseen
from windowcast.season.observed import Observed
from windowcast.season.sightings import CanopyLook
from windowcast.verify.followers import Follower, tanks_of
from windowcast.verify.foresight import watered_in
from windowcast.verify.growing_soil import GrowingSoil
from windowcast.verify.lived import Lived
from windowcast.verify.sprays import Done
from windowcast.verify.worth import Worlds
from windowcast.windows.model import PURPOSES, PurposeName, PurposeOutlook, Ranking
from windowcast.windows.score import Rule

FIRST, LAST = (8, 1), (5, 31)  # month and day between which the answer is read
READ_AT_H = 6  # local hour
FUTURES = 30  # a user's answer counts 100
QUIET_DAYS = 7  # the answer is read once a week while the turf takes nothing
IDLE_DAYS = 14  # and after so many at the most while nothing is open
NO_DAY_DAYS = 3  # and after so many where it is, but names no day near
LOOK = ("limit.part_canopy", "limit.look_and_log")  # remedies that send someone to look


@dataclass(frozen=True)
class ReadThen:
    """What the answer said on a morning about an application, where it said to do something."""

    date: dt.date
    purpose: PurposeName
    do: str
    best: dt.date | None
    sprayed: bool


@dataclass(frozen=True)
class Followed:
    """What a follower did in a season.

    Attributes
    ----------
    done
        What went out, by date.
    told
        What was read on each morning of an application in season, for the story of it.
    read
        Mornings on which the answer was read.
    """

    done: tuple[Done, ...]
    told: tuple[ReadThen, ...]
    read: int


@dataclass
class ForeseenMornings:
    """What is foreseen on the mornings of a season, one after the other, for all who follow.

    Attributes
    ----------
    futures
        Counted for the odds.
    compiled
        As in `windowcast.programme.answer.answer`.
    """

    lived: Lived
    tables: Tables = PACKAGED
    futures: int = FUTURES
    compiled: bool = False
    _soil: dict[bool, GrowingSoil] = field(default_factory=dict)
    _today: dict[Hashable, Foreseen] = field(default_factory=dict)

    def foreseen(self, site: Site, weather: Weather, seen: Observed) -> Foreseen:
        """State and futures for a ground, by what was seen on it."""
        wet = bool(site.turf.irrigated)
        key = (weather.today, wet, seen.looks)
        if key not in self._today:
            self._today[key] = foreseen(
                site,
                weather,
                observed=seen,
                futures=self.futures,
                tables=self.tables,
                soil_model=self._soil.setdefault(wet, GrowingSoil()),
                compiled=self.compiled,
            )
        return self._today[key]

    def forget(self) -> None:
        """Let go what was foreseen: the day is over."""
        self._today.clear()


def follow(
    mornings: ForeseenMornings,
    who: Mapping[Follower, Worlds],
    materials: Actives,
    *,
    every_morning: bool = False,
    purposes: Sequence[PurposeName] = PURPOSES,
) -> dict[Follower, Followed]:
    """What followers do in a season, day by day.

    Parameters
    ----------
    who
        With the season on their ground.
    every_morning
        Whether the answer is read on each morning while an application is open; else as people do:
        half-way to the day it names, after three days where it names none, after a week where the
        turf takes nothing.
    purposes
        What is asked for.
    """
    season = mornings.lived.season
    last = dt.date(season + 1, *LAST)
    lives = {
        follower: _Life(mornings, follower, worlds, materials, tuple(purposes))
        for follower, worlds in who.items()
    }
    due = dict.fromkeys(lives, dt.date(season, *FIRST))
    while due:
        today = min(due.values())
        weather = mornings.lived.on(today)
        for follower in [one for one, day in due.items() if day == today]:
            due[follower] = lives[follower].morning(weather, every_morning=every_morning)
        due = {follower: day for follower, day in due.items() if day <= last}
        mornings.forget()
    return {follower: life.so_far() for follower, life in lives.items()}


@dataclass
class _Life:
    """A follower's season as it goes on."""

    mornings: ForeseenMornings
    follower: Follower
    worlds: Worlds
    materials: Actives
    purposes: tuple[PurposeName, ...] = PURPOSES
    done: list[Done] = field(default_factory=list)
    looks: list[CanopyLook] = field(default_factory=list)
    rated: list[tuple[dt.date, float]] = field(default_factory=list)
    told: list[ReadThen] = field(default_factory=list)
    away_until: dict[PurposeName, dt.date] = field(default_factory=dict)
    mornings_read: int = 0

    @property
    def site(self) -> Site:
        """The ground."""
        return self.worlds.site

    def morning(self, weather: Weather, *, every_morning: bool) -> dt.date:
        """Reads the answer and does what it says; when it is read again."""
        ranking, today = self.read(weather), weather.today
        self.mornings_read += 1
        if self.sent_to_look(ranking):
            self.looks.append(CanopyLook(today, self.worlds.green_on(today)))
            ranking = self.read(weather)
        for outlook in ranking.purposes:
            self.act(outlook, today)
        return self.next_morning(ranking, today, every_morning=every_morning)

    def so_far(self) -> Followed:
        """What was done and read."""
        return Followed(tuple(self.done), tuple(self.told), self.mornings_read)

    def observed(self) -> Observed:
        """What the log knows."""
        if not self.follower.keeps_log:
            return Observed()
        applied = tuple(one.applied for one in self.done)
        uses = tuple(
            use_of(
                one.date,
                one.purpose,
                [self.materials[name] for name, _ in one.actives],
                southern=self.site.place.southern,
            )
            for one in applied
        )
        return Observed(
            looks=tuple(self.looks), uses=uses, applied=applied, control=tuple(self.rated)
        )

    def read(self, weather: Weather) -> Ranking:
        """The answer of a morning."""
        seen = self.observed()
        return answer(
            self.site,
            weather,
            found=self.mornings.foreseen(self.site, weather, seen),
            purposes=self.purposes,
            materials=self.materials,
            observed=seen,
            now=dt.datetime.combine(weather.today, dt.time(READ_AT_H), self.site.zone),
            tables=self.mornings.tables,
            in_full=False,
        ).ranking

    def sent_to_look(self, ranking: Ranking) -> bool:
        """Whether the answer waits for somebody to look into the canopy, who then logs it."""
        if not self.follower.keeps_log:
            return False
        if self.looks and self.looks[-1].date == ranking.today:
            return False
        first = [o.turf[0] for o in ranking.purposes if o.in_season and o.turf]
        return any(span.answer == "cannot tell" and span.remedy.id in LOOK for span in first)

    def act(self, outlook: PurposeOutlook, today: dt.date) -> None:
        """What is done about one application on a morning."""
        decided = outlook.decision
        if decided is None:
            return
        if not outlook.in_season:
            self.told.append(ReadThen(today, outlook.purpose, "out of season", None, sprayed=False))
            return
        if decided.do == "look" and self.follower.keeps_log:
            seen = self.worlds.control_seen(self.done, today)
            self.rated += [(today, seen)] if math.isfinite(seen) else []
        best = outlook.windows[0] if outlook.windows else None
        sprayed = False
        if best is not None and self._sprays(outlook, today):
            start = self.workable(best.start, best.end)
            if start is not None:
                self._spray(outlook.purpose, outlook.choices[0].actives, start)
                sprayed = True
        date = None if best is None else best.date
        self.told.append(ReadThen(today, outlook.purpose, decided.do, date, sprayed))

    def _sprays(self, outlook: PurposeOutlook, today: dt.date) -> bool:
        """Whether the first line says so and somebody is there who has not done it already."""
        decided, name = outlook.decision, outlook.purpose
        if decided is None or not (decided.do == "go" and decided.now == "act" and outlook.choices):
            return False
        if not self.follower.keeps_log and self._has_done(name):
            return False
        away = dt.timedelta(self.follower.away_days)
        return not away or today >= self.away_until.setdefault(name, today + away)

    def _has_done(self, name: PurposeName) -> bool:
        return any(one.applied.purpose == name for one in self.done)

    def _spray(self, name: PurposeName, actives: Sequence[str], start: dt.datetime) -> None:
        tables = self.mornings.tables
        stock = tanks_of(self.materials, tables["efficacy"]).values()
        rates = dict(one for tank in stock for one in tank)  # the advice may name any of them
        at = tuple((active, rates[active]) for active in actives)
        end = start + dt.timedelta(hours=Rule.of(tables["criteria"]).shortest_h)
        self.done.append(Done(watered_in(self.worlds, name, at, start.date()), start, end))

    def workable(self, first: dt.datetime, last: dt.datetime) -> dt.datetime | None:
        """The first start between two moments at which the sky lets the sprayer out; None: at none.

        For the shortest useful time no rain falls and the wind stays below the sprayer's limit, as
        whoever stands beside it sees.
        """
        hours = self.mornings.lived.hourly
        need = Rule.of(self.mornings.tables["criteria"]).shortest_h
        begin = np.datetime64(first.astimezone(dt.UTC).replace(tzinfo=None), "h")
        at = max(int((begin - hours.times[0]).astype(np.int64)), 0)
        part = slice(at, at + int((last - first).total_seconds() // 3600))
        fine = hours.get("precip_mm")[part] <= 0  # not where it is unknown
        if self.site.equipment.wind_max_m_s is not None:
            fine &= hours.get("wind_m_s")[part] <= self.site.equipment.wind_max_m_s
        runs = (n for n in range(len(fine) - need + 1) if fine[n : n + need].all())
        return next((first + dt.timedelta(hours=n) for n in runs), None)

    def next_morning(self, ranking: Ranking, today: dt.date, *, every_morning: bool) -> dt.date:
        """When the answer is read again: within two weeks, sooner while something is open or near.

        Half-way to the day on which something opens, a week at least.
        """
        due = [today + dt.timedelta(IDLE_DAYS)]
        for outlook in ranking.purposes:
            job = outlook.job
            if job is not None and not job.open:
                due.append(job.look_from or today)
            elif not self.follower.keeps_log and self._has_done(outlook.purpose):
                continue
            elif outlook.in_season:
                due.append(today + dt.timedelta(1 if every_morning else _patience(outlook, today)))
            elif outlook.opens is not None:
                due.append(today + max((outlook.opens - today) // 2, dt.timedelta(QUIET_DAYS)))
        return min(day for day in due if day > today)


def _patience(outlook: PurposeOutlook, today: dt.date) -> int:
    """Days until someone reads again: half-way to the best day, some where there is none."""
    if outlook.windows:
        return min(max((outlook.windows[0].date - today).days // 2, 1), NO_DAY_DAYS)
    return QUIET_DAYS if refused(outlook.turf) else NO_DAY_DAYS
