"""A season lived by the advice does what the answers say, and no more."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from uscrn_sites import FOLDER

from windowcast.materials.actives import load_actives
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.advice import ReplayedStation
from windowcast.verify.as_known import in_its_zone
from windowcast.verify.followers import FOLLOWERS, GOLF, TANKS, Follower
from windowcast.verify.following import Followed, ForeseenMornings, follow
from windowcast.verify.lived import Lived, lived
from windowcast.verify.worth import Worlds
from windowcast.windows.model import PurposeName

pytestmark = pytest.mark.slow  # a life takes seconds
SEASON = 2017
ASKED: tuple[PurposeName, ...] = ("dormant", "pre-spring")


@cache
def here() -> ReplayedStation:
    record = read_uscrn(FOLDER / "KY_Bowling_Green_21_NNE.txt.gz")
    return ReplayedStation(in_its_zone(record), load_actives())


@cache
def season() -> Lived:
    found = lived(here().known(SEASON), SEASON)
    assert found is not None
    return found


@cache
def worlds(follower: Follower) -> Worlds:
    return Worlds.of(here().ground(follower), season())


@cache
def life(follower: Follower = GOLF, *, every_morning: bool = False) -> Followed:
    return lives((follower,), every_morning=every_morning)[follower]


def lives(
    followers: tuple[Follower, ...], *, every_morning: bool = False
) -> dict[Follower, Followed]:
    return follow(
        ForeseenMornings(season()),
        {follower: worlds(follower) for follower in followers},
        here().materials,
        every_morning=every_morning,
        purposes=ASKED,
    )


def test_it_sprays_only_where_the_first_line_says_so_on_that_day() -> None:
    found = life()
    assert found.done
    told = {(t.date, t.purpose): t for t in found.told}
    for one in found.done:
        said = told[one.applied.date, one.applied.purpose]
        assert (said.do, said.best, said.sprayed) == ("go", one.applied.date, True)
    assert sum(t.sprayed for t in found.told) == len(found.done)


def test_the_sky_at_the_hour_is_calm_and_dry() -> None:
    hours = season().hourly
    for one in life().done:
        first = np.datetime64(one.start.astimezone(dt.UTC).replace(tzinfo=None), "h")
        at = int((first - hours.times[0]).astype(np.int64))
        part = slice(at, at + int((one.end - one.start) / dt.timedelta(hours=1)))
        assert (hours.get("precip_mm")[part] == 0).all()
        assert (hours.get("wind_m_s")[part] <= 4.5).all()


def test_nothing_it_does_hurts_the_turf_by_the_weather_that_came() -> None:
    assert not worlds(GOLF).worth(life().done).hurt


def test_what_went_out_is_not_advised_again() -> None:
    found = life()
    for one in found.done:
        later = [
            t for t in found.told if t.purpose == one.applied.purpose and t.date > one.applied.date
        ]
        assert later
        assert all(t.do != "go" for t in later[:1])


def test_irrigated_ground_is_watered_in_on_the_day_and_rain_fed_ground_never() -> None:
    (irrigated,) = [d.applied for d in life().done if d.applied.purpose == "pre-spring"]
    assert irrigated.actives[0][0] == TANKS["pre-spring"]
    assert irrigated.watered_in_mm == pytest.approx(12.7)  # the label's half an inch
    assert irrigated.watered_in_on == irrigated.date
    dry = next(f for f in FOLLOWERS if not f.irrigated)
    assert all(d.applied.watered_in_mm is None for d in life(dry).done)


def test_who_is_away_goes_out_a_week_after_the_first_advice_at_the_earliest() -> None:
    away = next(f for f in FOLLOWERS if f.away_days)
    found = life(away)
    assert found.done
    for one in found.done:
        advised = [
            t.date
            for t in found.told
            if t.purpose == one.applied.purpose and t.do == "go" and t.best == t.date
        ]
        assert (one.applied.date - min(advised)).days >= away.away_days


def test_who_keeps_no_log_sprays_nothing_twice_and_rates_nothing() -> None:
    found = life(next(f for f in FOLLOWERS if not f.keeps_log))
    purposes = [one.applied.purpose for one in found.done]
    assert len(purposes) == len(set(purposes))
    assert all(t.do not in ("done", "look") for t in found.told)


def test_reading_each_morning_reads_more_often() -> None:
    assert life(every_morning=True).read > life().read


def test_a_follower_lives_alike_alone_and_beside_others() -> None:
    dry = next(f for f in FOLLOWERS if not f.irrigated)
    together = lives((dry, GOLF))
    assert together[GOLF] == life()
    assert together[dry] == life(dry)


def test_hours_that_are_blocked_are_not_used() -> None:
    mornings_only = replace(GOLF, name="", hours="06:00-12:00")
    assert life(mornings_only).done
    for one in life(mornings_only).done:
        assert one.end.timetz().replace(tzinfo=None) <= dt.time(12)
