"""What the shell completes, and the manual page, both from the commands as they are."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from every_command import leaves

from windowcast.cli import cli
from windowcast.cli.man import _plain


def completed(*words: str) -> list[str]:
    """What bash is offered for the last word."""
    around = {
        **os.environ, "_WINDOWCAST_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(["windowcast", *words]), "COMP_CWORD": str(len(words)),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-m", "windowcast"], env=around, capture_output=True, text=True, check=True
    )
    return [line.partition(",")[2] for line in done.stdout.splitlines()]


def test_commands_options_and_choices_are_offered() -> None:
    assert completed("we") == ["weather", "weeds"]
    assert completed("weather", "d") == ["doctor"]
    assert "--format" in completed("rank", "--fo")
    assert completed("completion", "z") == ["zsh"]


def test_names_are_offered_without_loading_every_command() -> None:
    code = (
        "import sys, click\nfrom windowcast.cli import cli\n"
        "found = cli.shell_complete(click.Context(cli), '')\n"
        "print(len(found), [m for m in sys.modules if m.startswith('windowcast.cli.')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (
        done.stdout == f"{len(cli.list_commands(click.Context(cli)))} ['windowcast.cli.ending']\n"
    )


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_is_one_that_its_shell_can_read(shell: str) -> None:
    done = CliRunner().invoke(cli, ["completion", shell])
    assert done.exit_code == 0
    assert "_WINDOWCAST_COMPLETE" in done.stdout
    if shutil.which(shell):
        subprocess.run([shell, "-n"], input=done.stdout, text=True, check=True)


@pytest.mark.skipif(not shutil.which("bash"), reason="no bash")
def test_bash_completes_by_it(tmp_path: Path) -> None:
    program = tmp_path / "windowcast"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m windowcast "$@"\n')
    program.chmod(0o755)
    tried = f"""
{CliRunner().invoke(cli, ["completion", "bash"]).stdout}
COMP_WORDS=(windowcast trial p) COMP_CWORD=2
_windowcast_completion windowcast
printf "%s\\n" "${{COMPREPLY[@]}}"
"""
    around = {**os.environ, "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"}
    done = subprocess.run(
        ["bash", "-c", tried], capture_output=True, text=True, check=True, env=around
    )
    assert {"plan", "pool"} <= set(done.stdout.split())


def test_the_manual_page_tells_of_every_command_and_option() -> None:
    text = CliRunner().invoke(cli, ["man"]).stdout
    heads = set(re.findall(r'^\.SS "windowcast (.*)"$', text, re.MULTILINE))
    assert set(leaves()) <= heads
    assert "\\-\\-dry\\-run" in text
    assert all(line.isascii() for line in text.splitlines())


@pytest.mark.skipif(not shutil.which("groff"), reason="no groff to read the page")
def test_groff_reads_the_page_without_a_warning() -> None:
    text = CliRunner().invoke(cli, ["man"]).stdout
    done = subprocess.run(
        ["groff", "-man", "-ww", "-Tutf8"], input=text, capture_output=True, text=True, check=True
    )
    assert not done.stderr
    read = re.sub(r"\x1b\[[\d;]*m|.\x08", "", done.stdout)
    flat = " ".join(read.split())
    assert "windowcast rank" in flat
    assert "--offline" in flat
    assert "11 a window told of before fell back" in flat, "lines of a list stay lines"


def test_what_roff_would_take_for_its_own_is_escaped() -> None:
    assert _plain(".TH x") == "\\&.TH x"
    assert _plain("a\\b -c") == "a\\eb \\-c"
    assert _plain("10–90 %") == "10\\[u2013]90 %"
