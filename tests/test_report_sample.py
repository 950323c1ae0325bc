"""Every output of the packaged sample, through the command line."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import jsonschema
import pytest
import vobject
from click.testing import CliRunner
from spoken import render

from windowcast.cli.rank import command
from windowcast.report.tables import shipped_schema
from windowcast.windows.model import CAUTIONS


def _run(*options: str) -> str:
    result = CliRunner().invoke(command, ["--sample", *options])
    assert result.exit_code == 0, result.output
    return result.output


def test_json_of_the_sample_is_valid_under_the_shipped_schema() -> None:
    jsonschema.Draft202012Validator(shipped_schema()).validate(json.loads(_run("--format", "json")))


@pytest.mark.parametrize(
    "form", [("table", "--explain"), ("text",), ("csv",), ("json",)], ids=lambda form: form[0]
)
def test_every_form_carries_every_caution(form: tuple[str, ...]) -> None:
    text = " ".join(_run("--format", *form).split())
    for caution in CAUTIONS:
        assert render(caution) in text


def test_units_change_words_not_the_answer() -> None:
    rows = {
        units: list(csv.DictReader(io.StringIO(_run("--format", "csv", "--units", units))))
        for units in ("us", "metric")
    }
    for us, metric in zip(rows["us"], rows["metric"], strict=True):
        assert (us["start"], us["score"], us["odds"]) == (
            metric["start"],
            metric["score"],
            metric["odds"],
        )
    assert not any("°C" in str(row) or "m/s" in str(row) for row in rows["us"])
    assert not any("°F" in str(row) or "mph" in str(row) for row in rows["metric"])


def test_page_and_calendar_of_the_sample(tmp_path: Path) -> None:
    page, calendar = tmp_path / "a.html", tmp_path / "a.ics"
    _run("--page", str(page), "--calendar", str(calendar), "--explain")
    html = page.read_text("utf-8")
    assert "<strong>Sample.</strong>" in html
    told = html[: html.index("<details><summary>Weather sources")]
    told = re.sub(r"<td>[^<]*</td></tr>", "", told)  # sources are quoted in their own units
    assert "°F" in told
    assert "°C" not in told
    assert list(vobject.readOne(calendar.read_bytes().decode()).vevent_list)
