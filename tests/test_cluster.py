"""A cluster of real processes that fails in every way: one line, and a clean resume."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pyarrow as pa
import pytest

from windowcast.core.errors import SourceUnreachableError
from windowcast.region import pools as cluster_module
from windowcast.region.engine import Station, run
from windowcast.region.parts import Chunk

pytest.importorskip("distributed")
STATIONS = tuple(Station(f"S{i:03d}", f"S{i:03d}.csv") for i in range(8))


def slowly(chunk: tuple[Station, ...], options: str) -> dict[str, pa.Table]:
    """Compute function of the tests: waits, and on its first call may kill its own process."""
    settings = json.loads(options)
    if started := settings.get("started"):
        Path(started).touch()
    time.sleep(settings.get("seconds", 0))
    if marker := settings.get("die"):
        with contextlib.suppress(FileExistsError):
            Path(marker).touch(exist_ok=False)
            os.kill(os.getpid(), signal.SIGKILL)
    return {
        "numbers": pa.table(
            {"station": [s.id for s in chunk], "value": [2 * int(s.id[1:]) for s in chunk]}
        )
    }


def contents(parts: list[Chunk]) -> list[bytes]:
    return [part.file("numbers").read_bytes() for part in parts]


# ------------------------------------------------------------------------ strangers at the address


def stranger(answer: Callable[[socket.socket], object]) -> Iterator[str]:
    """The address of a server that greets each connection with `answer`."""
    held = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            with contextlib.suppress(OSError):
                while True:
                    connection, _ = server.accept()
                    held.append(connection)
                    answer(connection)

        threading.Thread(target=serve, daemon=True).start()
        yield f"tcp://127.0.0.1:{server.getsockname()[1]}"
    for connection in held:
        connection.close()


STRANGERS: dict[str, Callable[[socket.socket], object]] = {
    "says nothing": lambda c: None,
    "hangs up": lambda c: c.close(),
    "speaks another protocol": lambda c: c.sendall(
        b"SSH-2.0-OpenSSH_9.2 and so on, a long line\r\n"
    ),
    "sends zeros": lambda c: c.sendall(bytes(4096)),
}


@pytest.mark.parametrize("kind", STRANGERS)
def test_a_stranger_at_the_address_is_one_line_and_exit_3(
    kind: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(cluster_module, "CONNECT_S", 0.15)
    threads = threading.active_count()
    for address in stranger(STRANGERS[kind]):
        with pytest.raises(SourceUnreachableError, match="does not answer as one") as caught:
            run(STATIONS, slowly, {}, tmp_path / "parts", scheduler=address)
        assert caught.value.exit_code == 3
        assert len(str(caught.value).splitlines()) == 1
    assert capfd.readouterr().err == ""
    assert threading.active_count() <= threads + 1


# ---------------------------------------------------------------------------------- real processes


class Machines:
    """A scheduler and its workers as processes of their own."""

    def __init__(self, port: int) -> None:
        self.address = f"tcp://127.0.0.1:{port}"
        self.running: list[subprocess.Popen[bytes]] = []
        self.scheduler = self._start("dask_scheduler", "--host", "127.0.0.1", "--port", str(port))
        self._wait_until_listening(port)

    def worker(self) -> subprocess.Popen[bytes]:
        return self._start("dask_worker", self.address, "--nthreads", "1", "--no-nanny")

    def restart_scheduler(self, workers: int = 1) -> None:
        for each in self.running:
            each.kill()
            each.wait()
        self.__init__(int(self.address.rsplit(":", 1)[1]))  # type: ignore[misc]
        for _ in range(workers):
            self.worker()

    def stop(self) -> None:
        for each in self.running:
            each.send_signal(signal.SIGCONT)
            each.kill()
            each.wait()

    def _start(self, module: str, *args: str) -> subprocess.Popen[bytes]:
        here = str(Path(__file__).parent)
        path = os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH")])])
        process = subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.{module}", *args, "--no-dashboard"],
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": path},
        )
        self.running.append(process)
        return process

    @staticmethod
    def _wait_until_listening(port: int) -> None:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                return
            time.sleep(0.1)
        raise AssertionError("the scheduler of the test did not start")


@pytest.fixture
def machines(monkeypatch: pytest.MonkeyPatch) -> Iterator[Machines]:
    monkeypatch.setattr(cluster_module, "LOOK_S", 0.3)
    monkeypatch.setattr(cluster_module, "ANSWER_S", 10.0)
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    made = Machines(port)
    yield made
    made.stop()


class Meddler:
    """Does something once after the first station is done."""

    def __init__(self, act: Callable[[], object]) -> None:
        self._act, self._done = act, False

    def __call__(self, done: int, total: int) -> None:
        if done and not self._done:
            self._done = True
            self._act()


def resumed_equals_local(machines: Machines, folder: Path, options: dict[str, object]) -> None:
    again = run(STATIONS, slowly, options, folder, scheduler=machines.address, chunk_stations=1)
    local = run(STATIONS, slowly, options, folder.parent / "l", workers=1, chunk_stations=1)
    assert contents(again) == contents(local)
    assert [p.id for p in again] == [p.id for p in local]


@pytest.mark.slow
@pytest.mark.parametrize("when", ["before the first result", "between results"])
def test_a_scheduler_that_dies_is_one_line_and_the_next_run_carries_on(
    when: str, machines: Machines, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    machines.worker()
    started = tmp_path / "started"
    options: dict[str, object] = {"seconds": 0.3, "started": str(started)}
    between = when == "between results"

    def kill_when_started() -> None:
        while not started.exists():
            time.sleep(0.01)
        machines.scheduler.kill()

    killer = threading.Thread(target=kill_when_started, daemon=True)
    killer.start() if not between else None
    with pytest.raises(SourceUnreachableError, match="went away; finished stations") as caught:
        run(
            STATIONS, slowly, options, tmp_path / "c", scheduler=machines.address,
            chunk_stations=1,
            on_progress=Meddler(machines.scheduler.kill) if between else lambda *_: None,
        )  # fmt: skip
    assert caught.value.exit_code == 3
    assert capfd.readouterr().err == ""
    kept = len(list((tmp_path / "c").glob("*.sha256")))
    assert (kept > 0) == between
    machines.restart_scheduler()  # on the same port
    resumed_equals_local(machines, tmp_path / "c", options)


@pytest.mark.slow
def test_a_worker_that_is_killed_costs_no_more_than_its_chunk(
    machines: Machines, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    machines.worker()
    machines.worker()
    resumed_equals_local(machines, tmp_path / "c", {"die": str(tmp_path / "died"), "seconds": 0.1})
    assert (tmp_path / "died").exists()
    assert capfd.readouterr().err == ""


@pytest.mark.slow
def test_a_short_pause_is_sat_out_and_a_long_one_is_one_line(
    machines: Machines, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    machines.worker()
    send = machines.scheduler.send_signal
    stop, go_on = partial(send, signal.SIGSTOP), partial(send, signal.SIGCONT)
    options: dict[str, object] = {"seconds": 0.2}
    timer = threading.Timer(2.0, go_on)

    def pause() -> None:
        stop()
        timer.start()

    parts = run(
        STATIONS, slowly, options, tmp_path / "a", scheduler=machines.address, chunk_stations=1,
        on_progress=Meddler(pause),
    )  # fmt: skip
    assert len(contents(parts)) == len(STATIONS)
    began = time.monotonic()
    with pytest.raises(SourceUnreachableError, match="has not answered for 10 s"):
        run(
            STATIONS, slowly, options, tmp_path / "c", scheduler=machines.address,
            chunk_stations=1, on_progress=Meddler(stop),
        )  # fmt: skip
    assert time.monotonic() - began < 60
    with pytest.raises(SourceUnreachableError, match="does not answer"):  # still stopped
        run(STATIONS, slowly, options, tmp_path / "d", scheduler=machines.address)
    go_on()
    resumed_equals_local(machines, tmp_path / "c", options)
    assert capfd.readouterr().err == ""


@pytest.mark.slow
def test_a_scheduler_without_workers_and_a_worker_in_its_place_are_one_line(
    machines: Machines, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster_module, "NO_WORKER_S", 1.0)
    with pytest.raises(SourceUnreachableError, match="has had no worker for 1 s"):
        run(STATIONS, slowly, {}, tmp_path / "c", scheduler=machines.address)
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    machines._start(
        "dask_worker",
        machines.address,
        "--no-nanny",
        "--host",
        "127.0.0.1",
        "--worker-port",
        str(port),
    )
    machines._wait_until_listening(port)
    with pytest.raises(SourceUnreachableError, match="does not answer as one"):
        run(STATIONS, slowly, {}, tmp_path / "c", scheduler=f"tcp://127.0.0.1:{port}")
