"""`weather doctor` names what is no use in the cache, and puts the last good answers back."""

from __future__ import annotations

import datetime as dt
import gzip
import json
import time
import zlib
from pathlib import Path

import archive_world as world
import nws
import power
import pytest
import soil_served as soil
from click.testing import CliRunner

from windowcast.cli.weather import BAD_LEFT, command
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.doctor import examined, mended

NOW = dt.datetime.fromtimestamp(int(time.time()), dt.UTC)
YEAR = NOW.year - 1
BASE = "https://elsewhere.example"
GOOD = {
    f"{BASE}/points/30.5,-85.25": ("forecast", json.dumps(nws.points()).encode()),
    f"{BASE}/gridpoints/TAE/58,65": (
        "forecast", json.dumps(nws.gridpoint("BMX_32-69", NOW)).encode()
    ),
    f"{BASE}/stations.db": ("archive", world.database([world.Where("NEAR1", 30.5, -85.0)])),
    f"{BASE}/daily/{YEAR}/NEAR1.csv.gz": ("archive", gzip.decompress(world.table(
        world.days(YEAR, dt.date(YEAR, 3, 1), world.climate), world.DAILY, hourly=False))),
    f"{BASE}/hourly/{YEAR}/NEAR1.csv.gz": ("archive", gzip.decompress(world.table(
        world.hours(dt.datetime.combine(dt.date(YEAR, 1, 1), dt.time()), 48,
                    lambda _: {"temp": 9.0}), world.HOURLY, hourly=True))),
    BASE + power.path(dt.date(YEAR, 1, 1), dt.date(YEAR, 1, 9)): ("grid", json.dumps(
        power.days(dt.date(YEAR, 1, 1), dt.date(YEAR, 1, 9))).encode()),
    f"{BASE}{soil.FOLDER}/stations.tsv": (
        "uscrn", f"{soil.HEADER}\n{soil.SELMA_ROW}\n".encode()),
    f"{BASE}{soil.FOLDER}/daily01/2017/CRND0103-2017-AL_Selma_13_WNW.txt": (
        "uscrn", soil.year_of(2017)),
    f"{BASE}{soil.SERVICE}/stations?stationTriplets=*:*:SCAN&activeOnly=true": (
        "nrcs", soil.nrcs_list()),
    f"{BASE}{soil.SERVICE}/data?stationTriplets=2057:AL:SCAN&x": ("nrcs", soil.station()),
}  # fmt: skip
PLACES = {
    "/points": "30.5,-85.25", "/gridpoints": "grid cell TAE 58,65", "/stations":
    "list of stations", "/daily": f"station NEAR1, daily {YEAR}",
    "/hourly": f"station NEAR1, hourly {YEAR}",
    "/api": f"coarse grid 30.5,-85.2, {YEAR} on",
    "/stations.tsv": "list of soil stations (uscrn)",
    "/daily01": "soil at AL Selma 13 WNW, 2017",
    "/services": "list of soil stations (nrcs)",
    "/data": "soil at 2057:AL:SCAN",
}  # fmt: skip


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Cache:
    monkeypatch.setenv("WINDOWCAST_CACHE", str(tmp_path))
    opened = Cache(tmp_path / FILE)
    for url, (source, body) in GOOD.items():
        opened.put(url, source, body, fresh_s=60)
    return opened


def test_a_sound_cache_has_no_findings(cache: Cache) -> None:
    cache.put(f"{BASE}/daily/1900/NEAR1.csv.gz", "archive", None, fresh_s=60)
    assert not list(examined(cache, time.time()))
    done = CliRunner().invoke(command, ["doctor"])
    assert done.exit_code == 0
    assert done.output == "11 answers looked at: nothing wrong.\n"


def test_every_kind_of_bad_answer_is_named_and_the_one_before_put_back(cache: Cache) -> None:
    for url, (source, _) in GOOD.items():
        cache.put(url, source, b"{}", fresh_s=3600)
    found = list(examined(cache, time.time()))
    assert {finding.place for finding in found} == set(PLACES.values())
    assert all(finding.why and finding.bad for finding in found)
    assert [mended(cache, finding) for finding in found] == ["restored"] * len(GOOD)
    assert not list(examined(cache, time.time()))
    for url, (_, body) in GOOD.items():
        entry = cache.entry(url)
        assert cache.body(url) == body
        assert entry is not None
        assert entry.expires_at == 0, "it is asked for again"


def test_without_a_good_one_before_a_bad_answer_is_removed(cache: Cache) -> None:
    url = f"{BASE}/gridpoints/TAE/58,65"
    for body in (b"{}", b"[]"):  # the one before is no use either
        cache.put(url, "forecast", body, fresh_s=3600)
    (finding,) = examined(cache, time.time())
    assert mended(cache, finding) == "removed"
    assert cache.entry(url) is None


def test_damaged_bytes_and_an_issue_in_the_future_are_found(cache: Cache) -> None:
    cell, station = f"{BASE}/gridpoints/TAE/58,65", f"{BASE}/daily/{YEAR}/NEAR1.csv.gz"
    late = nws.gridpoint("BMX_32-69", NOW)
    late["properties"]["updateTime"] = (NOW + dt.timedelta(hours=9)).isoformat()
    cache.put(cell, "forecast", json.dumps(late).encode(), fresh_s=60)
    with cache.writing() as db:
        db.execute("UPDATE entry SET body = ? WHERE url = ?", (zlib.compress(b"x"), station))
        db.execute("UPDATE entry SET body = x'00' WHERE url LIKE '%stations.db'")
    why = {finding.place: finding.why for finding in examined(cache, time.time())}
    assert why == {
        "grid cell TAE 58,65": "its forecast is not to be trusted: issued 9 h from now",
        PLACES["/daily"]: "its bytes are damaged",
        "list of stations": "its bytes are damaged",
    }


def test_an_answer_from_the_future_is_in_doubt_and_asked_for_again(cache: Cache) -> None:
    found = list(examined(cache, time.time() - 7200))
    assert len(found) == len(GOOD)
    assert not any(finding.bad for finding in found)
    assert {mended(cache, finding) for finding in found} == {"asked again"}
    assert all(entry.expires_at <= time.time() for entry in cache.entries())


def test_the_command_names_mends_and_says_so_by_its_exit_code(cache: Cache) -> None:
    url = f"{BASE}/gridpoints/TAE/58,65"
    cache.put(url, "forecast", b"{}", fresh_s=3600)
    run = CliRunner().invoke
    done = run(command, ["doctor"])
    assert done.exit_code == BAD_LEFT == 10
    for word in ("forecast", "grid cell TAE 58,65", "0 min", "does not say when it was issued"):
        assert word in done.output
    raw = json.loads(run(command, ["doctor", "--format", "json"]).output)
    assert raw["looked_at"] == len(GOOD)
    (finding,) = raw["findings"]
    assert (finding["bad"], finding["mended"]) == (True, None)
    done = run(command, ["doctor", "--mend"])
    assert done.exit_code == 0
    assert "the one before is back" in done.output
    assert run(command, ["doctor"]).exit_code == 0


def test_a_cache_of_the_first_form_is_brought_up(cache: Cache) -> None:
    with cache.writing() as db:
        db.execute("DROP TABLE former")
        db.execute("PRAGMA user_version = 1")
    cache.close()
    with Cache(cache.path) as again:
        assert len(again.entries()) == len(GOOD)
        url = f"{BASE}/gridpoints/TAE/58,65"
        again.put(url, "forecast", b"{}", fresh_s=60)
        assert again.former(url) == GOOD[url][1]
