"""A box of the archive over real HTTP: stations found, records kept, compared, offline again."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from pathlib import Path

import archive_world as world
import numpy as np
import pytest
from archive_world import Where
from loopback import Loopback, closed_port, serving

from windowcast.core.errors import InputError
from windowcast.region import box
from windowcast.region.batch import Options, compute
from windowcast.region.box import fetch_box, record_csv
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetcher
from windowcast.sources.files import read_weather
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import FetchError

TODAY = dt.datetime.now(dt.UTC).date()
LIMITS = Limits(0.5, 0.5, 2.0, 2, 0.01, 0.02, 2)
IN = (Where("IN001", 36.0, -95.0, 200, name="Inside One"), Where("IN002", 36.4, -95.3, None))
EMPTY = Where("EMPTY", 36.2, -95.1, 210, name="No Record")
OUT = Where("OUT01", 38.0, -95.0, 200)
BOX = (35.5, -95.5, 36.5, -94.5)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    monkeypatch.setattr(box, "YEARS", 3)
    with serving() as running:
        monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", running.url)
        world.serve_stations(running, [*IN, EMPTY, OUT])
        for station in IN:
            years = range(TODAY.year - 3, TODAY.year + 1)
            world.serve_daily(running, station.id, years, TODAY - dt.timedelta(1))
        yield running


@pytest.fixture
def cache() -> Iterator[Cache]:
    with Cache() as opened:
        yield opened


def test_stations_in_the_box_are_fetched_kept_and_compared(
    server: Loopback, cache: Cache, tmp_path: Path
) -> None:
    told: list[tuple[str, int, int]] = []
    found = fetch_box(
        BOX,
        tmp_path / "records",
        Fetcher(cache, Client(LIMITS)),
        today=TODAY,
        progress=lambda *step: told.append(step),
    )
    assert [s.id for s in found.stations] == ["IN001", "IN002"]
    assert found.notes == ("without daily record in the archive: No Record",)
    assert told[-1] == ("records", 3, 3)
    assert not any("OUT01" in path for path in server.paths())
    first = found.stations[0]
    assert (first.name, first.latitude_deg, first.elevation_m) == ("Inside One", 36.0, 200)
    record = read_weather(first.path)
    day = dt.date(TODAY.year - 2, 7, 4)
    at = int((np.datetime64(day) - record.times[0]).astype(int))
    served = world.climate(day)
    for name, key in (("tmax_c", "tmax"), ("tmin_c", "tmin"), ("precip_mm", "prcp")):
        assert record.get(name)[at] == served[key]
    assert str(record.times[-1]) == str(TODAY - dt.timedelta(1))
    rows = compute(found.stations, json.dumps(Options().plain()))["seasons"].to_pylist()
    assert all(r["problem"] is None for r in rows)
    assert sum(r["soil_21"] is not None for r in rows) >= 4


def test_what_is_cached_is_enough_offline(server: Loopback, cache: Cache, tmp_path: Path) -> None:
    online = fetch_box(BOX, tmp_path / "a", Fetcher(cache, Client(LIMITS)), today=TODAY)
    asked = len(server.requests)
    offline = fetch_box(BOX, tmp_path / "b", Fetcher(cache, offline=True), today=TODAY)
    assert len(server.requests) == asked
    assert [s.id for s in offline.stations] == [s.id for s in online.stations]
    for a, b in zip(online.stations, offline.stations, strict=True):
        assert Path(a.path).read_bytes() == Path(b.path).read_bytes()


def test_an_empty_and_an_overfull_box_are_refused(
    server: Loopback, cache: Cache, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fetcher = Fetcher(cache, Client(LIMITS))
    with pytest.raises(InputError, match="no station in that box"):
        fetch_box((0, 0, 1, 1), tmp_path, fetcher, today=TODAY)
    monkeypatch.setattr(box, "MAX_STATIONS", 2)
    with pytest.raises(InputError, match="holds 3 stations, more than 2"):
        fetch_box(BOX, tmp_path, fetcher, today=TODAY)


def test_an_archive_that_is_away_is_exit_3(
    cache: Cache, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", f"http://127.0.0.1:{closed_port()}")
    with pytest.raises(FetchError) as caught:
        fetch_box(BOX, tmp_path, Fetcher(cache, Client(LIMITS)), today=TODAY)
    assert caught.value.exit_code == 3


def test_kept_records_lose_nothing(server: Loopback, cache: Cache, tmp_path: Path) -> None:
    found = fetch_box(BOX, tmp_path, Fetcher(cache, Client(LIMITS)), today=TODAY)
    record = read_weather(found.stations[0].path)
    copy = tmp_path / "copy.csv"
    copy.write_text(record_csv(record))
    again = read_weather(copy)
    for name in ("tmax_c", "tmin_c", "precip_mm"):
        np.testing.assert_array_equal(again.get(name), record.get(name))
