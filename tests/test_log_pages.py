"""A long log in pages: every entry on exactly one, totals that add up, addresses as people type."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from web_fixtures import client, make_site

from windowcast.records.model import FieldNote, SoilReading
from windowcast.records.store import SeasonLog
from windowcast.web.log_pages import PAGE, log_page

DAY = dt.date(2023, 11, 1)


def filled(folder: Path, notes: int = 230, readings: int = 30) -> str:
    slug = make_site(folder)
    with SeasonLog(folder / f"{slug}.log.sqlite") as log:
        log.add(*(FieldNote(DAY - dt.timedelta(n), f"note-{n}.") for n in range(notes)))
        log.add(*(SoilReading(DAY - dt.timedelta(n), 0.05, 9.0) for n in range(readings)))
    return slug


def test_each_entry_is_on_one_page_newest_first(tmp_path: Path) -> None:
    slug = filled(tmp_path)
    browser = client(tmp_path)
    path, found = f"/s/{slug}/log", []
    for number in range(1, 4):
        page = browser.get(path).text
        found += [int(n) for n in re.findall(r"note-(\d+)\.", page)]
        assert f"Page {number} of 3" in page
        older = re.search(r'href="([^"]+)" rel="next"', page)
        assert bool(older) == (number < 3)
        path = older[1].replace("&amp;", "&") if older else ""
    assert found == list(range(230))


def test_season_and_kind_narrow_it_and_the_totals_add_up(tmp_path: Path) -> None:
    slug = filled(tmp_path)
    browser = client(tmp_path)
    page = browser.get(f"/s/{slug}/log?kind=probe").text
    assert "30 entries (260 in all), newest first" in page
    assert "note-" not in page
    page = browser.get(f"/s/{slug}/log?season=2022/23&kind=note").text
    first_of_season = (DAY - dt.date(2023, 7, 1)).days + 1
    assert [int(n) for n in re.findall(r"note-(\d+)\.", page)][:1] == [first_of_season]
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        entries = log.entries()
    whole = log_page(entries, {}, southern=False)
    assert sum(whole.seasons.values()) == sum(whole.kinds.values()) == len(entries) == whole.total
    for season, number in whole.seasons.items():
        assert log_page(entries, {"season": season}, southern=False).count == number
    nothing = browser.get(f"/s/{slug}/log?season=2022/23&kind=probe").text
    assert "No entry is of this season and kind" in nothing


@pytest.mark.parametrize("page", ["", "0", "-1", "x", "²", "99", "9" * 30, "1e3", "2.5"])
@pytest.mark.parametrize("other", ["", "&season=1900/01&kind=nothing", "&season=<b>&kind=%22"])
def test_wrong_addresses_show_a_page(tmp_path: Path, page: str, other: str) -> None:
    slug = filled(tmp_path, PAGE + 5, 0)
    answer = client(tmp_path).get(f"/s/{slug}/log?page={page}{other}")
    assert answer.status_code == 200
    shown = 2 if page == "99" else 1
    assert f"Page {shown} of 2" in answer.text
    assert "<b>" not in answer.text


def test_what_is_written_is_seen_at_once_and_in_json_too(tmp_path: Path) -> None:
    slug = filled(tmp_path, 3, 0)
    browser = client(tmp_path)
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        for step in range(3):
            (added,) = log.add(FieldNote(DAY, f"step {step}"))
            assert f"step {step}" in browser.get(f"/s/{slug}/log").text
            listed = browser.get(f"/api/sites/{slug}/log").json()
            assert [e["id"] for e in listed] == [s.id for s in log.entries()]
            log.edit(added, FieldNote(DAY, f"changed {step}"))
            assert f"changed {step}" in browser.get(f"/api/sites/{slug}/log?kind=note").text
            assert browser.get(f"/api/sites/{slug}/log?kind=probe").json() == []
            log.remove(added)
            assert len(browser.get(f"/api/sites/{slug}/log").json()) == 3
