"""Weather from a pandas DataFrame, with columns named as in a weather file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray, Place, Provenance, Record
from windowcast.core.time_axis import record_of
from windowcast.sources.columns import FileUnits, read_columns
from windowcast.sources.csv_rows import check_order
from windowcast.sources.files import FRAME, refuse_implausible

if TYPE_CHECKING:
    import pandas as pd


def record_of_frame(frame: pd.DataFrame, place: Place, *, units: FileUnits | None = None) -> Record:
    """The record of a frame whose index holds dates (daily) or times with a zone (hourly).

    Parameters
    ----------
    frame
        Columns are named as in ``docs/weather_csv.md`` (``tmax_c``, ``precip_in`` …); others are
        left out. The index is a `DatetimeIndex` in order.
    place
        Where the weather is from.
    units
        Unit system of columns whose name says none.

    Raises
    ------
    InputError
        The index has no dates, hours lack a time zone, a time is there twice or out of order, or a
        column cannot be read without a guess.
    """
    times, daily = _times(frame)
    check_order(times, range(1, len(times) + 1), FRAME, "index")
    columns, _ = read_columns([str(c) for c in frame.columns], daily=daily, units=units, path=FRAME)
    values = {}
    for column in columns:
        try:
            cells = frame.iloc[:, column.index].to_numpy(dtype=np.float64, na_value=np.nan)
        except (TypeError, ValueError):
            raise InputError(
                "holds something that is no number", path=FRAME, field=column.header,
                remedy="convert it with pandas.to_numeric",
            ) from None  # fmt: skip
        values[column.variable] = column.convert(cells)
    origin = Provenance("file", FRAME, tuple(values), str(times[0]), str(times[-1]))
    record = record_of(place, times, values, provenance=(origin,))
    refuse_implausible(record, FRAME)
    return record


def _times(frame: pd.DataFrame) -> tuple[DateArray, bool]:
    """Local dates or UTC hours from the index, and whether they are dates."""
    import pandas as pd

    index = frame.index
    if not isinstance(index, pd.DatetimeIndex) or not len(index) or index.hasnans:
        raise InputError(
            "its index is not one of dates", path=FRAME, remedy="set_index(pandas.to_datetime(...))"
        )
    local = index.tz_localize(None)
    if bool((local == local.normalize()).all()):
        return local.to_numpy().astype("datetime64[D]"), True
    if index.tz is None:
        raise InputError(
            "its hours have no time zone", path=FRAME, field="index",
            remedy="name it with frame.tz_localize(...)",
        )  # fmt: skip
    utc = index.tz_convert("UTC").tz_localize(None)
    if not bool((utc == utc.floor("h")).all()):
        raise InputError(
            "holds times that are not on a full hour", path=FRAME, field="index",
            remedy="resample it to hours",
        )  # fmt: skip
    return utc.to_numpy().astype("datetime64[h]"), False
