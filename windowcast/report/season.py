"""The season plan as text for a terminal and as JSON with its schema."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence
from typing import Any

from windowcast.core.phrase import (
    NOTHING,
    Name,
    Noted,
    Phrase,
    Quantity,
    Share,
    Span,
    joined,
    names,
    say,
    sentences,
)
from windowcast.limits.model import refused
from windowcast.programme.model import KeyDate, PurposePlan, SeasonPlan, Week
from windowcast.report import wording
from windowcast.report.board import plan_lines
from windowcast.report.catalogue import Voice
from windowcast.report.plain import plain, schema_of
from windowcast.report.terminal_width import prose_width, wrapped
from windowcast.windows.model import CoverPlan
from windowcast.windows.odds import DateRange
from windowcast.windows.reasons import from_start

MAY_HAVE_COME = 0.05  # share of the futures from which a date may have come already
HARDLY = 0.005  # a share that is not worth a number
_WIDTHS = (11, 16, 7)  # columns of a key date after its label, at least


def plan_json(*plans: SeasonPlan, voice: Voice) -> str:
    """The plan as a JSON document, numbers in SI units, valid under `plan_schema`.

    For a site whose file names areas a list of such documents, one for each piece of ground.
    """
    documents = [plain(plan, voice) for plan in plans]
    found = documents if any(plan.areas for plan in plans) else documents[0]
    return json.dumps(found, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def plan_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of `plan_json`, generated from the dataclasses."""
    return schema_of(SeasonPlan, "Answer of windowcast season --format json")


def plan_text(plan: SeasonPlan, voice: Voice, width: int | None = None) -> str:
    """The plan for a terminal of so many columns; None for the one there is."""
    width = width or prose_width()
    place = Name(wording.ground(plan.site, plan.areas))
    head = say("season.head", site=place, season=Name(plan.season), today=plan.today)
    lines = [voice.text(head), ""]
    for text in plan.standing:
        lines += wrapped(voice.text(text), width)
    lines += ["", *_key_dates(plan.key_dates, voice, width), ""]
    for purpose in plan.purposes:
        status = status_words(purpose)
        lines.append(voice.say("note.about", what=purpose.title, note=status))
        for said in _purpose(purpose, plan.today):
            lines += wrapped(voice.text(said), width, "  ")
        lines.append("")
    lines += [*_weeks(plan.purposes, voice, width), ""]
    if plan.resistance:
        lines.append(voice.say("resistance.head"))
        for text in plan.resistance:
            lines += wrapped(voice.text(text), width, "  ")
        lines.append("")
    for text in plan.assumptions:
        lines += wrapped(voice.text(text), width)
    return "\n".join(lines) + "\n"


def span(when: DateRange | None, voice: Voice) -> tuple[str, str]:
    """The middle date and the 10 to 90 % of a date that is not sure; "none" if mostly it is not."""
    if when is None:
        return voice.say("window_verdict.cannot_tell"), ""
    if when.median is None:
        return voice.say("season.none"), voice.say("season.in_cases", share=Share(when.never))
    never = voice.say("when.not" if when.never >= when.unknown else "when.open")
    ends = [voice.write(day, "short") if day else never for day in (when.early, when.late)]
    middle = voice.write(when.median, "short")
    return middle, "" if ends[0] == ends[1] else voice.write(names(*ends, join="to"))


def _key_dates(dates: Sequence[KeyDate], voice: Voice, width: int) -> Iterator[str]:
    """A row for each date; a label that has no room in its column takes two."""
    heads = [voice.say(f"season_head.{head}") for head in ("this_season", "likely_range", "normal")]
    wide = [max(least, len(head)) for least, head in zip(_WIDTHS, heads, strict=True)]
    columns = " " + "  ".join(f"{{:>{room}}}" for room in wide)
    room = min(58, width - len(columns.format("", "", "")))
    yield f"{voice.say('season.key_dates'):{room}}{columns.format(*heads)}"
    for key in dates:
        middle, ends = span(key.ahead, voice)
        if key.passed:
            middle = voice.write(key.passed, "short")
            ends = came_between(key, voice) or voice.say("season.has_come")
        first, *rest = wrapped(voice.text(key.label), room, hanging="  ")
        normal = span(key.normal, voice)[0] if key.normal or key.years else ""
        yield f"{first:{room}}{columns.format(middle, ends, normal)}".rstrip()
        yield from rest
        if key.passed is None and (doubt := come_by_now(key, voice)):
            yield f"  {doubt}"


def came_between(key: KeyDate, voice: Voice) -> str:
    """``10 Sep to 18 Sep`` of a date that has passed on a day that is not sure, else ""."""
    if key.passed_between is None:
        return ""
    days = (voice.write(day, "short") for day in key.passed_between)
    return voice.write(names(*days, join="to"))


def come_by_now(key: KeyDate, voice: Voice) -> str:
    """``by now: likely (8 in 10)`` where it is not sure whether a date has come, else ""."""
    if key.passed is not None:
        return voice.say("season.has_come") if key.passed_between else ""
    if not key.came >= MAY_HAVE_COME:
        return ""
    return voice.say("season.by_now", came=Share(key.came))


def _purpose(plan: PurposePlan, today: dt.date) -> Iterator[Phrase]:
    """What is said of a purpose below its title, a paragraph each."""
    normal = normal_from_to(plan)
    usual = say("from_to.normal", usual=normal) if normal else NOTHING
    yield say("from_to.sentence", ahead=from_to(plan, today), usual=usual)
    yield from plan_lines(plan.turf)
    if plan.job is not None:
        yield sentences(plan.job.text, plan.job.to_do)
    if plan.decision:
        yield plan.decision.advice
    for cover in () if refused(plan.turf) else plan.covers:
        yield from cover_phrases(cover)
    yield fewest_days(plan)
    if plan.to_do and plan.status != "over" and not never_opens(plan):
        yield say("plan.if_missed", what=plan.if_missed)
        yield plan.delay_cost
    elif plan.missed:
        yield say("plan.was_missed", what=plan.if_missed)


def status_words(plan: PurposePlan) -> Phrase:
    """Where a purpose stands: ``open now``, ``about to open``, ``over``, ``done`` ..."""
    if plan.job is not None and not plan.job.open:
        return wording.answer_said(plan.job.state)
    if never_opens(plan):
        return say("season.not_expected")
    if plan.status == "open" and plan.opened is None:
        return say("season.about_to_open")
    if plan.paused:
        return say("season.paused", opening=plan.paused)
    if plan.status == "open" and refused(plan.turf):
        no = plan.turf[0].answer == "no"
        return say("season.turf_refuses" if no else "season.turf_unknown")
    return say(f"season.status.{plan.status.replace(' ', '_')}")


def never_opens(plan: PurposePlan) -> bool:
    """Whether a purpose stays shut this season in most futures."""
    return plan.opened is None and plan.opens is not None and plan.opens.median is None


def from_to(plan: PurposePlan, today: dt.date) -> Phrase:
    """When a purpose opens and closes this season: ``opened 4 Oct, closes about 20 Dec (...)``."""
    if plan.opens is not None and never_opens(plan):
        return say("from_to.never", share=Share(plan.opens.never))
    if plan.opened is None and plan.opens is None:
        return say("from_to.unknown")
    first = say("from_to.opens", when=_dated(plan.opens))
    if plan.opens is not None and plan.opens.median is not None and plan.opens.median < today:
        first = say("from_to.opened_about", when=_dated(plan.opens))
    if plan.opened:
        first = say("from_to.opened", day=plan.opened)
    last = say("from_to.closes", when=_dated(plan.closes))
    if plan.closed is None and plan.closes is None:
        last = say(f"from_to.{'closed' if plan.status == 'over' else 'closes'}_unknown")
    elif plan.closed:
        last = say("from_to.closed", day=plan.closed)
    again = NOTHING
    if plan.reopens >= HARDLY:
        again = say("from_to.reopens", share=Share(plan.reopens))
    return say("from_to.both", first=first, last=last, again=again)


def fewest_days(plan: PurposePlan) -> Phrase:
    """The leanest fortnight of a purpose's time; nothing where it cannot be told."""
    lean = plan.fewest
    if lean is None or plan.status == "over" or never_opens(plan):
        return NOTHING
    days = {name: Quantity(getattr(lean, name), "1", "count") for name in ("days", "low", "high")}
    return say("plan.fewest", **days, open=lean.open_days, start=lean.start)


def normal_from_to(plan: PurposePlan) -> Phrase:
    """Usual first and last day, ``4 Oct to 3 Dec``; nothing without past seasons to tell."""
    opens, closes = plan.normal_opens, plan.normal_closes
    if opens is None or closes is None:
        return NOTHING
    if opens.median is None:
        return say("from_to.seldom", share=Share(opens.never))
    if closes.median is None:
        return say("from_to.no_end", first=opens.median)
    return say("from_to.usual", days=Span(opens.median, closes.median))


def _dated(when: DateRange | None) -> Phrase:
    if when is None:
        return say("when.unknown")
    if when.median is None:
        return say("when.never", share=Share(when.never))
    if when.by_calendar:
        return from_start(when.median, when.late)
    if when.early == when.late:
        return say("when.sure", day=when.median)
    early, late = (
        say("when.day", day=day) if day else say("when.not") for day in (when.early, when.late)
    )
    return say("when.about", day=when.median, early=early, late=late)


def cover_phrases(cover: CoverPlan) -> list[Phrase]:
    """What a pre-emergent controls, what a split would, and how long it lasts."""
    said = [cover.text]
    if cover.split and cover.split_caught is not None:
        days = joined(*(say("when.day", day=day) for day in cover.split))
        said.append(say("cover.split", days=days, caught=Share(cover.split_caught)))
    low, usual, high = cover.half_life_d
    source = Noted(cover.half_life_source)
    return [*said, say("cover.half_life", usual=usual, low=low, high=high, source=source)]


def _weeks(purposes: Sequence[PurposePlan], voice: Voice, width: int) -> Iterator[str]:
    """Spray days by week, a column for each purpose that has weeks ahead."""
    shown = [plan for plan in purposes if plan.weeks]
    if not shown:
        return
    yield from wrapped(voice.say("season.spray_days"), width)
    heads = "".join(f"{voice.say(f'purpose.{plan.purpose}.short'):>17}" for plan in shown)
    yield f"{voice.say('season.week_of'):10}{heads}"
    by_start: dict[dt.date, dict[str, Week]] = {}
    for plan in shown:
        for week in plan.weeks:
            by_start.setdefault(week.start, {})[plan.purpose] = week
    for start in sorted(by_start):
        cells = "".join(f"{_days(by_start[start].get(plan.purpose), voice):>17}" for plan in shown)
        yield f"{voice.write(start, 'short'):10}{cells}".rstrip()


def _days(week: Week | None, voice: Voice) -> str:
    if week is None:
        return ""
    if week.days is None or week.low is None or week.high is None:
        return voice.say("window_verdict.cannot_tell")
    days = Name(f"{voice.number(week.days, 1, fixed=True)} ({week.low:.0f}–{week.high:.0f})")
    return voice.say("season.of_days", days=days, open=week.open_days)


if __name__ == "__main__":  # writes the schema that is shipped
    print(json.dumps(plan_schema(), ensure_ascii=False, indent=2))
