"""The log screen: list, add, edit with history, take out, undo, the printable spray record."""

from __future__ import annotations

import datetime as dt
import logging
from contextlib import suppress
from dataclasses import replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.core.errors import InputError, WindowcastError
from windowcast.core.local_days import local_today
from windowcast.core.phrase import say
from windowcast.materials.actives import load_actives
from windowcast.materials.products import load_products
from windowcast.records.entry_checks import check_dates
from windowcast.records.hour_weather import prefilled
from windowcast.records.kinds import KINDS
from windowcast.records.log_mirror import LogNow
from windowcast.records.model import Application, Entry, kind_of
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Stored
from windowcast.report.catalogue import Voice
from windowcast.report.log_entries import entry_text
from windowcast.report.problems import sentence_of
from windowcast.report.spray_record import lacking, record_sheet
from windowcast.web.context import (
    moved_to,
    own_site,
    page,
    posted,
    readable_site,
    ready_answer,
    units_of,
    voice_of,
    web,
)
from windowcast.web.fields import wrong_by_field
from windowcast.web.log_forms import (
    MATERIALS,
    entry_from,
    fields_of,
    form_of,
    form_values,
    suggestions,
)
from windowcast.web.log_pages import log_page
from windowcast.web.sites import KnownSite

LOG = logging.getLogger("windowcast.web")
UNUSABLE = 20  # entries that nobody can use, shown at most


def open_log(site: KnownSite) -> SeasonLog:
    """The site's season log; it is made when it does not exist."""
    assert site.log_path is not None
    return SeasonLog(site.log_path)


def listing(request: Request) -> Response:
    """The entries, newest first and a page at a time, and the kinds that can be added."""
    site = readable_site(request)
    assert site.site is not None
    now = web(request).logs.now(site.log_path) if site.log_path is not None else LogNow(0, (), ())
    shown = log_page(now.entries, request.query_params, southern=site.site.place.southern)
    voice = voice_of(request, site)
    return page(
        request,
        "log.html",
        site=site,
        screen="log",
        shown=shown,
        rows=[_row(item, voice) for item in shown.entries],
        kinds={kind: voice.say(f"log_kind.{kind}") for kind in KINDS},
        unusable=[(item, _kind_said(item.kind, voice)) for item in now.unusable[:UNUSABLE]],
        more_unusable=max(0, len(now.unusable) - UNUSABLE),
    )


def _row(item: Stored[Any], voice: Voice) -> tuple[Stored[Any], str, str, bool]:
    """An entry with its kind and what it says, and whether it has a spray record."""
    kind = kind_of(item.entry)
    return item, _kind_said(kind, voice), entry_text(item.entry, voice), kind == "application"


def _kind_said(kind: str, voice: Voice) -> str:
    """A kind in words; one that nobody knows as it is."""
    return voice.say(f"log_kind.{kind}") if kind in KINDS else kind


async def adding(request: Request) -> Response:
    """An empty form, or the entry it was filled in with."""
    site, kind = own_site(request), _kind(request)
    if request.method == "GET":
        start = {"date": today_of(request, site).isoformat()}
        return _form(request, site, kind, values=start)
    typed = await posted(request)
    try:
        await run_in_threadpool(_add, request, site, kind, typed)
    except InputError as error:
        return _form(request, site, kind, values=typed, problem=error)
    return moved_to(f"/s/{site.slug}/log", "added")


def _add(request: Request, site: KnownSite, kind: str, typed: dict[str, str]) -> None:
    entry = _entry(request, site, kind, typed)
    if isinstance(entry, Application):
        entry = with_weather(request, site, entry)
    with open_log(site) as log:
        log.add(entry)


async def editing(request: Request) -> Response:
    """An entry in its form with its history, or the form sent back."""
    site = own_site(request)
    item, history = await run_in_threadpool(
        _with_history, request, site, request.path_params["entry"]
    )
    kind, voice = kind_of(item.entry), voice_of(request, site)
    if kind == "application" and len(item.entry.materials) > MATERIALS:
        raise HTTPException(409, "More materials than the form holds: use windowcast log edit.")
    assert site.site is not None
    if request.method == "GET":
        values = form_values(item.entry, voice, site.site.zone)
        return _form(request, site, kind, values=values, item=item, history=history)
    typed = await posted(request)
    try:
        await run_in_threadpool(_edit, request, site, item.id, typed, kind)
    except InputError as error:
        return _form(request, site, kind, values=typed, item=item, history=history, problem=error)
    return moved_to(f"/s/{site.slug}/log", "edited")


def _edit(
    request: Request, site: KnownSite, entry_id: str, typed: dict[str, str], kind: str
) -> None:
    version = typed.get("version", "")
    if not version.isdigit():
        raise HTTPException(400, "The form lacks the version it was made from. Reload the page.")
    entry = _entry(request, site, kind, typed)
    with open_log(site) as log:
        log.edit(entry_id, entry, version=int(version))


async def removing(request: Request) -> Response:
    """Take an entry out; undo brings it back."""
    site = own_site(request)
    typed = await posted(request)
    version = typed.get("version", "")

    def remove() -> None:
        with open_log(site) as log:
            log.remove(
                request.path_params["entry"], version=int(version) if version.isdigit() else None
            )

    await run_in_threadpool(remove)
    return moved_to(f"/s/{site.slug}/log", "removed")


async def undoing(request: Request) -> Response:
    """Take back the last change."""
    site = own_site(request)
    await posted(request)

    def undo() -> None:
        with open_log(site) as log:
            log.undo()

    await run_in_threadpool(undo)
    return moved_to(f"/s/{site.slug}/log", "undone")


def spray_record(request: Request) -> Response:
    """One application as a sheet to print."""
    site = own_site(request)
    item, _ = _with_history(request, site, request.path_params["entry"])
    if not isinstance(item.entry, Application):
        raise HTTPException(404, "Only applications have a spray record.")
    voice = voice_of(request, site)
    sheet = record_sheet(item.entry, voice)
    lacks = [voice.text(said) for said in lacking(sheet)]
    return page(
        request, "record.html", site=site, screen="log", item=item, sheet=sheet, lacks=lacks
    )


def today_of(request: Request, site: KnownSite) -> dt.date:
    """The date on the site's clock, or the one the server was told."""
    assert site.site is not None
    return web(request).today or local_today(site.site.zone)


def _kind(request: Request) -> str:
    kind = str(request.path_params["kind"])
    if kind not in KINDS:
        raise HTTPException(404, "There is no such kind of entry.")
    return kind


def _entry(request: Request, site: KnownSite, kind: str, typed: dict[str, str]) -> Entry:
    assert site.site is not None
    entry = entry_from(kind, typed, voice_of(request, site), site.site.zone)
    return accepted(request, site, entry)


def accepted(request: Request, site: KnownSite, entry: Entry) -> Entry:
    """The entry with its actives by their ISO names, when its date and actives are possible.

    Raises
    ------
    InputError
        A date ahead or before the turf, or an active that is not known.
    """
    assert site.site is not None
    check_dates(entry, today=today_of(request, site), established=site.site.turf.established)
    if not isinstance(entry, Application):
        return entry
    known = load_actives(site.beside(site.site.materials_file))
    materials = []
    for row, material in enumerate(entry.materials):
        try:
            materials.append(replace(material, active=known[material.active].name))
        except InputError as error:
            raise error.at(field=f"materials.{row}.active") from None
    return replace(entry, materials=tuple(materials))


def with_weather(request: Request, site: KnownSite, application: Application) -> Application:
    """The application with the hour's weather, where the site's record knows it."""
    try:
        return prefilled(application, ready_answer(request, site).answer.weather)
    except WindowcastError as error:
        LOG.warning("the hour's weather is not filled in: %s", error)
        return application


def _with_history(request: Request, site: KnownSite, entry_id: str) -> tuple[Any, list[str]]:
    """An entry as it stands, and each change of it in words; 404 when there is none."""
    voice = voice_of(request, site)
    try:
        with open_log(site) as log:
            item = log.get(entry_id)
            changes = log.history(item.id)
    except InputError as error:
        raise HTTPException(404, error.problem) from None
    words = []
    for change in changes:
        entry = next(r.entry for r in change.revisions if r.id == item.id)
        text = voice.say("log_page.taken_out") if entry is None else entry_text(entry, voice)
        action = say(f"log_action.{change.action}")
        words.append(voice.say("log_page.change_line", at=change.at, action=action, text=text))
    return item, words


def _form(
    request: Request,
    site: KnownSite,
    kind: str,
    *,
    values: dict[str, str],
    item: Any = None,
    history: Any = (),
    problem: InputError | None = None,
) -> Response:
    voice = voice_of(request, site)
    names = {field.name for field in fields_of(kind, voice)}
    wrong = wrong_by_field(problem, names, voice)
    return page(
        request,
        "log_form.html",
        site=site,
        screen="log",
        status=422 if problem else 200,
        kind=kind,
        title=say(f"log_kind.{kind}"),
        groups=form_of(kind, voice),
        values=values,
        units=units_of(site),
        lists=suggestions(site, _product_names(site)),
        item=item,
        history=history,
        wrong=wrong,
        problem=sentence_of(problem, voice) if problem and not wrong else "",
    )


def _product_names(site: KnownSite) -> list[str]:
    """Products of the materials file; none where it cannot be read, which other screens say."""
    assert site.site is not None
    file = site.beside(site.site.materials_file)
    with suppress(InputError):
        return list(load_products(file, load_actives(file)))
    return []


ROUTES = [
    Route("/s/{site}/log", listing),
    Route("/s/{site}/log/new/{kind}", adding, methods=["GET", "POST"]),
    Route("/s/{site}/log/undo", undoing, methods=["POST"]),
    Route("/s/{site}/log/{entry}", editing, methods=["GET", "POST"]),
    Route("/s/{site}/log/{entry}/remove", removing, methods=["POST"]),
    Route("/s/{site}/log/{entry}/record", spray_record),
]
