"""Screens that look over the season: the season, plan and tank sheet, seasons ahead, review."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.core.errors import InputError, WindowcastError
from windowcast.core.season_calendar import days_of_year_apart
from windowcast.programme.model import KeyDate
from windowcast.programme.seasons_ahead import MOST_SEASONS
from windowcast.records.grounds_ahead import grounds_ahead
from windowcast.records.observations import Logged
from windowcast.report.catalogue import Voice
from windowcast.report.charts import years_chart
from windowcast.report.plan_view import PlanView, days_apart
from windowcast.report.problems import problem_text
from windowcast.report.seasons_ahead import ahead_svg, notes, said
from windowcast.report.wording import ground
from windowcast.web.context import (
    moved_to,
    own_site,
    page,
    piece,
    posted,
    readable_site,
    ready_answer,
    voice_of,
    web,
    without_folders,
)
from windowcast.web.log_views import today_of
from windowcast.web.sites import KnownSite
from windowcast.web.tank_fields import ASKS
from windowcast.web.tank_views import SheetView, crew_view, log_tank, sheet_view
from windowcast.windows.odds import DateRange

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


MOST_COMPARED = 8


def season(request: Request) -> Response:
    """Where the season stands: curves, cover, key dates, turf."""
    site = readable_site(request)
    voice = voice_of(request, site)
    view = piece(request, ready_answer(request, site).views.of(voice))
    plans = web(request).plans.get(site).of(voice)
    return page(
        request,
        "season.html",
        site=site,
        screen="season",
        view=view,
        plan=piece(request, plans),
        grounds=plans,
    )


def plan(request: Request) -> Response:
    """The season's plan; the tank sheet where an address asks for one, as links of old do."""
    site = readable_site(request)
    if ASKS & set(request.query_params):
        return tank(request)
    plans = web(request).plans.get(site).of(voice_of(request, site))
    return page(
        request,
        "plan.html",
        site=site,
        screen="plan",
        plan=piece(request, plans),
        grounds=plans,
        tank_url=f"/s/{site.slug}/plan/tank",
        log_url="" if site.sample else f"/s/{site.slug}/log/new/cover",
    )


def tank(request: Request) -> Response:
    """The tank sheet: its form and, when that is filled in, the sheet."""
    site = readable_site(request)
    return _tank(request, site, sheet_view(request, site, request.query_params))


def crew(request: Request) -> Response:
    """The tank's sheet for whoever sprays; the form where there is no tank yet."""
    site = readable_site(request)
    view, query = sheet_view(request, site, request.query_params), request.url.query
    if view.job is None:
        return _tank(request, site, view)
    sheet = crew_view(request, site, view.typed)
    back = f"/s/{site.slug}/plan/tank?{query}"
    return page(request, "crew.html", site=site, screen="plan", crew=sheet, back=back)


async def logging_tank(request: Request) -> Response:
    """The spray record of a tank sheet, stored and shown; the sheet again where it cannot be."""
    site = own_site(request)
    typed = await posted(request)
    try:
        entry, refused = await run_in_threadpool(log_tank, request, site, typed)
    except InputError as error:
        view = await run_in_threadpool(sheet_view, request, site, typed, error)
        return await run_in_threadpool(_tank, request, site, view)
    return moved_to(f"/s/{site.slug}/log/{entry}/record", "logged-against" if refused else "logged")


def _tank(request: Request, site: KnownSite, view: SheetView) -> Response:
    status = 422 if view.problem or view.wrong else 200
    return page(request, "tank.html", site=site, screen="plan", status=status, tank=view)


def review(request: Request) -> Response:
    """Hindsight over the season log."""
    site = readable_site(request)
    logged = site.log_path is not None and site.log_path.exists()
    here = None if site.sample else web(request).heres.get(site).of(voice_of(request, site))
    if not logged:
        return page(request, "review.html", site=site, screen="review", view=None, here=here)
    season, book = request.query_params.get("season", ""), web(request).reviews.get(site)
    voice = voice_of(request, site)
    view, body = book.of(season, voice), book.body(season, voice)
    return page(request, "review.html", site=site, screen="review", view=view, body=body, here=here)


@dataclass(frozen=True)
class SiteColumn:
    """Another site's usual dates: label → date and how far off ours; or why there are none."""

    site: KnownSite
    dates: dict[str, str]
    problem: str = ""


def compare(request: Request) -> Response:
    """This season beside the past ones, and the user's sites beside each other."""
    site = readable_site(request)
    voice = voice_of(request, site)
    own = web(request).plans.get(site).of(voice)[0]
    others = [known for known in web(request).book.all() if known.slug != site.slug]
    return page(
        request,
        "compare.html",
        site=site,
        screen="compare",
        plan=own,
        chart=years_chart(own.plan, voice),
        columns=[_column(request, own, other, voice) for other in others[:MOST_COMPARED]],
    )


def _column(request: Request, own: PlanView, other: KnownSite, voice: Voice) -> SiteColumn:
    if other.site is None:
        return SiteColumn(other, {}, problem_text(cast("InputError", other.problem), voice))
    try:
        theirs = web(request).plans.get(other).of(voice)[0].plan
    except WindowcastError as error:
        return SiteColumn(other, {}, without_folders(problem_text(error, voice), web(request)))
    dates = {key.name: key.normal for key in theirs.key_dates}
    return SiteColumn(
        other, {k.name: _beside(k, dates.get(k.name), voice) for k in own.plan.key_dates}
    )


def _beside(ours: KeyDate, theirs: DateRange | None, voice: Voice) -> str:
    """``12 Sep, 9 days early``: a site's usual date against ours."""
    if theirs is None or theirs.median is None:
        return voice.say("window_verdict.cannot_tell")
    text = voice.write(theirs.median, "short")
    if ours.normal is None or ours.normal.median is None:
        return text
    apart = days_of_year_apart(theirs.median, ours.normal.median)
    return f"{text}, {days_apart(apart, voice, voice.say('season.same_day'))}"


ROUTES = [
    Route("/s/{site}/season", season),
    Route("/s/{site}/plan", plan),
    Route("/s/{site}/plan/tank", tank),
    Route("/s/{site}/plan/crew", crew),
    Route("/s/{site}/plan/log", logging_tank, methods=["POST"]),
    Route("/s/{site}/review", review),
    Route("/s/{site}/compare", compare),
    Route("/s/{site}/plan/seasons", ahead),
]
