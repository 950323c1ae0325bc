"""The JSON interface against its own OpenAPI document and the shipped JSON Schema."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from report_fixtures import HOSTILE
from web_fixtures import client, make_site

from windowcast.records.model import KINDS
from windowcast.web.openapi import document


def test_ranking_is_valid_under_the_served_schema(tmp_path: Path) -> None:
    browser = client(tmp_path)
    schema = browser.get("/api/rank.schema.json").json()
    jsonschema.Draft202012Validator(schema).validate(browser.get("/api/sites/sample/rank").json())


@pytest.mark.parametrize(
    ("query", "status", "kind"),
    [
        ("", 200, "application/json"),
        ("?format=csv&units=us", 200, "text/csv"),
        ("?format=text", 200, "text/plain"),
        ("?units=kelvin", 422, "application/json"),
        ("?format=xml", 422, "application/json"),
    ],
)
def test_forms_of_a_ranking(tmp_path: Path, query: str, status: int, kind: str) -> None:
    answer = client(tmp_path).get(f"/api/sites/sample/rank{query}")
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith(kind)


def test_entries_are_added_and_listed(tmp_path: Path) -> None:
    slug = make_site(tmp_path, name=HOSTILE)
    browser = client(tmp_path)
    entry = {"kind": "probe", "date": "2023-11-05", "depth_m": 0.05, "temp_c": 12.5}
    added = browser.post(f"/api/sites/{slug}/log", json=entry)
    assert added.status_code == 201
    assert added.json()["entry"]["temp_c"] == 12.5
    assert [e["id"] for e in browser.get(f"/api/sites/{slug}/log").json()] == [added.json()["id"]]
    assert browser.get(f"/api/sites/{slug}/log?kind=note").json() == []
    assert browser.get("/api/sites").json()[0]["name"] == HOSTILE


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("", 400),
        ("[1]", 422),
        ("{}", 422),
        ('{"kind": "spell"}', 422),
        ('{"kind": "probe", "date": "2023-11-05", "depth_m": 0.05, "temp_c": "NaN"}', 422),
        ('{"kind": "probe", "date": "2023-11-05", "depth_m": 1e400, "temp_c": 3}', 422),
        ('{"kind": "note", "date": "2023-11-05", "text": "\\ud800"}', 422),
        ('{"kind": "note", "date": "9999-12-31", "text": "x"}', 422),
        ("[" * 100_000, 400),
        ('{"kind": "probe", "date": 20231105999999999999999, "depth_m": 1, "temp_c": 3}', 422),
    ],
)
def test_bad_bodies_are_told_apart(tmp_path: Path, body: str, status: int) -> None:
    slug = make_site(tmp_path)
    answer = client(tmp_path).post(
        f"/api/sites/{slug}/log", content=body, headers={"content-type": "application/json"}
    )
    assert answer.status_code == status, answer.text
    assert answer.json()["error"]


def test_openapi_names_every_route_of_the_interface() -> None:
    from windowcast.web.api import ROUTES

    described = {
        (path, method.upper())
        for path, item in document()["paths"].items()
        for method in item
        if method in {"get", "post"}
    }
    served = {(r.path, m) for r in ROUTES for m in (r.methods or set()) - {"HEAD"}}
    assert described == served


def test_every_reference_in_the_document_leads_somewhere() -> None:
    text = json.dumps(document())
    names = {ref.split('"')[0] for ref in text.split("#/components/schemas/")[1:]}
    assert names <= set(document()["components"]["schemas"])
    assert "$defs" not in text
    assert len(document()["components"]["schemas"]["NewEntry"]["oneOf"]) == len(KINDS)
