"""Two to four seasons of jobs laid out in several ways, and what each does to weed and resistance.

A programme is laid out job by job, each tank within yearly maxima and fit for the turf. What it
does is simulated (`windowcast.materials.seed_bank`) with the same draws for all of them. Where a
tank has no published control on the weed, nothing is said of its programme.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from windowcast.core.phrase import Phrase, joined, names, say
from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_name
from windowcast.core.weed_codes import known, weed_name
from windowcast.materials.resistance import already_resistant, surveyed
from windowcast.materials.seed_bank import (
    Strike,
    drawn_control,
    population,
    seasons_until,
    simulate_bank,
)
from windowcast.programme.tanks_ahead import GroundAhead, JobAhead, TankAhead, jobs_ahead
from windowcast.season.observed import Applied
from windowcast.windows.model import PURPOSES, PurposeName

ProgrammeName = Literal["as now", "rotate", "mix", "rotate mixtures"]
DRAWS = 1000
MOST_SEASONS = 4
_INTERVAL = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class Likely:
    """Median with 10 and 90 % over the draws; infinite: beyond the seasons that are looked at."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PlannedJob:
    """One job of a programme; no actives where nothing was found for it.

    `control` is what trials let expect of the whole tank, 0..1; None where no trial is at hand.
    `own` are the names of the user's own trials among them. `unlogged`: what is done now was to be
    repeated, and the log has no such application.
    """

    season: str
    purpose: PurposeName
    about: dt.date
    weed: str
    actives: tuple[str, ...]
    groups: tuple[int, ...]
    control: Likely | None
    own: tuple[str, ...] = ()
    unlogged: bool = field(default=False, compare=False)  # empty like any other


@dataclass(frozen=True, slots=True)
class WeedCourse:
    """What a programme does to one weed.

    Attributes
    ----------
    known
        Whether it can be told; else the other fields are empty.
    control
        Share of each season's plants killed.
    bank
        Seeds in the ground after each season, as a share of today's.
    resistant
        Share of seeds that resist a group used, after the last season planned.
    taken_over
        Seasons until half of the seeds resist a group used, if the programme goes on.
    risk
        Chance of that by each season from now on, as far as they are looked at.
    """

    weed: str
    known: bool
    why: Phrase
    control: tuple[Likely, ...] = ()
    bank: tuple[Likely, ...] = ()
    resistant: Likely | None = None
    taken_over: Likely | None = None
    risk: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class ProgrammeAhead:
    """One way to lay out the seasons; `proposed`: the one to prefer of those compared."""

    name: ProgrammeName
    jobs: tuple[PlannedJob, ...]
    weeds: tuple[WeedCourse, ...]
    proposed: bool = False


@dataclass(frozen=True, slots=True)
class SeasonsAhead:
    """The comparison for a piece of ground; the same `seed` gives the same figures."""

    site: str
    areas: tuple[str, ...]
    today: dt.date
    seasons: tuple[str, ...]
    programmes: tuple[ProgrammeAhead, ...]
    notes: tuple[Phrase, ...]
    draws: int
    seed: int


def seasons_ahead(
    ground: GroundAhead,
    applied: Sequence[Applied],
    today: dt.date,
    *,
    seasons: int = 3,
    purposes: Sequence[PurposeName] = PURPOSES,
    areas: Sequence[str] = (),
    draws: int = DRAWS,
    seed: int = 1,
) -> SeasonsAhead:
    """Lay out the seasons and compare programmes.

    Parameters
    ----------
    applied
        What the log says was put out on the ground, by date.
    seasons
        How many, from the running one on.
    purposes
        The jobs of each season.
    """
    southern = ground.site.place.southern
    watched = _weeds_of(ground.site.weeds)
    leading = {of: weeds[0] for of, weeds in watched.items()}
    jobs = jobs_ahead(
        purposes, leading, today, seasons, southern=southern,
        season_of=lambda date: season_name(date, southern), tables=ground.tables,
    )  # fmt: skip
    aimed = {
        weed: first
        for of, first in leading.items()
        if any(job.weed == first for job in jobs)
        for weed in watched[of]
    }
    laid: dict[ProgrammeName, list[tuple[JobAhead, TankAhead | None]]] = {}
    purposes_logged = {one.purpose for one in applied if one.purpose}
    if purposes_logged:
        laid["as now"] = _laid(ground, applied, jobs, _as_before(applied, ground))
    laid["rotate"] = _laid(ground, applied, jobs, _freshest(GroundAhead.singles))
    laid["mix"] = _laid(ground, applied, jobs, _strongest)
    laid["rotate mixtures"] = _laid(ground, applied, jobs, _freshest(GroundAhead.mixtures))
    found = [
        ProgrammeAhead(
            name,
            tuple(
                replace(
                    _planned(ground, job, tank),
                    unlogged=name == "as now" and job.purpose.name not in purposes_logged,
                )
                for job, tank in plan
            ),
            tuple(
                _course(ground, _against(ground, plan, weed, first), weed, draws, seed)
                for weed, first in aimed.items()
            ),
        )
        for name, plan in laid.items()
    ]
    notes = [say("ahead.note.model"), say("ahead.note.usual_days")]
    if any(weed != first for weed, first in aimed.items()):
        led = dict.fromkeys(aimed.values())
        notes.append(say("ahead.note.leading", weeds=joined(*map(weed_name, led))))
    if "as now" not in laid:
        notes.append(say("ahead.note.nothing_logged"))
    tested = {s.group for s in ground.resistance.statuses}
    used = {group for plan in laid.values() for _, t in plan if t for group in t.groups}
    golf = ground.site.turf.use == "golf"
    if any(surveyed(weed, used - tested, golf=golf, tables=ground.tables) for weed in aimed):
        notes.append(say("ahead.note.surveys"))
    if any(not job.actives and not job.unlogged for one in found for job in one.jobs):
        notes.append(say("ahead.note.empty"))
    if any(a.max_year_kg_ha is None for p in laid.values() for _, t in p if t for a in t.actives):
        notes.append(say("ahead.note.no_maximum"))
    return SeasonsAhead(
        ground.site.name, tuple(areas), today, tuple(dict.fromkeys(job.season for job in jobs)),
        _proposed(found), tuple(notes), draws, seed,
    )  # fmt: skip


def _weeds_of(weeds: Sequence[str]) -> dict[str, list[str]]:
    """The weeds of each season that the site watches, as it names them."""
    found: dict[str, list[str]] = {}
    for weed in weeds:
        season = known()[weed].season if weed in known() else ""
        if season:
            found.setdefault(season, []).append(weed)
    return found


# --- laying out -------------------------------------------------------------------------------

Laid = list[tuple[JobAhead, TankAhead | None]]
Pick = Callable[[GroundAhead, JobAhead, Laid], TankAhead | None]


def _laid(
    ground: GroundAhead, applied: Sequence[Applied], jobs: Sequence[JobAhead], pick: Pick
) -> Laid:
    here = ground.with_log(applied)
    laid: Laid = []
    for job in jobs:
        tank = pick(here, job, laid)
        if tank is not None:
            here.put_out(tank, job.date)
        laid.append((job, tank))
    return laid


def _as_before(applied: Sequence[Applied], ground: GroundAhead) -> Pick:
    """The tank that went out for the job last."""
    last = {one.purpose: one for one in applied if one.purpose}

    def pick(here: GroundAhead, job: JobAhead, laid: Laid) -> TankAhead | None:
        one = last.get(job.purpose.name)
        if one is None or any(name not in ground.materials for name, _ in one.actives):
            return None
        return here.tank([ground.materials[name] for name, _ in one.actives], job)

    return pick


def _strongest(here: GroundAhead, job: JobAhead, laid: Laid) -> TankAhead | None:
    """The mixture that controls most, or the active where there is no mixture."""
    tanks = [t for t in here.mixtures(job) if t.control is not None] or here.singles(job)
    return min(tanks, key=_weakness, default=None)


def _freshest(tanks_of: Callable[[GroundAhead, JobAhead], Iterable[TankAhead]]) -> Pick:
    """The tank that repeats fewest groups of this season and of the job last season.

    Of those that control enough, or as much as the best.
    """

    def pick(here: GroundAhead, job: JobAhead, laid: Laid) -> TankAhead | None:
        tanks = [t for t in tanks_of(here, job) if t.control is not None] or here.singles(job)
        best = max((tank.control or 0.0 for tank in tanks), default=0.0)
        least = min(best, here.tables["seed_bank"].number("job.acceptable"))
        tanks = [tank for tank in tanks if (tank.control or 0.0) >= least]
        now = {g for past, t in laid if t and past.season == job.season for g in t.groups}
        same = [t for past, t in laid if t and past.purpose.name == job.purpose.name]
        before = set(same[-1].groups) if same else set()

        def repeated(tank: TankAhead) -> tuple[float, ...]:
            groups = set(tank.groups)
            return (*_weakness(tank)[:2], len(groups & before) + len(groups & now),
                    *_weakness(tank)[2:])  # fmt: skip

        return min(tanks, key=repeated, default=None)

    return pick


def _weakness(tank: TankAhead) -> tuple[float, ...]:
    """Doubted and unknown ones last, then by control; a tie by number of actives."""
    control = tank.control
    return (tank.doubted, control is None, -(control or 0.0), len(tank.actives))


def _planned(ground: GroundAhead, job: JobAhead, tank: TankAhead | None) -> PlannedJob:
    about = job.season, job.purpose.name, job.date, job.weed
    if tank is None:
        return PlannedJob(*about, (), (), None)
    whole = ground.control(tank.names, job)
    if whole is None:
        return PlannedJob(*about, tank.names, tank.groups, None)
    control = Likely(whole.middle, whole.low, whole.high)
    return PlannedJob(*about, tank.names, tank.groups, control, whole.own_trials)


# --- what it does -----------------------------------------------------------------------------


def _against(ground: GroundAhead, plan: Laid, weed: str, first: str) -> Laid:
    """The jobs laid out for the `first` weed of a season, as what they do to another one."""
    own: Laid = []
    for job, tank in plan:
        if job.weed != first:
            continue
        here = replace(job, weed=weed)
        if tank is None or weed == first:
            own.append((here, tank))
        else:
            controls = tuple(ground.control([name], here) for name in tank.names)
            own.append((here, replace(tank, controls=controls)))
    return own


def _course(ground: GroundAhead, own: Laid, weed: str, draws: int, seed: int) -> WeedCourse:
    """What the jobs against a weed do to it."""
    out = [tank for _, tank in own if tank is not None]
    lacking = [
        name
        for tank in out
        for name, control in zip(tank.names, tank.controls, strict=True)
        if control is None
    ]
    if lacking:
        named = names(*dict.fromkeys(lacking))
        return WeedCourse(weed, False, say("ahead.no_figure", actives=named, weed=weed_name(weed)))
    if not out:
        return WeedCourse(weed, False, say("ahead.no_job", weed=weed_name(weed)))
    model = ground.tables["seed_bank"].table("model")
    groups = {group for tank in out for group in tank.groups}
    golf = ground.site.turf.use == "golf"
    # of every group there is, so that the draws are the same for all programmes
    likely = {
        group: already_resistant(ground.resistance, weed, group, golf=golf)
        for group in set(ground.resistance.groups.values())
    }
    drawn = population(model, draws, seed, likely)
    drawn = replace(drawn, start={group: drawn.start[group] for group in sorted(groups)})
    seasons = _strikes(own, draws, seed)
    horizon = int(model.number("horizon"))
    cycle = [*seasons, *(seasons[n % len(seasons)] for n in range(horizon - len(seasons)))]
    run = simulate_bank(drawn, cycle)
    over = seasons_until(run, model.number("taken_over"))
    count = len(seasons)
    return WeedCourse(
        weed,
        True,
        say("ahead.told", weed=weed_name(weed)),
        tuple(map(_likely, run.control[:count])),
        tuple(map(_likely, run.bank[:count])),
        _likely(run.resistant[count - 1]),
        _likely(over),
        tuple(float(np.mean(over <= season)) for season in range(1, horizon + 1)),
    )


def _strikes(own: Laid, draws: int, seed: int) -> list[list[list[Strike]]]:
    """The jobs of each season as strikes; an active has the same draws in every programme."""
    seasons: dict[str, list[list[Strike]]] = {}
    for job, tank in own:
        strikes = seasons.setdefault(job.season, [])
        if tank is None:
            continue
        mixed = []
        for active, control in zip(tank.actives, tank.controls, strict=True):
            assert control is not None  # looked at before
            key = zlib.crc32(f"{active.name} {job.purpose.name} {seed}".encode())
            share = drawn_control(control.middle, control.low, control.high, draws, key)
            mixed.append(Strike(int(float(active.group)), share))
        strikes.append(mixed)
    return list(seasons.values())


def _likely(values: FloatArray) -> Likely:
    low, middle, high = np.quantile(values, _INTERVAL, method="inverted_cdf")
    return Likely(float(middle), float(low), float(high))


def _proposed(found: Sequence[ProgrammeAhead]) -> tuple[ProgrammeAhead, ...]:
    """The programmes with the one marked under which resistance takes over least, of those told.

    A weed that cannot be told of under any programme is left out; one told of under some only
    leaves out the others.
    """
    weeds = {course.weed for p in found for course in p.weeds if course.known}

    def courses(programme: ProgrammeAhead) -> list[WeedCourse]:
        return [course for course in programme.weeds if course.weed in weeds]

    told = [p for p in found if weeds and all(course.known for course in courses(p))]

    def worst(programme: ProgrammeAhead) -> tuple[float, float]:
        risks = [sum(course.risk) for course in courses(programme)]
        banks = [course.bank[-1].middle for course in courses(programme)]
        return max(risks), max(banks)

    best = min(told, key=worst, default=None)
    return tuple(replace(one, proposed=one is best) for one in found)
