"""What a comparison leaves in its folder: tables, GeoJSON, NetCDF."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from windowcast import __version__
from windowcast.errors import InputError
from windowcast.files import atomic_file, write_atomic
from windowcast.region.batch import (
    AMOUNT_COLUMNS,
    DATE_COLUMNS,
    SHARE_COLUMNS,
    WORKABLE_COLUMNS,
    schema,
)
from windowcast.region.compare import (
    AT_LEAST,
    QUANTITIES,
    Compared,
    Summary,
    day_label,
)
from windowcast.region.statistics import MIN_YEARS
from windowcast.weather.record import FloatArray

NORMAL_FIELDS = (
    "station", "quantity", "label", "years", "median", "p10", "p90", "median_date",
    "trend_per_decade", "trend_low", "trend_high", "p_value",
)  # fmt: skip
WEEK_FIELDS = (
    "station", "purpose", "week", "first_day", "years", "mean_days",
    *(f"odds_{n}_or_more" for n in AT_LEAST),
)  # fmt: skip
GAP_FIELDS = ("first", "second", "quantity", "label", "shared_years", "median", "low", "high")


def write_tables(
    folder: Path, parts: Sequence[Path], data: Compared, summary: Summary
) -> list[Path]:
    """Seasons as Parquet and CSV; normals, weeks and differences as CSV; stations as GeoJSON."""
    return [
        *write_seasons(folder, parts),
        write_atomic(folder / "normals.csv", normals_csv(data, summary)),
        write_atomic(folder / "weeks.csv", _csv(WEEK_FIELDS, week_rows(data))),
        write_atomic(folder / "differences.csv", _csv(GAP_FIELDS, gap_rows(summary))),
        write_atomic(folder / "stations.geojson", geojson(data, summary)),
    ]


def write_seasons(folder: Path, parts: Sequence[Path]) -> list[Path]:
    """The parts as ``seasons.parquet`` and ``seasons.csv``, one part in memory at a time.

    Dates are ISO 8601 in the CSV; weekly counts stay in the Parquet file.
    """
    import pyarrow.parquet as pq

    paths = [folder / "seasons.parquet", folder / "seasons.csv"]
    names = [name for name in schema().names if name not in WORKABLE_COLUMNS.values()]
    with (
        atomic_file(paths[0]) as whole,
        atomic_file(paths[1]) as text,
        pq.ParquetWriter(whole, schema(), compression="zstd") as writer,
    ):
        text.write((",".join(names) + "\n").encode())
        for part in parts:
            table = pq.read_table(part)
            writer.write_table(table)
            rows = table.select(names).to_pylist()
            cells = ([_iso(r[n]) if n in DATE_COLUMNS else r[n] for n in names] for r in rows)
            text.write(_csv((), cells).encode())
    return paths


def normals_csv(data: Compared, summary: Summary) -> str:
    """Normals and trends of every station as CSV."""
    return _csv(NORMAL_FIELDS, normal_rows(data, summary))


def normal_rows(data: Compared, summary: Summary) -> Iterable[Sequence[Any]]:
    """Rows of ``normals.csv``: days are counted from the season's first day, shares are 0..1."""
    south = dict(zip(data.stations, data.southern, strict=True))
    for item in summary.normals:
        n, t = item.normal, item.trend
        date = ""
        if item.quantity in DATE_COLUMNS:
            date = day_label(n.median, southern=bool(south[item.station]))
        label = QUANTITIES[item.quantity]
        yield (
            item.station, item.quantity, label, n.years, n.median, n.p10, n.p90, date,
            t.per_decade, t.low, t.high, t.p_value,
        )  # fmt: skip


def week_rows(data: Compared) -> Iterable[Sequence[Any]]:
    """Rows of ``weeks.csv``: weeks with enough years."""
    for i, station in enumerate(data.stations):
        for purpose, weeks in data.weeks.items():
            for week in np.flatnonzero(weeks.years[i] >= MIN_YEARS).tolist():
                first = day_label(7 * week, southern=bool(data.southern[i]))
                mean, odds = float(weeks.mean_days[i, week]), weeks.odds[i, week].tolist()
                yield (station, purpose, week, first, int(weeks.years[i, week]), mean, *odds)


def gap_rows(summary: Summary) -> Iterable[Sequence[Any]]:
    """Rows of ``differences.csv``: first minus second, in days or as a share."""
    for item in summary.gaps:
        d = item.difference
        label = QUANTITIES[item.quantity]
        yield (
            item.first, item.second, item.quantity, label, d.shared_years, d.median, d.low, d.high,
        )  # fmt: skip


def geojson(data: Compared, summary: Summary) -> str:
    """RFC 7946: a point for each station with the medians of its quantities."""
    medians: dict[str, dict[str, Any]] = {station: {} for station in data.stations}
    for item in summary.normals:
        medians[item.station][item.quantity] = _plain(item.normal.median)
        medians[item.station]["years"] = max(
            item.normal.years, medians[item.station].get("years", 0)
        )
    features = []
    for i, station in enumerate(data.stations):
        lat, lon, height = data.places[i]
        point = [round(float(lon), 5), round(float(lat), 5)]
        if math.isfinite(height):
            point.append(round(float(height), 1))
        features.append(
            {
                "type": "Feature",
                "id": station,
                "geometry": {"type": "Point", "coordinates": point},
                "properties": {
                    "name": data.names[i], "region": data.regions[i], **medians[station],
                },
            }
        )  # fmt: skip
    return json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n"


def write_netcdf(path: Path, data: Compared) -> Path:
    """The seasons as NetCDF-4 with CF-1.10 names: a discrete-sampling geometry of stations.

    Raises
    ------
    InputError
        The netCDF4 package is not installed, or the file cannot be written.
    """
    try:
        import netCDF4
    except ImportError:
        raise InputError(
            "--netcdf needs the netcdf extra", remedy="pip install 'windowcast[netcdf]'"
        ) from None
    memory = netCDF4.Dataset(path.name, "w", memory=1024)
    memory.Conventions = "CF-1.10"
    memory.title = "Turf and weed season dates by station and season"
    memory.source = f"windowcast {__version__}"
    memory.createDimension("station", len(data.stations))
    memory.createDimension("season", len(data.seasons))
    ids = memory.createVariable("station_id", str, ("station",))
    ids.cf_role = "timeseries_id"
    for i, station in enumerate(data.stations):
        ids[i] = station
    for column, (name, units, standard) in enumerate(
        (
            ("lat", "degrees_north", "latitude"),
            ("lon", "degrees_east", "longitude"),
            ("alt", "m", "surface_altitude"),
        )
    ):
        _variable(memory, name, data.places[:, column], units).standard_name = standard
    years = memory.createVariable("season", "i4", ("season",))
    years.long_name = "first calendar year of the season"
    years[:] = data.seasons
    for name, values in data.values.items():
        units = "1" if name in SHARE_COLUMNS else AMOUNT_COLUMNS.get(name, "days")
        made = _variable(memory, name, values, units)
        made.coordinates = "lat lon alt station_id"
        since = ", days since the first day of the season" if name in DATE_COLUMNS else ""
        made.long_name = QUANTITIES[name] + since
    return write_atomic(path, bytes(memory.close()))


def _variable(dataset: Any, name: str, values: FloatArray, units: str) -> Any:
    made = dataset.createVariable(
        name, "f8", ("station", "season")[: values.ndim], fill_value=np.nan
    )
    made.units = units
    made[:] = values
    return made


def _csv(fields: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    if fields:
        writer.writerow(fields)
    for row in rows:
        writer.writerow(["" if (cell := _plain(v)) is None else cell for v in row])
    return out.getvalue()


def _plain(value: Any) -> Any:
    """A number rounded for people, None for NaN, anything else as it is."""
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return value


def _iso(day: float | None) -> str | None:
    if day is None or not math.isfinite(day):
        return None
    return str(np.datetime64(int(day), "D"))
