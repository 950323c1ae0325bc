"""Which season log a command works on, and what the site says of its entries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start
from windowcast.cli.output import voice_in
from windowcast.core.errors import InputError, WindowcastError
from windowcast.core.phrase import joined, say
from windowcast.report.terminal_width import fitted, prose_width

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.materials.actives import Actives
    from windowcast.records.model import Application, Entry, ResistanceTest
    from windowcast.records.store import SeasonLog
    from windowcast.records.stored import Unusable
    from windowcast.report.catalogue import Voice


class SiteLog:
    """Which log a command works on, and what its site file says of it."""

    def __init__(self, site_file: Path | None, log_file: Path | None) -> None:

        self.start = Start(site_file, sample=False, files=(), date=None, offline=True)
        self.site: Site | None = self.start.site() if site_file else None
        found = log_file or (self.start.log_file(self.site) if self.site else None)
        if found is None:
            raise InputError("no log is given", remedy="name --site SITE.toml or --log FILE")
        self.log_file = found

    def open(self, *, create: bool = False) -> SeasonLog:
        """The log, made if it is not there and `create`."""
        from windowcast.records.store import SeasonLog

        return SeasonLog(self.log_file, create=create)

    @property
    def voice(self) -> Voice:
        """In the units of the site, metric without one."""

        return voice_in(self.site.units if self.site else "metric", self.site)

    def checked(self, entry: Entry) -> Entry:
        """The entry with ISO names, its dates possible for the turf and its actives known."""
        from windowcast.records.entry_checks import check_dates
        from windowcast.records.model import Application, ResistanceTest

        zone = self.site.zone if self.site else dt.UTC
        check_dates(
            entry,
            today=dt.datetime.now(zone).date(),
            established=self.site.turf.established if self.site else None,
        )
        if isinstance(entry, Application):
            known = self.materials
            materials = tuple(replace(m, active=known[m.active].name) for m in entry.materials)
            entry = replace(entry, materials=materials)
        if isinstance(entry, ResistanceTest) and entry.active:
            entry = replace(entry, active=self.materials[entry.active].name)
        return entry

    @cached_property
    def materials(self) -> Actives:
        """What is known of actives, with the numbers of the site's labels."""
        from windowcast.materials.actives import load_actives

        return load_actives(self.start.beside(self.site.materials_file) if self.site else None)

    def expected(self, entry: Application) -> list[str]:
        """When to look for the effect of an application, and what trials say of it, in lines."""
        from windowcast.records.expected_effect import expected_of
        from windowcast.report.log_entries import fact_text
        from windowcast.report.spray_record import WIDTH

        known = [self.materials[name] for name in entry.actives if name in self.materials]
        facts = expected_of(entry, known)
        lines = [f"  {fact_text(fact, self.voice)}" for fact in facts]
        return fitted(lines, min(WIDTH, prose_width()))

    def on_test(self, entry: ResistanceTest) -> list[str]:
        """How a test is classed, and what to do next, in lines."""
        from windowcast.materials.resistance import next_steps, status_text
        from windowcast.records.resistance import classed

        found = classed([entry], self.materials)
        steps = next_steps(found)
        said = [*map(status_text, found)]
        if steps:
            said.append(say("resistance.next", steps=joined(*steps, join="clauses")))
        return fitted([f"  {self.voice.text(text)}" for text in said], prose_width())

    def on_survivors(self) -> str:
        """What to do when plants lived on beside dead ones."""
        from windowcast.materials.resistance import plants_needed

        steps = (
            say("resistance.step.check"),
            say("resistance.step.sample", plants=plants_needed()),
            say("resistance.step.no_seed"),
        )
        return self.voice.text(say("resistance.next", steps=joined(*steps, join="clauses")))


def with_weather(application: Application, place: SiteLog, files: tuple[str, ...]) -> Application:
    """The application with the hour's weather where there is a record of it."""
    from windowcast.records.hour_weather import prefilled

    date = application.date + dt.timedelta(days=1)
    start = replace(place.start, date=date.isoformat(), files=files)
    try:
        _, weather = start.load()
    except WindowcastError as error:
        click.echo(place.voice.say("cli.not_filled", problem=str(error)), err=True)
        return application
    return prefilled(application, weather)


def say_left_out(unusable: Iterable[Unusable], voice: Voice) -> None:
    """Name each entry that cannot be read and is left out of what a command says."""
    for item in unusable:
        said = {"kind": item.kind, "id": item.id[:8], "why": str(item.why)}
        click.echo(voice.say("cli.left_out", **said), err=True)
