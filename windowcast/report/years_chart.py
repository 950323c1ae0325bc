"""Key dates of this season beside those of past ones, a row for each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np

from windowcast.core.phrase import Name, say
from windowcast.core.season_calendar import start_of_named
from windowcast.programme.model import KeyDate, SeasonPlan
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart, Scale, drawing, el, label, month_starts

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
