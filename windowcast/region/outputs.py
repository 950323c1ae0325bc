"""What a comparison leaves in its folder for other tools: CSV and GeoJSON, some rows at a time."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple
from pathlib import Path
from textwrap import indent
from typing import TYPE_CHECKING, Any

import numpy as np

from windowcast.core.atomic_files import atomic_file, write_atomic
from windowcast.core.errors import InputError
from windowcast.region.columns import (
    DATE_COLUMNS,
    QUANTITIES,
    WEEKLY_COLUMNS,
    WHOLE_WEEKS,
    WORKABLE_COLUMNS,
    day_label,
)
from windowcast.region.compare import Compared
from windowcast.region.csv_text import (
    Cells,
    date_cells,
    number_cells,
    plain,
    text_cells,
    write_csv,
    write_rows,
)
from windowcast.region.dictionary import (
    PACKAGE,
    DescribedColumn,
    columns_in,
    files,
    names_of_columns,
)
from windowcast.region.drawn import DrawnArea
from windowcast.region.regional import Between, Estimate, Region, Regional
from windowcast.region.statistics import MIN_YEARS
from windowcast.region.tables import (
    NORMAL_FIELDS,
    batches,
    break_fields,
    normals_in,
    numbers,
    season_schema,
    station_schema,
    weekly_in,
)

if TYPE_CHECKING:
    import pyarrow as pa


Row = Sequence[Any]


def refuse_others(folder: Path, source: str) -> None:
    """Write over nothing that is not of a comparison.

    Raises
    ------
    InputError
        The folder has a file of a name that a comparison writes, and was none's before, or what is
        compared is that file.
    """
    names = [*files(), PACKAGE, "stations"]
    if not (folder / "parts").is_dir() and not (folder / "seasons.parquet").is_file():
        strange = next((name for name in names if (folder / name).exists()), None)
    else:
        given = Path(source).absolute()
        strange = next((n for n in names if (folder / n).absolute() == given), None)
    if strange is not None:
        raise InputError(
            f"has a {strange} that is not of a comparison", path=folder, field="--out",
            remedy="name a new folder",
        )  # fmt: skip


def write_tables(folder: Path, data: Compared, between: Iterable[Between]) -> list[Path]:
    """Seasons, normals, weeks and differences as CSV; stations as GeoJSON."""
    names = [name for name in season_schema().names if name not in WEEKLY_COLUMNS]
    place = ["station", "latitude"]
    seasons = batches(data.season_file, names)
    normals = batches(data.station_file, [*place, *QUANTITIES])
    weeks = batches(data.station_file, [*place, *WORKABLE_COLUMNS.values()])
    return [
        write_csv(folder / "seasons.csv", names, map(season_columns, seasons)),
        write_csv(
            folder / "normals.csv", names_of_columns("normals.csv"), map(normal_columns, normals)
        ),
        write_csv(folder / "weeks.csv", names_of_columns("weeks.csv"), map(week_columns, weeks)),
        write_rows(folder / "differences.csv", gap_rows(between)),
        write_rows(folder / "left_out.csv", map(astuple, data.every_left_out())),
        write_geojson(folder / "stations.geojson", data),
        *([write_areas(folder / "regions.geojson", data.areas)] if data.areas else []),
    ]


def schemas() -> dict[str, tuple[DescribedColumn, ...]]:
    """Columns of the files that are laid out as the Parquet files are, for `dictionary`."""
    seasons = tuple(columns_in(season_schema()))
    return {
        "seasons.csv": tuple(c for c in seasons if c.name not in WEEKLY_COLUMNS),
        "seasons.parquet": seasons,
        "stations.parquet": tuple(columns_in(station_schema())),
    }


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
        middle, *others = plain(np.array([d.middle, d.low, d.high, item.p, item.q]))
        what = item.quantity, QUANTITIES[item.quantity], item.seasons
        yield (item.first, item.second, *what, middle, str(item.at_least).lower(), *others)


def write_areas(path: Path, areas: Iterable[DrawnArea]) -> Path:
    """RFC 7946: the outline of each region that was drawn."""
    drawn = [
        {
            "type": "Feature",
            "id": area.name,
            "geometry": area.geometry(),
            "properties": {"name": area.name},
        }
        for area in areas
    ]
    return write_atomic(path, json.dumps({"type": "FeatureCollection", "features": drawn}) + "\n")


def write_geojson(path: Path, data: Compared) -> Path:
    """RFC 7946: a point for each station with the medians of its quantities."""
    with atomic_file(path) as stream:
        before = '{\n "type": "FeatureCollection",\n "features": ['
        needed = [*data.stations.schema.names, *(f.name for f in break_fields()), *QUANTITIES]
        for batch in batches(data.station_file, needed):
            for feature in features(batch):
                text = indent(json.dumps(feature, indent=1), "  ")
                stream.write(f"{before}\n{text}".encode())
                before = ","
        stream.write(b"\n ]\n}\n")
    return path


def features(batch: pa.RecordBatch) -> Iterator[dict[str, Any]]:
    """The stations of some rows as GeoJSON features.

    A date is given as days from the season's first day and, under ``*_date``, as people write it. A
    break against the neighbours is told as in the stations' Parquet file.
    """
    broken = batch.select([field.name for field in break_fields()]).to_pylist()
    found = {name: normals_in(batch, name) for name in QUANTITIES}
    medians = {name: plain(n.median) for name, n in found.items()}
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
                **broken[i],
                **{quantity: each[i] for quantity, each in medians.items()},
                **{f"{quantity}_date": date for quantity, date in dates(i)},
            },
        }


def write_regional(folder: Path, found: Regional) -> list[Path]:
    """The files of `dictionary.toml` that tell of regions; all figures of the page are in them."""
    regions = found.regions
    return [
        write_rows(folder / "regions.csv", (r for each in regions for r in _typical(each))),
        write_rows(folder / "region_seasons.csv", (r for each in regions for r in _seasons(each))),
        write_rows(folder / "region_weeks.csv", (r for each in regions for r in _weeks(each))),
        write_rows(folder / "difference_weeks.csv", _difference_weeks(found)),
        write_rows(
            folder / "failing.csv",
            (
                (each.name, failed.season, failed.reason, round(failed.share, 4))
                for each in regions
                for failed in each.failing
            ),
        ),
    ]


def _typical(region: Region) -> Iterator[Row]:
    for name, told in region.quantities.items():
        dated = name in DATE_COLUMNS
        label = day_label(told.typical.middle, southern=region.southern) if dated else ""
        yield (
            region.name, region.stations, name, QUANTITIES[name], told.seasons,
            *_ends(told.typical), str(told.median).lower(), label,
            *_ends(told.happens), *_ends(told.trend_per_decade),
            _number(told.trend_p), _number(told.trend_q), *_ends(told.happens_trend),
            _number(told.happens_trend_p), _number(told.happens_trend_q),
        )  # fmt: skip


def _seasons(region: Region) -> Iterator[Row]:
    seasons = zip(region.seasons.tolist(), region.stations_per_season.tolist(), strict=True)
    for at, (season, stations) in enumerate(seasons):
        for name, told in region.quantities.items():
            yield region.name, season, stations, name, _number(float(told.by_season[at]))


def _weeks(region: Region) -> Iterator[Row]:
    weekly = region.weekly
    if weekly is None:
        return
    columns = (plain(each) for each in (weekly.mean, weekly.low, weekly.high))
    for week, values in enumerate(zip(*columns, strict=True)):
        yield region.name, week, day_label(7 * week, southern=region.southern), *values


def _difference_weeks(found: Regional) -> Iterator[Row]:
    for each in found.weeks_between:
        columns = (plain(values) for values in (each.middle, each.low, each.high))
        for week, values in enumerate(zip(*columns, strict=True)):
            yield each.first, each.second, week, each.seasons, *values


def _ends(told: Estimate | None) -> tuple[Any, Any, Any]:
    if told is None:
        return None, None, None
    return _number(told.middle), _number(told.low), _number(told.high)


def _number(value: float) -> float | None:
    """Rounded, empty where it is unknown; infinite as it is, which a Table Schema allows."""
    return None if math.isnan(value) else round(value, 4) + 0.0  # never -0.0
