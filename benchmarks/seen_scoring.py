"""Results of published trials scored as a replayed season scores any application.

At the nearest station, in the trial's own seasons where the station knows them, else in the
station's last ones, the control of the trial's weed on the day of rating is worked out by
`windowcast.verify.worth`. What trials let expect of an active comes from a fit without the trial's
paper (``data/efficacy_left_out.toml``), so that no result is held against itself.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np
from seen_trials import SeenTrial

from windowcast.core.great_circle import distance_km
from windowcast.core.record import FloatArray, Record
from windowcast.core.site import Site, site_from
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.materials.actives import Actives, load_actives
from windowcast.materials.efficacy import PLUS
from windowcast.season.weeds import weed
from windowcast.verify.as_it_came import AsItCame
from windowcast.verify.as_known import in_its_zone
from windowcast.verify.foresight import watered_in
from windowcast.verify.lived import lived
from windowcast.verify.odds import last_seasons
from windowcast.verify.sprays import Done, Tank, leaf_stage
from windowcast.verify.worth import FALL, Worlds
from windowcast.windows.model import PurposeName
from windowcast.windows.score import Block

WITHIN_KM = 150.0
SEASONS_ELSE = 4  # last seasons that stand for those of a trial without years
HYBRID = "hybrid bermudagrass"

MOST_DAYS = 4  # days of an application that are tried, evenly over those that fit
APART_D = 14  # days between sprays


class Near(NamedTuple):
    """A station near a place, with the worlds of its seasons that are asked for."""

    name: str
    distance_km: float
    worlds: list[Worlds]


@dataclass
class NearStations:
    """Records of stations, and what is worked out for them once.

    Attributes
    ----------
    records
        Daily, with their places.
    within_km
        How far off a station may lie [km].
    """

    records: Sequence[Record]
    within_km: float = WITHIN_KM
    materials: Actives = field(default_factory=load_actives)
    _grounds: dict[tuple[int, str], AsItCame] = field(default_factory=dict)
    _worlds: dict[tuple[int, str, int], Worlds | None] = field(default_factory=dict)

    def near(
        self,
        latitude_deg: float,
        longitude_deg: float,
        seasons: Sequence[int],
        *,
        species: str = HYBRID,
        else_last: bool = True,
    ) -> Near | None:
        """The nearest station that knows one of some seasons, else the nearest that knows any.

        Parameters
        ----------
        seasons
            Years of their 1 July.
        else_last
            Whether a station's last seasons may stand for them.
        """
        places = np.array([(r.place.latitude_deg, r.place.longitude_deg) for r in self.records])
        far = distance_km(places[:, 0], places[:, 1], latitude_deg, longitude_deg)
        near = [n for n in np.argsort(far, kind="stable").tolist() if far[n] <= self.within_km]
        for last in (False, True) if else_last else (False,):
            for n in near:
                years = last_seasons(self.records[n], SEASONS_ELSE) if last else seasons
                worlds = [w for year in years if (w := self._of(n, species, year)) is not None]
                if worlds:
                    return Near(self.records[n].place.name, float(far[n]), worlds)
        return None

    def _of(self, index: int, species: str, season: int) -> Worlds | None:
        key = (index, species, season)
        if key not in self._worlds:
            record = self.records[index]
            came = lived(record, season)
            self._worlds[key] = None if came is None else Worlds.of(self._on(index, species), came)
        return self._worlds[key]

    def _on(self, index: int, species: str) -> AsItCame:
        if (index, species) not in self._grounds:
            record = in_its_zone(self.records[index])
            ground = AsItCame.of(record, _site(record, species), self.materials)
            self._grounds[index, species] = ground
        return self._grounds[index, species]


def _site(record: Record, species: str) -> Site:
    """Mature turf, irrigated, not overseeded."""
    place = record.place
    return site_from(
        {
            "name": "trial", "timezone": place.timezone,
            "latitude": float(place.latitude_deg), "longitude": float(place.longitude_deg),
            "weeds": ["POAAN", "DIGIS", "DIGSA"],
            "turf": {
                "species": species, "overseeded": False, "mature": True, "irrigated": True,
            },
        }
    )  # fmt: skip


@dataclass(frozen=True)
class ScoredTrial:
    """A result beside the scoring.

    Attributes
    ----------
    control
        Of its weed on the day of rating, ``[season · world]``, 0..1.
    stage_bbch
        Of the middle plant that the application meets; NaN where none has emerged.
    """

    trial: SeenTrial
    station: str
    distance_km: float
    seasons: tuple[int, ...]
    control: FloatArray
    stage_bbch: float

    @property
    def scored(self) -> float:
        """Mean control."""
        return float(self.control.mean())

    @property
    def missed(self) -> float:
        """Scored less seen, 0 within the bounds of what was seen."""
        return beyond(self.scored, self.trial.low, self.trial.high)


def beyond(value: float, low: float, high: float) -> float:
    """How far a value lies above (positive) or below two ends, 0 within."""
    return max(value - high, 0.0) - max(low - value, 0.0)


@dataclass
class Scorer:
    """Trials scored at stations; tables without a paper are made once.

    Attributes
    ----------
    left_out
        Whether what trials let expect comes from other papers alone.
    """

    stations: NearStations
    left_out: bool = True
    _tables: dict[str, Tables] = field(default_factory=dict)

    def scored(self, trial: SeenTrial) -> ScoredTrial | str:
        """A result scored, or why it is not."""
        if math.isnan(trial.latitude_deg + trial.longitude_deg):
            return "no place"
        tables = self.tables(trial)
        if not _tested(trial, tables["efficacy"]):
            return "no trial says what it controls of this weed"
        near = self.stations.near(trial.latitude_deg, trial.longitude_deg, trial.seasons)
        if near is None:
            return f"no station within {self.stations.within_km:g} km knows a season"
        known = [w for w in near.worlds if _emerges(w, trial.weed)]
        if not known:
            return "no curve of the weed's emergence there"
        control = np.concatenate([controlled(_by(w, tables), trial) for w in known])
        seasons = tuple(w.season for w in known)
        stage = float(np.mean([stage_met(w, trial) for w in known]))
        return ScoredTrial(trial, near.name, near.distance_km, seasons, control, stage)

    def tables(self, trial: SeenTrial) -> Tables:
        """The tables to score a trial by; actives without a full rate have one."""
        key = "|".join((trial.paper, *trial.actives))
        if key not in self._tables:
            table, others = PACKAGED["efficacy"], PACKAGED["efficacy_left_out"]
            if self.left_out and trial.paper in others:
                table = others.table(trial.paper).over(table)
            materials = self.stations.materials
            full = {name: _usual(materials, name) for name in trial.actives}
            taken = Table("efficacy", {"full_rate": full})
            self._tables[key] = Tables({"efficacy": table.over(taken)})
        return self._tables[key]


def controlled(worlds: Worlds, trial: SeenTrial) -> FloatArray:
    """Control of a trial's weed on the day of rating in a season, ``[world]``, 0..1.

    Of what has emerged by then; the mean over some days of the trial that are fit for spraying.
    """
    code, purpose = trial.weed, _purpose(worlds, trial)
    tank = tank_of(trial, worlds.ground.materials, worlds.tables["efficacy"])
    rated = (trial.rated_on(worlds.season) - dt.date(worlds.season, 7, 1)).days
    up = worlds.came.emerging[code][:, :rated]
    found = []
    for first in _days(worlds, trial, purpose):
        left = np.ones_like(up)
        for n in range(trial.sprays):
            date = first + dt.timedelta(days=APART_D * n)
            left = left * worlds.survive(_done(worlds, purpose, tank, date))[code][:, :rated]
        found.append(1.0 - (up * left).sum(axis=-1) / up.sum(axis=-1))
    return np.asarray(np.clip(np.mean(found, axis=0), 0.0, 1.0))


def stage_met(worlds: Worlds, trial: SeenTrial) -> float:
    """BBCH stage of the middle plant that the application meets, NaN where none has emerged."""
    entry, code = weed(trial.weed, worlds.tables), trial.weed
    found = []
    for date in _days(worlds, trial, _purpose(worlds, trial)):
        day = worlds.index(date)
        up = worlds.came.emerging[code][:, :day].mean(axis=0)
        if up.sum() > 0:
            stages = leaf_stage(worlds.came.leaf_time[code], day, entry)
            order = np.argsort(stages)
            found.append(stages[order][np.searchsorted(np.cumsum(up[order]), up.sum() / 2)])
    return float(np.mean(found)) if found else math.nan


def tank_of(trial: SeenTrial, materials: Actives, efficacy: Table) -> Tank:
    """Actives with their rates [kg ha-1]; the full ones where the source gives none."""
    given = trial.rate_kg_ha
    if len(trial.actives) == 1 and not math.isnan(given):
        return ((materials[trial.actives[0]].name, given),)
    full = efficacy.table("full_rate")
    return tuple((materials[name].name, full.number(name)) for name in trial.actives)


def _days(worlds: Worlds, trial: SeenTrial, purpose: PurposeName) -> list[dt.date]:
    """Some of a trial's days: those fit for spraying, all where none is."""
    first, last = trial.days(worlds.season)
    every = [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]
    workable = worlds.hours.workable(purpose, trial.actives)
    fit = [day for day in every if day in workable] or every
    at = np.unique(np.linspace(0, len(fit) - 1, MOST_DAYS + 2).round().astype(int)[1:-1])
    return [fit[n] for n in at.tolist()]


def _done(worlds: Worlds, purpose: PurposeName, tank: Tank, date: dt.date) -> Done:
    """An application in the best hours of a day; about noon where none are fit."""
    names = [name for name, _ in tank]
    applied = watered_in(worlds, purpose, tank, date)
    block: Block | None = worlds.hours.workable(purpose, names).get(date)
    if block is not None:
        return Done(applied, *worlds.hours.span(block))
    start = dt.datetime.combine(date, dt.time(11), worlds.site.zone)
    return Done(applied, start, start + dt.timedelta(hours=2))


def _purpose(worlds: Worlds, trial: SeenTrial) -> PurposeName:
    if trial.timing == "pre":
        return "pre-fall" if weed(trial.weed, worlds.tables).season == FALL else "pre-spring"
    dormant = worlds.hours.needs(trial.actives).turf_state == "dormant"
    return "dormant" if dormant else "post-early"


def _by(worlds: Worlds, tables: Tables) -> Worlds:
    """The same season and draws with another table of what trials let expect."""
    return replace(worlds, ground=replace(worlds.ground, tables=tables), _survive={})


def _tested(trial: SeenTrial, efficacy: Table) -> bool:
    """Whether some trial has the weed with an active of the tank, sprayed or as a pre-emergent."""
    cells = [efficacy.get(f"{timing}.{trial.weed}", {}) for timing in ("pre", "post")]
    tank = set(trial.actives)
    return any(tank >= set(name.split(PLUS)) for on in cells for name in on)


def _emerges(worlds: Worlds, code: str) -> bool:
    """Whether a weed has a curve in a season."""
    return code in worlds.came.emerging and not np.isnan(worlds.came.emerging[code]).any()


def _usual(materials: Actives, name: str) -> Mapping[str, Any]:
    """A full rate for the fit's table: the label's usual one, else 1."""
    usual = materials[name].usual_kg_ha
    value = 1.0 if usual is None else float(usual)
    return {"value": value, "unit": "kg ha-1", "source": "usual rate", "status": "choice"}
