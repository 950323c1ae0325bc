"""Soil below a site day by day: the model driven by the record, a probe where there is one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray, Grade, Record
from windowcast.core.site import Site
from windowcast.core.turf import Texture
from windowcast.core.values import PACKAGED, Tables
from windowcast.physics.soil import SiteCorrection, SoilForcing, SoilSite, SoilState
from windowcast.season.soil_kept import SoilModel
from windowcast.season.unknown_rain import rain_or_usual
from windowcast.weather.grid_filled import HUMIDITY

SEED_DEPTH_M = 0.025
DEPTHS_M = (SEED_DEPTH_M, 0.05, 0.10)


class Spans(NamedTuple):
    """Where the record of each row lies on a common axis of days.

    Rows that begin on different days are moved so that all begin on the first, and back again.

    Attributes
    ----------
    first, length
        Index of the first day and number of days, ``[row]``.
    days
        Length of the common axis.
    """

    first: npt.NDArray[np.int64]
    length: npt.NDArray[np.int64]
    days: int

    def own(self, values: FloatArray, after: float = np.nan) -> FloatArray:
        """Values ``[row, day]`` of the common axis, each row from its first day, then `after`."""
        out = np.full((len(values), int(self.length.max())), after)
        for row, (first, length) in enumerate(self._rows()):
            out[row, :length] = values[row, first : first + length]
        return out

    def common(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """The reverse of `own`: NaN, or False, outside a row's days."""
        empty = False if values.dtype == bool else np.nan
        out = np.full((len(values), self.days), empty, dtype=values.dtype)
        for row, (first, length) in enumerate(self._rows()):
            out[row, first : first + length] = values[row, :length]
        return out

    def _rows(self) -> list[tuple[int, int]]:
        return list(zip(self.first.tolist(), self.length.tolist(), strict=True))


@dataclass(frozen=True)
class SoilDays:
    """Soil over a run of days, ``[..., day]``, and the end state of the model.

    `seed_c` is the temperature at `SEED_DEPTH_M`.
    """

    state: SoilState
    seed_c: FloatArray
    temp_5cm_c: FloatArray
    temp_10cm_c: FloatArray
    moisture: FloatArray
    frozen: npt.NDArray[np.bool_]


def soil_forcing(
    record: Record,
    latitude_deg: npt.ArrayLike | None = None,
    longitude_deg: npt.ArrayLike | None = None,
) -> SoilForcing:
    """What drives the soil model, from a daily record; where it lies as in `drivers_of`.

    Where rain is unknown the usual rain counts, as the record has it (`weather.rain_filled`), or
    as the model makes it.
    """
    return SoilForcing(
        dates=record.times,
        tmax_c=record.get("tmax_c"),
        tmin_c=record.get("tmin_c"),
        precip_mm=rain_or_usual(record),
        latitude_deg=record.place.latitude_deg if latitude_deg is None else latitude_deg,
        solar_mj_m2=_optional(record, "solar_mj_m2"),
        rh_mean_pct=_humidity(record),
        snow_depth_mm=_optional(record, "snow_depth_mm"),
        longitude_deg=record.place.longitude_deg if latitude_deg is None else longitude_deg,
    )


def soil_site(
    site: Site, correction: SiteCorrection | None = None, tables: Tables = PACKAGED
) -> SoilSite:
    """What the soil model knows of a site."""
    return SoilSite(
        texture=None if site.soil.texture == Texture.UNKNOWN else str(site.soil.texture),
        irrigated=bool(site.turf.irrigated),
        correction=correction,
        values=tables["soil"],
    )


def modelled(
    forcing: SoilForcing,
    site: SoilSite,
    state: SoilState | None,
    spans: Spans | None,
    model: SoilModel,
    *,
    compiled: bool,
) -> SoilDays:
    """The soil model over a record; rows with days of their own run from their own first days."""
    if spans is not None:
        moved = {
            name: spans.own(values, 0.0 if name == "precip_mm" else np.nan)
            for name, values in forcing.by_day().items()
        }
        days = np.arange(int(spans.length.max()))
        forcing = replace(forcing, dates=forcing.dates[spans.first][:, None] + days, **moved)
    found = model(forcing, site, depths_m=DEPTHS_M, state=state, compiled=compiled)
    by_day = (*np.moveaxis(found.temp_c, -1, 0), found.moisture, found.frozen)
    if spans is not None:
        return SoilDays(found.state, *map(spans.common, by_day))
    # as a kept run comes back, so that later sums round alike
    return SoilDays(found.state, *map(np.ascontiguousarray, by_day))


def _optional(record: Record, name: str) -> FloatArray | None:
    return record.get(name) if name in record else None


def with_probes(record: Record, soil: SoilDays) -> SoilDays:
    """Measured soil temperature in place of the model's where it was observed.

    At seed depth the model is moved by what the 5 cm probe says of its error.
    """
    at_5cm, at_10cm = (
        np.where(measured(record, name), record.get(name), modelled_c)
        for name, modelled_c in (("soil_5cm_c", soil.temp_5cm_c), ("soil_10cm_c", soil.temp_10cm_c))
    )
    seed = soil.seed_c + np.nan_to_num(at_5cm - soil.temp_5cm_c)
    return replace(soil, seed_c=seed, temp_5cm_c=at_5cm, temp_10cm_c=at_10cm)


def measured(record: Record, name: str) -> npt.NDArray[np.bool_]:
    """Days on which a probe told the soil, ``[..., day]``."""
    return np.asarray(np.isfinite(record.get(name)) & (record.grade(name) == Grade.OBSERVED))


def _humidity(record: Record) -> FloatArray | None:
    """Mean humidity, that of a coarse grid where there is no other."""
    if HUMIDITY not in record:
        return _optional(record, "rh_mean_pct")
    own = record.get("rh_mean_pct")
    return np.where(np.isnan(own), record.get(HUMIDITY), own)
