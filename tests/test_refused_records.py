"""Every refusal of what a season log may be given: the whole line, with file, row, field, remedy.

The last test sees to it that no refusal of the package is missing here, but for those of the
operating system and of SQLite, which `test_store.py` brings about.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from error_texts import raised
from log_fixtures import spoiled
from trial_fixtures import trial_text

from windowcast.core.errors import InputError
from windowcast.core.site import Site, site_from
from windowcast.materials.actives import load_actives
from windowcast.materials.product import Product
from windowcast.records.areas import areas_named, pieces
from windowcast.records.by_hand import LogTableOptions
from windowcast.records.command_words import moment_from, plain_from
from windowcast.records.dose_trials import needs_doses
from windowcast.records.entered_quantities import ENTERED
from windowcast.records.entry_checks import check_dates, from_plain
from windowcast.records.grounds_ahead import grounds_ahead
from windowcast.records.import_export import COLUMNS, read_log_file
from windowcast.records.model import CoverReading, FieldNote, Rating
from windowcast.records.place_effects import TrialRead, read_trials
from windowcast.records.pooled_trials import pool_trials
from windowcast.records.resistance import resistance_of
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Stored
from windowcast.records.tank_job import AsSprayed, TankRequest, application_of, tank_job
from windowcast.records.trial_log import changes_of
from windowcast.records.trial_threshold import prices_said
from windowcast.trials.layout import TrialArm
from windowcast.trials.trial_file import trial_from
from windowcast.trials.trial_table import PlotValue

ZONE = ZoneInfo("America/Chicago")
ACTIVES = load_actives()
KINDS = "application, probe, count, rating, cover, note, resistance"
COMPARE = "compare with the columns of windowcast log export --format csv"
# in `test_store.py`, `test_trial_results.py` and `test_review.py`
ELSEWHERE = tuple(f"records/{name}.py" for name in ("store_errors", "review", "trials"))
OF_THE_DISK = {"is damaged; nothing was copied", "restore a backup", "cannot be written ({})"}
EXAMPLE = "write it like 2025-12-03 10:15"
DAY = dt.date(2025, 12, 3)

# --- tables written by hand -----------------------------------------------------------------------

# the table → the line about it, behind the file's name
TABLES = {
    "kind,date,text\n": "has a header but no rows; give a file with rows",
    "date,text\n2025-12-03,x\n":
        f"row 1: has no column 'kind'; {COMPARE}, or say the kind of all rows:"
        f" FILE:kind=application (or {KINDS.partition(', ')[2]})",
    "kind,date,text,colour\nnote,2025-12-03,x,red\n":
        f"row 1: column 'colour' is not known; {COMPARE}, or leave out what is not known:"
        " FILE:unknown=ignore",
    "kind,date,text,colour,size\nnote,2025-12-03,x,red,2\n":
        f"row 1: column 'colour' is not known; {COMPARE}, or leave out what is not known (colour,"
        " size): FILE:unknown=ignore",
    "kind,date,text\nnote,2025-12-03,x\nnotes,2025-12-03,x\n":
        f"row 3: kind: 'notes' is not a kind of log entry (close: note); use one of {KINDS}",
    "kind,date,text\nqqq,2025-12-03,x\n":
        f"row 2: kind: 'qqq' is not a kind of log entry; use one of {KINDS}",
    "kind,date,text,depth (in)\nnote,2025-12-03,x,2\n":
        "row 2: depth (in): a note has no depth (in); empty the cell",
    "kind,date,notes,comment,depth (in),temp (F)\nprobe,2025-12-03,x,y,2,50\n":
        "row 2: comment: Notes stands in two columns; empty one of them",
    "kind,date,time,materials\napplication,2025-12-03,half past,glyphosate\n":
        "row 2: time: 'half past' is not a time of day; write it like 10:15",
    "kind,date,time,materials\napplication,some day,10:15,glyphosate\n":
        "row 2: date: 'some day' is not a date; write it like 2025-12-03",
    "kind,date,materials\napplication,2025-12-03,glyphosate\n":
        f"row 2: start: '2025-12-03' says no hour; {EXAMPLE}",
    "kind,time,materials\napplication,10:15,glyphosate\n":
        f"row 2: start: '10:15' says no date; {EXAMPLE}",
    "kind,start,materials\napplication,soon,glyphosate\n":
        f"row 2: start: 'soon' is not a time; {EXAMPLE}",
    "kind,date,time,materials\napplication,2025-12-03,10:15,glyphosate 16 fl oz/acre\n":
        "row 2: materials: '16 fl oz/acre' is a volume of product, not a weight of active"
        " ingredient; work it out with windowcast tank rate, or write product_rate=",
    "kind,date,time,materials\napplication,2125-12-03,10:15,glyphosate\n":
        "row 2: start: 2125-12-03 lies ahead; log what has happened, not what is planned",
    "kind,date,text\nnote,1949-12-31,x\n": "row 2: date: 1949-12-31 is before 1950; check the year",
    "kind,date,weed\ncount,2025-12-03,POAAN\n":
        "row 2: per_m2: nothing was counted; give a count, a cover or a stage",
}  # fmt: skip


def refused_with(line: str, text: str, folder: Path, **how: Any) -> None:
    """Hold the whole line with which a log of this text is refused."""
    file = folder / "log.csv"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as refused:
        read_log_file(file, **how)
    assert str(refused.value) == f"{file}: {line}"


@pytest.mark.parametrize(("text", "line"), TABLES.items())
def test_a_table_is_refused_with_its_name_row_and_column(
    text: str, line: str, tmp_path: Path
) -> None:
    refused_with(line, text, tmp_path, asked=LogTableOptions(ZONE))


# --- exports --------------------------------------------------------------------------------------

NOTE = {"date": "2025-12-03", "text": "x"}
CHANGE = {"change": "c1", "at": "2025-12-03T10:00:00+00:00", "action": "add", "undoes": None,
          "revisions": [{"entry": "e1", "kind": "note", "body": NOTE}]}  # fmt: skip


def export(**change: Any) -> str:
    """An export with one change, some of it altered; without what is "left out"."""
    altered = {**CHANGE, **change}
    one = {key: value for key, value in altered.items() if value != "left out"}
    return json.dumps({"format": "season log", "schema": 2, "changes": [one]})


def revision(**of: Any) -> str:
    return export(revisions=[{"entry": "e1", "kind": "note", "body": NOTE, **of}])


# the export → the line about it, behind the file's name
EXPORTS = {
    "{": "is not JSON: Expecting property name enclosed in double quotes: line 1 column 2 (char 1);"
         " export it again",
    "[" * 100_000: "is nested too deep; export it again",
    "{}": "is not an export of a season log; use windowcast log export",
    "[]": "is not an export of a season log; use windowcast log export",
    '{"format": "season log", "schema": 99}':
        "was written by a newer windowcast (log schema 99, this program knows 2); update"
        " windowcast",
    '{"format": "season log"}':
        "was written by a newer windowcast (log schema None, this program knows 2); update"
        " windowcast",
    '{"format": "season log", "schema": 2}':
        "changes: is not a list of changes; export it again",
    export(at="left out"): "changes.0: a change lacks a part",
    export(at="2025-12-03T10:00:00"): "at: '2025-12-03T10:00:00' is not a time with zone",
    export(at="now"): "at: 'now' is not a time with zone",
    export(at=None): "at: None is not a time with zone",
    export(undoes=3): "undoes: 3 is not a change",
    export(action="adds"): "action: 'adds' is not an action",
    export(change=""): "action: 'add' is not an action",
    revision(entry=""): "entry: has no id",
    revision(entry=3): "entry: has no id",
    revision(kind=3): "kind: 3 is not a kind",
    revision(kind="notes", body=None): "kind: 'notes' is not a kind",
    revision(kind="notes"): f"kind: 'notes' is not a kind of log entry (close: note); use one of"
                            f" {KINDS}",
    revision(body=3): "body: is not the fields of an entry",
    revision(body={**NOTE, "date": "1949-12-31"}):
        "changes.0.revisions.0.body.date: 1949-12-31 is before 1950; check the year",
}  # fmt: skip


@pytest.mark.parametrize(("text", "line"), EXPORTS.items(), ids=map(str, range(len(EXPORTS))))
def test_an_export_is_refused_with_its_name_and_field(text: str, line: str, tmp_path: Path) -> None:
    file = tmp_path / "log.json"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as refused:
        read_log_file(file)
    assert str(refused.value) == f"{file}: {line}"


HEADER = "change,at,action,undoes,entry,kind,date,text"
ROW = "c1,2025-12-03T10:00:00+00:00,add,,e1,note,2025-12-03,x"
EXPORT_ROWS = {
    f"{HEADER},colour\n{ROW},red\n": f"row 1: column 'colour' is not known; {COMPARE}",
    f"{HEADER.replace(',kind', '')}\n": f"row 1: has no column 'kind'; {COMPARE}",
    f"{HEADER}\n{ROW},red\n": "row 2: has not 8 cells; correct the row",
    f"{HEADER}\n{ROW}\nc2,2025-12-03T10:00:00+00:00\n": "row 3: has not 8 cells; correct the row",
    f"{HEADER}\n{ROW.replace('note', 'notes')}\n":
        f"row 2: kind: 'notes' is not a kind of log entry (close: note); use one of {KINDS}",
    f"{HEADER}\n{ROW}\n{ROW.replace('e1', '')}\n": "row 3: entry: has no id",
    f"{HEADER}\n{ROW}\n{ROW.replace('c1', 'c2').replace('add', 'adds')}\n":
        "row 3: action: 'adds' is not an action",
    f"{HEADER}\n{ROW}\n{ROW.replace('e1', 'e2').replace('2025-12-03,x', '2025-12-03,')}\n":
        "row 3: text: is missing; add it",
    f"{HEADER},depth_m\n{ROW},2\n": "row 2: depth_m: a note has no depth_m; empty the cell",
    f"{HEADER}\n{ROW}\n{ROW.replace('c1', 'c2').replace('00:00+', '00:00*')}\n":
        "row 3: at: '2025-12-03T10:00:00*00:00' is not a time with zone",
    f"{HEADER}\n{ROW}\n{ROW.replace('e1', 'e2').replace('2025-12-03,x', '1949-12-31,x')}\n":
        "row 3: date: 1949-12-31 is before 1950; check the year",
}  # fmt: skip


@pytest.mark.parametrize(("text", "line"), EXPORT_ROWS.items())
def test_an_exported_table_is_refused_with_its_name_and_row(
    text: str, line: str, tmp_path: Path
) -> None:
    refused_with(line, text, tmp_path)
    assert set(HEADER.split(",")) <= set(COLUMNS)


# --- words and entries ----------------------------------------------------------------------------

SITE = site_from(
    {
        "name": "A",
        "latitude": 33.0,
        "longitude": -84.0,
        "area": [{"name": "greens"}, {"name": "tees"}],
    }
)
PLAIN = site_from({"name": "A", "latitude": 33.0, "longitude": -84.0})
SOAP = Product("soap", share_of_volume=0.01, formulation="NIS")
TRIAL = trial_from(tomllib.loads(trial_text("glyphosate", North="2025-11-01")))
FILLED = TankRequest((SOAP,), area="1 acre", carrier="40 gal/acre", tank="100 gal")


def words(kind: str, *of: str) -> Callable[[], Any]:
    return lambda: plain_from(kind, of, ZONE)


def tank(site: Site | None = None, **asked: Any) -> Callable[[], Any]:
    given = {"products": (SOAP,), "area": "1 acre", "carrier": "40 gal/acre", "tank": "100 gal"}
    request = TankRequest(**{**given, **asked})
    return lambda: tank_job(request, site, ACTIVES, None, DAY)


def stated(**known: Any) -> Callable[[], Any]:
    site = site_from({"name": "A", "latitude": 33.0, "longitude": -84.0, "resistance": [known]})
    return lambda: resistance_of(site, None, ACTIVES, today=DAY)


def refuse(error: InputError) -> None:
    raise error


def blocks(stored: str, block: str) -> Callable[[], Any]:
    """A value of a plot that no plan knows, beside one that the log has of it."""
    arm = TrialArm(1, "a", "a", None, ("A",), (), "")
    value = PlotValue(4, "", "", block, "7", arm, DAY, "control %", "POAAN", 5.0, planned=False)
    old = Rating(DAY, 5.0, "control %", weed="POAAN", trial="T", plot="7", treatment="a",
                 block=stored)  # fmt: skip
    kept = Stored("e1", old, 1, 1, dt.datetime(2025, 12, 4, tzinfo=ZONE))
    return lambda: changes_of([value], [kept], "T")


WORDS: dict[str, Callable[[], Any]] = {
    "'depth' is not field=value; write it like depth='2 in'": words("probe", "depth"),
    "registration: comes before any active; write active= before it":
        words("application", "registration=1"),
    "depht: a probe has no 'depht' (close: depth); use one of date, depth, temp, time, where,"
    " notes": words("probe", "depht=2 in"),
    "zzz: a probe has no 'zzz'; use one of date, depth, temp, time, where, notes":
        words("probe", "zzz=2"),
    "watered: an application has no 'watered' (close: watered_in); use one of active, product,"
    " registration, product_rate, product_total, restricted, start, end, where, site_kind, area,"
    " purpose, target, carrier, nozzle, droplet_class, pressure, boom_height, speed, adjuvant,"
    " wind, wind_from, temp, rh, weather_source, watered_in, watered_in_on, trial, treatment,"
    " operator, certification, notes": words("application", "watered=1 in"),
    "survivors_mixed: 'maybe' is neither yes nor no": words("note", "survivors_mixed=maybe"),
    f"start: 'soon' is not a time; {EXAMPLE}": words("application", "start=soon"),
    f"start: '2025-12-03' says no hour; {EXAMPLE}": words("application", "start=2025-12-03"),
    "start: '2025-12-03 10:15' says no zone; name the site file, or add +00:00":
        lambda: moment_from("2025-12-03 10:15", "start", None),
    "rate: '16 fl oz/acre' is a volume of product, not a weight of active ingredient; work it out"
    " with windowcast tank rate": lambda: ENTERED["kg ha-1"].read("16 fl oz/acre", "rate"),
    "count: '12': says no area; write it like 12 per ft2": words("count", "count=12"),
    "count: 'some per ft2': says no area; write it like 12 per ft2":
        words("count", "count=some per ft2"),
    f"kind: 'qqq' is not a kind of log entry; use one of {KINDS}": lambda: from_plain("qqq", {}),
    "end: 2025-12-03 10:00:00+00:00 lies before the start; correct one of the two":
        lambda: from_plain("application", {
            "start": "2025-12-03T10:15+00:00", "end": "2025-12-03T10:00+00:00",
            "materials": [{"active": "x"}]}),
    "watered_in_on: 2125-12-03 lies ahead; log what has happened, not what is planned":
        lambda: check_dates(from_plain("application", {
            "start": "2025-12-03T10:15+00:00", "watered_in_on": "2125-12-03",
            "materials": [{"active": "x"}]}), today=DAY),
    "watered_in_on: lies before the application; correct one of the two":
        lambda: from_plain("application", {
            "start": "2025-12-03T10:15+00:00", "watered_in_on": "2025-12-02",
            "materials": [{"active": "x"}]}),
    "per_m2: nothing was counted; give a count, a cover or a stage":
        lambda: from_plain("count", {"date": "2025-12-03", "weed": "POAAN"}),
    "green_pct: nothing was seen; give the share of green, or whether live shoots were seen":
        lambda: from_plain("cover", {"date": "2025-12-03"}),
    "live_shoots: no, but 0.5 % was green; correct one of the two":
        lambda: from_plain("cover", {"date": "2025-12-03", "green_pct": 0.5, "live_shoots": False}),
    "plot: is missing for a rating of a trial; give it, or leave trial empty to rate the place":
        lambda: from_plain("rating", {"date": "2025-12-03", "value": 1, "trial": "T"}),
    "treatment: is missing for a rating of a trial; give it, or leave trial empty to rate the"
    " place":
        lambda: from_plain("rating", {"date": "2025-12-03", "value": 1, "trial": "T", "plot": "1"}),
    "active: nothing was tested; name an active ingredient or a group":
        lambda: from_plain("resistance", {"date": "2025-12-03", "weed": "POAAN"}),
    "survivors_pct: has no result; give the share of plants that survived":
        lambda: from_plain("resistance", {"date": "2025-12-03", "weed": "POAAN", "group": 0}),
    "date: 2025-12-05 lies ahead; log what has happened, not what is planned":
        lambda: check_dates(FieldNote(DAY + dt.timedelta(2), "x"), today=DAY),
    "date: 1949-12-31 is before 1950; check the year":
        lambda: check_dates(FieldNote(dt.date(1949, 12, 31), "x"), today=DAY),
    "date: 2025-12-03 is before the turf existed (established 2025-12-04); correct the date, or"
    " turf.established in the site file":
        lambda: check_dates(
            FieldNote(DAY, "x"), today=DAY, established=DAY + dt.timedelta(1)),
    "start: 2025-12-03 is before the turf existed (established 2025-12-04); correct the date, or"
    " turf.established in the site file":
        lambda: check_dates(
            from_plain("application", {"start": "2025-12-03T10:15+00:00",
                                       "materials": [{"active": "x"}]}),
            today=DAY, established=DAY + dt.timedelta(1)),
    "where: is missing: the site has several areas; name one or more of greens, tees":
        lambda: areas_named(SITE, " "),
    "where: 'green' is not an area of this site (close: greens); use one of greens, tees":
        lambda: areas_named(SITE, "tees, green"),
    "area: 'zzz' is not an area of this site; use one of greens, tees":
        lambda: pieces(SITE, None, "zzz"),
    "area: 'qqq' is not an area of this site; use one of greens, tees":
        lambda: grounds_ahead(SITE, None, DAY, area="qqq"),
    "area: 'greens' is not an area of this site, which names none; name it in the site file under"
    " [[area]], or leave it out": lambda: pieces(PLAIN, None, "greens"),
    "carrier: is missing; give it, or keep it in the site file under [[sprayer]]": tank(carrier=""),
    "tank: is missing; give it, or keep it in the site file under [[sprayer]]": tank(tank=""),
    "area: is missing; give it, or name areas of the site file that have a size": tank(area=""),
    "area: is missing: greens and tees have no size; give it, or add size to the area in the site"
    " file": tank(SITE, area="", where="greens, tees"),
    "area: is missing: tees has no size; give it, or add size to the area in the site file":
        tank(SITE, area="", where="tees"),
    "spacing: speed and spacing are both needed to check a nozzle; give both": tank(speed="4 mph"),
    "speed: speed and spacing are both needed to check a nozzle; give both": tank(spacing="20 in"),
    "speed: 'fast': does not begin with a number; write it like 4 mph":
        tank(speed="fast", spacing="20 in"),
    "spacing: 'wide': does not begin with a number; write it like 20 in":
        tank(speed="4 mph", spacing="wide"),
    "flow: 'weak': does not begin with a number; write it like 0.4 gal/min":
        tank(speed="4 mph", spacing="20 in", flow="weak"),
    "area: 'some': does not begin with a number; write it like 12 acre":
        tank(area="some"),
    "carrier: 'some': does not begin with a number; write it like 40 gal/acre":
        tank(carrier="some"),
    "tank: 'some': does not begin with a number; write it like 300 gal":
        tank(tank="some"),
    "product: nothing in the tank has an active ingredient; add active= and its concentration to a"
    " product":
        lambda: application_of(
            tank_job(FILLED, None, ACTIVES, None, DAY),
            AsSprayed(dt.datetime(2025, 12, 3, 10, tzinfo=ZONE))),
    "resistance.active: 'qqqqqq' is not a known active ingredient; use the ISO common name, or"
    " describe it in your materials file":
        stated(weed="POAAN", active="qqqqqq", standing="resistant"),
    "resistance.group: glyphosate is of group 9, not 2; correct the active or the group":
        stated(weed="POAAN", active="glyphosate", group=2, standing="resistant"),
    "treatment: trial 'Timing' has no active ingredient at 4 rates or more, the untreated check"
    ' counted as one; write rates as materials = ["glyphosate 0.5 lb/acre"], one active a'
    " treatment": lambda: refuse(needs_doses(TRIAL)),
    "--worth-step: both worths are given; say the one or the other":
        lambda: prices_said(["45 USD per acre"], "1 USD per acre", "1 USD per acre", []),
    '--cost: no cost is given; say what treating costs: "45 USD per acre"':
        lambda: prices_said([], "1 USD per acre", "", []),
    "--cost: 'b' is no treatment of the trial; use one of a, c":
        lambda: prices_said(["b=45 USD per acre"], "", "", ["a", "c"]),
    "--cost: EUR and USD are not the same money; use one":
        lambda: prices_said(["45 USD per acre"], "1 EUR per acre", "", []),
    "--against: 'b' is no treatment of the trials; use one of untreated, glyphosate":
        lambda: pool_trials([TrialRead(Path("t.toml"), TRIAL, (), ())], ACTIVES, "b"),
    "row 4: block: plot 7 is stored with a block, and has none here; give the blocks in every"
    " table, or in none": blocks("1", ""),
    "row 4: block: plot 7 is stored without a block, and has one here; give the blocks in every"
    " table, or in none": blocks("", "1"),
}  # fmt: skip


@pytest.mark.parametrize("line", WORDS)
def test_words_and_values_are_refused_with_their_field(line: str) -> None:
    with pytest.raises(InputError) as refused:
        WORDS[line]()
    assert str(refused.value) == line


# --- logs and trial files -------------------------------------------------------------------------


def test_a_log_is_refused_with_its_file_and_what_helps(tmp_path: Path) -> None:
    path = tmp_path / "season.sqlite"

    def line(call: Callable[[], Any]) -> str:
        with pytest.raises(InputError) as refused:
            call()
        return str(refused.value)

    assert line(lambda: SeasonLog(path, create=False)) == (
        f"{path}: no such season log; windowcast log add starts one"
    )
    assert line(lambda: SeasonLog(tmp_path / "no" / "a.sqlite")) == (
        f"{tmp_path / 'no'}: folder does not exist; make it"
    )
    with SeasonLog(path) as log:
        assert line(log.undo) == f"{path}: nothing to undo"
        whole = "give at least 4 characters of an id from windowcast log list"
        assert line(lambda: log.get("abcd")) == (
            f"{path}: id: 'abcd' is not the id of an entry; {whole}"
        )
        (one,) = log.add(FieldNote(DAY, "x"))
        short = one[:3]
        assert line(lambda: log.get(short)) == (
            f"{path}: id: {short!r} could mean several entries; {whole}"
        )
        assert line(lambda: log.edit(one, CoverReading(DAY, 5.0))) == (
            f"{path}: entry {one} is of kind note, not cover; remove it and add the other"
        )
        assert line(lambda: log.edit(one, FieldNote(DAY, "y"), version=2)) == (
            f"{path}: entry {one[:8]} was changed by someone else meanwhile; look at it again, then"
            " repeat your change"
        )
        assert line(lambda: log.remove(one, version=2)) == (
            f"{path}: entry {one[:8]} was changed by someone else meanwhile; look at it again, then"
            " repeat your change"
        )
        log.remove(one, version=1)
        assert line(lambda: log.get(one)) == (
            f"{path}: entry {one} was removed; bring it back with undo"
        )
        bad = spoiled(log, FieldNote(DAY, "x"), "note", {"date": "2025-12-03", "text": ""})
        assert line(lambda: log.get(bad)).startswith(
            f"{path}: text: entry {bad[:8]} cannot be used"
        )
        assert line(lambda: log.get(bad)).endswith(
            f"; take it out with windowcast log remove {bad[:8]}"
        )
        bad = spoiled(log, FieldNote(DAY, "x"), "note", 3)
        assert line(lambda: log.get(bad)) == (
            f"{path}: note: entry {bad[:8]} cannot be used (is not the body of an entry); take it"
            f" out with windowcast log remove {bad[:8]}"
        )
        assert line(lambda: log.backup(path)) == f"{path}: exists already; name another file"


def test_trials_are_refused_with_the_file_that_is_named_too_often(tmp_path: Path) -> None:
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    for file in (one, other):
        file.write_text(trial_text("glyphosate", North="2025-11-01"), "utf-8")
    with pytest.raises(InputError) as refused:
        read_trials([one, one])
    assert str(refused.value) == f"{one}: is named twice; name each trial once"
    with pytest.raises(InputError) as refused:
        read_trials([one, other])
    assert str(refused.value) == (
        f"{other}: name: has the name of the trial in one.toml; name each trial once; give another"
        " trial a name of its own"
    )


def test_no_refusal_of_the_package_is_missing_here() -> None:
    code = re.sub(r"[\"']\s*f?[\"']", "", Path(__file__).read_text("utf-8"))  # over several lines
    lines = "\n".join([*TABLES.values(), *EXPORTS.values(), *WORDS, code])
    missing = {
        text
        for where, text in raised()
        if where.startswith("records/") and not where.startswith(ELSEWHERE)
        if not re.search(".+".join(map(re.escape, text.split("{}"))), lines)
    }
    assert missing <= OF_THE_DISK
