"""Optional parts that are missing, or there and damaged: one line with the cause, exit code 2."""

from __future__ import annotations

import html
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import xlsxwriter
from every_command import prepared, words_of
from web_fixtures import client, make_site

from windowcast.core import extras
from windowcast.core.errors import InputError

CAUSE = "libfoo.so.3: cannot open shared object file"
# module, what needs it
NEEDS = [
    ("scipy", "trial dose", "trials"),
    ("scipy", "trial power", "trials"),
    ("scipy", "trial threshold", "trials"),
    ("matplotlib", "trial dose --picture x.png", "trials"),
    ("numba", "compare", "region"),
    ("pyarrow", "compare", "region"),
    ("netCDF4", "compare --netcdf", "netcdf"),
    ("dask", "compare --scheduler tcp://127.0.0.1:9", "cluster"),
    ("distributed", "compare --scheduler tcp://127.0.0.1:9", "cluster"),
    ("python_calamine", "weather check w.xlsx", "excel"),
    ("python_calamine", "log import w.xlsx --site own.toml", "excel"),
]
_HIDE = """\
import sys
from importlib.machinery import PathFinder
found = PathFinder.find_spec
def find_spec(name, path=None, target=None):
    return None if name.split(".")[0] == {module!r} else found(name, path, target)
PathFinder.find_spec = find_spec
"""


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = prepared(tmp_path_factory.mktemp("stock"))
    with xlsxwriter.Workbook(folder / "w.xlsx") as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["date", "tmax", "tmin"])
        sheet.write_row(1, 0, ["2024-01-01", 10, 1])
    return folder


def run(folder: Path, before: Path, command: str) -> subprocess.CompletedProcess[str]:
    """A command with a folder put before all others in which Python looks for modules."""
    name = " ".join(command.split()[:2]) if command.split(maxsplit=1)[0] != "compare" else "compare"
    words = command.split()
    if "w.xlsx" not in command:
        words = [*words_of(name, folder), *command.removeprefix(name).split()]
    paths = os.pathsep.join([str(before), str(Path(extras.__file__).parents[2])])
    return subprocess.run(
        [sys.executable, "-m", "windowcast", *words], cwd=folder, text=True, check=False,
        capture_output=True, env={**os.environ, "PYTHONPATH": paths},
    )  # fmt: skip


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 2, done.stderr + done.stdout
    assert done.stderr.count("\n") == 1, done.stderr
    assert "Traceback" not in done.stderr
    return done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(("module", "command", "extra"), NEEDS)
def test_what_is_missing_or_damaged_is_named(
    module: str, command: str, extra: str, stock: Path, tmp_path: Path
) -> None:
    """Loading raises what a library that is not there, or is of another system, raises."""
    for error in ("ImportError", "OSError"):
        package = tmp_path / error / module
        package.mkdir(parents=True)
        (package / "__init__.py").write_text(f"raise {error}({CAUSE!r})\n")
        said = one_line(run(stock, package.parent, command))
        assert f"{module} cannot be loaded ({CAUSE})" in said
        assert f"pip install --force-reinstall 'windowcast[{extra}]'" in said
    hidden = tmp_path / "hidden"
    hidden.mkdir()
    (hidden / "sitecustomize.py").write_text(_HIDE.format(module=module))
    said = one_line(run(stock, hidden, command))
    assert f"needs the {extra} extra; pip install 'windowcast[{extra}]'" in said


def test_what_fails_deep_in_a_package_is_named_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The package loads; a part of it, loaded when the work is under way, does not."""
    package = tmp_path / "segno"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "deep.py").write_text(f"raise ImportError({CAUSE!r})\n")
    monkeypatch.syspath_prepend(tmp_path)
    for name in [name for name in sys.modules if name.partition(".")[0] == "segno"]:
        monkeypatch.delitem(sys.modules, name)
    try:
        import segno.deep  # type: ignore[import-not-found]  # noqa: F401
    except ImportError as error:
        found = extras.damage(error)
    finally:
        sys.modules.pop("segno", None)
    assert str(found) == (
        f"segno cannot be loaded ({CAUSE}); pip install --force-reinstall 'windowcast[serve]'"
    )


def test_other_faults_are_not_called_damage() -> None:
    assert extras.damage(ImportError("cannot import name 'x' from 'windowcast'")) is None
    assert extras.damage(ValueError("scipy")) is None


def test_a_package_that_is_not_there_is_missing_not_damaged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(extras, "there", lambda package: False)
    with pytest.raises(InputError, match="it needs the excel extra"):
        extras.require("it", "excel", "python_calamine")
    missing = ModuleNotFoundError("No module named 'numba'", name="numba")
    assert str(extras.damage(missing)) == "numba is not installed; pip install 'windowcast[region]'"


def test_pages_open_without_a_part_that_cannot_be_loaded(
    stock: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The package is there, the part of it that the statistics need is not."""
    folder = shutil.copytree(stock, tmp_path / "sites")
    for name in [name for name in sys.modules if name.startswith("scipy.stats")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "scipy.stats", None)
    extras._cause.cache_clear()
    try:
        browser = client(folder)
        for path in ("/", "/trials/trial"):
            assert browser.get(path).status_code in (200, 303), path
        found = browser.get("/trials/trial/results")
        assert found.status_code == 200
        assert "means and letters need scipy, which cannot be loaded" in found.text
        assert "pip install --force-reinstall" in found.text
        asked = browser.get("/trials/trial/results?cost=45+USD/acre&worth=3+USD/acre")
        assert asked.status_code == 200
    finally:
        extras._cause.cache_clear()


def test_a_page_names_what_fails_in_the_middle_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "segno").mkdir()
    (tmp_path / "segno" / "__init__.py").write_text(f"raise ImportError({CAUSE!r})\n")
    monkeypatch.syspath_prepend(tmp_path)
    for name in [name for name in sys.modules if name.partition(".")[0] == "segno"]:
        monkeypatch.delitem(sys.modules, name)

    def broken(site: object) -> object:
        import segno  # noqa: F401

        raise AssertionError

    found = client(tmp_path, make=broken).get(f"/s/{make_site(tmp_path)}/season")  # type: ignore[arg-type]
    assert found.status_code == 422
    assert f"segno cannot be loaded ({CAUSE})" in html.unescape(found.text)
