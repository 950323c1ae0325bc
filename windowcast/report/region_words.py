"""What a comparison says of a quantity, a day of the season, a list cut short."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from windowcast.core.phrase import Phrase, Quantity, Share, say
from windowcast.core.season_calendar import season_name, season_starts
from windowcast.core.values import PACKAGED
from windowcast.region.columns import AMOUNT_COLUMNS, SHARE_COLUMNS, day_of_season
from windowcast.region.regional import Between
from windowcast.report.catalogue import Voice

_NO_BREAK = "\N{NO-BREAK SPACE}"
_TOGETHER = re.compile(r"(?<=\d) (?=[%°]|[A-Za-z][a-z]{2}\b)")  # 97 %, 31 Mar, 31 mar
# quantity → table and entry of the temperature that it is named by
_MARKS: Mapping[str, tuple[str, str]] = {
    "soil_21": ("plan", "soil_fall"),
    "soil_13": ("plan", "soil_spring"),
    "degree_days": ("region", "degree_day_base"),
}


def quantity_named(quantity: str) -> Phrase:
    """A column of a comparison."""
    mark = _mark(quantity)
    if mark is None:
        return say(f"region_quantity.{quantity}")
    return say(f"region_mark.{quantity}", mark=mark)


def quantity_headed(quantity: str) -> Phrase:
    """The same for a narrow column; its first gap may break the line."""
    mark = _mark(quantity)
    if mark is None:
        return say(f"region_short.{quantity}")
    return say(f"region_short_mark.{quantity}", mark=mark)


def _mark(quantity: str) -> Quantity | None:
    """The temperature at which a quantity happens or from which it counts, if there is one."""
    if quantity not in _MARKS:
        return None
    table, key = _MARKS[quantity]
    return Quantity(PACKAGED[table].number(key), "degC")


def season_named(season: int, *, southern: bool) -> str:
    """A season by its first year, as people call it."""
    return season_name(season_starts(season, southern), southern)


def unparted(text: str) -> str:
    """A sentence in which no line parts a number from its month or sign."""
    return _TOGETHER.sub(_NO_BREAK, text)


def quantity_said(value: float, quantity: str, voice: Voice, *, southern: bool) -> str:
    """A value of a quantity: a day, a percentage, an amount, or that it cannot be told.

    An infinite one is a median that does not come in half of the seasons.
    """
    if math.isinf(value):
        return voice.say("region_quantity.never")
    if not math.isfinite(value):
        return voice.say("window_verdict.cannot_tell")
    if quantity in SHARE_COLUMNS:
        return voice.write(Share(value))
    if quantity == "degree_days":
        return voice.write(Quantity(value, "degC d"))
    if quantity in AMOUNT_COLUMNS:
        return voice.number(value, 0)
    return day_said(value, voice, southern=southern)


def quantities_said(
    value: float, quantity: str, voice: Voice, southern: Iterable[bool]
) -> list[str]:
    """As `quantity_said`, once for each of the hemispheres whose stations share an axis."""
    said = (quantity_said(value, quantity, voice, southern=south) for south in southern)
    return list(dict.fromkeys(said))


def gap_said(gap: Between) -> str:
    """A difference in whole days or points with its sign; ``≥31`` for one of at least so many."""
    days = round(gap.difference.middle * (100 if gap.quantity in SHARE_COLUMNS else 1))
    if gap.at_least:
        return f"{'≤' if gap.difference.middle < 0 else '≥'}{days}".replace("-", "−")
    return signed(days)


def signed(number: float) -> str:
    """A whole number with its sign; none where that is 0."""
    return f"{round(number):+d}".replace("-", "−") if round(number) else "0"


def day_said(day: float, voice: Voice, *, southern: bool) -> str:
    """A day of the season, e.g. ``12 Oct``."""
    return voice.write(day_of_season(round(day), southern=southern), "short")
