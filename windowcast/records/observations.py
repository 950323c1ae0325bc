"""What the season log tells the models: readings, counts, green cover, groups used."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.places import reach, same_place
from windowcast.materials.actives import Actives, load_actives
from windowcast.materials.rotation import Use, use_of
from windowcast.physics.soil_site import ProbeReading
from windowcast.records.model import (
    Application,
    CoverReading,
    FieldNote,
    Rating,
    ResistanceTest,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.store import SeasonLog
from windowcast.season.observed import Applied, Observed, most_anywhere
from windowcast.season.scouting import Count
from windowcast.season.sightings import CanopyLook, GreenCover


@dataclass(frozen=True)
class Logged:
    """The entries of a season log that tell something of a site."""

    readings: tuple[SoilReading, ...]
    counts: tuple[ScoutingCount, ...]
    covers: tuple[CoverReading, ...]
    applications: tuple[Application, ...]
    notes: tuple[FieldNote, ...]
    ratings: tuple[Rating, ...] = ()
    tests: tuple[ResistanceTest, ...] = ()

    @classmethod
    def read(
        cls,
        path: str | PathLike[str],
        *,
        until: dt.date | None = None,
        zone: ZoneInfo | None = None,
    ) -> Logged:
        """What a season log holds; with `until` only what was known on the evening of that day.

        With the site's `zone` an application counts for the date on the site's clock, in whatever
        zone it was entered.

        Raises
        ------
        InputError
            There is no log, or it cannot be read.
        """

        def entries(log: SeasonLog, kind: type[E]) -> tuple[E, ...]:
            found = (_on_clock(stored.entry, zone) for stored in log.all(kind))
            return tuple(e for e in found if until is None or e.date <= until)

        with SeasonLog(path, create=False) as log:
            return cls(
                entries(log, SoilReading),
                entries(log, ScoutingCount),
                entries(log, CoverReading),
                entries(log, Application),
                entries(log, FieldNote),
                entries(log, Rating),
                entries(log, ResistanceTest),
            )

    def of_area(
        self, area: str, areas: Collection[str], site: str = "", *, alike: Collection[str] = ()
    ) -> Logged:
        """What it says of one area: what is noted for other areas only is left out.

        What was seen or done on all of the area has no place any more, as on a site of one area.
        `area` is "" for a site that names none; `site` is the site's own name. Live shoots seen
        on an area of `alike` are kept, with their place: they forbid here too until someone looks.
        """

        def here(entries: tuple[E, ...]) -> tuple[E, ...]:
            reached = ((entry, reach(entry.where, area, areas, site)) for entry in entries)
            return tuple(
                replace(entry, where="") if of == "whole" else entry
                for entry, of in reached
                if of != "elsewhere"
            )

        shoots = tuple(
            replace(cover, green_pct=None, live_shoots=True)
            for cover in self.covers
            if (cover.live_shoots or cover.green_pct)
            and reach(cover.where, area, areas, site) == "elsewhere"
            and any(reach(cover.where, one, areas, site) == "whole" for one in alike)
        )
        return Logged(
            self.readings, here(self.counts), (*here(self.covers), *shoots),
            here(self.applications), here(self.notes), here(self.ratings),
            here(self.tests),
        )  # fmt: skip


def _on_clock(entry: E, zone: ZoneInfo | None) -> E:
    """An application with its start on the site's clock."""
    if zone is None or not isinstance(entry, Application):
        return entry
    return replace(entry, start=entry.start.astimezone(zone))


E = TypeVar(
    "E",
    SoilReading,
    ScoutingCount,
    CoverReading,
    Application,
    FieldNote,
    Rating,
    ResistanceTest,
)


def observed_in(
    path: str | PathLike[str], *, materials: Actives | None = None, southern: bool = False
) -> Observed:
    """What a season log knows of its site as a whole; see `Logged.read` and `observed`."""
    return observed(Logged.read(path), materials or load_actives(), southern=southern)


def probe_readings(logged: Logged) -> tuple[ProbeReading, ...]:
    """The soil readings of a log."""
    return tuple(
        ProbeReading(np.datetime64(r.date, "D"), r.depth_m, r.temp_c, _hour(r.time))
        for r in logged.readings
    )


def observed(logged: Logged, materials: Actives, *, southern: bool) -> Observed:
    """What log entries tell the models.

    Parameters
    ----------
    materials
        To find the groups of the actives used.
    southern
        Whether seasons turn in January.
    """
    return Observed(
        readings=probe_readings(logged),
        counts=tuple(
            Count(c.date, c.weed, c.per_m2, c.frame_m2, c.where)
            for c in logged.counts
            if c.per_m2 is not None
        ),
        green_cover=tuple(
            GreenCover(c.date, c.green_pct / 100)
            for c in logged.covers
            # no green in one place says nothing of the others
            if c.green_pct is not None and (c.green_pct or not c.where)
        ),
        looks=looks_in(logged.covers),
        uses=uses_in(logged.applications, materials, southern=southern),
        applied=tuple(map(_applied, sorted(logged.applications, key=lambda a: a.start))),
        control=tuple(
            (r.date, r.value / 100)
            for r in logged.ratings
            if not r.trial
            and not r.before
            and r.treatment != "untreated"
            and r.measure.casefold().startswith("control")
        ),
        survivors=tuple(n.date for n in logged.notes if n.survivors_mixed),
    )


def _applied(entry: Application) -> Applied:
    return Applied(
        date=entry.date,
        purpose=entry.purpose,
        actives=tuple((material.active, material.rate_kg_ha) for material in entry.materials),
        watered_in_mm=entry.watered_in_mm,
        watered_in_on=entry.watered_in_on,
        where=entry.where,
        whole=not entry.where and not entry.trial,
        plots=_plots_of(entry),
    )


def _plots_of(entry: Application) -> tuple[str, str] | None:
    """Trial and treatment of an application to plots."""
    return (entry.trial, entry.treatment) if entry.trial else None


def looks_in(covers: Sequence[CoverReading]) -> tuple[CanopyLook, ...]:
    """What is known of live shoots, by date.

    Any green is a live shoot. No green at all says nothing: only who parted the canopy can say
    that there was none.
    """
    return tuple(
        CanopyLook(c.date, bool(c.live_shoots or c.green_pct), c.where)
        for c in sorted(covers, key=lambda cover: cover.date)
        if c.live_shoots is not None or c.green_pct
    )


def _hour(time: dt.time | None) -> float | None:
    """Hours since midnight."""
    return None if time is None else time.hour + time.minute / 60


def uses_in(
    applications: Sequence[Application], materials: Actives, *, southern: bool
) -> tuple[Use, ...]:
    """Applications in the terms of rotation; actives that are not known have no group."""
    uses = []
    for application in applications:
        members = []
        for name in application.actives:
            try:
                members.append(materials[name])
            except InputError:
                continue
        if members:
            uses.append(
                use_of(
                    application.date, application.purpose, members,
                    southern=southern, where=application.where,
                )
            )  # fmt: skip
    return tuple(uses)


def applied_kg_ha(
    applications: Sequence[Application], until: dt.date, where: str = ""
) -> dict[str, float]:
    """Active ingredient put out in the 365 days up to a date, by name.

    With `where` only applications to that place, or to no place that was noted, count. NaN where
    an application has no rate: then the total cannot be told. Of a trial the treatment with most
    counts: no plot has had them all.
    """
    first = until - dt.timedelta(days=364)
    found: dict[str, list[tuple[tuple[str, str] | None, float]]] = {}
    for application in applications:
        here = same_place(application.where, where)
        if not here or not first <= application.date <= until:
            continue
        for material in application.materials:
            rate = math.nan if material.rate_kg_ha is None else material.rate_kg_ha
            found.setdefault(material.active, []).append((_plots_of(application), rate))
    return {active: most_anywhere(amounts) for active, amounts in found.items()}
