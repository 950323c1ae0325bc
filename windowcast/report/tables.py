"""The ranking as data: JSON with its schema, and CSV.

The JSON is the serialisation of `windowcast.windows.model.Ranking`, in SI units, with ISO 8601
times; the shipped schema ``windowcast/data/schema/rank.schema.json`` is generated from the same
dataclasses by `rank_schema`. Values that cannot be told are null, never NaN.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import io
import json
import math
from importlib import resources
from typing import Any

from windowcast.core.units import Display
from windowcast.report import wording
from windowcast.windows.model import PurposeOutlook, Ranking, Window

CSV_COLUMNS = (
    "site",
    "today",
    "purpose",
    "rank",
    "verdict",
    "start",
    "end",
    "score",
    "odds",
    "odds_low",
    "odds_high",
    "odds_basis",
    "limited_by",
    "limit",
    "must_follow",
    "hours_from",
    "actives",
    "note",
    "cautions",
)


def plain(value: Any) -> Any:
    """Dataclasses, dates and non-finite numbers as what JSON can hold.

    Raises
    ------
    TypeError
        Something JSON has no form for: an answer holds plain values only.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dt.date):  # datetime is a date
        return value.isoformat()
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def json_text(ranking: Ranking) -> str:
    """The ranking as a JSON document, valid under `rank_schema`."""
    return json.dumps(plain(ranking), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def rank_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of `json_text`, generated from the dataclasses."""
    from pydantic import TypeAdapter

    schema = TypeAdapter(Ranking).json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Answer of windowcast rank --format json",
        **{key: item for key, item in schema.items() if key != "title"},
    }


def shipped_schema() -> dict[str, Any]:
    """The JSON Schema as shipped in the package."""
    path = resources.files("windowcast.data").joinpath("schema", "rank.schema.json")
    shipped: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return shipped


def csv_text(ranking: Ranking) -> str:
    """One row for each window, best first, and one for each purpose that has none."""
    display = Display(ranking.units)
    stream = io.StringIO()
    writer = csv.DictWriter(stream, CSV_COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for outlook in ranking.purposes:
        for row in _rows(outlook, display):
            row |= {"site": ranking.site, "today": ranking.today.isoformat()}
            row["cautions"] = " ".join(ranking.cautions)
            writer.writerow({key: _cell(item) for key, item in row.items()})
    return stream.getvalue()


def _rows(outlook: PurposeOutlook, display: Display) -> list[dict[str, Any]]:
    rows = [
        _window_row(window, display) | {"rank": place}
        for place, window in enumerate(outlook.windows, 1)
    ]
    if not rows and outlook.closest is not None:
        note = f"Nothing qualifies; this came closest. {outlook.would_change}"
        rows = [_window_row(outlook.closest, display) | {"note": wording.in_units(note, display)}]
    if not rows:
        verdict = "out of season"
        if outlook.in_season:
            verdict = "cannot tell" if outlook.cannot_tell else "none"
        said = outlook.advice if outlook.in_season else outlook.why
        note = f"{said} {outlook.would_change}".strip()
        rows = [{"verdict": verdict, "note": wording.in_units(note, display)}]
    return [row | {"purpose": outlook.purpose} for row in rows]


def _window_row(window: Window, display: Display) -> dict[str, Any]:
    odds = window.odds
    limiting = window.limiting
    return {
        "verdict": window.verdict,
        "start": window.start.isoformat(timespec="minutes"),
        "end": window.end.isoformat(timespec="minutes"),
        "score": "" if window.score is None else round(window.score, 1),
        "odds": "" if odds is None else round(odds.share, 3),
        "odds_low": "" if odds is None else round(odds.low, 3),
        "odds_high": "" if odds is None else round(odds.high, 3),
        "odds_basis": "" if odds is None else odds.basis,
        "limited_by": "" if limiting is None else limiting.criterion,
        "limit": "" if limiting is None else wording.limit(limiting, display),
        "must_follow": wording.must_follow(window, display) if window.follow_up else "",
        "hours_from": window.grade,
        "actives": " + ".join(window.actives),
    }


def _cell(item: Any) -> Any:
    """Text that a spreadsheet would run as a formula is made plain text."""
    return f"'{item}" if isinstance(item, str) and item[:1] in "=+-@\t\r" and item else item


if __name__ == "__main__":  # writes the schema that is shipped
    print(json.dumps(rank_schema(), ensure_ascii=False, indent=2))
