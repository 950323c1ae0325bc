"""From the network to a ranking: the command line over real HTTP, with the sources in good and
bad health."""

from __future__ import annotations

import datetime as dt
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import archive_world as world
import nws
import pytest
from archive_world import Where, climate
from long_meadow import SITE
from loopback import Answer, Loopback, closed_port, serving

from windowcast.core.record import Place
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.foretold import Foretold

NOW = dt.datetime.now(dt.UTC)
TODAY = (NOW - dt.timedelta(hours=6)).date()
FEBRUARY = dt.date(2024, 2, 23)  # as the recorded forecast, whenever the tests run


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Loopback, Path]]:
    """A running server, and a site whose cache one ranking has filled."""
    home = tmp_path_factory.mktemp("home")
    (home / "site.toml").write_text(SITE)
    with serving() as server:
        world.serve_stations(server, [Where("NEAR1", 30.55, -85.25, 70)])
        years = range(TODAY.year - 30, TODAY.year + 1)
        world.serve_daily(server, "NEAR1", years[-6:], TODAY - dt.timedelta(2), lambda d: {
            **climate(FEBRUARY, (d.toordinal() * 7 % 11 - 5) / 2), "rhum": 70, "wspd": 10.0,
        })  # fmt: skip
        start = dt.datetime.combine(TODAY - dt.timedelta(6), dt.time())

        def hour(when: dt.datetime) -> dict[str, object]:
            source = "isd_lite" if when <= NOW.replace(tzinfo=None) else "dwd_mosmix"
            cells = {"temp": 12 + when.hour / 4, "rhum": 60, "prcp": 0.0, "wspd": 9.0}
            return {name: (value, source) for name, value in cells.items()}

        world.serve_hourly(server, "NEAR1", world.hours(start, 24 * 14, hour))
        nws.serve(server, "30.5", "-85.25", nws.gridpoint("BMX_32-69", NOW))
        done = rank(server, home)
        assert done.returncode == 0, done.stderr
        yield server, home


def rank(server: Loopback | str, home: Path, *args: str) -> subprocess.CompletedProcess[str]:
    url = server if isinstance(server, str) else server.url
    env = {
        **os.environ, "HOME": str(home), "WINDOWCAST_CACHE": str(home / "cache"),
        "WINDOWCAST_ARCHIVE_URL": url, "WINDOWCAST_FORECAST_URL": url,
    }  # fmt: skip
    command = [sys.executable, "-m", "windowcast", "rank", str(home / "site.toml"), *args]
    return subprocess.run(command, env=env, capture_output=True, text=True, check=False)


def test_the_forecast_and_the_answer_are_on_record(served: tuple[Loopback, Path]) -> None:
    """A first ranking keeps both; the next of the same forecast adds nothing."""
    server, home = served
    place = Place("", 30.5, -85.25)
    store = Foretold(home / "cache" / FILE)
    before = store.count(place)
    assert rank(server, home).returncode == 0
    assert store.count(place) == before >= 2
    assert {one.source for one in store.said(place, 0)} <= {"nws", "forecast", "mosmix", "metno"}
    assert store.announced(place, 0) or store.said(place, 0)


def aged(home: Path, hours: float) -> None:
    """Make everything kept so much older."""
    with Cache(home / "cache" / FILE) as cache, cache.writing() as db:
        for column in ("fetched_at", "checked_at", "expires_at"):
            db.execute(f"UPDATE entry SET {column} = {column} - ?", (hours * 3600,))


def test_ranking_from_the_network(served: tuple[Loopback, Path]) -> None:
    server, home = served
    before = len(server.requests)
    done = rank(server, home, "--format", "json")
    assert done.returncode == 0, done.stderr
    assert len(server.requests) == before, "the first ranking has filled the cache"
    traced = " ".join(json.loads(done.stdout)["provenance"])
    assert "grid cell BMX 32,69" in traced
    assert "station NEAR1" in traced
    for secret in (str(home), str(Path.cwd()), server.url):
        assert secret not in done.stdout + done.stderr
    assert done.stderr == "", "no progress bar where nobody looks"


@pytest.mark.slow
def test_outage_is_survived_and_told(served: tuple[Loopback, Path]) -> None:
    server, home = served
    kept = dict(server.routes)
    server.routes = {path: Answer(b"", 503) for path in kept}
    try:
        aged(home, 7)
        done = rank(server, home, "--format", "json")
        assert done.returncode == 0, done.stderr
        assert "using the saved" in done.stdout
        assert "503" in done.stdout
        table = rank(server, home, "--offline")
        assert table.returncode == 0, table.stderr
        assert "saved" in table.stdout, "a person reads it too"
        assert "offline" in table.stdout
        aged(home, 24)  # the forecast is too old by now, the archive is not
        done = rank(server, home, "--format", "json", "--offline")
        assert done.returncode == 0, done.stderr
        assert "no forecast" in done.stdout
        aged(home, 24 * 40)
        done = rank(server, home, "--format", "json", "--offline")
        assert done.returncode == 3
        assert "kept: archive" in done.stderr
        assert "days old" in done.stderr
        assert done.stdout == ""
    finally:
        server.routes = kept


def test_no_network_and_nothing_kept(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(SITE)
    began = time.monotonic()
    done = rank(f"http://127.0.0.1:{closed_port()}", tmp_path)
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert "nothing is kept" in done.stderr
    assert "--weather" in done.stderr
    assert "HTTPS_PROXY" in done.stderr
    assert time.monotonic() - began < 15


def test_certificates_that_are_not_there_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(tmp_path / "none.pem"))
    (tmp_path / "site.toml").write_text(SITE)
    done = rank(f"https://127.0.0.1:{closed_port()}", tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith("windowcast: REQUESTS_CA_BUNDLE: ")
    assert done.stderr.count("\n") == 1
