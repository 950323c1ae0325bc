"""The seasons as NetCDF-4 with CF-1.10 names: a discrete-sampling geometry of stations."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from windowcast.core.atomic_files import atomic_path
from windowcast.core.record import FloatArray
from windowcast.core.version import __version__
from windowcast.region.columns import DATE_COLUMNS, QUANTITIES, units_of
from windowcast.region.compare import Compared, batches, season_values
from windowcast.region.tables import numbers

_PLACE = (
    ("lat", "latitude", "degrees_north", "latitude"),
    ("lon", "longitude", "degrees_east", "longitude"),
    ("alt", "elevation", "m", "surface_altitude"),
)


def write_netcdf(path: Path, data: Compared) -> Path:
    """Every quantity by station and season, written some rows at a time.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    import netCDF4

    with atomic_path(path) as temporary:
        try:
            with netCDF4.Dataset(temporary, "w") as dataset:
                _describe(dataset, data)
                _fill(dataset, data)
        except RuntimeError as error:  # what the library raises when the disk is full
            raise OSError(str(error)) from None
    return path


def _describe(dataset: Any, data: Compared) -> None:
    """Dimensions, stations, seasons, and a variable for each quantity."""
    dataset.Conventions = "CF-1.10"
    dataset.title = "Turf and weed season dates by station and season"
    dataset.source = f"windowcast {__version__}"
    dataset.comment = "A season begins on 1 July, south of the equator on 1 January."
    dataset.createDimension("station", len(data))
    dataset.createDimension("season", len(data.seasons))
    ids = dataset.createVariable("station_id", str, ("station",))
    ids.cf_role = "timeseries_id"
    ids[:] = np.array(data.stations["station"].to_pylist(), dtype=object)
    for name, column, units, standard in _PLACE:
        place = _variable(dataset, name, ("station",), units)
        place.standard_name = standard
        place[:] = numbers(data.stations, column)
    years = dataset.createVariable("season", "i4", ("season",))
    years.long_name = "first calendar year of the season"
    years[:] = data.seasons
    for name, words in QUANTITIES.items():
        made = _variable(dataset, name, ("station", "season"), units_of(name))
        made.coordinates = "lat lon alt station_id"
        since = ", days since the first day of the season" if name in DATE_COLUMNS else ""
        made.long_name = words + since


def _variable(dataset: Any, name: str, dimensions: tuple[str, ...], units: str) -> Any:
    made = dataset.createVariable(name, "f8", dimensions, fill_value=np.nan)
    made.units = units
    made.set_auto_mask(False)
    return made


def _fill(dataset: Any, data: Compared) -> None:
    """Write each batch of rows to its stations; a station may continue in the next batch."""
    import pyarrow.compute as pc

    columns = ["station", "season", "latitude", "complete", *QUANTITIES]
    for batch in batches(data.season_file, columns):
        known = batch.filter(batch["season"].is_valid())
        if not len(known):
            continue
        row = pc.index_in(known["station"], value_set=data.stations["station"]).to_numpy()
        season = numbers(known, "season").astype(np.int64) - data.seasons[0]
        rows = slice(int(row.min()), int(row.max()) + 1)
        for name, values in season_values(known).items():
            block: FloatArray = dataset[name][rows]
            block[row - rows.start, season] = values
            dataset[name][rows] = block
