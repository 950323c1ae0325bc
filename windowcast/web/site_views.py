"""Making a site and its settings: place, turf, weeds, limits, weather files."""

from __future__ import annotations

import math
from pathlib import PurePath

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from windowcast.core.errors import InputError
from windowcast.core.given_files import parsed_toml, read_text
from windowcast.core.site import Site
from windowcast.core.site_template import Answers, site_toml
from windowcast.core.towns import CREDIT, Town, search
from windowcast.core.units import System
from windowcast.core.weed_codes import known
from windowcast.report.catalogue import Voice
from windowcast.report.problems import sentence_of
from windowcast.sources.files import parse_spec
from windowcast.web.context import (
    language_of,
    moved_to,
    own_site,
    page,
    posted,
    readable_site,
    units_of,
    voice_of,
    web,
)
from windowcast.web.fields import wrong_by_field
from windowcast.web.site_forms import (
    DAYS,
    changed_file,
    groups,
    settings_from,
    settings_values,
    weed_choices,
)
from windowcast.web.site_rows import form_name, lists_said, rows_shown
from windowcast.web.sites import KnownSite

_FIRST = {
    "units": "us",
    "shown": "us",
    "turf.species": "hybrid bermudagrass",
    "turf.use": "sports",
    "soil.texture": "unknown",
    "calendar.spray_hours": "06:00-19:00",
    "advice.odds_threshold": "60",
    **{f"day.{day}": "yes" for day in DAYS},
}
_WATCHED = Site.model_fields["weeds"].default


async def making(request: Request) -> Response:
    """The form of a new site, filled in from a town when one was chosen."""
    if request.method == "GET":
        query = request.query_params
        words = query.get("place", "")[:80]
        towns = await run_in_threadpool(search, words) if words else []
        weeds = {f"weed.{code}": "yes" for code in _WATCHED}
        values = {**_FIRST, **weeds, **_from_town(query.get("town", ""), words)}
        return _form(request, None, values, towns=towns, place=words)
    typed = await posted(request)
    try:
        slug = await run_in_threadpool(_make, request, typed)
    except InputError as error:
        return _form(request, None, typed, problem=error)
    return moved_to(f"/s/{slug}/today", "made")


def _make(request: Request, typed: dict[str, str]) -> str:
    settings = settings_from(typed, Voice(_typed_units(typed), language_of(request, None)))
    start = site_toml(Answers(settings["name"], settings["latitude"], settings["longitude"]))
    return web(request).book.save(changed_file(start, settings), name=settings["name"])


def _typed_units(typed: dict[str, str]) -> System:
    """The units that the labels of a new site's form were shown in."""
    return "metric" if typed.get("shown") == "metric" else "us"


def _from_town(text: str, words: str) -> dict[str, str]:
    """Fields filled in from a chosen town, ``latitude,longitude``."""
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        return {}
    if not (math.isfinite(latitude) and math.isfinite(longitude)):
        return {}
    return {"name": words, "latitude": f"{latitude:.4f}", "longitude": f"{longitude:.4f}"}


async def settings(request: Request) -> Response:
    """The settings of a site; the sample's can only be looked at."""
    site = readable_site(request) if request.method == "GET" else own_site(request)
    assert site.site is not None
    if request.method == "GET":
        return _form(request, site, settings_values(site.site, voice_of(request, site)))
    typed = await posted(request)
    try:
        await run_in_threadpool(_save, request, site, typed)
    except InputError as error:
        return _form(request, site, typed, problem=error)
    return moved_to(f"/s/{site.slug}/settings", "saved")


def _save(request: Request, site: KnownSite, typed: dict[str, str]) -> None:
    assert site.path is not None
    changed = settings_from(typed, voice_of(request, site))
    text = changed_file(read_text(site.path), changed)
    web(request).book.save(text, name=changed["name"], replacing=site)


def add_weather_file(request: Request, site: KnownSite, name: str) -> None:
    """Name a weather file in the site file, in the place of the same one with other options."""
    assert site.path is not None
    text = read_text(site.path)
    files = _files(text)
    if name not in files:
        path = parse_spec(name).path
        kept = [file for file in files if parse_spec(file).path != path]
        text = changed_file(text, {"weather.files": [*kept, name]})
        web(request).book.save(text, name=site.name, replacing=site)


async def drop(request: Request) -> Response:
    """Stop using a weather file; the file itself stays where it is."""
    site = own_site(request)
    typed = await posted(request)
    await run_in_threadpool(_drop_file, request, site, typed.get("file", ""))
    return moved_to(f"/s/{site.slug}/settings", "saved")


def _drop_file(request: Request, site: KnownSite, name: str) -> None:
    assert site.path is not None
    text = read_text(site.path)
    files = _files(text)
    kept = [file for file in files if PurePath(file).name != name]
    if kept != files:
        text = changed_file(text, {"weather.files": kept})
        web(request).book.save(text, name=site.name, replacing=site)


def _files(text: str) -> list[str]:
    """The weather files as the site file names them."""
    return list(parsed_toml(text).get("weather", {}).get("files", []))


def _form(
    request: Request,
    site: KnownSite | None,
    values: dict[str, str],
    *,
    problem: InputError | None = None,
    towns: list[Town] | None = None,
    place: str = "",
) -> Response:
    voice = voice_of(request, site)
    asked = groups(voice)
    names = {field.name for _, group in asked for field in group} | set(values)
    if problem is not None and problem.field:
        problem.field = form_name(problem.field)
    wrong = wrong_by_field(problem, names, voice)
    return page(
        request,
        "settings.html",
        site=site,
        screen="settings" if site else "new",
        status=422 if problem else 200,
        groups=asked,
        values=values,
        watched=[code for code in known() if values.get(f"weed.{code}")],
        weeds=[
            (voice.say(f"weed_cycle.several.{cycle.replace(' ', '_')}"), weeds)
            for cycle, weeds in weed_choices(voice).items()
        ],
        days=list(zip(DAYS, voice.language["weekdays_long"], strict=True)),
        lists=lists_said(voice),
        rows=rows_shown(values),
        units=units_of(site) if site else "us" if values.get("units") == "us" else "metric",
        wrong=wrong,
        problem=sentence_of(problem, voice) if problem and not wrong else "",
        towns=towns or [],
        place=place,
        credit=CREDIT,
        files=[PurePath(name).name for name in site.site.weather.files]
        if site is not None and site.site is not None
        else [],
    )


ROUTES = [
    Route("/new", making, methods=["GET", "POST"]),
    Route("/s/{site}/settings", settings, methods=["GET", "POST"]),
    Route("/s/{site}/settings/drop", drop, methods=["POST"]),
]
