"""Trials taken together, in words and as a picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from windowcast.core.phrase import Name, Phrase, Quantity, joined, names, say
from windowcast.records.place_effects import PlaceEffect
from windowcast.records.pooled_trials import PooledContrast, PooledTrials
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart, Scale, drawing
from windowcast.report.terminal_width import table_lines
from windowcast.report.trial_chart import Ranged, ranged_rows
from windowcast.report.trial_plan import value_phrase
from windowcast.trials.contrasts import ShownEffect, spread_said
from windowcast.trials.given import Given
from windowcast.trials.rated_measures import MEASURES

_LEFT, _RIGHT = 112.0, 300.0
_WORST = -100.0  # percent less: twice the weeds and more are drawn and told as that


@dataclass(frozen=True, slots=True)
class ContrastSaid:
    """One contrast in words: what it is, a row for each place, what all together say."""

    key: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    answer: tuple[str, ...]
    remarks: tuple[str, ...]


def given_phrase(given: Given) -> Phrase:
    """What was put out; the name of the treatment where nobody says."""
    if not given.actives:
        return say("pool.named", name=Name(given.name))
    each = [
        say("pool.material_alone", active=Name(active))
        if rate is None
        else say("pool.material", active=Name(active), rate=Quantity(rate, "kg ha-1"))
        for active, rate in given.actives
    ]
    return say("pool.mixture", of=joined(*each, join="plus"))


def contrast_said(found: PooledContrast, voice: Voice, key: str) -> ContrastSaid:
    """One contrast in words."""
    what = say("trial_import.days", what=value_phrase(found.measure, found.weed), days=found.days)
    said = {
        "what": what,
        "treatment": given_phrase(found.given),
        "against": given_phrase(found.against),
    }
    first = next((day for day in found.places[0].applied if day is not None), None)
    count = len(found.given.codes)
    title = say("pool.head", **said)
    if first is not None and count > 1:
        title = say("pool.head_from", day=first, count=count, **said)
    elif first is not None:
        title = say("pool.head_at", day=first, **said)
    effect = "less" if found.scale == "left" else "effect"
    heads = ("trial", "site", "rated", effect, "range")
    answer = [_all_together(found, voice), _next_one(found, voice), spread_said(found.pooled)]
    return ContrastSaid(
        key,
        voice.write(title, "cap"),
        tuple(voice.say(f"pool.column.{head}") for head in heads),
        tuple(_row(place, found, voice) for place in found.places),
        tuple(voice.write(text, "sentence") for text in answer),
        tuple(voice.write(text, "sentence") for text in (*_names_used(found), *found.notes)),
    )


def _row(place: PlaceEffect, found: PooledContrast, voice: Voice) -> tuple[str, ...]:
    middle, low, high = _figures(place.shown, found, voice)
    return (
        place.trial, place.site, voice.write(place.rated, "full"), middle,
        voice.say("review_page.to", low=low, high=high),
    )  # fmt: skip


def _figures(shown: ShownEffect, found: PooledContrast, voice: Voice) -> tuple[str, str, str]:
    middle, low, high = (
        _number(max(value, _WORST) if found.scale == "left" else value, found, voice)
        for value in (shown.middle, shown.low, shown.high)
    )
    return middle, low, high


def _number(value: float, found: PooledContrast, voice: Voice) -> str:
    return voice.number(value, 1 if MEASURES[found.measure].scale == "ordinal" else 0)


def _all_together(found: PooledContrast, voice: Voice) -> Phrase:
    middle, low, high = map(Name, _figures(found.shown, found, voice))
    said = {"middle": middle, "low": low, "high": high}
    if found.scale == "beside":
        base = Name(_number(found.base, found, voice))
        return say("pool.all_beside", against=given_phrase(found.against), base=base, **said)
    if found.scale == "left":
        return say("pool.all_left", **said)
    return say("pool.all_level", **said)


def _next_one(found: PooledContrast, voice: Voice) -> Phrase:
    if found.next_one is None:
        return say("pool.no_next")
    _, low, high = map(Name, _figures(found.next_one, found, voice))
    if found.scale == "left":
        return say("pool.next_left", low=low, high=high)
    return say("pool.next", low=low, high=high)


def _names_used(found: PooledContrast) -> list[Phrase]:
    """What trials call the treatment, where they call it differently."""
    used = dict.fromkeys(place.given.name for place in found.places)
    folded = {name.casefold() for name in used}
    return [say("pool.names", names=names(*used, join="comma"))] if len(folded) > 1 else []


def forest(found: PooledContrast, said: ContrastSaid, voice: Voice) -> Chart:
    """The places and all together, a row each, within their 95 % ranges; below, one more place."""
    rows = [
        _ranged(place.site, place.shown, found, dotted=place.effect.bound, mark=place.season)
        for place in found.places
    ]
    rows.append(_ranged(voice.say("pool.all_row"), found.shown, found))
    if found.next_one is not None:
        more = ShownEffect(math.nan, found.next_one.low, found.next_one.high)
        rows.append(_ranged(voice.say("pool.next_row"), more, found, dotted=True))
    least = min([0.0, *(row.low for row in rows)])
    most = 100.0 if found.scale == "left" else MEASURES[found.measure].high
    x = Scale(least, most, _LEFT, _RIGHT)
    axis = value_phrase(found.measure, found.weed)
    if found.scale == "left":
        axis = say("pool.axis_less", against=given_phrase(found.against), what=axis)
    parts, height = ranged_rows(voice.write(axis, "cap"), x, rows, voice)
    svg = drawing(said.key, said.title, voice.say("pool.figure"), height, *parts)
    return Chart(said.key, said.title, voice.say("pool.figure"), svg, said.columns, said.rows)


def _ranged(
    name: str, shown: ShownEffect, found: PooledContrast, *, dotted: bool = False, mark: str = ""
) -> Ranged:
    low = max(shown.low, _WORST) if found.scale == "left" else shown.low
    return Ranged(name, shown.middle, low, shown.high, dotted=dotted, mark=mark)


def pooled_said(found: PooledTrials, voice: Voice) -> list[ContrastSaid]:
    """Every contrast in words."""
    return [contrast_said(c, voice, f"pool-{n}") for n, c in enumerate(found.contrasts)]


def pool_lines(found: PooledTrials, voice: Voice) -> list[str]:
    """The whole answer for the terminal."""
    lines: list[str] = []
    for said in pooled_said(found, voice):
        lines += [said.title, *(f"  {row}" for row in table_lines(said.columns, said.rows, ()))]
        lines += [f"  {text}" for text in (*said.answer, *said.remarks)] + [""]
    if not found.contrasts:
        lines += [voice.say("pool.nothing"), ""]
    if found.left_out:
        lines.append(voice.say("pool.left_out"))
        lines += [f"  {voice.text(why)}" for why in found.left_out]
    return lines


def pool_plain(found: PooledTrials, voice: Voice) -> dict[str, Any]:
    """The same as JSON holds it."""
    from windowcast.report.plain import plain

    document: dict[str, Any] = plain(found, voice)
    for contrast, said in zip(document["contrasts"], pooled_said(found, voice), strict=True):
        contrast["title"], contrast["answer"] = said.title, list(said.answer)
    return document


def render_pool(found: PooledTrials, voice: Voice) -> str:
    """The answer as one HTML file with a picture of each contrast."""
    from windowcast.report.page import page_of, style_sheet

    voice = voice.on_page
    said = pooled_said(found, voice)
    drawn = [(s, forest(c, s, voice)) for s, c in zip(said, found.contrasts, strict=True)]
    return page_of(
        "trial_pool_page.html", voice, contrasts=drawn,
        left_out=[voice.text(why) for why in found.left_out], style=style_sheet(),
    )  # fmt: skip
