"""What helps in the first minute: steps to a site of one's own, a short tour, no weather yet."""

from __future__ import annotations

import logging
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.core.errors import WindowcastError
from windowcast.web.context import moved_to, page, posted, ready_answer, voice_of, web
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


ROUTES = [Route("/tour", seen, methods=["POST"])]
