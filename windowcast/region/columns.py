"""What a comparison says about a season and a station: names and units."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from functools import cache

from windowcast.core.season_calendar import season_start
from windowcast.windows.model import PURPOSES, PurposeName

BARRIERS: Mapping[str, PurposeName] = {"fall": "pre-fall", "spring": "pre-spring"}
WEEDS: Mapping[str, str] = {"fall": "POAAN", "spring": "DIGIS"}
WEEKS = 53  # of a season; the last is a day or two
WHOLE_WEEKS = WEEKS - 1
KEY_DATES = (
    "soil_21", "poaan_10", "poaan_50", "poaan_80", "dormant", "last_safe", "greenup", "soil_13",
    "digis_10",
)  # fmt: skip
DATE_COLUMNS = (*KEY_DATES, "first_frost", *(f"barrier_{season}" for season in BARRIERS))
SHARE_COLUMNS = tuple(f"cover_{season}" for season in BARRIERS)
HAPPENED_COLUMNS: Mapping[str, str] = {name: f"happened_{name}" for name in DATE_COLUMNS}
EARLY_IF_NEVER = ("last_safe", "greenup")  # a turf that never browns is one that greens up at once
REASONS = ("wet", "windy", "cold", "warm")  # of a spray day lost; of equals the first counts
LOST_COLUMNS: Mapping[str, str] = {reason: f"lost_{reason}" for reason in ("not_dormant", *REASONS)}
AMOUNT_COLUMNS: Mapping[str, str] = {
    "frost_days": "days", "degree_days": "K days", "spray_days_total": "days",
}  # fmt: skip
DEPARTURE_COLUMNS = ("high_departure", "low_departure")
"""Of a season's daily highs and lows from the station's own usual of each day of the year [K]."""
WORKABLE_COLUMNS: Mapping[str, str] = {
    purpose: f"workable_{purpose.replace('-', '_')}" for purpose in PURPOSES
}
SPRAY_DAYS = "spray_days"  # by week, workable for a dormant application and safe for the turf
WEEKLY_COLUMNS = (*WORKABLE_COLUMNS.values(), SPRAY_DAYS)
NO_WEEKS: Mapping[str, list[None]] = dict.fromkeys(WEEKLY_COLUMNS, [None] * WEEKS)
"""Of a row without weeks: lists of nulls. A null for a whole list of fixed length is written by all
releases of Arrow and read by its newest alone."""
QUANTITIES: Mapping[str, str] = {
    "soil_21": "soil falls through 21.1 °C",
    "poaan_10": "annual bluegrass 10 % emerged",
    "poaan_50": "annual bluegrass 50 % emerged",
    "poaan_80": "annual bluegrass 80 % emerged",
    "dormant": "turf dormant",
    "last_safe": "last safe non-selective day",
    "greenup": "green-up",
    "soil_13": "soil rises through 12.8 °C",
    "digis_10": "smooth crabgrass 10 % emerged",
    "first_frost": "first frost",
    "frost_days": "frost days",
    "degree_days": "degree days above 10 °C",
    "spray_days_total": "spray days on dormant turf",
    "barrier_fall": "best day for the fall pre-emergent",
    "barrier_spring": "best day for the spring pre-emergent",
    "cover_fall": "share of weeds that emerge while its residual holds, fall pre-emergent",
    "cover_spring": "share of weeds that emerge while its residual holds, spring pre-emergent",
}


def units_of(quantity: str) -> str:
    """CF units of a quantity as it is compared: dates are days since the season's first day."""
    return "1" if quantity in SHARE_COLUMNS else AMOUNT_COLUMNS.get(quantity, "days")


def day_label(day: float, *, southern: bool) -> str:
    """A day of the season as tables have it, e.g. ``12 Oct``; "" for NaN."""
    return _label(round(day), southern) if math.isfinite(day) else ""


@cache
def _label(day: int, southern: bool) -> str:
    date = day_of_season(day, southern=southern)
    return f"{date.day} {date:%b}"


def day_of_season(day: int, *, southern: bool) -> dt.date:
    """The date of a day counted from a season's first, in a year without a leap day."""
    return season_start(dt.date(2001, 1, 1), southern=southern) + dt.timedelta(day)
