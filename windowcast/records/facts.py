"""What the weather and the site were at an application: plain facts with where they come from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray, Grade
from windowcast.materials.needs import ActiveNeeds
from windowcast.records.hindsight import block_of, with_entered
from windowcast.records.model import Application
from windowcast.records.prefill import entered_by_operator
from windowcast.season.model import Emergence, TurfPhase
from windowcast.windows.hours import HourContext
from windowcast.windows.model import PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Rule

RAIN_MM = 0.25  # in an hour; less wets leaves but washes nothing off
LOOK_H = 72
_PHASES = {
    TurfPhase.UNKNOWN: "not known",
    TurfPhase.GROWING: "growing",
    TurfPhase.HARDENING: "hardening",
    TurfPhase.DORMANT: "dormant",
    TurfPhase.GREENING: "greening up",
}


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact; NaN when it cannot be told. `text` has the value in SI, `source` its origin.

    `good` is False where the fact by itself explains a failure.
    """

    key: str
    label: str
    value: float
    unit: str
    text: str
    source: str
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
    block = block_of(context, application, Rule.load())
    own = with_entered(context, application, block)
    hours = slice(own.lead + block.start, own.lead + block.stop)
    today = int(own.day[own.lead + block.start])
    after = slice(hours.stop, hours.stop + LOOK_H)
    entered = "temp_c" in entered_by_operator(application)
    origin = "as entered" if entered else _source(own, "temp_c", hours)
    facts = [
        _fact("temp_c", "air temperature", _mean(own.temp_c[0, hours]), "°C", origin),
        _fact(
            "soil_5cm_c", "soil at 5 cm", _day(own.ahead.soil_5cm_c, today), "°C",
            "model or probe",
        ),
        _dry(own, hours.stop),
        _fact(
            "low_c", "lowest air in the 72 hours after",
            _low(own.temp_c[0, after]), "°C", _source(own, "temp_c", after),
        ),
        _freeze(own, hours.stop),
        _fact("week_temp_c", "mean air of the week after", _week(own, today), "°C", "days"),
    ]  # fmt: skip
    watched = own.ahead.emergence.values()
    aimed_at = own.ahead.weeds_of(purpose_of(purpose).weeds) if purpose else list(watched)
    facts += _weeds(aimed_at, today)
    turf = own.ahead.turf
    phase = TurfPhase(int(np.atleast_2d(turf.phase)[0, today]))
    facts.append(Fact("phase", "turf", float(phase), "", _PHASES[phase], "model"))
    for key, label, series in (
        ("days_since_dormant", "days since full dormancy began", turf.days_since_dormant),
        ("days_to_greenup", "days left to green-up", turf.days_to_greenup),
    ):
        facts.append(_fact(key, label, _day(series, today), "days", "model"))
    if needs is not None and needs.activation_mm is not None:
        facts.append(_watered(own, application, needs, today))
    return tuple(facts)


def _fact(key: str, label: str, value: float, unit: str, source: str) -> Fact:
    if math.isnan(value):
        return Fact(key, label, value, unit, "not known", source)
    digits = 0 if unit in {"days", "%", "BBCH"} else 1
    number = f"{value:.{digits}f}".replace("-", "−")
    text = f"BBCH {number}" if unit == "BBCH" else f"{number} {unit}".strip()
    return Fact(key, label, value, unit, text, source)


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
    source = _source(context, "precip_mm", hours)
    label, unit = "hours without rain that followed", "hours"

    def fact(value: float, text: str) -> Fact:
        return Fact("dry_h", label, value, unit, text, source)

    if len(rain) < LOOK_H:
        return fact(math.nan, "not known")
    whole_days = source == "estimated"
    if whole_days:  # spread over its day: a wet day is wet in every hour of it
        totals = context.daily["precip_mm"][0, context.day[hours]]
        wet_hours = np.where(np.isnan(totals), np.nan, totals >= RAIN_MM)
    else:
        wet_hours = np.where(np.isnan(rain), np.nan, rain >= RAIN_MM)
    stops = np.flatnonzero(wet_hours != 0)  # NaN too
    if not stops.size:
        return fact(float(LOOK_H), f"more than {LOOK_H} hours")
    first = int(stops[0])
    if np.isnan(wet_hours[first]):
        return fact(math.nan, "not known")
    if whole_days and first == 0:
        return fact(math.nan, "not known: it rained that day, the hour is not known")
    return fact(float(first), f"{'at least ' if whole_days else ''}{first} hours")


def _freeze(context: HourContext, stop: int) -> Fact:
    """Hours until the air froze, within three days."""
    temp = context.temp_c[0, stop : stop + LOOK_H]
    cold = np.flatnonzero(temp < 0)
    source = _source(context, "temp_c", slice(stop, stop + LOOK_H))
    key, label = "freeze_h", "frost"
    if cold.size:
        return Fact(key, label, float(cold[0]), "hours", f"after {cold[0]} hours", source)
    if len(temp) < LOOK_H or np.isnan(temp).any():
        return Fact(key, label, math.nan, "hours", "not known", source)
    return Fact(key, label, math.inf, "hours", f"none within {LOOK_H} hours", source)


def _week(context: HourContext, today: int) -> float:
    days = slice(today + 1, today + 8)
    mean = (context.daily["tmax_c"][0, days] + context.daily["tmin_c"][0, days]) / 2
    return float(mean.mean()) if mean.shape[-1] == 7 else math.nan


def _weeds(weeds: Sequence[Emergence], today: int) -> list[Fact]:
    """Of each weed that is up, or may be, and the stage of the oldest."""
    facts = []
    stages = []
    for weed in weeds:
        share = _day(weed.share, today)
        if share <= 0:
            continue
        facts.append(
            _fact(f"share_{weed.weed}", f"{weed.name}: share of the season up", 100 * share, "%",
                  "model")
        )  # fmt: skip
        if math.isnan(share) or round(100 * share) < 1:  # so few that their age says nothing
            continue
        young = _day(weed.youngest_share, today)
        facts.append(
            _fact(f"young_{weed.weed}", f"{weed.name}: young among those up", 100 * young, "%",
                  "model")
        )  # fmt: skip
        stages.append((_day(weed.mean_bbch, today), weed.name))
    if not stages:
        return facts
    value, name = max(stages)
    return [*facts, _fact("weeds_bbch", f"{name}: mean stage of those up", value, "BBCH", "model")]


def _watered(
    context: HourContext, application: Application, needs: ActiveNeeds, today: int
) -> Fact:
    """Rain and logged irrigation within the days in which it had to be watered in."""
    key, label = "watered_mm", "watering-in"
    days = needs.activation_days
    if days is None or math.isnan(days) or needs.activation_mm is None:
        return Fact(key, label, math.nan, "mm", "not known: how soon is not known", "rain, log")
    rain = context.daily.get("precip_mm", np.full((1, len(context.ahead.dates)), np.nan))
    window = rain[0, today : today + int(days) + 1]
    total = float(window.sum()) if len(window) == int(days) + 1 else math.nan
    irrigated = application.watered_in_mm or 0.0
    on = application.watered_in_on
    if irrigated and (on is None or (on - application.date).days <= days):
        total = irrigated + (0.0 if math.isnan(total) else total)
    if math.isnan(total):
        return Fact(key, label, total, "mm", "not known", "rain, log")
    enough = total >= needs.activation_mm
    text = f"{total:.1f} mm within {days:.0f} day{'s' if days != 1 else ''}, "
    text += f"{'enough' if enough else 'too little'} ({needs.activation_mm:.1f} mm asked)"
    return Fact(key, label, total, "mm", text, "rain, log", enough)


def _source(context: HourContext, name: str, hours: slice) -> str:
    grades = context.grade.get(name)
    if grades is None or not len(grades[hours]):
        return "not known"
    return Grade(int(grades[hours].max())).name.lower()
