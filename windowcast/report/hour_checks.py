"""Each hour of the days ahead with what every criterion says of it: a table that reads as words.

The page sends each sentence once, with ``{0}`` for the value, and a short cell per hour. The table
is read as it stands; a script (``web/static/hours.js``) puts both together where an hour is tapped.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Name, Phrase, say
from windowcast.core.values import Table
from windowcast.limits.model import TurfSpan
from windowcast.report.catalogue import Voice
from windowcast.report.wording import SYMBOLS
from windowcast.windows import reasons
from windowcast.windows.hour_model import HourCheck, HoursAhead, HourStrip
from windowcast.windows.model import Verdict

SIDES = ("fits", "low", "high", "unknown")


@dataclass(frozen=True)
class CheckCell:
    """What a criterion says of an hour: its value with a mark, and which sentence says it."""

    text: str
    side: str  # one of `SIDES`


@dataclass(frozen=True)
class CheckColumn:
    """A criterion: its name, its best range, and its sentences by side with {0} for the value."""

    name: str
    best: str
    said: tuple[tuple[str, str], ...]
    both: bool  # too low in some hours, too high in others


@dataclass(frozen=True)
class DayRows:
    """The hours of a day, from the clock hour `first` on; `refused` says why it has none."""

    day: str
    first: int
    refused: str
    rows: tuple[tuple[str, str, tuple[CheckCell, ...]], ...]  # clock, mark of the verdict, cells


@dataclass(frozen=True)
class HourTable:
    """Hours by criteria; `always` is what is the same in every hour, in sentences."""

    columns: tuple[CheckColumn, ...]
    days: tuple[DayRows, ...]
    always: tuple[str, ...]
    verdicts: tuple[tuple[str, str], ...]  # mark and word
    clocks: tuple[int, int]  # hours that each day's picture spans


def hour_table(
    ahead: HoursAhead,
    strip: HourStrip,
    levels: Sequence[Verdict],
    turf: Sequence[TurfSpan],
    *,
    criteria: Table,
    voice: Voice,
) -> HourTable:
    """The hours in daylight of the days ranked.

    Parameters
    ----------
    levels
        The verdict of each hour of `strip`.
    turf
        Days that the turf refuses have no hours.
    criteria
        ``data/criteria.toml``.
    """
    lit = [n for n, light in enumerate(ahead.light) if light]
    no = {n: _refusal(turf, ahead, n) for n in lit}
    full = criteria.table("rule").number("limits")
    columns: list[CheckColumn] = []
    cells: list[dict[int, CheckCell]] = []
    always: list[str] = []
    for check in strip.checks:
        of = {n: _cell(check, place, full, voice) for place, n in enumerate(lit) if not no[n]}
        column = _column(check, set(of.values()), criteria.table(check.criterion), voice)
        if len(set(of.values())) == 1:
            always.append(_sentence(column, next(iter(of.values()))))
        elif of:
            columns.append(column)
            cells.append(of)
    at = [ahead.times[n].hour for n in lit]
    clocks = (min(at, default=0), max(at, default=23) + 1)
    days = []
    for _, group in itertools.groupby(lit, key=lambda n: ahead.times[n].date()):
        hours = list(group)
        rows = tuple(
            (voice.write(ahead.times[n], "clock"), SYMBOLS[levels[n]], tuple(of[n] for of in cells))
            for n in hours
            if not no[n]
        )
        refused = voice.text(no[hours[0]])
        day = voice.say("chart.weekday", day=ahead.times[hours[0]].date())
        days.append(DayRows(day, ahead.times[hours[0]].hour, refused, rows))
    return HourTable(tuple(columns), tuple(days), tuple(always), _verdicts(voice), clocks)


def _verdicts(voice: Voice) -> tuple[tuple[str, str], ...]:
    words = {v: voice.say(f"window_verdict.{v.replace(' ', '_')}") for v in SYMBOLS}
    return tuple((mark, words[verdict]) for verdict, mark in SYMBOLS.items())


def _refusal(turf: Sequence[TurfSpan], ahead: HoursAhead, n: int) -> Phrase:
    date = ahead.times[n].date()
    no = next((s for s in turf if s.first <= date <= s.last and s.answer != "yes"), None)
    if no is None:
        return NOTHING
    return say("answer.do_not_spray" if no.answer == "no" else "answer.cannot_tell")


def _cell(check: HourCheck, n: int, full: float, voice: Voice) -> CheckCell:
    """What is measured in the hour `n` of daylight, and by its score whether that fits."""
    score, value = check.scores[n], check.measured[n]
    if score is None:
        return CheckCell(SYMBOLS["cannot tell"], "unknown")
    text = "" if value is None else _written(value, check.unit, voice)[0]
    if score >= full:
        return CheckCell(text or SYMBOLS["fit"], "fits")
    low = check.low is not None and value is not None and value < check.low
    mark = SYMBOLS["unfit" if score == 0 else "marginal"]
    return CheckCell(text + mark, "low" if low else "high")


def _written(value: float, unit: str, voice: Voice) -> tuple[str, str]:
    """A value of a criterion as its bare number and the unit with what parts them."""
    measured = reasons.measured(value, unit)
    whole = voice.write(measured)
    bare = whole if isinstance(measured, Phrase) else voice.write(measured, "bare")
    return (bare, whole[len(bare) :]) if whole.startswith(bare) else (whole, "")


def _column(check: HourCheck, cells: set[CheckCell], criterion: Table, voice: Voice) -> CheckColumn:
    """The sentences of a criterion that its cells need."""
    sides = {cell.side for cell in cells}
    label = reasons.label(check.criterion, criterion)
    known = next((v for v in check.measured if v is not None), None)
    unit = "" if known is None else _written(known, check.unit, voice)[1]
    best = _best(check)
    said = []
    for side in SIDES:
        if side not in sides:
            continue
        if side == "fits":
            value = say("hour_checks.measured", value=Name("{0}" + unit)) if check.unit else NOTHING
            ends = say("hour_checks.best", best=best) if best else NOTHING
            phrase = say("hour_checks.fits", criterion=label, value=value, best=ends)
        else:
            phrase = say(
                "hour_checks.held", criterion=label, reason=_why(check, side, criterion, unit)
            )
        said.append((side, voice.text(phrase)))
    name = voice.text(say("hour_checks.column", criterion=label, unit=Name(unit.strip())))
    if not unit.strip():
        name = voice.write(label, "cap")
    return CheckColumn(name, voice.text(best), tuple(said), {"low", "high"} <= sides)


def _why(check: HourCheck, side: str, criterion: Table, unit: str) -> Phrase:
    """The criterion's own reason, with {0} for what is measured."""
    name, says, shown = check.criterion, criterion["says"], Name("{0}" + unit)
    if side == "unknown":
        return say(f"criterion.{name}.unknown")
    if name == "sensitive_areas":
        return say(f"criterion.{name}.change")  # which area differs by the hour
    if not check.unit:  # yes or no: only one side has words
        side = "low" if "low" in says else "high"
    if side not in says:
        return say("hour_checks.value", value=shown)
    low = -math.inf if check.low is None else check.low
    high = math.inf if check.high is None else check.high
    return reasons.outside(name, criterion, side, shown, (low, high))


def _best(check: HourCheck) -> Phrase:
    """The range in which a criterion is fully met; nothing where it has no numbers."""
    low, high = (
        None if end is None else reasons.measured(end, check.unit)
        for end in (check.low, check.high)
    )
    if check.yours and high is not None:
        return say("hour_checks.yours", high=high)
    if low is not None and high is not None:
        return say("hour_checks.between", low=low, high=high)
    if low is not None:
        return say("hour_checks.from", low=low)
    return NOTHING if high is None else say("hour_checks.up_to", high=high)


def _sentence(column: CheckColumn, cell: CheckCell) -> str:
    """A cell in words."""
    marks = "".join(SYMBOLS.values())
    return dict(column.said)[cell.side].replace("{0}", cell.text.rstrip(marks))
