"""How far the dates told on one day of the year are off in the south-east, each season alike.

    python benchmarks/check_dates_by_season.py RECORD... [--issue MM-DD] [--seasons N]

RECORD are USCRN daily01 files or folders; only stations of the south-eastern United States and the
transition zone count. Dates are told and set against what came as `windowcast verify dates` does.
Stations of one season share its weather, so their misses are no cases of their own: beside the
share within 10 to 90 % and the mean miss over all dates, the mean over seasons with three stations
or more and its standard error are printed, and that mean where the air of September came as told.
"""

from __future__ import annotations

import argparse
from collections import defaultdict

import numpy as np
from check_falls import misses

from windowcast.core.record import FloatArray
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.dates import ToldDate, told_at
from windowcast.verify.soil import in_south_east
from windowcast.verify.soil_stations import find_files

LEAST_STATIONS, FEWEST_SEASONS = 3, 4
SEPTEMBER, JULY = 9, 7


def season_of(told: ToldDate) -> int:
    """Year of the 1 July before the date told."""
    month = int(np.datetime64(told.middle, "D").astype("datetime64[M]").astype(np.int64))
    return 1970 + (month - JULY + 1) // 12


def by_season(rows: list[tuple[int, float, float, float]]) -> FloatArray:
    """Mean miss and mean air of each season with enough stations, ``[season, 2]``."""
    seasons: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    for season, miss, air, weight in rows:
        seasons[season].append((miss, air, weight))
    means = []
    for _, found in sorted(seasons.items()):
        miss, air, weight = np.array(found).T
        if weight.sum() >= LEAST_STATIONS:
            means.append((np.average(miss, weights=weight), np.nanmean(air)))
    return np.array(means)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("records", nargs="+")
    parser.add_argument("--issue", default="08-20")
    parser.add_argument("--seasons", type=int, default=13)
    asked = parser.parse_args()
    rows = defaultdict(list)
    within = defaultdict(list)
    for files in find_files(asked.records).values():
        record = read_uscrn(files)
        if not in_south_east(record.place.latitude_deg, record.place.longitude_deg):
            continue
        air = {year: miss for month, year, miss in misses(record, 0) if month == SEPTEMBER}
        for told in told_at(record, asked.seasons, (asked.issue,)):
            season = season_of(told)
            off = float(told.came - told.middle)
            rows[told.event].append((season, off, air.get(season, np.nan), told.weight))
            within[told.event].append(told.early <= told.came <= told.late)
    for event, found in rows.items():
        weight = np.array([row[3] for row in found])
        mean = np.average([row[1] for row in found], weights=weight)
        inside = np.average(within[event], weights=weight)
        print(f"{event}: {weight.sum():.0f} dates, {inside:.0%} within, {mean:+.1f} days", end="")
        means = by_season(found)
        if len(means) < FEWEST_SEASONS:
            print()
            continue
        miss, warm = means.T
        error = miss.std(ddof=1) / np.sqrt(len(miss))
        known = np.isfinite(warm)
        line = np.polynomial.Polynomial.fit(warm[known], miss[known], 1)
        print(
            f"; {len(miss)} seasons {miss.mean():+.1f} ± {error:.1f}, "
            f"air {np.nanmean(warm):+.2f} K, with air as told {line(0.0):+.1f}"
        )


if __name__ == "__main__":
    main()
