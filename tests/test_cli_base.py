"""The command line as a whole: help, unknown commands, one-line errors."""

from __future__ import annotations

import subprocess
import sys

import pytest

from windowcast.cli import COMMANDS, cli, main


def run(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "windowcast", *args], capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_listed_command_exists_and_explains_itself(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main([name, "--help"])
    assert end.value.code == 0
    out = capsys.readouterr().out
    assert "Usage:" in out
    assert len(out.splitlines()) > 3


def test_help_lists_every_command_and_imports_no_heavy_library() -> None:
    code = (
        "import sys\nfrom windowcast.cli import cli\n"
        "try:\n    cli.main(['--help'], prog_name='windowcast')\n"
        "except SystemExit:\n    pass\n"
        "heavy = {'numpy', 'pandas', 'rich', 'pydantic', 'jinja2', 'requests', 'meteostat'}\n"
        "print('HEAVY', sorted(heavy & set(sys.modules)))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert all(name in result.stdout for name in COMMANDS)
    assert "HEAVY []" in result.stdout


def test_unknown_command_suggests_a_close_one() -> None:
    result = run("rnak")
    assert result.returncode == 2
    assert result.stderr == "windowcast: No such command 'rnak'. Did you mean 'rank'?\n"


def test_an_option_without_its_value_names_its_own_command_for_help(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["rank", "--days"])
    assert end.value.code == 2
    assert capsys.readouterr().err.endswith("requires an argument; see windowcast rank --help\n")


def test_version() -> None:
    assert run("--version").stdout.startswith("windowcast")
    assert cli.name == "cli"
