"""The season that today lies in, as seen ahead: built once for an answer and handed down."""

from __future__ import annotations

import datetime as dt
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase
from windowcast.core.record import FloatArray, Members, Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.limits.ground import ground_of
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.weather.rain_filled import told_rain_mm
from windowcast.windows.cover_plan import Season, season_of
from windowcast.windows.opening import Opening
from windowcast.windows.purposes import Purpose
from windowcast.windows.residual import Laying
from windowcast.windows.season_axis import SeasonAxis


@dataclass(frozen=True)
class RunningSeason:
    """The season of an answer; ranking, plan and jobs share what is worked out on it.

    Attributes
    ----------
    past, ahead
        State of the site up to yesterday, and from today on for each member.
    daily
        The record up to today and beyond; None where only the futures are known: no cover is told.
    """

    site: Site
    past: SiteState
    ahead: SiteState
    members: Members
    axis: SeasonAxis
    daily: Record | None = None
    _openings: dict[Hashable, Opening] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def of(
        cls,
        site: Site,
        past: SiteState,
        ahead: SiteState,
        members: Members,
        *,
        daily: Record | None = None,
        tables: Tables = PACKAGED,
    ) -> RunningSeason:
        """From the state up to yesterday and that of the days ahead."""
        axis = SeasonAxis.of(
            past,
            ahead,
            southern=site.place.southern,
            overseeded=ground_of(site).overseeded,
            year_of=members.year_of,
            tables=tables,
        )
        return cls(site, past, ahead, members, axis, daily)

    @property
    def tables(self) -> Tables:
        """The science values to go by."""
        return self.axis.tables

    @property
    def today(self) -> dt.date:
        """The day of the answer."""
        today: dt.date = self.ahead.dates[0].astype("datetime64[D]").astype(object)
        return today

    def opening(self, purpose: Purpose, needs: ActiveNeeds) -> Opening:
        """When a purpose opens and closes with some actives."""
        key = (purpose.name, needs.names, needs.formulation)
        if key not in self._openings:
            self._openings[key] = Opening.of(purpose, needs, self.site, self.axis)
        return self._openings[key]

    @cached_property
    def rain_mm(self) -> FloatArray:
        """Rain on the axis as far as it is told, ``[member, day]``."""
        if self.daily is None:
            raise ValueError("rain on the axis needs the record up to today")
        told = told_rain_mm(self.members, self.site.zone)
        return self.axis.daily(self.daily, "precip_mm", told)

    @property
    def laying(self) -> Laying:
        """On what ground a pre-emergent is laid."""
        return Laying.of(self.site, self.tables["barrier"])

    def season(
        self,
        purpose: Purpose,
        candidates: npt.NDArray[np.bool_] | None = None,
        shut: Sequence[Phrase] = (),
    ) -> Season | None:
        """What a pre-emergent for a purpose meets (`season_of`); None without weeds."""
        none = np.zeros(len(self.axis.dates), dtype=bool)
        spring = int(self.tables["plan"].number("spring_from"))
        return season_of(
            self.axis,
            self.axis.state.weeds_of(purpose.weeds),
            self.rain_mm,
            first=spring if purpose.weeds == "spring" else 0,
            candidates=none if candidates is None else candidates,
            shut=shut,
        )
