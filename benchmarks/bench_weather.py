"""What weather from the network costs once it is kept, against the embedded sample.

A loopback server plays a station archive of real size (list of 15,000 stations, four near the
site with 30 years each, hours ahead) and a forecast. The first run fills the cache; the warm
run must ask nothing and cost at most 1.3 times ``rank --sample``.

    python benchmarks/bench_weather.py
"""

from __future__ import annotations

import datetime as dt
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import archive_world as world
import nws
from archive_world import Where
from loopback import serving

RUNS = 7
NOW = dt.datetime.now(dt.UTC)
TODAY = (NOW - dt.timedelta(hours=6)).date()
SITE = """\
name = "Long Meadow"
latitude = 30.5
longitude = -85.25
elevation_m = 70
timezone = "Etc/GMT+6"

[turf]
overseeded = false

[soil]
texture = "clay loam"
"""


def cpu() -> float:
    """Processor seconds of the programs run so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    draw = random.Random(1)
    crowd = [
        Where(f"X{n:04X}", draw.uniform(-60, 70), draw.uniform(-180, -90)) for n in range(15_000)
    ]
    near = [Where(f"NEAR{n}", 30.5 + 0.05 * n, -85.2, 70 + 20 * n) for n in range(4)]
    with serving() as server, tempfile.TemporaryDirectory() as folder:
        world.serve_stations(server, [*near, *crowd])
        first = dt.datetime.combine(TODAY - dt.timedelta(40), dt.time())
        for n, station in enumerate(near):

            def hour(when: dt.datetime, n: int = n) -> dict[str, object]:
                source = "isd_lite" if when <= NOW.replace(tzinfo=None) else "dwd_mosmix"
                cells = {"temp": 10 + n + when.hour / 4, "rhum": 60, "prcp": 0.0, "wspd": 9.0}
                return {name: (value, source) for name, value in cells.items()}

            def day(date: dt.date, n: int = n) -> dict[str, object]:
                noise = random.Random(date.toordinal()).gauss(0, 3)
                return {**world.climate(date, n + noise), "rhum": 70, "wspd": 10.0}

            last = TODAY - dt.timedelta(1)
            world.serve_daily(server, station.id, range(TODAY.year - 30, TODAY.year + 1), last, day)
            world.serve_hourly(server, station.id, world.hours(first, 24 * 50, hour))
        nws.serve(server, "30.5", "-85.25", nws.gridpoint("BMX_32-69", NOW))
        site = Path(folder) / "site.toml"
        site.write_text(SITE)
        env = {
            **os.environ,
            "WINDOWCAST_CACHE": folder,
            "WINDOWCAST_ARCHIVE_URL": server.url,
            "WINDOWCAST_FORECAST_URL": server.url,
        }

        def rank(*args: str) -> tuple[float, float]:
            began, used = time.perf_counter(), cpu()
            command = [sys.executable, "-m", "windowcast", "rank", *args, "--format", "json"]
            subprocess.run(command, env=env, check=True, capture_output=True)
            return time.perf_counter() - began, cpu() - used

        cold, _ = rank(str(site))
        asked = len(server.requests)
        sample, warm = [], []
        for _ in range(RUNS):  # in turn, so that both meet the same machine
            sample.append(rank("--sample"))
            warm.append(rank(str(site)))
        again = len(server.requests) - asked
        size = sum(file.stat().st_size for file in Path(folder).glob("weather.sqlite*"))
    print(f"first run            {cold:6.2f} s, {asked} requests, cache {size / 1e6:.1f} MB")
    print(f"requests of {RUNS} runs from the cache: {again}   (target: 0)")
    print(f"{'':8} {'--sample':>10} {'from cache':>10} {'ratio':>6}   (target: at most 1.3)")
    for n, name in enumerate(("wall s", "cpu s")):
        a, b = (statistics.median(run[n] for run in runs) for runs in (sample, warm))
        print(f"{name:8} {a:10.2f} {b:10.2f} {b / a:6.2f}")


if __name__ == "__main__":
    main()
