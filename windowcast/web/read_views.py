"""Screens and files for reading: today, the season, the calendar, the message."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from windowcast.core.errors import InputError
from windowcast.report.calendar import calendar_text
from windowcast.report.message import message_text
from windowcast.report.page import render_page
from windowcast.report.problems import problem_text
from windowcast.web.context import language_of, page, readable_site, ready_answer, voice_of, web
from windowcast.web.first_minute import helps
from windowcast.web.security import LOOPBACK, host_name
from windowcast.web.sites import KnownSite


def start(request: Request) -> Response:
    """Today of the first site, or the sample."""
    return _today(request, web(request).book.all()[0])


def today(request: Request) -> Response:
    """The sentence that answers, and the windows behind it."""
    return _today(request, readable_site(request))


def _today(request: Request, site: KnownSite) -> Response:
    if site.site is None:
        text = problem_text(cast("InputError", site.problem), voice_of(request, None))
        return page(request, "error.html", site=site, status=409, code=409, text=text)
    ready = ready_answer(request, site)
    subscription = subscription_of(request, site)
    return page(
        request,
        "today.html",
        site=site,
        screen="today",
        body=ready.body.of(voice_of(request, site)),
        calendar=subscription,
        **helps(request, site),
    )


@dataclass(frozen=True)
class Subscription:
    """Where a calendar program finds a site's calendar.

    `address` is what people copy, `link` what opens the program; both hold the token where the
    server has one, and the language of the page. `local`: only this machine can reach it.
    """

    address: str
    link: str
    local: bool


def subscription_of(request: Request, site: KnownSite) -> Subscription:
    """The calendar's address under the name by which the page was asked for."""
    token = web(request).guard.token
    own = site.site.language if site.site is not None else None
    lang = language_of(request, site)
    asked = ({"token": token} if token else {}) | ({"lang": lang} if lang != (own or "en") else {})
    query = f"?{urlencode(asked)}" if asked else ""
    place = f"{request.url.netloc}/s/{site.slug}/calendar.ics{query}"
    local = host_name(request.headers) in LOOPBACK
    return Subscription(f"{request.url.scheme}://{place}", f"webcal://{place}", local)


def one_page(request: Request) -> Response:
    """The self-contained page file."""
    site = readable_site(request)
    voice = voice_of(request, site)
    plans = [view.plan for view in web(request).plans.get(site).of(voice)]
    return Response(
        render_page(*ready_answer(request, site).answers, plans=plans, voice=voice),
        media_type="text/html",
        headers={
            "content-disposition": f'attachment; filename="{site.slug}.html"',
            "content-security-policy": "sandbox",
        },
    )


def calendar(request: Request) -> Response:
    """The calendar to subscribe to: of one site, or of the first."""
    site = _one(request)
    text = calendar_text(*ready_answer(request, site).answers, voice=voice_of(request, site))
    return Response(text, media_type="text/calendar")


def message(request: Request) -> Response:
    """The answer as plain text for an e-mail."""
    site = _one(request)
    rankings = [answer.ranking for answer in ready_answer(request, site).answers]
    return PlainTextResponse(message_text(*rankings, voice=voice_of(request, site)))


def _one(request: Request) -> KnownSite:
    if "site" in request.path_params:
        return readable_site(request)
    return web(request).book.all()[0]


ROUTES = [
    Route("/s/{site}/today", today),
    Route("/s/{site}/page.html", one_page),
    Route("/s/{site}/calendar.ics", calendar),
    Route("/s/{site}/message.txt", message),
]
