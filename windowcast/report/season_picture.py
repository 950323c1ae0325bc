"""The season as one picture: a row for soil, each weed, turf and job over the same days.

A row is a name and a note in words beside a plot without words, so that no label can lie on a line;
the page sets them side by side or, on a phone, above each other. What each day says stands with the
row for the script that reads it out; the table behind the picture says the same by week.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import Phrase, joined, say
from windowcast.limits.model import refused
from windowcast.programme.answer import Answer
from windowcast.programme.model import SeasonPlan
from windowcast.programme.season_today import turf_phase
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import el
from windowcast.report.season import never_opens
from windowcast.report.season_jobs import job_row
from windowcast.report.season_numbers import WEEK, SeasonNumbers, season_numbers
from windowcast.report.season_rows import (
    Row,
    Setting,
    day_by_day,
    safe_row,
    soil_row,
    turf_row,
    weed_row,
)
from windowcast.report.season_svg import Plot, month_middles, upon
from windowcast.season.model import TurfPhase
from windowcast.windows.loss import Loss
from windowcast.windows.purposes import purpose_of


@dataclass(frozen=True)
class SeasonPicture:
    """The picture with its words.

    Attributes
    ----------
    key
        Id of the title in a page.
    title
        Where the season stands and what comes next, in one sentence.
    now, now_said, days
        Which day is today, what it is called, and what the days are called (`day_by_day`).
    today, months
        The rows that have text: today's date above the plots, the months above and below.
    signs
        What each sign means: its drawing and its words.
    no_curve
        The weeds of the site that have no row, in a sentence; "" without any.
    weeks
        First days of the weeks of the table behind it, whose columns are the rows.
    """

    key: str
    title: str
    season: str
    now: int
    now_said: str
    today: str
    days: str
    months: str
    rows: tuple[Row, ...]
    signs: tuple[tuple[str, str], ...]
    no_curve: str
    weeks: tuple[str, ...]


def season_picture(
    answer: Answer, plan: SeasonPlan, voice: Voice, ending: str = ""
) -> SeasonPicture:
    """The season of an answer and its plan; `ending` is that of the ids."""
    voice = voice.unbroken
    phase = turf_phase(_phase(answer))
    title = joined(*_title(phase, plan), join="clauses")
    numbers = season_numbers(answer)
    dates = numbers.dates.astype("datetime64[D]").tolist()
    months = tuple(n for n, day in enumerate(dates) if day.day == 1)
    setting = Setting(numbers, months, voice, ending)
    best = {o.purpose: o.windows[0] for o in answer.ranking.purposes if o.windows}
    loss = Loss.of(answer.tables["barrier"])
    drawn = [weed for weed in numbers.weeds if weed.known]
    rows = (
        soil_row(setting, _soil_marks(answer)),
        *(weed_row(setting, weed) for weed in drawn),
        turf_row(setting, phase),
        safe_row(setting),
        *(job_row(setting, p, best.get(p.purpose), loss) for p in plan.purposes),
    )
    plot = setting.plot("days")
    codes = {weed.code for weed in drawn}
    others = [say(f"weed.{code}") for code in answer.site.weeds if code not in codes]
    return SeasonPicture(
        key=f"season-title{ending}",
        title=voice.say("season_picture.title", of=title),
        season=plan.season,
        now=numbers.today,
        now_said=voice.write(dates[numbers.today], "day"),
        today=_today(plot, numbers.today, answer.ranking.today, voice),
        days=day_by_day(voice.write(day, "day") for day in dates),
        months=_months(plot, dates, voice),
        rows=rows,
        signs=_signs(numbers, voice),
        no_curve=voice.say("season_picture.no_curve", weeds=joined(*others)) if others else "",
        weeks=tuple(voice.write(day, "day") for day in dates[::WEEK]),
    )


def _phase(answer: Answer) -> TurfPhase:
    phases = answer.past.turf.phase
    return TurfPhase(int(phases[..., -1])) if phases.shape[-1] else TurfPhase.UNKNOWN


def _soil_marks(answer: Answer) -> list[tuple[float, Phrase]]:
    """The soil temperatures by which the pre-emergents are due."""
    marks = []
    for outlook in answer.ranking.purposes:
        mark = purpose_of(outlook.purpose, answer.tables).soil_mark
        if mark is not None:
            marks.append((float(mark), say(f"season_row.mark.{outlook.purpose}")))
    return marks


def _title(phase: Phrase, plan: SeasonPlan) -> Iterator[Phrase]:
    """The turf, the jobs that are open, and what comes next."""
    yield phase
    to_do = [p for p in plan.purposes if p.to_do and not never_opens(p)]
    now = [
        say("purpose.within", title=p.title)
        for p in to_do
        if p.status == "open" and p.opened and not p.paused and not refused(p.turf)
    ]
    if now:
        yield say("season_picture.open", jobs=joined(*now))
    coming = [
        (p.opens.median, say("purpose.within", title=p.title))
        for p in to_do
        if not p.opened and p.opens is not None and p.opens.median is not None
    ]
    dates = [
        (key.ahead.median, key.label)
        for key in plan.key_dates
        if key.ahead is not None and key.ahead.median is not None
    ]
    ahead = [one for one in (*coming, *dates) if one[0] is not None and one[0] >= plan.today]
    if ahead:
        day, what = min(ahead, key=lambda one: one[0])
        yield say("season_picture.next", what=what, day=day)


def _today(plot: Plot, at: int, day: dt.date, voice: Voice) -> str:
    """The date above today's line, on the side where there is room."""
    part = at / plot.days
    anchor = "start" if part < 0.2 else "end" if part > 0.8 else "middle"
    words = voice.say("season_picture.today", day=day)
    return el("svg", upon(words, plot.x(at + 0.5), anchor), aria_hidden="true")


def _months(plot: Plot, dates: Sequence[dt.date], voice: Voice) -> str:
    texts = (
        upon(voice.write(day, "month"), plot.x(at), class_="even" if n % 2 else None)
        for n, (at, day) in enumerate(month_middles(list(dates)))
    )
    return el("svg", *texts, aria_hidden="true")


def _signs(numbers: SeasonNumbers, voice: Voice) -> tuple[tuple[str, str], ...]:
    """What each line and hatch means."""

    def bar(*classes: str) -> list[str]:
        return [el("rect", x="1", y="3", width="26", height="10", class_=css) for css in classes]

    def line(class_: str) -> list[str]:
        return [el("line", x1="1", x2="27", y1="8", y2="8", class_=class_)]

    signs = {
        "known": line("line known"),
        "ahead": line("line ahead"),
        "likely": bar("likely"),
        "past": bar("backdrop"),
        "usual": line("usual"),
        "dormant": bar("straw", "stripes"),
        "unknown": bar("unknown"),
        "done": [el("circle", cx="14", cy="8", r="6", class_="done")],
        "residual": bar("residual"),
        "best": [el("rect", x="12", y="1", width="4", height="14", class_="best")],
    }
    return tuple(
        (el("svg", *parts, viewBox="0 0 28 16", aria_hidden="true"), said)
        for name, parts in signs.items()
        if (said := voice.say(f"season_sign.{name}", years=numbers.past_years))
    )
