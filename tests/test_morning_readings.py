"""Highs dated a day late are recognised from real records, and never from too few days."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from spoken import render

from windowcast.core.record import Record
from windowcast.core.values import load
from windowcast.sources.files import parse_spec, read_weather
from windowcast.sources.morning_readings import dated_a_day_late

LEAST = int(load("quality").number("morning.least"))
REAL = (
    "uscrn/AL_Selma_13_WNW.txt.gz",
    "uscrn/KY_Bowling_Green_21_NNE.txt.gz",
    "uscrn/OH_Coshocton_8_NNE.txt.gz",
    "uscrn/VA_Charlottesville_2_SSE.txt.gz",
    "turf/OK_Stillwater_2_W.txt.gz",
    "ghcn/USW00013904_1999-2004.dly.gz",
)


def _late(highs: np.ndarray, days: int = 1) -> np.ndarray:
    return np.concatenate([np.full(days, np.nan), highs[:-days]])


def _remarks(record: Record) -> list[str]:
    return [render(f.text) for f in record.flags if f.check == "highs-a-day-late"]


@pytest.mark.parametrize("name", REAL)
def test_real_highs_are_told_from_the_same_a_day_late(data: Path, name: str) -> None:
    record = read_weather(data / name)
    high, low = record.get("tmax_c"), record.get("tmin_c")
    assert not _remarks(record)
    assert not dated_a_day_late(high, low)
    assert dated_a_day_late(_late(high), low)


@pytest.mark.parametrize(
    "name", ["ghcn/ASN00086071_2011-2012.dly.gz", "ghcn/UK000056225_2020-2021.dly.gz"]
)
def test_by_the_sea_moved_highs_may_stay_unseen_but_true_ones_are_never_named(
    data: Path, name: str
) -> None:
    record = read_weather(data / name)
    assert not dated_a_day_late(record.get("tmax_c"), record.get("tmin_c"))


def test_never_with_little_data(data: Path) -> None:
    record = read_weather(data / REAL[3])
    high, low = _late(record.get("tmax_c")), record.get("tmin_c")
    for days in (0, 1, 2, 40, LEAST // 2, LEAST):
        for first in range(0, len(high) - days, 400):
            part = slice(first, first + days)
            assert not dated_a_day_late(high[part], low[part]), (first, days)
    sparse = np.where(np.arange(len(high)) % 4 == 0, high, np.nan)
    assert not dated_a_day_late(sparse, low)


def test_columns_without_weather_are_not_judged() -> None:
    even, nothing = np.full(2000, 10.0), np.full(2000, np.nan)
    for high, low in ((even, even - 5), (nothing, even), (even, nothing)):
        assert not dated_a_day_late(high, low)


def test_only_the_last_years_count(data: Path) -> None:
    """A station that was read in the morning until five years ago is no longer named."""
    record = read_weather(data / REAL[3])
    high, low = record.get("tmax_c"), record.get("tmin_c")
    judged = int(load("quality").number("morning.judged"))
    assert len(high) > judged + LEAST
    changed = np.concatenate([_late(high)[:-judged], high[-judged:]])
    assert dated_a_day_late(changed[:-judged], low[:-judged])
    assert not dated_a_day_late(changed, low)


def test_a_file_is_named_until_its_owner_answers(data: Path, tmp_path: Path) -> None:
    record = read_weather(data / REAL[1])
    high, low = _late(record.get("tmax_c")), record.get("tmin_c")
    known = np.isfinite(high) & np.isfinite(low)
    path = tmp_path / "gauge.csv"
    rows = zip(record.times[known], high[known], low[known], strict=True)
    path.write_text("date,tmax_c,tmin_c\n" + "".join("{},{},{}\n".format(*row) for row in rows))
    found = read_weather(path)
    (said,) = _remarks(found)
    assert "gauge.csv look dated a day late" in said
    assert str(tmp_path) not in said
    kept = found.get("tmax_c")[np.isin(found.times, record.times[known])]
    np.testing.assert_array_equal(kept, high[known])
    for answer in ("morning", "midnight"):
        assert not _remarks(read_weather(parse_spec(f"{path}:observed={answer}")))
