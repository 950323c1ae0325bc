"""Weather files: formats told apart, values right, every fault one line with a remedy."""

from __future__ import annotations

import datetime as dt
import gzip
import tempfile
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoken import render

import windowcast
from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Place, Record
from windowcast.core.source_flags import REMARKS
from windowcast.sources import textfile
from windowcast.sources.columns import variable_and_unit
from windowcast.sources.files import FileSpec, parse_spec, read_weather
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked

DAYS = "date,tmax_c,tmin_c,precip_mm\n2020-01-01,10.0,1.0,0\n2020-01-02,12.0,2.5,4.2\n"


def read(tmp_path: Path, text: str | bytes, name: str = "weather.csv", spec: str = "") -> Record:
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_weather(f"{path}{spec}")


def fault(tmp_path: Path, text: str | bytes, spec: str = "") -> InputError:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, spec=spec)
    error = caught.value
    assert error.exit_code == 2
    assert "\n" not in str(error)
    assert "weather.csv" in str(error)
    assert error.remedy
    return error


# ------------------------------------------------------------------------------ what is read


def test_daily_table(tmp_path: Path) -> None:
    record = read(tmp_path, DAYS)
    assert record.daily
    assert record.times.astype(str).tolist() == ["2020-01-01", "2020-01-02"]
    assert record.get("tmax_c").tolist() == [10.0, 12.0]
    assert record.get("precip_mm").tolist() == [0.0, 4.2]
    assert (record.grade("tmin_c") == Grade.OBSERVED).all()


def test_units_in_the_header_are_converted(tmp_path: Path) -> None:
    text = "date,tmax_f,tmin_f,precip_in,wind_mean_mph,solar_w_m2\n2020-01-01,50,32,1,10,100\n"
    record = read(tmp_path, text)
    # NIST SP 811 appendix B: 32 °F = 0 °C, 1 in = 25.4 mm, 1 mph = 0.44704 m/s
    assert record.get("tmax_c")[0] == pytest.approx(10.0)
    assert record.get("tmin_c")[0] == pytest.approx(0.0)
    assert record.get("precip_mm")[0] == pytest.approx(25.4)
    assert record.get("wind_mean_m_s")[0] == pytest.approx(4.4704)
    assert record.get("solar_mj_m2")[0] == pytest.approx(8.64)  # 100 W/m² over 86,400 s


def test_hourly_table_with_offsets(tmp_path: Path) -> None:
    text = (
        "time,temp_c,precip_prob_pct\n2020-03-08T01:00-05:00,4,50\n"
        "2020-03-08T03:00-04:00,5,60\n2020-03-08T09:00Z,6,70\n"
    )
    record = read(tmp_path, text)
    assert not record.daily
    # 01:00 EST and 03:00 EDT are one hour apart; 09:00 UTC leaves a gap of one
    assert record.times.astype(str).tolist() == [f"2020-03-08T0{h}" for h in (6, 7, 8, 9)]
    assert record.get("temp_c").tolist()[:2] == [4.0, 5.0]
    assert np.isnan(record.get("temp_c")[2])
    assert record.get("precip_prob")[3] == pytest.approx(0.7)


def test_skipped_days_are_missing_not_zero(tmp_path: Path) -> None:
    record = read(tmp_path, DAYS + "2020-01-05,9,1,0\n")
    assert len(record.times) == 5
    assert np.isnan(record.get("precip_mm")[2:4]).all()
    assert (record.grade("precip_mm")[2:4] == Grade.MISSING).all()


def test_trace_is_neither_zero_nor_measured(tmp_path: Path) -> None:
    record = read(tmp_path, DAYS + "2020-01-03,9,1,T\n2020-01-04,9,1,\n")
    rain, grade = record.get("precip_mm"), record.grade("precip_mm")
    assert 0 < rain[2] <= 0.127  # below 0.005 in, the smallest amount a US observer measures
    assert grade[2] == Grade.ESTIMATED
    assert np.isnan(rain[3])


def test_codes_for_missing_only_where_impossible(tmp_path: Path) -> None:
    text = DAYS + "2020-01-03,-9999,-9999,-9999\n2020-01-04,9,-99,99.9\n"
    record = read(tmp_path, text)
    assert np.isnan(record.get("tmax_c")[2])
    assert np.isnan(record.get("tmin_c")[3])
    assert record.get("precip_mm")[3] == 99.9  # a possible amount stays
    assert {f.check for f in record.flags} == {"missing-code"}
    assert sum(f.count for f in record.flags) == 4


def test_gzip_bom_crlf_quotes_comments_case(tmp_path: Path) -> None:
    text = '\ufeff# name: Sea Loft\r\n# latitude: 38.7\r\n\r\n"Date","TMAX_C","note"\r\n'
    text += '2020-01-01,"10.5","fine, dry"\r\n\r\n2020-01-02,11,""\r\n'
    record = read(tmp_path, gzip.compress(text.encode(), mtime=0), "a.csv.gz")
    assert record.get("tmax_c").tolist() == [10.5, 11.0]
    assert record.place.name == "Sea Loft"
    assert record.place.latitude_deg == 38.7
    assert [f.check for f in record.flags] == ["column-ignored"]


def test_provenance_names_the_file_without_its_folder(tmp_path: Path) -> None:
    record = read(tmp_path, DAYS)
    assert record.provenance[0].detail == "weather.csv"
    assert str(tmp_path) not in repr(record.provenance) + repr(record.flags)


def test_where_it_was_measured_is_kept_and_said(tmp_path: Path) -> None:
    """Lisbon airport to Porto airport: 277 km as the crow flies (great circle, by hand)."""
    path = tmp_path / "porto.csv"
    path.write_text("# latitude: 41.24\n# longitude: -8.68\n# elevation_m: 73\n" + DAYS)
    lisbon = Place("Sea Loft", 38.77, -9.13, 400.0, "Europe/Lisbon")
    record = read_weather(path, place=lisbon)
    assert record.place == lisbon
    assert record.provenance[0].distance_km == pytest.approx(277, abs=2)
    assert record.provenance[0].elevation_m == 73
    (flag,) = record.flags
    assert flag.check == "far-station"
    assert "277 km away and 327 m lower" in render(flag.text)
    near = Place("Sea Loft", 41.2, -8.6, 100.0, "Europe/Lisbon")
    assert read_weather(path, place=near).flags == ()


HERE = Place("Sea Loft", 41.2, -8.6, 373.0, "Europe/Lisbon")  # 8 km from the station


def _from_a_station(tmp_path: Path, about: str) -> Path:
    path = tmp_path / "porto.csv"
    path.write_text(about + DAYS)
    return path


def test_temperatures_of_another_height_are_moved_once_and_nothing_else(tmp_path: Path) -> None:
    """300 m up at 6.5 K/km: 1.95 K colder."""
    about = "# latitude: 41.24\n# longitude: -8.68\n# elevation_m: 73\n"
    path = _from_a_station(tmp_path, about)
    there, moved = read_weather(path), read_weather(path, place=HERE)
    for name in there.values:
        colder = 1.95 if name in {"tmax_c", "tmin_c"} else 0.0
        np.testing.assert_allclose(moved.get(name), there.get(name) - colder)
    (flag,) = moved.flags
    assert "300 m lower; its temperatures are corrected by 0.65 °C per 100 m" in render(flag.text)
    assert "984 ft lower; its temperatures are corrected by 3.6 °F per 1000 ft" in render(
        flag.text, "us"
    )
    again = windowcast.read_weather(moved, place=HERE)
    np.testing.assert_array_equal(again.get("tmax_c"), moved.get("tmax_c"))


@pytest.mark.parametrize(
    ("height", "place", "says"),
    [
        ("", HERE, "is from 8 km away and does not give its height: temperatures may be off"),
        ("", replace(HERE, elevation_m=None), "does not give its height"),
        ("# elevation_m: 73\n", replace(HERE, elevation_m=None), "the site's elevation is not"),
    ],
)
def test_a_height_that_is_unknown_is_told_with_its_cost(
    tmp_path: Path, height: str, place: Place, says: str
) -> None:
    about = f"# latitude: 41.24\n# longitude: -8.68\n{height}"
    path = _from_a_station(tmp_path, about)
    record = read_weather(path, place=place)
    (flag,) = record.flags
    assert flag.check in REMARKS, "it is part of the answer"
    assert says in render(flag.text)
    assert "0.65 °C per 100 m" in render(flag.text)
    np.testing.assert_array_equal(record.get("tmax_c"), read_weather(path).get("tmax_c"))


@pytest.mark.parametrize(
    ("about", "spec"), [("", ":measured=here"), ("# latitude: 41.201\n# longitude: -8.6\n", "")]
)
def test_of_the_sites_own_file_no_height_is_asked(tmp_path: Path, about: str, spec: str) -> None:
    record = read_weather(f"{_from_a_station(tmp_path, about)}{spec}", place=HERE)
    assert record.flags == ()
    assert record.provenance[0].distance_km == pytest.approx(0.0, abs=0.2)


def test_a_file_that_does_not_say_where_it_is_from_is_not_taken_as_the_sites(
    tmp_path: Path,
) -> None:
    record = read_weather(_from_a_station(tmp_path, ""), place=HERE)
    (flag,) = record.flags
    assert flag.check in REMARKS, "it is part of the answer"
    said = render(flag.text)
    assert "does not say where it was measured. It counts as 120 km away" in said
    assert "3 days less sure" in said
    assert "say porto.csv:measured=here" in said
    assert record.provenance[0].distance_km is None


def test_what_the_owner_says_of_a_files_place_must_agree_with_the_file(tmp_path: Path) -> None:
    path = _from_a_station(tmp_path, "# latitude: 41.24\n# longitude: -8.68\n")
    with pytest.raises(InputError, match=r"measured 8 km from the site.*leave out measured=here"):
        read_weather(f"{path}:measured=here", place=HERE)


def test_wide_table_of_the_archive_in_tenths(tmp_path: Path) -> None:
    text = '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME",'
    text += '"TMAX","TMAX_ATTRIBUTES","PRCP","PRCP_ATTRIBUTES","SNWD","WT01","WT03"\n'
    where = '"40.78","-73.97","42.7","A PARK, XX US"'
    text += f'"USW1","2020-01-01",{where},156,",,W,2400",102,",,W,2400",51,1,1\n'
    text += f'"USW1","2020-01-02",{where},399,",I,W",0,"T,,W",0,,\n'
    record = read(tmp_path, text, spec=":units=tenths")
    assert record.place == Place("A PARK, XX US", 40.78, -73.97, 42.7)
    assert [render(f.text) for f in record.flags if f.check == "column-ignored"] == [
        "columns not used: WT01, WT03"
    ]
    assert record.get("tmax_c")[0] == pytest.approx(15.6)
    assert record.get("precip_mm")[0] == pytest.approx(10.2)
    assert record.get("snow_depth_mm")[0] == pytest.approx(51)
    assert np.isnan(record.get("tmax_c")[1])  # quality flag I: internally inconsistent
    assert record.grade("precip_mm")[1] == Grade.ESTIMATED  # measurement flag T: trace


def test_units_in_brackets_of_the_header(tmp_path: Path) -> None:
    text = "DATE,TMAX (Degrees Fahrenheit),PRCP (Inches)\n2020-01-01,50,0.5\n"
    record = read(tmp_path, text)
    assert record.get("tmax_c")[0] == pytest.approx(10.0)
    assert record.get("precip_mm")[0] == pytest.approx(12.7)


def test_real_wide_table_in_us_units(data: Path) -> None:
    path = data / "ghcn" / "USW00014839_1938-1939_wide.csv.gz"
    with pytest.raises(InputError, match=r"names no unit.*units=us"):
        read_weather(path)
    with pytest.raises(InputError, match=r"row 457.*1939-06-08 comes after 1939-06-30.*order=any"):
        read_weather(f"{path}:units=us")
    record = read_weather(f"{path}:units=us,order=any")
    # first row of the file: 35.96 °F and 30.02 °F, that is GHCN's 2.2 and -1.1 °C
    assert record.get("tmax_c")[0] == pytest.approx(2.2)
    assert record.get("tmin_c")[0] == pytest.approx(-1.1)
    assert len(record.times) == 640


def test_real_uscrn_file(data: Path) -> None:
    record = read_weather(data / "uscrn" / "VA_Charlottesville_2_SSE.txt.gz")
    assert record.daily
    assert "soil_5cm_c" in record


def test_wide_table_with_several_stations(tmp_path: Path) -> None:
    text = "STATION,date,tmax_c\nA,2020-01-01,1\nB,2020-01-01,2\nA,2020-01-02,3\n"
    assert "holds the stations A, B" in str(fault(tmp_path, text))
    assert "holds the stations" in str(fault(tmp_path, text, ":station=C"))
    assert read(tmp_path, text, spec=":station=A").get("tmax_c").tolist() == [1.0, 3.0]


def test_dates_without_dashes(tmp_path: Path) -> None:
    record = read(tmp_path, "date,tmax_c\n20200228,1\n20200229,2\n")
    assert record.times.astype(str).tolist() == ["2020-02-28", "2020-02-29"]
    assert "is not a date" in str(fault(tmp_path, "date,tmax_c\n20200228,1\n20200230,2\n"))


def test_morning_observer(tmp_path: Path) -> None:
    text = DAYS + "2020-01-03,14.0,3.0,1.0\n"
    record = read(tmp_path, text, spec=":observed=morning")
    assert record.get("tmax_c").tolist()[:2] == [12.0, 14.0]  # read on the 2nd and the 3rd
    assert record.get("precip_mm").tolist()[:2] == [4.2, 1.0]
    assert record.get("tmin_c").tolist() == [1.0, 2.5, 3.0]
    assert np.isnan(record.get("tmax_c")[2])
    assert "observing-day" in {f.check for f in record.flags}


# ----------------------------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("text", "row", "field", "says"),
    [
        (b"", None, None, "is empty"),
        (b"  \n\n", None, None, "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", None, None, "not a text file"),
        ("date,tmax_c\n".encode("utf-16"), None, None, "no rows"),
        ("date,tmax_c\n2020-01-01,1\n".encode("utf-16")[:-1], None, None, "damaged UTF-16"),
        (b"date,tmax_c\n2020-01-01,\xff\n", 2, None, "not UTF-8"),
        (b"\x1f\x8b\x08\x00damaged", None, None, "gzip"),
        (gzip.compress(DAYS.encode(), mtime=0)[:-12], None, None, "gzip"),
        ("hello world\n", 1, None, "not a weather file of a known kind"),
        ("date,tmax_c\n", None, None, "no rows"),
        ("# only: comments\n", None, None, "no header"),
        ("date~tmax_c\n2020-01-01~1\n", 1, None, "not a weather file of a known kind"),
        ("day,tmax_c\n1,2\n", 1, None, "no column date"),
        ("date,station\n2020-01-01,7\n", 1, None, "no column is a weather quantity"),
        ("date,tmax\n2020-01-01,7\n", 1, "tmax", "names no unit"),
        ("date,tmax (kelvin)\n2020-01-01,280\n", 1, "tmax (kelvin)", "'kelvin'"),
        ("date,tmax_c,tmin_f\n2020-01-01,7,40\n", 1, "tmin_f", "both degrees C and degrees F"),
        ("date,tmax_c,tmax_f\n2020-01-01,7,40\n", 1, "tmax_f", "two columns"),
        (DAYS + "2020-01-03,5,1\n", 4, None, "3 fields"),
        (DAYS + "2020-01-03,5,4,1,0\n", 4, None, "5 fields"),
        (DAYS + "2020-01-03,warm,4,1\n", 4, "tmax_c", "'warm' is not a number"),
        (DAYS + "2020-01-03,inf,4,1\n", 4, "tmax_c", "'inf' is not a number"),
        (DAYS + "03/01/2020,5,4,1\n", 4, "date", "is not a date"),
        (DAYS + "2020-02-30,5,4,1\n", 4, "date", "is not a date"),
        (DAYS + "today,5,4,1\n", 4, "date", "is not a date"),
        (DAYS + "2020-01-02,5,4,1\n", 4, "date", "2020-01-02 stands twice"),
        (DAYS + "2020-01-04,5,4,1\n2020-01-03,5,4,1\n", 5, "date", "comes after"),
        (DAYS + "2999-01-04,5,4,1\n", 4, "date", "further ahead than any forecast"),
        ("time,temp_c\n2020-01-01T00:00,5\n", 2, "time", "no offset"),
        ("time,temp_c\n2020-01-01T00:30Z,5\n", 2, "time", "not on a full hour"),
        ("time,temp_c\nnoon,5\n", 2, "time", "is not a time"),
        ("date,tmax_c,tmin_c\n2020-01-01,,\n2020-01-02,NaN,NA\n", None, None, "no usable value"),
        (
            "date,tmax_c,tmin_c\n" + "".join(f"2020-01-{d:02},1,9\n" for d in range(1, 11)),
            None, "tmax_c", "below tmin on 10 of 10 days",
        ),
        (
            "date,tmax_c\n" + "".join(f"2020-01-{d:02},{48 + d % 3}\n" for d in range(1, 11)),
            None, "tmax_c", "name the column tmax_f",
        ),
        (
            "date,tmin_c\n" + "".join(f"2020-07-{d:02},88\n" for d in range(1, 11)),
            None, "tmin_c", "10 of 10 values are impossible",
        ),
    ],
)  # fmt: skip
def test_bad_input(
    tmp_path: Path, text: str | bytes, row: int | None, field: str | None, says: str
) -> None:
    error = fault(tmp_path, text)
    assert says in str(error)
    assert error.row == row
    assert error.field == field


def test_a_declared_unit_does_not_hide_mixed_ones(tmp_path: Path) -> None:
    assert "both degrees" in str(
        fault(tmp_path, "date,tmax,tmin_c\n2020-01-01,50,1\n", ":units=us")
    )


def test_tomorrow_is_no_fault(tmp_path: Path) -> None:
    tomorrow = dt.datetime.now(dt.UTC).date() + dt.timedelta(days=1)
    assert len(read(tmp_path, f"date,tmax_c\n{tomorrow},5\n").times) == 1


def test_folder_missing_and_forbidden_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        read_weather(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_weather(tmp_path / "nowhere.csv")


def test_too_large_plain_and_zipped(tmp_path: Path) -> None:
    sparse = tmp_path / "big.csv"
    with sparse.open("wb") as stream:
        stream.truncate(2 * 1024**3)  # 2 GB, which occupies nothing
    with pytest.raises(InputError, match="larger than 64 MB"):
        read_weather(sparse)
    bomb = tmp_path / "bomb.gz"
    bomb.write_bytes(gzip.compress(b"0" * 5_000_000, mtime=0))
    with pytest.raises(InputError, match="larger than 1 MB"):
        textfile.read_text_bytes(bomb, limit=1024**2)


def test_a_mistyped_year_in_other_formats(tmp_path: Path, data: Path) -> None:
    raw = gzip.decompress((data / "ghcn" / "UK000056225_2020-2021.dly.gz").read_bytes())
    assert "2921" in str(fault(tmp_path, raw.replace(b"000056225202112", b"000056225292112")))
    raw = gzip.decompress((data / "uscrn" / "AL_Selma_13_WNW.txt.gz").read_bytes())
    assert "not a date" in str(fault(tmp_path, raw.replace(b"20120602", b"     nan")))


REAL = {
    "own daily": DAYS.encode(),
    "own hourly": b"time,temp_c\n2020-03-08T01:00-05:00,4\n2020-03-08T03:00-04:00,5\n",
    "wide": b'STATION,DATE,TMAX,TMAX_ATTRIBUTES\nU,2020-01-01,156,",,W"\nU,2020-01-02,99,",I,W"\n',
    "long": b"USC00099999,20200101,TMAX,100,,,7,0700\nUSC00099999,20200102,PRCP,84,T,,7,0700\n",
    "dly": b"USW00099999202001TMAX  100 X " + b"  100   " * 30 + b"\n",
    "uscrn": b"03758 20120601  2.422  -79.09   35.97    27.9    16.9    22.4    22.4    13.0"
    b"    23.60 C    36.3    16.2    24.1    95.7    54.0    80.6   0.2   0.2   0.2   0.2   0.2"
    b"    22.7    22.5    22.1    20.8    18.0\n" * 2,
}  # one line in each format, values invented


@given(
    st.sampled_from(sorted(REAL)),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 9), st.binary(max_size=6)), max_size=8),
    st.sampled_from(["", ":units=tenths,order=any", ":observed=morning"]),
)
def test_damage_ends_in_a_record_or_one_line(
    kind: str, damage: list[tuple[float, int, bytes]], spec: str
) -> None:
    """Bytes cut out and put in anywhere, in every format: never a traceback, never a warning."""
    content = REAL[kind]
    for where, cut, new in damage:
        at = int(where * len(content))
        content = content[:at] + new + content[at + cut :]
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")
        path = Path(folder) / "damaged.csv"
        path.write_bytes(content)
        said = ""
        try:
            filled(checked(read_weather(f"{path}{spec}")))
        except InputError as error:
            said = str(error)
        assert "\n" not in said


def test_concatenated_gzip_members_are_one_file(tmp_path: Path) -> None:
    first, second = DAYS[:40].encode(), DAYS[40:].encode()
    record = read(tmp_path, gzip.compress(first, mtime=0) + gzip.compress(second), "a.gz")
    assert len(record.times) == 2


# ------------------------------------------------------------------------------ names, options


@pytest.mark.parametrize(
    ("header", "daily", "expected"),
    [
        ("tmax_c", True, ("tmax_c", "c", "c")),
        (" TMAX_F ", True, ("tmax_c", "c", "f")),
        ("TMAX", True, ("tmax_c", "c", "")),
        ("PRCP", True, ("precip_mm", "mm", "")),
        ("snow_depth_cm", True, ("snow_depth_mm", "mm", "cm")),
        ("soil_5cm_f", True, ("soil_5cm_c", "c", "f")),
        ("wind_km_h", False, ("wind_m_s", "m_s", "km_h")),
        ("wind_from_deg", False, ("wind_from_deg", "deg", "deg")),
        ("cloud_fraction_pct", False, ("cloud_fraction", "", "pct")),
        ("tmax_attributes", True, None),
        ("temp_c", True, None),
    ],
)
def test_column_names(header: str, daily: bool, expected: tuple[str, str, str] | None) -> None:
    assert variable_and_unit(header, daily) == expected


def test_file_options() -> None:
    assert parse_spec("a.csv") == FileSpec("a.csv")
    assert parse_spec("C:\\data\\a.csv") == FileSpec("C:\\data\\a.csv")
    spec = parse_spec("C:\\data\\a.csv:units=us,observed=morning,station=USW1")
    assert spec == FileSpec("C:\\data\\a.csv", "us", "morning", "USW1")
    with pytest.raises(InputError, match=r"units=furlongs is not known.*us, metric, tenths"):
        parse_spec("a.csv:units=furlongs")
    with pytest.raises(InputError, match=r"option 'unit' is not known.*units"):
        parse_spec("a.csv:unit=us")
