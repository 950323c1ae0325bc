"""What a comparison leaves: normals and odds, files for others' tools, the page."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from region_fixtures import (
    STATIONS,
    computed,
    data,
    kept,
    repeated,
    seasons,
    told,
    untold,
)
from regions_made_up import two_regions
from scipy.stats import kendalltau, norm, theilslopes
from spoken import METRIC
from test_region_statistics import as_sure_as

from windowcast.region import compare, netcdf, outputs, tables
from windowcast.region.columns import (
    AMOUNT_COLUMNS,
    DATE_COLUMNS,
    HAPPENED_COLUMNS,
    QUANTITIES,
    SHARE_COLUMNS,
    WORKABLE_COLUMNS,
    day_label,
)
from windowcast.region.compare import Compared, put_together
from windowcast.region.drawn import Drawing, areas_of
from windowcast.region.regional import Between
from windowcast.report import region_charts
from windowcast.report.region_charts import MAX_LISTED, dates_chart, weeks_chart
from windowcast.report.region_findings import findings_of
from windowcast.report.region_page import region_page
from windowcast.report.region_words import quantity_said

IDS = [station.id for station in STATIONS]
FILES = (
    "seasons.parquet", "stations.parquet", "seasons.csv", "normals.csv", "weeks.csv",
    "differences.csv", "left_out.csv", "stations.geojson",
)  # fmt: skip


MADE = dt.datetime(2026, 1, 2, 3, 4, 5, tzinfo=dt.UTC)


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """Everything from two parts, the second with the last two stations."""
    write(tmp_path, IDS[:2], IDS[2:])
    return tmp_path


def write(folder: Path, *groups: list[str], between: Sequence[Between] = ()) -> Compared:
    """Everything; with `between` where the differences of these stations are known."""
    folder.mkdir(exist_ok=True)
    found = put_together(kept(folder, *groups), folder)
    outputs.write_tables(folder, found, between or found.regional().between)
    return found


@pytest.fixture(scope="module")
def at_one_go(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Sequence[Between]]:
    """A folder with everything from one part, and the differences in it."""
    folder = tmp_path_factory.mktemp("whole")
    return folder, write(folder, IDS).regional().between


def by_hand(station: str, quantity: str) -> dict[int, float]:
    """Season → quantity from the rows themselves: days from 1 July, of seasons known to 90 %."""
    out = {}
    for row in seasons().to_pylist():
        value = row[quantity]
        if row["station"] == station and value is not None and row["complete"] >= 0.9:
            start = np.datetime64(f"{row['season']}-07-01").astype(int)
            out[row["season"]] = value - (start if quantity in DATE_COLUMNS else 0)
    return out


def seasons_without(station: str, quantity: str) -> int:
    """Seasons known to 90 % in which a date did not come."""
    rows = (r for r in seasons().to_pylist() if r["station"] == station)
    column = HAPPENED_COLUMNS.get(quantity, "problem")
    return sum(r[column] == 0 and r["complete"] >= 0.9 for r in rows)


@pytest.mark.slow
def test_however_the_stations_are_cut_into_parts_the_files_are_the_same(
    written: Path, tmp_path: Path
) -> None:
    write(tmp_path / "one", IDS)
    write(tmp_path / "each", *([station] for station in IDS))
    for name in FILES:
        assert (written / name).read_bytes() == (tmp_path / "one" / name).read_bytes(), name
        assert (written / name).read_bytes() == (tmp_path / "each" / name).read_bytes(), name


@pytest.mark.slow
def test_groups_of_rows_end_where_they_may(written: Path, tmp_path: Path) -> None:
    """Rows of a station lie in two groups, and in two of the batches that are read."""
    with pytest.MonkeyPatch.context() as patch:
        for module, name, rows in (
            (compare, "SEASON_ROWS", 5), (compare, "STATION_ROWS", 2), (tables, "BATCH_ROWS", 3),
        ):  # fmt: skip
            patch.setattr(module, name, rows)
        found = write(tmp_path / "small", IDS[:3], IDS[3:])
        netcdf.write_netcdf(tmp_path / "small.nc", found, made=MADE)
    assert pq.ParquetFile(tmp_path / "small" / "seasons.parquet").num_row_groups > 4
    netcdf.write_netcdf(tmp_path / "whole.nc", data(), made=MADE)
    assert (tmp_path / "small.nc").read_bytes() == (tmp_path / "whole.nc").read_bytes()
    for name in FILES[2:]:
        assert (written / name).read_bytes() == (tmp_path / "small" / name).read_bytes(), name
    for name, table in computed().items():
        written_table = tables.read(tmp_path / "small" / f"{name}.parquet", table.column_names)
        assert table.equals(written_table.combine_chunks())


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_normals_are_those_of_the_whole_seasons(quantity: str) -> None:
    """Worked out from the rows, one station and quantity at a time, by NumPy and SciPy."""
    found = data().normals(quantity)
    for i, station in enumerate(("SELMA", "BOWL", "CHAR")):
        known, never = by_hand(station, quantity), seasons_without(station, quantity)
        assert found.years[i] == len(known) + never
        if never:  # the median counts them: `test_spray_days` has its values
            assert found.happens[i] == len(known) / (len(known) + never)
            continue
        if len(known) < 5:
            assert np.isnan(found.median[i])
            continue
        years, values = np.array(list(known), float), np.array(list(known.values()))
        spread = found.p10[i], found.median[i], found.p90[i]
        np.testing.assert_array_equal(spread, np.quantile(values, (0.1, 0.5, 0.9)))
        slope, _, low, _ = theilslopes(values, years)
        by = as_sure_as(years, values, slope)
        ends = found.trend_per_decade[i], found.trend_low[i]
        np.testing.assert_allclose(ends, (10 * slope, 10 * (slope - by * (slope - low))), atol=1e-9)
        if np.ptp(values):
            sure = 2 * norm.sf(norm.isf(kendalltau(years, values).pvalue / 2) / by)
            assert found.p_value[i] == pytest.approx(sure, rel=1e-6)
    complete = [row["complete"] for row in seasons().to_pylist() if row["complete"] is not None]
    assert min(complete) < 0.9


def test_stations_are_named_and_placed() -> None:
    assert len(data()) == 3
    assert data().texts("station", [2, 0]) == ["CHAR", "SELMA"]
    assert data().texts("name", [1]) == ["Bowling Green <21> & NNE"]
    assert data().texts("region", range(3)) == ["south", "north", "north"]
    assert list(data().problems) == ["GONE"]
    assert data().unusable == 1
    told = {row["season"] for row in seasons().to_pylist()} - {None}
    assert data().seasons.tolist() == list(range(min(told), max(told) + 1))


def test_stations_put_together_take_the_regions_drawn_and_leave_the_short_ones_out(
    tmp_path: Path,
) -> None:
    parts = kept(tmp_path, IDS[:2], IDS[2:])
    drawing = Drawing(areas=areas_of(["South=30,-90,34,-80", "North=34,-90,40,-80"]))
    data = put_together(parts, tmp_path, drawing=drawing)
    assert data.texts("station", range(3)) == IDS[:3]
    assert data.texts("region", range(3)) == ["South", "North", ""]
    assert [area.name for area in data.areas] == ["South", "North"]
    assert data.notes[-1].endswith("1 of 3 stations (CHAR)")
    rows = data.to_pandas()
    assert set(rows.loc[rows.station == "SELMA", "region"]) == {"South"}
    complete = rows[rows.complete >= 0.9].groupby("station", observed=True).size()
    least = int(complete.max())
    short = set(complete[complete < least].index)
    assert short
    fewer = put_together(parts, tmp_path, at_least=99)  # as many as the longest has
    assert set(fewer.texts("station", range(len(fewer)))) == set(complete.index) - short
    left = {each.station: each for each in fewer.left_out}
    assert set(left) == {*short, "GONE"}
    assert left["GONE"].kind == "not usable"
    assert all(f"fewer than {least}" in left[station].reason for station in short)
    again = fewer.to_pandas()
    for station in short:
        (row,) = again[again.station == station].to_dict("records")
        assert (row["left_out"], row["problem"]) == (left[station].kind, left[station].reason)
    assert fewer.unusable == len(left)


def test_week_odds_are_shares_of_years() -> None:
    rows = [r for r in seasons().to_pylist() if r["station"] == "CHAR" and r["season"] is not None]
    days = np.array([r["workable_dormant"] for r in rows], dtype=float)[:, 30]
    days = days[np.isfinite(days)]
    assert data().weekly("dormant", "mean_days")[2, 30] == pytest.approx(days.mean(), rel=1e-6)
    odds = [data().weekly("dormant", f"odds_{n}_or_more") for n in (1, 2, 3)]
    for least, shares in enumerate(odds, 1):
        assert shares[2, 30] == pytest.approx(np.mean(days >= least), rel=1e-6)
    assert (np.diff(np.nan_to_num(odds), axis=0) <= 0).all()


def test_seasons_as_parquet_and_csv_agree(written: Path) -> None:
    typed = pq.read_table(written / "seasons.parquet")
    for name in DATE_COLUMNS:
        assert typed.schema.field(name).type == pa.date32()
    for name in ("station", "region", "left_out"):
        assert pa.types.is_dictionary(typed.schema.field(name).type)
    assert typed.schema.field("frost_days").metadata == {
        b"units": b"days", b"description": b"frost days"
    }  # fmt: skip
    table = tables.read(written / "seasons.parquet", typed.column_names)
    assert table.equals(seasons())
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
        told = feature["properties"]
        assert set(QUANTITIES) <= set(told)
        for name in DATE_COLUMNS:
            spoken = None if told[name] is None else day_label(told[name], southern=False)
            assert told[f"{name}_date"] == spoken
    assert "NaN" not in (written / "stations.geojson").read_text("utf-8")


def test_grid_and_table_hold_the_seasons() -> None:
    grid, table = data().to_xarray(), data().to_pandas()
    assert dict(grid.sizes) == {"station": 3, "season": len(data().seasons)}
    years = grid["season"].values.tolist()
    for name in QUANTITIES:
        for station in IDS[:3]:
            known = by_hand(station, name)
            expected = [known.get(y, np.nan) for y in years]
            np.testing.assert_array_equal(grid[name].sel(station=station), expected)
    assert table["station"].nunique() == 4, "the one that cannot be used has a row with its problem"
    assert {*QUANTITIES} <= {*table.columns}


def test_netcdf_follows_cf(tmp_path: Path) -> None:
    """CF-1.11: Conventions (2.6.1), units and standard names (3.1, 3.3), station geometry (9)."""
    import xarray as xr

    (path,) = netcdf.write_netcdf(tmp_path / "seasons.nc", data(), made=MADE)
    with xr.open_dataset(path, decode_timedelta=False) as found:
        assert found.attrs["Conventions"] == "CF-1.11"
        assert found.attrs["history"].startswith("2026-01-02T03:04:05Z windowcast ")
        assert "begins on 1 July" in found.attrs["comment"]  # the day that dates count from
        seasons = len(data().seasons)
        sizes = {"station": 3, "season": seasons, "week": 53, "whole_week": 52}
        assert {name: found.sizes[name] for name in sizes} == sizes
        assert found["station_id"].attrs["cf_role"] == "timeseries_id"
        for name, units, standard in (
            ("lat", "degrees_north", "latitude"), ("lon", "degrees_east", "longitude"),
        ):  # fmt: skip
            assert found[name].attrs["units"] == units
            assert found[name].attrs["standard_name"] == standard
        assert found["station_id"].values.tolist() == IDS[:3]
        years = found["season"].values.tolist()
        for name in QUANTITIES:
            for row, station in zip(found[name].values, IDS[:3], strict=True):
                known = by_hand(station, name)
                np.testing.assert_array_equal(row, [known.get(y, np.nan) for y in years])
            units = "1" if name in SHARE_COLUMNS else AMOUNT_COLUMNS.get(name, "days")
            assert found[name].attrs["units"] == units
            assert {"lat", "lon", "alt", "station_name", "time"} <= set(found[name].coords)


def test_netcdf_has_weeks_statistics_and_the_time_of_each_season(tmp_path: Path) -> None:
    import xarray as xr

    (path,) = netcdf.write_netcdf(tmp_path / "seasons.nc", data(), made=MADE)
    with xr.open_dataset(path, decode_timedelta=False) as found:
        rows = [r for r in seasons().to_pylist() if r["station"] == "CHAR" and r["season"] == 2014]
        at = found.isel(station=2, season=int(np.flatnonzero(found["season"] == 2014)[0]))
        assert str(at["time"].values).startswith("2014-12-30")
        bounds = [str(each)[:10] for each in at["time_bounds"].values]
        assert bounds == ["2014-07-01", "2015-07-01"]
        for name in WORKABLE_COLUMNS.values():
            np.testing.assert_array_equal(at[name].values, np.array(rows[0][name], float))
        assert at["complete"] == rows[0]["complete"]
        assert found["workable_dormant"].encoding["zlib"]
        assert found["workable_dormant"].attrs["cell_methods"].startswith("week: sum")
        normals = data().normals("degree_days")
        np.testing.assert_array_equal(found["degree_days_median"], normals.median)
        spread = found["degree_days_quantile"].sel(quantile=0.9)
        np.testing.assert_array_equal(spread, normals.p90)
        np.testing.assert_array_equal(found["degree_days_trend"][:, 0], normals.trend_per_decade)
        p = found["p_value"][:, list(QUANTITIES).index("degree_days")]
        np.testing.assert_array_equal(p, normals.p_value)
        assert found["degree_days_median"].attrs["cell_methods"] == "period: median"
        mean = found["workable_dormant_mean"].values
        np.testing.assert_array_equal(mean, data().weekly("dormant", "mean_days"))


@pytest.mark.slow
def test_netcdf_passes_a_checker_of_the_conventions_without_a_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one quantity of each kind: the checker's time grows with the cube of their number."""
    checker = shutil.which("compliance-checker", path=str(Path(sys.executable).parent))
    if checker is None:
        pytest.skip("needs compliance-checker")
    some = {name: QUANTITIES[name] for name in ("soil_21", "cover_fall", "degree_days")}
    found = both_hemispheres()
    for module in (netcdf, compare):
        monkeypatch.setattr(module, "QUANTITIES", some)
    monkeypatch.setattr(netcdf, "SEASONAL", ("high_departure", "happened_soil_21", "lost_wet"))
    paths = netcdf.write_netcdf(tmp_path / "seasons.nc", found)
    assert [path.name for path in paths] == ["seasons.nc", "seasons_south.nc"]
    for path in paths:
        done = subprocess.run(
            [checker, "--test", "cf:1.11", str(path)], capture_output=True, text=True, check=False
        )
        assert "All tests passed!" in done.stdout, done.stdout
        assert done.returncode == 0


def both_hemispheres() -> Compared:
    """The middle station as if it stood in the south."""
    north, at = data(), data().stations.schema.get_field_index("latitude")
    latitude = north.latitude_deg * [1, -1, 1]
    field = north.stations.schema.field(at)
    return replace(north, stations=north.stations.set_column(at, field, pa.array(latitude)))


@pytest.mark.parametrize("name", FILES)
def test_a_file_is_whole_or_not_there_when_writing_is_broken_off(
    name: str,
    at_one_go: tuple[Path, Sequence[Between]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Broken off in the middle of each file in turn, as by Ctrl-C."""
    whole, between = at_one_go
    replace = Path.replace

    def broken(self: Path, target: Path) -> Path:
        if Path(target).name == name:
            raise KeyboardInterrupt
        return replace(self, target)

    home = tmp_path / "out"
    monkeypatch.setattr(Path, "replace", broken)
    with pytest.raises(KeyboardInterrupt):
        write(home, IDS, between=between)
    left = {path.name for path in home.iterdir() if "part" not in path.name}
    assert left == set(FILES[: FILES.index(name)])
    monkeypatch.undo()
    write(home, IDS, between=between)
    for each in FILES:
        assert (home / each).read_bytes() == (whole / each).read_bytes()


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
    page = region_page(replace(data(), notes=("a <note>",)), told(), METRIC)
    seen = Links()
    seen.feed(page)
    assert seen.addresses
    own = [address for address in seen.addresses if not address.startswith("#")]
    assert set(own) == {f"stations/{station}.html" for station in IDS[:3]}, "and its own pages"
    assert len(seen.ids) == len(set(seen.ids))
    outside = set(re.findall(r"https?://[^\s\"'<>)]+", page))
    assert outside <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert "url(" not in page.replace("url(#", "")
    assert "@import" not in page
    assert "default-src 'none'" in page


def test_no_area_is_drawn_in_the_black_of_no_style() -> None:
    page = region_page(data(), told(), METRIC)
    drawn = set(re.findall(r'<(?:path|rect|polygon)[^>]* class="([^"]*)"', page))
    styles = page.partition("<style>")[2].partition("</style>")[0]
    for names in drawn:
        assert any(f".{name}" in styles for name in names.split()), names


def test_the_page_shows_names_as_text_and_what_could_not_be_used() -> None:
    page = region_page(replace(data(), notes=("a <note>",)), told(), METRIC)
    assert "Bowling Green &lt;21&gt; &amp; NNE" in page
    assert "<21>" not in page
    assert "a &lt;note&gt;" in page
    assert "1 station left out: 1 that cannot be used" in page
    assert "Bowling Green &lt;21…" in page  # cut before it runs into the chart
    assert "1 or more" in page
    assert "3 or more days" in page


def test_a_single_station_with_few_years_says_cannot_tell(tmp_path: Path) -> None:
    from windowcast.region.batch import Options, compute
    from windowcast.region.parts import Chunk, keep, to_parquet

    text = json.dumps(Options(first_year=2013, last_year=2014).plain())
    part = Chunk(tmp_path, "few")
    keep(part, {n: to_parquet(t) for n, t in compute(STATIONS[:1], text).items()})
    few = put_together([part], tmp_path)
    page = region_page(few, findings_of(few, few.regional()), METRIC)
    assert "cannot tell" in page
    assert "NaN" not in page
    assert ">nan" not in page


def test_the_page_says_how_many_winters_are_not_judged() -> None:
    for judged, said in (
        (22, ""),
        (21, "1 winter is known too little to be judged."),
        (19, "3 winters are known too little to be judged."),
    ):
        found = two_regions()
        some = tuple(replace(region, judged=judged) for region in found.regions)
        few = replace(found, regional=replace(found.regional, regions=some))
        page = region_page(data(), few, METRIC)
        assert page.count("known too little") == (2 if said else 0)
        assert said in page


@pytest.mark.slow
def test_of_many_stations_some_are_listed_and_the_page_says_so(tmp_path: Path) -> None:
    pages = {}
    for times in (2, 5, 15):
        home = tmp_path / str(times)
        home.mkdir()
        found = put_together(repeated(home, times), home)
        pages[times] = region_page(found, untold(found), METRIC)
    few, more, most = pages[2], pages[5], pages[15]
    assert few.count("<td>S000") > 400
    assert f"At most {MAX_LISTED} are listed" not in few
    for page in (more, most):
        assert f"At most {MAX_LISTED} are listed, evenly from north to south" in page
        assert "Those of one spot are drawn as one dot" in page
        assert re.search(r"S\d+ and \d+ around it: \d+ ", page)
    assert "Stations with enough years: 3000 of 3000." in most
    (table,) = re.findall(r'<table class="sortable">.*?</table>', most, re.DOTALL)
    assert table.count("<tr>") == MAX_LISTED + 1
    assert len(most) < 1.3 * len(more)


def test_dates_of_both_hemispheres_read_by_their_own_calendar() -> None:
    """Their seasons begin half a year apart, so that one place on an axis has two dates."""
    north, at = data(), data().stations.schema.get_field_index("latitude")
    latitude = north.latitude_deg * [1, -1, 1]
    field = north.stations.schema.field(at)
    both = replace(north, stations=north.stations.set_column(at, field, pa.array(latitude)))
    assert (north.hemispheres, both.hemispheres) == ((False,), (False, True))
    median = north.normals("greenup").median
    chart = dates_chart(both, "greenup", METRIC)
    read = {row[0]: row[1] for row in chart.rows}
    for i, name in enumerate(north.texts("name", range(len(north)))):
        assert read[name] == day_label(median[i], southern=i == 1)
    alone = dates_chart(north, "greenup", METRIC).svg
    assert chart.svg.count('text-anchor="middle"') == 2 * alone.count('text-anchor="middle"')
    note = "the lower is for the south"
    assert note in region_page(both, untold(both), METRIC)
    assert note not in region_page(north, untold(north), METRIC)
    assert "begins half a year before it" in region_page(both, told(), METRIC)
    weeks = weeks_chart(both, "dormant", "", METRIC)
    assert weeks.rows[0][0] == "1 Jul / 1 Jan"


@pytest.mark.parametrize(
    ("low", "high", "south", "marks"),
    [
        (80.0, 130.0, False, ["1 Oct", "1 Nov"]),
        (31.0, 250.0, False, ["1 Aug", "1 Oct", "1 Dec", "1 Feb"]),
        (80.0, 130.0, True, ["1 Apr", "1 May"]),
        (120.0, 126.0, False, ["29 Oct", "31 Oct", "2 Nov", "4 Nov"]),
        (94.0, 110.0, False, ["4 Oct", "9 Oct", "14 Oct", "19 Oct"]),
    ],
)
def test_an_axis_of_dates_is_marked_at_the_first_of_months(
    low: float, high: float, south: bool, marks: list[str]
) -> None:
    found = region_charts._marks("soil_21", low, high, southern=south)
    assert [day_label(day, southern=south) for day in found] == marks
    assert region_charts._marks("cover_fall", 0.0, 1.0, southern=south) == [0, 0.5, 1.0]


def test_a_spot_of_the_map_is_drawn_as_its_middle_station() -> None:
    from windowcast.report import region_map

    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 60, 2000), rng.uniform(0, 30, 2000)
    values = rng.permutation(2000).astype(float)
    values[:100] = np.nan
    known = np.flatnonzero(np.isfinite(values))
    drawn, around = region_map._drawn(known, values, x, y)
    assert (around + 1).sum() == len(known)
    spots = np.stack([x // region_map.SPOT, y // region_map.SPOT])
    assert len(drawn) == len(np.unique(spots[:, known], axis=1).T) > 20
    for i, others in zip(drawn, around, strict=True):
        here = known[(spots[:, known] == spots[:, [i]]).all(axis=0)]
        assert len(here) == others + 1
        assert np.sort(values[here])[others // 2] == values[i]


def test_no_outline_runs_across_the_whole_map() -> None:
    from windowcast.report.region_map import outlines

    steps = [np.abs(np.diff(line[:, 0])).max() for line in outlines() if len(line) > 1]
    assert len(steps) > 500
    assert max(steps) < 30


MEMORY = """
import gc, json, sys, tracemalloc
from pathlib import Path
sys.path.insert(0, sys.argv[1])
home, part_files = Path(sys.argv[2]), sys.argv[3:]
from windowcast.region import compare, homogeneity, netcdf, outputs, tables
from windowcast.region.parts import Chunk
from windowcast.report import region_charts, region_map
from region_fixtures import untold
from spoken import METRIC
from test_region_statistics import as_sure_as
from windowcast.report.region_page import region_page
from windowcast.report.region_station import station_pages
from windowcast.report.region_findings import findings_of
compare.SEASON_ROWS, compare.STATION_ROWS, tables.BATCH_ROWS = 512, 64, 64
region_charts.MAX_LISTED = region_map.MAX_LISTED = region_charts.MAX_ROWS
region_map.SPOT, homogeneity._BLOCK = 60, 16
outputs.MIN_YEARS = 99  # the many rows of weeks.csv, all alike, would take most of the time
import netCDF4, pyarrow as pa, pyarrow.parquet
parts = [Chunk(home, name) for name in part_files]
first = compare.put_together(parts[:1], home)
region_page(first, untold(first), METRIC)  # what is loaded once
region_map._lines.cache_clear()  # but the ground of the maps, which is that of the stations
tracemalloc.start()
took = {}

def step(name, work):
    gc.collect()  # what earlier steps left to be collected is theirs
    tracemalloc.reset_peak()
    before = tracemalloc.get_traced_memory()[0]
    done = work()
    took[name] = tracemalloc.get_traced_memory()[1] - before
    return done

data = step("put together", lambda: compare.put_together(parts, home))
step("tables", lambda: outputs.write_tables(home, data, ()))
step("page", lambda: region_page(data, untold(data), METRIC))
step("station pages", lambda: [None for _ in station_pages(untold(data), data, METRIC)])
tables.BATCH_ROWS = 512  # of rows of seasons only, and each batch costs 32 slow calls
step("netcdf", lambda: netcdf.write_netcdf(home / "seasons.nc", data))
print(json.dumps(took | {"arrow": pa.default_memory_pool().max_memory()}))
"""


@pytest.mark.slow
def test_memory_grows_by_less_than_a_kilobyte_a_station(tmp_path: Path) -> None:
    """Python's and NumPy's memory (tracemalloc) and Arrow's pool, each at its highest, of all that
    the main process does after the workers. What is held at a time is made small, so that few
    stations show what grows with them; fewer than 300 would show the steps in which a file's list
    of its groups is read."""
    parts = repeated(tmp_path, 9, 100)
    script = tmp_path / "measure.py"
    script.write_text(MEMORY)
    peak = {}
    for stations in (300, 900):
        ids = [part.id for part in parts[: stations // 100]]
        home = [str(Path(__file__).parent), str(tmp_path)]
        done = subprocess.run(
            [sys.executable, str(script), *home, *ids], capture_output=True, text=True, check=True
        )
        peak[stations] = json.loads(done.stdout)
    grown = {name: (most - peak[300][name]) / 600 for name, most in peak[900].items()}
    assert all(each < 1000 for each in grown.values()), grown


def test_days_read_as_dates() -> None:
    assert day_label(0, southern=False) == "1 Jul"
    assert day_label(0, southern=True) == "1 Jan"
    assert day_label(184, southern=False) == "1 Jan"
    assert day_label(float("nan"), southern=False) == ""
    assert quantity_said(0.934, "cover_fall", METRIC, southern=False) == "93 %"
    assert quantity_said(float("nan"), "soil_21", METRIC, southern=False) == "cannot tell"
