"""What is known of each active ingredient: group, movement, rain, temperature, soil, turf.

`load_actives` gives the packaged table with the numbers of the label in hand put over it. An
absent value is unknown: criteria must then say "cannot tell: take it from your label".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cache
from os import PathLike
from typing import Any, Literal

from windowcast.core import values
from windowcast.core.errors import InputError
from windowcast.core.values import Value
from windowcast.materials.label_values import (
    TABLES,
    TURF_STATES,
    check_inner,
    inner_key,
    read_toml,
    species_key,
    user_value,
)

Formulation = Literal["spray", "granule"]


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
        for name in TABLES:
            plain |= {f"{name}.{key}": value for key, value in getattr(self, name).items()}
        return plain


_FIELDS = frozenset(f.name for f in fields(Active)) - {
    "name",
    "also",
    "new_turf_of",
    "overridden",
    *TABLES,
}
_REQUIRED = ("group", "movement", "uptake", "timing")


def groups_of(members: Sequence[Active]) -> tuple[int, ...]:
    """Groups of a mixture, each once; none for what has no known mode of action."""
    groups = dict.fromkeys(int(float(m.group)) for m in members)
    return tuple(group for group in groups if group)


class Actives(dict[str, Active]):
    """Active ingredients by ISO common name; other common names find them too.

    Looking up an unknown name raises `InputError` with the closest known names.
    """

    def __contains__(self, name: object) -> bool:
        return super().__contains__(name) or (
            isinstance(name, str) and self.named(name) is not None
        )

    def named(self, name: str) -> Active | None:
        """The active of a name, however it is written; None where there is none."""
        return next((active for active in self.values() if active.called(name)), None)

    def __missing__(self, name: str) -> Active:
        if (found := self.named(name)) is not None:
            return found
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
    tables: Any = {key: dict(table.table(key)) for key in TABLES if key in table}
    listed: Any = {key: tuple(table.get(key, ())) for key in ("also", "new_turf_of")}
    return Active(name=name, **listed, **tables, **known)


def _known_name(actives: Actives, name: str) -> str:
    known = actives.named(name)
    return name.strip().lower() if known is None else known.name


def _override(
    actives: Actives, name: str, entries: Mapping[str, Any], path: str | PathLike[str]
) -> Active:
    key_name = _known_name(actives, name)
    old = actives.get(key_name)
    before = old.known() if old else {}
    given: dict[str, Any] = {}
    tables: dict[str, Any] = {name: dict(getattr(old, name)) if old else {} for name in TABLES}
    touched: list[str] = []
    for key, raw in entries.items():
        if key in TABLES and isinstance(raw, dict):
            for inner, state in raw.items():
                check_inner(key, inner, path, key_name)
                value = user_value(key_name, f"{key}.{inner}", state, before, path, fields=_FIELDS)
                tables[key][inner_key(key, inner)] = value
                touched.append(f"{key}.{inner_key(key, inner)}")
            continue
        value = user_value(key_name, key, raw, before, path, fields=_FIELDS)
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
