"""Every command into closed pipes and full disks, without a home, and stopped."""

from __future__ import annotations

import errno
import io
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from every_command import ENDS, all_run_here, own_copy, prepared, run, words_of

from windowcast.cli import main
from windowcast.cli.ending import heeding_signals
from windowcast.core.errors import Terminated
from windowcast.region.pools import begun_whole

SHORT = ("weeds", "init", "log export", "trial plan")
posix = pytest.mark.skipif(os.name != "posix", reason="signals and devices are those of POSIX")


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return prepared(tmp_path_factory.mktemp("stock"))


@pytest.fixture
def folder(stock: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(stock, tmp_path, monkeypatch)


# ---- outputs that end early ---------------------------------------------------------------------


def _into_a_pipe_that_nobody_reads(command: str, folder: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    done = run(words_of(command, folder), stdout=write)
    os.close(write)
    assert done.returncode in (0, ENDS.get(command, 0)), done.stderr
    assert not done.stderr or command in ENDS


@posix
@pytest.mark.parametrize("command", SHORT)
def test_a_reader_that_goes_away_is_no_fault(command: str, folder: Path) -> None:
    _into_a_pipe_that_nobody_reads(command, folder)


@posix
@pytest.mark.slow
def test_a_reader_that_goes_away_is_no_fault_of_any_command(stock: Path, tmp_path: Path) -> None:
    found = all_run_here(stock, "-", tmp_path / "found.json")
    ends = {name: (code, err) for name, (code, err) in found.items() if code or err}
    assert set(ends) <= set(ENDS)
    assert all(code in (0, ENDS[name]) and "Traceback" not in err
               for name, (code, err) in ends.items())  # fmt: skip


@posix
@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="no device is always full")
def test_a_full_disk_is_one_line(folder: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = run(["weeds"], stdout=full)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "cannot be written" in done.stderr


def test_a_reader_that_goes_away_is_no_fault_on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Simulated: there, writing to a pipe that nobody reads is EINVAL (bpo-35754)."""

    class Gone(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.setattr("os.dup2", lambda one, other: None)
    monkeypatch.setattr("sys.stdout", Gone())
    monkeypatch.setattr("sys.stderr", said := io.StringIO())
    with pytest.raises(SystemExit) as end:
        main(["weeds"])
    assert (end.value.code, said.getvalue()) == (0, "")


@posix
@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="no device is always full")
def test_a_full_disk_is_one_line_of_every_command(stock: Path, tmp_path: Path) -> None:
    for name, (code, err) in all_run_here(stock, "/dev/full", tmp_path / "found.json").items():
        assert code in (2, ENDS.get(name, 2)), name
        assert err.count("\n") == 1, name
        assert "cannot be written" in err or name in ENDS, name


HOMELESS = {
    **dict.fromkeys(("XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"), "/proc/none"),
    "HOME": "/proc/none", "WINDOWCAST_CACHE": "/proc/none/cache", "MPLCONFIGDIR": "/proc/none/drawn"
}  # fmt: skip
"""A home under which not even root can make a folder."""


def _ends_well_without_a_home(command: str, code: int, err: str) -> None:
    ends = {"weather fetch": 2, "weather import": 2, "weather clear": 0, "doctor": 1}
    assert code == ends.get(command, ENDS.get(command, 0)), (command, err)
    assert err.count("\n") <= 1, command
    assert "Traceback" not in err, command


@posix
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="no folder that nobody may write to")
@pytest.mark.parametrize("command", ["rank", "weather fetch"])
def test_a_home_that_cannot_be_written_keeps_no_answer_away(command: str, folder: Path) -> None:
    done = run(words_of(command, folder), env=HOMELESS)
    _ends_well_without_a_home(command, done.returncode, done.stderr)


@posix
@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="no folder that nobody may write to")
def test_a_home_that_cannot_be_written_stops_no_command(stock: Path, tmp_path: Path) -> None:
    table = tmp_path / "found.json"
    for command, (code, err) in all_run_here(
        stock, str(tmp_path / "out"), table, **HOMELESS
    ).items():
        _ends_well_without_a_home(command, code, err)


# ---- being stopped ------------------------------------------------------------------------------

LOADING = "print('loading', flush=True)\nimport time\ntime.sleep(30)\n"


@posix
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_stopped_while_it_is_loaded_it_says_nothing(sent: signal.Signals, tmp_path: Path) -> None:
    (tmp_path / "click.py").write_text(LOADING)  # found before the real one
    path = os.pathsep.join([str(tmp_path), os.environ.get("PYTHONPATH", ""), *sys.path[1:]])
    running = subprocess.Popen(
        [sys.executable, "-m", "windowcast", "--help"], env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert running.stdout is not None
    assert running.stdout.readline() == "loading\n"
    running.send_signal(sent)
    assert running.communicate(timeout=10) == ("", "")
    assert running.returncode == -sent


@posix
@pytest.mark.slow
@pytest.mark.parametrize("after_s", [0.3, 2.0])
@pytest.mark.parametrize(
    ("sent", "code", "word"), [(signal.SIGINT, 130, "Stopped."), (signal.SIGTERM, 143, "")]
)
def test_stopped_with_its_workers_it_leaves_nothing_behind(
    sent: signal.Signals, code: int, word: str, after_s: float, folder: Path
) -> None:
    """Both go to the whole group, as from a terminal or a service: no trace, semaphore, process."""
    for number in range(60):
        shutil.copy(folder / "daily.csv.gz", folder / "stations" / f"s{number}.csv.gz")
    running = subprocess.Popen(
        [sys.executable, "-m", "windowcast", "compare", "stations", "--offline", "--workers", "2",
         "--chunk", "10"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    until = time.monotonic() + 30
    while not (folder / "comparison").is_dir() and time.monotonic() < until:
        time.sleep(0.05)
    time.sleep(after_s)
    os.killpg(running.pid, sent)
    out, err = running.communicate(timeout=30)
    assert (running.returncode, out, err.strip()) == (code, "", word)
    until = time.monotonic() + 5
    while (left := _group_lives(running.pid)) and time.monotonic() < until:
        time.sleep(0.1)
    assert not left
    assert not [path for path in folder.rglob(".*") if path.is_file()]


@posix
@pytest.mark.parametrize(
    ("sent", "end"), [(signal.SIGINT, KeyboardInterrupt), (signal.SIGTERM, Terminated)]
)
def test_a_stop_waits_until_a_worker_is_begun(
    sent: signal.Signals, end: type[BaseException]
) -> None:
    """Also where another thread takes the signal: a worker begun half way ended with a trace."""
    over, begun = threading.Event(), []
    other = threading.Thread(target=over.wait)
    other.start()

    def begins() -> None:
        with heeding_signals(), begun_whole():
            os.kill(os.getpid(), sent)
            time.sleep(0.05)
            begun.append(True)

    try:
        with pytest.raises(end):
            begins()
    finally:
        over.set()
        other.join()
    assert begun


def _group_lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


@posix
def test_a_stop_that_a_library_swallows_comes_again() -> None:
    def calls_back() -> None:
        with heeding_signals():
            swallowed = SimpleNamespace(exc_type=Terminated)
            sys.unraisablehook(swallowed)  # type: ignore[arg-type]
            time.sleep(5)

    with pytest.raises(Terminated):
        calls_back()
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


@posix
def test_sigterm_cleans_up_and_a_second_one_ends_at_once() -> None:
    def asked_to_end() -> None:
        with heeding_signals():
            try:
                signal.raise_signal(signal.SIGTERM)
            finally:
                assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL

    with pytest.raises(Terminated):
        asked_to_end()
