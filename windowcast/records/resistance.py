"""What a season log and a site file know of resistance on a piece of ground.

A test is classed by its survivors. The log by itself raises a suspicion: plants lived on beside
dead ones after several applications of a group in a row, and neither rate, rain, cold nor the size
of the plants explains it. An application that has such an explanation, or after which nobody
looked, tells nothing either way. Only post-emergents can show it so: whether a pre-emergent was
late or lost to resistance, survivors do not tell.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase
from windowcast.core.record import Record
from windowcast.core.site import Site
from windowcast.core.time_axis import day_index
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.actives import Active, Actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.materials.resistance import (
    Resistances,
    ResistanceStatus,
    class_of,
    settled,
    told,
)
from windowcast.records.areas import pieces
from windowcast.records.causes import causes_of, is_bad
from windowcast.records.evidence import Evidence, rate_share
from windowcast.records.ledger import Ledger, is_pre
from windowcast.records.looks import Lookbook, SeenAfter
from windowcast.records.model import Application, FieldNote, ResistanceTest
from windowcast.records.observations import Logged, uses_in

_WEEK = 7


def resistance_of(
    site: Site,
    logged: Logged | None,
    materials: Actives,
    *,
    today: dt.date,
    daily: Record | None = None,
    label_kg_ha: Mapping[str, float] | None = None,
    tables: Tables = PACKAGED,
) -> Resistances:
    """All that is known of resistance on the ground of a site.

    Parameters
    ----------
    logged
        What the log says of that ground; None without a log.
    daily
        Weather record, which may explain survivors; None: nothing is explained by weather.
    label_kg_ha
        Active → rate of active ingredient on the user's own label.

    Raises
    ------
    InputError
        The site file or a test names an active that is not known.
    """
    found: list[Iterable[ResistanceStatus]] = [_declared(site, materials)]
    if logged is not None:
        found.append(classed(logged.tests, materials, tables))
        found.append(
            _suspected(site, logged, materials, today=today, daily=daily,
                       label_kg_ha=label_kg_ha or {}, tables=tables)
        )  # fmt: skip
    statuses = settled([status for some in found for status in some])
    groups = {active.name: group_of(active) for active in materials.values()}
    at_hand = {active.name for tank in materials.at_hand(site.stock) for active in tank}
    used = {name for one in (logged.applications if logged else ()) for name in one.actives}
    asked = frozenset(groups[name] for name in (*at_hand, *used) if name in groups)
    return Resistances(statuses, groups, asked, tables)


@dataclass(frozen=True)
class AreaResistance:
    """What is known of resistance on a piece of ground, and what it says in sentences.

    `areas` are its names; none where the site file names none.
    """

    areas: tuple[str, ...]
    statuses: tuple[ResistanceStatus, ...]
    said: tuple[Phrase, ...]


def resistance_by_area(
    site: Site,
    logged: Logged,
    materials: Actives,
    *,
    today: dt.date,
    daily: Record | None = None,
    label_kg_ha: Mapping[str, float] | None = None,
    tables: Tables = PACKAGED,
) -> tuple[AreaResistance, ...]:
    """The same for each piece of ground of a site, without those of which nothing is to say."""
    found = []
    for piece in pieces(site, logged):
        known = resistance_of(
            piece.site, piece.logged, materials, today=today, daily=daily,
            label_kg_ha=label_kg_ha, tables=tables,
        )  # fmt: skip
        said = told(known, piece.site.weeds, golf=piece.site.turf.use == "golf")
        if said:
            found.append(AreaResistance(piece.areas, known.statuses, said))
    return tuple(found)


def group_of(active: Active) -> int:
    """The mode of action group of an active."""
    return int(float(active.group))


def _declared(site: Site, materials: Actives) -> Iterator[ResistanceStatus]:
    for known in site.resistance:
        try:
            active = materials[known.active] if known.active else None
        except InputError as error:
            raise error.at(field="resistance.active") from None
        group = known.group if active is None else group_of(active)
        assert group is not None  # the site file is refused without
        if active is not None and known.group not in (None, group):
            raise InputError(
                f"{active.name} is of group {group}, not {known.group}", field="resistance.group",
                remedy="correct the active or the group",
            )  # fmt: skip
        yield ResistanceStatus(
            known.weed, group, known.standing, "declared", active.name if active else "",
            mutation=known.mutation,
        )  # fmt: skip


def classed(
    tests: Sequence[ResistanceTest], materials: Actives, tables: Tables = PACKAGED
) -> list[ResistanceStatus]:
    """Each test with its class; one that found only a change of the DNA is resistant."""
    found = []
    for test in tests:
        group = test.group
        try:
            active = materials[test.active] if test.active else None
        except InputError:
            active = None  # no material of ours: the group counts, if it was given
        if active is not None:
            group = group_of(active)
        if group is None:
            continue
        share = None if test.survivors_pct is None else test.survivors_pct / 100
        standing = (
            "resistant" if share is None else class_of(share, test.plants, test.method, tables)
        )
        found.append(
            ResistanceStatus(
                test.weed, group, standing, "tested", active.name if active else "",
                test.timing, test.date, survivors=share, plants=test.plants, mutation=test.mutation,
            )
        )  # fmt: skip
    return found


def _suspected(
    site: Site,
    logged: Logged,
    materials: Actives,
    *,
    today: dt.date,
    daily: Record | None,
    label_kg_ha: Mapping[str, float],
    tables: Tables,
) -> Iterator[ResistanceStatus]:
    """Groups whose last applications left survivors beside dead plants, without other reason."""
    if not any(note.survivors_mixed for note in logged.notes):
        return
    book = Lookbook([*logged.counts, *logged.covers, *logged.notes, *logged.ratings])
    uses = uses_in(logged.applications, materials, southern=site.place.southern)
    ledger = Ledger(
        logged.applications, book, uses, label_kg_ha=label_kg_ha, today=today, tables=tables
    )
    runs: dict[tuple[str, int], list[tuple[Application, SeenAfter, str]]] = {}
    for application in sorted(logged.applications, key=lambda a: a.start):
        members = [materials[name] for name in application.actives if name in materials]
        if not members or len(members) < len(application.actives) or is_pre(application, members):
            continue
        seen = ledger.seen(application, members, pre=False)
        weed = _survived(application, seen, logged.notes)
        worked = seen.survivors_mixed is False or (
            seen.deciding is not None and seen.deciding.level == "worked"
        )
        if weed is None and not worked:
            continue
        evidence = evidence_in(
            application, needs_of(members, str(site.turf.species)), ledger, daily, tables
        )
        if weed is not None and _explained(evidence, seen, tables):
            continue
        for member in members:
            group = group_of(member)
            if weed is not None:
                runs.setdefault((weed, group), []).append((application, seen, member.name))
                continue
            for (other, of), run in runs.items():  # it worked: what went before does not count
                if of == group and application.target in ("", other):
                    run.clear()
    least = int(tables["resistance"].number("pattern.in_a_row"))
    for (weed, group), run in runs.items():
        if len(run) >= least:
            names = {name for _, _, name in run}
            yield ResistanceStatus(
                weed, group, "suspected", "log", names.pop() if len(names) == 1 else "",
                "post", run[-1][1].survivors_on, times=len(run),
            )  # fmt: skip


def _survived(application: Application, seen: SeenAfter, notes: Sequence[FieldNote]) -> str | None:
    """The weed of which plants lived on beside dead ones, "" for one nobody named; None: none."""
    on = seen.survivors_on
    if not seen.survivors_mixed or on is None or not seen.first <= on <= seen.last:
        return None
    named = [note.weed for note in notes if note.date == on and note.survivors_mixed and note.weed]
    return named[-1] if named else application.target


def _explained(evidence: Evidence, seen: SeenAfter, tables: Tables) -> bool:
    """Whether rate, rain, cold, size or uneven coverage is a likely or possible reason."""
    causes = causes_of(evidence, seen, tables)
    return any(is_bad(cause.strength) for cause in causes if cause.name != "resistance")


def evidence_in(
    application: Application,
    needs: ActiveNeeds,
    ledger: Ledger,
    daily: Record | None,
    tables: Tables = PACKAGED,
) -> Evidence:
    """What log and daily weather alone say of a post-emergent, without a model.

    Parameters
    ----------
    daily
        Weather by day; None where there is none.
    """

    def of(name: str, days: slice) -> float:
        """Mean of a daily variable over days from the application on; NaN if one is not known."""
        if daily is None or (values := daily.get(name)) is None:
            return math.nan
        first = day_index(daily.times, application.date)
        if first < 0 or first + days.stop > len(daily.times):
            return math.nan
        return float(np.mean(np.ravel(values)[first + days.start : first + days.stop]))

    that_day, next_day = of("precip_mm", slice(0, 1)), of("precip_mm", slice(1, 2))
    dry = math.inf if that_day + next_day == 0 else math.nan
    week = slice(0, _WEEK)
    near = tables["verdict"].number("stage.near_days")
    counted = [
        count.stage_bbch
        for count in ledger.counts_near(application)
        if count.stage_bbch is not None
        and abs((count.date - application.date).days) <= near
        and application.target in ("", count.weed)
    ]
    air = application.temp_c
    return Evidence(
        pre=False,
        dry_h=dry,
        rain_free_h=needs.rain_free_h,
        rain_that_day=math.isnan(dry) and that_day > 0,
        air_c=of("tmax_c", slice(0, 1)) if air is None else air,
        low_c=needs.temp_low_c,
        good_c=needs.temp_good_c,
        week_c=(of("tmax_c", week) + of("tmin_c", week)) / 2,
        night_c=of("tmin_c", slice(1, 2)),
        night_low_c=needs.night_low_c,
        stage=float(max(counted)) if counted else math.nan,
        stage_counted=bool(counted),
        largest=needs.largest_bbch,
        lost=needs.lost_bbch,
        rate_share=rate_share(application, ledger.label_kg_ha),
        groups=needs.groups,
    )
