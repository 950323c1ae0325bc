"""One season as one axis, and what an answer shares of it, on days that can be told apart."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from limit_values import entry
from test_choices_said import active
from windows_fixtures import past, site, state, weather

from windowcast.core.record import Grade, Record
from windowcast.core.values import PACKAGED, Value
from windowcast.season.model import Emergence, SiteState, SoFar
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import (
    STEPS,
    Laying,
    ResidualActive,
    dose_share,
    material_of,
    spread_evenly,
    usual_material,
)
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.season_axis import SeasonAxis

TODAY = dt.date(2022, 7, 4)  # three days of the season have passed
PRE, SPRING, POST = (purpose_of(name) for name in ("pre-fall", "pre-spring", "post-early"))
SOIL = ("soil_5cm_c", "soil_10cm_c", "soil_moisture", "soil_frozen")
TURF = (
    "phase", "dormant_probability", "green_probability", "half_green_probability",
    "greening_begun", "unseen", "days_since_dormant",
)  # fmt: skip
WEED = ("share", "share_low", "share_high", "youngest_share", "mean_leaf")


def numbered(base: SiteState, first: float, rows: int = 0) -> SiteState:
    """The state with a number of its own in each array on each day, and in each future."""
    count = len(base.dates)

    def row(n: int) -> Any:
        days = first + n / 1000 + np.arange(count) / 100_000
        return days if not rows else days + np.arange(rows)[:, None] / 10

    weeds = {
        code: replace(weed, **{name: row(30 + n) for n, name in enumerate(WEED)})
        for code, weed in base.emergence.items()
    }
    of_turf = {name: row(10 + n) for n, name in enumerate(TURF)}
    turf = replace(base.turf, **of_turf)
    soil: dict[str, Any] = {name: row(n) for n, name in enumerate(SOIL)}
    return replace(base, emergence=weeds, turf=turf, **soil)


def axis(ahead: SiteState | None = None, **known: Any) -> SeasonAxis:
    before = numbered(past(TODAY, 10), 0.1)
    ahead = ahead or numbered(state(TODAY, 5), 0.2, rows=3)
    return SeasonAxis.of(before, ahead, **({"southern": False, "overseeded": False} | known))


def check(found: Any, before: Any, ahead: Any) -> None:
    """Three days of the past before each of the two futures."""
    assert found.shape == (2, 8)
    np.testing.assert_array_equal(found[:, :3], np.tile(before[-3:], (2, 1)))
    np.testing.assert_array_equal(found[:, 3:], ahead[1:])


# --- the axis -------------------------------------------------------------------------------------


def test_every_array_of_the_past_stands_before_that_of_the_futures() -> None:
    before, ahead = numbered(past(TODAY, 10), 0.1), numbered(state(TODAY, 5), 0.2, rows=3)
    found = axis().state
    for name in SOIL:
        check(getattr(found, name), getattr(before, name), getattr(ahead, name))
    for name in TURF:
        check(getattr(found.turf, name), getattr(before.turf, name), getattr(ahead.turf, name))
    assert list(found.emergence) == ["POAAN", "DIGIS"]
    for code, weed in found.emergence.items():
        assert (weed.weed, weed.season) == (code, ahead.emergence[code].season)
        assert weed.first_by_air is weed.sets_by_air is None
        for name in WEED:
            check(
                getattr(weed, name), getattr(before.emergence[code], name),
                getattr(ahead.emergence[code], name),
            )  # fmt: skip
    assert found.dates.tolist() == [dt.date(2022, 7, 1) + dt.timedelta(n) for n in range(8)]
    assert found.degree_days == {}


def with_air(base: SiteState, first: float, rows: int = 0) -> SiteState:
    shape = (rows, len(base.dates)) if rows else (len(base.dates),)
    days = np.broadcast_to(first + np.arange(len(base.dates)) / 100, shape)
    weed = base.emergence["POAAN"]
    known = replace(weed, first_by_air=days, sets_by_air=days + 5)
    return replace(base, emergence={"POAAN": known})


def test_a_rule_of_air_is_joined_where_a_weed_has_one() -> None:
    before, ahead = with_air(past(TODAY, 10), 1.0), with_air(state(TODAY, 5), 2.0, rows=3)
    found = SeasonAxis.of(before, ahead, southern=False, overseeded=False)
    weed = found.state.emergence["POAAN"]
    for name, more in (("first_by_air", 0), ("sets_by_air", 5)):
        row = [1.07 + more, 1.08 + more, 1.09 + more, *(2 + more + np.arange(5) / 100)]
        np.testing.assert_allclose(getattr(weed, name), np.tile(row, (2, 1)))


def test_the_last_days_before_today_are_those_of_each_future() -> None:
    """The models err in the days just past as well: two of the three that have passed."""
    ahead = numbered(state(TODAY, 5), 0.2, rows=3)
    rows = np.array([[9.0, 9.0], [1.0, 2.0], [3.0, 4.0]])
    weed = ahead.emergence["POAAN"]
    weeds = {
        "POAAN": Emergence("POAAN", "x", "fall", rows, rows + 10, rows + 20, rows + 30, rows + 40)
    }
    so_far = SoFar(rows + 50, rows + 60, weeds)
    found = axis(replace(ahead, so_far=so_far)).state
    plain = axis(ahead).state
    for name, more in zip(WEED, (0, 10, 20, 30, 40), strict=True):
        got = getattr(found.emergence["POAAN"], name)
        np.testing.assert_array_equal(got[:, 1:3], rows[1:] + more)
        np.testing.assert_array_equal(got[:, [0]], getattr(plain.emergence["POAAN"], name)[:, [0]])
        np.testing.assert_array_equal(got[:, 3:], getattr(weed, name)[1:])
    np.testing.assert_array_equal(found.soil_5cm_c[:, 1:3], rows[1:] + 50)
    np.testing.assert_array_equal(found.soil_10cm_c[:, 1:3], rows[1:] + 60)
    np.testing.assert_array_equal(found.soil_moisture, plain.soil_moisture)
    np.testing.assert_array_equal(found.emergence["DIGIS"].share, plain.emergence["DIGIS"].share)
    # more days than the season has seen: the last of them
    long = np.tile(np.arange(10.0), (3, 1))
    longer = SoFar(long, long, {})
    np.testing.assert_array_equal(
        axis(replace(ahead, so_far=longer)).state.soil_5cm_c[:, :3], [[7, 8, 9], [7, 8, 9]]
    )


def turf_axis(half: list[float], green: list[float], **known: Any) -> SeasonAxis:
    """Half and live leaf of two like futures from the season's first day on; it is the fourth."""
    before, ahead = past(TODAY, 3), state(TODAY, len(half) - 3)

    def turf(base: SiteState, part: slice) -> SiteState:
        values = {"half_green_probability": half, "green_probability": green}
        given: dict[str, Any] = {n: np.array(v, dtype=float)[part] for n, v in values.items()}
        if part.start:
            given = {n: np.tile(v, (3, 1)) for n, v in given.items()}
        return replace(base, turf=replace(base.turf, **given))

    return SeasonAxis.of(
        turf(before, slice(0, 3)), turf(ahead, slice(3, None)), southern=False,
        **({"overseeded": False} | known),
    )  # fmt: skip


def test_the_past_knows_its_green_up_by_the_days_ahead() -> None:
    half = [0.0] * 6 + [1.0] * 4
    found = turf_axis(half, half).state.turf
    days = [6.0, 5.0, 4.0, 3.0, 2.0, 1.0, *[np.nan] * 4]
    np.testing.assert_array_equal(found.days_to_greenup, [days, days])
    # what is sprayed within the margin before it hurts, and nothing is safe on live leaf
    assert (found.injury_probability[:, 6:] == 1.0).all()
    assert found.nonselective_safe.shape == (2, 10)
    assert (found.nonselective_safe[:, 6:] == 0.0).all()
    sown = turf_axis(half, half, overseeded=True).state.turf
    assert (sown.nonselective_safe == 0.0).all()
    assert (sown.injury_probability == 1.0).all()
    quiet = turf_axis([0.0] * 60, [0.0] * 60).state.turf
    assert (quiet.nonselective_safe[:, :3] == 1.0).all()
    unsaid = turf_axis([0.0] * 60, [0.0] * 60, overseeded=None).state.turf
    assert np.isnan(unsaid.nonselective_safe[:, :3]).all()


# --- what an answer shares ------------------------------------------------------------------------


def daily(first: dt.date, rain_mm: Any) -> Record:
    rain = np.asarray(rain_mm, dtype=np.float64)
    dates = np.datetime64(first, "D") + np.arange(len(rain))
    return Record(site().place, dates, {"precip_mm": rain},
                  {"precip_mm": np.full(len(rain), Grade.OBSERVED, dtype=np.uint8)})  # fmt: skip


def running(
    here: Any = None, *, record: Record | None = None, today: dt.date = TODAY
) -> RunningSeason:
    here = here or site()
    members = weather(here, today=today, futures=2)
    rain = np.array([[9.0] * 30, [1.0] * 30, [2.0] * 30])
    members = replace(members, daily=replace(members.daily, values={"precip_mm": rain}),
                      year_of=np.array([4, 5]))  # fmt: skip
    ahead = numbered(state(today, 30), 0.2, rows=3)
    before = numbered(past(today, 10), 0.1)
    return RunningSeason.of(here, before, ahead, members, daily=record)


def test_the_season_of_an_answer() -> None:
    found = running()
    np.testing.assert_array_equal(found.past.soil_5cm_c, numbered(past(TODAY, 10), 0.1).soil_5cm_c)
    assert found.past is found.axis.past
    assert found.ahead.soil_5cm_c.shape == (3, 30)
    assert (found.site, found.members.forecast_days) == (site(), 7)
    assert found.today == TODAY
    assert found.tables is PACKAGED
    assert found.daily is None
    assert (found.axis.gone, found.axis.start) == (3, dt.date(2022, 7, 1))
    assert found.axis.year_of is not None
    assert found.axis.year_of.tolist() == [4, 5]
    south = running(site(latitude=-33.0, timezone="Australia/Sydney"))
    assert south.axis.start == dt.date(2022, 1, 1)
    sown = running(site(turf={"overseeded": True}))
    assert (sown.axis.state.turf.nonselective_safe == 0.0).all()
    with pytest.raises(ValueError, match=r"^rain on the axis needs the record up to today$"):
        _ = found.rain_mm


def test_rain_of_the_record_stands_before_that_of_the_futures() -> None:
    found = running(record=daily(TODAY - dt.timedelta(12), np.arange(20.0)))
    # the record begins two days before the past: the three days before today are its 9th to 11th
    assert found.rain_mm[:, :5].tolist() == [[9, 10, 11, 1, 1], [9, 10, 11, 2, 2]]


def test_an_opening_is_worked_out_once_for_what_needs_the_same() -> None:
    found = running()
    whole = found.opening(PRE, PRE.generic)
    assert found.opening(PRE, replace(PRE.generic)) is whole
    for purpose, needs in (
        (SPRING, PRE.generic),
        (PRE, replace(PRE.generic, names=("x",))),
        (PRE, replace(PRE.generic, formulation="granule")),
    ):
        other = found.opening(purpose, needs)
        assert other is not whole
        assert (other.purpose, other.needs, other.site, other.axis) == (
            purpose, needs, found.site, found.axis,
        )  # fmt: skip


def test_what_a_pre_emergent_meets() -> None:
    record = daily(TODAY - dt.timedelta(12), np.arange(20.0))
    found = running(record=record)
    fall = found.season(PRE)
    assert fall is not None
    assert fall.dates[0] == np.datetime64("2022-07-01")
    assert not fall.candidates.any()
    assert fall.shut == ()
    np.testing.assert_array_equal(fall.rain_mm, found.rain_mm)
    before_spring = found.season(SPRING)
    assert before_spring is not None
    assert len(before_spring.dates) == 0
    late = running(record=daily(dt.date(2023, 1, 1), np.zeros(60)), today=dt.date(2023, 1, 16))
    spring = late.season(SPRING)
    assert spring is not None
    begins = dt.date(2022, 7, 1) + dt.timedelta(int(PACKAGED["plan"].number("spring_from")))
    assert spring.dates[0].astype(object) == max(begins, dt.date(2023, 1, 6))
    allowed = np.arange(len(found.axis.dates)) == 4
    labels = [SPRING.title] * len(allowed)
    open_day = found.season(PRE, allowed, labels)
    assert open_day is not None
    np.testing.assert_array_equal(open_day.candidates, allowed)
    assert open_day.shut == tuple(labels)
    bare = replace(found, axis=replace(found.axis, state=replace(found.axis.state, emergence={})))
    assert bare.season(PRE) is None


def test_on_what_ground_it_is_laid() -> None:
    values = PACKAGED["barrier"]
    for irrigated, sure in ((True, True), (False, False), (None, False)):
        here = site(turf={"irrigated": irrigated, "thatch_mm": 18.0})
        assert running(here).laying == Laying(values, sure, 18.0)
    assert running(site()).laying.thatch_mm is None


# --- a pre-emergent as what stays of it -----------------------------------------------------------

VALUES = PACKAGED.varied(
    {
        "barrier.thatch.usual": 12.0,
        "barrier.thatch.most": 24.0,
        "barrier.thatch.holds": 0.5,
        "barrier.unknown_dose": 0.4,
    }
)["barrier"]
LIFE = Value("made.up", 40.0, "d", "a trial", "published", 20.0, 80.0)
MADE = ResidualActive("made", LIFE, 12.0, 7, usual_kg_ha=entry(0.8))


@pytest.mark.parametrize(
    ("thatch", "needed"), [(0.0, 12.0), (12.0, 12.0), (16.0, 14.0), (24.0, 18.0), (99.0, 18.0),
                           (None, 18.0)]
)  # fmt: skip
def test_thatch_takes_more_water(thatch: float | None, needed: float) -> None:
    assert Laying(VALUES, thatch_mm=thatch).needed_mm(12.0) == needed
    assert Laying(VALUES, irrigated=True, thatch_mm=thatch).needed_mm(12.0) == 0.0


@pytest.mark.parametrize(
    ("rate", "usual", "share"),
    [(0.4, 0.8, 0.5), (1.6, 0.8, 1.0), (0.8, 0.8, 1.0), (None, 0.8, None), (0.4, None, None)],
)
def test_a_rate_as_a_share_of_the_usual_one(
    rate: float | None, usual: float | None, share: float | None
) -> None:
    value = None if usual is None else entry(usual)
    assert dose_share(rate, value) == share
    assert replace(MADE, usual_kg_ha=value).dose(rate) == share


def test_places_are_spread_evenly_in_orders_of_their_own() -> None:
    for which, step in enumerate(STEPS):
        expected = [((n + 0.5) * step) % 1 for n in range(6)]
        assert spread_evenly(6, which).tolist() == pytest.approx(expected)
        gaps = np.diff(np.sort(spread_evenly(100, which)))
        assert gaps.max() < 0.03  # no part of 0..1 is left out
    assert spread_evenly(6).tolist() == spread_evenly(6, 0).tolist()


def test_each_future_has_a_half_life_and_an_energy_of_their_ranges() -> None:
    on = Laying(VALUES, thatch_mm=0.0)
    usual, drawn = MADE.laid(on), MADE.drawn(4, on)
    assert MADE.range_d == (20.0, 40.0, 80.0)
    assert (usual.half_life_d, usual.activation_mm, usual.activation_days) == (40.0, 12.0, 7)
    assert (usual.dose, usual.at_once_mm) == (1.0, 0.0)
    life = [20 * 4**place for place in spread_evenly(4, 1)]
    assert np.asarray(drawn.half_life_d).tolist() == pytest.approx(life)
    least, most = VALUES.value("activation_energy").ends
    energy = [[least + (most - least) * place] for place in spread_evenly(4, 2)]
    np.testing.assert_allclose(np.asarray(drawn.loss.energy_kj_mol), energy)
    assert replace(drawn, half_life_d=40.0, loss=usual.loss) == usual


def test_a_dose_that_is_not_known_lies_between_a_low_one_and_all_of_it() -> None:
    on = Laying(VALUES)
    assert MADE.left_by(0.4, 4, on).dose == 0.5
    unknown = MADE.left_by(None, 4, on)
    assert np.asarray(unknown.dose).ravel().tolist() == pytest.approx(
        [0.4 + 0.6 * place for place in spread_evenly(4, 3)]
    )
    assert np.shape(unknown.dose) == (4, 1)
    assert MADE.left_by(None, 4, on, usual=True).dose == 1.0
    assert MADE.left_by(0.4, 4, on, usual=True).dose == 0.5
    assert np.shape(replace(MADE, usual_kg_ha=None).left_by(0.4, 4, on).dose) == (4, 1)


WAITING = PACKAGED["barrier"].table("waiting")
SPRAY, GRANULE = (WAITING.number(f"on_leaves.{form}") for form in ("spray", "granule"))
OF_SOIL, LEAF_MOST = WAITING.number("leaf_of_soil"), WAITING.number("leaf_most")


@pytest.mark.parametrize(
    ("known", "per_day"),
    [
        ({}, SPRAY / (OF_SOIL * 40)),
        ({"half_life": replace(LIFE, value=400.0)}, SPRAY / LEAF_MOST),
        ({"leaf_half_life": entry(5.0)}, SPRAY / 5),
        ({"formulation": "spray", "leaf_half_life": entry(5.0)}, SPRAY / 5),
        ({"formulation": "granule", "leaf_half_life": entry(5.0)}, GRANULE / 5),
        ({"leaf_half_life": entry(5.0), "air_half_life": entry(10.0)}, SPRAY / 5 + 0.1),
        ({"leaf_half_life": entry(5.0), "air_half_life": entry(10.0), "formulation": "granule"},
         GRANULE / 5),
    ],
)  # fmt: skip
def test_what_is_lost_at_the_surface_while_it_waits(known: dict[str, Any], per_day: float) -> None:
    found = replace(MADE, **known).laid(Laying(VALUES)).waiting_per_day
    assert found == pytest.approx(per_day)


def test_an_active_as_a_pre_emergent() -> None:
    known: dict[str, Any] = {
        "soil_dt50_d": LIFE, "activation_mm": entry(12.7), "activation_days": entry(7),
        "leaf_dt50_d": entry(5.0), "air_dt50_d": entry(10.0), "usual_kg_ha": entry(0.8),
    }  # fmt: skip
    made = active("made", 3, "pre", {})
    full = replace(made, **known)
    expected = ResidualActive("made", LIFE, 12.7, 7, entry(5.0), entry(10.0), entry(0.8), "granule")
    assert material_of(full, "granule") == expected
    assert material_of(full) == replace(expected, formulation=None)
    for lacking in ("soil_dt50_d", "activation_mm", "activation_days"):
        less: dict[str, Any] = {lacking: None}
        assert material_of(replace(full, **less)) is None
    assert material_of(replace(full, timing=entry("post"))) is None


def test_what_stands_for_a_pre_emergent_that_nobody_names() -> None:
    values = PACKAGED["barrier"]
    found = usual_material(PRE, values)
    assert found == ResidualActive("", values.value("default_half_life"), 12.7, 7)
    bare = replace(PRE, generic=replace(PRE.generic, activation_mm=None, activation_days=None))
    assert usual_material(bare, values) == replace(found, activation_mm=0.0, activation_days=0)
    assert POST.barrier is False
