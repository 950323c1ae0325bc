"""The whole archive: made-up by-year files since 1950 sorted, compared, refreshed; then 40,000.

    nice -n 15 python benchmarks/bench_archive.py [--stations 2000] [--workers 2] [--since 1950]

Stations come and go as in a real archive: three in ten are there from the first year, a third
still in the last, and rain is missing on some days. The files are written to a folder of their own;
every step is the command itself in processes of its own, its processor seconds and peak memory as
the system counts them. What 40,000 stations take is worked out from these figures at the end.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv

LAST = 2024
DIFFERENT = 64  # series of weather that are made; others are the same some days later
WHOLE = 40_000
ELEMENTS = ("TMAX", "TMIN", "PRCP")
USED = """
    use = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    told = {"cpu": [u.ru_utime + u.ru_stime for u in use], "mb": [u.ru_maxrss / 1024 for u in use]}
    open(sys.argv[1], "w").write(json.dumps(told))
"""
COMPARE = """
import json, resource, sys
from windowcast.cli import main
if __name__ == "__main__":
    try: main(sys.argv[2:])
    except SystemExit as end:
        if end.code: raise
""" + USED  # fmt: skip
SORT = """
import json, resource, sys
from pathlib import Path
from windowcast.region.archive_files import sorted_stations
from windowcast.sources.ghcn_bulk import bulk_files
if __name__ == "__main__":
    source, out, workers = sys.argv[2:]
    sorted_stations(bulk_files(Path(source)), Path(out), workers=int(workers))
""" + USED  # fmt: skip


@dataclass(frozen=True)
class Took:
    """What a step took."""

    wall_s: float
    main_s: float
    workers_s: float
    main_mb: float
    worker_mb: float

    @property
    def cpu_s(self) -> float:
        """Of all processes."""
        return self.main_s + self.workers_s


@dataclass(frozen=True)
class Archive:
    """Made-up stations: when each begins and ends, and which weather it has."""

    first: np.ndarray  # year, [station]
    last: np.ndarray
    weather: np.ndarray  # tenths of a degree and of a millimetre, [element, series, day]
    since: int

    @classmethod
    def made(cls, stations: int, since: int) -> Archive:
        """Stations that begin from a year on."""
        import bench_region

        bench_region.FIRST, bench_region.YEARS = (
            np.datetime64(f"{since - 1}-01-01"),
            LAST - since + 4,
        )
        _, _, high, low, rain = bench_region.weather(DIFFERENT)
        values = np.stack([np.round(10 * each) for each in (high, low, rain)]).astype(np.int16)
        draw = np.random.default_rng(5)
        span = LAST - since
        first = since + np.where(
            draw.random(stations) < 0.3, 0, draw.integers(0, max(span - 9, 1), stations)
        )
        length = draw.integers(10, span + 2, stations)
        last = np.where(draw.random(stations) < 0.35, LAST, np.minimum(first + length, LAST))
        return cls(first, last, values, since)

    @property
    def station_years(self) -> int:
        """Years of all stations."""
        return int((self.last - self.first + 1).sum())

    def write_year(self, folder: Path, year: int, days: int | None = None, wrong: int = 0) -> None:
        """A by-year file: its first `days`; of the first `wrong` stations with a day corrected."""
        numbers = np.flatnonzero((self.first <= year) & (year <= self.last))
        dates = np.arange(f"{year}-01-01", f"{year + 1}-01-01", dtype="datetime64[D]")[:days]
        origin = int((dates[0] - np.datetime64(f"{self.since - 1}-01-01")).astype(int))
        shift = 3 * (numbers // DIFFERENT) % 300
        at = origin + shift[:, None] + np.arange(len(dates))
        values = self.weather[:, numbers % DIFFERENT][:, np.arange(len(numbers))[:, None], at]
        values[0, :wrong, -1] += 1
        draw = np.random.default_rng(year)
        known = draw.random((3, 1 + WHOLE // 4, 366))[:, numbers, : len(dates)] > 0.004
        known[0, :wrong, -1] = True
        ids = np.array([f"XX{n:09d}" for n in range(len(self.first))])[numbers]
        stamps = np.char.replace(np.datetime_as_string(dates), "-", "").astype("U8")
        which = np.nonzero(known.transpose(2, 1, 0))  # by day, as published
        none = pa.nulls(len(which[0]), pa.string())
        table = pa.table(
            {
                "ID": pa.array(ids).take(pa.array(which[1])),
                "DATE": pa.array(stamps).take(pa.array(which[0])),
                "ELEMENT": pa.array(ELEMENTS).take(pa.array(which[2])),
                "DATA_VALUE": values.transpose(2, 1, 0)[which],
                **dict.fromkeys(("M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME"), none),
            }
        )  # fmt: skip
        options = csv.WriteOptions(include_header=False, quoting_style="none")
        csv.write_csv(table, folder / f"{year}.csv", options)

    def write_places(self, path: Path) -> None:
        """As the archive lists them: inside the belt of the grass."""
        lines = []
        for n in range(len(self.first)):
            north, east = 30 + n * 7919 % 1100 / 100, -110 + n * 104729 % 4000 / 100
            lines.append(f"XX{n:09d} {north:8.4f} {east:9.4f} {100.0:6.1f}    STATION {n}\n")
        path.write_text("".join(lines), encoding="utf-8")


def step(code: str, *args: str) -> Took:
    """Run a script in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        script, told = Path(folder) / "step.py", Path(folder) / "told.json"
        script.write_text(code)
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, str(script), str(told), *args], check=True, stdout=subprocess.DEVNULL
        )
        took, use = time.perf_counter() - start, json.loads(told.read_text())
    return Took(took, *use["cpu"], *use["mb"])


def row(name: str, took: Took, base: Took | None = None, target: str = "") -> None:
    """A line of the table."""
    share = "" if base is None else f"{100 * took.cpu_s / base.cpu_s:.1f} %"
    print(
        f"| {name:44} | {took.wall_s:7.1f} | {took.cpu_s:7.1f} | {share:>8} | {target:>7} "
        f"| {took.main_mb:6.0f} | {took.worker_mb:6.0f} |",
        flush=True,
    )


def main() -> None:
    """Run every step and print what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stations", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--since", type=int, default=1950)
    given = parser.parse_args()
    archive, workers = Archive.made(given.stations, given.since), str(given.workers)
    with tempfile.TemporaryDirectory(prefix="bench-archive-") as name:
        home = Path(name)
        source, out = home / "years", home / "out"
        source.mkdir()
        for year in range(given.since, LAST + 1):
            archive.write_year(source, year, days=181 if year == LAST else None)
        archive.write_places(source / "ghcnd-stations.txt")
        size = sum(file.stat().st_size for file in source.iterdir())
        years = archive.station_years
        active = int((archive.last == LAST).sum())
        print(f"\n{given.stations} stations, {years} station-years, {active} to the last year; "
              f"{size / 1e9:.2f} GB of CSV; load average {os.getloadavg()[0]:.1f}\n")  # fmt: skip
        print("| what | s | CPU s | of a full run | target | main MB | worker MB |")
        print("| --- | --- | --- | --- | --- | --- | --- |")
        alone = step(SORT, str(source), str(home / "alone"), "1")
        shutil.rmtree(home / "alone")
        row("sorting all years, one process", alone)
        records = out / "records"
        both = step(SORT, str(source), str(records), workers)
        row(f"sorting all years, {workers} processes", both)
        kept = sum(file.stat().st_size for file in records.glob("ghcn/*"))
        compare = ("compare", str(source), "--out", str(out), "--workers", workers)
        full = step(COMPARE, *compare)
        row("the comparison, files already sorted", full)
        whole = Took(
            both.wall_s + full.wall_s, both.main_s + full.main_s,
            both.workers_s + full.workers_s, full.main_mb, max(full.worker_mb, both.worker_mb),
        )  # fmt: skip
        row("a full run: both", whole, whole)
        again = step(COMPARE, *compare)
        row("again, nothing changed", again, whole)
        middle = (given.since + LAST) // 2
        archive.write_year(source, middle, wrong=10)
        corrected = step(COMPARE, *compare)
        row(f"{middle} corrected at ten stations", corrected, whole)
        archive.write_year(source, LAST)
        update = step(COMPARE, *compare)
        row(f"the last year refreshed, {active} stations", update, whole, "5 %")
        fresh = home / "fresh"
        check = step(COMPARE, "compare", str(source), "--out", str(fresh), "--workers", workers)
        row("a full run of the refreshed files", check, whole)
        for table in ("seasons.parquet", "stations.parquet", "normals.csv"):
            assert (out / table).read_bytes() == (fresh / table).read_bytes(), table
        print("\nThe refreshed comparison is that of a full run to the bit.")
        gigabyte = 1e9 * both.cpu_s / size
        print(f"Sorting: {gigabyte:.1f} s of CPU a GB of CSV, {alone.wall_s / both.wall_s:.2f}x as "
              f"fast in {workers} processes; sorted {kept / size:.2f} of its size.")  # fmt: skip
        each = 1e3 * full.workers_s / years
        print(f"Comparison: {each:.2f} ms of CPU a station-year in workers, "
              f"{1e3 * full.main_s / given.stations:.1f} ms a station in the main.")  # fmt: skip
        times = WHOLE / given.stations
        parts = (both.cpu_s, full.workers_s, full.main_s, update.cpu_s)
        hours = [times * part / 3600 for part in parts]
        print(f"\n{WHOLE} stations alike, {times * years:,.0f} station-years and "
              f"{times * size / 1e9:.0f} GB of CSV: CPU hours of sorting {hours[0]:.2f}, models "
              f"{hours[1]:.2f}, main process {hours[2]:.2f}; update {hours[3]:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
