"""From an open window to a stored spray record on the page, and what forms offer."""

from __future__ import annotations

import datetime as dt
import html
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from report_fixtures import TODAY
from starlette.testclient import TestClient
from web_fixtures import client, make_site, send

from windowcast.records.model import Application, Material
from windowcast.records.store import SeasonLog

KEPT = """
[[sprayer]]
name = "Big boom"
tank = "300 gal"
carrier = "40 gal/acre"
nozzle = "flat fan 08"
speed = "4 mph"
spacing = "20 in"
"""
LABELS = """
[[products]]
name = "Shed jug"
active = "glyphosate"
concentration = "4 lb/gal"
formulation = "SL"
rate = "16 fl oz/acre"
registration = "0-123"
price = "60 USD per 2.5 gal"
"""
AREA = '\n[[area]]\nname = "greens"\nsize = "3 acre"\n'


@pytest.fixture
def slug(tmp_path: Path) -> str:
    slug = make_site(tmp_path)
    file = tmp_path / f"{slug}.toml"
    (tmp_path / "labels").mkdir()
    (tmp_path / "labels" / "own.toml").write_text(LABELS)
    text = file.read_text().replace("# overseeded = false", "overseeded = false")
    text = text.replace("# mature = false", "mature = true")
    for line in ('name = "R. Vega"', 'certification = "C-17"'):
        text = text.replace(f"# {line}", line)
    file.write_text('materials_file = "labels/own.toml"\n' + text + KEPT)
    return slug


def logged(folder: Path, slug: str) -> list[Application]:
    file = folder / f"{slug}.log.sqlite"
    if not file.exists():
        return []
    with SeasonLog(file) as log:
        return [stored.entry for stored in log.all(Application)]


class Forms(HTMLParser):
    """What a browser would send of the form that posts to an address."""

    def __init__(self, action: str) -> None:
        super().__init__()
        self.action, self.inside, self.select = action, False, ""
        self.fields: dict[str, str] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.inside = given.get("action", "").partition("#")[0] == self.action
        elif self.inside and tag == "input":
            self.fields[given["name"]] = given.get("value", "")
        elif self.inside and tag == "select":
            self.select = given["name"]
            self.fields[self.select] = ""
        elif self.inside and tag == "option" and self.select and "selected" in given:
            self.fields[self.select] = given["value"]

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.inside = False
        elif tag == "select":
            self.select = ""


def form(page: str, action: str) -> dict[str, str]:
    forms = Forms(action)
    forms.feed(page)
    assert forms.fields, f"no form for {action}"
    return forms.fields


class Person:
    """Counts what a person clicks and fills in."""

    def __init__(self, browser: TestClient, page: str) -> None:
        self.browser, self.page, self.clicks, self.filled = browser, page, 0, 0
        self.url = ""

    def follow(self, part: str) -> None:
        (href,) = (h for h in re.findall(r'href="([^"]+)"', self.page) if part in h)
        self.url = html.unescape(href).partition("#")[0]
        self.clicks += 1
        self.page = self.browser.get(self.url).text

    def press(self, action: str, method: str, **typed: str) -> None:
        fields = form(self.page, action)
        assert set(typed) <= set(fields)
        self.filled += len(typed)
        self.clicks += 1
        data = {**fields, **{name.replace("__", "."): text for name, text in typed.items()}}
        if method == "get":
            self.page = self.browser.get(action, params=data).text
            return
        answer = self.browser.post(action, data=data)
        assert answer.status_code == 303, answer.text
        self.page = self.browser.get(answer.headers["location"]).text


def test_from_an_open_window_to_a_stored_record(tmp_path: Path, slug: str) -> None:
    browser = client(tmp_path)
    person = Person(browser, browser.get(f"/s/{slug}/today").text)
    person.follow("/plan/tank?purpose=post-early")
    query = parse_qs(urlsplit(person.url).query)
    assert query["purpose"] == ["post-early"]
    assert query["start"][0] < query["end"][0]
    typed = form(person.page, f"/s/{slug}/plan/tank")
    assert typed["purpose"] == query["purpose"][0]
    fill = {"area": "3 acre", "p0.name": "shed jug"}
    fields = {**typed, **fill}
    person.filled += len(fill)
    person.clicks += 1
    person.page = browser.get(f"/s/{slug}/plan/tank", params=fields).text
    assert "in all: 9.00 USD" in person.page
    person.press(f"/s/{slug}/plan/log", "post")
    assert person.clicks <= 5
    assert person.filled <= 6
    assert "This application is in the log" in person.page
    assert "Still to enter, as many states ask:" in person.page
    (entry,) = logged(tmp_path, slug)
    assert entry.date == TODAY
    assert entry.purpose == "post-early"
    assert entry.operator == "R. Vega"
    (material,) = entry.materials
    assert (material.product, material.registration) == ("Shed jug", "0-123")
    assert material.product_total == "48 fl oz (1.42 L)"
    assert entry.nozzle == "flat fan 08"


def test_a_link_to_an_active_names_the_product_and_its_area(tmp_path: Path, slug: str) -> None:
    file = tmp_path / f"{slug}.toml"
    file.write_text(file.read_text() + AREA)
    browser = client(tmp_path)
    page = browser.get(f"/s/{slug}/plan?actives=glyphosate&where=greens&purpose=dormant")
    assert page.status_code == 200, page.text
    assert "3 acre (1.21 ha)" in page.text
    assert f'href="/s/{slug}/plan/crew?' in page.text
    person = Person(browser, page.text)
    person.press(f"/s/{slug}/plan/log", "post")
    (entry,) = logged(tmp_path, slug)
    assert (person.clicks, person.filled) == (1, 0)
    assert (entry.where, entry.purpose) == ("greens", "dormant")
    unknown = browser.get(f"/s/{slug}/plan?actives=simazine&where=greens")
    assert unknown.status_code == 422
    assert "f-p0-rate-wrong" in unknown.text


def test_what_the_turf_forbids_stands_first_and_is_still_recorded(
    tmp_path: Path, slug: str
) -> None:
    file = tmp_path / f"{slug}.toml"
    text = file.read_text() + AREA + 'overseed = { state = "done", date = 2023-10-01, '
    file.write_text(text + 'species = "perennial ryegrass" }\n')
    browser = client(tmp_path)
    page = browser.get(f"/s/{slug}/plan?p0.name=Shed+jug&where=greens").text
    assert page.index("glyphosate kills") < page.index("<dt>Area</dt>")
    assert page.index("Do not spray.") < page.index("glyphosate kills")
    assert '<th scope="col">Load</th>' not in page
    person = Person(browser, page)
    person.press(f"/s/{slug}/plan/log", "post")
    assert "though its tank sheet says no" in person.page
    assert len(logged(tmp_path, slug)) == 1


@pytest.mark.parametrize(
    ("typed", "beside"),
    [
        ({"start": "2033-01-01T10:00"}, "f-start-wrong"),
        ({"start": ""}, "f-start-wrong"),
        ({"start": "soon"}, "f-start-wrong"),
        ({"end": "2001-01-01T10:00"}, "f-end-wrong"),
        ({"p0.name": "no such jug"}, "f-p0-rate-wrong"),
        ({"tank": "300"}, "f-tank-wrong"),
    ],
)
def test_a_record_that_cannot_be_is_marked_and_not_stored(
    tmp_path: Path, slug: str, typed: dict[str, str], beside: str
) -> None:
    browser = client(tmp_path)
    address = f"/s/{slug}/plan"
    page = browser.get(address, params={"p0.name": "Shed jug", "area": "3 acre"}).text
    data = {**form(page, f"{address}/log"), **typed}
    if "tank" in typed:  # a bare number is in the sprayer's own unit, and else in none
        file = tmp_path / f"{slug}.toml"
        file.write_text(file.read_text().replace('tank = "300 gal"\n', ""))
    answer = browser.post(f"{address}/log", data=data)
    assert answer.status_code == 422, answer.text
    assert beside in answer.text
    assert logged(tmp_path, slug) == []


def test_a_record_needs_the_proof_of_our_own_page(tmp_path: Path, slug: str) -> None:
    browser = client(tmp_path)
    data = {"p0.name": "Shed jug", "area": "3 acre", "start": f"{TODAY}T10:00"}
    assert browser.post(f"/s/{slug}/plan/log", data=data).status_code == 403
    assert logged(tmp_path, slug) == []


def test_the_sample_works_out_sheets_but_keeps_no_record(tmp_path: Path) -> None:
    browser = client(tmp_path)
    query = {"area": "1 acre", "carrier": "40 gal/acre", "tank": "60 gal"}
    query |= {"p0.name": "glyphosate", "p0.rate": "16 fl oz/acre", "p0.concentration": "4 lb/gal"}
    page = browser.get("/s/sample/plan", params=query)
    assert page.status_code == 200
    assert "Log this application" not in page.text


def test_forms_offer_what_was_used_before(tmp_path: Path, slug: str) -> None:
    file = tmp_path / f"{slug}.toml"
    file.write_text(file.read_text() + AREA)
    start = dt.datetime(2023, 1, 3, 10, tzinfo=dt.UTC)
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        for hour, who in enumerate(("A. Old", 'B. "New" <i>')):
            log.add(
                Application(
                    start + dt.timedelta(hours=hour), (Material("simazine", product="Drum"),),
                    operator=who, where="field 9", nozzle="fan",
                )
            )  # fmt: skip
    browser = client(tmp_path)
    page = browser.get(f"/s/{slug}/log/new/application").text

    def offered(name: str, text: str) -> list[str]:
        found = re.search(rf'<datalist id="list-{name}">(.*?)</datalist>', text, re.DOTALL)
        assert found, name
        return [html.unescape(one) for one in re.findall(r'value="([^"]*)"', found[1])]

    assert offered("where", page) == ["greens", "field 9"]
    assert offered("operator", page) == ["R. Vega", 'B. "New" <i>', "A. Old"]
    assert offered("product", page) == ["Shed jug", "Drum"]
    assert offered("active", page) == ["simazine"]
    assert offered("nozzle", page) == ["flat fan 08", "fan"]
    assert 'name="where" value="" type="text" list="list-where"' in page
    tank = browser.get(f"/s/{slug}/plan/tank").text
    assert offered("name", tank) == ["Shed jug", "Drum", "simazine"]
    assert 'list="list-name"' in tank


def test_a_number_may_bring_its_own_unit(tmp_path: Path) -> None:
    slug = make_site(tmp_path)  # metric: the form asks for hectares and metres a second
    browser = client(tmp_path)
    path = f"/s/{slug}/log/new/application"
    start = {"start": f"{TODAY}T08:00", "materials__0__active": "glyphosate"}
    send(browser, path, **start, area_m2="2 acre", materials__0__rate_kg_ha="0.5 lb/acre",
         wind_m_s="5 mph", carrier_l_ha="40 gal/acre", rh_pct="61 %")  # fmt: skip
    (entry,) = logged(tmp_path, slug)
    assert entry.area_m2 == pytest.approx(2 * 4046.8564224)
    assert entry.materials[0].rate_kg_ha == pytest.approx(0.5 * 1.1208511561)
    assert entry.wind_m_s == pytest.approx(5 * 0.44704)
    assert entry.carrier_l_ha == pytest.approx(40 * 9.353958, rel=1e-6)
    assert entry.rh_pct == 61.0
    for field, text in (("materials__0__rate_kg_ha", "16 fl oz/acre"), ("area_m2", "2 gal"),
                        ("carrier_l_ha", "40 lb/acre"), ("wind_m_s", "5 knives")):  # fmt: skip
        refused = send(browser, path, **start, **{field: text})
        assert refused.status_code == 422  # type: ignore[attr-defined]
        assert f"f-{field.replace('__', '-')}-wrong" in refused.text  # type: ignore[attr-defined]
    assert len(logged(tmp_path, slug)) == 1
