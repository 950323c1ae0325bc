"""The tank sheet on the plan screen: filled in by an address, so it can be kept and printed.

One button more makes it the spray record of the season log.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from starlette.requests import Request

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase
from windowcast.core.units import Display
from windowcast.materials.actives import load_actives
from windowcast.materials.products import load_products, product_from_words
from windowcast.materials.tank import Product, TankSheet
from windowcast.records.model import Application
from windowcast.records.store import SeasonLog
from windowcast.records.tank_job import (
    Done,
    TankJob,
    TankRequest,
    application_of,
    setting,
    tank_job,
)
from windowcast.report import both_units
from windowcast.report.catalogue import render
from windowcast.report.tank_sheet import cost_lines, dose_text, nozzle_lines
from windowcast.season.weeds import weed
from windowcast.web.fields import Field, FormError, read, sentence_of, wrong_by_field
from windowcast.web.log_views import accepted, open_log, today_of, with_weather
from windowcast.web.sites import KnownSite, file_state
from windowcast.web.suggestions import suggestions
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

PRODUCTS = 4
AMOUNTS = ("area", "carrier", "tank", "speed", "spacing", "flow")
_PRODUCT_KEYS = ("rate", "concentration", "formulation", "share", "max_per_year")
_DONE = (
    Field("start", "Sprayed from", "moment", hint="local time", needed=True),
    Field("end", "Until", "moment", hint="local time"),
    Field("operator", "Applicator"),
    Field("certification", "Licence or certificate number"),
)


def product_fields(row: int) -> tuple[Field, ...]:
    """The fields of one product."""
    return (
        Field(f"p{row}.name", "Name", hint="of your materials file, or an active", needed=row == 0),
        Field(f"p{row}.rate", "Rate of product", hint="e.g. 16 fl oz/acre"),
        Field(f"p{row}.concentration", "Concentration", hint="from the label: 4 lb/gal, 65 %"),
        Field(f"p{row}.formulation", "Formulation", hint="SC, WG, SL, NIS …"),
        Field(f"p{row}.share", "Or share of volume", hint="adjuvants: 0.25 %"),
        Field(f"p{row}.max_per_year", "Most in a year", hint="label's limit: 2 lb/acre"),
    )


@dataclass(frozen=True)
class SheetView:
    """What the screen shows: the form as typed, the sheet or what is wrong.

    `done` are the fields of its record with what stands in them, `carried` what the record's form
    takes along from the sheet's.
    """

    typed: dict[str, str]
    groups: tuple[tuple[str, tuple[Field, ...]], ...]
    sheet: TankSheet | None
    nozzle: list[str]
    costs: list[str]
    wrong: dict[str, str]
    problem: str
    done: tuple[Field, ...]
    done_values: Mapping[str, str]
    carried: Mapping[str, str]
    lists: Mapping[str, tuple[str, ...]]
    units: Any = both_units

    def dose(self, dose: Any) -> str:
        """An amount of product in both systems."""
        return dose_text(dose)

    def text(self, phrase: Phrase) -> str:
        """What the sheet says, amounts in both systems."""
        return render(phrase)


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
    groups = _groups(site, typed)
    done = _done_fields(site)
    names = {field.name for _, group in groups for field in group} | {f.name for f in done}
    wrong = wrong_by_field(problem, names)
    lists = suggestions(site, known)
    return SheetView(
        typed=typed,
        groups=groups,
        sheet=job.sheet if job else None,
        nozzle=nozzle_lines(job.sheet.nozzle) if job and job.sheet.nozzle else [],
        costs=cost_lines(job.sheet, site.site.units) if job else [],
        wrong=wrong,
        problem=_named(problem) if problem and not wrong else "",
        done=done,
        done_values=_done_values(request, site, typed),
        carried={
            name: text
            for name, text in typed.items()
            if text and name not in {field.name for field in done}
        },
        lists={**lists, "name": (*lists.get("product", ()), *lists.get("active", ()))},
    )


def log_tank(request: Request, site: KnownSite, typed: Mapping[str, str]) -> tuple[str, bool]:
    """Store the spray record of a filled-in sheet; the id of its entry, and if the turf said no.

    Raises
    ------
    InputError
        The sheet or the record cannot be made; the form's field is named.
    """
    assert site.site is not None
    fields = _done_fields(site)
    found = read(fields, typed, Display(site.site.units), site.site.zone)
    done = Done(
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


def _groups(site: KnownSite, typed: Mapping[str, str]) -> tuple[tuple[str, tuple[Field, ...]], ...]:
    return (
        ("Ground and sprayer", _sprayer_fields(site, typed)),
        *((f"Product {row + 1}", product_fields(row)) for row in range(PRODUCTS)),
    )


def _sprayer_fields(site: KnownSite, typed: Mapping[str, str]) -> tuple[Field, ...]:
    """The fields of ground and sprayer; hints say what counts where one is left empty."""
    assert site.site is not None
    sprayers = site.site.sprayer
    named = next((s for s in sprayers if s.name == typed.get("sprayer")), None)
    kept = named or (sprayers[0] if len(sprayers) == 1 else None)

    def amount(name: str, label: str, example: str, *, needed: bool = False) -> Field:
        own = getattr(kept, name, "") if kept is not None else ""
        hint = f"left empty: {own}" if own else example
        return Field(name, label, hint=hint, needed=needed and not own)

    areas = ", ".join(f"{a.name} {a.size}".strip() for a in site.site.area)
    choose = (
        (Field("sprayer", "Sprayer", "choice",
               options=(("", "not said"), *((s.name, s.name) for s in sprayers))),)
        if len(sprayers) > 1 else ()
    )  # fmt: skip
    purposes = tuple((name, render(purpose_of(name).title)) for name in PURPOSES)
    return (
        Field("purpose", "Purpose", "choice", options=(("", "not said"), *purposes)),
        Field("where", "Where", needed=bool(areas),
              hint=f"one or more of: {areas}" if areas else "to count what the log says was put"
              " there"),
        Field("area", "Area to treat", needed=not areas,
              hint="left empty: the size of the areas" if areas else "e.g. 12 acre or 4.8 ha"),
        *choose,
        amount("carrier", "Water carried", "e.g. 40 gal/acre or 370 L/ha", needed=True),
        amount("tank", "Tank holds", "e.g. 300 gal or 1100 L", needed=True),
        amount("speed", "Speed", "to check nozzles: e.g. 4 mph"),
        amount("spacing", "Nozzle spacing", "e.g. 20 in"),
        amount("flow", "Measured from one nozzle", "e.g. 0.5 gal/min"),
    )  # fmt: skip


def _done_fields(site: KnownSite) -> tuple[Field, ...]:
    """What is asked for the record beside the sheet."""
    assert site.site is not None
    weeds = tuple((code, weed(code).name) for code in site.site.weeds)
    target = Field("target", "Target weed", "choice", options=(("", "not said"), *weeds))
    return (*_DONE, target)


def _done_values(request: Request, site: KnownSite, typed: Mapping[str, str]) -> dict[str, str]:
    """What stands in the record's fields: as typed, the window's hours if they came, or now."""
    assert site.site is not None
    zone, today = site.site.zone, today_of(request, site)
    now = dt.datetime.combine(today, dt.datetime.now(zone).time())
    values = {
        "operator": site.site.operator.name,
        "certification": site.site.operator.certification,
        **{field.name: typed[field.name] for field in _DONE if field.name in typed},
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


def _named(problem: InputError) -> str:
    text = sentence_of(problem)
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
    return f"p{row}.{key if key in _PRODUCT_KEYS else 'name'}"


def _words(typed: Mapping[str, str], row: int) -> str:
    """A product as the command line would name it."""
    name = typed.get(f"p{row}.name", "")
    given = ((key, typed.get(f"p{row}.{key}", "")) for key in _PRODUCT_KEYS)
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
