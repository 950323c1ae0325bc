"""The season plan as text for a terminal and as JSON with its schema."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence
from importlib import resources
from typing import Any

from windowcast.core.units import Display
from windowcast.limits.model import refused
from windowcast.programme.model import KeyDate, PurposePlan, SeasonPlan, Week
from windowcast.report import wording
from windowcast.report.screen import prose_width, wrapped
from windowcast.report.tables import plain
from windowcast.report.turf_lines import plan_lines
from windowcast.windows import words
from windowcast.windows.model import CoverPlan
from windowcast.windows.odds import DateRange

HARDLY = 0.005  # a share that is not worth a number
_DATES = " {:>11}  {:>16}  {:>7}"  # columns of a key date after its label
_STATUS = {
    "open": "open now",
    "ahead": "still to come",
    "over": "over",
    "cannot tell": "cannot tell",
}


def plan_json(plan: SeasonPlan) -> str:
    """The plan as a JSON document, SI units, valid under `plan_schema`."""
    return json.dumps(plain(plan), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def plan_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of `plan_json`, generated from the dataclasses."""
    from pydantic import TypeAdapter

    schema = TypeAdapter(SeasonPlan).json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Answer of windowcast season --format json",
        **{key: item for key, item in schema.items() if key != "title"},
    }


def shipped_plan_schema() -> dict[str, Any]:
    """The JSON Schema as shipped in the package."""
    path = resources.files("windowcast.data").joinpath("schema", "season.schema.json")
    shipped: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return shipped


def plan_text(plan: SeasonPlan, width: int | None = None) -> str:
    """The plan for a terminal of so many columns; None for the one there is."""
    width = width or prose_width()
    display = Display(plan.units)
    lines = [f"{plan.site}  season {plan.season}, {wording.long_day(plan.today)}", ""]
    for text in plan.standing:
        lines += wrapped(wording.in_units(text, display), width)
    lines += ["", *_key_dates(plan.key_dates, display, width), ""]
    for purpose in plan.purposes:
        lines.append(f"{purpose.title}: {status_words(purpose)}")
        lines += [line for text in _purpose(purpose) for line in wrapped(text, width, "  ")]
        lines.append("")
    lines += [*_weeks(plan.purposes), ""]
    for text in plan.assumptions:
        lines += wrapped(text, width)
    return "\n".join(lines) + "\n"


def span(when: DateRange | None) -> tuple[str, str]:
    """The middle date and the 10 to 90 % of a date that is not sure; "none" if mostly it is not."""
    if when is None:
        return "cannot tell", ""
    if when.median is None:
        return "none", f"in {wording.share(when.never)} of cases"
    ends = [short(day) if day else "never" for day in (when.early, when.late)]
    return short(when.median), "" if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def short(day: dt.date) -> str:
    """``6 Nov``."""
    return f"{day.day} {day:%b}"


def _key_dates(dates: Sequence[KeyDate], display: Display, width: int) -> Iterator[str]:
    """A row for each date; a label that has no room in its column takes two."""
    room = min(58, width - len(_DATES.format("", "", "")))
    yield f"{'Key dates':{room}}{_DATES.format('this season', '10 to 90 %', 'normal')}"
    for key in dates:
        middle, ends = span(key.ahead)
        if key.passed:
            middle, ends = short(key.passed), "has come"
        first, *rest = wrapped(wording.in_units(key.label, display), room, hanging="  ")
        yield f"{first:{room}}{_DATES.format(middle, ends, span(key.normal)[0])}"
        yield from rest


def _purpose(plan: PurposePlan) -> Iterator[str]:
    """What is said of a purpose below its title, a paragraph each."""
    normal = normal_from_to(plan)
    yield f"{from_to(plan)}{normal and '; normal '}{normal}."
    yield from plan_lines(plan.turf)
    if plan.decision:
        yield plan.decision.advice
    for cover in () if refused(plan.turf) else plan.covers:
        yield from _cover(cover)
    yield fewest_days(plan)
    if plan.status != "over" and not never_opens(plan):
        yield f"If missed: {plan.if_missed}"
        yield plan.delay_cost


def status_words(plan: PurposePlan) -> str:
    """Where a purpose stands: ``open now``, ``about to open``, ``over``, ..."""
    if never_opens(plan):
        return "not expected"
    if plan.status == "open" and plan.opened is None:
        return "about to open"
    return _STATUS[plan.status]


def never_opens(plan: PurposePlan) -> bool:
    """Whether a purpose stays shut this season in most futures."""
    return plan.opened is None and plan.opens is not None and plan.opens.median is None


def from_to(plan: PurposePlan) -> str:
    """When a purpose opens and closes this season: ``opened 4 Oct, closes about 20 Dec (...)``."""
    if plan.opens is not None and never_opens(plan):
        return f"does not open in {wording.share(plan.opens.never)} of the possible futures"
    if plan.opened is None and plan.opens is None:
        return "when it opens and closes cannot be told"
    first = f"opened {short(plan.opened)}" if plan.opened else f"opens {_dated(plan.opens)}"
    if plan.closed is None and plan.closes is None:
        return f"{first}, when it {'closed' if plan.status == 'over' else 'closes'} cannot be told"
    last = f"closed {short(plan.closed)}" if plan.closed else f"closes {_dated(plan.closes)}"
    if plan.reopens >= HARDLY:
        last += f" (it opens once more in {wording.share(plan.reopens)} of the possible futures)"
    return f"{first}, {last}"


def fewest_days(plan: PurposePlan) -> str:
    """The leanest fortnight of a purpose's time in a sentence; "" where it cannot be told."""
    lean = plan.fewest
    if lean is None or plan.status == "over" or never_opens(plan):
        return ""
    return (
        f"Fewest workable days: about {lean.days:.0f} ({lean.low:.0f} to {lean.high:.0f}) of the "
        f"{lean.open_days} that the calendar leaves in the fortnight from {short(lean.start)}."
    )


def normal_from_to(plan: PurposePlan) -> str:
    """Usual first and last day, ``4 Oct to 3 Dec``; "" without past seasons to tell."""
    opens, closes = plan.normal_opens, plan.normal_closes
    if opens is None or closes is None:
        return ""
    if opens.median is None:
        return f"not to open ({wording.share(opens.never)} of past seasons)"
    return f"{span(opens)[0]} to {span(closes)[0]}"


def _dated(when: DateRange | None) -> str:
    if when is not None and when.median is not None and when.by_calendar:
        return words.from_start(when.median, when.late)
    middle, ends = span(when)
    return f"about {middle} ({ends})" if ends else middle


def _cover(cover: CoverPlan) -> Iterator[str]:
    yield cover.text
    if cover.split and cover.split_caught is not None:
        days = " and ".join(short(day) for day in cover.split)
        yield f"Half the dose on {days} would catch {wording.share(cover.split_caught)}."
    low, usual, high = cover.half_life_d
    yield f"Half-life {usual:g} d ({low:g} to {high:g}; {cover.half_life_source})."


def _weeks(purposes: Sequence[PurposePlan]) -> Iterator[str]:
    """Workable days by week, a column for each purpose that has weeks ahead."""
    shown = [plan for plan in purposes if plan.weeks]
    if not shown:
        return
    yield "Workable days (mean, 10 to 90 % in brackets) of those the calendar leaves"
    yield f"{'week of':10}" + "".join(f"{plan.purpose:>17}" for plan in shown)
    by_start: dict[dt.date, dict[str, Week]] = {}
    for plan in shown:
        for week in plan.weeks:
            by_start.setdefault(week.start, {})[plan.purpose] = week
    for start in sorted(by_start):
        cells = "".join(f"{_days(by_start[start].get(plan.purpose)):>17}" for plan in shown)
        yield f"{short(start):10}{cells}".rstrip()


def _days(week: Week | None) -> str:
    if week is None:
        return ""
    if week.days is None or week.low is None or week.high is None:
        return "cannot tell"
    return f"{week.days:.1f} ({week.low:.0f}–{week.high:.0f}) of {week.open_days}"
