"""What a trial can show before it is laid out, in the reader's own terms."""

from __future__ import annotations

from typing import Any

from windowcast.core.phrase import (
    Name,
    Noted,
    Phrase,
    Quantity,
    Share,
    Value,
    joined,
    say,
    sentence,
)
from windowcast.report.catalogue import Voice
from windowcast.report.terminal_width import table_lines, wrapped
from windowcast.report.trial_plan import value_phrase
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.showable import SURE, PowerAnswer, Showable, smallest

WHOLE = 10.0  # from here on a difference is written without decimals


def power_lines(answer: PowerAnswer, voice: Voice, width: int) -> list[str]:
    """The answer for a terminal so many letters wide: what to do, then the tables."""
    title = say("trial_power.title", what=value_phrase(answer.measure, answer.weed))
    lines = [voice.write(title, "cap"), ""]
    for text in (*advice(answer), _setting(answer)):
        lines += wrapped(voice.write(text, "sentence"), width, "  ", "  ")
    head = say("trial_power.head", unit=say(f"trial_power.unit.{answer.unit}"))
    lines += ["", *wrapped(voice.write(head, "cap"), width, "  ", "  ")]
    lines += _table(answer, voice, _least_cell, width)
    if answer.wanted.difference is not None:
        head = say("trial_power.chances", difference=_difference(answer, answer.wanted.difference))
        lines += ["", *wrapped(voice.write(head, "cap"), width, "  ", "  ")]
        lines += _table(answer, voice, _chance_cell, width)
    lines.append("")
    for text in _notes(answer, voice.shell):
        lines += wrapped(voice.write(text, "sentence"), width, "  ", "  ")
    return lines


def advice(answer: PowerAnswer) -> list[Phrase]:
    """What to do, the layout asked about first."""
    said = []
    own = answer.asked
    layout = _layout(answer.blocks, answer.sites)
    if own is None:
        said.append(say("trial_power.no_error", layout=layout))
    elif own.least is None:
        said.append(say("trial_power.none", layout=layout))
    else:
        number = _number(own.least)
        said.append(say(f"trial_power.seen.{answer.unit}", layout=layout, number=number))
    better = [
        say("trial_power.other", layout=_layout(each.blocks, each.sites),
            difference=_difference(answer, each.least))
        for each in answer.layouts
        if each.least is not None and _is_more(each, answer)
        and (own is None or own.least is None or each.least < own.least)
    ]  # fmt: skip
    if better:
        said.append(say("trial_power.others", layouts=joined(*better, join="clauses")))
    if answer.wanted.difference is not None:
        said += _of_difference(answer, answer.wanted.difference)
    return said


def _is_more(each: Showable, answer: PowerAnswer) -> bool:
    """Whether a layout has more blocks, or more sites, than the one asked about."""
    if each.sites == answer.sites:
        return each.blocks > answer.blocks
    return each.blocks == answer.blocks and each.sites > answer.sites


def _of_difference(answer: PowerAnswer, difference: float) -> list[Phrase]:
    """How likely the difference asked for is shown, and what layout shows it."""
    said, what, own = [], _difference(answer, difference), answer.asked
    if own is not None and own.chance is not None:
        layout = _layout(answer.blocks, answer.sites)
        chance = Share(own.chance)
        said.append(say("trial_power.chance", layout=layout, difference=what, chance=chance))
    best = smallest(answer.layouts, answer.sites)
    if best is None:
        said.append(say("trial_power.no_layout", difference=what))
    elif best is not own:
        said.append(say("trial_power.smallest", layout=_layout(best.blocks, best.sites)))
    return said


def _setting(answer: PowerAnswer) -> Phrase:
    """What is compared, and what mean is expected."""
    who = "all" if answer.wanted.all_pairs else "check"
    return say(
        f"trial_power.setting.{who}", treatments=answer.wanted.treatments, mean=_mean(answer)
    )


def _mean(answer: PowerAnswer) -> Phrase:
    scale, number = MEASURES[answer.measure].scale, _number(answer.wanted.mean)
    if scale == "count":
        per = "per_m2" if answer.past else "on_plot"
        return say(f"trial_power.mean.{per}", number=number)
    return say(f"trial_power.mean.{scale}", number=number)


def _notes(answer: PowerAnswer, shell: bool) -> list[Phrase]:
    """What to mind, and where the figures come from."""
    said = []
    if answer.sites == 1:
        said.append(say("trial_power.one_site"))
    if answer.sites == 2:
        said.append(say("trial_power.two_sites"))
    if answer.main_plots:
        said.append(say("trial_power.main_plots"))
    if answer.past:
        days = joined(*(say("trial_power.day", day=day) for day in answer.days))
        said.append(say("trial_power.past", trial=Name(answer.past), days=days))
    else:
        said.append(say("trial_power.typical"))
        said += [say("trial_power.name_past")] if shell else []
    if shell and answer.wanted.mean == answer.spread.mean:
        said.append(say(f"trial_power.{'past' if answer.past else 'usual'}_mean"))
    said += [
        say(
            "trial_power.value", what=say(f"trial_power.of.{_what(value.path)}"),
            number=_figures(float(value)), low=_figures(value.ends[0]),
            high=_figures(value.ends[1]), status=Noted(value.status), source=Noted(value.source),
        )
        for value in answer.spread.values
    ]  # fmt: skip
    return said


def _what(path: str) -> str:
    return "sites" if "treatment_site" in path else "plots"


def _layout(blocks: int, sites: int) -> Phrase:
    return say("trial_power.layout", blocks=blocks, sites=say("trial_power.sites", sites=sites))


def _number(value: float) -> Quantity:
    return Quantity(value, "1", "count" if abs(value) >= WHOLE else "points")


def _figures(value: float) -> Quantity:
    return Quantity(value, "1", "figures")


def _difference(answer: PowerAnswer, value: float) -> Phrase:
    return say(f"trial_power.difference.{answer.unit}", number=_number(value))


def _table(answer: PowerAnswer, voice: Voice, cell: Any, width: int) -> list[str]:
    """A row for each number of blocks, a column for each number of sites."""
    blocks = sorted({each.blocks for each in answer.layouts})
    sites = sorted({each.sites for each in answer.layouts})
    heads = [voice.say("trial_power.blocks")]
    heads += [voice.write(say("trial_power.sites", sites=count)) for count in sites]
    rows = [
        (str(block), *(cell(answer.at(block, site), voice) for site in sites)) for block in blocks
    ]
    return [f"  {line}".rstrip() for line in table_lines(heads, rows, (), width - 2)]


def _least_cell(each: Showable | None, voice: Voice) -> str:
    """The least difference, and between what it lies."""
    if each is None:
        return "–"
    usual, low, high = (_or_none(v) for v in (each.least, each.least_low, each.least_high))
    if each.least_low is None:
        return voice.write(usual)
    return voice.say("trial_power.cell", usual=usual, low=low, high=high)


def _or_none(value: float | None) -> Value:
    return say("trial_power.no_difference") if value is None else _number(value)


def _chance_cell(each: Showable | None, voice: Voice) -> str:
    if each is None or each.chance is None or each.chance_low is None or each.chance_high is None:
        return "–"
    low, high = Share(each.chance_low), Share(each.chance_high)
    return voice.say("trial_power.cell", usual=Share(each.chance), low=low, high=high)


def power_plain(answer: PowerAnswer, voice: Voice) -> dict[str, Any]:
    """The same as JSON holds it."""
    from windowcast.report.plain import plain

    return {
        "measure": answer.measure,
        "weed": answer.weed or None,
        "treatments": answer.wanted.treatments,
        "design": answer.wanted.design,
        "compared": "all" if answer.wanted.all_pairs else "check",
        "mean": answer.wanted.mean,
        "difference": answer.wanted.difference,
        "unit": answer.unit,
        "shown_in": SURE,
        "blocks": answer.blocks,
        "sites": answer.sites,
        "spread": {
            "past": answer.past or None,
            "days": [day.isoformat() for day in answer.days],
            "usual": plain(answer.spread.usual, voice),
            "least": plain(answer.spread.least, voice),
            "most": plain(answer.spread.most, voice),
            "values": [plain(value, voice) for value in answer.spread.values],
        },
        "layouts": [plain(each, voice) for each in answer.layouts],
        "advice": [voice.text(sentence(text)) for text in advice(answer)],
    }


def power_paragraphs(answer: PowerAnswer, voice: Voice) -> tuple[str, ...]:
    """The answer in sentences, for a page."""
    said = (*advice(answer), _setting(answer), *_notes(answer, voice.shell))
    return tuple(voice.write(text, "sentence") for text in said)
