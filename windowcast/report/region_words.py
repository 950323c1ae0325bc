"""What a comparison says of a quantity, a day of the season, a list cut short."""

from __future__ import annotations

import math
from collections.abc import Iterable

from windowcast.core.phrase import Phrase, Share, say
from windowcast.region.columns import AMOUNT_COLUMNS, SHARE_COLUMNS, day_of_season
from windowcast.report.catalogue import Voice


def quantity_named(quantity: str) -> Phrase:
    """A column of a comparison."""
    return say(f"region_quantity.{quantity}")


def quantity_said(value: float, quantity: str, voice: Voice, *, southern: bool) -> str:
    """A value of a quantity: a day, a percentage, an amount, or that it cannot be told."""
    if not math.isfinite(value):
        return voice.say("window_verdict.cannot_tell")
    if quantity in SHARE_COLUMNS:
        return voice.write(Share(value))
    if quantity in AMOUNT_COLUMNS:
        return f"{value:.0f}"
    return day_said(value, voice, southern=southern)


def quantities_said(
    value: float, quantity: str, voice: Voice, southern: Iterable[bool]
) -> list[str]:
    """As `quantity_said`, once for each of the hemispheres whose stations share an axis."""
    said = (quantity_said(value, quantity, voice, southern=south) for south in southern)
    return list(dict.fromkeys(said))


def day_said(day: float, voice: Voice, *, southern: bool) -> str:
    """A day of the season, e.g. ``12 Oct``."""
    return voice.write(day_of_season(round(day), southern=southern), "short")
