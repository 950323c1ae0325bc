"""What reading weather files costs: GHCN-Daily against pandas, checks, gaps, sample, hours.

    python benchmarks/bench_files.py [STATION.dly.gz]

Prints one JSON object; ratios are of times taken in turn in one process.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from windowcast.weather.files import read_weather
from windowcast.weather.gaps import filled
from windowcast.weather.hourly import daily_to_hourly
from windowcast.weather.quality import checked
from windowcast.weather.record import Record
from windowcast.weather.sample import sample_site, sample_weather

ROOT = Path(__file__).parents[1]
DEFAULT = ROOT / "tests" / "data" / "ghcn" / "USW00013904_1999-2004.dly.gz"
WIDTHS = [11, 4, 2, 4, *[5, 1, 1, 1] * 31]


def seconds(run: Callable[[], object], times: int = 5) -> float:
    """The best of a few runs."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def thousand_members() -> Record:
    """Two weeks of hours for a thousand members."""
    first = np.datetime64("2020-01-10")
    low = np.random.default_rng(1).normal(5, 3, (1000, 16))
    grades = {name: np.zeros(16, np.uint8) for name in ("tmin_c", "tmax_c")}
    values = {"tmin_c": low, "tmax_c": low + 8}
    days = Record(sample_site().place, np.arange(first, first + 16), values, grades)
    return daily_to_hourly(days, dt.date(2020, 1, 11), 14)


def main() -> None:
    """Print the figures."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else DEFAULT
    text = gzip.decompress(path.read_bytes()).decode()
    record = read_weather(path)
    ours = seconds(lambda: read_weather(path))
    other = seconds(lambda: pd.read_fwf(io.StringIO(text), widths=WIDTHS, header=None), 1)
    figures = {
        "lines": text.count("\n"),
        "days": len(record.times),
        "read_s": round(ours, 4),
        "pandas_read_fwf_over_ours": round(other / ours, 1),
        "checks_and_gaps_s": round(seconds(lambda: filled(checked(record))), 4),
        "sample_weather_s": round(seconds(sample_weather), 4),
        "hours_of_1000_members_s": round(seconds(thousand_members), 4),
    }
    print(json.dumps(figures, indent=1))


if __name__ == "__main__":
    main()
