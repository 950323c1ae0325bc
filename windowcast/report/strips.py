"""The hour strip: what each hour of the coming days is worth for a purpose."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence

from windowcast.core.phrase import Name, Value, say
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import WIDTH, Chart, drawing, el, label
from windowcast.windows.model import HourStrip, Verdict, Window


def hour_strip(
    key: str,
    title: str,
    strip: HourStrip,
    windows: Sequence[Window],
    levels: Sequence[Verdict],
    *,
    voice: Voice,
) -> Chart:
    """One row for each day: a bar for each hour, as high as its score, best windows framed.

    Parameters
    ----------
    levels
        The verdict of each hour of `strip`.
    """
    left, row, top = 52.0, 30.0, 34.0
    hour = (WIDTH - left - 6) / 24
    days = sorted({time.date() for time in strip.times})
    place = {date: n for n, date in enumerate(days)}
    parts = [label(left, 12, voice.say("chart.hours_axis"), "axis-title")]
    for clock in range(0, 25, 6):
        x = left + clock * hour
        anchor = "end" if clock == 24 else "middle"
        parts.append(label(x, top - 6, f"{clock}", "lab", anchor))
        parts.append(
            el("line", x1=x, x2=x, y1=top, y2=top + row * len(days), class_="grid"),
        )
    for date, n in place.items():
        floor = top + row * (n + 1)
        parts.append(label(4, floor - 8, voice.say("chart.weekday", day=date)))
        parts.append(el("line", x1=left, x2=WIDTH - 6, y1=floor, y2=floor, class_="axis"))
    for time, points, level in zip(strip.times, strip.scores, levels, strict=True):
        x, floor = left + time.hour * hour, top + row * (place[time.date()] + 1)
        parts.append(_bar((x, floor), (hour, row - 5), points, level))
    for window in windows:
        if window.date in place:
            parts.append(_frame(window, left, hour, top + row * place[window.date], row))
    bottom = top + row * len(days) + 20
    parts += _strip_legend(left, bottom, voice)
    best = windows[0] if windows else None
    said: Value = say("chart.no_window")
    if best:
        hours, score = Name(wording.hours(best, voice)), Name(wording.score(best))
        said = say("chart.best_hours", day=best.date, hours=hours, score=score)
    desc = voice.say("chart.hours_described", days=len(days), best=said)
    svg = drawing(key, title, desc, bottom + 26, *parts)
    return Chart(key, title, desc, svg, _heads(voice), _hour_rows(strip, levels, voice))


def _heads(voice: Voice) -> tuple[str, ...]:
    names = ("day", "hours", "score", "verdict")
    return tuple(voice.say(f"column.{name}") for name in names)


def _bar(
    corner: tuple[float, float], size: tuple[float, float], points: float | None, level: Verdict
) -> str:
    """A bar that stands on `corner`; a low hatched one when the hour cannot be told."""
    (x, floor), (width, height) = corner, size
    css = level.replace(" ", "-")
    if points is None:
        return el(
            "rect",
            x=x + 1,
            y=floor - 9,
            width=width - 2,
            height=8.0,
            class_=f"hour {css}",
            fill="url(#hatch-unknown)",
        )
    tall = max(1.0, height * points / 100)
    fill = "url(#hatch-marginal)" if level == "marginal" else None
    return el(
        "rect",
        x=x + 0.8,
        y=floor - tall,
        width=width - 1.6,
        height=tall,
        class_=f"hour {css}",
        fill=fill,
    )


def _frame(window: Window, left: float, hour: float, top: float, row: float) -> str:
    start = window.start.hour + window.start.minute / 60
    end = window.end.hour + window.end.minute / 60 if window.end.date() == window.date else 24.0
    return el(
        "rect",
        x=left + start * hour,
        y=top + 1,
        width=max(hour, (end - start) * hour),
        height=row - 1,
        rx=3.0,
        class_="frame",
    )


def _strip_legend(left: float, y: float, voice: Voice) -> list[str]:
    entries: tuple[Verdict, ...] = ("fit", "marginal", "unfit", "cannot tell")
    parts = []
    for n, level in enumerate(entries):
        x = left + (0, 46, 124, 186)[n]
        points = None if level == "cannot tell" else 100.0
        parts.append(_bar((x, y + 2), (14.0, 11.0), points, level))
        parts.append(label(x + 18, y + 1, voice.text(wording.verdict(level))))
    parts.append(el("rect", x=left + 0.8, y=y + 9, width=12.0, height=11.0, rx=3.0, class_="frame"))
    parts.append(label(left + 18, y + 18, voice.say("chart.ranked_window")))
    return parts


def _hour_rows(
    strip: HourStrip, levels: Sequence[Verdict], voice: Voice
) -> tuple[tuple[str, ...], ...]:
    """Hours of a day with the same verdict, joined."""
    rows = []
    hours = zip(strip.times, strip.scores, levels, strict=True)
    for (date, level), group in itertools.groupby(hours, key=lambda h: (h[0].date(), h[2])):
        block = list(group)
        points = [score for _, score, _ in block if score is not None]
        span = f"{block[0][0]:%H:%M}–{block[-1][0] + dt.timedelta(hours=1):%H:%M}"
        low, high = (min(points), max(points)) if points else (None, None)
        score = "?" if low is None else f"{low:.0f}–{high:.0f}"
        rows.append((voice.write(date, "day"), span, score, voice.text(wording.verdict(level))))
    return tuple(rows)
