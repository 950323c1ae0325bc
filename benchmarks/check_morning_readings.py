"""How often records of stations are taken for ones read in the morning, as measured and moved.

    python benchmarks/check_morning_readings.py USCRN_FOLDER...

Prints, by the length of a span in years, how many spans are named as they were measured (false
alarms) and with their highs dated a day late (found). The spans of a length overlap by half.
"""

from __future__ import annotations

import sys

import numpy as np

from windowcast.sources.morning_readings import dated_a_day_late
from windowcast.verify.soil_stations import read_stations

DAYS_A_YEAR = 365
SPANS = (2, 3, 5)  # years; shorter ones hold too few days to be judged
KNOWN = 0.8  # share of a span's days that both extremes must be known on


def main() -> None:
    stations = read_stations(sys.argv[1:])
    highs, lows = stations.weather["tmax_c"], stations.weather["tmin_c"]
    print(f"{len(highs)} stations\nyears  spans  false alarms  found")
    for years in SPANS:
        length = years * DAYS_A_YEAR
        spans = [
            (high[begin : begin + length], low[begin : begin + length])
            for high, low in zip(highs, lows, strict=True)
            for begin in range(0, len(high) - length + 1, max(years // 2, 1) * DAYS_A_YEAR)
        ]
        whole = [(h, low) for h, low in spans if np.isfinite(h + low).mean() >= KNOWN]
        alarms = np.mean([dated_a_day_late(h, low) for h, low in whole])
        found = np.mean([dated_a_day_late(np.append(np.nan, h[:-1]), low) for h, low in whole])
        print(f"{years:5}{len(whole):7}{alarms:14.3f}{found:7.3f}")


if __name__ == "__main__":
    main()
