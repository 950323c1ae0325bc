"""What reading weather files costs: each layout of a station, checks, gaps, sample, hours.

    python benchmarks/bench_files.py [STATION.dly.gz]

Prints a table of milliseconds of processor time a station, the best of a few runs in turn in one
process. The layouts are made of a station's ``.dly``, our own CSV of a made-up station. "Row by
row" is the careful way, which a file takes that is not regular (quoted text, blank lines, spaces).
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd
from bench_region import records

from windowcast.core.record import Record
from windowcast.region.archive_files import sorted_stations
from windowcast.region.batch import Options, station_record
from windowcast.region.box import record_csv
from windowcast.region.engine import Station
from windowcast.sources.files import read_weather
from windowcast.sources.ghcn_bulk import bulk_files
from windowcast.sources.grid import Grid
from windowcast.sources.numerals import NotPlain
from windowcast.weather.gaps import filled
from windowcast.weather.hourly import daily_to_hourly
from windowcast.weather.quality import checked
from windowcast.weather.sample import sample_site, sample_weather

ROOT = Path(__file__).parents[1]
DEFAULT = ROOT / "tests" / "data" / "ghcn" / "USW00013904_1999-2004.dly.gz"
WIDTHS = [11, 4, 2, 4, *[5, 1, 1, 1] * 31]


def milliseconds(run: Callable[[], object], times: int = 9) -> float:
    """Processor time, the best of a few runs."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        run()
        taken.append(time.process_time() - begin)
    return 1000 * min(taken)


def layouts(dly: Path, folder: Path) -> Iterator[tuple[str, str]]:
    """Names and specs of the files of one station in each layout."""
    own = folder / "own.csv"
    own.write_text(record_csv(records(1)[0]))
    yield "our own CSV, made up", str(own)
    quoted = folder / "quoted.csv"
    lines = (line.replace(",", '","') for line in own.read_text().splitlines())
    quoted.write_text("".join(f'"{line}"\n' for line in lines))
    yield "the same, every cell in quotes", str(quoted)
    text = gzip.decompress(dly.read_bytes()).decode()
    plain = folder / "station.dly"
    plain.write_text(text)
    yield ".dly", str(plain)
    yield ".dly.gz", str(dly)
    rows = sorted(long_rows(text), key=lambda row: row[12:20])
    by_station = folder / "station.csv"
    by_station.write_text("".join(rows))
    yield "by-station CSV", str(by_station)
    years = folder / "years"
    years.mkdir()
    for row in rows:
        with (years / f"{row[12:16]}.csv").open("a") as stream:
            stream.write(row)
    (kept,) = sorted_stations(bulk_files(years), folder / "split").values()
    yield "by-year CSV or Parquet, sorted", kept.path


def long_rows(text: str) -> Iterator[str]:
    """The values of a ``.dly`` as rows of the archive's CSV."""
    for line in text.splitlines():
        for day in range(31):
            cell = line[21 + 8 * day : 29 + 8 * day].ljust(8)
            if cell[:5].strip() not in ("", "-9999"):
                date, flags = f"{line[11:17]}{day + 1:02}", ",".join(map(str.strip, cell[5:]))
                yield f"{line[:11]},{date},{line[17:21]},{int(cell[:5])},{flags},\n"


def row_by_row(spec: str) -> Record:
    """The careful way."""
    with mock.patch.object(Grid, "of", mock.Mock(side_effect=NotPlain)):
        return read_weather(spec)


def thousand_members() -> Record:
    """Two weeks of hours for a thousand members."""
    first = np.datetime64("2020-01-10")
    low = np.random.default_rng(1).normal(5, 3, (1000, 16))
    grades = {name: np.zeros(16, np.uint8) for name in ("tmin_c", "tmax_c")}
    values = {"tmin_c": low, "tmax_c": low + 8}
    days = Record(sample_site().place, np.arange(first, first + 16), values, grades)
    return daily_to_hourly(days, dt.date(2020, 1, 11), 14)


def table_of_layouts(dly: Path) -> None:
    """A line for each layout: what `compare` spends on a station before the models."""
    heads = ("years", "read", "checks", "gaps", "station", "row by row")
    print(f"| {'layout':34} | " + " | ".join(f"{head:>10}" for head in heads) + " |")
    print(f"| {'-' * 34} |" + f" {'-' * 10} |" * len(heads))
    with tempfile.TemporaryDirectory() as folder:
        for name, spec in layouts(dly, Path(folder)):
            record = read_weather(spec)
            good = checked(record)
            station = Station(name, spec, name, "", 35.0, -90.0, 10.0)
            figures = [
                len(record.times) / 365.25,
                milliseconds(lambda spec=spec: read_weather(spec)),
                milliseconds(lambda record=record: checked(record)),
                milliseconds(lambda good=good: filled(good)),
                milliseconds(lambda station=station: station_record(station, Options())),
            ]
            cells = [f"{figure:10.1f}" for figure in figures]
            careful = f"{milliseconds(lambda spec=spec: row_by_row(spec), 3):10.1f}"
            cells.append(careful if ".csv" in spec else " " * 10)
            print(f"| {name:34} | " + " | ".join(cells) + " |", flush=True)


def main() -> None:
    """Print the figures."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else DEFAULT
    print(f"{path.name}, ms of processor time a station; load average {os.getloadavg()[0]:.1f}\n")
    table_of_layouts(path)
    text = gzip.decompress(path.read_bytes()).decode()
    ours = milliseconds(lambda: read_weather(path))
    other = milliseconds(lambda: pd.read_fwf(io.StringIO(text), widths=WIDTHS, header=None), 1)
    print(f"\npandas.read_fwf of the .dly.gz takes {other / ours:.0f} times as long as ours")
    print(f"sample weather {milliseconds(sample_weather):.1f} ms")
    print(f"two weeks of hours for 1,000 members {milliseconds(thousand_members):.1f} ms")


if __name__ == "__main__":
    main()
