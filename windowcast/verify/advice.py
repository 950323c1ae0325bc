"""Does following the advice pay? Whole seasons of stations replayed, and scored by what came.

Each season is lived by the followers of `windowcast.verify.followers`, and beside them by rules
(`windowcast.verify.simple_rules`) and in hindsight (`windowcast.verify.foresight`), all on the same
ground, with the same tanks, and judged by the same draws (`windowcast.verify.worth`).
"""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from typing import Any
from zlib import crc32

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.extras import installed
from windowcast.core.great_circle import distance_km
from windowcast.core.record import Record
from windowcast.materials.actives import Actives, load_actives
from windowcast.verify.advice_scores import ADVICE, FORESIGHT, SeasonScore, tables
from windowcast.verify.as_it_came import AsItCame
from windowcast.verify.as_known import in_its_zone
from windowcast.verify.followers import FOLLOWERS, Follower, by_ground, tanks_of
from windowcast.verify.following import FUTURES, ForeseenMornings, follow
from windowcast.verify.foresight import foresight
from windowcast.verify.issued import Issued
from windowcast.verify.lived import Lived, lived
from windowcast.verify.odds import last_seasons
from windowcast.verify.regret import (
    Regret,
    causes,
    controlled_alike,
    dates_of,
    regret_of,
    season_seen,
)
from windowcast.verify.simple_rules import by_rules
from windowcast.verify.soil import in_south_east
from windowcast.verify.sprays import Done
from windowcast.verify.worth import FALL, SPRING, Worlds
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of

MOST_SPRAYS = 4  # that hindsight may take: as many as there are applications
LEAST_WORTH = 0.001  # of the weeds, that each must bring hindsight
OTHERS_EVERY = 5  # followers other than the first live each fifth season
ISSUED_KM = 60.0  # within which a city's forecasts are taken for a station
ISSUED_DAYS = 0.9  # share of a season's days that they must tell
KNOWN_YEARS = 10  # before a season, that its mornings know of
WORST = 10
NOTES = (
    """Each morning only what was known then is asked: the record up to yesterday, gaps filled once
    for all of it, and a forecast drawn with the errors measured on official ones (docs/odds.md).
    Hours, wind and the hour at which a day's rain fell are borrowed from real days of other
    places, since the stations measure days.""",
    """Controlled: share of the season's annual bluegrass (winter) and large crabgrass (summer), in
    the mean half and half, by the program's own models of emergence, residual and efficacy with
    their doubt drawn, the same draws for everybody. docs/advice.md holds trials beside them.""",
    """Rules go out whatever the turf; days on which it would have been hurt are counted. Within
    limits: only applications that hurt nothing count. Hindsight takes the best days by the same
    scoring, at most four, where the turf and the sky allow it.""",
    """The soil model's fit and some emergence curves have seen some of these stations.""",
)


@dataclass(frozen=True)
class Replay:
    """Which seasons of a station are lived, and by whom.

    Attributes
    ----------
    read
        Gives the station's record, probes included.
    seasons
        Last whole seasons.
    followers
        Who lives them, the first one each.
    others_every
        Followers other than the first live each n-th of them.
    every_morning
        See `windowcast.verify.following.follow`.
    futures
        Counted for the odds of each answer; a user's answer counts 100.
    purposes
        Applications that are asked for and may go out.
    costs
        Active ingredient → what its product costs [money per hectare]; none: not told.
    issued
        Forecasts as issued for cities: where one lies near by and tells a season's days, its misses
        of the high are those of that season, and the rest is drawn.
    error_scale
        Factor of the forecasts' errors, where they are drawn.
    """

    name: str
    read: Callable[[], Record]
    seasons: int = 10
    followers: tuple[Follower, ...] = FOLLOWERS
    others_every: int = OTHERS_EVERY
    every_morning: bool = False
    futures: int = FUTURES
    purposes: tuple[PurposeName, ...] = PURPOSES
    costs: Mapping[str, float] = field(default_factory=dict)
    issued: tuple[Issued, ...] = ()
    error_scale: float = 1.0


@dataclass(frozen=True)
class StationReplayed:
    """What came of a station's seasons."""

    scores: tuple[SeasonScore, ...] = ()
    regrets: tuple[Regret, ...] = ()
    left_out: str = ""  # why none of its seasons could be lived
    as_issued: tuple[int, ...] = ()  # seasons with forecasts as they were issued


def verify_advice(
    replays: Sequence[Replay],
    *,
    processes: int | None = None,
    on_station: Callable[[str, int, int], object] = lambda name, done, of: None,
    on_worst: Callable[[Sequence[Regret]], object] | None = None,
) -> dict[str, Any]:
    """Replay seasons of stations and score who followed the advice against rules and hindsight.

    Parameters
    ----------
    processes
        How many at once; None: as many as there are cores.
    on_station
        Called with each station's name when it is done, how many are and how many there are.
    on_worst
        Called with the worst seasons and what pictures of them show; None: that is not worked out.

    Returns
    -------
    dict
        Ready for JSON: ``grounds`` → follower → region → who → figures with their intervals
        (`windowcast.verify.advice_scores.tables`), ``worst``, ``causes``, ``stations``,
        ``seasons`` (years in which they begin), ``notes``.

    Raises
    ------
    InputError
        No season can be replayed.
    """
    found: list[StationReplayed] = []
    names: list[str] = []
    for name, one in _each(replays, processes or os.cpu_count() or 1):
        found.append(one)
        names.append(name)
        on_station(name, len(found), len(replays))
    scores = [score for one in found for score in one.scores]
    left_out = {name: one.left_out for name, one in zip(names, found, strict=True) if one.left_out}
    if not scores:
        why = next(iter(left_out.values()), "there is no station")
        raise InputError(
            f"no season can be lived again: {why}",
            remedy="give northern stations with daily highs, lows and rain of five whole years",
        )
    regrets = [regret for one in found for regret in one.regrets]
    worst = sorted(regrets, key=lambda r: -r.lost)[:WORST]
    if on_worst is not None:
        seen = [
            regret
            for replay, one in zip(replays, found, strict=True)
            for regret in seen_in(replay, [r for r in one.regrets if r in worst])
        ]
        worst = sorted(seen, key=lambda r: -r.lost)
        on_worst(worst)
    return {
        "grounds": tables(scores),
        "causes": causes(regrets),
        "worst": [regret.as_json() for regret in worst],
        "stations": list(dict.fromkeys(s.station for s in scores)),
        "seasons": sorted({s.season for s in scores}),
        "left_out": left_out,
        "as_issued": {
            name: list(one.as_issued)
            for name, one in zip(names, found, strict=True)
            if one.as_issued
        },
        "notes": [" ".join(note.split()) for note in NOTES],
    }


def _each(replays: Sequence[Replay], processes: int) -> Iterator[tuple[str, StationReplayed]]:
    """The stations as they are done."""
    if processes == 1 or len(replays) == 1:
        for one in replays:
            yield one.name, station_replayed(one)
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        names = (one.name for one in replays)
        yield from zip(names, pool.map(station_replayed, replays), strict=True)


def station_replayed(replay: Replay) -> StationReplayed:
    """Lives the seasons of one station."""
    try:
        record = in_its_zone(replay.read())
    except InputError as error:
        return StationReplayed(left_out=str(error))
    if record.place.southern:
        return StationReplayed(left_out="it lies in the southern hemisphere")
    missing = [name for name in ("tmax_c", "tmin_c", "precip_mm") if name not in record]
    if missing:
        return StationReplayed(left_out=f"it has no {', '.join(missing)}")
    station = ReplayedStation(record, load_actives(), replay.purposes, replay.costs)
    scores: list[SeasonScore] = []
    regrets: list[Regret] = []
    as_issued: list[int] = []
    for season in last_seasons(station.record, replay.seasons):
        came, issued = lived_as_issued(station.known(season), season, replay)
        if came is None:
            continue
        as_issued += [season] if issued else []
        others = (season + crc32(replay.name.encode())) % replay.others_every == 0
        grounds = station.worlds(replay.followers if others else replay.followers[:1], came)
        lives = follow(
            ForeseenMornings(came, futures=replay.futures, compiled=installed("numba")),
            grounds,
            station.materials,
            every_morning=replay.every_morning,
            purposes=replay.purposes,
        )
        for follower, worlds in grounds.items():
            by = {ADVICE: lives[follower].done, **station.beside(follower, came, worlds).done}
            scores += (station.score(who, done, worlds, follower) for who, done in by.items())
            if follower is replay.followers[0] and math.isfinite(controlled_alike(worlds, ())):
                regrets.append(regret_of(lives[follower], by, worlds))
    gaps = "" if scores else "it has too few whole seasons with the years before them"
    return StationReplayed(tuple(scores), tuple(regrets), gaps, tuple(as_issued))


def lived_as_issued(record: Record, season: int, replay: Replay) -> tuple[Lived | None, bool]:
    """A season, and whether its mornings knew forecasts as they were issued for a city near by."""
    place = record.place
    first, last = np.datetime64(f"{season}-08-01"), np.datetime64(f"{season + 1}-06-01")
    for city in replay.issued:
        at = distance_km(
            city.latitude_deg, city.longitude_deg, place.latitude_deg, place.longitude_deg
        )
        days = (city.dates >= first) & (city.dates < last)
        told = np.isfinite(city.high_c[days, 1]).sum() / (last - first).astype(np.int64)
        if float(at) > ISSUED_KM or told < ISSUED_DAYS:
            continue
        try:
            return lived(record, season, issued=city), True
        except InputError:  # its weather is another
            continue
    return lived(record, season, error_scale=replay.error_scale), False


def seen_in(replay: Replay, regrets: Sequence[Regret]) -> list[Regret]:
    """Seasons of a station with what pictures of them show, by the draws that scored them."""
    if not regrets:
        return []
    station = ReplayedStation(in_its_zone(replay.read()), load_actives(), replay.purposes)
    found = []
    for regret in regrets:
        season = regret.season
        came, _ = lived_as_issued(station.known(season), season, replay)
        if came is None:
            raise ValueError(f"the season of {season} was never lived at {replay.name}")
        worlds = Worlds.of(station.ground(replay.followers[0]), came)
        tanks = tanks_of(station.materials, worlds.tables["efficacy"])
        found.append(replace(regret, seen=season_seen(worlds, tanks, regret.dates)))
    return found


@dataclass
class ReplayedStation:
    """One station, with what its followers share."""

    record: Record
    materials: Actives
    purposes: tuple[PurposeName, ...] = PURPOSES
    costs: Mapping[str, float] = field(default_factory=dict)
    _grounds: dict[Follower, AsItCame] = field(default_factory=dict)
    _beside: dict[object, _Beside] = field(default_factory=dict)

    def known(self, season: int) -> Record:
        """The record from some years before a season on."""
        first = np.datetime64(f"{season - KNOWN_YEARS}-07-01", "D")
        return self.record.between(max(first, self.record.times[0]), self.record.times[-1])

    def ground(self, follower: Follower) -> AsItCame:
        """The models run on all the weather that came, on a follower's ground."""
        key = by_ground(follower)
        if key not in self._grounds:
            site = follower.site(self.record.place)
            self._grounds[key] = AsItCame.of(self.record, site, self.materials)
        return self._grounds[key]

    def worlds(self, followers: Sequence[Follower], came: Lived) -> dict[Follower, Worlds]:
        """A season on the ground of each follower; those of one ground share it."""
        found: dict[Follower, Worlds] = {}
        for follower in followers:
            ground = by_ground(follower)
            if ground not in found:
                found[ground] = Worlds.of(self.ground(follower), came)
        return {follower: found[by_ground(follower)] for follower in followers}

    def beside(self, follower: Follower, came: Lived, worlds: Worlds) -> _Beside:
        """What rules and hindsight do on a follower's ground."""
        key = worlds.season, by_ground(follower)
        if key not in self._beside:
            tanks = tanks_of(self.materials, worlds.tables["efficacy"])
            tanks = {name: tank for name, tank in tanks.items() if name in self.purposes}
            done = {
                **by_rules(came, worlds, tanks, known=came.on),
                FORESIGHT: foresight(worlds, tanks, MOST_SPRAYS, least_gain=LEAST_WORTH),
            }
            best = {
                name: foresight(worlds, {name: tank}, 1, least_gain=0.0)
                for name, tank in tanks.items()
            }
            self._beside[key] = _Beside(done, best)
        return self._beside[key]

    def score(
        self, who: str, done: Sequence[Done], worlds: Worlds, follower: Follower
    ) -> SeasonScore:
        """What a season was worth to somebody on a follower's ground."""
        worth, place = worlds.worth(done), worlds.place
        best = self._beside[worlds.season, by_ground(follower)].best
        harmless = [one for n, one in enumerate(done) if n not in worth.hurt]
        single = {
            name: best.get(name, ())
            if who == FORESIGHT
            else tuple(one for one in harmless if one.applied.purpose == name)
            for name in PURPOSES
        }
        costs = self.costs
        return SeasonScore(
            place.name,
            region_of(place.latitude_deg, place.longitude_deg),
            worlds.season,
            follower.name,
            who,
            float(worth.winter.mean()),
            float(worth.summer.mean()),
            len(done),
            Counter(why for causes in worth.lost.values() for why in causes),
            len(worth.hurt),
            float(worth.hurt_chance.sum()),
            sum(costs[name] for one in done for name, _ in one.applied.actives)
            if costs
            else math.nan,
            controlled_alike(worlds, harmless),
            {name: alone(name, some, worlds) for name, some in single.items()},
            dates_of(done),
        )


@dataclass(frozen=True)
class _Beside:
    """What else was done in a season on a ground.

    Attributes
    ----------
    done
        By each rule, and in hindsight.
    best
        Purpose → its best day in hindsight, were it the only application.
    """

    done: Mapping[str, tuple[Done, ...]]
    best: Mapping[PurposeName, tuple[Done, ...]]


def alone(name: PurposeName, done: Sequence[Done], worlds: Worlds) -> float:
    """Share of the weeds that an application is for, were it the only one."""
    season = SPRING if purpose_of(name, worlds.tables).weeds == "spring" else FALL
    return float(worlds.controlled(done, season).mean())


def region_of(latitude_deg: float, longitude_deg: float) -> str:
    """South-east as elsewhere in the checks; the rest by whether it lies south of 36 degrees."""
    if in_south_east(latitude_deg, longitude_deg):
        return "south_east"
    return "south_west" if abs(latitude_deg) < 36.0 else "north"
