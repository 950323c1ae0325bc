"""Log tables as people keep them: the same entries in any dialect, or one line that asks."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from pathlib import Path
from uuid import NAMESPACE_OID, uuid5
from zoneinfo import ZoneInfo

import pytest
import xlsxwriter
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.records.by_hand import LogTableOptions
from windowcast.records.import_export import read_log_file
from windowcast.records.model import (
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Material,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.store import SeasonLog

ZONE = ZoneInfo("America/New_York")
AT = dt.datetime(2025, 9, 4, 9, 0, tzinfo=dt.timezone(dt.timedelta(hours=-4)))


def entries(file: Path, options: str = "") -> list[Entry]:
    read = read_log_file(f"{file}{options}", None, LogTableOptions(ZONE))
    found = [revision.entry for revision in read.revisions]
    return [entry for entry in found if entry is not None]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


def fault(file: Path, text: str, options: str = "") -> str:
    file.write_text(text)
    with pytest.raises(InputError) as caught:
        entries(file, options)
    assert caught.value.exit_code == 2
    return str(caught.value).partition("log.csv: ")[2]


SPRAYS = """\
Kind;Date;Time;Where;Area (acre);Carrier (gal/acre);Materials;Wind mph;Temp °F;Applied by;RH %
Application;9/4/25;9:00 AM;field 2;2,5;40;prodiamine 0,84 kg/ha;0;NA;A. B.;---

Application;9/14/25;1 pm;greens;0,25;40;simazine 1 lb/acre; 5,5 ;71;A. B.;60
"""


def test_a_spray_table_in_us_units_with_semicolons(file: Path) -> None:
    file.write_text(SPRAYS)
    first, second = entries(file)
    assert isinstance(first, Application)
    assert isinstance(second, Application)
    assert first.start == AT
    assert first.materials == (Material("prodiamine", rate_kg_ha=0.84),)
    # NIST SP 811, appendix B.8: 1 acre 4046.8564224 m², 1 gal/acre 9.35395570 L/ha
    assert first.area_m2 == pytest.approx(2.5 * 4046.8564224)
    assert first.carrier_l_ha == pytest.approx(40 * 9.3539557)
    assert (first.wind_m_s, first.temp_c, first.rh_pct) == (0.0, None, None)
    assert (first.where, first.operator) == ("field 2", "A. B.")
    assert second.start.hour == 13
    assert second.wind_m_s == pytest.approx(5.5 * 0.44704)
    assert second.temp_c == pytest.approx((71 - 32) / 1.8)


def test_the_same_with_start_in_one_column_and_units_in_the_cells(file: Path) -> None:
    file.write_text(SPRAYS)
    known = entries(file)
    file.write_text(
        "kind,start,where,area,carrier,materials,wind,temp,operator,rh\n"
        'application,"Sep 4, 2025 9 am",field 2,2.5 acre,40 gal/acre,'
        "prodiamine 0.84 kg/ha,0 mph,,A. B.,\n"
        "application,14-Sep-25 13:00,greens,0.25 acre,40 gal/acre,simazine 1 lb/acre,"
        "5.5 mph,71 °F,A. B.,60%\n"
    )
    assert entries(file) == known


def test_a_date_beside_a_start_and_an_end(file: Path) -> None:
    file.write_text(
        "kind,date,start,end,materials,watered_in_on\n"
        "application,9/4/2025,9:00 AM,11:30,simazine,9/13/2025\n"
    )
    (entry,) = entries(file)
    assert isinstance(entry, Application)
    assert entry.start == AT
    assert entry.end == AT + dt.timedelta(hours=2.5)
    assert entry.watered_in_on == dt.date(2025, 9, 13)  # which tells that the month comes first


def test_units_below_the_header(file: Path) -> None:
    file.write_text(
        "kind\tdate\tdepth\ttemp\ttime\tnotes\n\t\tin\t°F\t\t\n"
        "probe\t9/14/2025\t2\t41\t0930\t by hand\n"
    )
    assert entries(file) == [
        SoilReading(dt.date(2025, 9, 14), 0.0508, 5.0, dt.time(9, 30), notes=" by hand")
    ]


def test_one_kind_for_all_rows(file: Path) -> None:
    text = "Date,Weed,Plants per ft2,Location\n14.9.2025,POAAN ,12,hole 3\n"
    assert "has no column 'kind'" in fault(file, text)
    assert "FILE:kind=application (or probe, count" in fault(file, text)
    (entry,) = entries(file, ":kind=count")
    assert isinstance(entry, ScoutingCount)
    assert (entry.weed, entry.where) == ("POAAN", "hole 3")
    assert entry.per_m2 == pytest.approx(12 / 0.09290304)


def test_what_the_table_leaves_open_is_asked(file: Path) -> None:
    text = "kind,date,depth_m,temp_c\nprobe,9/4/2025,0.05,5\n"
    assert fault(file, text) == (
        "row 2: date: '9/4/2025' could be 4 Sep 2025 or 9 Apr 2025; say which: FILE:dates=mdy or"
        " FILE:dates=dmy"
    )
    assert [e.date for e in entries(file, ":dates=dmy")] == [dt.date(2025, 4, 9)]
    text = 'kind;date;weed;per_m2\ncount;2025-09-04;POAAN;"1,250"\n'
    assert "row 2: per_m2: '1,250' could be 1250 or 1.250; say which" in fault(file, text)
    (entry,) = entries(file, ":decimal=point")
    assert isinstance(entry, ScoutingCount)
    assert entry.per_m2 == 1250


def test_unknown_columns_are_left_out_only_when_that_is_said(file: Path) -> None:
    text = "kind,date,green,crew,truck\ncover,2025-09-04,5,A,7\n"
    said = fault(file, text)
    assert "row 1: column 'crew' is not known" in said
    assert "(crew, truck): FILE:unknown=ignore" in said
    assert entries(file, ":unknown=ignore") == [CoverReading(dt.date(2025, 9, 4), 5.0)]
    read = read_log_file(f"{file}:unknown=ignore")
    assert read.understood is not None
    assert read.understood.ignored == ("crew", "truck")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("kind,date,depth,temp\nprobe,2025-09-04,2,41 F\n", "row 2: depth: '2': has no unit"),
        ("kind,date,depth_m,temp\nprobe,2025-09-04,0.1,41\n", "row 2: temp: '41': does not say F"),
        ("kind,date,depth_m,temp_c\nprobe,9/31/2025,0.1,5\n", "row 2: date: "),
        ("kind,date,depth (mph),temp_c\nprobe,2025-09-04,2,5\n", "'depth (mph)' is not known"),
        ("kind,date,start,materials\napplication,,9 am,simazine\n", "start: '9 am' says no date"),
        ("kind,date,materials\napplication,2025-09-04,simazine\n", "'2025-09-04' says no hour"),
        ("kind,date,time,materials\napplication,soon,9 am,simazine\n", "'soon' is not a date"),
        ("kind,date,time,materials\napplication,2025-09-04,dawn,simazine\n", "not a time of day"),
        ("kind,area_m2,Area (acre)\nnote,1,2\n", "a note has no area_m2"),
        ("kind,area_m2,Area (acre)\napplication,1,2\n", "Area treated stands in two columns"),
        ("kind,date,text\nnote,0001-01-01,x\n", "row 2: date: 0001-01-01 is before 1950"),
        ("kind,date,text\nnote,1/13/2991,x\n", "row 2: date: 2991-01-13 lies ahead"),
        ("kind,date,text\nnote,1/13/25,x\nnote,13/1/25,y\n", "row 3: date: '13/1/2025' is day/"),
        ("kind,date\n", "has a header but no rows"),
    ],
)
def test_what_is_wrong_is_named(file: Path, text: str, match: str) -> None:
    assert match in fault(file, text)


def test_a_workbook_of_the_log(tmp_path: Path) -> None:
    file = tmp_path / "log.xlsx"
    with xlsxwriter.Workbook(file, {"default_date_format": "m/d/yy"}) as book:
        book.add_worksheet("Stock").write(0, 0, "prodiamine")
        sheet = book.add_worksheet("Sprays")
        sheet.write_row(0, 0, ["Kind", "Date", "Start", "Materials", "Area (acre)"])
        sheet.write(1, 0, "application")
        sheet.write_datetime(1, 1, dt.date(2025, 9, 4))
        sheet.write_datetime(1, 2, dt.time(9), book.add_format({"num_format": "h:mm"}))
        sheet.write_row(1, 3, ["simazine 1 lb/acre", 2])
    with pytest.raises(InputError, match=r"has 2 sheets.*Stock or Sprays"):
        entries(file)
    (entry,) = entries(file, ":sheet=Sprays")
    assert isinstance(entry, Application)
    assert (entry.start, entry.area_m2) == (AT, pytest.approx(8093.7128448))


FILES = Path(__file__).parent / "data" / "dialects"


def test_one_spray_log_as_csv_and_in_a_workbook() -> None:
    first, second = found = entries(FILES / "sprays_us.csv")
    assert entries(FILES / "log_and_days.xlsx", ":sheet=Sprays") == found
    assert isinstance(first, Application)
    assert isinstance(second, Application)
    assert first.start == AT
    # NIST SP 811, appendix B.8: 1 lb/acre is 1.12085 kg/ha
    assert first.materials[0].rate_kg_ha == pytest.approx(0.75 * 1.12085, rel=1e-5)
    assert second.actives == ("prodiamine", "simazine")
    assert second.start.time() == dt.time(6, 30)


# ---- any dialect ------------------------------------------------------------------------------

_DATES = ["{d.month}/{d.day}/{d.year}", "{d:%m/%d/%y}", "{d:%b %d, %Y}", "{d:%Y-%m-%d}"]
_CLOCKS = ["{t:%H:%M}", "{t:%I:%M %p}", "{t:%I:%M%p}", "{t:%H%M}"]
_HEADS = {
    "where": ["where", "Where", "Place"],
    "area_m2": ["area_m2", "Area (m²)", "area m2"],
    "wind_m_s": ["wind_m_s", "Wind (m/s)", "Wind speed m/s"],
    "rh_pct": ["rh_pct", "RH %", "Relative humidity (%)"],
    "temp_c": ["temp_c", "Temp (°C)", "Air temperature °C"],
}


@st.composite
def tables(draw: st.DrawFn) -> tuple[str, bytes, str]:
    """A plain CSV of applications, the same in a dialect, and the options it needs."""
    chosen = draw(st.lists(st.sampled_from(list(_HEADS)), unique=True))
    number = {"area_m2": (1, 99999), "wind_m_s": (0, 120), "rh_pct": (0, 999), "temp_c": (-99, 400)}
    rows = []
    for _ in range(draw(st.integers(1, 8))):
        time = draw(st.datetimes(dt.datetime(1950, 1, 2), dt.datetime(2025, 2, 1)))  # noqa: DTZ001
        cells = {
            name: draw(st.sampled_from(["greens", "5 K trail; hole 3", 'the "bowl"', ""]))
            if name == "where"
            else draw(st.none() | st.integers(*number[name]))
            for name in chosen
        }
        rows.append((time.replace(second=0, microsecond=0, hour=time.hour or 4), cells))

    def written(value: object, mark: str, missing: str) -> str:
        if isinstance(value, int):
            return f"{value / 10:.1f}".replace(".", mark)
        return missing if value is None else str(value)

    plain = io.StringIO(newline="")
    writer = csv.writer(plain)
    writer.writerow(["kind", "start", "materials", *chosen])
    for time, cells in rows:
        cut = [written(value, ".", "") for value in cells.values()]
        writer.writerow(["application", f"{time:%Y-%m-%d %H:%M}", "simazine 1 kg/ha", *cut])

    delimiter, mark = draw(st.sampled_from(",;\t|")), draw(st.sampled_from(".,"))
    date, clock = draw(st.sampled_from(_DATES)), draw(st.sampled_from(_CLOCKS))
    missing, apart = draw(st.sampled_from(["", "NA", "---", "-999"])), draw(st.booleans())
    dialect = io.StringIO(newline="")
    writer = csv.writer(dialect, delimiter=delimiter)
    when = ["Date", "Time"] if apart else ["Start"]
    writer.writerow(
        ["Kind", *when, "Materials", *(draw(st.sampled_from(_HEADS[n])) for n in chosen)]
    )
    for time, cells in rows:
        if draw(st.integers(0, 5)) == 0:
            writer.writerow([""] * (2 + len(when) + len(chosen)))
        parts = [date.format(d=time), clock.format(t=time)]
        cut = [written(value, mark, missing) for value in cells.values()]
        times = parts if apart else [" ".join(parts)]
        writer.writerow(["Application", *times, "simazine 1 kg/ha", *cut])
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
    return plain.getvalue(), dialect.getvalue().encode(encoding), ":dates=mdy"


@pytest.mark.slow
@given(tables())
@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_every_dialect_gives_the_same_entries(file: Path, table: tuple[str, bytes, str]) -> None:
    plain, dialect, options = table
    file.write_text(plain, newline="")
    known = read_log_file(file, asked=LogTableOptions(ZONE)).changes[0].revisions
    file.write_bytes(dialect)
    found = read_log_file(f"{file}{options}", None, LogTableOptions(ZONE)).changes[0].revisions
    assert [r.body for r in found] == [r.body for r in known]
    assert [r.id for r in found] == [r.id for r in known], "read again, nothing is there twice"


# ---- command line -----------------------------------------------------------------------------


def test_what_was_understood_is_shown_before_it_is_stored(file: Path) -> None:
    file.write_text(SPRAYS.replace("/25;", "/2025;"))
    log = file.with_name("log.sqlite")
    words = ["log", "import", str(file), "--log", str(log)]
    refused = CliRunner().invoke(cli, words)
    assert "says no zone" in str(refused.exception)
    file.write_text("kind;date;depth (in);temp °F\nprobe;9/14/2025;2;41,5\nprobe;9/15/2025;2;42\n")
    shown = CliRunner().invoke(cli, [*words, "--dry-run"], catch_exceptions=False).output
    assert shown.splitlines() == [
        "2 rows; columns apart by semicolons, decimal comma.",
        "Dates are month/day/year; years of two digits are 1950 to 2049.",
        "Columns:",
        "  'date': Date",
        "  'depth (in)': Depth (in)",
        "  'temp °F': Soil temperature (°F)",
        "First row (row 2): Soil probe reading, 2025-09-14: soil 5.3 °C at 5.1 cm",
        "2 entries read; nothing is stored (--dry-run).",
    ]
    assert not log.exists()
    stored = CliRunner().invoke(cli, words, catch_exceptions=False).output
    assert stored.splitlines()[:-1] == shown.splitlines()[:-1]
    assert stored.splitlines()[-1] == "1 change added; the log has 2 entries (+2)."
    with SeasonLog(log) as opened:
        assert len(opened.entries()) == 2


def test_a_question_ends_with_2_and_begins_no_log(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file.write_text("kind,date,text\nnote,9/4/2025,frost\n")
    with pytest.raises(SystemExit) as stop:
        main(["log", "import", str(file), "--log", str(file.with_name("log.sqlite"))])
    assert stop.value.code == 2
    said = capsys.readouterr().err.strip()
    assert "\n" not in said
    assert "FILE:dates=mdy or FILE:dates=dmy" in said
    assert not file.with_name("log.sqlite").exists()


def test_a_column_may_say_the_unit_of_its_rates(file: Path) -> None:
    head = "kind,date,time,Materials (lb/acre)\n"
    file.write_text(f"{head}application,2025-09-04,09:00,prodiamine 0.75; simazine 1 kg/ha\n")
    (entry,) = entries(file)
    assert isinstance(entry, Application)
    first, second = entry.materials
    assert first.rate_kg_ha == pytest.approx(0.75 * 1.1208511561)  # NIST SP 811: lb, acre
    assert second.rate_kg_ha == pytest.approx(1.0)
    bare = head.replace(" (lb/acre)", "") + "application,2025-09-04,09:00,prodiamine 0.75\n"
    assert "has no unit" in fault(file, bare)
    volume = head.replace("lb/acre", "gal/acre") + "application,2025-09-04,09:00,prodiamine 1\n"
    assert "column 'Materials (gal/acre)' is not known" in fault(file, volume)


def test_a_row_with_nothing_but_a_date_is_no_row_of_units(file: Path) -> None:
    table = "date,depth (in),temp (F)\n{},,\n9/15/2025,2,41\n"
    assert fault(file, table.format("9/14/2025"), ":kind=probe").startswith("row 2: depth_m")
    file.write_text(table.format("month/day/year"))
    assert entries(file, ":kind=probe") == [SoilReading(dt.date(2025, 9, 15), 0.0508, 5.0)]


def test_names_alone_tell_what_stands_between_columns(file: Path) -> None:
    file.write_text("Date;What was seen\n9/15/2025;frost\n")
    (entry,) = entries(file, ":kind=note")
    assert entry == FieldNote(dt.date(2025, 9, 15), "frost")


@pytest.mark.parametrize("kind", ["count", "Count", "SCOUTING COUNT", " Scouting count "])
def test_a_kind_goes_by_its_name_or_its_title(file: Path, kind: str) -> None:
    file.write_text(f"kind,date,weed,per_m2\n{kind},2025-09-15,POAAN,3\n")
    assert entries(file) == [ScoutingCount(dt.date(2025, 9, 15), "POAAN", 3.0)]


def test_a_comma_within_a_name_is_no_decimal_mark(file: Path) -> None:
    file.write_text(
        "kind;date;time;area_m2;materials\n"
        'application;2025-09-04;09:00;2,5;"2,4-D 1,12 kg/ha; prodiamine 0,84 kg/ha"\n'
    )
    (entry,) = entries(file)
    assert isinstance(entry, Application)
    assert entry.materials == (
        Material("2,4-d", rate_kg_ha=1.12), Material("prodiamine", rate_kg_ha=0.84),
    )  # fmt: skip


def test_a_row_is_known_again_by_what_it_says_and_how_often(file: Path) -> None:
    """The id of a row: its kind, its values by name, and its turn among rows that say the same.

    Logs hold it, so it has to stay what it was.
    """
    said = '{"date": "2025-09-15", "depth_m": 0.05, "notes": "x", "temp_c": 5.0}'
    ids = [uuid5(NAMESPACE_OID, json.dumps(["probe", said, turn])).hex for turn in (1, 2)]
    for head, line in (
        ("kind,date,depth_m,temp_c,notes\n", "probe,2025-09-15,0.05,5,x\n"),
        ("notes,temp_c,depth_m,date,kind\n", "x,5,0.05,2025-09-15,probe\n"),
    ):
        file.write_text(head + 2 * line)
        assert [r.id for r in read_log_file(file).revisions] == ids


def test_a_code_that_nobody_knows_may_have_blanks_around_it(file: Path) -> None:
    file.write_text("kind,date,weed,per_m2\ncount,2025-09-15, xyzab ,3\n")
    assert entries(file) == [ScoutingCount(dt.date(2025, 9, 15), "XYZAB", 3.0)]


def test_a_date_may_have_the_hour_behind_it_and_a_target_blanks_around(file: Path) -> None:
    file.write_text(
        "kind,date,materials,target\napplication,9/14/2025 9:00 AM,simazine 1 kg/ha, POAAN \n"
    )
    (entry,) = entries(file)
    assert isinstance(entry, Application)
    assert (entry.start, entry.target) == (AT + dt.timedelta(days=10), "POAAN")


def test_an_end_without_a_day_is_of_the_day_it_began_on(file: Path) -> None:
    file.write_text(
        "kind,start,end,materials\napplication,2025-09-04 09:00,11:30,prodiamine 0.84 kg/ha\n"
    )
    (entry,) = entries(file)
    assert isinstance(entry, Application)
    assert (entry.start, entry.end) == (AT, AT + dt.timedelta(hours=2.5))


def test_how_a_table_was_understood_in_all_its_parts(file: Path) -> None:
    file.write_text(SPRAYS)
    read = read_log_file(f"{file}", asked=LogTableOptions(ZONE)).understood
    assert read is not None
    assert (read.rows, read.first_row, read.daily, read.delimiter, read.mark, read.order) == (
        2, 2, None, ";", ",", "mdy",
    )  # fmt: skip
    assert (read.zone, read.ignored) == ("America/New_York", ())
    assert [(c.header, c.name, c.unit) for c in read.columns] == [
        ("Date", "Date", ""), ("Time", "Time", ""), ("Where", "Where", ""),
        ("Area (acre)", "Area treated", "acre"),
        ("Carrier (gal/acre)", "Carrier volume", "gal/acre"),
        ("Materials", "Materials", ""), ("Wind mph", "Wind", "mph"),
        ("Temp °F", "Air temperature", "°f"), ("Applied by", "Applicator", ""),
        ("RH %", "Relative humidity", "%"),
    ]  # fmt: skip
    assert read.first_as_written == {
        "Date": "9/4/25", "Time": "9:00 AM", "Where": "field 2", "Area (acre)": "2,5",
        "Carrier (gal/acre)": "40", "Materials": "prodiamine 0,84 kg/ha", "Wind mph": "0",
        "Temp °F": "NA", "Applied by": "A. B.", "RH %": "---",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("head", "cells"),
    [
        ("kind,date,text", "note,2025-09-15,frost"),  # no time at all
        ("kind,start,materials", "application,2025-09-04T09:00-04:00,simazine 1 kg/ha"),
    ],
)
def test_a_zone_is_named_only_where_a_time_is_in_it(file: Path, head: str, cells: str) -> None:
    file.write_text(f"{head}\n{cells}\n")
    read = read_log_file(f"{file}", asked=LogTableOptions(ZONE)).understood
    assert read is not None
    assert (read.zone, read.order) == ("", None)


def test_a_column_of_times_gives_the_start_its_hour_and_the_end_none(file: Path) -> None:
    file.write_text(
        "Kind,Start,Time,Materials\nApplication,2025-09-04,9:00 AM,prodiamine 0.84 kg/ha\n"
    )
    (found,) = entries(file)
    assert isinstance(found, Application)
    assert found.start == AT
    assert found.end is None
