"""What was seen after an application on the same ground: ratings, counts, cover, survivors.

Every look is weighed by itself: control against an untreated check or against the count before,
else a control that was rated, else how many weeds are there. `data/verdict.toml` holds the marks.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Literal

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Share, joined, say
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.core.weed_codes import weed_name
from windowcast.materials.actives import Active
from windowcast.records.model import Application, CoverReading, FieldNote, Rating, ScoutingCount
from windowcast.records.trials import is_check

Level = Literal["worked", "partly", "failed"]
Seeing = ScoutingCount | Rating | CoverReading | FieldNote
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Look:
    """What one day's look says.

    Attributes
    ----------
    level
        What it says of the application; None where it does not decide.
    checked
        Whether it was set against an untreated check.
    early
        Whether it came before the effect can be seen: then it does not decide.
    """

    date: dt.date
    text: Phrase
    level: Level | None = None
    checked: bool = False
    early: bool = False


@dataclass(frozen=True, slots=True)
class SeenAfter:
    """All that was seen of one application.

    Attributes
    ----------
    first, last
        Days between which weeds on the ground tell what it did.
    looks
        In order of time.
    even
        Whether several spots looked alike; None where one spot or none was looked at.
    survivors_mixed
        Live plants beside dying ones of the same size; None where nobody said.
    harm
        Injury of the turf that was rated.
    """

    first: dt.date
    last: dt.date
    looks: tuple[Look, ...] = ()
    even: bool | None = None
    survivors_mixed: bool | None = None
    survivors_on: dt.date | None = None
    harm: tuple[Phrase, ...] = ()

    @property
    def deciding(self) -> Look | None:
        """The last look that decides."""
        return next((look for look in reversed(self.looks) if look.level), None)

    @property
    def checked(self) -> bool:
        """Whether an untreated check was looked at."""
        return any(look.checked for look in self.looks)


def places_of(where: str) -> tuple[str, ...]:
    """The places that are named, without case and stray blanks; one "" where none was noted."""
    parts = (" ".join(part.casefold().split()) for part in re.split("[,;]", where))
    return tuple(dict.fromkeys(part for part in parts if part)) or ("",)


class Lookbook:
    """What the log has seen, found by place and day without reading all of it.

    Examples
    --------
    >>> note = FieldNote(dt.date(2025, 11, 20), "clean", where="Field 2")
    >>> book = Lookbook([note])
    >>> book.between("field 2", dt.date(2025, 11, 1), dt.date(2025, 11, 30)) == [note]
    True
    """

    def __init__(self, entries: Iterable[Seeing]) -> None:
        self._all: list[Seeing] = sorted(
            (e for e in entries if not isinstance(e, Rating) or not e.trial), key=lambda e: e.date
        )
        self._places: dict[str, list[Seeing]] = {}
        for entry in self._all:
            for place in places_of(entry.where):
                self._places.setdefault(place, []).append(entry)
        self._trials: dict[str, list[Seeing]] = {}

    def with_trials(self, ratings: Iterable[Rating]) -> Lookbook:
        """The same with the ratings of trials."""
        for rating in sorted(ratings, key=lambda r: r.date):
            if rating.trial:
                self._trials.setdefault(rating.trial, []).append(rating)
        return self

    def between(self, where: str, first: dt.date, last: dt.date, trial: str = "") -> list[Seeing]:
        """Entries of a place, or of no place, from one day to another, in order of time."""
        places = places_of(where)
        lists = [self._all]
        if places != ("",):
            lists = [self._places.get(place, []) for place in (*places, "")]
        if trial:
            lists.append(self._trials.get(trial, []))
        found = [entry for entries in lists for entry in _of_days(entries, first, last)]
        return sorted({id(entry): entry for entry in found}.values(), key=lambda e: e.date)


def _of_days(entries: Sequence[Seeing], first: dt.date, last: dt.date) -> Sequence[Seeing]:
    start = bisect_left(entries, first, key=lambda e: e.date)
    return entries[start : bisect_right(entries, last, key=lambda e: e.date)]


def seen_after(
    application: Application,
    book: Lookbook,
    *,
    members: Sequence[Active],
    pre: bool,
    until: dt.date,
    tables: Tables = PACKAGED,
) -> SeenAfter:
    """What was seen of an application.

    Parameters
    ----------
    members
        Its actives as far as they are known: some say when their effect shows.
    pre
        Whether it acts before weeds are up.
    until
        Last day that speaks of it alone: that of the next application there, or today.
    """
    marks = tables["verdict"]
    table = marks.table(f"look.{'pre' if pre else 'post'}")
    date = application.date
    first = date + table.number("first_days") * _DAY
    if not pre:
        weeks = [m.effect_weeks.ends[0] for m in members if m.effect_weeks is not None]
        first = date + round(7 * max(weeks)) * _DAY if weeks else first
    last = date + table.number("last_days") * _DAY
    entries = book.between(application.where, date + _DAY, min(last, until), application.trial)
    before: list[Seeing] = []
    if not pre:
        back = table.number("before_days")
        before = book.between(application.where, date - back * _DAY, date, application.trial)
    days: dict[dt.date, list[Seeing]] = {}
    for entry in entries:
        days.setdefault(entry.date, []).append(entry)
    looks: list[Look] = []
    even: bool | None = None
    for day, those in days.items():
        looked, alike = _look(day, those, before, application, marks=marks)
        looks += [_early(look) if day < first else look for look in looked]
        even = alike if alike is not None and day >= first else even
    mixed = [e for e in entries if isinstance(e, FieldNote) and e.survivors_mixed is not None]
    return SeenAfter(
        first,
        last,
        tuple(looks),
        even,
        mixed[-1].survivors_mixed if mixed else None,
        mixed[-1].date if mixed else None,
        tuple(_harm(e) for e in entries if isinstance(e, Rating) and _is(e, "injury")),
    )


def _early(look: Look) -> Look:
    return Look(look.date, look.text, None, look.checked, early=True)


def _is(rating: Rating, what: str) -> bool:
    return not rating.before and rating.measure.strip().casefold().startswith(what)


def _harm(rating: Rating) -> Phrase:
    return say("verdict.seen.injury", share=Share(rating.value / 100), day=rating.date)


@dataclass(frozen=True, slots=True)
class _Weeds:
    """Weeds found in one spot: so many by a measure."""

    measure: Literal["count", "cover"]
    weed: str
    value: float
    check: bool
    per_m2: bool = True


def _look(
    day: dt.date,
    entries: Sequence[Seeing],
    before: Sequence[Seeing],
    application: Application,
    *,
    marks: Table,
) -> tuple[list[Look], bool | None]:
    """What a day's entries say together, and whether several spots were alike."""
    weeds = _weeds_in(entries, application)
    rated = [
        e for e in entries
        if isinstance(e, Rating) and _is(e, "control") and _of_treatment(e, application)
        and not is_check(e) and -100 <= e.value <= 100
    ]  # fmt: skip
    levels: list[Level] = []
    parts: list[Phrase] = []
    spots: list[Level] = []
    checked = False
    if rated:
        value = fmean(e.value for e in rated)
        levels.append(_of_control(value, marks))
        spots = [_of_control(e.value, marks) for e in rated]
        parts.append(say("verdict.seen.control", share=Share(value / 100)))
    earlier = _weeds_in(before, application)
    for measure, weed in dict.fromkeys((w.measure, w.weed) for w in weeds if not w.check):
        same = [w for w in weeds if w.measure == measure and (w.weed == weed or w.check)]
        treated = [w for w in same if not w.check]
        check = [w for w in same if w.check and w.weed in ("", weed)]
        had = [w for w in earlier if (w.measure, w.weed) == (measure, weed) and not w.check]
        level, part, those = _weighed(treated, check, had, marks)
        checked = checked or bool(check)
        parts.append(part)
        if level is not None and not rated:
            levels.append(level)
            spots += those
    if rated and not any(not w.check for w in weeds):
        parts += [say("verdict.seen.check", weeds=_amount(w, w.value)) for w in weeds]
        checked = bool(weeds)
    parts += [
        say("verdict.seen.green", share=Share(e.green_pct / 100))
        for e in entries
        if isinstance(e, CoverReading) and e.green_pct is not None
    ]
    notes = [e for e in entries if isinstance(e, FieldNote)]
    parts += [say("verdict.seen.note", text=Name(e.text)) for e in notes]
    mixed = any(e.survivors_mixed for e in notes)
    if mixed:
        parts.append(say("verdict.seen.survivors"))
    if not parts:
        return [], None
    text = say("verdict.seen.on", what=joined(*parts, join="comma"), day=day)
    overall: Level | None = "partly" if mixed and not levels else None
    if levels:
        overall = levels[0] if len(set(levels)) == 1 else "partly"
    alike = None
    if len(spots) > 1 and not {"worked", "failed"} <= set(spots):
        alike = True if len(set(spots)) == 1 else None
    elif len(spots) > 1:
        alike = False
    return [Look(day, text, overall, checked)], alike


def _weeds_in(entries: Sequence[Seeing], application: Application) -> list[_Weeds]:
    """Weeds that were counted or rated, those of another target left out."""
    found: list[_Weeds] = []
    for e in entries:
        if isinstance(e, ScoutingCount):
            if e.per_m2 is not None:
                found.append(_Weeds("count", e.weed, e.per_m2, check=False))
            elif e.cover_pct is not None:
                found.append(_Weeds("cover", e.weed, e.cover_pct, check=False))
        elif isinstance(e, Rating):
            words = e.measure.strip().casefold()
            measure: Literal["count", "cover"] = "count" if words.startswith("count") else "cover"
            known = words.startswith(("count", "cover", "weed"))
            if known and e.value >= 0 and (is_check(e) or _of_treatment(e, application)):
                per_m2 = measure == "cover" or "m2" in words or words == "count"
                found.append(_Weeds(measure, e.weed, e.value, is_check(e), per_m2))
    target = application.target
    return [w for w in found if not target or w.weed in ("", target)]


def _of_treatment(rating: Rating, application: Application) -> bool:
    """Whether a rating, of no check, is of ground that had the application."""
    if rating.trial:
        return rating.trial == application.trial and rating.treatment == application.treatment
    return not rating.treatment or rating.treatment == application.treatment


def _weighed(
    treated: Sequence[_Weeds], check: Sequence[_Weeds], before: Sequence[_Weeds], marks: Table
) -> tuple[Level | None, Phrase, list[Level]]:
    """What weeds that are there say: overall, in words, and spot by spot."""
    value = fmean(w.value for w in treated)
    there = _amount(treated[0], value)
    for others, how in ((check, "check"), (before, "before")):
        base = fmean(w.value for w in others) if others else math.nan
        if base > 0:
            share = Share(1 - value / base)
            spots = [_of_control(100 * (1 - w.value / base), marks) for w in treated]
            amount = _amount(treated[0], base, bare=True)
            part = say(
                "verdict.seen.against_check" if how == "check" else "verdict.seen.against_before",
                weeds=there, other=amount, share=share,
            )  # fmt: skip
            return _of_control(100 * (1 - value / base), marks), part, spots
    if not treated[0].per_m2:
        return None, there, []
    of = marks.table(treated[0].measure)
    return _of_amount(value, of), there, [_of_amount(w.value, of) for w in treated]


def _of_control(percent: float, marks: Table) -> Level:
    if percent >= marks.number("control.worked"):
        return "worked"
    return "failed" if percent < marks.number("control.failed") else "partly"


def _of_amount(value: float, marks: Table) -> Level:
    if value <= marks.number("worked"):
        return "worked"
    return "failed" if value >= marks.number("failed") else "partly"


def _amount(weeds: _Weeds, value: float, *, bare: bool = False) -> Phrase:
    """``12 per m² of annual bluegrass``, ``8 % weed cover``."""
    weed = (
        NOTHING
        if bare or not weeds.weed
        else say("verdict.seen.of_weed", weed=weed_name(weeds.weed))
    )
    if weeds.measure == "cover":
        return say("verdict.seen.cover", share=Share(value / 100), weed=weed)
    if not weeds.per_m2:
        return say("verdict.seen.number", count=Quantity(value, "1", "typed"), weed=weed)
    return say("verdict.seen.plants", count=Quantity(value, "m-2"), weed=weed)
