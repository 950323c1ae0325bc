"""``windowcast rank`` as people call it: every option, every exit code, nothing half done."""

from __future__ import annotations

import csv
import io
import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from windowcast.cli import main
from windowcast.report.tables import rank_schema
from windowcast.weather.sample import sample_folder

SAMPLE = sample_folder()
DAILY = str(SAMPLE / "daily.csv.gz")
SITE = str(SAMPLE / "site.toml")


def run(*args: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Exit code, output and error of the command line, as the entry point gives them."""
    code = 0
    try:
        main(["rank", *args])
    except SystemExit as end:
        code = int(end.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


def test_the_sample_answers(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run("--sample", capsys=capsys)
    assert (code, err) == (0, "")
    assert "Quarry Bend Sports Fields" in out
    assert "Your label is the law" in out
    assert "°F" in out  # the sample site's own units


def test_json_is_valid_and_stable(capsys: pytest.CaptureFixture[str]) -> None:
    import jsonschema

    code, out, _ = run("--sample", "--format", "json", capsys=capsys)
    assert code == 0
    answer = json.loads(out)
    jsonschema.validate(answer, rank_schema())
    assert [p["purpose"] for p in answer["purposes"]] == [
        "pre-fall", "post-early", "dormant", "pre-spring",
    ]  # fmt: skip
    assert run("--sample", "--format", "json", capsys=capsys)[1] == out


def test_csv_has_a_row_for_every_window(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run("--sample", "--format", "csv", "--purpose", "dormant", capsys=capsys)
    assert code == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert {row["purpose"] for row in rows} == {"dormant"}
    assert rows[0]["rank"] == "1"


@pytest.mark.parametrize(("units", "sign"), [("us", "°F"), ("metric", "°C")])
def test_units(units: str, sign: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run("--sample", "--units", units, capsys=capsys)
    assert sign in out
    assert ({"°F", "°C"} - {sign}).pop() not in out


def test_page_and_calendar_are_written_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, calendar = tmp_path / "out.html", tmp_path / "out.ics"
    code, _, _ = run("--sample", "--page", str(page), "--calendar", str(calendar), capsys=capsys)
    assert code == 0
    assert page.read_text("utf-8").rstrip().endswith("</html>")
    assert calendar.read_bytes().rstrip().endswith(b"END:VCALENDAR")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.html", "out.ics"]


def test_days_purpose_and_explain(capsys: pytest.CaptureFixture[str]) -> None:
    args = ("--sample", "--days", "3", "--purpose", "dormant")
    _, out, _ = run(*args, "--format", "json", capsys=capsys)
    strip = json.loads(out)["purposes"][0]["strip"]
    assert len(strip["times"]) == 72
    _, plain, _ = run(*args, capsys=capsys)
    _, traced, _ = run(*args, "--explain", capsys=capsys)
    assert "criteria.cold_after.at" in traced  # it holds the best window back
    assert "criteria.cold_after.at" not in plain
    assert "criteria.wind.at" not in traced  # met in full: its values are in JSON
    assert "criteria.wind.at" in out


def test_actives_govern(capsys: pytest.CaptureFixture[str]) -> None:
    args = ("--sample", "--purpose", "dormant", "--format", "json")
    code, out, _ = run(*args, "--active", "glyphosate+flumioxazin", capsys=capsys)
    assert code == 0
    outlook = json.loads(out)["purposes"][0]
    windows = outlook["windows"] or [outlook["closest"]]
    assert windows[0]["actives"] == ["glyphosate", "flumioxazin"]


def test_daily_only_input_cannot_tell_and_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(SITE, "--weather", DAILY, "--date", "2017-11-02", "--offline", capsys=capsys)
    assert code == 0
    assert "Cannot tell" in out
    assert "Unknown: wind" in out
    assert "Parton" in out


# --- bad input: one line, exit 2, nothing written -----------------------------------------------


def bad_files(folder: Path) -> dict[str, Path]:
    good = "date,tmax_c,tmin_c,precip_mm\n"
    days = [f"2017-10-{d:02d},20,8,0\n" for d in range(1, 29)]
    texts = {
        "empty": "",
        "no header": "1;2;3\n4;5;6\n",
        "wrong delimiter": good.replace(",", "|") + "".join(days).replace(",", "|"),
        "swapped": good + "".join(f"2017-10-{d:02d},8,20,0\n" for d in range(1, 29)),
        "not a date": good + "yesterday,20,8,0\n",
        "all missing": good + "".join(f"2017-10-{d:02d},,,\n" for d in range(1, 29)),
        "all -9999": good + "".join(f"2017-10-{d:02d},-9999,-9999,-9999\n" for d in range(1, 29)),
    }
    paths = {}
    for name, text in texts.items():
        paths[name] = folder / f"{name.replace(' ', '_')}.csv"
        paths[name].write_text(text, "utf-8")
    paths["binary"] = folder / "binary.csv"
    paths["binary"].write_bytes(bytes(range(256)) * 20)
    paths["folder"] = folder / "folder.csv"
    paths["folder"].mkdir()
    paths["absent"] = folder / "absent.csv"
    return paths


@pytest.mark.parametrize(
    "name",
    [
        "empty", "no header", "wrong delimiter", "swapped", "not a date", "all missing",
        "all -9999", "binary", "folder", "absent",
    ],
)  # fmt: skip
def test_bad_weather_files(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bad_files(tmp_path)[name]
    page = tmp_path / "page.html"
    code, out, err = run(
        SITE, "--weather", str(path), "--date", "2017-10-29", "--offline", "--page", str(page),
        capsys=capsys,
    )  # fmt: skip
    refused(code, out, err)
    assert not page.exists()


def refused(code: int, out: str, err: str) -> None:
    """Exit 2, one line that says what to do, no output and no traceback."""
    assert code == 2, err
    assert out == ""
    assert "Traceback" not in err
    lines = [line for line in err.splitlines() if line.strip()]
    assert len(lines) == 1, err
    assert lines[0].startswith("windowcast: ")


@pytest.mark.parametrize(
    "args",
    [
        (),
        ("--sample", SITE),
        ("absent.toml",),
        ("--sample", "--date", "2020-02-30"),
        ("--sample", "--date", "2020-01-01"),
        ("--sample", "--active", "glyfosate"),
        ("--sample", "--active", "+"),
    ],
)
def test_bad_arguments(args: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    refused(*run(*args, capsys=capsys))


@pytest.mark.parametrize(
    "args",
    [("--days", "0"), ("--days", "99"), ("--purpose", "summer"), ("--format", "xml"), ("--qqq",)],
)
def test_wrong_options_are_explained(
    args: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run("--sample", *args, capsys=capsys)
    assert (code, out) == (2, "")
    assert err.startswith("windowcast: ")
    assert err.endswith("see windowcast rank --help\n")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("name = 'x'\nlatitude = 91\nlongitude = 0\n", "latitude"),
        ("name = 'x'\nlongitude = 0\n", "latitude"),
        ("name = 'x'\nlatitude = 36\nlongitude = 0\ncolour = 'green'\n", "colour"),
        ("name = 'x'\nlatitude = 'north'\nlongitude = 0\n", "latitude"),
        ("not toml at all", "TOML"),
    ],
)
def test_bad_site_files(
    text: str, key: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "site.toml"
    path.write_text(text, "utf-8")
    code, out, err = run(str(path), "--weather", DAILY, capsys=capsys)
    refused(code, out, err)
    assert key in err


def test_an_active_spelt_nearly_right_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    _, _, err = run("--sample", "--active", "glyfosate", capsys=capsys)
    assert "glyphosate" in err


def test_a_plant_size_is_said_in_tillers(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run("--sample", "--active", "diquat", "--format", "json", capsys=capsys)
    assert code == 0
    assert "this active controls (BBCH 21, 1 tiller)" in out


@pytest.mark.parametrize("name", ["", " + "])
def test_an_empty_active_is_not_every_active(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run("--sample", "--active", name, capsys=capsys)
    assert (code, out) == (2, "")
    assert "--active: names no active ingredient" in err


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_no_permission_to_write(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        refused(*run("--sample", "--page", str(tmp_path / "p.html"), capsys=capsys))
    finally:
        tmp_path.chmod(stat.S_IRWXU)


def test_a_page_in_a_folder_that_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused(*run("--sample", "--page", str(tmp_path / "no" / "p.html"), capsys=capsys))


def test_help_names_every_option() -> None:
    from windowcast.cli.rank import command

    text = CliRunner().invoke(command, ["--help"]).output
    for option in (
        "--sample", "--weather", "--date", "--purpose", "--days", "--units", "--format", "--page",
        "--calendar", "--active", "--offline", "--explain",
    ):  # fmt: skip
        assert option in text


def test_the_main_path_leaves_heavy_libraries_alone() -> None:
    code = (
        "import sys; from windowcast.cli import main\n"
        "try: main(['rank', '--sample', '--format', 'json'])\n"
        "except SystemExit: pass\n"
        "heavy = {'pandas', 'scipy', 'numba', 'xarray', 'meteostat', 'jinja2', 'requests',\n"
        "         'windowcast.trials.model', 'windowcast.region.compare'}\n"
        "sys.stderr.write(','.join(sorted(heavy & set(sys.modules))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stderr == ""


def test_no_weather_for_the_date_and_no_network(capsys: pytest.CaptureFixture[str]) -> None:
    args = (SITE, "--weather", DAILY, "--date", "1990-01-01", "--offline")
    code, out, err = run(*args, capsys=capsys)
    assert code in (2, 3)  # as bad input, or as a source that could not be reached
    assert out == ""
    assert len(err.splitlines()) == 1


def test_a_date_long_after_the_record_cannot_tell(capsys: pytest.CaptureFixture[str]) -> None:
    args = (SITE, "--weather", DAILY, "--date", "2018-03-20", "--offline")
    code, out, _ = run(*args, "--format", "json", capsys=capsys)
    assert code == 0
    answer = json.loads(out)
    assert all(not p["windows"] for p in answer["purposes"])
    spoken = [p["advice"] for p in answer["purposes"] if p["in_season"]]
    assert spoken
    assert all(
        text.startswith(("Cannot tell. Unknown:", "Cannot tell: the state of the turf"))
        for text in spoken
    )
    assert any("the measured record ends on 2018-01-17".lower() in n.lower()
               for n in answer["weather_notes"])  # fmt: skip
