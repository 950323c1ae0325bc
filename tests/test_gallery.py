"""The gallery's scripts draw their pictures and print what its page says."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

GALLERY = Path(__file__).parents[1] / "docs" / "gallery"
SCRIPTS = sorted(path.stem for path in GALLERY.glob("*.py"))
NOTEBOOK = GALLERY / "comparison.ipynb"


@pytest.mark.slow
@pytest.mark.parametrize("name", SCRIPTS)
def test_script_prints_and_draws_what_the_page_shows(name: str, tmp_path: Path) -> None:
    printed = run(tmp_path, GALLERY / f"{name}.py", tmp_path)
    assert texts(tmp_path / f"{name}.svg") == texts(GALLERY / f"{name}.svg")
    assert printed == shown(name)


def run(home: Path, *command: str | Path) -> str:
    """What Python prints of a script, or of the code of ``-c``, in the gallery's folder."""
    env = {"PATH": "", "HOME": str(home), "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-W", "error::FutureWarning", *command],
        capture_output=True, text=True, check=True, encoding="utf-8", cwd=GALLERY,
        env=env | {"MPLBACKEND": "svg"},
    )  # fmt: skip
    return done.stdout


def shown(name: str) -> str:
    """What the page shows of a script's lines."""
    page = (GALLERY / "README.md").read_text("utf-8")
    block = re.search(r"```text\n(.*?)```", page[page.index(f"{name}.py") :], re.DOTALL)
    assert block is not None
    return block[1]


@pytest.mark.slow
def test_the_notebook_prints_what_it_shows_and_draws_what_the_script_does(tmp_path: Path) -> None:
    cells = [
        c for c in json.loads(NOTEBOOK.read_text("utf-8"))["cells"] if c["cell_type"] == "code"
    ]
    mark, drawing = "--- end of a cell", tmp_path / "notebook.svg"
    code = [f"{''.join(cell['source'])}\nprint({mark!r})\n" for cell in cells]
    code.append("plt.style.use('gallery.mplstyle')  # letters stay letters\n")
    code.append(f"figure.savefig({str(drawing)!r})")
    printed = run(tmp_path, "-c", "".join(code)).split(f"{mark}\n")
    stored = ["".join(t for out in cell["outputs"] for t in out["text"]) for cell in cells]
    assert printed == [*stored, ""]
    assert shown("comparison_in_other_tools") in stored
    assert texts(drawing) == texts(GALLERY / "comparison_in_other_tools.svg")


def test_the_notebook_is_small_and_on_the_page() -> None:
    assert NOTEBOOK.stat().st_size < 10_000, "outputs are printed lines, no pictures"
    book = json.loads(NOTEBOOK.read_text("utf-8"))
    assert (book["nbformat"], book["nbformat_minor"]) == (4, 5)
    assert len({cell["id"] for cell in book["cells"]}) == len(book["cells"])
    assert f"]({NOTEBOOK.name})" in (GALLERY / "README.md").read_text("utf-8")


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
