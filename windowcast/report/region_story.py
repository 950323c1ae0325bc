"""What a comparison finds, in sentences: the page and the terminal begin with them.

A difference or a trend whose interval includes 0 is no finding: the sentence then says that none
shows and gives no number.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Phrase, Value, joined, say, sentences
from windowcast.core.season_calendar import paired_year
from windowcast.region.columns import day_of_season
from windowcast.region.compare import Compared
from windowcast.region.regional import Estimate, Region
from windowcast.report.catalogue import Voice
from windowcast.report.region_findings import (
    SPRAY_DAYS,
    Apart,
    Findings,
    Pair,
    gap,
    named,
    shows,
    turned,
)
from windowcast.report.region_words import MOST_NAMED, failing_said, season_named

FALL, DORMANT, GREENUP = "soil_21", "dormant", "greenup"
_OFTEN = 0.95
_MOSTLY = 0.5  # of its dates
_NEAR = 0.2  # of a whole number of times


@dataclass(frozen=True)
class Story:
    """The main finding and what stands behind it; all empty without a region."""

    title: Phrase
    lines: tuple[Phrase, ...]


def story(found: Findings) -> Story:
    """The sentences of a comparison."""
    if not found.regions:
        return Story(NOTHING, ())
    pair = found.main_pair
    lines = (
        _across(found),
        _average(found, pair),
        _fall(found, pair),
        _dormancy(found, pair),
        _already(found),
        *(failing_said(region, found.name(region)) for region in named(found, pair)),
    )
    return Story(_title(found, pair), tuple(line for line in lines if line))


def sub_line(data: Compared, told: Findings, voice: Voice) -> str:
    """How many stations and winters stand behind it."""
    counts = [region.stations for region in told.regions] or [len(data)]
    if len(counts) > 1 and not told.regional.of_stations and len(counts) <= MOST_NAMED:
        stations = voice.say("region.station_counts", counts=joined(*counts))
    else:
        stations = voice.say("region.station_count", stations=sum(counts))
    some = [region for region in told.regions if len(region.seasons)]
    if not some:
        return f"{stations} · {voice.say('region.no_season')}"
    ends = [
        (int(paired_year(season, region.southern)), region.southern, season)
        for region in some
        for season in (int(region.seasons.min()), int(region.seasons.max()))
    ]  # of two winters of one year the northern begins and ends first
    first_named, last_named = (
        season_named(season, southern=southern) for _, southern, season in (min(ends), max(ends))
    )
    count = max(len(region.seasons) for region in some)
    if first_named == last_named:
        span = voice.say("region.only_winter", first=first_named)
    else:
        span = voice.say("region.winters", winters=count, first=first_named, last=last_named)
    return f"{stations} · {span}"


def left_out_line(data: Compared, voice: Voice) -> str:
    """How many stations are left out and why; "" where none is."""
    if not data.unusable:
        return ""
    kinds = Counter(each.kind for each in data.left_out)
    why = joined(
        *(say(f"region_left.{kind.replace(' ', '_')}", stations=n) for kind, n in kinds.items()),
        join="comma",
    )
    return voice.say("region.left_out", stations=data.unusable, why=why)


def weekly_limit(told: Findings, voice: Voice) -> str:
    """How many pairs of regions are compared by week; "" where all are."""
    pairs, shown = math.comb(len(told.regions), 2), len(told.regional.weeks_between)
    if not 0 < shown < pairs:
        return ""
    return voice.say("region_limit.compared", shown=shown, of=pairs)


def _title(found: Findings, pair: Pair | None) -> Phrase:
    if pair is None:
        region = found.regions[0]
        typical = _typical(region)
        if typical is None:
            return NOTHING
        return say(
            "region_story.title_one",
            region=found.name(region),
            count=say("region_story.spray_days", days=round(typical.middle)),
        )
    more, less = pair
    names = {"more": found.name(more), "less": found.name(less)}
    days = gap(found, SPRAY_DAYS, pair)
    if days is not None and days.shows:
        if len(found.regions) > 2:
            places = len(found.regions)
            if found.regional.of_stations:
                return say("region_story.title_stations", stations=places, **names)
            return say("region_story.title_many", regions=places, **names)
        times = _times(more, less)
        if times:
            return say("region_story.title_times", times=times, **names)
        count = say("region_story.little_more")
        if more_days := round(days.estimate.middle):
            count = say("region_story.more_days", days=more_days)
        return say("region_story.title_more", count=count, **names)
    fall = gap(found, FALL, pair)
    if fall is not None and fall.shows:
        return say("region_story.title_fall", **_later(fall, pair, found))
    return say("region_story.title_none", **names)


def _typical(region: Region) -> Estimate | None:
    """Spray days of an average winter; None where that is unknown."""
    of = region.quantities.get(SPRAY_DAYS)
    return of.typical if of is not None and math.isfinite(of.typical.middle) else None


def _times(more: Region, less: Region) -> Phrase:
    """How many times as many spray days, where that is near two or three."""
    most, few = _typical(more), _typical(less)
    if most is None or few is None or few.middle < 1:
        return NOTHING
    ratio = most.middle / few.middle
    if abs(ratio - 2) <= _NEAR:
        return say("region_story.twice")
    return say("region_story.three_times") if abs(ratio - 3) <= _NEAR else NOTHING


def _across(found: Findings) -> Phrase:
    """Which regions mix both hemispheres; their dates in the south lie half a year apart."""
    mixed = [found.name(region) for region in found.regions if region.across]
    return say("region_story.across", regions=joined(*mixed)) if mixed else NOTHING


def _already(found: Findings) -> Phrase:
    """Whose dates had at times come before they were searched, where that bears on a difference."""
    early = [r for r in found.regions if any(q.already > 0 for q in r.quantities.values())]
    if not early or len(found.regions) < 2:
        return NOTHING
    if len(early) > MOST_NAMED:
        return say("region_story.already_many", regions=len(early))
    return say("region_story.already", regions=joined(*map(found.name, early)))


def _average(found: Findings, pair: Pair | None) -> Phrase:
    """Spray days of an average winter, and by how much the pair differs."""
    clauses: list[Phrase] = []
    for region in named(found, pair):
        typical = _typical(region)
        if typical is not None:
            days = round(typical.middle)
            at_least_0 = Estimate(
                *(max(0.0, v) for v in (typical.middle, typical.low, typical.high))
            )
            given = {"region": found.name(region), **_ends(at_least_0)}
            if clauses:
                clauses.append(say("region_story.has_too", count=days, **given))
            else:
                spray_days = say("region_story.spray_days", days=days)
                clauses.append(say("region_story.has", count=spray_days, **given))
    if not clauses:
        known = any(SPRAY_DAYS in region.quantities for region in found.regions)
        return say("region_story.average_unknown") if known else NOTHING
    first = say("region_story.average", of=joined(*clauses))
    apart = None if pair is None else gap(found, SPRAY_DAYS, pair)
    if pair is None or apart is None:
        return first
    if not apart.shows:
        return sentences(first, say("region_story.no_difference"))
    names = {"more": found.name(pair[0]), "less": found.name(pair[1])}
    between = say("region_story.difference_of", days=_days(apart), **names, **_ends(apart.estimate))
    return sentences(first, between)


def _fall(found: Findings, pair: Pair | None) -> Phrase:
    """When the fall window opens, and whether that has moved."""
    first = say("region_story.fall_unknown")
    if pair is None:
        region = found.regions[0]
        opens = region.quantities[FALL].typical
        if all(map(math.isfinite, (opens.middle, opens.low, opens.high))):
            days = {"day": opens.middle, "low": opens.low, "high": opens.high}
            dates = {k: day_of_season(round(d), southern=region.southern) for k, d in days.items()}
            first = say("region_story.fall_opens", **dates)
        elif math.isinf(opens.middle):
            first = say("region_story.fall_seldom", regions=found.name(region))
        elif math.isinf(opens.high):
            ends = (opens.middle, opens.low)
            day, low = (day_of_season(round(end), southern=region.southern) for end in ends)
            first = say("region_story.fall_opens_or_not", day=day, low=low)
        return sentences(first, *_moved(found, pair))
    apart = gap(found, FALL, pair)
    if apart is not None and apart.shows:
        first = say("region_story.fall_apart", **_later_by(apart, pair, found))
    elif apart is not None:
        names = joined(found.name(pair[0]), found.name(pair[1]))
        first = say("region_story.fall_same", regions=names)
    elif all(math.isinf(region.quantities[FALL].typical.middle) for region in pair):
        names = joined(found.name(pair[0]), found.name(pair[1]))
        first = say("region_story.fall_seldom", regions=names)
    elif early := [found.name(r) for r in pair if r.quantities[FALL].already >= _MOSTLY]:
        first = say("region_story.fall_already", regions=joined(*early))
    return sentences(first, *_moved(found, pair))


def _moved(found: Findings, pair: Pair | None) -> Iterator[Phrase]:
    """How the opening of the fall window has moved in each region, and where no trend shows.

    Where it does not open every fall, how far its dates have moved is unknown: what is said is
    whether it opens as often as before.
    """
    still: list[Region] = []
    as_often: list[Region] = []
    for region in named(found, pair):
        of = region.quantities[FALL]
        chance = of.happens_trend if of.median else None
        trend, q = (of.trend_per_decade, of.trend_q) if chance is None else (
            chance.times(100), of.happens_trend_q,
        )  # fmt: skip
        if not math.isfinite(trend.middle):
            continue
        if not shows(trend, q):
            (still if chance is None else as_often).append(region)
            continue
        ends = _ends(trend if trend.middle > 0 else turned(trend))
        given = {"region": found.name(region), "seasons": of.seasons, **ends}
        count, more = abs(round(trend.middle)), trend.middle > 0
        if chance is None:
            way = "later" if more else "earlier"
            yield say(f"region_story.moved_{way}", days=_counted(count), **given)
        else:
            way = "more" if more else "less"
            points = say("region_story.points", points=count)
            yield say(f"region_story.opens_{way}", points=points, **given)
    if still:
        yield say("region_story.no_trend", **_seen(still, found))
    if as_often:
        yield say("region_story.opens_as_often", **_seen(as_often, found))


def _seen(regions: Sequence[Region], found: Findings) -> dict[str, Value]:
    """Regions by name, and the most seasons that one of them has."""
    seasons = max(region.quantities[FALL].seasons for region in regions)
    return {"regions": joined(*(found.name(region) for region in regions)), "seasons": seasons}


def _dormancy(found: Findings, pair: Pair | None) -> Phrase:
    """How far apart dormancy and green-up are, and where turf often stays green."""
    parts = []
    for quantity, id_ in ((DORMANT, "dormant"), (GREENUP, "greenup")):
        apart = None if pair is None else gap(found, quantity, pair)
        if pair is not None and apart is not None and apart.shows:
            parts.append(say(f"region_story.{id_}_apart", **_later_by(apart, pair, found)))
    for region in named(found, pair):
        happens = region.quantities[DORMANT].happens
        if happens is not None and happens.middle < _OFTEN:
            tenths = {
                name: round(10 * min(max(share, 0.0), 1.0))
                for name, share in (
                    ("count", happens.middle), ("low", happens.low), ("high", happens.high),
                )
            }  # fmt: skip
            name = found.name(region)
            if tenths["count"]:
                parts.append(say("region_story.happens", region=name, **tenths))
            else:
                ends = {end: tenths[end] for end in ("low", "high")}
                parts.append(say("region_story.hardly_happens", region=name, **ends))
    return sentences(*parts)


def _later(apart: Apart, pair: Pair, found: Findings) -> dict[str, Value]:
    """In which of a pair something comes how many days later: values of a sentence."""
    later, earlier = pair if apart.estimate.middle > 0 else (pair[1], pair[0])
    return {"days": _days(apart), "later": found.name(later), "earlier": found.name(earlier)}


def _later_by(apart: Apart, pair: Pair, found: Findings) -> dict[str, Value]:
    """The same with its interval."""
    ends = apart.estimate if apart.estimate.middle > 0 else turned(apart.estimate)
    return {**_later(apart, pair, found), **_ends(ends)}


def _days(apart: Apart) -> Phrase:
    """So many days, or at least so many."""
    count = abs(round(apart.estimate.middle))
    return say("region_story.at_least", days=count) if apart.at_least else _counted(count)


def _counted(days: int) -> Phrase:
    """So many days; 0 is what was rounded, as nothing at all would not show."""
    return say("region_story.days", days=days) if days else say("region_story.under_a_day")


def _ends(estimate: Estimate) -> dict[str, int]:
    """Both ends of an interval in whole days."""
    return {"low": round(estimate.low), "high": round(estimate.high)}
