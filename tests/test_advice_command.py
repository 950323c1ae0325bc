"""What `verify advice` is given, what it refuses, and whose forecasts it takes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from windowcast.cli import cli
from windowcast.cli.verify_advice import by_name, costs_of
from windowcast.core.errors import InputError
from windowcast.core.record import Place, Record
from windowcast.region.engine import Station
from windowcast.verify import advice
from windowcast.verify.advice import Replay, lived_as_issued, station_replayed, verify_advice
from windowcast.verify.issued import LEADS, Issued

HERE = Place("Field", 33.0, -87.0, 60.0, "America/Chicago")
DAYS = np.arange("2010-01-01", "2016-07-01", dtype="datetime64[D]")


def record(*names: str, place: Place = HERE) -> Record:
    values = {name: np.full(len(DAYS), 10.0) for name in names}
    grades = {name: np.zeros(len(DAYS), dtype=np.uint8) for name in names}
    return Record(place, DAYS, values, grades)


def city(latitude_deg: float = 33.1, first: str = "2014-07-01") -> Issued:
    dates = np.arange(first, "2016-07-01", dtype="datetime64[D]")
    told = np.full((len(dates), LEADS), 15.0)
    came = np.full(len(dates), 16.0)
    return Issued("7", latitude_deg, -87.0, dates, told, told, came, came)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What `lived` was asked for."""
    calls: list[dict[str, Any]] = []
    monkeypatch.setattr(advice, "lived", lambda record, season, **asked: calls.append(asked))
    return calls


@pytest.mark.parametrize(
    ("given", "season", "taken"),
    [
        ((city(),), 2014, True),
        ((city(),), 2013, False),  # it tells nothing of that season
        ((city(latitude_deg=34.0),), 2014, False),  # 111 km away
        ((), 2014, False),
    ],
)
def test_forecasts_of_a_city_near_by_that_tells_the_season_are_taken(
    given: tuple[Issued, ...], season: int, taken: bool, asked: list[dict[str, Any]]
) -> None:
    replay = Replay("Field", record, issued=given)
    _, issued = lived_as_issued(record("tmax_c"), season, replay)
    assert issued is taken
    assert ("issued" in asked[-1]) is taken


def test_forecasts_of_another_weather_are_left(monkeypatch: pytest.MonkeyPatch) -> None:
    def lived(record: Record, season: int, **asked: Any) -> None:
        if "issued" in asked:
            raise InputError("the weather is another", remedy="give that of a city near by")

    monkeypatch.setattr(advice, "lived", lived)
    assert lived_as_issued(record("tmax_c"), 2014, Replay("Field", record, issued=(city(),))) == (
        None,
        False,
    )


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (record("tmax_c", "tmin_c"), "it has no precip_mm"),
        (record("tmax_c", "tmin_c", "precip_mm", place=replace(HERE, latitude_deg=-33.0)),
         "it lies in the southern hemisphere"),
    ],
)  # fmt: skip
def test_a_station_that_cannot_be_lived_says_why(given: Record, why: str) -> None:
    assert station_replayed(Replay("Field", lambda: given)).left_out == why
    with pytest.raises(InputError, match=why):
        verify_advice([Replay("Field", lambda: given)], processes=1)


PRICED = """
[[products]]
name = "{active} product"
active = "{active}"
concentration = "50 %"
rate = "1 kg/ha"
price = "{price}"
"""


def labels(folder: Path, prices: dict[str, str]) -> Path:
    path = folder / "labels.toml"
    text = "".join(PRICED.format(active=a, price=p) for a, p in prices.items())
    path.write_text(text, encoding="utf-8")
    return path


ALL = {"prodiamine": "100 USD per 1 kg", "foramsulfuron": "50 USD per 1 kg"}


def test_prices_by_the_hectare(tmp_path: Path) -> None:
    given = {**ALL, "glyphosate": "10 USD per 2 kg"}
    costs, money = costs_of(labels(tmp_path, given))
    assert money == "USD"
    assert costs == pytest.approx({"prodiamine": 100.0, "foramsulfuron": 50.0, "glyphosate": 5.0})


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (ALL, "no product of glyphosate has a rate and a price"),
        ({**ALL, "glyphosate": "10 EUR per 1 kg"}, "prices are in EUR and USD"),
    ],
)
def test_prices_that_tell_no_sum_are_refused(
    tmp_path: Path, given: dict[str, str], said: str
) -> None:
    with pytest.raises(InputError, match=said):
        costs_of(labels(tmp_path, given))


@pytest.mark.slow
def test_the_command_gives_json_that_any_reader_takes() -> None:
    station = Path(__file__).parent / "data" / "uscrn" / "KY_Bowling_Green_21_NNE.txt.gz"
    words = ["verify", "advice", str(station), "--seasons", "1", "--others-every", "60"]
    words += ["--only", "dormant", "--format", "json"]
    found = CliRunner().invoke(cli, words)
    assert found.exit_code == 0, found.output

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    result = json.loads(found.output, parse_constant=refuse)
    golf = result["grounds"]["golf"]["all"]
    assert golf["seasons"] == golf["stations"] == 1
    assert golf["advice"]["hurt"] == [0.0, None, None]
    assert golf["advice"]["alone_dormant"][0] <= golf["foresight"]["alone_dormant"][0]


def test_stations_of_one_name_are_told_apart_and_none_counts_twice(tmp_path: Path) -> None:
    def station(id_: str, name: str = "") -> Station:
        return Station(id_, str(tmp_path / f"{id_}.csv"), name=name)

    found = by_name([station("A1", "Mill"), station("A2", "Mill"), station("A3")])
    assert list(found) == ["Mill (A1)", "Mill (A2)", "A3"]
    with pytest.raises(InputError, match="A3 is given twice"):
        by_name([station("A3"), station("A3")])
