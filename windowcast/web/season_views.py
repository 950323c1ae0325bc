"""Screens that look over the season: plan and tank sheet, review, compare."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.web.context import page, readable_site
from windowcast.web.tank_views import sheet_view


def plan(request: Request) -> Response:
    """The season's plan and, when the address asks for one, a tank sheet."""
    site = readable_site(request)
    tank = sheet_view(request, site)
    status = 422 if tank.problem or tank.wrong else 200
    return page(request, "plan.html", site=site, screen="plan", status=status, tank=tank)


ROUTES: list[Route] = [Route("/s/{site}/plan", plan)]
