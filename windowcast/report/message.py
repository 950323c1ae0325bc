"""The answer as plain text for an e-mail or a message."""

from __future__ import annotations

import textwrap

from windowcast.core.phrase import Span, joined, say, sentence
from windowcast.core.units import Display
from windowcast.report import wording
from windowcast.report.catalogue import render
from windowcast.report.turf_lines import turf_lines
from windowcast.windows.model import PurposeOutlook, Ranking, Window

WIDTH = 72


def message_text(*rankings: Ranking) -> str:
    """A summary of a few short paragraphs: the answer, best and second-best window, cautions."""
    first = rankings[0]
    display = Display(first.units)
    parts = [f"{first.site}, {wording.long_day(first.today)}"]
    for ranking in rankings:
        parts += _ground(ranking, display)
    weather = dict.fromkeys(note for ranking in rankings for note in ranking.weather_notes)
    if weather:
        notes = (_wrap(wording.text(note, display), "- ") for note in weather)
        parts.append("\n".join([render(say("board.weather_used")), *notes]))
    cautions = dict.fromkeys(caution for ranking in rankings for caution in ranking.cautions)
    parts.append("\n".join(_wrap(wording.text(caution, display), "! ") for caution in cautions))
    return "\n\n".join(parts) + "\n"


def _ground(ranking: Ranking, display: Display) -> list[str]:
    """What is said of one piece of ground."""
    parts = [", ".join(ranking.areas)] if ranking.areas else []
    parts += [_purpose(outlook, display) for outlook in ranking.purposes if outlook.in_season]
    waiting = [o for o in ranking.purposes if not o.in_season]
    if waiting:
        parts.append(
            "\n".join(_wrap(wording.text(wording.out_of_season(o), display), "- ") for o in waiting)
        )
    return parts


def _purpose(outlook: PurposeOutlook, display: Display) -> str:
    answer = wording.answer_said(wording.answer_word(outlook))
    lines = [
        f"{wording.text(outlook.title, display).upper()}: {answer}",
        _wrap(wording.text(outlook.advice, display)),
    ]
    covers = (wording.text(cover, display) for cover in wording.covers(outlook))
    jobs = wording.job_lines(outlook, display)
    lines += [_wrap(text, "  ") for text in (*turf_lines(outlook), *jobs, *covers)]
    for place, window in zip(("best", "next"), outlook.windows, strict=False):
        lines.append(_wrap(_window(place, window, display), "  "))
    if not outlook.windows:
        if outlook.closest is not None:
            lines.append(_wrap(_window("closest", outlook.closest, display), "  "))
        if outlook.would_change:
            lines.append(_wrap(wording.text(outlook.would_change, display), "  "))
    return "\n".join(lines)


def _window(place: str, window: Window, display: Display) -> str:
    when = Span(window.start, window.end)
    said = [say(f"window_at.{place}", when=when), *map(sentence, wording.window_facts(window))]
    return wording.text(say("report.note", of=joined(*said, join="sentences")), display)


def _wrap(text: str, lead: str = "") -> str:
    return textwrap.fill(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False
    )
