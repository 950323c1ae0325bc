"""``windowcast doctor``: what on this machine or in a site file stops answers, and what helps."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.check_machine import Checked
from windowcast.cli.options import format_option
from windowcast.cli.output import lang_option, print_json, voice_in
from windowcast.cli.serve_options import own_folder
from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.phrase import Listing, Name, Phrase, Quantity, say
from windowcast.core.record import Weather
from windowcast.core.site import Site, load_site
from windowcast.report.problems import problem_text
from windowcast.report.terminal_width import screen_width, wrapped
from windowcast.sources.side_by_side import side_by_side

if TYPE_CHECKING:
    from windowcast.report.catalogue import Voice
    from windowcast.sources.reach import Reached


_WHOLE = 10_000  # columns of a pipe, where each thing is one line
WITHIN_S = 8.0  # for all that is waited for: the network, and loading of optional parts


@click.command("doctor")
@click.argument("site_file", metavar="[SITE.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--offline", is_flag=True, help="Ask no weather source.")
@format_option("table", "json")
@lang_option
@click.pass_context
def command(ctx: click.Context, *, site_file: Path | None, offline: bool, format_: str) -> None:
    """Look at this machine: network, proxy, certificates, clock, cache, optional parts, terminal,
    versions, and a site file.

    SITE.toml is by default site.toml here, else the sites in your own data folder. Each thing is
    one line, with what helps where something is wrong. Ends with exit code 1 where answers cannot
    be made. The kept weather itself is looked through by windowcast weather doctor.
    """
    from windowcast.cli.doctor import found_sites

    sites = found_sites(site_file)
    site = next((one.site for one in sites if one.site is not None), None)
    voice = voice_in(site.units if site else "metric", site)
    found = list(_looked_at(sites, site, offline))
    well = all(finding.state != "wrong" for finding in found)
    if format_ == "json":
        rows = [
            {
                "check": f.check,
                "state": f.state,
                "text": _said(f, voice),
                "fix": voice.text(f.fix),
                "values": f.values,
            }
            for f in found
        ]
        print_json({"well": well, "checks": rows}, indent=2)
    else:
        states = {state: voice.say(f"doctor_state.{state}") for state in ("ok", "note", "wrong")}
        checks = {f.check: voice.say(f"doctor_check.{f.check}") for f in found}
        wide, long = (max(map(len, some.values())) for some in (states, checks))
        for f in found:
            text = f"{_said(f, voice)} {voice.text(f.fix)}".rstrip()
            head = f"{states[f.state]:<{wide}}  {checks[f.check]:<{long}}  "
            lines = wrapped(text, (screen_width() or _WHOLE) - len(head)) or [""]
            click.echo(head + f"\n{' ' * len(head)}".join(lines))
    if not well:
        ctx.exit(1)


def _looked_at(sites: Sequence[FoundSite], site: Site | None, offline: bool) -> Iterator[Checked]:
    """Everything, in the order in which it is shown; what is waited for is looked at together."""
    from windowcast.cli import check_machine, check_network
    from windowcast.cli.check_machine import extras
    from windowcast.cli.doctor import site_findings

    until = time.monotonic() + WITHIN_S
    asked: list[Reached] = []

    def network() -> list[Checked]:
        found, answers = check_network.network(site, offline)
        asked.extend(answers)
        return found

    about_site = list(site_findings(sites))
    states = [f.state for f in about_site if f.check == "weather"]
    kept = bool(states) and set(states) == {"ok"}
    reached, loaded = side_by_side([network, lambda: list(extras(until))], 2)
    for found in reached:  # what is kept answers without a network
        yield replace(found, state="note") if kept and found.state == "wrong" else found
    yield check_network.proxy()
    yield from check_network.certificates()
    yield check_network.clock(asked, str(site.zone) if site else "")
    yield check_machine.cache()
    yield from loaded
    yield check_machine.terminal()
    yield from about_site
    yield from check_machine.versions()


def _said(finding: Checked, voice: Voice) -> str:
    if isinstance(finding.what, Phrase):
        return voice.text(finding.what)
    return f"{problem_text(finding.what, voice)}."


WHERE = Path("site.toml")  # what `windowcast init` writes
MOST = 5  # files of the own folder that are looked at


@dataclass(frozen=True)
class FoundSite:
    """A site file, with what it says or what is wrong with it."""

    path: Path
    site: Site | None
    problem: InputError | None = None


def found_sites(given: Path | None) -> list[FoundSite]:
    """The file given; else ``site.toml`` here; else those that ``windowcast serve`` would show."""
    path = given or (WHERE if WHERE.is_file() else None)
    if path is not None:
        try:
            return [FoundSite(path, load_site(path))]
        except InputError as error:
            return [FoundSite(path, None, error)]
    from windowcast.web.sites import SiteBook

    known = SiteBook(own_folder()).all()
    found = [FoundSite(one.path, one.site, one.problem) for one in known if one.path is not None]
    return found[:MOST]


def site_findings(sites: Sequence[FoundSite]) -> Iterator[Checked]:
    """Whether each site file can be read, where it is, and the age of its weather."""
    if not sites:
        yield Checked("site", "note", say("doctor.site.none"), say("doctor.site.write_one"))
    for one in sites:
        values = {"file": str(one.path)}
        if one.problem is not None:
            yield Checked("site", "wrong", one.problem, values=values)
        elif one.site is not None:
            yield _site(one.site, values)
            yield _weather(one.site, one.path)


def _site(site: Site, values: dict[str, str]) -> Checked:
    what = say(
        "doctor.site.good",
        name=Name(site.name),
        latitude=Name(f"{site.latitude:.3f}"),
        longitude=Name(f"{site.longitude:.3f}"),
        zone=Name(str(site.zone)),
    )
    place = {"name": site.name, "latitude": site.latitude, "longitude": site.longitude}
    return Checked("site", "ok", what, values={**values, **place})


def _weather(site: Site, path: Path) -> Checked:
    """What an answer would find without asking anybody."""
    from windowcast.weather.load import load_weather

    try:
        weather = load_weather(site, offline=True)
    except SourceUnreachableError:
        fix = say("doctor.weather.fetch", file=Name(str(path)))
        return Checked("weather", "note", say("doctor.weather.none"), fix)
    except InputError as error:
        return Checked("weather", "wrong", error)
    ages = _ages_s(weather)
    values = {"age_s": {source: round(age) for source, age in ages.items()}}
    if not ages:
        return Checked("weather", "ok", say("doctor.weather.own"), values=values)
    each = Listing(
        tuple(say("doctor.weather.age", source=Name(s), age=_age(age)) for s, age in ages.items()),
        "comma",
    )
    return Checked("weather", "ok", say("doctor.weather.kept", ages=each), values=values)


def _ages_s(weather: Weather) -> dict[str, float]:
    """The newest answer of each source that was asked over the network [s]."""
    now = dt.datetime.now(dt.UTC)
    records = [r for r in (weather.daily, weather.hourly) if r is not None]
    ages: dict[str, float] = {}
    for origin in (p for record in records for p in record.provenance):
        if origin.fetched is not None:
            age = (now - origin.fetched).total_seconds()
            ages[origin.source] = min(age, ages.get(origin.source, age))
    return ages


def _age(seconds: float) -> Quantity:
    minutes = max(seconds, 0.0) / 60
    if minutes < 90:
        return Quantity(minutes, "min")
    return Quantity(round(minutes / 60), "h") if minutes < 2880 else Quantity(minutes / 1440, "d")
