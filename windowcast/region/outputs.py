"""What a comparison leaves in its folder for other tools: CSV and GeoJSON, some rows at a time."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple
from itertools import chain
from pathlib import Path
from textwrap import indent
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from windowcast.core.atomic_files import atomic_file
from windowcast.core.spreadsheet_cells import as_text
from windowcast.region.columns import (
    DATE_COLUMNS,
    QUANTITIES,
    WEEKLY_COLUMNS,
    WORKABLE_COLUMNS,
    day_label,
)
from windowcast.region.compare import Compared, batches
from windowcast.region.regional import Between
from windowcast.region.statistics import MIN_YEARS
from windowcast.region.tables import ODDS_FIELDS, normals_in, numbers, season_schema, weekly_in

if TYPE_CHECKING:
    import pyarrow as pa

NORMAL_COLUMNS = (
    "station", "quantity", "label", "years", "happens", "median", "p10", "p90", "median_date",
    "trend_per_decade", "trend_low", "trend_high", "p_value",
)  # fmt: skip
WEEK_COLUMNS = (
    "station", "purpose", "week", "first_day", "years", "mean_days",
    *ODDS_FIELDS,
)  # fmt: skip
GAP_COLUMNS = ("first", "second", "quantity", "label", "shared_years", "median", "low", "high",
               "p_value", "q_value")  # fmt: skip

LEFT_OUT_COLUMNS = ("station", "name", "kind", "reason")


def write_tables(folder: Path, data: Compared, between: Iterable[Between]) -> list[Path]:
    """Seasons, normals, weeks and differences as CSV; stations as GeoJSON."""
    names = [name for name in season_schema().names if name not in WEEKLY_COLUMNS]
    place = ["station", "latitude"]
    seasons = batches(data.season_file, names)
    normals = batches(data.station_file, [*place, *QUANTITIES])
    weeks = batches(data.station_file, [*place, *WORKABLE_COLUMNS.values()])
    rows_of = chain.from_iterable
    return [
        _write_csv(folder / "seasons.csv", names, rows_of(map(season_rows, seasons))),
        _write_csv(folder / "normals.csv", NORMAL_COLUMNS, rows_of(map(normal_rows, normals))),
        _write_csv(folder / "weeks.csv", WEEK_COLUMNS, rows_of(map(week_rows, weeks))),
        _write_csv(folder / "differences.csv", GAP_COLUMNS, gap_rows(between)),
        _write_csv(folder / "left_out.csv", LEFT_OUT_COLUMNS, map(astuple, data.every_left_out())),
        write_geojson(folder / "stations.geojson", data),
    ]


def season_rows(batch: pa.RecordBatch) -> Iterable[Sequence[Any]]:
    """Rows of ``seasons.csv``: dates are ISO 8601; weekly counts stay in the Parquet file."""
    return zip(*(_season_column(batch, name) for name in batch.schema.names), strict=True)


def _season_column(batch: pa.RecordBatch, name: str) -> list[Any]:
    import pyarrow as pa

    if not pa.types.is_floating(batch.schema.field(name).type):
        return list(batch[name].to_pylist())
    values = numbers(batch, name)
    if name not in DATE_COLUMNS:
        return _plain(values)
    known = np.isfinite(values)
    dates = np.where(known, values, 0).astype("datetime64[D]").astype(str)
    return list(np.where(known, dates, "").tolist())


def normal_rows(batch: pa.RecordBatch) -> Iterator[Sequence[Any]]:
    """Rows of ``normals.csv``: days are counted from the season's first day, shares are 0..1."""
    south = (numbers(batch, "latitude") < 0).tolist()
    found = {name: normals_in(batch, name) for name in QUANTITIES}
    days = {name: found[name].median.tolist() for name in DATE_COLUMNS}
    lists = {name: [_plain(each) for each in astuple(n)] for name, n in found.items()}
    for i, station in enumerate(batch["station"].to_pylist()):
        for name, label in QUANTITIES.items():
            years, happens, median, p10, p90, *trend = (each[i] for each in lists[name])
            date = day_label(days[name][i], southern=south[i]) if name in days else ""
            yield (station, name, label, int(years), happens, median, p10, p90, date, *trend)


def week_rows(batch: pa.RecordBatch) -> Iterator[Sequence[Any]]:
    """Rows of ``weeks.csv``: weeks with enough years."""
    south = (numbers(batch, "latitude") < 0).tolist()
    found = {name: weekly_in(batch, column) for name, column in WORKABLE_COLUMNS.items()}
    for i, station in enumerate(batch["station"].to_pylist()):
        for purpose, fields in found.items():
            years, *told = (_plain(each[i]) for each in fields)
            for week, (count, *values) in enumerate(zip(years, *told, strict=True)):
                if count >= MIN_YEARS:
                    first = day_label(7 * week, southern=south[i])
                    yield (station, purpose, week, first, int(count), *values)


def gap_rows(between: Iterable[Between]) -> Iterator[Sequence[Any]]:
    """Rows of ``differences.csv``: first minus second, in days or as a share."""
    for item in between:
        d = item.difference
        values = _plain(np.array([d.middle, d.low, d.high, item.p, item.q]))
        label = QUANTITIES[item.quantity]
        yield (item.first, item.second, item.quantity, label, item.seasons, *values)


def write_geojson(path: Path, data: Compared) -> Path:
    """RFC 7946: a point for each station with the medians of its quantities."""
    with atomic_file(path) as stream:
        before = '{\n "type": "FeatureCollection",\n "features": ['
        for batch in batches(data.station_file, [*data.stations.schema.names, *QUANTITIES]):
            for feature in features(batch):
                text = indent(json.dumps(feature, indent=1), "  ")
                stream.write(f"{before}\n{text}".encode())
                before = ","
        stream.write(b"\n ]\n}\n")
    return path


def features(batch: pa.RecordBatch) -> Iterator[dict[str, Any]]:
    """The stations of some rows as GeoJSON features.

    A date is given as days from the season's first day and, under ``*_date``, as people write it.
    """
    found = {name: normals_in(batch, name) for name in QUANTITIES}
    medians = {name: _plain(n.median) for name, n in found.items()}
    years = np.max([n.years for n in found.values()], axis=0).tolist()
    places = (numbers(batch, name).tolist() for name in ("longitude", "latitude", "elevation"))
    texts = (batch[name].to_pylist() for name in ("station", "name", "region"))
    south = (numbers(batch, "latitude") < 0).tolist()

    def dates(i: int) -> Iterator[tuple[str, str | None]]:
        for quantity in DATE_COLUMNS:
            label = day_label(float(found[quantity].median[i]), southern=south[i])
            yield quantity, label or None

    for i, (station, name, region, lon, lat, height) in enumerate(
        zip(*texts, *places, strict=True)
    ):
        point = [round(lon, 5), round(lat, 5)]
        if math.isfinite(height):
            point.append(round(height, 1))
        yield {
            "type": "Feature",
            "id": station,
            "geometry": {"type": "Point", "coordinates": point},
            "properties": {
                "name": name or station,
                "region": region or "",
                "years": years[i],
                **{quantity: each[i] for quantity, each in medians.items()},
                **{f"{quantity}_date": date for quantity, date in dates(i)},
            },
        }


def _write_csv(path: Path, fields: Sequence[str], rows: Iterable[Sequence[Any]]) -> Path:
    with atomic_file(path) as stream:
        text = io.TextIOWrapper(stream, "utf-8", newline="")
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(fields)
        for row in rows:
            writer.writerow([as_text(cell) if isinstance(cell, str) else cell for cell in row])
        text.detach()  # writes out what it holds; the stream is closed by who opened it
    return path


def _plain(values: npt.NDArray[Any]) -> list[Any]:
    """Numbers rounded for people, None where there is none."""
    rounded = np.round(values.astype(np.float64), 4)
    cells = rounded.astype(object)
    cells[~np.isfinite(rounded)] = None
    return list(cells.tolist())
