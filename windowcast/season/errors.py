"""What the models of soil and weeds may be wrong by: how much at a place, drawn for each future.

Weather is not all that is unknown of the days ahead. The soil model errs at a site, and a weed's
clock runs faster or slower than published. Each future therefore has a soil error and a clock of
its own, over the season so far as much as ahead, so that dates, shares and odds hold both. The turf
counts the same soil error in possible worlds instead (`windowcast.season.leaf`). The forecast as
issued, the first row, has no error. Draws are seeded with place and season: the same future errs
alike from one day to the next.

The soil's error has a bias that lasts, a slow part that fades within weeks, and a part that is new
every day (`windowcast.physics.soil_error`). Probe readings lessen the bias; rain that is not known
adds to the slow part. `soil_error_at` is the one source of its size.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.lingering import lingering
from windowcast.core.record import DateArray, FloatArray, Place, Provenance, Record
from windowcast.core.season_calendar import season_start
from windowcast.core.values import Table
from windowcast.core.weed_codes import known
from windowcast.physics.soil_error import SoilError, mild_and_humid, soil_error
from windowcast.season.clocks import ClockSpeed, Drivers
from windowcast.season.emergence import WeedCarry, emerge_in_futures
from windowcast.season.model import Emergence, SoFar, Substitute
from windowcast.season.unknown_rain import rain_or_usual
from windowcast.season.weeds import Weed

YEAR_DAYS = 365.25
TEMPERATURES = frozenset({"tmax_c", "temp_c"})
BACK_DAYS = 366  # before the season begins, for weeds whose year began before it


def soil_error_at(
    record: Record, readings: int, values: Table, substitutes: Sequence[Substitute] = ()
) -> SoilError:
    """How far the soil model may be off at the place of a record, at its end.

    Parameters
    ----------
    record
        Daily values up to yesterday, ``[time]``.
    readings
        Probe readings that corrected the model.
    values
        As in ``data/soil.toml``.
    substitutes
        What stands in for unknown inputs up to the end of the record; the slow part of the error
        carries what they cost.
    """
    sources = _measured(record)
    return soil_error(
        readings,
        humid=_humid(record, values),
        unknown_rain_sd_c=math.hypot(*(found.soil_sd_c for found in substitutes)),
        distance_km=_distance_km(sources),
        known_height=all(
            _on_site(p.distance_km, values) or _knows_height(p, record.place) for p in sources
        ),
        values=values,
    )


def _measured(record: Record) -> list[Provenance]:
    """Where the air temperature up to the end of a record was measured, as far as it says."""
    end = str(record.times[-1])
    return [
        p
        for p in record.provenance
        if p.first[:10] <= end and (not p.variables or not TEMPERATURES.isdisjoint(p.variables))
    ]


def _distance_km(sources: Sequence[Provenance]) -> float | None:
    """How far away that was; None where one does not tell.

    Of several sources the nearest counts: it has the most weight. A record that names no source is
    of its own place.
    """
    away = [p.distance_km for p in sources]
    known = [one for one in away if one is not None]
    return min(known, default=0.0) if len(known) == len(away) else None


def _on_site(distance_km: float | None, values: Table) -> bool:
    return distance_km is not None and distance_km <= values.number("error.on_site")


def _knows_height(source: Provenance, place: Place) -> bool:
    return source.elevation_m is not None and place.elevation_m is not None


def _humid(record: Record, values: Table) -> bool | None:
    """Whether the climate is mild and humid; None where the record does not tell."""
    rain, air = rain_or_usual(record), (record.get("tmax_c") + record.get("tmin_c")) / 2.0
    month = record.times.astype("datetime64[M]").astype(np.int64) % 12
    days = np.bincount(month[np.isfinite(air)], minlength=12)
    if not days.all() or not np.isfinite(rain).any():
        return None
    known = np.isfinite(air)
    means = np.bincount(month[known], air[known], minlength=12) / days
    return mild_and_humid(float(np.nanmean(rain)) * YEAR_DAYS, float(means.min()), values)


class SoilDoubt(NamedTuple):
    """Errors of the soil model near the surface, ``[draw, day]`` [K] from a first day on."""

    first: np.datetime64
    error_c: FloatArray

    def at(self, dates: DateArray) -> FloatArray:
        """The errors on some of the days drawn, in a row, ``[draw, day]`` [K]."""
        begin = int((dates[0] - self.first).astype(np.int64))
        return self.error_c[:, begin : begin + len(dates)]


def soil_doubt(
    rng: np.random.Generator, count: int, first: np.datetime64, last: np.datetime64, size: SoilError
) -> SoilDoubt:
    """Draw errors of the soil model.

    Parameters
    ----------
    count
        Draws; their biases are spread evenly over the distribution.
    first, last
        Days for which errors are wanted. A draw is the same on its first days however many follow.
    size
        Standard deviations of the parts.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.soil_error import SoilError
    >>> from windowcast.season.errors import soil_doubt
    >>> days = np.arange("2024-03-01", "2024-04-30", dtype="datetime64[D]")
    >>> rng = np.random.default_rng(0)
    >>> drawn = soil_doubt(rng, 500, days[0], days[-1], SoilError(0.9, 0.8, 20.0, 0.0))
    >>> round(float(drawn.at(days).std()), 1)
    1.2
    """
    days = int((last - first).astype(np.int64)) + 1
    bias = size.bias_sd_c * even_scores(rng, count)
    slow, fast = rng.standard_normal((days, 2, count)).transpose(1, 0, 2)
    slow = lingering(slow.T, np.exp(-1.0 / size.slow_days))
    error = bias[:, None] + size.slow_sd_c * slow + size.fast_sd_c * fast.T
    return SoilDoubt(first, np.ascontiguousarray(error))


def even_scores(rng: np.random.Generator, count: int) -> FloatArray:
    """Standard normal scores spread evenly over the distribution, in random order, ``[draw]``."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((n + 0.5) / count) for n in range(count)])
    return scores[rng.permutation(count)]


@dataclass(frozen=True)
class ModelErrors:
    """Errors of the models, one for each future.

    Attributes
    ----------
    soil
        Of the soil model, for the futures alone.
    clocks
        EPPO code → place of each future in the distribution of the clock's speed, as a standard
        normal score, ``[future]``.
    air
        Of the mean air temperature that weeds' clocks run on, ``[future]`` [K]; None where it was
        measured at the place.
    """

    soil: SoilDoubt
    clocks: Mapping[str, FloatArray]
    air: FloatArray | None = None

    def soil_c(self, dates: DateArray) -> FloatArray:
        """What to add to the soil on days in a row, ``[1 + future, day]`` [K]."""
        return np.concatenate([np.zeros((1, len(dates))), self.soil.at(dates)])

    def clock(self, code: str) -> FloatArray:
        """Score of the clock of a weed, ``[1 + future]``."""
        return np.append(0.0, self.clocks[code])

    def with_error(self, air_c: FloatArray) -> FloatArray:
        """Mean air of some days as the futures have it, ``[1 + future, day]`` [°C]."""
        return air_c if self.air is None else air_c + np.append(0.0, self.air)[:, None]


def model_errors(
    place: Place, codes: Iterable[str], dates: DateArray, count: int, soil: SoilError
) -> ModelErrors:
    """Draw the errors of the models for some futures.

    Parameters
    ----------
    codes
        EPPO codes of the weeds.
    dates
        Days ahead, ``[day]``; errors of the season's days before them are drawn too.
    count
        Futures, without the forecast as issued.
    soil
        Sizes of the soil model's error there (`soil_error_at`), and of the air's.
    """
    today = dates[0].astype("datetime64[D]").astype(object)
    begins = np.datetime64(season_start(today, southern=place.southern), "D")
    seed = [
        round((place.latitude_deg + 90) * 1e4),
        round((place.longitude_deg + 180) * 1e4),
        int(begins.astype(np.int64)) & 0xFFFFFFFF,
    ]
    doubt = soil_doubt(
        np.random.default_rng(seed),
        count,
        begins - np.timedelta64(BACK_DAYS, "D"),
        dates[-1].astype("datetime64[D]"),
        soil,
    )
    clocks = {  # weeds on one general clock err alike
        code: even_scores(np.random.default_rng([*seed, *known()[code].clock.encode()]), count)
        for code in codes
    }
    air = None
    if soil.air_sd_c > 0:
        air = soil.air_sd_c * even_scores(np.random.default_rng([*seed, *b"air"]), count)
    return ModelErrors(doubt, clocks, air)


class LastDays(NamedTuple):
    """What the last days of a run were like, up to a year, ``[day]``; for errors drawn in them."""

    drivers: Drivers
    soil_5cm_c: FloatArray
    soil_10cm_c: FloatArray
    measured: npt.NDArray[np.bool_]  # soil by a probe: no error of the model


class Erring(NamedTuple):
    """Days before and ahead as the futures have them, each with its own error of the models."""

    errors: ModelErrors
    last: LastDays
    drivers: Drivers
    before_c: FloatArray  # added to the soil, [1 + future, day]
    ahead_c: FloatArray

    @classmethod
    def of(cls, errors: ModelErrors, last: LastDays, drivers: Drivers) -> Erring:
        """Of the last days of the record and the drivers ahead, ``[1 + future, day]``."""
        before = errors.soil_c(last.drivers.dates)
        ahead = errors.soil_c(drivers.dates)
        return cls(errors, last, drivers, np.where(last.measured, 0.0, before), ahead)

    def emerge(
        self, entry: Weed, carry: WeedCarry, timings: Mapping[int, ClockSpeed]
    ) -> tuple[Emergence, Emergence, FloatArray]:
        """A weed's emergence so far and ahead; see `emerge_in_futures`."""
        before = self.last.drivers
        return emerge_in_futures(
            entry,
            self._with(before, self.before_c),
            self._with(self.drivers, self.ahead_c),
            carry,
            scores=self.errors.clock(entry.code),
            timings=timings,
        )

    def _with(self, drivers: Drivers, soil_error_c: FloatArray) -> Drivers:
        """What drives a weed, with the errors of each future."""
        soil_c, air_c = drivers.soil_c + soil_error_c, self.errors.with_error(drivers.air_c)
        return replace(drivers, soil_c=soil_c, air_c=air_c)

    def so_far(self, emergence: Mapping[str, Emergence]) -> SoFar:
        """The days before as the futures have them."""
        last, error = self.last, self.before_c
        return SoFar(last.soil_5cm_c + error, last.soil_10cm_c + error, emergence)
