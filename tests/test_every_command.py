"""Every command in any code page, width and locale."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path

import pytest
from every_command import (
    COMMANDS,
    ENDS,
    UNSAID,
    all_run_here,
    leaves,
    own_copy,
    prepared,
    run,
    words_of,
)

from windowcast.cli import main
from windowcast.cli.plain_marks import print_what_it_can

# files for systemd and shells, and JSON, have their own width
WIDE = ("service install", "log export", "completion", "man")
CODE_PAGES = ("cp1252", "cp437", "cp850", "latin-1", "ascii")
posix = pytest.mark.skipif(os.name != "posix", reason="locales are those of POSIX")


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
    return code, texts[0], texts[1]


def faults_of(
    command: str, folder: Path, encoding: str, columns: int, monkeypatch: pytest.MonkeyPatch
) -> list[str]:
    """What a reader of a command's output would complain of."""
    code, out, err = said(command, folder, encoding, columns, monkeypatch)
    if code != ENDS.get(command, 0) or "Traceback" in err or err.count("\n") > 1:
        return [f"{command}: {code} {err}"]
    lines = [] if command in WIDE else out.splitlines()
    long = [line for line in lines if len(line) > columns]
    paths = (line for line in long if max(map(len, line.split())) >= 30)  # they stay whole
    faults = [f"{command}: too wide: {line}" for line in set(long).difference(paths)]
    for page in CODE_PAGES if encoding == "utf-8" else ():
        made = io.TextIOWrapper(io.BytesIO(), encoding=page)
        print_what_it_can(made)
        made.write(out)
        made.seek(0)
        lost = made.read().count("?") - out.count("?")
        faults += [f"{command}: {page} has nothing near {lost} marks"] if lost else []
    return faults


@pytest.mark.parametrize(
    ("encoding", "columns"),
    [
        ("cp1252", 60),
        pytest.param("ascii", 60, marks=pytest.mark.slow),
        pytest.param("cp437", 80, marks=pytest.mark.slow),
        pytest.param("utf-8", 120, marks=pytest.mark.slow),
    ],
)
def test_every_command_reads_well(
    encoding: str, columns: int, stock: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = []
    for command in COMMANDS:
        with monkeypatch.context() as within:
            own = own_copy(stock, tmp_path / command, within)
            faults += faults_of(command, own, encoding, columns, within)
    assert not faults


# ---- the machine's own encoding -----------------------------------------------------------------

LOCALES: dict[str, dict[str, str]] = {
    "C": {"LC_ALL": "C"},
    "C.UTF-8": {"LC_ALL": "C.UTF-8"},
    "DOS": {"PYTHONIOENCODING": "cp437"},
    "strict": {"PYTHONIOENCODING": "ascii:strict"},
}


ASCII_ALONE = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}


@posix
@pytest.mark.parametrize("locale", LOCALES)
def test_the_machines_locale_changes_no_file_and_stops_no_command(
    locale: str, folder: Path
) -> None:
    """A site named with marks beyond ASCII, written, read and told of."""
    around = LOCALES[locale]
    made = run(["init", "Peñón.toml", "--yes", "--name", "Peñón", "--lat", "38", "--lon", "-4"],
               env=around)  # fmt: skip
    assert (made.returncode, made.stderr.count("\n")) == (0, 0), made.stderr
    assert 'name = "Peñón"' in (folder / "Peñón.toml").read_text(encoding="utf-8")
    for words in (["weeds"], ["log", "list", "--site", "Peñón.toml"]):
        done = run(words, env=around)
        assert done.returncode in (0, 2), done.stderr
        assert "Traceback" not in done.stderr
        assert done.stderr.count("\n") <= 1


@posix
@pytest.mark.slow
def test_every_command_reads_and_writes_utf_8_where_the_machine_says_ascii(
    stock: Path, tmp_path: Path
) -> None:
    """A file opened in the machine's own encoding raises in `every_command_here`."""
    table = tmp_path / "found.json"
    found = all_run_here(stock, str(tmp_path / "out"), table, **ASCII_ALONE)
    for command, (code, err) in found.items():
        assert (code, "Traceback" in err) == (ENDS.get(command, 0), False), (command, err)
