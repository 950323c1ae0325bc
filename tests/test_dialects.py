"""Tables as people keep them: any dialect is read like the plain one, or what is unclear is asked.

The plain table (ISO dates, commas, points) is read by the quick way that `test_grid` watches; each
dialect here says the same and must give the same record to the bit.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import sys
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import xlsxwriter
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from spoken import render

import windowcast
from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.record import (
    DAILY_VARIABLES,
    HOURLY_VARIABLES,
    Grade,
    Place,
    Record,
    Variable,
)
from windowcast.core.units import System
from windowcast.report.catalogue import Voice
from windowcast.report.table_understood import _shown
from windowcast.sources.columns import variable_as_said
from windowcast.sources.files import read_and_understand, read_weather
from windowcast.sources.written_dates import Ambiguous, WrittenTime, clock_written, moment_written
from windowcast.sources.written_numbers import mark_shown, number_written

SITE = Place("Long Meadow", 36.0, -79.1, 200.0, "America/New_York")
NOW = dt.timedelta(hours=9)


def read(folder: Path, text: str | bytes, options: str = "", place: Place | None = None) -> Record:
    path = folder / "weather.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_weather(f"{path}{options}", place=place)


def fault(folder: Path, text: str | bytes, options: str = "", place: Place | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, text, options, place)
    assert caught.value.exit_code == 2
    assert "\n" not in str(caught.value)
    return str(caught.value).partition("weather.csv: ")[2]


# ---- any dialect ------------------------------------------------------------------------------

NAMES = {
    "tmax_f": ["Max Temp (°F)", "High, °F", "TMAX [F]", "Tmax °F", "max_temp_f", '"High temp" F'],
    "tmin_f": ["Min Temp (ºF)", "Low deg F", "tmin (Degrees Fahrenheit)", "Temp Min F"],
    "precip_in": ["Rain in", "Rain (in)", "Precip_in", "Rainfall (inches)", "Rain, in."],
    "wind_mean_mph": ["wind mph", "Wind Speed (mph)", "Avg Wind, mph"],
    "rh_mean_pct": ["RH %", "RH%", "Humidity (%)", "Relative Humidity, %"],
    "soil_5cm_f": ["Soil Temp 2 in (°F)", "Soil temp 5cm, °F"],
}
UNITS = {"f": "°F", "in": "in", "mph": "mph", "pct": "%"}
BARE = {
    "tmax_f": "High", "tmin_f": "Low", "precip_in": "Rain", "wind_mean_mph": "Wind",
    "rh_mean_pct": "RH", "soil_5cm_f": "Soil temp 2in",
}  # fmt: skip
HIGHEST = {"tmax_f": 95, "tmin_f": 60, "precip_in": 4, "wind_mean_mph": 30, "rh_mean_pct": 99,
           "soil_5cm_f": 80}  # fmt: skip
DATES = {
    "mdy": ["{d.month}/{d.day}/{d.year}", "{d:%m/%d/%Y}", "{d:%m-%d-%y}",
            "{d.month}/ {d.day}/{d:%y}", "{d:%m/%d/%Y} 0:00"],
    "dmy": ["{d.day}/{d.month}/{d.year}", "{d:%d.%m.%Y}", "{d:%d-%m-%y}"],
    "": ["{d:%Y-%m-%d}", "{d:%Y/%m/%d}", "{d:%Y%m%d}", "{d:%b %d, %Y}", "{d.day} {d:%B %Y}",
         "{d:%d-%b-%y}", "{d:%a, %b %d %Y}"],
}  # fmt: skip
MISSING = ["", "NA", "M", "-", "---", "-999", " n/a "]


@st.composite
def dialects(draw: st.DrawFn) -> tuple[str, bytes, str]:
    """The plain table, the same in a dialect, and the options that this needs."""
    columns = draw(st.lists(st.sampled_from(list(NAMES)), min_size=1, unique=True))
    if "tmax_f" not in columns:
        columns.append("tmax_f")
    count = draw(st.integers(1, 40))
    first = draw(st.dates(dt.date(1951, 1, 1), dt.date(2024, 1, 1)))
    days = [first + dt.timedelta(days=n) for n in range(count)]
    number = {name: st.integers(0, high * 100) for name, high in HIGHEST.items()}
    number["tmax_f"] = st.integers(6100, 9500)
    rows = [[draw(st.none() | number[name]) for name in columns] for _ in days]
    rows[0][columns.index("tmax_f")] = 7225
    plain = "".join(
        ",".join([d.isoformat(), *("" if v is None else f"{v / 100:.2f}" for v in row)]) + "\n"
        for d, row in zip(days, rows, strict=True)
    )
    plain = ",".join(["date", *columns]) + "\n" + plain

    order = draw(st.sampled_from(list(DATES)))
    date = draw(st.sampled_from(DATES[order]))
    delimiter = draw(st.sampled_from(",;\t|"))
    mark = draw(st.sampled_from(".,"))
    missing = draw(st.sampled_from(MISSING))
    blank = draw(st.sampled_from(["", " ", "  "]))
    units_row = draw(st.booleans())
    bare = units_row and draw(st.booleans())
    header = ["Date", *(BARE[n] if bare else draw(st.sampled_from(NAMES[n])) for n in columns)]
    header = [name.replace('"', "") for name in header]
    lines = [header]
    if units_row:
        lines.append(["", *(UNITS[name.rsplit("_", 1)[1]] for name in columns)])
    for day, row in zip(days, rows, strict=True):
        if draw(st.integers(0, 9)) == 0:
            lines.append([""] * draw(st.sampled_from([0, len(header)])))
        cells = (missing if v is None else f"{v / 100:.2f}".replace(".", mark) for v in row)
        lines.append([date.format(d=day), *(f"{blank}{cell}{blank}" for cell in cells)])
    stream = io.StringIO()
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    writer = csv.writer(stream, delimiter=delimiter, quoting=quoting,
                        lineterminator=draw(st.sampled_from(["\n", "\r\n"])))  # fmt: skip
    writer.writerows(lines)
    text = stream.getvalue()
    if draw(st.booleans()):
        text = f"sep={delimiter}\n{text}"
    encoded = text.encode(draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])))
    clear = any(d.day > 12 for d in days) or order == "" or all(d.day == d.month for d in days)
    says = draw(st.booleans()) or not clear
    return plain, encoded, f":dates={order}" if says and order else ""


@pytest.mark.slow
@given(dialects())
@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_every_dialect_gives_the_same_record(tmp_path: Path, table: tuple[str, bytes, str]) -> None:
    plain, dialect, options = table
    known, found = read(tmp_path, plain), read(tmp_path, dialect, options)
    np.testing.assert_array_equal(found.times, known.times)
    assert set(found.values) == set(known.values)
    for name, values in known.values.items():
        np.testing.assert_array_equal(found.values[name], values, err_msg=name)
        np.testing.assert_array_equal(found.grades[name], known.grades[name], err_msg=name)


FILES = Path(__file__).parent / "data" / "dialects"


def test_one_table_as_three_programs_keep_it() -> None:
    us, sheet = (
        read_weather(FILES / "us_days_utf16.txt"),
        read_weather(f"{FILES / 'log_and_days.xlsx'}:sheet=Days"),
    )
    metric = read_weather(FILES / "metric_days.csv")
    assert us.times.astype(str).tolist()[::15] == ["2025-09-01", "2025-09-16"]
    for other, apart in ((sheet, 0.0), (metric, 0.051)):  # metric values are rounded to 0.1
        np.testing.assert_array_equal(other.times, us.times)
        for name in ("tmax_c", "tmin_c", "precip_mm"):
            np.testing.assert_allclose(other.get(name), us.get(name), atol=apart, rtol=0)
            np.testing.assert_array_equal(other.grade(name), us.grade(name))
    assert us.get("tmax_c")[0] == pytest.approx((88 - 32) / 1.8)
    assert us.get("precip_mm")[3] == pytest.approx(31.75)
    assert us.grade("precip_mm")[2] == Grade.ESTIMATED  # T
    assert np.isnan(us.get("precip_mm")[14])  # M


def test_hours_of_a_us_export() -> None:
    record = read_weather(FILES / "hours_two_columns.csv", place=SITE)
    assert record.times.astype(str).tolist()[::23] == ["2025-09-14T04", "2025-09-15T03"]
    assert record.get("temp_c")[12] == pytest.approx((72 - 32) / 1.8)
    assert record.get("wind_from_deg")[:4].tolist() == [0.0, 22.5, 90.0, 225.0]
    assert record.get("precip_mm")[20] == pytest.approx(0.508)


# ---- dates ------------------------------------------------------------------------------------

US = "Date,Max temp (°F)\n{}/{}/2025,70\n{}/{}/2025,71\n"


def test_a_day_above_twelve_tells_the_order(tmp_path: Path) -> None:
    record = read(tmp_path, US.format(9, 12, 9, 13))
    assert str(record.times[0]) == "2025-09-12"
    record = read(tmp_path, US.format(12, 9, 13, 9))
    assert str(record.times[0]) == "2025-09-12"


def test_what_nothing_tells_is_asked_and_one_option_answers(tmp_path: Path) -> None:
    text = US.format(9, 4, 9, 5)
    said = fault(tmp_path, text)
    assert said == (
        "row 2: Date: '9/4/2025' could be 4 Sep 2025 or 9 Apr 2025; say which: FILE:dates=mdy or"
        " FILE:dates=dmy"
    )
    assert str(read(tmp_path, text, ":dates=mdy").times[0]) == "2025-09-04"
    assert str(read(tmp_path, text, ":dates=dmy").times[0]) == "2025-04-09"
    for header, first in (("Date (MM/DD/YYYY)", "2025-09-04"), ("Date (d/m/y)", "2025-04-09")):
        assert str(read(tmp_path, text.replace("Date", header)).times[0]) == first


def test_two_orders_in_a_file_are_refused(tmp_path: Path) -> None:
    assert "row 3: Date: '14/9/2025' is day/month/year, but '9/13/2025' in row 2" in fault(
        tmp_path, US.format(9, 13, 14, 9)
    )
    assert "row 3: Date: '14/9/2025' is not month/day/year" in fault(
        tmp_path, US.format(9, 1, 14, 9), ":dates=mdy"
    )


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("9/14/2025", dt.date(2025, 9, 14)), ("14.9.25", dt.date(2025, 9, 14)),
        ("9-14-49", dt.date(2049, 9, 14)), ("9-14-50", dt.date(1950, 9, 14)),
        ("Sept. 14, 2025", dt.date(2025, 9, 14)), ("14 SEP 2025", dt.date(2025, 9, 14)),
        ("September 14th 2025", dt.date(2025, 9, 14)), ("14-Sep-25", dt.date(2025, 9, 14)),
        ("Sunday, September 14, 2025", dt.date(2025, 9, 14)), ("2025-9-4", dt.date(2025, 9, 4)),
        ("2025-Sep-14", dt.date(2025, 9, 14)), ("2025/09/14", dt.date(2025, 9, 14)),
    ],
)  # fmt: skip
def test_dates_as_written(text: str, date: dt.date) -> None:
    found = moment_written(text).date
    if isinstance(found, Ambiguous):
        found = found.in_order("mdy" if found.second > 12 else "dmy")
    assert found == date


@pytest.mark.parametrize(
    "text",
    ["", "9/14", "9/14/025", "13/13/2025", "2/30/2025", "9/14-2025", "2025-W37-7", "14 Septober 25",
     "Sep Oct 2025", "0/1/2025", "1/0/2025", "9/14/2025 25:00", "9/14/2025 13 pm", "9/14/2025 9"],
)  # fmt: skip
def test_no_dates(text: str) -> None:
    with pytest.raises(ValueError, match=r"no |day|month"):
        moment_written(text)


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("9:00 AM", 9), ("9 am", 9), ("9am", 9), ("9 p.m.", 21), ("09:00", 9), ("21:00:00", 21),
        ("2100", 21), ("12:00 AM", 0), ("12 PM", 12), ("12:30 am", 0.5), ("24:00", 24),
        ("0:15", 0.25),
    ],
)  # fmt: skip
def test_times_of_day_as_written(text: str, hours: float) -> None:
    assert clock_written(text) == dt.timedelta(hours=hours)
    assert moment_written(f"Sep 14, 2025 {text}") == WrittenTime(
        dt.date(2025, 9, 14), dt.timedelta(hours=hours)
    )


# ---- hours ------------------------------------------------------------------------------------

HOURS = "Date,Time,Temp (°F)\n9/14/2025,{},70\n9/14/2025,{},71\n"


@pytest.mark.parametrize(
    ("first", "second"),
    [("9:00 AM", "10:00 AM"), ("9 am", "10 am"), ("09:00", "10:00"), ("0900", "1000")],
)
def test_hours_on_the_sites_clock_from_two_columns_or_one(
    tmp_path: Path, first: str, second: str
) -> None:
    two = HOURS.format(first, second)
    one = two.replace("Date,Time", "Date Time").replace("2025,", "2025 ")
    for text in (two, one, one.replace("Date Time", "Date")):
        record = read(tmp_path, text, place=SITE)
        assert record.times.astype(str).tolist() == ["2025-09-14T13", "2025-09-14T14"]  # UTC−4
        assert "site's clock, America/New_York" in render(record.flags[0].text)
        other = read(tmp_path, text, ":zone=Etc/GMT+5,measured=here", SITE)
        assert other.times.astype(str).tolist() == ["2025-09-14T14", "2025-09-14T15"]
        assert other.flags == ()
        assert "has no offset from UTC" in fault(tmp_path, text)  # without site and zone


@pytest.mark.parametrize(
    ("header", "hour"),
    [("Time (UTC)", "09"), ("Date Time, GMT-05:00", "14"), ("Timestamp (utc)", "09")],
)
def test_zones_named_in_a_header(tmp_path: Path, header: str, hour: str) -> None:
    text = f'"{header}",temp_f\n9/14/2025 9:00 AM,70\n'
    assert str(read(tmp_path, text).times[0]) == f"2025-09-14T{hour}"


def test_a_zone_in_words_is_not_guessed(tmp_path: Path) -> None:
    text = "Time (EST),temp_f\n9/14/2025 9:00 AM,70\n"
    assert "says 'est' of its times" in fault(tmp_path, text, place=SITE)
    assert str(read(tmp_path, text, ":zone=Etc/GMT+5").times[0]) == "2025-09-14T14"
    assert "zone=Mars/Base is not an IANA time zone" in fault(tmp_path, text, ":zone=Mars/Base")


def test_the_hour_that_comes_twice_and_the_one_left_out(tmp_path: Path) -> None:
    """2 November and 9 March 2025 (US rules)."""
    text = "time,temp_c\n" + "".join(f"11/02/2025 {h}:00,5\n" for h in (0, 1, 1, 2))
    record = read(tmp_path, text, ":dates=mdy", SITE)
    assert [int(str(t)[-2:]) for t in record.times] == [4, 5, 6, 7]
    text = "time,temp_c\n" + "".join(f"3/9/2025 {h}:00,5\n" for h in (1, 2, 3))
    said = fault(tmp_path, text, ":dates=mdy", SITE)
    assert "row 3: time: '3/9/2025 2:00' is left out on the clock of America/New_York" in said
    assert said.endswith("FILE:zone=Etc/GMT+5")
    record = read(tmp_path, text, ":dates=mdy,zone=Etc/GMT+5", SITE)
    assert all(b - a == np.timedelta64(1, "h") for a, b in pairwise(record.times))


def test_a_row_without_an_hour_is_named(tmp_path: Path) -> None:
    text = "Date Time,temp_c\n9/14/2025 1:00,5\n9/14/2025,5\n"
    assert fault(tmp_path, text, place=SITE).startswith(
        "row 3: Date Time: '9/14/2025' says no hour"
    )
    text = "Date,Time,temp_c\n9/14/2025,1:00,5\n9/14/2025,noon,5\n"
    assert fault(tmp_path, text, place=SITE).startswith("row 3: Time: 'noon' is not a time of day")


# ---- numbers ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "mark", "number"),
    [
        ("1,5", ",", 1.5), ("1.5", ".", 1.5), ("1.234,5", ",", 1234.5), ("1,234.5", ".", 1234.5),
        ("0,254", ",", 0.254), ("1,234,567", ".", 1234567), ("−3,2", ",", -3.2), ("-,5", ",", -0.5),
        ("1 234,5", ",", 1234.5),
    ],
)  # fmt: skip
def test_numbers_that_show_their_mark(text: str, mark: str, number: float) -> None:
    assert mark == "," or number_written(text, ".") == number
    assert mark == "." or number_written(text, ",") == number
    assert mark_shown(text) in {mark, None}


def test_thousands_only_where_nothing_else_is_possible(tmp_path: Path) -> None:
    table = "time_utc;pressure_hpa;temp_c\n2025-01-01T00:00;1,013;{}\n"
    said = fault(tmp_path, table.format(5))
    assert "row 2: pressure_hpa: '1,013' could be 1013 or 1.013; say which" in said
    assert read(tmp_path, table.format(5), ":decimal=point").get("pressure_hpa")[0] == 1013
    assert read(tmp_path, table.format(5.5)).get("pressure_hpa")[0] == 1013
    assert "are impossible, the first 1.013 hPa" in fault(tmp_path, table.format("5,5"))
    assert "has a decimal comma and '5.5' a decimal point" in fault(
        tmp_path, table.replace("1,013", "1012,9").format("5.5")
    )


def test_a_trace_of_snow_is_not_measured_and_compass_points_are_degrees(tmp_path: Path) -> None:
    record = read(
        tmp_path, "date;tmax_c;Rain mm;Snow depth in\n2025-01-01;5;T;T\n2025-01-02;5;0;2\n"
    )
    assert record.grade("precip_mm")[0] == Grade.ESTIMATED
    assert np.isnan(record.get("snow_depth_mm")[0])
    record = read(
        tmp_path, "time_utc,temp_c,Wind dir\n2025-01-01T00:00,5,NNE\n2025-01-01T01:00,5,270\n"
    )
    assert record.get("wind_from_deg").tolist() == [22.5, 270.0]


# ---- headers ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "daily", "expected"),
    [
        ("Temp (°F)", False, ("temp_c", "c", "f")), ("Rain in", False, ("precip_mm", "mm", "in")),
        ("wind mph", False, ("wind_m_s", "m_s", "mph")), ("Tmax °C", True, ("tmax_c", "c", "c")),
        ("Precip_mm", True, ("precip_mm", "mm", "mm")), ("RH %", False, ("rh_pct", "pct", "pct")),
        ("Dew Point (°F)", False, ("dewpoint_c", "c", "f")),
        ("Gust, km/h", False, ("gust_m_s", "m_s", "km_h")),
        ("Solar Radiation (MJ/m²)", True, ("solar_mj_m2", "mj_m2", "mj_m2")),
        ("Max temp", True, ("tmax_c", "c", "")), ("Max temp inside (°F)", True, None),
        ("Rain rate in/h", False, None), ("Temp (°F)", True, None),
        ("High F (°C)", True, ("tmax_c", "c", "?f °c")),
    ],
)  # fmt: skip
def test_names_people_use(header: str, daily: bool, expected: tuple[str, str, str] | None) -> None:
    assert variable_as_said(header, daily) == expected


def test_names_without_doubt_go_before_names_people_use(tmp_path: Path) -> None:
    """What was read before such names were known is read the same."""
    text = (
        "date,tmax_c,High (°F),Max temp (°C),Humidity,Low temp (kelvin)\n2025-01-01,5,70,6,50,280\n"
    )
    record = read(tmp_path, text)
    assert record.get("tmax_c").tolist() == [5.0]
    assert [render(f.text) for f in record.flags] == [
        "columns not used: High (°F), Max temp (°C), Humidity, Low temp (kelvin)"
    ]


def test_western_text_with_a_degree_sign(tmp_path: Path) -> None:
    record = read(tmp_path, "Date;Max temp (°F)\n9/14/2025;50\n".encode("cp1252"))
    assert record.get("tmax_c")[0] == pytest.approx(10.0)
    assert "not UTF-8" in fault(tmp_path, "date,tmax_c,café\n2020-01-01,1,1\n".encode("cp1252"))


# ---- workbooks --------------------------------------------------------------------------------


def workbook(path: Path, **sheets: list[list[object]]) -> Path:
    with xlsxwriter.Workbook(path, {"default_date_format": "m/d/yy"}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            clock = book.add_format({"num_format": "h:mm AM/PM"})
            for row, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    if isinstance(cell, dt.time):
                        sheet.write_datetime(row, column, cell, clock)
                    elif cell is not None:
                        sheet.write(row, column, cell)
    return path


def test_a_workbook_is_read_like_its_text(tmp_path: Path) -> None:
    file = workbook(
        tmp_path / "book.xlsx",
        Empty=[],
        Days=[
            ["Date", "High", "Low", "Rain", "Notes"],
            [None, "°F", "°F", "in"],
            [dt.date(2025, 9, 4), 70.5, 50, "T", "windy, cold"],
            [],
            [dt.date(2025, 9, 5), "71.5", None, 0.25],
        ],
    )
    plain = "date,tmax_f,tmin_f,precip_in\n2025-09-04,70.5,50,T\n2025-09-05,71.5,,0.25\n"
    found, known = read_weather(file), read(tmp_path, plain)
    np.testing.assert_array_equal(found.times, known.times)
    for name in known.values:
        np.testing.assert_array_equal(found.values[name], known.values[name])
    _, table = read_and_understand(file)
    assert table is not None
    assert (table.rows, table.first_row, table.ignored) == (2, 3, ("Notes",))


def test_times_of_a_workbook(tmp_path: Path) -> None:
    file = workbook(
        tmp_path / "book.xlsx",
        Hours=[
            ["Date", "Time", "Temp °F"],
            [dt.date(2025, 9, 4), dt.time(9), 70],
            [dt.date(2025, 9, 4), dt.time(10), 71],
        ],
    )
    assert str(read_weather(file, place=SITE).times[0]) == "2025-09-04T13"


def test_a_sheet_is_named_where_there_are_several(tmp_path: Path) -> None:
    rows = [["date", "tmax_c"], [dt.date(2025, 9, 4), 20]]
    file = workbook(tmp_path / "book.xlsx", First=rows, Second=[*rows, [dt.date(2025, 9, 5), 21]])
    with pytest.raises(InputError, match=r"has 2 sheets; name one: .*=NAME with First or S"):
        read_weather(file)
    assert len(read_weather(f"{file}:sheet=Second").times) == 2
    with pytest.raises(InputError, match=r"has no sheet 'Third'; name one.*First or Second"):
        read_weather(f"{file}:sheet=Third")
    with pytest.raises(InputError, match="has no sheets; leave sheet= out"):
        read(tmp_path, "date,tmax_c\n2020-01-01,1\n", ":sheet=First")


def test_what_is_no_workbook_is_one_line(tmp_path: Path) -> None:
    import zipfile

    file = tmp_path / "a.xlsx"
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("readme.txt", "x")
    with pytest.raises(InputError, match="is a zip archive, not a table; unpack it"):
        read_weather(file)
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("xl/workbook.xml", "x")
    with pytest.raises(InputError, match="damaged or protected workbook"):
        read_weather(file)
    whole = workbook(file, A=[["date", "tmax_c"], [dt.date(2025, 9, 4), 20]]).read_bytes()
    file.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"zip archive|damaged"):
        read_weather(file)


def test_without_the_reader_one_line_says_how(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = workbook(tmp_path / "a.xlsx", A=[["date", "tmax_c"], [dt.date(2025, 9, 4), 20]])
    monkeypatch.setitem(sys.modules, "python_calamine", None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"excel extra; pip install 'windowcast\[excel\]'"):
        read_weather(file)


# ---- shown ------------------------------------------------------------------------------------


def test_check_shows_what_was_understood(tmp_path: Path) -> None:
    file = tmp_path / "old.csv"
    file.write_text("Date;High (°F);Rain in;Crew\n9/14/25;70,5;T;A\n9/15/25;71,5;0,25;B\n")
    said = CliRunner().invoke(cli, ["weather", "check", str(file), "--units", "us"]).output
    assert said.splitlines() == [
        "old.csv: days, 2025-09-14 to 2025-09-15",
        "2 rows, a day each; columns apart by semicolons, decimal comma.",
        "Dates are month/day/year; years of two digits are 1950 to 2049.",
        "Columns:",
        "  'Date': date",
        "  'High (°F)': highest air temperature (°F)",
        "  'Rain in': rain (in)",
        "Not read: 'Crew'",
        "First row (row 2): 2025-09-14",
        "  highest air temperature 70 °F",
        "  rain 0 in",
        *said.splitlines()[11:],
    ]
    assert "Note: columns not used: Crew." in said


def test_check_of_what_cannot_be_read_ends_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "old.csv"
    file.write_text(US.format(9, 4, 9, 5))
    with pytest.raises(SystemExit) as stop:
        main(["weather", "check", str(file)])
    assert stop.value.code == 2
    assert "FILE:dates=mdy" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["daily.csv.gz", "hourly.csv.gz"])
def test_the_sample_can_be_shown(name: str) -> None:
    file = windowcast.sample_folder() / name
    result = CliRunner().invoke(cli, ["weather", "check", str(file)])
    assert result.exit_code == 0, result.output
    assert "UTC" in result.output or name.startswith("daily")


@pytest.mark.parametrize("variables", [DAILY_VARIABLES, HOURLY_VARIABLES], ids=["daily", "hourly"])
@pytest.mark.parametrize("system", ["us", "metric"])
def test_a_value_of_every_variable_can_be_shown(
    variables: Mapping[str, Variable], system: System
) -> None:
    for variable in variables.values():
        assert _shown(1.5, variable.unit, Voice(system, "en"))
        assert _shown(float("nan"), variable.unit, Voice(system, "en")) == "missing"
