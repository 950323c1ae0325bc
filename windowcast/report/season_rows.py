"""The rows of the season's picture that show the site: soil, weeds, turf."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Share, Span, joined, say
from windowcast.core.record import FloatArray
from windowcast.report.catalogue import Voice
from windowcast.report.fluid import MIDDAY, Plot, side_marks
from windowcast.report.measures import MEASURES
from windowcast.report.season_numbers import WEEK, Fan, SeasonNumbers, WeedSeason
from windowcast.windows.reasons import SOIL_DEPTH

_Day = TypeVar("_Day", bound=Hashable)
HARDLY = 0.005  # share that is written as none
EVEN = 0.5
FAINT = 0.03  # part of a row's height that is no more than its foot


@dataclass(frozen=True)
class Row:
    """One row.

    Attributes
    ----------
    kind
        Sets its height: "soil", "weed", "turf", "safe" or "job".
    svg, marks
        The plot, and the values named at its axis; safe markup.
    days
        What each day says.
    weeks
        What the table says of the first day of each week.
    form
        Holds what is the same every day, with {0} and {1} for the values that `days` then are,
        parted by ";"; "" where they are texts.
    head
        Of the row's column in the table, where it says more than the name.
    """

    kind: str
    name: str
    note: str
    svg: str
    days: tuple[str, ...]
    weeks: tuple[str, ...]
    marks: str = ""
    form: str = ""
    head: str = ""

    def said(self, day: int) -> str:
        """What a day says, as the script puts it together."""
        texts = self.days[day].split(";")
        return self.form.format(*texts) if self.form else self.days[day]

    @property
    def written(self) -> str:
        """The days as the script reads them (`day_by_day`)."""
        return day_by_day(self.days)


@dataclass(frozen=True)
class Setting:
    """What all rows share: the season's numbers, the months and today as lines, the words."""

    numbers: SeasonNumbers
    months: tuple[int, ...]
    voice: Voice
    ending: str

    def plot(self, row: str, fine: int = 50) -> Plot:
        """The plot of a row."""
        return Plot(f"s-{row}{self.ending}", len(self.numbers.dates), fine)

    def draw(self, plot: Plot, title: str, desc: Phrase | str, *parts: str) -> str:
        """The row between months and today's line."""
        said = self.voice.text(desc) if isinstance(desc, Phrase) else desc
        months = plot.uprights([day for day in self.months if day], "grid")
        today = plot.uprights([self.numbers.today + MIDDAY], "today")
        return plot.svg(title, said, months, *parts, today)


def day_by_day(values: Iterable[str]) -> str:
    """Values of consecutive days between bars, ``value~times`` where several are alike."""
    parts = ((value, len(list(days))) for value, days in itertools.groupby(values))
    return "|".join(value if times == 1 else f"{value}~{times}" for value, times in parts)


def soil_row(setting: Setting, marks_c: Sequence[tuple[float, Phrase]]) -> Row:
    """Soil temperature with its range and the temperatures that matter."""
    numbers, voice = setting.numbers, setting.voice
    ahead, (past_low, past_high) = numbers.soil_ahead_c, numbers.soil_past_c
    low, high = _span_of(
        [numbers.soil_c, ahead.low, ahead.high, past_low, past_high], [c for c, _ in marks_c]
    )

    def at(values: FloatArray) -> FloatArray:
        return (values - low) / (high - low)

    plot = setting.plot("soil", fine=150)
    levels = [(float(at(np.array(c))), words) for c, words in marks_c]
    name = voice.say("season_row.soil", depth=SOIL_DEPTH)
    unit = Name(MEASURES["degC"][voice.units].unit)
    marked = [
        say("season_row.soil_mark", soil=Quantity(c, "degC"), what=words) for c, words in marks_c
    ]
    svg = setting.draw(
        plot,
        name,
        say(
            "season_row.soil_described",
            soil=Quantity(_last(numbers.soil_c), "degC"),
            years=numbers.past_years,
        ),
        plot.area(at(past_low), at(past_high), "backdrop", "past"),
        plot.area(at(ahead.low), at(ahead.high), "likely", "ahead"),
        *(plot.level(height, "mark") for height, _ in levels),
        plot.line(at(numbers.soil_c), "known"),
        plot.line(at(ahead.mid), "ahead"),
    )
    return Row(
        kind="soil",
        name=name,
        note=voice.say("season_row.soil_note", unit=unit, marks=joined(*marked, join="clauses")),
        svg=svg,
        days=spoken(range(plot.days), lambda n: _soil_day(numbers, n, voice)),
        weeks=tuple(_soil_week(numbers, n, voice) for n in range(0, plot.days, WEEK)),
        marks=side_marks(
            [(height, voice.write(Quantity(c, "degC"), "bare"))
             for (height, _), (c, _) in zip(levels, marks_c, strict=True)]
        ),
    )  # fmt: skip


def _soil_day(numbers: SeasonNumbers, n: int, voice: Voice) -> str:
    known, ahead = numbers.soil_c[n], numbers.soil_ahead_c
    if np.isfinite(known):
        return voice.say("season_day.soil", soil=Quantity(float(known), "degC"))
    if not np.isfinite(ahead.mid[n]):
        return voice.say("window_verdict.cannot_tell")
    soil, low, high = (Quantity(float(v[n]), "degC") for v in (ahead.mid, ahead.low, ahead.high))
    return voice.say("season_day.soil_ahead", soil=soil, low=low, high=high)


def _soil_week(numbers: SeasonNumbers, n: int, voice: Voice) -> str:
    """As the day says it, with past seasons."""
    low, high = (Quantity(float(line[n]), "degC") for line in numbers.soil_past_c)
    now = _soil_day(numbers, n, voice)
    if not np.isfinite(low.value):
        return now
    return voice.say("season_day.soil_usual", now=now, low=low, high=high)


def weed_row(setting: Setting, weed: WeedSeason) -> Row:
    """What emerges of a weed in the week around each day, with its range."""
    numbers, voice, rate = setting.numbers, setting.voice, weed.rate
    most = np.nanmax(np.concatenate([rate.high, weed.usual_high, [HARDLY]]))
    plot = setting.plot(weed.code.lower())
    none = np.where(np.isfinite(rate.mid), 0.0, np.nan)
    gone = np.arange(plot.days) < numbers.today
    name = voice.write(say("season_row.weed", weed=say(f"weed.{weed.code}")), "cap")
    note = _weed_note(weed, numbers)
    svg = setting.draw(
        plot,
        name,
        note,
        plot.area(np.zeros(plot.days) + 0 * weed.usual_high, weed.usual_high / most, "backdrop",
                  "past"),
        plot.area(none, rate.mid / most, f"weed {weed.season}", "rate"),
        plot.area(rate.low / most, rate.high / most, "likely", "likely"),
        plot.line(np.where(gone | (rate.mid < FAINT * most), np.nan, rate.mid / most), "ahead"),
        plot.untold(rate.mid, (0.0, 0.4)),
        plot.level(0, "foot"),
    )  # fmt: skip
    return Row(
        kind="weed",
        name=name,
        note=voice.text(note),
        svg=svg,
        days=spoken(
            zip(_percents(rate.mid), _percents(weed.emerged.mid), strict=True),
            lambda of: ";".join(voice.write(_share(part), "bare") for part in of),
        ),
        weeks=tuple(
            voice.say(
                "season_day.weed_week", rate=_within(rate, n), emerged=_within(weed.emerged, n)
            )
            for n in range(0, plot.days, WEEK)
        ),
        form=voice.say("season_day.weed", rate="{0}", emerged="{1}"),
        head=voice.say("season_row.weed_column", weed=Name(name)),
    )


def _weed_note(weed: WeedSeason, numbers: SeasonNumbers) -> Phrase:
    """When most of it emerges; nothing of a time that cannot be told."""
    mid = weed.rate.mid
    peak = int(np.nanargmax(mid))
    if mid[peak] < HARDLY and np.isnan(mid).any():
        return say("window_verdict.cannot_tell")
    return say(
        "season_row.weed_note",
        most=Share(float(mid[peak])),
        day=numbers.dates[peak].astype("datetime64[D]").astype(object),
        emerged=_emerged_by(weed.emerged, numbers.today),
        roughly=say("season_row.roughly", weeks=round(weed.doubt_weeks))
        if weed.doubt_weeks
        else NOTHING,
    )


def _within(of: Fan, n: int) -> Phrase:
    """A share on a day with its range, where that is more than one figure."""
    percents = [_percents(line[n : n + 1])[0] for line in (of.mid, of.low, of.high)]
    mid, low, high = map(_share, percents)
    if len(set(percents)) == 1:
        return say("season_day.sure", mid=mid)
    return say("season_day.within", mid=mid, low=low, high=high)


def _emerged_by(emerged: Fan, today: int) -> Phrase:
    """What has emerged by now; nothing where none has, or all, or it is not counted yet."""
    now = float(emerged.mid[max(today - 1, 0)])
    return say("season_row.emerged", share=Share(now)) if now >= HARDLY else NOTHING


def turf_row(setting: Setting, phase: Phrase) -> Row:
    """The turf from green to dormant and back, as sure as that is."""
    numbers, voice = setting.numbers, setting.voice
    plot = setting.plot("turf")
    name = voice.say("season_row.turf")
    known = np.where(np.isnan(numbers.dormant), np.nan, 1.0)
    svg = setting.draw(
        plot,
        name,
        say("season_row.turf_described", phase=phase),
        plot.shade(known, ("green",), "green", (0.1, 0.9)),
        plot.shade(np.nan_to_num(numbers.dormant), ("straw", "stripes"), "dormant", (0.1, 0.9)),
    )
    return Row(
        kind="turf",
        name=name,
        note=voice.write(phase, "cap"),
        svg=svg,
        days=(days := _chances(numbers.dormant, voice)),
        weeks=days[::WEEK],
    )


def safe_row(setting: Setting) -> Row:
    """Days on which the state of the turf takes a non-selective."""
    numbers, voice = setting.numbers, setting.voice
    plot = setting.plot("safe")
    name = voice.say("season_row.safe")
    likely = np.flatnonzero(np.nan_to_num(numbers.safe) > EVEN)
    note = say("season_row.safe_never")
    if len(likely):
        first, last = (numbers.dates[n].astype("datetime64[D]").astype(object)
                       for n in likely[[0, -1]])  # fmt: skip
        note = say("season_row.safe_from", days=Span(first, last))
    elif np.isnan(numbers.safe).any():
        note = say("window_verdict.cannot_tell")
    return Row(
        kind="safe",
        name=name,
        note=voice.text(note),
        svg=setting.draw(plot, name, note, plot.shade(numbers.safe, ("safe",), "safe", (0.2, 0.8))),
        days=(days := _chances(numbers.safe, voice)),
        weeks=days[::WEEK],
    )


def _chances(chances: FloatArray, voice: Voice) -> tuple[str, ...]:
    def said(percent: int | None) -> str:
        if percent is None:
            return voice.say("window_verdict.cannot_tell")
        return voice.write(_share(percent), "chance")

    return spoken(_percents(chances), said)


def spoken(days: Iterable[_Day], said: Callable[[_Day], str]) -> tuple[str, ...]:
    """What each day says; days that are alike are worded once."""
    made: dict[_Day, str] = {}
    return tuple(made[day] if day in made else made.setdefault(day, said(day)) for day in days)


def _percents(parts: FloatArray) -> list[int | None]:
    return [None if math.isnan(part) else round(100 * part) for part in parts.tolist()]


def _share(percent: int | None) -> Share:
    return Share(float("nan") if percent is None else percent / 100)


def _last(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if len(known) else float("nan")


def _span_of(series: Sequence[FloatArray], marks: Sequence[float]) -> tuple[float, float]:
    """From lowest to highest of all that is drawn, with a little room [°C]."""
    values = np.concatenate([*series, np.array(marks)])
    values = values[np.isfinite(values)]
    if not len(values):
        return 0.0, 1.0
    return float(values.min()) - 1.0, float(values.max()) + 1.0
