"""The form in which a site's plots are rated: what it is made for, what was typed, what is stored.

Fields are named by plot number and place of the measure. Their meaning hangs on the trial file, so
a form carries a mark of what it was made for, and is refused when that has changed.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from threading import Lock

from windowcast.core.digest import digest_of
from windowcast.core.errors import InputError
from windowcast.records.entry_checks import check_dates
from windowcast.records.model import Rating
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Stored
from windowcast.records.trial_log import (
    changes_of,
    rating_id,
    store_ratings,
    trial_log_path,
    trial_ratings,
)
from windowcast.report.catalogue import Voice
from windowcast.report.problems import sentence_of
from windowcast.sources.written_numbers import decimal_mark
from windowcast.trials.layout import PlannedPlot
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_cells import applied_at, area_of, value_of, written_date
from windowcast.trials.trial_file import RatedMeasure, TrialFile, TrialSite
from windowcast.trials.trial_table import PlotValue

_WRITING = Lock()  # what is stored is looked at and written in one go


@dataclass(frozen=True)
class PlotsAsked:
    """The plots of one site of a trial that are to be rated."""

    address: str
    file: Path
    trial: TrialFile
    site: TrialSite
    plots: tuple[PlannedPlot, ...]

    @cached_property
    def mark(self) -> str:
        """What the fields of the form mean: another mark, other meanings."""
        return digest_of(
            self.trial.name,
            self.site.name,
            [f"{p.plot}/{p.block}/{p.arm.name}" for p in self.plots],
            [f"{m.what}/{m.weed}/{m.frame}" for m in self.trial.measure],
        )

    @cached_property
    def fields(self) -> dict[str, tuple[PlannedPlot, RatedMeasure]]:
        """Plot and measure by the name of the field."""
        measures = list(enumerate(self.trial.measure))
        return {f"{p.plot}.{n}": (p, m) for p in self.plots for n, m in measures}

    @cached_property
    def treated(self) -> dt.date:
        """The first day the site was sprayed, as far as the trial file says."""
        return min(applied_at(self.trial, self.site).values(), default=dt.date.min)

    @cached_property
    def asks_before(self) -> bool:
        """Whether something is rated that may be counted before treatment."""
        return any(
            m.before or MEASURES[m.what].scale in {"count", "amount"} for m in self.trial.measure
        )

    def value(self, name: str, date: dt.date, value: float, *, before: bool = False) -> PlotValue:
        """A value of a field as the log's ratings are made of.

        `before` says that it was taken before the treatment of its own day.
        """
        plot, measure = self.fields[name]
        earlier = date < self.treated
        return PlotValue(
            0, name, self.site.name, str(plot.block or ""), plot.plot, plot.arm, date,
            measure.what, measure.weed or "", value, before or earlier,
            dated=earlier or not before,
        )  # fmt: skip


@dataclass(frozen=True)
class Typed:
    """What was typed on a day, by the name of the field; None where a field was emptied.

    `before` says that it was taken before the treatment of that day.
    """

    date: dt.date
    values: Mapping[str, PlotValue | None]
    wrong: dict[str, str]
    before: bool = False

    @property
    def day(self) -> str:
        """The day as a phone keeps values by it."""
        return day_key(self.date, before=self.before)


def day_key(date: dt.date, *, before: bool) -> str:
    """A day as a phone keeps values by it: ``2025-09-10``, or ``2025-09-10 before``."""
    return f"{date} before" if before else f"{date}"


def typed_in(voice: Voice, asked: PlotsAsked, texts: Mapping[str, str]) -> Typed:
    """The values of a form, and what is wrong by the name of the field.

    A field is in `texts` with an empty text where it was emptied.
    """
    before = bool(texts.get("before"))
    try:
        date = _day(texts.get("date", ""), asked.site)
        _check_before(asked, date, before=before)
    except InputError as error:
        return Typed(dt.date.min, {}, {"date": sentence_of(error, voice)})
    before = before and date >= asked.treated
    values: dict[str, PlotValue | None] = {}
    wrong = {}
    for name, text in texts.items():
        if name in {"date", "before"}:
            continue
        try:
            plot, measure = _field(asked, name)
            number = _number(asked.trial, plot, measure, text) if text else None
        except InputError as error:
            wrong[name] = sentence_of(error, voice)
            continue
        values[name] = None if number is None else asked.value(name, date, number, before=before)
    return Typed(date, values, wrong, before)


def _check_before(asked: PlotsAsked, date: dt.date, *, before: bool) -> None:
    """Refuse a day after the last treatment for what was taken before it."""
    applied = applied_at(asked.trial, asked.site)
    last = max(applied.values(), default=date)
    if before and len(applied) == len(asked.trial.timing) and date > last:
        raise InputError(
            f"{date} is after the last treatment, on {last}", field="date",
            remedy="give the day it was counted, or say that it was after treatment",
        )  # fmt: skip


def _day(text: str, site: TrialSite) -> dt.date:
    """The day of a form; refused where the log would refuse it, or it is still to come."""
    date = written_date(text)
    if not isinstance(date, dt.date):
        raise InputError("is not a date", field="date", remedy="write it like 2025-12-03")
    today = dt.datetime.now(site.zone).date()
    if date > today:
        raise InputError(
            f"{date} lies ahead", field="date", remedy="log what has happened, not what is planned"
        )
    check_dates(Rating(date, 0.0), today=today)
    return date


def _field(asked: PlotsAsked, name: str) -> tuple[PlannedPlot, RatedMeasure]:
    """The plot and measure of a field; refused where the plan has no such plot, or no more."""
    if name not in asked.fields:
        raise InputError(
            f"plot {name.partition('.')[0]} is not in the plan of {asked.site.name}",
            remedy="see windowcast trial plan",
        )
    return asked.fields[name]


def _number(trial: TrialFile, plot: PlannedPlot, measure: RatedMeasure, text: str) -> float:
    area = area_of(trial, measure.what, measure.weed or "")
    bare = text.removesuffix("%").strip()
    try:
        mark = decimal_mark([(bare, 0, "")], None, "", "")
    except InputError as error:
        raise InputError(error.problem, remedy="write it without a mark for thousands") from None
    return value_of(text, measure.what, area, plot.plot, mark)


def stored_texts(asked: PlotsAsked, stored: Iterable[Stored[Rating]]) -> dict[str, dict[str, str]]:
    """What is stored of the fields, as it would be typed, by date and name of the field."""
    names = {
        (p.plot, m.what, m.weed or ""): (name, measure_area(asked.trial, m))
        for name, (p, m) in asked.fields.items()
    }
    found: dict[str, dict[str, str]] = {}
    for item in stored:
        rating = item.entry
        name, area = names.get((rating.plot, rating.measure, rating.weed), ("", None))
        if rating.location != asked.site.name or area is None:
            continue
        for before in (False, True):
            value = asked.value(name, rating.date, rating.value, before=before)
            if rating_id(value, asked.trial.name) == item.id:  # not one of several frames
                day = day_key(rating.date, before=before)
                found.setdefault(day, {})[name] = f"{rating.value * area:.12g}"
                break
    return found


def measure_area(trial: TrialFile, measure: RatedMeasure) -> float | None:
    """The area that a typed number belongs to [m²]; None where nobody says."""
    try:
        return area_of(trial, measure.what, measure.weed or "")
    except InputError:
        return None


def seen_in(text: str) -> dict[str, str]:
    """What a phone saw stored before something was typed, by the name of the field."""
    try:
        found = json.loads(text or "{}")
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise InputError("is not what a form sends", field="seen", remedy="open the form again")
    return {str(name): str(value) for name, value in found.items()}


def store_typed(
    voice: Voice, asked: PlotsAsked, typed: Typed, seen: Mapping[str, str] | None
) -> tuple[int, dict[str, str], dict[str, str]]:
    """Store what was typed: how many values, what else was stored meanwhile, what is stored now.

    With `seen`, a value that another stored since is not overwritten: both are told, by the name of
    the field. What is stored now is as it would be typed.
    """
    name, day = asked.trial.name, typed.day
    if not typed.values:
        return 0, {}, {}
    with _WRITING, SeasonLog(trial_log_path(asked.trial, asked.file)) as log:
        stored = trial_ratings(log, name)
        before = stored_texts(asked, stored).get(day, {})
        told: dict[str, str] = {}
        now: dict[str, str] = {}
        taken: list[PlotValue] = []
        emptied: list[str] = []
        for field, value in typed.values.items():
            old = before.get(field, "")
            new = "" if value is None else _as_typed(asked, field, value)
            now[field] = new
            if seen is not None and old not in {seen.get(field, ""), new}:
                told[field] = _meanwhile(voice, asked.fields[field][0].plot, old, new)
                now[field] = old
            elif value is not None:
                taken.append(value)
            elif old:
                gone = asked.value(field, typed.date, 0.0, before=typed.before)
                emptied.append(rating_id(gone, name))
        store_ratings(log, changes_of(taken, stored, name), name, emptied)
    return len(taken) + len(emptied), told, now


def _as_typed(asked: PlotsAsked, field: str, value: PlotValue) -> str:
    area = measure_area(asked.trial, asked.fields[field][1])
    return f"{value.value * (area or 1.0):.12g}"


def _meanwhile(voice: Voice, plot: str, old: str, new: str) -> str:
    """What tells of a value that another stored, or took out, since the phone last looked."""
    if not old:
        return voice.say("trial_page.gone_since", plot=plot, typed=new)
    if not new:
        return voice.say("trial_page.stored_since_emptied", plot=plot, stored=old)
    return voice.say("trial_page.stored_since", plot=plot, stored=old, typed=new)
