"""What is known of each active ingredient: group, movement, rain, temperature, soil, turf.

`load_actives` gives the packaged table with the numbers of the label in hand put over it. An
absent value is unknown: criteria must then say "cannot tell: take it from your label".
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cache
from math import isfinite
from os import PathLike
from pathlib import Path
from typing import Any, Literal

from windowcast.core import values
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
_TABLES: Mapping[str, Sequence[str]] = {  # tables of an active: what their keys may be
    "turf": (),  # species, checked apart
    "turf_granule": (),
    "overseed": ("perennial_ryegrass", "annual_ryegrass", "roughstalk_bluegrass"),
    "new_turf": ("sod", "sprigs", "plugs", "seed"),
    "new_turf_granule": ("sod", "sprigs", "plugs", "seed"),
    "spectrum": (),  # kinds of weed and EPPO codes, checked apart
}
NEVER = "never"
Formulation = Literal["spray", "granule"]
_ENDINGS = {"_kg_ha": "kg/ha", "_l_ha": "L/ha", "_pct": "%", "_bbch": "BBCH", "_weeks": "week",
            "_days": "d", "_mm": "mm", "_c": "degC", "_d": "d", "_h": "h"}  # fmt: skip
# ending of a key in US units → ending in SI, unit of the table, dimension, unit as written
_US_KEYS: Mapping[str, tuple[str, str, Dimension, str]] = {
    "_f": ("_c", "degC", "temperature", "°F"),
    "_in": ("_mm", "mm", "length", "in"),
}


@dataclass(frozen=True, slots=True)
class Active:
    """One active ingredient. ``None`` means unknown.

    Attributes
    ----------
    group
        WSSA/HRAC group number; 0 where the mode of action is unknown or none is given.
    movement, uptake, timing
        One of `MOVEMENTS`, `UPTAKES`, `TIMINGS`.
    turf, turf_granule
        Species key (see `species_key`) → greenest state it is safe on, one of `TURF_STATES`; for
        granules, where they differ.
    overseed
        Grass key → days after sowing from which an overseeded stand takes it, or `NEVER`.
    new_turf, new_turf_granule
        How it was established → days from which new turf takes it.
    new_turf_of
        Species keys of the grasses that those days were found on.
    spectrum
        Kind of weed or EPPO code → what it does to it, one of `ACTIONS`; see
        `windowcast.materials.spectrum`.
    overridden
        Fields whose value comes from the user's label file.

    The other fields are explained in ``data/actives/README.md``.
    """

    name: str
    group: Value
    movement: Value
    uptake: Value
    timing: Value
    selective: Value | None = None
    temp_low_c: Value | None = None
    temp_good_c: Value | None = None
    temp_high_c: Value | None = None
    night_low_c: Value | None = None
    soil_temp_high_c: Value | None = None
    humidity_low_pct: Value | None = None
    light_needed: Value | None = None
    rain_free_h: Value | None = None
    activation_mm: Value | None = None
    activation_days: Value | None = None
    soil_dt50_d: Value | None = None
    leaf_dt50_d: Value | None = None
    air_dt50_d: Value | None = None
    usual_kg_ha: Value | None = None
    largest_bbch: Value | None = None
    lost_bbch: Value | None = None
    before_greenup_d: Value | None = None
    dormant_control_pct: Value | None = None
    effect_weeks: Value | None = None
    carrier_l_ha: Value | None = None
    max_year_kg_ha: Value | None = None
    adjuvant: Value | None = None
    calendar: Value | None = None
    reentry: Value | None = None
    buffer: Value | None = None
    prunes_roots: Value | None = None
    seeding_d: Value | None = None
    slit_seeding_d: Value | None = None
    last_day: Value | None = None
    turf: Mapping[str, Value] = field(default_factory=dict)
    turf_granule: Mapping[str, Value] = field(default_factory=dict)
    overseed: Mapping[str, Value] = field(default_factory=dict)
    new_turf: Mapping[str, Value] = field(default_factory=dict)
    new_turf_granule: Mapping[str, Value] = field(default_factory=dict)
    spectrum: Mapping[str, Value] = field(default_factory=dict)
    also: tuple[str, ...] = ()
    new_turf_of: tuple[str, ...] = ()
    overridden: tuple[str, ...] = ()

    @property
    def pre(self) -> bool:
        """Whether it acts on weeds before they emerge."""
        return self.timing.value in ("pre", "both")

    @property
    def post(self) -> bool:
        """Whether it acts on weeds that have emerged."""
        return self.timing.value in ("post", "both")

    @property
    def leaf(self) -> bool:
        """Whether leaves take it up, so that rain and air temperature matter."""
        return "leaf" in str(self.uptake.value)

    @property
    def soil(self) -> bool:
        """Whether the soil passes it on, so that it must be watered in."""
        return str(self.uptake.value) != "leaf"

    def called(self, name: str) -> bool:
        """Whether a name, however it is written, is one of its names."""
        wanted = " ".join(name.casefold().split())
        return any(wanted == own.casefold() for own in (self.name, *self.also))

    def safe_on(self, species: str) -> str:
        """Greenest turf state it is safe on for a species, "" when that is unknown."""
        entry = self.turf.get(species_key(species))
        return str(entry.value) if entry is not None else ""

    def taken_by(self, species: str, state: str) -> str:
        """Whether a source says that a grass takes it in a state of `TURF_STATES`: "yes", "no", "".

        Of the state of the turf alone: ground, age and date have limits of their own.
        """
        entry = self.turf.get(species_key(species))
        if entry is None:
            return ""
        if TURF_STATES.index(str(entry.value)) < TURF_STATES.index(state):
            return "no"
        return "" if entry.status == "from memory" else "yes"

    def known(self) -> dict[str, Value]:
        """Every known value by field, those of tables as ``turf.<species>``."""
        found = {f.name: getattr(self, f.name) for f in fields(self)}
        plain = {key: value for key, value in found.items() if isinstance(value, Value)}
        for name in _TABLES:
            plain |= {f"{name}.{key}": value for key, value in getattr(self, name).items()}
        return plain


_FIELDS = frozenset(f.name for f in fields(Active)) - {
    "name",
    "also",
    "new_turf_of",
    "overridden",
    *_TABLES,
}
_REQUIRED = ("group", "movement", "uptake", "timing")
_TEXT = frozenset({"adjuvant", "calendar", "reentry", "buffer"})
_FLAGS = frozenset({"selective", "light_needed", "prunes_roots"})


def groups_of(members: Sequence[Active]) -> tuple[int, ...]:
    """Groups of a mixture, each once; none for what has no known mode of action."""
    groups = dict.fromkeys(int(float(m.group)) for m in members)
    return tuple(group for group in groups if group)


class Actives(dict[str, Active]):
    """Active ingredients by ISO common name; other common names find them too.

    Looking up an unknown name raises `InputError` with the closest known names.
    """

    def __missing__(self, name: str) -> Active:
        for active in self.values():
            if active.called(name):
                return active
        wanted = " ".join(name.lower().split())
        from difflib import get_close_matches

        names = [*self, *(other for active in self.values() for other in active.also)]
        near = get_close_matches(wanted, names, n=3, cutoff=0.6)
        raise InputError(
            f"{name!r} is not a known active ingredient"
            + (f" (close: {', '.join(near)})" if near else ""),
            field="active",
            remedy="use the ISO common name, or describe it in your materials file",
        )

    def mixture(self, text: str) -> tuple[Active, ...]:
        """The members of a mixture written ``NAME[+NAME]``, each once, in the order given."""
        names = [part for part in (p.strip() for p in text.split("+")) if part]
        if not names:
            raise InputError("names no active ingredient", field="active", remedy="give a name")
        return tuple({self[name].name: self[name] for name in names}.values())

    def at_hand(
        self, stock: Sequence[str], path: str | PathLike[str] | None = None
    ) -> tuple[tuple[Active, ...], ...]:
        """The mixtures of a site's ``stock``; an error names the key and the site file `path`."""
        try:
            return tuple(self.mixture(entry) for entry in stock)
        except InputError as error:
            raise error.at(path=path, field="stock") from None


_OF_ZOYSIA = ("japonica ", "matrella ")


def species_key(species: str) -> str:
    """``"St. Augustinegrass"`` → ``"st_augustinegrass"``, the key used in the tables.

    The kinds of zoysiagrass share one: no source tells their tolerance apart.
    """
    plain = species.lower()
    for kind in _OF_ZOYSIA:
        plain = plain.removeprefix(kind)
    return plain.replace(".", "").replace(" ", "_")


@cache
def _packaged() -> Actives:
    table = values.load("actives")
    return Actives(
        {name: _from_table(name, table.table(name)) for name in sorted(table, key=str.casefold)}
    )


def load_actives(user_file: str | PathLike[str] | None = None) -> Actives:
    """The packaged actives, with the numbers of the user's labels put over them.

    Parameters
    ----------
    user_file
        TOML with a table per active ingredient. A value is either bare, in the unit its key names
        (``rain_free_h = 4``; ``_f`` and ``_in`` are accepted for ``_c`` and ``_mm``), or written
        in full like the packaged ones. New ingredients need group, movement, uptake and timing.

    Raises
    ------
    InputError
        The file cannot be read, or a key or value in it is unknown or out of range.
    """
    actives = Actives(_packaged())
    if user_file is None:
        return actives
    for name, entries in read_toml(user_file).items():
        if name == "products":
            continue
        if not isinstance(entries, dict):
            raise InputError(
                "is not a table",
                path=user_file,
                field=name,
                remedy=f"write [{name}] and its values below",
            )
        actives[_known_name(actives, name)] = _override(actives, name, entries, user_file)
    return actives


def _from_table(name: str, table: values.Table) -> Active:
    known: dict[str, Any] = {k: item for k, item in table.items() if isinstance(item, Value)}
    tables: Any = {key: dict(table.table(key)) for key in _TABLES if key in table}
    listed: Any = {key: tuple(table.get(key, ())) for key in ("also", "new_turf_of")}
    return Active(name=name, **listed, **tables, **known)


def _known_name(actives: Actives, name: str) -> str:
    known = (active.name for active in actives.values() if active.called(name))
    return next(known, name.strip().lower())


def _override(
    actives: Actives, name: str, entries: Mapping[str, Any], path: str | PathLike[str]
) -> Active:
    key_name = _known_name(actives, name)
    old = actives.get(key_name)
    before = old.known() if old else {}
    given: dict[str, Any] = {}
    tables: dict[str, Any] = {name: dict(getattr(old, name)) if old else {} for name in _TABLES}
    touched: list[str] = []
    for key, raw in entries.items():
        if key in _TABLES and isinstance(raw, dict):
            for inner, state in raw.items():
                _check_inner(key, inner, path, key_name)
                value = _user_value(key_name, f"{key}.{inner}", state, before, path)
                tables[key][_inner_key(key, inner)] = value
                touched.append(f"{key}.{_inner_key(key, inner)}")
            continue
        value = _user_value(key_name, key, raw, before, path)
        given[value.path.rsplit(".", 1)[1]] = value
        touched.append(value.path.rsplit(".", 1)[1])
    if old is not None:
        return replace(old, overridden=tuple(touched), **tables, **given)
    missing = [key for key in _REQUIRED if key not in given]
    if missing:
        from difflib import get_close_matches

        near = get_close_matches(key_name, list(actives), n=1)
        raise InputError(
            f"is new, so {', '.join(missing)} must be given",
            path=path,
            field=name,
            remedy=f"add them, or write {near[0]!r} if you meant that" if near else "add them",
        )
    return Active(name=key_name, overridden=tuple(touched), **tables, **given)


def _user_value(
    name: str, key: str, raw: Any, before: Mapping[str, Value], path: str | PathLike[str]
) -> Value:
    """A value from the user's label, checked, with what it replaces in its note."""
    entry = raw if isinstance(raw, dict) else {"value": raw}
    where = f"{name}.{key}"
    if "value" not in entry or set(entry) - {"value", "low", "high", "source", "note", "unit"}:
        raise InputError("may hold value, low, high, source and note only", path=path, field=where)
    numbers = {part: entry[part] for part in ("value", "low", "high") if part in entry}
    _refuse_odd(numbers, path, where)
    unit = ""
    for ending, (si_ending, si_unit, dimension, written) in _US_KEYS.items():
        if key.endswith(ending) and key not in _FIELDS and _is_number(*numbers.values()):
            key, unit = key.removesuffix(ending) + si_ending, si_unit
            numbers = {
                part: float(convert(float(number), dimension, written, si_ending[1:]))
                for part, number in numbers.items()
            }
    if key not in _FIELDS and key.partition(".")[0] not in _TABLES:
        from difflib import get_close_matches

        near = get_close_matches(key, _FIELDS, n=1)
        raise InputError(
            "is not a known value" + (f" (close: {near[0]})" if near else ""),
            path=path,
            field=where,
            remedy=f"use one of {', '.join(sorted(_FIELDS))}, {', '.join(_TABLES)}",
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


def _check_inner(table: str, key: str, path: str | PathLike[str], name: str) -> None:
    """Refuse a misspelt turf or grass: what it was meant to forbid would silently not hold."""
    known = _TABLES[table] or [species_key(s) for s in Species]
    if table == "spectrum":
        known = [*KINDS, *weeds()]
    if _inner_key(table, key) not in known:
        raise InputError(
            f"{key!r} is no turf known here" if table.partition("_")[0] == "turf"
            else f"{key!r} is not known here",
            path=path, field=f"{name}.{table}", remedy=f"use one of {', '.join(known)}",
        )  # fmt: skip


def _inner_key(table: str, key: str) -> str:
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
