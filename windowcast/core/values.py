"""Science values: read from the TOML tables in ``windowcast/data``, each with unit and source.

A value in a table is written ::

    [annual_bluegrass.base_temp]
    value = 21.0          # number, list of numbers, text or true/false
    unit = "degC"
    low = 19.0            # optional: range between sources or years
    high = 22.0
    source = "Taylor et al. 2021, Scientific Reports 11"
    status = "published"
    note = "..."          # optional

Nothing else in the package holds a science constant.
"""

from __future__ import annotations

import re
from collections.abc import Collection, ItemsView, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from importlib import resources
from typing import Any

from windowcast.core.packaged import packaged_toml

VARIED = "varied"  # the note of a value that is not the packaged one
STATUSES = frozenset(
    {
        "published",  # read in a publication or its abstract
        "handbook",  # textbook or handbook table
        "label guidance",  # typical of labels; the label in hand decides
        "common practice",  # known in the trade, no publication
        "our fit",  # fitted by a committed script
        "derived",  # calculated from published anchors
        "from memory",  # not seen in a source; check before relying on it
        "choice",  # a design choice of this program, not a fact
    }
)


@dataclass(frozen=True, slots=True)
class Value:
    """One science value with all that is needed to trace it."""

    path: str  # "weeds.annual_bluegrass.base_temp"
    value: Any
    unit: str
    source: str
    status: str
    low: float | None = None
    high: float | None = None
    note: str = ""

    def __float__(self) -> float:
        return float(self.value)

    @property
    def ends(self) -> tuple[float, float]:
        """Low and high of a number, the number itself where it has no such end."""
        usual = float(self)
        return (
            usual if self.low is None else self.low,
            usual if self.high is None else self.high,
        )

    def cite(self) -> str:
        """One line for ``--explain``."""
        band = ""
        if self.low is not None and self.high is not None:
            band = f" ({self.low:g} to {self.high:g})"
        origin = VARIED if self.note == VARIED else f"{self.status}: {self.source}"
        return f"{self.path} = {self.value}{band} {self.unit} [{origin}]"


class Table(Mapping[str, Any]):
    """A TOML table whose leaves are `Value` objects and whose branches are tables.

    ``table.number("a.b")`` gives the bare float, ``table.value("a.b")`` the whole entry.
    """

    def __init__(self, path: str, raw: Mapping[str, Any]) -> None:
        self._path = path
        self._items: dict[str, Any] = {}
        for key, item in raw.items():
            here = f"{path}.{key}"
            if not isinstance(item, dict):
                self._items[key] = item
            elif "value" in item:
                self._items[key] = _value(here, item)
            else:
                self._items[key] = Table(here, item)

    def _find(self, key: str) -> Any:
        """What stands at a dotted path; None where nothing does."""
        item = self._items.get(key)
        if item is None and "." in key:
            first, _, rest = key.partition(".")
            below = self._items.get(first)
            return below._find(rest) if isinstance(below, Table) else None
        return item

    def __getitem__(self, key: str) -> Any:
        item = self._items.get(key)
        if item is None:
            item = self._find(key)
        return _missing(self._path, key) if item is None else item

    def __contains__(self, key: object) -> bool:
        return isinstance(key, str) and self._find(key) is not None

    def get(self, key: str, default: Any = None) -> Any:
        """What stands at a dotted path, or the default."""
        item = self._find(key)
        return default if item is None else item

    def items(self) -> ItemsView[str, Any]:
        """Names and what stands under them."""
        return self._items.items()

    def __iter__(self) -> Iterator[str]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def value(self, key: str) -> Value:
        """The entry at a dotted path."""
        item = self._items.get(key) or self._find(key)
        return item if isinstance(item, Value) else _missing(self._path, key)

    def number(self, key: str) -> float:
        """The bare number at a dotted path."""
        return float(self.value(key).value)

    def table(self, key: str) -> Table:
        """The branch at a dotted path."""
        item = self._items.get(key) or self._find(key)
        return item if isinstance(item, Table) else _missing(self._path, key)

    def varied(self, changed: Mapping[str, Any]) -> Table:
        """A copy in which some values are others, to see what an answer owes to them.

        Parameters
        ----------
        changed
            Dotted path → its new value; unit and source stay, `Value.note` says that it was varied.

        Raises
        ------
        KeyError
            There is no such value.
        """
        copy = Table(self._path, {})
        copy._items = dict(self._items)
        for key, value in changed.items():
            first, _, rest = key.partition(".")
            if rest:
                copy._items[first] = copy.table(first).varied({rest: value})
            else:
                copy._items[first] = replace(copy.value(key), value=value, note=VARIED)
        return copy

    def over(self, base: Table, without: Collection[str] = (), at: str = "") -> Table:
        """This table with what it does not say taken from another, but for some dotted paths."""
        copy = Table(self._path, {})
        copy._items = {k: v for k, v in base._items.items() if f"{at}{k}" not in without}
        for key, item in self._items.items():
            below = copy._items.get(key)
            both = isinstance(item, Table) and isinstance(below, Table)
            copy._items[key] = item.over(below, without, f"{at}{key}.") if both else item
        return copy

    @cached_property
    def digest(self) -> str:
        """A digest of everything in it."""
        from windowcast.core.digest import digest_of  # brings NumPy, which few tables need

        return digest_of(self._items)

    def values_below(self) -> Iterator[Value]:
        """Every `Value` in this table and its branches."""
        for item in self._items.values():
            if isinstance(item, Value):
                yield item
            elif isinstance(item, Table):
                yield from item.values_below()


def _missing(path: str, key: str) -> Any:
    raise KeyError(f"{path}.{key}")


def _value(path: str, raw: Mapping[str, Any]) -> Value:
    if raw.get("status") not in STATUSES or not raw.get("source") or "unit" not in raw:
        raise ValueError(f"{path}: a value needs unit, source and a known status")
    return Value(path=path, **raw)


@cache
def load(name: str, package: str = "windowcast.data") -> Table:
    """The packaged table ``<name>.toml`` of `package`, or all of the folder ``<name>`` as one.

    Citations that come often may stand once in a table ``[sources]`` of such a folder: a source
    ``"@key: page 7"`` then stands for the text under that key and what follows.
    """
    place = resources.files(package).joinpath(name)
    if not place.is_dir():
        return Table(name, packaged_toml(package, f"{name}.toml"))
    raw: dict[str, Any] = {}
    for file in sorted(entry.name for entry in place.iterdir() if entry.name.endswith(".toml")):
        found = packaged_toml(package, name, file)
        if twice := raw.keys() & found.keys():
            raise ValueError(f"{name}/{file}: {min(twice)} is in another file as well")
        raw |= found
    return Table(name, _cited(raw, raw.pop("sources", {})))


def _cited(raw: Mapping[str, Any], sources: Mapping[str, str]) -> dict[str, Any]:
    """A raw table with its citations written out."""
    table: dict[str, Any] = {}
    for key, item in raw.items():
        if isinstance(item, dict):
            table[key] = _cited(item, sources)
        elif key == "source" and item.startswith("@"):
            cited = _CITED.match(item)
            assert cited is not None
            table[key] = sources[cited[1]] + item[cited.end() :]
        else:
            table[key] = item
    return table


_CITED = re.compile(r"@(\w+)")
_BESIDE = dict.fromkeys(("rotation", "tank"), "windowcast.materials")


@dataclass(frozen=True, eq=False)
class Tables:
    """The tables of science values by name: each the packaged one, unless another is given.

    An answer reads them from here, handed down from where it is asked for; a packaged table is read
    at its first use. Two are the same only when they are one object, so that results can be kept
    by it.

    Examples
    --------
    >>> from windowcast.core.values import Tables
    >>> other = Tables().varied({"barrier.enough_left": 0.5})
    >>> other["barrier"].number("enough_left"), other["barrier"].value("enough_left").note
    (0.5, 'varied')
    """

    given: Mapping[str, Table] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Table:
        found = self.given.get(name)
        return load(name, _BESIDE.get(name, "windowcast.data")) if found is None else found

    def varied(self, changed: Mapping[str, Any]) -> Tables:
        """These tables with some values others, by table and dotted path; see `Table.varied`."""
        given = dict(self.given)
        for key, value in changed.items():
            name, _, path = key.partition(".")
            given[name] = Tables(given)[name].varied({path: value})
        return Tables(given)

    def changed(self) -> tuple[Value, ...]:
        """The values that are not the packaged ones."""
        below = (value for table in self.given.values() for value in table.values_below())
        return tuple(value for value in below if value.note == VARIED)


PACKAGED = Tables()
