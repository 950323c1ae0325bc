"""Anchor the general clocks of weeds without a curve, and goosegrass, on published dates.

    python benchmarks/fit_general_clocks.py KY_Versailles_3_NNW.txt.gz \\
        PA_Avondale_2_N.txt.gz VA_Charlottesville_2_SSE.txt.gz

The first station stands for the place of the fall dates: corn speedwell and purple deadnettle come
up in September and October (Baskin & Baskin 1983, 1984, Kentucky), so 5 % are set on 1 September
and 95 % on 1 November, and the band is three weeks to either side of the middle. The others lie
north-east and south-west of the place of smooth crabgrass's curve: there goosegrass follows its
first plants (1 %) after 10 to 28 days (sources in ``data/known_weeds.toml``). Totals are medians
over the years, in °C d.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from windowcast.core.site import site_from
from windowcast.season.clocks import clocks
from windowcast.season.state import drivers_of
from windowcast.season.weeds import Z90, weed
from windowcast.sources.uscrn import read_uscrn
from windowcast.weather.gaps import filled

FALL = ("09-01", "11-01")  # 5 and 95 %
WEEKS = 3
FIRST, LAG_D = 60.0, (10, 28)  # °C d at 1 % of smooth crabgrass; days


def totals(path: str, code: str) -> tuple[np.ndarray, np.ndarray]:
    """Days of a record and the clock of a weed on them."""
    record = filled(read_uscrn(path))
    site = {"name": "fit", "latitude": 38.0, "longitude": -80.0, "timezone": "America/New_York"}
    drivers, _ = drivers_of(record, site_from(site))
    return record.times, clocks(weed(code), drivers).mid["emergence"]


def on(days: np.ndarray, total: np.ndarray, when: list[np.datetime64]) -> float:
    """Median of the totals on such days."""
    at = [np.searchsorted(days, day) for day in when]
    return float(np.nanmedian([total[i] for i in at if i < len(total)]))


def fall(path: str) -> None:
    """The curve of winter annuals and its spread."""
    days, total = totals(path, "LAMAM")
    years = range(2006, 2024)
    low, high = (on(days, total, [np.datetime64(f"{y}-{md}") for y in years]) for md in FALL)
    rate = (math.log(-math.log(0.05)) - math.log(-math.log(0.95))) / (high - low)
    mode = low + math.log(-math.log(0.05)) / rate
    half = mode - math.log(math.log(2)) / rate
    middle = []
    for year in years:
        start = np.searchsorted(days, np.datetime64(f"{year}-08-01"))
        passed = np.flatnonzero(total[start : start + 150] >= half)
        if len(passed):
            middle.append(days[start + passed[0]])
    ends = [on(days, total, [day + sign * 7 * WEEKS for day in middle]) for sign in (-1, 1)]
    print(f"winter: {low:.0f} on {FALL[0]}, {high:.0f} on {FALL[1]}")
    print(
        f"  rate {rate:.4f}, mode {mode:.0f}, half {half:.0f}, ends {ends[0]:.0f} and {ends[1]:.0f}"
    )
    print(f"  spread {math.log(ends[1] / ends[0]) / 2 / Z90:.2f}")


def spring(paths: list[str]) -> None:
    """Total of the first goosegrass, and its spread."""
    found = []
    for path in paths:
        days, total = totals(path, "DIGIS")
        for year in range(2006, 2024):
            start, stop = np.searchsorted(
                days, [np.datetime64(f"{year}-{m}-01") for m in ("01", "08")]
            )
            season = total[start:stop]
            if len(season) > 200 and np.isfinite(season).all():
                first = int(np.searchsorted(season, FIRST))
                found.append([season[first + lag] for lag in LAG_D])
    low, high = np.median(found, axis=0)
    print(f"goosegrass: {low:.0f} to {high:.0f} over {len(found)} seasons")
    print(f"  first {math.sqrt(low * high):.0f}, spread {math.log(high / low) / 2 / Z90:.2f}")


if __name__ == "__main__":
    fall(sys.argv[1])
    spring(sys.argv[2:])
