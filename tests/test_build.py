"""The archives that are given out: built anew from the same source, the same to the byte."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]


def built(source: Path, out: Path, umask: int, **around: str) -> dict[str, bytes]:
    """Source archive and wheel, by name."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-d", out],
        cwd=source, check=True, capture_output=True, umask=umask,
        env={**{k: v for k, v in os.environ.items() if k != "SOURCE_DATE_EPOCH"}, **around},
    )  # fmt: skip
    return {path.name: path.read_bytes() for path in out.iterdir()}


@pytest.mark.slow
def test_two_builds_are_the_same_to_the_byte(tmp_path: Path) -> None:
    """In another zone, language, order of hashes and with other rights; and out of the archive."""
    pytest.importorskip("hatchling")
    first = built(TOP, tmp_path / "a", 0o022, TZ="UTC", PYTHONHASHSEED="1")
    again = built(TOP, tmp_path / "b", 0o077, TZ="Asia/Tokyo", LC_ALL="C", PYTHONHASHSEED="2")
    assert sorted(name.rpartition(".")[2] for name in first) == ["gz", "whl"]
    assert again == first
    (archive,) = (tmp_path / "a").glob("*.tar.gz")
    with tarfile.open(archive) as packed:
        packed.extractall(tmp_path / "source", filter="data")
    (source,) = (tmp_path / "source").iterdir()
    (source / "README.md").touch()  # a later time, as a copy has
    assert built(source, tmp_path / "c", 0o022) == first
