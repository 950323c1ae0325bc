"""What is known of each weed, for every site alike."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.report.weed_facts import weed_list
from windowcast.web.context import page, voice_of


def weeds(request: Request) -> Response:
    """Every weed under its life cycle, with what is published and the sources."""
    return page(request, "weeds.html", groups=weed_list(voice_of(request, None)))


ROUTES = [Route("/weeds", weeds)]
