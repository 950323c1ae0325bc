"""The winters of a region without a week of two spray days, in sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Value, say
from windowcast.region.regional import Region
from windowcast.report.region_words import season_named

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
