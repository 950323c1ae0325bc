"""Dates and marks that people without a program go by."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from windowcast.core.values import PACKAGED
from windowcast.verify.simple_rules import (
    Days,
    by_calendar,
    by_soil,
    calendar_date,
    of_january,
    published_dates,
)
from windowcast.windows.model import PURPOSES

NORTH = np.arange("2018-07-01", "2019-07-01", dtype="datetime64[D]")
SOUTH = np.arange("2019-01-01", "2020-01-01", dtype="datetime64[D]")
BANDS = PACKAGED["simple_rules"].table("bands")


@pytest.mark.parametrize(
    ("latitude", "purpose", "first", "last"),
    [
        # Murphy, Univ. Georgia Extension: the last week of August to about 15 September in north
        # Georgia, the first two to three weeks of September (by the 20th) in the Piedmont, mid
        # September to mid October in south Georgia
        (34.5, "pre-fall", "08-25", "09-15"),
        (33.3, "pre-fall", "09-01", "09-20"),
        (31.2, "pre-fall", "09-15", "10-15"),
        # Univ. Georgia Extension, Ben Hill County, 2019: 1 to 20 March in north Georgia,
        # 15 February to 15 March in south Georgia
        (34.5, "pre-spring", "03-01", "03-20"),
        (31.2, "pre-spring", "02-15", "03-15"),
        # Mullis 2013, Univ. Georgia Extension, Augusta: latter half of February to first week of
        # March
        (33.5, "pre-spring", "02-15", "03-07"),
        # Univ. Florida IFAS: 1 February in south, 15 February in central Florida; in fall late
        # October to early November
        (26.0, "pre-spring", "02-01", "02-01"),
        (28.5, "pre-spring", "02-15", "02-15"),
        (26.0, "pre-fall", "10-20", "11-05"),
        # Derr & Nichols, Virginia Tech (Hampton Roads): mid August to early September
        (36.9, "pre-fall", "08-15", "09-07"),
        # Univ. Arkansas 2009: 10 March in the north of the state
        (36.1, "pre-spring", "03-10", "03-10"),
        # Keaton, Univ. Arkansas Extension, Baxter County, 2010: dormant bermudagrass in February
        (36.3, "dormant", "02-01", "02-28"),
    ],
)
def test_dates_are_those_that_extension_services_publish(latitude, purpose, first, last):
    assert published_dates(purpose, latitude) == (first, last)
    assert published_dates(purpose, -latitude) == (first, last)


def test_the_middle_of_a_span_is_gone_by():
    assert calendar_date("pre-fall", 31.2) == "09-30"  # of 15 September to 15 October
    assert calendar_date("dormant", 33.0) == "01-28"  # of 11 January to 15 February
    assert by_calendar("pre-fall", NORTH, 31.2) == Days(91, 111)  # 30 September, for three weeks
    assert NORTH[91] == np.datetime64("2018-09-30")


def test_south_of_the_equator_it_is_half_a_year_later():
    days = by_calendar("pre-fall", SOUTH, -31.2)
    assert days is not None
    assert SOUTH[days.first] == np.datetime64("2019-03-30")
    july = of_january(SOUTH, -31.2)
    assert july is not None
    assert SOUTH[july.first] == np.datetime64("2019-07-01")


def test_every_band_has_every_date_and_they_come_in_order():
    latitudes = [BANDS.number(f"{name}.from_deg") for name in BANDS]
    assert latitudes == sorted(latitudes)
    for latitude in latitudes:
        days = [by_calendar(purpose, NORTH, latitude) for purpose in PURPOSES]
        firsts = [d.first for d in days if d is not None]
        assert len(firsts) == len(PURPOSES)
        assert firsts == sorted(firsts)
        assert all(d is None or d.last < len(NORTH) for d in days)


def test_the_soil_rule_on_a_worked_example():
    """Soil falls by 0.1 °C a day from 30.05 °C on 1 July, and rises by as much from 8.05 °C."""
    day = np.arange(len(NORTH))
    soil = np.where(day < 200, 30.05 - 0.1 * day, 8.05 + 0.1 * (day - 200))
    # The mean of seven days that end on day d is that of day d - 3. It is below 21.1 °C when
    # 30.05 - 0.1 (d - 3) < 21.1: d > 92.5, so on day 93, and seen on the morning of day 94.
    assert by_soil("pre-fall", NORTH, soil) == Days(94, 114)
    # Above 12.8 °C when 8.05 + 0.1 (d - 203) > 12.8: d > 250.5, on day 251, seen on day 252.
    assert by_soil("pre-spring", NORTH, soil) == Days(252, 272)
    warm = np.full(len(NORTH), 25.0)
    assert by_soil("pre-fall", NORTH, warm) is None
    assert by_soil("pre-spring", NORTH, warm - 20) is None


def test_a_cold_spell_in_july_is_no_fall_and_a_warm_december_no_spring():
    soil = np.full(len(NORTH), 25.0)
    soil[5:20] = 15.0
    assert by_soil("pre-fall", NORTH, soil) is None
    soil[:] = 5.0
    soil[150:165] = 15.0
    assert by_soil("pre-spring", NORTH, soil) is None


@given(st.integers(0, 364), st.integers(0, 2**32 - 1))
def test_what_the_soil_does_later_changes_nothing_before(day, seed):
    rng = np.random.default_rng(seed)
    season = 14 + 10 * np.cos(2 * np.pi * (np.arange(len(NORTH)) - 30) / 365)
    soil = season + rng.normal(0, 2, len(NORTH))
    other = soil.copy()
    other[day:] = rng.normal(15, 10, len(NORTH) - day)
    for purpose in ("pre-fall", "pre-spring"):
        one, two = by_soil(purpose, NORTH, soil), by_soil(purpose, NORTH, other)
        assert one == two or min(d.first for d in (one, two) if d is not None) > day
