"""``windowcast docs``: the documentation, readable without a network."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from windowcast.cli.output import echo, voice_in
from windowcast.core.errors import InputError
from windowcast.report.terminal_width import PROSE_WIDTH, screen_width

_FIRST = "README"
_THEN = ("tutorial", "faq", "reference")  # for who uses the program


def folder() -> Path:
    """Where the pages lie: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    inside = package / "docs"
    return inside if inside.is_dir() else package.parent / "docs"


def pages() -> dict[str, Path]:
    """Every page by its name, the first one to read first."""
    home = folder()
    first = home / f"{_FIRST}.md"
    if not first.is_file():
        first = home.parent / first.name
    found = {path.stem: path for path in sorted(home.glob("*.md")) if path.stem != _FIRST}
    then = {name: found[name] for name in _THEN if name in found}
    return {_FIRST: first, **then, **found}


@click.command("docs")
@click.argument("page", default="")
@click.option("--search", "words", metavar="WORDS", help="Lines of all pages that hold the words.")
def command(page: str, words: str) -> None:
    """Read a PAGE of the documentation here; without one, list them.

    Where the output goes to a file or a pipe, it is the page as it was written (Markdown).
    """

    known = pages()
    if words:
        lines = list(_found(known, words))
        if not lines:
            raise InputError(f"no page holds {words!r}", field="--search", remedy="try one word")
        echo(*lines)
    elif page:
        _show(_named(known, page).read_text("utf-8"))
    else:
        width = max(map(len, known))
        echo(*(f"{name:{width}}  {_title(path)}" for name, path in known.items()))
        voice = voice_in("metric")
        echo("", voice.say("cli.read_docs"), voice.say("cli.search_docs"))


def _named(known: dict[str, Path], page: str) -> Path:
    """The page of a name, or of one that begins so."""
    wanted = page.removesuffix(".md").lower().replace("-", "_")
    exact = [path for name, path in known.items() if name.lower() == wanted]
    begun = exact or [path for name, path in known.items() if name.lower().startswith(wanted)]
    if len(begun) != 1:
        some = ", ".join(path.stem for path in begun) or ", ".join(known)
        raise InputError(
            f"{page!r} is more than one page" if begun else f"{page!r} is no page",
            field="PAGE",
            remedy=f"read one of: {some}",
        )
    return begun[0]


def _title(path: Path) -> str:
    first = path.read_text("utf-8").partition("\n")[0]
    return first.lstrip("# ").strip()


def _found(known: dict[str, Path], words: str) -> Iterator[str]:
    """Lines that hold the words, with their page and number."""
    wanted = words.casefold()
    for name, path in known.items():
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
            if wanted in line.casefold():
                yield f"{name}:{number}: {line.strip()}"


def _show(text: str) -> None:
    """A page as a terminal can show it."""
    import sys

    if not sys.stdout.isatty():
        click.echo(text, nl=False)
        return
    from rich.console import Console, ConsoleOptions, RenderResult
    from rich.markdown import Markdown, TableElement
    from rich.table import Table

    class WholeTable(TableElement):
        """A table that breaks a long word where Rich would leave its end out."""

        def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
            for part in super().__rich_console__(console, options):
                if isinstance(part, Table):
                    for column in part.columns:
                        column.overflow = "fold"
                yield part

    class Page(Markdown):
        elements = {**Markdown.elements, "table_open": WholeTable}  # noqa: RUF012 - as in Rich

    console = Console(width=min(PROSE_WIDTH, screen_width() or PROSE_WIDTH))
    console.print(Page(text, hyperlinks=False, code_theme="bw"))
