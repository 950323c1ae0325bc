"""The state of the turf as a limit: what share of the futures a treatment would hurt on a day.

A chance that the turf is hurt is never averaged with anything: above the cap
(``safety.harm_cap`` in ``data/turf.toml``) the answer is no, whatever the weather.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Name, Phrase, Share, say
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table, Value
from windowcast.limits.model import STATE, Limit, Permission
from windowcast.limits.rules import ON_LABEL, cited, permits
from windowcast.limits.treatment import Treatment
from windowcast.materials.label_values import species_key
from windowcast.season.model import SiteState, TurfPhase
from windowcast.season.sightings import CanopyLook

_WINTER = 150  # days for which a sight of live shoots stands until someone looks again
_HURT_IN: dict[str, tuple[TurfPhase, ...]] = {
    "never": (TurfPhase.GROWING, TurfPhase.HARDENING, TurfPhase.DORMANT, TurfPhase.GREENING),
    "semi-dormant": (TurfPhase.GROWING, TurfPhase.GREENING),
    "green": (),
}


@dataclass(frozen=True)
class TurfDays:
    """The turf on days in a row, over its futures.

    Attributes
    ----------
    dates
        ``[day]``.
    phase, safe
        `TurfPhase` codes, and `TurfState.nonselective_safe`, ``[member, day]``; the forecast as
        issued is left out where there are futures.
    injury
        `TurfState.injury_probability`, ``[member, day]``.
    begun
        Chance that green-up has begun this season, ``[day]``.
    dormant, leaf
        Chance that it is fully dormant, and that live leaf is there, ``[day]``; NaN where it cannot
        be told.
    looks
        Dated looks into the canopy.
    """

    dates: DateArray
    phase: FloatArray
    safe: FloatArray
    injury: FloatArray
    begun: FloatArray
    dormant: FloatArray
    leaf: FloatArray
    looks: tuple[CanopyLook, ...] = ()

    @classmethod
    def of(
        cls,
        state: SiteState,
        looks: Sequence[CanopyLook] = (),
    ) -> TurfDays:
        """Of a site's state, with the looks that were logged."""
        turf = state.turf
        return cls(
            state.dates.astype("datetime64[D]"),
            _futures(turf.phase.astype(np.float64)),
            _futures(turf.nonselective_safe),
            _futures(turf.injury_probability),
            _futures(turf.greening_begun).mean(axis=0),
            _futures(turf.dormant_probability).mean(axis=0),
            _futures(turf.green_probability).mean(axis=0),
            tuple(looks),
        )

    def hurt(self, allowed: str, *, greening: Permission) -> tuple[FloatArray, FloatArray]:
        """Shares of the futures in which the turf is hurt, and in which it cannot be told.

        Parameters
        ----------
        allowed
            Greenest state in which it is safe.
        greening
            What turf that is greening up says, where all its other states say yes.

        Returns
        -------
        FloatArray, FloatArray
            ``[day]`` each.
        """
        if allowed == "dormant":
            least = np.nan_to_num(self.injury, nan=0.0).mean(axis=0)
            return least, np.isnan(self.safe).mean(axis=0)
        bad = list(_HURT_IN[allowed])
        if allowed == "green" and greening == "no":
            bad.append(TurfPhase.GREENING)
        hurt = np.isin(self.phase, [int(p) for p in bad])
        unsure = [TurfPhase.UNKNOWN] if bad and allowed != "never" else []
        if allowed == "green" and greening == "cannot tell":
            unsure += [TurfPhase.GREENING, TurfPhase.UNKNOWN]
        unknown = np.isin(self.phase, [int(p) for p in unsure])
        if allowed == "never":
            hurt = np.ones_like(hurt)
        return hurt.mean(axis=0), unknown.mean(axis=0)


@dataclass(frozen=True)
class StateRule:
    """What the state of the turf says of one treatment.

    Attributes
    ----------
    values, turf
        ``data/limits.toml`` and ``data/turf.toml``.
    """

    treatment: Treatment
    species: str
    days: TurfDays
    values: Table
    turf: Table

    def limits(self, count: int) -> list[Limit]:
        """A limit for each of the first `count` days."""
        entry = self.treatment.turf
        if entry is None:
            return [self._no_source("no source")] * count
        allowed = str(entry.value)
        greening, why = self._greening()
        hurt, unknown = self.days.hurt(allowed, greening=greening)
        cap = self.turf.number("safety.harm_cap")
        greening_up = (self.days.phase == TurfPhase.GREENING).mean(axis=0) > cap
        safe = np.flatnonzero(hurt <= cap)
        found = []
        for day in range(count):
            in_greenup = bool(greening_up[day])
            source = why if in_greenup and allowed == "green" else cited(entry)
            if hurt[day] > cap:
                until = _first_after(safe, self.days.dates, day)
                dormant = float(self.days.dormant[day]) if until else math.nan
                if allowed == "dormant" and not in_greenup and self.days.leaf[day] <= cap:
                    reason = self._leaf_to_come()
                else:
                    reason = self._reason(allowed, greening_up=in_greenup, dormant=dormant)
                found.append(self._limit("no", reason, source, until=until, harm=hurt[day]))
            elif not permits(entry):
                found.append(self._no_source(cited(entry)))
            elif hurt[day] + unknown[day] > cap:
                found.append(self._untold(source, greening_up=in_greenup and allowed == "green"))
            else:
                state = say("limit.dormant") if allowed == "dormant" else say("limit.state_takes")
                found.append(self._limit("yes", state, source, harm=hurt[day]))
        return found

    def _limit(
        self,
        answer: Permission,
        reason: Phrase,
        source: str,
        *,
        until: dt.date | None = None,
        remedy: Phrase = NOTHING,
        harm: float | None = None,
    ) -> Limit:
        return Limit(
            STATE, answer, reason, source, self.treatment.name, until, remedy,
            None if harm is None else float(harm),
        )  # fmt: skip

    def _leaf_to_come(self) -> Phrase:
        """Why not on turf that is bare on the day: a look into the canopy could not tell more."""
        margin = int(self.turf.number("safety.margin"))
        return say("limit.leaf_may_come", days=margin, what=self.treatment.spoken)

    def _reason(self, allowed: str, *, greening_up: bool, dormant: float) -> Phrase:
        """Why not; `dormant` is the chance of dormancy of turf that will yet be safe, or NaN."""
        spoken = self.treatment.spoken
        if allowed == "never":
            return say("limit.never_on_species", what=spoken, species=Name(self.species))
        if allowed == "green":
            return say("limit.greening_up")
        if allowed == "dormant" and not greening_up and not math.isnan(dormant):
            return say("limit.not_yet_safe", dormant=Share(dormant), what=spoken)
        if allowed == "dormant" and not greening_up:
            return say("limit.not_surely_dormant", what=spoken)
        if greening_up:
            return say("limit.greening_up_hurts", what=spoken)
        return say("limit.too_green", what=spoken)

    def _untold(self, source: str, *, greening_up: bool) -> Limit:
        if greening_up:
            return self._limit("cannot tell", say("limit.greening_up"), source, remedy=ON_LABEL)
        unknown, look = say("limit.state_unknown"), say("limit.look_and_log")
        return self._limit("cannot tell", unknown, source, remedy=look)

    def _no_source(self, source: str) -> Limit:
        said = say("limit.no_source", species=Name(self.species), what=self.treatment.spoken)
        return self._limit("cannot tell", said, source, remedy=ON_LABEL)

    def _greening(self) -> tuple[Permission, str]:
        """Whether turf that is greening up takes it, and by which source."""
        if self.treatment.post:
            return "no", cited(self.values.value("greening.post"))
        if self.treatment.slows_growth:
            return "cannot tell", cited(self.values.value("greening.slows_growth"))
        value: Value | None = self.values.table("greening.pre").get(species_key(self.species))
        if value is None:
            return "cannot tell", "no source for this species in green-up"
        return ("yes" if value.value == "yes" else "cannot tell"), cited(value)

    def looks(self, count: int) -> list[Limit | None]:
        """Whether someone must have looked into the canopy, and what was seen, by day.

        Asked of what is safe on dormant turf only: from the day on which green-up may have begun
        in a tenth of the futures, and always for grasses that keep live shoots under the straw.
        """
        entry = self.treatment.turf
        if entry is None or str(entry.value) != "dormant":
            return [None] * count
        always: Value | None = self.values.table("look.always").get(species_key(self.species))
        began = self.turf.value("safety.look_from")
        source = cited(began if always is None else always)
        reach = int(self.values.number("look.days"))
        found: list[Limit | None] = []
        for index, date in enumerate(self.days.dates[:count].astype(object).tolist()):
            gone = [look for look in self.days.looks if 0 <= (date - look.date).days < _WINTER]
            latest = max(gone, key=lambda look: (look.date, look.live_shoots), default=None)
            asked = always is not None or not self.days.begun[index] < float(began)
            if latest is not None and not latest.live_shoots and (date - latest.date).days > reach:
                latest = None
            live = latest is not None and latest.live_shoots
            found.append(_look_says(self.treatment, latest, source) if asked or live else None)
        return found


def _futures(rows: FloatArray) -> FloatArray:
    """``[member, day]`` without the forecast as issued, where there are futures."""
    rows = np.atleast_2d(rows)
    return rows[1:] if len(rows) > 1 else rows


def _first_after(where: npt.NDArray[np.intp], dates: DateArray, day: int) -> dt.date | None:
    """The first of some days, given by index in order, that lies after `day`; None: none does."""
    place = int(np.searchsorted(where, day, side="right"))
    return dates[where[place]].astype(object) if place < len(where) else None


def _look_says(treatment: Treatment, look: CanopyLook | None, source: str) -> Limit:
    rule, name, log = "canopy look", treatment.name, "season log"
    if look is None:
        may, part = say("limit.live_shoots_maybe"), say("limit.part_canopy")
        return Limit(rule, "cannot tell", may, source, name, remedy=part)
    if look.live_shoots:
        return Limit(rule, "no", say("limit.live_shoots_seen", day=look.date), log, name)
    return Limit(rule, "yes", say("limit.no_live_shoots", day=look.date), log, name)
