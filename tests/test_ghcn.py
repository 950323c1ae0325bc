"""GHCN-Daily: values, flags and totals as the archive means them.

The format is that of NOAA NCEI's ``ghcnd/readme.txt`` (from memory); files are real, see
tests/data/ORIGIN.md.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
from spoken import render

from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Record
from windowcast.sources.files import read_weather
from windowcast.sources.ghcn import is_dly, read_dly
from windowcast.sources.ghcn_csv import is_long_csv

KEY = "USW00099999202001TMAX"


def at(record: Record, name: str, date: str) -> float:
    return float(record.get(name)[record.times == np.datetime64(date)][0])


def grade(record: Record, name: str, date: str) -> int:
    return int(record.grade(name)[record.times == np.datetime64(date)][0])


def month(key: str, *days: str) -> str:
    """One line: each day 8 characters, the rest missing."""
    cells = [*days, *["-9999   "] * (31 - len(days))]
    return key + "".join(cells)


@pytest.fixture
def melbourne(data: Path) -> Record:
    return read_weather(data / "ghcn" / "ASN00086071_2011-2012.dly.gz")


def test_values_are_tenths(data: Path) -> None:
    """Read by eye from the first lines of the file."""
    path = data / "ghcn" / "USW00013904_1999-2004.dly.gz"
    line = gzip.decompress(path.read_bytes()).splitlines()[0].decode()
    assert line[11:21] == "199901TMAX"
    record = read_weather(path)
    assert at(record, "tmax_c", "1999-01-01") == pytest.approx(int(line[21:26]) / 10)
    assert at(record, "tmax_c", "1999-01-31") == pytest.approx(int(line[261:266]) / 10)


def test_every_value_against_a_plain_reader(data: Path) -> None:
    """The vectorised reader against the format read character by character."""
    for name in ("USW00013904_1999-2004", "UK000056225_2020-2021", "ASN00086071_2011-2012"):
        path = data / "ghcn" / f"{name}.dly.gz"
        record = read_weather(path)
        seen = 0
        for line in gzip.decompress(path.read_bytes()).decode().splitlines():
            variable = {"TMAX": "tmax_c", "TMIN": "tmin_c"}.get(line[17:21])
            if variable is None:
                continue
            for day in range(31):
                value = line[21 + 8 * day : 26 + 8 * day]
                if int(value) == -9999:
                    continue
                read = at(record, variable, f"{line[11:15]}-{line[15:17]}-{day + 1:02}")
                if line[27 + 8 * day] == " ":
                    assert read == pytest.approx(int(value) / 10)
                else:
                    assert np.isnan(read)
                seen += 1
        assert seen > 500


def test_quality_flags_reject(data: Path) -> None:
    record = read_weather(data / "ghcn" / "USW00013904_1999-2004.dly.gz")
    rejected = {f.variable: f for f in record.flags if f.check == "archive-quality"}
    assert rejected["tmax_c"].first == "1999-03-12"  # flag X in the file: failed bounds check
    assert np.isnan(at(record, "tmax_c", "1999-03-12"))
    assert np.isfinite(at(record, "tmax_c", "1999-03-13"))


def test_trace_rain_is_estimated(data: Path) -> None:
    record = read_weather(data / "ghcn" / "USW00013904_1999-2004.dly.gz")
    rain, grades = record.get("precip_mm"), record.grade("precip_mm")
    traces = grades == Grade.ESTIMATED
    assert traces.sum() > 50
    assert (rain[traces] == 0.1).all()
    assert (rain[grades == Grade.OBSERVED] == 0).any()


def test_rain_of_several_days_is_spread(melbourne: Record) -> None:
    """July 2011: MDPR 3.2 mm on the 12th over DAPR 4 days; 9 to 12 July have no PRCP."""
    days = [f"2011-07-{d:02}" for d in (9, 10, 11, 12)]
    assert [at(melbourne, "precip_mm", d) for d in days] == pytest.approx([0.8] * 4)
    assert {grade(melbourne, "precip_mm", d) for d in days} == {Grade.ESTIMATED}
    assert at(melbourne, "precip_mm", "2011-07-08") == 0.0
    assert grade(melbourne, "precip_mm", "2011-07-08") == Grade.OBSERVED
    # February 2012, 16th to 18th: 0.0 mm over three days is three dry days, estimated
    assert at(melbourne, "precip_mm", "2012-02-19") == 0.0
    assert "several-days-rain" in {f.check for f in melbourne.flags}


def test_monthly_rain_total_is_kept(melbourne: Record, data: Path) -> None:
    """What PRCP and MDPR say together for July 2011, summed from the file."""
    total = 0
    raw = gzip.decompress((data / "ghcn" / "ASN00086071_2011-2012.dly.gz").read_bytes()).decode()
    for line in raw.splitlines():
        if line[11:21] in ("201107PRCP", "201107MDPR"):
            values = [int(line[21 + 8 * d : 26 + 8 * d]) for d in range(31)]
            total += sum(v for v in values if v != -9999)
    july = melbourne.between(np.datetime64("2011-07-01"), np.datetime64("2011-07-31"))
    assert np.nansum(july.get("precip_mm")) == pytest.approx(total / 10)


def test_presumed_zero_stays_missing() -> None:
    lines = [month(KEY, "  100   "), month(KEY.replace("TMAX", "PRCP"), "    0P  ", "    0   ")]
    record = read_dly("\n".join(lines).encode(), "x.dly")
    assert np.isnan(record.get("precip_mm")[0])
    assert record.get("precip_mm")[1] == 0.0
    assert "presumed-zero" in {f.check for f in record.flags}


def test_short_lines_and_crlf_read_the_same(data: Path) -> None:
    path = data / "ghcn" / "UK000056225_2020-2021.dly.gz"
    raw = gzip.decompress(path.read_bytes())
    plain = read_dly(raw, path)
    ragged = b"\r\n".join(line.rstrip() for line in raw.splitlines()) + b"\r\n"
    other = read_dly(ragged, path)
    for name, values in plain.values.items():
        np.testing.assert_array_equal(values, other.values[name])


def test_leap_day_and_days_beyond_the_month() -> None:
    cells = ["  100   "] * 31  # a file should not have a 30 February; it is not a day
    record = read_dly(month("USW00099999202002TMAX", *cells).encode(), "x.dly")
    assert str(record.times[-1]) == "2020-02-29"
    record = read_dly(month("USW00099999202102TMAX", *cells).encode(), "x.dly")
    assert str(record.times[-1]) == "2021-02-28"


@pytest.mark.parametrize(
    ("lines", "row", "says"),
    [
        ([month(KEY, "  100   ", "  1x0   ")], 1, "VALUE2: is not a whole number"),
        ([month(KEY, "  100   "), month(KEY, "  100   ")], 2, "this month twice"),
        ([month(KEY, "  100   "), month(KEY.replace("99", "88"), "    1   ")], 2, "station begins"),
        ([month(KEY.replace("202001", "202013"), "  100   ")], 1, "no year and month"),
        ([month(KEY, "  100   "), "this is no data"], 2, "is not a line of GHCN-Daily"),
        ([month(KEY.replace("TMAX", "WT01"), "    1   ")], None, "no temperature or rain"),
    ],
)  # fmt: skip
def test_damaged_files(lines: list[str], row: int | None, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        read_dly("\n".join(lines).encode(), "x.dly")
    assert caught.value.row == row
    assert caught.value.remedy


def test_formats_are_told_apart() -> None:
    assert is_dly(month(KEY, "  100   ").encode())
    assert not is_dly(b"date,tmax_c\n2020-01-01,1\n")
    assert is_long_csv("USW00099999,20200101,TMAX,100,,,W,2400")
    assert is_long_csv('"ID","DATE","ELEMENT","DATA_VALUE","M_FLAG","Q_FLAG","S_FLAG","OBS_TIME"')
    assert not is_long_csv("date,tmax_c")


LONG = """\
USC00099999,20200101,TMAX,100,,,7,0700
USC00099999,20200101,TMIN,10,,,7,0700
USC00099999,20200101,PRCP,0,T,,7,0700
USC00099999,20200102,TMAX,120,,,7,0700
USC00099999,20200102,TMIN,20,,,7,0700
USC00099999,20200102,PRCP,84,,,7,0700
USC00099999,20200103,TMAX,999,,X,7,0700
"""


def test_long_csv_of_a_morning_observer(tmp_path: Path) -> None:
    """Read at 7 in the morning: maximum and rain belong to the day before."""
    path = tmp_path / "station.csv"
    path.write_text(LONG)
    record = read_weather(path)
    assert at(record, "tmax_c", "2020-01-01") == pytest.approx(12.0)
    assert at(record, "precip_mm", "2020-01-01") == pytest.approx(8.4)
    assert at(record, "tmin_c", "2020-01-01") == pytest.approx(1.0)
    assert np.isnan(at(record, "tmax_c", "2020-01-02"))  # failed a check of the archive
    assert {"observing-day", "archive-quality"} <= {f.check for f in record.flags}


def test_a_quality_flag_that_is_no_letter_of_the_archive_is_no_pass(tmp_path: Path) -> None:
    path = tmp_path / "station.csv"
    path.write_text(LONG.replace(",X,", ",\N{LATIN CAPITAL LETTER G WITH DOT ABOVE},"), "utf-8")
    record = read_weather(path)
    assert np.isnan(at(record, "tmax_c", "2020-01-02"))


def test_long_csv_read_at_midnight_or_as_declared(tmp_path: Path) -> None:
    path = tmp_path / "station.csv"
    path.write_text("ID,DATE,ELEMENT,VALUE,M,Q,S,T\n" + LONG.replace("0700", "2400"))
    record = read_weather(path)
    assert at(record, "tmax_c", "2020-01-01") == pytest.approx(10.0)
    assert at(record, "precip_mm", "2020-01-01") == pytest.approx(0.1)
    path.write_text(LONG)
    record = read_weather(f"{path}:observed=midnight")
    assert at(record, "tmax_c", "2020-01-01") == pytest.approx(10.0)


def test_unknown_hour_of_observation_is_said_of_cooperative_stations() -> None:
    line = month(KEY.replace("USW", "USC"), "  100   ")
    flags = read_dly(line.encode(), "x.dly").flags
    assert [f.check for f in flags] == ["observing-day"]
    assert "observed=morning" in render(flags[0].text)
    assert read_dly(line.encode(), "x.dly", observed="midnight").flags == ()
    assert read_dly(month(KEY, "  100   ").encode(), "x.dly").flags == ()  # an airport


def test_long_csv_with_several_stations(tmp_path: Path) -> None:
    path = tmp_path / "2020.csv"
    path.write_text(LONG + LONG.replace("USC00099999", "USC00088888").replace(",100,", ",50,"))
    with pytest.raises(InputError, match=r"2 stations.*station=ID"):
        read_weather(path)
    record = read_weather(f"{path}:station=USC00088888,observed=midnight")
    assert at(record, "tmax_c", "2020-01-01") == pytest.approx(5.0)
    with pytest.raises(InputError, match="no rows of station USC1"):
        read_weather(f"{path}:station=USC1")


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("USC00099999,20200104,TMAX,warm,,,7,0700", "'warm' is not a whole number"),
        ("USC00099999,20209904,TMAX,10,,,7,0700", "'20209904' is not a date"),
        ("USC00099999,20200102,TMAX,10,,,7,0700", "2020-01-02 stands twice"),
        ("USC00099999,20200104", "2 fields"),
    ],
)
def test_damaged_long_csv(tmp_path: Path, row: str, says: str) -> None:
    path = tmp_path / "station.csv"
    path.write_text(LONG + row + "\n")
    with pytest.raises(InputError, match=says) as caught:
        read_weather(path)
    assert caught.value.row == 8
