"""What a note of a place says of the areas of a site, as sloppy as people write it."""

from __future__ import annotations

import pytest

from windowcast.core.places import Reach, reach

AREAS = ["greens", "tees", "field 1", "field 2", "field 3", "home", "away", "home and away"]


def reached(where: str, areas: list[str] = AREAS) -> dict[str, Reach]:
    return {area: reach(where, area, areas, "Elm Park") for area in areas}


@pytest.mark.parametrize(
    ("where", "named"),
    [
        ("Green", ["greens"]),
        ("all  the GREENS", ["greens"]),
        ("greens/tees", ["greens", "tees"]),
        ("Field 2 and 3", ["field 2", "field 3"]),
        ("fields 1-3, greens", ["field 1", "field 2", "field 3", "greens"]),
        ("home and away", ["home and away"]),
        ("home, away", ["home", "away"]),
    ],
)
def test_areas_are_found_however_they_are_written(where: str, named: list[str]) -> None:
    found = reached(where)
    assert [area for area in AREAS if found[area] == "whole"] == [a for a in AREAS if a in named]
    assert {found[area] for area in AREAS if area not in named} == {"elsewhere"}


@pytest.mark.parametrize("where", ["", "all", "All areas", "the entire course", "elm  park"])
def test_the_whole_site_is_every_area(where: str) -> None:
    assert set(reached(where).values()) == {"whole"}
    assert reach(where, "", [], "Elm Park") == "whole"


@pytest.mark.parametrize("where", ["field 22", "field", "hole 3", "greens 1-9", "1", "/", "2-1"])
def test_what_is_no_area_leaves_it_open(where: str) -> None:
    assert set(reached(where).values()) == {"unclear"}


def test_an_area_that_has_a_word_for_all_as_its_name_is_only_that_area() -> None:
    assert reached("course", ["course", "range"]) == {"course": "whole", "range": "elsewhere"}


def test_areas_that_differ_in_a_plural_are_kept_apart() -> None:
    assert reached("tees", ["tee", "tees"]) == {"tee": "elsewhere", "tees": "whole"}
