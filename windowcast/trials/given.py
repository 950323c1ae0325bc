"""What plots of a treatment got, and whether that is the same elsewhere.

What was put out counts, not what a trial calls it: the same active ingredients at the same rates,
as many applications, at the same time of the season.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Name, Phrase, say
from windowcast.core.phrase import Quantity as Amount

RATE_WITHIN = 0.1  # of a rate, written in other units: what is called the same (choice)
DAYS_WITHIN = 28.0  # of the season, between years: what is called the same timing (choice)


@dataclass(frozen=True, slots=True)
class Given:
    """What the plots of a treatment got.

    Attributes
    ----------
    name
        As the trial calls it.
    actives
        Active ingredient, in order, with its rate [kg ha-1]; None where nobody says.
    codes
        Code of each application in the trial file.
    days
        Days since the season began of each application; NaN where nobody says.
    check
        "untreated", "weed-free", "standard"; "" for none.
    """

    name: str
    actives: tuple[tuple[str, float | None], ...] = ()
    codes: tuple[str, ...] = ()
    days: tuple[float, ...] = ()
    adjuvant: str = ""
    check: str = ""


def why_other(one: Given, other: Given) -> Phrase:
    """Why two treatments are not the same; nothing where they are.

    Names tell only where no material is given, or no rate.

    Examples
    --------
    >>> from windowcast.trials.given import Given, why_other
    >>> fall = Given("Fall", (("prodiamine", 0.84),), ("A",), (75.0,))
    >>> bool(why_other(fall, Given("Program 1", (("prodiamine", 0.841),), ("S",), (83.0,))))
    False
    >>> why_other(fall, Given("Fall", (("prodiamine", 0.42),), ("A",), (75.0,))).id
    'pool.other_rate'
    """
    if "untreated" in {one.check, other.check} or "weed-free" in {one.check, other.check}:
        return NOTHING if one.check == other.check else say("pool.other_actives")
    named_alike = one.name.strip().casefold() == other.name.strip().casefold()
    if [name for name, _ in one.actives] != [name for name, _ in other.actives]:
        return say("pool.other_actives")
    if not one.actives and not named_alike:
        return say("pool.no_materials")
    for (active, rate), (_, rate_there) in zip(one.actives, other.actives, strict=True):
        if rate is None or rate_there is None:
            if not (rate is rate_there and named_alike):
                return say("pool.no_rate", active=Name(active))
        elif abs(rate - rate_there) > RATE_WITHIN * max(rate, rate_there):
            rates = Amount(rate, "kg ha-1"), Amount(rate_there, "kg ha-1")
            return say("pool.other_rate", active=Name(active), rate=rates[0], other=rates[1])
    if bool(one.adjuvant) != bool(other.adjuvant):
        return say("pool.other_adjuvant")
    return _why_other_timing(one, other)


def _why_other_timing(one: Given, other: Given) -> Phrase:
    if len(one.codes) != len(other.codes):
        return say("pool.other_number", count=len(one.codes), other=len(other.codes))
    for code, code_there, day, there in zip(
        one.codes, other.codes, one.days, other.days, strict=True
    ):
        if math.isnan(day) or math.isnan(there):
            if code.casefold() != code_there.casefold():
                return say("pool.no_date")
        elif abs(day - there) > DAYS_WITHIN:
            return say("pool.other_time", days=round(abs(day - there)))
    return NOTHING
