"""A comparison of regions beside the sites, as ``windowcast compare`` wrote it into a folder.

Only the page and the stations' pages are shown. A name from an address is looked up in the list of
what the folder holds; no path is made of it. The pages carry their styles inside and one script
that is known by its hash; nothing else of theirs runs.
"""

from __future__ import annotations

from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from windowcast.core.given_files import read_regular
from windowcast.report.page import page_of
from windowcast.report.region_page import sorting_script
from windowcast.report.region_station import FOLDER
from windowcast.web.context import voice_of, web

_MOST_BYTES = 8_000_000
_MAIN = "<main"


def compared(request: Request) -> Response:
    """The comparison."""
    folder = web(request).regions
    return _shown(request, folder / "index.html" if folder is not None else None)


def station(request: Request) -> Response:
    """A station's own page."""
    folder, name = web(request).regions, f"{request.path_params['name']}.html"
    pages = (folder / FOLDER).glob("*.html") if folder is not None else ()
    return _shown(request, next((page for page in pages if page.name == name), None))


def _shown(request: Request, page: Path | None) -> Response:
    if page is None or page.is_symlink() or not page.is_file():
        raise HTTPException(404)
    text = read_regular(page, _MOST_BYTES).decode("utf-8", "replace")
    menu = page_of("region_menu.html", voice_of(request, None))
    policy = (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src '{sorting_script()[1]}'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return HTMLResponse(
        text.replace(_MAIN, f"{menu}\n{_MAIN}", 1), headers={"content-security-policy": policy}
    )


ROUTES = [
    Route("/regions/", compared),
    Route("/regions/index.html", compared),
    Route("/regions/stations/{name}.html", station),
]
