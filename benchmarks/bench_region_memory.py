"""The main process of a region: its peak memory by number of stations, and its statistics' cost.

    python benchmarks/bench_region_memory.py [--stations 100 1000 10000]

Parts of 30 years are made by repeating a few made-up stations under other names and places; all
that the main process does after its workers is then run on them in a process of its own. The
statistics are timed against the same SciPy functions called for one series at a time.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
from bench_region import YEARS, records

DIFFERENT = 16  # stations that are computed
TOGETHER = 500  # stations a part
PASS = """
import sys, time
from pathlib import Path
from windowcast.cli.output import voice_in
from windowcast.cli.compare import _print
from windowcast.core.atomic_files import write_atomic
from windowcast.region import compare, netcdf, outputs
from windowcast.region.parts import Chunk
from windowcast.report.region_page import region_page
from windowcast.report.region_findings import findings_of
folder, out = Path(sys.argv[1]), Path(sys.argv[2])
parts = [Chunk(folder, file.stem) for file in sorted(folder.glob("*.sha256"))[: int(sys.argv[3])]]
start = time.perf_counter()
data = compare.put_together(parts, out)
found = data.regional()
outputs.write_tables(out, data, found.between)
told = findings_of(data, found)
write_atomic(out / "index.html", region_page(data, told, voice_in("metric")))
netcdf.write_netcdf(out / "seasons.nc", data)
_print(data, told, voice_in("metric"))
took = time.perf_counter() - start
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(took, int(peak.split()[1]) / 1024, file=sys.stderr)
"""


def computed(home: Path) -> dict[str, pa.Table]:
    """Seasons and statistics of a few stations, as a worker gives them."""
    from windowcast.region.batch import Options, compute
    from windowcast.region.box import record_csv
    from windowcast.region.engine import Station

    stations = []
    for n, record in enumerate(records(DIFFERENT)):
        file = home / f"{n}.csv"
        file.write_text(record_csv(record))
        latitude = record.place.latitude_deg
        stations.append(Station(f"M{n:02d}", str(file), latitude_deg=latitude, longitude_deg=-90))
    return compute(tuple(stations), json.dumps(Options().plain()))


def write_parts(home: Path, tables: dict[str, pa.Table], stations: int) -> Path:
    """Parts of `TOGETHER` stations, or of fewer if there are fewer, in two regions."""
    from windowcast.region.parts import Chunk, keep, to_parquet

    folder = home / str(stations)
    folder.mkdir()
    rows = {
        name: [np.flatnonzero(np.array(t["station"].to_pylist()) == f"M{n:02d}")
               for n in range(DIFFERENT)]
        for name, t in tables.items()
    }  # fmt: skip
    for first in range(0, stations, TOGETHER):
        numbers = range(first, min(first + TOGETHER, stations))
        bodies = {}
        for name, table in tables.items():
            own = [rows[name][n % DIFFERENT] for n in numbers]
            number = np.repeat(numbers, [len(o) for o in own])
            whole = table.take(np.concatenate(own))
            for column, values in (
                ("station", [f"S{n:06d}" for n in number]),
                ("name", [f"Station number {n}" for n in number]),
                ("region", [("east", "west")[n % 2] for n in number]),
                ("latitude", 25 + number * 7919 % 2399 / 100),
                ("longitude", -124 + number * 104729 % 5701 / 100),
            ):
                at = whole.schema.get_field_index(column)
                field = whole.schema.field(column)
                whole = whole.set_column(at, field, pa.array(values, field.type))
            bodies[name] = to_parquet(whole)
        keep(Chunk(folder, f"part{first:06d}"), bodies)
    return folder


def memory(counts: list[int]) -> None:
    """Peak resident memory and time of the main process by number of stations."""
    print(f"\nMain process after its workers, {YEARS} years (load average "
          f"{os.getloadavg()[0]:.1f})\n")  # fmt: skip
    print("| stations | peak RSS MB |     s | ms/station | page kB |")
    print("| -------- | ----------- | ----- | ---------- | ------- |")
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        tables = computed(home)
        for stations in counts:
            folder = write_parts(home, tables, stations)
            out = home / f"out{stations}"
            out.mkdir()
            done = subprocess.run(
                [sys.executable, "-c", PASS, str(folder), str(out), str(stations)],
                check=True,
                capture_output=True,
                text=True,
            )
            took, peak = map(float, done.stderr.split())
            page = (out / "index.html").stat().st_size / 1e3
            print(f"| {stations:8} | {peak:11.0f} | {took:5.1f} | {1e3 * took / stations:10.1f} | "
                  f"{page:7.0f} |", flush=True)  # fmt: skip


def trends(stations: int = 60) -> None:
    """Normals and trends of every quantity, many series at once against one at a time."""
    from scipy.stats import kendalltau, theilslopes

    from windowcast.region.statistics import normals

    draw = np.random.default_rng(1)
    years = np.arange(1990.0, 1990 + YEARS)
    values = draw.integers(200, 240, (stations * 16, YEARS)).astype(float)  # dates, with ties
    values[::4] = draw.normal(size=values[::4].shape)  # amounts and shares, without
    values[draw.random(values.shape) < 0.03] = np.nan
    normals(years, values[:16])
    start = time.perf_counter()
    found = normals(years, values)
    ours = time.perf_counter() - start
    start = time.perf_counter()
    for n, series in enumerate(values):
        known = np.isfinite(series)
        x, y = years[known], series[known]
        spread = np.quantile(y, (0.1, 0.5, 0.9))
        slope, p = theilslopes(y, x, alpha=0.95).slope, kendalltau(x, y).pvalue
        assert (spread[1], 10 * slope, p) == (
            found.median[n], found.trend_per_decade[n], found.p_value[n],
        )  # fmt: skip
    alone = time.perf_counter() - start
    print(f"\nNormals and trends of every quantity: {1e3 * ours / stations:.1f} ms a station at "
          f"once, {1e3 * alone / stations:.1f} ms one series at a time")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stations", type=int, nargs="+", default=[100, 1000, 10_000])
    trends()
    memory(parser.parse_args().stations)


if __name__ == "__main__":
    main()
