"""The season log as JSON and CSV, there and back without loss.

Both forms hold the whole history, one row (CSV) or object (JSON) for each version of an entry, so
that reading them into an empty log gives the same log. A table written by hand (`by_hand`) needs
only the columns ``kind`` and those of the entries; its rows are added as one change, may write
materials as ``prodiamine 0.84 kg/ha; simazine 1.1 kg/ha`` and times without a zone. A row's id
follows from what it says, so that a file can be read again after rows were added to it.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from os import PathLike
from typing import Any, cast

from windowcast.core.errors import InputError
from windowcast.core.spreadsheet_cells import as_text, as_written
from windowcast.records import store_schema
from windowcast.records.by_hand import LogTableOptions, read_by_hand
from windowcast.records.entry_checks import check_dates, from_plain, refuse_unknown, to_plain
from windowcast.records.hand_columns import plain_json
from windowcast.records.model import KINDS, Entry, fields_of
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Change, Revision
from windowcast.sources.textfile import MARKS, read_text_bytes, split_options, text_of
from windowcast.sources.understood import Understood
from windowcast.sources.written_dates import ORDERS, Order

FORMAT = "season log"
_HISTORY = ("change", "at", "action", "undoes", "entry")
OPTIONS: Mapping[str, tuple[str, ...]] = {
    "dates": ORDERS,
    "decimal": tuple(MARKS),
    "sheet": (),
    "kind": tuple(KINDS),
    "unknown": ("ignore",),
}
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

    A cell that is empty is not there; texts are written as they are (see `as_text` for those that a
    spreadsheet would run), everything else as JSON. A
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
            if not isinstance(revision.body, dict | None):
                raise InputError(
                    f"entry {revision.id[:8]} has no fields", path=log.path, field=revision.kind,
                    remedy="export the log as JSON",
                )  # fmt: skip
            for key, value in (revision.body or {}).items():
                row[key] = (
                    value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
                )
            writer.writerow({name: as_text(cell) for name, cell in row.items()})
    return stream.getvalue()


Check = Callable[[Entry], Entry]


@dataclass(frozen=True, slots=True)
class LogFile:
    """What a file holds for a log.

    `understood` says how a table written by hand was read; None for an export.
    """

    changes: list[Change]
    understood: Understood | None

    @property
    def revisions(self) -> list[Revision]:
        """Every version of every entry, oldest first."""
        return [revision for change in self.changes for revision in change.revisions]


def read_log_file(
    source: str | PathLike[str], check: Check | None = None, asked: LogTableOptions | None = None
) -> LogFile:
    """What a JSON or CSV export, or a table written by hand, holds, for `SeasonLog.merge`.

    `source` may say more: ``FILE:dates=mdy,decimal=comma,sheet=NAME,kind=probe,unknown=ignore``.
    """
    path, said = split_options(source, OPTIONS)
    asked = asked or LogTableOptions()
    asked = replace(
        asked,
        order=cast("Order | None", said.get("dates", asked.order)),
        mark=MARKS[said["decimal"]] if "decimal" in said else asked.mark,
        kind=said.get("kind", asked.kind),
        unknown=cast(Any, said.get("unknown", asked.unknown)),
    )
    text = text_of(read_text_bytes(path, sheet=said.get("sheet", ""), nul=True), path)
    if text.lstrip()[:1] in {"{", "["}:
        return LogFile(_from_json(text, path), None)
    header = next(csv.reader(io.StringIO(text, newline="")), [])
    if set(_HISTORY) <= {name.strip() for name in header}:
        return LogFile(_from_csv(text, path), None)
    return _from_table(text, path, check, asked)


def _from_table(
    text: str, path: str | PathLike[str], check: Check | None, asked: LogTableOptions
) -> LogFile:
    """The rows of a table written by hand, as one change."""
    rows, understood = read_by_hand(text, path, asked)
    seen: Counter[tuple[str, str]] = Counter()
    versions: list[_Version] = []
    for item in rows:
        body = _checked(item.kind, item.body, path, item.row, check)
        versions.append((_id_of(item.kind, body, seen), item.kind, body, item.row))
    _refuse_dates(versions, path)
    head = (uuid.uuid4().hex, dt.datetime.now(dt.UTC).isoformat(), "import", None)
    return LogFile([_change(head, versions, path)], understood)


_Version = tuple[Any, Any, Any, int | str]  # id, kind, body; row of a CSV, or field of a JSON text


def _refuse_dates(versions: Iterable[_Version], path: str | PathLike[str]) -> None:
    """Refuse an entry whose last version has an impossible date; what was put right may stay."""
    last = {entry: version for entry, *version in versions}
    for kind, body, place in last.values():
        if body is None:
            continue
        try:
            check_dates(from_plain(kind, body))
        except InputError as error:
            if isinstance(place, int):
                raise error.at(path=path, row=place) from None
            raise error.at(path=path, field=f"{place}.body.{error.field}") from None


def _from_json(text: str, path: str | PathLike[str]) -> list[Change]:
    try:
        document = json.loads(text)
    except RecursionError:
        raise InputError("is nested too deep", path=path, remedy="export it again") from None
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
    listed = document.get("changes")
    if not isinstance(listed, list):
        raise InputError(
            "is not a list of changes", path=path, field="changes", remedy="export it again"
        )
    changes, every = [], []
    for count, item in enumerate(listed):
        try:
            versions: list[_Version] = [
                (r["entry"], r["kind"], r["body"], f"changes.{count}.revisions.{n}")
                for n, r in enumerate(item["revisions"])
            ]
            head = (item["change"], item["at"], item["action"], item["undoes"])
        except (KeyError, TypeError):
            raise InputError("a change lacks a part", path=path, field=f"changes.{count}") from None
        changes.append(_change(head, versions, path))
        every += versions
    _refuse_dates(every, path)
    return changes


def _from_csv(text: str, path: str | PathLike[str]) -> list[Change]:
    """The changes of an export, to the letter."""
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
    grouped: dict[tuple[str, str, str, str | None], list[_Version]] = {}
    for row in reader:
        number = reader.line_num
        row = {n: as_written(c) if isinstance(c, str) else c for n, c in row.items()}  # noqa: PLW2901
        if None in row.values() or "" in row:
            raise InputError(
                f"has not {len(columns)} cells", path=path, row=number, remedy="correct the row"
            )
        kind = row["kind"]
        refuse_unknown(kind, path, number)
        body = _body(kind, row, path, number)
        head = (row["change"], row["at"], row["action"], row["undoes"] or None)
        gone = not body and row["action"] in {"remove", "undo"}
        version = row["entry"], kind, None if gone else body, number
        grouped.setdefault(head, []).append(version)
    changes = [_change(head, versions, path) for head, versions in grouped.items()]
    _refuse_dates(chain.from_iterable(grouped.values()), path)
    return changes


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
        plain[name] = cell if known[name].worded else plain_json(cell)
    return plain


def _change(head: Sequence[Any], versions: Sequence[_Version], path: str | PathLike[str]) -> Change:
    uid, at, action, undoes = head
    row = next((place for *_, place in versions if isinstance(place, int)), None)
    try:
        time = dt.datetime.fromisoformat(at)
        if time.tzinfo is None:
            raise ValueError
    except (TypeError, ValueError):
        raise InputError(
            f"{at!r} is not a time with zone", path=path, row=row, field="at"
        ) from None
    if not isinstance(undoes, str | None):
        raise InputError(f"{undoes!r} is not a change", path=path, row=row, field="undoes")
    if action not in _ACTIONS or not isinstance(uid, str) or not uid:
        raise InputError(f"{action!r} is not an action", path=path, row=row, field="action")
    revisions = []
    for entry, kind, body, place in versions:
        row = place if isinstance(place, int) else None
        if not isinstance(entry, str) or not entry:
            raise InputError("has no id", path=path, row=row, field="entry")
        if not isinstance(kind, str):
            raise InputError(f"{kind!r} is not a kind", path=path, row=row, field="kind")
        if not isinstance(body, dict | None):
            raise InputError("is not the fields of an entry", path=path, row=row, field="body")
        if body is not None:
            from_plain(kind, body, path=path, row=row)
        elif kind not in KINDS:
            raise InputError(f"{kind!r} is not a kind", path=path, row=row, field="kind")
        revisions.append(Revision(entry, kind, body))
    return Change(uid, time, action, tuple(revisions), undoes)
