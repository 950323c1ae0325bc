"""The forms of the season log: their fields by kind, names offered in them, and the entries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, cast
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.records import model
from windowcast.records.entry_checks import from_plain, to_plain
from windowcast.records.fields import LogField
from windowcast.records.model import Application, Entry, kind_of
from windowcast.records.store import SeasonLog
from windowcast.records.used_before import used_before
from windowcast.report.catalogue import Voice
from windowcast.report.log_entries import asked_in, choice_in
from windowcast.web.fields import Field, read, show
from windowcast.web.sites import KnownSite

MATERIALS = 4  # rows of the form for what is in the tank
Part = tuple[str, tuple[Field, ...]]  # heading, fields


def _asked(field: LogField, voice: Voice, key: str = "", needed: bool | None = None) -> Field:
    """How a form asks for a field of the log."""
    unsaid = ("", voice.say("form.not_said"))
    options: tuple[tuple[str, str], ...] = ()
    if field.type == "yesno":
        options = (unsaid, ("yes", voice.say("form.yes")), ("no", voice.say("form.no")))
    if field.asked.choices:
        options = (unsaid, *((one, choice_in(voice, one)) for one in field.asked.choices))
    return Field(
        key + field.name,
        asked_in(voice, field.asked.title),
        cast("Any", field.type),
        field.asked.measure,
        hint=asked_in(voice, field.asked.hint),
        needed=field.needed if needed is None else needed,
        options=options,
    )


def form_of(kind: str, voice: Voice) -> tuple[Part, ...]:
    """The parts of a kind's form; what is in the tank comes after when and where."""
    parts: list[Part] = []
    for field in model.fields_of(kind):
        if field.type == "materials":
            continue
        if field.asked.heading:
            parts.append((asked_in(voice, field.asked.heading), ()))
        heading, fields = parts[-1]
        parts[-1] = heading, (*fields, _asked(field, voice))
    if kind == "application":
        parts[1:1] = [_material(row, voice) for row in range(MATERIALS)]
    return tuple(parts)


def _material(row: int, voice: Voice) -> Part:
    fields = (
        _asked(field, voice, f"materials.{row}.", needed=field.needed and row == 0)
        for field in model.fields_of("material")
    )
    return voice.say("record.material", number=row + 1), tuple(fields)


def fields_of(kind: str, voice: Voice) -> list[Field]:
    """Every field of a kind's form."""
    return [field for _, group in form_of(kind, voice) for field in group]


def entry_from(kind: str, typed: Mapping[str, str], voice: Voice, zone: ZoneInfo) -> Entry:
    """The entry a filled-in form stands for.

    Raises
    ------
    InputError
        With the form's field named.
    """
    flat = read(fields_of(kind, voice), typed, voice.units, zone)
    plain = {name: value for name, value in flat.items() if not name.startswith("materials.")}
    if kind == "application":
        plain["materials"] = _materials(flat)
    return from_plain(kind, plain)


def form_values(entry: Entry, voice: Voice, zone: ZoneInfo) -> dict[str, str]:
    """What to fill the form with for an entry."""
    plain: dict[str, Any] = dict(to_plain(entry))
    for row, material in enumerate(plain.pop("materials", [])):
        plain |= {f"materials.{row}.{name}": value for name, value in material.items()}
    return show(fields_of(kind_of(entry), voice), plain, voice.units, zone)


def _materials(flat: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The filled rows of the tank, in order."""
    rows: dict[int, dict[str, Any]] = {}
    for name, value in flat.items():
        if name.startswith("materials."):
            _, place, key = name.split(".")
            rows.setdefault(int(place), {})[key] = value
    for number, material in rows.items():
        if "active" not in material:
            raise InputError(
                "is missing", field=f"materials.{number}.active", remedy="name it or empty its row"
            )
    return [rows[number] for number in sorted(rows)]


_LATEST = 200  # applications that are looked at


def suggestions(site: KnownSite, products: Iterable[str]) -> Mapping[str, tuple[str, ...]]:
    """Name of a field → what to offer in it."""
    assert site.site is not None
    applications: list[Application] = []
    if site.log_path is not None and site.log_path.exists():
        with SeasonLog(site.log_path) as log:
            applications = [stored.entry for stored in log.latest(Application, _LATEST)]
    return used_before(site.site, products, applications)
