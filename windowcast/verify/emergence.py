"""The emergence curves held against published figures, on real weather records.

Seedling counts are not openly available, so what can be checked is whether the curves, run on a
station's weather, give the dates and shares that publications report for its region.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray, Record
from windowcast.core.season_calendar import season_slices
from windowcast.core.site import site_from
from windowcast.core.values import load
from windowcast.season.dates import share_date
from windowcast.season.model import Emergence, SiteState
from windowcast.season.rolling import trailing_mean
from windowcast.season.state import build

FIRST = 0.01  # share taken as "first emergence"
FALL_DAYS = 110  # from 15 August
THREE_WEEKS = 21


@dataclass(frozen=True)
class Check:
    """One published figure beside what the model gives.

    Attributes
    ----------
    published
        Lower and upper end as published.
    found
        One value a season.
    odd
        Whether the season begins in an odd year (held back when the curve was anchored).
    """

    name: str
    unit: str
    source: str
    station: str
    published: tuple[float, float]
    found: tuple[float, ...]
    odd: tuple[bool, ...]

    @property
    def median(self) -> float:
        """Median over the seasons."""
        return float(np.median(self.found)) if self.found else float("nan")

    @property
    def inside(self) -> float:
        """Share of the seasons within the published span; NaN without seasons."""
        low, high = self.published
        held = [low <= value <= high for value in self.found]
        return float(np.mean(held)) if held else float("nan")


def checks(records: Sequence[Record]) -> tuple[Check, ...]:
    """Every published figure that applies at a station's latitude, station by station.

    Parameters
    ----------
    records
        Daily, of northern stations, with short gaps filled. Seasons with an unknown day are left
        out.
    """
    return tuple(check for record in records for check in _station(record))


def _station(record: Record) -> list[Check]:
    place = record.place
    site = site_from(
        {
            "name": place.name,
            "latitude": place.latitude_deg,
            "longitude": place.longitude_deg,
            "weeds": ["POAAN", "DIGIS"],
        }
    )
    state, _ = build(record, site)
    rows: list[tuple[str, str, Callable[[SiteState], dict[int, float]]]] = [
        ("crabgrass_first_soil", "crabgrass_latitude", _soil_at_first),
        ("bluegrass_november", "bluegrass_maryland_latitude", _november),
        ("bluegrass_three_weeks", "bluegrass_maryland_latitude", _three_weeks),
        ("bluegrass_fastest_week", "bluegrass_mid_south_latitude", _fastest_week),
    ]
    table = load("weeds").table("check")
    out = []
    for name, where, measure in rows:
        south, north = table.value(where).value
        if not south <= place.latitude_deg <= north:
            continue
        value = table.value(name)
        seasons = {y: v for y, v in measure(state).items() if np.isfinite(v)}
        out.append(
            Check(
                name=name,
                unit=value.unit,
                source=value.source,
                station=place.name,
                published=(float(value.value[0]), float(value.value[1])),
                found=tuple(seasons.values()),
                odd=tuple(bool(y % 2) for y in seasons),
            )
        )
    return out


def _soil_at_first(state: SiteState) -> dict[int, float]:
    """7-day mean soil at 5 cm (measured where there is a probe) when crabgrass first emerges."""
    week = trailing_mean(state.soil_5cm_c, 7)
    days = share_date(state.emergence["DIGIS"], state.dates, FIRST)
    start = int(state.dates[0].astype("datetime64[D]").astype(np.int64))
    names = [int(name[:4]) for name, _ in season_slices(state.dates, southern=False)]
    return {
        year: float(week[int(day) - start])
        for year, day in zip(names, days, strict=True)
        if np.isfinite(day)
    }


def _falls(state: SiteState) -> dict[int, tuple[int, FloatArray]]:
    """Share of annual bluegrass from 15 August on in each fall that is wholly known."""
    curve: Emergence = state.emergence["POAAN"]
    out = {}
    for year in range(int(str(state.dates[0])[:4]), int(str(state.dates[-1])[:4]) + 1):
        start = int((np.datetime64(f"{year}-08-15") - state.dates[0]).astype(np.int64))
        share = curve.share[max(start, 0) : start + FALL_DAYS]
        if start >= 0 and len(share) == FALL_DAYS and np.isfinite(share).all():
            out[year] = (start, share)
    return out


def _november(state: SiteState) -> dict[int, float]:
    return {year: float(share[82]) for year, (_, share) in _falls(state).items()}


def _three_weeks(state: SiteState) -> dict[int, float]:
    return {
        year: float((share[THREE_WEEKS:] - share[:-THREE_WEEKS]).max())
        for year, (_, share) in _falls(state).items()
    }


def _fastest_week(state: SiteState) -> dict[int, float]:
    """ISO week in the middle of the seven days with most emergence."""
    found = {}
    for year, (start, share) in _falls(state).items():
        middle = state.dates[start + int((share[7:] - share[:-7]).argmax()) + 4]
        found[year] = float(middle.astype("datetime64[D]").astype(object).isocalendar().week)
    return found
