"""What makes the page an application on a phone: its files, its manifest, what is kept offline.

`static/kept.js` is the service worker: it keeps the last answer of each page that was read and
shows it, dated, when the server cannot be reached. A page that does not carry its date is never
kept.
"""

from __future__ import annotations

from functools import cache, partial
from importlib import resources

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from windowcast.web.context import page

STATIC = {
    "windowcast.css": "text/css",
    "season.js": "text/javascript",
    "hours.js": "text/javascript",
    "installed.js": "text/javascript",
    "rate.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "icon-192.png": "image/png",
    "icon-512.png": "image/png",
}
MANIFEST = {
    "name": "windowcast",
    "short_name": "windowcast",
    "start_url": "/",
    "scope": "/",
    "display": "standalone",
    "background_color": "#f6f3ea",
    "theme_color": "#0b5a6b",
    "icons": [
        {"src": "/static/icon.svg", "type": "image/svg+xml", "sizes": "any"},
        {"src": "/static/icon-192.png", "type": "image/png", "sizes": "192x192"},
        {"src": "/static/icon-512.png", "type": "image/png", "sizes": "512x512"},
    ],
}


@cache
def _file(name: str) -> bytes:
    return resources.files("windowcast.web").joinpath("static", name).read_bytes()


def static(request: Request, *, name: str) -> Response:
    """One of the page's own files."""
    return Response(_file(name), media_type=STATIC[name])


def worker(request: Request) -> Response:
    """The service worker; it lies at the root so that it may answer for every page."""
    return Response(_file("kept.js"), media_type="text/javascript")


def manifest(request: Request) -> Response:
    """What a phone asks before it installs the page."""
    return JSONResponse(MANIFEST, media_type="application/manifest+json")


def away(request: Request) -> Response:
    """What is shown, from what was kept, for a page that was not."""
    return page(request, "away.html")


ROUTES = [
    *(Route(f"/static/{name}", partial(static, name=name)) for name in STATIC),
    Route("/kept.js", worker),
    Route("/manifest.webmanifest", manifest),
    Route("/away", away),
]
