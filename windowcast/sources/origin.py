"""Where fetched values came from, and what height a source can mean."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.record import Provenance
from windowcast.sources.fetch import Fetched


def fetched_origin(
    answers: Sequence[Fetched],
    source: str,
    detail: str,
    variables: Iterable[str],
    times: npt.NDArray[np.datetime64],
    *,
    licence: str,
    elevation_m: float | None = None,
    distance_km: float | None = None,
    issued: dt.datetime | None = None,
) -> Provenance:
    """The provenance of values read from answers.

    Parameters
    ----------
    answers
        At least one; the last says when they were fetched, any may be stale.
    times
        Of the values, in order.
    issued
        Of a forecast, aware, UTC: `detail` then says it, and the answer's digest is kept.
    """
    last = answers[-1]
    return Provenance(
        source,
        detail if issued is None else f"{detail}, issued {issued:%Y-%m-%d %H:%M} UTC",
        tuple(variables),
        str(times[0]),
        str(times[-1]),
        dt.datetime.fromtimestamp(last.fetched_at, dt.UTC),
        distance_km=distance_km,
        elevation_m=elevation_m,
        licence=licence,
        stale=any(answer.stale for answer in answers),
        issued=issued,
        digest="" if issued is None else last.digest,
    )


def possible_height_m(height_m: float) -> float | None:
    """A height a place on Earth can have [m]; None for any other, NaN too."""
    return height_m if -500 <= height_m <= 9000 else None
