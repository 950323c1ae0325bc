"""What may have kept an application from working, each cause with its evidence.

Causes are ranked by stated rules, not by odds. A cause is *likely* only where its own figures are
all known and pass the mark of ``data/verdict.toml``: it let a fifth of the season's weeds through,
rain fell within the rain-free hours, the air or the plants were beyond what the actives take, or
less than half of the label's rate went out. *Possible* is what passes the lower mark, or what
passes the higher one on figures that are only estimated. *Cannot tell* is what lacks a figure.
Resistance is never more than possible: survivors of one season can have other reasons, so it asks
for survivors among dead plants and for every other cause to be unlikely. Knowing less never makes
a verdict firmer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from windowcast.core.phrase import NOTHING, Phrase, Quantity, Share, joined, say
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.materials.rotation import named_groups
from windowcast.records.evidence import Evidence
from windowcast.records.looks import SeenAfter

Strength = Literal["likely", "possible", "unlikely", "cannot tell"]
_ORDER: tuple[Strength, ...] = ("likely", "possible", "cannot tell", "unlikely")


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may have gone wrong.

    Attributes
    ----------
    because
        What it did, as a clause for the verdict; empty where it is not likely or possible.
    speaks_for, speaks_against
        Its evidence, each with its figures.
    unknown
        What is missing to tell, with what would tell.
    """

    name: str
    strength: Strength
    label: Phrase
    because: Phrase = NOTHING
    speaks_for: tuple[Phrase, ...] = ()
    speaks_against: tuple[Phrase, ...] = ()
    unknown: tuple[Phrase, ...] = ()
    remedy: Phrase = NOTHING


def causes_of(e: Evidence, seen: SeenAfter, tables: Tables = PACKAGED) -> tuple[Cause, ...]:
    """Every cause that applies, most likely first."""
    marks = tables["verdict"]
    fewest = int(tables["rotation"].number("suspicion.first_days"))
    found = [
        _timing(e, marks), _watering(e, marks), _washed(e), _cold(e), _size(e),
        _worn_out(e, marks), _rate(e, marks), _coverage(seen),
    ]  # fmt: skip
    others = [cause for cause in found if cause is not None]
    causes = [*others, _resistance(e, seen, others, fewest)]
    return tuple(sorted(causes, key=lambda c: _ORDER.index(c.strength)))


def _by_share(share: float, marks: Table) -> Strength:
    """How much a cause explains, by the share of the season's weeds that it let through."""
    if math.isnan(share):
        return "cannot tell"
    if share >= marks.number("share.likely"):
        return "likely"
    return "possible" if share >= marks.number("share.possible") else "unlikely"


def is_bad(strength: Strength) -> bool:
    """Whether a cause is likely or possible."""
    return strength in ("likely", "possible")


def _told(
    name: str,
    strength: Strength,
    label: Phrase,
    fact: Phrase,
    *,
    because: Phrase,
    unknown: Phrase,
    remedy: Phrase,
) -> Cause:
    """A cause with one figure, on the side on which it speaks."""
    if strength == "cannot tell":
        return Cause(name, strength, label, unknown=(unknown,))
    if is_bad(strength):
        return Cause(name, strength, label, because, (fact,), remedy=remedy)
    return Cause(name, strength, label, speaks_against=(fact,))


def _timing(e: Evidence, marks: Table) -> Cause:
    unknown = say("verdict.unknown.emergence")
    if e.pre:
        up = Share(e.up)
        return _told(
            "timing", _by_share(e.up, marks), say("verdict.cause.late"),
            say("verdict.fact.up", share=up),
            because=say("verdict.because.late", share=up), unknown=unknown,
            remedy=say("verdict.remedy.earlier"),
        )  # fmt: skip
    after = Share(e.came_after)
    return _told(
        "timing", _by_share(e.came_after, marks), say("verdict.cause.early"),
        say("verdict.fact.after", share=after, up=Share(e.up)),
        because=say("verdict.because.early", share=after), unknown=unknown,
        remedy=say("verdict.remedy.again"),
    )  # fmt: skip


def _watering(e: Evidence, marks: Table) -> Cause | None:
    if e.need_mm is None:
        return None
    label, need = say("verdict.cause.water"), Quantity(e.need_mm, "mm")
    within = Quantity(e.need_days, "d")
    if math.isnan(e.need_mm) or math.isnan(e.need_days):
        return Cause("water", "cannot tell", label, unknown=(say("verdict.unknown.need"),))
    if e.wait_days <= e.need_days:
        fact = say("verdict.fact.watered", days=Quantity(e.wait_days, "d"), need=need)
        return Cause("water", "unlikely", label, speaks_against=(fact,))
    if math.isnan(e.wait_days):
        return Cause("water", "cannot tell", label, unknown=(say("verdict.unknown.rain"),))
    dry = e.waited_mm < marks.number("water.dry_share") * e.need_mm
    waited, total = Quantity(e.wait_days, "d"), Quantity(e.waited_mm, "mm")
    if math.isinf(e.wait_days):
        because = say("verdict.because.never_watered", need=need)
        fact = say("verdict.fact.never_watered", total=total, need=need, within=within)
    else:
        because = say("verdict.because.dry" if dry else "verdict.because.little_water", days=waited)
        fact = say(
            "verdict.fact.dry", total=total, days=waited, need=need, within=within,
        )  # fmt: skip
    strength = _by_share(e.up_waiting, marks)
    facts: list[Phrase] = [fact]
    if strength == "cannot tell":  # late all the same
        strength = "possible"
    else:
        facts.append(say("verdict.fact.up_waiting", share=Share(e.up_waiting)))
    unknown: tuple[Phrase, ...] = ()
    if not e.watering_said:
        strength = "possible" if strength == "likely" else strength
        unknown = (say("verdict.unknown.irrigation"),)
    if not is_bad(strength):
        return Cause("water", strength, label, speaks_against=tuple(reversed(facts)))
    remedy = say("verdict.remedy.water", need=need)
    return Cause("water", strength, label, because, tuple(facts), (), unknown, remedy)


def _washed(e: Evidence) -> Cause | None:
    label = say("verdict.cause.washed")
    if e.rain_free_h is not None:
        need = Quantity(e.rain_free_h, "h")
        if math.isnan(e.rain_free_h):
            return Cause(
                "washed", "cannot tell", label, unknown=(say("verdict.unknown.rain_free"),)
            )
        strength: Strength = "cannot tell"
        because = say("verdict.because.washed", hours=Quantity(e.dry_h, "h"))
        fact = say("verdict.fact.dry_hours", hours=Quantity(e.dry_h, "h"), need=need)
        if not math.isnan(e.dry_h):
            strength = "likely" if e.dry_h < e.rain_free_h else "unlikely"
        elif e.rain_that_day:
            strength = "possible"
            because = say("verdict.because.rain_that_day")
            fact = say("verdict.fact.rain_that_day", need=need)
        return _told(
            "washed", strength, label, fact, because=because, unknown=say("verdict.unknown.rain"),
            remedy=say("verdict.remedy.dry", need=need),
        )  # fmt: skip
    if e.washing_limit_mm is None:
        return None
    strength = "cannot tell"
    if not any(map(math.isnan, (e.washing_mm, e.washing_limit_mm))):
        strength = "possible" if e.washing_mm >= e.washing_limit_mm else "unlikely"
    rain = Quantity(e.washing_mm, "mm")
    return _told(
        "washed", strength, label, say("verdict.fact.first_day", rain=rain),
        because=say("verdict.because.heavy_rain", rain=rain), unknown=say("verdict.unknown.rain"),
        remedy=say("verdict.remedy.heavy_rain"),
    )  # fmt: skip


def _cold(e: Evidence) -> Cause | None:
    if e.low_c is None and e.good_c is None and e.night_low_c is None:
        return None
    low, good, night_low = (
        math.nan if c is None else c for c in (e.low_c, e.good_c, e.night_low_c)
    )
    air, week, night = (Quantity(c, "degC") for c in (e.air_c, e.week_c, e.night_c))
    low_at, good_at, night_at = (Quantity(c, "degC") for c in (low, good, night_low))
    speaks: list[Phrase] = []
    because: list[Phrase] = []
    strength: Strength = "unlikely"
    if e.air_c < low:
        strength = "likely"
        speaks.append(say("verdict.fact.cold", air=air, low=low_at))
        because.append(say("verdict.because.cold", air=air))
    elif e.air_c < good:
        strength = "possible"
        speaks.append(say("verdict.fact.cool", air=air, good=good_at))
        because.append(say("verdict.because.cool", air=air))
    if e.week_c < low:
        strength = "possible" if strength == "unlikely" else strength
        speaks.append(say("verdict.fact.cold_week", week=week, low=low_at))
        because.append(say("verdict.because.cold_week", week=week))
    if e.night_c < night_low:
        strength = "possible" if strength == "unlikely" else strength
        speaks.append(say("verdict.fact.cold_night", night=night, low=night_at))
        because.append(say("verdict.because.cold_night", night=night))
    label = say("verdict.cause.cold")
    if speaks:
        remedy = say("verdict.remedy.warm", good=good_at if math.isfinite(good) else low_at)
        if math.isnan(good) and math.isnan(low):
            remedy = say("verdict.remedy.warm_nights", low=night_at)
        return Cause("cold", strength, label, because[0], tuple(speaks), remedy=remedy)
    night_known = e.night_low_c is None or not any(map(math.isnan, (e.night_c, night_low)))
    if any(map(math.isnan, (e.air_c, e.week_c, low, good))) or not night_known:
        return Cause("cold", "cannot tell", label, unknown=(say("verdict.unknown.warmth"),))
    against = say("verdict.fact.warm", air=air, week=week, good=good_at)
    return Cause("cold", "unlikely", label, speaks_against=(against,))


def _size(e: Evidence) -> Cause | None:
    if e.pre or (e.largest is None and e.lost is None):
        return None
    label = say("verdict.cause.size")
    largest = math.nan if e.largest is None else e.largest
    lost = largest if e.lost is None else e.lost
    if math.isnan(e.stage) or math.isnan(lost) or (math.isnan(largest) and e.stage < lost):
        what = say("verdict.unknown.stage" if math.isnan(e.stage) else "verdict.unknown.largest")
        return Cause("size", "cannot tell", label, unknown=(what,))
    strength: Strength = "unlikely"
    if e.stage > lost or (e.lost is not None and e.stage >= lost):
        strength = "likely" if e.stage_counted else "possible"
    elif e.stage > largest:
        strength = "possible"
    how = say("verdict.by_count" if e.stage_counted else "verdict.by_model")
    stage = plant_stage(e.stage)
    fact = say("verdict.fact.size", stage=stage, largest=plant_stage(lost), how=how)
    return _told(
        "size", strength, label, fact, because=say("verdict.because.size", stage=stage),
        unknown=NOTHING, remedy=say("verdict.remedy.younger", largest=plant_stage(lost)),
    )  # fmt: skip


def _worn_out(e: Evidence, marks: Table) -> Cause | None:
    if not e.pre:
        return None
    later = Share(e.up_later)
    label = say("verdict.cause.worn_out")
    strength = _by_share(e.up_later, marks)
    if e.ran_out is None:
        fact = because = say("verdict.fact.lasted")
        strength = "unlikely" if strength == "unlikely" else "cannot tell"
    else:
        fact = say("verdict.fact.ran_out", day=e.ran_out, share=later)
        because = say("verdict.because.worn_out", day=e.ran_out, share=later)
    return _told(
        "worn_out", strength, label, fact, because=because,
        unknown=say("verdict.unknown.residual"), remedy=say("verdict.remedy.second"),
    )  # fmt: skip


def _rate(e: Evidence, marks: Table) -> Cause:
    strength: Strength = "cannot tell"
    if not math.isnan(e.rate_share):
        strength = "unlikely"
        if e.rate_share < marks.number("rate.possible"):
            strength = "likely" if e.rate_share < marks.number("rate.likely") else "possible"
    share = Share(e.rate_share)
    return _told(
        "rate", strength, say("verdict.cause.rate"), say("verdict.fact.rate", share=share),
        because=say("verdict.because.rate", share=share), unknown=say("verdict.unknown.rate"),
        remedy=say("verdict.remedy.rate"),
    )  # fmt: skip


def _coverage(seen: SeenAfter) -> Cause:
    strength: Strength = "cannot tell"
    if seen.even is not None:
        strength = "unlikely" if seen.even else "possible"
    return _told(
        "coverage", strength, say("verdict.cause.coverage"),
        say("verdict.fact.even" if seen.even else "verdict.fact.uneven"),
        because=say("verdict.because.coverage"), unknown=say("verdict.unknown.spots"),
        remedy=say("verdict.remedy.coverage"),
    )  # fmt: skip


def _resistance(e: Evidence, seen: SeenAfter, others: Sequence[Cause], fewest: int) -> Cause:
    """Possible at most: survivors among dead plants, and nothing else that explains them."""
    label = say("verdict.cause.resistance")
    speaks: list[Phrase] = []
    against: list[Phrase] = []
    unknown: list[Phrase] = []
    if e.group_seasons and e.groups:
        used = named_groups(e.groups)
        speaks.append(say("verdict.fact.group", groups=used, seasons=e.group_seasons))
    explained = [c for c in others if c.strength == "likely"]
    if explained:
        against.append(say("verdict.fact.explained", causes=joined(*(c.label for c in explained))))
    on = seen.survivors_on
    in_time = on is not None and on >= seen.first and on <= seen.last
    if seen.survivors_mixed and in_time:
        speaks.append(say("verdict.fact.survivors"))
    elif seen.survivors_mixed is False:
        against.append(say("verdict.fact.no_survivors"))
    else:
        unknown.append(say("verdict.unknown.survivors", days=fewest))
    open_ = [c.label for c in others if c.strength in ("possible", "cannot tell")]
    if open_:
        unknown.append(say("verdict.unknown.others", causes=joined(*open_)))
    strength: Strength = "cannot tell"
    if against:
        strength = "unlikely"
    elif seen.survivors_mixed and in_time and not open_:
        strength = "possible"
    because = say("verdict.because.resistance") if strength == "possible" else NOTHING
    remedy = say("verdict.remedy.resistance") if strength == "possible" else NOTHING
    return Cause(
        "resistance", strength, label, because, tuple(speaks), tuple(against), tuple(unknown),
        remedy,
    )  # fmt: skip


def plant_stage(bbch: float) -> Phrase:
    """A stage as people see it: leaves, then tillers."""
    code = round(bbch)
    if code < 20:
        return say("verdict.stage.leaves", count=max(code - 10, 0))
    return say("verdict.stage.tillers", count=min(code - 20, 9))
