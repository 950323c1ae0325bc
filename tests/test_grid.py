"""The quick way of reading tables gives what the careful way gives, to the bit and to the word.

The careful way reads row by row with the `csv` module and ``float`` of the Python library; the
quick one is array arithmetic on bytes and must never differ.
"""

from __future__ import annotations

import datetime as dt
import gzip
import tempfile
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from windowcast.core.errors import InputError
from windowcast.core.record import Record
from windowcast.core.time_axis import around_day_of_year, by_day_of_year
from windowcast.sources.files import read_weather
from windowcast.sources.grid import Grid
from windowcast.sources.numerals import (
    NotPlain,
    calendar_dates,
    decimals,
    iso_dates,
    right_aligned,
)
from windowcast.sources.textfile import lines_of
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked

GHCN = Path(__file__).parent / "data" / "ghcn"


def outcome(spec: str, *, quick: bool) -> tuple[object, ...]:
    """Everything a file gives, as plain things that compare to the bit; or what is said of it."""
    of = Grid.of if quick else mock.Mock(side_effect=NotPlain)
    try:
        with mock.patch.object(Grid, "of", of):
            read = read_weather(spec)
    except InputError as error:
        return str(error), error.row, error.field
    return tuple(part for record in (read, filled(checked(read))) for part in plain(record))


def plain(record: Record) -> tuple[object, ...]:
    arrays = [
        (name, record.values[name].tobytes(), record.grades[name].tobytes())
        for name in record.values
    ]
    rest = replace(record, times=record.times[:0], values={}, grades={})
    return record.times.tobytes(), str(record.times.dtype), arrays, repr(rest)


def same_both_ways(content: bytes, options: str = "") -> tuple[object, ...]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "weather.csv"
        path.write_bytes(content)
        quick = outcome(f"{path}{options}", quick=True)
        assert quick == outcome(f"{path}{options}", quick=False)
    return quick


def is_regular(text: str) -> bool:
    """Whether the quick way takes the text, all but its first line."""
    _, end = next(lines_of(text))
    try:
        Grid.of(text[end:], text[:end].count(",") + 1)
    except NotPlain:
        return False
    return True


def long_csv(station: str) -> str:
    """A sample ``.dly`` in the archive's layout of one row a value (readme.txt; from memory)."""
    raw = gzip.decompress(next(GHCN.glob(f"{station}*.dly.gz")).read_bytes()).decode()
    cells = (
        (line, day, line[21 + 8 * day : 29 + 8 * day].ljust(8))
        for line in raw.splitlines()
        for day in range(31)
    )
    return "".join(
        f"{line[:11]},{line[11:17]}{day + 1:02},{line[17:21]},{int(cell[:5])},"
        f"{cell[5].strip()},{cell[6].strip()},{cell[7].strip()},\n"
        for line, day, cell in cells
        if int(cell[:5]) != -9999
    )


# ------------------------------------------------------------------------------- real samples


@pytest.mark.parametrize("options", ["", ":units=us", ":units=us,order=any"])
def test_real_wide_table(options: str) -> None:
    content = gzip.decompress((GHCN / "USW00014839_1938-1939_wide.csv.gz").read_bytes())
    assert is_regular(content.decode())
    same_both_ways(content, options)


@pytest.mark.parametrize("station", ["USW00013904", "UK000056225", "ASN00086071"])
def test_real_long_table(station: str) -> None:
    text = long_csv(station)
    assert is_regular(text)
    same_both_ways(text.encode())
    same_both_ways(text.encode(), ":observed=morning")


def test_real_days_as_our_own_table() -> None:
    """Austin as `compare` keeps what it fetches, plain and with every cell in quotes."""
    from windowcast.region.box import record_csv

    text = record_csv(read_weather(GHCN / "USW00013904_1999-2004.dly.gz"))
    quoted = "".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) + "\r\n" for line in text.splitlines()
    )
    assert is_regular(text)
    assert is_regular(quoted)
    assert same_both_ways(text.encode()) == same_both_ways(quoted.encode())


# ------------------------------------------------------------------------------- made-up files

numbers = st.one_of(
    st.floats(-30, 45).map(lambda v: f"{v:.2f}"),
    st.integers(-20, 40).map(str),
    st.sampled_from([
        "", " ", "-0", "-0.0", "+3", ".5", "5.", "-.5", "1e1", "1_0", "NA", "T", "t", " M ", "nan",
        "inf", "-", ".", "--1", "1 2", "-9999", "99.9", "0.1234567890123456", "12345678901234567",
        "\t7", "7\x1f", "٣", "warm", "0x1", "1,5", '5"', '"',
    ]),
)  # fmt: skip
styles = st.sampled_from(["{}", "{}", "{}", "{} ", " {}", '"{}"', '"{} "', '"{}'])
ends = st.sampled_from(["\n", "\n", "\r\n", "\r", "\n\n", "\v", " \n"])
days = st.sampled_from([
    "2020-02-{:02}", "2020-02-{:02}", "202002{:02}", "2020-2-{}", "2020-W08-1", "0000-02-{:02}",
    "{:02}/02/2020", " 2020-02-{:02}", "2999-02-{:02}", "2020-02-{:02}T00",
])  # fmt: skip


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    """Daily tables, most of them regular, some with a few rows that are not."""
    odd = draw(st.booleans())
    end = draw(ends) if odd else draw(st.sampled_from(["\n", "\r\n"]))
    date = draw(days) if odd else "2020-02-{:02}"
    cell = numbers if odd else st.floats(-30, 45).map(lambda v: f"{v:.1f}")
    order = draw(
        st.one_of(
            st.just(range(1, 21)),
            st.lists(st.integers(1, 30), min_size=1, max_size=12),
        )
    )
    lines = ["date,tmax_c,precip_mm"]
    for day in order:
        row = [date.format(day), draw(cell), draw(cell)]
        lines.append(",".join(draw(styles if odd else st.just("{}")).format(c) for c in row))
    text = end.join(lines) + draw(st.sampled_from(["", end, end + end]))
    before = draw(st.sampled_from(["", "\ufeff", "# name: Café\n", "# latitude: 38.7\r\n\r\n"]))
    return (before + text).encode()


@given(tables(), st.sampled_from(["", ":order=any", ":observed=morning"]))
def test_made_up_tables(content: bytes, options: str) -> None:
    same_both_ways(content, options)


@st.composite
def long_tables(draw: st.DrawFn) -> bytes:
    """GHCN-Daily rows, most of them regular."""
    odd = draw(st.booleans())
    pick = (lambda usual, *more: draw(st.sampled_from([usual, usual, usual, *more]))) if odd else (
        lambda usual, *more: usual
    )  # fmt: skip
    lines = [draw(st.sampled_from(["ID,DATE,ELEMENT,DATA_VALUE,M,Q,S,OBS_TIME"]))] * draw(
        st.integers(0, 1)
    )
    for day in draw(st.lists(st.integers(1, 29), min_size=1, max_size=12, unique=not odd)):
        for element in ("TMAX", "TMIN", "PRCP", "WT01"):
            value = str(draw(st.integers(-99, 400)))
            lines.append(
                ",".join([
                    pick("USC00099999", "USC00088888", " USC00099999", '"USC00099999"'),
                    pick(f"202002{day:02}", f"2020-02-{day:02}", "20200230", f"202002{day:02}9"),
                    pick(element, "XXXX", "SNOWD"),
                    pick(value, "-9999", "1.5", "", "-0", "007", "ten", f"+{value}", f" {value}"),
                    pick("", "T", "P", "TX", " ", "€"),
                    pick("", "X", "I"),
                    "7",
                    pick("", "0700", "2400", "7.5", "noon", "-700"),
                ])
            )  # fmt: skip
    return (draw(ends if odd else st.just("\n")).join(lines) + "\n").encode()


@pytest.mark.slow
@given(long_tables(), st.sampled_from(["", ":station=USC00099999", ":observed=midnight"]))
def test_made_up_long_tables(content: bytes, options: str) -> None:
    same_both_ways(content, options)


def test_long_table_without_what_is_timed() -> None:
    same_both_ways(b"USC00099999,20200101,TMIN,10,,,7,0700\n")


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("1,2\n3,4", [["1", "3"], ["2", "4"]]),
        ("1,\r\n,4\r\n\r\n", [["1", ""], ["", "4"]]),
        ('"a, b",""\nc,"d"', [["a, b", "c"], ["", "d"]]),
    ],
)
def test_what_is_regular(text: str, cells: list[list[str]]) -> None:
    grid = Grid.of(text, 2)
    assert [grid.column(0), grid.column(1)] == cells
    assert grid.taken([1, 0]).column(0) == cells[0][::-1]


@pytest.mark.parametrize(
    "text",
    ["", "\n", "1\n2", "1,2\n3", "1,2\n\n3,4", "1,2,3", "1,2\r3,4", "1,é", "1,2\v3,4", '"a\nb",2',
     '5",2\n3",4', '"a""b",2', '"a" ,2', '"1,"2', "1,\x00", f"1,{'9' * 140_000}"],
)  # fmt: skip
def test_what_is_left_to_the_careful_way(text: str) -> None:
    with pytest.raises(NotPlain):
        Grid.of(text, 2)


def test_a_week_of_the_year_is_no_date() -> None:
    """``datetime.date.fromisoformat`` takes ISO weeks; our tables do not."""
    said, row, field = same_both_ways(b"date,tmax_c\n2020-02-01,1\n2020-W08-1,2\n")
    assert "'2020-W08-1' is not a date" in str(said)
    assert (row, field) == (3, "date")


# ------------------------------------------------------------------------------------- pieces


def matrix(cells: list[str], width: int, *, right: bool = False) -> np.ndarray:
    """Cells as columns of characters."""
    text = "".join(cell.rjust(width) if right else cell.ljust(width) for cell in cells)
    return np.frombuffer(text.encode(), np.uint8).reshape(len(cells), width).T


@given(st.lists(st.text("0123456789.- ", max_size=18), min_size=1))
def test_decimals_are_what_float_makes_of_them(cells: list[str]) -> None:
    values, readable = decimals(matrix(cells, 18))
    for cell, value, can in zip(cells, values, readable, strict=True):
        digits = sum(c.isdigit() for c in cell)
        try:
            expected = float(cell) if cell.strip() else np.nan
        except ValueError:
            assert not can
            continue
        assert can == (digits <= 15)
        if can:
            assert value.tobytes() == np.float64(expected).tobytes()


@given(st.floats(-1e5, 1e5), st.integers(0, 9))
def test_decimals_of_measured_values(number: float, places: int) -> None:
    text = f"{number:.{places}f}"
    values, readable = decimals(matrix([text], len(text)))
    assert readable.all() == (sum(c.isdigit() for c in text) <= 15)
    assert not readable.all() or values[0] == float(text)


@given(st.lists(st.text("0189- x", min_size=5, max_size=5), min_size=1))
def test_right_aligned_whole_numbers(cells: list[str]) -> None:
    values, readable = right_aligned(matrix(cells, 5, right=True), blank=-9999)
    for cell, value, can in zip(cells, values, readable, strict=True):
        text = cell.lstrip(" ")
        whole = text.removeprefix("-")
        assert can == (whole.isdigit() or not whole)
        if can:
            assert value == (int(whole or 0) * (-1 if text != whole else 1) if text else -9999)


@given(st.lists(st.integers(-5, 99_999_999), min_size=1))
def test_calendar_dates(numbers: list[int]) -> None:
    found, right = calendar_dates(np.array(numbers))
    for number, date, is_date in zip(numbers, found, right, strict=True):
        try:
            expected = dt.date(number // 10_000, number // 100 % 100, number % 100)
        except ValueError:
            assert not is_date or number < 10_000  # the year 0 is a year to NumPy
            continue
        assert is_date
        assert date == np.datetime64(expected)


def test_dates_as_written() -> None:
    for cells in (["2020-02-29", "1999-12-31"], ["20200229", "19991231"]):
        found = iso_dates(matrix(cells, len(cells[0])))
        assert found.tolist() == [dt.date(2020, 2, 29), dt.date(1999, 12, 31)]
    for wrong in ("2019-02-29", "2020/02/28", "2020-1-28 ", "20200001", "202002"):
        with pytest.raises(NotPlain):
            iso_dates(matrix([wrong], len(wrong)))


@given(st.text("ab\n\r\v\f\x1c\x1d\x1e\x1f\x85\u2028\u2029\x00"))
def test_lines_are_those_of_splitlines(text: str) -> None:
    assert [line for line, _ in lines_of(text)] == text.splitlines()
    assert "".join(text[a:b] for a, b in _spans(text)) == text


def _spans(text: str) -> list[tuple[int, int]]:
    ends = [end for _, end in lines_of(text)]
    return list(zip([0, *ends[:-1]], ends, strict=True)) if ends else []


@given(st.dates(dt.date(1890, 1, 1), dt.date(2030, 1, 1)), st.integers(1, 1500))
def test_days_of_the_year(first: dt.date, count: int) -> None:
    times = np.datetime64(first) + np.arange(count)
    table, row, column = by_day_of_year(times, np.arange(float(count)))
    days = times.tolist()
    assert column.tolist() == [day.timetuple().tm_yday - 1 for day in days]
    assert row.tolist() == [day.year - first.year for day in days]
    assert table.shape == (days[-1].year - first.year + 1, 366)
    np.testing.assert_array_equal(table[row, column], np.arange(float(count)))
    assert np.isfinite(table).sum() == count


def test_a_window_of_days_goes_round_the_year() -> None:
    table = np.random.default_rng(1).normal(size=(3, 366))
    shifts = [np.roll(table, shift, axis=1) for shift in range(-7, 8)]
    np.testing.assert_allclose(around_day_of_year(table, 7), np.sum(shifts, axis=0))
