"""What the season log tells the models of live green shoots."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from windowcast.records.model import (
    Application,
    CoverReading,
    Material,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.observations import Logged, looks_in, observed_in
from windowcast.records.store import SeasonLog
from windowcast.season.sightings import CanopyLook

MON, TUE = dt.date(2025, 2, 17), dt.date(2025, 2, 18)


def test_only_a_parted_canopy_can_show_that_nothing_lives() -> None:
    assert looks_in([CoverReading(MON, 0.0)]) == ()  # brown from above is no look
    assert looks_in([CoverReading(MON, 0.5)]) == (CanopyLook(MON, True),)
    assert looks_in([CoverReading(MON, live_shoots=False)]) == (CanopyLook(MON, False),)
    assert looks_in([CoverReading(MON, 0.0, live_shoots=False)]) == (CanopyLook(MON, False),)
    assert looks_in([CoverReading(MON, 0.0, live_shoots=True)]) == (CanopyLook(MON, True),)


def test_looks_come_by_date_with_their_place(tmp_path: Path) -> None:
    with SeasonLog(tmp_path / "log.sqlite") as log:
        log.add(CoverReading(TUE, live_shoots=False, where="5 K trail"), CoverReading(MON, 3.0))
    seen = observed_in(tmp_path / "log.sqlite")
    assert seen.looks == (CanopyLook(MON, True), CanopyLook(TUE, False, "5 K trail"))
    assert [(c.date, c.share) for c in seen.green_cover] == [(MON, 0.03)]


def test_readings_keep_their_hour_and_counts_their_plants(tmp_path: Path) -> None:
    with SeasonLog(tmp_path / "log.sqlite") as log:
        log.add(
            SoilReading(MON, 0.05, 8.0, time=dt.time(9, 30)),
            SoilReading(TUE, 0.1, 9.0),
            ScoutingCount(MON, "POAAN", per_m2=12.0, frame_m2=0.25),
            ScoutingCount(TUE, "POAAN", stage_bbch=13),  # a stage alone counts no plants
        )
    seen = observed_in(tmp_path / "log.sqlite")
    assert [(r.depth_m, r.temp_c, r.hour) for r in seen.readings] == [
        (0.05, 8.0, 9.5),
        (0.1, 9.0, None),
    ]
    (count,) = seen.counts
    assert (count.date, count.weed, count.per_m2, count.area_m2) == (MON, "POAAN", 12.0, 0.25)


@pytest.mark.parametrize(("zone", "hours"), [(None, -4), (ZoneInfo("Asia/Tokyo"), 9)])
def test_a_start_is_on_the_clock_of_the_site_where_that_is_known(
    tmp_path: Path, zone: ZoneInfo | None, hours: int
) -> None:
    start = dt.datetime(2025, 2, 17, 5, tzinfo=dt.timezone(dt.timedelta(hours=-4)))
    probe = SoilReading(MON, 0.05, 8.0)
    sprayed = Application(start=start, materials=(Material("prodiamine", 0.4),))
    with SeasonLog(tmp_path / "log.sqlite") as log:
        log.add(probe, sprayed)
    logged = Logged.read(tmp_path / "log.sqlite", zone=zone)
    (found,) = logged.applications
    assert found.start == start
    assert found.start.utcoffset() == dt.timedelta(hours=hours)
    assert logged.readings == (probe,)
