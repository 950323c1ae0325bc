"""The conditions of an application: weather, turf and weeds as they were, each with its origin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, Share, Unit, Value, say
from windowcast.core.record import FloatArray, Grade
from windowcast.materials.needs import ActiveNeeds
from windowcast.records.hour_weather import entered_by_operator
from windowcast.records.model import Application
from windowcast.records.past_windows import block_of, with_entered
from windowcast.season.model import Emergence, TurfPhase
from windowcast.windows.hours import HourContext
from windowcast.windows.model import PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.reasons import SOIL_DEPTH

RAIN_MM = 0.25  # in an hour; less wets leaves but washes nothing off
LOOK_H = 72
NOT_KNOWN = say("fact.not_known")
_OF_UNIT: dict[str, Unit] = {"°C": "degC", "days": "d", "mm": "mm"}


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: `value` in SI, NaN when it cannot be told; `text` says it, `source` its origin.

    `good` is False where the fact by itself explains a failure.
    """

    key: str
    label: Phrase
    value: float
    unit: str
    text: Phrase
    source: Phrase
    good: bool = True


def facts_of(
    context: HourContext,
    application: Application,
    needs: ActiveNeeds | None,
    purpose: PurposeName | None,
) -> tuple[Fact, ...]:
    """Air and soil, rain-free hours and frost that followed, weeds, turf and watering-in.

    Of the weeds those that the purpose aims at; all that are watched where there is none.
    """
    block = block_of(context, application, context.rule)
    own = with_entered(context, application, block)
    hours = slice(own.lead + block.start, own.lead + block.stop)
    today = int(own.day[own.lead + block.start])
    after = slice(hours.stop, hours.stop + LOOK_H)
    entered = "temp_c" in entered_by_operator(application)
    origin = say("origin.entered") if entered else _origin(own, "temp_c", hours)
    air_after = _origin(own, "temp_c", after)
    model = say("origin.model")
    facts = [
        _fact("temp_c", say("fact.temp_c"), _mean(own.temp_c[0, hours]), "°C", origin),
        _fact(
            "soil_5cm_c",
            say("fact.soil_5cm_c", depth=SOIL_DEPTH),
            _day(own.ahead.soil_5cm_c, today),
            "°C",
            say("origin.model_or_probe"),
        ),
        _dry(own, hours.stop),
        _fact(
            "low_c", say("fact.low_c", hours=LOOK_H), _low(own.temp_c[0, after]), "°C", air_after
        ),
        _freeze(own, hours.stop),
        _fact("week_temp_c", say("fact.week_temp_c"), _week(own, today), "°C", say("origin.days")),
    ]
    watched = own.ahead.emergence.values()
    aimed_at = (
        own.ahead.weeds_of(purpose_of(purpose, context.tables).weeds) if purpose else list(watched)
    )
    facts += _weeds(aimed_at, today)
    turf = own.ahead.turf
    phase = TurfPhase(int(np.atleast_2d(turf.phase)[0, today]))
    known = NOT_KNOWN if phase == TurfPhase.UNKNOWN else say(f"fact.phase_is.{phase.name.lower()}")
    facts.append(Fact("phase", say("fact.phase"), float(phase), "", known, model))
    for key, label, series in (
        ("days_since_dormant", say("fact.days_since_dormant"), turf.days_since_dormant),
        ("days_to_greenup", say("fact.days_to_greenup"), turf.days_to_greenup),
    ):
        facts.append(_fact(key, label, _day(series, today), "days", model))
    if needs is not None and needs.activation_mm is not None:
        facts.append(_watered(own, application, needs, today))
    return tuple(facts)


def _fact(key: str, label: Phrase, value: float, unit: str, source: Phrase) -> Fact:
    if math.isnan(value):
        return Fact(key, label, value, unit, NOT_KNOWN, source)
    if unit == "BBCH":
        return Fact(key, label, value, unit, say("fact.stage", stage=round(value)), source)
    said: Value = Share(value / 100) if unit == "%" else Quantity(value, _OF_UNIT[unit])
    return Fact(key, label, value, unit, say("fact.value", value=said), source)


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if len(values) else math.nan


def _low(values: FloatArray) -> float:
    return float(values.min()) if len(values) == LOOK_H else math.nan


def _day(series: FloatArray, index: int) -> float:
    return float(np.atleast_2d(series)[0, index])


def _dry(context: HourContext, stop: int) -> Fact:
    """Hours until rain, as far as the record looks; at least so many where only days are known."""
    hours = slice(stop, stop + LOOK_H)
    rain = context.rain_mm[0, hours]
    source = _origin(context, "precip_mm", hours)

    def fact(value: float, text: Phrase) -> Fact:
        return Fact("dry_h", say("fact.dry_h"), value, "hours", text, source)

    if len(rain) < LOOK_H:
        return fact(math.nan, NOT_KNOWN)
    whole_days = _worst(context, "precip_mm", hours) == Grade.ESTIMATED
    if whole_days:  # spread over its day: a wet day is wet in every hour of it
        totals = context.daily["precip_mm"][0, context.day[hours]]
        wet_hours = np.where(np.isnan(totals), np.nan, totals >= RAIN_MM)
    else:
        wet_hours = np.where(np.isnan(rain), np.nan, rain >= RAIN_MM)
    stops = np.flatnonzero(wet_hours != 0)  # NaN too
    if not stops.size:
        return fact(float(LOOK_H), say("fact.more_than", hours=LOOK_H))
    first = int(stops[0])
    if np.isnan(wet_hours[first]):
        return fact(math.nan, NOT_KNOWN)
    if whole_days and first == 0:
        return fact(math.nan, say("fact.rain_that_day"))
    text = say("fact.at_least", hours=first) if whole_days else say("fact.hours", hours=first)
    return fact(float(first), text)


def _freeze(context: HourContext, stop: int) -> Fact:
    """Hours until the air froze, within three days."""
    temp = context.temp_c[0, stop : stop + LOOK_H]
    cold = np.flatnonzero(temp < 0)
    source = _origin(context, "temp_c", slice(stop, stop + LOOK_H))

    def fact(value: float, text: Phrase) -> Fact:
        return Fact("freeze_h", say("fact.freeze_h"), value, "hours", text, source)

    if cold.size:
        return fact(float(cold[0]), say("fact.after", hours=int(cold[0])))
    if len(temp) < LOOK_H or np.isnan(temp).any():
        return fact(math.nan, NOT_KNOWN)
    return fact(math.inf, say("fact.none_within", hours=LOOK_H))


def _week(context: HourContext, today: int) -> float:
    days = slice(today + 1, today + 8)
    mean = (context.daily["tmax_c"][0, days] + context.daily["tmin_c"][0, days]) / 2
    return float(mean.mean()) if mean.shape[-1] == 7 else math.nan


def _weeds(weeds: Sequence[Emergence], today: int) -> list[Fact]:
    """Of each weed that is up, or may be, and the stage of the oldest."""
    facts = []
    stages = []
    model = say("origin.model")
    for weed in weeds:
        share = _day(weed.share, today)
        if share <= 0:
            continue
        name = say(f"weed.{weed.weed}")
        up = say("fact.share_up", weed=name)
        facts.append(_fact(f"share_{weed.weed}", up, 100 * share, "%", model))
        if math.isnan(share) or round(100 * share) < 1:  # so few that their age says nothing
            continue
        young = 100 * _day(weed.youngest_share, today)
        label = say("fact.young", weed=name)
        facts.append(_fact(f"young_{weed.weed}", label, young, "%", model))
        stages.append((_day(weed.mean_bbch, today), weed.weed))
    if not stages:
        return facts
    value, oldest = max(stages)
    label = say("fact.mean_stage", weed=say(f"weed.{oldest}"))
    return [*facts, _fact("weeds_bbch", label, value, "BBCH", model)]


def _watered(
    context: HourContext, application: Application, needs: ActiveNeeds, today: int
) -> Fact:
    """Rain and logged irrigation within the days in which it had to be watered in."""
    days = needs.activation_days

    def fact(value: float, text: Phrase, *, good: bool = True) -> Fact:
        label, origin = say("fact.watered_mm"), say("origin.rain_and_log")
        return Fact("watered_mm", label, value, "mm", text, origin, good)

    if days is None or math.isnan(days) or needs.activation_mm is None:
        return fact(math.nan, say("fact.days_not_known"))
    rain = context.daily.get("precip_mm", np.full((1, len(context.ahead.dates)), np.nan))
    window = rain[0, today : today + int(days) + 1]
    total = float(window.sum()) if len(window) == int(days) + 1 else math.nan
    irrigated = application.watered_in_mm or 0.0
    on = application.watered_in_on
    if irrigated and (on is None or (on - application.date).days <= days):
        at_least = irrigated + (0.0 if math.isnan(total) else total)
        known = not math.isnan(total) or at_least >= needs.activation_mm
        total = at_least if known else math.nan  # rain that nobody knows may have been enough
    if math.isnan(total):
        return fact(total, NOT_KNOWN)
    enough = total >= needs.activation_mm
    values = {"total": Quantity(total, "mm"), "asked": Quantity(needs.activation_mm, "mm")}
    within = Quantity(days, "d")
    if enough:
        return fact(total, say("fact.watered_enough", days=within, **values))
    return fact(total, say("fact.watered_short", days=within, **values), good=False)


def _worst(context: HourContext, name: str, hours: slice) -> Grade | None:
    """The worst grade of the hours of a quantity; None where none is known."""
    grades = context.grade.get(name)
    if grades is None or not len(grades[hours]):
        return None
    return Grade(int(grades[hours].max()))


def _origin(context: HourContext, name: str, hours: slice) -> Phrase:
    grade = _worst(context, name, hours)
    return NOT_KNOWN if grade is None else say(f"origin.graded.{grade.name.lower()}")
