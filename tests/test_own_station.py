"""The site's own logger: common exports, units, zones with clock changes, drift."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from spoken import render

from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Place, Record
from windowcast.core.site import OwnStation, SensorColumn
from windowcast.core.time_axis import record_of
from windowcast.sources.own_logger import read_own
from windowcast.weather.gather import compared

PLACE = Place("Long Meadow", 36.0, -95.0, 200.0, "America/Chicago")
ZONE = ZoneInfo("America/Chicago")
FORMAT = "%m/%d/%Y %H:%M"


def own(path: Path, *columns: tuple[str, str, str], **more: str) -> OwnStation:
    mapped = tuple(SensorColumn(column=c, quantity=q, unit=u) for c, q, u in columns)
    return OwnStation(file=str(path), time_column="Date Time", columns=mapped, **more)


def write(path: Path, header: str, rows: list[str], preamble: str = "") -> Path:
    path.write_text(preamble + "\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def at(record: Record, name: str, when: str) -> float:
    row = int((np.datetime64(when, "h") - record.times[0]).astype(int))
    return float(record.get(name)[row])


def test_quarter_hour_export_in_us_units(tmp_path: Path) -> None:
    """A logger's export: two lines of preamble, month first, °F, inches, mph, rain as the total
    since the reading before."""
    start = dt.datetime.fromisoformat("2025-01-10T06:00")
    rows = []
    for n in range(17):
        when = start + dt.timedelta(minutes=15 * n)
        rows.append(f"{when:{FORMAT}},{50 + n},0.01,{10 + n},{20 + n},270")
    file = write(
        tmp_path / "logger.csv", "Date Time,Air,Rain,Wind,Gust,Dir", rows,
        "Logger 12\nPlot title: field 3\n",
    )  # fmt: skip
    record = read_own(
        own(
            file, ("Air", "temp_c", "°F"), ("Rain", "precip_mm", "in"), ("Wind", "wind_m_s", "mph"),
            ("Gust", "gust_m_s", "mph"), ("Dir", "wind_from_deg", "deg"), time_format=FORMAT,
        ),
        PLACE,
    )  # fmt: skip
    # 07:00 local is 13:00 UTC; readings 6:30 … 7:15 lie nearest to it: 52, 53, 54, 55 °F
    assert at(record, "temp_c", "2025-01-10T13") == pytest.approx((53.5 - 32) / 1.8)
    assert at(record, "wind_m_s", "2025-01-10T13") == pytest.approx(13.5 * 0.44704)
    assert at(record, "gust_m_s", "2025-01-10T13") == pytest.approx(25 * 0.44704)
    assert at(record, "wind_from_deg", "2025-01-10T13") == pytest.approx(270)
    # rain of 7:15, 7:30, 7:45, 8:00 fell in the hour that begins at 7:00
    assert at(record, "precip_mm", "2025-01-10T13") == pytest.approx(4 * 0.01 * 25.4)
    assert record.provenance[0].detail == "logger.csv", "no folder"
    assert record.grade("temp_c")[2] == Grade.OBSERVED


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    file = write(
        tmp_path / "l.csv", "Date Time;Boden", ["2025-01-10T06:00;4,5", "2025-01-10T07:00;5,5"]
    )
    record = read_own(
        own(file, ("Boden", "soil_5cm_c", "degC"), delimiter=";", timezone="UTC"), PLACE
    )
    assert at(record, "soil_5cm_c", "2025-01-10T06") == 4.5


def test_clock_changes(tmp_path: Path) -> None:
    """1 hour comes twice on 2 November 2025 and one is missing on 9 March 2025 (US rules)."""
    for first, last, hours in (("2025-11-01T20", "2025-11-02T08", 13 + 1),
                               ("2025-03-08T20", "2025-03-09T08", 13 - 1)):  # fmt: skip
        when = dt.datetime.fromisoformat(first).replace(tzinfo=ZONE).astimezone(dt.UTC)
        end = dt.datetime.fromisoformat(last).replace(tzinfo=ZONE).astimezone(dt.UTC)
        rows = []
        while when <= end:
            rows.append(f"{when.astimezone(ZONE):%Y-%m-%dT%H:%M},{len(rows)}")
            when += dt.timedelta(hours=1)
        assert len(rows) == hours
        file = write(tmp_path / "l.csv", "Date Time,T", rows)
        record = read_own(own(file, ("T", "temp_c", "C")), PLACE)
        known = np.isfinite(record.get("temp_c"))
        np.testing.assert_array_equal(record.get("temp_c")[known], np.arange(hours))
        assert known.sum() == np.ptp(np.flatnonzero(known)) + 1, "every hour has its own value"


def test_times_with_offset_need_no_zone(tmp_path: Path) -> None:
    file = write(tmp_path / "l.csv", "Date Time,T", ["2025-01-10T06:00:00+01:00,3"])
    record = read_own(own(file, ("T", "temp_c", "C")), PLACE)
    assert at(record, "temp_c", "2025-01-10T05") == 3


def test_missing_readings_make_missing_hours(tmp_path: Path) -> None:
    """A missing reading is not a dry one; a mean needs half of its readings."""
    start = dt.datetime.fromisoformat("2025-01-10T00:00")
    rows = []
    for n in range(49):
        when = start + dt.timedelta(minutes=10 * n)
        gap = when.hour == 4 and when.minute in (10, 20, 30, 40, 50)
        one = when.hour == 6 and when.minute == 10
        rows.append(f"{when:%Y-%m-%dT%H:%M},{'' if gap else 5},{'--' if gap or one else 0}")
    file = write(tmp_path / "l.csv", "Date Time,T,R", rows)
    record = read_own(
        own(file, ("T", "temp_c", "C"), ("R", "precip_mm", "mm"), timezone="UTC"), PLACE
    )
    assert at(record, "temp_c", "2025-01-10T04") == 5
    assert at(record, "precip_mm", "2025-01-10T03") == 0
    assert np.isnan(at(record, "precip_mm", "2025-01-10T04"))
    assert np.isnan(at(record, "precip_mm", "2025-01-10T06")), "one of six is missing"
    assert at(record, "temp_c", "2025-01-10T06") == 5


def test_north_wind_is_not_averaged_to_south(tmp_path: Path) -> None:
    rows = [f"2025-01-10T06:{m:02},{d}" for m, d in ((0, 350), (10, 10), (20, 350))]
    file = write(tmp_path / "l.csv", "Date Time,D", [*rows, "2025-01-10T06:30,10"])
    record = read_own(own(file, ("D", "wind_from_deg", "deg"), timezone="UTC"), PLACE)
    assert at(record, "wind_from_deg", "2025-01-10T06") % 360 == pytest.approx(356.667, abs=0.1)


def test_one_row_a_day_is_a_daily_record(tmp_path: Path) -> None:
    rows = [f"2025-01-{d:02},{40 + d},{20 + d},0.5" for d in range(1, 6)]
    file = write(tmp_path / "l.csv", "Date Time,Hi,Lo,Rain", rows)
    record = read_own(
        own(file, ("Hi", "tmax_c", "F"), ("Lo", "tmin_c", "F"), ("Rain", "precip_mm", "in")), PLACE
    )
    assert record.daily
    assert str(record.times[0]) == "2025-01-01"
    assert record.get("tmax_c")[0] == pytest.approx(5.0)
    assert record.get("precip_mm")[0] == pytest.approx(12.7)


@pytest.mark.parametrize(
    ("header", "rows", "more"),
    [
        ("Date Time;T", ["1/13/2025 9:00 AM;4,5", "1/13/2025 10 am;5,5"], {}),
        ("Date Time\tT", ["13.1.25 09:00\t4.5", "13.1.25 10:00\t5.5"], {}),
        ("Date Time,T", ["13-Jan-25 9:00 AM,4.5", "13-Jan-25 10:00 AM,5.5"], {}),
        ("Date Time,H,T", ["1/13/2025,9 AM,4.5", "1/13/2025,10 AM,5.5"], {"clock_column": "H"}),
        ("Date Time,T", ["13/1/2025 9:00,4.5", "13/1/2025 10:00,5.5"], {"dates": "dmy"}),
    ],
)  # fmt: skip
def test_exports_as_loggers_write_them(
    header: str, rows: list[str], more: dict[str, str], tmp_path: Path
) -> None:
    file = write(tmp_path / "l.csv", header, rows)
    record = read_own(own(file, ("T", "temp_c", "C"), **more), PLACE)
    assert at(record, "temp_c", "2025-01-13T15") == 4.5  # 9:00 in Chicago, UTC−6
    assert at(record, "temp_c", "2025-01-13T16") == 5.5


def test_an_export_that_leaves_the_order_open_is_asked_about(tmp_path: Path) -> None:
    file = write(tmp_path / "l.csv", "Date Time,T", ["1/10/2025 9:00,3", "1/11/2025 9:00,4"])
    with pytest.raises(InputError, match=r"row 2: Date Time: '1/10/2025' could be .*say dates ="):
        read_own(own(file, ("T", "temp_c", "C")), PLACE)
    with pytest.raises(InputError, match=r"weather.own.clock_column: has no column 'Hour'"):
        read_own(own(file, ("T", "temp_c", "C"), clock_column="Hour"), PLACE)


GOOD = ["2025-01-10T06:00,3", "2025-01-10T07:00,4"]
BAD = {
    "no time column": ("When,T", GOOD, {}, "no column 'Date Time'"),
    "no such column": ("Date Time,U", GOOD, {}, "no column 'T'"),
    "not a time": ("Date Time,T", ["soon,3"], {}, "row 2.*'soon' is not a time"),
    "not a number": ("Date Time,T", ["2025-01-10T06:00,warm"], {}, "row 2: T: 'warm'"),
    "backwards": ("Date Time,T", GOOD[::-1], {}, "row 3.*not later"),
    "twice": ("Date Time,T", [GOOD[0], GOOD[0]], {}, "row 3.*not later"),
    "short row": ("Date Time,T", ["2025-01-10T06:00"], {}, "row 2: has 1 fields"),
    "no rows": ("Date Time,T", [], {}, "no rows"),
    "future": ("Date Time,T", ["2099-01-10T06:00,3"], {}, "ends in the future"),
    "no zone": ("Date Time,T", GOOD, {"timezone": "Mars/Base"}, "not an IANA time zone"),
}


@pytest.mark.parametrize("fault", BAD)
def test_bad_file_is_one_line_with_a_remedy(fault: str, tmp_path: Path) -> None:
    header, rows, more, message = BAD[fault]
    file = write(tmp_path / "l.csv", header, rows)
    with pytest.raises(InputError, match=message) as caught:
        read_own(own(file, ("T", "temp_c", "C"), **more), PLACE)
    assert ";" in str(caught.value), "names a remedy"
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("quantity", "unit", "message"),
    [("temperatur", "C", "not a quantity"), ("temp_c", "mph", "not a unit of temp_c"),
     ("temp_c", "", "not a unit")],
)  # fmt: skip
def test_bad_mapping(quantity: str, unit: str, message: str, tmp_path: Path) -> None:
    file = write(tmp_path / "l.csv", "Date Time,T", GOOD)
    with pytest.raises(InputError, match=message):
        read_own(own(file, ("T", quantity, unit)), PLACE)


def test_missing_file_and_no_columns(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_own(own(tmp_path / "none.csv", ("T", "temp_c", "C")), PLACE)
    with pytest.raises(InputError, match="maps no columns"):
        read_own(own(write(tmp_path / "l.csv", "Date Time,T", GOOD)), PLACE)


def _daily(offset: np.ndarray, noise: float = 1.0) -> Record:
    """Two years of days, with day-to-day noise as between stations some 30 km apart."""
    rng = np.random.default_rng(5)
    times = np.arange(np.datetime64("2023-01-01"), np.datetime64("2025-01-01"))
    mean = 15 - 10 * np.cos(2 * np.pi * np.arange(len(times)) / 365.25)
    mean = mean + offset + rng.normal(0, noise, len(times))
    made = record_of(PLACE, times, {"tmax_c": mean + 6, "tmin_c": mean - 6})
    from windowcast.core.record import Provenance

    origin = Provenance("own-station", "l.csv")
    return Record(PLACE, made.times, made.values, made.grades, (origin,))


def test_drift_is_noticed_and_a_steady_offset_is_not_drift() -> None:
    days = 731
    neighbours = _daily(np.zeros(days), noise=0.0)
    assert compared([_daily(np.full(days, 1.0))], [neighbours]) == []
    drifting = np.where(np.arange(days) > days - 40, 2.5, 0.0)
    (flag,) = compared([_daily(drifting)], [neighbours])
    assert flag.check == "own-drift"
    assert "+2." in render(flag.text)
    assert "last 30 days" in render(flag.text)
    (flag,) = compared([_daily(np.full(days, -4.0))], [neighbours])
    assert flag.check == "own-bias"


def test_a_difference_that_comes_each_winter_is_not_drift() -> None:
    """A frost hollow differs from its neighbours in the same part of every year."""
    day = np.arange(731)
    hollow = np.where((day % 365 < 60) | (day % 365 > 320), -2.5, 0.0)
    neighbours = _daily(np.zeros(731), noise=0.0)
    assert [f for f in compared([_daily(hollow)], [neighbours]) if f.check == "own-drift"] == []


def test_no_neighbours_no_verdict() -> None:
    assert compared([_daily(np.zeros(731))], []) == []
