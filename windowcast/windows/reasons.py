"""What a criterion says: its judgements as phrases, with the values they speak of in SI."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence

from windowcast.core.phrase import (
    NOTHING,
    UNITS,
    Listing,
    Name,
    Phrase,
    Quantity,
    Share,
    Span,
    Value,
    joined,
    say,
)
from windowcast.core.values import Table
from windowcast.core.values import Value as Science
from windowcast.windows.grade import ScoreCurve

SOIL_DEPTH = Quantity(5.0, "cm")  # of `SiteState.soil_5cm_c`
_OF_SOIL = ("cool_soil", "soil_week")
SAME_DAYS = 3  # a delay by no more is not worth a date of its own
_LEAVES, _TILLERS = 1, 2  # groups of ten of the BBCH scale (Meier 2018, monograph)


def measured(value: float, unit: str) -> Value:
    """A value of a criterion with the unit of its table: a quantity, a share, a stage of growth."""
    if unit == "1":
        return Share(value)
    if unit == "BBCH":
        return _stage(value)
    if unit not in UNITS:
        raise ValueError(f"{unit!r} is not a unit of phrases")
    return Quantity(value, unit)  # type: ignore[arg-type]


def _stage(stage: float) -> Value:
    """A BBCH stage of a grass with what the plant looks like: 1x leaves, 2x tillers."""
    if not math.isfinite(stage):  # a limit on one side only
        return NOTHING
    code = round(stage)
    group, count = divmod(code, 10)
    if group not in (_LEAVES, _TILLERS) or not count:
        return say("stage.bare", code=code)
    part = "leaves" if group == _LEAVES else "tillers"
    more = "_or_more" if count == 9 else ""
    return say(f"stage.{part}{more}", code=code, count=count)


def label(name: str, criterion: Table) -> Phrase:
    """What a criterion is called, with its own values from ``data/criteria.toml``."""
    return Phrase(f"criterion.{name}.label", _given(name, criterion))


def inputs(name: str) -> Phrase:
    """What a criterion is worked out from."""
    return say(f"criterion.{name}.inputs")


def because(criterion: Phrase, said: Phrase) -> Phrase:
    """A criterion by its label with what it says: ``air temperature: 9 °C, slow uptake``."""
    return say("criterion.because", criterion=criterion, reason=said)


def reason(
    name: str, criterion: Table, grade: ScoreCurve, value: float, about: Value = NOTHING
) -> Phrase:
    """One clause on a measured value: what it is and, outside the good range, why that matters.

    `about` names what it was measured on, where the site has several.
    """
    says, unit = tuple(criterion["says"]), str(criterion["unit"])
    if math.isnan(value):
        return say(f"criterion.{name}.unknown")
    low, high = grade.good
    side = "low" if value < low else "high" if value > high else "good"
    if side != "good" and side in says:
        shown = measured(value, unit) if unit else NOTHING
        return outside(name, criterion, side, shown, (low, high), about=about)
    if not unit:
        return say("criterion.no_objection")
    if "good" in says:
        return say(f"criterion.{name}.good", measured=measured(value, unit))
    return say("criterion.good", measured=measured(value, unit))


def outside(
    name: str,
    criterion: Table,
    side: str,
    shown: Value,
    good: tuple[float, float],
    *,
    about: Value = NOTHING,
) -> Phrase:
    """Why a value on one side of the good range matters; `shown` is the value as it is written."""
    unit, values = str(criterion["unit"]), dict(_given(name, criterion)) | {"about": about}
    if unit:
        low, high = (measured(end, unit) for end in good)
        values |= {"measured": shown, "low": low, "high": high}
    return Phrase(f"criterion.{name}.{side}", tuple(values.items()))


def change(name: str, criterion: Table, grade: ScoreCurve, value: float, score: float) -> Phrase:
    """What would have to be different for the criterion to reach a score, as a clause."""
    if "change" in criterion["says"]:
        return say(f"criterion.{name}.change")
    needed = grade.nearest(value, score)
    if needed is None:
        return say("criterion.better", criterion=label(name, criterion))
    aim = measured(needed, str(criterion["unit"]))
    if needed > value:
        return say("criterion.reach", criterion=label(name, criterion), needed=aim)
    return say("criterion.fall", criterion=label(name, criterion), needed=aim)


def fact(name: str, criterion: Table, value: float) -> Phrase:
    """What a criterion says of today as a clause; nothing when it has nothing to say."""
    if "fact" not in criterion["says"] or math.isnan(value):
        return NOTHING
    unit = str(criterion["unit"])
    said: tuple[tuple[str, Value], ...] = (("measured", measured(value, unit)),) if unit else ()
    return Phrase(f"criterion.{name}.fact", _given(name, criterion) + said)


def missing(names: Sequence[str], criteria: Table) -> Listing:
    """What is not known when criteria cannot be told; an input that several lack once."""
    tables = {name: criteria.table(name) for name in names}
    lacks = {name: str(table["lacks"]) for name, table in tables.items() if "lacks" in table}
    given = list(lacks.values())
    often = {one for one in given if given.count(one) > 1}
    return joined(
        *(
            say(f"hourly.{lacks[name]}")
            if lacks.get(name) in often
            else say(f"criterion.{name}.missing")
            for name in names
        ),
        join="clauses",
    )


def remedies(names: Iterable[str], criteria: Table) -> Listing:
    """What would let criteria be told."""
    asked = {name: criteria.table(name) for name in names}
    hourly = [str(table["hourly"]) for table in asked.values() if "hourly" in table]
    others = [say(f"criterion.{name}.remedy") for name in asked if "remedy" in asked[name]["says"]]
    if hourly:
        inputs = joined(*(say(f"hourly.{name}") for name in hourly))
        others.insert(0, say("advice.hourly", inputs=inputs))
    return joined(*others, join="clauses")


def _given(name: str, criterion: Table) -> tuple[tuple[str, Value], ...]:
    """The criterion's own values that a text may speak of: limits, the depth of soil."""
    limits: list[tuple[str, Value]] = [
        (key, Quantity(float(item), item.unit))  # type: ignore[arg-type]
        for key, item in criterion.items()
        if isinstance(item, Science) and item.unit in ("degC", "%")
        if not isinstance(item.value, list)
    ]
    return tuple(limits + ([("depth", SOIL_DEPTH)] if name in _OF_SOIL else []))


def named(places: Iterable[str]) -> Listing:
    """Places of the site file within a sentence: ``the school and Long Pond``."""
    return joined(*(_place(place) for place in places))


def _place(name: str) -> Phrase:
    proper = name[:1].isupper() or name.startswith("the ")
    return say("place.proper" if proper else "place.common", name=Name(name))


def from_start(opens: dt.date, late: dt.date | None, basis: Phrase = NOTHING) -> Phrase:
    """An opening that the calendar holds back: ``from the start of its season, 12 Jan``.

    With the day by which it has opened in 9 of 10 cases, where the weather may still delay it.
    """
    if late is None or (late - opens).days <= SAME_DAYS:
        return say("opening.start", day=opens, basis=basis)
    return say("opening.start_late", day=opens, late=late, basis=basis)


def hours(start: dt.datetime, end: dt.datetime) -> Span:
    """The hours of one day from one time to another: ``Thu 6 Nov, 10:00 to 15:00``."""
    return Span(start, end)
