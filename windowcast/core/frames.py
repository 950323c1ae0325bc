"""Arrays over time as pandas tables and xarray grids; both libraries are loaded only here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from windowcast.core.extras import require

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

Times = npt.NDArray[np.datetime64]
Columns = Mapping[str, npt.NDArray[Any]]


def table_of(times: Times, columns: Columns) -> pd.DataFrame:
    """A column for each array ``[time]``, indexed by ``date``, or by ``time`` in UTC for hours.

    Raises
    ------
    ValueError
        An array has members or places: see `grid_of`.
    """
    import pandas as pd

    if any(values.ndim > 1 for values in columns.values()):
        raise ValueError("values of several members or places are no table; use to_xarray()")
    index = pd.DatetimeIndex(times.astype("datetime64[s]"), name="date")
    if times.dtype != "datetime64[D]":
        index = index.tz_localize("UTC").rename("time")
    return pd.DataFrame(dict(columns), index=index)


def grid_of(
    times: Times,
    columns: Columns,
    about: Mapping[str, Mapping[str, str]],
    *,
    leading: str = "member",
) -> xr.Dataset:
    """A variable for each array, ``[time]`` or ``[leading, time]``.

    Parameters
    ----------
    about
        Attributes of each variable: its ``units`` and, if you like, its ``long_name``.
    leading
        What the first of two axes is called.

    Raises
    ------
    InputError
        xarray is not installed.
    ValueError
        An array has more than two axes.
    """
    require("to_xarray()", "xarray", "xarray")
    import xarray as xr

    if any(values.ndim > 2 for values in columns.values()):
        raise ValueError("values along more than one axis beside time are no grid")
    variables = {
        name: ((leading, "time")[2 - values.ndim :], values, about.get(name, {}))
        for name, values in columns.items()
    }
    return xr.Dataset(variables, {"time": times.astype("datetime64[ns]")})
