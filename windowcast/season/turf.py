"""Dormancy and green-up of warm-season turf, day by day.

What is followed is live green leaf in many possible worlds (`windowcast.season.leaf`), so that a
chance counts the models' own error and not only the weather's. Autumn dormancy, a mild winter that
never brings full dormancy, a false green-up that the next frost undoes, and spring green-up all
follow from that one switch. What the state allows is `windowcast.season.turf_safety`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import (
    SEASON_START,
    from_season_start,
    month_day,
    northern_month_day,
    on_date,
)
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.season.leaf import (
    Care,
    Driver,
    Level,
    Run,
    Seen,
    driver_of,
    reach_days,
    threshold_sd_c,
    worlds,
)
from windowcast.season.leaf_counted import DaysCounted, LeafEnds, counted
from windowcast.season.model import TurfPhase, TurfState
from windowcast.season.runs import (
    BoolArray,
    carried_on,
    known_run,
    last_index,
    next_true,
    run_length,
    since,
    trailing_mean,
)
from windowcast.season.sightings import CanopyLook, GreenCover, Sightings
from windowcast.season.turf_safety import GREEN_FROM, Safety, injury_probability, permitted

NIGHT_DAYS = 5
TELLABLE = 0.1  # how far apart the bounds of the chance may lie for it to be told
LEVELS: tuple[Level, ...] = ("first", "half")


@dataclass(frozen=True)
class TurfCarry:
    """What the next day needs; arrays ``[...]``, with axes in front where they are named."""

    worlds: LeafEnds
    looked: BoolArray  # a look found no leaf this season
    least_soil_c: FloatArray  # leaf comes only from here on, since a look found none; -inf: any
    least_heat: FloatArray
    look_age: float  # days since the last look that found no leaf
    was_dormant: BoolArray  # this season, and not yet recovered
    days_dormant: FloatArray
    days_bare: FloatArray  # without likely leaf, less one; -1 with


History = tuple[FloatArray, FloatArray, FloatArray]  # soil, minimum and mean air, [..., day]


def history_days(turf: Table) -> int:
    """Earlier days of soil, minimum and mean air temperature that a run needs to carry on."""
    return max(reach_days(turf.table("leaf")), NIGHT_DAYS)


def turf_state(
    dates: DateArray,
    soil_10cm_c: FloatArray,
    tmin_c: FloatArray,
    air_c: FloatArray,
    *,
    species: str,
    soil_sd_c: npt.ArrayLike,
    southern: bool = False,
    care: Care | None = None,
    carry: TurfCarry | None = None,
    history: History | None = None,
    green_cover: Sequence[GreenCover] = (),
    looks: Sequence[CanopyLook] = (),
    compiled: bool = False,
    tables: Tables = PACKAGED,
) -> tuple[TurfState, TurfCarry | None]:
    """Phase, chance of live leaf and what the turf allows over a run of days.

    Parameters
    ----------
    dates
        ``[day]``.
    soil_10cm_c, tmin_c, air_c
        Daily mean soil, minimum and mean air temperature [°C], ``[..., day]``.
    species
        From the site file.
    soil_sd_c
        Standard deviation of the soil's error in a mean over `windowcast.season.leaf.SOIL_DAYS`,
        ``[...]`` [K]. `soil_10cm_c` must not hold a draw of that error: worlds count it.
    care
        Mowing height, shade and covers; None: nothing said.
    carry, history
        From the run that ended the day before: its carry, and its last `history_days` days of what
        drives the leaf.
    green_cover, looks
        Observations; each replaces the modelled chance of leaf on its day.
    compiled
        For many stations ``[station, day]`` or many answers: by `windowcast.season.leaf_compiled`,
        to the same numbers. Observations are not compiled.
    tables
        The science values to go by: ``turf``.

    Returns
    -------
    TurfState, TurfCarry
        NaN and UNKNOWN where what went before leaves the state open: from the start of a record
        or a gap until frost or warmth has settled it; always for a grass without published
        thresholds, which has no carry either.
    """
    table = tables["turf"]
    safety, look = table.table("safety"), table.table("look")
    given = tuple(np.broadcast_arrays(soil_10cm_c, tmin_c, air_c))
    before = 0 if history is None else history[0].shape[-1]
    if history is not None:
        given = tuple(carried_on(old, new) for old, new in zip(history, given, strict=True))
    if species not in table.table("species"):
        return _cannot_tell(given[0].shape[:-1] + dates.shape), None
    driver = driver_of(*given, table=table.table("leaf")).after(before)
    nights = trailing_mean(given[1], NIGHT_DAYS)[..., before:]
    start, care = on_date(dates, SEASON_START, southern), care or Care()
    hides, full = green_below(species, table), safety.number("full_green_cover")
    seen = Sightings.of(dates, green_cover, looks, green_below=hides, full_cover=full)
    clean = since(seen.none, start, None if carry is None else carry.looked)
    least_soil, least_heat = _least_after_look(driver, seen.none, clean, carry, look)
    first, half_worlds = (worlds(species, care, level, tables) for level in LEVELS)
    early = tuple(world for world in first if world.score < 0)

    # doubt of the soil brings the first leaf nearer and never puts it off: less known, less allowed
    as_modelled, doubted = threshold_sd_c(0.0, table), threshold_sd_c(soil_sd_c, table)
    runs = Run(first, as_modelled), Run(early, doubted), Run(half_worlds, doubted)
    enough = table.number("greenup.dormant_days")
    past = None if carry is None else carry.worlds
    looked = bool(clean.any() or np.isfinite(seen.leaf).any() or np.isfinite(seen.half).any())
    if compiled and not looked:
        from windowcast.season.leaf_compiled import count_worlds

        counts, ends = count_worlds(driver, runs, start, enough, past)
    else:
        leaf, half_leaf = (Seen(s, least_soil, least_heat) for s in (seen.leaf, seen.half))
        # any leaf begins the green-up once a look found none, else only leaf after a time without
        days = DaysCounted(np.where(clean, 0.0, enough), start | seen.none, clean)
        counts, ends = counted(driver, runs, (leaf, leaf, half_leaf), days, past)
    green = _chance(counts.possible, counts.sure, len(first))
    half = _chance(counts.half_possible, counts.half_sure, len(half_worlds))
    begun_share = counts.begun / len(first)
    phase, was_dormant = _phases(
        half, driver.soil_c, nights, start, None if carry is None else carry.was_dormant,
        table=table.table("green"),
    )  # fmt: skip
    brown = half < GREEN_FROM
    days_dormant = run_length(brown, None if carry is None else carry.days_dormant)
    age = run_length(~seen.none, np.array(np.inf if carry is None else carry.look_age - 1.0)) + 1.0
    permits = Safety.of(table)
    unlikely = green < permits.begun
    bare = run_length(unlikely, None if carry is None else carry.days_bare)
    # days on which brown straw proves nothing, past the last of the trials, or soon after the last
    # leaf, until one looks
    unseen = (
        hides
        | _late(dates, southern, str(safety.value("trials_to").value))
        | (bare < safety.number("settled"))
    )
    unseen &= age > look.number("valid")
    injury = injury_probability(green, permits)
    state = TurfState(
        phase=phase,
        dormant_probability=1.0 - half,
        green_probability=green,
        half_green_probability=half,
        greening_begun=begun_share,
        injury_probability=injury,
        days_since_dormant=np.where(brown, days_dormant, np.nan),
        days_to_greenup=days_to_greenup(half),
        nonselective_safe=permitted(injury, begun_share, permits, unseen=unseen),
        unseen=unseen,
    )
    return state, TurfCarry(
        worlds=ends,
        looked=clean[..., -1],
        least_soil_c=least_soil[..., -1],
        least_heat=least_heat[..., -1],
        look_age=float(age[-1]),
        was_dormant=was_dormant[..., -1],
        days_dormant=days_dormant[..., -1],
        days_bare=bare[..., -1],
    )


def _phases(
    half: FloatArray,
    soil_c: FloatArray,
    nights_c: FloatArray,
    start: BoolArray,
    was_dormant: BoolArray | None,
    *,
    table: Table,
) -> tuple[npt.NDArray[np.int8], BoolArray]:
    """Phase by what is seen from above, and whether the turf was dormant and has not recovered."""
    recovered = (soil_c >= table.number("recovery_soil")) & (
        nights_c >= table.number("recovery_night")
    )
    dormant = half < GREEN_FROM
    was = since(dormant, recovered | start, was_dormant)
    slow = soil_c < table.number("growth_soil")
    phase = np.select(
        [np.isnan(half) | np.isnan(soil_c), dormant, was, slow],
        [TurfPhase.UNKNOWN, TurfPhase.DORMANT, TurfPhase.GREENING, TurfPhase.HARDENING],
        TurfPhase.GROWING,
    )
    return phase.astype(np.int8), was


def _late(dates: DateArray, southern: bool, trials_to: str) -> BoolArray:
    """Days of the season after the last on which trials treated dormant turf, ``[day]``."""
    last = northern_month_day(trials_to, southern)
    days = from_season_start(month_day(dates), southern)
    late: BoolArray = days > from_season_start(last, southern)
    return late


def green_below(species: str, turf: Table) -> bool:
    """Whether a grass keeps green leaf under brown straw, so that straw proves nothing."""
    own = turf.table("species").get(species)
    return own is not None and "green_below" in own and bool(own.value("green_below").value)


def days_to_greenup(green: FloatArray) -> FloatArray:
    """Days until dormant turf next shows green (a false start counts), ``[..., day]``.

    NaN where it is not dormant, where no green-up lies within the days given, and where a day that
    cannot be told comes before it.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.turf import days_to_greenup
    >>> days_to_greenup(np.array([0.0, 0.1, 0.9, 0.0]))
    array([ 2.,  1., nan, nan])
    """
    wait = _until_green(green)
    told = np.isfinite(wait) & (wait < known_run(green))
    return np.where((green < GREEN_FROM) & told, wait, np.nan)


def dormant_run(green: FloatArray) -> FloatArray:
    """Days from each on, itself included, known to be without green leaf, ``[..., day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.turf import dormant_run
    >>> dormant_run(np.array([0.0, 0.1, 0.9, 0.0, np.nan]))
    array([2., 1., 0., 1., 0.])
    """
    return np.minimum(_until_green(green), known_run(green))


def _until_green(green: FloatArray) -> FloatArray:
    """Days from each day on until one that shows green, infinite when there is none."""
    return next_true(green >= GREEN_FROM) - np.arange(green.shape[-1])


def _chance(
    possible: npt.NDArray[np.uint8], sure: npt.NDArray[np.uint8], worlds: int
) -> FloatArray:
    """Share of the worlds with leaf, ``[..., day]``; NaN where it cannot be told."""
    return np.where(possible - sure > TELLABLE * worlds, np.nan, possible / worlds)


def _least_after_look(
    driver: Driver, none: BoolArray, clean: BoolArray, carry: TurfCarry | None, table: Table
) -> tuple[FloatArray, FloatArray]:
    """Soil and heat that leaf needs at least after a look that found none, ``[..., day]``.

    They hold to the end of the season; -inf without such a look.
    """
    if not clean.any():
        return (np.broadcast_to(-np.inf, driver.soil_c.shape),) * 2
    index = last_index(none, -1)
    at = np.broadcast_to(np.maximum(index, 0), driver.soil_c.shape)

    def least(values: FloatArray, old: FloatArray | None) -> FloatArray:
        here = np.nan_to_num(np.take_along_axis(values, at, axis=-1), nan=-np.inf)
        before = -np.inf if old is None else np.expand_dims(old, -1)
        return np.where(clean, np.where(index >= 0, here, before), -np.inf)

    old = (None, None) if carry is None else (carry.least_soil_c, carry.least_heat)
    soil = least(driver.soil_c + table.number("above"), old[0])
    return soil, least(driver.heat * table.number("above_heat"), old[1])


def _cannot_tell(shape: tuple[int, ...]) -> TurfState:
    unknown = np.full(shape, np.nan)
    return TurfState(
        phase=np.full(shape, TurfPhase.UNKNOWN, np.int8),
        dormant_probability=unknown,
        green_probability=unknown,
        half_green_probability=unknown,
        greening_begun=unknown,
        injury_probability=unknown,
        days_since_dormant=unknown,
        days_to_greenup=unknown,
        nonselective_safe=unknown,
        unseen=np.ones(shape, bool),
    )
