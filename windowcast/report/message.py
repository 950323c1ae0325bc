"""The answer as plain text for an e-mail or a message."""

from __future__ import annotations

import datetime as dt
import textwrap

from windowcast.report import board
from windowcast.report.catalogue import Voice
from windowcast.report.turf_lines import turf_lines
from windowcast.windows.model import PurposeOutlook, Ranking

WIDTH = 72


def message_text(*rankings: Ranking, voice: Voice) -> str:
    """A summary of a few short paragraphs: the answer, best and second-best window, cautions."""
    first = rankings[0]
    parts = [f"{first.site}, {voice.write(first.today, 'long')}"]
    urgent = board.urgent(*rankings)
    parts += [_wrap(voice.text(note), "! ") for note in urgent]
    for ranking in rankings:
        parts += _ground(ranking, voice)
    notes = dict.fromkeys(note for ranking in rankings for note in ranking.weather_notes)
    weather = [note for note in notes if note not in urgent]
    if weather:
        lines = (_wrap(voice.text(note), "- ") for note in weather)
        parts.append("\n".join([voice.say("board.weather_used"), *lines]))
    cautions = dict.fromkeys(caution for ranking in rankings for caution in ranking.cautions)
    parts.append("\n".join(_wrap(voice.text(caution), "! ") for caution in cautions))
    return "\n\n".join(parts) + "\n"


def _ground(ranking: Ranking, voice: Voice) -> list[str]:
    """What is said of one piece of ground."""
    parts = [", ".join(ranking.areas)] if ranking.areas else []
    if idle := board.idle(ranking):
        parts.append(_wrap(voice.text(idle)))
    parts += [_purpose(o, ranking.today, voice) for o in board.in_order(ranking.purposes)]
    waiting = [o for o in ranking.purposes if not o.in_season]
    if waiting:
        lines = [_wrap(voice.text(board.closed(o)), "- ") for o in waiting]
        parts.append("\n".join([f"{voice.say('board.not_now')}:", *lines]))
    return parts


def _purpose(outlook: PurposeOutlook, today: dt.date, voice: Voice) -> str:
    said = (board.lead(outlook), board.sure(outlook), *turf_lines(outlook))
    lines = [_wrap(voice.text(phrase)) for phrase in said]
    for fact in board.facts(outlook, today):
        texts = " ".join(voice.text(one) for one in fact.said)
        lines.append(_wrap(f"{voice.text(fact.name)}: {texts}", "  "))
    return "\n".join(lines)


def _wrap(text: str, lead: str = "") -> str:
    return textwrap.fill(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False
    )
