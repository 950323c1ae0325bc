"""The seasons ahead of a site: programmes laid out and compared."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.programme.seasons_ahead import MOST_SEASONS
from windowcast.records.grounds_ahead import grounds_ahead
from windowcast.records.observations import Logged
from windowcast.report.seasons_ahead import ahead_svg, notes, said
from windowcast.report.wording import ground
from windowcast.web.context import page, readable_site, voice_of
from windowcast.web.log_views import today_of

SEASONS = tuple(range(2, MOST_SEASONS + 1))
DRAWS = 400  # a page is waited for


def ahead(request: Request) -> Response:
    """Two to four seasons of jobs for each piece of ground, in words and as a picture."""
    known = readable_site(request)
    assert known.site is not None
    site, voice = known.site, voice_of(request, known)
    asked = request.query_params.get("seasons", "3")
    seasons = int(asked) if asked in map(str, SEASONS) else 3
    today = today_of(request, known)
    logged = None
    if known.log_path is not None and known.log_path.is_file():
        logged = Logged.read(known.log_path, until=today, zone=site.zone)
    found = grounds_ahead(
        site, logged, today, materials_file=known.beside(site.materials_file), seasons=seasons,
        draws=DRAWS,
    )  # fmt: skip
    shown = [
        (ground(one.site, one.areas), said(one, voice), ahead_svg(one, voice, alone=False),
         notes(one, voice))
        for one in found
    ]  # fmt: skip
    return page(
        request, "ahead.html", site=known, screen="plan", grounds=shown, seasons=seasons,
        choices=SEASONS,
    )  # fmt: skip


ROUTES = [Route("/s/{site}/plan/seasons", ahead)]
