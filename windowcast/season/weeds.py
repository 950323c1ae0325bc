"""The weed entries of ``data/weeds.toml`` as typed objects."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED, Table, Tables, Value
from windowcast.core.weed_codes import known, supported
from windowcast.season.degree_days import chilling, heating

Z90 = 1.2815515655446004  # 90 % quantile of the normal distribution


@dataclass(frozen=True)
class Flush:
    """One component of a weed's emergence: a share of the season along one clock."""

    weight: float
    clock: str  # "emergence" or "late"
    curve: str
    parameters: tuple[float, ...]

    def share(self, total: FloatArray) -> FloatArray:
        """Emerged share of this component, 0 at no degree days, rising to 1."""
        if self.curve == "gompertz":
            rate, mode = self.parameters
            floor = math.exp(-math.exp(rate * mode))
            raw = np.exp(-np.exp(-rate * (total - mode)))
            return np.maximum((raw - floor) / (1.0 - floor), 0.0)
        if self.curve == "exponential":
            return -np.expm1(-total / self.parameters[0])
        raise ValueError(f"unknown curve {self.curve}")


@dataclass(frozen=True)
class CommonValues:
    """What holds for every weed: the branch ``common`` of ``data/weeds.toml``.

    To see what an answer owes to one of them, give a weed another:
    ``replace(weed, common=replace(weed.common, gap_doubt=0.1))``.

    Attributes
    ----------
    germination_min_c
        Soil temperature below which nothing germinates.
    dry_unknown
        Speed of the clock in the low band where water is unknown, 0..1.
    late_start_days
        Days after a biofix on which a record may begin and count as from 0.
    gap_doubt
        Doubt of the emerged share over gaps from which it is not told.
    bridge_shift_days, bridge_years
        Days by which other years are moved to bridge a gap, and how many years that needs.
    stage_leaf
        Leaves at which the spans of stages after "young" begin.
    outside_origin_factor
        By which the spread of the clock grows outside the latitudes of origin.
    density_max_per_m2, dispersion, frame_m2
        Of scouting counts: densest seedlings, clumping of a count, and its usual frame.
    too_early, no_winter
        Share up on 1 September (fall weeds), on 1 February (spring weeds), from which a curve does
        not hold at a site.
    quiet_until
        Those days by season, ``MM-DD`` of the northern hemisphere.
    """

    germination_min_c: float
    dry_unknown: float
    late_start_days: int
    gap_doubt: float
    bridge_shift_days: int
    bridge_years: float
    stage_leaf: tuple[int, ...]
    outside_origin_factor: float
    density_max_per_m2: float
    dispersion: float
    frame_m2: float
    too_early: float
    no_winter: float
    quiet_until: Mapping[str, str]

    @classmethod
    def from_table(cls, common: Table) -> CommonValues:
        """The values of the table's branch ``common``."""
        number = common.number
        return cls(
            germination_min_c=number("germination_min"),
            dry_unknown=number("dry_unknown"),
            late_start_days=int(number("late_start")),
            gap_doubt=number("gap_doubt"),
            bridge_shift_days=int(number("bridge_shift")),
            bridge_years=number("bridge_years"),
            stage_leaf=tuple(int(leaf) for leaf in common.value("stage_leaf").value),
            outside_origin_factor=number("outside_origin_factor"),
            density_max_per_m2=number("seedling_density_max"),
            dispersion=number("count_dispersion"),
            frame_m2=number("frame_area"),
            too_early=number("too_early"),
            no_winter=number("no_winter"),
            quiet_until={
                season: str(common.value(f"quiet_until_{season}").value)
                for season in ("fall", "spring")
            },
        )


@dataclass(frozen=True)
class AirRule:
    """Degree days of air above a base [°C·d] at which something first comes, as the first plants.

    `spread` is the standard deviation of the logarithm of `total`; counted from `start` of a year
    on, or from the weed's biofix.
    """

    base_c: float
    total: float
    spread: float
    start: str | None = None  # northern "MM-DD"


@dataclass(frozen=True)
class Weed:
    """What is known of one weed's emergence; units as in the table.

    `clock` names the entry of the table: that of the weed, or a general clock that several share.
    `doubt_weeks` says by about how much the dates of a general clock may be off; 0 for a published
    curve. Before `ripe_from` of a year no seed is ripe.
    """

    code: str
    name: str
    season: str  # "fall" or "spring"
    biofix: str  # northern "MM-DD"
    driver: str  # "air" or "soil"
    sense: str  # "chilling" or "heating"
    base_c: float
    ceiling_c: float | None
    water_limits: tuple[float, float] | None  # share of available water: none, all germinate
    rain_limits: tuple[float, float] | None  # speed without rain; rain of 7 days for full speed
    flushes: tuple[Flush, ...]
    late_start: str | None
    spread: float
    origin_latitude: tuple[float, float]
    leaf_base_c: float
    phyllochron: float
    young_below: float
    common: CommonValues
    values: tuple[Value, ...]
    first_air: AirRule | None = None
    sets_air: AirRule | None = None
    clock: str = ""
    doubt_weeks: float = 0.0
    ripe_from: str | None = None  # northern "MM-DD"

    def degree_days(self, mean_c: FloatArray) -> FloatArray:
        """Daily degree days of this weed's own kind.

        Examples
        --------
        Annual bluegrass counts how far days are cooler than 21 °C, crabgrass how far they are
        warmer than its base:

        >>> import numpy as np
        >>> from windowcast.season.weeds import weed
        >>> weed("POAAN").degree_days(np.array([25.0, 16.0]))
        array([0., 5.])
        """
        if self.sense == "chilling":
            return chilling(mean_c, self.base_c)
        return heating(mean_c, self.base_c, self.ceiling_c)

    @property
    def air_rules(self) -> dict[str, AirRule]:
        """Its rules of air temperature: "first" of the first plants, "sets" of the first seed."""
        rules = {"first": self.first_air, "sets": self.sets_air}
        return {name: rule for name, rule in rules.items() if rule is not None}

    def moisture_factor(self, water: FloatArray, rain_7d_mm: FloatArray) -> FloatArray:
        """How far water lets seeds germinate, 0..1; NaN where rain is unknown.

        Parameters
        ----------
        water
            Share of available water at the top of the soil, 0..1.
        rain_7d_mm
            Rain of the day and the six before [mm].

        Notes
        -----
        ``(water - low) / (high - low)``, held between 0 and 1; or by rain, ``floor + (1 - floor)
        rain / full``, at most 1. The limits of a weed are in ``data/weeds.toml``.

        Examples
        --------
        >>> import numpy as np
        >>> from windowcast.season.weeds import weed
        >>> factor = weed("POAAN").moisture_factor(np.array([0.0, 1.0]), np.array([0.0, 60.0]))
        >>> bool(factor[0] < factor[1] == 1.0)
        True
        """
        if self.rain_limits is not None:
            floor, full = self.rain_limits
            return floor + (1.0 - floor) * np.minimum(rain_7d_mm / full, 1.0)
        low, high = self.water_limits or (0.0, 1.0)
        return np.clip((water - low) / (high - low), 0.0, 1.0)

    def spread_at(self, latitude_deg: float) -> float:
        """Standard deviation of the log of the clock; wider outside the latitudes of origin."""
        low, high = self.origin_latitude
        inside = low <= abs(latitude_deg) <= high
        return self.spread * (1.0 if inside else self.common.outside_origin_factor)

    def share(self, clocks: Mapping[str, FloatArray], log_shift: FloatArray | float) -> FloatArray:
        """Emerged share of the season along its clocks, sped up by ``exp(log_shift)``.

        Parameters
        ----------
        clocks
            Degree-day totals since the biofix by the clock's name, ``[..., day]`` [°C·d].
        log_shift
            How far this season's clock runs ahead of the publication; 0 for not at all.

        Returns
        -------
        FloatArray
            0 to 1, ``[..., day]``.

        Notes
        -----
        The sum of the weed's flushes, each a weight times a curve of a clock; weights and curves
        are in ``data/weeds.toml`` with their sources.

        Examples
        --------
        >>> import numpy as np
        >>> from windowcast.season.weeds import weed
        >>> bluegrass = weed("POAAN")
        >>> totals = np.array([0.0, 200.0, 400.0, 2000.0])
        >>> clocks = {flush.clock: totals for flush in bluegrass.flushes}
        >>> share = bluegrass.share(clocks, 0.0)
        >>> bool((np.diff(share) > 0).all()), bool(share[0] < 0.02)
        (True, True)
        """
        speed = np.exp(log_shift)
        parts = [f.weight * f.share(clocks[f.clock] * speed) for f in self.flushes]
        return np.minimum(sum(parts[1:], parts[0]), 1.0)


@lru_cache(maxsize=64)
def weed(code: str, tables: Tables = PACKAGED) -> Weed:
    """The entry of a weed by EPPO code, in the tables of science values.

    Raises
    ------
    InputError
        There is none.
    """
    if code not in supported():
        raise InputError(
            f"{code!r} is not a weed with an emergence model",
            field="weeds",
            remedy=f"choose from {', '.join(supported())}",
        )
    return weed_in(tables["weeds"], code)


def weed_in(weeds: Table, code: str) -> Weed:
    """A weed with its entry, or its general clock, in a table such as ``data/weeds.toml``."""
    about, common = known()[code], weeds.table("common")
    table = weeds.table(about.clock)
    if "like" in list(table):
        table = table.over(weeds.table(table["like"]), table["without"])
    latitude = table.value("origin_latitude")
    return Weed(
        code=code,
        name=about.name,
        season=str(table["season"]),
        biofix=_text(table, "biofix"),
        driver=_text(table, "driver"),
        sense=_text(table, "sense"),
        base_c=table.number("base_temp"),
        ceiling_c=table.number("ceiling_temp") if "ceiling_temp" in list(table) else None,
        water_limits=_pair(table, "water_none", "water_full"),
        rain_limits=_pair(table, "rain_floor", "rain_full"),
        flushes=tuple(_flush(table.table(f"flush.{name}")) for name in table.table("flush")),
        late_start=_text(table, "late_start") if "late_start" in list(table) else None,
        spread=table.number("spread"),
        origin_latitude=(latitude.low or 0.0, latitude.high or 90.0),
        leaf_base_c=table.number("leaf.base_temp"),
        phyllochron=table.number("leaf.phyllochron"),
        young_below=table.number("leaf.young_below"),
        common=CommonValues.from_table(common),
        values=(*table.values_below(), *common.values_below()),
        first_air=_air_rule(table, "first_air"),
        sets_air=_air_rule(table, "sets_air"),
        clock=about.clock,
        doubt_weeks=table.number("doubt_weeks") if "doubt_weeks" in list(table) else 0.0,
        ripe_from=_text(table, "ripe_from") if "ripe_from" in list(table) else None,
    )


def own_values(code: str, tables: Tables = PACKAGED) -> tuple[Value, ...]:
    """The values of a weed's own entry, or of its general clock; none where it has no clock."""
    clock = known()[code].clock
    return tuple(tables["weeds"].table(clock).values_below()) if clock else ()


def _air_rule(weed: Table, name: str) -> AirRule | None:
    if name not in list(weed):
        return None
    table = weed.table(name)
    start = _text(table, "start") if "start" in list(table) else None
    number = table.number
    return AirRule(number("base_temp"), number("total"), number("spread"), start)


def with_late_share(entry: Weed, share: float | None) -> Weed:
    """The weed with another share of its season in late winter, taken from the slow component.

    None, or a weed without such a flush, leaves it as it is.
    """
    if share is None or entry.late_start is None:
        return entry
    moved = share - sum(f.weight for f in entry.flushes if f.clock == "late")
    slow = next((f for f in entry.flushes if f.curve == "exponential"), None)
    if slow is None:  # a general clock: the share is of annual bluegrass
        return entry
    changed = tuple(
        replace(f, weight=f.weight + (moved if f.clock == "late" else -moved))
        if f.clock == "late" or f is slow
        else f
        for f in entry.flushes
    )
    return replace(entry, flushes=changed)


def _pair(table: Table, first: str, second: str) -> tuple[float, float] | None:
    return (table.number(first), table.number(second)) if first in list(table) else None


def _text(table: Table, key: str) -> str:
    return str(table.value(key).value)


def _flush(table: Table) -> Flush:
    return Flush(
        weight=table.number("weight"),
        clock=_text(table, "clock"),
        curve=_text(table, "curve"),
        parameters=tuple(float(v) for v in table.value("parameters").value),
    )
