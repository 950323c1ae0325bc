"""``windowcast tank sheet``: the sheet of a tank and, once it is out, its spray record."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import (
    Start,
    areas_offered,
    deadline_option,
    format_option,
    page_option,
    products_offered,
    sprayers_offered,
)
from windowcast.cli.output import echo, lang_option, print_json, voice_in
from windowcast.cli.site_log import SiteLog, with_weather
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Span, say

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.records.model import Application
    from windowcast.records.stored import Stored
    from windowcast.records.tank_job import TankJob
    from windowcast.report.catalogue import Voice
    from windowcast.report.crew_sheet import CrewSheet
    from windowcast.windows.model import Window

PURPOSES = ("pre-fall", "post-early", "dormant", "pre-spring")


@click.command("sheet")
@click.argument("site_file", metavar="[SITE.toml]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--area", default="", help='Area to treat: "12 acre"  [default: the size of the areas --where]'
)
@click.option("--sprayer", default="", metavar="NAME", shell_complete=sprayers_offered,
              help="Of the site file  [default: the only one]")  # fmt: skip
@click.option("--carrier", default="", help='Carrier volume: "40 gal/acre"  [default: sprayer\'s]')
@click.option("--tank", default="", help='What the tank takes: "300 gal"  [default: sprayer\'s]')
@click.option(
    "--product",
    "products",
    multiple=True,
    required=True,
    metavar="'NAME key=value...'",
    shell_complete=products_offered,
    help="From the materials file by name, or 'glyphosate rate=16 fl oz/acre concentration=4 lb/gal"
    " formulation=SL max_per_year=2 lb/acre'; an adjuvant 'surfactant share=0.25 %"
    " formulation=NIS'.",
)
@click.option("--where", default="", shell_complete=areas_offered,
              help="The place, to count what the log says was put there: areas of the site file,"
              ' "greens, tees", where it has any.')  # fmt: skip
@click.option("--purpose", type=click.Choice(PURPOSES), help="Head the sheet with its best window.")
@click.option("--speed", default="", help='To check nozzles: "4 mph"  [default: sprayer\'s]')
@click.option("--spacing", default="", help='Between nozzles: "20 in"  [default: sprayer\'s]')
@click.option("--flow", default="", help='Measured from one nozzle: "0.5 gal/min".')
@click.option("--date", "date", metavar="YYYY-MM-DD", help="Day of the application (today).")
@click.option("--log", "logged", is_flag=True, help="It is out: write the spray record.")
@click.option("--at", metavar="'YYYY-MM-DD HH:MM'", help="When it was sprayed (now).")
@click.option("--until", metavar="'YYYY-MM-DD HH:MM'", help="When spraying ended.")
@click.option("--operator", default="", metavar="NAME", help="Who sprayed (as in the site file).")
@click.option("--certification", default="", metavar="NUMBER", help="Licence or certificate.")
@click.option("--target", default="", metavar="EPPO", help="Target weed of the record.")
@click.option("--offline", is_flag=True, help="Use only files and what is cached.")
@deadline_option
@format_option("text", "json")
@click.option("--crew", "crew", is_flag=True, help="The one-page sheet for whoever sprays.")
@page_option("With --crew: also write it as a page to print.")
@lang_option
def sheet(
    *,
    site_file: Path | None,
    products: tuple[str, ...],
    where: str,
    purpose: str | None,
    date: str | None,
    logged: bool,
    at: str | None,
    until: str | None,
    operator: str,
    certification: str,
    target: str,
    offline: bool,
    format_: str,
    crew: bool,
    page: Path | None,
    **amounts: str,
) -> None:
    """The tank sheet: loads, amounts in mixing order, nozzles, droplets, the year's totals.

    What is left out of sprayer and area is taken from the site file. With --log the sheet becomes
    the spray record of the site's season log: windowcast log undo takes it back.
    """
    from windowcast.materials.actives import load_actives
    from windowcast.materials.products import load_products, product_from_words
    from windowcast.records.tank_job import AsSprayed, TankRequest, tank_job
    from windowcast.records.tank_window import as_judged
    from windowcast.report.crew_sheet import crew_sheet

    start = Start(site_file, sample=False, files=(), date=date, offline=offline)
    site = start.site() if site_file else None
    file = start.beside(site.materials_file) if site else None
    voice = voice_in(site.units if site else "us", site)
    actives = load_actives(file)
    known = load_products(file, actives)
    chosen = tuple(product_from_words(text, known, actives) for text in products)
    done: AsSprayed | None = None
    if logged:
        begun = _moment(at, "--at", site)
        if date and start.day() != begun.date():
            raise InputError(
                f"is not the day of the record, {begun:%Y-%m-%d}", field="--date",
                remedy="say with --at when it was sprayed, and leave --date out",
            )  # fmt: skip
        end = _moment(until, "--until", site) if until else None
        done = AsSprayed(begun, end, target, operator, certification)
    elif at or until or operator or certification or target:
        raise InputError(
            "says what was done, but nothing is logged", field=_first(at=at, until=until,
            operator=operator, certification=certification, target=target), remedy="add --log",
        )  # fmt: skip
    if crew and (logged or format_ == "json"):
        field = "--log" if logged else "--format"
        raise InputError("does not go with a crew sheet", field=field, remedy="leave it out")
    if page is not None and not crew:
        raise InputError("is for a crew sheet", field="--page", remedy="add --crew")
    asked = TankRequest(chosen, where, purpose or "", **amounts)
    # what is already out needs no window
    window = None if done else _window(start, purpose, asked, site)
    day = done.start.date() if done else window.date if window else start.day() or _today(site)
    job = tank_job(asked, site, actives, _applications(start, site), day)
    job = as_judged(job, window)
    stored, weather = _log(start, job, done) if done else (None, "")
    if format_ == "json":
        print_json(_plain(job, window, stored, voice))
        return
    if crew:
        today = _today(site)
        made = crew_sheet(job, actives, window=window, asked=None, today=today, voice=voice)
        echo(_crew(made, page, voice))
        return
    echo(_text(job, window, voice))
    if stored is not None:
        echo(_stored_text(stored, weather, job, start, voice))


def _first(**given: str | None) -> str:
    return next(f"--{name}" for name, text in given.items() if text)


def _moment(text: str | None, option: str, site: Site | None) -> dt.datetime:
    """A time on the site's clock; now where none is given."""
    from windowcast.records.command_words import moment_from

    if site is None:
        raise InputError(
            "needs a site file, whose season log it writes to", field="--log",
            remedy="name it: windowcast tank sheet SITE.toml ...",
        )  # fmt: skip
    if text is None:
        return dt.datetime.now(site.zone).replace(second=0, microsecond=0)
    return dt.datetime.fromisoformat(moment_from(text, option, site.zone))


def _window(start: Start, purpose: str | None, asked: Any, site: Site | None) -> Window | None:
    """The best window of a purpose for the actives in the tank, on the areas it is for."""
    if purpose is None:
        return None
    from windowcast.records.areas import areas_named
    from windowcast.records.tank_window import window_for

    names = [area.name for area in areas_named(site, asked.where)] if site else []
    actives = "+".join(p.active for p in asked.products if p.active)
    only = names[0] if len(names) == 1 else ""
    found = start.answers(purposes=(purpose,), actives=actives, area=only)
    window = window_for(found, purpose, names)
    if window is None:
        first = next(
            one.ranking for one in found
            if (not names or set(names) & set(one.ranking.areas))
            and not one.ranking.purposes[0].windows
        )  # fmt: skip
        said = voice_in(first.units, site).text(first.purposes[0].advice)
        raise InputError(
            f"there is no window for {purpose}: {said.rstrip('.')}",
            field="--purpose",
            remedy="leave --purpose out to print the sheet without one",
        )
    return window


def _applications(start: Start, site: Site | None) -> list[Application] | None:
    """What the season log says was applied; None without a log."""
    log_file = start.log_file(site) if site is not None else None
    if log_file is None or not log_file.is_file():
        return None
    from windowcast.records.model import Application
    from windowcast.records.store import SeasonLog

    with SeasonLog(log_file, create=False) as log:
        return [stored.entry for stored in log.all(Application)]


def _today(site: Site | None) -> dt.date:
    """Today on the site's clock."""
    return dt.datetime.now(site.zone if site is not None else dt.UTC).date()


def _log(start: Start, job: TankJob, done: Any) -> tuple[Stored[Any], str]:
    """Store the spray record; it as stored, and where its weather was filled in from."""
    from windowcast.records.model import Application
    from windowcast.records.tank_job import application_of

    place = SiteLog(start.site_file, None)
    entry = place.checked(application_of(job, done))
    assert isinstance(entry, Application)
    filled = with_weather(entry, place, ())
    with place.open(create=True) as log:
        (entry_id,) = log.add(filled)
        return log.get(entry_id), filled.weather_source if filled is not entry else ""


def _stored_text(
    stored: Stored[Any], weather: str, job: TankJob, start: Start, voice: Voice
) -> str:
    """What was stored, and what its record still lacks."""
    from textwrap import wrap

    from windowcast.report.log_entries import entry_text
    from windowcast.report.spray_record import WIDTH, lacking, record_sheet

    text = entry_text(stored.entry, voice)
    lines = [voice.say("cli.logged", id=stored.id[:8], date=stored.entry.date, text=text)]
    if weather:
        lines.append(voice.say("cli.filled", source=weather))
    lines += [voice.say("cli.logged_though", refusal=said) for said in job.sheet.refusals]
    lines += [voice.text(said) for said in lacking(record_sheet(stored.entry, voice))]
    file = str(start.site_file)
    lines.append(voice.say("cli.change_it", id=stored.id[:8], site=file))
    return "\n".join(["", *(part for line in lines for part in wrap(line, WIDTH))])


def _text(job: TankJob, window: Window | None, voice: Voice) -> str:
    from windowcast.report.tank_sheet import sheet_text

    where = job.asked.where
    title = say("sheet.title_for", where=Name(where)) if where else say("sheet.title")
    if window is not None:
        hours = Span(window.start, window.end)
        title = say("sheet.head", title=title, day=window.date, hours=hours)
    text = sheet_text(job.sheet, voice, voice.text(title))
    if window is not None and window.follow_up:
        said = (voice.text(item.text) for item in window.follow_up)
        text += f"\n{voice.say('sheet.afterwards')}\n" + "".join(f"  - {item}\n" for item in said)
    return text.rstrip("\n")


def _crew(sheet: CrewSheet, page: Path | None, voice: Voice) -> str:
    """The crew's sheet as text, written as a page too where one was asked for."""
    from windowcast.report.crew_sheet import crew_text, render_crew

    if page is not None:
        write_atomic(page, render_crew(sheet, voice))
    return crew_text(sheet)


def _plain(
    job: TankJob, window: Window | None, stored: Stored[Any] | None, voice: Voice
) -> dict[str, Any]:
    from windowcast.report.plain import plain
    from windowcast.report.spray_record import record_sheet

    document: dict[str, Any] = plain(job.sheet, voice)
    if job.sheet.refusals:  # nobody mixes what must not be sprayed
        document |= {"loads": None, "total_l": None, "costs": None}
    if window is not None:
        document["window"] = {"start": window.start.isoformat(), "end": window.end.isoformat()}
    if stored is not None:
        missing = record_sheet(stored.entry, voice).missing
        document["logged"] = {"id": stored.id, "missing": list(missing)}
    return document
