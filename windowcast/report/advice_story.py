"""Seasons in which the advice lost most, each told in a few sentences above its picture."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import Phrase, Share, joined, say
from windowcast.core.values import PACKAGED
from windowcast.report.advice_picture import advice_picture, answered, season_title
from windowcast.report.catalogue import Voice
from windowcast.verify.regret import Regret
from windowcast.windows.purposes import purpose_of

FILE = "stories.md"
WINTER_WEED, SUMMER_WEED = "POAAN", "DIGSA"  # one of each season that lived seasons are scored by


@dataclass(frozen=True)
class SeasonTold:
    """One season: its picture's file, its title, what is said of it, and the drawing."""

    file: str
    title: str
    text: str
    svg: str


def stories(worst: Sequence[Regret], voice: Voice) -> list[SeasonTold]:
    """The story of each season, in the order given; no two have one file.

    Raises
    ------
    ValueError
        A season does not know what its picture shows.
    """
    found, taken = [], set[str]()
    for regret in worst:
        name = _file_name(regret)
        count = 1 + sum(other.rpartition("_")[0] == name or other == name for other in taken)
        name = name if count == 1 else f"{name}_{count}"
        taken.add(name)
        title, text = season_title(regret, voice), story(regret, voice)
        found.append(SeasonTold(f"{name}.svg", title, text, advice_picture(regret, voice, text)))
    return found


def stories_text(told: Sequence[SeasonTold], voice: Voice) -> str:
    """The stories as Markdown, each above its picture."""
    lines = [f"# {voice.say('advice_story.head')}", ""]
    lines += [voice.say("advice_story.intro" if told else "advice_story.no_season"), ""]
    for one in told:
        lines += [f"## {one.title}", "", one.text, "", f"![{one.title}]({one.file})", ""]
    return "\n".join(lines)


def story(regret: Regret, voice: Voice) -> str:
    """A season in up to five sentences: what was controlled, what was lost on, and why."""
    return " ".join(text for phrase in _said(regret) if (text := voice.text(phrase)))


def _said(regret: Regret) -> Iterator[Phrase]:
    share = {who: Share(found) for who, found in regret.controlled.items()}
    yield say(
        "advice_story.shares",
        advice=share["advice"],
        calendar=share["calendar"],
        best=share["foresight"],
    )
    if not regret.purpose:
        yield say("advice_story.no_single")
        return
    what = say(f"purpose.{regret.purpose}.title")
    yield say("advice_story.dates", what=what, who=joined(*_dates(regret), join="clauses"))
    yield _answer(regret)
    yield _state(regret)
    yield say("advice_story.cost", cost=Share(max(regret.cost, 0.0)))


def _dates(regret: Regret) -> Iterator[Phrase]:
    """When each sprayed what was lost on."""
    yield _day("best", regret.best)
    own = regret.dates.get("calendar", {}).get(regret.purpose, ())
    yield _day("calendar", dt.date.fromisoformat(own[0]) if own else None)
    yield _day("advice", regret.sprayed)


def _day(who: str, day: dt.date | None) -> Phrase:
    if day is None:
        return say(f"advice_story.never.{who}")
    return say(f"advice_story.on.{who}", day=day)


def _answer(regret: Regret) -> Phrase:
    """What the answer of the best day said."""
    if regret.best is None:
        return say("advice_story.spared")
    return say(f"advice_story.said.{answered(regret)}", day=regret.best)


def _state(regret: Regret) -> Phrase:
    """What the weeds or the turf were like on the days that count."""
    seen = regret.seen
    if seen is None:
        return Phrase("")
    if regret.purpose == "dormant":
        if not seen.permitted:
            return say("advice_story.permits_none")
        count = sum((last - first).days + 1 for first, last in seen.permitted)
        first, last = seen.permitted[0][0], seen.permitted[-1][1]
        return say("advice_story.permits", days=count, first=first, last=last)
    spring = purpose_of(regret.purpose, PACKAGED).weeds == "spring" if regret.purpose else False
    code = SUMMER_WEED if spring else WINTER_WEED
    weed = say(f"weed.{code}")
    if code not in seen.emerged:
        return say("advice_story.no_curve", weed=weed)
    days = sorted({day for day in (regret.best, regret.sprayed) if day is not None})
    shares = [Share(seen.emerged_by(code, day) or 0.0) for day in days]
    if len(days) == 1:
        return say("advice_story.emerged", day=days[0], share=shares[0], weed=weed)
    return say(
        "advice_story.emerged_both",
        first=days[0],
        early=shares[0],
        weed=weed,
        second=days[1],
        late=shares[1],
    )


def _file_name(regret: Regret) -> str:
    station = re.sub(r"[^a-z0-9]+", "-", regret.station.lower()).strip("-")
    return f"{station or 'station'}-{regret.season}"
