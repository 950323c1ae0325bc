"""How well the key dates of a season are foretold: 10 to 90 % ranges and middles against what came.

On each issue day of past seasons the way of an answer is gone with what is known on that day: the
daily highs, lows and rain up to the day before, and no forecast. What came is told by the station's
probe for soil; for turf and weeds by the same models run on the weather that came, with the probe's
soil, with thresholds and clocks drawn as the ranges believe them (`windowcast.verify.dates_came`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray, Record, Weather
from windowcast.core.season_calendar import SEASON_START
from windowcast.core.site import Site, site_from
from windowcast.programme.answer import foreseen
from windowcast.programme.key_dates import key_dates
from windowcast.programme.model import KeyDate
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.as_known import as_known, in_its_zone
from windowcast.verify.dates_came import what_came
from windowcast.verify.growing_soil import GrowingSoil
from windowcast.verify.odds import last_seasons
from windowcast.verify.soil import in_south_east
from windowcast.verify.soil_stations import find_files
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked
from windowcast.windows.season_axis import SeasonAxis

ISSUES = ("08-20", "10-01", "12-01", "02-01")
WEEDS = ("POAAN", "DIGIS", "DIGSA")
PERMISSIONS = ("first_safe", "last_safe")  # a line drawn on the careful side, no forecast
MISSED = 0.2  # share of the dates that a range of 10 to 90 % leaves out
REGIONS = ("all", "south_east", "elsewhere")
NOTES = (
    """Issued on the day named with daily highs, lows and rain up to the day before, no forecast,
    and no probe readings. Gaps in these are filled once for the whole record, so usual rain and a
    gap of up to three days may rest on later days too.""",
    """The soil model's fit has used most USCRN stations: at a place that it has never seen, dates
    are further off.""",
    """coverage: share of the dates that came within the 10 to 90 % told; middle_days: came minus
    the middle, positive when later; interval_score: width plus ten times the days outside (Gneiting
    & Raftery 2007), skill against the 10 to 90 % of the same record's past seasons.""",
    """Soil dates came by the station's probe (5 cm, 7-day mean). Dates of turf and weeds came by
    the models run on the weather and the probe's soil, with thresholds and clocks of a place drawn
    as published, each date on several days: weather and soil are tested, these spreads are taken
    as given.""",
)


@dataclass(frozen=True)
class ToldDate:
    """A date told on an issue day and a day on which it came, as days since 1970-01-01.

    `weight` is less than one where it may have come on several.
    """

    issue: str
    event: str
    south_east: bool
    early: int
    middle: int
    late: int
    normal: tuple[int, int] | None
    came: int
    weight: float = 1.0


def verify_dates(
    paths: Sequence[str | PathLike[str]],
    *,
    seasons: int = 5,
    issues: Sequence[str] = ISSUES,
    on_station: Callable[[str], object] = lambda name: None,
) -> dict[str, Any]:
    """Replay past seasons of USCRN stations and score the dates told.

    Parameters
    ----------
    paths
        Daily files or folders of them.
    seasons
        Last whole seasons of each station.
    issues
        Days of issue, ``MM-DD``.
    on_station
        Called with each station's name as it is begun.

    Returns
    -------
    dict
        Ready for JSON: ``issues`` → day → region → event → scores, ``stations``, ``notes``.

    Raises
    ------
    InputError
        A file cannot be used, or no season can be replayed.
    """
    told: list[ToldDate] = []
    names = []
    for files in find_files(paths).values():
        record = read_uscrn(files)
        on_station(record.place.name)
        own = list(told_at(record, seasons, issues))
        told += own
        if own:
            names.append(record.place.name)
    if not told:
        raise InputError(
            "no season can be replayed",
            path=Path(paths[0]),
            remedy="give USCRN stations with at least five whole years",
        )
    return {
        "issues": {issue: _by_region([t for t in told if t.issue == issue]) for issue in issues},
        "stations": names,
        "notes": [" ".join(note.split()) for note in NOTES],
    }


def _by_region(told: Sequence[ToldDate]) -> dict[str, dict[str, dict[str, float | int | None]]]:
    kinds = {
        "all": told,
        "south_east": [t for t in told if t.south_east],
        "elsewhere": [t for t in told if not t.south_east],
    }
    return {
        region: {
            name: scores(rows)
            for name in dict.fromkeys(t.event for t in told)
            if (rows := [t for t in kinds[region] if t.event == name])
        }
        for region in REGIONS
    }


def scores(told: Sequence[ToldDate]) -> dict[str, float | int | None]:
    """Coverage, width, error of the middle and interval score of some dates.

    Examples
    --------
    One date within its range, one five days after it:

    >>> from windowcast.verify.dates import ToldDate, scores
    >>> rows = [ToldDate("08-20", "soil_fall", True, 0, 10, 20, (0, 40), came) for came in (8, 25)]
    >>> found = scores(rows)
    >>> found["coverage"], found["middle_days"], found["interval_score"], found["skill"]
    (0.5, 6.5, 45.0, -0.125)
    """
    early, middle, late, came = (
        np.array([getattr(t, name) for t in told], dtype=np.float64)
        for name in ("early", "middle", "late", "came")
    )
    weight = np.array([t.weight for t in told])
    off = came - middle
    score = interval_score(early, late, came)
    known = [n for n, t in enumerate(told) if t.normal is not None]
    usual = np.array([told[n].normal for n in known], dtype=np.float64).reshape(-1, 2)
    reference = interval_score(usual[:, 0], usual[:, 1], came[known])
    skill = None
    if known and reference.sum() > 0:
        skill = round(1.0 - float(weight[known] @ score[known] / (weight[known] @ reference)), 3)

    def mean(values: npt.NDArray[Any], digits: int = 1) -> float:
        return round(float(np.average(values, weights=weight)), digits)

    return {
        "n": round(weight.sum()),
        "coverage": mean((early <= came) & (came <= late), 3),
        "width_days": mean(late - early),
        "middle_days": mean(off),
        "middle_mean_abs_days": mean(np.abs(off)),
        "interval_score": mean(score),
        "skill": skill,
    }


def interval_score(early: FloatArray, late: FloatArray, came: FloatArray) -> FloatArray:
    """Width of a 10 to 90 % range plus ten times what lies outside it; smaller is better.

    References
    ----------
    Gneiting & Raftery (2007), *J. Am. Stat. Assoc.* 102:359-378.
    """
    outside = np.maximum(early - came, 0.0) + np.maximum(came - late, 0.0)
    return late - early + 2.0 / MISSED * outside


def told_at(record: Record, seasons: int, issues: Sequence[str]) -> Iterator[ToldDate]:
    """What was told at one station, and what came."""
    record = in_its_zone(record)
    place, zone = record.place, record.place.timezone
    site = site_from(
        {
            "name": place.name,
            "latitude": place.latitude_deg,
            "longitude": place.longitude_deg,
            "timezone": zone,
            "weeds": list(WEEDS),
        }
    )
    known = filled(checked(as_known(record)))
    if "tmax_c" not in known or "tmin_c" not in known:
        return
    came = what_came(record, known, site)
    soil = GrowingSoil()
    for season in last_seasons(record, seasons):
        for issue in sorted(issues, key=lambda day: day < SEASON_START):
            year = season + (issue < SEASON_START)
            today = dt.date(year, int(issue[:2]), int(issue[3:]))
            past = known.between(known.times[0], np.datetime64(today) - np.timedelta64(1, "D"))
            for key in _told_on(past, site, today, soil):
                if key.name in PERMISSIONS:
                    continue
                if (row := _row(key, issue, place.latitude_deg, place.longitude_deg)) is None:
                    continue
                days = came(season, key.name)
                yield from (replace(row, came=day, weight=1.0 / len(days)) for day in days)


def _told_on(past: Record, site: Site, today: dt.date, soil: GrowingSoil) -> tuple[KeyDate, ...]:
    found = foreseen(site, Weather(past, None, today), soil_model=soil)
    axis = SeasonAxis.of(
        found.past,
        found.ahead,
        southern=site.place.southern,
        overseeded=False,
        year_of=found.members.year_of,
    )
    return key_dates(axis, southern=site.place.southern)


def _row(key: KeyDate, issue: str, latitude_deg: float, longitude_deg: float) -> ToldDate | None:
    """A date told with a range on both sides; None for one that is not."""
    ends: tuple[dt.date | None, ...] = (None, None, None)
    if key.ahead is not None:
        ends = key.ahead.early, key.ahead.median, key.ahead.late
    elif key.passed_between is not None:
        ends = key.passed_between[0], key.passed, key.passed_between[1]
    early, middle, late = (_day(end) for end in ends)
    if early is None or middle is None or late is None:
        return None
    usual = None
    if key.normal is not None:
        low, high = _day(key.normal.early), _day(key.normal.late)
        usual = None if low is None or high is None else (low, high)
    east = in_south_east(latitude_deg, longitude_deg)
    return ToldDate(issue, key.name, bool(east), early, middle, late, usual, 0)


def _day(date: dt.date | None) -> int | None:
    return None if date is None else date.toordinal() - dt.date(1970, 1, 1).toordinal()
