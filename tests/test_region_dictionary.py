"""The dictionary of a comparison's files: each column of each file, as it is."""

from __future__ import annotations

import csv
import datetime as dt
import itertools
import json
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from region_fixtures import data

from windowcast.region import outputs
from windowcast.region.columns import DATE_COLUMNS
from windowcast.region.dictionary import described, write_dictionary
from windowcast.region.drawn import areas_of
from windowcast.region.outputs import write_regional
from windowcast.region.tables import season_schema, station_schema

READ = {
    "string": str, "integer": int, "number": float, "date": dt.date.fromisoformat,
    "boolean": ("true", "false").index,
}  # fmt: skip


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("comparison")
    found = data().regional()
    written = [data().season_file, data().station_file]
    written += outputs.write_tables(folder, data(), found.between)
    written += write_regional(folder, found)
    areas = areas_of({"Box": (30, -90, 34, -84)})
    written.append(outputs.write_areas(folder / "regions.geojson", areas))
    write_dictionary(folder, written, outputs.schemas())
    return folder


def test_every_file_and_column_is_described_as_it_is(home: Path) -> None:
    package = json.loads((home / "datapackage.json").read_text("utf-8"))
    files = {each["path"]: each for each in package["resources"]}
    assert set(files) == {
        *(path.name for path in home.iterdir()), "seasons.parquet", "stations.parquet"
    } - {"datapackage.json"}  # fmt: skip
    assert len({each["name"] for each in files.values()}) == len(files)
    for name, resource in files.items():
        assert resource["description"]
        if not name.endswith(".csv"):
            continue
        fields = resource["schema"]["fields"]
        with (home / name).open(encoding="utf-8", newline="") as stream:
            header, *rows = csv.reader(stream)
        assert header == [field["name"] for field in fields], name
        for row in rows[:200]:
            for field, cell in zip(fields, row, strict=True):
                assert field["description"]
                if cell:
                    READ[field["type"]](cell)
        key = [header.index(column) for column in resource["schema"].get("primaryKey", ())]
        if key:
            assert len({tuple(row[i] for i in key) for row in rows}) == len(rows), name


def test_parquet_columns_are_described(home: Path) -> None:
    for path, schema in (
        (data().season_file, season_schema()), (data().station_file, station_schema()),
    ):  # fmt: skip
        for name in pq.read_schema(path).names:
            assert described(name)
        assert pq.read_schema(path).names == schema.names
    with pytest.raises(KeyError):
        described("nothing")


def test_regions_say_what_was_found(home: Path) -> None:
    found = data().regional()
    with (home / "regions.csv").open(encoding="utf-8", newline="") as stream:
        rows = {(row["region"], row["quantity"]): row for row in csv.DictReader(stream)}
    assert len(rows) == sum(len(region.quantities) for region in found.regions)
    for region in found.regions:
        for name, told in region.quantities.items():
            row = rows[region.name, name]
            assert int(row["seasons"]) == told.seasons
            typical = float(row["typical"] or "nan")
            assert typical == pytest.approx(told.typical.middle, abs=1e-4, nan_ok=True)
            slope = float(row["trend_per_decade"] or "nan")
            assert slope == pytest.approx(told.trend_per_decade.middle, abs=1e-4, nan_ok=True)
            assert bool(row["typical_date"]) == (name in DATE_COLUMNS and abs(typical) < 1e9)
    with (home / "region_seasons.csv").open(encoding="utf-8", newline="") as stream:
        seasons = list(csv.DictReader(stream))
    south = [row for row in seasons if (row["region"], row["quantity"]) == ("south", "soil_21")]
    by_season = found.regions[0].quantities["soil_21"].by_season
    assert [float(row["value"] or "nan") for row in south] == pytest.approx(
        by_season.tolist(), abs=1e-4, nan_ok=True
    )


def test_outlines_run_as_the_standard_asks(home: Path) -> None:
    (feature,) = json.loads((home / "regions.geojson").read_text("utf-8"))["features"]
    assert feature["properties"] == {"name": "Box"}
    ((ring,),) = feature["geometry"]["coordinates"]
    turned = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(ring))
    assert turned > 0  # against the clock
    stations = json.loads((home / "stations.geojson").read_text("utf-8"))["features"]
    assert {"break_season", "break_p", "neighbours", "region"} <= set(stations[0]["properties"])


def test_a_region_drawn_alone_leaves_out_who_is_in_none() -> None:
    bare = data().stations
    at = bare.schema.get_field_index("region")
    alone = bare.set_column(at, bare.schema.field(at), pa.array(["south", "", ""]))
    (region,) = replace(data(), stations=alone).regional().regions
    assert (region.name, region.stations) == ("south", 1)
