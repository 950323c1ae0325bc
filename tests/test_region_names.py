"""Names of regions and stations in a list or a drawing: shown as they are, each one way."""

from __future__ import annotations

import json
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from region_fixtures import data, listed_as

from windowcast.core.errors import InputError
from windowcast.region.drawn import areas_of
from windowcast.region.names import LONGEST, MOST_REGIONS, shown_name
from windowcast.region.stations import StationList, find_stations
from windowcast.report.region_findings import findings_of


def listed(folder: Path, *regions: str, column: str = "region") -> StationList:
    """A list with a row for each region."""
    (folder / "site.csv").write_text("date,tmin,tmax\n")
    rows = [f'site.csv,S{n},"{region}"' for n, region in enumerate(regions)]
    path = folder / "stations.csv"
    path.write_text("\n".join([f"file,id,{column}", *rows, ""]), "utf-8")
    return find_stations(path, folder, column=None if column == "region" else column)


def test_spaces_and_composed_letters_make_no_other_region(tmp_path: Path) -> None:
    apart = unicodedata.normalize("NFD", "Cañon")
    names = ["Gulf Coast", " Gulf  Coast ", "Gulf\nCoast", "Gulf\N{NO-BREAK SPACE}Coast"]
    found = listed(tmp_path, *names, "Cañon", apart, "")
    regions = [station.region for station in found.stations]
    assert regions == ["Gulf Coast"] * 4 + ["Cañon"] * 2 + [""]


@pytest.mark.parametrize("column", ["region", "climate"])
@pytest.mark.parametrize(
    ("names", "words"),
    [
        (
            ["Coast", "Hills", "coast"],
            "row 4: {column}: 'coast' is written 'Coast' in row 2; write one region one way",
        ),
        (
            ["Coast", "\x1b[31mHills"],
            r"row 3: {column}: the name '\x1b[31mHills' has a character that cannot be shown; take",
        ),
        (["Co\u200bast"], r"row 2: {column}: the name 'Co\u200bast' has a character that cannot"),
        (
            ["Coast", "x" * 500],
            "row 3: {column}: the name 'xxxxxxxxxxxxxxxxxxxx…' has 500 letters; give at most 80",
        ),
    ],
)
def test_a_name_that_cannot_stand_is_refused_with_its_place(
    names: list[str], words: str, column: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        listed(tmp_path, *names, column=column)
    said = str(caught.value)
    assert said.startswith(f"{tmp_path / 'stations.csv'}: " + words.format(column=column))
    assert "\n" not in said
    assert said.isprintable()


def test_more_regions_than_can_be_compared_are_refused_before_anything_is_computed(
    tmp_path: Path,
) -> None:
    names = [f"R{n}" for n in range(MOST_REGIONS)]
    assert len(listed(tmp_path, *names).stations) == MOST_REGIONS
    with pytest.raises(InputError, match=f"names {MOST_REGIONS + 1} regions, and at most"):
        listed(tmp_path, *names, "one more")
    boxes = {name: (n / 10, 0.0, (n + 1) / 10, 1.0) for n, name in enumerate([*names, "more"])}
    with pytest.raises(InputError, match="--region: names 251 regions"):
        areas_of(boxes)


def test_drawn_regions_are_named_by_the_same_rule(tmp_path: Path) -> None:
    (area,) = areas_of(["Gulf   Coast=30,-90,31,-89"])
    assert area.name == "Gulf Coast"
    with pytest.raises(InputError, match="'coast' is written 'Coast'; write one region one way"):
        areas_of(["Coast=30,-90,31,-89", "coast=32,-90,33,-89"])
    ring = [[0, 0], [4, 0], [4, 4], [0, 0]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    features = [
        {"type": "Feature", "geometry": shape, "properties": {"name": name}}
        for name in ("North", "N" * (LONGEST + 1))
    ]
    path = tmp_path / "zones.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    with pytest.raises(InputError, match=r"zones.geojson: feature 2: the name .* has 81 letters"):
        areas_of([path])


@given(st.text(max_size=120))
def test_whatever_is_taken_as_a_name_can_be_shown_and_stays(text: str) -> None:
    try:
        name = shown_name(text, field="region")
    except InputError as error:
        name = str(error)[:LONGEST]
    assert name.isprintable()
    assert len(name) <= LONGEST
    assert shown_name(name, field="region") == name.strip()


def test_stations_of_one_name_are_told_apart_by_their_ids() -> None:
    alike = listed_as(data().stations, name=["Field", "Field", "Barn"], region=["", "", ""])
    called = findings_of(alike, alike.regional()).called
    assert called == {"SELMA": "Field (SELMA)", "BOWL": "Field (BOWL)", "CHAR": "Barn"}
