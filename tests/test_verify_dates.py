"""Key dates told in past seasons, scored against what came."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from uscrn_sites import FOLDER, MID_SOUTH

from windowcast.cli import cli
from windowcast.cli.verify_models import dates_lines
from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.programme.model import KeyDate
from windowcast.verify.dates import ToldDate, _row, interval_score, scores
from windowcast.verify.dates_came import bridged
from windowcast.verify.growing_soil import GrowingSoil
from windowcast.windows.odds import DateRange


def _told(came: int, early: int = 0, late: int = 20) -> ToldDate:
    return ToldDate("08-20", "soil_fall", True, early, 10, late, (0, 40), came)


def test_interval_score_by_hand() -> None:
    """Width, and 2 / 0.2 for each day outside (Gneiting & Raftery 2007, eq. 43)."""
    early, late = np.zeros(5), np.full(5, 20.0)
    came = np.array([0.0, 10.0, 20.0, 23.0, -4.0])
    np.testing.assert_allclose(interval_score(early, late, came), [20, 20, 20, 50, 60])


def test_scores_count_dates_within_and_days_off() -> None:
    found = scores([_told(came) for came in (0, 20, 21, -2)])
    assert found["n"] == 4
    assert found["coverage"] == 0.5  # both ends count as within
    assert found["width_days"] == 20.0
    assert found["middle_days"] == pytest.approx((0 + 20 + 21 - 2) / 4 - 10, abs=0.06)
    assert found["interval_score"] == pytest.approx(20 + 10 * 3 / 4)
    alone = scores([replace(_told(5), normal=None)])
    assert alone["skill"] is None


def test_a_date_that_may_have_come_on_several_days_counts_once() -> None:
    thirds = [replace(_told(came), weight=1 / 3) for came in (10, 20, 30)]
    found = scores([*thirds, _told(40)])
    assert found["n"] == 2
    assert found["coverage"] == pytest.approx(1 / 3, abs=1e-3)
    assert found["middle_days"] == pytest.approx((10 + 30) / 2)


def _key(ahead: DateRange | None, **more: object) -> KeyDate:
    return replace(KeyDate("soil_fall", NOTHING, None, ahead, None, (), ""), **more)  # type: ignore[arg-type]


def test_a_date_told_only_in_part_is_not_judged() -> None:
    first, last = dt.date(1970, 1, 11), dt.date(1970, 1, 31)
    whole = DateRange(first, dt.date(1970, 1, 21), last, 0.0, 0.0, 100)
    row = _row(_key(whole), "08-20", 35.0, -85.0)
    assert row is not None
    assert (row.early, row.middle, row.late, row.south_east) == (10, 20, 30, True)
    assert _row(_key(replace(whole, late=None)), "08-20", 35.0, -85.0) is None
    assert _row(_key(None), "08-20", 35.0, -85.0) is None
    passed = _key(None, passed=dt.date(1970, 1, 15), passed_between=(first, last))
    row = _row(passed, "08-20", 45.0, -85.0)
    assert row is not None
    assert (row.early, row.middle, row.late, row.south_east) == (10, 14, 30, False)


def test_only_short_gaps_of_a_probe_arebridged() -> None:
    soil = np.array([np.nan, 10.0, np.nan, np.nan, np.nan, 14.0, *[np.nan] * 4, 9.0, np.nan])
    found = bridged(soil)
    np.testing.assert_allclose(found[1:6], [10, 11, 12, 13, 14])
    assert np.isnan(found[[0, 6, 7, 8, 9, 11]]).all()
    assert np.isnan(bridged(np.full(3, np.nan))).all()


def test_soil_that_goes_on_is_that_of_one_run() -> None:
    days = np.arange("2022-01-01", "2023-03-01", dtype="datetime64[D]")
    warm = 15.0 + 10.0 * np.sin(np.arange(len(days)) / 58.0)
    rain = np.where(np.arange(len(days)) % 5 == 0, 8.0, 0.0)

    def forcing(count: int) -> SoilForcing:
        part = slice(0, count)
        return SoilForcing(
            days[part], warm[part] + 5, warm[part] - 5, rain[part], latitude_deg=35.0
        )

    grown = GrowingSoil()
    for count in (390, 391, 424):
        found = grown(forcing(count), SoilSite(), depths_m=(0.05,))
        whole = simulate(forcing(count), SoilSite(), depths_m=(0.05,))
        np.testing.assert_array_equal(found.temp_c, whole.temp_c)
        np.testing.assert_array_equal(found.state.temp_c, whole.state.temp_c)
        np.testing.assert_array_equal(found.moisture, whole.moisture)


def test_an_issue_that_is_no_day_is_refused_before_anything_is_read() -> None:
    result = CliRunner().invoke(cli, ["verify", "dates", "nowhere", "--issue", "20-08"])
    assert isinstance(result.exception, InputError)
    assert "20-08" in str(result.exception)


@pytest.mark.slow
def test_a_station_is_replayed() -> None:
    path = FOLDER / f"{MID_SOUTH}.txt.gz"
    words = ["verify", "dates", str(path), "--seasons", "2", "--issue", "08-20"]
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 0, result.output
    found = json.loads(result.output)
    regions = found["issues"]["08-20"]
    assert set(regions) == {"all", "south_east", "elsewhere"}
    assert not regions["elsewhere"]
    soil = regions["all"]["soil_fall"]
    assert soil["n"] == 2
    assert 8 <= soil["width_days"] <= 60
    assert "last_safe" not in regions["all"]
    assert "soil_fall" in "\n".join(dates_lines(found, 120))
