"""The first minute: no site yet, no weather yet, settings in words, and a tour seen once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from web_fixtures import client, made_up, make_site, proof, send

from windowcast.core.errors import SourceUnreachableError
from windowcast.core.site import load_site
from windowcast.core.weed_codes import known
from windowcast.programme.answer import Answer
from windowcast.report.catalogue import catalogue
from windowcast.web.sites import KnownSite


def _read(html: str) -> str:
    """What people read of a page."""
    return " ".join(re.sub(r"<[^>]+>", " ", html.split("<body>")[1]).split())


def _unreachable(site: KnownSite) -> Answer:
    if site.sample:
        return made_up(site)
    raise SourceUnreachableError("the archive did not answer; nothing is cached")


def test_with_no_site_the_page_says_what_to_do_and_shows_the_sample(tmp_path: Path) -> None:
    text = client(tmp_path).get("/").text
    said = _read(text)
    for words in ("three steps", "your town", "coordinates", "own file", "station", "the sample"):
        assert words in said
    assert 'href="/new"' in text
    assert 'class="answer"' in text  # the sample's
    make_site(tmp_path)
    assert "three steps" not in client(tmp_path).get("/").text


def test_a_site_without_weather_says_what_brings_it(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path, make=_unreachable)
    for path in ("/", f"/s/{slug}/today"):
        page = browser.get(path)
        assert page.status_code == 503
        said = _read(page.text)
        for words in ("No weather for Quinta do Teste yet", "Ask again", "Add a weather file.",
                      "Name a weather station", "check the place: 38.6, −9.1",
                      "the archive did not answer"):  # fmt: skip
            assert words in said
        # the sample can be looked at, folded away under its name: nothing reads as this ground's
        before, _, after = page.text.partition("the sample, not your ground</summary>")
        assert 'class="answer"' in after
        assert 'class="answer"' not in before
        assert "<details open" not in page.text
    assert 'class="answer"' not in browser.get(f"/s/{slug}/season").text


def test_a_weather_file_is_taken_where_weather_is_missing(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path, make=_unreachable)
    rows = "\n".join(f"2023-10-{day:02},20,10,0" for day in range(1, 32))
    done = browser.post(
        f"/s/{slug}/settings/upload",
        data={"proof": proof(browser, f"/s/{slug}/today")},
        files={"file": ("own.csv", f"date,tmax_c,tmin_c,precip_mm\n{rows}\n".encode())},
    )
    assert done.status_code in {200, 303}, done.text
    assert "Nothing was" not in done.text


def test_the_tour_is_five_sentences_at_most_and_is_put_away_once(tmp_path: Path) -> None:
    for lang in ("en", "es"):
        texts = [text for key, text in catalogue(lang).raw.items() if key.startswith("tour.")]
        said = [text for text in texts if isinstance(text, str) and text.endswith(".")]
        assert 1 <= len(said) <= 5
        assert all(len(re.findall(r"[.?!](?: |$)", text)) == 1 for text in said)
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    assert "How to read this page" in browser.get("/").text
    assert browser.post("/tour", data={"site": slug}).status_code == 403  # no proof
    done = send(browser, "/tour", f"/s/{slug}/today", site=slug)
    assert done.headers["location"] == f"/s/{slug}/today"
    assert "How to read this page" not in browser.get(f"/s/{slug}/today").text
    assert send(browser, "/tour", "/new", site="//elsewhere").headers["location"] == "/"


@pytest.mark.parametrize("units", ["us", "metric"])
def test_settings_hide_codes_and_keys(tmp_path: Path, units: str) -> None:
    slug = make_site(tmp_path, units=units)
    said = _read(client(tmp_path).get(f"/s/{slug}/settings").text)
    for code in known():
        assert code not in said
    for key in ("turf.", "_mm", "_m_s", "spray_hours", " us ", " mon ", "IANA", "EPPO"):
        assert key not in said
    assert f"Mowing height ({'in' if units == 'us' else 'mm'})" in said
    assert "Monday" in said


def test_settings_are_typed_in_the_readers_units(tmp_path: Path) -> None:
    slug = make_site(tmp_path, units="us")
    browser = client(tmp_path)
    done = send(
        browser, f"/s/{slug}/settings", name="Q", latitude="38.6", longitude="-9.1", units="us",
        turf__species="hybrid bermudagrass", turf__use="golf", soil__texture="sand",
        calendar__spray_hours="06:00-19:00", weed__DIGIS="yes", day__tue="yes",
        turf__thatch_mm="0.5", turf__mowing_height_mm="1", weather__station="72306",
    )  # fmt: skip
    assert done.status_code == 303, done.text
    site = load_site(tmp_path / f"{slug}.toml")
    assert (site.turf.thatch_mm, site.turf.mowing_height_mm) == (12.7, 25.4)  # inch: NIST SP 811
    assert site.weather.station == "72306"
    assert re.search(r'name="turf.thatch_mm" value="0.5"', browser.get(f"/s/{slug}/settings").text)
