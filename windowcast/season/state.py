"""The state of a site from its weather: soil, degree days, weeds and turf, day by day.

`build` runs once over the past record and once over the days ahead as an ensemble; the second
call carries on from the first, and a run split in two gives what one run gives.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from windowcast.core.phrase import Phrase, about, say
from windowcast.core.record import FloatArray, Record
from windowcast.core.season_calendar import on_date
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables, Value
from windowcast.core.weed_codes import unsupported
from windowcast.physics.soil import SiteCorrection, SoilState, simulate
from windowcast.physics.soil_error import SoilError
from windowcast.season.clocks import Drivers
from windowcast.season.emergence import WeedCarry, emerge
from windowcast.season.errors import Erring, LastDays, ModelErrors, soil_error_at
from windowcast.season.leaf import SOIL_DAYS, Care
from windowcast.season.model import Emergence, SiteState, Substitute
from windowcast.season.runs import carried_on, trailing_sum
from windowcast.season.scouting import Count, posterior_timings
from windowcast.season.sightings import CanopyLook, GreenCover
from windowcast.season.soil_days import (
    SoilDays,
    Spans,
    measured,
    modelled,
    soil_forcing,
    soil_site,
    with_probes,
)
from windowcast.season.soil_kept import SoilModel
from windowcast.season.turf import TurfCarry, history_days, turf_state
from windowcast.season.unknown_rain import (
    RAIN_DAYS,
    note_of,
    rain_or_usual,
    substitute_of,
    unknown_week,
)
from windowcast.season.weeds import Weed, weed, with_late_share
from windowcast.weather.rain_filled import FILLED

YEAR_DAYS = 366
LEAF = ("soil_10cm_c", "tmin_c", "air_c")  # what drives the turf's leaf


class Carry(NamedTuple):
    """All that the day after a run needs.

    Attributes
    ----------
    date
        Last day of the run.
    recent
        Last days of what trailing windows look back on, ``[..., day]``.
    """

    date: np.datetime64
    soil: SoilState
    recent: dict[str, FloatArray]
    weeds: dict[str, WeedCarry]
    turf: TurfCarry | None
    season: LastDays
    soil_error: SoilError  # at the place of the first run, at its end


def build(
    record: Record,
    site: Site,
    *,
    start: Carry | None = None,
    correction: SiteCorrection | None = None,
    counts: Sequence[Count] = (),
    green_cover: Sequence[GreenCover] = (),
    looks: Sequence[CanopyLook] = (),
    tables: Tables = PACKAGED,
    soil_model: SoilModel = simulate,
    errors: ModelErrors | None = None,
    compiled: bool = False,
) -> tuple[SiteState, Carry]:
    """State of a site over the days of a record.

    Parameters
    ----------
    record
        Daily; values ``[..., day]``.
    site
        The site file.
    start
        Carry of the run that ended the day before the record begins. Without it, totals are
        unknown until their first biofix, and turf until its first summer.
    correction
        Of the soil model, from the site's own probe readings.
    counts
        Scouting counts within the record; they update the curve of the season they fall in.
    green_cover, looks
        Observed green cover of the turf, and looks into its canopy.
    tables
        The science values to go by: ``soil``, ``turf``, ``usual_rain`` and ``weeds``.
    soil_model
        `windowcast.physics.soil.simulate`, or one that keeps what it did
        (`windowcast.season.soil_kept`).
    errors
        What the models are wrong by in each future. Only with `start`, and a record of as many
        futures: ``[1 + future, day]``.
    compiled
        Whether soil and turf are compiled by Numba: the same numbers, for hundreds of runs.

    Returns
    -------
    SiteState, Carry

    Raises
    ------
    InputError
        The site watches a weed unknown here.
    ValueError
        The record is not daily, is empty, or does not follow on `start`.
    """
    if not record.daily or not len(record.times):
        raise ValueError("state.build needs a daily record with at least one day")
    if start is not None and start.date + np.timedelta64(1, "D") != record.times[0]:
        raise ValueError(f"the carry is of {start.date}, the record starts on {record.times[0]}")
    codes = [code for code in dict.fromkeys(site.weeds) if code not in unsupported()]
    weeds = [with_late_share(weed(code, tables), site.advice.late_winter_share) for code in codes]
    drivers, soil = drivers_of(
        record,
        site,
        start=start,
        correction=correction,
        compiled=compiled,
        tables=tables,
        soil_model=soil_model,
    )
    tmin, recent = record.get("tmin_c"), {} if start is None else start.recent
    erring = None if errors is None or start is None else Erring.of(errors, start.season, drivers)
    emergence: dict[str, Emergence] = {}
    so_far: dict[str, Emergence] = {}
    degree_days: dict[str, FloatArray] = {}
    carries: dict[str, WeedCarry] = {}
    usable: dict[str, bool] = {}
    for code, entry in zip(codes, weeds, strict=True):
        before = None if start is None else start.weeds.get(code)
        timings, counted = posterior_timings(entry, drivers, before, counts)
        if erring is not None and before is not None:
            found = erring.emerge(entry, before, timings)
            so_far[code], emergence[code], degree_days[code] = found
            usable[code] = before.usable
            continue
        emergence[code], degree_days[code], carries[code] = emerge(
            entry, drivers, before, timings, counted
        )
        usable[code] = carries[code].usable
    rain = substitute_of(record, irrigated=bool(site.turf.irrigated), tables=tables)
    substitutes = () if rain is None else (rain,)
    readings = 0 if correction is None else correction.readings
    soil_error = (
        soil_error_at(record, readings, tables["soil"], substitutes)
        if start is None
        else start.soil_error
    )
    turf, turf_carry = turf_state(
        record.times,
        soil.temp_10cm_c,
        tmin,
        drivers.air_c,
        species=str(site.turf.species),
        soil_sd_c=soil_error.mean_sd_c(SOIL_DAYS),
        southern=drivers.southern,
        care=Care(site.turf.mowing_height_mm, site.turf.shade, site.turf.covered),
        carry=None if start is None else start.turf,
        history=None if start is None else tuple(recent[k] for k in LEAF),  # type: ignore[arg-type]
        green_cover=green_cover,
        looks=looks,
        compiled=compiled,
        tables=tables,
    )
    step = 0.0 if erring is None else erring.ahead_c
    seen = _after(recent, "rain_mm", record.get("precip_mm"))
    guessed = unknown_week(seen)[..., -len(record.times) :]
    state = SiteState(
        dates=record.times,
        soil_5cm_c=soil.temp_5cm_c + step,
        soil_10cm_c=soil.temp_10cm_c + step,
        soil_moisture=np.where(guessed, np.nan, soil.moisture),
        soil_frozen=soil.frozen,
        degree_days=degree_days,
        emergence=emergence,
        turf=turf,
        used=_used(weeds, tables),
        notes=notes_of(
            site, record, weeds, emergence, usable=usable, substitutes=substitutes, tables=tables
        ),
        so_far=None if erring is None else erring.so_far(so_far),
        substitutes=substitutes,
    )
    keep = {
        "rain_mm": record.get("precip_mm"),
        FILLED: rain_or_usual(record),
        **dict(zip(LEAF, (soil.temp_10cm_c, tmin, drivers.air_c), strict=True)),
    }
    back = history_days(tables["turf"])
    carry = Carry(
        date=record.times[-1],
        soil=soil.state,
        recent={k: _after(recent, k, v)[..., -back:] for k, v in keep.items()},
        weeds=carries,
        turf=turf_carry,
        season=LastDays(
            drivers.last(min(YEAR_DAYS, len(drivers.dates))),
            soil.temp_5cm_c[..., -YEAR_DAYS:],
            soil.temp_10cm_c[..., -YEAR_DAYS:],
            measured(record, "soil_5cm_c")[..., -YEAR_DAYS:],
        ),
        soil_error=soil_error,
    )
    return state, carry


def drivers_of(
    record: Record,
    site: Site,
    *,
    start: Carry | None = None,
    correction: SiteCorrection | None = None,
    latitude_deg: FloatArray | None = None,
    longitude_deg: FloatArray | None = None,
    spans: Spans | None = None,
    compiled: bool = False,
    tables: Tables = PACKAGED,
    soil_model: SoilModel = simulate,
) -> tuple[Drivers, SoilDays]:
    """What emergence depends on, and the soil, from a daily record; arguments as in `build`.

    For records of several stations ``[station, day]`` `latitude_deg` and `longitude_deg` give
    theirs, ``[station]``, and `spans` the days each has; all must lie in the hemisphere of the
    record's place. `compiled` is as in `windowcast.physics.soil.simulate`.
    """
    tmax, tmin, rain = (record.get(k) for k in ("tmax_c", "tmin_c", "precip_mm"))
    usual = rain_or_usual(record)
    plain = modelled(
        soil_forcing(record, latitude_deg, longitude_deg),
        soil_site(site, correction, tables),
        None if start is None else start.soil,
        spans,
        soil_model,
        compiled=compiled,
    )
    soil = with_probes(record, plain)
    recent = {} if start is None else start.recent
    usual_water = usual_week = None
    if site.turf.irrigated:  # never short of water, whatever the rain
        water, rain_week = np.ones(soil.moisture.shape), np.full(rain.shape, np.inf)
    else:
        water = np.where(np.isnan(rain), np.nan, soil.moisture)
        rain_week = _week(recent, "rain_mm", rain)
        if FILLED in record.values or FILLED in recent:
            usual_water, usual_week = soil.moisture, _week(recent, FILLED, usual)
    drivers = Drivers(
        record.times,
        (tmax + tmin) / 2.0,
        soil.seed_c,
        water,
        rain_week,
        record.place.southern,
        record.place.latitude_deg,
        None if spans is None else record.times[spans.first],
        usual_water,
        usual_week,
    )
    return drivers, soil


def _week(recent: dict[str, FloatArray], name: str, rain_mm: FloatArray) -> FloatArray:
    """Rain of each day and the six before, ``[..., day]``."""
    return trailing_sum(_after(recent, name, rain_mm), RAIN_DAYS)[..., -rain_mm.shape[-1] :]


def _after(recent: dict[str, FloatArray], name: str, values: FloatArray) -> FloatArray:
    """Values with the recent days of the run before put in front."""
    return carried_on(recent[name], values) if name in recent else values


def _used(weeds: Sequence[Weed], tables: Tables) -> tuple[Value, ...]:
    values = [v for entry in weeds for v in entry.values]
    values += [v for name in ("turf", "soil") for v in tables[name].values_below()]
    return tuple({v.path: v for v in values}.values())


def notes_of(
    site: Site,
    record: Record,
    weeds: Sequence[Weed],
    emergence: Mapping[str, Emergence],
    *,
    usable: Mapping[str, bool],
    substitutes: Sequence[Substitute],
    tables: Tables,
) -> tuple[Phrase, ...]:
    """Notes of the state of a site."""
    notes = [
        about(say(f"weed.{code}"), say(f"unsupported.{unsupported()[code]}"))
        for code in site.weeds
        if code in unsupported()
    ]
    notes += [
        note for found in substitutes if (note := note_of(found, tables["usual_rain"])) is not None
    ]
    for entry in weeds:
        if entry.doubt_weeks:
            clock = entry.clock.removeprefix("general.")
            notes.append(
                _of_weed(entry, say(f"season_note.general.{clock}", weeks=entry.doubt_weeks))
            )
        low, high = entry.origin_latitude
        if not low <= abs(record.place.latitude_deg) <= high:
            notes.append(_of_weed(entry, say("season_note.origin", low=low, high=high)))
        if days := _bridged_days(entry, emergence[entry.code], record):
            notes.append(_of_weed(entry, say("season_note.bridged", days=days)))
        if not usable[entry.code]:
            cool, warm = say("season_note.too_early"), say("season_note.no_winter")
            notes.append(_of_weed(entry, cool if entry.season == "fall" else warm))
    return tuple(notes)


def _of_weed(entry: Weed, note: Phrase) -> Phrase:
    return about(say(f"weed.{entry.code}"), note)


def _bridged_days(entry: Weed, curve: Emergence, record: Record) -> int:
    """Days of the latest season that lack a temperature but not an emerged share."""
    begins = np.flatnonzero(on_date(record.times, entry.biofix, record.place.southern))
    blind = np.isnan(record.get("tmax_c") + record.get("tmin_c"))
    if not begins.size or np.isnan(curve.share[..., -1]).all():
        return 0
    return int(blind[..., begins[-1] :].any(axis=tuple(range(blind.ndim - 1))).sum())
