"""Reading USCRN daily01 files: the published layout, codes and faults."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from windowcast.core.errors import InputError
from windowcast.core.record import Grade
from windowcast.sources.uscrn import is_uscrn, read_uscrn, station_name, station_number

SAMPLE = Path(__file__).parent / "data" / "uscrn" / "KY_Bowling_Green_21_NNE.txt.gz"
LINE = (
    "63849 {date}  2.424  -86.23   37.25 {tmax:>7} {tmin:>7}     6.0     6.2 {rain:>7} {sun:>8} C"
    "    14.9     2.3     7.0    95.1    54.7    77.5   0.310   0.339   0.311   0.314   0.283"
    " {soil:>7}     6.1     6.6     8.1    10.5\n"
)


def line(date: int, *, tmax="12.1", tmin="0.1", rain="3.2", sun="5.11", soil="5.9") -> str:
    return LINE.format(date=date, tmax=tmax, tmin=tmin, rain=rain, sun=sun, soil=soil)


def write(tmp_path: Path, *lines: str, name: str = "CRND0103-2019-KY_Bowling_Green_21_NNE.txt"):
    path = tmp_path / name
    path.write_text("".join(lines))
    return path


def test_published_sample() -> None:
    record = read_uscrn(SAMPLE)
    assert record.place.name == "KY Bowling Green 21 NNE"
    assert (record.place.latitude_deg, record.place.longitude_deg) == (37.25, -86.23)
    with gzip.open(SAMPLE, "rt") as stream:
        rows = [row.split() for row in stream]
    assert len(record.times) == len(rows)
    pick = 400
    assert str(record.times[pick]).replace("-", "") == rows[pick][1]
    for name, field in (("tmax_c", 5), ("precip_mm", 9), ("rh_mean_pct", 17), ("soil_5cm_c", 23)):
        assert record.values[name][pick] == float(rows[pick][field])
    assert record.provenance[0].licence.startswith("public domain")


def test_missing_codes_and_gaps(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        line(20190101, tmax="-9999.0", rain="-9999.0", sun="-9999.00"),
        line(20190103, tmin="-40.0", soil="-9999.0"),
    )
    record = read_uscrn(path)
    assert record.times.astype(str).tolist() == ["2019-01-01", "2019-01-02", "2019-01-03"]
    assert np.isnan(record.values["tmax_c"]).tolist() == [True, True, False]
    assert np.isnan(record.values["precip_mm"]).tolist() == [True, True, False]
    assert record.values["tmin_c"][2] == -40.0
    assert record.grade("soil_5cm_c").tolist() == [Grade.OBSERVED, Grade.MISSING, Grade.MISSING]


def test_yearly_files_in_any_order_make_one_record(tmp_path: Path) -> None:
    one = write(tmp_path, line(20190101), line(20190102))
    two = write(tmp_path, line(20181231), name="CRND0103-2018-KY_Bowling_Green_21_NNE.txt")
    record = read_uscrn([one, two])
    assert record.times.astype(str).tolist() == ["2018-12-31", "2019-01-01", "2019-01-02"]
    assert not record.flags


def test_impossible_values_are_removed_and_flagged(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        line(20190101, sun="88.00"),
        line(20190102, tmax="1.0", tmin="5.0"),
        line(20190103),
        line(20190103, tmax="13.0"),
    )
    record = read_uscrn(path)
    assert [f.check for f in record.flags] == ["duplicate", "range", "tmin-above-tmax"]
    assert np.isnan(record.values["solar_mj_m2"][0])
    assert np.isnan(record.values["tmax_c"][1])
    assert np.isnan(record.values["tmin_c"][1])
    assert record.values["tmax_c"][2] == 13.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("date,tmax\n2019-01-01,3\n", "row 1: is not a USCRN daily01 file"),
        (line(20190101) + line(20190102)[:60] + "\n", "row 2: has 8 fields, not 28"),
        (line(20190101) + line(20190102, tmax="warm"), "row 2: field 6 is 'warm', not a number"),
        (line(20190101) + line(20190230), "LST_DATE: 20190230 is not a date"),
        (line(20190101) + line(20190102).replace("63849", "63850"), "holds several stations"),
    ],
)
def test_faults_name_file_and_row(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_uscrn(write(tmp_path, text))
    assert caught.value.exit_code == 2
    assert "remedy" not in str(caught.value)


def test_what_is_not_such_a_file(tmp_path: Path) -> None:
    assert is_uscrn(line(20190101))
    assert not is_uscrn("63849,20190101,2.424")
    with pytest.raises(InputError, match="not a USCRN daily01 file"):
        station_number(write(tmp_path, "USW00013904 TMAX\n"))
    assert station_number(SAMPLE) == "63849"
    assert station_name("CRND0103-2019-MT_St._Mary_1_SSW.txt.gz") == "MT St. Mary 1 SSW"
