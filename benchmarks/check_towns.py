"""What the ground itself does: two probes of one town, or within 30 km, against each other.

    python benchmarks/check_towns.py USCRN_FOLDER...

Prints for each pair how far the two probes at 5 cm differ from September to April (root mean
square), and their dates of the fall to 21.1 °C in the mean. No model of the weather can tell such
a pair apart, so that half of this is out of its reach.
"""

from __future__ import annotations

import sys

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.verify.soil import PASSINGS, in_season, observed_days
from windowcast.verify.soil_stations import read_stations

NEAR_KM = 30.0


def main() -> None:
    data = read_stations(sys.argv[1:])
    soil, season = data.soil_c[0], in_season(data.dates)
    seen = observed_days(soil, data.dates, PASSINGS[0])
    places = list(zip(data.latitude_deg, data.longitude_deg, strict=True))
    apart = [distance_km(data.latitude_deg, data.longitude_deg, *at) for at in places]
    all_days: list[int] = []
    for i, j in zip(*np.nonzero(np.triu(np.array(apart) < NEAR_KM, 1)), strict=True):
        both = (seen[i] >= 0) & (seen[j] >= 0)
        if not both.any():
            continue
        days = np.abs(seen[i, both] - seen[j, both])
        off = float(np.sqrt(np.nanmean((soil[i] - soil[j])[season] ** 2)))
        all_days += days.tolist()
        print(f"{data.names[i]:26}{data.names[j]:26}{off:5.2f} K {days.mean():5.1f} d")
    print(f"all: {len(all_days)} falls, {np.mean(all_days):.1f} days apart in the mean")


if __name__ == "__main__":
    main()
