"""What every page handler works with: the sites, the answers, the templates, the guard."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from windowcast.core.phrase import LANGUAGES
from windowcast.core.units import System
from windowcast.report.catalogue import Voice, catalogue
from windowcast.report.here_text import HereView
from windowcast.report.page import page_of
from windowcast.report.plan_view import PlanView
from windowcast.report.problems import problem_text
from windowcast.report.review_text import ReviewBook
from windowcast.web.answers import InVoices, Keeper, Ready
from windowcast.web.log_pages import LogShelf
from windowcast.web.security import SESSION_COOKIE, Guard, csrf_proof, from_own_page, same_origin
from windowcast.web.sites import KnownSite, SiteBook
from windowcast.windows.model import CAUTIONS

if TYPE_CHECKING:
    from windowcast.core.errors import InputError


LANGUAGE_COOKIE = "windowcast_lang"
_SAID_ONCE = frozenset({"lang", "done", "token"})  # of an address, not part of what it shows
T = TypeVar("T")
SCREENS = ("today", "season", "plan", "log", "review", "compare", "settings")
DONE = (  # what may have been done, as the address of the next page says it
    "made", "saved", "added", "logged", "logged-against", "edited", "removed", "undone",
    "uploaded", "imported",
)  # fmt: skip


@dataclass(frozen=True)
class Web:
    """The parts of a running server."""

    book: SiteBook
    answers: Keeper[Ready]
    plans: Keeper[InVoices[tuple[PlanView, ...]]]
    reviews: Keeper[ReviewBook]
    guard: Guard
    heres: Keeper[InVoices[HereView | None]] = field(
        default_factory=lambda: Keeper(lambda known: InVoices(lambda voice: None))
    )
    logs: LogShelf = field(default_factory=LogShelf)
    regions: Path | None = None  # folder of a comparison that is shown too
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
        problem = problem_text(cast("InputError", site.problem), voice_of(request, None))
        raise HTTPException(409, f"The site file needs mending: {problem}")
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


def units_of(site: KnownSite) -> System:
    """The site's units."""
    return site.site.units if site.site is not None else "metric"


def language_of(request: Request, site: KnownSite | None) -> str:
    """The language of a page: as ``?lang=`` asks, as was asked before, as the site file says, as
    the browser would have it, English."""
    own = site.site.language if site is not None and site.site is not None else None
    asked = (request.query_params.get("lang"), request.cookies.get(LANGUAGE_COOKIE), own)
    accepted = _accepted(request.headers.get("accept-language", "")[:500])
    return next((lang for lang in (*asked, *accepted) if lang in LANGUAGES), "en")


def _accepted(header: str) -> list[str]:
    """The languages of an Accept-Language header, without regions, the most wanted first."""
    wanted = []
    for order, item in enumerate(header.split(",")):
        name, _, quality = item.partition(";")
        try:
            weight = float(quality.strip().removeprefix("q=") or 1)
        except ValueError:
            weight = 0.0
        if weight > 0:
            wanted.append((-weight, order, name.strip().partition("-")[0].lower()))
    return [name for _, _, name in sorted(wanted)]


def _switch(request: Request, site: KnownSite | None, screen: str) -> list[tuple[str, str, str]]:
    """Each language with its own name and the address of the same page in it."""
    kept = [(k, v) for k, v in request.query_params.multi_items() if k not in _SAID_ONCE]
    path = request.url.path
    if request.method == "POST":  # not every form's address can be read
        path, kept = (f"/s/{site.slug}/{screen}" if site is not None else "/new"), []
    return [
        (lang, catalogue(lang).language["name"], f"{path}?{urlencode([*kept, ('lang', lang)])}")
        for lang in LANGUAGES
    ]


def voice_of(request: Request, site: KnownSite | None) -> Voice:
    """How a page speaks to its reader."""
    units = units_of(site) if site is not None else "metric"
    return Voice(units, language_of(request, site)).on_page


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
    voice, done = voice_of(request, site), request.query_params.get("done", "")
    html = page_of(
        template,
        voice,
        site=site,
        sites=parts.book.all(),
        screens=[(key, voice.say(f"screen.{key}")) for key in SCREENS],
        screen=screen,
        regions=parts.regions is not None,
        proof=csrf_proof(parts.guard, session),
        done=voice.say(f"done.{done}") if done in DONE else "",
        kept=kept_note(site, voice),
        languages=_switch(request, site, screen),
        cautions=[voice.text(caution) for caution in CAUTIONS],
        **context,
    )
    response = HTMLResponse(html, status)
    if fresh:
        response.set_cookie(SESSION_COOKIE, session, httponly=True, samesite="lax")
    if request.query_params.get("lang") in LANGUAGES:
        response.set_cookie(
            LANGUAGE_COOKIE, voice.lang, max_age=365 * 86400, httponly=True, samesite="lax"
        )
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


def kept_note(site: KnownSite | None, voice: Voice) -> dict[str, Any]:
    """When a page was made, in words and in s since 1970; the worker shows it on a kept page."""
    zone = site.site.zone if site is not None and site.site is not None else None
    now = dt.datetime.now(zone) if zone is not None else dt.datetime.now().astimezone()
    return {
        "made_s": int(now.timestamp()),
        "kept_from": voice.say("kept.from", at=now),
        "as_of": voice.say("kept.as_of", at=now),
        "old_as_of": voice.say("kept.old_as_of", at=now),
    }
