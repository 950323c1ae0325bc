"""Every command in any code page and width."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
from every_command import COMMANDS, ENDS, UNSAID, leaves, own_copy, prepared, words_of

from windowcast.cli import main

# tables and JSON for those who work on the models, and files for systemd, have their own width
WIDE = ("verify soil", "verify dates", "verify odds", "verify turf", "verify emergence",
        "service install", "trial power", "log export", "completion", "man")  # fmt: skip
LONG = ("verify dates", "compare", "doctor")  # seconds
# Encoding and width are looked at together only where one changes the other: in ASCII the marks
# that stand in for others are the longest.
TERMINALS = [("ascii", 60), ("ascii", 80), ("latin-1", 80), ("utf-8", 120)]


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return prepared(tmp_path_factory.mktemp("stock"))


@pytest.fixture
def folder(stock: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(stock, tmp_path, monkeypatch)


def test_every_command_is_looked_at() -> None:
    """A new command needs words in `every_command.COMMANDS` under which it has something to say."""
    assert set(leaves()) == set(COMMANDS) | UNSAID


def said(
    command: str, folder: Path, encoding: str, columns: int, monkeypatch: pytest.MonkeyPatch
) -> tuple[object, str, str]:
    """Exit code, output and errors of a command that prints to pipes of an encoding."""
    monkeypatch.setenv("COLUMNS", str(columns))
    made = {}
    for name in ("stdout", "stderr"):
        made[name] = io.BytesIO()
        stream = io.TextIOWrapper(made[name], encoding=encoding, write_through=True)
        monkeypatch.setattr(sys, name, stream)
    code: object = 0
    try:
        main(words_of(command, folder))
    except SystemExit as end:
        code = end.code or 0
    texts = [made[name].getvalue().decode(encoding) for name in ("stdout", "stderr")]
    monkeypatch.undo()
    return code, texts[0], texts[1]


def reads_well(
    command: str, folder: Path, encoding: str, columns: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, err = said(command, folder, encoding, columns, monkeypatch)
    assert code == ENDS.get(command, 0), err
    assert "Traceback" not in err
    assert err.count("\n") <= 1
    if command not in WIDE:
        long = [line for line in out.splitlines() if len(line) > columns]
        assert not [line for line in long if max(map(len, line.split())) < 30], "paths stay whole"


@pytest.mark.parametrize("command", sorted(set(COMMANDS) - set(LONG)))
def test_a_command_reads_well_on_a_narrow_terminal_of_windows(
    command: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads_well(command, folder, "cp1252", 60, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize(("encoding", "columns"), TERMINALS)
@pytest.mark.parametrize("command", sorted(set(COMMANDS) - set(LONG)))
def test_a_command_reads_well_on_every_terminal(
    command: str, encoding: str, columns: int, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads_well(command, folder, encoding, columns, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize(("encoding", "columns"), [("cp1252", 60), ("ascii", 60)])
@pytest.mark.parametrize("command", LONG)
def test_a_long_command_reads_well_on_a_narrow_terminal(
    command: str, encoding: str, columns: int, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads_well(command, folder, encoding, columns, monkeypatch)
