"""A station's ground as its weather made it: state, soil, weeds and leaf, with nothing foretold.

Worked out once for a whole record. Where a probe measured the soil it counts; elsewhere the models
do, and what they may be off by is drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from zlib import crc32

import numpy as np

from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.season_calendar import on_date
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.actives import Actives
from windowcast.physics.soil_error import SoilError
from windowcast.season.clocks import Clocks, ClockSpeed, Drivers, clocks
from windowcast.season.errors import even_scores, soil_doubt, soil_error_at
from windowcast.season.leaf import (
    SOIL_DAYS,
    Care,
    Run,
    Seen,
    driver_of,
    leaf_in,
    threshold_sd_c,
    worlds,
)
from windowcast.season.model import SiteState, days_of
from windowcast.season.runs import BoolArray
from windowcast.season.soil_days import measured
from windowcast.season.state import build, drivers_of
from windowcast.season.weeds import Weed, weed
from windowcast.verify.as_known import as_known
from windowcast.verify.dates_came import SOIL_IS_KNOWN, probed
from windowcast.verify.growing_soil import GrowingSoil
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked
from windowcast.windows.season_axis import BEYOND_DAYS, SEASON_DAYS

LEAD_DAYS = 60  # before a season, in which the clocks of its weeds may begin
PROBED = 0.9  # share of a season's days on which a probe must tell the soil for it to count
_DRIVES = ("air_c", "soil_c", "water", "rain_7d_mm", "usual_water", "usual_rain_7d_mm")
NO_SOIL_ERROR = SoilError(0.0, 0.0, 1.0, 0.0)


@dataclass(frozen=True)
class ModelsRun:
    """The models run on the weather that came, over a whole record.

    Attributes
    ----------
    error
        What the soil of days without a probe may be off by.
    leaf
        Whether live leaf was there, in each world of the turf's thresholds, ``[world, day]``.
    """

    state: SiteState
    drivers: Drivers
    error: SoilError
    leaf: BoolArray


@dataclass(frozen=True)
class DrawnSeason:
    """One season of it, and the two months after, drawn as often as what is not known leaves open.

    Attributes
    ----------
    dates
        From 1 July on, ``[day]``.
    state
        State by the weather that came, ``[day]``.
    leaf
        ``[world, day]``.
    soil_c
        At 5 cm, ``[draw, day]``.
    emerging
        EPPO code → share of the weed's season that emerges on each day, ``[draw, day]``; it adds up
        to 1. NaN where its curve does not hold at the place.
    leaf_time
        EPPO code → what its leaves unfold by, at the end of each day, ``[day]`` [°C d].
    """

    dates: DateArray
    state: SiteState
    leaf: BoolArray
    soil_c: FloatArray
    emerging: Mapping[str, FloatArray]
    leaf_time: Mapping[str, FloatArray]


@dataclass(frozen=True)
class AsItCame:
    """A station's whole record, with the soil by its probes where it has them.

    Attributes
    ----------
    record
        Daily, gaps filled.
    site
        The ground; watering changes the soil and the weeds.
    materials
        What may go out.
    """

    record: Record
    site: Site
    materials: Actives
    tables: Tables = PACKAGED
    _soil: GrowingSoil = field(default_factory=GrowingSoil)

    @classmethod
    def of(
        cls, record: Record, site: Site, materials: Actives, *, tables: Tables = PACKAGED
    ) -> AsItCame:
        """Of a record as the station measured it, probes included."""
        return cls(probed(record, filled(checked(as_known(record)))), site, materials, tables)

    @cached_property
    def _with_probes(self) -> ModelsRun:
        return self._run(self.tables.varied(SOIL_IS_KNOWN), NO_SOIL_ERROR)

    @cached_property
    def _by_model(self) -> ModelsRun:
        return self._run(self.tables, soil_error_at(self.record, 0, self.tables["soil"]))

    def _run(self, tables: Tables, error: SoilError) -> ModelsRun:
        state, _ = build(self.record, self.site, tables=tables, soil_model=self._soil)
        drivers, soil = drivers_of(self.record, self.site, tables=tables, soil_model=self._soil)
        air_c, tmin_c = drivers.air_c, self.record.get("tmin_c")
        return ModelsRun(state, drivers, error, self._leaf(soil.temp_10cm_c, tmin_c, air_c, error))

    def _leaf(
        self, soil_10cm_c: FloatArray, tmin_c: FloatArray, air_c: FloatArray, error: SoilError
    ) -> BoolArray:
        """Live leaf in each world; of a grass without published thresholds it is always there."""
        turf, species = self.tables["turf"], str(self.site.turf.species)
        if species not in turf.table("species"):
            return np.ones((1, len(air_c)), dtype=bool)
        own = self.site.turf
        care = Care(own.mowing_height_mm, own.shade, own.covered)
        every = worlds(species, care, "first", self.tables)
        driver = driver_of(soil_10cm_c, tmin_c, air_c, table=turf.table("leaf"))
        nobody = np.full(air_c.shape, np.nan)
        seen = Seen(nobody, np.full(air_c.shape, -np.inf), np.full(air_c.shape, -np.inf))
        spread = threshold_sd_c(error.mean_sd_c(SOIL_DAYS), turf)
        leaves = leaf_in(driver, Run(every, spread), seen, iter([None] * len(every)))
        return np.stack([leaf.possible for leaf in leaves])

    def seed(self, season: int) -> list[int]:
        """What a season's draws are seeded with: place and season."""
        return [crc32(self.record.place.name.encode()), season]

    def season(self, season: int, draws: int) -> DrawnSeason:
        """The season that begins on 1 July of a year.

        Raises
        ------
        ValueError
            The record does not reach over it.
        """
        dates = self.record.times.astype("datetime64[D]")
        first = int((np.datetime64(f"{season}-07-01", "D") - dates[0]).astype(np.int64))
        if first < LEAD_DAYS or first + SEASON_DAYS > len(dates):
            raise ValueError(f"the record does not reach over the season of {season}")
        part = slice(first, min(first + SEASON_DAYS + BEYOND_DAYS, len(dates)))
        wide = slice(first - LEAD_DAYS, part.stop)
        told = measured(self.record, "soil_5cm_c")
        came = self._with_probes if told[part].mean() >= PROBED else self._by_model
        rng = np.random.default_rng(self.seed(season))
        off = soil_doubt(rng, draws, dates[wide][0], dates[wide][-1], came.error).error_c
        off = np.where(told[wide], 0.0, off)
        drivers = _with_error(came.drivers, wide, off)
        emerging, leaf_time = {}, {}
        for code, middle in came.state.emergence.items():
            entry, scores = weed(code, self.tables), even_scores(rng, draws)
            totals = clocks(entry, drivers)
            shares = _emerging(entry, totals, drivers, scores)
            known = not np.isnan(middle.share[part]).all()
            emerging[code] = shares if known else np.full_like(shares, np.nan)
            leaf_time[code] = np.atleast_2d(totals.leaf_time)[0, LEAD_DAYS:]
        return DrawnSeason(
            dates[part],
            days_of(came.state, part),
            came.leaf[:, part],
            came.state.soil_5cm_c[part] + off[:, LEAD_DAYS:],
            emerging,
            leaf_time,
        )


def _with_error(drivers: Drivers, part: slice, off_c: FloatArray) -> Drivers:
    """Some days of what drives weeds, with a soil that is off, ``[draw, day]``."""
    cut = {name: values[part] for name in _DRIVES if (values := getattr(drivers, name)) is not None}
    return replace(drivers, dates=drivers.dates[part], **{**cut, "soil_c": cut["soil_c"] + off_c})


def _emerging(entry: Weed, totals: Clocks, drivers: Drivers, scores: FloatArray) -> FloatArray:
    """Share of a weed's season that emerges on each day from 1 July on, ``[draw, day]``."""
    shift = ClockSpeed.prior(entry.spread_at(drivers.latitude_deg)).at(scores[:, None])
    share = np.broadcast_to(entry.share(totals.mid, shift), (len(scores), len(drivers.dates)))
    begin, end = _own_season(entry, drivers)
    found = np.zeros((len(scores), len(drivers.dates) - LEAD_DAYS))
    up = share[:, LEAD_DAYS + begin : LEAD_DAYS + end]
    found[:, begin:end] = np.maximum(np.diff(up, axis=-1, prepend=0.0), 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        result: FloatArray = found / found.sum(axis=-1, keepdims=True)
    return result


def _own_season(entry: Weed, drivers: Drivers) -> tuple[int, int]:
    """First day of a weed's season, and the day after its last, from 1 July on.

    That of a fall weed may have begun in the weeks before; a spring weed's begins in winter.
    """
    days = len(drivers.dates) - LEAD_DAYS
    starts = np.flatnonzero(on_date(drivers.dates, entry.biofix, drivers.southern)) - LEAD_DAYS
    half = SEASON_DAYS // 2
    fall = entry.season == "fall"
    own = starts[starts < half] if fall else starts[starts >= half]
    begin = max(int(own[0]), 0) if len(own) else 0
    later = starts[starts > max(begin, half if fall else begin)]
    return begin, int(later[0]) if len(later) else days
