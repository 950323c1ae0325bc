"""Regions that somebody draws: which station lies in which, and what is refused."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from test_ghcn_bulk import FILES, PLACES
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_SOUTH

from windowcast.core.errors import InputError
from windowcast.core.units import M_PER_FOOT
from windowcast.region.drawn import Drawing, DrawnArea, areas_of, heights_of, in_polygon
from windowcast.region.left_out import too_few
from windowcast.region.stations import find_stations, read_places

SQUARE = [[0, 0], [4, 0], [4, 4], [0, 4], [0, 0]]
HOLE = [[1, 1], [1, 3], [3, 3], [3, 1], [1, 1]]


def feature(coordinates: Any, kind: str = "Polygon", **properties: Any) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def written(folder: Path, *features: dict[str, Any], **more: Any) -> Path:
    path = folder / "areas.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features, **more}))
    return path


def inside(area: DrawnArea, *places: tuple[float, float]) -> list[bool]:
    """Of places given as longitude, latitude."""
    lon, lat = np.array(places, float).T
    return area.holds(lon, lat).tolist()


def test_a_polygon_with_a_hole_and_several_parts(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        feature([SQUARE, HOLE], name="A"),
        feature([[[[10, 0], [12, 0], [11, 2], [10, 0]]]], "MultiPolygon", Name="B"),
        feature([[[20, 0], [22, 0], [21, 2], [20, 0]]], name="A"),
    )
    a, b = areas_of([path])
    assert (a.name, b.name) == ("A", "B")
    assert inside(a, (0.5, 0.5), (2, 2), (21, 1), (11, 1), (np.nan, 1)) == [
        True, False, True, False, False
    ]  # fmt: skip
    assert inside(b, (11, 1), (11.9, 1)) == [True, False]
    assert len(a.geometry()["coordinates"]) == 2
    (named,) = areas_of([f"{written(tmp_path, feature([SQUARE], ZONE=7))}:name=ZONE"])
    assert named.name == "7"


def test_against_a_geometry_library() -> None:
    shapely = pytest.importorskip("shapely")
    rng = np.random.default_rng(5)
    turn = np.sort(rng.uniform(0, 2 * np.pi, 300))
    far = rng.uniform(3, 9, 300)
    star = np.stack([far * np.cos(turn), far * np.sin(turn)], axis=1)
    ring = np.concatenate([star, star[:1]])
    hole = 0.2 * ring
    x, y = rng.uniform(-10, 10, (2, 4000))
    there = shapely.contains_xy(shapely.Polygon(ring, [hole]), x, y)
    assert 0.2 < there.mean() < 0.8
    np.testing.assert_array_equal(in_polygon((ring, hole), x, y), there)


def test_neighbours_share_no_place_and_leave_none_out() -> None:
    """A map of triangles over a square whose corners lie on the grid of the places."""
    rng = np.random.default_rng(7)
    corners = rng.integers(1, 7, (7, 7, 2)) / 8 + np.stack(np.mgrid[0:7, 0:7], axis=-1)
    tiles = []
    for i in range(6):
        for j in range(6):
            a, b, c, d = (corners[i + di, j + dj] for di, dj in ((0, 0), (1, 0), (1, 1), (0, 1)))
            tiles += [np.array([a, b, c, a]), np.array([a, c, d, a])]
    x, y = (each.ravel().astype(float) for each in np.mgrid[1.5:5:0.125, 1.5:5:0.125])
    held = sum(in_polygon((tile,), x, y).astype(int) for tile in tiles)
    assert (held == 1).all()


def test_boxes_and_the_date_line(tmp_path: Path) -> None:
    fiji = DrawnArea("Fiji", (-20.0, 177.0, -15.0, -178.0))
    assert inside(fiji, (178, -18), (-179, -18), (-177, -18), (0, -18), (180, -15)) == [
        True, True, False, False, False
    ]  # fmt: skip
    halves = fiji.geometry()["coordinates"]
    assert [half[0][0][0] for half in halves] == [177.0, -180.0]
    # the same as GeoJSON: cut at the line, or drawn on beyond it
    west = [[177, -20], [180, -20], [180, -15], [177, -15], [177, -20]]
    east = [[-180, -20], [-178, -20], [-178, -15], [-180, -15], [-180, -20]]
    beyond = [[177, -20], [182, -20], [182, -15], [177, -15], [177, -20]]
    for drawn in (feature([[west], [east]], "MultiPolygon", name="F"), feature([beyond], name="F")):
        (area,) = areas_of([written(tmp_path, drawn)])
        assert inside(area, (178, -18), (-179, -18), (-177, -18), (0, -18)) == [
            True, True, False, False
        ]  # fmt: skip
    whole = DrawnArea("Earth", (-90.0, -180.0, 90.0, 180.0))
    assert inside(whole, (180, 90), (-180, -90), (0, 0)) == [True, True, True]
    coast, inland = areas_of({"Coast": (30, -90, 32, -84), "Inland": (32, -90, 34, -84)})
    assert inside(coast, (-85, 32), (-85, 30)) == [False, True]
    assert inside(inland, (-85, 32)) == [True]


@pytest.mark.parametrize(
    ("features", "words"),
    [
        ([feature([SQUARE])], "properties: feature 1 has no name (its properties: none); name it"),
        ([feature([SQUARE], zone=3)], "its properties: zone"),
        ([feature([0, 0], "Point", name="A")], "geometry: feature 1 (A) is a Point; draw it as"),
        ([feature([SQUARE[:-1]], name="A")], "coordinates: feature 1 (A) has an open ring; end"),
        ([feature([[[1, 2], [3, "x"]]], name="A")], "has a position that is not two numbers"),
        ([feature([7], name="A")], "has a position that is not two numbers"),
        ([feature([], name="A")], "feature 1 (A) has no ring"),
        ([feature([(np.array(SQUARE) * 1e5).tolist()], name="A")], "a position beyond the globe"),
        (
            [feature([[[179, 0], [-179, 0], [-179, 2], [179, 2], [179, 0]]], name="A")],
            "feature 1 (A) jumps across the date line; cut it there",
        ),
        ([], "features: holds no feature"),
        ([7], "feature 1 has no name"),
    ],
)
def test_faults_of_a_drawing_name_feature_and_remedy(
    features: list[Any], words: str, tmp_path: Path
) -> None:
    path = written(tmp_path, *features)
    with pytest.raises(InputError) as caught:
        areas_of([path])
    assert str(caught.value).startswith(f"{path}: ")
    assert words in str(caught.value)


def test_what_is_no_drawing_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.geojson"
    for text, words in (
        ("{", "row 1: is not JSON"),
        ("[]", "type: is no GeoJSON of features"),
        (json.dumps({"type": "Topology"}), "type: is no GeoJSON of features"),
    ):
        path.write_text(text)
        with pytest.raises(InputError, match=words):
            areas_of([path])
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::3857"}}
    with pytest.raises(InputError, match="crs: its coordinates are not degrees; save it in WGS 84"):
        areas_of([written(tmp_path, feature([SQUARE], name="A"), crs=crs)])
    for given, words in (
        (["Coast=1,2,3"], "is no region; write"),
        (["A=1..2,3,4,5"], "is no region; write"),
        (["Coast=3,0,1,2"], "is not a box"),
        (["A=0,0,1,1", "A=2,2,3,3"], "region A is drawn twice"),
        (["gone.geojson"], r"gone\.geojson: "),
    ):
        with pytest.raises(InputError, match=words):
            areas_of(given)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"[[1{'0' * 400}, 0], [0, 0]]", "position that is not two numbers"),
        ("[[{}, {}]]", "position that is not two numbers"),
        ("[" * 200_000, "number too long or lists too deep"),
        ("1" * 5000, "number too long or lists too deep"),
    ],
    ids=["beyond a float", "no list", "deep", "digits"],
)
def test_numbers_and_lists_beyond_measure_are_refused(
    text: str, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "x.geojson"
    path.write_text(json.dumps(feature([["here"]], name="A")).replace('["here"]', text))
    with pytest.raises(InputError, match=words):
        areas_of([path])


@pytest.mark.parametrize("name", ["\x1b[31mA", "A\u202eB"])
def test_a_name_that_a_terminal_would_obey_is_refused(name: str, tmp_path: Path) -> None:
    for given in (f"{name}=0,0,1,1", written(tmp_path, feature([SQUARE], name=name))):
        with pytest.raises(InputError, match="character that cannot be shown") as caught:
            areas_of([given])
        assert str(caught.value).isprintable()


def regions(drawing: Drawing, *heights_m: float) -> list[str]:
    none = np.full(len(heights_m), np.nan)
    return drawing.regions([f"s{n}" for n in range(len(none))], none, none, np.array(heights_m))


def test_bands_of_height() -> None:
    metres = Drawing(heights=heights_of("300,900"))
    assert regions(metres, -3, 300, 899.9, 900, np.nan) == [
        "below 300 m", "300 to 900 m", "300 to 900 m", "900 m and higher", ""
    ]  # fmt: skip
    feet = Drawing(heights=heights_of("1000, 3000 ft"))
    assert regions(feet, 999 * M_PER_FOOT, 1001 * M_PER_FOOT) == [
        "below 1000 ft",
        "1000 to 3000 ft",
    ]
    fine = heights_of("0.5,0.9,1000.25")
    assert fine.bands() == [
        "below 0.5 m",
        "0.5 to 0.9 m",
        "0.9 to 1000.25 m",
        "1000.25 m and higher",
    ]
    for text in ("", "high", "300,300", "900,300", "1,2km", "1..2"):
        with pytest.raises(InputError, match="--region-heights"):
            heights_of(text)


def test_a_station_in_two_regions_is_refused_and_one_in_none_is_named() -> None:
    lat, lon, high = np.array([1.0, 5.0, 50.0]), np.array([1.0, 5.0, 50.0]), np.zeros(3)
    apart = Drawing(areas=areas_of(["A=0,0,2,2", "B=4,4,6,6", "C=-9,-9,-8,-8"]))
    found = apart.regions(["x", "y", "z"], lat, lon, high)
    assert found == ["A", "B", ""]
    assert apart.notes(["x", "y", "z"], found) == (
        "no station lies in C",
        "in no region, and in the tables only: 1 of 3 stations (z)",
    )
    over = Drawing(areas=areas_of(["A=0,0,5.5,5.5", "B=4,4,6,6"]))
    with pytest.raises(InputError, match="station y lies in both A and B; draw regions that do"):
        over.regions(["x", "y", "z"], lat, lon, high)


def test_short_and_incomplete_are_told_apart() -> None:
    spanned, complete = np.array([30, 8, 25]), np.array([28, 8, 4])
    assert {row: kind for row, (kind, _) in too_few(spanned, complete, 10).items()} == {
        1: "short", 2: "incomplete"
    }  # fmt: skip
    assert not too_few(spanned[1:2], complete[1:2], 10)  # no station has more than eight


def test_columns_of_the_archive_and_of_a_list_name_regions(tmp_path: Path) -> None:
    source = tmp_path / "years"
    source.mkdir()
    rows = [
        f"{station},20200101,{element},10,,,S," for station in FILES for element in ("TMAX", "TMIN")
    ]
    (source / "2020.csv").write_text("\n".join([*rows, ""]))
    (source / "ghcnd-stations.txt").write_text(PLACES)
    found = find_stations(source, tmp_path / "w", column="network")
    assert {s.id: s.region for s in found.stations} == {"USW00013904": "HCN", "ASN00086071": "GSN"}
    assert [(left.station, left.kind) for left in found.left_out] == [("UK000056225", "not listed")]
    austin = read_places(source / "ghcnd-stations.txt")["USW00013904"].groups
    assert austin == {"state": "TX", "country": "US", "network": "HCN"}
    file = FOLDER / f"{DEEP_SOUTH}.txt.gz"
    table = tmp_path / "list.csv"
    table.write_text(f"file,region,climate\n{file},a,humid\n")
    (station,) = find_stations(table, tmp_path, column="climate").stations
    assert station.region == "humid"
    with pytest.raises(InputError, match=r"row 1: --region-column: has no column 'soil'; use one"):
        find_stations(table, tmp_path, column="soil")
    with pytest.raises(InputError, match=r"--region-column: no station of .* has a climate"):
        find_stations(source, tmp_path / "w", column="climate")


def test_the_state_of_a_reference_station_is_in_its_name(tmp_path: Path) -> None:
    for name in (DEEP_SOUTH, MID_SOUTH):
        (tmp_path / f"{name}.txt.gz").symlink_to(FOLDER / f"{name}.txt.gz")
    found = find_stations(tmp_path, tmp_path / "w", column="state").stations
    assert {s.region for s in found} == {DEEP_SOUTH[:2], MID_SOUTH[:2]}


def test_yearly_files_of_a_reference_station_are_one_station(tmp_path: Path) -> None:
    """As the network publishes them: a folder for each year, a file for each station."""
    whole = gzip.decompress((FOLDER / f"{DEEP_SOUTH}.txt.gz").read_bytes())
    years: dict[bytes, list[bytes]] = {}
    for line in whole.splitlines():
        years.setdefault(line.split()[1][:4], []).append(line)
    for year, lines in years.items():
        home = tmp_path / "daily01" / year.decode()
        home.mkdir(parents=True)
        name = f"CRND0103-{year.decode()}-{DEEP_SOUTH}.txt"
        (home / name).write_bytes(b"\n".join([*lines, b""]))
    (station,) = find_stations(tmp_path / "daily01", tmp_path / "w", column="state").stations
    assert (station.id, station.region) == (DEEP_SOUTH, DEEP_SOUTH[:2])
    assert Path(station.path).read_bytes().splitlines() == whole.splitlines()
    assert find_stations(tmp_path / "daily01", tmp_path / "w").stations[0].path == station.path
    (alone,) = find_stations(FOLDER / f"{DEEP_SOUTH}.txt.gz", tmp_path).stations  # a file by itself
    assert alone.id == DEEP_SOUTH
