"""The page of the seasons ahead."""

from __future__ import annotations

from pathlib import Path

from web_fixtures import client, make_site


def test_the_programmes_of_the_seasons_ahead_stand_on_a_page(tmp_path: Path) -> None:
    browser = client(tmp_path)
    text = browser.get("/s/sample/plan/seasons?seasons=2").text
    assert "The strongest mixture, every season" in text
    assert "Simulated 400 times" in text
    assert "<svg" in text
    assert 'href="/s/sample/plan/seasons"' in browser.get("/s/sample/plan").text


def test_ground_for_which_nothing_fits_is_said_in_words_and_without_a_picture(
    tmp_path: Path,
) -> None:
    slug = make_site(tmp_path)  # of which the file says little
    text = client(tmp_path).get(f"/s/{slug}/plan/seasons").text
    assert "nothing fits" in text
    assert '<div class="chart ahead">' not in text


def test_a_number_of_seasons_that_is_not_offered_is_the_usual_one(tmp_path: Path) -> None:
    text = client(tmp_path).get("/s/sample/plan/seasons?seasons=10000000").text
    assert "<option selected>3</option>" in text
