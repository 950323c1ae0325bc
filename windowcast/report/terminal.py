"""The answer in the terminal: the board; with every window and number where that is asked for."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from windowcast.core.phrase import Name, Span, say
from windowcast.report import board, wording
from windowcast.report.board import plan_lines, turf_lines
from windowcast.report.catalogue import Voice
from windowcast.report.decision_table import DecisionTable, decision_table
from windowcast.report.terminal_width import table_width, wrapped
from windowcast.windows.decision import answer_word, decide
from windowcast.windows.model import CAUTIONS, PurposeOutlook, Ranking, Window

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

TABLE_MIN_WIDTH = 96  # narrower terminals get stacked lines

_STYLE = {"fit": "bold cyan", "marginal": "yellow", "unfit": "dim", "cannot tell": "magenta"}
_WORD_STYLE = {
    "go": "bold cyan",
    "marginal": "bold yellow",
    "wait": "bold",
    "do not spray": "bold red",
    "cannot tell": "bold magenta",
    "out of season": "dim",
    "done": "bold green",
    "look": "bold yellow",
}


def table_text(
    *rankings: Ranking,
    voice: Voice,
    explain: bool = False,
    width: int | None = None,
    colour: bool | None = None,
) -> str:
    """The rankings of a site's ground for a terminal, one after the other.

    Parameters
    ----------
    rankings
        At least one; what is said of all of them is said once, at the end.
    voice
        Of the reader.
    explain
        Also print the trace of every number.
    width
        Columns to fill; the terminal's own when None, 120 when the output is not a terminal.
    colour
        Whether to write colour; when None, only to a terminal and not under ``NO_COLOR``.
    """
    from rich.console import Console

    if width is None:
        width = table_width()
    if colour is None:
        colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ
    stream = io.StringIO()
    console = Console(
        file=stream,
        width=width,
        force_terminal=colour,
        color_system="standard" if colour else None,
        highlight=False,
        emoji=False,
        markup=False,
    )
    for note in board.urgent(*rankings):
        _hung(console, f"! {voice.text(note)}", "bold")
    for ranking in rankings:
        print_ranking(console, ranking, voice, explain=explain)
    print_notes(console, rankings, voice, explain=explain)
    return "".join(f"{line.rstrip()}\n" for line in stream.getvalue().splitlines())


def print_ranking(
    console: Console, ranking: Ranking, voice: Voice, *, explain: bool = False
) -> None:
    """Print the board on a console of `rich`; with `explain` also every window and its numbers."""
    place = wording.ground(ranking.site, ranking.areas)
    console.print(f"{place}  {voice.write(ranking.today, 'long')}", style="bold")
    console.print()
    if idle := board.idle(ranking):
        _hung(console, voice.text(idle), "bold")
        console.print()
    in_season = board.in_order(ranking.purposes)
    for outlook in in_season:
        _board(console, outlook, ranking, voice, explain=explain)
        console.print()
    later = [outlook for outlook in ranking.purposes if not outlook.in_season]
    if later:
        _hung(console, f"{voice.say('board.not_now')}:", "dim")
    for outlook in later:
        said = wording.out_of_season(outlook) if explain else board.closed(outlook)
        _hung(console, f"– {voice.text(said)}", "dim")
        for line in plan_lines(outlook.turf):
            _hung(console, f"  {voice.text(line)}", hanging="  ")
    if later:
        console.print()
    if explain:
        _windows(console, in_season, voice)
        _explain(console, ranking, voice)


def print_notes(
    console: Console, rankings: Sequence[Ranking], voice: Voice, *, explain: bool = False
) -> None:
    """Print what must be known of weather and weeds, and the cautions, each once.

    The cautions of every answer are said in short, and in full with `explain`.
    """
    said_first = set(board.urgent(*rankings))
    notes = dict.fromkeys(note for ranking in rankings for note in ranking.weather_notes)
    for note in (note for note in notes if note not in said_first):
        of_weeds = note.id.startswith("season_note.")
        said = note if of_weeds else say("board.weather", note=note)
        _hung(console, voice.text(said), "dim")
    cautions = list(dict.fromkeys(said for ranking in rankings for said in ranking.cautions))
    if not explain and set(CAUTIONS) <= set(cautions):
        own = [caution for caution in cautions if caution not in CAUTIONS]
        cautions = [*own, say("caution.briefly.law"), say("caution.briefly.people")]
    for caution in cautions:
        _hung(console, f"! {voice.text(caution)}", "italic")


def _board(
    console: Console,
    outlook: PurposeOutlook,
    ranking: Ranking,
    voice: Voice,
    *,
    explain: bool,
) -> None:
    """One application: the sentence, how sure it is, what it may do to the turf, the facts."""
    _hung(console, voice.text(board.lead(outlook)), _WORD_STYLE[answer_word(outlook)])
    _hung(console, f"  {voice.text(board.sure(outlook))}", hanging="  ")
    for line in turf_lines(outlook):
        _hung(console, f"  {voice.text(line)}", "bold", hanging="    ")
    facts = list(board.facts(outlook, ranking.today))
    width = max((len(voice.text(fact.name)) for fact in facts), default=0) + 2
    for fact in facts:
        brief = fact.name.id == "board.with" and not explain
        texts = wording.with_briefly(outlook) if brief else fact.said
        for place, said in enumerate(texts):
            name = voice.text(fact.name) if place == 0 else ""
            _hung(console, f"  {name:<{width}}{voice.text(said)}", hanging=" " * (width + 2))
    decided = decide(outlook, ranking.today)
    if explain and (table := decision_table(decided)) is not None:
        console.print()
        _hung(console, f"  {voice.text(decided.text)}", hanging="  ")
        _decision(console, table, voice)


def _decision(console: Console, of: DecisionTable, voice: Voice) -> None:
    """What to expect of each way to decide."""
    from rich import box
    from rich.padding import Padding
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column()
    for place, name in enumerate(of.columns):
        table.add_column(voice.text(name), style="bold" if place == of.best else "")
    for name, cells in of.rows:
        table.add_row(voice.text(name), *(voice.text(cell) for cell in cells))
    console.print(Padding(table, (0, 0, 0, 2), expand=False))


def _shown(outlook: PurposeOutlook) -> list[Window]:
    """The best windows, or what came closest."""
    if outlook.windows:
        return list(outlook.windows[: wording.CANDIDATES])
    return [outlook.closest] if outlook.closest is not None else []


def _windows(console: Console, outlooks: list[PurposeOutlook], voice: Voice) -> None:
    """Every window shown, with its score: a table where there is room, stacked where not."""
    if not any(_shown(outlook) for outlook in outlooks):
        return
    if console.width >= TABLE_MIN_WIDTH:
        console.print(_table(outlooks, voice))
    else:
        _stacked(console, outlooks, voice)


def _table(outlooks: list[PurposeOutlook], voice: Voice) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, expand=True, leading=1)
    for name in ("purpose", "verdict", "date", "hours"):
        table.add_column(_head(name, voice), no_wrap=True)
    table.add_column(_head("score", voice), justify="right", no_wrap=True)
    table.add_column(_head("chance", voice), no_wrap=True)
    for name in ("held_back_by", "follow_up"):
        table.add_column(_head(name, voice), ratio=3, overflow="fold")
    for outlook in outlooks:
        shown = _shown(outlook)
        for place, window in enumerate(shown):
            table.add_row(
                voice.text(wording.short_title(outlook.purpose)) if place == 0 else "",
                _verdict(window, closest=not outlook.windows, voice=voice),
                voice.write(window.date, "day"),
                wording.hours(window, voice),
                wording.score(window),
                voice.write(wording.odds(window.odds)),
                voice.text(wording.limit(window.limiting)),
                wording.must_follow(window, voice),
            )
    return table


def _stacked(console: Console, outlooks: list[PurposeOutlook], voice: Voice) -> None:
    from rich.padding import Padding

    console.print()
    for outlook in outlooks:
        for place, window in enumerate(_shown(outlook), 1):
            line = _text(f"{voice.text(wording.short_title(outlook.purpose))} {place}  ", "bold")
            line.append_text(_verdict(window, closest=not outlook.windows, voice=voice))
            line.append(f"  {voice.write(window.date, 'day')} {wording.hours(window, voice)}")
            console.print(line)
            score = say("board.score", score=Name(wording.score(window)))
            facts = [voice.text(fact) for fact in (score, *board.window_facts(window))]
            for fact in facts:
                console.print(Padding(fact, (0, 0, 0, 2), expand=False))
    console.print()


def _verdict(window: Window, voice: Voice, *, closest: bool) -> Text:
    said = wording.verdict(window.verdict)
    said = say("board.closest_window", verdict=said) if closest else said
    return _text(f"{wording.SYMBOLS[window.verdict]} {voice.text(said)}", _STYLE[window.verdict])


def _head(column: str, voice: Voice) -> str:
    return voice.say(f"column.{column}")


def _explain(console: Console, ranking: Ranking, voice: Voice) -> None:
    """Of the best window of each purpose what holds it back, with sources; the rest is in JSON."""
    console.print()
    console.print(voice.say("board.sources"), style="bold")
    for outlook in ranking.purposes:
        for window in _shown(outlook)[:1]:
            when, grade = Span(window.start, window.end), window.grade
            purpose = wording.short_title(outlook.purpose)
            console.print(voice.say("board.hours_of", purpose=purpose, when=when, grade=grade))
            for judged in wording.held(window):
                points = "?" if judged.score is None else f"{100 * judged.score:.0f}"
                said = f"{voice.text(wording.limit(judged))} [{judged.source}]"
                _hung(console, f"  {points:>3}  {said}", hanging=" " * 7)
            for met in wording.met(window):
                _hung(console, f"  100  {voice.text(met)}", hanging=" " * 7)
            if window.odds is not None:
                _hung(console, f"  {voice.text(wording.odds_basis(window.odds))}", hanging=" " * 7)
    for title, lines in (
        (say("board.weather_from"), ranking.provenance),
        (say("board.values_used"), wording.values_used(ranking)),
    ):
        console.print(voice.text(title), style="bold")
        for line in lines:
            _hung(console, f"  {voice.text(line)}", hanging=" " * 4)
    console.print()


def _hung(console: Console, text: str, style: str = "", hanging: str = "  ") -> None:
    """A paragraph whose further lines stand further in than its first."""
    for line in wrapped(text, console.width, hanging=hanging):
        console.print(line, style=style)


def _text(text: str, style: str) -> Text:
    from rich.text import Text

    return Text().append(text, style)
