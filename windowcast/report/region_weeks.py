"""Charts of the weeks of a season over many stations: workable days, and odds of enough of them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Share
from windowcast.core.record import FloatArray
from windowcast.region.compare import Compared
from windowcast.region.statistics import AT_LEAST
from windowcast.region.tables import ODDS_FIELDS
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    WIDTH,
    Chart,
    Scale,
    band_path,
    drawing,
    el,
    label,
    line_path,
    stacked,
)
from windowcast.report.region_charts import beside
from windowcast.report.region_words import day_said

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
