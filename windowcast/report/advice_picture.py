"""One lived season drawn: weeds emerging, and who sprayed what when, with what lasted of it.

The file stands alone and carries its style for light and dark. Words have rows of their own, which
no line enters: names of applications stand above their lane, each behind the sign of its mark.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape

import numpy as np

from windowcast.core.phrase import Share, say
from windowcast.core.record import FloatArray
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Scale, el, label, line_path, month_starts, px
from windowcast.verify.regret import SEEN_FROM, SEEN_TO, Regret, SeasonSeen
from windowcast.windows.model import PURPOSES, PurposeName

WIDTH = 700.0
LANES = ("advice", "calendar", "foresight")
_LEFT, _RIGHT = 136.0, 690.0
_EDGE = 10.0
_SIZE = 12.5  # of letters
_LETTER, _BOLD = 0.62, 0.7  # of its size, that one takes across in the widest of common fonts
_PLOT, _STRIP, _ROW = 130.0, 32.0, 20.0
_SIGN = 16.0  # sign and room before its words
_MARK = 5.5
_HALF = {"pre-fall": 9.0, "post-early": 16.0, "dormant": 16.0, "pre-spring": 23.0}
_WEEDS = ("POAAN", "DIGSA")
_STYLE = """
svg { color-scheme: light dark; --paper: #fffdf8; --ink: #1e2a2c; --soft: #536062; --rule: #d3cdbd;
  --fall: #0b5a6b; --spring: #b4532a; --left: #8fa3a0; --straw: #f0e2b6; --lost: #8c2f1b; }
@media (prefers-color-scheme: dark) { svg { --paper: #1c2425; --ink: #ebe8de; --soft: #aab4b2;
  --rule: #3a4646; --fall: #6fc7d8; --spring: #f0946a; --left: #7f9794; --straw: #4d4427;
  --lost: #f29a83; } }
text { fill: var(--ink); font: 12.5px "Source Sans 3", "Liberation Sans", Arial, sans-serif; }
.name { font-weight: 700; } .soft { fill: var(--soft); }
.lost-words { fill: var(--lost); font-weight: 700; }
.paper { fill: var(--paper); } .grid { stroke: var(--rule); stroke-width: .8; }
.line { fill: none; stroke-width: 2.4; } .POAAN { stroke: var(--fall); }
.DIGSA { stroke: var(--spring); stroke-dasharray: 7 4; } .lane { fill: none; stroke: var(--rule); }
.residual { fill: var(--left); } .permitted { fill: var(--straw); }
.lost { stroke: var(--lost); stroke-width: 2; stroke-dasharray: 3 3; }
.mark { fill: var(--ink); stroke: var(--paper); stroke-width: 1.2; }
"""


def advice_picture(regret: Regret, voice: Voice, desc: str) -> str:
    """A season as a file: emergence above, a lane for the advice, the calendar, the best dates.

    Parameters
    ----------
    desc
        What it shows, for those who cannot see it.

    Raises
    ------
    ValueError
        The season does not know what its picture shows.
    """
    if regret.seen is None:
        raise ValueError(f"{regret.station} {regret.season} was not seen")
    frame = _Frame(regret, regret.seen, voice)
    title = season_title(regret, voice)
    key = f"lived-{regret.season}"
    y, parts = 34.0, [label(_EDGE, 22.0, title, "name")]
    for draw in (_legend, _lost_words, _emergence, _months, *map(_lane_of, LANES)):
        drawn, y = draw(frame, y)
        parts += drawn
    return el(
        "svg",
        el("title", escape(title), id=f"{key}-title"),
        el("desc", escape(desc), id=f"{key}-desc"),
        el("style", _STYLE),
        el("rect", width="100%", height="100%", class_="paper"),
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {px(WIDTH)} {px(y + _EDGE)}",
        width=px(WIDTH),
        height=px(y + _EDGE),
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
    )


def season_title(regret: Regret, voice: Voice) -> str:
    """Station and season."""
    years = f"{regret.season}/{(regret.season + 1) % 100:02}"
    return voice.say("advice_story.title", station=regret.station, season=years)


@dataclass(frozen=True)
class _Frame:
    """A season and where its days lie."""

    regret: Regret
    seen: SeasonSeen
    voice: Voice

    @property
    def first(self) -> dt.date:
        return dt.date(self.regret.season, *SEEN_FROM)

    @property
    def last(self) -> dt.date:
        return dt.date(self.regret.season + 1, *SEEN_TO)

    def x(self, day: dt.date) -> float:
        """Where a day lies, held inside the season."""
        inside = min(max(day, self.first), self.last)
        return Scale(self.first.toordinal(), self.last.toordinal(), _LEFT, _RIGHT)(
            inside.toordinal()
        )

    def span(self, first: dt.date, last: dt.date, top: float, height: float, class_: str) -> str:
        """A bar over some days, "" where none of them is shown."""
        if last < self.first or first > self.last:
            return ""
        at = self.x(first)
        width = max(self.x(last) - at, 1.0)
        return el("rect", x=at, y=top, width=width, height=height, class_=class_)

    def lost(self, top: float, bottom: float) -> list[str]:
        """The day that lost most, through rows without words."""
        day = _lost_day(self.regret)
        if day is None or not self.first <= day <= self.last:
            return []
        at = self.x(day)
        return [el("line", x1=at, x2=at, y1=top, y2=bottom, class_="lost")]

    @property
    def month_lines(self) -> list[float]:
        days = np.arange(np.datetime64(self.first, "D"), np.datetime64(self.last, "D"))
        return [self.x(days[n].astype(dt.date)) for n, _ in month_starts(days, self.voice)]


def answered(regret: Regret) -> str:
    """What the answer said on the best day, as the ids of its texts end."""
    if regret.cause == "season" and regret.said:
        return "closed"
    return "marginal" if regret.said == "marginal" else regret.cause


_Drawn = tuple[list[str], float]  # markup, and where the next row begins


def _lost_day(regret: Regret) -> dt.date | None:
    """The best day of what was lost on; when it went out where hindsight leaves it out."""
    return regret.best or regret.sprayed


def _wide(words: str, letter: float = _LETTER) -> float:
    """How much room words take at the most."""
    return len(words) * _SIZE * letter


def _legend(frame: _Frame, y: float) -> _Drawn:
    """What each sign means, in as many rows as it takes."""
    voice = frame.voice
    entries = [
        (el("line", x1=0.0, x2=26.0, y1=-4.0, y2=-4.0, class_=f"line {code}"),
         voice.say("advice_picture.emerged", weed=say(f"weed.{code}")))
        for code in _WEEDS if code in frame.seen.emerged
    ]  # fmt: skip
    bar = el("rect", x=0.0, y=-7.0, width=26.0, height=6.0, class_="residual")
    entries.append((bar, voice.say("advice_picture.residual")))
    if frame.seen.permitted:
        band = el("rect", x=0.0, y=-11.0, width=26.0, height=13.0, class_="permitted")
        entries.append((band, voice.say("advice_picture.permitted")))
    if _lost_day(frame.regret) is not None:
        line = el("line", x1=13.0, x2=13.0, y1=-12.0, y2=4.0, class_="lost")
        entries.append((line, voice.say("advice_picture.lost_day")))
    parts, x, y = [], _EDGE, y + _ROW
    for sign, words in entries:
        room = 32.0 + _wide(words) + 10.0
        if x > _EDGE and x + room > WIDTH:
            x, y = _EDGE, y + _ROW
        at = f"translate({px(x)} {px(y)})"
        parts.append(el("g", sign, label(32.0, 0.0, words, "soft"), transform=at))
        x += room
    return parts, y + 10.0


def _lost_words(frame: _Frame, y: float) -> _Drawn:
    """What the answer said on the day that lost most, above its line."""
    day, regret = _lost_day(frame.regret), frame.regret
    if day is None or not regret.purpose:
        return [], y
    what = say(f"purpose.{regret.purpose}.title")
    if regret.best is None:
        words = frame.voice.say("advice_picture.better_not", day=day, what=what)
    else:
        said = say(f"advice_picture.said.{answered(regret)}")
        words = frame.voice.say("advice_picture.best_day", day=day, what=what, said=said)
    half = _wide(words, _BOLD) / 2
    at = min(max(frame.x(day), _EDGE + half), WIDTH - _EDGE - half)
    return [label(at, y + 16.0, words, "lost-words", "middle")], y + 24.0


def _emergence(frame: _Frame, y: float) -> _Drawn:
    """Share of each weed that has emerged, by day."""
    top, voice = y + 6.0, frame.voice
    up = Scale(0.0, 1.0, top + _PLOT, top)
    parts = []
    for share in (0.0, 0.5, 1.0):
        parts.append(el("line", x1=_LEFT, x2=_RIGHT, y1=up(share), y2=up(share), class_="grid"))
        parts.append(label(_LEFT - 6, up(share) + 4, voice.write(Share(share)), "soft", "end"))
    parts.append(label(_EDGE, up(0.75) + 4, voice.say("advice_picture.axis"), "name"))
    parts += [_upright(at, top, top + _PLOT) for at in frame.month_lines]
    across = np.array([frame.x(day) for day in frame.seen.days])
    for code in _WEEDS:
        if code in frame.seen.emerged:
            heights: FloatArray = np.array([up(share) for share in frame.seen.emerged[code]])
            parts.append(el("path", d=line_path(across, heights), class_=f"line {code}"))
    return [*parts, *frame.lost(top - 4.0, top + _PLOT)], top + _PLOT


def _months(frame: _Frame, y: float) -> _Drawn:
    """Each month's name in its middle."""
    edges = [*frame.month_lines, _RIGHT]
    year, first = frame.regret.season, SEEN_FROM[0]
    names = [dt.date(year + (n >= 12), n % 12 + 1, 1) for n in range(first - 1, first + 9)]
    parts = [
        label((begin + end) / 2, y + 17.0, frame.voice.write(month, "month"), "soft", "middle")
        for month, begin, end in zip(names, edges[:-1], edges[1:], strict=True)
    ]
    return parts, y + 26.0


def _lane_of(who: str) -> Callable[[_Frame, float], _Drawn]:
    return partial(_lane, who)


def _lane(who: str, frame: _Frame, y: float) -> _Drawn:
    """What one of them sprayed: names above, marks, residuals and permitted days below."""
    done = [
        (name, dt.date.fromisoformat(day))
        for name in PURPOSES
        for day in frame.regret.dates.get(who, {}).get(name, ())
    ]
    done.sort(key=lambda one: one[1])
    parts, top = _names(done, frame, y)
    parts += [
        frame.span(first, last, top, _STRIP, "permitted") for first, last in frame.seen.permitted
    ]
    parts += [_upright(at, top, top + _STRIP) for at in frame.month_lines]
    parts.append(el("rect", x=_LEFT, y=top, width=_RIGHT - _LEFT, height=_STRIP, class_="lane"))
    for left in frame.seen.residuals.get(who, ()):
        level = top + _HALF[left.purpose] - 3.0
        parts.append(frame.span(left.first, left.last, level, 6.0, "residual"))
    parts += frame.lost(top, top + _STRIP)
    parts += [_mark(name, frame.x(day), top + _HALF[name]) for name, day in done]
    share = Share(frame.regret.controlled.get(who, np.nan))
    parts.append(label(_EDGE, top + 12.0, frame.voice.say(f"advice_picture.lane.{who}"), "name"))
    words = frame.voice.say("advice_picture.controlled", share=share)
    parts.append(label(_EDGE, top + 28.0, words, "soft"))
    return parts, top + _STRIP + 4.0


def _names(done: Sequence[tuple[PurposeName, dt.date]], frame: _Frame, y: float) -> _Drawn:
    """Names and dates of applications, as near above their marks as there is room."""
    texts = [
        frame.voice.say("advice_picture.applied", what=say(f"purpose.{name}.short"), day=day)
        for name, day in done
    ]
    parts: list[str] = []
    rows = _in_rows([_SIGN + _wide(text) + 6.0 for text in texts], [frame.x(d) for _, d in done])
    for row, placed in enumerate(rows):
        base = y + 15.0 + row * _ROW
        for n, at in placed:
            parts.append(_mark(done[n][0], at + _MARK, base - 4.5))
            parts.append(label(at + _SIGN, base, texts[n]))
    return parts, y + _ROW * max(len(rows), 1) + 2.0


def _in_rows(rooms: Sequence[float], middles: Sequence[float]) -> list[list[tuple[int, float]]]:
    """Where each begins, by rows that are filled in turn; none meets its neighbour.

    Examples
    --------
    >>> _in_rows([100.0, 100.0], [300.0, 310.0])
    [[(0, 250.0), (1, 350.0)]]
    """
    rows: list[list[int]] = []
    for n, room in enumerate(rooms):
        if rows and sum(rooms[other] for other in rows[-1]) + room <= _RIGHT - _LEFT:
            rows[-1].append(n)
        else:
            rows.append([n])
    return [list(_placed(row, rooms, middles)) for row in rows]


def _placed(
    row: Sequence[int], rooms: Sequence[float], middles: Sequence[float]
) -> Iterator[tuple[int, float]]:
    starts: list[float] = []
    reached = _LEFT
    for n in row:
        starts.append(max(middles[n] - rooms[n] / 2, reached))
        reached = starts[-1] + rooms[n]
    free = _RIGHT
    for at in range(len(row) - 1, -1, -1):
        starts[at] = min(starts[at], free - rooms[row[at]])
        free = starts[at]
    yield from zip(row, starts, strict=True)


def _upright(at: float, top: float, bottom: float) -> str:
    return el("line", x1=at, x2=at, y1=top, y2=bottom, class_="grid")


def _mark(name: PurposeName, x: float, y: float) -> str:
    """A sign for each application, told apart without colour: its middle lies on the day."""
    r = _MARK
    match name:
        case "pre-fall":
            d = f"M{px(x - r)} {px(y - r)}H{px(x + r)}L{px(x)} {px(y + r)}Z"
        case "post-early":
            return el("circle", cx=x, cy=y, r=r, class_="mark")
        case "dormant":
            d = f"M{px(x - r)} {px(y - r)}H{px(x + r)}V{px(y + r)}H{px(x - r)}Z"
        case "pre-spring":
            d = f"M{px(x)} {px(y - r)}L{px(x + r)} {px(y + r)}H{px(x - r)}Z"
    return el("path", d=d, class_="mark")
