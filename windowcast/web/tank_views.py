"""The tank sheet on the plan screen: filled in by an address, so it can be kept and printed.

One button more makes it the spray record of the season log.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from starlette.requests import Request

from windowcast.core.errors import InputError
from windowcast.core.given_files import file_state
from windowcast.materials.actives import load_actives
from windowcast.materials.product import Product
from windowcast.materials.products import load_products, product_from_words
from windowcast.materials.tank import TankSheet
from windowcast.records.model import Application
from windowcast.records.store import SeasonLog
from windowcast.records.tank_job import (
    AsSprayed,
    TankJob,
    TankRequest,
    application_of,
    setting,
    tank_job,
)
from windowcast.records.tank_window import Hours, as_judged, window_for
from windowcast.report.catalogue import Voice
from windowcast.report.crew_sheet import CrewSheet, crew_sheet
from windowcast.report.problems import sentence_of
from windowcast.report.tank_sheet import SaidSheet, said_sheet
from windowcast.web.context import ready_answer, voice_of
from windowcast.web.fields import Field, FormError, read, wrong_by_field
from windowcast.web.log_forms import suggestions
from windowcast.web.log_views import accepted, open_log, today_of, with_weather
from windowcast.web.sites import KnownSite
from windowcast.web.tank_fields import (
    AMOUNTS,
    PRODUCT_KEYS,
    PRODUCTS,
    FieldGroup,
    form_groups,
    record_fields,
)
from windowcast.windows.model import PURPOSES, Window

_DONE = ("start", "end", "operator", "certification")


@dataclass(frozen=True)
class SheetView:
    """What the screen shows: the form as typed, the sheet or what is wrong.

    `done` are the fields of its record with what stands in them, `carried` what the record's form
    takes along from the sheet's, `crew` what the address of its crew sheet does.
    """

    typed: dict[str, str]
    groups: tuple[FieldGroup, ...]
    job: TankJob | None
    sheet: TankSheet | None
    said: SaidSheet | None
    wrong: dict[str, str]
    problem: str
    done: tuple[Field, ...]
    done_values: Mapping[str, str]
    carried: Mapping[str, str]
    crew: Mapping[str, str]
    lists: Mapping[str, tuple[str, ...]]


def sheet_view(
    request: Request,
    site: KnownSite,
    given: Mapping[str, str],
    refused: InputError | None = None,
) -> SheetView:
    """The tank sheet that was asked for, when one is.

    `refused` is why its record was not stored.
    """
    assert site.site is not None
    voice = voice_of(request, site)
    typed = {name: text.strip()[:200] for name, text in given.items()}
    known = _products(site)
    _name_products(typed, known)
    job, problem = None, refused
    if any(typed.get(name) for name in ("area", "carrier", "tank", "p0.name")):
        try:
            day = _day(typed.get("start", ""), site) or today_of(request, site)
            job = _job(site, typed, day)
        except InputError as error:
            problem = error
    groups = form_groups(site, typed, voice)
    done = record_fields(site, voice)
    fields = (field for group in groups for field in (*group.fields, *group.more))
    names = {field.name for field in (*fields, *done)}
    wrong = wrong_by_field(problem, names, voice)
    lists = suggestions(site, known)
    return SheetView(
        typed=typed,
        groups=groups,
        job=job,
        sheet=job.sheet if job else None,
        said=said_sheet(job.sheet, voice) if job else None,
        wrong=wrong,
        problem=_named(problem, voice) if problem and not wrong else "",
        done=done,
        done_values=_done_values(request, site, typed),
        carried={
            name: text
            for name, text in typed.items()
            if text and name not in {field.name for field in done}
        },
        crew={name: text for name, text in typed.items() if text},
        lists={**lists, "name": (*lists.get("product", ()), *lists.get("active", ()))},
    )


def crew_view(request: Request, site: KnownSite, typed: Mapping[str, str]) -> CrewSheet:
    """The crew sheet of a tank that was typed in.

    It goes by the window of its purpose for the actives in it: the one of the hours that were
    asked for, else the best.
    """
    assert site.site is not None
    voice, today = voice_of(request, site).unbroken, today_of(request, site)
    begins, ends = (_local(typed.get(name, ""), site.site.zone) for name in ("start", "end"))
    asked = (begins, ends) if begins is not None and ends is not None and begins < ends else None
    job = _job(site, typed, asked[0].date() if asked else today)
    window = _window(request, site, job, asked)
    if window is not None and asked is None:
        job = _job(site, typed, window.date)
    actives = load_actives(site.beside(site.site.materials_file))
    return crew_sheet(
        as_judged(job, window), actives, window=window, asked=asked, today=today, voice=voice
    )


def _window(request: Request, site: KnownSite, job: TankJob, asked: Hours | None) -> Window | None:
    tank = [dose.product.active for dose in job.sheet.loads[0].doses if dose.product.active]
    if not job.asked.purpose or not tank:
        return None
    answers = ready_answer(request, site).with_actives(job.asked.purpose, "+".join(tank))
    return window_for(answers, job.asked.purpose, [area.name for area in job.areas], asked)


def log_tank(request: Request, site: KnownSite, typed: Mapping[str, str]) -> tuple[str, bool]:
    """Store the spray record of a filled-in sheet; the id of its entry, and if the turf said no.

    Raises
    ------
    InputError
        The sheet or the record cannot be made; the form's field is named.
    """
    assert site.site is not None
    fields = record_fields(site, voice_of(request, site))
    found = read(fields, typed, site.site.units, site.site.zone)
    done = AsSprayed(
        dt.datetime.fromisoformat(found.pop("start")),
        dt.datetime.fromisoformat(end) if (end := found.pop("end", "")) else None,
        **found,
    )
    job = _job(site, typed, done.start.date())
    entry = accepted(request, site, application_of(job, done))
    assert isinstance(entry, Application)
    entry = with_weather(request, site, entry)
    with open_log(site) as log:
        (entry_id,) = log.add(entry)
    return entry_id, bool(job.sheet.refusals)


def _done_values(request: Request, site: KnownSite, typed: Mapping[str, str]) -> dict[str, str]:
    """What stands in the record's fields: as typed, the window's hours if they came, or now."""
    assert site.site is not None
    zone, today = site.site.zone, today_of(request, site)
    now = dt.datetime.combine(today, dt.datetime.now(zone).time())
    values = {
        "operator": site.site.operator.name,
        "certification": site.site.operator.certification,
        **{name: typed[name] for name in _DONE if name in typed},
        "target": typed.get("target", ""),
    }
    begins = _local(typed.get("start", ""), zone)
    if begins is not None and begins > now:  # a window still ahead is no time of spraying
        values |= {"start": "", "end": ""}
    values["start"] = values.get("start") or f"{now:%Y-%m-%dT%H:%M}"
    return values


def _local(text: str, zone: ZoneInfo) -> dt.datetime | None:
    """A time on the site's clock, without its zone; None for what is none."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    return (moment.astimezone(zone) if moment.tzinfo else moment).replace(tzinfo=None)


def _name_products(typed: dict[str, str], known: Mapping[str, Product]) -> None:
    """For actives that a link asks for, the products of the materials file that have them.

    An active stands under its own name where no product has it, or more than one.
    """
    actives = [name for name in typed.pop("actives", "").split("+") if name]
    if typed.get("p0.name"):
        return
    for row, active in enumerate(actives[:PRODUCTS]):
        having = [name for name, product in known.items() if product.active == active]
        typed[f"p{row}.name"] = having[0] if len(having) == 1 else active


def _named(problem: InputError, voice: Voice) -> str:
    text = sentence_of(problem, voice)
    return f"{problem.field}: {text}" if problem.field else text


def _products(site: KnownSite) -> dict[str, Product]:
    assert site.site is not None
    file = site.beside(site.site.materials_file)
    return load_products(file, load_actives(file))


def _job(site: KnownSite, typed: Mapping[str, str], day: dt.date) -> TankJob:
    assert site.site is not None
    actives = load_actives(site.beside(site.site.materials_file))
    purpose = typed.get("purpose", "")
    asked = TankRequest(
        (),
        typed.get("where", ""),
        purpose if purpose in PURPOSES else "",
        typed.get("sprayer", ""),
        **{name: typed.get(name, "") for name in AMOUNTS},
    )
    problems = []
    try:
        setting(asked, site.site)
    except InputError as error:
        problems.append(error)
    known, products = _products(site), []
    for row in range(PRODUCTS):
        if words := _words(typed, row):
            try:
                _rated(typed, row, known)
                products.append(product_from_words(words, known, actives))
            except InputError as error:
                problems.append(error.at(field=_field_of(error, row)))
    if problems:
        raise FormError(problems)
    asked = replace(asked, products=tuple(products))
    return tank_job(asked, site.site, actives, _applications(site), day)


def _day(start: str, site: KnownSite) -> dt.date | None:
    """The local date of a window or an application."""
    assert site.site is not None
    moment = _local(start, site.site.zone)
    return None if moment is None else moment.date()


def _rated(typed: Mapping[str, str], row: int, known: Mapping[str, Product]) -> None:
    """Refuse a product without a rate that the materials file does not know either."""
    name = typed[f"p{row}.name"]
    given = typed.get(f"p{row}.rate") or typed.get(f"p{row}.share")
    if not given and name.casefold() not in {one.casefold() for one in known}:
        raise InputError(
            "is missing", field="rate",
            remedy=f"take it from your label: {name!r} is not in your materials file",
        )  # fmt: skip


def _field_of(error: InputError, row: int) -> str:
    """The form's field that a product's error stands beside."""
    key = (error.field or "").partition(" of ")[0]
    return f"p{row}.{key if key in PRODUCT_KEYS else 'name'}"


def _words(typed: Mapping[str, str], row: int) -> str:
    """A product as the command line would name it."""
    name = typed.get(f"p{row}.name", "")
    given = ((key, typed.get(f"p{row}.{key}", "")) for key in PRODUCT_KEYS)
    return " ".join([name, *(f"{key}={text}" for key, text in given if text)]) if name else ""


def _applications(site: KnownSite) -> Sequence[Application] | None:
    if site.log_path is None or not site.log_path.exists():
        return None
    wal = site.log_path.with_name(site.log_path.name + "-wal")
    return _read_applications(site.log_path, file_state(site.log_path), file_state(wal))


@lru_cache(maxsize=8)
def _read_applications(
    file: Path, changed: tuple[int, int], wal_changed: tuple[int, int]
) -> tuple[Application, ...]:
    """The applications of a log; a long one is read again only when its files have changed."""
    with SeasonLog(file) as log:
        return tuple(stored.entry for stored in log.all(Application))
