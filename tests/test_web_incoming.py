"""Files given to the page: shown as understood, asked about, stored by one confirmation."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_fixtures import client, make_site, proof

from windowcast.core.site import load_site
from windowcast.records.model import SoilReading
from windowcast.records.store import SeasonLog
from windowcast.sources.files import read_weather
from windowcast.web.incoming import keep_aside
from windowcast.web.sites import SiteBook

DAYS = b"Date;High (\xc2\xb0F);Low (\xc2\xb0F);Rain in\n9/4/2023;70,5;50;T\n9/5/2023;71,5;51;0,25\n"
PROBES = "Kind;Date;Depth in;Temp °F\nprobe;9/4/2023;2;66,2\nprobe;9/5/2023;2;67\n".encode()


def give(browser: TestClient, path: str, form: str, name: str, content: bytes) -> object:
    return browser.post(path, data={"proof": proof(browser, form)}, files={"file": (name, content)})


def answer(browser: TestClient, slug: str, purpose: str, shown: str, **said: str) -> object:
    token = re.search(r'name="token" value="([^"]+)"', shown)
    assert token, shown
    return browser.post(
        f"/s/{slug}/incoming/{purpose}",
        data={"proof": proof(browser, f"/s/{slug}/log"), "token": token[1], **said},
    )


def test_a_log_table_is_asked_about_shown_and_stored(tmp_path: Path) -> None:
    slug = make_site(tmp_path, units="us")
    browser = client(tmp_path)
    path = f"/s/{slug}/log"
    asked = give(browser, f"{path}/upload", path, "probe log.csv", PROBES)
    assert asked.status_code == 422
    assert "could be 4 Sep 2023 or 9 Apr 2023; choose below what comes first" in asked.text
    assert str(tmp_path) not in asked.text
    shown = answer(browser, slug, "log", asked.text, dates="mdy", do="read")
    assert shown.status_code == 200, shown.text
    for line in ("2 rows; columns apart by semicolons, decimal comma.", "Dates are month/day/year",
                 "&#39;Depth in&#39;: Depth (in)", "2023-09-04: soil 66", "2 entries"):  # fmt: skip
        assert line in shown.text
    assert not (tmp_path / f"{slug}.log.sqlite").exists(), "nothing is stored before"
    stored = answer(browser, slug, "log", shown.text, dates="mdy", do="store")
    assert stored.headers["location"] == f"{path}?done=imported"
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        temps = [stored.entry.temp_c for stored in log.all(SoilReading)]
    assert temps == pytest.approx([19.0, 19.4444], 1e-4)
    assert not list((tmp_path / f"{slug}-incoming").iterdir())
    again = answer(browser, slug, "log", shown.text, dates="mdy", do="store")
    assert again.status_code == 422
    assert "The file is not there any more" in again.text


def test_a_log_entry_that_the_turf_refuses_is_named_and_nothing_stored(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    path = f"/s/{slug}/log"
    table = b"kind,start,materials\napplication,2023-09-04 09:00,glyphosat 1 kg/ha\n"
    shown = give(browser, f"{path}/upload", path, "log.csv", table)
    refused = answer(browser, slug, "log", shown.text, do="store")
    assert refused.status_code == 422
    assert "row 2" in refused.text
    assert "glyphosat" in refused.text
    assert not (tmp_path / f"{slug}.log.sqlite").exists()


def test_a_weather_table_in_a_dialect_is_shown_before_it_is_used(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    settings = f"/s/{slug}/settings"
    asked = give(browser, f"{settings}/upload", settings, "My days.csv", DAYS)
    assert asked.status_code == 422
    shown = answer(browser, slug, "weather", asked.text, dates="mdy", do="read")
    assert "highest air temperature (°F)" in shown.text
    assert not (tmp_path / f"{slug}-weather").exists()
    stored = answer(browser, slug, "weather", shown.text, dates="mdy", do="store")
    assert stored.headers["location"] == f"{settings}?done=uploaded"
    site = load_site(tmp_path / f"{slug}.toml")
    (file,) = site.weather.files
    assert file.endswith(f"{slug}-weather/My-days.csv:dates=mdy")
    assert str(read_weather(file).times[0]) == "2023-09-04"
    asked = give(browser, f"{settings}/upload", settings, "My days.csv", DAYS)
    answer(browser, slug, "weather", asked.text, dates="dmy", do="store")
    (file,) = load_site(tmp_path / f"{slug}.toml").weather.files
    assert file.endswith("My-days.csv:dates=dmy"), "the same file once"


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ({"token": "../../etc/passwd"}, 422), ({"token": "0123456789abcdef.x.csv"}, 422),
        ({"dates": "ymd"}, 422), ({"sheet": "a,units=us"}, 422), ({"unknown": "all"}, 422),
    ],
)  # fmt: skip
def test_answers_that_no_form_of_ours_gives(
    tmp_path: Path, said: dict[str, str], status: int
) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    (site,) = SiteBook(tmp_path).all()
    token = keep_aside(site, "log", "log.csv", PROBES).token
    data = {"proof": proof(browser, f"/s/{slug}/log"), "token": token, "do": "store", **said}
    assert browser.post(f"/s/{slug}/incoming/log", data=data).status_code == status
    assert browser.post(f"/s/{slug}/incoming/poems", data=data).status_code == 404
    assert not (tmp_path / f"{slug}.log.sqlite").exists()


def test_few_files_are_kept_aside(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    (site,) = SiteBook(tmp_path).all()
    for count in range(6):
        keep_aside(site, "log", f"{count}.csv", PROBES)
    browser = client(tmp_path)
    give(browser, f"/s/{slug}/log/upload", f"/s/{slug}/log", "6.csv", PROBES)
    kept = sorted(path.name[17:] for path in (tmp_path / f"{slug}-incoming").iterdir())
    assert len(kept) == 5
    assert kept[-1] == "6.csv"


def test_the_sample_takes_no_files(tmp_path: Path) -> None:
    browser = client(tmp_path)
    assert browser.post("/s/sample/log/upload", data={"a": "b"}).status_code == 409
