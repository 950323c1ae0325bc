"""Files, redirects and host names made to break the program end in one line."""

from __future__ import annotations

import datetime as dt
import os
import random
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from fuzzing import LONG
from starlette.datastructures import Headers

from windowcast import cli
from windowcast.cli.watching import read_state
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import DEBUG, InputError
from windowcast.core.given_files import read_text
from windowcast.core.site import load_site
from windowcast.materials.label_values import read_toml
from windowcast.records.import_export import read_log_file
from windowcast.records.model import FieldNote
from windowcast.records.store import SeasonLog
from windowcast.sources.files import read_weather
from windowcast.sources.http import _joined
from windowcast.verify.emergence import read_seen
from windowcast.verify.turf_sightings import read_sightings
from windowcast.web.security import host_name

READERS: tuple[Callable[[Path], object], ...] = (
    load_site, read_toml, read_weather, read_log_file, SeasonLog, read_state, read_seen,
    read_sightings, read_text, lambda path: write_atomic(path, "x"),
)  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices have names on POSIX only")
@pytest.mark.parametrize("read", READERS)
def test_pipes_and_devices_are_refused_at_once(
    read: Callable[[Path], object], tmp_path: Path
) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        with pytest.raises(InputError, match="is a pipe or a device"):
            read(path)


NOTE = FieldNote(dt.date(2025, 10, 1), "seen")
COMMANDS = ("backup copy.sqlite", "export", "undo", "list", "history", "remove {id}")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, str]:
    """A sound log's bytes, and the id of its last entry."""
    path = tmp_path_factory.mktemp("log") / "sound.sqlite"
    with SeasonLog(path) as log:
        ids = [log.add(NOTE)[0] for _ in range(20)]
        whole = log.backup(path.with_name("whole.sqlite"))
    return whole.read_bytes(), ids[-1]


def _noise(content: bytes, seed: int) -> bytes:
    """The content cut short, or with a page of zeros, with noise, or with bytes changed."""
    chance = random.Random(seed)
    body = bytearray(content)
    at = chance.randrange(100, len(body))
    if seed % 4 == 0:
        return bytes(body[:at])
    if seed % 4 == 1:
        start = at // 4096 * 4096
        body[start : start + 4096] = bytes(4096)
    elif seed % 4 == 2:
        body[at : at + 200] = chance.randbytes(len(body[at : at + 200]))
    else:
        for _ in range(60):
            body[chance.randrange(100, len(body))] = chance.randrange(256)
    return bytes(body[: len(content)])


def _damaged_log_is_said(
    seeds: Iterable[int],
    sound: tuple[bytes, str],
    folder: Path,
    capsys: pytest.CaptureFixture[str],
) -> int:
    """How many commands a damaged log stopped, each with one line and exit code 2."""
    content, entry = sound
    path, refused = folder / "log.sqlite", 0
    for seed in seeds:
        for command in COMMANDS:
            for left in folder.iterdir():
                left.unlink()
            path.write_bytes(_noise(content, seed))
            code: object = 0
            words = command.format(id=entry).replace("copy", str(folder / "copy")).split()
            try:
                cli.main(["log", *words, "--log", str(path)])
            except SystemExit as ended:
                code = ended.code
            said = capsys.readouterr().err
            assert code in {0, 2}, (seed, command, said)
            if code == 2:
                refused += 1
                assert said.count("\n") == 1, (seed, command, said)
                assert not list(folder.glob("*copy*"))
    return refused


def test_a_damaged_log_ends_in_one_line(
    sound: tuple[bytes, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _damaged_log_is_said(range(8), sound, tmp_path, capsys) > 10


@pytest.mark.slow
def test_many_damaged_logs_end_in_one_line_each(
    sound: tuple[bytes, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _damaged_log_is_said(range(40 * LONG), sound, tmp_path, capsys) > 80 * LONG


def test_a_damaged_log_is_not_copied(sound: tuple[bytes, str], tmp_path: Path) -> None:
    content, _ = sound
    path = tmp_path / "log.sqlite"
    path.write_bytes(content[:-4096] + b"\xff" * 4096)  # the last page: opening it reads others
    with SeasonLog(path) as log, pytest.raises(InputError, match="is damaged"):
        log.backup(tmp_path / "copy.sqlite")
    assert not list(tmp_path.glob("*copy*"))


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="no device that is always full")
@pytest.mark.parametrize("command", ["weeds", "--help", "log export --log {log}"])
def test_a_full_output_is_one_line_and_exit_2(
    command: str, sound: tuple[bytes, str], tmp_path: Path
) -> None:
    log = tmp_path / "log.sqlite"
    log.write_bytes(sound[0])
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "windowcast", *command.format(log=log).split()],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "the output cannot be written" in done.stderr


def test_a_year_1_in_the_weather_is_named(tmp_path: Path) -> None:
    file = tmp_path / "old.csv"
    file.write_text("date,tmax_c,tmin_c\n0001-01-01,10,2\n0001-01-02,10,2\n")
    with pytest.raises(InputError, match="row 2: date: 0001-01-01 is before there were"):
        read_weather(file)


@pytest.mark.parametrize("read", [load_site, read_toml])
def test_toml_that_is_nested_too_deep_is_refused(
    read: Callable[[Path], object], tmp_path: Path
) -> None:
    file = tmp_path / "deep.toml"
    file.write_text("a = " + "[" * 3000 + "]" * 3000)
    with pytest.raises(InputError, match="nested too deep"):
        read(file)


@pytest.mark.parametrize("changes", ["null", "7", '"x"', "{}", "[7]", "[" * 100_000])
def test_an_import_whose_changes_are_none_is_refused(changes: str, tmp_path: Path) -> None:
    file = tmp_path / "log.json"
    file.write_text(f'{{"format": "season log", "schema": 1, "changes": {changes}}}')
    with pytest.raises(InputError):
        read_log_file(file)


@pytest.mark.parametrize("to", ["http://[::1", "//x:99999/", "//x:-1/", "http://[x]/"])
def test_a_redirect_to_no_address_leads_nowhere(to: str) -> None:
    assert _joined("http://127.0.0.1/a", to) == ""
    assert _joined("http://127.0.0.1/a", "b") == "http://127.0.0.1/b"


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("[::1]", "::1"), ("[::1]:8765", "::1"), ("localhost:1", "localhost"), ("::1", ""),
        ("[::1].evil.com", ""), ("[::1]:80.evil.com", ""), ("localhost:evil.com", ""), ("", ""),
    ],
)  # fmt: skip
def test_a_host_is_read_whole(host: str, name: str) -> None:
    assert host_name(Headers({"host": host})) == name


def test_an_unforeseen_fault_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(**_: object) -> None:
        raise RuntimeError("secret\nplace")

    monkeypatch.setattr(cli.cli, "main", fails)
    monkeypatch.setenv(DEBUG, "")  # and put back what --debug sets
    for words, traced in ((["rank"], False), (["--debug", "rank"], True)):
        with pytest.raises(SystemExit) as ended:
            cli.main(words)
        said = capsys.readouterr().err
        assert ended.value.code == 1
        assert ("Traceback" in said) is traced
        assert traced or said.count("\n") == 1
