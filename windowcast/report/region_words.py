"""What a comparison says of a quantity, a day of the season, winters that failed."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Quantity, Share, Value, say
from windowcast.core.season_calendar import season_name, season_starts
from windowcast.core.values import PACKAGED
from windowcast.region.columns import AMOUNT_COLUMNS, SHARE_COLUMNS, day_of_season
from windowcast.region.regional import Between, Region
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


MOST_NAMED = 6  # regions, or winters of one reason, that a sentence lists
_MOSTLY = 0.75  # of the winters failed: the others are named


def failing_said(region: Region, name: Value) -> Phrase:
    """The winters without a week of two spray days, and why each."""
    if region.weekly is None:
        return NOTHING
    winters = region.judged
    if not winters:
        return say("region_story.failed_unknown", region=name)
    if not region.failing:
        return say("region_story.never_failed", region=name, winters=winters)
    if len(region.failing) == winters:
        return say("region_story.failed_always", region=name, winters=winters, why=_why(region))
    if len(region.failing) >= _MOSTLY * winters and _all_known(region):
        return _mostly_failed(region, name)
    count, which = len(region.failing), failing_named(region)
    return say("region_story.failed", region=name, count=count, winters=winters, which=which)


def _others(region: Region) -> npt.NDArray[np.bool_]:
    """Which winters did not fail, ``[season]``."""
    return ~np.isin(region.seasons, [failed.season for failed in region.failing])


def _all_known(region: Region) -> bool:
    """Whether each winter that did not fail is known by all of its weeks."""
    weekly = region.weekly
    return weekly is not None and bool(np.isfinite(weekly.by_season[_others(region)]).all())


def _mostly_failed(region: Region, name: Value) -> Phrase:
    """Of winters that nearly all failed: how many by why, and which did not."""
    others = region.seasons[_others(region)].tolist()
    named = Listing(tuple(Name(season_named(s, southern=region.southern)) for s in others))
    counted = {"count": len(region.failing), "winters": len(region.seasons)}
    why = _why(region)
    return say("region_story.failed_mostly", region=name, others=named, why=why, **counted)


def _why(region: Region) -> Listing:
    """How many winters failed by why; of a single reason, that alone."""
    why = Counter(failed.reason for failed in region.failing)
    if len(why) == 1:
        return Listing((why_said(next(iter(why))),), "comma")
    counted = (
        say("region_story.reason_count", count=count, why=why_said(reason))
        for reason, count in why.most_common()
    )
    return Listing(tuple(counted), "comma")


def failing_named(region: Region, most: int = MOST_NAMED) -> Listing:
    """Winters of a region that failed, by why; see `by_reason`."""
    failing = {failed.season: failed.reason for failed in region.failing}
    return by_reason(failing, southern=region.southern, most=most)


def by_reason(failing: Mapping[int, str], *, southern: bool, most: int) -> Listing:
    """Winters that failed by why, e.g. ``2010/11, 2012/13 (not dormant), 2013/14 (cold)``.

    The most frequent reason comes first; of one reason at most `most` winters are named.
    """
    winters: dict[str, list[Value]] = {}
    for season, reason in failing.items():
        winters.setdefault(reason, []).append(Name(season_named(season, southern=southern)))
    items: list[Value] = []
    for reason, named in sorted(winters.items(), key=lambda item: -len(item[1])):
        rest = len(named) - most
        more = [say("region_story.and_more", count=rest)] if rest > 0 else []
        which = Listing((*named[:most], *more), "comma")
        items.append(say("region_story.winters_why", winters=which, why=why_said(reason)))
    return Listing(tuple(items), "comma")


def why_said(reason: str) -> Phrase:
    """Why a winter had too few spray days; an empty reason is unknown."""
    return say(f"region_reason.{reason}") if reason else say("region_reason.unknown")
