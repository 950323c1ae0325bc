"""The daily and weekly charts of the page, from plain arrays and already worded labels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.units import Display
from windowcast.report import wording
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
    display: Display,
    readings: Sequence[tuple[dt.date, float]] = (),
) -> Chart:
    """Soil temperature at 5 cm: this season, the days ahead, past years, thresholds named.

    Series are daily °C along `dates`; `ahead_c` is the 10, 50 and 90 % line of the members,
    `past_years_c` the 10 and 90 % line of `years` earlier seasons.
    """
    depth = wording.quantity(5, "cm", display)
    unit = display.temperature_unit
    show = display.temperature_value
    low, mid, high = (_shown(values, display) for values in ahead_c)
    past = tuple(_shown(values, display) for values in past_years_c)
    now = _shown(this_year_c, display)
    layers: list[Layer] = [
        Band(past[0], past[1], "past", f"middle 80 % of {years} past seasons"),
        Band(low, high, "ahead", "days ahead, 10 to 90 %"),
        Line(now, "now", "this season (model and readings)"),
        Line(mid, "ahead-mid", "days ahead, middle"),
    ]
    layers += [
        Threshold(show(value), f"{wording.quantity(value, 'degC', display)} {words}")
        for value, words in thresholds_c
    ]
    layers.append(Moment(today, "today"))
    y_range = _range([*past, low, high, now], [show(value) for value, _ in thresholds_c])
    title = f"Soil temperature at {depth}"
    last = _last(now)
    desc = (
        f"Daily mean in {unit}. Yesterday {_word(last)} {unit}. "
        + "; ".join(
            f"{words} at {wording.quantity(v, 'degC', display)}" for v, words in thresholds_c
        )
        + "."
    )
    svg = time_chart(
        "soil", title, desc, dates, layers, y_title=f"{unit}, daily mean", y_range=y_range
    )
    columns = ("Date", f"This season {unit}", f"Ahead 10–50–90 % {unit}", f"Past 10–90 % {unit}")
    rows = tuple(
        (
            wording.day(date),
            _word(now[n]),
            _span(low[n], mid[n], high[n]),
            _span(past[0][n], past[1][n]),
        )
        for n, date in _weekly(dates)
    )
    return Chart("soil", title, desc, svg, columns, rows)


def emergence_chart(
    key: str,
    weed: str,
    dates: DateArray,
    *,
    share: FloatArray,
    band: tuple[FloatArray, FloatArray],
    today: dt.date,
    windows: Sequence[tuple[dt.date, dt.date, str]] = (),
) -> Chart:
    """Emerged share of the season's total with its band, and the windows marked."""
    low, mid, high = 100 * band[0], 100 * share, 100 * band[1]
    layers: list[Layer] = [
        *(Hatched(first, last, words) for first, last, words in windows),
        Band(low, high, "ahead", "10 to 90 % band"),
        Line(mid, "now", "expected"),
        Threshold(50, "half up"),
        Moment(today, "today"),
    ]
    title = f"{weed[:1].upper()}{weed[1:]}: plants up"
    at = int(np.clip((np.datetime64(today, "D") - dates[0]).astype(int), 0, len(dates) - 1))
    desc = (
        f"Share of the season's plants that have emerged, in percent. Today {_word(mid[at], 0)} % "
        f"({_span(low[at], high[at], digits=0)})."
    )
    svg = time_chart(
        key, title, desc, dates, layers, y_title="% of the season's plants", y_range=(0, 100)
    )
    rows = tuple(
        (wording.day(date), _word(mid[n], 0), _span(low[n], high[n], digits=0))
        for n, date in _weekly(dates)
    )
    return Chart(key, title, desc, svg, ("Date", "Up %", "10–90 % band"), rows)


def turf_chart(
    dates: DateArray,
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
        Line(asleep, "now", "fully dormant"),
        Line(harmless, "other", "safe for a non-selective product"),
        Moment(today, "today"),
    ]
    title = "Turf: dormancy and green-up"
    desc = (
        f"Yesterday {phase}. Chance of full dormancy, and of turf that a non-selective product "
        "does not harm, in percent; what cannot be told is left out."
    )
    svg = time_chart(
        "turf", title, desc, dates, layers, y_title="% chance on the day", y_range=(0, 100)
    )
    rows = tuple(
        (wording.day(date), _word(asleep[n], 0), _word(harmless[n], 0))
        for n, date in _weekly(dates)
    )
    return Chart("turf", title, desc, svg, ("Date", "Dormant %", "Safe %"), rows)


def cover_chart(
    key: str,
    title: str,
    dates: DateArray,
    *,
    cover: FloatArray,
    band: tuple[FloatArray, FloatArray],
    best: dt.date | None,
    today: dt.date,
) -> Chart:
    """Barrier cover against the date of application: share of emergence met by enough active."""
    low, mid, high = 100 * band[0], 100 * cover, 100 * band[1]
    layers: list[Layer] = [
        Band(low, high, "ahead", "10 to 90 % band"),
        Line(mid, "now", "expected cover"),
        Moment(today, "today"),
    ]
    if best is not None:
        layers.append(Moment(best, f"best {best.day} {best:%b}"))
    desc = "Share of the season's emergence that meets enough active, by date of application. " + (
        f"Best on {wording.day(best)}." if best else ""
    )
    svg = time_chart(
        key, title, desc, dates, layers, y_title="% of emergence covered", y_range=(0, 100)
    )
    rows = tuple(
        (wording.day(date), _word(mid[n], 0), _span(low[n], high[n], digits=0))
        for n, date in _weekly(dates)
    )
    return Chart(key, title, desc, svg, ("Applied on", "Cover %", "10–90 % band"), rows)


def workable_chart(
    key: str,
    title: str,
    weeks: Sequence[dt.date],
    *,
    days: FloatArray,
    band: tuple[FloatArray, FloatArray],
) -> Chart:
    """Workable days in each week, with the 10–90 % of past years as whiskers."""
    left, right, top, plot = 40.0, 352.0, 22.0, 120.0
    y = Scale(0, 7, top + plot, top)
    step = (right - left) / max(1, len(weeks))
    parts = [label(4, 12, "workable days in the week", "axis-title")]
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
                label(middle, top + plot + 15, f"{monday.day} {monday:%b}", "lab", "middle")
            )
    parts.append(el("line", x1=left, x2=right, y1=y(0), y2=y(0), class_="axis"))
    parts.append(label(left, top + plot + 32, "bar: expected; whisker: 10 to 90 % of years"))
    best = int(np.nanargmax(days)) if np.isfinite(days).any() else None
    desc = "Days in each week with at least one workable stretch. " + (
        f"Most in the week of {wording.day(weeks[best])}: {days[best]:.1f}."
        if best is not None
        else ""
    )
    rows = tuple(
        (f"week of {wording.day(w)}", _word(days[n]), _span(band[0][n], band[1][n]))
        for n, w in enumerate(weeks)
    )
    svg = drawing(key, title, desc, top + plot + 38, *parts)
    return Chart(key, title, desc, svg, ("Week", "Expected days", "10–90 % of years"), rows)


def _shown(values_c: FloatArray, display: Display) -> FloatArray:
    return values_c * 1.8 + 32 if display.us else values_c


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


def _word(value: float, digits: int = 1) -> str:
    return wording.number(float(value), digits) if np.isfinite(value) else "–"


def _span(*values: float, digits: int = 1) -> str:
    return " – ".join(_word(v, digits) for v in values) if np.isfinite(values).all() else "–"
