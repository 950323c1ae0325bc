"""The local web application: routes, error pages, and the layers that guard them."""

from __future__ import annotations

import logging
from dataclasses import replace
from http import HTTPStatus

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from windowcast.core.errors import InputError, SourceUnreachableError, WindowcastError
from windowcast.core.extras import damage
from windowcast.report.problems import problem_text
from windowcast.report.translated import translated
from windowcast.web import (
    api,
    incoming_views,
    installable,
    log_views,
    read_views,
    region_views,
    season_views,
    site_views,
    trial_views,
)
from windowcast.web.context import Web, page, voice_of, web, without_folders
from windowcast.web.security import protected

LOG = logging.getLogger("windowcast.web")


ROUTES = [
    Route("/", read_views.start),
    Route("/favicon.ico", lambda request: Response(status_code=204)),
    Route("/healthz", api.health),
    Route("/calendar.ics", read_views.calendar),
    Route("/message.txt", read_views.message),
    *installable.ROUTES,
    *incoming_views.ROUTES,
    *site_views.ROUTES,
    *read_views.ROUTES,
    *region_views.ROUTES,
    *season_views.ROUTES,
    *log_views.ROUTES,
    *trial_views.ROUTES,
    *api.ROUTES,
]


def create_app(parts: Web) -> ASGIApp:
    """The application for a set of parts, behind its guard."""
    app = Starlette(
        routes=ROUTES,
        exception_handlers={
            HTTPException: _refused,
            InputError: _problem,
            SourceUnreachableError: _problem,
            Exception: _failed,
        },
    )
    app.state.web = parts
    # Compressed pages give away a secret only to one who can have a browser ask for many of them:
    # the token's cookie goes along with no request that another site makes.
    return protected(GZipMiddleware(app, minimum_size=1024, compresslevel=5), parts.guard)


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    voice = voice_of(request, None)
    if _for_programs(request):
        voice = replace(voice, lang="en")
    if error.detail == HTTPStatus(error.status_code).phrase:  # the framework's own: none of ours
        none_such = error.status_code == HTTPStatus.NOT_FOUND
        said = voice.say("error_page.no_page") if none_such else voice.say("error_page.no_use")
        return _error(request, error.status_code, said)
    return _error(request, error.status_code, translated(str(error.detail), voice.lang))


def _problem(request: Request, error: Exception) -> Response:
    """A problem of the user's data or of a source, in its own words without folders."""
    assert isinstance(error, WindowcastError)
    status = 503 if isinstance(error, SourceUnreachableError) else 422
    text = without_folders(problem_text(error, voice_of(request, None)), web(request))
    site = read_views.asked_site(request, web(request).book)
    if status == 503 and not _for_programs(request) and site is not None and site.path is not None:
        return read_views.no_weather(request, site, text)
    return _error(request, status, text)


def _failed(request: Request, error: Exception) -> Response:
    LOG.error("%s %s failed: %r", request.method, request.url.path, error)
    if (damaged := damage(error)) is not None:
        return _problem(request, damaged)
    voice = voice_of(request, None)
    return _error(request, 500, voice.say("error_page.unknown"))


def _for_programs(request: Request) -> bool:
    """Whether a program reads the answer: a calendar, a script, a download."""
    path = request.url.path
    return path.startswith("/api/") or path.endswith((".ics", ".txt", ".css"))


def _error(request: Request, status: int, text: str) -> Response:
    if request.url.path.startswith("/api/"):
        return api.error(status, text)
    if _for_programs(request):
        return PlainTextResponse(f"{text}\n", status)
    site = web(request).book.find(str(request.path_params.get("site", "")))
    return page(request, "error.html", site=site, status=status, text=text, code=status)
