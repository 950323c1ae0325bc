"""What a comparison leaves in its folder for other tools: CSV and GeoJSON, some rows at a time."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple
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
    WHOLE_WEEKS,
    WORKABLE_COLUMNS,
    day_label,
)
from windowcast.region.compare import Compared, batches
from windowcast.region.csv_text import Cells, date_cells, number_cells, text_cells, write_csv
from windowcast.region.regional import Between
from windowcast.region.statistics import MIN_YEARS
from windowcast.region.tables import (
    NORMAL_FIELDS,
    ODDS_FIELDS,
    normals_in,
    numbers,
    season_schema,
    weekly_in,
)

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
    return [
        write_csv(folder / "seasons.csv", names, map(season_columns, seasons)),
        write_csv(folder / "normals.csv", NORMAL_COLUMNS, map(normal_columns, normals)),
        write_csv(folder / "weeks.csv", WEEK_COLUMNS, map(week_columns, weeks)),
        _write_csv(folder / "differences.csv", GAP_COLUMNS, gap_rows(between)),
        _write_csv(folder / "left_out.csv", LEFT_OUT_COLUMNS, map(astuple, data.every_left_out())),
        write_geojson(folder / "stations.geojson", data),
    ]


def season_columns(batch: pa.RecordBatch) -> list[Cells]:
    """Columns of ``seasons.csv``: dates are ISO 8601; weekly counts stay in the Parquet file."""
    return [_season_column(batch, name) for name in batch.schema.names]


def _season_column(batch: pa.RecordBatch, name: str) -> Cells:
    import pyarrow as pa

    if not pa.types.is_floating(batch.schema.field(name).type):
        return text_cells(batch[name].to_pylist())
    values = numbers(batch, name)
    return date_cells(values) if name in DATE_COLUMNS else number_cells(values)


def normal_columns(batch: pa.RecordBatch) -> list[Cells]:
    """Columns of ``normals.csv``: days count from the season's first day, shares are 0..1."""
    stations, quantities = len(batch), len(QUANTITIES)
    south = numbers(batch, "latitude") < 0
    found = [normals_in(batch, name) for name in QUANTITIES]
    fields = {f: np.stack([getattr(n, f) for n in found], axis=1) for f in NORMAL_FIELDS}
    names = text_cells(batch["station"].to_pylist())
    dates = [
        day_label(day, southern=south[i]) if name in DATE_COLUMNS else ""
        for i, days in enumerate(fields["median"].tolist())
        for name, day in zip(QUANTITIES, days, strict=True)
    ]
    years, happens, median, p10, p90, *trend = (
        number_cells(each.ravel()) for each in fields.values()
    )
    return [
        [name for name in names for _ in range(quantities)],
        text_cells(QUANTITIES) * stations,
        text_cells(QUANTITIES.values()) * stations,
        years, happens, median, p10, p90, dates, *trend,
    ]  # fmt: skip


def week_columns(batch: pa.RecordBatch) -> list[Cells]:
    """Columns of ``weeks.csv``: weeks with enough years."""
    found = [weekly_in(batch, column) for column in WORKABLE_COLUMNS.values()]
    years, *told = (np.stack(each, axis=1) for each in zip(*found, strict=True))
    station, purpose, week = np.nonzero(years >= MIN_YEARS)
    south = (numbers(batch, "latitude") < 0).astype(np.int64)
    labels = [[day_label(7 * w, southern=at) for w in range(WHOLE_WEEKS)] for at in (False, True)]
    columns = (
        (text_cells(batch["station"].to_pylist()), station),
        (text_cells(WORKABLE_COLUMNS), purpose),
        ([str(w) for w in range(WHOLE_WEEKS)], week),
    )
    known = [number_cells(each[station, purpose, week]) for each in (years, *told)]
    return [
        *(np.array(cells, object)[at].tolist() for cells, at in columns),
        np.array(labels, object)[south[station], week].tolist(),
        *known,
    ]


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
