"""The gallery's scripts draw their pictures and print what its page says."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

GALLERY = Path(__file__).parents[1] / "docs" / "gallery"
SCRIPTS = sorted(path.stem for path in GALLERY.glob("*.py"))


@pytest.mark.slow
@pytest.mark.parametrize("name", SCRIPTS)
def test_script_prints_and_draws_what_the_page_shows(name: str, tmp_path: Path) -> None:
    env = {"PATH": "", "HOME": str(tmp_path), "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-W", "error::FutureWarning", GALLERY / f"{name}.py", tmp_path],
        capture_output=True, text=True, check=True, encoding="utf-8",
        env=env | {"MPLBACKEND": "svg"},
    )  # fmt: skip
    assert texts(tmp_path / f"{name}.svg") == texts(GALLERY / f"{name}.svg")
    page = (GALLERY / "README.md").read_text("utf-8")
    part = page[page.index(f"{name}.py") :]
    block = re.search(r"```text\n(.*?)```", part, re.DOTALL)
    assert block is not None
    assert done.stdout == block[1]


def texts(svg: Path) -> list[str]:
    """The words of a picture: title, axes, legend."""
    found = ET.parse(svg).iter("{http://www.w3.org/2000/svg}text")
    words = ["".join(node.itertext()) for node in found]
    assert words
    return words


def test_every_script_is_on_the_page_with_its_picture() -> None:
    page = (GALLERY / "README.md").read_text("utf-8")
    assert len(SCRIPTS) == 4
    for name in SCRIPTS:
        assert f"]({name}.py)" in page
        assert f"]({name}.svg)" in page
