"""Giving files to the page: weather files and log tables, shown as understood, then stored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.core.errors import InputError
from windowcast.records.by_hand import LogTableOptions
from windowcast.records.import_export import read_log_file
from windowcast.report.catalogue import Voice
from windowcast.report.problems import problem_text, sentence_of
from windowcast.web.context import moved_to, own_site, page, posted, proven, voice_of
from windowcast.web.incoming import (
    CHOICES,
    FileReading,
    Incoming,
    Purpose,
    choices_said,
    found_aside,
    keep_aside,
    kept_weather,
    options_from,
    options_text,
    shown,
    spec_of,
)
from windowcast.web.log_views import accepted, open_log
from windowcast.web.site_views import add_weather_file
from windowcast.web.sites import KnownSite

_BACK: Mapping[Purpose, str] = {"weather": "settings", "log": "log"}
_ON_THE_PAGE = (  # what the command line asks with an option, the page asks with a choice
    ("say which: FILE:dates=mdy or FILE:dates=dmy", "choose below what comes first"),
    ("say which: FILE:decimal=comma or FILE:decimal=point", "choose the decimal mark below"),
    ("name one: FILE:sheet=NAME with ", "name one below: "),
    (": FILE:unknown=ignore", ", by the choice below"),
    ("or declare the whole file: FILE:units=us (or metric, tenths)", "or choose the units below"),
)  # fmt: skip


async def receiving_weather(request: Request) -> Response:
    """A weather file: one that leaves no doubt is stored, any other is shown first."""
    return await _received(request, "weather")


async def receiving_log(request: Request) -> Response:
    """A table of log entries, or an export: shown before anything is stored."""
    return await _received(request, "log")


async def _received(request: Request, purpose: Purpose) -> Response:
    site = own_site(request)
    form = await request.form(max_files=1, max_fields=4, max_part_size=64 * 1024)
    proven(request, str(form.get("proof", "")))
    file = form.get("file")
    if not isinstance(file, UploadFile) or not file.filename:
        raise HTTPException(400, "Choose a file first.")
    content = await file.read()
    try:
        incoming = await run_in_threadpool(keep_aside, site, purpose, file.filename, content)
    except InputError as error:
        return _page(request, site, purpose, None, {}, problem=error)
    return await _looked_at(request, site, purpose, incoming, {}, store=False)


async def answering(request: Request) -> Response:
    """What the owner says of a file kept aside: read it again, or store it."""
    site, purpose = own_site(request), _purpose(request)
    typed = await posted(request)
    options: dict[str, str] = {}
    incoming = None
    try:
        incoming = found_aside(site, typed.get("token", ""))
        options = options_from(typed, purpose)
    except InputError as error:
        return _page(request, site, purpose, incoming, options, problem=error)
    store = typed.get("do") == "store"
    return await _looked_at(request, site, purpose, incoming, options, store=store)


async def _looked_at(
    request: Request,
    site: KnownSite,
    purpose: Purpose,
    incoming: Incoming,
    options: Mapping[str, str],
    *,
    store: bool,
) -> Response:
    """Read a file in a worker; store it when it is confirmed, or leaves no doubt."""
    try:
        seen = await run_in_threadpool(
            shown, incoming, options, site, purpose, lang=voice_of(request, site).lang
        )
        if store or (purpose == "weather" and seen.plain):
            await run_in_threadpool(_STORE[purpose], request, site, incoming, options)
            return moved_to(
                f"/s/{site.slug}/{_BACK[purpose]}",
                "uploaded" if purpose == "weather" else "imported",
            )
    except InputError as error:
        return _page(request, site, purpose, incoming, options, problem=error)
    return _page(request, site, purpose, incoming, options, seen=seen)


def _store_weather(
    request: Request, site: KnownSite, incoming: Incoming, options: Mapping[str, str]
) -> None:
    name = kept_weather(site, incoming.name, incoming.path.read_bytes())
    add_weather_file(request, site, f"{name}{options_text(options)}")
    incoming.path.unlink(missing_ok=True)


def _store_log(
    request: Request, site: KnownSite, incoming: Incoming, options: Mapping[str, str]
) -> None:
    assert site.site is not None
    read = read_log_file(
        spec_of(incoming, options),
        lambda entry: accepted(request, site, entry),
        LogTableOptions(site.site.zone),
    )
    with open_log(site) as log:
        log.merge(read.changes)
    incoming.path.unlink(missing_ok=True)


_STORE = {"weather": _store_weather, "log": _store_log}


def _purpose(request: Request) -> Purpose:
    purpose = str(request.path_params["purpose"])
    if purpose not in CHOICES:
        raise HTTPException(404, "There is no such kind of file.")
    return cast("Purpose", purpose)


def _page(
    request: Request,
    site: KnownSite,
    purpose: Purpose,
    incoming: Incoming | None,
    options: Mapping[str, str],
    *,
    seen: FileReading | None = None,
    problem: InputError | None = None,
) -> Response:
    """What was understood with one button that stores it, or what is wrong; and the choices."""
    return page(
        request,
        "incoming.html",
        site=site,
        screen=_BACK[purpose],
        status=422 if problem else 200,
        purpose=purpose,
        incoming=incoming,
        choices=choices_said(purpose, voice_of(request, site)),
        options=options,
        seen=seen,
        problem=_worded(problem, incoming, voice_of(request, site)) if problem else "",
        back=f"/s/{site.slug}/{_BACK[purpose]}",
    )


def _worded(problem: InputError, incoming: Incoming | None, voice: Voice) -> str:
    remedy = problem.remedy or ""
    for option, choice in _ON_THE_PAGE:
        remedy = remedy.replace(option, choice)
    said = InputError(
        problem.problem, path=problem.path, row=problem.row, field=problem.field, remedy=remedy
    )
    text = sentence_of(said, voice) if said.field == "file" else f"{problem_text(said, voice)}."
    return text.replace(str(incoming.path), incoming.name) if incoming is not None else text


ROUTES = [
    Route("/s/{site}/settings/upload", receiving_weather, methods=["POST"]),
    Route("/s/{site}/log/upload", receiving_log, methods=["POST"]),
    Route("/s/{site}/incoming/{purpose}", answering, methods=["POST"]),
]
