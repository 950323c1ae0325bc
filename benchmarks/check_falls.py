"""How warm the falls came that were told on 20 August: all falls of a record, not the last few.

    python benchmarks/check_falls.py RECORD... [--from YEAR]

RECORD are USCRN daily01 files or folders, or any daily record of one station (GHCN-Daily). Prints,
for September and October, in the south-east and elsewhere, the mean air that came less the mean of
the futures drawn on 20 August (past years in today's climate): mean over falls, each of which
counts alike, its standard error, and each fall. A fall needs five years before it.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from windowcast.core.record import Record
from windowcast.core.values import PACKAGED
from windowcast.sources.files import read_weather
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.soil import in_south_east
from windowcast.verify.soil_stations import find_files
from windowcast.weather.ensemble_years import TEMPERATURES, past_years

MONTHS = (9, 10)
DAYS_AHEAD, FUTURES = 100, 100
LEAST_YEARS, LEAST_STATIONS = 5, 3
KNOWN = 0.8  # share of a month's days


def misses(record: Record, first: int) -> Iterator[tuple[int, int, float]]:
    """Month, year, and what came less the futures' mean [K]."""
    air = (record.get("tmax_c") + record.get("tmin_c")) / 2
    years = record.times.astype("datetime64[Y]").astype(np.int64) + 1970
    for year in range(max(int(years[0]) + LEAST_YEARS, first), int(years[-1]) + 1):
        today = dt.date(year, 8, 20)
        past = past_years(record, today, DAYS_AHEAD, FUTURES, PACKAGED["ensemble"])
        if not past.years:
            continue
        futures = np.mean([past.normal[k] + past.departures[k] for k in TEMPERATURES], axis=0)
        ahead = np.datetime64(today) + np.arange(DAYS_AHEAD)
        for month in MONTHS:
            when = np.datetime64(f"{year}-{month:02}")
            came = air[record.times.astype("datetime64[M]") == when]
            if len(came) and np.isfinite(came).mean() >= KNOWN:
                told = futures[:, ahead.astype("datetime64[M]") == when]
                yield month, year, float(np.nanmean(came) - told.mean())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("records", nargs="+")
    parser.add_argument("--from", dest="first", type=int, default=0)
    asked = parser.parse_args()
    if any(path.endswith((".dly", ".dly.gz", ".csv", ".csv.gz")) for path in asked.records):
        records, least = map(read_weather, asked.records), 1
    else:
        records, least = map(read_uscrn, find_files(asked.records).values()), LEAST_STATIONS
    off: dict[tuple[bool, int], dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for record in records:
        place = record.place
        east = bool(in_south_east(place.latitude_deg, place.longitude_deg))
        for month, year, miss in misses(record, asked.first):
            off[east, month][year].append(miss)
    for (east, month), falls in sorted(off.items()):
        means = {y: float(np.mean(v)) for y, v in sorted(falls.items()) if len(v) >= least}
        values = np.array(list(means.values()))
        error = values.std(ddof=1) / np.sqrt(len(values))
        shown = " ".join(f"{y}:{v:+.1f}" for y, v in means.items())
        where = "south-east" if east else "elsewhere"
        print(f"{where}, month {month}: {values.mean():+.2f} ± {error:.2f} K, {len(values)} falls")
        print(f"  {shown}")


if __name__ == "__main__":
    main()
