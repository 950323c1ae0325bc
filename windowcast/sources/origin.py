"""What every source says of what it fetched: where values came from, how old, at what height."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Name, Quantity, say
from windowcast.core.record import Flag, Provenance
from windowcast.core.source_flags import remark
from windowcast.core.values import load
from windowcast.sources.fetch import Fetched


def issue_problem(issued_s: float | None, now_s: float) -> str:
    """Why a forecast's time of issue keeps it from being used, as a clause; "" when it is fit.

    Parameters
    ----------
    issued_s, now_s
        POSIX seconds; `issued_s` None where the answer does not say.
    """
    if issued_s is None:
        return "its answer does not say when it was issued"
    age_s = now_s - issued_s
    values = load("sources").table("forecast")
    if age_s > values.number("issue_max"):
        return f"its forecast was issued {age_s / 3600:.0f} h ago, too old to use"
    if age_s < -values.number("issue_ahead_max"):
        return f"its forecast is not to be trusted: issued {-age_s / 3600:.0f} h from now"
    return ""


def issue_remarks(answer: Fetched) -> Iterator[Flag]:
    """That a saved forecast is used, that a clock is off, or that a service is being withdrawn."""
    if answer.stale:
        at = dt.datetime.fromtimestamp(answer.fetched_at, dt.UTC)
        problem = Name(str(answer.problem))
        text = say("flag.kept_forecast", at=Name(f"{at:%Y-%m-%d %H:%M}"), problem=problem)
        yield remark("stale-forecast", text)
    if abs(answer.skew_s) > load("sources").number("http.clock_skew_max"):
        text = say("flag.forecast_clock", skew=Quantity(answer.skew_s / 60, "min"))
        yield remark("clock-skew", text)
    if answer.deprecated:
        yield remark("forecast-service", say("flag.withdrawn"))


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


def other_place(found_deg: tuple[float, float], asked_deg: tuple[float, float]) -> str:
    """That an answer is for another place than was asked for, as a clause; "" when it is not.

    Both are latitude and longitude.
    """
    near = load("sources").number("forecast.asked_near")
    (north, east), (latitude, longitude) = found_deg, asked_deg
    turned = abs((east - longitude + 180) % 360 - 180)
    if abs(north - latitude) <= near and turned <= near:
        return ""
    return f"its answer is for another place ({north:.2f}, {east:.2f})"


def possible_height_m(height_m: float) -> float | None:
    """A height a place on Earth can have [m]; None for any other, NaN too."""
    return height_m if -500 <= height_m <= 9000 else None
