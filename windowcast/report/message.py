"""The answer as plain text for an e-mail or a message."""

from __future__ import annotations

import textwrap

from windowcast.core.units import Display
from windowcast.report import wording
from windowcast.report.turf_lines import turf_lines
from windowcast.windows.model import PurposeOutlook, Ranking, Window

WIDTH = 72


def message_text(ranking: Ranking) -> str:
    """A summary of a few short paragraphs: the answer, best and second-best window, cautions."""
    display = Display(ranking.units)
    parts = [f"{ranking.site}, {wording.long_day(ranking.today)}"]
    parts += [_purpose(outlook, display) for outlook in ranking.purposes if outlook.in_season]
    waiting = [o for o in ranking.purposes if not o.in_season]
    if waiting:
        parts.append(
            "\n".join(_wrap(wording.text(wording.out_of_season(o), display), "- ") for o in waiting)
        )
    if ranking.weather_notes:
        notes = (_wrap(wording.text(note, display), "- ") for note in ranking.weather_notes)
        parts.append("About the weather used:\n" + "\n".join(notes))
    parts.append(
        "\n".join(_wrap(wording.text(caution, display), "! ") for caution in ranking.cautions)
    )
    return "\n\n".join(parts) + "\n"


def _purpose(outlook: PurposeOutlook, display: Display) -> str:
    lines = [
        f"{wording.text(outlook.title, display).upper()}: {wording.answer_word(outlook)}",
        _wrap(wording.text(outlook.advice, display)),
    ]
    covers = (wording.text(cover, display) for cover in wording.covers(outlook))
    lines += [_wrap(text, "  ") for text in (*turf_lines(outlook), *covers)]
    for place, window in zip(("Best", "Next"), outlook.windows, strict=False):
        lines.append(_wrap(f"{place}: {_window(window, display)}", "  "))
    if not outlook.windows:
        if outlook.closest is not None:
            lines.append(_wrap(f"Closest: {_window(outlook.closest, display)}", "  "))
        if outlook.would_change:
            lines.append(_wrap(wording.text(outlook.would_change, display), "  "))
    return "\n".join(lines)


def _window(window: Window, display: Display) -> str:
    text = f"{wording.day(window.date)} {wording.hours(window)}, score {wording.score(window)}"
    if window.odds is not None:
        text += f", odds {wording.odds(window.odds)}"
    if window.limiting is not None:
        text += f". Limited by {wording.text(wording.limit(window.limiting), display)}"
    if window.follow_up:
        text += f". Then: {wording.must_follow(window, display)}"
    return text + "."


def _wrap(text: str, lead: str = "") -> str:
    return textwrap.fill(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False
    )
