"""What may go into the tank of a job in a season to come: fit for the turf, within yearly maxima.

What cannot be told keeps an active out, as everywhere: whether the turf takes it then, whether
there is enough left of its yearly maximum, whether the weed resists it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.limits.answer import ground_limits
from windowcast.limits.ground import ground_of, nth_of
from windowcast.materials.actives import Active, Actives
from windowcast.materials.efficacy import Control, expected_control
from windowcast.materials.needs import needs_of
from windowcast.materials.resistance import ActsOn, Resistances
from windowcast.materials.spectrum import CONTROLS, action
from windowcast.programme.candidates import YEAR_DAYS
from windowcast.season.observed import Applied
from windowcast.windows.model import PurposeName
from windowcast.windows.purposes import Purpose, purpose_of

Expected = Callable[..., Control | None]


@dataclass(frozen=True)
class JobAhead:
    """One job of a season to come: about when, and the weed it is for, as an EPPO code."""

    purpose: Purpose
    season: str
    date: dt.date
    weed: str


@dataclass(frozen=True)
class TankAhead:
    """What may go out for a job.

    Attributes
    ----------
    controls
        Control to expect of each active by itself; None where no trial is at hand.
    doubted
        Whether the weed is suspected to resist one of them.
    """

    actives: tuple[Active, ...]
    controls: tuple[Control | None, ...]
    doubted: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """ISO common names."""
        return tuple(active.name for active in self.actives)

    @property
    def groups(self) -> tuple[int, ...]:
        """Modes of action, each once."""
        return tuple(dict.fromkeys(int(float(active.group)) for active in self.actives))

    @property
    def control(self) -> float | None:
        """Control to expect of all together, acting independently; None where one has no figure."""
        left = 1.0
        for one in self.controls:
            if one is None:
                return None
            left *= 1 - one.middle
        return 1 - left


@dataclass
class GroundAhead:
    """A piece of ground and what was put out on it, by active: grows as a programme is laid out."""

    site: Site
    materials: Actives
    resistance: Resistances
    label_kg_ha: Mapping[str, float]
    tables: Tables
    expected: Expected = expected_control
    out: list[tuple[dt.date, str, float | None]] = field(default_factory=list)

    def with_log(self, applied: Sequence[Applied]) -> GroundAhead:
        """The same ground with what the log says was put out."""
        out = [
            (one.date, self.materials[name].name if name in self.materials else name, rate)
            for one in applied
            for name, rate in one.actives
        ]
        return GroundAhead(self.site, self.materials, self.resistance, self.label_kg_ha,
                           self.tables, self.expected, out)  # fmt: skip

    def put_out(self, tank: TankAhead, date: dt.date) -> None:
        """Count a tank that is planned."""
        self.out += [(date, name, self.label_kg_ha.get(name)) for name in tank.names]

    def tank(self, actives: Sequence[Active], job: JobAhead) -> TankAhead | None:
        """The tank for a job; None where something keeps it out."""
        if not all(self.fits(active, job) for active in actives):
            return None
        names = [active.name for active in actives]
        timing: ActsOn = "pre" if job.purpose.barrier else "post"
        failing = self.resistance.against(names, {job.weed}, timing)
        if failing is not None and failing.standing == "resistant":
            return None
        controls = tuple(self.control([name], job) for name in names)
        return TankAhead(tuple(actives), controls, failing is not None)

    def fits(self, active: Active, job: JobAhead) -> bool:
        """Whether an active acts on the job, the turf takes it then, and enough is left of it."""
        acts = active.pre if job.purpose.barrier else active.post
        species = str(self.site.turf.species)
        needed = str(self.tables["seed_bank"].table(f"job.{job.purpose.name}")["turf"])
        takes = active.taken_by(species, needed) == "yes"
        if not (acts and takes and self.within_year(active, job.date)):
            return False
        needs = needs_of([active], species)
        return not ground_limits(needs, ground_of(self.site), job.date, self.tables)

    def within_year(self, active: Active, date: dt.date) -> bool:
        """Whether one more application keeps every year around it within the label's maximum.

        A maximum is only kept where the rates are known.
        """
        if active.max_year_kg_ha is None:
            return True
        dated = [(day, rate) for day, name, rate in self.out if name == active.name]
        dated.append((date, self.label_kg_ha.get(active.name)))
        for last, _ in dated:
            first = last - dt.timedelta(days=YEAR_DAYS - 1)
            total = 0.0
            for day, rate in dated:
                if first <= day <= last:
                    if rate is None:
                        return False
                    total += rate
            if total > float(active.max_year_kg_ha) * (1 + 1e-9):
                return False
        return True

    def control(self, names: Sequence[str], job: JobAhead) -> Control | None:
        """Control to expect of actives at their full rate on the weeds of the job."""
        about = self.tables["seed_bank"].table(f"job.{job.purpose.name}")
        return self.expected(
            job.weed,
            names,
            timing="pre" if job.purpose.barrier else "post",
            stage_bbch=about.number("stage"),
            rate_share=1.0,
            air_c=about.number("air"),
            table=self.tables["efficacy"],
        )

    def singles(self, job: JobAhead) -> list[TankAhead]:
        """What may go out by itself: of the stock, or of all actives where none is stated."""
        stock = self.materials.at_hand(self.site.stock) if self.site.stock else None
        pool = stock or [(active,) for active in self.materials.values()]
        found = (self.tank(actives, job) for actives in pool if self.controls(actives, job))
        return [tank for tank in found if tank is not None]

    def controls(self, actives: Sequence[Active], job: JobAhead) -> bool:
        """Whether trials or another source say that one of some actives controls the weed."""
        known = any(action(active, job.weed) == CONTROLS for active in actives)
        return known or any(self.control([active.name], job) for active in actives)

    def mixtures(self, job: JobAhead) -> Iterator[TankAhead]:
        """Two tanks in one that have no mode of action in common."""
        for one, other in combinations(self.singles(job), 2):
            if not set(one.groups) & set(other.groups):
                yield TankAhead(
                    (*one.actives, *other.actives), (*one.controls, *other.controls),
                    one.doubted or other.doubted,
                )  # fmt: skip


def jobs_ahead(
    purposes: Sequence[PurposeName],
    weeds: Mapping[str, str],
    today: dt.date,
    seasons: int,
    *,
    southern: bool,
    season_of: Callable[[dt.date], str],
    tables: Tables,
) -> tuple[JobAhead, ...]:
    """The jobs from today on, of so many seasons, in order of time.

    Parameters
    ----------
    weeds
        "fall" and "spring" → the weed, as an EPPO code, that their jobs are for.
    season_of
        Name of the season a date lies in.
    """
    found = []
    for name in purposes:
        purpose = purpose_of(name, tables)
        day = str(tables["seed_bank"].table(f"job.{name}")["day"])
        if purpose.weeds in weeds:
            for year in range(today.year, today.year + seasons + 2):
                date = nth_of(day, dt.date(year, 12, 31), southern=southern)
                if date >= today:
                    found.append(JobAhead(purpose, season_of(date), date, weeds[purpose.weeds]))
    found.sort(key=lambda job: job.date)
    named = list(dict.fromkeys(job.season for job in found))[:seasons]
    return tuple(job for job in found if job.season in named)
