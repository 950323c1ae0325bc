"""What a value of an active ingredient may be, and the values of the label in hand, checked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from math import isfinite
from os import PathLike
from pathlib import Path
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.given_files import parsed_toml, read_text
from windowcast.core.turf import Species
from windowcast.core.units import Dimension, convert
from windowcast.core.values import Value
from windowcast.core.weed_codes import known as weeds

MOVEMENTS = ("contact", "translocated", "soil")
UPTAKES = ("leaf", "leaf and root", "root", "soil")
TIMINGS = ("pre", "post", "both", "growth")  # growth: slows it, kills nothing
TURF_STATES = ("never", "dormant", "semi-dormant", "green")  # each allows the ones before it
KINDS = ("grass", "broadleaf", "sedge")
ACTIONS = ("controls", "suppresses", "some", "no")  # "some" of a kind of weed
_LAST_GROUP = 34  # HRAC global classification 2020 (from memory); 0: mode of action unknown
_LAST_STAGE = 99  # BBCH
_MOST_DAYS = 3660  # ten years: what is longer is a slip
_CHOICES: Mapping[str, Sequence[str]] = {
    "movement": MOVEMENTS,
    "uptake": UPTAKES,
    "timing": TIMINGS,
}
TABLES: Mapping[str, Sequence[str]] = {  # tables of an active: what their keys may be
    "turf": (),  # species, checked apart
    "turf_granule": (),
    "overseed": ("perennial_ryegrass", "annual_ryegrass", "roughstalk_bluegrass"),
    "new_turf": ("sod", "sprigs", "plugs", "seed"),
    "new_turf_granule": ("sod", "sprigs", "plugs", "seed"),
    "spectrum": (),  # kinds of weed and EPPO codes, checked apart
}
NEVER = "never"
_ENDINGS = {"_kg_ha": "kg/ha", "_l_ha": "L/ha", "_pct": "%", "_bbch": "BBCH", "_weeks": "week",
            "_days": "d", "_mm": "mm", "_c": "degC", "_d": "d", "_h": "h"}  # fmt: skip
# ending of a key in US units → ending in SI, unit of the table, dimension, unit as written
_US_KEYS: Mapping[str, tuple[str, str, Dimension, str]] = {
    "_f": ("_c", "degC", "temperature", "°F"),
    "_in": ("_mm", "mm", "length", "in"),
}
_TEXT = frozenset({"adjuvant", "calendar", "reentry", "buffer"})
_FLAGS = frozenset({"selective", "light_needed", "prunes_roots"})
_OF_ZOYSIA = ("japonica ", "matrella ")


def species_key(species: str) -> str:
    """``"St. Augustinegrass"`` → ``"st_augustinegrass"``, the key used in the tables.

    The kinds of zoysiagrass share one: no source tells their tolerance apart.
    """
    plain = species.lower()
    for kind in _OF_ZOYSIA:
        plain = plain.removeprefix(kind)
    return plain.replace(".", "").replace(" ", "_")


def user_value(
    name: str,
    key: str,
    raw: Any,
    before: Mapping[str, Value],
    path: str | PathLike[str],
    *,
    fields: Collection[str],
) -> Value:
    """A value from the user's label, checked, with what it replaces in its note.

    Parameters
    ----------
    before
        The active's values as they are, by `key`.
    fields
        The fields of an active that are no table.
    """
    entry = raw if isinstance(raw, dict) else {"value": raw}
    where = f"{name}.{key}"
    if "value" not in entry or set(entry) - {"value", "low", "high", "source", "note", "unit"}:
        raise InputError("may hold value, low, high, source and note only", path=path, field=where)
    numbers = {part: entry[part] for part in ("value", "low", "high") if part in entry}
    _refuse_odd(numbers, path, where)
    unit = ""
    for ending, (si_ending, si_unit, dimension, written) in _US_KEYS.items():
        if key.endswith(ending) and key not in fields and _is_number(*numbers.values()):
            key, unit = key.removesuffix(ending) + si_ending, si_unit
            numbers = {
                part: float(convert(float(number), dimension, written, si_ending[1:]))
                for part, number in numbers.items()
            }
    if key not in fields and key.partition(".")[0] not in TABLES:
        from difflib import get_close_matches

        near = get_close_matches(key, fields, n=1)
        raise InputError(
            "is not a known value" + (f" (close: {near[0]})" if near else ""),
            path=path,
            field=where,
            remedy=f"use one of {', '.join(sorted(fields))}, {', '.join(TABLES)}",
        )
    _check(key, numbers, path, where)
    old = before.get(key)
    replaced = f"replaces {old.value} {old.unit} [{old.source}]".replace("  ", " ") if old else ""
    return Value(
        path=f"materials.{name}.{key}",
        unit=unit or (old.unit if old else str(entry.get("unit", "")) or _unit_of(key)),
        source=str(entry.get("source", f"label in hand, {Path(path).name}")),
        status="label guidance",
        note="; ".join(filter(None, [str(entry.get("note", "")), replaced])),
        **numbers,
    )


def _refuse_odd(numbers: Mapping[str, Any], path: str | PathLike[str], where: str) -> None:
    """Refuse infinity, what is no number, and what would overflow in what follows."""
    for number in numbers.values():
        if _is_number(number) and not abs(number) <= _MOST:
            raise InputError(
                f"{str(number)[:40]} is not a number that can be used", path=path, field=where,
                remedy="take it from the label in hand",
            )  # fmt: skip


def _unit_of(key: str) -> str:
    """The unit a field's name ends with."""
    return next((unit for ending, unit in _ENDINGS.items() if key.endswith(ending)), "")


def _check(key: str, numbers: Mapping[str, Any], path: str | PathLike[str], where: str) -> None:
    value = numbers["value"]
    choices = _CHOICES.get(key)
    if key.startswith(("turf.", "turf_granule.")):
        choices = TURF_STATES
    if key.startswith("spectrum."):
        choices = ACTIONS
    if "." in key and value == NEVER:
        problem = ""
    elif key == "last_day":
        problem = "" if _is_month_day(value) else f"{value!r} is not a day such as 12-31"
    elif choices is not None:
        problem = "" if value in choices else f"{value!r} is not one of {', '.join(choices)}"
    elif key in _TEXT:
        problem = "" if isinstance(value, str) and value.strip() else "is not a text"
    elif key in _FLAGS:
        problem = "" if isinstance(value, bool) else f"{value!r} is not true or false"
    elif not (_is_number(*numbers.values()) and all(map(isfinite, numbers.values()))):
        problem = f"{value!r} is not a number"
    elif key == "group":
        known = float(value).is_integer() and 0 <= value <= _LAST_GROUP
        problem = "" if known else f"{value} is not a WSSA/HRAC group number"
    elif key.endswith("_bbch") and value > _LAST_STAGE:
        problem = f"{value:g} is not a BBCH stage"
    elif key.endswith("_pct") and value > 100:
        problem = f"{value:g} is more than 100 %"
    elif key.endswith("_c"):
        problem = "" if -30 <= value <= 60 else f"{value:g} °C lies outside -30 to 60 °C"
    elif value < 0:
        problem = f"{value:g} is negative"
    else:
        in_days = key.endswith(("_d", "_days")) or "." in key
        problem = f"{value:g} days are too many" if in_days and value > _MOST_DAYS else ""
    if problem:
        raise InputError(problem, path=path, field=where, remedy="take it from the label in hand")


def check_inner(table: str, key: str, path: str | PathLike[str], name: str) -> None:
    """Refuse a misspelt turf or grass: what it was meant to forbid would silently not hold."""
    known = TABLES[table] or [*dict.fromkeys(species_key(s) for s in Species)]
    if table == "spectrum":
        known = [*KINDS, *weeds()]
    if inner_key(table, key) not in known:
        raise InputError(
            f"{key!r} is no turf known here" if table.partition("_")[0] == "turf"
            else f"{key!r} is not known here",
            path=path, field=f"{name}.{table}", remedy=f"use one of {', '.join(known)}",
        )  # fmt: skip


def inner_key(table: str, key: str) -> str:
    """A key of one of an active's tables as it is written there."""
    if table == "spectrum":
        return key.lower() if key.lower() in KINDS else key.upper()
    return species_key(key)


_MOST = 1e12
_MOST_BYTES = 1_000_000  # of a materials file


def _is_month_day(value: Any) -> bool:
    try:
        dt.date.fromisoformat(f"2000-{value}")
    except ValueError:
        return False
    return True


def _is_number(*items: Any) -> bool:
    return all(isinstance(item, int | float) and not isinstance(item, bool) for item in items)


def read_toml(path: str | PathLike[str]) -> dict[str, Any]:
    """A materials file, with its faults as `InputError`."""
    return parsed_toml(read_text(path, _MOST_BYTES, remedy="check the path"), path)
