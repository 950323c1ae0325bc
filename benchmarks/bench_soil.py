"""Speed of the soil model: many stations together against a loop over stations.

    python benchmarks/bench_soil.py [--stations 4096] [--years 10] [--repeat 3]

Prints a table (processor time of one core, best of the repeats) and, with ``--json FILE``, writes
the figures. Together, stations run compiled, and once interpreted on arrays; the loop runs the same
model one station at a time, on floats. Their equality is checked in the same run.
"""

from __future__ import annotations

import argparse
import json
import platform
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from windowcast.physics.soil import SoilForcing, SoilResult, SoilSite, simulate


def invented(stations: int, days: int) -> SoilForcing:
    """Synthetic weather of many places."""
    random = np.random.default_rng(0)
    dates = np.arange("1991-01-01", "2100-01-01", dtype="datetime64[D]")[:days]
    latitude = random.uniform(28, 45, stations)
    season = np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25)
    mean = (38 - 0.6 * latitude)[:, None] - 12 * season + random.normal(0, 4, (stations, days))
    span = random.uniform(5, 18, (stations, days))
    wet = random.random((stations, days)) < 0.3
    rain = np.where(wet, random.exponential(8, (stations, days)), 0.0)
    return SoilForcing(dates, mean + span / 2, mean - span / 2, rain, latitude)


def one(forcing: SoilForcing, station: int) -> SoilForcing:
    """A single station of many."""
    return SoilForcing(
        forcing.dates,
        forcing.tmax_c[station],
        forcing.tmin_c[station],
        forcing.precip_mm[station],
        float(np.asarray(forcing.latitude_deg)[station]),
    )


def timed(task: Callable[[], SoilResult], repeat: int) -> tuple[float, SoilResult]:
    """Best processor time and the result."""
    best, result = np.inf, None
    for _ in range(repeat):
        begin = time.process_time()
        result = task()
        best = min(best, time.process_time() - begin)
    assert result is not None
    return best, result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--stations", type=int, default=4096)
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--json", type=Path)
    arguments = parser.parse_args()
    site = SoilSite()
    days = round(365.25 * arguments.years)
    forcing = invented(arguments.stations, days)
    simulate(one(forcing, 0), site, compiled=True)  # compiles, or reads what was compiled
    together_s, together = timed(lambda: simulate(forcing, site, compiled=True), arguments.repeat)
    plain_s, plain = timed(lambda: simulate(forcing, site), 1)
    np.testing.assert_array_equal(plain.temp_c, together.temp_c)
    few = range(0, arguments.stations, max(arguments.stations // 8, 1))
    loop_s, worst = 0.0, 0.0
    for station in few:
        seconds, alone = timed(lambda s=station: simulate(one(forcing, s), site), 1)
        loop_s += seconds
        worst = max(worst, float(np.abs(alone.temp_c - together.temp_c[station]).max()))
    loop_s /= len(few)

    twenty = one(invented(1, 7305), 0)
    single_s, _ = timed(lambda: simulate(twenty, site), arguments.repeat)
    today = simulate(twenty, site).state
    ahead = invented(100, 7305 + 250)
    members = SoilForcing(
        ahead.dates[7305:],
        ahead.tmax_c[:, 7305:],
        ahead.tmin_c[:, 7305:],
        ahead.precip_mm[:, 7305:],
        35.0,
    )
    ensemble_s, _ = timed(lambda: simulate(members, site, state=today), arguments.repeat)

    rate = arguments.stations * days / together_s
    figures = {
        "stations": arguments.stations,
        "years": arguments.years,
        "station_days_per_s_together": round(rate),
        "station_days_per_s_interpreted": round(arguments.stations * days / plain_s),
        "station_days_per_s_loop": round(days / loop_s),
        "ratio": round(rate / (days / loop_s), 1),
        "largest_difference_c": worst,
        "one_site_20_years_s": round(single_s, 3),
        "members_100_days_250_s": round(ensemble_s, 3),
        "python": platform.python_version(),
        "numpy": np.__version__,
    }
    for name, value in figures.items():
        print(f"{name:32} {value}")
    if arguments.json:
        arguments.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
