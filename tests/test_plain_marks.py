"""Every command prints to outputs that lack its marks, such as the code pages of Windows."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest


def printed(encoding: str, *words: str) -> subprocess.CompletedProcess[bytes]:
    """What a command prints to a pipe of an encoding."""
    around = {**os.environ, "PYTHONIOENCODING": encoding}
    return subprocess.run(
        [sys.executable, "-m", "windowcast", *words], capture_output=True, check=False, env=around
    )


@pytest.mark.parametrize("encoding", ["cp437", "iso8859-15", "ascii"])
def test_an_answer_reads_in_any_code_page(encoding: str) -> None:
    found = printed(encoding, "rank", "--sample")
    assert found.returncode == 0, found.stderr
    text = found.stdout.decode(encoding)
    assert "Spray" in text
    assert "?" not in text.replace("Why?", "")


@pytest.mark.slow
@pytest.mark.parametrize(
    "words", [("plan", "--help"), ("rank", "--sample", "--explain"), ("rank", "nowhere.toml")]
)
def test_help_explanations_and_errors_print_in_a_code_page(words: tuple[str, ...]) -> None:
    """What commands say otherwise: `test_every_command`."""
    found = printed("cp850", *words)
    assert found.returncode == (2 if "nowhere.toml" in words else 0), found.stderr
    assert found.stdout.decode("cp850") or found.stderr.decode("cp850")
