"""One table of the log's fields: command line, form, CSV, JSON and schema say the same of each."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import jsonschema
import pytest
from click.testing import CliRunner
from pydantic import AwareDatetime, Field
from spoken import US

from windowcast.cli import cli
from windowcast.core.errors import InputError
from windowcast.records import hand_columns, kinds
from windowcast.records.by_hand import LogTableOptions
from windowcast.records.command_words import moment_from, plain_from
from windowcast.records.entered_quantities import ENTERED
from windowcast.records.entry_checks import from_plain, to_plain
from windowcast.records.fields import Asked, LogField, rows_of
from windowcast.records.import_export import COLUMNS, read_log_file, to_csv
from windowcast.records.model import KINDS, Entry, fields_of
from windowcast.records.store import SeasonLog
from windowcast.report.catalogue import Voice
from windowcast.report.measures import MEASURES
from windowcast.sources.column_names import normal
from windowcast.web import openapi
from windowcast.web.log_forms import entry_from, form_values
from windowcast.web.log_forms import fields_of as form_fields

ZONE = ZoneInfo("America/Chicago")


@dataclass
class MadeUp:
    """An entry with a field of each sort."""

    a: Annotated[str, Asked("A")]
    b: Annotated[Annotated[str, Field(max_length=9)], Asked("B", long=True)] = ""
    c: Annotated[str, Asked("C"), Asked("D", choices=("x", "y"))] = ""
    d_mm: Annotated[float | None, Asked("E", "mm")] = None
    e: Annotated[Annotated[int, Field(ge=0)] | None, Asked("F")] = None
    f: Annotated[tuple[str, ...], Asked("G")] = ()
    g: Annotated[dt.date | None, Asked("H")] = None
    h: Annotated[AwareDatetime | None, Asked("I")] = None
    i: Annotated[dt.time | None, Asked("J")] = None
    j: Annotated[bool, Asked("K")] = False


def test_a_class_says_all_of_its_fields() -> None:
    """What it holds, whether it is needed, and the last of several words on how it is asked for."""
    assert [(row.name, row.word, row.type, row.asked.title, row.needed, row.worded)
            for row in rows_of(MadeUp)] == [
        ("a", "a", "text", "A", True, True), ("b", "b", "long", "B", False, True),
        ("c", "c", "choice", "D", False, True), ("d_mm", "d", "number", "E", False, False),
        ("e", "e", "whole", "F", False, False), ("f", "f", "materials", "G", False, False),
        ("g", "g", "date", "H", False, True), ("h", "h", "moment", "I", False, True),
        ("i", "i", "time", "J", False, True), ("j", "j", "yesno", "K", False, False),
    ]  # fmt: skip


def test_every_field_goes_by_its_name_its_title_and_its_other_names() -> None:
    names = hand_columns._by_name()
    for kind in KINDS:
        for field in fields_of(kind):
            for name in (field.name, field.word, field.asked.title, *field.asked.also):
                found = names[normal(name)][kind]  # or the first that has the name as well
                first = next(f for f in (hand_columns.DATE, hand_columns.TIME, *fields_of(kind))
                             if normal(name) in map(normal, (f.name, f.word, f.asked.title,
                                                             *f.asked.also)))  # fmt: skip
                assert found in (first, field)
    assert names["wind speed"]["application"].name == "wind_m_s"
    assert names["location"]["rating"].name == "location"  # its own name before another's
    assert names["location"]["note"].name == "where"
    assert (names["date"]["application"].type, names["time"]["application"].type) == (
        "date", "time",
    )  # fmt: skip


@pytest.mark.parametrize("measure", [m for m in ENTERED if ENTERED[m].unit and m not in
                                     ("%", "degree", "stage")])  # fmt: skip
def test_a_quantity_that_cannot_be_read_is_refused_under_its_name(measure: str) -> None:
    with pytest.raises(InputError) as refused:
        ENTERED[measure].read("some", "of this name")
    assert refused.value.field == "of this name"


@pytest.mark.parametrize(
    ("measure", "text", "value"),
    [("mm", "1 in", 25.4), ("depth", "2 in", 0.0508), ("m2", "1 ha", 10000.0),
     ("frame", "0.25 m2", 0.25), ("m-2", "12/m2", 12.0), ("m-2", "5 per m2", 5.0),
     ("degC", "50 F", 10.0), ("kPa", "200 kPa", 200.0), ("m s-1", "3.6 km/h", 1.0),
     ("kg ha-1", "100 g/ha", 0.1), ("L ha-1", "1 L/100 m2", 100.0)],
)  # fmt: skip
def test_a_quantity_in_words_is_read_into_si(measure: str, text: str, value: float) -> None:
    assert ENTERED[measure].read(text, "x") == pytest.approx(value)


@pytest.mark.parametrize("bare", ["", "%", "degree", "stage"])
def test_a_number_without_a_unit_is_left_to_the_check(bare: str) -> None:
    assert ENTERED[bare].read("12", "x") == ENTERED[bare].read("12 %", "x") == "12"


@pytest.mark.parametrize(
    ("word", "flag"),
    [("yes", True), ("YES", True), ("true", True), ("no", False), ("False", False)],
)
def test_yes_and_no_in_words(word: str, flag: bool) -> None:
    assert plain_from("note", [f"survivors_mixed={word}"], None) == {"survivors_mixed": flag}


NUMBERS = [(kind, field.name) for kind in KINDS for field in fields_of(kind)
           if field.type == "number"]  # fmt: skip


@pytest.mark.parametrize(("kind", "name"), NUMBERS)
def test_no_number_is_infinite_or_none_at_all(kind: str, name: str) -> None:
    for value in (float("nan"), float("inf"), float("-inf"), 1e13, -1e13):
        with pytest.raises(InputError) as refused:
            from_plain(kind, {**LEAST[kind], name: value})
        assert refused.value.field == name


def test_a_time_with_its_own_zone_needs_no_other() -> None:
    for text in ("Dec 3, 2025 8:15 am -0600", "2025-12-03T08:15:00-06:00"):
        assert moment_from(text, "start", None) == "2025-12-03T08:15:00-06:00"
    assert moment_from("Dec 3, 2025 8:15 am", "start", ZONE) == "2025-12-03T08:15:00-06:00"


# the smallest entry of each kind, in SI
LEAST: Mapping[str, dict[str, Any]] = {
    "application": {
        "start": "2025-12-03T10:15:00-06:00",
        "materials": [{"active": "glyphosate", "rate_kg_ha": 0.56}],
    },
    "probe": {"date": "2025-10-01", "depth_m": 0.05, "temp_c": 19.4},
    "count": {"date": "2025-10-01", "weed": "POAAN", "stage_bbch": 11},
    "rating": {"date": "2025-10-01", "value": 4.5},
    "cover": {"date": "2025-10-01", "live_shoots": True},
    "note": {"date": "2025-10-01", "text": "frost"},
    "resistance": {
        "date": "2025-10-01",
        "weed": "POAAN",
        "active": "simazine",
        "survivors_pct": 40.0,
    },
}
# a value in SI for each type and quantity
BY_TYPE: Mapping[str, Any] = {
    "text": "5 K trail, hole 3 m",
    "long": 'two lines\nof "text"; with marks',
    "whole": 13,
    "date": "2025-12-05",
    "time": "09:30:00",
    "moment": "2025-12-03T11:15:00-06:00",
    "yesno": True,
    "number": 12.5,
    "materials": LEAST["application"]["materials"],
}
BY_NAME: Mapping[str, Any] = {
    "purpose": "dormant",
    "weed": "DIGIS",
    "target": "DIGIS",
    "depth_m": 0.1,
    "before": True,
    "method": "whole plants",
    "timing": "post",
}
# a text of each quantity as people write it, and its SI value by hand from NIST SP 811, appendix B
WORDS: Mapping[str, tuple[str, float]] = {
    "degC": ("41 F", 5.0),
    "m s-1": ("10 mph", 4.4704),
    "mm": ("0.5 in", 12.7),
    "depth": ("2 in", 0.0508),
    "m2": ("2 acre", 8093.7128448),
    "frame": ("1 ft2", 0.09290304),
    "m-2": ("12 per ft2", 129.16692500),
    "L ha-1": ("40 gal/acre", 374.158278),
    "kg ha-1": ("1 lb/acre", 1.12085116),
    "kPa": ("40 psi", 275.790292),
    "%": ("4%", 4.0),
    "degree": ("90", 90.0),
    "stage": ("13", 13.0),
}
FIELDS = [(kind, field) for kind in kinds.KINDS for field in fields_of(kind)]
every_field = pytest.mark.parametrize(
    ("kind", "field"), FIELDS, ids=[f"{kind}-{field.name}" for kind, field in FIELDS]
)


def value_of(field: LogField) -> Any:
    return BY_NAME.get(field.name, BY_TYPE.get(field.type))


def entry_with(kind: str, field: LogField) -> Entry:
    plain = {**LEAST[kind], field.name: value_of(field)}
    if field.name == "green_pct":
        plain["live_shoots"] = True
    if kind == "rating" and field.name == "trial":  # a rating of a trial needs its plot
        plain |= {"plot": "3", "treatment": "a"}
    return from_plain(kind, plain)


def typed(kind: str, plain: Mapping[str, Any], zone: ZoneInfo = ZONE) -> list[str]:
    """An entry as ``field=value`` words with bare numbers in SI."""
    words = []
    for name, value in plain.items():
        if name == "materials":
            words += [f"materials={'; '.join(in_tank(material) for material in value)}"]
        else:
            words.append(f"{name}={said(value)}")
    return words


def said(value: Any) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def in_tank(material: Mapping[str, Any]) -> str:
    return f"{material['active']} {material['rate_kg_ha']} kg/ha"


def close(one: Any, other: Any) -> bool:
    """Equal, numbers to the six figures that a form shows."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(close(one[k], other[k]) for k in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(close, one, other))
    if isinstance(one, float):
        return bool(one == pytest.approx(other, rel=1e-5))
    return bool(one == other)


def test_kinds_are_named_in_one_place() -> None:
    assert tuple(KINDS) == kinds.KINDS
    said_of = CliRunner().invoke(cli, ["log", "add", "--help"]).output
    assert ", ".join(kinds.KINDS) in " ".join(said_of.split())


@every_field
def test_the_command_line_reads_every_field(kind: str, field: LogField) -> None:
    entry = entry_with(kind, field)
    assert from_plain(kind, plain_from(kind, typed(kind, to_plain(entry)), ZONE)) == entry


@every_field
def test_the_command_line_reads_every_quantity_with_its_unit(kind: str, field: LogField) -> None:
    quantity = field.asked.measure
    if not quantity:
        assert field.word == field.name
        return
    text, si = WORDS[quantity]
    for name in (field.name, field.word, *field.asked.also):
        plain = plain_from(kind, [f"{name}={text}"], ZONE)
        assert list(plain) == [field.name]
        assert float(plain[field.name]) == pytest.approx(si, rel=1e-7)


@every_field
@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_form_holds_every_field_and_gives_it_back(kind: str, field: LogField, units: Any) -> None:
    entry = entry_with(kind, field)
    filled = form_values(entry, Voice(units, "en"), ZONE)
    assert close(to_plain(entry_from(kind, filled, Voice(units, "en"), ZONE)), to_plain(entry))
    assert any(name.split(".")[0] == field.name for name in filled)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_form_asks_in_the_units_that_reports_are_in(units: Any) -> None:
    """The shown number is the row's; checked against the words of the command line."""
    for kind, field in FIELDS:
        quantity = field.asked.measure
        if quantity and quantity != "stage":
            row = MEASURES[quantity]["us"]
            amount, unit = re.match(r"([\d.]+)\s*(.*)", WORDS[quantity][0]).groups()  # type: ignore[union-attr]
            assert WORDS[quantity][1] * row.factor + row.offset == pytest.approx(float(amount))
            assert row.unit.replace("²", "2").replace("°", "") in {unit, "%", ""}
            (asked,) = [f for f in form_fields(kind, Voice(units, "en")) if f.name == field.name]
            assert asked.unit(units) == MEASURES[quantity][units].unit


def by_hand(path: Path, kind: str, plain: Mapping[str, Any]) -> Path:
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, ["kind", *plain])
    writer.writeheader()
    row = {name: said(value) for name, value in plain.items() if name != "materials"}
    if "materials" in plain:
        row["materials"] = "; ".join(map(in_tank, plain["materials"]))
    writer.writerow({"kind": kind, **row})
    path.write_text(stream.getvalue(), newline="")
    return path


@every_field
def test_a_csv_written_by_hand_holds_every_field(
    kind: str, field: LogField, tmp_path: Path
) -> None:
    entry = entry_with(kind, field)
    file = by_hand(tmp_path / "hand.csv", kind, to_plain(entry))
    (change,) = read_log_file(file, asked=LogTableOptions(ZONE)).changes
    assert [revision.entry for revision in change.revisions] == [entry]


def test_an_export_has_a_column_for_every_field_and_gives_it_back(tmp_path: Path) -> None:
    assert set(COLUMNS) > {field.name for _, field in FIELDS}
    file = tmp_path / "export.csv"
    with SeasonLog(tmp_path / "a.sqlite") as log, SeasonLog(tmp_path / "b.sqlite") as other:
        log.add(*[entry_with(kind, field) for kind, field in FIELDS])
        file.write_text(to_csv(log), newline="")
        other.merge(read_log_file(file).changes)
        assert other.entries() == log.entries()


@every_field
def test_the_schema_of_the_interface_takes_every_field(kind: str, field: LogField) -> None:
    document = openapi.document()
    schema = document["components"]["schemas"][KINDS[kind].__name__]
    root = {**schema, "components": document["components"]}
    plain = to_plain(entry_with(kind, field))
    jsonschema.validate({"kind": kind, **plain}, root)
    assert json.loads(json.dumps(plain)) == plain
    asked = schema["properties"][field.name]
    assert asked["title"] == field.asked.title
    assert (field.name in schema["required"]) == field.needed
    assert asked.get("description", "") == field.asked.hint
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"kind": kind, **plain, field.name: {"no": "such"}}, root)


@every_field
def test_what_no_field_can_hold_is_refused_everywhere_with_its_name(
    kind: str, field: LogField, tmp_path: Path
) -> None:
    wrong: Any = {"whole": 1.5, "materials": []}.get(field.type, "no such")
    if field.type in {"text", "long"} and field.name not in {"weed", "target"}:
        wrong = "x" * 4001
    plain = {**LEAST[kind], field.name: wrong}
    with pytest.raises(InputError) as refused:
        from_plain(kind, plain)
    assert str(refused.value.field).startswith(field.name)
    with pytest.raises(InputError):
        from_plain(kind, plain_from(kind, typed(kind, plain), ZONE))
    if field.type != "materials":
        with pytest.raises(InputError) as refused:
            read_log_file(by_hand(tmp_path / "hand.csv", kind, plain), asked=LogTableOptions(ZONE))
        assert refused.value.row == 2 or field.type == "moment"
        assert refused.value.field == field.name
        filled = form_values(from_plain(kind, LEAST[kind]), US, ZONE)
        with pytest.raises(InputError) as refused:
            entry_from(kind, {**filled, field.name: str(wrong)}, US, ZONE)
        assert refused.value.field == field.name


def test_a_quantity_of_the_log_is_one_that_reports_know() -> None:
    assert set(ENTERED) - {""} <= set(MEASURES)
    assert {field.asked.measure for _, field in FIELDS} <= set(ENTERED)


def test_the_page_of_the_manual_has_a_row_for_every_field() -> None:
    page = (Path(__file__).parents[1] / "docs" / "season_log.md").read_text("utf-8")
    for kind in (*kinds.KINDS, "material"):
        part = page.split(f"### {kind}\n")[1].split("\n#")[0]
        rows = re.findall(r"^\| `(\w+)` \| ([^|]*) \| ([^|]*) \|$", part, re.MULTILINE)
        assert rows == [
            (field.name, ENTERED[field.asked.measure].unit, words_of(field))
            for field in fields_of(kind)
        ], kind


def words_of(field: LogField) -> str:
    """What the manual says of a field."""
    parts = [field.asked.title, field.asked.hint, ", ".join(field.asked.choices)]
    return "; ".join(filter(None, parts)) + (" (needed)" if field.needed else "")


def test_a_weight_is_no_carrier_and_a_volume_no_active() -> None:
    assert ENTERED["L ha-1"].read("10 gal/acre", "carrier") == pytest.approx(93.539557)
    with pytest.raises(InputError, match="not a volume of spray"):
        ENTERED["L ha-1"].read("10 lb/acre", "carrier")
    with pytest.raises(InputError, match="not a weight of active ingredient"):
        ENTERED["kg ha-1"].read("16 fl oz/acre", "rate")


@pytest.mark.parametrize(
    "text",
    ["2025-12-03 8:15", "2025-12-03T08:15", "2025-12-03 8:15 AM", "Dec 3, 2025 8:15 am",
     "2025-12-03T13:15Z", "2025-12-03 8:15-05:00"],
)  # fmt: skip
def test_times_as_people_type_them(text: str) -> None:
    zone = ZoneInfo("America/New_York")  # UTC-5 in December
    moment = dt.datetime.fromisoformat(moment_from(text, "start", zone))
    assert moment.astimezone(dt.UTC) == dt.datetime(2025, 12, 3, 13, 15, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("text", "says"),
    [("9/4/2025 9:00 AM", "is not a time"), ("2025-12-03 25:00", "is not a time"),
     ("8:15", "is not a time"), ("2025-12-03", "says no hour"), ("Dec 3, 2025", "is not a time")],
)  # fmt: skip
def test_what_is_no_time_is_refused(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        moment_from(text, "start", ZoneInfo("America/New_York"))
