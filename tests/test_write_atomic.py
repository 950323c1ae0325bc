"""A file is written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError


def test_replaces_whole_file_and_leaves_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    target.write_text("old")
    write_atomic(target, "new – text")
    assert target.read_text("utf-8") == "new – text"
    assert [p.name for p in tmp_path.iterdir()] == ["out.txt"]


def test_missing_folder_is_one_line_and_exit_2(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written") as caught:
        write_atomic(tmp_path / "no" / "out.txt", "x")
    assert caught.value.exit_code == 2
    assert "\n" not in str(caught.value)


def test_a_folder_is_made_or_says_in_one_line_why_not(tmp_path: Path) -> None:
    assert made_folder(made_folder(tmp_path / "a" / "b")).is_dir()
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="file: cannot be made a folder") as caught:
        made_folder(tmp_path / "file")
    assert "\n" not in str(caught.value)


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        write_atomic(tmp_path, "x")


def test_failed_rename_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "out.txt"
    target.write_text("old")

    def full(*_: object) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(InputError, match="No space left"):
        write_atomic(target, "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out.txt"]
