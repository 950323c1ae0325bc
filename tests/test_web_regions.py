"""A comparison of regions shown by the server: its pages and nothing else of the folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from region_fixtures import data
from regions_made_up import two_regions
from spoken import METRIC
from starlette.testclient import TestClient
from web_fixtures import client

from windowcast.cli import main
from windowcast.report.region_page import region_page, sorting_script


@pytest.fixture
def shown(tmp_path: Path) -> TestClient:
    folder = tmp_path / "comparison"
    (folder / "stations").mkdir(parents=True)
    (folder / "index.html").write_text(region_page(data(), two_regions(), METRIC), "utf-8")
    (folder / "stations" / "CHAR.html").write_text("<main>Char</main>")
    (folder / "seasons.csv").write_text("secret")
    (folder / "stations" / "elsewhere.html").symlink_to(folder / "seasons.csv")
    return client(tmp_path, regions=folder)


def test_its_pages_are_shown_with_a_way_back(shown: TestClient) -> None:
    page = shown.get("/regions/")
    assert page.status_code == 200
    assert "Coastal plain" in page.text
    assert '<a href="/">Today</a>' in page.text
    assert "Char" in shown.get("/regions/stations/CHAR.html").text
    assert '<a href="/regions/">Regions</a>' in shown.get("/").text


def test_nothing_else_of_the_folder_is_shown(shown: TestClient) -> None:
    for path in ("seasons.csv", "stations/elsewhere.html", "stations/..%2Findex.html",
                 "stations/GONE.html", "stations/%2e%2e/seasons.csv", "../site.toml"):  # fmt: skip
        answer = shown.get(f"/regions/{path}")
        assert answer.status_code == 404, path
        assert "secret" not in answer.text


def test_only_the_sorting_script_may_run(shown: TestClient) -> None:
    policy = shown.get("/regions/").headers["content-security-policy"]
    assert f"script-src '{sorting_script()[1]}';" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-inline'; script-src" in policy  # of styles alone


def test_without_a_comparison_there_is_no_such_page(tmp_path: Path) -> None:
    without = client(tmp_path)
    assert without.get("/regions/").status_code == 404
    assert "/regions/" not in without.get("/").text


def test_a_folder_without_a_comparison_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["serve", str(tmp_path), "--regions", str(tmp_path)])
    assert end.value.code == 2
    assert "holds no comparison; make one with windowcast compare" in capsys.readouterr().err
