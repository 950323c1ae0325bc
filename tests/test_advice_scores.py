"""Seasons compared: means, intervals, what hindsight gains, and what was lost and why."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from windowcast.season.observed import Applied
from windowcast.verify.advice import region_of
from windowcast.verify.advice_scores import (
    FIGURES,
    SeasonsBeside,
    SeasonScore,
    comparisons,
    tables,
    weighted,
)
from windowcast.verify.following import Followed, ReadThen
from windowcast.verify.regret import causes, dates_of, regret_of
from windowcast.verify.sprays import Done
from windowcast.verify.worth import Worlds
from windowcast.windows.model import PurposeName


def score(who: str, winter: float, summer: float = 0.5, **other: Any) -> SeasonScore:
    named: dict[str, Any] = {
        "station": "Field",
        "region": "north",
        "season": 2015,
        "ground": "golf",
        "sprays": 2,
    }
    named["within"] = (winter + summer) / 2
    return SeasonScore(**{**named, **other}, who=who, winter=winter, summer=summer)


def four_stations(advice: Sequence[float], best: float = 0.9) -> list[SeasonScore]:
    """Four stations of three seasons; the calendar controls half; by station, what advice does."""
    rows = []
    for n, share in enumerate(advice):
        for year in (2015, 2016, 2017):
            at = {"station": f"Station {n}", "season": year}
            rows += [
                score("advice", share, share, **at),
                score("calendar", 0.5, 0.5, **at),
                score("foresight", best, best, **at),
            ]
    return rows


def test_gain_share_is_what_is_won_of_what_could_be() -> None:
    found = comparisons(SeasonsBeside.of(four_stations([0.7] * 4)))
    assert found["gain_share"]["within"] == [0.5, 0.5, 0.5]
    assert found["calendar"]["within"] == [0.2, 0.2, 0.2]
    assert found["best_rule"]["within"]["name"] == "calendar"


@pytest.mark.parametrize("best", [0.4, 0.5, 0.51])
def test_there_is_no_share_of_a_gain_that_hindsight_does_not_make(best: float) -> None:
    """Both below the calendar would else read as more than all of the gain."""
    found = comparisons(SeasonsBeside.of(four_stations([0.3] * 4, best=best)))
    assert found["gain_share"]["within"] == [None, None, None]


def test_an_interval_holds_the_mean_and_is_wider_where_stations_differ() -> None:
    alike = comparisons(SeasonsBeside.of(four_stations([0.65, 0.75] * 2)))["calendar"]["within"]
    apart = comparisons(SeasonsBeside.of(four_stations([0.4, 1.0] * 2)))["calendar"]["within"]
    for mean, low, high in (alike, apart):
        assert mean == pytest.approx(0.2)
        assert low <= mean <= high
    assert apart[2] - apart[1] > alike[2] - alike[1] > 0


def test_few_stations_or_years_have_no_interval() -> None:
    for rows in (four_stations([0.7] * 3), four_stations([0.7] * 4)[:3]):
        assert SeasonsBeside.of(rows).mean("advice", FIGURES["winter"]) == [0.7, None, None]
    alone = [score("advice", 0.6 + n / 100, season=2010 + n) for n in range(5)]
    mean, low, high = SeasonsBeside.of(alone).mean("advice", FIGURES["winter"])
    assert low is not None
    assert high is not None
    assert low < mean < high


def test_the_interval_is_that_of_drawing_stations_and_years_by_hand() -> None:
    """Years alike, stations alone are drawn: 5 and 95 % of their binomial mean."""
    rows = []
    for n in range(10):
        for year in (2015, 2016, 2017):
            at = {"station": f"Station {n}", "season": year}
            rows += [score("advice", float(n < 5), **at), score("calendar", 0.0, **at)]
    _, low, high = SeasonsBeside.of(rows).mean("advice", FIGURES["winter"])
    # binomial with n = 10, p = 1/2 (exact table): P(X <= 2) = 0.055, P(X <= 7) = 0.945
    assert (low, high) in {(0.2, 0.8), (0.3, 0.7), (0.2, 0.7), (0.3, 0.8)}


def test_seasons_that_one_did_not_spray_are_left_out_for_all() -> None:
    rows = [*four_stations([0.7, 0.7]), score("advice", 0.1, station="Alone")]
    table = tables(rows)["golf"]["all"]
    assert (table["stations"], table["seasons"]) == (2, 6)
    assert table["advice"]["controlled"][0] == 0.7


def test_a_place_without_summer_weeds_counts_its_winter_ones() -> None:
    assert score("advice", 0.8, math.nan).both == 0.8
    assert math.isnan(score("advice", math.nan, math.nan).both)
    rows = [score("advice", 0.8, math.nan), score("advice", 0.6, 0.4, station="Other")]
    figures = tables(rows)["golf"]["all"]["advice"]
    assert figures["summer"][0] == 0.4
    assert figures["controlled"][0] == pytest.approx((0.8 + 0.5) / 2)


def test_means_leave_out_what_is_unknown() -> None:
    weights, values = np.array([[1.0, 1.0], [0.0, 2.0]]), np.array([0.5, math.nan])
    found = weighted(weights, values)
    assert found[0] == 0.5
    assert math.isnan(found[1])


def test_regions() -> None:
    assert region_of(33.0, -87.0) == "south_east"
    assert region_of(32.6, -106.7) == "south_west"
    assert region_of(37.2, -120.9) == "north"


# --- what was lost, and why ----------------------------------------------------------------------


@dataclass(frozen=True)
class FlatWorlds:
    """Worlds in which each application is worth what its date says, whatever else was done."""

    worth_of: dict[dt.date, float]
    season: int = 2015
    place: Any = field(default_factory=lambda: SimpleNamespace(name="Field"))

    def controlled(self, done: Sequence[Done], season: str) -> Any:
        return np.array([sum(self.worth_of[one.applied.date] for one in done)])


def done(date: dt.date, purpose: PurposeName) -> Done:
    start = dt.datetime(date.year, date.month, date.day, 9, tzinfo=dt.UTC)
    return Done(Applied(date, purpose, (("x", 1.0),)), start, start + dt.timedelta(hours=2))


FALL, WINTER, LATE = dt.date(2015, 9, 1), dt.date(2016, 1, 20), dt.date(2016, 2, 10)
WORLDS = cast(Worlds, FlatWorlds({FALL: 0.5, WINTER: 0.4, LATE: 0.1}))
BEST = (done(FALL, "pre-fall"), done(WINTER, "dormant"))
LIVED = (done(FALL, "pre-fall"), done(LATE, "dormant"))


def told(do: str) -> Followed:
    row = ReadThen(WINTER, "dormant", do, LATE, sprayed=False)
    return Followed(LIVED, (row,), 1)


@pytest.mark.parametrize(
    ("do", "cause"),
    [
        ("do not spray", "limits"),
        ("cannot tell", "unknown"),
        ("wait", "forecast"),
        ("marginal", "forecast"),
        ("go", "wait"),
        ("out of season", "season"),
        ("done", "log"),
    ],
)
def test_the_answer_of_the_best_day_says_why_it_was_lost(do: str, cause: str) -> None:
    found = regret_of(told(do), {"advice": LIVED, "foresight": BEST}, WORLDS)
    assert (found.purpose, found.cause, found.said) == ("dormant", cause, do)
    assert found.lost == pytest.approx(0.3)
    assert found.cost == pytest.approx(0.3)
    assert (found.sprayed, found.best) == (LATE, WINTER)


def test_the_last_answer_read_before_the_best_day_says_it_too() -> None:
    rows = [
        ReadThen(dt.date(2016, 1, 5), "dormant", "out of season", None, sprayed=False),
        ReadThen(dt.date(2016, 1, 12), "dormant", "wait", None, sprayed=False),
        ReadThen(dt.date(2016, 1, 26), "dormant", "go", LATE, sprayed=False),
    ]
    lived = Followed(LIVED, tuple(rows), 3)
    found = regret_of(lived, {"advice": LIVED, "foresight": BEST}, WORLDS)
    assert (found.cause, found.said) == ("forecast", "wait")


def test_what_went_out_before_the_best_day_was_too_early() -> None:
    early = (done(WINTER, "dormant"),)
    best = (done(LATE, "dormant"),)
    worlds = cast(Worlds, FlatWorlds({WINTER: 0.1, LATE: 0.4}))
    found = regret_of(Followed(early, (), 1), {"advice": early, "foresight": best}, worlds)
    assert found.cause == "early"


def test_a_season_that_lost_nothing_has_no_cause() -> None:
    found = regret_of(told("go"), {"advice": BEST, "foresight": BEST}, WORLDS)
    assert (found.cause, found.purpose, found.sprayed) == ("none", "", None)


def test_causes_share_out_all_that_was_lost() -> None:
    regrets = [
        regret_of(told(do), {"advice": LIVED, "foresight": BEST}, WORLDS)
        for do in ("go", "go", "wait")
    ]
    found = causes(regrets)
    assert found["wait"]["dormant"] == pytest.approx(2 / 3, abs=1e-4)
    assert sum(share for by in found.values() for share in by.values()) == pytest.approx(
        1, abs=1e-3
    )


def test_dates_by_purpose() -> None:
    assert dates_of(BEST) == {"pre-fall": ("2015-09-01",), "dormant": ("2016-01-20",)}
