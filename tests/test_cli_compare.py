"""``windowcast compare`` as people call it: sources, exit codes, interruption, faults in lists."""

from __future__ import annotations

import csv
import errno
import importlib.util
import io
import json
import math
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from regions_made_up import between
from spoken import METRIC
from test_ghcn_bulk import PLACES, write_years
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_ATLANTIC, MID_SOUTH, OHIO

from windowcast.cli import main
from windowcast.cli.compare import _difference, _median
from windowcast.region.columns import QUANTITIES
from windowcast.region.regional import Estimate
from windowcast.report.catalogue import Voice
from windowcast.report.region_page import _date_cell

FILES = [FOLDER / f"{name}.txt.gz" for name in (DEEP_SOUTH, MID_SOUTH, MID_ATLANTIC, OHIO)]
WRITTEN = (
    "seasons.parquet", "stations.parquet", "seasons.csv", "normals.csv", "weeks.csv",
    "differences.csv", "left_out.csv", "stations.geojson", "index.html", "regions.csv",
    "region_seasons.csv", "region_weeks.csv", "difference_weeks.csv", "failing.csv",
    "datapackage.json",
)  # fmt: skip


def run(*args: object, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Exit code, output and error of the command line, as the entry point gives them."""
    code = 0
    try:
        main(["compare", *map(str, args)])
    except SystemExit as end:
        code = int(end.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "stations"
    home.mkdir()
    for file in FILES[:2]:
        shutil.copy(file, home)
    return home


def test_a_folder_is_compared_and_everything_written(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "notes.md").write_text("not weather")
    code, out, err = run(folder, "--out", tmp_path / "out", "--workers", 1, capsys=capsys)
    assert (code, err) == (0, "")
    for name in WRITTEN:
        assert (tmp_path / "out" / name).stat().st_size > 20
        assert name in out
    assert not (tmp_path / "out" / "seasons.nc").exists()
    assert "passed over in the folder: notes.md" in out
    assert "2 stations" in out
    # a second run computes nothing anew and prints the same as CSV and JSON
    parts = {p: p.stat().st_mtime_ns for p in (tmp_path / "out" / "parts").iterdir()}
    again = ("--out", tmp_path / "out", "--workers", 1)
    code, out, _ = run(folder, *again, "--format", "csv", capsys=capsys)
    assert code == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert {r["station"] for r in rows} == {DEEP_SOUTH, MID_SOUTH}
    code, out, _ = run(folder, *again, "--format", "json", "--netcdf", capsys=capsys)
    assert code == 0
    assert len(json.loads(out)["features"]) == 2
    assert (tmp_path / "out" / "seasons.nc").is_file()
    assert {p: p.stat().st_mtime_ns for p in (tmp_path / "out" / "parts").iterdir()} == parts


def test_a_list_names_regions_and_places(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "list.csv"
    lines = [f"{file},s{n},Station {n},{'ab'[n % 2]},x" for n, file in enumerate(FILES[:2])]
    table.write_text("\n".join(["file,id,name,region,owner", *lines, ""]))
    code, out, _ = run(table, "--out", tmp_path / "o", "--since", 2013, capsys=capsys)
    assert code == 0
    assert "columns not used: owner" in out
    seasons = list(csv.DictReader((tmp_path / "o" / "seasons.csv").open()))
    assert {(r["station"], r["region"]) for r in seasons} == {("s0", "a"), ("s1", "b")}
    assert min(int(r["season"]) for r in seasons) == 2013
    differences = list(csv.DictReader((tmp_path / "o" / "differences.csv").open()))
    assert {(r["first"], r["second"]) for r in differences} == {("a", "b")}
    # other regions are drawn on the stations as they were computed
    parts = {p: p.stat().st_mtime_ns for p in (tmp_path / "o" / "parts").iterdir()}
    again = (table, "--out", tmp_path / "o", "--since", 2013)
    boxes = ("--region", "Low=30,-90,34,-80", "--region", "High=34,-90,40,-80")
    assert run(*again, *boxes, capsys=capsys)[0] == 0
    differences = list(csv.DictReader((tmp_path / "o" / "differences.csv").open()))
    assert {(r["first"], r["second"]) for r in differences} == {("Low", "High")}
    assert run(*again, "--region-column", "owner", capsys=capsys)[0] == 0
    assert {p: p.stat().st_mtime_ns for p in (tmp_path / "o" / "parts").iterdir()} == parts
    for wrong, words in (
        (("--region", "A=30,-90,40,-80", *boxes), "station s0 lies in both A and Low; draw"),
        (("--region", "A=1,2"), "'A=1,2' is no region; write"),
        (("--region-heights", "300", *boxes), "give one of --region, --region-column and"),
    ):
        code, out, err = run(*again, *wrong, capsys=capsys)
        assert (code, out) == (2, "")
        assert words in err


def test_a_file_of_a_list_may_carry_its_options(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    days = np.arange(np.datetime64("2013-07-01"), np.datetime64("2015-07-01"))
    fahrenheit = [f"{day},{60 + day.astype(int) % 9},{45 + day.astype(int) % 7},0" for day in days]
    (tmp_path / "old.csv").write_text("\n".join(["DATE,TMAX,TMIN,PRCP", *fahrenheit, ""]))
    table = tmp_path / "list.csv"
    table.write_text('file,latitude,longitude\n"old.csv:units=us,order=any",35,-79\n')
    code, out, err = run(table, "--out", tmp_path / "o", "--workers", 1, capsys=capsys)
    assert (code, err) == (0, "")
    assert "not used" not in out
    found = list(csv.DictReader((tmp_path / "o" / "seasons.csv").open()))
    assert {row["station"] for row in found} == {"old"}
    assert {float(row["frost_days"]) for row in found} == {0.0}  # 45 °F is no frost, 7 °C
    table.write_text("file,latitude,longitude\nold.csv:units=old,35,-79\n")
    code, out, err = run(table, "--out", tmp_path / "o", capsys=capsys)
    assert (code, out) == (2, "")
    assert "list.csv: row 2: file: units=old is not known; use one of us" in err


def test_no_file_is_written_over_that_is_not_of_a_comparison(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "work"
    home.mkdir()
    rows = ["file", *(str(folder / Path(file).name) for file in FILES[:1])]
    listed = home / "regions.csv"
    listed.write_text("\n".join(rows) + "\n")
    before = listed.read_text()
    code, _, err = run(listed, "--out", home, "--workers", 1, capsys=capsys)
    assert code == 2
    assert "has a regions.csv that is not of a comparison; name a new folder" in err
    assert [path.name for path in home.iterdir()] == ["regions.csv"]
    assert listed.read_text() == before
    (home / "parts").mkdir()  # as an earlier comparison leaves it
    code, _, err = run(listed, "--out", home, "--workers", 1, capsys=capsys)
    assert (code, listed.read_text()) == (2, before)


def test_by_year_files_with_the_archives_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "by_year"
    source.mkdir()
    write_years(source, header=False)
    places = tmp_path / "ghcnd-stations.txt"
    places.write_text(PLACES)
    given = (source, "--stations", places, "--out", tmp_path / "o", "--workers", 1)
    code, out, err = run(*given, "--at-least", 1, capsys=capsys)
    assert (code, err) == (0, "")
    seasons = list(csv.DictReader((tmp_path / "o" / "seasons.csv").open()))
    assert {r["station"] for r in seasons} == {"USW00013904", "ASN00086071"}
    assert {r["problem"] for r in seasons} == {""}
    assert "1 stations are not on ghcnd-stations.txt" in out
    # by default stations with normals, or as many seasons as the longest has
    code, out, _ = run(*given, "--region-column", "state", capsys=capsys)
    assert code == 0
    assert "1 of 2 seasons complete, fewer than 5" in out
    _, spanish, _ = run(*given, "--region-column", "state", "--lang", "es", capsys=capsys)
    assert "1 de 2 temporadas completas, menos de 5" in spanish
    assert "1 estaciones no están en ghcnd-stations.txt" in spanish
    left = list(csv.DictReader((tmp_path / "o" / "left_out.csv").open()))
    assert {row["station"]: row["kind"] for row in left} == {
        "UK000056225": "not listed", "ASN00086071": "short"
    }  # fmt: skip
    stations = json.loads((tmp_path / "o" / "stations.geojson").read_text())["features"]
    assert [s["properties"]["region"] for s in stations] == ["TX"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("id,name\na,b\n", "row 1: has no column 'file'"),
        ("file,id\n,a\n", "row 2: file: is empty"),
        ("file,id\ngone.csv,a\n", "row 2: file: 'gone.csv' is not a file"),
        ("file,latitude\n{0},north\n", "row 2: latitude: 'north' is not a number from -90 to 90"),
        ("file,longitude\n{0},-181\n", "row 2: longitude: '-181'"),
        ("file,id\n{0},a\n{1},a\n", "station a is listed twice"),
        ("file,id\n", "holds no weather file"),
    ],
)
def test_faults_of_a_list_are_named(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "list.csv"
    table.write_text(text.format(*FILES))
    code, out, err = run(table, "--out", tmp_path / "o", capsys=capsys)
    assert (code, out) == (2, "")
    assert words in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("nowhere",), "is not there"),
        (("91,0,92,1",), "is not a box"),
        (("10,0,5,1",), "is not a box"),
        (("-30,0,-35,1",), "'-30,0,-35,1' is not a box"),
        (("{0}", "--species", "plastic"), "plastic"),
        (("{0}", "--since", "2015", "--until", "2014"), "--until lies before --since"),
        (("{0}", "--since", "2100"), "none of 2 stations can be used"),
    ],
)
def test_bad_requests_are_exit_2(
    args: tuple[str, ...],
    words: str,
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    given = [a.format(folder) for a in args]
    code, _, err = run(*given, "--out", tmp_path / "o", "--workers", 1, capsys=capsys)
    assert code == 2
    assert words in err
    assert "Traceback" not in err


def test_a_scheduler_or_archive_that_is_away_is_exit_3(
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("windowcast.region.pools.CONNECT_S", 1)
    away = ("--scheduler", "tcp://127.0.0.1:9")
    code, _, err = run(folder, "--out", tmp_path / "o", *away, capsys=capsys)
    assert code == 3
    assert "does not answer" in err
    for box in ("30,-90,31,-89", "-35,150,-34,151"):  # the second begins as options do
        code, _, err = run(box, "--offline", "--out", tmp_path / "o", capsys=capsys)
        assert code == 3
        assert "Traceback" not in err


def test_a_folder_that_may_not_be_read_is_named(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(path: Path) -> None:  # by the system; who runs the tests may be allowed everything
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(Path, "iterdir", refused)
    code, out, err = run(folder, capsys=capsys)
    assert (code, out) == (2, "")
    assert f"{folder}: cannot be read (Permission denied); check" in err


def test_a_folder_that_cannot_be_made_is_named(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    code, out, err = run(folder, "--out", tmp_path / "file" / "o", capsys=capsys)
    assert (code, out) == (2, "")
    assert "parts: cannot be made a folder (Not a directory); name a folder" in err


@pytest.mark.parametrize(
    ("gone", "extra", "words"),
    [
        ("numba", "region", ()),
        ("pyarrow", "region", ()),
        ("scipy", "region", ()),
        ("netCDF4", "netcdf", ("--netcdf",)),
    ],
)
def test_without_the_extra_it_says_what_to_install(  # noqa: PLR0917
    gone: str,
    extra: str,
    words: tuple[str, ...],
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    find_spec = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == gone else find_spec(name)
    )
    code, out, err = run(folder, *words, capsys=capsys)
    assert (code, out) == (2, "")
    assert f"pip install 'windowcast[{extra}]'" in err


def test_of_many_stations_some_are_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("windowcast.cli.compare.MAX_PRINTED", 2)
    table = tmp_path / "list.csv"
    lines = [f"{file},s{n}" for n, file in enumerate(FILES[:3])]  # s0 southmost, s2 northmost
    table.write_text("\n".join(["file,name", *lines, ""]))
    years = ("--since", 2013, "--until", 2014)
    code, out, _ = run(table, "--out", tmp_path / "o", *years, capsys=capsys)
    assert code == 0
    _, head, rows = out.partition("3 stations: median dates")  # after what was found
    words = (head + rows).split("Differences")[0].split()
    told = "3 stations: median dates of 2, evenly from north to south; normals.csv has all"
    assert told in " ".join(words)
    assert [word for word in words if word in ("s0", "s1", "s2")] == ["s2", "s0"]
    assert len(list(csv.DictReader((tmp_path / "o" / "normals.csv").open()))) == 3 * len(QUANTITIES)


def test_regions_are_told_apart_in_print(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "list.csv"
    lines = [f"{file},s{n},Place {n},{'ab'[n]}" for n, file in enumerate(FILES[:2])]
    table.write_text("\n".join(["file,id,name,region", *lines, ""]))
    code, out, _ = run(table, "--out", tmp_path / "o", "--since", 2010, capsys=capsys)
    assert code == 0
    assert "Place 0" in out  # the name, not the id
    found = csv.DictReader((tmp_path / "o" / "differences.csv").open())
    greenup = next(row for row in found if row["quantity"] == "greenup")
    line = next(line for line in out.splitlines() if line.startswith("a − b"))
    star = "*" if float(greenup["low"]) * float(greenup["high"]) > 0 else ""
    assert greenup["at_least"] == "false"
    assert f"{float(greenup['difference']):+.0f}{star}".replace("-", "−") == line.split()[6]
    # of two seasons no normal can be told
    few = ("--since", 2013, "--until", 2014)
    code, out, _ = run(table, "--out", tmp_path / "o", *few, capsys=capsys)
    assert code == 0
    assert "? cannot tell: in fewer than 5 years\n" in out
    assert "rarely" not in out


@pytest.mark.parametrize(
    ("middle", "at_least", "printed"),
    [(31.2, True, "≥31*"), (-31.2, True, "≤−31*"), (31.2, False, "+31*"), (-31.2, False, "−31*")],
)
def test_a_difference_of_at_least_so_many_days_is_printed_as_one(
    middle: float, at_least: bool, printed: str
) -> None:
    ends = Estimate(middle, middle - 5, middle + 5)
    assert _difference(between("a", "b", "dormant", ends, at_least=at_least)) == printed


@pytest.mark.parametrize("never", [math.inf, -math.inf])  # dormancy, green-up
def test_a_date_that_never_comes_is_no_unknown_one(never: float) -> None:
    assert _median(never, "dormant", METRIC, southern=False) == "rarely"
    assert _median(never, "dormant", Voice("metric", "es"), southern=False) == "rara vez"
    assert _median(math.nan, "dormant", METRIC, southern=False) == "?"
    assert _date_cell(never, METRIC, southern=False).text == "not in half of the seasons"
    assert _date_cell(math.nan, METRIC, southern=False).text == "cannot tell"


@pytest.mark.slow
def test_interrupted_and_started_again_it_writes_the_same_bytes(tmp_path: Path) -> None:
    source = tmp_path / "stations"
    source.mkdir()
    for n in range(3):
        for file in FILES:
            shutil.copy(file, source / f"{n}_{file.name}")

    def start(out: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "windowcast", "compare", str(source), "--chunk", "2"]
        return subprocess.Popen(
            [
                *command,
                "--workers",
                "1",
                "--out",
                str(tmp_path / out),
                "--since",
                "2012",
                "--until",
                "2013",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )

    whole = start("whole")
    assert whole.wait(120) == 0
    cut = start("cut")
    deadline = time.monotonic() + 60
    while not list((tmp_path / "cut").glob("parts/*.sha256")) and time.monotonic() < deadline:
        time.sleep(0.01)
    os.killpg(cut.pid, signal.SIGKILL)
    cut.wait()
    done = {p.name for p in (tmp_path / "cut" / "parts").glob("*.sha256")}
    assert 0 < len(done) < 6
    assert not (tmp_path / "cut" / "seasons.parquet").exists()
    assert start("cut").wait(120) == 0
    names = [p.name for p in (tmp_path / "whole").iterdir() if p.is_file()]
    assert set(names) == set(WRITTEN)
    for name in names:
        assert (tmp_path / "cut" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()
