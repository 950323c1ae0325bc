"""The daily and weekly charts of the page, from plain arrays and already worded labels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from windowcast.core.phrase import NOTHING, Name, Value, joined, say
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.time_axis import day_index
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    Band,
    Chart,
    Hatched,
    Layer,
    Line,
    Moment,
    Scale,
    Threshold,
    drawing,
    el,
    label,
    ticks,
    time_chart,
)
from windowcast.report.measures import MEASURES, Shown

_Numbers = TypeVar("_Numbers", float, FloatArray)
STEP_DAYS = 7  # the table behind a daily chart has a row for each week


def soil_chart(
    dates: DateArray,
    *,
    this_year_c: FloatArray,
    ahead_c: tuple[FloatArray, FloatArray, FloatArray],
    past_years_c: tuple[FloatArray, FloatArray],
    years: int,
    thresholds_c: Sequence[tuple[float, str]],
    today: dt.date,
    voice: Voice,
    readings: Sequence[tuple[dt.date, float]] = (),
) -> Chart:
    """Soil temperature at 5 cm: this season, the days ahead, past years, thresholds named.

    Series are daily °C along `dates`; `ahead_c` is the 10, 50 and 90 % line of the members,
    `past_years_c` the 10 and 90 % line of `years` earlier seasons.
    """
    depth = wording.quantity(5, "cm", voice)
    measure = MEASURES["degC"][voice.units]
    unit = measure.unit
    low, mid, high = (_shown(values, measure) for values in ahead_c)
    past = tuple(_shown(values, measure) for values in past_years_c)
    now = _shown(this_year_c, measure)
    layers: list[Layer] = [
        Band(past[0], past[1], "past", voice.say("chart.soil_past", years=years)),
        Band(low, high, "ahead", voice.say("chart.soil_ahead")),
        Line(now, "now", voice.say("chart.soil_now")),
        Line(mid, "ahead-mid", voice.say("chart.soil_middle")),
    ]
    layers += [
        Threshold(_shown(value, measure), f"{wording.quantity(value, 'degC', voice)} {words}")
        for value, words in thresholds_c
    ]
    layers.append(Moment(today, voice.say("chart.today")))
    y_range = _range([*past, low, high, now], [_shown(value, measure) for value, _ in thresholds_c])
    title = voice.say("chart.soil", depth=Name(depth))
    last = _last(now)
    marks = (Name(f"{words} {wording.quantity(v, 'degC', voice)}") for v, words in thresholds_c)
    desc = voice.say(
        "chart.soil_described",
        unit=Name(unit),
        soil=Name(_word(last, voice)),
        marks=joined(*marks, join="clauses"),
    )
    svg = time_chart(
        "soil",
        title,
        desc,
        dates,
        layers,
        y_title=voice.say("chart.daily_mean", unit=Name(unit)),
        y_range=y_range,
        voice=voice,
    )
    heads = ("this_season", "ahead", "past")
    columns = (
        voice.say("column.date"),
        *(voice.say(f"column_in.{head}", unit=Name(unit)) for head in heads),
    )
    rows = tuple(
        (
            voice.write(date, "day"),
            _word(now[n], voice),
            _span(low[n], mid[n], high[n], voice=voice),
            _span(past[0][n], past[1][n], voice=voice),
        )
        for n, date in _weekly(dates)
    )
    return Chart("soil", title, desc, svg, columns, rows)


def emergence_chart(
    key: str,
    weed: str,
    dates: DateArray,
    voice: Voice,
    *,
    share: FloatArray,
    band: tuple[FloatArray, FloatArray],
    today: dt.date,
    windows: Sequence[tuple[dt.date, dt.date, str]] = (),
    doubt_weeks: float = 0.0,
) -> Chart:
    """Emerged share of the season's total with its band, and the windows marked.

    `doubt_weeks` is of a general clock, as in `Emergence`.
    """
    low, mid, high = 100 * band[0], 100 * share, 100 * band[1]
    layers: list[Layer] = [
        *(Hatched(first, last, words) for first, last, words in windows),
        Band(low, high, "ahead", voice.say("chart.likely_range")),
        Line(mid, "now", voice.say("chart.expected")),
        Threshold(50, voice.say("chart.half_emerged")),
        Moment(today, voice.say("chart.today")),
    ]
    name = Name(f"{weed[:1].upper()}{weed[1:]}")
    title = voice.say("chart.emerged", weed=name)
    if doubt_weeks:
        title = voice.say("chart.emerged_roughly", weed=name, weeks=round(doubt_weeks))
    at = int(np.clip(day_index(dates, today), 0, len(dates) - 1))
    ends = _span(low[at], high[at], digits=0, voice=voice)
    desc = voice.say(
        "chart.emerged_described", share=Name(_word(mid[at], voice, 0)), ends=Name(ends)
    )
    svg = time_chart(
        key,
        title,
        desc,
        dates,
        layers,
        y_title=voice.say("chart.of_plants"),
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
        key, title, desc, svg, _heads("date", "emerged", "likely_range", voice=voice), rows
    )


def turf_chart(
    dates: DateArray,
    voice: Voice,
    *,
    dormant: FloatArray,
    safe: FloatArray,
    today: dt.date,
    phase: str,
) -> Chart:
    """Chance of full dormancy, and that a non-selective product is safe by the turf, day by day.

    Series are 0..1 along `dates`, NaN where it cannot be told; `phase` says where the turf stands.
    """
    asleep, harmless = 100 * dormant, 100 * safe
    layers: list[Layer] = [
        Line(asleep, "now", voice.say("chart.fully_dormant")),
        Line(harmless, "other", voice.say("chart.safe")),
        Moment(today, voice.say("chart.today")),
    ]
    title = voice.say("chart.turf")
    desc = voice.say("chart.turf_described", phase=Name(phase))
    svg = time_chart(
        "turf",
        title,
        desc,
        dates,
        layers,
        y_title=voice.say("chart.chance_on_day"),
        y_range=(0, 100),
        voice=voice,
    )
    rows = tuple(
        (voice.write(date, "day"), _word(asleep[n], voice, 0), _word(harmless[n], voice, 0))
        for n, date in _weekly(dates)
    )
    return Chart("turf", title, desc, svg, _heads("date", "dormant", "safe", voice=voice), rows)


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
) -> Chart:
    """Workable days in each week, with the 10–90 % of past years as whiskers."""
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
            for end in (low, high):
                parts.append(
                    el("line", x1=middle - 3, x2=middle + 3, y1=y(end), y2=y(end), class_="whisker")
                )
        if n % every == 0:
            parts.append(
                label(middle, top + plot + 15, voice.write(monday, "short"), "lab", "middle")
            )
    parts.append(el("line", x1=left, x2=right, y1=y(0), y2=y(0), class_="axis"))
    parts.append(label(left, top + plot + 32, voice.say("chart.days_legend")))
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
    svg = drawing(key, title, desc, top + plot + 38, *parts)
    return Chart(
        key, title, desc, svg, _heads("week", "expected_days", "of_years", voice=voice), rows
    )


def _heads(*names: str, voice: Voice) -> tuple[str, ...]:
    """Heads of the columns of the table behind a chart."""
    return tuple(voice.say(f"column.{name}") for name in names)


def _shown(values_c: _Numbers, measure: Shown) -> _Numbers:
    """°C in the reader's degrees."""
    return values_c * measure.factor + measure.offset


def _range(series: Sequence[FloatArray], marks: Sequence[float]) -> tuple[float, float]:
    """Axis range over every finite value, rounded out to fives."""
    values = np.concatenate([np.asarray(s, dtype=float).ravel() for s in [*series, list(marks)]])
    values = values[np.isfinite(values)]
    if not len(values):
        return 0.0, 1.0
    return float(np.floor(values.min() / 5) * 5), float(np.ceil((values.max() + 0.5) / 5) * 5)


def _weekly(dates: DateArray) -> list[tuple[int, dt.date]]:
    return list(enumerate(dates.astype("datetime64[D]").tolist()))[::STEP_DAYS]


def _last(values: FloatArray) -> float:
    known = np.flatnonzero(np.isfinite(values))
    return float(values[known[-1]]) if len(known) else float("nan")


def _word(value: float, voice: Voice, digits: int = 1) -> str:
    return voice.number(float(value), digits) if np.isfinite(value) else "–"


def _span(*values: float, voice: Voice, digits: int = 1) -> str:
    return " – ".join(_word(v, voice, digits) for v in values) if np.isfinite(values).all() else "–"
