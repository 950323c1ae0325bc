"""GHCN-Daily by year and as Parquet gives what the stations' own files give."""

from __future__ import annotations

import csv
import gzip
import random
import shutil
from collections.abc import Iterable, Iterator
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from windowcast.core.errors import InputError
from windowcast.core.record import Record
from windowcast.region import batch, engine, pools
from windowcast.region.archive_files import sorted_stations
from windowcast.region.compare import put_together
from windowcast.region.engine import Station
from windowcast.region.stations import find_stations, read_places
from windowcast.sources import ghcn_sorted
from windowcast.sources.files import read_weather
from windowcast.sources.ghcn_bulk import bulk_files

GHCN = Path(__file__).parent / "data" / "ghcn"
FILES = {
    "USW00013904": GHCN / "USW00013904_1999-2004.dly.gz",
    "UK000056225": GHCN / "UK000056225_2020-2021.dly.gz",
    "ASN00086071": GHCN / "ASN00086071_2011-2012.dly.gz",
}
HEADER = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"
Row = tuple[str, str, str, int, str, str, str, str]


def rows() -> Iterator[Row]:
    """Every value of the sample ``.dly`` files as a row of the by-year layout.

    Fixed-width columns of NOAA NCEI, ghcnd/readme.txt, section III (from memory).
    """
    for path in FILES.values():
        for line in gzip.decompress(path.read_bytes()).decode().splitlines():
            for day in range(31):
                cell = line[21 + 8 * day : 29 + 8 * day].ljust(8)
                if cell[:5].strip() not in ("", "-9999"):
                    date = f"{line[11:17]}{day + 1:02d}"
                    flags = [c.strip() for c in cell[5:8]]
                    yield (line[:11], date, line[17:21], int(cell[:5]), *flags, "")  # type: ignore[misc]


def write_years(
    folder: Path, header: bool, packed: bool = True, of: Iterable[Row] | None = None
) -> None:
    """By-year files; rows of a year in order of date, so that stations alternate."""
    years: dict[str, list[Row]] = {}
    for row in rows() if of is None else of:
        years.setdefault(row[1][:4], []).append(row)
    for year, some in years.items():
        text = [HEADER] if header else []
        text += [",".join(map(str, row)) for row in sorted(some, key=lambda r: (r[1], r[0]))]
        body = ("\n".join(text) + "\n").encode()
        path = folder / f"{year}.csv"
        if packed:
            path.with_suffix(".csv.gz").write_bytes(gzip.compress(body, 1))
        else:
            path.write_bytes(body)


def write_parquet(folder: Path, by_station: bool = False) -> None:
    parts: dict[tuple[str, str], list[Row]] = {}
    for row in rows():
        first = f"STATION={row[0]}" if by_station else f"YEAR={row[1][:4]}"
        parts.setdefault((first, row[2]), []).append(row)
    for (first, element), some in parts.items():
        home = folder / first / f"ELEMENT={element}"
        home.mkdir(parents=True)
        names = ("DATE", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")
        columns = list(zip(*(r[1:2] + r[3:] for r in some), strict=True))
        if not by_station:
            names, columns = ("ID", *names), [tuple(r[0] for r in some), *columns]
        table = pa.table(
            {
                name: [v if v != "" else None for v in column]
                for name, column in zip(names, columns, strict=True)
            },
            schema=pa.schema(
                [(n, pa.int64() if n == "DATA_VALUE" else pa.string()) for n in names]
            ),
        )
        pq.write_table(table, home / "part-0.snappy.parquet")


def same(a: Record, b: Record) -> None:
    assert a.times[0] == b.times[0]
    assert a.times[-1] == b.times[-1]
    assert set(a.values) == set(b.values)
    for name in a.values:
        np.testing.assert_array_equal(a.values[name], b.values[name], err_msg=name)
        np.testing.assert_array_equal(a.grades[name], b.grades[name], err_msg=name)
    assert [f.text for f in a.flags] == [f.text for f in b.flags]


@pytest.mark.parametrize("layout", ["csv.gz", "csv with header", "parquet", "parquet by station"])
def test_bulk_layouts_give_the_records_of_the_station_files(
    layout: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ghcn_sorted, "MOST_ROWS", 20_000)  # several buckets
    monkeypatch.setattr(ghcn_sorted, "HELD_ROWS", 700)  # filled several times
    monkeypatch.setattr(ghcn_sorted, "ROWS_A_GROUP", 400)  # stations go on in the next group
    source = tmp_path / "source"
    source.mkdir()
    if "parquet" in layout:
        write_parquet(source, "station" in layout)
    else:
        write_years(source, header="header" in layout, packed="gz" in layout)
    found = sorted_stations(bulk_files(source), tmp_path / "work")
    assert set(found) == set(FILES)
    for station, own in FILES.items():
        same(read_weather(found[station].path), read_weather(own))


def test_a_split_is_used_again_until_a_file_changes(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    write_years(source, header=False)
    files = bulk_files(source)
    calls: list[int] = []
    first = sorted_stations(files, tmp_path / "w", progress=lambda what, n, of: calls.append(n))
    assert calls == list(range(1, len(files) + 1))
    again = sorted_stations(files, tmp_path / "w", progress=lambda what, n, of: calls.append(n))
    assert again == first
    assert len(calls) == len(files)
    files[0].write_bytes(files[1].read_bytes())
    changed = sorted_stations(files, tmp_path / "w")
    assert {s: k.path for s, k in changed.items()} == {s: k.path for s, k in first.items()}
    assert [s for s in first if changed[s].content != first[s].content] == ["USW00013904"]
    kinds = sorted(path.suffix for path in (tmp_path / "w" / "ghcn").iterdir())
    assert kinds == sorted([".shards", *[".parquet", ".stations"] * len(files)])


def test_a_row_group_says_which_stations_it_holds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ghcn_sorted, "ROWS_A_GROUP", 300)
    write_years(tmp_path, header=False)
    found = sorted_stations(bulk_files(tmp_path), tmp_path / "w")
    for path in (tmp_path / "w" / "ghcn").glob("*.parquet"):
        footer, last = pq.read_metadata(path), 0
        ids = pq.read_table(path, columns=["ID"])["ID"].to_pylist()
        for number in range(footer.num_row_groups):
            group = footer.row_group(number)
            told = group.column(0).statistics
            own, ids = ids[: group.num_rows], ids[group.num_rows :]
            orders = [ghcn_sorted.order_of(station) for station in own]
            assert (told.min, told.max) == (min(orders), max(orders))
            assert last <= told.min
            last = told.max
            assert group.num_rows <= 300
    assert list(found) == sorted(found, key=ghcn_sorted.order_of)


def refreshed(rows_of: list[Row], draw: random.Random) -> list[Row]:
    """Values changed, lost and new in some years, a station renamed: new, and lost."""
    year, kind = draw.choice(("1999", "2003", "2011", "2021")), draw.randrange(4)
    new = []
    for row in rows_of:
        mine = row[1].startswith(year)
        if mine and kind == 0 and row[1].endswith("15"):
            row = (*row[:3], row[3] + 7, *row[4:])  # noqa: PLW2901
        elif mine and kind == 1 and "0401" <= row[1][4:] <= "0420":
            continue
        elif kind == 2 and row[0].startswith("AS"):
            row = ("ASN00099999", *row[1:])  # noqa: PLW2901
        elif kind == 3 and mine and row[0].startswith("US"):
            continue
        new.append(row)
    return new


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_a_refreshed_year_computes_only_its_stations_and_gives_what_a_full_run_gives(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "pool", lambda *args, **how: nullcontext(pools.Here()))
    computed: list[str] = []

    def compute(chunk: tuple[Station, ...], options: str) -> dict[str, pa.Table]:
        computed.extend(station.id for station in chunk)
        return batch.compute(chunk, options)

    source, draw, some = tmp_path / "source", random.Random(seed), list(rows())
    digests: dict[str, str] = {}
    for step in range(3):
        shutil.rmtree(source, ignore_errors=True)
        source.mkdir()
        write_years(source, header=False, packed=False, of=some)
        results = []
        for out in (tmp_path / "out", tmp_path / f"whole{step}"):
            del computed[:]
            found = find_stations(source, out / "records", workers=1)
            placed = [replace(s, latitude_deg=30.0, longitude_deg=-90.0) for s in found.stations]
            parts = engine.run(
                placed, compute, batch.Options().plain(), out / "parts", chunk_stations=2
            )
            if out.name == "out":
                changed = [s.id for s in placed if digests.get(s.id) != s.content]
                assert sorted(computed) == sorted(changed)
                digests = {s.id: s.content for s in placed}
            put_together(parts, out)
            results.append([(out / f"{n}.parquet").read_bytes() for n in ("seasons", "stations")])
        assert results[0] == results[1]
        some = refreshed(some, draw)


PLACES = (
    "USW00013904  30.1831  -97.6800  150.9 TX AUSTIN BERGSTROM AP                HCN 72254\n"
    "ASN00086071 -37.8075  144.9700   31.0    MELBOURNE REGIONAL OFFICE      GSN     94868\n"
    "AGM00060360  36.8220    7.8030 -999.9    ANNABA                                 60360\n"
)


def test_places_come_from_the_archives_list(tmp_path: Path) -> None:
    # lines in the published layout of ghcnd-stations.txt (readme, section IV; from memory)
    source = tmp_path / "source"
    source.mkdir()
    write_years(source, header=True)
    (source / "ghcnd-stations.txt").write_text(PLACES)
    found = find_stations(source, tmp_path / "w")
    by_id = {s.id: s for s in found.stations}
    assert set(by_id) == {"USW00013904", "ASN00086071"}
    assert by_id["USW00013904"].name == "AUSTIN BERGSTROM AP TX"
    assert by_id["ASN00086071"].latitude_deg == -37.8075
    assert by_id["ASN00086071"].elevation_m == 31.0
    assert found.notes == ("1 stations are not on ghcnd-stations.txt and left out",)
    elsewhere = tmp_path / "places.txt"
    elsewhere.write_text(PLACES)
    assert read_places(elsewhere)["AGM00060360"].place.elevation_m is None
    elsewhere.write_text("USW00013904 here\n")
    with pytest.raises(InputError, match="row 1"):
        read_places(elsewhere)
    elsewhere.write_text(PLACES.splitlines()[2])
    with pytest.raises(InputError, match="names none of the stations"):
        find_stations(source, tmp_path / "w", places=elsewhere)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("USW00013904,20200102,TMAX,ten,,,S,", "row 2: DATA_VALUE: 'ten'"),
        ("USW00013904,2020-01-02,TMAX,10,,,S,", "row 2: DATE"),
        ("USW00013904,20200102,TMAX", "row 2: has 3 fields"),
        ("USW00013904,20200231,TMAX,10,,,S,", "20200231 is not a date"),
    ],
)
def test_a_damaged_row_is_named(line: str, words: str, tmp_path: Path) -> None:
    file = tmp_path / "2020.csv"
    file.write_text(f"USW00013904,20200101,TMAX,10,,,S,\n{line}\n")
    with pytest.raises(InputError) as caught:
        sorted_stations([file], tmp_path / "w")
    assert words in str(caught.value)
    assert not list((tmp_path / "w" / "ghcn").iterdir())


def test_a_day_twice_and_a_cut_off_file_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "2020.csv"
    row = "USW00013904,20200101,{},10,,,S,\n"
    file.write_text(row.format("TMAX") * 2 + row.format("TMIN"))
    found = sorted_stations([file], tmp_path / "w")
    with pytest.raises(InputError, match="2020-01-01 stands twice"):
        read_weather(found["USW00013904"].path)
    with pytest.raises(InputError, match="no rows of station USW00000000"):
        read_weather(found["USW00013904"].path.replace("USW00013904", "USW00000000"))
    packed = tmp_path / "2021.csv.gz"
    packed.write_bytes(gzip.compress(file.read_bytes() * 500)[:-40])
    with pytest.raises(InputError, match="damaged"):
        sorted_stations([packed], tmp_path / "w")
    wrong = tmp_path / "YEAR=2020" / "ELEMENT=TMAX"
    wrong.mkdir(parents=True)
    pq.write_table(pa.table({"id": [1]}), wrong / "a.parquet")
    with pytest.raises(InputError, match="cannot be read"):
        sorted_stations([wrong / "a.parquet"], tmp_path / "w")


def test_morning_observers_are_moved_as_in_the_long_csv(tmp_path: Path) -> None:
    file = tmp_path / "2020.csv"
    with file.open("w", newline="") as stream:
        out = csv.writer(stream, lineterminator="\n")
        for day in range(1, 29):
            for element, value in (("TMAX", 100 + day), ("TMIN", day), ("PRCP", day % 5)):
                out.writerow(
                    ["USC00000001", f"202001{day:02d}", element, value, "", "", "7", "0700"]
                )
    found = sorted_stations([file], tmp_path / "w")
    same(read_weather(found["USC00000001"].path), read_weather(file))
