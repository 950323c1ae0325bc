"""The rows of the season's picture that show the jobs: when each is open, and what was done."""

from __future__ import annotations

import datetime as dt

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Share, Span, joined, names, say
from windowcast.core.record import FloatArray
from windowcast.core.time_axis import day_index
from windowcast.programme.model import PurposePlan
from windowcast.report import wording
from windowcast.report.season import never_opens, status_words
from windowcast.report.season_numbers import WEEK, chance_open, control_left
from windowcast.report.season_rows import HARDLY, Row, Setting, spoken
from windowcast.report.season_svg import Plot
from windowcast.report.series import Fan
from windowcast.windows.loss import Loss
from windowcast.windows.model import Job, Window
from windowcast.windows.odds import DateRange

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
