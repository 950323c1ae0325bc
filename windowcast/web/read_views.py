"""Screens and files for reading: today, calendar, message, what is known of weeds and actives.

In the first minute Today shows the steps to a site of one's own, a short tour, and what brings
weather to a site that has none.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from windowcast.core.errors import InputError, WindowcastError
from windowcast.materials.actives import load_actives
from windowcast.report.active_facts import active_said
from windowcast.report.board import message_text
from windowcast.report.calendar import calendar_text
from windowcast.report.page import render_page
from windowcast.report.problems import problem_text
from windowcast.report.weed_facts import weed_list
from windowcast.web.context import (
    language_of,
    moved_to,
    page,
    posted,
    readable_site,
    ready_answer,
    voice_of,
    web,
)
from windowcast.web.security import LOOPBACK, host_name
from windowcast.web.sites import SAMPLE_SLUG, KnownSite, SiteBook, sample

LOG = logging.getLogger("windowcast.web")
TOUR_COOKIE = "windowcast_tour"
_YEARS_S = 5 * 365 * 86400  # the tour is seen once


def helps(request: Request, site: KnownSite) -> dict[str, Any]:
    """What Today shows of it: the tour until it is put away, the steps beside the sample."""
    return {
        "tour": TOUR_COOKIE not in request.cookies,
        "steps": site.sample,
    }


async def seen(request: Request) -> Response:
    """Puts the tour away in this browser."""
    typed = await posted(request)
    site = web(request).book.find(typed.get("site", ""))
    response = moved_to(f"/s/{site.slug}/today" if site is not None else "/")
    response.set_cookie(TOUR_COOKIE, "seen", max_age=_YEARS_S, httponly=True, samesite="lax")
    return response


def asked_site(request: Request, book: SiteBook) -> KnownSite | None:
    """The site that an address means: its own, or the first on the first page."""
    if request.url.path == "/":
        return book.all()[0]
    return book.find(str(request.path_params.get("site", "")))


def no_weather(request: Request, site: KnownSite, text: str) -> Response:
    """What brings weather to a site that has none; on Today with the sample to look at, folded."""
    assert site.site is not None
    shows = request.url.path == "/" or request.url.path.endswith("/today")
    return page(
        request,
        "no_weather.html",
        site=site,
        screen="today" if shows else "",
        status=503,
        text=text,
        latitude=site.site.latitude,
        longitude=site.site.longitude,
        sample_body=_sample_body(request, site) if shows else "",
    )


def _sample_body(request: Request, site: KnownSite) -> str:
    """What Today says of the sample; "" (and a line for the server's keeper) where it fails too."""
    try:
        ready = ready_answer(request, sample())
    except WindowcastError as error:
        LOG.error("the %s cannot be shown: %s", SAMPLE_SLUG, error)
        return ""
    return ready.body.of(voice_of(request, site))


def actives(request: Request) -> Response:
    """Every active with what it is for."""
    voice = voice_of(request, None)
    return page(
        request, "actives.html", actives=[active_said(a, voice) for a in load_actives().values()]
    )


def active(request: Request) -> Response:
    """One active with its values and their sources, and what its label must say."""
    known = load_actives().get(request.path_params["name"])
    if known is None:
        raise HTTPException(404, "There is no such active ingredient here.")
    return page(request, "active.html", active=active_said(known, voice_of(request, None)))


def weeds(request: Request) -> Response:
    """Every weed under its life cycle, with what is published and the sources."""
    return page(request, "weeds.html", groups=weed_list(voice_of(request, None)))


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
    Route("/weeds", weeds),
    Route("/actives", actives),
    Route("/actives/{name}", active),
    Route("/tour", seen, methods=["POST"]),
]
