"""Other ways to the same yearly figures: degree days, frost days and the first cool day.

What a competent user of each library would write, laid out as it likes its data before anything is
timed. Each gives three arrays ``[station, year]``: sums of degree days, frost days, and days from
the year's start to the first cool one (NaN without). `bench_region.py` times them; Polars is left
out where it is not installed (``pip install polars``).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

import numpy as np

Figures = list[np.ndarray]
Way = Callable[[], Figures]


def ways(dates: np.ndarray, tas: np.ndarray, tmin: np.ndarray, base_c: float, frost_c: float) -> (
    dict[str, Way]
):  # fmt: skip
    """Each way by its name, ready to be timed.

    Parameters
    ----------
    dates
        ``[day]``, whole calendar years.
    tas, tmin
        Mean and lowest temperature [°C], ``[station, day]``.
    """
    given = dates, tas, tmin, base_c, frost_c
    found = {
        "xclim 0.5x indices on xarray": with_xclim(*given, chunks=0),
        "xclim on Dask, two threads": with_xclim(*given, chunks=2),
        "pandas group-by of station and year": with_pandas(*given, whole=False),
        "pandas, one sorted integer key, one pass": with_pandas(*given, whole=True),
        "plain NumPy, reduceat over years": with_numpy(*given),
        "a plain compiled loop (Numba), one thread": with_loop(*given),
    }
    if find_spec("polars"):
        found["Polars group-by, all threads"] = with_polars(*given)
    return found


def with_numpy(
    dates: np.ndarray, tas: np.ndarray, tmin: np.ndarray, base_c: float, frost_c: float
) -> Way:
    starts = year_starts(dates)
    number = np.arange(len(dates), dtype=np.float64)

    def run() -> Figures:
        sums = np.add.reduceat(np.maximum(tas - base_c, 0.0), starts, axis=1)
        frost = np.add.reduceat(tmin < frost_c, starts, axis=1, dtype=np.int64)
        first = np.minimum.reduceat(np.where(tas < base_c, number, np.inf), starts, axis=1)
        return [sums, frost, np.where(np.isinf(first), np.nan, first - starts)]

    return run


def with_loop(
    dates: np.ndarray, tas: np.ndarray, tmin: np.ndarray, base_c: float, frost_c: float
) -> Way:
    from numba import njit

    edges = np.append(year_starts(dates), len(dates))

    @njit
    def loop(tas, tmin, edges, base_c, frost_c):  # type: ignore[no-untyped-def]
        shape = tas.shape[0], len(edges) - 1
        sums, frost, first = np.zeros(shape), np.zeros(shape), np.full(shape, np.nan)
        for s in range(shape[0]):
            for y in range(shape[1]):
                for t in range(edges[y], edges[y + 1]):
                    if tas[s, t] > base_c:
                        sums[s, y] += tas[s, t] - base_c
                    if tmin[s, t] < frost_c:
                        frost[s, y] += 1
                    if tas[s, t] < base_c and np.isnan(first[s, y]):
                        first[s, y] = t - edges[y]
        return [sums, frost, first]

    return lambda: loop(tas, tmin, edges, base_c, frost_c)


def with_pandas(
    dates: np.ndarray,
    tas: np.ndarray,
    tmin: np.ndarray,
    base_c: float,
    frost_c: float,
    *,
    whole: bool,
) -> Way:
    """Group by two columns, a figure at a time; or `whole`: by one sorted key, all at once."""
    import pandas as pd

    stations = len(tas)
    year = dates.astype("datetime64[Y]").astype(int) - int(str(dates[0])[:4]) + 1970
    day = (dates - dates.astype("datetime64[Y]")).astype(int)
    frame = pd.DataFrame(
        {
            "station": np.repeat(np.arange(stations), len(dates)),
            "year": np.tile(year, stations),
            "day": np.tile(day, stations),
            "tas": tas.ravel(),
            "tmin": tmin.ravel(),
        }
    )
    key = (frame["station"] * (int(year.max()) + 1) + frame["year"]).to_numpy()

    def run() -> Figures:
        above = (frame["tas"] - base_c).clip(lower=0)
        cold, cool = frame["tmin"] < frost_c, frame["day"].where(frame["tas"] < base_c)
        if whole:
            made = pd.DataFrame({"sums": above, "frost": cold, "first": cool})
            done = made.groupby(key, sort=False)
            found = done["sums"].sum(), done["frost"].sum(), done["first"].min()
        else:
            keys = [frame["station"], frame["year"]]
            found = (
                above.groupby(keys).sum(),
                cold.groupby(keys).sum(),
                cool.groupby(keys).min(),
            )
        return [s.to_numpy(float).reshape(stations, -1) for s in found]

    return run


def with_polars(
    dates: np.ndarray, tas: np.ndarray, tmin: np.ndarray, base_c: float, frost_c: float
) -> Way:
    import polars as pl

    stations = len(tas)
    year = dates.astype("datetime64[Y]").astype(np.int32)
    frame = pl.DataFrame(
        {
            "station": np.repeat(np.arange(stations, dtype=np.int32), len(dates)),
            "year": np.tile(year, stations),
            "day": np.tile((dates - dates.astype("datetime64[Y]")).astype(np.int16), stations),
            "tas": tas.ravel(),
            "tmin": tmin.ravel(),
        }
    )
    tas_, tmin_, day = pl.col("tas"), pl.col("tmin"), pl.col("day")

    def run() -> Figures:
        found = (
            frame.lazy()
            .group_by("station", "year")
            .agg(
                sums=(tas_ - base_c).clip(lower_bound=0).sum(),
                frost=(tmin_ < frost_c).sum(),
                first=day.filter(tas_ < base_c).min(),
            )
            .sort("station", "year")
            .collect()
        )
        columns = (found[name].cast(pl.Float64).to_numpy() for name in ("sums", "frost", "first"))
        return [column.reshape(stations, -1) for column in columns]

    return run


def with_xclim(
    dates: np.ndarray,
    tas: np.ndarray,
    tmin: np.ndarray,
    base_c: float,
    frost_c: float,
    *,
    chunks: int,
) -> Way:
    """On arrays in memory, or in so many chunks of stations on Dask's threads."""
    import dask
    import xarray as xr
    import xclim.indices as xci

    warnings.simplefilter("ignore")

    def array(values: np.ndarray) -> Any:
        made = xr.DataArray(
            values,
            dims=("station", "time"),
            coords={"time": dates.astype("datetime64[ns]")},
            attrs={"units": "degC"},
        )
        return made.chunk(station=-(-len(values) // chunks), time=-1) if chunks else made

    x_tas, x_tmin = array(tas), array(tmin)

    def run() -> Figures:
        found = (
            xci.growing_degree_days(x_tas, thresh=f"{base_c} degC", freq="YS"),
            xci.frost_days(x_tmin, thresh=f"{frost_c} degC", freq="YS"),
            xci.first_day_temperature_below(
                x_tas, thresh=f"{base_c} degC", after_date="01-01", window=1, freq="YS"
            ),
        )
        if chunks:
            found = dask.compute(*found, scheduler="threads", num_workers=chunks)
        sums, frost, first = (each.transpose("station", "time").values for each in found)
        return [sums, frost, first - 1]

    return run


def year_starts(dates: np.ndarray) -> np.ndarray:
    """Index of the first day of each year, ``[year]``."""
    years = dates.astype("datetime64[Y]")
    return np.flatnonzero(np.append(True, years[1:] != years[:-1]))
