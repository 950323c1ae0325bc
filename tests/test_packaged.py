"""The package's own TOML files, parsed once."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest

from windowcast.core.packaged import packaged_toml

TEXT = '[weed.base]\nvalue = 21.0\nlist = [1, 2.5, "as", true]\n'


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A table of a package of its own."""
    package = tmp_path / "some_tables"
    package.mkdir()
    (package / "__init__.py").touch()
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "some_tables", raising=False)
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    table = package / "weeds.toml"
    table.write_text(TEXT, "utf-8")
    return table


def _read() -> dict[str, object]:
    return packaged_toml("some_tables", "weeds.toml")


def _kept(file: Path) -> list[Path]:
    return list(file.parent.glob("__pycache__/weeds*"))


def test_a_table_is_parsed_once(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert _read() == tomllib.loads(TEXT)
    assert len(_kept(file)) == 1
    monkeypatch.setattr(tomllib, "loads", lambda _: pytest.fail("was parsed again"))
    assert _read() == {"weed": {"base": {"value": 21.0, "list": [1, 2.5, "as", True]}}}


def test_a_changed_table_is_parsed_anew(file: Path) -> None:
    _read()
    file.write_text(TEXT.replace("21.0", "22.0"), "utf-8")
    assert _read() == tomllib.loads(TEXT.replace("21.0", "22.0"))
    file.write_text(TEXT, "utf-8")
    assert _read() == tomllib.loads(TEXT)


@pytest.mark.parametrize("left", [0, 8, 20, 40])
def test_what_is_broken_is_parsed_anew(file: Path, left: int) -> None:
    _read()
    (kept,) = _kept(file)
    whole = kept.read_bytes()
    assert len(whole) > 40
    kept.write_bytes(whole[:left])
    assert _read() == tomllib.loads(TEXT)
    assert kept.read_bytes() == whole


def test_where_nothing_can_be_kept_it_is_parsed_each_time(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (file.parent / "__pycache__").touch()  # no folder can be made there
    assert _read() == tomllib.loads(TEXT)
    (file.parent / "__pycache__").unlink()
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert _read() == tomllib.loads(TEXT)
    assert not _kept(file)


def test_a_table_that_is_not_there(file: Path) -> None:
    file.unlink()
    with pytest.raises(FileNotFoundError):
        _read()
