"""Fuzz of the interface by its own OpenAPI document (schemathesis) and of every form (hypothesis).

Nothing that is sent may end in a 5xx, and what the interface answers keeps to its document.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fuzzing import cases
from hypothesis import given
from hypothesis import strategies as st
from report_fixtures import TODAY
from spoken import METRIC
from starlette.testclient import TestClient
from web_fixtures import _empty_review, client, made_up, make_site, proof, sample_plan

from windowcast.records.kinds import KINDS
from windowcast.web.answers import Keeper, Ready
from windowcast.web.app import create_app
from windowcast.web.context import Web
from windowcast.web.log_forms import fields_of
from windowcast.web.openapi import document
from windowcast.web.security import LOOPBACK, Guard
from windowcast.web.site_forms import fields
from windowcast.web.sites import SiteBook
from windowcast.web.tank_fields import AMOUNTS, PRODUCTS, product_fields

schemathesis = pytest.importorskip("schemathesis", reason="needs the browser extra")
from schemathesis.specs.openapi.checks import positive_data_acceptance  # noqa: E402

QUICK = cases(25)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place: Path = tmp_path_factory.mktemp("fuzzed")
    make_site(place, name="fuzzed", units="us")
    return place


@pytest.fixture(scope="module")
def api(folder: Path) -> Any:
    open_guard = Guard(hosts=LOOPBACK | {"testserver", ""}, reads_per_s=1e9, writes_per_s=1e9)
    parts = Web(
        book=SiteBook(folder),
        answers=Keeper(lambda site: Ready((made := made_up(site),), site.slug, lambda *_: (made,))),
        plans=Keeper(lambda known: sample_plan()),
        reviews=Keeper(_empty_review),
        guard=open_guard,
        today=TODAY,
    )
    return schemathesis.openapi.from_asgi("/api/openapi.json", create_app(parts))


OPERATIONS = [
    f"{method.upper()} {path}"
    for path, item in document()["paths"].items()
    for method in item
    if method in {"get", "post"} and path != "/api/openapi.json"  # schemathesis reads that itself
]


@pytest.mark.parametrize("name", OPERATIONS)
def test_interface_keeps_to_its_document(api: Any, name: str) -> None:
    found = {f"{o.ok().method.upper()} {o.ok().path}": o.ok() for o in api.get_all_operations()}

    @given(case=found[name].as_strategy())
    @QUICK
    def fuzzed(case: Any) -> None:
        if "site" in (case.path_parameters or {}):
            case.path_parameters["site"] = "fuzzed"  # else nearly every request is a 404
        # that a date lies ahead or an active is unknown is refused, and no schema can say so
        case.call_and_validate(excluded_checks=[positive_data_acceptance])

    fuzzed()


@pytest.fixture(scope="module")
def browser(folder: Path) -> TestClient:
    return client(folder)


ODD = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        ["", "nan", "-1e400", "0", "1e308", "\x00", "2023-02-30", "../../x", "<b>", "12 acre", "on"]
    ),
    st.floats().map(str),
    st.dates().map(str),
)


def _filled(names: list[str]) -> st.SearchStrategy[dict[str, str]]:
    return st.fixed_dictionaries({}, optional=dict.fromkeys(names, ODD))


@pytest.mark.parametrize("kind", list(KINDS))
@given(data=st.data())
@QUICK
def test_log_forms_take_anything(browser: TestClient, kind: str, data: st.DataObject) -> None:
    path = f"/s/fuzzed/log/new/{kind}"
    typed = data.draw(_filled([field.name for field in fields_of(kind, METRIC)]))
    answer = browser.post(path, data={"proof": _proof(browser, path), **typed})
    assert answer.status_code in {303, 422}


@given(data=st.data())
@QUICK
def test_site_forms_take_anything(browser: TestClient, data: st.DataObject) -> None:
    names = [field.name for field in fields(METRIC)]
    names += [f"blackout.0.{key}" for key in ("first", "last", "hours", "reason")]
    names += [f"sensitive.0.{key}" for key in ("name", "bearing_from_deg", "bearing_to_deg")]
    names += ["blackout.x.first", "weed.POAAN", "day.mon", "blackout.99999999999.first"]
    for path in ("/new", "/s/fuzzed/settings"):
        typed = data.draw(_filled(names))
        answer = browser.post(path, data={"proof": _proof(browser, path), **typed})
        assert answer.status_code in {303, 422}


@given(data=st.data())
@QUICK
def test_addresses_take_anything(browser: TestClient, data: st.DataObject) -> None:
    names = [field.name for row in range(PRODUCTS) for field in product_fields(row, METRIC)]
    names += ["purpose", "where", "sprayer", "start", "end", "actives", *AMOUNTS]
    query = data.draw(_filled(names))
    assert browser.get("/s/fuzzed/plan", params=query).status_code in {200, 422}
    given = {"proof": _proof(browser, "/s/fuzzed/log"), **data.draw(_filled([*names, "operator"]))}
    assert browser.post("/s/fuzzed/plan/log", data=given).status_code in {303, 422}
    query = data.draw(_filled(["place", "town", "done", "units", "format", "kind"]))
    for path in ("/new", "/s/fuzzed/log", "/api/sites/fuzzed/rank", "/api/sites/fuzzed/log"):
        assert browser.get(path, params=query).status_code < 500


@given(st.text(max_size=60))
@QUICK
def test_any_path_is_answered(browser: TestClient, text: str) -> None:
    from urllib.parse import quote

    for path in (f"/{quote(text)}", f"/s/{quote(text)}/log", f"/s/fuzzed/log/{quote(text)}"):
        assert browser.get(path).status_code < 500


_PROOFS: dict[str, str] = {}


def _proof(browser: TestClient, path: str) -> str:
    """The proof of the session, looked up once."""
    if "it" not in _PROOFS:
        _PROOFS["it"] = proof(browser, path)
    return _PROOFS["it"]
