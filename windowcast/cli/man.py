"""``windowcast man``: the manual page, made from the same texts as ``--help``."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator

import click

from windowcast.core.version import __version__

EXITS = {
    "0": "Done.",
    "1": "Something on this machine stops answers, or a fault of the program.",
    "2": "Bad input.",
    "3": "A source could not be reached and nothing usable is kept.",
    "130, 143": "Stopped by Ctrl-C, or by another program.",
}
VARIABLES = {
    "WINDOWCAST_CACHE": "Folder of the kept weather.",
    "WINDOWCAST_TOKEN": "Token of the web page.",
    "WINDOWCAST_ALERTS_TO": "Addresses for alerts.",
    "WINDOWCAST_CONTACT": "E-mail or web address, given to weather services that want one.",
    "WINDOWCAST_DEADLINE": "Seconds in which all sources of a command must have answered.",
    "HTTPS_PROXY, NO_PROXY, REQUESTS_CA_BUNDLE": "Proxy and certificates, as usual.",
    "COLUMNS": "Width of what is printed, also into a pipe.",
}


@click.command("man")
def command() -> None:
    """Print the manual page of every command.

    \b
    windowcast man | man -l -
    windowcast man > ~/.local/share/man/man1/windowcast.1
    """
    from windowcast.cli import cli

    click.echo("\n".join(page(cli)))


def page(group: click.Group) -> Iterator[str]:
    """The lines of the page, in the macros of man(7)."""
    context = click.Context(group, info_name="windowcast")
    yield f'.TH WINDOWCAST 1 "" "windowcast {__version__}" "User Commands"'
    first, *more = _paragraphs(group)
    yield from (".SH NAME", f"windowcast \\- {_plain(first[0].rstrip('.'))}")
    yield from (".SH SYNOPSIS", ".B windowcast", ".RI [ options ]", ".I command", ".RI [ words ]")
    yield ".SH DESCRIPTION"
    yield from _text([first, *more])
    yield ".SH OPTIONS"
    yield from _options(group, context)
    yield ".SH COMMANDS"
    yield from _commands(group, context)
    yield ".SH EXIT STATUS"
    yield from _list(EXITS)
    yield ".SH ENVIRONMENT"
    yield from _list(VARIABLES)


def _commands(group: click.Group, context: click.Context) -> Iterator[str]:
    """Each command below a group, those of groups in it too."""
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        if found is None or found.hidden:
            continue
        own = click.Context(found, info_name=name, parent=context)
        yield f'.SS "{_plain(own.command_path)}"'
        if not isinstance(found, click.Group):
            usage = " ".join(found.collect_usage_pieces(own))
            yield from (".PP", f"\\fB{_plain(own.command_path)}\\fR {_plain(usage)}")
        yield from _text(_paragraphs(found))
        yield from _options(found, own)
        if isinstance(found, click.Group):
            yield from _commands(found, own)


def _options(command: click.Command, context: click.Context) -> Iterator[str]:
    """Each option with its help; ``--help`` is told of once."""
    for parameter in command.get_params(context):
        if not isinstance(parameter, click.Option):
            continue
        if context.parent is not None and parameter.name == "help":
            continue
        record = parameter.get_help_record(context)
        if record is not None:
            names, text = record
            yield from (".TP", f"\\fB{_plain(names)}\\fR", _plain(" ".join(text.split())) or "\\&")


def _list(items: dict[str, str]) -> Iterator[str]:
    for name, text in items.items():
        yield from (".TP", f"\\fB{_plain(name)}\\fR", _plain(text))


def _paragraphs(command: click.Command) -> list[list[str]]:
    """The help of a command; a paragraph whose lines stay as they are begins with ``\\b``."""
    text = inspect.cleandoc(command.help or "").partition("\f")[0]
    return [part.split("\n") for part in re.split(r"\n\s*\n", text) if part.strip()]


def _text(paragraphs: list[list[str]]) -> Iterator[str]:
    for lines in paragraphs:
        yield ".PP"
        if lines[0].strip() == "\b":
            yield from (".nf", *map(_plain, lines[1:]), ".fi")
        else:
            yield from map(_plain, lines)


def _plain(text: str) -> str:
    """A text in which nothing is taken for a command of roff."""
    escaped = text.replace("\\", "\\e").replace("-", "\\-").replace('"', "\\(dq")
    escaped = re.sub(r"[^\x00-\x7f]", lambda mark: f"\\[u{ord(mark[0]):04X}]", escaped)
    return f"\\&{escaped}" if escaped.startswith((".", "'")) else escaped
