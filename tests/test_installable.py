"""The page as an application on a phone: its files, its manifest, the date each page carries."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from web_fixtures import client, make_site

from windowcast.web.installable import MANIFEST, STATIC


def test_the_manifest_names_files_that_are_there(tmp_path: Path) -> None:
    browser = client(tmp_path)
    answer = browser.get("/manifest.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    found = json.loads(answer.text)
    assert found == MANIFEST
    assert found["display"] == "standalone"
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in found["icons"]}
    for icon in found["icons"]:
        image = browser.get(icon["src"])
        assert image.status_code == 200
        assert image.headers["content-type"].startswith(icon["type"])


def test_own_files_are_served_with_their_type_and_nothing_else_is(tmp_path: Path) -> None:
    browser = client(tmp_path)
    for name, kind in STATIC.items():
        assert browser.get(f"/static/{name}").headers["content-type"].startswith(kind)
    worker = browser.get("/kept.js")
    assert worker.headers["content-type"].startswith("text/javascript")
    policy = worker.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "connect-src 'self'" in policy  # the worker asks its own server and nobody else
    assert "unsafe" not in policy
    for name in ("sort.js", "kept.js", "..%2fapp.py", "../app.py"):
        assert browser.get(f"/static/{name}").status_code == 404


@pytest.mark.parametrize("screen", ["today", "season", "plan"])
def test_every_page_carries_its_date_out_of_sight(tmp_path: Path, screen: str) -> None:
    slug = make_site(tmp_path)
    page = client(tmp_path).get(f"/s/{slug}/{screen}").text
    note = re.search(r'<div [^>]*id="kept"[^>]*>', page)
    assert note
    assert note[0].endswith(" hidden>")
    assert re.search(
        r' data-made="\d{10}" data-as-of="As of [^"]+:" data-old-as-of="Old, [^"]+20\d\d', note[0]
    )
    # the worker puts the date before each of these
    assert screen == "plan" or page.count('<h2 class="answer"') == page.count('class="answer"') > 0


def test_a_page_file_has_no_worker_and_no_manifest(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    page = client(tmp_path).get(f"/s/{slug}/page.html").text
    assert "<script" not in page
    assert "manifest" not in page


def test_where_a_token_is_needed_the_worker_needs_it_too(tmp_path: Path) -> None:
    from windowcast.web.security import Guard

    browser = client(tmp_path, guard=Guard(token="secret", reads_per_s=1e6))
    for path in ("/kept.js", "/away", "/manifest.webmanifest", "/static/installed.js"):
        assert browser.get(path).status_code == 401
