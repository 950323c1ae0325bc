"""Charts of the weeks of a season over many stations: workable days, and odds of enough of them."""

from __future__ import annotations

from itertools import chain

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.region.columns import day_label
from windowcast.region.compare import Compared
from windowcast.region.statistics import AT_LEAST
from windowcast.region.tables import ODDS_FIELDS
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

_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, WIDTH - 8, 22.0, 150.0
_HEIGHT = 176.0
_STYLES = ("line now", "line ahead-mid", "line other")


def weeks_chart(data: Compared, purpose: str, title: str) -> Chart:
    """Workable days per week of the season: middle and spread of the stations' means."""
    low, mid, high = _spread(data.weekly(purpose, "mean_days"))
    x, at = _weeks_axis(len(mid))
    y = Scale(0, 7, _BOTTOM, _TOP)
    parts = [
        *_frame(data, x, y, (0, 2, 4, 7), "{:g}"),
        el("path", d=band_path(at, _heights(y, low), _heights(y, high)), class_="wash-past"),
        el("path", d=line_path(at, _heights(y, mid)), class_="line now"),
        label(0.0, 8.0, "spray days", class_="axis-title"),
    ]
    key, desc = f"weeks-{purpose}", "Line: middle station; band: 10 to 90 % of stations."
    rows = tuple(
        (_day(data, w), *(_number(v) for v in (low[w], mid[w], high[w]))) for w in range(len(mid))
    )
    columns = ("Week from", "10 % of stations", "middle", "90 % of stations")
    return Chart(
        key, title, desc, drawing(key, title, desc, _HEIGHT + beside(data), *parts), columns, rows
    )


def odds_chart(data: Compared, purpose: str, title: str) -> Chart:
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
        legend.append(label(start + 27, 9.0, f"{least} or more"))
    parts = [
        *_frame(data, x, y, (0, 0.25, 0.5, 0.75, 1), "{:.0%}"),
        *lines,
        label(0.0, 8.0, "share of years", class_="axis-title"),
        *legend,
    ]
    key = f"odds-{purpose}"
    desc = "Share of years in which a week has so many spray days, at the middle station."
    rows = tuple((_day(data, w), *(_percent(v) for v in odds[w])) for w in range(len(odds)))
    columns = ("Week from", *(f"{least} or more days" for least in AT_LEAST))
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


def _frame(data: Compared, x: Scale, y: Scale, marks: tuple[float, ...], form: str) -> list[str]:
    """Grid lines with their numbers, and dates below."""
    return [
        *(el("line", x1=_LEFT, x2=_RIGHT, y1=y(n), y2=y(n), class_="grid") for n in marks),
        *(label(_LEFT - 4, y(n) + 4, form.format(n), anchor="end") for n in marks),
        *chain.from_iterable(
            stacked(x(week), _BOTTOM + 18, _days(data, week))
            for week in range(4, int(x.high) + 1, 11)
        ),
    ]


def _days(data: Compared, week: int) -> list[str]:
    """First day of a week, in each hemisphere that has stations."""
    return [day_label(7.0 * week, southern=south) for south in data.hemispheres]


def _day(data: Compared, week: int) -> str:
    return " / ".join(_days(data, week))


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if np.isfinite(share) else "cannot tell"


def _number(value: float) -> str:
    return f"{value:.1f}" if np.isfinite(value) else "cannot tell"
