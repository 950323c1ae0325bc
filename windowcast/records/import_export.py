"""The season log as JSON and CSV, there and back without loss.

Both forms hold the whole history, one row (CSV) or object (JSON) for each version of an entry, so
that reading them into an empty log gives the same log. A CSV written by hand needs only the
columns ``kind`` and those of the entries; its rows are added as one change, may write materials as
``prodiamine 0.84 kg/ha; simazine 1.1 kg/ha`` and times without a zone. A row's id follows from
what it says, so that a file can be read again after rows were added to it.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.records import store_schema
from windowcast.records.command_words import materials_from, moment_from
from windowcast.records.fields import LogField
from windowcast.records.model import (
    KINDS,
    Entry,
    check_dates,
    fields_of,
    from_plain,
    to_plain,
)
from windowcast.records.store import Change, Revision, SeasonLog

FORMAT = "season log"
_HISTORY = ("change", "at", "action", "undoes", "entry")
_ACTIONS = ("add", "edit", "remove", "undo", "import")
COLUMNS = (
    *_HISTORY,
    "kind",
    *dict.fromkeys(field.name for kind in KINDS for field in fields_of(kind)),
)


def to_json(log: SeasonLog) -> str:
    """The whole log as JSON text."""
    changes = [
        {
            "change": change.uid,
            "at": change.at.isoformat(),
            "action": change.action,
            "undoes": change.undoes,
            "revisions": [
                {"entry": r.id, "kind": r.kind, "body": r.body} for r in change.revisions
            ],
        }
        for change in log.history()
    ]
    document = {"format": FORMAT, "schema": store_schema.VERSION, "changes": changes}
    return json.dumps(document, ensure_ascii=False, indent=1)


def to_csv(log: SeasonLog) -> str:
    """The whole log as CSV text: a row for each version of an entry.

    A cell that is empty is not there; texts are written as they are, everything else as JSON. A
    row with ``action`` but no values stands for an entry taken out.
    """
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for change in log.history():
        for revision in change.revisions:
            row: dict[str, str] = {
                "change": change.uid,
                "at": change.at.isoformat(),
                "action": change.action,
                "undoes": change.undoes or "",
                "entry": revision.id,
                "kind": revision.kind,
            }
            for key, value in (revision.body or {}).items():
                row[key] = (
                    value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
                )
            writer.writerow(row)
    return stream.getvalue()


Check = Callable[[Entry], Entry]


def read_changes(
    path: str | PathLike[str], check: Check | None = None, zone: ZoneInfo | None = None
) -> list[Change]:
    """What a JSON or CSV export, or a CSV written by hand, holds, for `SeasonLog.merge`.

    Parameters
    ----------
    check
        What an entry written by hand must pass; it may return the entry put right.
    zone
        Of times written by hand that say none.

    Raises
    ------
    InputError
        The file cannot be read or a row in it is wrong.
    """
    text = _read(path)
    if text.lstrip()[:1] in {"{", "["}:
        return _from_json(text, path)
    return _from_csv(text, path, check, zone)


def _refuse_dates(placed: Iterable[tuple[str, str, Any, Any]], path: str | PathLike[str]) -> None:
    """Refuse an entry whose last version has an impossible date; what was put right may stay.

    Parameters
    ----------
    placed
        Id, kind, body and row (CSV) or field (JSON) of each version, oldest first.
    """
    last = {entry: version for entry, *version in placed}
    for kind, body, place in last.values():
        if body is None:
            continue
        try:
            check_dates(from_plain(kind, body))
        except InputError as error:
            if isinstance(place, int):
                raise error.at(path=path, row=place) from None
            raise error.at(path=path, field=f"{place}.body.{error.field}") from None


def _read(path: str | PathLike[str]) -> str:
    try:
        with Path(path).open(encoding="utf-8-sig", newline="") as stream:
            return stream.read()
    except UnicodeDecodeError:
        raise InputError("is not a text file", path=path, remedy="save it as UTF-8") from None
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror})", path=path, remedy="check the path"
        ) from None


def _from_json(text: str, path: str | PathLike[str]) -> list[Change]:
    try:
        document = json.loads(text)
    except ValueError as error:
        raise InputError(f"is not JSON: {error}", path=path, remedy="export it again") from None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise InputError(
            "is not an export of a season log", path=path, remedy="use windowcast log export"
        )
    if not isinstance(document.get("schema"), int) or document["schema"] > store_schema.VERSION:
        raise InputError(
            f"was written by a newer windowcast (log schema {document.get('schema')}, this"
            f" program knows {store_schema.VERSION})",
            path=path,
            remedy="update windowcast",
        )
    changes = []
    for count, item in enumerate(document.get("changes", []), start=1):
        try:
            revisions = [(r["entry"], r["kind"], r["body"]) for r in item["revisions"]]
            head = (item["change"], item["at"], item["action"], item["undoes"])
        except (KeyError, TypeError):
            raise InputError(
                "a change lacks a part", path=path, field=f"changes.{count - 1}"
            ) from None
        changes.append(_change(head, revisions, path, None))
    _refuse_dates(
        (
            (revision.id, revision.kind, revision.body, f"changes.{i}.revisions.{j}")
            for i, change in enumerate(changes)
            for j, revision in enumerate(change.revisions)
        ),
        path,
    )
    return changes


def _from_csv(
    text: str, path: str | PathLike[str], check: Check | None, zone: ZoneInfo | None
) -> list[Change]:
    reader = csv.DictReader(io.StringIO(text, newline=""), restkey="")
    columns = [c.strip() for c in reader.fieldnames or ()]
    unknown = [c for c in columns if c not in COLUMNS]
    if "kind" not in columns or unknown:
        raise InputError(
            f"column {unknown[0]!r} is not known" if unknown else "has no column 'kind'",
            path=path,
            row=1,
            remedy="compare with the columns of windowcast log export --format csv",
        )
    reader.fieldnames = columns
    full = set(_HISTORY) <= set(columns)
    grouped: dict[tuple[str, str, str, str | None], list[tuple[str, str, Any]]] = {}
    first_row: dict[tuple[str, str, str, str | None], int] = {}
    seen: Counter[tuple[str, str]] = Counter()
    placed: list[tuple[str, str, Any, int]] = []
    loose = (uuid.uuid4().hex, dt.datetime.now(dt.UTC).isoformat(), "import", None)
    for row in reader:
        number = reader.line_num
        if None in row.values() or "" in row:
            raise InputError(
                f"has not {len(columns)} cells", path=path, row=number, remedy="correct the row"
            )
        kind = row["kind"]
        if kind not in KINDS:
            from_plain(kind, {}, path=path, row=number)  # raises, with a close kind
        body = _body(kind, row, path, number)
        head = (row["change"], row["at"], row["action"], row["undoes"] or None) if full else loose
        gone = full and not body and row["action"] in {"remove", "undo"}
        if not full:
            body = _checked(kind, _by_hand(kind, body, zone, path, number), path, number, check)
        elif not gone:
            from_plain(kind, body, path=path, row=number)
        entry = row["entry"] if full else _id_of(kind, body, seen)
        grouped.setdefault(head, []).append((entry, kind, None if gone else body))
        placed.append((entry, kind, None if gone else body, number))
        first_row.setdefault(head, number)
    changes = [_change(head, rows, path, first_row[head]) for head, rows in grouped.items()]
    _refuse_dates(placed, path)
    return changes


def _by_hand(
    kind: str,
    body: Mapping[str, Any],
    zone: ZoneInfo | None,
    path: str | PathLike[str],
    row: int,
) -> dict[str, Any]:
    """Values of an application's cells as people write them: materials, times without a zone."""
    plain = dict(body)
    for field in fields_of(kind):
        text = plain.get(field.name)
        try:
            if field.type == "moment" and text is not None:
                plain[field.name] = moment_from(text, field.name, zone)
            elif field.type == "materials" and isinstance(text, str):
                plain[field.name] = materials_from(text)
        except InputError as error:
            raise error.at(path=path, row=row, field=field.name) from None
    return plain


def _checked(
    kind: str, body: dict[str, Any], path: str | PathLike[str], row: int, check: Check | None
) -> dict[str, Any]:
    """Values of an entry written by hand, put right; its faults name the row."""
    entry = from_plain(kind, body, path=path, row=row)
    if check is None:
        return to_plain(entry)
    try:
        return to_plain(check(entry))
    except InputError as error:
        raise error.at(path=path, row=row) from None


def _id_of(kind: str, body: Mapping[str, Any], seen: Counter[tuple[str, str]]) -> str:
    """An id that follows from what an entry says, and from how often the file said it before."""
    words = kind, json.dumps(body, sort_keys=True, ensure_ascii=False)
    seen[words] += 1
    return uuid.uuid5(uuid.NAMESPACE_OID, json.dumps([*words, seen[words]])).hex


def _body(
    kind: str, row: Mapping[str, str], path: str | PathLike[str], number: int
) -> dict[str, Any]:
    """Values of a row's filled cells: texts as they are, the rest from JSON."""
    plain: dict[str, Any] = {}
    known = {field.name: field for field in fields_of(kind)}
    for name, cell in row.items():
        if cell == "" or name in _HISTORY or name == "kind":
            continue
        if name not in known:
            raise InputError(
                f"a {kind} has no {name}",
                path=path,
                row=number,
                field=name,
                remedy="empty the cell",
            )
        plain[name] = _value(known[name], cell)
    return plain


def _value(field: LogField, cell: str) -> Any:
    if field.worded:
        return cell
    try:
        return json.loads(cell)
    except ValueError:
        return cell  # the check that follows names what is wrong with it


def _change(
    head: Sequence[Any],
    rows: Iterable[tuple[Any, Any, Any]],
    path: str | PathLike[str],
    row: int | None,
) -> Change:
    uid, at, action, undoes = head
    try:
        time = dt.datetime.fromisoformat(at)
        if time.tzinfo is None:
            raise ValueError
    except (TypeError, ValueError):
        raise InputError(
            f"{at!r} is not a time with zone", path=path, row=row, field="at"
        ) from None
    if action not in _ACTIONS or not isinstance(uid, str) or not uid:
        raise InputError(f"{action!r} is not an action", path=path, row=row, field="action")
    revisions = []
    for entry, kind, body in rows:
        if not isinstance(entry, str) or not entry:
            raise InputError("has no id", path=path, row=row, field="entry")
        if body is not None:
            from_plain(kind, body, path=path, row=row)
        elif kind not in KINDS:
            raise InputError(f"{kind!r} is not a kind", path=path, row=row, field="kind")
        revisions.append(Revision(entry, kind, body))
    return Change(uid, time, action, tuple(revisions), undoes)
