"""What a season's applications were worth: against sums by hand and what other parts say."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lived_seasons import (
    FORAMSULFURON,
    GLYPHOSATE,
    PRODIAMINE,
    WATER_MM,
    done,
    season,
    station,
    worlds,
)
from uscrn_sites import DEEP_SOUTH, MID_SOUTH

from windowcast.core.values import PACKAGED, load
from windowcast.materials.actives import load_actives
from windowcast.materials.efficacy import Control, expected_control
from windowcast.season.weeds import weed
from windowcast.verify import worth as scoring
from windowcast.verify.as_it_came import AsItCame
from windowcast.verify.foresight import foresight
from windowcast.verify.sprays import drawn_control, leaf_stage, sprayed, stopped
from windowcast.verify.worth import Worlds
from windowcast.windows.barrier import caught_by_day, days_held
from windowcast.windows.exposure import Barrier
from windowcast.windows.loss import Loss
from windowcast.windows.residual import Laying, material_of

YEAR = 2015
LOSS = Loss.of(load("barrier"))


def test_days_on_which_it_holds_add_up_to_what_is_caught() -> None:
    """Another way to the same share: `caught_by_day` follows rain by rain, not day by day."""
    rng = np.random.default_rng(1)
    share = np.cumsum(rng.dirichlet(np.ones(150), size=4), axis=-1)
    soil = 12 + 8 * np.sin(np.arange(150) / 25) + rng.normal(0, 2, (4, 150))
    rain = np.where(rng.random((4, 150)) < 0.2, rng.gamma(1.0, 6.0, (4, 150)), 0.0)
    rain[0, 20:30] = np.nan
    emerging = np.diff(share, axis=-1, prepend=0.0)
    laid = np.arange(1, 150, 7)
    for barrier in (
        Barrier(20.0, 12.7, 7, LOSS, waiting_per_day=0.05),
        Barrier(np.array([8.0, 20.0, 40.0, 90.0]), 12.7, 7, LOSS, 0.02, dose=0.7, at_once_mm=6.0),
        Barrier(30.0, 0.0, 7, replace(LOSS, energy_kj_mol=np.linspace(30, 65, 4)[:, None])),
    ):
        caught, _ = caught_by_day(share, soil, rain, barrier)
        held = days_held(soil, rain, barrier, laid)
        assert held.min() >= 0.0
        assert held.max() <= 1.0
        by_day = (held * emerging[:, None]).sum(axis=-1)
        known = np.isfinite(caught[:, laid])
        np.testing.assert_allclose(by_day[known], caught[:, laid][known], atol=2e-4)


@given(st.floats(0.05, 0.95), st.floats(0.0, 0.5), st.floats(0.0, 0.5), st.lists(st.floats(-3, 3)))
def test_drawn_control_lies_about_the_interval(
    middle: float, below: float, above: float, scores: list[float]
) -> None:
    control = Control(middle, middle * (1 - below), middle + (1 - middle) * above, 3, ())
    ends = drawn_control([control], np.array([-1.2815515655446004, 0.0, 1.2815515655446004]))
    np.testing.assert_allclose(ends[:, 0], [control.low, middle, control.high], atol=1e-6)
    found = drawn_control([control], np.sort(np.array(scores)))[:, 0]
    assert (np.diff(found) >= 0).all()
    assert ((found >= 0) & (found <= 1)).all()


def test_no_trial_promises_nothing() -> None:
    assert drawn_control([None], np.zeros(3))[:, 0].tolist() == [0.0, 0.0, 0.0]
    none = stopped("POAAN", ("water",), rate_share=1.0, scores=np.zeros(2), tables=PACKAGED)
    assert none.tolist() == [0.0, 0.0]


def test_a_cohort_is_met_at_its_own_stage() -> None:
    """Stages as `Emergence.mean_bbch` has them; control as `expected_control` has it there."""
    entry = weed("POAAN")
    leaf_time = np.arange(100.0) * entry.phyllochron / 10  # a leaf in ten days
    stages = leaf_stage(leaf_time, 60, entry)
    assert len(stages) == 60
    assert stages[59] == pytest.approx(10.0)
    assert stages[39] == pytest.approx(12.0)
    assert stages[0] == pytest.approx(20.0 + 5.9 - entry.young_below + 1.0)
    scores = np.zeros(1)
    found = sprayed(
        np.array([11.0, 21.0]), "POAAN", ("flumioxazin",),
        rate_share=1.0, air_c=12.0, scores=scores, tables=PACKAGED,
    )  # fmt: skip
    for at, stage in enumerate((11.0, 21.0)):
        told = expected_control(
            "POAAN", ["flumioxazin"], timing="post", stage_bbch=stage, rate_share=1.0, air_c=12.0,
            table=load("efficacy"),
        )  # fmt: skip
        assert told is not None
        assert found[0, at] == pytest.approx(told.middle, abs=1e-9)
    assert found[0, 0] > found[0, 1]


def _three_cohorts(monkeypatch: pytest.MonkeyPatch) -> Worlds:
    """A quarter, half and a quarter of the weeds on three days; every effect a round figure."""
    found = worlds(DEEP_SOUTH, YEAR, draws=4)
    emerging = np.zeros((4, len(found.came.dates)))
    emerging[:, [70, 100, 200]] = 0.25, 0.5, 0.25
    found.came = replace(found.came, emerging={"POAAN": emerging})
    monkeypatch.setattr(scoring, "stopped", lambda *_, **__: np.full(4, 0.8))
    monkeypatch.setattr(scoring, "days_held", _from_the_day_after)
    monkeypatch.setattr(scoring, "sprayed", _half_of_what_is_up)
    return found


def _half_of_what_is_up(stages, code, names, **_):  # type: ignore[no-untyped-def]
    return np.full((4, len(stages)), 0.5 if names == ("foramsulfuron",) else 0.0)


def _from_the_day_after(soil_c, rain_mm, barrier, laid):  # type: ignore[no-untyped-def]
    day = np.arange(soil_c.shape[-1])
    held = (day > laid[:, None]) & (day < laid[:, None] + 120)
    return np.broadcast_to(held.astype(float), (len(soil_c), *held.shape))


def test_cohorts_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pre-emergent on day 90 (80 % for 120 days), sprays on days 150 and 160 (50 % each).

    Left of the first cohort 0.5 · 0.5, of the second 0.2 · 0.5 · 0.5, of the third 0.2:
    0.25 · 0.25 + 0.5 · 0.05 + 0.25 · 0.2 = 0.1375.
    """
    played = _three_cohorts(monkeypatch)
    first = dt.date(YEAR, 7, 1)

    def on(day: int) -> dt.date:
        return first + dt.timedelta(days=day)

    pre = done(played, "pre-fall", PRODIAMINE, on(90), water_mm=WATER_MM)
    sprays = [done(played, "post-early", FORAMSULFURON, on(day)) for day in (150, 160)]
    dry = [d for d in sprays if played.hours.kept("post-early", ["foramsulfuron"],
           played.hours.block(d.start, d.end)) == 1.0]  # fmt: skip
    assert len(dry) == 2
    np.testing.assert_allclose(played.controlled([pre, *sprays], "fall"), 1 - 0.1375)
    np.testing.assert_allclose(played.controlled([pre], "fall"), 0.75 * 0.8)
    np.testing.assert_allclose(played.controlled(sprays[:1], "fall"), 0.75 * 0.5)
    assert played.plants_left([pre], on(150)) == pytest.approx((0.25 + 0.5 * 0.2) / 0.75)
    assert played.control_seen([pre, sprays[0]], on(155)) == pytest.approx(0.5)
    assert played.control_seen([pre], on(150)) == pytest.approx(1 - (0.25 + 0.5 * 0.2) / 0.75)


def test_sprays_act_independently() -> None:
    """1 - (1 - a)(1 - b) (Bliss 1939; Colby 1967), cohort by cohort."""
    played = worlds(DEEP_SOUTH, YEAR)
    one = done(played, "post-early", FORAMSULFURON, dt.date(YEAR, 11, 20))
    other = done(played, "dormant", GLYPHOSATE, dt.date(YEAR, 12, 20))
    a, b = (1 - played.left([d], "POAAN") for d in (one, other))
    assert a.max() > 0.3
    both = 1 - played.left([one, other], "POAAN")
    np.testing.assert_allclose(both, 1 - (1 - a) * (1 - b))
    np.testing.assert_allclose(both, 1 - played.left([other, one], "POAAN"))


@pytest.mark.parametrize("irrigated", [True, False])
def test_a_pre_emergent_alone_is_what_it_catches_times_its_effect(irrigated: bool) -> None:
    played = worlds(DEEP_SOUTH, YEAR, irrigated=irrigated)
    date = dt.date(YEAR, 9, 15)
    water = WATER_MM if irrigated else None
    found = played.controlled([done(played, "pre-fall", PRODIAMINE, date, water_mm=water)], "fall")
    material = material_of(load_actives()["prodiamine"])
    assert material is not None
    on = Laying(load("barrier"), irrigated=False, thatch_mm=played.site.turf.thatch_mm)
    order = played._rng("residual", "prodiamine").permutation(20)
    laid = replace(material.left_by(0.84, 20, on).of_members(order), at_once_mm=water or 0.0)
    share = np.cumsum(played.came.emerging["POAAN"], axis=-1)
    rain = np.broadcast_to(played.rain_mm, share.shape)
    day = played.index(date)
    caught, _ = caught_by_day(share, played.came.soil_c, rain, laid, slice(day, day + 1))
    effect = stopped(
        "POAAN", ("prodiamine",), rate_share=1.0,
        scores=played._scores(("prodiamine",), "pre"), tables=PACKAGED,
    )  # fmt: skip
    np.testing.assert_allclose(found, caught[:, 0] * effect, atol=3e-4)


def test_a_season_in_figures() -> None:
    """Nothing gains nothing; more never controls less; each purpose works on its own weeds."""
    played = worlds(MID_SOUTH, YEAR)
    nothing = played.worth([])
    np.testing.assert_allclose(nothing.winter, np.zeros(20), atol=1e-12)
    np.testing.assert_allclose(nothing.summer, np.zeros(20), atol=1e-12)
    assert (nothing.lost, nothing.hurt, nothing.hurt_chance.tolist()) == ({}, {}, [])
    fall = done(played, "pre-fall", PRODIAMINE, dt.date(YEAR, 8, 25), water_mm=WATER_MM)
    spring = done(played, "pre-spring", PRODIAMINE, dt.date(YEAR + 1, 3, 15), water_mm=WATER_MM)
    late = done(played, "pre-fall", PRODIAMINE, dt.date(YEAR, 11, 25), water_mm=WATER_MM)
    one, two = played.worth([fall]), played.worth([fall, spring])
    assert one.winter.mean() > 0.7
    assert played.worth([late]).winter.mean() < 0.4
    assert (two.winter >= one.winter - 1e-12).all()
    assert (two.summer >= one.summer - 1e-12).all()
    assert two.summer.mean() > 0.7
    assert played.worth([spring]).winter.mean() < 0.15


def test_the_same_draws_for_all_who_are_scored() -> None:
    one, other = worlds(DEEP_SOUTH, YEAR), worlds(DEEP_SOUTH, YEAR)
    applied = done(one, "pre-fall", PRODIAMINE, dt.date(YEAR, 10, 20), water_mm=WATER_MM)
    spray = done(one, "post-early", FORAMSULFURON, dt.date(YEAR, 12, 10))
    first = one.worth([applied, spray])
    other.worth([spray])  # what was asked before changes nothing
    again = other.worth([spray, applied])
    np.testing.assert_array_equal(first.winter, again.winter)
    np.testing.assert_array_equal(first.summer, again.summer)
    assert first.winter.std() > 0.01
    assert one.green_on(dt.date(YEAR, 9, 1)) is True


def test_a_look_finds_what_one_world_holds_on_each_day_of_the_season() -> None:
    one, other = worlds(DEEP_SOUTH, YEAR), worlds(DEEP_SOUTH, YEAR)
    days = [dt.date(YEAR, 7, 1) + dt.timedelta(n) for n in range(365)]
    seen = [one.green_on(day) for day in days]
    assert seen in one.came.leaf[:, :365].tolist()
    assert seen == [other.green_on(day) for day in reversed(days)][::-1]


def test_emergence_adds_up_and_lies_in_its_season() -> None:
    for played in (worlds(DEEP_SOUTH, YEAR), worlds(MID_SOUTH, YEAR)):
        for code, rows in played.came.emerging.items():
            np.testing.assert_allclose(rows.sum(axis=-1), 1.0)
            spring = (played.came.dates >= np.datetime64(f"{YEAR + 1}-01-01")) & (
                played.came.dates < np.datetime64(f"{YEAR + 1}-08-15")
            )
            if weed(code).season == "spring":
                assert rows[:, spring].sum(axis=-1).min() > 0.9
            else:
                assert rows[:, played.came.dates > np.datetime64(f"{YEAR + 1}-06-21")].sum() == 0


def test_a_probe_leaves_the_soil_no_doubt_and_a_model_does() -> None:
    with_probe = station(DEEP_SOUTH)
    blind = AsItCame(
        replace(
            with_probe.record,
            values={n: v for n, v in with_probe.record.values.items() if "soil" not in n},
        ),
        with_probe.site,
        with_probe.materials,
    )
    told, modelled = (s.season(YEAR, 20) for s in (with_probe, blind))
    gap = np.ptp(told.soil_c, axis=0) > 0
    assert gap.mean() < 0.1
    assert 0.8 < modelled.soil_c.std(axis=0).mean() < 2.5
    with pytest.raises(ValueError, match="does not reach"):
        blind.season(1990, 20)


def test_what_spoils_an_application() -> None:
    date = dt.date(YEAR, 10, 20)
    came = season(DEEP_SOUTH, YEAR)
    of = station(DEEP_SOUTH)

    def played(**changed: float) -> Worlds:
        """With other hours about the application, and no rain for weeks."""
        local = came.hourly.times - np.timedelta64(5, "h")
        hours = (local >= np.datetime64(f"{date}T09")) & (local < np.datetime64(f"{date}T13"))
        values = dict(came.hourly.values)
        near = np.abs(came.hourly.times - np.datetime64(f"{date}T14")) < np.timedelta64(40, "h")
        values["precip_mm"] = np.where(near, 0.0, values["precip_mm"])
        values["temp_c"] = np.where(near, 18.0, values["temp_c"])
        for name, value in changed.items():
            values[name] = np.where(hours, value, values[name])
        made = replace(came, hourly=replace(came.hourly, values=values))
        found = Worlds.of(of, made)
        after = slice(found.index(date), found.index(date) + 8)
        found.rain_mm = found.rain_mm.copy()
        found.rain_mm[after] = 0.0
        return found

    def lost(found: Worlds, purpose: str, tank, **more) -> tuple[str, ...]:  # type: ignore[no-untyped-def]
        return found.worth([done(found, purpose, tank, date, **more)]).lost.get(0, ())

    calm = played()
    spray = "post-early", FORAMSULFURON
    assert lost(calm, *spray) == ()
    assert lost(played(precip_mm=1.5), *spray) == ("rain",)
    assert lost(played(wind_m_s=6.0), *spray) == ("wind",)
    assert lost(played(temp_c=-3.0, dewpoint_c=-9.0), *spray) == ("cold",)
    pre = "pre-fall", PRODIAMINE
    assert lost(calm, *pre) == ("dry",)
    assert lost(calm, *pre, water_mm=WATER_MM) == ()
    assert lost(calm, *pre, water_mm=2.0) == ("dry",)
    washed = played(precip_mm=0.6)  # 1.8 mm in the hours after, 2.5 mm take all of it
    one = calm.worth([done(calm, *spray, date)]).winter
    other = washed.worth([done(washed, *spray, date)]).winter
    assert (other < one).all()
    assert other.min() > 0
    unwatered = calm.worth([done(calm, *pre, date)]).winter
    assert (unwatered < calm.worth([done(calm, *pre, date, water_mm=WATER_MM)]).winter).all()


def test_water_given_later_counts_from_its_day() -> None:
    played = worlds(DEEP_SOUTH, YEAR, irrigated=True)
    date = dt.date(YEAR, 9, 15)
    played.rain_mm = np.zeros_like(played.rain_mm)

    def control(on: dt.date | None, water_mm: float | None) -> float:
        one = done(played, "pre-fall", PRODIAMINE, date)
        applied = replace(one.applied, watered_in_mm=water_mm, watered_in_on=on)
        return float(played.worth([replace(one, applied=applied)]).winter.mean())

    at_once, later, never = (
        control(date, 20.0),
        control(date + dt.timedelta(20), 20.0),
        control(None, None),
    )
    assert at_once > later > 0.1
    assert never == pytest.approx(0.0, abs=1e-12)
    assert control(None, 20.0) == at_once  # no day noted: on the day itself


def test_harm_is_what_the_limits_say_of_the_weather_that_came() -> None:
    played = worlds(MID_SOUTH, YEAR)
    green = done(played, "dormant", GLYPHOSATE, dt.date(YEAR, 9, 20))
    safe = done(played, "dormant", GLYPHOSATE, dt.date(YEAR + 1, 1, 20))
    pre = done(played, "pre-fall", PRODIAMINE, dt.date(YEAR, 9, 20), water_mm=WATER_MM)
    found = played.worth([green, pre, safe])
    assert list(found.hurt) == [0]
    assert found.hurt[0].rule == "state of the turf"
    assert found.hurt_chance[0] == 1.0
    assert found.hurt_chance[1] == 0.0
    assert found.hurt_chance[2] <= PACKAGED["turf"].number("safety.harm_cap")
    assert found.winter.mean() > 0.5  # it helped all the same


def test_an_unknown_purpose_is_refused() -> None:
    played = worlds(DEEP_SOUTH, YEAR)
    with pytest.raises(ValueError, match="no purpose"):
        played.worth([done(played, "spring-clean", GLYPHOSATE, dt.date(YEAR, 12, 1))])


def test_what_lies_outside_the_season_is_refused() -> None:
    played = worlds(DEEP_SOUTH, YEAR)
    with pytest.raises(ValueError, match="not in the season"):
        played.worth([done(played, "dormant", GLYPHOSATE, dt.date(YEAR + 1, 8, 1))])


def test_where_no_weed_has_a_curve_nothing_is_known() -> None:
    of = station(DEEP_SOUTH)
    bare = AsItCame(of.record, of.site.model_copy(update={"weeds": []}), of.materials)
    played = Worlds.of(bare, season(DEEP_SOUTH, YEAR))
    pre = done(played, "pre-fall", PRODIAMINE, dt.date(YEAR, 9, 20), water_mm=WATER_MM)
    found = played.worth([pre])
    assert np.isnan(found.winter).all()
    assert np.isnan(found.summer).all()
    assert np.isnan(played.plants_left([pre], dt.date(YEAR, 12, 1)))
    assert foresight(played, {"pre-fall": PRODIAMINE}, 4) == ()
