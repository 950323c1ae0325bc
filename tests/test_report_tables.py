"""JSON against its shipped JSON Schema (checked with jsonschema), and CSV."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import jsonschema
import pytest
from report_fixtures import ranking, window
from spoken import METRIC, voice_of

from windowcast.report.tables import (
    CSV_COLUMNS,
    csv_text,
    json_text,
    plain,
    rank_schema,
    shipped_schema,
)


def _check(document: object) -> None:
    validator = jsonschema.Draft202012Validator(
        shipped_schema(), format_checker=jsonschema.FormatChecker()
    )
    validator.validate(document)


def test_shipped_schema_is_the_one_of_the_dataclasses() -> None:
    assert shipped_schema() == rank_schema(), (
        "write windowcast/data/schema/rank.schema.json anew: python -m windowcast.report.tables"
    )


def test_shipped_schema_is_a_valid_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(shipped_schema())


def test_json_is_valid_under_the_schema() -> None:
    document = json.loads(json_text(ranking(), voice=voice_of(ranking())))
    _check(document)
    assert document["purposes"][1]["windows"][0]["score"] == 78.0
    assert document["purposes"][0]["closest"]["score"] is None


def test_schema_refuses_a_verdict_that_is_not_one() -> None:
    document = json.loads(json_text(ranking(), voice=voice_of(ranking())))
    document["purposes"][1]["windows"][0]["verdict"] = "perfect"
    with pytest.raises(jsonschema.ValidationError):
        _check(document)


def test_not_a_number_becomes_null() -> None:
    odd = dataclasses.replace(window(), score=float("nan"))
    assert plain(odd, METRIC)["score"] is None


def test_what_json_cannot_hold_is_an_error() -> None:
    with pytest.raises(TypeError):
        plain({"a": object()}, METRIC)


def test_csv_has_a_row_for_each_window_and_each_silent_purpose() -> None:
    rows = list(csv.DictReader(io.StringIO(csv_text(ranking(), voice=voice_of(ranking())))))
    assert tuple(rows[0]) == CSV_COLUMNS
    assert [(r["purpose"], r["verdict"], r["rank"]) for r in rows] == [
        ("pre-fall", "cannot tell", ""),
        ("post-early", "fit", "1"),
        ("post-early", "marginal", "2"),
        ("dormant", "out of season", ""),
        ("pre-spring", "out of season", ""),
    ]
    assert all("label is the law" in r["cautions"] for r in rows)


@pytest.mark.parametrize("name", ["=1+1", "+A1", "@cmd", "-2"])
def test_a_spreadsheet_never_runs_a_site_name(name: str) -> None:
    rows = list(
        csv.DictReader(
            io.StringIO(csv_text(ranking(site=name), voice=voice_of(ranking(site=name))))
        )
    )
    assert rows[0]["site"] == f"'{name}"


def test_a_purpose_that_cannot_be_told_without_hours_says_so_in_one_row() -> None:
    full = ranking()
    blind = dataclasses.replace(full.purposes[0], windows=(), closest=None)
    (row,) = csv.DictReader(
        io.StringIO(
            csv_text(
                dataclasses.replace(full, purposes=(blind,)),
                voice=voice_of(dataclasses.replace(full, purposes=(blind,))),
            )
        )
    )
    assert (row["verdict"], row["start"], row["must_follow"]) == ("cannot tell", "", "")
    assert row["note"].startswith("Cannot tell: wind is missing")
