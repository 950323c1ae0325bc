"""A comparison as NetCDF-4 by the CF conventions 1.11: by station and season, week, and statistic.

A season's time is its middle, with its first day and the day after its last as bounds. They depend
on the hemisphere, so each of two hemispheres gets a file of its own. Dates within a season are days
since its first day. A median of a date that does not come in half of the seasons is missing, and
``*_happens`` is below one half.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from math import prod
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.atomic_files import atomic_path
from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_starts
from windowcast.core.version import __version__
from windowcast.region import compare
from windowcast.region.columns import (
    DATE_COLUMNS,
    DEPARTURE_COLUMNS,
    HAPPENED_COLUMNS,
    LOST_COLUMNS,
    QUANTITIES,
    WEEKLY_COLUMNS,
    WEEKS,
    WHOLE_WEEKS,
    units_of,
)
from windowcast.region.compare import Compared, season_values
from windowcast.region.dictionary import described
from windowcast.region.tables import (
    NORMAL_FIELDS,
    batches,
    normals_in,
    numbers,
    season_schema,
    weekly_in,
)

SEASONAL = (*DEPARTURE_COLUMNS, *HAPPENED_COLUMNS.values(), *LOST_COLUMNS.values())
_DAYS = "days since 1970-01-01"
_AT_STATION = "lat lon alt station_name region"
_OVER_SEASONS = f"period {_AT_STATION}"
_SINCE = ", days since the first day of the season"
_PLACE = (
    ("lat", "latitude", "degrees_north", "latitude"),
    ("lon", "longitude", "degrees_east", "longitude"),
    ("alt", "elevation", "m", "surface_altitude"),
)
_COUNTS: Mapping[str, str] = {  # fields of `Normals` without a unit
    "years": "seasons in which the quantity is known",
    "happens": "share of these seasons in which its date came",
    "p_value": "Mann-Kendall test of no trend",
}
_PARTS: Mapping[str, tuple[str, tuple[str, ...]]] = {  # dimension, fields of `Normals` along it
    "quantile": ("quantile", ("p10", "p90")),
    "trend": ("estimate", ("trend_per_decade", "trend_low", "trend_high")),
}
_CHUNK = 1024  # stations that lie together in a file


def write_netcdf(path: Path, data: Compared, *, made: dt.datetime | None = None) -> list[Path]:
    """Seasons, weeks and statistics of every station, written some rows at a time.

    Stations of the southern hemisphere have a file of their own beside (``*_south``) where there
    are northern ones too.

    Parameters
    ----------
    made
        For the history; by default now.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    import netCDF4

    written = []
    for south in data.hemispheres:
        beside = south and len(data.hemispheres) > 1
        file = path.with_stem(f"{path.stem}_south") if beside else path
        with atomic_path(file) as temporary:
            try:
                with netCDF4.Dataset(temporary, "w") as dataset:
                    _describe(dataset, made or dt.datetime.now(dt.UTC), south=south)
                    rows = np.flatnonzero(data.southern == south)
                    _coordinates(dataset, data, rows, south=south)
                    _variables(dataset)
                    _fill_seasons(dataset, data, rows)
                    _fill_statistics(dataset, data, rows)
            except RuntimeError as error:  # what the library raises when the disk is full
                raise OSError(str(error)) from None
        written.append(file)
    return written


def _describe(dataset: Any, made: dt.datetime, *, south: bool) -> None:
    dataset.Conventions = "CF-1.11"
    dataset.title = "Turf and weed season dates by station and season"
    dataset.source = f"windowcast {__version__}: models of soil, turf and weeds on daily weather"
    dataset.history = f"{made:%Y-%m-%dT%H:%M:%SZ} windowcast {__version__} compare --netcdf"
    dataset.comment = f"A season begins on 1 {'January' if south else 'July'}."


Rows = npt.NDArray[np.int64]
"""Stations of a file among all, ``[station]``."""


def _coordinates(dataset: Any, data: Compared, rows: Rows, *, south: bool) -> None:
    """Dimensions, stations, the time of every season, and weeks."""
    for name, size in (
        ("station", len(rows)), ("season", len(data.seasons)), ("week", WEEKS),
        ("whole_week", WHOLE_WEEKS), ("bounds", 2), ("quantity", len(QUANTITIES)),
        *((dimension, len(fields)) for dimension, fields in _PARTS.values()),
    ):  # fmt: skip
        dataset.createDimension(name, size)
    stations = data.stations.take(rows)
    for name, column in (("station_id", "station"), ("station_name", "name"), ("region", "region")):
        texts = dataset.createVariable(name, str, ("station",))
        texts.long_name = described(column)
        texts[:] = np.array(stations[column].to_pylist(), dtype=object)
    dataset["station_id"].cf_role = "timeseries_id"
    for name, column, units, standard in _PLACE:
        place = _variable(dataset, name, ("station",), units, described(column))
        place.standard_name = standard
        place[:] = numbers(stations, column)
    years = dataset.createVariable("season", "i4", ("season",))
    years.long_name, years.units = "first calendar year of the season", "1"
    years[:] = data.seasons
    first = season_starts(data.seasons, south).astype(np.float64)
    after = season_starts(data.seasons + 1, south).astype(np.float64)
    time = _variable(dataset, "time", ("season",), _DAYS, "middle of the season")
    time.standard_name, time.calendar, time.bounds = "time", "standard", "time_bounds"
    time.units_metadata = "leap_seconds: none"
    time[:] = (first + after) / 2
    bounds = dataset.createVariable("time_bounds", "f8", ("season", "bounds"), zlib=True)
    bounds[:] = np.stack([first, after], axis=-1)
    period = dataset.createVariable("period", "f8")
    period.units, period.standard_name, period.calendar = _DAYS, "time", "standard"
    period.units_metadata = "leap_seconds: none"
    period.long_name = "middle of all seasons"
    if len(first):
        period[:] = (first[0] + after[-1]) / 2
        ends = np.array([first[0], after[-1]]).astype("datetime64[D]")
        dataset.time_coverage_start, dataset.time_coverage_end = ends.astype(str).tolist()
    for name, count in (("week", WEEKS), ("whole_week", WHOLE_WEEKS)):
        week = dataset.createVariable(name, "i4", (name,))
        week.long_name, week.units = "first day of the week since that of the season", "days"
        week[:] = 7 * np.arange(count)
    part = dataset.createVariable("quantile", "f8", ("quantile",))
    part.units, part.long_name = "1", "share of the seasons with less"
    part[:] = [0.1, 0.9]
    for name, words, texts in (
        ("quantity", "what is counted", list(QUANTITIES)),
        ("estimate", "slope and the ends of its 95 % interval", list(_PARTS["trend"][1])),
    ):
        label = dataset.createVariable(f"{name}_name", str, (name,))
        label.long_name = words
        label[:] = np.array(texts, dtype=object)


def _variables(dataset: Any) -> None:
    """A variable for each quantity, column and statistic; `_fill_seasons` gives their values."""
    seasonal, by_season = ("station", "season"), f"time {_AT_STATION}"
    schema = season_schema()
    for name, words in QUANTITIES.items():
        made = _variable(dataset, name, seasonal, units_of(name), words + _since(name))
        made.coordinates = by_season
    for name in ("complete", *SEASONAL):
        units = (schema.field(name).metadata or {}).get(b"units", b"1").decode()
        made = _variable(dataset, name, seasonal, units, described(name))
        made.coordinates = by_season
    for name in WEEKLY_COLUMNS:
        made = _variable(dataset, name, (*seasonal, "week"), "days", described(name), kind="f4")
        made.coordinates, made.cell_methods = by_season, "week: sum (interval: 1 day)"
        made = _variable(
            dataset, f"{name}_mean", ("station", "whole_week"), "days",
            f"{described(name)}, mean over the seasons", kind="f4",
        )  # fmt: skip
        made.coordinates, made.cell_methods = _OVER_SEASONS, "period: mean"
    for field, words in _COUNTS.items():
        made = _variable(dataset, field, ("station", "quantity"), "1", words)
        made.coordinates = f"{_OVER_SEASONS} quantity_name"
    for name, words in QUANTITIES.items():
        _statistics(dataset, name, words)


def _statistics(dataset: Any, name: str, words: str) -> None:
    """Median, quantiles and trend of a quantity over the seasons of each station."""
    units, since = units_of(name), _since(name)
    slope = "0.1 year-1" if units == "1" else f"{units} (10 year)-1"
    for field, said, unit in (
        ("median", f"median{since}", units),
        ("quantile", f"quantiles{since}", units),
        ("trend", "change in ten years (Theil-Sen)", slope),
    ):
        along = _PARTS[field][:1] if field in _PARTS else ()
        made = _variable(dataset, f"{name}_{field}", ("station", *along), unit, f"{words}: {said}")
        made.coordinates = _OVER_SEASONS + (" estimate_name" if field == "trend" else "")
        if field == "median":
            made.cell_methods = "period: median"


def _since(name: str) -> str:
    return _SINCE if name in DATE_COLUMNS else ""


def _variable(
    dataset: Any,
    name: str,
    dimensions: tuple[str, ...],
    units: str,
    words: str,
    *,
    kind: str = "f8",
) -> Any:
    sizes = [len(dataset.dimensions[each]) for each in dimensions]
    chunks = [max(min(sizes[0], _CHUNK // (len(sizes) ** 2)), 1), *(max(s, 1) for s in sizes[1:])]
    made = dataset.createVariable(
        name, kind, dimensions, fill_value=np.nan, zlib=True, complevel=4, chunksizes=chunks
    )
    made.units, made.long_name = units, words
    made.set_auto_mask(False)
    # stations come in order: the chunk being written and the next, not the library's 16 MB
    made.set_var_chunk_cache(size=2 * prod(chunks) * made.dtype.itemsize)
    return made


def _fill_seasons(dataset: Any, data: Compared, rows: Rows) -> None:
    """Write each batch of rows to its stations; a station may continue in the next batch."""
    import pyarrow.compute as pc

    plain = ("complete", *SEASONAL)
    needed = ["station", "season", "latitude", *plain, *QUANTITIES, *WEEKLY_COLUMNS]
    ids = data.stations["station"].take(rows)
    for batch in batches(data.season_file, needed):
        known = batch.filter(pc.is_in(batch["station"], value_set=ids))
        known = known.filter(known["season"].is_valid())
        if not len(known):
            continue
        row = pc.index_in(known["station"], value_set=ids).to_numpy()
        season = numbers(known, "season").astype(np.int64) - data.seasons[0]
        some = slice(int(row.min()), int(row.max()) + 1)
        values: dict[str, FloatArray] = {name: numbers(known, name) for name in plain}
        values |= season_values(known)
        for name in WEEKLY_COLUMNS:
            flat = known[name].flatten().to_numpy(zero_copy_only=False)
            values[name] = flat.reshape(-1, WEEKS)
        for name, own in values.items():
            block = dataset[name][some]
            block[row - some.start, season] = own
            dataset[name][some] = block


def _fill_statistics(dataset: Any, data: Compared, rows: Rows) -> None:
    start, after = 0, 0  # stations read, and written
    wide = [*QUANTITIES, *WEEKLY_COLUMNS]  # some kilobytes a station
    for batch in batches(data.station_file, wide, compare.STATION_ROWS):
        own = rows[(rows >= start) & (rows < start + len(batch))] - start
        some = slice(after, after + len(own))
        start, after = start + len(batch), some.stop
        if not len(own):
            continue
        for at, name in enumerate(QUANTITIES):
            found = normals_in(batch, name)
            told = {f: _finite(getattr(found, f)[own]) for f in NORMAL_FIELDS}
            dataset[f"{name}_median"][some] = told["median"]
            for field, (_, parts) in _PARTS.items():
                dataset[f"{name}_{field}"][some] = np.stack([told[f] for f in parts], axis=-1)
            for field in _COUNTS:
                dataset[field][some, at] = told[field]
        for name in WEEKLY_COLUMNS:
            _, mean_days, *_ = weekly_in(batch, name)
            dataset[f"{name}_mean"][some] = mean_days[own]


def _finite(values: npt.NDArray[Any]) -> FloatArray:
    """NaN where a date does not come in half of the seasons."""
    return np.where(np.isfinite(values), values, np.nan).astype(np.float64)
