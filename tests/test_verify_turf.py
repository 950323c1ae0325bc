"""Dated sightings against the turf model, on stations in the folder of test data."""

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from windowcast.cli import cli, main
from windowcast.verify.turf import verify_turf
from windowcast.verify.turf_sightings import read_sightings

FOLDER = Path(__file__).parent / "data" / "turf"
FILE = FOLDER / "observed.csv"
STATIONS = (FOLDER, FOLDER.parent / "uscrn" / "VA_Charlottesville_2_SSE.txt.gz")
HEAD = "grass,event,date,lat,lon,percent,precision_d\n"


@pytest.fixture(scope="module")
def result():
    return verify_turf(FILE, STATIONS)


def test_live_leaf_that_was_seen_is_never_sprayed(result):
    # Flessner & McElroy 2011, ASA abstract 330-3: 100 % green on 4 November, 80 % on 4 December
    # 2009 and 2010, Auburn AL; short turf still green at Owasso OK on 6 November 2017
    rows = {(r["site"][:6], r["date"]): r for r in result["rows"]}
    assert len(rows) == 6
    for day in ("2009-11-04", "2010-11-04", "2009-12-04", "2010-12-04"):
        row = rows["Auburn", day]
        assert row["station"] == "AL Troy 2 W"
        assert row["green_probability"] == 1.0
        assert row["state"] in {"growing", "hardening"}
        assert row["well_founded"]
    assert rows["Owasso", "2017-11-06"]["green_probability"] >= 0.95
    assert 80 < rows["Moseley"[:6], "2015-10-19"]["distance_km"] < 100
    assert result["totals"]["all"]["wrong_permissions"] == 0
    assert result["totals"]["all"]["called_dormant"] == 0


def test_totals_go_by_distance_and_standing(result):
    totals = result["totals"]
    assert totals["all"]["n"] == 6
    assert totals["well_founded"]["n"] == 4
    assert totals["within_50_km"]["n"] == 0
    assert totals["within_150_km"]["n"] == 6
    assert totals["within_50_km"]["median_abs_days_off"] is None


def test_rows_that_cannot_be_used_say_why(result):
    why = {u["event"]: u["why"] for u in result["unused"]}
    assert "not a turf species" in why["emergence, usual date"]
    assert "usual date" in why["dormancy, usual date"]
    assert "after kill" in why["green-up begins (after kill)"]
    assert why["weed-free green-up trial, treated dormant"] == "no place"
    assert result["weather_skipped"] == ["observed.csv"]
    assert len(result["rows"]) + len(result["unused"]) == len(read_sightings(FILE))


def sightings(tmp_path, *rows):
    path = tmp_path / "seen.csv"
    path.write_text(HEAD + "".join(f"{row}\n" for row in rows))
    return path


def test_dates_of_events_are_set_beside_the_models(tmp_path):
    # invented sightings near Stillwater, to see the signs: the model's dates move past the seen one
    place = "36.12,-97.09,,2"
    early = sightings(
        tmp_path,
        f"bermudagrass,fully dormant,2016-10-20,{place}",
        f"bermudagrass,green-up starts,2017-05-20,{place}",
        f"bermudagrass,full green-up,2017-05-20,{place}",
    )
    dormant, first, full = verify_turf(early, STATIONS)["rows"]
    assert dormant["days_off"] > 7
    assert first["days_off"] < full["days_off"] < -14
    assert not any(row["inside"] for row in (dormant, first, full))
    for row in (dormant, first, full):
        assert row["early"] <= row["late"]
    at = sightings(tmp_path, f"bermudagrass,green-up starts,{first['early']},{place}")
    (row,) = verify_turf(at, STATIONS)["rows"]
    assert row["inside"]
    assert row["days_off"] >= 0


def test_a_permission_after_live_leaf_is_counted_as_wrong(tmp_path):
    # invented: green leaf in deep winter, where the model is sure of none
    path = sightings(tmp_path, "bermudagrass,live green leaf seen,2018-01-10,36.12,-97.09,,0")
    result = verify_turf(path, STATIONS)
    assert result["totals"]["all"]["wrong_permissions"] == 1
    assert result["totals"]["all"]["called_dormant"] == 1
    for grass in ("zoysiagrass", "centipedegrass", "bermudagrass (overseeded)"):
        path = sightings(tmp_path, f"{grass},live green leaf seen,2018-01-10,36.12,-97.09,,0")
        (row,) = verify_turf(path, STATIONS)["rows"]
        assert row["permitted_days"] == 0, grass


def test_a_station_too_far_off_or_without_that_season_is_none(tmp_path):
    path = sightings(
        tmp_path,
        "bermudagrass,dormant,2018-01-10,30.0,-90.0,,",
        "bermudagrass,dormant,2001-01-10,36.12,-97.09,,",
    )
    result = verify_turf(path, STATIONS)
    assert not result["rows"]
    assert all("no station within 150 km" in u["why"] for u in result["unused"])


@pytest.mark.parametrize(
    ("row", "named"),
    [
        ("bermudagrass,dormant,10 January,36,-97,,", "row 2: date"),
        ("bermudagrass,dormant,normal 13-40,36,-97,,", "row 2: date"),
        ("bermudagrass,dormant,2018-01-10,north,-97,,", "row 2: lat"),
        ("bermudagrass,dormant,2018-01-10,36,-197,,", "row 2: lon"),
        ("bermudagrass,green cover,2018-01-10,36,-97,most,", "row 2: percent"),
        ("bermudagrass,dormant,2018-01-10,36,-97,,-3", "row 2: precision_d"),
        ("bermudagrass,dormant,2018-01-10,36", "row 2: has 4 fields, not 7"),
    ],
)
def test_a_bad_row_is_named_in_one_line(tmp_path, capsys, row, named):
    path = sightings(tmp_path, row)
    with pytest.raises(SystemExit) as stop:
        main(["verify", "turf", str(path), "--weather", str(FOLDER)])
    assert stop.value.code == 2
    error = capsys.readouterr().err.strip()
    assert named in error
    assert str(path) in error
    assert ";" in error  # and what to do
    assert "\n" not in error


def test_a_file_without_the_columns_or_weather_without_a_place(tmp_path, capsys):
    path = tmp_path / "seen.csv"
    path.write_text("grass,date\nbermudagrass,2018-01-10\n")
    for arguments, said in (
        ([str(path), "--weather", str(FOLDER)], "row 1: event: the column is missing"),
        ([str(tmp_path / "none.csv"), "--weather", str(FOLDER)], "cannot be read"),
        ([str(FILE), "--weather", str(tmp_path / "none")], "does not exist"),
        ([str(FILE), "--weather", str(path)], "seen.csv"),
    ):
        with pytest.raises(SystemExit) as stop:
            main(["verify", "turf", *arguments])
        assert stop.value.code == 2
        error = capsys.readouterr().err.strip()
        assert said in error
        assert "\n" not in error


def test_command():
    options = ["verify", "turf", str(FILE), *(f"--weather={path}" for path in STATIONS)]
    table = CliRunner().invoke(cli, options).output
    assert "wrong permissions 0" in table
    assert "not used: no place" in table
    plain = json.loads(CliRunner().invoke(cli, [*options, "--format", "json"]).output)
    assert plain["totals"]["all"]["n"] == 6
    with FILE.open() as stream:
        assert len(plain["rows"]) + len(plain["unused"]) == len(list(csv.DictReader(stream)))
