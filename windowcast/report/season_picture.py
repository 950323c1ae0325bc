"""The season as one picture: a row for soil, each weed, turf and job over the same days.

A row is a name and a note in words beside a plot without words, so that no label can lie on a line;
the page sets them side by side or, on a phone, above each other. What each day says stands with the
row for the script that reads it out; the table behind the picture says the same by week.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Share, Span, joined, names, say
from windowcast.core.record import FloatArray
from windowcast.core.time_axis import day_index
from windowcast.limits.model import refused
from windowcast.programme.answer import Answer
from windowcast.programme.model import PurposePlan, SeasonPlan
from windowcast.programme.season_today import turf_phase
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import el
from windowcast.report.fluid import Plot, month_middles, upon
from windowcast.report.season import never_opens, status_words
from windowcast.report.season_numbers import (
    WEEK,
    Fan,
    SeasonNumbers,
    chance_open,
    control_left,
    season_numbers,
)
from windowcast.report.season_rows import (
    HARDLY,
    Row,
    Setting,
    day_by_day,
    safe_row,
    soil_row,
    spoken,
    turf_row,
    weed_row,
)
from windowcast.season.model import TurfPhase
from windowcast.windows.loss import Loss
from windowcast.windows.model import Job, Window
from windowcast.windows.odds import DateRange
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


BAR = (0.2, 0.7)  # foot and top of a job's bar


def job_row(setting: Setting, plan: PurposePlan, best: Window | None, loss: Loss) -> Row:
    """A job as a bar with soft edges; what was done as a mark with what is left of it."""
    numbers, voice = setting.numbers, setting.voice
    plot = setting.plot(plan.purpose)
    name = voice.text(plan.title)
    chance = chance_open(plan, numbers.dates)
    left = control_left(plan.job, numbers, loss) if plan.job is not None else None
    note = _note(plan, best, left, numbers.today)
    spent = plan.status == "over" or not plan.to_do
    parts = [plot.shade(chance, ("job over" if spent else "job",), "open", BAR)]
    parts += _usual(plan, plot, numbers.dates)
    if left is not None:
        parts += _wedge(left, plot)
    if plan.job is not None and plan.job.applied is not None:
        parts.append(plot.dot(day_index(numbers.dates, plan.job.applied), 0.45, "done"))
    if best is not None:
        at = day_index(numbers.dates, best.date)
        parts.append(plot.tick(at, "best", (0.1, 0.8)))
    rest = np.zeros(plot.days) if left is None else left.mid
    days = spoken(
        zip(np.round(chance, 2).tolist(), (np.round(20 * rest) / 20).tolist(), strict=True),
        lambda of: voice.text(_day(*of)),
    )
    return Row(
        kind="job",
        name=name,
        note=voice.text(note),
        svg=setting.draw(plot, name, note, *parts),
        days=days,
        weeks=days[::WEEK],
    )


def _usual(plan: PurposePlan, plot: Plot, dates: np.ndarray) -> list[str]:
    """From when to when it is open in the middle of past seasons, as a thin line."""
    first, last = (
        when.median if when is not None else None
        for when in (plan.normal_opens, plan.normal_closes)
    )
    if first is None or last is None:
        return []
    return [plot.level(0.08, "usual", day_index(dates, first), day_index(dates, last) + 1)]


def _wedge(left: Fan, plot: Plot) -> list[str]:
    """What is left of a residual, with its range; hatched as unknown where its end is not known."""
    foot, tall = BAR[0], 0.6
    if np.isnan(left.mid).any():
        start = float(np.flatnonzero(np.isnan(left.mid))[0])
        return [plot.span((start, plot.days), "unknown", BAR)]

    def at(part: FloatArray) -> FloatArray:
        return np.where(part > 0, foot + tall * part, np.nan)

    high = np.where(np.isnan(left.high), left.mid, left.high)
    within = at(high)
    return [
        plot.area(np.where(np.isnan(within), np.nan, np.fmax(at(left.low), foot)), within, "likely",
                  "range"),
        plot.area(np.where(left.mid > 0, foot, np.nan), at(left.mid), "residual", "left"),
    ]  # fmt: skip


def _day(chance: float, left: float) -> Phrase:
    """What one day says of a job."""
    said = say("season_day.open", chance=Share(chance))
    if np.isnan(chance):
        said = say("window_verdict.cannot_tell")
    elif chance < HARDLY:
        said = say("season_day.shut")
    elif chance > 1 - HARDLY:
        said = say("season_day.surely")
    if not left > HARDLY:
        return said
    return joined_clauses(said, say("season_day.left", left=Share(left)))


def joined_clauses(*parts: Phrase) -> Phrase:
    """Clauses as one phrase."""
    return say("season_row.note", of=joined(*parts, join="clauses"))


def _note(plan: PurposePlan, best: Window | None, left: Fan | None, today: int) -> Phrase:
    """Where the job stands, from when to when, what is left of it or which hours are best."""
    job = plan.job
    if job is not None and job.applied is not None:
        applied = say("season_row.applied", day=job.applied, actives=names(*job.actives))
        return joined_clauses(wording.answer_said(job.state), applied, _lasting(job, left, today))
    status = status_words(plan)
    if never_opens(plan) or (plan.opens is None and plan.opened is None):
        return status
    first, last = _edge(plan.opened, plan.opens), _edge(plan.closed, plan.closes)
    span = say("note.about", what=status, note=say("season_row.span", first=first, last=last))
    if best is None:
        return span
    hours = say("season_row.best", when=Span(best.start, best.end))
    return joined_clauses(span, hours)


def _lasting(job: Job, left: Fan | None, today: int) -> Phrase:
    until = job.residual_until[1] if job.residual_until is not None else None
    if left is None or until is None:
        return NOTHING
    now = float(left.mid[today]) if 0 <= today < len(left.mid) else 0.0
    if now < HARDLY:
        return say("season_row.ran_out", day=until)
    return say("season_row.left", left=Share(now), day=until)


def _edge(day: dt.date | None, when: DateRange | None) -> Phrase:
    if day is not None:
        return say("season_row.on", day=day)
    middle = when.median if when is not None else None
    return say("season_row.about", day=middle) if middle else say("season_row.open_end")
