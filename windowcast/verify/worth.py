"""What a season's applications were worth: weeds controlled, what was lost, what hurt the turf.

A season is played in many worlds, which differ in what nobody knows: how fast each weed's clock
runs, the soil where no probe measures it, how long residuals last, what each tank does, where the
turf's thresholds lie. They are the same for all who are scored in that season. The weather is the
one that came.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from zlib import crc32

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray, Place, Record, Weather
from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.limits.model import TurfAnswer
from windowcast.materials.efficacy import rate_share_of
from windowcast.season.errors import even_scores
from windowcast.season.observed import Applied
from windowcast.season.turf_safety import Safety, injury_probability
from windowcast.season.weeds import weed
from windowcast.verify.as_it_came import AsItCame, DrawnSeason
from windowcast.verify.hours_came import HoursCame
from windowcast.verify.lived import Lived
from windowcast.verify.sprays import Done, Tank, Worth, leaf_stage, sprayed, stopped
from windowcast.windows.barrier import days_held, watered_in_time
from windowcast.windows.exposure import Barrier
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import Laying, material_of
from windowcast.windows.score import Block

DRAWS = 20
AIR_DAYS = 3  # the day of a spray and those after it whose highs it is taken up in
FALL, SPRING = "fall", "spring"


@dataclass
class Worlds:
    """A season's weeds, residuals and effects in many worlds, and its hours as they came.

    For one ground. What a record owes to no season is in `AsItCame`, which seasons share.
    """

    ground: AsItCame
    season: int
    came: DrawnSeason
    hours: HoursCame
    rain_mm: FloatArray
    tmax_c: FloatArray
    draws: int
    _survive: dict[tuple[object, ...], dict[str, FloatArray]] = field(default_factory=dict)
    _drawn: dict[tuple[str, ...], FloatArray] = field(default_factory=dict)

    @classmethod
    def of(cls, ground: AsItCame, lived: Lived, *, draws: int = DRAWS) -> Worlds:
        """Of a season on a ground.

        Parameters
        ----------
        ground
            The whole record of the place, made once for all its seasons.
        draws
            Worlds.
        """
        came = ground.season(lived.season, draws)
        weather = Weather(lived.daily, lived.hourly, dt.date(lived.season + 1, 7, 1))
        hours = HoursCame.of(
            weather, ground.site, came.state, ground.materials, tables=ground.tables
        )
        rain_mm, tmax_c = (
            _lived(ground.record, lived.daily, came.dates, n) for n in ("precip_mm", "tmax_c")
        )
        return cls(ground, lived.season, came, hours, rain_mm, tmax_c, draws)

    @property
    def station(self) -> str:
        """Name of the place."""
        return self.place.name

    @property
    def site(self) -> Site:
        """The ground."""
        return self.ground.site

    @property
    def place(self) -> Place:
        """Where the weather was measured."""
        return self.ground.record.place

    @property
    def tables(self) -> Tables:
        """The science values to go by."""
        return self.ground.tables

    # --- what is seen on the way -------------------------------------------------------------

    def index(self, date: dt.date) -> int:
        """Days of a date since the season's first.

        Raises
        ------
        ValueError
            It lies outside the season.
        """
        if not dt.date(self.season, 7, 1) <= date <= dt.date(self.season + 1, 6, 30):
            raise ValueError(f"{date} is not in the season of {self.season}")
        return (date - dt.date(self.season, 7, 1)).days

    def green_on(self, date: dt.date) -> bool:
        """Whether a look into the canopy finds live leaf, in the one world that is lived in."""
        world = int(self._rng("turf").integers(len(self.came.leaf)))
        return bool(self.came.leaf[world, self.index(date)])

    def permits(self, tank: Tank, date: dt.date) -> TurfAnswer:
        """What the turf takes of a tank on a date, by the weather that came."""
        return self.hours.turf([name for name, _ in tank])[self.index(date)]

    def plants_left(self, done: Sequence[Done], date: dt.date) -> float:
        """Share of the winter annuals that came up before a date and live on it, in one world.

        NaN where none is up.
        """
        before = [one for one in done if one.applied.date < date]
        left, up = 0.0, 0.0
        for code, emerging in self.emerging(FALL).items():
            cohorts = emerging[0, : max(self.index(date), 0)]
            survive = self.left(before, code)[0, : len(cohorts)]
            left, up = left + float(cohorts @ survive), up + float(cohorts.sum())
        return left / up if up > 0 else math.nan

    def control_seen(self, done: Sequence[Done], date: dt.date) -> float:
        """What a look on a date finds controlled of the winter annuals, 0..1, in one world.

        After a spray on the leaves, of what it met; else of all that would be up. NaN where there
        is nothing to see.
        """
        before = sorted((d for d in done if d.applied.date < date), key=lambda d: d.start)
        if not before or purpose_of(_purpose(before[-1].applied)).barrier:
            return 1.0 - self.plants_left(done, date)
        *others, last = before
        met = self.index(last.applied.date)
        alive, killed = 0.0, 0.0
        for code, emerging in self.emerging(FALL).items():
            plants = emerging[0, :met] * self.left(others, code)[0, :met]
            alive += float(plants.sum())
            killed += float(plants @ (1.0 - self.survive(last)[code][0, :met]))
        return killed / alive if alive > 0 else math.nan

    # --- what came of it ---------------------------------------------------------------------

    def worth(self, done: Sequence[Done]) -> Worth:
        """What applications were worth."""
        answers = [self.permits(one.applied.actives, one.applied.date) for one in done]
        lost = {n: tuple(self._lost(one)) for n, one in enumerate(done)}
        return Worth(
            self.controlled(done, FALL),
            self.controlled(done, SPRING),
            {n: found for n, found in lost.items() if found},
            {n: a.deciding for n, a in enumerate(answers) if a.answer == "no"},
            np.array([self.hurt_chance(one.applied) for one in done]),
        )

    def emerging(self, season: str) -> dict[str, FloatArray]:
        """`DrawnSeason.emerging` of the weeds of "fall" or "spring" that have a curve here."""
        return {
            code: rows
            for code, rows in self.came.emerging.items()
            if weed(code, self.tables).season == season and not np.isnan(rows).any()
        }

    def controlled(self, done: Sequence[Done], season: str) -> FloatArray:
        """Share of a season's weeds controlled, each weed counting alike, ``[draw]``."""
        found = [
            np.clip(1.0 - (emerging * self.left(done, code)).sum(axis=-1), 0.0, 1.0)
            for code, emerging in self.emerging(season).items()
        ]
        return np.mean(found, axis=0) if found else np.full(self.draws, np.nan)

    def left(self, done: Sequence[Done], code: str) -> FloatArray:
        """Share of each day's seedlings of a weed that all applications leave, ``[draw, day]``."""
        left = np.ones((self.draws, len(self.came.dates)))
        for one in done:
            left = left * self.survive(one)[code]
        return left

    def survive(self, done: Done) -> dict[str, FloatArray]:
        """EPPO code → share of each day's seedlings that an application leaves, ``[draw, day]``."""
        applied = done.applied
        purpose, names = _purpose(applied), [name for name, _ in applied.actives]
        kept = self.hours.kept(purpose, names, self.hours.block(done.start, done.end))
        water = (applied.watered_in_mm, applied.watered_in_on)
        key = (applied.date, applied.actives, water, kept)
        if key not in self._survive:
            day, on = np.array([self.index(applied.date)]), self.watered(applied)
            (found,) = self.survivors(applied.actives, day, [kept], rain_mm=on[0], at_once_mm=on[1])
            self._survive[key] = found
        return self._survive[key]

    def survivors(
        self,
        tank: Tank,
        days: npt.NDArray[np.int64],
        kept: Sequence[float],
        *,
        rain_mm: FloatArray,
        at_once_mm: float,
    ) -> list[dict[str, FloatArray]]:
        """As `survive`, of one tank on each of some days.

        Parameters
        ----------
        kept
            Share that rain left where it was put, by day.
        rain_mm
            Rain and later irrigation, ``[day]``.
        at_once_mm
            Irrigation on the day of the application.
        """
        names = tuple(name for name, _ in tank)
        rate = self._rate_share(tank)
        held = self._held(tank, days, rain_mm, at_once_mm)
        found = []
        for n, day in enumerate(days.tolist()):
            air = float(np.nanmean(self.tmax_c[day : day + AIR_DAYS]))
            left = {}
            for code in self.came.emerging:
                scores = self._scores(names, "pre")
                stop = stopped(code, names, rate_share=rate, scores=scores, tables=self.tables)
                rest = 1.0 - kept[n] * stop[:, None] * held[:, n]
                if weed(code, self.tables).season == FALL and day > 0:
                    rest[:, :day] *= 1.0 - kept[n] * self._sprayed(code, names, day, rate, air)
                left[code] = rest
            found.append(left)
        return found

    def held(self, applied: Applied) -> FloatArray:
        """Share of the ground on which an application's residual holds, ``[draw, day]``."""
        rain_mm, at_once = self.watered(applied)
        day = np.array([self.index(applied.date)])
        return self._held(applied.actives, day, rain_mm, at_once)[:, 0]

    def watered(self, applied: Applied) -> tuple[FloatArray, float]:
        """Rain with later irrigation, ``[day]``, and irrigation on the day itself [mm]."""
        given, on = applied.watered_in_mm or 0.0, applied.watered_in_on or applied.date
        later = (on - applied.date).days
        day = self.index(applied.date) + later
        if not given or later <= 0 or day >= len(self.rain_mm):
            return self.rain_mm, given if later == 0 else 0.0
        rain = self.rain_mm.copy()
        rain[day] = np.nan_to_num(rain[day]) + given
        return rain, 0.0

    def hurt_chance(self, applied: Applied) -> float:
        """Chance that an application hurt the turf, over the worlds of its thresholds.

        Of what is only safe on dormant turf: that live leaf was there, or came within the margin.
        """
        names = [name for name, _ in applied.actives]
        day = self.index(applied.date)
        if self.hours.needs(names).turf_state == "dormant":
            return float(np.nan_to_num(self._injured[:, day], nan=1.0).mean())
        answer = self.permits(applied.actives, applied.date)
        if answer.harm is not None:
            return answer.harm
        return 0.0 if answer.answer == "yes" else 1.0

    @cached_property
    def _injured(self) -> FloatArray:
        """1 where a non-selective hurts in a world of the turf's thresholds, ``[world, day]``."""
        safety = Safety.of(self.tables["turf"])
        return injury_probability(self.came.leaf.astype(np.float64), safety)

    def _lost(self, done: Done) -> list[str]:
        applied = done.applied
        purpose, names = _purpose(applied), [name for name, _ in applied.actives]
        block: Block = self.hours.block(done.start, done.end)
        found = list(self.hours.spoilt(purpose, names, block))
        barriers = self._barriers(applied.actives) if purpose_of(purpose).barrier else []
        if barriers:
            rain, at_once = self.watered(applied)
            day = self.index(applied.date)
            reached = [
                float(watered_in_time(rain[None], replace(b, at_once_mm=at_once))[0, day])
                for b in barriers
            ]
            if min(reached) < self.tables["barrier"].number("watered.least"):
                found.append("dry")
        return found

    # --- draws -------------------------------------------------------------------------------

    def _held(
        self,
        tank: Tank,
        days: npt.NDArray[np.int64],
        rain_mm: FloatArray,
        at_once_mm: float,
    ) -> FloatArray:
        """Share of the ground on which the tank's residual holds, ``[draw, application, day]``."""
        held = np.zeros((self.draws, len(days), len(rain_mm)))
        before = np.arange(len(rain_mm)) < days.min(
            initial=len(rain_mm)
        )  # unknown soil then says nothing of it
        soil_c = np.where(before, np.nan_to_num(self.came.soil_c), self.came.soil_c)
        for barrier in self._barriers(tank):
            laid = replace(barrier, at_once_mm=at_once_mm)
            held = np.maximum(held, days_held(soil_c, rain_mm, laid, days))
        return held

    def _barriers(self, tank: Tank) -> list[Barrier]:
        """The residuals that a tank leaves, each in all worlds."""
        on = replace(Laying.of(self.site, self.tables["barrier"]), irrigated=False)
        found = []
        for name, rate in tank:
            material = material_of(self.ground.materials[name])
            if material is not None:
                order = self._rng("residual", name).permutation(self.draws)
                found.append(material.left_by(rate, self.draws, on).of_members(order))
        return found

    def _sprayed(
        self, code: str, names: tuple[str, ...], day: int, rate: float | None, air_c: float
    ) -> FloatArray:
        stages = leaf_stage(self.came.leaf_time[code], day, weed(code, self.tables))
        return sprayed(
            stages,
            code,
            names,
            rate_share=rate,
            air_c=None if math.isnan(air_c) else air_c,
            scores=self._scores(names, "post"),
            tables=self.tables,
        )

    def _rate_share(self, tank: Tank) -> float | None:
        """The lowest rate of a tank as a share of the full one; None where one is not known."""
        shares = [rate_share_of(name, rate, self.tables["efficacy"]) for name, rate in tank]
        known = [share for share in shares if share is not None]
        return min(known) if known and len(known) == len(shares) else None

    def _scores(self, names: tuple[str, ...], timing: str) -> FloatArray:
        """Place of a tank's effect in what trials leave open, one for each world, ``[draw]``."""
        key = (timing, *sorted(names))
        if key not in self._drawn:
            self._drawn[key] = even_scores(self._rng(*key), self.draws)
        return self._drawn[key]

    def _rng(self, *what: str) -> np.random.Generator:
        """Draws of something in this season, alike for all who ask."""
        return np.random.default_rng(
            [*self.ground.seed(self.season), crc32("|".join(what).encode())]
        )


def _lived(record: Record, lived: Record, dates: DateArray, name: str) -> FloatArray:
    """Daily values on a season's dates, as lived; after its end as the record has them."""
    found = record.between(dates[0], dates[-1]).get(name).copy()
    own = lived.between(dates[0], dates[-1]).get(name)
    found[: len(own)] = own
    return found


def _purpose(applied: Applied) -> PurposeName:
    found = next((name for name in PURPOSES if name == applied.purpose), None)
    if found is None:
        raise ValueError(f"{applied.purpose!r} is no purpose")
    return found
