"""What every page handler works with: the sites, the answers, the templates, the guard."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from windowcast.core.units import Display
from windowcast.report.answer_page import Words
from windowcast.report.catalogue import render
from windowcast.report.page import templates
from windowcast.report.plan_view import PlanView
from windowcast.report.review_page import ReviewBook
from windowcast.web.answers import Keeper, Ready
from windowcast.web.log_pages import LogShelf
from windowcast.web.security import SESSION_COOKIE, Guard, csrf_proof, from_own_page, same_origin
from windowcast.web.sites import KnownSite, SiteBook
from windowcast.windows.cautions import CAUTIONS

T = TypeVar("T")
SCREENS = (
    ("today", "Today"),
    ("season", "Season"),
    ("plan", "Plan & tank sheet"),
    ("log", "Log"),
    ("review", "Review"),
    ("compare", "Compare"),
    ("settings", "Site"),
)
DONE = {  # what a page says after a form was taken; the address carries the key only
    "made": "Your site is made.",
    "saved": "Saved.",
    "added": "Added to the log.",
    "logged": "This application is in the log; undo takes it back.",
    "logged-against": "This application is in the log as it was done, though the turf should not"
    " have had it: see its tank sheet. Undo takes it back.",
    "edited": "Changed; the version before is kept in the history.",
    "removed": "Taken out; undo brings it back.",
    "undone": "The last change was taken back.",
    "uploaded": "The weather file was read and added.",
    "imported": "The entries of the file were added; undo takes them back.",
}


@dataclass(frozen=True)
class Web:
    """The parts of a running server."""

    book: SiteBook
    answers: Keeper[Ready]
    plans: Keeper[tuple[PlanView, ...]]
    reviews: Keeper[ReviewBook]
    guard: Guard
    logs: LogShelf = field(default_factory=LogShelf)
    today: dt.date | None = None  # answer as if this were the date; None: the site's own clock


def web(request: Request) -> Web:
    """The server's parts."""
    parts: Web = request.app.state.web
    return parts


def site_of(request: Request) -> KnownSite:
    """The site of the address; 404 when there is none."""
    site = web(request).book.find(request.path_params["site"])
    if site is None:
        raise HTTPException(404, "There is no such site here.")
    return site


def readable_site(request: Request) -> KnownSite:
    """The site of the address when its file could be read; else 409 with what is wrong."""
    site = site_of(request)
    if site.site is None:
        raise HTTPException(409, f"The site file needs mending: {site.problem}")
    return site


def own_site(request: Request) -> KnownSite:
    """As `readable_site`, and not the sample, which keeps nothing."""
    site = readable_site(request)
    if site.sample:
        raise HTTPException(409, "The sample keeps no log. Make a site of your own first.")
    return site


def ready_answer(request: Request, site: KnownSite) -> Ready:
    """The site's answer."""
    return web(request).answers.get(site)


def piece(request: Request, found: Sequence[T]) -> T:
    """Of answers or plans for a site's ground, the one whose number the address gives."""
    try:
        number = int(request.query_params.get("ground", "1"))
    except ValueError:
        number = 0
    if not 1 <= number <= len(found):
        raise HTTPException(404, "There is no such ground on this site.")
    return found[number - 1]


def display_of(site: KnownSite) -> Display:
    """The site's units."""
    return Display(site.site.units if site.site is not None else "metric")


def page(
    request: Request,
    template: str,
    *,
    site: KnownSite | None = None,
    screen: str = "",
    status: int = 200,
    **context: Any,
) -> HTMLResponse:
    """A page in the frame of the application, with the proof its forms carry."""
    parts = web(request)
    session = request.cookies.get(SESSION_COOKIE, "")
    fresh = not session
    if fresh:
        session = secrets.token_urlsafe(24)
    html = (
        templates()
        .get_template(template)
        .render(
            site=site,
            sites=parts.book.all(),
            screens=SCREENS,
            screen=screen,
            words=Words(display_of(site)) if site is not None else Words(Display()),
            proof=csrf_proof(parts.guard, session),
            done=DONE.get(request.query_params.get("done", ""), ""),
            cautions=[render(caution) for caution in CAUTIONS],
            **context,
        )
    )
    response = HTMLResponse(html, status)
    if fresh:
        response.set_cookie(SESSION_COOKIE, session, httponly=True, samesite="lax")
    return response


async def posted(request: Request) -> dict[str, str]:
    """The fields of a form that came from our own page; 403 otherwise.

    Uploaded files are not text fields and are left out.
    """
    fields = await _fields(request)
    proven(request, fields.pop("proof", ""))
    return fields


def proven(request: Request, proof: str) -> None:
    """403 unless a form came from our own page."""
    if not same_origin(request) or not from_own_page(request, web(request).guard, proof):
        raise HTTPException(
            403, "This form is out of date or came from elsewhere. Go back, reload, try again."
        )


async def _fields(request: Request) -> dict[str, str]:
    if request.headers.get("content-type", "").partition(";")[0] not in {
        "application/x-www-form-urlencoded",
        "multipart/form-data",
    }:
        raise HTTPException(415, "A form is expected here.")
    form = await request.form(max_files=1, max_fields=200, max_part_size=64 * 1024)
    return {name: value.strip() for name, value in form.items() if isinstance(value, str)}


def moved_to(path: str, done: str = "") -> Response:
    """The answer to a form that was taken: see the other page."""
    return RedirectResponse(f"{path}?done={done}" if done else path, 303)


def without_folders(text: str, parts: Web) -> str:
    """A message without the folder the sites lie in."""
    folder = str(parts.book.folder)
    return text.replace(f"{folder}/", "") if folder not in {"", ".", "/"} else text
