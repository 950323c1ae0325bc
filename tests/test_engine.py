"""The engine for many stations: chunks, resuming, a dying worker, a real cluster."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import nullcontext
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.region import engine, pools
from windowcast.region.engine import Station, run, tables_hash
from windowcast.region.parts import Chunk
from windowcast.region.pools import EngineError

STATIONS = tuple(Station(f"S{i:03d}", f"S{i:03d}.csv", region="ab"[i % 2]) for i in range(10))


def double(chunk: tuple[Station, ...], options: str) -> dict[str, pa.Table]:
    """Compute function of the tests: notes each call in a folder, so that calls can be counted."""
    settings = json.loads(options)
    calls = Path(settings["calls"])
    for station in chunk:
        (calls / f"{station.id}-{time.time_ns()}").touch()
    if settings.get("die") and chunk[0].id == "S004":
        marker = calls / "died"
        if settings["die"] == "always" or not marker.exists():
            marker.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    return {
        "numbers": pa.table(
            {"station": [s.id for s in chunk], "value": [2 * int(s.id[1:]) for s in chunk]}
        ),
        "names": pa.table({"station": [s.id for s in chunk], "region": [s.region for s in chunk]}),
    }


def values(parts: list[Chunk]) -> list[int]:
    tables = [pq.read_table(part.file("numbers")) for part in parts]
    return [v for table in tables for v in table.column("value").to_pylist()]


def contents(parts: list[Chunk]) -> list[bytes]:
    return [part.file(name).read_bytes() for part in parts for name in ("numbers", "names")]


def calls(folder: Path) -> int:
    return sum(1 for p in folder.iterdir() if p.name.startswith("S"))


@pytest.fixture
def called(tmp_path: Path) -> Path:
    folder = tmp_path / "calls"
    folder.mkdir()
    return folder


def test_results_come_in_the_order_of_the_stations(tmp_path: Path, called: Path) -> None:
    done: list[tuple[int, int]] = []
    parts = run(
        STATIONS,
        double,
        {"calls": str(called)},
        tmp_path / "parts",
        workers=2,
        chunk_stations=3,
        on_progress=lambda *counts: done.append(counts),
    )
    assert values(parts) == [2 * i for i in range(10)]
    assert [n for n, _ in done] == sorted({0, *(n for n, _ in done)})
    assert done[-1] == (len(STATIONS), len(STATIONS))


def test_a_second_run_computes_nothing_and_a_damaged_part_is_computed_anew(
    tmp_path: Path, called: Path
) -> None:
    args = (STATIONS, double, {"calls": str(called)}, tmp_path / "parts")
    first = run(*args, workers=1, chunk_stations=4)
    before = contents(first)
    assert calls(called) == 10
    assert run(*args, workers=1, chunk_stations=4) == first
    assert calls(called) == 10
    damaged = first[1]
    for n, file in enumerate((damaged.file("numbers"), damaged.file("names"), damaged.checksums)):
        file.write_bytes(file.read_bytes()[:-2])
        run(*args, workers=1, chunk_stations=4)
        assert calls(called) == 14 + 4 * n
    damaged.file("names").unlink()
    run(*args, workers=1, chunk_stations=4)
    assert calls(called) == 26
    assert contents(first) == before


def test_the_checksums_are_those_of_sha256sum(tmp_path: Path, called: Path) -> None:
    """So that GNU coreutils can check a folder of parts too."""
    (part,) = run(STATIONS, double, {"calls": str(called)}, tmp_path / "parts", chunk_stations=10)
    check = ["sha256sum", "--check", "--strict", part.checksums.name]
    done = subprocess.run(check, cwd=part.folder, capture_output=True, text=True, check=True)
    assert done.stdout.count(": OK") == 3


def test_a_changed_science_value_changes_what_a_part_is(
    tmp_path: Path, called: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    science = tmp_path / "data"
    shutil.copytree(str(engine.SCIENCE), science)
    assert tables_hash(science) == tables_hash(engine.SCIENCE)
    monkeypatch.setattr(engine, "SCIENCE", science)
    args = (STATIONS, double, {"calls": str(called)}, tmp_path / "parts")
    first = run(*args, chunk_stations=10)
    table = science / "region.toml"
    text = table.read_text("utf-8")
    table.write_text(text.replace("value = 10.0", "value = 10.5", 1), "utf-8")
    assert table.read_text("utf-8") != text
    second = run(*args, chunk_stations=10)
    assert {p.id for p in first}.isdisjoint(p.id for p in second)
    assert calls(called) == 20
    table.write_text(text, "utf-8")
    (science / "notes.md").write_text("no science value")
    assert run(*args, chunk_stations=10) == first
    assert calls(called) == 20


@pytest.mark.slow
def test_a_killed_worker_costs_a_retry_not_the_run(tmp_path: Path, called: Path) -> None:
    options = {"calls": str(called), "die": "once"}
    parts = run(STATIONS, double, options, tmp_path / "parts", workers=2, chunk_stations=2)
    assert (called / "died").exists()
    assert values(parts) == [2 * i for i in range(10)]


@pytest.mark.slow
def test_a_worker_that_always_dies_ends_in_words_and_keeps_finished_parts(
    tmp_path: Path, called: Path
) -> None:
    options = {"calls": str(called), "die": "always"}
    with pytest.raises(EngineError, match="finished stations are kept"):
        run(STATIONS, double, options, tmp_path / "parts", workers=1, chunk_stations=2)
    assert list((tmp_path / "parts").glob("*.parquet"))


@pytest.mark.slow
def test_interrupted_by_kill_then_resumed_equals_an_uninterrupted_run(
    tmp_path: Path, called: Path
) -> None:
    script = tmp_path / "go.py"
    script.write_text(
        f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
        "from pathlib import Path\nfrom test_engine import STATIONS, double\n"
        "from windowcast.region.engine import run\n"
        "import time\n"
        "if __name__ == '__main__':\n"
        f"    run(STATIONS, double, {{'calls': {str(called)!r}}}, Path({str(tmp_path / 'a')!r}),\n"
        "        workers=1, chunk_stations=2, on_progress=lambda n, of: time.sleep(0.3))\n"
    )
    process = subprocess.Popen([sys.executable, str(script)], start_new_session=True)
    deadline = time.monotonic() + 60
    while not list((tmp_path / "a").glob("*.sha256")) and time.monotonic() < deadline:
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    kept = len(list((tmp_path / "a").glob("*.sha256")))
    assert 0 < kept < 5
    options = {"calls": str(called)}
    resumed = run(STATIONS, double, options, tmp_path / "a", workers=1, chunk_stations=2)
    whole = run(STATIONS, double, options, tmp_path / "b", workers=1, chunk_stations=2)
    assert contents(resumed) == contents(whole)


def told(chunk: tuple[Station, ...], options: str) -> dict[str, pa.Table]:
    """As `double`, of what a station's file says, in as many rows."""
    folder = Path(json.loads(options)["calls"])
    rows = []
    for station in chunk:
        (folder / f"{station.id}-{time.time_ns()}").touch()
        text = Path(station.path).read_text("ascii")
        rows += [(station.id, int(text) + n) for n in range(int(text) % 4)]
    ids, numbers = zip(*rows, strict=True) if rows else ((), ())
    table = pa.table(
        {"station": pa.array(ids, pa.string()), "value": pa.array(numbers, pa.int64())}
    )
    return {"numbers": table, "names": table.drop_columns("value")}


@pytest.mark.parametrize("seed", range(2))
def test_only_stations_whose_record_changed_are_computed_and_parts_are_those_of_a_full_run(
    seed: int, tmp_path: Path, called: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stations changed, added, left out and in another order, chunks of other sizes."""
    monkeypatch.setattr(engine, "pool", lambda *args, **how: nullcontext(pools.Here()))
    draw = random.Random(seed)
    options, parts = {"calls": str(called)}, tmp_path / "parts"
    seen: set[tuple[str, str]] = set()
    ids = [f"S{n:02d}" for n in range(8)]
    for step in range(4):
        for station in draw.sample(ids, draw.randrange(4)) if step else ids:
            (tmp_path / station).write_text(str(draw.randrange(100)))
        chosen = draw.sample(ids, draw.randrange(4, 9))
        stations = [Station(i, str(tmp_path / i)) for i in chosen]
        size, before = draw.randrange(2, 6), calls(called)
        found = run(stations, told, options, parts, chunk_stations=size)
        now = {(i, (tmp_path / i).read_text()) for i in chosen}
        if step < 2:  # later, what was left out once may be gone
            assert calls(called) - before == len(now - seen)
        whole = run(stations, told, options, tmp_path / f"whole{step}", chunk_stations=size)
        assert contents(found) == contents(whole)
        assert [p.id for p in found] == [p.id for p in whole]
        again = calls(called)
        assert run(stations, told, options, parts, chunk_stations=size) == found
        assert calls(called) == again
        seen |= now


def test_parts_that_newer_ones_replace_are_removed_and_those_of_other_options_stay(
    tmp_path: Path, called: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "pool", lambda *args, **how: nullcontext(pools.Here()))
    for n in range(6):
        (tmp_path / f"S{n}").write_text("7")
    stations = [Station(f"S{n}", str(tmp_path / f"S{n}")) for n in range(6)]
    parts = tmp_path / "parts"
    other = run(stations, told, {"calls": str(called), "other": 1}, parts, chunk_stations=3)
    first = run(stations, told, {"calls": str(called)}, parts, chunk_stations=3)
    (tmp_path / "S4").write_text("9")
    second = run(stations, told, {"calls": str(called)}, parts, chunk_stations=3)
    assert first[0] == second[0]
    assert calls(called) == 13
    ids = {path.name.split(".")[0] for path in parts.iterdir()}
    assert ids == {part.id for part in (*other, *second)}


def test_bad_lists_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no station"):
        run((), double, {}, tmp_path / "parts")
    with pytest.raises(InputError, match="listed twice"):
        run((STATIONS[0], STATIONS[0]), double, {}, tmp_path / "parts")


def test_a_scheduler_that_is_away_is_exit_3(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("windowcast.region.pools.CONNECT_S", 1)
    with pytest.raises(SourceUnreachableError, match="does not answer") as caught:
        run(STATIONS, double, {}, tmp_path / "parts", scheduler="tcp://127.0.0.1:9")
    assert caught.value.exit_code == 3
    for address in ("cluster", "tcp://cluster", "tcp://cluster:port"):
        with pytest.raises(InputError, match="give it as tcp://HOST:PORT"):
            run(STATIONS, double, {}, tmp_path / "parts", scheduler=address)


@pytest.mark.slow
def test_on_a_real_cluster_with_a_worker_killed_midway(tmp_path: Path, called: Path) -> None:
    from distributed import LocalCluster

    options = {"calls": str(called), "die": "once"}
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        clustered = run(
            STATIONS,
            double,
            options,
            tmp_path / "a",
            scheduler=cluster.scheduler_address,
            chunk_stations=2,
        )
    local = run(
        STATIONS, double, {"calls": str(called)}, tmp_path / "b", workers=1, chunk_stations=2
    )
    assert (called / "died").exists()
    assert contents(clustered) == contents(local)
