"""Inject HTTP faults into every kind of answer, and count what came of each.

    python benchmarks/faults.py [--quick]

A server on this machine (tests/loopback.py) serves a small archive and a recorded forecast. For
every kind of answer and every fault, once with a good answer kept and once without, the weather is
asked for while the fault lasts, and again minutes after it is over (an hour for MET Norway, whose
answers say when to ask again; a day where the server said
"not there"). Handled right is:

- the fault ends in time, in the right values, or in an error or remark that names it;
- with a good answer kept, the values are the good ones, and where the fault did not pass by itself
  the answer is marked as out of date;
- nothing wrong is kept as an answer.

Healed is: afterwards the values are the good ones and nothing is marked any more. ``--quick`` takes
every seventeenth case. The exit code is 1 where a case fails. docs/reliability.md has the totals.
"""

from __future__ import annotations

import datetime as dt
import gzip
import json
import os
import re
import shutil
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

import archive_world as world
import nws
import power
import soil_served as soil
import world_forecasts
from loopback import Answer, Loopback, serving

from windowcast.core.record import Place
from windowcast.sources.archive import ArchiveSource
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.coarse_grid import CoarseGridSource, _spans
from windowcast.sources.doctor import examined
from windowcast.sources.fetch import Fetcher
from windowcast.sources.forecast import ForecastSource
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import FetchError
from windowcast.sources.metno import MetnoSource
from windowcast.sources.mosmix import LIST_PATH, MosmixSource
from windowcast.sources.soil_around import around
from windowcast.sources.source import Found, Request

LIMITS = Limits(0.5, 0.25, 1.2, 2, 0.01, 0.02, 2)
DAY_S = 86_400.0
IN_TIME_S = 8.0  # a few files, each with a deadline of its own
NOW = dt.datetime.fromtimestamp(int(time.time()), dt.UTC)
TODAY = NOW.date()
PLACE = Place("Long Meadow", 30.5, -85.25, 71.0, "Etc/GMT+6")
YEARS = range(TODAY.year - 2, TODAY.year + 1)
SPANS = [s for s in _spans(dt.date(YEARS[0], 1, 1), TODAY) if s is not None]
SOIL_REPORT = (
    f"{soil.SERVICE}/data?stationTriplets=2057:AL:SCAN&beginDate=2016-03-01&endDate=2100-01-01"
    "&duration=HOURLY&elements=STO:-2&periodRef=END"
)
KINDS = {
    "point": "/points/30.5,-85.25",
    "forecast": "/gridpoints/TAE/58,65",
    "list of stations": "/stations.db",
    "days of this year": f"/daily/{TODAY.year}/NEAR1.csv.gz",
    "days of a past year": f"/daily/{YEARS[0]}/NEAR1.csv.gz",
    "hours": f"/hourly/{TODAY.year}/NEAR1.csv.gz",
    "days of a coarse grid": power.path(*SPANS[-1]),
    "MOSMIX stations": LIST_PATH,
    "MOSMIX file": world_forecasts.mosmix_path("10637"),
    "MET Norway": world_forecasts.metno_path(PLACE),
    "list of soil stations": f"{soil.FOLDER}/stations.tsv",
    "days of soil": f"{soil.FOLDER}/daily01/2018/CRND0103-2018-AL_Selma_13_WNW.txt",
    "reports of soil": SOIL_REPORT,
}


class _Soil:
    """Both networks, near Selma, on a day of its record."""

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        here = Place("Long Meadow", 32.5, -87.3, 60.0, "Etc/GMT+6")
        found = around(replace(request, place=here, today=soil.TODAY), fetcher)
        return replace(found, records=found.nearby)


SOURCES = {
    "nws": ForecastSource,
    "archive": ArchiveSource,
    "grid": CoarseGridSource,
    "mosmix": MosmixSource,
    "metno": MetnoSource,
    "soil": _Soil,
}
SOURCE_OF = {
    "point": "nws",
    "forecast": "nws",
    "days of a coarse grid": "grid",
    "MOSMIX stations": "mosmix",
    "MOSMIX file": "mosmix",
    "MET Norway": "metno",
    "list of soil stations": "soil",
    "days of soil": "soil",
    "reports of soil": "soil",
}
PAGE = b"<!DOCTYPE html><html><body>We are down for maintenance</body></html>"
Fault = Callable[[Answer], Answer | list[Answer]]


def _other_database() -> bytes:
    db = sqlite3.connect(":memory:")
    db.execute("CREATE TABLE other (x)")
    return db.serialize()


def _plain(answer: Answer) -> bytes:
    body = answer.body
    return gzip.decompress(body) if body[:2] == b"\x1f\x8b" else body


def _as(answer: Answer, body: bytes) -> Answer:
    """The answer with another body, packed where it was packed."""
    packed = gzip.compress(body) if answer.body[:2] == b"\x1f\x8b" else body
    return replace(answer, body=packed)


def _redirect(to: str) -> Fault:
    return lambda good: Answer(b"", 302, headers={"Location": to})


# name → what the server sends instead; a list is sent in turn, the last of it for good
FAULTS: dict[str, Fault] = {
    "silence": lambda good: Answer(fault="hang"),
    "closed without an answer": lambda good: Answer(fault="refuse"),
    "cut in the body": lambda good: replace(good, fault="cut"),
    "cut in a chunked body": lambda good: replace(good, fault="cut", chunked=True),
    "reset in the body": lambda good: replace(good, fault="reset"),
    "silence in the body": lambda good: replace(good, fault="silent"),
    "header byte by byte": lambda good: replace(good, fault="drip-header"),
    "body byte by byte": lambda good: replace(good, fault="drip-body"),
    "closed, then good": lambda good: [Answer(fault="refuse"), good],
    "reset, then good": lambda good: [replace(good, fault="reset"), good],
    "500": lambda good: Answer(b"{}", 500),
    "500, then good": lambda good: [Answer(b"{}", 500), good],
    "502 with a page": lambda good: Answer(PAGE, 502, "text/html"),
    "503 that asks to wait": lambda good: Answer(b"", 503, headers={"Retry-After": "3600"}),
    "429": lambda good: Answer(b"", 429, headers={"Retry-After": "3600"}),
    "429 with 400 digits": lambda good: Answer(b"", 429, headers={"Retry-After": "9" * 400}),
    "403": lambda good: Answer(b"", 403),
    "404": lambda good: Answer(b"{}", 404),
    "410": lambda good: Answer(b"{}", 410),
    "304 that nobody asked for": lambda good: Answer(b"", 304),
    "redirect in a circle": lambda good: Answer(b"", 302, headers={"Location": "/circle"}),
    "redirect to another host": _redirect("http://elsewhere.invalid/a"),
    "redirect to an open bracket": _redirect("http://[::1"),
    "redirect past port 65535": _redirect("http://127.0.0.1:99999/a"),
    "redirect to nowhere": _redirect(""),
    "redirect to a file": _redirect("file:///etc/hosts"),
    "page with status 200": lambda good: Answer(PAGE, type="text/html"),
    "page that claims the right type": lambda good: replace(good, body=PAGE),
    "empty body": lambda good: replace(good, body=b""),
    "{} with status 200": lambda good: Answer(b"{}"),
    "[] with status 200": lambda good: Answer(b"[]"),
    "{} in the right type": lambda good: _as(good, b"{}"),
    "error in JSON with status 200": lambda good: Answer(b'{"title": "Problem", "status": 500}'),
    "error text": lambda good: _as(good, b"service unavailable, try again\n"),
    "headers only": lambda good: _as(good, _plain(good).split(b"\n")[0][:300] + b"\n"),
    "another database": lambda good: _as(good, _other_database()),
    "half of it, well packed": lambda good: _as(good, _plain(good)[: len(_plain(good)) // 2 + 3]),
    "noise": lambda good: _as(good, bytes(np.random.default_rng(1).integers(0, 256, 4000, "u1"))),
    "broken packing": lambda good: replace(good, body=gzip.compress(_plain(good))[:-20]),
    "unknown coding": lambda good: replace(good, headers={"Content-Encoding": "br"}),
    "an image": lambda good: Answer(b"\x89PNG\r\n", type="image/png"),
    "far too much": lambda good: replace(good, body=gzip.compress(b"a,b\n" * 80_000_000, 1)),
}  # fmt: skip


def _grid(change: Callable[[dict[str, Any]], object]) -> Fault:
    """The US forecast with something in it changed."""

    def changed(good: Answer) -> Answer:
        raw = json.loads(good.body)
        change(raw["properties"])
        return nws.answer(raw)

    return changed


def _series(change: Callable[[dict[str, Any]], object]) -> Fault:
    """MET Norway's forecast with something in it changed."""

    def changed(good: Answer) -> Answer:
        raw = json.loads(good.body)
        change(raw)
        return world_forecasts.metno_answer(raw)

    return changed


def _kml(old: str, new: str) -> Fault:
    """A MOSMIX file with something in it changed."""
    text = world_forecasts.mosmix_kml(NOW, PLACE)
    changed = re.sub(old, new, text, count=1, flags=re.DOTALL)
    return lambda good: replace(good, body=world_forecasts.kmz(changed))


def _issued(hours: int) -> Fault:
    text = world_forecasts.mosmix_kml(NOW + dt.timedelta(hours=hours), PLACE)
    return lambda good: replace(good, body=world_forecasts.kmz(text))


def _meta(hours: int) -> Fault:
    at = f"{NOW + dt.timedelta(hours=hours):%Y-%m-%dT%H:%M:%SZ}"
    return _series(lambda raw: raw["properties"]["meta"].update(updated_at=at))


BOMB = "<!DOCTYPE k [<!ENTITY a 'aaaa'>" + "".join(
    f"<!ENTITY {c} '{f'&{b};' * 10}'>" for b, c in pairwise("abcdefghijk")
) + "]><k>&k;</k>"  # fmt: skip
# what one kind of answer alone can show
FORECAST = {
    "issued 50 h ago": lambda p: p.update(updateTime=(NOW - dt.timedelta(hours=50)).isoformat()),
    "issued in 9 h": lambda p: p.update(updateTime=(NOW + dt.timedelta(hours=9)).isoformat()),
    "no time of issue": lambda p: p.pop("updateTime"),
    "no temperatures": lambda p: p["temperature"].update(values=[]),
    "temperatures without a unit": lambda p: p["temperature"].pop("uom"),
}
MORE: dict[str, dict[str, Fault]] = {
    "forecast": {name: _grid(change) for name, change in FORECAST.items()},
    "MET Norway": {
        "issued 50 h ago": _meta(-50),
        "issued in 9 h": _meta(9),
        "another place": _series(lambda raw: raw["geometry"].update(coordinates=[8.0, 50.0, 1])),
        "no steps": _series(lambda raw: raw["properties"].update(timeseries=[])),
        "back in time": _series(lambda raw: raw["properties"]["timeseries"].reverse()),
        "another unit": _series(
            lambda raw: raw["properties"]["meta"]["units"].update(air_temperature="degF")
        ),
        "no details": _series(
            lambda raw: [s["data"].update(instant={}) for s in raw["properties"]["timeseries"]]
        ),
    },
    "MOSMIX file": {
        "issued 50 h ago": _issued(-50),
        "issued in 9 h": _issued(15),
        "another place": _kml("<kml:coordinates>[^<]*", "<kml:coordinates>8.6,50.05,111.0"),
        "another station": _kml(">10637<", ">10638<"),
        "a step gone": _kml("<dwd:TimeStep>[^<]*</dwd:TimeStep>", ""),
        "a number gone": _kml(r'(elementName="TTT">\s*<dwd:value>)\s*\S+', r"\1"),
        "no temperatures": _kml('elementName="TTT"', 'elementName="TTU"'),
        "broken XML": _kml("</kml:Placemark>", ""),
        "entities": lambda good: replace(good, body=world_forecasts.kmz(BOMB)),
        "a zip bomb": lambda good: replace(good, body=world_forecasts.kmz(b" " * 90_000_000)),
        "another file": lambda good: replace(good, body=world_forecasts.kmz("hello", "readme.txt")),
        "a truncated zip": lambda good: replace(good, body=good.body[:-200]),
    },
}


@dataclass(frozen=True)
class Case:
    """One fault of one kind of answer, with or without a good answer kept."""

    kind: str
    fault: str
    kept: bool

    @property
    def path(self) -> str:
        return KINDS[self.kind]


def cases() -> Iterator[Case]:
    """All of them."""
    for kind in KINDS:
        for fault in (*FAULTS, *MORE.get(kind, {})):
            for kept in (True, False):
                yield Case(kind, fault, kept)


def wrong(case: Case, good: Answer) -> Answer | list[Answer]:
    """What the server sends while the fault lasts."""
    return (FAULTS | MORE.get(case.kind, {}))[case.fault](good)


class World:
    """A server, its good answers, and a cache that has them."""

    def __init__(self, server: Loopback, folder: Path) -> None:
        self.server, self.folder = server, folder
        world.serve_stations(server, [world.Where("NEAR1", 30.55, -85.25, 70)])
        world.serve_daily(server, "NEAR1", YEARS, TODAY - dt.timedelta(1))
        start = dt.datetime.combine(TODAY - dt.timedelta(6), dt.time())
        hours = world.hours(start, 24 * 6, lambda when: {"temp": 12 + when.hour / 4, "wspd": 9.0})
        world.serve_hourly(server, "NEAR1", hours)
        nws.serve(server, "30.5", "-85.25", nws.gridpoint("BMX_32-69", NOW))
        world_forecasts.serve_mosmix(server, NOW, PLACE)
        raw = world_forecasts.metno_raw(NOW, PLACE)
        server.routes[KINDS["MET Norway"]] = world_forecasts.metno_answer(raw)
        for span in SPANS:
            power.serve(server, *span)
        soil.serve_both(server)
        server.routes["/circle"] = Answer(b"", 302, headers={"Location": "/circle"})
        self.good = dict(server.routes)
        later = json.loads(self.good[KINDS["forecast"]].body)
        later["properties"]["updateTime"] = (NOW + dt.timedelta(hours=23)).isoformat()
        day_after = NOW + dt.timedelta(hours=23)
        self.tomorrow = {
            KINDS["forecast"]: nws.answer(later),
            KINDS["MET Norway"]: _meta(23)(self.good[KINDS["MET Norway"]]),
            KINDS["MOSMIX file"]: _kml(
                "<dwd:IssueTime>[^<]*", f"<dwd:IssueTime>{day_after:%Y-%m-%dT%H:00:00Z}"
            )(self.good[KINDS["MOSMIX file"]]),
        }
        with Cache(folder / "good" / FILE) as cache:
            self.values = {source: _values(_ask(source, cache)) for source in SOURCES}

    def cache(self, case: Case) -> Cache:
        """A copy of the good cache, in which the case's answer has expired or is not there."""
        home = Path(tempfile.mkdtemp(dir=self.folder))
        shutil.copy(self.folder / "good" / FILE, home / FILE)
        cache = Cache(home / FILE)
        url = self.server.url + case.path
        with cache.writing() as db:
            if not case.kept:
                db.execute("DELETE FROM entry WHERE url = ?", (url,))
            # asked unconditionally: else the server would say that nothing has changed
            db.execute("UPDATE entry SET expires_at = 0, etag = '', last_modified = ''"
                       " WHERE url = ?", (url,))  # fmt: skip
        return cache


def _ask(source: str, cache: Cache, later_s: float = 0.0) -> Found | FetchError:
    clock = lambda: time.time() + later_s  # noqa: E731
    cache._clock = clock
    fetcher = Fetcher(cache, Client(LIMITS), clock=clock)
    request = Request(PLACE, dt.date(YEARS[0], 1, 1), TODAY)
    try:
        return SOURCES[source]().fetch(request, fetcher)
    except FetchError as error:
        return error


def _values(found: Found | FetchError) -> list[bytes]:
    records = found.records if isinstance(found, Found) else ()
    return [r.values[name].tobytes() for r in records for name in sorted(r.values)]


def _marked(found: Found | FetchError) -> bool:
    """Whether the reader is told that something did not come."""
    return isinstance(found, FetchError) or bool(
        {"stale-forecast", "stale-archive", "archive-incomplete", "no-forecast", "no-station",
         "grid-unreachable", "soil-network-unreachable"}
        & {flag.check for flag in found.flags}
    ) or any(p.stale for record in found.records for p in record.provenance)  # fmt: skip


def judged(case: Case, here: World) -> tuple[str, str]:
    """What went wrong while the fault lasted, and after it; "" where nothing did."""
    source = SOURCE_OF.get(case.kind, "archive")
    good = here.values[source]
    with here.cache(case) as cache:
        here.server.routes = here.good | {case.path: wrong(case, here.good[case.path])}
        began = time.monotonic()
        found = _ask(source, cache)
        took = time.monotonic() - began
        here.server.routes = dict(here.good)
        bad = list(examined(cache, time.time() + 60))
        entry = cache.entry(here.server.url + case.path)
        gone = case.fault in ("404", "410") and not case.kept
        strict = case.kind == "MET Norway"  # asked again when the answer expires
        left_alone = strict and case.fault == "429 with 400 digits"
        after_a_day = gone or left_alone
        if after_a_day:  # by then there is another forecast
            here.server.routes |= here.tomorrow
        later_s = DAY_S + 100 if after_a_day else 3700.0 if strict else 301.0
        healed = _ask(source, cache, later_s=later_s)
    same, marked = _values(found) == good, _marked(found)
    problems = []
    if took > IN_TIME_S:
        problems.append(f"took {took:.1f} s")
    if bad:
        problems.append(f"kept: {bad[0].why}")
    if entry is not None and entry.status == 404 and case.kept:
        problems.append("a 404 took the place of a good answer")
    if case.kept and not same:
        problems.append("other values than the kept ones")
    passes = case.fault.endswith("then good")  # over before the last try
    lasting = ("point", "MOSMIX stations", "list of soil stations")  # they hold for long
    quiet = gone or (case.kept and case.kind in lasting)
    if not passes and not marked and not quiet:
        problems.append("nothing is said of it")
    if passes and (not same or marked):
        problems.append("one more try would have done")
    after = "" if _values(healed) == good and not _marked(healed) else f"{healed}"[:300]
    return "; ".join(problems), after


def main(quick: bool) -> int:
    """Run the cases and print the totals."""
    handled: Counter[str] = Counter()
    healed: Counter[str] = Counter()
    total: Counter[str] = Counter()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, serving() as server:
        for name in ("ARCHIVE", "FORECAST", "COARSE_GRID", "METNO", "MOSMIX", "USCRN", "NRCS"):
            os.environ[f"WINDOWCAST_{name}_URL"] = server.url
        os.environ["WINDOWCAST_CONTACT"] = "greens@example.org"
        here = World(server, Path(folder))
        for case in list(cases())[:: 17 if quick else 1]:
            problem, after = judged(case, here)
            total[case.kind] += 1
            handled[case.kind] += not problem
            healed[case.kind] += not after
            if problem or after:
                state = "kept" if case.kept else "nothing kept"
                said = f"not healed: {after}" if after else "healed"
                print(f"{case.kind}, {case.fault}, {state}: {problem or 'handled'}; {said}")
    print("| answer | faults | handled right | healed |\n| --- | --- | --- | --- |")
    for kind, count in total.items():
        print(f"| {kind} | {count} | {handled[kind]} | {healed[kind]} |")
    everything = total.total()
    print(f"| all | {everything} | {handled.total()} | {healed.total()} |")
    print(f"{time.monotonic() - began:.0f} s")
    return int(handled.total() < everything or healed.total() < everything)


if __name__ == "__main__":
    sys.exit(main("--quick" in sys.argv[1:]))
