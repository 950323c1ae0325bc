"""From which weed cover on treating pays, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from windowcast.core.phrase import Name, Phrase, Quantity, Value, say
from windowcast.records.trial_threshold import TurfThreshold
from windowcast.report.catalogue import Voice
from windowcast.report.terminal_width import table_lines, wrapped
from windowcast.report.trial_results import round_title
from windowcast.trials.threshold import FULL, ControlKnown, PayingCover, QualityLine


@dataclass(frozen=True, slots=True)
class ThresholdSaid:
    """The answer in words: what to do, a row for each treatment, what it rests on."""

    sentences: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def threshold_said(found: TurfThreshold, voice: Voice) -> ThresholdSaid:
    """The answer in words."""
    columns = ("treatment", "control", "pays")
    return ThresholdSaid(
        tuple(voice.write(text, "sentence") for text in threshold_sentences(found)),
        tuple(voice.say(f"trial_threshold.column.{name}") for name in columns),
        tuple(_row(each, voice) for each in found.paying),
        tuple(voice.write(text, "sentence") for text in threshold_notes(found)),
    )


def threshold_lines(trial: str, found: TurfThreshold, voice: Voice, width: int) -> list[str]:
    """The answer for a terminal so many letters wide."""
    said = threshold_said(found, voice)
    lines = [voice.say("trial_threshold.title", trial=trial), ""]
    lines += [line for text in said.sentences for line in wrapped(text, width, "  ", "  ")]
    if said.rows:
        table = table_lines(said.columns, said.rows, (), width - 2)
        lines += ["", *(f"  {line}".rstrip() for line in table)]
    notes = [line for text in said.notes for line in wrapped(text, width, "  ", "  ")]
    return [*lines, "", *notes]


def _row(each: PayingCover, voice: Voice) -> tuple[str, str, str]:
    known = each.known
    control = _ranged(_percent(known.control), _percent(known.low), _percent(known.high))
    cover = _cover(each.cover)
    if each.pays:
        cover = _ranged(cover, _cover(each.low), _cover(each.high))
    return known.treatment, voice.write(control), voice.write(cover)


def _ranged(value: Value, low: Value, high: Value) -> Phrase:
    return say("trial_threshold.ranged", value=value, low=low, high=high)


def _percent(share: float) -> Quantity:
    return Quantity(100 * share, "%", "share_of")


def _cover(cover: float) -> Value:
    """A cover; a word where nothing covers so much."""
    return Quantity(cover, "%", "share_of") if cover <= FULL else say("trial_threshold.never")


def threshold_sentences(found: TurfThreshold) -> list[Phrase]:
    """What to do, a sentence for each treatment."""
    said = []
    for each in found.paying:
        treatment = Name(each.known.treatment)
        if not each.pays:
            said.append(say("trial_threshold.pays_never", treatment=treatment))
        elif each.sure:
            ends = {"low": _cover(each.low), "high": _cover(each.high)}
            said.append(
                say(
                    "trial_threshold.pays_above",
                    treatment=treatment,
                    cover=_cover(each.cover),
                    **ends,
                )
            )
        else:
            said.append(
                say("trial_threshold.pays_maybe", treatment=treatment, cover=_cover(each.cover),
                    low=_cover(each.low))
            )  # fmt: skip
    if found.good_up_to is not None and found.quality is not None:
        said += _good(found.quality, *found.good_up_to)
    return said


def _good(line: QualityLine, cover: float, low: float, high: float) -> list[Phrase]:
    """Up to which cover quality is good enough; that it never is, or that nobody saw it."""
    if cover <= 0:
        return [say("trial_threshold.good_never", clean=Quantity(line.clean, "1", "points"))]
    ends = {"cover": _up_to(cover), "low": _up_to(low), "high": _up_to(high)}
    said = [say("trial_threshold.good", **ends)]
    if cover > line.most:
        said.append(say("trial_threshold.beyond", most=Quantity(line.most, "%", "share_of")))
    return said


def _up_to(cover: float) -> Quantity:
    return Quantity(min(cover, FULL), "%", "share_of")


def threshold_notes(found: TurfThreshold) -> list[Phrase]:
    """What it rests on, and what it leaves out."""
    said = []
    if found.round is None:
        said.append(say("trial_threshold.no_control"))
    else:
        said.append(say("trial_threshold.taken", round=round_title(found.round)))
    line = found.quality
    if line is None:
        said.append(say("trial_threshold.no_quality"))
    elif not line.falls:
        said.append(say("trial_threshold.no_fall", plots=line.plots))
    else:
        ten = [Quantity(10 * v, "1", "points") for v in (line.fall, line.low, line.high)]
        said.append(
            say("trial_threshold.fall", fall=ten[0], low=ten[1], high=ten[2], plots=line.plots)
        )
    if found.paying:
        said += [say("trial_threshold.how"), say("trial_threshold.left_out")]
    return said


def threshold_plain(trial: str, found: TurfThreshold, voice: Voice) -> dict[str, Any]:
    """The same as JSON holds it; a cover that there is not is null."""
    from windowcast.report.plain import plain

    def known(each: ControlKnown) -> dict[str, Any]:
        return {"control": each.control, "control_low": each.low, "control_high": each.high}

    def cover(value: float) -> float | None:
        return value if math.isfinite(value) else None

    good, line = found.good_up_to, found.quality
    return {
        "trial": trial,
        "round": found.round.key if found.round else None,
        "treatments": [
            {
                "treatment": each.known.treatment, **known(each.known),
                "pays_above": cover(each.cover), "low": cover(each.low),
                "high": cover(each.high), "pays": each.pays,
            }
            for each in found.paying
        ],
        "quality": plain(
            {"fall": line.fall, "low": line.low, "high": line.high, "clean": line.clean,
             "df": line.df, "plots": line.plots, "falls": line.falls}, voice,
        ) if line else None,
        "good_up_to": {"cover": cover(good[0]), "low": cover(good[1]), "high": cover(good[2])}
        if good else None,
        "sentences": [voice.write(text, "sentence") for text in threshold_sentences(found)],
    }  # fmt: skip
