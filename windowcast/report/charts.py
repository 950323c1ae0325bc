"""The charts of the page by day, week and year, from plain arrays and worded labels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import TypeVar

import numpy as np

from windowcast.core.phrase import NOTHING, Name, Value, say
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import start_of_named
from windowcast.programme.model import KeyDate, SeasonPlan
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    Band,
    Chart,
    Layer,
    Line,
    Moment,
    Scale,
    drawing,
    el,
    label,
    month_starts,
    ticks,
    time_chart,
)

_Numbers = TypeVar("_Numbers", float, FloatArray)
STEP_DAYS = 7  # the table behind a daily chart has a row for each week


def cover_chart(
    key: str,
    title: str,
    dates: DateArray,
    voice: Voice,
    *,
    cover: FloatArray,
    band: tuple[FloatArray, FloatArray],
    best: dt.date | None,
    today: dt.date,
) -> Chart:
    """Barrier cover against the date of application: share of emergence met by enough active."""
    low, mid, high = 100 * band[0], 100 * cover, 100 * band[1]
    layers: list[Layer] = [
        Band(low, high, "ahead", voice.say("chart.likely_range")),
        Line(mid, "now", voice.say("chart.expected_control")),
        Moment(today, voice.say("chart.today")),
    ]
    if best is not None:
        layers.append(Moment(best, voice.say("chart.best_on", day=best)))
    at: Value = say("chart.control_best", day=best) if best else NOTHING
    desc = voice.say("chart.control_described", best=at)
    svg = time_chart(
        key,
        title,
        desc,
        dates,
        layers,
        y_title=voice.say("chart.of_emergence"),
        y_range=(0, 100),
        voice=voice,
    )
    rows = tuple(
        (
            voice.write(date, "day"),
            _word(mid[n], voice, 0),
            _span(low[n], high[n], digits=0, voice=voice),
        )
        for n, date in _weekly(dates)
    )
    return Chart(
        key, title, desc, svg, _heads("applied_on", "controlled", "likely_range", voice=voice), rows
    )


def workable_chart(
    key: str,
    title: str,
    weeks: Sequence[dt.date],
    voice: Voice,
    *,
    days: FloatArray,
    band: tuple[FloatArray, FloatArray],
    legend: bool = True,
) -> Chart:
    """Workable days in each week, with the 10–90 % of past years as whiskers.

    `legend`: say what bar and whisker are, which several charts on a page say once.
    """
    left, right, top, plot = 40.0, 352.0, 22.0, 120.0
    y = Scale(0, 7, top + plot, top)
    step = (right - left) / max(1, len(weeks))
    parts = [label(4, 12, voice.say("chart.days_in_week"), "axis-title")]
    for value in ticks(0, 7, 4):
        parts.append(el("line", x1=left, x2=right, y1=y(value), y2=y(value), class_="grid"))
        parts.append(label(left - 4, y(value) + 4, f"{value:g}", "lab", "end"))
    every = max(1, len(weeks) * 46 // int(right - left) + 1)
    for n, monday in enumerate(weeks):
        x = left + n * step
        middle = x + step / 2
        if np.isfinite(days[n]):
            tall = y(0) - y(float(days[n]))
            parts.append(
                el(
                    "rect",
                    x=x + step * 0.18,
                    y=y(0) - tall,
                    width=step * 0.64,
                    height=tall,
                    class_="bar",
                )
            )
        low, high = float(band[0][n]), float(band[1][n])
        if np.isfinite(low) and np.isfinite(high):
            for css in ("whisker-halo", "whisker"):  # the halo sets it off the bar in grey
                parts.append(el("line", x1=middle, x2=middle, y1=y(low), y2=y(high), class_=css))
        if n % every == 0:
            parts.append(
                label(middle, top + plot + 20, voice.write(monday, "short"), "lab", "middle")
            )
    parts.append(el("line", x1=left, x2=right, y1=y(0), y2=y(0), class_="axis"))
    if legend:
        parts.append(label(left, top + plot + 36, voice.say("chart.days_legend")))
    best = int(np.nanargmax(days)) if np.isfinite(days).any() else None
    most: Value = NOTHING
    if best is not None:
        most = say("chart.days_most", week=weeks[best], days=Name(_word(days[best], voice)))
    desc = voice.say("chart.days_described", most=most)
    rows = tuple(
        (
            voice.say("chart.week_of", day=w),
            _word(days[n], voice),
            _span(band[0][n], band[1][n], voice=voice),
        )
        for n, w in enumerate(weeks)
    )
    svg = drawing(key, title, desc, top + plot + (40 if legend else 25), *parts)
    return Chart(
        key, title, desc, svg, _heads("week", "expected_days", "of_years", voice=voice), rows
    )


def _heads(*names: str, voice: Voice) -> tuple[str, ...]:
    """Heads of the columns of the table behind a chart."""
    return tuple(voice.say(f"column.{name}") for name in names)


def _weekly(dates: DateArray) -> list[tuple[int, dt.date]]:
    return list(enumerate(dates.astype("datetime64[D]").tolist()))[::STEP_DAYS]


def _word(value: float, voice: Voice, digits: int = 1) -> str:
    return voice.number(float(value), digits) if np.isfinite(value) else "–"


def _span(*values: float, voice: Voice, digits: int = 1) -> str:
    return " – ".join(_word(v, voice, digits) for v in values) if np.isfinite(values).all() else "–"


_LEFT, _RIGHT, _TOP, _ROW = 12.0, 348.0, 36.0, 38.0


def years_chart(plan: SeasonPlan, voice: Voice) -> Chart:
    """Each past season's date as a stroke, this season's as a diamond with its 10 to 90 %."""
    start = start_of_named(plan.season)
    days = np.arange(np.datetime64(start, "D"), np.datetime64(start.replace(year=start.year + 1)))
    x = Scale(0, len(days) - 1, _LEFT, _RIGHT)
    bottom = _TOP + _ROW * len(plan.key_dates)
    parts = [label(_LEFT, 12, voice.say("chart.season_day"), "axis-title")]
    months = month_starts(days, voice)
    for number, (index, month) in enumerate(months):
        at = x(index)
        if index and number % 2 and at < _RIGHT - 16:
            parts.append(label(at + 2, _TOP - 6, month))
    for row, key in enumerate(plan.key_dates):
        middle = _TOP + _ROW * row + 26
        parts += _row(key, middle, x, voice, [x(index) for index, _ in months])
        parts += _this_season(key, middle, x, start)
    parts += _legend(bottom + 16, voice)
    described = say(
        "chart.years_described",
        season=Name(plan.season),
        past=plan.past_seasons,
        dates=len(plan.key_dates),
    )
    desc, title = voice.text(described), voice.say("chart.years")
    svg = drawing("years", title, desc, bottom + 64, *parts)
    seasons = list(dict.fromkeys(y.season for key in plan.key_dates for y in key.years))
    columns = (voice.say("column.key_date"), f"{plan.season}", *seasons)
    rows = tuple(_cells(key, seasons, voice) for key in plan.key_dates)
    return Chart("years", title, desc, svg, columns, rows)


def _row(key: KeyDate, middle: float, x: Scale, voice: Voice, months: list[float]) -> Iterator[str]:
    yield label(_LEFT, middle - 12, voice.text(key.label), "lab")
    for at in months:  # no longer than the row, so that they cross no name
        yield el("line", x1=at, x2=at, y1=middle - 5, y2=middle + 5, class_="grid")
    yield el("line", x1=_LEFT, x2=_RIGHT, y1=middle, y2=middle, class_="grid")
    for year in key.years:
        if year.date is not None:
            at = x((year.date - start_of_named(year.season)).days)
            yield el("line", x1=at, x2=at, y1=middle - 5, y2=middle + 5, class_="stroke")


def _this_season(key: KeyDate, middle: float, x: Scale, start: dt.date) -> Iterator[str]:
    if key.ahead is not None and key.ahead.early is not None and key.ahead.late is not None:
        low, high = (x((day - start).days) for day in (key.ahead.early, key.ahead.late))
        yield el("line", x1=low, x2=high, y1=middle, y2=middle, class_="whisker")
    this = key.passed or (key.ahead.median if key.ahead is not None else None)
    if this is not None:
        yield _diamond(x((this - start).days), middle)


def _diamond(x: float, y: float) -> str:
    d = f"M{x:.1f} {y - 6:.1f}L{x + 5:.1f} {y:.1f}L{x:.1f} {y + 6:.1f}L{x - 5:.1f} {y:.1f}Z"
    return el("path", d=d, class_="diamond")


def _legend(y: float, voice: Voice) -> list[str]:
    return [
        el("line", x1=_LEFT + 6, x2=_LEFT + 6, y1=y - 5, y2=y + 5, class_="stroke"),
        label(_LEFT + 18, y + 4, voice.say("chart.a_past_season")),
        _diamond(_LEFT + 6, y + 18),
        label(_LEFT + 18, y + 22, voice.say("chart.this_season")),
        el("line", x1=_LEFT, x2=_LEFT + 14, y1=y + 36, y2=y + 36, class_="whisker"),
        label(_LEFT + 18, y + 40, voice.say("chart.still_to_come")),
    ]


def _cells(key: KeyDate, seasons: list[str], voice: Voice) -> tuple[str, ...]:
    this = key.passed or (key.ahead.median if key.ahead is not None else None)
    dates = {year.season: year.date for year in key.years}
    return (
        voice.text(key.label),
        voice.write(this, "short") if this is not None else voice.say("window_verdict.cannot_tell"),
        *(
            voice.write(day, "short") if (day := dates.get(season)) is not None else "–"
            for season in seasons
        ),
    )
