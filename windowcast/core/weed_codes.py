"""Which weeds are known: by EPPO code, common or Latin name, from ``data/known_weeds.toml``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.season_calendar import northern_month_day, season_day
from windowcast.core.values import Value, load

Cycle = Literal["winter annual", "summer annual", "perennial"]


@dataclass(frozen=True)
class KnownWeed:
    """What is known of one weed apart from its curve.

    Attributes
    ----------
    also
        Other names that people give it.
    kind
        "grass", "broadleaf", "sedge" or "other".
    clock
        The entry of ``data/weeds.toml`` that its emergence follows; "" where nothing times it.
    code_sure
        Whether its EPPO code is beyond doubt.
    sets
        What it sets as it matures: "burs", "seedheads", "seeds", "flowers"; "" where not known.
    facts
        Everything published by name, with source and status. "sets_from" holds the days between
        which it first sets them.
    """

    code: str
    name: str
    also: tuple[str, ...]
    latin: str
    kind: str
    cycle: Cycle
    clock: str
    code_sure: bool
    sets: str
    facts: Mapping[str, Value]

    @property
    def season(self) -> str:
        """Whose weeds it belongs to: "fall", "spring"; "" for a perennial."""
        return {"winter annual": "fall", "summer annual": "spring"}.get(self.cycle, "")

    @property
    def general(self) -> bool:
        """Whether it follows a general clock that several weeds share."""
        return self.clock.startswith("general.")


@cache
def known() -> Mapping[str, KnownWeed]:
    """Every known weed by its EPPO code, in the order of the table."""
    table = load("known_weeds")
    return {code: _known(code) for code in table}


def _known(code: str) -> KnownWeed:
    entry = load("known_weeds").table(code)
    clock = str(entry["clock"])
    return KnownWeed(
        code=code,
        name=str(entry["name"]),
        also=tuple(entry["also"]),
        latin=str(entry["latin"]),
        kind=str(entry["kind"]),
        cycle=entry["cycle"],
        clock={"own": code, "none": ""}.get(clock, f"general.{clock}"),
        code_sure=bool(entry.get("code_sure", True)),
        sets=str(entry.get("sets", "")),
        facts={name: entry.value(f"facts.{name}") for name in entry.get("facts", {})},
    )


@cache
def supported() -> tuple[str, ...]:
    """EPPO codes of weeds with an emergence clock, of their own or a general one."""
    return tuple(code for code, weed in known().items() if weed.clock)


@cache
def unsupported() -> Mapping[str, str]:
    """Known weeds without a clock, each with the id of the text that says why."""
    return {code: "perennial" for code, weed in known().items() if not weed.clock}


def weed_code(name: str) -> str:
    """The EPPO code of a weed by its code, common name or Latin name.

    Capitals, hyphens and plurals do not matter.

    Raises
    ------
    ValueError
        No known weed is called so; says which names come near.

    Examples
    --------
    >>> from windowcast.core.weed_codes import weed_code
    >>> weed_code("Poa annua"), weed_code("Spurweeds"), weed_code("lamam")
    ('POAAN', 'SOVSE', 'LAMAM')
    """
    names = _names()
    plain = _plain(name)
    if plain in names:
        return names[plain]
    raise ValueError(f"{name!r} is not a weed we know; {_near(plain)}")


def _near(plain: str) -> str:
    from difflib import get_close_matches

    names = _names()
    near = get_close_matches(plain, names, n=3, cutoff=0.7)
    near = near or [name for name in names if len(plain) > 3 and plain in name][:3]
    codes = list(dict.fromkeys(names[name] for name in near))
    if not codes:
        return "windowcast weeds lists them all"
    return f"did you mean {' or '.join(f'{known()[c].name} ({c})' for c in codes)}?"


@cache
def _names() -> Mapping[str, str]:
    """Plain name → code; an own name goes before another weed's second name."""
    found: dict[str, str] = {}
    for second in (False, True):
        for code, weed in known().items():
            for name in weed.also if second else (code, weed.name, weed.latin):
                found.setdefault(_plain(name), code)
    return found


def _plain(name: str) -> str:
    """Small letters without spaces and hyphens, in the singular."""
    letters = re.sub(r"[\W_]+", "", name.casefold())
    for plural, single in (("grasses", "grass"), ("ies", "y"), ("sses", "ss")):
        if letters.endswith(plural):
            return letters.removesuffix(plural) + single
    return letters if letters.endswith("ss") else letters.removesuffix("s")


def weed_name(code: str) -> Phrase:
    """A weed by its usual name; its code where it has none here."""
    if code in known():
        return say(f"weed.{code}")
    return say("verdict.seen.code", code=Name(code))


def sets_days(code: str, *, southern: bool) -> tuple[float, float] | None:
    """First and last day of the season between which a weed begins to set them; None: not known.

    Examples
    --------
    Lawn burweed has its first burs in March, 243 to 274 days after 1 July:

    >>> from windowcast.core.weed_codes import sets_days
    >>> sets_days("SOVSE", southern=False)
    (243.0, 274.0)
    """
    published = known()[code].facts.get("sets_from")
    if published is None:
        return None
    days = [northern_month_day(text, southern) for text in published.value]
    dates = np.array([f"2001-{day // 100:02d}-{day % 100:02d}" for day in days], "M8[D]")
    first, last = season_day(dates, southern=southern).tolist()
    return first, last
