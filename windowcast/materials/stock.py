"""Which of the user's stock fits a window, and why the others do not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from windowcast.materials.actives import ASK_LABEL, TURF_STATES, Active
from windowcast.materials.needs import needs_of

Fitness = Literal["fit", "marginal", "unfit", "cannot tell"]
_RANK: dict[Fitness, int] = {"unfit": 0, "cannot tell": 1, "marginal": 2, "fit": 3}
PRE_PURPOSES = ("pre-fall", "pre-spring")


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a window offers. NaN, "" or None: not known.

    Attributes
    ----------
    purpose
        One of `windowcast.windows.model.PURPOSES`.
    species, turf_state
        Turf, and how green it is: "dormant", "semi-dormant" or "green".
    temp_c, night_low_c, soil_temp_c, rh_pct
        Air within the window, lowest in the night after, soil at 5 cm, humidity.
    dry_hours
        Hours without rain that follow.
    sunny
        Whether the day and the next are sunny.
    weeds_bbch
        Stage of the larger plants that are up.
    days_to_greenup
        Days left until green-up.
    water_in_days
        Days until enough rain or irrigation is expected; infinite when none is.
    """

    purpose: str
    species: str
    turf_state: str = ""
    temp_c: float = math.nan
    night_low_c: float = math.nan
    soil_temp_c: float = math.nan
    rh_pct: float = math.nan
    dry_hours: float = math.nan
    sunny: bool | None = None
    weeds_bbch: float = math.nan
    days_to_greenup: float = math.nan
    water_in_days: float = math.nan


@dataclass(frozen=True, slots=True)
class StockFit:
    """Judgement of one member of the stock; `reasons` has what keeps it from a better one."""

    active: str
    group: int
    fitness: Fitness
    reasons: tuple[str, ...]


def stock_fit(
    stock: Sequence[Active],
    conditions: Conditions,
    *,
    spent_groups: Sequence[int] = (),
) -> tuple[StockFit, ...]:
    """Judge every member of the stock for a window, best first.

    Parameters
    ----------
    spent_groups
        Groups already used for this purpose this season or last (see `rotation`).
    """
    fits = [_fit(active, conditions, spent_groups) for active in stock]
    return tuple(sorted(fits, key=lambda fit: -_RANK[fit.fitness]))


def _fit(active: Active, now: Conditions, spent: Sequence[int]) -> StockFit:
    found: list[tuple[Fitness, str]] = [*_timing(active, now), *_turf(active, now)]
    if not any(fitness == "unfit" for fitness, _ in found):
        found += [*_weather(active, now), *_plants(active, now), *_soil(active, now)]
    group = int(float(active.group))
    if group in spent:
        found.append(("marginal", f"group {group} already used for this purpose"))
    found.sort(key=lambda item: _RANK[item[0]])
    worst: Fitness = found[0][0] if found else "fit"
    return StockFit(active.name, group, worst, tuple(text for _, text in found))


def _timing(active: Active, now: Conditions) -> list[tuple[Fitness, str]]:
    if now.purpose in PRE_PURPOSES and active.timing.value == "post":
        return [("unfit", "acts only on plants that are up")]
    if now.purpose not in PRE_PURPOSES and active.timing.value == "pre":
        return [("unfit", "acts only before plants are up")]
    return []


def _turf(active: Active, now: Conditions) -> list[tuple[Fitness, str]]:
    safe = active.safe_on(now.species)
    if not safe:
        return [("cannot tell", f"safety on {now.species}: {ASK_LABEL}")]
    if safe == "never":
        return [("unfit", f"harms {now.species}")]
    found: list[tuple[Fitness, str]] = []
    if now.turf_state not in TURF_STATES:
        if safe != "green":
            found.append(("cannot tell", f"{safe} turf only, and how green it is is not known"))
    elif TURF_STATES.index(now.turf_state) > TURF_STATES.index(safe):
        found.append(("unfit", f"{safe} turf only; it is {now.turf_state}"))
    margin = active.before_greenup_d
    if margin is not None:
        if math.isnan(now.days_to_greenup):
            found.append(("cannot tell", "days left to green-up are not known"))
        elif now.days_to_greenup < float(margin):
            text = f"must stay {float(margin):.0f} days ahead of green-up"
            found.append(("unfit", f"{text}; {now.days_to_greenup:.0f} are left"))
    return found


def _weather(active: Active, now: Conditions) -> list[tuple[Fitness, str]]:
    if not active.leaf:
        return []
    needs = needs_of([active], now.species)
    found: list[tuple[Fitness, str]] = []
    slow = "slow active" if needs.translocated else "contact material"
    low, good = needs.temp_low_c, needs.temp_good_c
    if low is None or good is None or math.isnan(low) or math.isnan(good):
        found.append(("cannot tell", f"temperature it needs: {ASK_LABEL}"))
    elif math.isnan(now.temp_c):
        found.append(("cannot tell", "air temperature is not known"))
    elif now.temp_c < low:
        found.append(("unfit", f"{now.temp_c:.0f} °C is too cold for this {slow} ({low:.0f} °C)"))
    elif now.temp_c < good:
        text = f"{now.temp_c:.0f} °C is cool for this {slow}, full effect from {good:.0f} °C"
        found.append(("marginal", text))
    if needs.temp_high_c is not None and now.temp_c > needs.temp_high_c:
        found.append(("unfit", f"{now.temp_c:.0f} °C is over its {needs.temp_high_c:.0f} °C"))
    if needs.night_low_c is not None:
        text = f"night falls to {now.night_low_c:.0f} °C, under {needs.night_low_c:.0f} °C"
        found += _under(now.night_low_c, needs.night_low_c, text, "lowest air of the night")
    if needs.humidity_low_pct is not None:
        text = f"air drier than {needs.humidity_low_pct:.0f} % humidity"
        found += _under(now.rh_pct, needs.humidity_low_pct, text, "humidity")
    if needs.light_needed is not False and not now.sunny:
        if needs.light_needed is None:
            found.append(("cannot tell", f"whether it needs sun: {ASK_LABEL}"))
        elif now.sunny is None:
            found.append(("cannot tell", "whether the sun shines is not known"))
        else:
            found.append(("marginal", "needs sun on the day and after"))
    rain = needs.rain_free_h
    if rain is None or math.isnan(rain):
        found.append(("cannot tell", f"rain-free hours: {ASK_LABEL}"))
    elif math.isnan(now.dry_hours):
        found.append(("cannot tell", "rain after the window is not known"))
    elif now.dry_hours < rain:
        text = f"needs {rain:g} h without rain; {now.dry_hours:.0f} h are expected"
        found.append(("unfit", text))
    return found


def _plants(active: Active, now: Conditions) -> list[tuple[Fitness, str]]:
    if now.purpose in PRE_PURPOSES:
        return []
    if active.largest_bbch is None:
        return [("cannot tell", f"largest plants it controls: {ASK_LABEL}")]
    largest = float(active.largest_bbch)
    if math.isnan(now.weeds_bbch):
        return [("cannot tell", "how old the plants are is not known")]
    if now.weeds_bbch > largest:
        text = f"plants too old: stage {now.weeds_bbch:.0f}, it controls to {largest:.0f} (BBCH)"
        return [("unfit", text)]
    return []


def _soil(active: Active, now: Conditions) -> list[tuple[Fitness, str]]:
    found: list[tuple[Fitness, str]] = []
    if active.soil_temp_high_c is not None:
        high = float(active.soil_temp_high_c)
        text = f"soil over {high:.0f} °C; it works best in cool soil"
        found += _under(-now.soil_temp_c, -high, text, "soil temperature")
    rooted = active.uptake.value in {"root", "soil"}
    if not (rooted or (active.soil and now.purpose in PRE_PURPOSES)):
        return found
    if active.activation_days is None or active.activation_mm is None:
        found.append(("cannot tell", f"watering-in: {ASK_LABEL}"))
    elif math.isnan(now.water_in_days):
        found.append(("cannot tell", "whether it can be watered in is not known"))
    elif now.water_in_days > float(active.activation_days):
        text = f"must be watered in with {float(active.activation_mm):.1f} mm within"
        days = float(active.activation_days)
        found.append(("unfit", f"{text} {days:.0f} day{'s' if days != 1 else ''}"))
    return found


def _under(value: float, limit: float, text: str, what: str) -> list[tuple[Fitness, str]]:
    """Marginal below a limit, "cannot tell" when the value is not known."""
    if math.isnan(value):
        return [("cannot tell", f"{what} is not known")]
    return [("marginal", text)] if value < limit else []
