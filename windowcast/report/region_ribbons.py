"""Spray days of a season by week: regions as ribbons with their difference, winters as strips."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Phrase
from windowcast.core.record import FloatArray
from windowcast.region.columns import WHOLE_WEEKS, day_of_season
from windowcast.region.regional import RegionWeeks, WeeksBetween
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart, short
from windowcast.report.fluid import (
    Pane,
    apart,
    band,
    boxes,
    fluid,
    level,
    line,
    stretched,
    text,
    upright,
)
from windowcast.report.region_words import day_said, season_named

SHADES = (0.05, 1.0, 2.0, 4.0)  # spray days a week at which a strip gets darker
_USUAL = 21, 36  # weeks that are drawn in any case: December to February
_SOME = 0.05  # spray days a week that a reader can see
_DAY_HEIGHT = 34.0  # pixels of a spray day a week
_NAME, _GAP, _ROW = 26.0, 24.0, 16.0  # above the plot, below it, a row of words
_MONTHS = 16.0  # from one row of months to the next
_BARS = 44.0  # pixels of the highest and lowest bar together
_INNER, _LAST_MONTH = 0.12, 0.93  # of the width: where names may point, where a month may begin
_TOP, _WEEK = 6.0, 6.0  # of a strip, of a week in it
_LABEL_ROOM = 0.105  # between two years on its axis


@dataclass(frozen=True)
class Winter:
    """The weeks that are drawn, from `first` up to `stop`, of a hemisphere's season."""

    first: int
    stop: int
    southern: bool

    @property
    def weeks(self) -> slice:
        """Of a season's weeks."""
        return slice(self.first, self.stop)

    def at(self, day: float) -> float:
        """A day of the season as a share of the width."""
        return (day - 7 * self.first) / (7 * (self.stop - self.first))

    @property
    def middles(self) -> FloatArray:
        """The middle of each week as a share of the width."""
        count = self.stop - self.first
        return (np.arange(count) + 0.5) / count

    def months(self, voice: Voice) -> list[tuple[float, str]]:
        """Where each month begins, with its name."""
        found = []
        for day in range(7 * self.first, 7 * self.stop - 6):
            date = day_of_season(day, southern=self.southern)
            if date.day == 1:
                found.append((self.at(day), voice.write(date, "month")))
        return found


@dataclass(frozen=True)
class Ribbon:
    """A region that is drawn: what it is called, which colour it has, its weeks, by whose dates."""

    name: str
    number: int
    weekly: RegionWeeks
    southern: bool

    @property
    def own(self) -> str:
        """The class of its colour."""
        return f"r{self.number}"


def winter_of(weekly: Sequence[FloatArray], *, southern: bool) -> Winter:
    """December to February, and all weeks in which any of some series ``[week]`` has spray days."""
    known = [np.nan_to_num(each[:WHOLE_WEEKS]) for each in weekly]
    some = np.flatnonzero(np.max([np.zeros(WHOLE_WEEKS), *known], axis=0) >= _SOME)
    first, stop = _USUAL
    if some.size:
        first, stop = min(first, int(some[0]) - 1), max(stop, int(some[-1]) + 2)
    return Winter(max(0, first), min(WHOLE_WEEKS, stop), southern)


def ribbons(
    of: Sequence[Ribbon],
    apart_by: WeeksBetween | None,
    winter: Winter,
    voice: Voice,
    key: str = "ribbons",
) -> Chart:
    """Spray days a week on dormant turf of one region, or of two with their difference below.

    Parameters
    ----------
    winter
        The weeks to draw; their dates are those of each region's own hemisphere.
    apart_by
        How the first differs from the second; None for a single one.
    key
        Of the chart; unique in a page.
    """
    highest = max(float(np.nan_to_num(each.weekly.high[winter.weeks]).max()) for each in of)
    days = min(7, max(3, math.ceil(highest)))
    plot = Pane(0, days, _NAME, _NAME + _DAY_HEIGHT * max(4, days))
    at = winter.middles
    shapes, words = [], []
    for each in of:
        low, high = (plot.heights(v[winter.weeks]) for v in (each.weekly.low, each.weekly.high))
        shapes.append(band(at, low, high, f"ribbon {each.own}"))
    for each in of:
        shapes.append(line(at, plot.heights(each.weekly.mean[winter.weeks]), each.own))
    by_dates = _by_dates(of, winter)
    months = by_dates[0].months(voice)
    words += [upright(place, plot.top, plot.bottom) for place, _ in months]
    for n in range(0, days + 1, 1 if days < 5 else 2):
        words += [level(plot.y(n), "axis" if n == 0 else "grid")]
        words += [text(0, plot.y(n) + 4, f"{n}", "lab gutter", "end")]
    words += _names(of, winter, plot)
    bottom = plot.bottom + _GAP
    if apart_by is not None:
        bars, around, bottom = _bars(of, apart_by, winter, bottom, voice)
        shapes, words = [*shapes, *bars], [*words, *around]
    for n, own in enumerate(by_dates):
        kind = f"lab {of[n].own}" if len(by_dates) > 1 else "lab"
        words += [
            text(place, bottom + 14 + _MONTHS * n, name, kind, "start")
            for place, name in own.months(voice)
            if place < _LAST_MONTH
        ]
    height = bottom + 20 + _MONTHS * (len(by_dates) - 1)
    title = voice.say("region_story.weeks")
    if apart_by is None:
        desc = voice.say("region_story.weeks_one")
    else:
        desc = voice.say("region_story.weeks_two")
    if len(by_dates) > 1:
        desc += " " + voice.say("region_story.months_two", first=of[0].name, second=of[1].name)
    svg = fluid(key, title, desc, height, *words, stretched(height, *shapes), class_="ribbons")
    return Chart(key, title, desc, svg, *_table(of, apart_by, winter, voice))


def _by_dates(of: Sequence[Ribbon], winter: Winter) -> list[Winter]:
    """The weeks by the dates of each region; once where all are of one hemisphere."""
    southern = [each.southern for each in of]
    rows = southern[:1] if len(set(southern)) == 1 else southern
    return [replace(winter, southern=each) for each in rows]


def _names(of: Sequence[Ribbon], winter: Winter, plot: Pane) -> list[str]:
    """Each name by its line: above the plot where its line is the upper one, else below the plot.

    Where two share a side, the earlier one ends at its place and the later one begins there.
    """
    means = [np.nan_to_num(each.weekly.mean[winter.weeks]) for each in of]
    at = winter.middles
    inner = (at > _INNER) & (at < 1 - _INNER)
    where: list[tuple[int, bool]] = []
    for n, mean in enumerate(means):
        rest = np.max([m for k, m in enumerate(means) if k != n] or [0 * mean], axis=0)
        week = int(np.argmax(np.where(inner, mean - rest, -np.inf)))
        if mean[week] < rest[week]:
            week = int(np.argmax(np.where(inner, mean, -np.inf)))
        where.append((week, bool(mean[week] >= rest[week])))
    sides = ["start" if at[w] < 0.3 else "end" if at[w] > 0.7 else "middle" for w, _ in where]
    if len(where) == 2 and where[0][1] == where[1][1]:
        sides = ["end", "start"] if where[0][0] <= where[1][0] else ["start", "end"]
    parts = []
    for n, (week, above) in enumerate(where):
        place, point = float(at[week]), plot.y(float(means[n][week]))
        y, edge = (plot.top - 12, plot.top - 8) if above else (plot.bottom + 16, plot.bottom + 3)
        own = of[n].own
        parts.append(upright(place, edge, point, f"leader {own}"))
        parts.append(text(place, y, short(of[n].name), f"lab name {own}", sides[n]))
    return parts


def _bars(
    of: Sequence[Ribbon], apart_by: WeeksBetween, winter: Winter, top: float, voice: Voice
) -> tuple[list[str], list[str], float]:
    """Bars of the difference, solid where its interval leaves out 0: shapes, words, their end."""
    middle = np.nan_to_num(apart_by.middle[winter.weeks])
    sure = (apart_by.low[winter.weeks] > 0) | (apart_by.high[winter.weeks] < 0)
    up, down = (max(0.0, float((sign * middle).max())) for sign in (1, -1))
    above, below = up >= _SOME, down >= _SOME
    start = top + (_ROW + 4 if above else 4)
    tall = _BARS * (up + down) / max(1.0, up + down)
    pane = Pane(-down or -_SOME, up or _SOME, start, start + max(tall, 4))
    end = pane.bottom + (_ROW + 4 if below else 2)
    half = 0.36 / len(middle)
    shapes = []
    for each, sign in zip(of, (1, -1), strict=True):
        for some, kind in ((sure, "sure"), (~sure, "unsure")):
            bars = [
                (place - half, place + half, min(y, pane.y(0)), max(y, pane.y(0)))
                for place, value, use in zip(winter.middles, middle, some, strict=True)
                if use and sign * value > 0
                for y in [pane.y(float(value))]
            ]
            shapes.append(boxes(bars, f"bar {kind} {each.own}"))
    words = [level(pane.y(0), "axis"), text(0, pane.y(0) + 4, "0", "lab gutter", "end")]
    for each, sign, shown, y in (
        (of[0], 1, above, pane.top - 6), (of[1], -1, below, pane.bottom + 14),
    ):  # fmt: skip
        if shown:
            said = voice.say("region_story.more_in", region=short(each.name))
            words.append(text(0, y, said, f"lab {each.own}", "start"))
        if pane.low <= sign <= pane.high and abs(pane.y(sign) - pane.y(0)) > 14:
            words.append(text(0, pane.y(sign) + 4, "1", "lab gutter", "end"))
    return shapes, words, end


def _table(
    of: Sequence[Ribbon], apart_by: WeeksBetween | None, winter: Winter, voice: Voice
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    by_dates = _by_dates(of, winter)
    heads = [voice.say("region_head.week_from")]
    if len(by_dates) > 1:
        heads = [voice.say("region_story.week_from_two", first=of[0].name, second=of[1].name)]
    for each in of:
        heads += [each.name, voice.say("region_story.band")]
    if apart_by is not None:
        heads += [voice.say("region_story.difference"), voice.say("region_story.interval")]
    rows = []
    for week in range(winter.first, winter.stop):
        days = (day_said(7 * week, voice, southern=own.southern) for own in by_dates)
        cells = [" / ".join(days)]
        for each in of:
            w = each.weekly
            cells += [_number(w.mean[week], voice), _range(w.low[week], w.high[week], voice)]
        if apart_by is not None:
            cells += [
                _number(apart_by.middle[week], voice),
                _range(apart_by.low[week], apart_by.high[week], voice),
            ]
        rows.append(tuple(cells))
    return tuple(heads), tuple(rows)


def _number(value: float, voice: Voice) -> str:
    return voice.number(float(value), 1, fixed=True) if math.isfinite(value) else "–"


def _range(low: float, high: float, voice: Voice) -> str:
    if not math.isfinite(low):
        return "–"
    return voice.say("region.to", low=_number(low, voice), high=_number(high, voice))


@dataclass(frozen=True)
class Strip:
    """Winters that are drawn side by side.

    Attributes
    ----------
    key
        Of the chart; unique in a page.
    number
        Which colour it has.
    seasons
        First years, ``[season]``.
    stations
        How many stations each season is known from, ``[season]``; None of a single station.
    days
        Spray days, ``[season, week]``.
    failing
        Why a winter had too few, by its first year.
    """

    key: str
    name: str
    number: int
    seasons: npt.NDArray[np.int64]
    stations: npt.NDArray[np.int64] | None
    days: FloatArray
    failing: Mapping[int, Phrase]


def strip(of: Strip, winter: Winter, voice: Voice) -> Chart:
    """A column for each winter, a row for each week: the darker, the more spray days."""
    seasons, count = of.seasons.tolist(), len(of.seasons)
    days = of.days[:, winter.weeks]
    bottom = _TOP + _WEEK * days.shape[1]
    shapes = _cells(days, of.number)
    at = {season: (n + 0.5) / count for n, season in enumerate(seasons)}
    half = 0.5 / count
    frames = [(at[s] - half, at[s] + half, 1.0, bottom + 3) for s in seasons if s in of.failing]
    shapes.append(boxes(frames, "failed"))
    words = []
    for place, name in winter.months(voice):
        if (y := _TOP + place * (bottom - _TOP)) < bottom - 8:
            words.append(text(0, y + 10, name, "lab gutter", "end"))
    named = [s for s in seasons if s in of.failing or s % 5 == 0 or count < 6]
    for n in apart([(at[s], s in of.failing) for s in named], _LABEL_ROOM):
        kind = "lab failed-year" if named[n] in of.failing else "lab"
        words.append(text(at[named[n]], bottom + 16, f"’{named[n] % 100:02d}", kind))
    height = bottom + 22
    title = voice.say("region_story.strip", region=of.name)
    desc = voice.say("region_story.strip_described")
    svg = fluid(of.key, title, desc, height, *words, stretched(height, *shapes), class_="strip")
    return Chart(of.key, title, desc, svg, *_winters(of, winter, voice))


def _cells(days: FloatArray, number: int) -> list[str]:
    """A box for each winter and week, those of one shade in one shape."""
    count = len(days)
    shade = np.searchsorted(SHADES, np.nan_to_num(days))
    shade[~np.isfinite(days)] = -1
    shapes = []
    for kind in range(-1, len(SHADES) + 1):
        of = [
            ((s + 0.04) / count, (s + 0.96) / count, _TOP + _WEEK * w, _TOP + _WEEK * (w + 1) - 0.6)
            for s, w in np.argwhere(shade == kind).tolist()
        ]
        shapes.append(boxes(of, "cell unknown" if kind < 0 else f"cell s{kind} r{number}"))
    return shapes


def _winters(
    of: Strip, winter: Winter, voice: Voice
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Spray days of each winter, and why it had too few."""
    heads = [
        voice.say("region_story.winter"),
        voice.say("region_story.winter_days"),
        voice.say("region_story.winter_cause"),
    ]
    if of.stations is not None:
        heads.insert(2, voice.say("region_story.winter_stations"))
    rows = []
    for n, season in enumerate(of.seasons.tolist()):
        known = np.isfinite(of.days[n, winter.weeks]).all()
        cells = [
            season_named(season, southern=winter.southern),
            _number(float(np.nansum(of.days[n])) if known else math.nan, voice),
            voice.text(of.failing.get(season, NOTHING)),
        ]
        if of.stations is not None:
            cells.insert(2, str(of.stations[n]))
        rows.append(tuple(cells))
    return tuple(heads), tuple(rows)


def shades_said(voice: Voice) -> list[str]:
    """What each shade of a strip means, the palest first."""
    ends = [voice.number(shade, 0) for shade in SHADES[1:]]
    return [
        voice.say("region_story.none"),
        *(voice.say("region.up_to", value=end) for end in ends),
        voice.say("region_story.over", value=ends[-1]),
    ]
