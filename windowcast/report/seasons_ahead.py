"""Programmes of the seasons ahead as text, as JSON and as a picture."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Share, joined, names, say
from windowcast.core.weed_codes import weed_name
from windowcast.programme.seasons_ahead import (
    Likely,
    PlannedJob,
    ProgrammeAhead,
    SeasonsAhead,
    WeedCourse,
)
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import LINE, WIDTH, Scale, el, label, px
from windowcast.report.plain import plain
from windowcast.report.terminal_width import prose_width, wrapped

_LEFT, _RIGHT, _TOP, _TALL = 40.0, 350.0, 34.0, 130.0
_ROW = LINE + 4  # between lines that a phone shows larger
_TITLE_LETTERS = 46  # that fit across, in a wide font too
_DASHES = (None, "6 3", "2 3", "8 3 2 3")
_STYLE = (
    "text{font:11px sans-serif;fill:#222}.grid{stroke:#ddd}"
    ".line{fill:none;stroke:#14532d;stroke-width:2}"
)


def ahead_json(*found: SeasonsAhead, voice: Voice) -> str:
    """The comparison as a JSON document, a list of them for a site with areas."""
    documents = [plain(one, voice) for one in found]
    whole = documents if any(one.areas for one in found) else documents[0]
    return json.dumps(whole, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def ahead_text(found: SeasonsAhead, voice: Voice, width: int | None = None) -> str:
    """The comparison for a terminal of so many columns; None for the one there is."""
    width = width or prose_width()
    place = Name(wording.ground(found.site, found.areas))
    first, last = (Name(found.seasons[at]) if found.seasons else Name("") for at in (0, -1))
    lines = [voice.say("ahead.head", site=place, first=first, last=last), ""]
    for programme in said(found, voice):
        lines += wrapped(programme.head, width)
        for season, jobs in programme.seasons:
            lines.append(f"  {season}")
            for job in jobs:
                lines += wrapped(job, width, "    ", "  ")
        for course in programme.weeds:
            lines += wrapped(course, width, "  ")
        lines.append("")
    for note in notes(found, voice):
        lines += wrapped(note, width)
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class ProgrammeSaid:
    """A programme in words: its jobs by season, and what it does to each weed."""

    head: str
    proposed: bool
    seasons: tuple[tuple[str, tuple[str, ...]], ...]
    weeds: tuple[str, ...]


def said(found: SeasonsAhead, voice: Voice) -> list[ProgrammeSaid]:
    """The programmes in words; those that come out the same are told once, with their names."""
    alike: dict[tuple[PlannedJob, ...], list[ProgrammeAhead]] = {}
    for one in found.programmes:
        alike.setdefault(one.jobs, []).append(one)
    same = len(alike) == 1 < len(found.programmes)
    return [
        ProgrammeSaid(
            voice.say("ahead.all_same") if same else programme_name(voice, *those),
            any(one.proposed for one in those) and not same,
            tuple(
                (
                    season,
                    tuple(voice.text(_job(job)) for job in jobs if job.season == season),
                )
                for season in found.seasons
            ),
            tuple(voice.text(one) for course in those[0].weeds for one in _course(course)),
        )
        for jobs, those in alike.items()
    ]


def notes(found: SeasonsAhead, voice: Voice) -> list[str]:
    """What the comparison rests on and leaves out."""
    drawn = say("ahead.draws", draws=found.draws, seed=found.seed)
    return [voice.text(note) for note in (*found.notes, drawn)]


def programme_name(voice: Voice, *alike: ProgrammeAhead) -> str:
    """What a programme, or several that come out the same, are called; whether it is the best."""
    name = joined(*map(_title, alike), join="clauses")
    best = any(one.proposed for one in alike)
    return voice.text(say("ahead.titled" if best else "ahead.title", name=name))


def _title(programme: ProgrammeAhead) -> Phrase:
    return say(f"ahead.programme.{programme.name.replace(' ', '_')}")


def _job(job: PlannedJob) -> Phrase:
    purpose = say(f"purpose.{job.purpose}.title")
    if not job.actives:
        if job.unlogged:
            return say("ahead.job_unlogged", purpose=purpose, day=job.about)
        return say("ahead.job_empty", purpose=purpose, day=job.about)
    actives = names(*job.actives, join="plus")
    groups = say("rotation.groups", groups=joined(*job.groups))
    if job.control is None:
        return say("ahead.job", purpose=purpose, day=job.about, actives=actives, groups=groups)
    own = say("ahead.own", own=names(*job.own)) if job.own else NOTHING
    return say(
        "ahead.job_control", purpose=purpose, day=job.about, actives=actives, groups=groups,
        own=own, **_shares(job.control),
    )  # fmt: skip


def _course(course: WeedCourse) -> Iterator[Phrase]:
    if not course.known or course.resistant is None or course.taken_over is None:
        yield course.why
        return
    shares = joined(*(Share(season.middle) for season in course.control), join="comma")
    yield say("ahead.control", weed=weed_name(course.weed), shares=shares)
    bank = course.bank[-1]
    seasons = say("ahead.seasons", seasons=len(course.bank))
    yield say(
        "ahead.bank", seasons=seasons, middle=_times(bank.middle), low=_times(bank.low),
        high=_times(bank.high),
    )  # fmt: skip
    yield say("ahead.resistant", **_shares(course.resistant))
    over = course.taken_over
    horizon = len(course.risk)
    if math.isinf(over.low):
        yield say("ahead.half_never", horizon=horizon)
        return
    if math.isinf(over.middle):
        low = _seasons(over.low, horizon)
        yield say("ahead.half_beyond", horizon=horizon, low=low)
        return
    yield say(
        "ahead.half", middle=_seasons(over.middle, horizon), low=_seasons(over.low, horizon),
        high=_seasons(over.high, horizon),
    )  # fmt: skip


def _shares(of: Likely) -> dict[str, Share]:
    return {"middle": Share(of.middle), "low": Share(of.low), "high": Share(of.high)}


def _times(factor: float) -> Quantity:
    """A factor with two digits."""
    return Quantity(float(f"{factor:.2g}"), "1", "typed")


def _seasons(count: float, horizon: int) -> Phrase:
    if math.isinf(count):
        return say("ahead.beyond", horizon=horizon)
    return say("ahead.seasons", seasons=round(count))


def ahead_svg(found: SeasonsAhead, voice: Voice, *, alone: bool = True) -> str:
    """Chance of resistance by season under each programme, as SVG.

    With its own style where it stands `alone`; a page has one for all its charts. Empty where
    nothing can be told of any weed.
    """
    weeds = list(dict.fromkeys(c.weed for p in found.programmes for c in p.weeds if c.known))
    if not weeds and not alone:
        return ""
    title = voice.say("ahead.picture")
    heads = wrap(title, _TITLE_LETTERS)
    parts = [label(0, LINE + _ROW * n, text) for n, text in enumerate(heads)]
    top = _TOP + LINE + _ROW * (len(heads) - 1)
    for weed in weeds:
        parts += _panel(found.programmes, weed, top, voice)
        top += _TALL + 66
    for n, programme in enumerate(found.programmes):
        y = top + n * _ROW
        line = {"x1": _LEFT, "x2": _LEFT + 30, "y1": y - 4, "y2": y - 4}
        parts.append(el("line", **line, class_="line", stroke_dasharray=_DASHES[n]))
        name = voice.text(_title(programme))
        parts.append(label(_LEFT + 38, y, f"{name} *" if programme.proposed else name))
    height = top + len(found.programmes) * _ROW + 10
    return el(
        "svg",
        el("title", escape(title)),
        f"<style>{_STYLE}</style>" if alone else "",
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {px(WIDTH)} {px(height)}",
        role="img",
    )


def _panel(
    programmes: Sequence[ProgrammeAhead], weed: str, top: float, voice: Voice
) -> Iterator[str]:
    """One weed: chance 0..1 by season, a line for each programme."""
    told = [(n, c) for n, p in enumerate(programmes) for c in p.weeds if c.weed == weed and c.known]
    horizon = max(len(course.risk) for _, course in told)
    x, y = Scale(0, horizon, _LEFT, _RIGHT), Scale(0, 1, top + _TALL, top)
    yield label(_LEFT, top - 12, voice.say("ahead.picture_of", weed=weed_name(weed)))
    for tenth in (0, 5, 10):
        at = y(tenth / 10)
        yield el("line", x1=_LEFT, x2=_RIGHT, y1=at, y2=at, class_="grid")
        yield label(_LEFT - 4, at + 4, f"{tenth * 10} %", anchor="end")
    for season in range(0, horizon + 1, 5):
        yield label(x(season), top + _TALL + 14, str(season), anchor="middle")
    yield label(_RIGHT, top + _TALL + 33, voice.say("ahead.picture_axis"), anchor="end")
    for n, course in told:
        points = " ".join(f"{px(x(s))},{px(y(v))}" for s, v in enumerate((0.0, *course.risk)))
        yield el("polyline", points=points, class_="line", stroke_dasharray=_DASHES[n])
