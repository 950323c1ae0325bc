"""How far the intervals of regions can be trusted: stations cut short, real differences, trends.

    python benchmarks/check_regions.py [--cuts 200] [--records FOLDER]

Made-up regions have stations at other levels (standard deviation 8 days), years they share (6 days)
and errors of their own (3 days). `--records` takes a folder of weather files, such as USCRN's daily
ones, computes their seasons, and cuts these short too. Printed as in docs/compare.md; the same
numbers every time.
"""

from __future__ import annotations

import argparse
import json
import warnings
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.stats import beta, kendalltau

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_starts
from windowcast.region.batch import Options, compute
from windowcast.region.columns import DATE_COLUMNS
from windowcast.region.effects import Effects, Interval, effects, interval, station_draws
from windowcast.region.engine import Station
from windowcast.region.regional_fit import controlled
from windowcast.region.statistics import normals

LEVELS, YEARS, ERRORS = 8.0, 6.0, 3.0  # standard deviations [days]
QUANTITIES = ("soil_21", "poaan_50", "first_frost", "soil_13")


def world(
    rng: np.random.Generator, stations: int, years: int, lag: float = 0.0, levels: float = LEVELS
) -> FloatArray:
    """A region, ``[station, year]`` [days]; each year is as the one before by `lag`."""
    noise = rng.normal(0, 1, (stations + 1, years))
    for year in range(1, years):
        noise[:, year] = lag * noise[:, year - 1] + (1 - lag**2) ** 0.5 * noise[:, year]
    return 100 + rng.normal(0, levels, (stations, 1)) + YEARS * noise[0] + ERRORS * noise[1:]


def cut_short(rng: np.random.Generator, values: FloatArray) -> FloatArray:
    """The same stations, each with three seasons or more from its begin or to its end."""
    out, years = values.copy(), values.shape[1]
    for row in out:
        kept = rng.integers(3, years + 1)
        row[slice(kept, None) if rng.random() < 0.5 else slice(0, years - kept)] = np.nan
    return out


def fit(values: FloatArray, first_place: int = 0) -> Effects:
    return effects(values, station_draws(np.arange(first_place, first_place + len(values))))


def apart(one: FloatArray, other: FloatArray, first_place: int = 0) -> Interval:
    """Difference of two regions; of the same places unless the second's begin elsewhere."""
    years = np.arange(one.shape[1], dtype=np.float64)
    return interval(fit(one), years, less=fit(other, first_place))


def yearly_means(one: FloatArray, other: FloatArray) -> float:
    """The difference of the means of whatever stations a year has."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return float(np.nanmean(np.nanmean(one, axis=0) - np.nanmean(other, axis=0)))


def share(hits: int, of: int) -> str:
    """A share with its binomial 95 % interval (Clopper & Pearson 1934)."""
    low = beta.ppf(0.025, hits, of - hits + 1) if hits else 0.0
    high = beta.ppf(0.975, hits + 1, of - hits) if hits < of else 1.0
    return f"{100 * hits / of:.1f} % ({100 * low:.0f} to {100 * high:.0f})"


def cuts(count: int) -> Iterator[tuple[str, ...]]:
    """Same stations cut short, with and without 5 days between; two samples of one climate."""
    rng = np.random.default_rng(2026)
    for stations, years, levels in ((5, 22, 8.0), (12, 22, 8.0), (12, 30, 3.0), (40, 30, 8.0)):
        hits = found = other = power = 0
        off, plain = [], []
        for _ in range(count):
            whole = world(rng, 2 * stations, years, levels=levels)
            here, there = whole[:stations], whole[stations:]
            cut, there = cut_short(rng, here), cut_short(rng, there)
            same = apart(here, cut)
            hits += same.low <= 0 <= same.high
            found += apart(here + 5, cut).low > 0
            two = apart(cut, there, stations)
            other += two.low <= 0 <= two.high
            power += apart(cut + 5, there, stations).low > 0
            off.append(same.middle)
            plain.append(yearly_means(here, cut))
        yield (
            str(stations), str(years), f"{levels:.0f}", share(hits, count),
            f"{np.std(off):.1f}", f"{np.std(plain):.1f}", share(found, count),
            share(other, count), share(power, count),
        )  # fmt: skip


def trends(count: int) -> Iterator[tuple[str, ...]]:
    """How often a trend is found where there is none, and where there are 5 days a decade."""
    rng = np.random.default_rng(7)
    for years in (22, 30):
        for lag in (0.0, 0.2, 0.4):
            when = np.arange(years, dtype=np.float64)
            region = [fit(cut_short(rng, world(rng, 8, years, lag))) for _ in range(count)]
            none = sum(interval(each, when, trend=True).p < 0.05 for each in region)
            alone = np.concatenate([world(rng, 1, years, lag) for _ in range(5 * count)])
            p = normals(when, alone).p_value
            plain = [kendalltau(when, each).pvalue for each in alone]
            moved = normals(when, alone + 0.5 * when).p_value
            yield (
                str(years), f"{lag:.1f}", share(none, count), share(int((p < 0.05).sum()), len(p)),
                share(int((np.array(plain) < 0.05).sum()), len(p)),
                share(int((moved < 0.05).sum()), len(p)),
            )  # fmt: skip


def discoveries(count: int) -> str:
    """Share of false ones among the trends found at 200 stations of which 40 have one."""
    rng = np.random.default_rng(5)
    when, wrong, found = np.arange(30.0), [], []
    for _ in range(count):
        values = np.concatenate([world(rng, 1, 30, 0.2) for _ in range(200)])
        values[:40] += 1.0 * when
        bad = controlled(normals(when, values).p_value) < 0.05
        wrong.append(bad[40:].sum() / max(bad.sum(), 1))
        found.append(bad[:40].mean())
    return (
        f"{100 * np.mean(wrong):.1f} % of those found are none; {100 * np.mean(found):.0f} % found"
    )


def observed(folder: Path, count: int) -> Iterator[tuple[str, ...]]:
    """Seasons of real stations cut short."""
    rng = np.random.default_rng(3)
    files = sorted(folder.iterdir())
    stations = tuple(Station(f.name, str(f)) for f in files if ".txt" in f.name or ".dly" in f.name)
    rows = compute(stations, json.dumps(Options().plain()))["seasons"].to_pylist()
    rows = [row for row in rows if row["season"] is not None and row["complete"] >= 0.9]
    first = min(row["season"] for row in rows)
    for name in QUANTITIES:
        grid: dict[str, FloatArray] = {}
        for row in rows:
            if row[name] is not None:
                own = grid.setdefault(row["station"], np.full(40, np.nan))
                day = season_starts(row["season"], southern=False).astype(float)
                own[row["season"] - first] = row[name] - (day if name in DATE_COLUMNS else 0)
        values = np.array([own for own in grid.values() if np.isfinite(own).sum() >= 8])
        values = values[:, np.isfinite(values).sum(axis=0) >= 5]
        hits = found = 0
        off, plain = [], []
        for _ in range(count):
            some = values[rng.choice(len(values), min(12, len(values)), replace=False)]
            cut = cut_short(rng, some)
            same = apart(some, cut)
            hits += not (same.low > 0 or same.high < 0)
            found += apart(some + 5, cut).low > 0
            off.append(same.middle)
            plain.append(yearly_means(some, cut))
        yield (
            name, str(len(values)), share(hits, count), f"{np.nanstd(off):.1f}",
            f"{np.nanstd(plain):.1f}", share(found, count),
        )  # fmt: skip


def table(heads: str, rows: Iterator[tuple[str, ...]]) -> None:
    names = heads.split(" | ")
    print(f"\n| {heads} |\n|{' --- |' * len(names)}")
    for row in rows:
        print(f"| {' | '.join(row)} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--cuts", type=int, default=200)
    parser.add_argument("--records", type=Path)
    given = parser.parse_args()
    table(
        "stations | years | sd of levels | same stations cut: covers 0 | error of difference | "
        "of yearly means | 5 days found | two samples: covers 0 | 5 days found",
        cuts(given.cuts),
    )
    table(
        "years | lag 1 | region: trend though none | station | Mann–Kendall alone | "
        "5 days a decade found",
        trends(given.cuts),
    )
    print(f"\nFalse discoveries at 200 stations: {discoveries(given.cuts // 4)}")
    if given.records:
        table(
            "quantity | stations | same stations cut: covers 0 | error of difference | "
            "of yearly means | 5 days found",
            observed(given.records, given.cuts),
        )


if __name__ == "__main__":
    main()
