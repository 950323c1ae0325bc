"""What a user wrote is shown as written; quantities beside it are converted once, from SI."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner
from spoken import METRIC, US, render
from starlette.testclient import TestClient
from web_fixtures import client, make_site, send

from windowcast.cli import cli
from windowcast.core.units import System
from windowcast.records.import_export import to_csv, to_json
from windowcast.records.model import (
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Material,
    Rating,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.review import Review, review_log
from windowcast.records.store import SeasonLog
from windowcast.report.catalogue import Voice
from windowcast.report.log_entries import entry_text
from windowcast.report.plain import plain
from windowcast.report.review_text import render_review, review_lines
from windowcast.report.spray_record import record_sheet, sheet_lines
from windowcast.weather.sample import sample_site, sample_weather

NAMES = ("5 K trail", "hole 3 m", "20 °C bank", "12 km loop", "plot 2 mm", "0.5 ha corner")
SYSTEMS: tuple[System, ...] = ("us", "metric")
DAY = dt.date(2017, 2, 1)


def entries(name: str) -> Iterator[Entry]:
    start = dt.datetime(2017, 1, 12, 13, tzinfo=sample_site().zone)
    glyphosate = Material("glyphosate", rate_kg_ha=0.56, product=name, product_rate=name)
    yield Application(
        start=start, materials=(glyphosate,), where=name, site_kind=name, nozzle=name, notes=name,
        purpose="dormant", operator=name, trial=name, treatment="A", temp_c=9.16,
    )  # fmt: skip
    yield SoilReading(DAY, depth_m=0.05, temp_c=19.4, where=name, notes=name)
    yield ScoutingCount(DAY, "POAAN", per_m2=4.0, where=name, notes=name)
    for plot, treatment, value in (("1", "untreated", 50.0), ("2", "A", 5.0)):
        yield Rating(DAY, value, trial=name, plot=plot, treatment=treatment, location=name)
    yield CoverReading(DAY, 3.0, where=name, notes=name)
    yield FieldNote(dt.date(2017, 3, 1), name, where=name, survivors_mixed=True)


@pytest.fixture(scope="module", params=NAMES)
def named(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def log_file(named: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    with SeasonLog(path) as log:
        log.add(*entries(named))
    return path


@pytest.fixture(scope="module")
def review(log_file: Path) -> Review:
    return review_log(sample_site(), sample_weather(), log_file)


@pytest.mark.parametrize("units", SYSTEMS)
def test_every_kind_of_entry_is_listed_with_its_words_as_written(named: str, units: System) -> None:
    for entry in entries(named):
        assert named in entry_text(entry, Voice(units, "en"))


def test_the_command_line_and_the_spray_record_show_them(named: str, log_file: Path) -> None:
    listed = CliRunner().invoke(cli, ["log", "list", "--log", str(log_file)]).output
    assert " ".join(listed.split()).count(named) >= 7
    application = next(entries(named))
    assert isinstance(application, Application)
    lines = "\n".join(sheet_lines(record_sheet(application, METRIC), METRIC))
    assert lines.count(named) == 7  # product, rate, kind of ground, place, person, nozzle, notes


def test_both_exports_hold_them(named: str, log_file: Path) -> None:
    with SeasonLog(log_file) as log:
        assert to_csv(log).count(named) >= 12
        assert to_json(log).count(named) >= 12


@pytest.mark.parametrize("units", SYSTEMS)
def test_the_review_shows_them_on_every_surface(named: str, review: Review, units: System) -> None:
    lines = review_lines(review, Voice(units, "en"))
    assert any(named in line for line in lines if "glyphosate" in line)
    assert any(line.startswith(f"Trial {named}, ") for line in lines)
    assert any(f", {named}: " in line for line in lines if line.startswith("Survivors"))
    page = render_review(review, Voice(units, "en"))
    assert page.count(named) >= 3
    document = json.dumps(plain(review, Voice(units, "en"), date=str), ensure_ascii=False)
    assert f'"where": "{named}"' in document


def test_the_pages_of_the_log_show_them(named: str, tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser: TestClient = client(tmp_path)
    send(
        browser, f"/s/{slug}/log/new/note", date="2023-11-05", text=f"seen at {named}", where=named
    )
    page = browser.get(f"/s/{slug}/log").text
    assert f"seen at {named}, {named}" in page


def test_what_a_review_says_is_rounded_once_from_si(review: Review) -> None:
    """9.16 °C is 48 °F; by way of 9.2 °C it would be 49 °F."""
    for item in review.applications:
        for fact in item.facts:
            if fact.unit != "°C" or fact.value != fact.value:
                continue
            fahrenheit = Decimal(fact.value) * Decimal("1.8") + 32
            whole = fahrenheit.quantize(Decimal(1), ROUND_HALF_EVEN)
            assert render(fact.text, "us") == f"{whole} °F".replace("-", "−")


def test_json_says_the_meaning_in_si_beside_the_words(review: Review) -> None:
    found = plain(review, US, date=str)
    (air,) = [f for f in found["applications"][0]["facts"] if f["key"] == "temp_c"]
    assert air["text"] == "48 °F"
    assert air["text_phrase"]["values"] == [{"name": "value", "value": 9.16, "unit": "degC"}]
    assert air["label_phrase"] == {"id": "fact.temp_c", "values": []}
