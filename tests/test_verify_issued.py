"""Odds on forecasts as issued: the folder's reader, the replay and its scores, three US cities."""

from __future__ import annotations

import gzip
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from windowcast.cli import cli
from windowcast.core.errors import InputError
from windowcast.verify.issued import LEADS, Issued, read_folder
from windowcast.verify.issued_odds import (
    IssuedOdds,
    events_of,
    replay_issued,
)
from windowcast.verify.issued_scores import issued_report
from windowcast.verify.odds import skill
from windowcast.windows.purposes import purpose_of

FOLDER = Path(__file__).parent / "data" / "issued_forecasts"
EVENTS = events_of(purpose_of("post-early"))


@pytest.fixture(scope="module")
def cities() -> tuple[Issued, ...]:
    return read_folder(FOLDER)


@pytest.fixture(scope="module")
def drawn(cities: tuple[Issued, ...]) -> IssuedOdds:
    return replay_issued(cities, EVENTS, every_days=25, count=60)


def test_folder_is_read_as_it_stands(cities: tuple[Issued, ...]) -> None:
    """First lines of the files themselves: Columbia SC, 1 October 2015."""
    city = cities[0]
    assert (city.name, city.latitude_deg, city.longitude_deg) == ("28", 34.0, -81.0333)
    lines = gzip.decompress((FOLDER / "forecasts.csv.gz").read_bytes()).decode().splitlines()
    cells = next(line for line in lines if line.startswith("28,2015-10-01")).split(",")
    day = int(np.flatnonzero(city.dates == np.datetime64("2015-10-01"))[0])
    said = [(float(cell) - 32) / 1.8 if cell else np.nan for cell in cells[2:9]]
    assert city.high_c[day] == pytest.approx(said, nan_ok=True)
    assert np.array_equal(
        city.misses_c()[day, 3], city.came_high_c[day + 3] - city.high_c[day, 3], equal_nan=True
    )
    assert np.isnan(city.came_ahead_of(len(city.dates) - 2)[2:]).all()
    assert np.nanmax(np.abs(city.misses_c())) <= 40 / 1.8


def copied(tmp_path: Path) -> Path:
    """The folder as plain tables that a test may spoil."""
    for name in ("forecasts", "observed"):
        raw = gzip.decompress((FOLDER / f"{name}.csv.gz").read_bytes())
        (tmp_path / f"{name}.csv").write_bytes(raw)
    shutil.copy(FOLDER / "cities.csv", tmp_path)
    return tmp_path


def test_plain_and_packed_tables_are_the_same(tmp_path: Path, cities: tuple[Issued, ...]) -> None:
    for plain, packed in zip(read_folder(copied(tmp_path)), cities, strict=True):
        assert np.array_equal(plain.high_c, packed.high_c, equal_nan=True)
        assert np.array_equal(plain.came_low_c, packed.came_low_c, equal_nan=True)


def test_gross_misses_are_left_out(tmp_path: Path) -> None:
    """A forecast 45 °F off is a fault of decoding."""
    folder = copied(tmp_path)
    (folder / "observed.csv").write_text("CityNum,Date,high,low\n28,2015-10-01,80,60\n")
    head = (folder / "forecasts.csv").read_text().splitlines()[0]
    blank = "," * (2 * LEADS - 1)
    for high, kept in (("125", False), ("35", False), ("42", True)):
        (folder / "forecasts.csv").write_text(f"{head}\n28,2015-10-01,{high}{blank}\n")
        assert np.isfinite(read_folder(folder)[0].high_c[0, 0]) == kept


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("cities", "CityNum,Lat,Lon", "CityNum,Lat", "no column Lon"),
        ("cities", "34.0", "340", "row 2: Lat"),
        ("cities", "34.0", "", "row 2: Lat: is empty"),
        ("cities", "37,", "28,", "stands twice"),
        ("cities", "28,", "2800,", "not in cities.csv"),
        ("forecasts", "28,2015-10-01", "28,2915-10-01", "mistyped year"),
        ("forecasts", "28,2015-10-01", "28,2015-13-01", "no date"),
        ("forecasts", "high3", "highest", "no column high3"),
        ("forecasts", "28,2015-10-01", "28,1 Oct 2015", "no date"),
        ("forecasts", "28,2015-10-02", "28,2015-10-01", "twice"),
        ("forecasts", "28,2015-10-01,", "28,2015-10-01,warm,", "cells"),
        ("observed", "28,2015-10-01,", "28,2015-10-01,x", "no number"),
    ],
)
def test_malformed_folder_is_one_clear_line(
    tmp_path: Path, name: str, old: str, new: str, words: str
) -> None:
    folder = copied(tmp_path)
    path = folder / f"{name}.csv"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError) as found:
        read_folder(folder)
    line = str(found.value)
    assert words in line
    assert str(folder) in line
    assert "\n" not in line
    assert found.value.exit_code == 2


def test_folder_that_is_none(tmp_path: Path) -> None:
    for path, words in ((tmp_path / "nowhere", "not a folder"), (tmp_path, "no cities.csv")):
        with pytest.raises(InputError, match=words):
            read_folder(path)
    folder = copied(tmp_path)
    (folder / "observed.csv").write_bytes(b"\x1f\x8b\x00")
    with pytest.raises(InputError, match="cannot be read"):
        read_folder(folder)
    (folder / "observed.csv").write_text("CityNum,Date,high,low\n")
    with pytest.raises(InputError, match="no city has both"):
        read_folder(folder)


def test_odds_know_nothing_of_what_came(cities: tuple[Issued, ...]) -> None:
    """Another course of the half year after an issue leaves its odds and climate of highs alone."""
    city = cities[0]
    issue = int(np.flatnonzero(city.dates == np.datetime64("2015-12-10"))[0])
    only = replace(
        city, high_c=np.where(np.arange(len(city.dates))[:, None] == issue, city.high_c, np.nan)
    )
    other = only.came_high_c.copy()
    other[issue : issue + 180] += 10.0
    plain, moved = (
        replay_issued([c], EVENTS, every_days=1, count=20)
        for c in (only, replace(only, came_high_c=other))
    )
    assert plain.issues == moved.issues == 1
    for key in ("high_from_10.0_c", "high_to_4.4_c"):
        assert np.array_equal(plain.odds[key], moved.odds[key])
        assert np.array_equal(plain.climate[key], moved.climate[key])
    assert (moved.came_c == plain.came_c + 10.0).all()


def test_scores_hang_together(drawn: IssuedOdds, cities: tuple[Issued, ...]) -> None:
    made = issued_report(drawn, EVENTS, cities, "sample", 60)
    assert made.issues == drawn.issues >= 18
    assert [high.lead for high in made.highs] == list(range(LEADS))
    for lead, high in enumerate(made.highs):
        assert high.spread == pytest.approx(
            np.sqrt(np.nanmean(drawn.variance_k2[:, lead])), rel=1e-9
        )
        assert 0.5 < high.spread_over_error < 2.0
        assert high.crps < 3.0
    for event in made.events:
        odds, came = drawn.odds[event.event], drawn.came[event.event]
        assert set(np.unique(came[np.isfinite(came)])) <= {0.0, 1.0}
        assert np.nanmin(odds) >= 0
        assert np.nanmax(odds) <= 1
        assert event.calibration_error <= made.calibration_error_worst
        for lead in event.leads:
            wanted = np.nanmean((odds[:, lead.lead] - came[:, lead.lead]) ** 2)
            assert lead.brier == pytest.approx(wanted)
    # the cooler limit is passed at least as often as the warmer one, in every issue
    assert (drawn.odds["high_from_10.0_c"] >= drawn.odds["high_from_15.6_c"])[
        np.isfinite(drawn.odds["high_from_10.0_c"])
    ].all()


def test_odds_of_the_sample_tell_more_than_the_climate(drawn: IssuedOdds) -> None:
    """Leads 0 to 2 of limits that such winters cross; docs/odds.md has the figures of 32 cities."""
    for key in ("high_from_10.0_c", "high_from_15.6_c"):
        odds, climate, came = (part[key][:, :3] for part in (drawn.odds, drawn.climate, drawn.came))
        assert skill(odds, climate, came) > 0.3


def test_purpose_that_asks_nothing_of_the_temperature_is_left_out() -> None:
    purpose = purpose_of("post-early")
    assert EVENTS[-1].key == "post-early"
    assert {e.key for e in events_of(replace(purpose, hours=()))} == {e.key for e in EVENTS[:-1]}


def test_command_prints_json_and_table(tmp_path: Path) -> None:
    picture = tmp_path / "reliability.svg"
    args = ["verify", "odds", "--forecasts", str(FOLDER), "--every", "60", "--members", "20"]
    result = CliRunner().invoke(cli, [*args, "--format", "json", "--diagram", str(picture)])
    assert result.exit_code == 0, result.output
    data = json.loads(result.output)
    assert data["cities"] == ["28", "37", "46"]
    assert [high["lead"] for high in data["highs"]] == list(range(LEADS))
    assert {"odds", "said", "came"} & set(data["reliability"][0])
    assert any("lasting bias" in note for note in data["notes"])
    assert picture.read_text().startswith("<svg")
    table = CliRunner().invoke(cli, args).output
    assert "CRPS of a fixed error" in table
    assert "the day's high is 10 °C or more" in table


def test_command_takes_one_kind_of_input() -> None:
    result = CliRunner().invoke(cli, ["verify", "odds", "--sample", "--forecasts", str(FOLDER)])
    assert isinstance(result.exception, InputError)
    assert "one of the three" in str(result.exception)


def test_a_forecast_taken_away_raises_no_odds_on_the_whole(drawn: IssuedOdds) -> None:
    """Without a forecast the odds are the climate's: not above those with one, over all issues."""
    with_it, without = drawn.odds["post-early"], drawn.climate["post-early"]
    known = np.isfinite(with_it) & np.isfinite(without)
    assert known.sum() > 100
    assert without[known].mean() < with_it[known].mean() + 0.05
