"""The season models on many stations at once: arrays ``[station, day]`` in, seasons out.

These are the functions a single site runs through (`windowcast.season`, `windowcast.windows`).
Stations share an axis of calendar days; a station's row is NaN outside its own record, and its
soil is run from its own first day, so that what it gives does not depend on the stations beside
it, to the bit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray, Grade, Record
from windowcast.core.season_calendar import on_date, season_slices, season_start
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.programme.workable_days import day_parts, workable
from windowcast.region.columns import (
    BARRIERS,
    DEPARTURE_COLUMNS,
    HAPPENED_COLUMNS,
    SPRAY_DAYS,
    WEEDS,
    WEEKS,
    WORKABLE_COLUMNS,
)
from windowcast.region.spray_days import spray_days
from windowcast.season.clocks import Drivers, middle_clocks, told_from
from windowcast.season.dates import key_dates
from windowcast.season.emergence import can_be_used
from windowcast.season.errors import soil_error_at
from windowcast.season.leaf import SOIL_DAYS
from windowcast.season.model import Emergence, SiteState
from windowcast.season.soil_days import SoilDays, Spans
from windowcast.season.state import drivers_of
from windowcast.season.turf import turf_state
from windowcast.season.unknown_rain import substitute_of
from windowcast.season.weeds import weed
from windowcast.season.yearly import frost, warmth
from windowcast.windows.barrier import best_day
from windowcast.windows.barrier_compiled import caught_on
from windowcast.windows.days import DayContext
from windowcast.windows.model import PURPOSES
from windowcast.windows.opening import judged_days
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import Laying, usual_material
from windowcast.windows.score import combine
from windowcast.windows.season_axis import BEYOND_DAYS, SEASON_DAYS

_ALWAYS = ("tmax_c", "tmin_c", "precip_mm")  # unknown where no station tells them
_SOME = 0.005  # of a season's seedlings: less reads as 0 %
SLICE = 64  # stations whose days are judged together: their arrays stay small


@dataclass(frozen=True)
class Stack:
    """Records of several stations of one hemisphere on one axis of days."""

    record: Record  # [station, day]
    latitude_deg: FloatArray  # [station]
    longitude_deg: FloatArray  # [station]
    spans: Spans
    soil_sd_c: FloatArray  # error of the modelled soil's week, [station]

    @property
    def recorded(self) -> npt.NDArray[np.bool_]:
        """Days from each station's first to its last, ``[station, day]``."""
        day, first = np.arange(self.spans.days), self.spans.first[:, None]
        return (day >= first) & (day < first + self.spans.length[:, None])

    def part(self, rows: slice) -> Stack:
        """Some of the stations."""
        values = {name: value[rows] for name, value in self.record.values.items()}
        first, length = self.spans.first[rows], self.spans.length[rows]
        return Stack(
            replace(self.record, values=values),
            self.latitude_deg[rows],
            self.longitude_deg[rows],
            Spans(first, length, self.spans.days),
            self.soil_sd_c[rows],
        )


@dataclass(frozen=True)
class Seasons:
    """What each season of each station gives, NaN where it is unknown.

    Attributes
    ----------
    first_years
        Calendar year in which each season begins, ``[season]``.
    complete
        Share of a year's days with temperature, ``[station, season]``.
    values
        Column → dates as days since 1970-01-01, shares, amounts, or whether a date came, 1 or 0,
        ``[station, season]``.
    weeks
        Column → days of each week of the season, ``[station, season, week]``.
    """

    first_years: npt.NDArray[np.int64]
    complete: FloatArray
    values: Mapping[str, FloatArray]
    weeks: Mapping[str, npt.NDArray[np.float32]]


def stacked(records: Sequence[Record], tables: Tables = PACKAGED) -> Stack:
    """Records of one hemisphere side by side, from the start of the earliest one's season.

    Probe readings that a gap fill made up are left out, as a single site leaves them out.
    """
    southern = records[0].place.southern
    earliest = min(record.times[0] for record in records).astype(object)
    begin = np.datetime64(season_start(earliest, southern=southern), "D")
    end = max(record.times[-1] for record in records)
    axis = np.arange(begin, end + np.timedelta64(1, "D"))
    told = {name for record in records for name in record.values if name in record}
    names = sorted(told.union(_ALWAYS))
    values = {name: np.full((len(records), len(axis)), np.nan) for name in names}
    first = np.array([(record.times[0] - begin).astype(np.int64) for record in records])
    length = np.array([len(record.times) for record in records])
    for row, record in enumerate(records):
        days = slice(int(first[row]), int(first[row] + length[row]))
        for name in names:
            own = record.get(name)
            if name.startswith("soil_"):
                own = np.where(record.grade(name) == Grade.OBSERVED, own, np.nan)
            values[name][row, days] = own
    grades = {name: np.full(len(axis), Grade.OBSERVED, np.uint8) for name in names}
    places = [record.place for record in records]
    latitude = np.array([place.latitude_deg for place in places])
    longitude = np.array([place.longitude_deg for place in places])
    record = Record(records[0].place, axis, values, grades)
    soil_sd_c = np.array([_soil_sd_c(record, tables) for record in records])
    return Stack(record, latitude, longitude, Spans(first, length, len(axis)), soil_sd_c)


def _soil_sd_c(record: Record, tables: Tables) -> float:
    """Error of the modelled soil's week at one station [K]."""
    rain = substitute_of(record, irrigated=False, tables=tables)
    substitutes = () if rain is None else (rain,)
    return soil_error_at(record, 0, tables["soil"], substitutes).mean_sd_c(SOIL_DAYS)


def seasons_of(stack: Stack, site: Site, tables: Tables = PACKAGED) -> Seasons:
    """Every season of every station, by the tables of science values."""
    drivers, soil = drivers_of(
        stack.record,
        site,
        latitude_deg=stack.latitude_deg,
        longitude_deg=stack.longitude_deg,
        spans=stack.spans,
        compiled=True,
        tables=tables,
    )
    parts = []
    for start in range(0, len(stack.latitude_deg), SLICE):
        rows = slice(start, start + SLICE)
        part = stack.part(rows)
        days = _rows_of(drivers, rows), _rows_of(soil, rows)
        state = station_states(part, *days, site, tables)
        parts.append(_judged(part, state, site, tables))
    return Seasons(
        parts[0].first_years,
        np.concatenate([p.complete for p in parts]),
        {k: np.concatenate([p.values[k] for p in parts]) for k in parts[0].values},
        {k: np.concatenate([p.weeks[k] for p in parts]) for k in parts[0].weeks},
    )


_Days = TypeVar("_Days", Drivers, SoilDays)
_BY_ROW = {
    "air_c", "soil_c", "water", "rain_7d_mm", "begins",
    "usual_water", "usual_rain_7d_mm", "seed_c", "temp_5cm_c", "temp_10cm_c", "moisture", "frozen",
}  # fmt: skip


def _rows_of(days: _Days, rows: slice) -> _Days:
    """Drivers or soil of some of the stations; the soil's end state is left as it is."""
    own: dict[str, Any] = {
        f.name: value[rows]
        for f in fields(days)
        if f.name in _BY_ROW and (value := getattr(days, f.name)) is not None
    }
    return replace(days, **own)


def station_states(
    stack: Stack, drivers: Drivers, soil: SoilDays, site: Site, tables: Tables
) -> SiteState:
    """State of the stations, ``[station, day]``: the central run, no bands or plant ages."""
    record, tmin = stack.record, stack.record.get("tmin_c")
    untold = np.broadcast_to(np.nan, tmin.shape)
    emergence = {}
    for code in WEEDS.values():
        entry = weed(code, tables)
        totals = middle_clocks(entry, drivers)
        share = np.where(told_from(entry, totals), entry.share(totals.mid, 0.0), np.nan)
        southern = record.place.southern
        holds = can_be_used(entry, share, record.times, southern=southern)
        share = np.where(holds[..., None], share, np.nan)
        emergence[code] = Emergence(
            code, entry.name, entry.season, share, untold, untold, untold, untold
        )
    turf, _ = turf_state(
        record.times,
        soil.temp_10cm_c,
        tmin,
        drivers.air_c,
        species=str(site.turf.species),
        soil_sd_c=stack.soil_sd_c,
        southern=record.place.southern,
        compiled=True,
        tables=tables,
    )
    return SiteState(
        record.times, soil.temp_5cm_c, soil.temp_10cm_c, soil.moisture, soil.frozen, {}, emergence,
        turf,
    )  # fmt: skip


def _judged(stack: Stack, state: SiteState, site: Site, tables: Tables) -> Seasons:
    record, southern = stack.record, stack.record.place.southern
    slices = season_slices(record.times, southern)
    dates = key_dates(state, southern=southern, tables=tables)
    values = {**dates.days, **_renamed(dates.happened)}
    for season in BARRIERS:
        day, cover = best_barriers(state, record.get("precip_mm"), season, site, tables)
        values[f"barrier_{season}"], values[f"cover_{season}"] = day, cover
        came = np.where(np.isfinite(day), 1.0, np.where(np.isfinite(cover), 0.0, np.nan))
        values[HAPPENED_COLUMNS[f"barrier_{season}"]] = came
    parts = [part for _, part in slices]
    values |= climate(record, parts, tables["region"])
    for name, measured in zip(DEPARTURE_COLUMNS, ("tmax_c", "tmin_c"), strict=True):
        values[name] = departures(record.get(measured), parts)
    values |= _renamed({"first_frost": np.minimum(values["frost_days"], 1.0)})
    known = np.isfinite(record.get("tmax_c") + record.get("tmin_c"))
    days = np.stack([known[:, part].sum(axis=1) for part in parts], axis=1)
    weeks: dict[str, npt.NDArray[np.float32]] = {}
    for name in PURPOSES:
        purpose = purpose_of(name, tables)
        graded = day_parts(record, purpose, purpose.generic, frozen=state.soil_frozen)
        can = workable(combine(graded.values()), purpose.rule)
        weeks[WORKABLE_COLUMNS[name]] = workable_weeks(can, parts)
        if name == "dormant":
            spray, counts = spray_days(
                record, state.turf, purpose, workable=can, parts=graded, seasons=parts,
                recorded=stack.recorded,
            )  # fmt: skip
            values |= counts
            weeks[SPRAY_DAYS] = workable_weeks(spray, parts)
    return Seasons(
        np.array([int(name[:4]) for name, _ in slices]),
        np.minimum(days / SEASON_DAYS, 1.0),
        values,
        weeks,
    )


def _renamed(happened: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    return {HAPPENED_COLUMNS[name]: value for name, value in happened.items()}


def climate(record: Record, parts: Sequence[slice], marks: Table) -> dict[str, FloatArray]:
    """Frost and degree days, ``[station, season]``; NaN unless every day is known.

    `marks` is ``data/region.toml``.
    """
    tmin = record.get("tmin_c")
    days, first = frost(tmin, marks.number("frost"), parts)
    mean = (record.get("tmax_c") + tmin) / 2.0
    total, _ = warmth(mean, marks.number("degree_day_base"), parts)
    start = record.times[[part.start for part in parts]].astype(np.float64)
    whole = [part.stop - part.start >= SEASON_DAYS for part in parts]
    found = {"frost_days": days, "first_frost": first + start, "degree_days": total}
    return {name: np.where(whole, value, np.nan) for name, value in found.items()}


def departures(values_c: FloatArray, parts: Sequence[slice]) -> FloatArray:
    """Mean departure of a season's days from the usual of each, ``[station, season]`` [K].

    The usual is the station's own mean of that day over all seasons, so that a gap in winter makes
    no season warm. NaN where no day is known; which seasons are whole is for others to ask.
    """
    days = np.full((len(values_c), len(parts), SEASON_DAYS), np.nan)
    for s, part in enumerate(parts):
        some = values_c[:, part][:, :SEASON_DAYS]
        days[:, s, : some.shape[1]] = some
    known = np.isfinite(days)
    usual = np.where(known, days, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    total = np.where(known, days - usual[:, None], 0.0).sum(axis=-1)
    count = known.sum(axis=-1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def best_barriers(
    state: SiteState, rain_mm: FloatArray, season: str, site: Site, tables: Tables
) -> tuple[FloatArray, FloatArray]:
    """Day to lay a usual barrier, ``[station, season]``, and the share that emerges while it holds.

    NaN for a season whose emergence is not known to its end, or that is never open for it; where
    no day catches anything, as without rain to water it in, the share is 0 and the day NaN.
    """
    purpose, southern = purpose_of(BARRIERS[season], tables), site.place.southern
    score = judged_days(purpose, purpose.generic, DayContext(site, state, season, tables=tables))[1]
    is_open = score >= purpose.rule.season
    share = state.emergence[WEEDS[season]].share
    values = tables["barrier"]
    laid = usual_material(purpose, values).laid(Laying.of(site, values))
    later = values.number("later_worth")
    biofix = weed(WEEDS[season], tables).biofix
    new_year = int(tables["plan"].number("spring_from")) if season == "spring" else 0
    number = state.dates.astype("datetime64[D]").astype(np.float64)
    slices = season_slices(state.dates, southern)
    day, caught = (np.full((len(share), len(slices)), np.nan) for _ in range(2))
    for s, (_, part) in enumerate(slices):
        emerging, own = _emerging_days(state.dates[part.start], biofix, new_year, southern)
        days = slice(part.start + emerging.start, part.start + emerging.stop)
        if days.stop > len(number):
            continue
        allowed = is_open[:, days.start : days.start + own]
        if not allowed.any():
            continue
        catch = caught_on(
            share[:, days], state.soil_5cm_c[:, days], rain_mm[:, days], laid, allowed
        )
        best = best_day(catch, allowed, later)
        rows = np.flatnonzero(np.isfinite(share[:, days.stop - 1]) & (best >= 0))
        caught[rows, s] = catch[rows, best[rows]]
        good = rows[caught[rows, s] >= _SOME]
        day[good, s] = number[days][best[good]]
    return day, caught


def _emerging_days(
    start: np.datetime64, biofix: str, begin: int, southern: bool
) -> tuple[slice, int]:
    """Days of a season over which its weed's new year is followed, and how many are its own.

    They end where the weed's count begins anew, or two months after the season.
    """
    months = start.astype("datetime64[M]") + np.timedelta64(12, "M")
    year = int((months.astype("datetime64[D]") - start).astype(int))
    dates = start + np.arange(begin + 1, year + BEYOND_DAYS)
    again = np.flatnonzero(on_date(dates, biofix, southern))
    stop = begin + 1 + int(again[0]) if again.size else year + BEYOND_DAYS
    return slice(begin, stop), min(year, stop) - begin


def workable_weeks(can: FloatArray, parts: Sequence[slice]) -> npt.NDArray[np.float32]:
    """Workable days of each week of each season, ``[station, season, week]``; NaN if untold.

    Parameters
    ----------
    can
        1 on workable days, 0 on others, NaN where it cannot be told, ``[station, day]``.
    parts
        Days of each season, all but the last whole.
    """
    out = np.full((len(can), len(parts), WEEKS), np.nan, np.float32)
    for s, part in enumerate(parts):
        whole = np.full((len(can), WEEKS * 7), np.nan)
        whole[:, : part.stop - part.start] = can[:, part]
        weeks = whole.reshape(len(can), WEEKS, 7)
        out[:, s] = weeks.sum(axis=-1)
        tail = weeks[:, -1]  # the last week has one day, or two in a leap year
        out[:, s, -1] = np.where(np.isfinite(tail).any(axis=-1), np.nansum(tail, axis=-1), np.nan)
    return out
