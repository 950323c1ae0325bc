"""The JSON interface under ``/api/``, described by ``/api/openapi.json``."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from windowcast.core.errors import InputError
from windowcast.core.phrase import LANGUAGES
from windowcast.core.version import __version__
from windowcast.records.entry_checks import from_plain, to_plain
from windowcast.records.kinds import KINDS
from windowcast.records.model import kind_of
from windowcast.records.stored import Stored
from windowcast.report.board import message_text
from windowcast.report.catalogue import Voice
from windowcast.report.season import plan_json
from windowcast.report.tables import csv_text, json_text, shipped_schema
from windowcast.web import openapi
from windowcast.web.context import own_site, readable_site, ready_answer, units_of, web
from windowcast.web.log_views import accepted, open_log
from windowcast.web.security import same_origin
from windowcast.web.sites import KnownSite


def error(status: int, text: str) -> Response:
    """A problem as JSON."""
    return JSONResponse({"error": text}, status)


def health(request: Request) -> Response:
    """That the server answers, for what watches over it: nothing of any site."""
    return JSONResponse({"status": "ok", "version": __version__})


def description(request: Request) -> Response:
    """The OpenAPI document."""
    return JSONResponse(openapi.document())


def rank_schema(request: Request) -> Response:
    """The JSON Schema of a ranking."""
    return JSONResponse(shipped_schema(), media_type="application/schema+json")


def sites(request: Request) -> Response:
    """Every site the server shows."""
    return JSONResponse([_site(site) for site in web(request).book.all()])


def _site(site: KnownSite) -> dict[str, Any]:
    known = site.site
    return {
        "id": site.slug,
        "name": site.name,
        "sample": site.sample,
        "problem": str(site.problem or ""),
        "latitude": known.latitude if known else None,
        "longitude": known.longitude if known else None,
        "timezone": known.timezone if known else None,
        "units": known.units if known else None,
    }


def rank(request: Request) -> Response:
    """The ranking as JSON or CSV, in the units asked for."""
    site = readable_site(request)
    rankings = [answer.ranking for answer in ready_answer(request, site).answers]
    units = request.query_params.get("units", rankings[0].units)
    if units not in {"us", "metric"}:
        raise HTTPException(422, "units is us or metric")
    rankings = [dataclasses.replace(r, units=units) for r in rankings]  # type: ignore[arg-type]
    voice = Voice(rankings[0].units, _language(request, site))
    match request.query_params.get("format", "json"):
        case "json":
            return Response(json_text(*rankings, voice=voice), media_type="application/json")
        case "csv":
            return Response(csv_text(*rankings, voice=voice), media_type="text/csv")
        case "text":
            return PlainTextResponse(message_text(*rankings, voice=voice))
        case _:
            raise HTTPException(422, "format is json, csv or text")


def _language(request: Request, site: KnownSite) -> str:
    """The language asked for, else the site's; what programs get hangs on no browser."""
    own = site.site.language if site.site is not None else None
    lang = request.query_params.get("lang", own or "en")
    if lang not in LANGUAGES:
        raise HTTPException(422, f"lang is one of {', '.join(LANGUAGES)}")
    return lang


def season(request: Request) -> Response:
    """The season plan as JSON."""
    site = readable_site(request)
    voice = Voice(units_of(site), _language(request, site))
    plans = [view.plan for view in web(request).plans.get(site).of(voice)]
    return Response(plan_json(*plans, voice=voice), media_type="application/json")


def log(request: Request) -> Response:
    """The season log as it stands."""
    site = own_site(request)
    kind = request.query_params.get("kind")
    if kind is not None and kind not in KINDS:
        raise HTTPException(422, f"kind is one of {', '.join(KINDS)}")
    assert site.log_path is not None
    text = web(request).logs.as_json(site.log_path, kind, _stored)
    return Response(text, media_type="application/json")


async def add(request: Request) -> Response:
    """Add an entry; JSON only, so that no form of another page can send one."""
    site = own_site(request)
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        raise HTTPException(415, "application/json is expected")
    if not same_origin(request):
        raise HTTPException(403, "requests from other sites are refused")
    body = _object(await request.body())
    kind = body.pop("kind", None)
    if not isinstance(kind, str):
        raise HTTPException(422, "kind is missing")
    stored = await run_in_threadpool(_add, request, site, kind, body)
    return JSONResponse(_stored(stored), 201)


def _object(body: bytes) -> dict[str, Any]:
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        raise HTTPException(400, "the body is not JSON") from None
    if not isinstance(found, dict):
        raise HTTPException(422, "the body is not an object")
    return found


def _add(request: Request, site: KnownSite, kind: str, body: dict[str, Any]) -> Stored[Any]:
    try:
        entry = from_plain(kind, body)
    except (OverflowError, ValueError) as problem:
        raise InputError(str(problem)) from None
    entry = accepted(request, site, entry)
    with open_log(site) as season_log:
        return season_log.get(season_log.add(entry)[0])


def _stored(item: Stored[Any]) -> dict[str, Any]:
    return {
        "id": item.id,
        "kind": kind_of(item.entry),
        "version": item.version,
        "changed_at": item.changed_at.isoformat(),
        "entry": to_plain(item.entry),
    }


ROUTES = [
    Route("/api/openapi.json", description),
    Route("/api/rank.schema.json", rank_schema),
    Route("/api/sites", sites),
    Route("/api/sites/{site}/rank", rank),
    Route("/api/sites/{site}/season", season),
    Route("/api/sites/{site}/log", log, methods=["GET"]),
    Route("/api/sites/{site}/log", add, methods=["POST"]),
]
