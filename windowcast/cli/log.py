"""``windowcast log``: the season log."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import echo, lang_option
from windowcast.cli.site_log import SiteLog, say_left_out, with_weather
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.records.kinds import KINDS

if TYPE_CHECKING:
    from windowcast.records.stored import Change, Stored

_SURVIVED = re.compile(r"surviv|escape|still alive|not killed", re.IGNORECASE).search
_PATH = click.Path(path_type=Path)


def _place_options(command: Callable[..., Any]) -> Callable[..., Any]:
    log = click.option("--log", "log_file", type=_PATH, metavar="FILE", help="The log itself.")
    site = click.option("--site", "site_file", type=_PATH, metavar="SITE.toml", help="Whose log.")
    return site(log(lang_option(command)))


@click.group(name="log")
def command() -> None:
    """Season log: applications, probe readings, counts, ratings, cover, notes, resistance tests.

    Nothing is ever lost: edits and removals keep what was there before, and undo takes them back.
    Name the log with --site SITE.toml (its own log) or --log FILE.
    """


@command.command("add")
@click.argument("kind", metavar="KIND", type=click.Choice(KINDS))
@click.argument("words", nargs=-1, required=True, metavar="FIELD=VALUE...")
@_place_options
@click.option(
    "--weather", "files", multiple=True, metavar="FILE", help="Weather file to fill from."
)
@click.option("--no-weather", is_flag=True, help="Do not fill in the hour's weather.")
def add(
    kind: str,
    words: tuple[str, ...],
    *,
    site_file: Path | None,
    log_file: Path | None,
    files: tuple[str, ...],
    no_weather: bool,
) -> None:
    """Add an entry of a KIND: application, probe, count, rating, cover, note,
    resistance.

    For instance: add probe date=2025-10-01 depth="2 in" temp="66 F".

    An application: start="2025-12-03 10:15" active="glyphosate 0.5 lb/acre" product=...
    registration=... where="field 2" area="2 acre" carrier="25 gal/acre" operator=...; with a site
    file its empty weather fields are filled from the record and marked with where they come from.
    """
    from windowcast.records.command_words import plain_from
    from windowcast.records.entry_checks import from_plain
    from windowcast.records.model import Application, FieldNote, ResistanceTest

    place = SiteLog(site_file, log_file)
    plain = plain_from(kind, words, place.site.zone if place.site else None)
    if kind == "application" and "materials" not in plain:
        raise InputError(
            "is missing", field="active", remedy='write active="glyphosate 0.5 lb/acre"'
        )
    entry = place.checked(from_plain(kind, plain))
    entered = entry
    if isinstance(entry, Application) and place.site is not None and not no_weather:
        entry = with_weather(entry, place, files)
    with place.open(create=True) as log:
        (entry_id,) = log.add(entry)
        _say(log.get(entry_id), place)
    if isinstance(entry, Application) and entry is not entered:
        echo(place.voice.say("cli.filled_in", source=entry.weather_source))
    if isinstance(entry, Application):
        for line in place.expected(entry):
            echo(line)
    if isinstance(entry, ResistanceTest):
        for line in place.on_test(entry):
            echo(line)
    if isinstance(entry, FieldNote) and entry.survivors_mixed:
        echo(f"  {place.on_survivors()}")
    if isinstance(entry, FieldNote) and entry.survivors_mixed is None and _SURVIVED(entry.text):
        echo(place.voice.say("cli.survivors", id=entry_id[:8]))


@command.command("list")
@click.option("--kind", type=click.Choice(KINDS), help="Only this kind.")
@format_option("table", "json")
@_place_options
def list_(kind: str | None, format_: str, site_file: Path | None, log_file: Path | None) -> None:
    """List what the log holds now, by date."""
    place = SiteLog(site_file, log_file)
    with place.open() as log:
        entries, unusable = log.read(kind)
    say_left_out(unusable, place.voice)
    if format_ == "json":
        click.echo(_as_json(entries))
    elif not entries:
        echo(place.voice.say("cli.none_of_kind" if kind else "cli.empty"))
    else:
        for stored in entries:
            _say(stored, place)


@command.command("show")
@click.argument("entry_id", metavar="ID")
@_place_options
def show(entry_id: str, site_file: Path | None, log_file: Path | None) -> None:
    """Show an entry with its fields and history; an application as its spray record sheet."""
    from windowcast.records.entry_checks import to_plain
    from windowcast.records.model import Application, kind_of
    from windowcast.report.log_entries import fields_text
    from windowcast.report.spray_record import record_sheet, sheet_lines

    place = SiteLog(site_file, log_file)
    with place.open() as log:
        stored = log.get(entry_id)
        history = log.history(stored.id)
    _say(stored, place)
    if isinstance(stored.entry, Application):
        expected = place.expected(stored.entry)
        sheet = [
            *sheet_lines(record_sheet(stored.entry, place.voice), place.voice),
            *([""] if expected else []),
            *expected,
        ]
        echo("", *sheet)
    else:
        for name, value in to_plain(stored.entry).items():
            echo(f"  {fields_text(kind_of(stored.entry), {name: value}, place.voice)}")
    click.echo("")
    _say_changes(history, place)


@command.command("edit")
@click.argument("entry_id", metavar="ID")
@click.argument("words", nargs=-1, required=True, metavar="FIELD=VALUE...")
@_place_options
def edit(
    entry_id: str, words: tuple[str, ...], site_file: Path | None, log_file: Path | None
) -> None:
    """Change fields of an entry; FIELD= empties one. The version before is kept.

    In an application active= and the words after it replace all its materials.
    """
    from windowcast.records.command_words import field_named, plain_from
    from windowcast.records.entry_checks import from_plain, to_plain
    from windowcast.records.model import kind_of

    place = SiteLog(site_file, log_file)
    with place.open() as log:
        stored = log.get(entry_id)
        kind = kind_of(stored.entry)
        emptied = {
            field_named(kind, word[:-1].strip().lower()).name
            for word in words
            if word.endswith("=")
        }
        given = [word for word in words if not word.endswith("=")]
        changed = plain_from(kind, given, place.site.zone if place.site else None)
        plain = {k: v for k, v in to_plain(stored.entry).items() if k not in emptied} | changed
        log.edit(stored.id, place.checked(from_plain(kind, plain)), version=stored.version)
        _say(log.get(stored.id), place)


@command.command("remove")
@click.argument("entry_id", metavar="ID")
@_place_options
def remove(entry_id: str, site_file: Path | None, log_file: Path | None) -> None:
    """Take an entry out of the list; its history stays, and undo brings it back."""
    place = SiteLog(site_file, log_file)
    with place.open() as log:
        stored = None
        with suppress(InputError):  # what nobody can read can still be taken out
            stored = log.get(entry_id)
        removed = log.remove(entry_id)
    echo(place.voice.say("cli.removed"))
    if stored is not None:
        _say(stored, place)
    else:
        echo(f"{removed.id[:8]}  {removed.kind}")


@command.command("undo")
@_place_options
def undo(site_file: Path | None, log_file: Path | None) -> None:
    """Take back the last change that has not been taken back yet."""
    place = SiteLog(site_file, log_file)
    with place.open() as log:
        change = log.undo()
    echo(place.voice.say("cli.taken_back"))
    _say_changes([change], place)


@command.command("history")
@click.argument("entry_id", metavar="[ID]", required=False)
@_place_options
def history(entry_id: str | None, site_file: Path | None, log_file: Path | None) -> None:
    """Every change ever made, or those of one entry."""
    place = SiteLog(site_file, log_file)
    with place.open() as log:
        _say_changes(log.history(entry_id), place)


@command.command("export")
@format_option("json", "csv")
@click.option("--out", type=_PATH, metavar="FILE", help="Write here instead of printing.")
@_place_options
def export(format_: str, out: Path | None, site_file: Path | None, log_file: Path | None) -> None:
    """The whole log with its history as JSON or CSV; import reads it back without loss."""
    from windowcast.records import import_export

    place = SiteLog(site_file, log_file)
    with place.open() as log:
        text = import_export.to_json(log) if format_ == "json" else import_export.to_csv(log)
    if out is None:
        click.echo(text.encode(), nl=False)
    else:
        write_atomic(out, text)
        echo(place.voice.say("cli.written", file=str(out)))


@command.command("import")
@click.argument("file", metavar="FILE[:key=value]")
@_place_options
@click.option("--dry-run", is_flag=True, help="Show how the file is understood, store nothing.")
def import_(file: str, site_file: Path | None, log_file: Path | None, *, dry_run: bool) -> None:
    """Add what an export, or a table written by hand, holds; nothing is added twice.

    By hand: CSV or Excel with a column kind and those of the entries, with their units in the
    names ("Area (acre)", area_m2) or behind the numbers; materials are written "prodiamine 0.84
    kg/ha; simazine 1 lb/acre" (active ingredient). Times are the site's. How the table is
    understood is shown first. The whole file is added, or nothing.

    What a table cannot tell is said behind its name: dates=mdy (or dmy), decimal=comma (or
    point), sheet=NAME, kind=application, unknown=ignore. More in docs/season_log.md.
    """
    from windowcast.records.by_hand import LogTableOptions
    from windowcast.records.import_export import read_log_file
    from windowcast.report.table_understood import entries_counted, import_lines

    place = SiteLog(site_file, log_file)
    read = read_log_file(
        file, place.checked, LogTableOptions(place.site.zone if place.site else None)
    )
    for line in import_lines(read, place.voice):
        echo(line)
    if dry_run:
        counted = entries_counted(read, place.voice)
        echo(place.voice.say("cli.dry_run", entries=counted))
        return
    with place.open(create=True) as log:  # only now: a file that is refused begins no log
        before = len(log.entries())
        count = log.merge(read.changes)
        now = len(log.entries())
    more = f"{now - before:+d}"
    echo(place.voice.say("cli.merged", changes=count, entries=now, more=more))


@command.command("backup")
@click.argument("file", type=_PATH)
@_place_options
def backup(file: Path, site_file: Path | None, log_file: Path | None) -> None:
    """Copy the whole log to a new file while others may go on using it."""
    place = SiteLog(site_file, log_file)
    with place.open() as log:
        log.backup(file)
    echo(place.voice.say("cli.copied", file=str(file)))


def _say(stored: Stored[Any], place: SiteLog) -> None:
    from windowcast.records.model import kind_of
    from windowcast.report.log_entries import entry_text

    edited = ""
    if stored.version > 1:
        edited = place.voice.say("cli.log_version", version=stored.version)
    kind = place.voice.say(f"log_kind.{kind_of(stored.entry)}")
    said = entry_text(stored.entry, place.voice)
    echo(f"{stored.id[:8]}  {stored.entry.date}  {kind}: {said}{edited}")


def _say_changes(changes: Iterable[Change], place: SiteLog) -> None:
    from windowcast.report.log_entries import change_text

    for change in changes:
        for at in change.revisions:
            said = change_text(change.action, at.id, at.kind, at.body, place.voice)
            echo(f"{change.at:%Y-%m-%d %H:%M}Z  {said}")


def _as_json(entries: Iterable[Stored[Any]]) -> str:
    import json

    from windowcast.records.entry_checks import to_plain
    from windowcast.records.model import kind_of

    rows = [
        {
            "id": s.id,
            "kind": kind_of(s.entry),
            "version": s.version,
            "changed_at": s.changed_at.isoformat(),
            **to_plain(s.entry),
        }
        for s in entries
    ]
    return json.dumps(rows, ensure_ascii=False, indent=1)
