"""One piece of ground with what the season log says of it, and the numbers jobs are judged by."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Phrase, names, say
from windowcast.core.record import Weather
from windowcast.core.time_axis import day_index
from windowcast.core.values import Tables
from windowcast.materials.actives import Active, Actives
from windowcast.season.observed import Applied, Observed
from windowcast.windows.loss import Loss
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.season_axis import SeasonAxis


@dataclass(frozen=True)
class JobValues:
    """The numbers that decide (``data/plan.toml``, ``data/barrier.toml``).

    Attributes
    ----------
    loss
        How a residual is watered in.
    watered_least
        Share of the ground watered in from which an application counts.
    still_to_come
        Share of the season's weeds yet to emerge from which a second application is worth naming.
    look_after_d
        Days after which to look for an effect where no source says when it shows.
    acceptable
        Share of the weeds gone from which an application worked.
    """

    loss: Loss
    watered_least: float
    spring_from: float
    still_to_come: float
    look_after_d: float
    acceptable: float

    @classmethod
    def of(cls, tables: Tables) -> JobValues:
        """Those of the tables."""
        plan = tables["plan"]
        return cls(
            Loss.of(tables["barrier"]),
            tables["barrier"].number("watered.least"),
            plan.number("spring_from"),
            plan.number("jobs.still_to_come"),
            plan.number("jobs.look_after"),
            tables["verdict"].number("control.worked") / 100,
        )


@dataclass(frozen=True)
class LoggedGround:
    """What the jobs of one piece of ground are judged by."""

    running: RunningSeason
    weather: Weather
    seen: Observed
    materials: Actives
    horizon_d: int  # days ahead that are ranked
    values: JobValues

    @property
    def axis(self) -> SeasonAxis:
        """The running season."""
        return self.running.axis

    @property
    def irrigated(self) -> bool | None:
        """Whether the ground can be irrigated; None: nobody says."""
        return self.running.site.turf.irrigated

    @property
    def today(self) -> dt.date:
        """The day of the answer."""
        return self.weather.today

    def day(self, date: dt.date) -> int:
        """Index of a date on the axis; negative before it."""
        return day_index(self.axis.dates, date)

    def members(self, applied: Applied) -> tuple[Active, ...]:
        """The active ingredients of an application that are known."""
        found = []
        for name, _ in applied.actives:
            try:
                found.append(self.materials[name])
            except InputError:
                continue  # no material of ours: review says so
        return tuple(found)


def applied_text(applied: Applied) -> Phrase:
    """What was applied, and when."""
    actives = names(*actives_of(applied), join="plus")
    if applied.whole:
        return say("job.applied", day=applied.date, actives=actives)
    if applied.plots is not None and not applied.where:
        trial = Name(applied.plots[0])
        return say("job.applied_plots", day=applied.date, actives=actives, trial=trial)
    where = names(applied.where)
    return say("job.applied_part", day=applied.date, actives=actives, where=where)


def actives_of(applied: Applied) -> tuple[str, ...]:
    """Names of what was in the tank."""
    return tuple(name for name, _ in applied.actives)
