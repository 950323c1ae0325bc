"""Trials on the page: what there is of each, and its plots rated one by one, on a phone too."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from windowcast.core.errors import InputError
from windowcast.records.model import Rating
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Stored
from windowcast.records.trial_log import changes_of, store_ratings, trial_log_path, trial_ratings
from windowcast.records.trial_rounds import analysed_rounds
from windowcast.report.catalogue import Voice
from windowcast.report.problems import sentence_of
from windowcast.report.trial_figures import means_chart
from windowcast.report.trial_plan import measure_phrase, plan_svg, treatment_rows
from windowcast.report.trial_results import Analysed, round_said
from windowcast.sources.written_numbers import Mark
from windowcast.trials.layout import PlannedPlot, plan_of
from windowcast.trials.trial_cells import applied_at, area_of, value_of, written_date
from windowcast.trials.trial_file import RatedMeasure, TrialFile, TrialSite, load_trial
from windowcast.trials.trial_table import PlotValue
from windowcast.web.context import moved_to, page, proven, voice_of, web
from windowcast.web.sites import file_state

MOST_FIELDS = 5000  # of a form: plots times what is rated


@lru_cache(maxsize=64)
def _read(file: Path, changed_ns: int, size: int) -> TrialFile:
    """A trial file, read when it changed."""
    return load_trial(file)


@lru_cache(maxsize=64)
def _plan(file: Path, changed_ns: int, size: int) -> tuple[PlannedPlot, ...]:
    """Its plan; none where the trial was randomised elsewhere."""
    trial = _read(file, changed_ns, size)
    return plan_of(trial) if trial.seed is not None else ()


def _trial(request: Request) -> tuple[str, Path, TrialFile]:
    """The trial of the address."""
    slug = request.path_params["trial"]
    file = web(request).book.trials().get(slug)
    if file is None:
        raise HTTPException(404, "There is no such trial here.")
    try:
        return slug, file, _read(file, *file_state(file))
    except InputError as error:
        raise error.at(path=file.name) from None


def _ratings(request: Request, file: Path, trial: TrialFile) -> list[Rating]:
    """What was rated so far, from the log as the server keeps it in memory."""
    entries: Sequence[Stored[Any]] = web(request).logs.now(trial_log_path(trial, file)).entries
    found = [stored.entry for stored in entries if isinstance(stored.entry, Rating)]
    return [rating for rating in found if rating.trial == trial.name]


def listing(request: Request) -> Response:
    """The trials of the folder."""
    found = []
    for slug, file in web(request).book.trials().items():
        try:
            found.append((slug, _read(file, *file_state(file)).name, ""))
        except InputError as error:
            problem = sentence_of(error, voice_of(request, None))
            found.append((slug, file.name, problem))
    return page(request, "trials.html", found=found)


def shown(request: Request) -> Response:
    """One trial: its sites with their maps and what was rated, its treatments."""
    slug, file, trial = _trial(request)
    voice = voice_of(request, None)
    plan = _plan(file, *file_state(file))
    ratings = _ratings(request, file, trial)
    counts = Counter(rating.location for rating in ratings)
    places = []
    for number, site in enumerate(trial.site, start=1):
        plots = [plot for plot in plan if plot.site == site.name]
        drawn = plan_svg(trial, plots, voice) if plots else ""
        places.append((number, site.name, counts[site.name], drawn))
    return page(
        request, "trial.html", slug=slug, trial=trial, places=places,
        treatments=treatment_rows(trial, voice),
    )  # fmt: skip


def results(request: Request) -> Response:
    """What the analyses of a trial say, with a figure of each."""
    slug, file, trial = _trial(request)
    ratings = tuple(_ratings(request, file, trial))
    rounds = _analysed(file, file_state(file), ratings)
    voice = voice_of(request, None)
    said = [round_said(found, analysis, voice) for found, analysis in rounds]
    charts = [means_chart(r, s, voice) for r, s in zip(rounds, said, strict=True)]
    return page(
        request, "trial_results.html", address=f"/trials/{slug}", trial=trial,
        rounds=list(zip(said, charts, strict=True)),
    )  # fmt: skip


@lru_cache(maxsize=16)
def _analysed(
    file: Path, state: tuple[int, int], ratings: tuple[Rating, ...]
) -> tuple[Analysed, ...]:
    """The analyses of a trial, worked out once for what was rated."""
    return tuple(analysed_rounds(_read(file, *state), ratings))


@dataclass(frozen=True)
class PlotsAsked:
    """The plots of one site of a trial that are to be rated."""

    address: str
    file: Path
    trial: TrialFile
    site: TrialSite
    plots: tuple[PlannedPlot, ...]


def _asked(request: Request) -> PlotsAsked:
    slug, file, trial = _trial(request)
    number = int(request.path_params["site"])
    if not 1 <= number <= len(trial.site):
        raise HTTPException(404, "There is no such site in this trial.")
    site = trial.site[number - 1]
    plots = tuple(p for p in _plan(file, *file_state(file)) if p.site == site.name)
    return PlotsAsked(f"/trials/{slug}", file, trial, site, plots)


async def rating(request: Request) -> Response:
    """The plots of a site to be rated, or the ratings sent back.

    A script sends what was kept on a phone: it is told what is wrong, and the rest is stored. A
    form without a script is stored as a whole or not at all.
    """
    asked = _asked(request)
    if request.method == "GET":
        return _form(request, asked)
    form = await request.form(max_files=1, max_fields=MOST_FIELDS, max_part_size=64 * 1024)
    typed = {name: str(value).strip() for name, value in form.items()}
    proven(request, typed.pop("proof", ""))
    values, wrong = _values(voice_of(request, None), asked, typed)
    if request.headers.get("accept", "") == "application/json":
        await run_in_threadpool(_store, asked, values)
        return JSONResponse({"stored": len(values), "wrong": wrong}, 422 if wrong else 200)
    if wrong:
        return _form(request, asked, typed=typed, wrong=wrong)
    await run_in_threadpool(_store, asked, values)
    return moved_to(request.url.path, "saved")


def _form(
    request: Request,
    asked: PlotsAsked,
    *,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
) -> Response:
    voice, trial = voice_of(request, None), asked.trial
    ratings = _ratings(request, asked.file, trial)
    return page(
        request,
        "trial_rate.html",
        status=422 if wrong else 200,
        asked=asked,
        fields=[
            (n, voice.text(measure_phrase(m.what, m.weed or "")), m.frame or "")
            for n, m in enumerate(trial.measure)
        ],
        date=(typed or {}).get("date", f"{dt.datetime.now(asked.site.zone):%Y-%m-%d}"),
        typed=typed or {},
        wrong=wrong or {},
        rated=sum(rating.location == asked.site.name for rating in ratings),
    )


def _values(
    voice: Voice, asked: PlotsAsked, typed: Mapping[str, str]
) -> tuple[list[PlotValue], dict[str, str]]:
    """The values of a form, and what is wrong by the name of the field."""
    trial, site = asked.trial, asked.site
    date = written_date(typed.get("date", ""))
    if not isinstance(date, dt.date):
        problem = InputError("is not a date", field="date", remedy="write it like 2025-12-03")
        return [], {"date": sentence_of(problem, voice)}
    if date > dt.datetime.now(site.zone).date():
        problem = InputError(
            f"{date} lies ahead", field="date", remedy="log what has happened, not what is planned"
        )
        return [], {"date": sentence_of(problem, voice)}
    first = min(applied_at(trial, site).values(), default=None)
    before = first is not None and date < first
    fields = {f"{p.plot}.{n}": (p, m) for p in asked.plots for n, m in enumerate(trial.measure)}
    values, wrong = [], {}
    for name, text in typed.items():
        if name == "date" or not text:
            continue
        try:
            plot, measure = _field(fields, name, site)
            value = _value(trial, plot, measure, text)
        except InputError as error:
            wrong[name] = sentence_of(error, voice)
            continue
        values.append(
            PlotValue(
                0, name, site.name, str(plot.block or ""), plot.plot, plot.arm, date,
                measure.what, measure.weed or "", value, before,
            )
        )  # fmt: skip
    return values, wrong


def _field(
    fields: Mapping[str, tuple[PlannedPlot, RatedMeasure]], name: str, site: TrialSite
) -> tuple[PlannedPlot, RatedMeasure]:
    """The plot and measure of a field; refused where the plan has no such plot, or no more."""
    if name not in fields:
        raise InputError(
            f"plot {name.partition('.')[0]} is not in the plan of {site.name}",
            remedy="see windowcast trial plan",
        )
    return fields[name]


def _value(trial: TrialFile, plot: PlannedPlot, measure: RatedMeasure, text: str) -> float:
    area = area_of(trial, measure.what, measure.weed or "")
    mark: Mark = "," if "," in text else "."
    return value_of(text, measure.what, area, plot.plot, mark)


def _store(asked: PlotsAsked, values: Sequence[PlotValue]) -> None:
    if not values:
        return
    name = asked.trial.name
    with SeasonLog(trial_log_path(asked.trial, asked.file)) as log:
        store_ratings(log, changes_of(values, trial_ratings(log, name), name), name)


ROUTES = [
    Route("/trials", listing),
    Route("/trials/{trial}", shown),
    Route("/trials/{trial}/results", results),
    Route("/trials/{trial}/rate/{site:int}", rating, methods=["GET", "POST"]),
]
