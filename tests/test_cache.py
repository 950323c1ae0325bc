"""The weather cache: freshness, revalidation, staleness, eviction, many processes, sudden death."""

from __future__ import annotations

import multiprocessing as mp
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from loopback import Answer, Loopback, closed_port, serving

from windowcast.core.errors import InputError
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import remove
from windowcast.sources.fetch import Fetched, Fetcher, Terms
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import Expect, FetchError, Kind

LIMITS = Limits(0.5, 0.5, 1.0, 1, 0.01, 0.01, 1)
TERMS = Terms("test", Expect.JSON, fresh_s=60, stale_s=600, max_bytes=100_000)


class Clock:
    """A clock that a test can turn."""

    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def server() -> Iterator[Loopback]:
    with serving() as running:
        running.routes = {"/a": Answer(b'{"n": 1}')}
        yield running


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def cache(tmp_path: Path, clock: Clock) -> Iterator[Cache]:
    with Cache(tmp_path / "c.sqlite", clock=clock) as opened:
        yield opened


def fetcher(cache: Cache, clock: Clock, **more: bool) -> Fetcher:
    return Fetcher(cache, Client(LIMITS), clock=clock, **more)


def test_fresh_answer_costs_no_request(cache: Cache, clock: Clock, server: Loopback) -> None:
    for _ in range(3):
        got = fetcher(cache, clock).get(f"{server.url}/a", TERMS)
        assert got.body() == b'{"n": 1}'
        assert not got.stale
    assert len(server.requests) == 1


def test_expired_answer_is_revalidated(cache: Cache, clock: Clock, server: Loopback) -> None:
    url = f"{server.url}/a"
    fetcher(cache, clock).get(url, TERMS)
    clock.now += 61
    again = fetcher(cache, clock).get(url, TERMS)
    assert "if-none-match" in server.requests[-1].headers
    assert again.body() == b'{"n": 1}'
    assert again.fetched_at == clock.now
    fetcher(cache, clock).get(url, TERMS)
    assert len(server.requests) == 2, "the confirmation made it fresh again"
    clock.now += 61
    server.routes["/a"] = Answer(b'{"n": 2}')
    assert fetcher(cache, clock).get(url, TERMS).body() == b'{"n": 2}'


def test_stale_answer_is_flagged_and_only_within_its_age(
    cache: Cache, clock: Clock, server: Loopback
) -> None:
    url = f"{server.url}/a"
    fetcher(cache, clock).get(url, TERMS)
    server.routes["/a"] = Answer(status=500)
    clock.now += 500
    old = fetcher(cache, clock).get(url, TERMS)
    assert old.stale
    assert "server error" in old.problem
    assert clock.now - old.fetched_at == 500
    clock.now += 101
    with pytest.raises(FetchError, match="server error"):
        fetcher(cache, clock).get(url, TERMS)


def test_offline_uses_only_the_cache(cache: Cache, clock: Clock, server: Loopback) -> None:
    url = f"{server.url}/a"
    with pytest.raises(FetchError) as caught:
        fetcher(cache, clock, offline=True).get(url, TERMS)
    assert caught.value.kind is Kind.OFFLINE
    fetcher(cache, clock).get(url, TERMS)
    assert not fetcher(cache, clock, offline=True).get(url, TERMS).stale
    clock.now += 100
    assert fetcher(cache, clock, offline=True).get(url, TERMS).stale
    assert len(server.requests) == 1


def test_not_there_is_kept_for_a_day(cache: Cache, clock: Clock, server: Loopback) -> None:
    for _ in range(2):
        assert not fetcher(cache, clock).get(f"{server.url}/none", TERMS).found
    assert len(server.requests) == 1
    clock.now += 86_401
    server.routes["/none"] = Answer(b"{}")
    assert fetcher(cache, clock).get(f"{server.url}/none", TERMS).found


def test_clock_set_back_makes_nothing_fresh(cache: Cache, clock: Clock, server: Loopback) -> None:
    """An entry from the future could otherwise be taken as fresh for years."""
    fetcher(cache, clock).get(f"{server.url}/a", TERMS)
    clock.now -= 86_400
    fetcher(cache, clock).get(f"{server.url}/a", TERMS)
    assert len(server.requests) == 2


def test_several_at_once_keep_their_order(cache: Cache, clock: Clock, server: Loopback) -> None:
    urls = [f"{server.url}/{n}" for n in range(12)]
    server.routes = {f"/{n}": Answer(b'{"n": %d}' % n) for n in range(12)}
    server.routes["/5"] = Answer(status=403)
    done: list[int] = []
    got = fetcher(cache, clock).get_all(urls, lambda _: TERMS, lambda: done.append(1))
    bodies = [g.body() if isinstance(g, Fetched) else g.kind for g in got]
    assert bodies == [b'{"n": %d}' % n if n != 5 else Kind.REFUSED for n in range(12)]
    assert len(done) == 12


def test_derived_holds_only_for_its_digest(cache: Cache) -> None:
    cache.put_derived("k", "test", "d1", b"one")
    assert cache.derived("k", "d1") == b"one"
    assert cache.derived("k", "d2") is None


def test_eviction_removes_what_was_used_longest_ago(tmp_path: Path, clock: Clock) -> None:
    with Cache(tmp_path / "e.sqlite", max_bytes=50_000, clock=clock) as cache:
        for n in range(20):
            clock.now += 100_000
            cache.put(f"u{n}", "test", os.urandom(10_000), fresh_s=1)
            if n >= 1:
                assert cache.entry("u0") is not None, "read each time, so never the oldest"
        assert cache.size() <= 50_000
        assert cache.entry("u19") is not None
        assert cache.entry("u3") is None
        cache.put("huge", "test", os.urandom(80_000), fresh_s=1)
        assert cache.entry("huge") is not None, "what just came stays"
        assert cache.sound()
    assert (tmp_path / "e.sqlite").stat().st_size < 250_000


def test_holdings_and_clear(cache: Cache, clock: Clock) -> None:
    cache.put("u1", "archive", b"x" * 100, fresh_s=10)
    clock.now += 20
    cache.put("u2", "archive", b"y" * 100, fresh_s=10)
    cache.put("u3", "forecast", b"z", fresh_s=10)
    archive, forecast = cache.holdings()
    assert (archive.source, archive.entries, archive.fresh) == ("archive", 2, 1)
    assert archive.newest - archive.oldest == 20
    assert forecast.source == "forecast"
    assert cache.clear("archive") == 2
    assert [h.source for h in cache.holdings()] == ["forecast"]
    assert cache.clear() == 1


@pytest.mark.parametrize(
    "junk", [b"not a database at all" * 100, b"SQLite format 3\0" + b"\xff" * 4096]
)
def test_damaged_file_is_set_aside(tmp_path: Path, junk: bytes) -> None:
    path = tmp_path / "c.sqlite"
    path.write_bytes(junk)
    with Cache(path) as cache:
        cache.put("u", "test", b"fine", fresh_s=1)
        assert cache.sound()
    assert Path(f"{path}.damaged").read_bytes() == junk


def test_damage_found_later_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "c.sqlite"
    with Cache(path) as cache:
        for n in range(200):
            cache.put(f"u{n}", "test", os.urandom(3000), fresh_s=1)
        cache.clear("nothing")  # moves the write-ahead log into the file
    raw = bytearray(path.read_bytes())
    raw[8192:] = b"\xa5" * (len(raw) - 8192)
    path.write_bytes(raw)
    with Cache(path) as cache, pytest.raises(InputError, match="clear --all"):
        [cache.body(f"u{n}") for n in range(200)]
    assert remove(path)


def test_unusable_folder_is_named_with_a_remedy(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="WINDOWCAST_CACHE"):
        Cache(tmp_path / "file" / "c.sqlite").entry("u")


def test_newer_form_is_left_alone(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "c.sqlite") as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(InputError, match="form 99"):
        Cache(tmp_path / "c.sqlite").entry("u")


def _fill(path: Path, url: str, offset: int, result: mp.Queue[object]) -> None:
    try:
        with Cache(path) as cache:
            urls = [f"{url}/{(n + offset) % 60}" for n in range(60)]
            got = Fetcher(cache, Client()).get_all(urls, lambda _: TERMS)
            result.put(sum(isinstance(g, Fetched) and g.found for g in got))
    except BaseException as error:
        result.put(repr(error))


def test_two_processes_fill_one_cache(tmp_path: Path, server: Loopback) -> None:
    server.routes = {f"/{n}": Answer(b'{"n": %d}' % n * 500) for n in range(60)}
    context = mp.get_context("spawn")
    result: mp.Queue[object] = context.Queue()
    path = tmp_path / "c.sqlite"
    both = [
        context.Process(target=_fill, args=(path, server.url, offset, result)) for offset in (0, 30)
    ]
    for process in both:
        process.start()
    assert [result.get(timeout=30) for _ in both] == [60, 60]
    for process in both:
        process.join(10)
    with Cache(path) as cache:
        assert cache.holdings()[0].entries == 60
        assert cache.sound()


def _open_at_once(path: Path, start: Any, result: mp.Queue[object]) -> None:
    start.wait()
    try:
        with Cache(path) as cache:
            cache.put(str(os.getpid()), "test", b"x", fresh_s=1)
            result.put(None)
    except BaseException as error:
        result.put(repr(error))


def test_processes_that_start_together_make_one_cache(tmp_path: Path) -> None:
    context = mp.get_context("fork")
    for round_number in range(8):
        path = tmp_path / f"{round_number}.sqlite"
        start, result = context.Event(), context.Queue()
        crowd = [
            context.Process(target=_open_at_once, args=(path, start, result)) for _ in range(5)
        ]
        for process in crowd:
            process.start()
        start.set()
        assert [result.get(timeout=30) for _ in crowd] == [None] * 5
        for process in crowd:
            process.join(10)
        with Cache(path) as cache:
            assert cache.holdings()[0].entries == 5
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


_WRITER = """
import os, sys
from pathlib import Path
from windowcast.sources.cache import Cache
cache = Cache(Path(sys.argv[1]), max_bytes=400_000)
cache.put("first", "test", b"x", fresh_s=1)
print("ready", flush=True)
n = 0
while True:
    n += 1
    cache.put(f"u{n % 50}", "test", os.urandom(20_000), fresh_s=1)
    cache.put_derived(f"k{n % 50}", "test", "d", os.urandom(5_000))
"""


def test_killed_at_any_point_it_stays_readable(tmp_path: Path) -> None:
    path = tmp_path / "c.sqlite"
    for round_number in range(8):
        writer = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        time.sleep(0.02 + 0.037 * round_number)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        with Cache(path) as cache:
            assert cache.sound()
            assert cache.holdings()[0].entries > 0
    assert not list(tmp_path.glob("*.damaged*"))


def test_unreachable_and_nothing_kept(cache: Cache, clock: Clock) -> None:
    with pytest.raises(FetchError) as caught:
        fetcher(cache, clock).get(f"http://127.0.0.1:{closed_port()}/", TERMS)
    assert caught.value.exit_code == 3
