"""Charts of a comparison's stations: dates with how far years differ, and weeks of a season."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Quantity, Share
from windowcast.core.record import FloatArray
from windowcast.region.columns import DATE_COLUMNS, SHARE_COLUMNS, day_of_season
from windowcast.region.compare import Compared
from windowcast.region.statistics import AT_LEAST, Normals
from windowcast.region.tables import ODDS_FIELDS
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    LINE,
    WIDTH,
    Chart,
    Scale,
    band_path,
    drawing,
    el,
    label,
    line_path,
    short,
    stacked,
    ticks,
)
from windowcast.report.region_words import (
    day_said,
    quantities_said,
    quantity_named,
    quantity_said,
    unparted,
)

MAX_ROWS = 40  # drawn in a chart
MAX_LISTED = 500  # stations whose numbers are listed, and dots drawn one by one
_NAMES = 146.0  # room for names left of the dates
_DATE = 22.0  # room right of the dates, for half of one below the last
_MARKS = 4  # dates on an axis
_NAME_LETTERS = 18  # that fit in it, in a wide font too

Indices = npt.NDArray[np.int64]


def dates_chart(data: Compared, quantity: str, voice: Voice) -> Chart:
    """Median and 10-90 % of a quantity, a row a station from north to south."""
    found = data.normals(quantity)
    order = np.argsort(-data.latitude_deg)
    order = order[np.isfinite(found.median[order])]
    picked = spread_evenly(order, MAX_ROWS).tolist()
    key = f"dates-{quantity}"
    title = unparted(voice.say("region.dates", quantity=quantity_named(quantity)))
    desc = voice.say("region.dates_described", drawn=len(picked), stations=len(data))
    ends = np.concatenate([each[picked] for each in (found.p10, found.median, found.p90)])
    low = min(ends[np.isfinite(ends)].tolist(), default=0.0)
    high = max(ends[np.isfinite(ends)].tolist(), default=1.0)
    x = Scale(low, high if high > low else low + 1, _NAMES, WIDTH - _DATE)
    row, bottom = 15.0, 15.0 * len(picked) + 8
    south = data.southern.tolist()
    parts = []
    for tick in _marks(quantity, low, high, southern=data.hemispheres[0]):
        parts.append(el("line", x1=x(tick), x2=x(tick), y1=0.0, y2=bottom, class_="grid"))
        words = quantities_said(tick, quantity, voice, data.hemispheres)
        parts += stacked(x(tick), bottom + 14, words)
    for n, (i, name) in enumerate(zip(picked, data.texts("name", picked), strict=True)):
        y = row * n + 10
        left, middle, right = (
            x(min(max(float(each[i]), low), high)) for each in (found.p10, found.median, found.p90)
        )
        parts += [
            el("g", el("title", escape(name)), label(0.0, y + 4, short(name, _NAME_LETTERS))),
            el("line", x1=left, x2=right, y1=y, y2=y, class_="whisker"),
            el("circle", cx=middle, cy=y, r=3.2, class_="dot"),
        ]
    listed = spread_evenly(order, MAX_LISTED).tolist()
    rows = tuple(
        (
            name,
            quantity_said(found.median[i], quantity, voice, southern=south[i]),
            spread_said(found, i, quantity, voice, southern=south[i]),
            trend_said(found, i, quantity, voice),
        )
        for i, name in zip(listed, data.texts("name", listed), strict=True)
    )
    columns = _heads(voice, "station", "median", "spread", "trend")
    svg = drawing(key, title, desc, bottom + 22 + beside(data), *parts)
    return Chart(key, title, f"{desc} {listing_note(data, voice)}".rstrip(), svg, columns, rows)


def _marks(quantity: str, low: float, high: float, *, southern: bool) -> list[float]:
    """Where its axis is marked: dates at the first of months where there are two or more."""
    days = range(math.ceil(low), math.floor(high) + 1) if quantity in DATE_COLUMNS else ()
    firsts = [float(day) for day in days if day_of_season(day, southern=southern).day == 1]
    return firsts[:: math.ceil(len(firsts) / _MARKS)] if len(firsts) > 1 else ticks(low, high, 4)


def beside(data: Compared) -> float:
    """Room for the dates of a second hemisphere below those of the first, 0 where there is one."""
    return LINE * (len(data.hemispheres) - 1)


def listed_of(data: Compared) -> list[int]:
    """Stations whose numbers the page lists: all, or `MAX_LISTED` evenly from north to south."""
    if len(data) <= MAX_LISTED:
        return list(range(len(data)))
    return list(spread_evenly(np.argsort(-data.latitude_deg), MAX_LISTED).tolist())


def _heads(voice: Voice, *names: str) -> tuple[str, ...]:
    return tuple(unparted(voice.say(f"region_head.{name}")) for name in names)


def listing_note(data: Compared, voice: Voice) -> str:
    """What is said of a list that does not hold every station; "" where it does."""
    if len(data) <= MAX_LISTED:
        return ""
    return voice.say("region.listed", most=MAX_LISTED)


def spread_evenly(order: Indices, count: int) -> Indices:
    """All, or `count` of them at even distances."""
    if len(order) <= count:
        return order
    return order[np.linspace(0, len(order) - 1, count).round().astype(np.int64)]


def spread_said(found: Normals, i: int, quantity: str, voice: Voice, *, southern: bool) -> str:
    """Between what the middle 80 % of a station's years lie; "" where that is unknown."""
    ends = [float(each[i]) for each in (found.p10, found.p90)]
    known = [
        quantity_said(end, quantity, voice, southern=southern) for end in ends if np.isfinite(end)
    ]
    if np.isnan(ends).any() or not known:
        return ""
    if len(known) < 2:  # one of ten years or more lies beyond all others
        return voice.say("region.or_never", value=known[0])
    return voice.say("region.to", low=known[0], high=known[1])


def trend_said(found: Normals, i: int, quantity: str, voice: Voice) -> str:
    """A station's trend with its doubt."""
    years = int(found.years[i])
    spread = [float(each[i]) for each in (found.p10, found.median, found.p90)]
    if np.isinf(spread).any():  # how far its dates have moved is unknown
        return voice.say("region.trend_seldom")
    if not np.isfinite(found.trend_per_decade[i]):
        return voice.say("region.trend_unknown", years=years)
    ends = (found.trend_per_decade[i], found.trend_low[i], found.trend_high[i])
    middle, low, high = (_change(float(end), quantity, voice) for end in ends)
    p = voice.number(max(float(found.p_value[i]), 0.01), 2, fixed=True)
    p = p if found.p_value[i] >= 0.005 else f"<\N{NO-BREAK SPACE}{p}"
    return voice.say("region.trend_of", middle=middle, low=low, high=high, p=p, years=years)


def _change(value: float, quantity: str, voice: Voice) -> str:
    """A change of a quantity with its sign: of a date in days, of a share in points."""
    if quantity == "degree_days":
        return voice.write(Quantity(value, "degC d"), "signed")
    scaled = 100 * value if quantity in SHARE_COLUMNS else value
    text = voice.number(scaled, 1, fixed=True)
    return f"+{text}" if round(scaled, 1) > 0 else text


_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, WIDTH - 8, 22.0, 150.0
_HEIGHT = 176.0
_STYLES = ("line now", "line ahead-mid", "line other")


def weeks_chart(data: Compared, purpose: str, title: str, voice: Voice) -> Chart:
    """Workable days per week of the season: middle and spread of the stations' means."""
    low, mid, high = _spread(data.weekly(purpose, "mean_days"))
    x, at = _weeks_axis(len(mid))
    y = Scale(0, 7, _BOTTOM, _TOP)
    parts = [
        *_grid(y, (0, 2, 4, 7), "{:g}"),
        *_dates(data, x, voice),
        el("path", d=band_path(at, _heights(y, low), _heights(y, high)), class_="wash-past"),
        el("path", d=line_path(at, _heights(y, mid)), class_="line now"),
        label(0.0, 10.0, voice.say("region.weeks_axis"), class_="axis-title"),
    ]
    key, desc = f"weeks-{purpose}", voice.say("region.weeks_described")
    rows = tuple(
        (_day(data, week, voice), *(_number(line[week], voice) for line in (low, mid, high)))
        for week in range(len(mid))
    )
    heads = ("week_from", "low_stations", "middle", "high_stations")
    columns = tuple(voice.say(f"region_head.{head}") for head in heads)
    return Chart(
        key, title, desc, drawing(key, title, desc, _HEIGHT + beside(data), *parts), columns, rows
    )


def odds_chart(data: Compared, purpose: str, title: str, voice: Voice) -> Chart:
    """Odds that a week has at least one, two, three workable days, at the middle station."""
    odds = _middle_odds(data, purpose)
    x, at = _weeks_axis(len(odds))
    y = Scale(0, 1, _BOTTOM, _TOP)
    lines = [
        el("path", d=line_path(at, _heights(y, odds[:, n])), class_=_STYLES[n])
        for n in range(len(AT_LEAST))
    ]
    legend = []
    for n, least in enumerate(AT_LEAST):
        start = 92.0 + 92.0 * n
        legend.append(el("path", d=f"M{start:g} 5h22", class_=_STYLES[n]))
        legend.append(label(start + 27, 9.0, voice.say("region.or_more", days=least)))
    parts = [
        *_grid(y, (0, 0.25, 0.5, 0.75, 1), "{:.0%}"),
        *_dates(data, x, voice),
        *lines,
        label(0.0, 10.0, voice.say("region.odds_axis"), class_="axis-title"),
        *legend,
    ]
    key = f"odds-{purpose}"
    desc = voice.say("region.odds_described")
    rows = tuple(
        (_day(data, w, voice), *(_percent(v, voice) for v in odds[w])) for w in range(len(odds))
    )
    more = (voice.say("region.or_more_days", days=least) for least in AT_LEAST)
    columns = (voice.say("region_head.week_from"), *more)
    return Chart(
        key, title, desc, drawing(key, title, desc, _HEIGHT + beside(data), *parts), columns, rows
    )


def _spread(values: npt.NDArray[np.float32]) -> FloatArray:
    """10 %, middle and 90 % of the stations that know a week, ``[3, week]``."""
    out = np.full((3, values.shape[1]), np.nan)
    for week, column in enumerate(values.T):  # one by one: no copy of the whole
        known = column[np.isfinite(column)].astype(np.float64)
        if len(known):
            out[:, week] = np.quantile(known, (0.1, 0.5, 0.9))
    return out


def _middle_odds(data: Compared, purpose: str) -> FloatArray:
    """Odds at the middle station, ``[week, 3]``."""
    return np.stack([_spread(data.weekly(purpose, field))[1] for field in ODDS_FIELDS], axis=-1)


def _weeks_axis(count: int) -> tuple[Scale, FloatArray]:
    x = Scale(0, count - 1, _LEFT, _RIGHT)
    return x, np.array([x(week) for week in range(count)])


def _heights(y: Scale, values: FloatArray) -> FloatArray:
    return np.array([y(v) for v in values.tolist()])


def _grid(y: Scale, marks: tuple[float, ...], form: str) -> list[str]:
    """Grid lines with their numbers."""
    return [
        *(el("line", x1=_LEFT, x2=_RIGHT, y1=y(n), y2=y(n), class_="grid") for n in marks),
        *(label(_LEFT - 4, y(n) + 4, form.format(n), anchor="end") for n in marks),
    ]


def _dates(data: Compared, x: Scale, voice: Voice) -> Iterator[str]:
    """Dates below the axis."""
    for week in range(4, int(x.high) + 1, 11):
        yield from stacked(x(week), _BOTTOM + 18, _days(data, week, voice))


def _days(data: Compared, week: int, voice: Voice) -> list[str]:
    """First day of a week, in each hemisphere that has stations."""
    return [day_said(7.0 * week, voice, southern=south) for south in data.hemispheres]


def _day(data: Compared, week: int, voice: Voice) -> str:
    return " / ".join(_days(data, week, voice))


def _percent(share: float, voice: Voice) -> str:
    if not np.isfinite(share):
        return voice.say("window_verdict.cannot_tell")
    return voice.write(Share(float(share)))


def _number(value: float, voice: Voice) -> str:
    if not np.isfinite(value):
        return voice.say("window_verdict.cannot_tell")
    return voice.number(float(value), 1, fixed=True)
