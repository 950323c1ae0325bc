"""The answer as plain text for an e-mail or a message."""

from __future__ import annotations

import textwrap

from windowcast.core.phrase import Span, joined, say, sentence
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.turf_lines import turf_lines
from windowcast.windows.model import PurposeOutlook, Ranking, Window

WIDTH = 72


def message_text(*rankings: Ranking, voice: Voice) -> str:
    """A summary of a few short paragraphs: the answer, best and second-best window, cautions."""
    first = rankings[0]
    parts = [f"{first.site}, {voice.write(first.today, 'long')}"]
    for ranking in rankings:
        parts += _ground(ranking, voice)
    weather = dict.fromkeys(note for ranking in rankings for note in ranking.weather_notes)
    if weather:
        notes = (_wrap(voice.text(note), "- ") for note in weather)
        parts.append("\n".join([voice.say("board.weather_used"), *notes]))
    cautions = dict.fromkeys(caution for ranking in rankings for caution in ranking.cautions)
    parts.append("\n".join(_wrap(voice.text(caution), "! ") for caution in cautions))
    return "\n\n".join(parts) + "\n"


def _ground(ranking: Ranking, voice: Voice) -> list[str]:
    """What is said of one piece of ground."""
    parts = [", ".join(ranking.areas)] if ranking.areas else []
    parts += [_purpose(outlook, voice) for outlook in ranking.purposes if outlook.in_season]
    waiting = [o for o in ranking.purposes if not o.in_season]
    if waiting:
        parts.append("\n".join(_wrap(voice.text(wording.out_of_season(o)), "- ") for o in waiting))
    return parts


def _purpose(outlook: PurposeOutlook, voice: Voice) -> str:
    answer = voice.text(wording.answer_said(wording.answer_word(outlook)))
    lines = [
        f"{voice.text(outlook.title).upper()}: {answer}",
        _wrap(voice.text(outlook.advice)),
    ]
    covers = (voice.text(cover) for cover in wording.covers(outlook))
    said = (voice.text(p) for p in (*turf_lines(outlook), *wording.job_lines(outlook)))
    lines += [_wrap(text, "  ") for text in (*said, *covers)]
    for place, window in zip(("best", "next"), outlook.windows, strict=False):
        lines.append(_wrap(_window(place, window, voice), "  "))
    if not outlook.windows:
        if outlook.closest is not None:
            lines.append(_wrap(_window("closest", outlook.closest, voice), "  "))
        if outlook.would_change:
            lines.append(_wrap(voice.text(outlook.would_change), "  "))
    return "\n".join(lines)


def _window(place: str, window: Window, voice: Voice) -> str:
    when = Span(window.start, window.end)
    said = [say(f"window_at.{place}", when=when), *map(sentence, wording.window_facts(window))]
    return voice.text(say("report.note", of=joined(*said, join="sentences")))


def _wrap(text: str, lead: str = "") -> str:
    return textwrap.fill(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False
    )
