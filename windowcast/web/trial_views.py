"""Trials on the page: what there is of each, and its plots rated one by one, on a phone too."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import lru_cache
from math import nan
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from windowcast.core.errors import InputError
from windowcast.core.extras import installed
from windowcast.core.given_files import file_state
from windowcast.core.values import PACKAGED
from windowcast.records.dose_trials import Dosed, dosed_rounds
from windowcast.records.model import Rating
from windowcast.records.stored import Stored
from windowcast.records.trial_analyses import analysed_rounds
from windowcast.records.trial_log import trial_log_path
from windowcast.records.trial_threshold import prices_said, turf_threshold
from windowcast.report.catalogue import Voice
from windowcast.report.dose_chart import doses_drawn
from windowcast.report.problems import problem_text, sentence_of
from windowcast.report.trial_chart import said_and_drawn
from windowcast.report.trial_plan import asked_phrase, plan_svg, treatment_rows
from windowcast.report.trial_power import power_paragraphs
from windowcast.report.trial_results import Analysed
from windowcast.report.trial_threshold import threshold_said
from windowcast.sources.written_numbers import number_written
from windowcast.trials.layout import PlannedPlot, arms_of, plan_of
from windowcast.trials.showable import power_answer, usual_layout
from windowcast.trials.spread import typical_spread
from windowcast.trials.trial_file import TrialFile, kept_trial
from windowcast.web.context import moved_to, page, proven, voice_of, web
from windowcast.web.trial_form import PlotsAsked, seen_in, store_typed, stored_texts, typed_in

PAYS = ("cost", "worth", "worth_step", "acceptable")  # fields of the form on when treating pays
MOST_FIELDS = 5000  # of a form: plots times what is rated
MOST_BYTES = 256 * 1024  # of one field: that of what was seen names all others


def _read(file: Path) -> TrialFile:
    """A trial file; what is wrong with it names no folders."""
    try:
        return kept_trial(file)
    except InputError as error:
        raise error.at(path=file.name) from None


@lru_cache(maxsize=64)
def _plan(file: Path, changed_ns: int, size: int) -> tuple[PlannedPlot, ...]:
    """Its plan; none where the trial was randomised elsewhere."""
    trial = _read(file)
    return plan_of(trial) if trial.seed is not None else ()


def _trial(request: Request) -> tuple[str, Path, TrialFile]:
    """The trial of the address."""
    slug = request.path_params["trial"]
    file = web(request).book.trials().get(slug)
    if file is None:
        raise HTTPException(404, "There is no such trial here.")
    return slug, file, _read(file)


def _stored(request: Request, file: Path, trial: TrialFile) -> list[Stored[Rating]]:
    """What was rated so far, from the log as the server keeps it in memory."""
    entries: Sequence[Stored[Any]] = web(request).logs.now(trial_log_path(trial, file)).entries
    found = [stored for stored in entries if isinstance(stored.entry, Rating)]
    return [stored for stored in found if stored.entry.trial == trial.name]


def listing(request: Request) -> Response:
    """The trials of the folder."""
    found = []
    for slug, file in web(request).book.trials().items():
        try:
            found.append((slug, _read(file).name, ""))
        except InputError as error:
            found.append((slug, "", problem_text(error, voice_of(request, None))))
    return page(request, "trials.html", found=found)


def shown(request: Request) -> Response:
    """One trial: its sites with their maps and what was rated, its treatments."""
    slug, file, trial = _trial(request)
    voice = voice_of(request, None)
    plan = _plan(file, *file_state(file))
    ratings = _stored(request, file, trial)
    counts = Counter(stored.entry.location for stored in ratings)
    places = []
    for number, site in enumerate(trial.site, start=1):
        plots = [plot for plot in plan if plot.site == site.name]
        drawn = plan_svg(trial, plots, voice) if plots else ""
        places.append((number, site.name, counts[site.name], drawn))
    return page(
        request, "trial.html", slug=slug, trial=trial, places=places,
        treatments=treatment_rows(trial, voice),
        power=() if ratings else _power(file, *file_state(file), voice.on_page),
    )  # fmt: skip


@lru_cache(maxsize=16)
def _power(file: Path, changed_ns: int, size: int, voice: Voice) -> tuple[str, ...]:
    """What a trial can show that nobody has rated yet, by typical figures; none without scipy."""
    if not installed("scipy.stats"):
        return ()
    layout = usual_layout(_read(file))
    answer = power_answer(layout, typical_spread(layout["measure"], PACKAGED["trial_spread"]))
    return power_paragraphs(answer, voice)


def results(request: Request) -> Response:
    """What the analyses of a trial say, with a figure of each."""
    slug, file, trial = _trial(request)
    ratings = tuple(stored.entry for stored in _stored(request, file, trial))
    state, voice = file_state(file), voice_of(request, None)
    return page(
        request, "trial_results.html", address=f"/trials/{slug}", trial=trial,
        rounds=said_and_drawn(_analysed(file, state, ratings), voice),
        doses=doses_drawn(_dosed(file, state, ratings), voice),
        **_pays(request, trial, _analysed(file, state, ratings), voice),
    )  # fmt: skip


def _pays(
    request: Request, trial: TrialFile, rounds: Sequence[Analysed], voice: Voice
) -> dict[str, Any]:
    """What the form on when treating pays holds, and its answer or what is wrong with it."""
    typed = {name: request.query_params.get(name, "").strip() for name in PAYS}
    if not any(typed.values()) or not installed("scipy.stats"):
        return {"typed": typed, "pays": None, "pays_wrong": ""}
    try:
        names = [arm.name for arm in arms_of(trial)]
        costs = [typed["cost"]] if typed["cost"] else []
        prices = prices_said(costs, typed["worth"], typed["worth_step"], names)
        found = turf_threshold(
            trial,
            rounds,
            costs={name: price for (field, name), price in prices.items() if field == "--cost"},
            worth=prices.get(("--worth", "")),
            worth_step=prices.get(("--worth-step", "")),
            acceptable=_step(typed["acceptable"]) if typed["acceptable"] else None,
        )
    except InputError as error:
        return {"typed": typed, "pays": None, "pays_wrong": sentence_of(error, voice)}
    return {"typed": typed, "pays": threshold_said(found, voice.on_page.unbroken), "pays_wrong": ""}


def _step(text: str) -> float:
    """A step of quality as it was typed."""
    found = nan
    with suppress(ValueError):
        found = number_written(text, "," if "," in text else ".")
    if not 1 <= found <= 9:
        raise InputError(f"{text!r} is no step from 1 to 9", remedy="use a number such as 6")
    return found


@lru_cache(maxsize=16)
def _analysed(
    file: Path, state: tuple[int, int], ratings: tuple[Rating, ...]
) -> tuple[Analysed, ...]:
    """The analyses of a trial, worked out once for what was rated."""
    return tuple(analysed_rounds(_read(file), ratings))


@lru_cache(maxsize=16)
def _dosed(file: Path, state: tuple[int, int], ratings: tuple[Rating, ...]) -> tuple[Dosed, ...]:
    """The curves of dose and response, where treatments are rates of one active."""
    rounds = [found for found, _ in _analysed(file, state, ratings)]
    return dosed_rounds(_read(file), rounds)


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
    form without a script is stored as a whole or not at all. Neither is stored when the trial file
    has given the fields another meaning since the form was made.
    """
    asked = await run_in_threadpool(_asked, request)
    if request.method == "GET":
        return await run_in_threadpool(_form, request, asked)
    form = await request.form(max_files=1, max_fields=MOST_FIELDS, max_part_size=MOST_BYTES)
    typed = {name: str(value).strip() for name, value in form.items()}
    proven(request, typed.pop("proof", ""))
    return await run_in_threadpool(_taken, request, asked, typed)


def _taken(request: Request, asked: PlotsAsked, texts: dict[str, str]) -> Response:
    """The answer to a form from our own page."""
    voice, mark, seen = voice_of(request, None), texts.pop("form", ""), texts.pop("seen", "")
    by_script = request.headers.get("accept", "") == "application/json"
    if mark != asked.mark:
        changed = InputError(
            "the trial file was changed after this form was made, so nothing was stored",
            remedy="open the form again and type the values where they belong",
        )
        said = sentence_of(changed, voice)
        if by_script:
            return JSONResponse({"stored": 0, "wrong": {}, "changed": said}, 409)
        return _form(request, asked, typed=texts, changed=said)
    if not by_script:  # an empty field of it is one that nobody touched
        texts = {name: text for name, text in texts.items() if text or name == "date"}
    typed = typed_in(voice, asked, texts)
    if by_script:
        stored, told, now = store_typed(voice, asked, typed, seen_in(seen))
        wrong = typed.wrong | told
        return JSONResponse({"stored": stored, "wrong": wrong, "now": now}, 422 if wrong else 200)
    if typed.wrong:
        return _form(request, asked, typed=texts, wrong=typed.wrong)
    store_typed(voice, asked, typed, None)
    return moved_to(request.url.path, "saved")


def _form(
    request: Request,
    asked: PlotsAsked,
    *,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
    changed: str = "",
) -> Response:
    voice, trial = voice_of(request, None), asked.trial
    stored = _stored(request, asked.file, trial)
    today = f"{dt.datetime.now(asked.site.zone):%Y-%m-%d}"
    return page(
        request,
        "trial_rate.html",
        status=409 if changed else 422 if wrong else 200,
        asked=asked,
        fields=[(n, voice.text(asked_phrase(measure))) for n, measure in enumerate(trial.measure)],
        date=today if changed else (typed or {}).get("date", today),
        typed={} if changed else typed or {},
        wrong=wrong or {},
        changed=changed,
        lost=[(n.partition(".")[0], t) for n, t in (typed or {}).items() if "." in n and t],
        stored=stored_texts(asked, stored),
        rated=sum(item.entry.location == asked.site.name for item in stored),
    )


ROUTES = [
    Route("/trials", listing),
    Route("/trials/{trial}", shown),
    Route("/trials/{trial}/results", results),
    Route("/trials/{trial}/rate/{site:int}", rating, methods=["GET", "POST"]),
]
