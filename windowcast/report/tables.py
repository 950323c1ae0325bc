"""The ranking as data: JSON with its schema, and CSV.

The JSON is the serialisation of `windowcast.windows.model.Ranking` by `report.plain`: numbers in SI
units, times by ISO 8601, words in the units asked for with their meaning beside them. The shipped
schema ``windowcast/data/schema/rank.schema.json`` is generated from the same dataclasses by
`rank_schema`. Values that cannot be told are null, never NaN.
"""

from __future__ import annotations

import csv
import io
import json
import re
from importlib import resources
from typing import Any, Literal

from windowcast.core.phrase import joined, say
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.plain import plain, schema_of
from windowcast.windows.model import PurposeOutlook, Ranking, Window

# numbers of a list, each on its own line; within a text no line breaks
_PLAIN = r"(?:-?[\d.eE+-]+|null|true|false)"
_BREAK = re.compile(r",\n *")
_ROW = re.compile(rf"\[\n *({_PLAIN}(?:,\n *{_PLAIN})*)\n *\]")
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
    "job",
    "areas",
)


def json_text(*rankings: Ranking, voice: Voice) -> str:
    """The ranking as a JSON document, valid under `rank_schema`.

    For a site whose file names areas a list of such documents, one for each piece of ground.
    """
    documents = [plain(ranking, voice) for ranking in rankings]
    answer = documents if any(r.areas for r in rankings) else documents[0]
    text = json.dumps(answer, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    return _ROW.sub(lambda row: "[" + _BREAK.sub(", ", row[1]) + "]", text)


def rank_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of `json_text`, generated from the dataclasses."""
    return schema_of(Ranking, "Answer of windowcast rank --format json")


def shipped_schema(command: Literal["rank", "season"] = "rank") -> dict[str, Any]:
    """The JSON Schema of a command's answer as shipped in the package."""
    path = resources.files("windowcast.data").joinpath("schema", f"{command}.schema.json")
    shipped: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return shipped


def csv_text(*rankings: Ranking, voice: Voice) -> str:
    """One row for each window, best first, and one for each purpose that has none."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, CSV_COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for ranking in rankings:
        cautions = " ".join(voice.text(c) for c in ranking.cautions)
        about = {
            "site": ranking.site,
            "today": ranking.today.isoformat(),
            "cautions": cautions,
            "areas": "; ".join(ranking.areas),
        }
        for outlook in ranking.purposes:
            for row in _rows(outlook, voice):
                writer.writerow({key: _cell(item) for key, item in (row | about).items()})
    return stream.getvalue()


def _rows(outlook: PurposeOutlook, voice: Voice) -> list[dict[str, Any]]:
    rows = [
        _window_row(window, voice) | {"rank": place}
        for place, window in enumerate(outlook.windows, 1)
    ]
    if not rows and outlook.closest is not None:
        note = say("report.nothing_qualifies", change=outlook.would_change)
        rows = [_window_row(outlook.closest, voice) | {"note": voice.text(note)}]
    if not rows:
        verdict = "out of season"
        if outlook.in_season:
            verdict = "cannot tell" if outlook.cannot_tell else "none"
        if outlook.job is not None and not outlook.job.open:
            verdict = outlook.job.state
        said = outlook.advice if outlook.in_season or verdict == "done" else outlook.why
        note = say("report.note", of=joined(said, outlook.would_change, join="sentences"))
        rows = [{"verdict": verdict, "note": voice.text(note)}]
    job = "" if outlook.job is None else outlook.job.state
    return [row | {"purpose": outlook.purpose, "job": job} for row in rows]


def _window_row(window: Window, voice: Voice) -> dict[str, Any]:
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
        "limit": "" if limiting is None else voice.text(wording.limit(limiting)),
        "must_follow": wording.must_follow(window, voice) if window.follow_up else "",
        "hours_from": voice.text(window.grade),
        "actives": " + ".join(window.actives),
    }


def _cell(item: Any) -> Any:
    """Text that a spreadsheet would run as a formula is made plain text."""
    return f"'{item}" if isinstance(item, str) and item[:1] in "=+-@\t\r" and item else item


if __name__ == "__main__":  # writes the schema that is shipped
    print(json.dumps(rank_schema(), ensure_ascii=False, indent=2))
