"""What is known of each active ingredient, for every site alike."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.materials.actives import load_actives
from windowcast.report.active_facts import active_said
from windowcast.web.context import page, voice_of


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


ROUTES = [Route("/actives", actives), Route("/actives/{name}", active)]
