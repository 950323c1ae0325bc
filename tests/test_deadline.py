"""One deadline for all sources of a command, whatever they do; and Ctrl-C ends the wait at once."""

from __future__ import annotations

import datetime as dt
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import archive_world as world
import pytest
from click.testing import CliRunner
from loopback import Answer, serving
from spoken import render

from windowcast.cli import cli
from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.site import Site
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.fetch import Fetcher, deadline_s
from windowcast.sources.side_by_side import side_by_side
from windowcast.weather.load import load_weather

SITE = {
    "name": "Long Meadow", "latitude": 30.5, "longitude": -85.25, "timezone": "Etc/GMT+6",
    "turf": {"overseeded": False, "mature": True}, "soil": {"texture": "loam"},
}  # fmt: skip
SLOW = {
    "silence": Answer(fault="hang"),
    "header byte by byte": Answer(b"{}", fault="drip-header"),
    "body byte by byte": Answer(b"{" + b" " * 999, fault="drip-body"),
    "a redirect byte by byte": Answer(
        b"", 302, headers={"Location": "/elsewhere"}, fault="drip-header"
    ),
    "half an answer": Answer(b"{" + b" " * 999, fault="silent"),
    "told to wait": Answer(b"", 503, headers={"Retry-After": "1"}),
}


@pytest.mark.slow
@pytest.mark.parametrize("slow", SLOW)
def test_no_source_outlasts_the_deadline(
    slow: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving() as server:
        monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", server.url)
        monkeypatch.setenv("WINDOWCAST_FORECAST_URL", server.url)
        server.routes = {"/stations.db": SLOW[slow], "/points/30.5,-85.25": SLOW[slow]}
        fetcher = Fetcher.within(Cache(tmp_path / FILE), 0.6)
        began = time.monotonic()
        with pytest.raises(SourceUnreachableError):
            load_weather(Site.model_validate(SITE), fetcher=fetcher)
        assert time.monotonic() - began < 1.6
        assert len(set(server.paths())) == 2, "both sources were asked side by side"
        assert fetcher.cut == {"archive", "forecast"}


@pytest.mark.slow
def test_no_dead_name_and_no_chain_of_redirects_outlasts_the_deadline(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving() as server:
        monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", "http://nowhere.invalid")
        monkeypatch.setenv("WINDOWCAST_FORECAST_URL", server.url)
        for n in range(9):
            place = "/points/30.5,-85.25" if n == 0 else f"/r{n}"
            server.routes[place] = Answer(
                b"x" * 4, 302, headers={"Location": f"/r{n + 1}"}, fault="drip-body"
            )
        look_up = socket.getaddrinfo
        monkeypatch.setattr(
            "socket.getaddrinfo",
            lambda host, *a, **k: time.sleep(5) if "invalid" in host else look_up(host, *a, **k),
        )
        began = time.monotonic()
        fetcher = Fetcher.within(Cache(tmp_path / FILE), 0.6)
        with pytest.raises(SourceUnreachableError):
            load_weather(Site.model_validate(SITE), fetcher=fetcher)
        assert time.monotonic() - began < 1.6
        assert "archive" in fetcher.cut


@pytest.mark.slow
def test_a_file_among_many_that_drips_costs_only_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came in time makes the answer, and the answer names what did not."""
    today = dt.datetime.now(dt.UTC).date()
    with serving() as server:
        monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", server.url)
        monkeypatch.setenv("WINDOWCAST_FORECAST_URL", server.url)
        world.serve_stations(server, [world.Where("NEAR1", 30.55, -85.25, 70)])
        years = range(today.year - 5, today.year + 1)
        world.serve_daily(server, "NEAR1", years, today - dt.timedelta(2))
        server.routes["/points/30.5,-85.25"] = SLOW["body byte by byte"]
        fetcher = Fetcher.within(Cache(tmp_path / FILE), 4.0)
        began = time.monotonic()
        weather = load_weather(Site.model_validate(SITE), fetcher=fetcher)
        assert time.monotonic() - began < 5.5
        said = [render(flag.text) for flag in weather.daily.flags if flag.check == "cut-off"]
        assert fetcher.cut == {"forecast"}
        assert said[0].startswith("not all weather arrived in the time given (forecast): saved")


def test_every_command_that_asks_sources_takes_a_deadline() -> None:
    for words in ("rank", "season", "weather fetch", "tank sheet", "serve", "compare", "watch"):
        said = CliRunner().invoke(cli, [*words.split(), "--help"]).output
        assert "--deadline SECONDS" in said, words


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sent", "code", "word"), [(signal.SIGINT, 130, "Stopped."), (signal.SIGTERM, 143, "")]
)
def test_being_stopped_ends_the_wait_at_once(
    tmp_path: Path, sent: signal.Signals, code: int, word: str
) -> None:
    lines = (
        'name = "Long Meadow"\nlatitude = 30.5\nlongitude = -85.25\ntimezone = "Etc/GMT+6"\n'
        '[turf]\noverseeded = false\nmature = true\n[soil]\ntexture = "loam"\n'
    )
    (tmp_path / "site.toml").write_text(lines)
    with serving() as server:
        server.routes = {p: Answer(fault="hang") for p in ("/stations.db", "/points/30.5,-85.25")}
        env = {
            **os.environ, "WINDOWCAST_CACHE": str(tmp_path),
            "WINDOWCAST_ARCHIVE_URL": server.url, "WINDOWCAST_FORECAST_URL": server.url,
        }  # fmt: skip
        command = [sys.executable, "-m", "windowcast", "rank", str(tmp_path / "site.toml")]
        running = subprocess.Popen(command, env=env, stderr=subprocess.PIPE, text=True)
        until = time.monotonic() + 20
        while len(server.requests) < 2 and time.monotonic() < until:
            time.sleep(0.05)
        began = time.monotonic()
        running.send_signal(sent)
        _, said = running.communicate(timeout=10)
        assert time.monotonic() - began < 2
        assert running.returncode == code
        assert said.strip() == word


def test_the_deadline_is_30_s_unless_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("WINDOWCAST_DEADLINE", raising=False)
    assert deadline_s() == 30
    monkeypatch.setenv("WINDOWCAST_DEADLINE", "7.5")
    assert deadline_s() == 7.5
    for odd in ("0", "-1", "soon", "inf", "nan"):
        monkeypatch.setenv("WINDOWCAST_DEADLINE", odd)
        with pytest.raises(InputError, match="WINDOWCAST_DEADLINE"):
            deadline_s()


def test_work_side_by_side_keeps_its_order_and_raises_the_first_failure() -> None:
    meet = threading.Barrier(2, timeout=5)
    assert side_by_side([meet.wait, meet.wait], 2) in ([0, 1], [1, 0])
    assert side_by_side([lambda n=n: n for n in range(9)], 2) == list(range(9))

    def fails() -> int:
        raise ValueError(str(dt.date(2026, 1, 1)))

    with pytest.raises(ValueError, match="2026"):
        side_by_side([lambda: 1, fails, lambda: 1 // 0], 3)
    assert side_by_side([], 0) == []
