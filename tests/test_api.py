"""The public Python interface: what it takes, what it gives, and that it is the command line's."""

from __future__ import annotations

import ast
import datetime as dt
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import report_fixtures
from spoken import voice_of

import windowcast
from windowcast.cli import main
from windowcast.core import extras
from windowcast.core.phrase import Quantity, say
from windowcast.core.record import Record
from windowcast.records.model import SoilReading
from windowcast.records.store import SeasonLog
from windowcast.report.tables import json_text

SAMPLE = windowcast.sample_folder()
FILES = [SAMPLE / "daily.csv.gz", SAMPLE / "hourly.csv.gz"]
TODAY = "2018-01-18"


def test_importing_it_loads_nothing_heavy() -> None:
    code = (
        "import sys, windowcast; print(*sorted({'numpy', 'pydantic', 'pandas'} & {*sys.modules}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_every_public_name_is_typed_listed_and_there() -> None:
    tree = ast.parse(Path(windowcast.__file__).read_text("utf-8"))
    (typed,) = (node for node in tree.body if isinstance(node, ast.If))
    names = {a.asname or a.name for node in typed.body for a in getattr(node, "names", [])}
    assert {*windowcast.__all__} == names | {"__version__"}
    assert dir(windowcast) == sorted(windowcast.__all__)
    for name in windowcast.__all__:
        assert getattr(windowcast, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'ranks'"):
        windowcast.ranks  # noqa: B018


def test_it_answers_as_the_command_line_does(capsys: pytest.CaptureFixture[str]) -> None:
    main(["rank", "--sample", "--format", "json"])
    ranking = windowcast.rank(windowcast.sample_site(), windowcast.sample_weather())
    assert json.loads(capsys.readouterr().out) == json.loads(
        json_text(ranking, voice=voice_of(ranking))
    )


@pytest.mark.parametrize("first", ["", "import windowcast.season.turf; "])
def test_the_package_of_the_season_can_be_called(first: str) -> None:
    """Whether or not its modules were imported before, and it stays a package."""
    code = (
        f"import windowcast; {first}"
        "site, weather = windowcast.sample_site(), windowcast.sample_weather();"
        "plan = windowcast.season(site, weather, futures=5);"
        "from windowcast.season import degree_days; import windowcast.season.turf as turf;"
        "print(plan.season, degree_days.__name__, turf.__name__)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "2017/18 windowcast.season.degree_days windowcast.season.turf\n"


def same(one: Record, other: Record) -> None:
    np.testing.assert_array_equal(one.times, other.times)
    assert one.values.keys() == other.values.keys()
    for name, value in one.values.items():
        np.testing.assert_allclose(value, other.values[name], atol=1e-9, err_msg=name)


@pytest.mark.parametrize("how", ["records", "frames", "the site's own files"])
def test_weather_comes_in_any_form(how: str, tmp_path: Path) -> None:
    site: object = SAMPLE / "site.toml"
    given: list[object] | None = [*FILES]
    expected = windowcast.load_weather(site, given, date=TODAY, offline=True)
    if how == "the site's own files":
        place = windowcast.sample_site().place
        site = {
            "name": place.name, "latitude": place.latitude_deg, "longitude": place.longitude_deg,
            "elevation_m": place.elevation_m, "timezone": place.timezone,
            "weather": {"files": [str(file) for file in FILES]},
        }  # fmt: skip
        given = None
    else:
        given = [windowcast.read_weather(file) for file in FILES]
    if how == "frames":
        given = [record.to_pandas() for record in given]
    weather = windowcast.load_weather(site, given, date=dt.date(2018, 1, 18), offline=True)
    same(weather.daily, expected.daily)
    same(weather.hourly, expected.hourly)


def test_finished_weather_has_its_own_date() -> None:
    weather = windowcast.sample_weather()
    assert windowcast.load_weather(windowcast.sample_site(), weather, date=TODAY) is weather
    with pytest.raises(windowcast.InputError, match="the weather given is of 2018-01-18"):
        windowcast.load_weather(windowcast.sample_site(), weather, date="2018-01-19")


def test_the_log_beside_a_site_file_counts(tmp_path: Path) -> None:
    """A probe reading moves the soil of the days ahead; a site without its file has no log."""
    site_file = tmp_path / "field.toml"
    site_file.write_text((SAMPLE / "site.toml").read_text("utf-8"))
    with SeasonLog(tmp_path / "field.log.sqlite") as log:
        log.add(SoilReading(dt.date(2018, 1, 15), 0.05, 9.0))
    weather = windowcast.sample_weather()
    with_log = windowcast.answer(site_file, weather, futures=5)
    without = windowcast.answer(windowcast.load_site(site_file), weather, futures=5)
    named = windowcast.answer(
        windowcast.load_site(site_file), weather, futures=5, log=tmp_path / "field.log.sqlite"
    )
    day = 5  # of member 0, the forecast as issued
    assert with_log.ahead.soil_5cm_c[0, day] > without.ahead.soil_5cm_c[0, day] + 0.5
    assert named.ahead.soil_5cm_c[0, day] == with_log.ahead.soil_5cm_c[0, day]


DAYS = pd.date_range("2023-01-01", periods=3)
HOURS = pd.date_range("2023-01-01", periods=3, freq="h")


@pytest.mark.parametrize(
    ("frame", "told"),
    [
        (pd.DataFrame({"tmax_c": [1.0, 2.0, 3.0]}), "its index is not one of dates"),
        (pd.DataFrame({"temp_c": [1.0, 2.0, 3.0]}, HOURS), "its hours have no time zone"),
        (
            pd.DataFrame({"temp_c": [1.0, 2.0]}, pd.to_datetime(["2023-01-01T00:30Z"] * 2)),
            "not on a full hour",
        ),
        (pd.DataFrame({"tmax_c": [1.0, 2.0, 3.0]}, DAYS[[0, 1, 1]]), "2023-01-02 stands twice"),
        (pd.DataFrame({"tmax_c": ["1", "warm", "3"]}, DAYS), "tmax_c: holds something that is no"),
        (pd.DataFrame({"tmax": [1.0, 2.0, 3.0]}, DAYS), "names no unit"),
        (pd.DataFrame({"crew": [1.0, 2.0, 3.0]}, DAYS), "no column is a weather quantity"),
        (pd.DataFrame({"wind": [1.0, 2.0, 3.0]}, DAYS), "the header names no unit"),
    ],
)
def test_a_frame_that_would_need_a_guess_is_refused(frame: pd.DataFrame, told: str) -> None:
    with pytest.raises(windowcast.InputError, match=told) as caught:
        windowcast.read_weather(frame)
    assert "\n" not in str(caught.value)


def test_a_frame_keeps_zone_units_and_gaps() -> None:
    """Hours in a zone become UTC; a declared system gives units; a missing step is NaN."""
    times = pd.to_datetime(["2023-01-01T00:00", "2023-01-01T02:00"]).tz_localize("America/Chicago")
    hourly = windowcast.read_weather(pd.DataFrame({"temp": [32.0, 50.0]}, times), units="us")
    assert str(hourly.times[0]) == "2023-01-01T06"
    np.testing.assert_allclose(hourly.get("temp_c"), [0.0, np.nan, 10.0])
    daily = windowcast.read_weather(pd.DataFrame({"tmax_c": [1.0, 2.0]}, DAYS[[0, 2]]))
    np.testing.assert_allclose(daily.get("tmax_c"), [1.0, np.nan, 2.0])


def test_soil_needs_a_latitude_and_takes_hours() -> None:
    days = pd.date_range("2022-01-01", "2023-06-30")
    warm = 20.0 + np.arange(len(days)) % 2  # the same value for weeks would be a stuck sensor
    frame = pd.DataFrame({"tmax_c": warm + 5, "tmin_c": warm - 5, "precip_mm": 2.0}, index=days)
    with pytest.raises(windowcast.InputError, match="latitude_deg"):
        windowcast.simulate_soil(frame)
    soil = windowcast.simulate_soil(frame, latitude_deg=33.0)
    table, grid = soil.to_pandas(), soil.to_xarray()
    assert table.index[-1] == pd.Timestamp("2023-06-30")
    np.testing.assert_array_equal(grid["soil_temp_c"].sel(depth=0.1), table["soil_10cm_c"])
    hours = pd.date_range("2022-01-01", "2023-07-01", freq="h", inclusive="left", tz="UTC")
    swing = pd.DataFrame({"precip_mm": 2.0 / 24}, index=hours)
    swing["temp_c"] = np.repeat(warm, 24) - 5.0 * np.cos(hours.hour * np.pi / 12)
    hourly = windowcast.simulate_soil(swing, latitude_deg=33.0)
    np.testing.assert_allclose(hourly.temp_c[-1], soil.temp_c[-1], atol=0.5)


def test_soil_of_several_places_is_a_grid_and_no_table() -> None:
    from windowcast.physics.soil import SoilForcing, SoilSite, simulate

    days = np.arange("2022-01-01", "2023-03-01", dtype="datetime64[D]")
    even = np.ones((2, len(days)))
    soil = simulate(
        SoilForcing(days, 25 * even, 15 * even, 2 * even, np.array([30.0, 35.0])), SoilSite()
    )
    assert dict(soil.to_xarray().sizes) == {"place": 2, "time": len(days), "depth": 2}
    with pytest.raises(ValueError, match="to_xarray"):
        soil.to_pandas()


def test_tables_hold_what_the_answers_hold() -> None:
    ranking = report_fixtures.ranking()
    windows = [w for outlook in ranking.purposes for w in outlook.windows]
    table = ranking.to_pandas()
    assert table["start"].tolist() == [w.start for w in windows]
    assert table["score"].tolist() == [w.score for w in windows]
    assert table["odds"].tolist() == [w.odds.share for w in windows if w.odds]
    assert table["purpose"].tolist() == [w.purpose for w in windows]


def test_record_as_grid_says_units_and_members() -> None:
    from windowcast.weather.ensemble import members

    weather = windowcast.sample_weather()
    grid = weather.daily.to_xarray()
    assert grid["tmax_c"].attrs["units"] == "degC"
    assert float(grid["latitude"]) == weather.place.latitude_deg
    future = members(weather, until=dt.date(2018, 2, 1), count=3).daily
    assert dict(future.to_xarray()["tmax_c"].sizes) == {"member": 4, "time": len(future.times)}
    with pytest.raises(ValueError, match="to_xarray"):
        future.to_pandas()


def test_states_are_tables_and_grids() -> None:
    found = windowcast.answer(windowcast.sample_site(), windowcast.sample_weather(), futures=3)
    table, grid = found.past.to_pandas(), found.ahead.to_xarray()
    np.testing.assert_array_equal(table["POAAN_share"], found.past.emergence["POAAN"].share)
    np.testing.assert_array_equal(table["soil_5cm_c"], found.past.soil_5cm_c)
    assert str(table.index[-1])[:10] == "2018-01-17"
    assert dict(grid.sizes) == {"member": 4, "time": len(found.ahead.dates)}
    np.testing.assert_array_equal(grid["DIGIS_degree_days"], found.ahead.degree_days["DIGIS"])
    assert [grid[name].attrs["units"] for name in ("soil_5cm_c", "DIGIS_degree_days")] == [
        "degC",
        "degC d",
    ]
    with pytest.raises(ValueError, match="to_xarray"):
        found.ahead.to_pandas()


def test_words_are_in_units_and_languages_there_are() -> None:
    label = say("key_date.soil_falls", depth=Quantity(5.0, "cm"), limit=Quantity(21.1, "degC"))
    assert windowcast.words(label) == "soil at 5 cm falls below 21.1 °C"
    assert windowcast.words(label, units="us") == "soil at 2 in falls below 70 °F"
    with pytest.raises(windowcast.InputError, match="'xx' is not a language"):
        windowcast.words(label, language="xx")


def test_a_missing_extra_is_told_with_its_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(windowcast.InputError) as caught:
        windowcast.sample_weather().daily.to_xarray()
    assert str(caught.value) == (
        "to_xarray() needs the xarray extra; pip install 'windowcast[xarray]'"
    )
    with pytest.raises(windowcast.InputError, match="needs the region extra"):
        extras.require("compare", "region", "numba")
