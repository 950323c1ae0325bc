"""Many stations: kernels against reference libraries, the pipeline against a loop, scaling.

    python benchmarks/bench_region.py [kernels|pipeline|scaling|memory]... [--quick]

All figures of a table are from one run on the same synthetic stations, so that a busy machine
weighs on both sides of a ratio. Results are compared before anything is timed.
"""

from __future__ import annotations

import argparse
import itertools
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from windowcast.core.record import Place, Record

FIRST, YEARS = np.datetime64("1990-01-01"), 30
BASE_C, FROST_C = 10.0, 0.0


def weather(stations: int, seed: int = 1) -> tuple[Any, ...]:
    """Dates, latitudes and daily high, low and rain ``[station, day]`` of made-up stations."""
    draw = np.random.default_rng(seed)
    dates = np.arange(FIRST, FIRST.astype("datetime64[Y]") + YEARS, dtype="datetime64[D]")
    day = (dates - FIRST).astype(float)
    latitude = draw.uniform(30, 41, stations)
    season = np.cos(2 * np.pi * (day - 20) / 365.25)
    spell = np.convolve(draw.normal(0, 2.2, len(day) + 6), np.ones(7) / 7**0.5, "valid")
    mean = (30 - 0.55 * (latitude - 25))[:, None] - (10 + 0.2 * (latitude - 30))[:, None] * season
    mean += spell - 8
    mean += draw.normal(0, 1.5, mean.shape)
    half = 4 + draw.gamma(4, 0.8, mean.shape)
    rain = np.where(draw.random(mean.shape) < 0.28, draw.gamma(0.7, 11, mean.shape), 0.0)
    return dates, latitude, mean + half, mean - half, rain


def seconds(
    function: Callable[[], object], rounds: int, clock: Callable[[], float] = time.perf_counter
) -> float:
    """Median wall time, or that of another clock."""
    took = []
    for _ in range(rounds):
        start = clock()
        function()
        took.append(clock() - start)
    return statistics.median(took)


def row(name: str, took: float, base: float | None = None, target: str = "") -> None:
    ratio = "" if base is None else f"{base / took:7.1f}x"
    print(f"| {name:52} | {took:9.3f} | {ratio:>8} | {target:12} |", flush=True)


def heading(title: str, unit: str = "s") -> None:
    load = os.getloadavg()[0]
    print(f"\n{title} (load average {load:.1f} on {os.cpu_count()} cores)\n")
    print(f"| {'what':52} | {unit:>9} | {'ours is':>8} | {'target':12} |")
    print(f"| {'-' * 52} | {'-' * 9} | {'-' * 8} | {'-' * 12} |")


# ------------------------------------------------------------------------------------- kernels


def kernels(stations: int) -> None:
    """Degree days, frost days and first cool day of each year against other ways to them."""
    from yearly_baselines import ways, year_starts

    from windowcast.season.yearly import frost, warmth

    dates, _, tmax, tmin, _ = weather(stations)
    tas = (tmax + tmin) / 2
    parts = [slice(a, b) for a, b in itertools.pairwise([*year_starts(dates), len(dates)])]

    def part_of(rows: slice) -> tuple[np.ndarray, ...]:
        total, first_cool = warmth(tas[rows], BASE_C, parts)
        return total, frost(tmin[rows], FROST_C, parts)[0], first_cool

    halves = [slice(0, stations // 2), slice(stations // 2, stations)]

    def ours() -> list[np.ndarray]:
        with ThreadPoolExecutor(len(halves)) as pool:
            done = list(pool.map(part_of, halves))
        return [np.concatenate(columns) for columns in zip(*done, strict=True)]

    others = ways(dates, tas, tmin, BASE_C, FROST_C)
    mine = ours()
    for name, other in others.items():
        for a, b, what in zip(mine, other(), ("sums", "frost", "first"), strict=True):
            np.testing.assert_allclose(a, b, rtol=1e-9, atol=1e-6, err_msg=f"{name} {what}")
    print(f"\nKernels: {stations} stations x {YEARS} years; results equal to 1e-9 (load average "
          f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)\n")  # fmt: skip
    print(f"| {'what':42} |     s | CPU s | against it | in CPU time |")
    print(f"| {'-' * 42} | ----- | ----- | ---------- | ----------- |")
    mine_in = {
        "windowcast.season.yearly, two threads": ours,
        "windowcast.season.yearly, one thread": lambda: part_of(slice(None)),
    }
    took = used = 0.0
    for name, way in {**mine_in, **others}.items():
        rounds = 7 if name in mine_in else 3
        t, p = seconds(way, rounds), seconds(way, rounds, time.process_time)
        took, used = took or t, used or p
        against = "" if name in mine_in else f"{t / took:.1f}x"
        in_cpu = "" if name in mine_in else f"{p / used:.1f}x"
        print(f"| {name:42} | {t:5.3f} | {p:5.3f} | {against:>10} | {in_cpu:>11} |", flush=True)
    rate = bandwidth()
    read = 2 * tas.nbytes
    print(
        f"\nLeast bytes read {read / 1e6:.0f} MB at {rate / 1e9:.1f} GB/s: "
        f"{read / rate * 1e3:.0f} ms; the kernels take {took * 1e3:.0f} ms."
    )


def bandwidth() -> float:
    """Memory read and written by two threads adding arrays much larger than the cache, bytes/s."""
    size = 16_000_000
    a, b = np.ones(size), np.ones(size)
    halves = [slice(0, size // 2), slice(size // 2, size)]

    def add(part: slice) -> None:
        np.add(a[part], b[part], out=b[part])

    def both() -> None:
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(add, halves))

    return 3 * a.nbytes / seconds(both, 7)


# ------------------------------------------------------------------------------------ pipeline


def records(stations: int) -> list[Record]:
    dates, latitude, tmax, tmin, rain = weather(stations)
    made = []
    for i in range(stations):
        values = {"tmax_c": tmax[i], "tmin_c": tmin[i], "precip_mm": rain[i]}
        grades = {name: np.zeros(len(dates), np.uint8) for name in values}
        made.append(Record(Place(f"S{i}", float(latitude[i]), -90.0), dates, values, grades))
    return made


def one_site(record: Record) -> None:
    """What a single site's path works out for all its seasons."""
    from windowcast.programme.workable_days import day_scores, workable
    from windowcast.region.batch import Options
    from windowcast.season.dates import key_dates
    from windowcast.season.state import build
    from windowcast.windows.model import PURPOSES
    from windowcast.windows.purposes import purpose_of

    state, _ = build(record, Options().site())
    key_dates(state)
    for name in PURPOSES:
        purpose = purpose_of(name)
        workable(
            day_scores(record, purpose, purpose.generic, frozen=state.soil_frozen), purpose.rule
        )


def many_sites(stations: int) -> None:
    """The region's path on one core, when told to begin; for a process of its own."""
    from windowcast.region.batch import Options
    from windowcast.region.models import seasons_of, stacked

    stack = stacked(records(stations))
    seasons_of(stack.part(slice(0, 12)), Options().site())  # imports, tables, compiled code
    print("ready", flush=True)
    sys.stdin.readline()
    began = time.process_time()
    seasons_of(stack, Options().site())
    print(time.process_time() - began, flush=True)


def in_processes(count: int, stations: int) -> tuple[float, float]:
    """Wall seconds until each of some processes has run its stations, and processor seconds."""
    code = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
    code += f"import bench_region; bench_region.many_sites({stations})"
    command = [sys.executable, "-c", code]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    running = [subprocess.Popen(command, **pipes) for _ in range(count)]
    for process in running:
        process.stdout.readline()
    start = time.perf_counter()
    for process in running:
        process.stdin.write("go\n")
        process.stdin.flush()
    used = sum(float(process.stdout.readline()) for process in running)
    took = time.perf_counter() - start
    for process in running:
        process.wait()
    return took, used


def pipeline(stations: int) -> None:
    """Soil to odds: stations side by side against a loop over single sites."""
    some = records(4)
    one_site(some[0])

    def loop() -> tuple[float, float]:
        began = time.perf_counter(), time.process_time()
        for record in some:
            one_site(record)
        return time.perf_counter() - began[0], time.process_time() - began[1]

    before = loop()
    alone = in_processes(1, stations)
    two = in_processes(2, stations)
    single = [(a + b) / 2 for a, b in zip(before, loop(), strict=True)]
    heading(f"Pipeline: {stations} stations x {YEARS} years side by side", "ms/st-year")
    for kind, which in (("wall time", 0), ("processor time", 1)):
        one = 1e3 * single[which] / len(some) / YEARS
        many = 1e3 * alone[which] / stations / YEARS
        both = 1e3 * two[which] / (2 * stations) / YEARS
        row(f"{kind}: single sites in a loop", one)
        row(f"{kind}: side by side, one process", many, one)
        if which == 0:
            row(f"{kind}: side by side, two processes", both, one, ">= 30x")
            row("  two processes against one", both, many, ">= 1.8x")
    reached = 2 * stations * YEARS / two[0]
    print(f"\nTwo processes reach {reached:.0f} station-years a second of wall time.")
    # three inputs read; three soil temperatures, water and ice written and read again
    moved, rate = 366 * 8 * (3 + 2 * 5), bandwidth()
    print(
        f"Roofline: {moved / 1e3:.0f} kB a station-year at {rate / 1e9:.1f} GB/s allow "
        f"{rate / moved:,.0f} station-years/s; two processes reach "
        f"{100 * reached * moved / rate:.2f} % of it: arithmetic and some hundred passes over "
        f"temporaries bound it, not this traffic."
    )


# ------------------------------------------------------------------------- scaling and memory


def write_stations(folder: Path, stations: int, years: int) -> None:
    """Files to compare: a few made-up records, linked under many names."""
    from windowcast.region.box import record_csv

    folder.mkdir()
    different = [r.between(r.times[0], r.times[0] + 365 * years) for r in records(16)]
    for n, record in enumerate(different):
        (folder.parent / f"{stations}-{n}.csv").write_text(record_csv(record))
    lines = ["file,id,latitude,longitude"]
    for n in range(stations):
        at = f"{30 + n % 11},{-110 + n % 40}"
        lines.append(f"{folder.parent / f'{stations}-{n % 16}.csv'},S{n:05d},{at}")
    (folder / "list.csv").write_text("\n".join(lines) + "\n")


def compare(
    home: Path, stations: int, workers: int, years: int
) -> tuple[float, float, float, float, float]:
    """Wall seconds, processor seconds of the program and its workers, and their peak MB."""
    source = home / f"{stations}-{workers}"
    write_stations(source, stations, years)
    code = (
        "import resource, sys; from windowcast.cli import main\n"
        "if __name__ == '__main__':\n"
        "    try: main(sys.argv[1:])\n"
        "    except SystemExit: pass\n"
        "    used = [resource.getrusage(w) for w in (0, -1)]\n"
        "    print('RSS', *(u.ru_utime + u.ru_stime for u in used),\n"
        "          *(u.ru_maxrss / 1024 for u in used), file=sys.stderr)\n"
    )
    script = home / "run.py"
    script.write_text(code)
    args = ["compare", str(source / "list.csv"), "--workers", str(workers)]
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, str(script), *args, "--out", str(source / "out")],
        check=True,
        capture_output=True,
        text=True,
    )
    took = time.perf_counter() - start
    used, by_workers, own, worker = map(float, done.stderr.split("RSS")[1].split())
    return took, used, by_workers, own, worker


def scaling(counts: list[int], years: int) -> None:
    """Wall and processor time by stations and processes, with peak memory; files to outputs."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        print(f"\nWhole command, {years} years, files read and outputs written (load average "
              f"{os.getloadavg()[0]:.1f})\n")  # fmt: skip
        print("| stations | processes |      s | CPU s main | CPU s workers | CPU ms/station "
              "| CPU ms each further | main MB | worker MB |")  # fmt: skip
        print("| -------- | --------- | ------ | ---------- | ------------- | -------------- "
              "| ------------------- | ------- | --------- |")  # fmt: skip
        before = (0, 0.0)
        for stations, workers in [(n, w) for w in (2, 1) for n in counts]:
            took, main_s, worker_s, own, worker = compare(home, stations, workers, years)
            used = main_s + worker_s
            further = ""
            if before[0] and stations > before[0]:
                further = f"{1e3 * (used - before[1]) / (stations - before[0]):.1f}"
            before = (stations, used)
            print(f"| {stations:8} | {workers:9} | {took:6.1f} | {main_s:10.1f} "
                  f"| {worker_s:13.1f} | {1e3 * used / stations:14.1f} | {further:>19} "
                  f"| {own:7.0f} | {worker:9.0f} |", flush=True)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", nargs="*", default=["kernels", "pipeline", "scaling"])
    parser.add_argument("--stations", type=int, nargs="+", default=[100, 1000, 10_000])
    parser.add_argument("--quick", action="store_true", help="a tenth of the stations")
    given = parser.parse_args()
    tenth = 10 if given.quick else 1
    if "kernels" in given.what:
        kernels(1000 // tenth)
    if "pipeline" in given.what:
        pipeline(512 // (8 if given.quick else 1))
    if "scaling" in given.what:
        scaling([n // tenth for n in given.stations], YEARS)
    print(f"\nPeak memory of this process: "
          f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    main()
