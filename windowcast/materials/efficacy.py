"""Control to expect of an application, from a model fitted on published trials.

`expected_control` gives the share of a weed that a new trial of the same kind would see controlled,
with an interval that says how little is known. ``data/efficacy.toml`` holds the fit
(``benchmarks/fit_efficacy.py``): for each weed and active that were tried together a level on the
logit scale and its fall with the plants' size, and for all of them what rate, cold and resistance
take away. Where no trial is at hand there is no figure. What is not known counts as the worst it
may be, so that knowing less never promises more.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Table, Value

Timing = Literal["pre", "post"]
PLUS = " + "  # between the members of a mixture, in order of the alphabet
_Z80 = 1.2815515594600038  # of a normal distribution, 10 % lie beyond it
_STEP = 0.1  # to which size, cold and log rate are rounded


@dataclass(frozen=True, slots=True)
class Control:
    """Share of the weed controlled, 0..1: median and 80 % interval for a new trial.

    Attributes
    ----------
    trials, own
        Published trials, and a user's own, of this weed with the active (or mixture) that counts.
    sources
        Their citations, then the names of the own ones.
    """

    middle: float
    low: float
    high: float
    trials: int
    sources: tuple[str, ...]
    own: int = 0

    @property
    def own_trials(self) -> tuple[str, ...]:
        """Names of the user's own trials."""
        return self.sources[len(self.sources) - self.own :]


class _Conditions(NamedTuple):
    """What an application meets, on the scales of the fit; each array holds what it may be.

    Attributes
    ----------
    size
        See `plant_size`.
    rate
        See `log_rate`.
    cold
        See `cold_below`.
    """

    size: FloatArray
    rate: FloatArray
    cold: FloatArray


def expected_control(
    weed: str,
    actives: Sequence[str],
    *,
    timing: Timing,
    stage_bbch: float | None,
    rate_share: float | None,
    air_c: float | None,
    resistant_groups: Collection[int] = (),
    table: Table,
) -> Control | None:
    """Control to expect of an active or a mixture on a weed; None where no trial is at hand.

    Members without a trial on this weed add nothing. A mixture that was tried as such has a figure
    of its own. Of another the best part counts, single or tried as a mixture; only the upper end is
    that of parts which act independently (Bliss 1939; Colby 1967, Weeds 15:20-22).

    Parameters
    ----------
    weed
        EPPO code.
    actives
        ISO common names.
    timing
        Whether it is put down as a pre-emergent or sprayed on the weeds. A pre-emergent that comes
        late meets weeds that have a stage.
    stage_bbch
        BBCH stage of the weeds; below 10: not emerged. None: any.
    rate_share
        Share of the full rate (see `rate_share_of`); more than it counts as full. None: little.
    air_c
        Mean air temperature on the days after spraying [°C]; warmer than is usual in the weed's
        season counts as usual. None: cold.
    resistant_groups
        WSSA/HRAC groups that fail on this ground.
    table
        ``data/efficacy.toml``, with a user's own trials in it where there are some
        (`windowcast.materials.own_evidence`).

    Examples
    --------
    >>> from windowcast.core.values import load
    >>> meets = {"stage_bbch": 21, "rate_share": 1.0, "air_c": 12.0, "table": load("efficacy")}
    >>> found = expected_control("POAAN", ["simazine"], timing="post", **meets)
    >>> found.low < found.middle < found.high
    True
    >>> expected_control("POAAN", ["water"], timing="post", **meets) is None
    True
    """
    names = tuple(sorted({" ".join(name.split()) for name in actives}))
    tried = dict(_tried(weed, names, timing, table))
    if not tried:
        return None
    kind = str(table.value(f"kind.{weed}").value)
    meets = _Conditions(
        size=_sizes(stage_bbch, timing, table),
        rate=_rates(rate_share, table),
        cold=_colds(air_c, kind, table) if timing == "post" else np.zeros(1),
    )
    used = {names: tried[names]} if names in tried else tried
    found = _best({m: _figure(value, meets, table) for m, value in used.items()}, used)
    failing = [name for name in names if _group(name, table) in set(resistant_groups)]
    if not failing:
        return found
    left = _best(
        {m: _resisted(m, value, meets, failing, table) for m, value in tried.items()}, tried
    )
    return Control(
        min(found.middle, left.middle),
        min(found.low, left.low),
        min(found.high, left.high),
        left.trials,
        left.sources,
        left.own,
    )


def rate_share_of(active: str, kg_ha: float | None, table: Table) -> float | None:
    """Share of the full rate that a rate of active ingredient is; None where either is unknown."""
    full = table.table("full_rate")
    if kg_ha is None or active not in full:
        return None
    return kg_ha / full.number(active)


def plant_size(stage_bbch: FloatArray | float, table: Table) -> FloatArray:
    """Size on a scale of the fit: 0 not emerged, 1 with a tiller or side shoot, 3 in flower."""
    stages, sizes = (table.value(f"scale.{end}").value for end in ("size_bbch", "size"))
    result: FloatArray = np.interp(stage_bbch, stages, sizes)
    return result


def log_rate(rate_share: FloatArray | float, table: Table) -> FloatArray:
    """Natural logarithm of the share of the full rate, within the shares that were tried."""
    low, high = table.value("scale.rate").ends
    result: FloatArray = np.log(np.clip(rate_share, low, high))
    return result


def cold_below(air_c: FloatArray | float, kind: str, table: Table) -> FloatArray:
    """Tens of degrees below what is usual in the season of a kind of weed, within bounds."""
    usual = table.number(f"scale.air.{kind.split(maxsplit=1)[0]}")
    most = table.number("scale.coldest")
    return np.clip((usual - np.asarray(air_c)) / 10, 0.0, most)


def _sizes(stage_bbch: float | None, timing: Timing, table: Table) -> FloatArray:
    stages = table.value("scale.size_bbch").value
    if stage_bbch is None or math.isnan(stage_bbch):
        return _steps(plant_size(stages, table))
    least = stages[0] if timing == "pre" else stages[1]
    return _steps(plant_size(max(stage_bbch, least), table))


def _rates(rate_share: float | None, table: Table) -> FloatArray:
    if rate_share is None or math.isnan(rate_share):  # the lowest is the worst of all but its doubt
        return _steps([float(log_rate(0.0, table)), 0.0])
    return _steps(np.minimum(log_rate(rate_share, table), 0.0))


def _colds(air_c: float | None, kind: str, table: Table) -> FloatArray:
    if air_c is None or math.isnan(air_c):
        return _steps([0.0, table.number("scale.coldest")])
    return _steps(cold_below(air_c, kind, table))


def _steps(between: FloatArray | Sequence[float]) -> FloatArray:
    """Every step from the least to the most; one where they are the same."""
    ends = np.round(np.atleast_1d(between) / _STEP).astype(int)
    return _STEP * np.arange(ends.min(), ends.max() + 1)


def _tried(
    weed: str, names: Sequence[str], timing: Timing, table: Table
) -> Iterator[tuple[tuple[str, ...], Value]]:
    """The actives and mixtures among some that were tried on a weed, with their fit."""
    on = table.table(timing)
    for mixture in on.table(weed) if weed in on else ():
        members = tuple(mixture.split(PLUS))
        if set(members) <= set(names):
            yield members, on.table(weed).value(mixture)


def _group(active: str, table: Table) -> int | None:
    groups = table.table("group")
    return int(groups.number(active)) if active in groups else None


class _Figure(NamedTuple):
    middle: float
    low: float
    high: float


def _figure(
    value: Value, meets: _Conditions, table: Table, taken: tuple[float, float] = (0.0, 0.0)
) -> _Figure:
    """The worst over what the conditions may be of each of middle, low and high.

    `taken`: what resistance takes, mean and standard deviation on the logit scale.
    """
    level, level_sd, slope, slope_sd, together = value.value[:5]
    size, rate, cold = np.meshgrid(meets.size, meets.rate, meets.cold, indexing="ij")
    by_rate, rate_sd = table.value("slope.rate").value
    by_cold, cold_sd = table.value("slope.cold").value
    middle = level + slope * size + by_rate * rate + by_cold * cold + taken[0]
    variance = (
        level_sd**2
        + 2 * together * size
        + (slope_sd * size) ** 2
        + (rate_sd * rate) ** 2
        + (cold_sd * cold) ** 2
        + taken[1] ** 2
        + table.number("slope.new_trial") ** 2
    )
    spread = table.number("slope.narrowed") * _Z80 * np.sqrt(variance)
    ends = (middle, middle - spread, middle + spread)
    return _Figure(*(float(1 / (1 + np.exp(-end.min()))) for end in ends))


def _resisted(
    members: tuple[str, ...],
    value: Value,
    meets: _Conditions,
    failing: Sequence[str],
    table: Table,
) -> _Figure:
    """The same on a population that some actives fail on.

    What is left of a mixture of which a part fails was not tried: it falls as if all of it failed,
    by what takes most where several fail.
    An active is never promised more than was seen of it on such a population, nor a mixture whose
    parts all fail more than the best of them.
    """
    fails = [name for name in members if name in failing]
    if not fails:
        return _figure(value, meets, table)
    known = table.table("resistant")
    taken = [known.value(name if name in known else "any").value for name in fails]
    each = [_figure(value, meets, table, (mean, sd)) for mean, sd in taken]
    found = _Figure(*(min(getattr(f, end) for f in each) for end in ("middle", "low", "high")))
    weed, seen = value.path.split(".")[2], table.table("seen_resistant")
    if weed not in seen:
        return found
    here, mixture = seen.table(weed), PLUS.join(members)
    whole = [mixture] if mixture in here else fails if fails == list(members) else []
    if not whole or any(name not in here for name in whole):
        return found
    most = max(here.number(name) for name in whole) / 100
    return _Figure(min(found.middle, most), min(found.low, most), found.high)


def _best(figures: dict[tuple[str, ...], _Figure], cells: dict[tuple[str, ...], Value]) -> Control:
    """The best of the parts of a mixture, with the upper end of independent action."""
    best = max(figures, key=lambda members: figures[members].middle)
    alone = [figure.high for members, figure in figures.items() if len(members) == 1]
    high = max(figure.high for figure in figures.values())
    high = max(high, 1 - float(np.prod(1 - np.array(alone))))
    return Control(
        figures[best].middle,
        max(figure.low for figure in figures.values()),
        high,
        int(cells[best].value[5]),
        tuple(cells[best].source.split("; ")),
        int(sum(cells[best].value[6:])),  # own trials stand behind the published ones
    )
