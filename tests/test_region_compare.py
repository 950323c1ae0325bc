"""What a comparison leaves: normals and odds, files for others' tools, the page."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from region_fixtures import STATIONS, data, seasons, summary

from windowcast.region import engine, outputs
from windowcast.region.batch import AMOUNT_COLUMNS, DATE_COLUMNS, SHARE_COLUMNS, WORKABLE_COLUMNS
from windowcast.region.compare import QUANTITIES, compared, day_label, gaps, shown, summarise
from windowcast.report.region_page import region_page


@pytest.fixture
def written(tmp_path: Path) -> Path:
    parts = []
    for n in range(2):  # two parts, the second with the last two stations
        rows = seasons().to_pylist()
        ids = {s.id for s in (STATIONS[:2], STATIONS[2:])[n]}
        keep = np.flatnonzero([r["station"] in ids for r in rows])
        part = tmp_path / f"{n}.parquet"
        engine.keep(part, engine.to_parquet(seasons().take(keep)))
        parts.append(part)
    outputs.write_tables(tmp_path, parts, data(), summary())
    return tmp_path


def test_parts_give_what_one_table_gives(written: Path) -> None:
    parts = [written / "0.parquet", written / "1.parquet"]
    split = compared(engine.tables(parts))
    assert split.stations == data().stations == ("SELMA", "BOWL", "CHAR")
    assert list(split.problems) == ["GONE"]
    np.testing.assert_array_equal(split.seasons, data().seasons)
    for name in QUANTITIES:
        np.testing.assert_array_equal(split.values[name], data().values[name])
    for purpose in WORKABLE_COLUMNS:
        for field in ("years", "mean_days", "odds"):
            np.testing.assert_array_equal(
                getattr(split.weeks[purpose], field), getattr(data().weeks[purpose], field)
            )


def test_only_whole_seasons_count_and_days_are_counted_from_their_start() -> None:
    rows = [r for r in seasons().to_pylist() if r["station"] == "SELMA"]
    for row in rows:
        at = int(np.flatnonzero(data().seasons == row["season"])[0])
        value = data().values["soil_21"][0, at]
        if row["complete"] < 0.9 or row["soil_21"] is None:
            assert np.isnan(value)
        else:
            start = np.datetime64(f"{row['season']}-07-01").astype(int)
            assert value == row["soil_21"] - start
    assert min(r["complete"] for r in rows) < 0.9


def test_week_odds_are_shares_of_years() -> None:
    weeks = data().weeks["dormant"]
    rows = [r for r in seasons().to_pylist() if r["station"] == "CHAR" and r["season"] is not None]
    days = np.array([r["workable_dormant"] for r in rows], dtype=float)[:, 30]
    days = days[np.isfinite(days)]
    assert weeks.years[2, 30] == len(days)
    assert weeks.mean_days[2, 30] == pytest.approx(days.mean(), rel=1e-6)
    for n, least in enumerate((1, 2, 3)):
        assert weeks.odds[2, 30, n] == pytest.approx(np.mean(days >= least), rel=1e-6)
    assert (np.diff(weeks.odds, axis=-1) <= 0).all() or np.isnan(weeks.odds).any()


def test_regions_differ_as_their_climates_do() -> None:
    found = {g.quantity: g.difference for g in gaps(data())}
    # Selma lies about 5 degrees south of the other two: later autumn, earlier spring
    assert found["soil_21"].low > 0
    assert found["poaan_50"].low > 0
    assert found["greenup"].high < 0
    assert found["soil_21"].shared_years >= 5


def test_seasons_as_parquet_and_csv_agree(written: Path) -> None:
    table = pq.read_table(written / "seasons.parquet")
    assert table.equals(seasons())
    assert table.schema.field("soil_21").metadata[b"units"] == b"days since 1970-01-01"
    rows = list(csv.DictReader(io.StringIO((written / "seasons.csv").read_text("utf-8"))))
    assert len(rows) == table.num_rows
    for row, full in zip(rows, table.to_pylist(), strict=True):
        assert row["station"] == full["station"]
        for name in DATE_COLUMNS:
            day = full[name]
            assert row[name] == ("" if day is None else str(np.datetime64(int(day), "D")))
    assert rows[-1]["problem"].startswith("/") or "gone.txt" in rows[-1]["problem"]


def test_normals_weeks_and_differences_have_their_columns(written: Path) -> None:
    normals = list(csv.DictReader((written / "normals.csv").open()))
    assert len(normals) == 3 * len(QUANTITIES)
    one = next(r for r in normals if (r["station"], r["quantity"]) == ("CHAR", "poaan_50"))
    assert int(one["years"]) >= 5
    assert re.fullmatch(r"\d{1,2} (Sep|Oct|Nov)", one["median_date"])
    assert float(one["p10"]) <= float(one["median"]) <= float(one["p90"])
    assert float(one["trend_low"]) <= float(one["trend_per_decade"]) <= float(one["trend_high"])
    weeks = list(csv.DictReader((written / "weeks.csv").open()))
    assert {r["purpose"] for r in weeks} == set(WORKABLE_COLUMNS)
    for row in weeks:
        odds = [float(row[f"odds_{n}_or_more"]) for n in (1, 2, 3)]
        assert 1 >= odds[0] >= odds[1] >= odds[2] >= 0
        assert 0 <= float(row["mean_days"]) <= 7
    differences = list(csv.DictReader((written / "differences.csv").open()))
    assert {(r["first"], r["second"]) for r in differences} == {("south", "north")}


def test_geojson_is_rfc_7946(written: Path) -> None:
    """RFC 7946: 3.3 (FeatureCollection), 3.2 (Feature, id), 3.1.1 (longitude first, height third),
    4 (WGS 84, no crs member), 11.2 (few decimals)."""
    found = json.loads((written / "stations.geojson").read_text("utf-8"))
    assert found["type"] == "FeatureCollection"
    assert "crs" not in found
    assert [f["id"] for f in found["features"]] == ["SELMA", "BOWL", "CHAR"]
    for feature in found["features"]:
        assert set(feature) == {"type", "id", "geometry", "properties"}
        assert feature["type"] == "Feature"
        assert feature["geometry"]["type"] == "Point"
        lon, lat, *height = feature["geometry"]["coordinates"]
        assert -90 < lon < -75
        assert 30 < lat < 40
        assert height == ([50.3] if feature["id"] == "SELMA" else [])
        assert set(QUANTITIES) <= set(feature["properties"])
    assert "NaN" not in (written / "stations.geojson").read_text("utf-8")


def test_netcdf_follows_cf(tmp_path: Path) -> None:
    """CF-1.10: Conventions (2.6.1), units and standard names (3.1, 3.3), station geometry (9)."""
    import xarray as xr

    path = outputs.write_netcdf(tmp_path / "seasons.nc", data())
    with xr.open_dataset(path, decode_timedelta=False) as found:
        assert found.attrs["Conventions"] == "CF-1.10"
        assert found.sizes == {"station": 3, "season": len(data().seasons)}
        assert found["station_id"].attrs["cf_role"] == "timeseries_id"
        assert found["lat"].attrs == {"units": "degrees_north", "standard_name": "latitude"}
        assert found["lon"].attrs == {"units": "degrees_east", "standard_name": "longitude"}
        assert found["station_id"].values.tolist() == list(data().stations)
        for name, values in data().values.items():
            np.testing.assert_array_equal(found[name].values, values)
            units = "1" if name in SHARE_COLUMNS else AMOUNT_COLUMNS.get(name, "days")
            assert found[name].attrs["units"] == units
            assert {"lat", "lon", "alt", "station_id"} <= set(found[name].coords)


class Links(HTMLParser):
    """Every address a page could fetch, and its text by tag."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.heads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in ("src", "href", "action", "srcset", "data", "poster") and value:
                self.addresses.append(value)
            if name == "id" and value:
                self.ids.append(value)


def test_the_page_stands_alone() -> None:
    page = region_page(data(), summary(), ("a <note>",))
    seen = Links()
    seen.feed(page)
    assert seen.addresses
    assert all(address.startswith("#") for address in seen.addresses), seen.addresses
    assert len(seen.ids) == len(set(seen.ids))
    outside = set(re.findall(r"https?://[^\s\"'<>)]+", page))
    assert outside <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert "url(" not in page.replace("url(#", "")
    assert "@import" not in page
    assert "default-src 'none'" in page


def test_the_page_shows_names_as_text_and_what_could_not_be_used() -> None:
    page = region_page(data(), summary(), ("a <note>",))
    assert "Bowling Green &lt;21&gt; &amp; NNE" in page
    assert "<21>" not in page
    assert "a &lt;note&gt;" in page
    assert "1 station could not be used" in page
    assert "Bowling Green &lt;21&gt; &amp;…" in page  # cut before it runs into the chart
    assert "1 or more" in page
    assert "3 or more days" in page


def test_a_single_station_with_few_years_says_cannot_tell() -> None:
    few = compared([seasons().slice(0, 3)])
    page = region_page(few, summarise(few))
    assert "cannot tell" in page
    assert "NaN" not in page
    assert ">nan" not in page


def test_days_read_as_dates() -> None:
    assert day_label(0, southern=False) == "1 Jul"
    assert day_label(0, southern=True) == "1 Jan"
    assert day_label(184, southern=False) == "1 Jan"
    assert day_label(float("nan"), southern=False) == ""
    assert shown(0.934, "cover_fall", southern=False) == "93 %"
    assert shown(float("nan"), "soil_21", southern=False) == "cannot tell"
