"""Every page of a site with a long season log.

    python benchmarks/bench_long_log.py [--entries 10000] [--rounds 15]

One run writes a log of that many entries of all kinds over six seasons, starts the real server on
it with the sample's weather, and asks for each page over loopback: milliseconds of the first view
(nothing kept yet), and the median of the views after it. "after an entry" is the first view of a
page after one more entry was written, which takes back all that was kept of the log.
"""

from __future__ import annotations

import argparse
import datetime as dt
import http.client
import json
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from windowcast.records.model import (
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Material,
    Rating,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.store import SeasonLog
from windowcast.weather.sample import SAMPLE_FILES, SAMPLE_TODAY, sample_folder

UTC = dt.UTC
PAGES = (
    "today",
    "season",
    "plan",
    "log",
    "log?page=2",
    "log?kind=application",
    "log/{entry}",
    "log/{entry}/record",
    "log/new/application",
    "review",
    "compare",
    "settings",
    "calendar.ics",
    "message.txt",
)


def entries(count: int) -> list[Entry]:
    """Entries of all kinds as six seasons of a busy place would bring them."""
    chance = random.Random(1)
    made: list[Entry] = []
    for number in range(count):
        day = SAMPLE_TODAY - dt.timedelta(chance.randrange(6 * 365))
        where = f"green {number % 18 + 1}"
        match number % 10:
            case 0:
                start = dt.datetime.combine(day, dt.time(14), UTC)
                made.append(
                    Application(
                        start, (Material("prodiamine", 0.5),), where=where, purpose="pre-fall"
                    )
                )
            case 1 | 2 | 3:
                made.append(SoilReading(day, 0.05, round(chance.uniform(5, 25), 1), where=where))
            case 4 | 5:
                count_m2 = float(chance.randrange(40))
                made.append(ScoutingCount(day, weed="POAAN", per_m2=count_m2, where=where))
            case 6 | 7:
                made.append(Rating(day, float(chance.randrange(100)), "control %", where=where))
            case 8:
                made.append(CoverReading(day, float(chance.randrange(100)), where=where))
            case _:
                made.append(FieldNote(day, "mown, dew until nine", where=where))
    return made


@contextmanager
def server(folder: Path) -> Iterator[int]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    command = [sys.executable, "-m", "windowcast", "serve", str(folder), "--port", str(port)]
    on = ["--offline", "--no-token", "--date", SAMPLE_TODAY.isoformat()]
    process = subprocess.Popen([*command, *on], stdout=subprocess.DEVNULL)
    try:
        for _ in range(150):
            try:
                fetch(port, "/static/windowcast.css")
                break
            except OSError:
                time.sleep(0.2)
        yield port
    finally:
        process.terminate()
        process.wait(10)


def fetch(port: int, path: str) -> tuple[float, int]:
    """Milliseconds and bytes of an answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=900)
    start = time.perf_counter()
    connection.request("GET", path)
    answer = connection.getresponse()
    body = answer.read()
    taken = 1000 * (time.perf_counter() - start)
    connection.close()
    if answer.status != 200:
        raise SystemExit(f"{path}: {answer.status}: {body[:300]!r}")
    return taken, len(body)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=10_000)
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--only", default="", help="pages whose path holds this")
    options = parser.parse_args()
    report: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = json.dumps([str(sample_folder() / file) for file in SAMPLE_FILES])
        text = (sample_folder() / "site.toml").read_text("utf-8")
        (folder / "long.toml").write_text(f"{text}\n[weather]\nfiles = {files}\n", "utf-8")
        with SeasonLog(folder / "long.log.sqlite") as log:
            ids = log.add(*entries(options.entries))
        paths = [f"/s/long/{page.format(entry=ids[0])}" for page in PAGES]
        paths += ["/api/sites/long/log", "/api/sites/long/rank"]
        paths = [path for path in paths if options.only in path]
        with server(folder) as port:
            for path in paths:
                first, size = fetch(port, path)
                later = [fetch(port, path)[0] for _ in range(options.rounds)]
                shown = path.replace(ids[0], "ENTRY")
                report[shown] = {
                    "first_ms": round(first),
                    "median_ms": round(statistics.median(later), 1),
                    "kB": round(size / 1000),
                }
                print(shown, report[shown], file=sys.stderr, flush=True)
            for path in paths:
                with SeasonLog(folder / "long.log.sqlite") as log:
                    log.add(FieldNote(SAMPLE_TODAY, "one more"))
                shown = path.replace(ids[0], "ENTRY")
                report[shown]["after_an_entry_ms"] = round(fetch(port, path)[0])
    print(json.dumps(report, indent=2))


if __name__ == "__main__":
    main()
