"""Verification of the soil model: screening, dates, scores, and the command itself."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from windowcast.cli import main
from windowcast.cli.verify import command
from windowcast.core.errors import InputError
from windowcast.verify.soil import PASSINGS, date_errors, observed_days, verify_soil, weekly_mean
from windowcast.verify.soil_stations import find_files, read_stations
from windowcast.weather.soil_nearby import screen

FOLDER = Path(__file__).parent / "data" / "uscrn"
NEVER_FITTED = ("KY_Bowling_Green_21_NNE", "OH_Coshocton_8_NNE")  # benchmarks/fit_soil.py
AUTUMN, SPRING = PASSINGS


@cache
def result() -> dict[str, Any]:
    return verify_soil([FOLDER / f"{name}.txt.gz" for name in NEVER_FITTED], draws=4)


def test_skill_on_stations_the_fit_never_saw() -> None:
    # Aim: 1.2 K on south-eastern stations without any reading; here 1.3 K is the floor for two.
    pooled = result()["pooled"]["all"]
    assert pooled["n"] > 2000
    assert pooled["rmse_c"] < 1.3
    assert pooled["rmse_c_10cm"] < 1.3
    for name, other in pooled["others"].items():
        assert other["n"] == pooled["n"], name  # the same days for all
        assert other["spring_12.8c_years"] == pooled["spring_12.8c_years"], name
        if name != "model_without_radiation_and_humidity":
            assert other["rmse_c"] > 1.15 * pooled["rmse_c"], name
    assert pooled["others"]["model_without_radiation_and_humidity"]["rmse_c"] < 1.4
    for station in result()["stations"]:
        assert station["with_readings"]["spread"]["rmse_c"] < station["rmse_c"] + 0.1


def test_report_says_what_it_is() -> None:
    report = result()
    assert [s["id"] for s in report["stations"]] == ["54851", "63849"]
    assert report["stations"][1]["name"] == "KY Bowling Green 21 NNE"
    assert any("not irrigated turf" in note for note in report["notes"])
    assert {"n", "rmse_c", "bias_c", "n_10cm", "rmse_c_10cm", "bias_c_10cm"} <= set(
        report["stations"][0]
    )
    json.dumps(report)


def series(values: dict[str, float], start: str = "2015-07-01", days: int = 500) -> Any:
    """Piecewise linear temperature through dated points."""
    dates = np.arange(np.datetime64(start), np.datetime64(start) + np.timedelta64(days, "D"))
    at = [(np.datetime64(k) - dates[0]).astype(int) for k in values]
    return dates, np.interp(np.arange(days), at, list(values.values()))[None, :]


def test_autumn_date_of_a_straight_fall() -> None:
    dates, soil = series({"2015-07-01": 30.0, "2015-12-31": 2.0, "2016-11-12": 2.0})
    weekly = weekly_mean(soil)
    by_hand = np.convolve(soil[0], np.ones(7) / 7, "valid")
    np.testing.assert_allclose(weekly[0, 6:], by_hand)
    expected = int(np.argmax(weekly[0] <= 21.1)) - 31  # days after 1 August
    seen = observed_days(soil, dates, AUTUMN)
    assert seen[0, 0] == expected
    assert seen[0, 1] == -1  # 2016 is below from the start: no date
    late = date_errors(soil + 28.0 * 5 / 183, dates, AUTUMN, seen)  # five days' fall warmer
    assert late[0, 0] == pytest.approx(5, abs=1)
    assert np.isnan(late[0, 1])


def test_model_that_has_passed_already_or_never_does_counts() -> None:
    dates, soil = series({"2015-07-01": 30.0, "2015-12-31": 2.0})
    seen = observed_days(soil, dates, AUTUMN)
    assert date_errors(soil * 0 + 10.0, dates, AUTUMN, seen)[0, 0] == -seen[0, 0]
    assert date_errors(soil * 0 + 40.0, dates, AUTUMN, seen)[0, 0] == AUTUMN.span - seen[0, 0]


def test_spring_date_and_gaps() -> None:
    dates, soil = series({"2015-07-01": 20.0, "2016-01-15": 2.0, "2016-06-30": 24.0})
    seen = observed_days(soil, dates, SPRING)
    year = int(np.flatnonzero(seen[0] >= 0)[0])
    assert 60 < seen[0, year] < 110
    broken = soil.copy()
    broken[0, 200:215] = np.nan  # mid-January: unknown before the date
    assert (observed_days(broken, dates, SPRING) == -1).all()
    short = soil.copy()
    short[0, 200:202] = np.nan  # five of seven days are enough
    assert observed_days(short, dates, SPRING)[0, year] == seen[0, year]


def test_screening_finds_failed_probes_and_spares_real_soil() -> None:
    days = 400
    air = 15 - 12 * np.cos(2 * np.pi * np.arange(days) / 365)
    tmax, tmin = (air + 6)[None], (air - 6)[None]
    soil = np.stack([air + 2, air + 1])[:, None, :] + 0.1 * np.sin(np.arange(days))
    good, none = screen(soil, tmax, tmin)
    assert none == ({},)
    np.testing.assert_array_equal(good, soil)
    bad = soil.copy()
    bad[0, 0, 100] = -30.0  # colder than the air allows
    bad[0, 0, 200:220] = 24.3  # stuck
    bad[1, 0, 300:310] += 9.0  # parted from the other probe
    kept, counts = screen(bad, tmax, tmin)
    assert np.isnan(kept[0, 0, [100, 99 + 2]]).all()  # and the jump back
    assert np.isnan(kept[0, 0, 200:220]).all()
    assert np.isnan(kept[:, 0, 300:310]).all()
    assert set(counts[0]) == {"air", "apart", "jump", "stuck"}
    frozen = np.full_like(soil, -0.1)
    assert np.isfinite(screen(frozen, tmax * 0, tmin * 0 - 5)[0]).all()  # held by freezing


def test_files_folders_and_stations_without_probes(tmp_path: Path) -> None:
    assert set(find_files([FOLDER])) == {"03759", "54851", "63849", "63858"}
    lines = [
        f"63850 201901{day:02d}  2.424  -88.14   32.84    12.1     0.1     6.0     6.2     3.2"
        "     5.11 C    14.9     2.3     7.0    95.1    54.7    77.5 -99.000 -99.000 -99.000"
        " -99.000 -99.000 -9999.0 -9999.0 -9999.0 -9999.0 -9999.0\n"
        for day in range(1, 32)
    ]
    bare = tmp_path / "CRND0103-2019-AL_Gainesville_2_NE.txt"
    bare.write_text("".join(lines))
    (tmp_path / "notes.txt").write_text("not weather\n")
    data = read_stations([tmp_path, FOLDER / f"{NEVER_FITTED[1]}.txt.gz"])
    assert data.names == ("OH Coshocton 8 NNE",)
    assert data.skipped == ("AL Gainesville 2 NE",)
    with pytest.raises(InputError, match="no station has soil temperature"):
        read_stations([tmp_path])


def test_command_prints_json_or_a_table() -> None:
    path = str(FOLDER / f"{NEVER_FITTED[1]}.txt.gz")
    run = CliRunner().invoke(command, ["soil", path, "--readings", "0"])
    assert run.exit_code == 0
    report = json.loads(run.output)
    assert report["stations"][0]["rmse_c"] > 0
    assert "with_readings" not in report["pooled"]["all"]
    table = CliRunner().invoke(command, ["soil", path, "--format", "table", "--draws", "1"])
    assert table.exit_code == 0
    assert "linear regression" in table.output
    assert "OH Coshocton 8 NNE" in table.output


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda p: p / "nothing.txt", "does not exist"),
        (lambda p: p, "holds no USCRN daily01 file"),
    ],
)
def test_faults_end_in_one_line_and_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], make: Any, message: str
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["verify", "soil", str(make(tmp_path))])
    assert stop.value.code == 2
    error = capsys.readouterr().err
    assert message in error
    assert error.count("\n") == 1
