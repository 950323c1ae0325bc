"""The season plan made ready for the templates: key dates in words, cover curves, workable days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.phrase import Name, Phrase, Quantity, joined, say
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.time_axis import steps
from windowcast.limits.model import refused
from windowcast.programme.answer import Answer
from windowcast.programme.model import KeyDate, PurposePlan, SeasonPlan, Week
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart
from windowcast.report.charts import cover_chart, workable_chart
from windowcast.report.season import (
    came_between,
    come_by_now,
    cover_phrases,
    fewest_days,
    from_to,
    normal_from_to,
    span,
    status_words,
)
from windowcast.report.season_picture import SeasonPicture, season_picture
from windowcast.windows.cover_plan import barrier_named
from windowcast.windows.model import CoverPlan

ORDER = ("open", "cannot tell", "ahead", "over")


@dataclass(frozen=True)
class DateRow:
    """One key date in words: this season, its 10 to 90 %, the normal, how far it is off it."""

    label: str
    this_season: str
    interval: str
    normal: str
    normal_interval: str
    against_normal: str
    source: str


@dataclass(frozen=True)
class PurposeRow:
    """One purpose of the plan in words, with its charts."""

    plan: PurposePlan
    status: str
    css: str  # how its card and badge look
    from_to: str
    normal: str
    fewest: str
    charts: tuple[Chart, ...]
    cover_texts: tuple[Phrase, ...]


@dataclass(frozen=True)
class PlanView:
    """What the plan and season screens show."""

    plan: SeasonPlan
    dates: tuple[DateRow, ...]
    purposes: tuple[PurposeRow, ...]
    cover_charts: tuple[Chart, ...]
    picture: SeasonPicture | None


def plan_view(plan: SeasonPlan, voice: Voice, answer: Answer | None = None) -> PlanView:
    """A season plan with its charts drawn; the season's picture needs the answer behind it."""
    covers = {
        purpose.purpose: tuple(
            chart
            for number, cover in enumerate(purpose.covers)
            if (chart := _cover(cover, number, voice.text(purpose.title), plan.today, voice))
            is not None
        )
        for purpose in plan.purposes
    }
    in_order = _by_status(plan.purposes)
    explained = next((p for p in in_order if p.weeks), None)
    return PlanView(
        plan=plan,
        dates=tuple(date_row(key, voice) for key in plan.key_dates),
        purposes=tuple(
            _purpose(p, covers[p.purpose], voice, plan.today, legend=p is explained)
            for p in in_order
        ),
        cover_charts=tuple(chart for charts in covers.values() for chart in charts),
        picture=season_picture(answer, plan, voice) if answer is not None else None,
    )


def _by_status(purposes: Sequence[PurposePlan]) -> list[PurposePlan]:
    """What can be done now first, what is over last."""
    return sorted(purposes, key=lambda purpose: ORDER.index(purpose.status))


def date_row(key: KeyDate, voice: Voice) -> DateRow:
    """A key date in words."""
    middle, ends = span(key.ahead, voice)
    if key.passed is not None:
        middle, ends = voice.write(key.passed, "short"), came_between(key, voice)
    ends = ", ".join(part for part in (ends, _standing(key, voice)) if part)
    known = key.normal or key.years
    normal, normal_ends = span(key.normal, voice) if known else ("", "")
    return DateRow(
        label=voice.text(key.label),
        this_season=middle,
        interval=ends,
        normal=normal,
        normal_interval=normal_ends,
        against_normal=_against(key, voice),
        source=key.source,
    )


def _standing(key: KeyDate, voice: Voice) -> str:
    """Whether a date has come, as far as that is known; "" for one ahead."""
    if key.passed is not None:
        return voice.say("season.has_come")
    return come_by_now(key, voice)


def _against(key: KeyDate, voice: Voice) -> str:
    """``5 days early``; "" where either date cannot be told."""
    this = key.passed or (key.ahead.median if key.ahead is not None else None)
    usual = key.normal.median if key.normal is not None else None
    if this is None or usual is None:
        return ""
    return days_apart((this - usual).days, voice)


def days_apart(days: int, voice: Voice, none: str = "") -> str:
    """``5 days early``, ``1 day late``, or the words for no difference."""
    if days == 0:
        return none or voice.say("season.as_usual")
    apart = Quantity(abs(days), "d")
    return voice.say("season.early" if days < 0 else "season.late", days=apart)


def _css(purpose: PurposePlan) -> str:
    if purpose.status == "open" and refused(purpose.turf):
        return "do-not-spray" if purpose.turf[0].answer == "no" else "cannot-tell"
    return {"open": "go", "ahead": "wait", "over": "out-of-season"}.get(
        purpose.status, "cannot-tell"
    )


def _purpose(
    purpose: PurposePlan, covers: tuple[Chart, ...], voice: Voice, today: dt.date, *, legend: bool
) -> PurposeRow:
    charts = list(covers)
    if purpose.weeks:
        charts.insert(0, _workable(purpose, voice, legend=legend))
    return PurposeRow(
        plan=purpose,
        status=voice.text(status_words(purpose)),
        css=_css(purpose),
        from_to=voice.text(from_to(purpose, today)),
        normal=voice.text(normal_from_to(purpose)),
        fewest=voice.text(fewest_days(purpose)),
        charts=tuple(charts),
        cover_texts=()
        if refused(purpose.turf)
        else tuple(_cover_text(cover) for cover in purpose.covers),
    )


def _cover_text(cover: CoverPlan) -> Phrase:
    return say("cover.all", of=joined(*cover_phrases(cover), join="sentences"))


def _workable(purpose: PurposePlan, voice: Voice, *, legend: bool) -> Chart:
    def line(name: str) -> FloatArray:
        return _numbers([getattr(week, name) for week in purpose.weeks])

    return workable_chart(
        f"workable-{purpose.purpose}",
        voice.say("chart.spray_days", title=purpose.title),
        [_start(week) for week in purpose.weeks],
        days=line("days"),
        band=(line("low"), line("high")),
        voice=voice,
        legend=legend,
    )


def _start(week: Week) -> dt.date:
    return week.start


def _cover(cover: CoverPlan, number: int, title: str, today: dt.date, voice: Voice) -> Chart | None:
    """The cover curve; None when there are too few dates to draw."""
    if len(cover.curve) < 2:
        return None
    at = np.array([point.date for point in cover.curve], dtype="datetime64[D]")
    dates = steps(at[0], at[-1])
    middle, low, high = (
        _daily(dates, at, _numbers([getattr(point, name) for point in cover.curve]))
        for name in ("caught", "low", "high")
    )
    return cover_chart(
        f"cover-{cover.purpose}-{number}",
        voice.say("chart.control_by_date", title=Name(title), active=barrier_named(cover.active)),
        dates,
        cover=middle,
        band=(low, high),
        best=cover.best.date if cover.best is not None else None,
        today=today,
        voice=voice,
    )


def _daily(dates: DateArray, at: DateArray, values: FloatArray) -> FloatArray:
    """A curve given on some dates, on every date between."""
    return np.interp(dates.astype(np.int64), at.astype(np.int64), values)


def _numbers(values: list[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values])
