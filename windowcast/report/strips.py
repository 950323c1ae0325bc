"""The hours ahead, a panel for each day: weather, limits, and what each hour is worth."""

from __future__ import annotations

import datetime as dt
import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Phrase, Quantity, Share, Span, say
from windowcast.core.values import Table
from windowcast.limits.model import TurfSpan
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Scale, el, label, px
from windowcast.windows import reasons
from windowcast.windows.hour_model import Bound, HoursAhead, HourStrip
from windowcast.windows.model import PurposeOutlook, Verdict, Window

WIDTH = 120.0  # user units of a panel
TEMP, WIND, RAIN = (4.0, 48.0), (56.0, 92.0), (99.0, 121.0)  # top and bottom of the three rows
HEIGHT = 142.0


@dataclass(frozen=True)
class HourWords:
    """Hours on end that are worth the same for the same reason, in words."""

    hours: str
    said: str


@dataclass(frozen=True)
class DayPanel:
    """One day: its name, what it offers, its weather in words, its picture, its hours in words."""

    day: str
    offers: str
    css: str  # go, marginal, no, refused or cannot-tell
    best: bool
    weather: tuple[str, ...]
    svg: str
    hours: tuple[HourWords, ...]


@dataclass(frozen=True)
class HourPanels:
    """The days ahead for a purpose."""

    title: str
    panels: tuple[DayPanel, ...]


def hour_panels(
    outlook: PurposeOutlook,
    ahead: HoursAhead,
    strip: HourStrip,
    levels: Sequence[Verdict],
    *,
    criteria: Table,
    voice: Voice,
) -> HourPanels:
    """A panel for each day of the forecast.

    Parameters
    ----------
    outlook
        Its windows, best first, are framed; what the turf refuses is hatched.
    levels
        The verdict of each hour of `strip`.
    criteria
        ``data/criteria.toml``: units and values that the reasons speak of.
    """
    windows, turf = outlook.windows, outlook.turf
    title = voice.say("chart.hours_ahead", title=outlook.title)
    lit = [n for n, light in enumerate(ahead.light) if light]
    if not lit:
        return HourPanels(title, ())
    clocks = [ahead.times[n].hour for n in lit]
    frame = _Frame.of(ahead, lit, strip.bounds, (min(clocks), max(clocks) + 1))
    by_day = {window.date: window for window in windows}
    panels = []
    for date, group in itertools.groupby(lit, key=lambda n: ahead.times[n].date()):
        hours, window = list(group), by_day.get(date)
        words = _hours_in_words(hours, strip, levels, criteria, voice)
        no = next((s for s in turf if s.first <= date <= s.last and s.answer != "yes"), None)
        panels.append(
            DayPanel(
                day=voice.say("chart.weekday", day=date),
                offers=voice.text(_offers(window, no) or _stopped(hours, strip, levels, criteria)),
                css=_css(window, no, [levels[n] for n in hours]),
                best=bool(windows) and window is windows[0],
                weather=tuple(voice.text(said) for said in _weather(ahead, hours)),
                svg=frame.picture(hours, levels, window, refused=no is not None),
                hours=() if no is not None else tuple(words),
            )
        )
    return HourPanels(title, tuple(panels))


# --- words ---------------------------------------------------------------------------------------


def _offers(window: Window | None, no: TurfSpan | None) -> Phrase:
    """What a day offers: hours, or the no of the turf; nothing where neither is there."""
    if no is not None:
        return say("answer.do_not_spray" if no.answer == "no" else "answer.cannot_tell")
    if window is not None:
        return say("day_hours.window", hours=Span(window.start, window.end))
    return NOTHING


def _stopped(
    hours: Sequence[int], strip: HourStrip, levels: Sequence[Verdict], criteria: Table
) -> Phrase:
    """What stands against a day without a window; what is unknown of it is no "no"."""
    open_yet = [n for n in hours if levels[n] == "cannot tell"]
    limits = Counter(strip.limits[n] for n in open_yet or hours if strip.limits[n])
    if not limits:
        return say("day_hours.none")
    name = limits.most_common(1)[0][0]
    limit = reasons.label(name, criteria.table(name))
    return say("day_hours.unknown" if open_yet else "day_hours.stopped", limit=limit)


def _css(window: Window | None, no: TurfSpan | None, levels: Sequence[Verdict]) -> str:
    if no is not None:
        return "refused"
    if window is not None:
        return "go" if window.verdict == "fit" else "marginal"
    return "cannot-tell" if "cannot tell" in levels else "no"


def _weather(ahead: HoursAhead, hours: Sequence[int]) -> Iterator[Phrase]:
    """The daylight weather of a day in a few words; what is not known is left out or said."""

    def known(values: Sequence[float | None]) -> list[float]:
        return [value for n in hours if (value := values[n]) is not None]

    if air := known(ahead.temp_c):
        low, high = Quantity(min(air), "degC"), Quantity(max(air), "degC")
        yield say("day_hours.air", low=low, high=high)
    gusts, wind = known(ahead.gust_m_s), known(ahead.wind_m_s)
    if gusts:
        yield say("day_hours.gusts", wind=Quantity(max(gusts), "m s-1"))
    elif wind:
        yield say("day_hours.wind", wind=Quantity(max(wind), "m s-1"))
    else:
        yield say("day_hours.no_wind")
    if chance := known(ahead.day_rain_chance):
        yield say("day_hours.rain", share=Share(max(chance)))
    else:
        yield say("day_hours.no_rain")
    if soil := known(ahead.soil_5cm_c):
        yield say("day_hours.soil", soil=Quantity(soil[0], "degC"))


def _hours_in_words(
    hours: Sequence[int],
    strip: HourStrip,
    levels: Sequence[Verdict],
    criteria: Table,
    voice: Voice,
) -> Iterator[HourWords]:
    """Hours on end with the same verdict and the same limit, with the worst value among them."""
    for (level, limit), group in itertools.groupby(hours, lambda n: (levels[n], strip.limits[n])):
        block = list(group)
        first, last = strip.times[block[0]], strip.times[block[-1]] + dt.timedelta(hours=1)
        worst = min(block, key=lambda n: strip.scores[n] or 0.0)
        value = NOTHING
        if limit and strip.measured:
            measured, unit = strip.measured[worst], str(criteria.table(limit)["unit"])
            if measured is not None:
                value = say("day_hours.value", value=reasons.measured(measured, unit))
        verdict = say(f"window_verdict.{level.replace(' ', '_')}")
        said = say("day_hours.clear", verdict=verdict)
        if limit:
            named = reasons.label(limit, criteria.table(limit))
            said = say("day_hours.limited", verdict=verdict, limit=named, value=value)
        yield HourWords(voice.write(Span(first, last), "clock"), voice.text(said))


# --- picture -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Frame:
    """The scales that all panels share, with the limits drawn on them."""

    ahead: HoursAhead
    x: Scale
    temp: Scale
    wind: Scale
    windy_m_s: float | None  # the limit of the mean wind
    lines: tuple[float, ...]  # heights of the limits

    @classmethod
    def of(
        cls,
        ahead: HoursAhead,
        lit: Sequence[int],
        bounds: Sequence[Bound],
        clocks: tuple[int, int],
    ) -> _Frame:
        """Wide enough for every day's weather and for the limits."""
        ends = {bound.criterion: bound for bound in bounds}
        air = [value for n in lit if (value := ahead.temp_c[n]) is not None]
        cold = ends["air_temperature"].low if "air_temperature" in ends else None
        both = [*air, *([] if cold is None else [cold])] or [0.0]
        blows = [
            value
            for n in lit
            for value in (ahead.wind_m_s[n], ahead.gust_m_s[n])
            if value is not None
        ]
        strong = ends["wind"].high if "wind" in ends else None
        most = max([*blows, *([] if strong is None else [1.2 * strong]), 1.0])
        temp = Scale(min(both) - 1, max(both) + 1, TEMP[1], TEMP[0])
        wind = Scale(0.0, most, WIND[1], WIND[0])
        lines = [
            *([] if cold is None else [temp(cold)]),
            *([] if strong is None else [wind(strong)]),
        ]
        return cls(ahead, Scale(*clocks, 2.0, WIDTH - 2), temp, wind, strong, tuple(lines))

    @property
    def hour(self) -> float:
        """Width of an hour."""
        return self.x(1.0) - self.x(0.0)

    def picture(
        self,
        hours: Sequence[int],
        levels: Sequence[Verdict],
        window: Window | None,
        *,
        refused: bool,
    ) -> str:
        """Temperature as a line, wind as bars with gusts, chance of rain; hours shaded."""
        ahead = self.ahead
        at = {n: self.x(ahead.times[n].hour) for n in hours}
        if refused:
            parts = [_shade(2.0, WIDTH - 4, "refused", "url(#hatch-refused)")]
        else:
            parts = [_level(self, ahead.times[n].hour, levels[n]) for n in hours]
        for y in self.lines:
            parts.append(el("line", x1=2.0, x2=WIDTH - 2, y1=y, y2=y, class_="threshold"))
        for n in hours:
            parts += _hour(self, n, at[n])
        parts.append(_air(self, hours, at))
        for bottom in (WIND[1], RAIN[1]):
            parts.append(el("line", x1=2.0, x2=WIDTH - 2, y1=bottom, y2=bottom, class_="axis"))
        if window is not None:
            parts.append(_window(self, window))
        for clock, anchor in ((self.x.low, "start"), (12.0, "middle"), (self.x.high, "end")):
            parts.append(label(self.x(clock), HEIGHT - 3, f"{clock:.0f}", "lab", anchor))
        return el(
            "svg", *parts, class_="chart day-hours", viewBox=f"0 0 {px(WIDTH)} {px(HEIGHT)}",
            aria_hidden="true", focusable="false",
        )  # fmt: skip


def _hour(frame: _Frame, n: int, x: float) -> list[str]:
    """Wind, gusts and chance of rain of one hour, as far as they are known."""
    ahead, wide, parts = frame.ahead, frame.hour, []
    wind, gust, chance = ahead.wind_m_s[n], ahead.gust_m_s[n], ahead.rain_chance[n]
    if wind is not None:
        over = frame.windy_m_s is not None and wind > frame.windy_m_s
        parts.append(_column(x, wide, (frame.wind(wind), WIND[1]), "wind over" if over else "wind"))
    if gust is not None:
        middle = x + wide / 2
        top = frame.wind(gust)
        parts.append(el("line", x1=middle, x2=middle, y1=top, y2=WIND[1], class_="gust"))
    if chance:
        top = RAIN[1] - chance * (RAIN[1] - RAIN[0])
        parts.append(_column(x, wide, (top, RAIN[1]), "rain"))
    return parts


def _level(frame: _Frame, clock: int, level: Verdict) -> str:
    """The shade of an hour by what it is worth; none where it is not fit."""
    fills = {"fit": None, "marginal": "url(#hatch-marginal)", "cannot tell": "url(#hatch-unknown)"}
    if level not in fills:
        return ""
    return _shade(frame.x(clock), frame.hour, level.replace(" ", "-"), fills[level])


def _shade(x: float, width: float, css: str, fill: str | None) -> str:
    return el(
        "rect", x=x, y=0.0, width=width, height=RAIN[1], class_=f"shade {css}", fill=fill,
    )  # fmt: skip


def _column(x: float, width: float, ends: tuple[float, float], css: str) -> str:
    top, bottom = ends
    tall = max(0.6, bottom - top)
    return el("rect", x=x + 0.8, y=top, width=width - 1.6, height=tall, class_=css)


def _air(frame: _Frame, hours: Sequence[int], at: Mapping[int, float]) -> str:
    """The air temperature through the middle of the hours, broken where it is not known."""
    path, drawn = "", False
    for n in hours:
        value = frame.ahead.temp_c[n]
        if value is not None:
            path += f"{'L' if drawn else 'M'}{px(at[n] + frame.hour / 2)} {px(frame.temp(value))}"
        drawn = value is not None
    return el("path", d=path, class_="line air") if path else ""


def _window(frame: _Frame, window: Window) -> str:
    """The frame around the hours of a window."""
    last = window.end if window.end.date() == window.date else None
    start = window.start.hour + window.start.minute / 60
    end = last.hour + last.minute / 60 if last is not None else frame.x.high
    left = frame.x(start)
    return el(
        "rect", x=left, y=1.0, width=frame.x(end) - left, height=RAIN[1] - 1, rx=2.0, class_="frame"
    )
