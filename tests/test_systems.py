"""What differs on Windows, macOS and network drives, simulated here."""

from __future__ import annotations

import errno
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path, PureWindowsPath

import pytest
from click.testing import CliRunner
from trial_fixtures import trial_text

from windowcast.cli import cli
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.given_files import is_device
from windowcast.core.site_template import Answers, site_toml
from windowcast.records import store_schema
from windowcast.sources.textfile import split_options
from windowcast.web.incoming import safe_name
from windowcast.web.sites import SiteBook, slug_of

NAMES = ("con.toml", "NUL", "aux.csv.gz", "com1.txt", "LPT9", "contour.csv", "com.toml", "com10",
         "north.con", "null")  # fmt: skip


def held_for(times: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A system that refuses a rename so many times, as Windows while another program reads."""
    left, replace = [times], Path.replace

    def refusing(self: Path, target: Path) -> Path:
        left[0] -= 1
        if left[0] >= 0:
            raise PermissionError(errno.EACCES, "Access is denied")
        return replace(self, target)

    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    monkeypatch.setattr(Path, "replace", refusing)


def test_a_file_that_another_program_reads_for_a_moment_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "page.html").write_text("old", "utf-8")
    held_for(3, monkeypatch)
    write_atomic(tmp_path / "page.html", "new")
    assert (tmp_path / "page.html").read_text("utf-8") == "new"


def test_a_file_that_stays_open_elsewhere_is_said_to_be_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "table.csv").write_text("old", "utf-8")
    held_for(1000, monkeypatch)
    with pytest.raises(InputError, match="is open in another program"):
        write_atomic(tmp_path / "table.csv", "new")
    assert [p.name for p in tmp_path.iterdir()] == ["table.csv"]
    assert (tmp_path / "table.csv").read_text("utf-8") == "old"


@pytest.mark.parametrize("name", NAMES)
def test_devices_of_windows_are_those_that_python_knows(name: str) -> None:
    assert is_device(name) == PureWindowsPath(name).is_reserved()


def test_no_site_or_uploaded_file_is_named_like_a_device() -> None:
    assert slug_of("Con") == "site"
    assert safe_name("CON.csv") == "file-CON.csv"
    assert safe_name("contour.csv") == "contour.csv"


@pytest.mark.parametrize("file", ["alpha.toml", "Alpha.toml"])
def test_a_new_site_takes_the_place_of_no_other_file(file: str, tmp_path: Path) -> None:
    """Nor of a trial, nor of a file whose name differs in capitals alone."""
    trial = tmp_path / file
    trial.write_text(trial_text("glyphosate", North="2017-11-18T10:15:00"), "utf-8")
    before = trial.read_bytes()
    slug = SiteBook(tmp_path).save(site_toml(Answers("Alpha", 36.0, -79.1)), name="Alpha")
    assert slug == "alpha-2"
    assert trial.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([file, "alpha-2.toml"])


@pytest.mark.skipif(os.name != "posix", reason="the locking is one of POSIX")
def test_a_log_opens_at_once_where_no_memory_can_be_shared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's locking by dot files stands in for a network drive: it has no shared memory."""
    path = tmp_path / "season.sqlite"
    monkeypatch.setattr(store_schema.time, "sleep", lambda seconds: pytest.fail("waits"))
    db = sqlite3.connect(f"file:{path}?vfs=unix-dotfile", uri=True, isolation_level=None)
    store_schema.prepare(db, path)
    assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert db.execute("PRAGMA user_version").fetchone() == (store_schema.VERSION,)
    db.close()


def test_a_drive_is_no_option_of_a_file() -> None:
    known = {"dates": ("mdy", "dmy")}
    assert split_options(r"C:\logs\a=b.csv", known) == (r"C:\logs\a=b.csv", {})
    path, options = split_options(r"C:\logs\a.csv:dates=mdy", known)
    assert (path, options) == (r"C:\logs\a.csv", {"dates": "mdy"})


@pytest.mark.skipif(os.name != "posix", reason="a file name with a colon")
def test_doses_are_named_after_the_file_behind_the_drive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    rows = [f"{dose},{100 / (1 + (dose / 40) ** 2) + n:.2f}" for dose in (0, 10, 20, 40, 80, 160)
            for n in range(3)]  # fmt: skip
    Path("C:pots.csv").write_text("\n".join(["dose,dry weight", *rows]), "utf-8")
    done = CliRunner().invoke(cli, ["trial", "dose", "C:pots.csv", "--format", "json"])
    assert json.loads(done.stdout)["analyses"][0]["key"] == "C:pots"


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago", "nowhere"])
def test_the_machines_zone_and_zone_files_change_no_answer(zone: str, tmp_path: Path) -> None:
    """Fourteen hours ahead and eleven behind, without the system's zones, and without a home."""
    around = {**os.environ, "TZ": zone, "PYTHONTZPATH": ""}
    around = {name: value for name, value in around.items() if name not in ("HOME", "COLUMNS")}
    done = subprocess.run(
        [sys.executable, "-m", "windowcast", "rank", "--sample", "--format", "csv"],
        env=around, capture_output=True, text=True, check=True, encoding="utf-8",
    )  # fmt: skip
    assert not done.stderr
    here = CliRunner().invoke(cli, ["rank", "--sample", "--format", "csv"])
    assert done.stdout.splitlines() == here.stdout.splitlines()
