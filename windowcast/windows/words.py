"""Judgements in words, in SI: reports rewrite the quantities in the reader's units."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable

from windowcast.core.values import Table
from windowcast.windows.grade import ScoreCurve, table_of

_PREFIXED = {"degC", "K", "m s-1", "mm", "%"}  # units whose value opens a reason by itself

SAME_DAYS = 3  # a delay by no more is not worth a date of its own


def quantity(value: float, unit: str) -> str:
    """A measured value with its unit: ``9.5 °C``, ``43 %``, ``12 days``."""
    if unit == "1":
        return f"{_number(100 * value, 0)} %"
    if unit == "d":
        whole = _number(value, 0)
        return f"{whole} day" if whole == "1" else f"{whole} days"
    if unit == "BBCH":
        return f"BBCH {_number(value, 0)}{_plants(value)}"
    sign = {"degC": "°C", "m s-1": "m/s", "degree": "°"}.get(unit, unit)
    return f"{_number(value, 1)} {sign}".strip()


def _plants(stage: float) -> str:
    """What a BBCH stage of a grass looks like: 1x leaves, 2x tillers (Meier 2018, monograph)."""
    if not math.isfinite(stage):  # a limit on one side only
        return ""
    group, count = divmod(round(stage), 10)
    if group not in (1, 2) or not count:
        return ""
    part = "leaf" if group == 1 else "tiller"
    plural = {"leaf": "leaves", "tiller": "tillers"}[part]
    return f", {count}{' or more' if count == 9 else ''} {part if count == 1 else plural}"


def _number(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.removeprefix("-") if float(text) == 0 else text.replace("-", "−")


def reason(name: str, grade: ScoreCurve, measured: float, about: str = "") -> str:
    """One clause on a measured value: what it is and, outside the good range, why that matters.

    `about` names what it was measured on, where the site has several.
    """
    table = table_of(name)
    unit = str(table["unit"])
    if math.isnan(measured):
        noun = str(table["missing"])
        return "not known" if noun in str(table["label"]) else f"not known: {noun}"
    low, high = grade.good
    side = "low" if measured < low else "high" if measured > high else "good"
    value = quantity(measured, unit)
    if side == "good" or side not in table:
        if not unit:
            return "no objection"
        return f"{str(table.get('good', '{measured}')).replace('{measured}', value)}, good"
    text = str(table[side])
    if "{measured}" not in text and unit in _PREFIXED:
        text = f"{{measured}}, {text}"
    return text.replace("{measured}", value).format(
        **{"from": quantity(low, unit), "to": quantity(high, unit), "about": about}
    )


def change(name: str, grade: ScoreCurve, measured: float, score: float) -> str:
    """What would have to be different for the criterion to reach a score, as a clause."""
    table = table_of(name)
    if "change" in table:
        return str(table["change"])
    needed = grade.nearest(measured, score)
    if needed is None:
        return f"{table['label']} would have to be better"
    verb = "reach" if needed > measured else "fall to"
    return f"{table['label']} would have to {verb} {quantity(needed, str(table['unit']))}"


def fact(name: str, measured: float) -> str:
    """What a criterion says of today as a clause, "" when it has nothing to say."""
    table: Table = table_of(name)
    if "fact" not in table or math.isnan(measured):
        return ""
    return str(table["fact"]).replace("{measured}", quantity(measured, str(table["unit"])))


def missing(name: str) -> str:
    """What is not known when a criterion cannot be told."""
    return str(table_of(name)["missing"])


def remedies(names: Iterable[str]) -> str:
    """What would let criteria be told, each thing once."""
    tables = [table_of(name) for name in names]
    hourly = list(dict.fromkeys(str(t["hourly"]) for t in tables if "hourly" in t))
    others = list(dict.fromkeys(str(t["remedy"]) for t in tables if "remedy" in t))
    if hourly:
        others.insert(0, f"hourly {joined(hourly)}, from a forecast or an hourly weather file")
    return "; ".join(others)


def label(name: str) -> str:
    """The criterion's name in words."""
    return str(table_of(name)["label"])


def named(places: Iterable[str]) -> str:
    """Places of the site file within a sentence: ``the school and Long Pond``."""
    return joined([p if p[:1].isupper() or p.startswith("the ") else f"the {p}" for p in places])


def joined(parts: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def sentence(text: str) -> str:
    """With a capital first letter and a full stop."""
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '?', '!')) else '.'}"


def day(date: dt.date) -> str:
    """``Thu 6 Nov``."""
    return f"{date:%a} {date.day} {date:%b}"


def from_start(opens: dt.date, late: dt.date | None) -> str:
    """An opening that the calendar holds back: ``from the start of its season, 12 Jan``.

    With the day by which it has opened in 9 of 10 cases, where the weather may still delay it.
    """
    text = f"from the start of its season, {opens.day} {opens:%b}"
    if late is None or (late - opens).days <= SAME_DAYS:
        return text
    return f"{text} (in 9 of 10 cases by {late.day} {late:%b})"


def span(start: dt.datetime, end: dt.datetime) -> str:
    """``Thu 6 Nov, 10:00 to 15:00``."""
    return f"{day(start.date())}, {start:%H:%M} to {end:%H:%M}"
