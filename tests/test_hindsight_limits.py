"""Limits of hindsight, each on the value itself and just beside it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from spoken import render

from windowcast.core.phrase import Phrase, say
from windowcast.core.record import Grade
from windowcast.materials.actives import load_actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.programme.candidates import allowance
from windowcast.records import conditions
from windowcast.records.conditions import LOOK_H, Fact
from windowcast.records.expected_effect import expected_of
from windowcast.records.hour_weather import entered_by_operator
from windowcast.records.model import Application, Material
from windowcast.records.observations import Logged, applied_kg_ha, looks_in, observed, uses_in
from windowcast.records.past_windows import Scored, SeasonWindow
from windowcast.records.reviewed import BETTER_BY, NEAR_DAYS, faults_of, missed_by
from windowcast.season.state import build
from windowcast.trials.percent_control import abbott_pct, control, henderson_tilton_pct
from windowcast.trials.timing_and_control import FEWEST, Point, relations
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.windows.hindsight import season_context
from windowcast.windows.hours import HourContext

ACTIVES = load_actives()
UTC = dt.UTC
DAY = dt.date(2017, 1, 12)


def done(date: dt.date = DAY, **more: object) -> Application:
    start = dt.datetime.combine(date, dt.time(13), tzinfo=sample_site().zone)
    return Application(start, (Material("glyphosate", rate_kg_ha=0.5),), **more)  # type: ignore[arg-type]


# ---- what the season offered --------------------------------------------------------------------


def scored(own: float, *windows: tuple[int, float], left_out: Sequence[Phrase] = ()) -> Scored:
    """An application of `DAY` with a score, and windows so many days from it, best first."""
    noon = dt.datetime.combine(DAY, dt.time(12), tzinfo=UTC)
    found = [
        SeasonWindow(noon + dt.timedelta(days=n), noon + dt.timedelta(days=n, hours=3), score)
        for n, score in windows
    ]
    grade = say("hours.observed")
    return Scored(
        "dormant", (noon, noon), own, "fit", (), None, own, tuple(left_out), tuple(found), grade
    )


@pytest.mark.parametrize(("margin", "said"), [
    (BETTER_BY, "review.better"), (BETTER_BY - 0.1, "review.none_better"),
    (0.0, "review.none_better"),
])  # fmt: skip
def test_ten_points_are_worth_regretting(margin: float, said: str) -> None:
    found = missed_by(scored(60.0, (5, 60.0 + margin)), done())
    assert found.id == said
    assert missed_by(scored(60.0), done()).id == "review.no_workable"


@pytest.mark.parametrize(("days", "said", "words"), [
    (0, "review.nearest_same", "the same day"),
    (1, "review.nearest_later", "1 day later"), (-1, "review.nearest_before", "1 day earlier"),
    (NEAR_DAYS, "review.nearest_later", "21 days later"),
    (-NEAR_DAYS, "review.nearest_before", "21 days earlier"),
    (NEAR_DAYS + 1, "", ""), (-NEAR_DAYS - 1, "", ""),
])  # fmt: skip
def test_a_better_day_is_near_within_three_weeks(days: int, said: str, words: str) -> None:
    found = missed_by(scored(10.0, (days, 90.0)), done())
    nearest = found.value("nearest")
    assert isinstance(nearest, Phrase)
    assert nearest.id == said
    assert words in render(found)


def test_of_better_days_as_near_the_better_one_is_named() -> None:
    found = missed_by(scored(10.0, (-3, 90.0), (3, 80.0), (2, 20.0), (1, 19.9)), done())
    assert "closest was 2 days later, Sat 14 Jan, 12:00 to 15:00 (20)" in render(found)
    found = missed_by(scored(10.0, (-3, 90.0), (3, 80.0)), done())
    assert "closest was 3 days earlier" in render(found)
    assert found.value("better") == 2


def test_what_was_left_out_of_the_comparison_is_said() -> None:
    left = [say("criterion.wind.label"), say("criterion.gusts.label")]
    assert render(missed_by(scored(10.0, left_out=left), done())) == (
        "No day of the season had hours fit to spray (compared without wind, gusts)."
    )


def test_a_fault_is_what_is_unfit_and_known_worst_first() -> None:
    from windowcast.windows.model import Judged

    def judged(name: str, verdict: str, score: float | None) -> Judged:
        label = say("criterion.no_objection")
        return Judged(name, label, verdict, score, None, "", say("fact.phase_is.growing"), "")  # type: ignore[arg-type]

    found = replace(
        scored(10.0),
        judged=(
            judged("a", "unfit", 0.3), judged("b", "marginal", 0.4), judged("c", "unfit", 0.0),
            judged("d", "unfit", None), judged("e", "fit", 1.0),
        ),
    )  # fmt: skip
    water = Fact(
        "watered_mm", say("fact.watered_mm"), 1.0, "mm", say("fact.phase"), say("origin.model")
    )
    assert len(faults_of(found, [water])) == 2  # it was watered in
    assert len(faults_of(found, [replace(water, good=False)])) == 3
    assert len(faults_of(found, [replace(water, key="dry_h", good=False)])) == 2


# ---- timing as an explanation -------------------------------------------------------------------


def points(count: int, slope: float = 1.0, noise: float = 0.1) -> list[Point]:
    return [
        Point(str(n), 20 + slope * n + noise * (-1) ** n, float(n), 5.0, 8.0) for n in range(count)
    ]


def test_four_points_make_a_line_and_three_do_not() -> None:
    assert FEWEST == 4
    assert relations(points(FEWEST))[0].slope is not None
    assert relations(points(FEWEST - 1))[0].slope is None
    unknown = [*points(FEWEST - 1), Point("x", math.nan, 9.0, 5.0, 8.0)]
    assert relations(unknown)[0].slope is None  # control is not known
    unknown = [*points(FEWEST - 1), Point("x", 40.0, math.nan, 5.0, 8.0)]
    assert relations(unknown)[0].slope is None
    assert len(relations(unknown)[1].points) == FEWEST


@pytest.mark.parametrize(("slope", "sure"), [
    (1.0, "relation.sure"), (-1.0, "relation.sure"), (0.0, "relation.unsure"),
])  # fmt: skip
def test_a_line_is_sure_only_when_its_interval_leaves_out_zero(slope: float, sure: str) -> None:
    found = relations(points(8, slope))[0]
    said = found.text.value("sure")
    assert isinstance(said, Phrase)
    assert said.id == sure
    assert found.low is not None
    assert found.high is not None
    assert found.low < (found.slope or 0) < found.high
    assert found.slope == pytest.approx(10 * (found.per_unit or 0))  # told for ten points


@pytest.mark.parametrize(("shift", "sure"), [(0.0, "relation.unsure"), (0.02, "relation.sure")])
def test_an_interval_just_beyond_zero_is_sure(shift: float, sure: str) -> None:
    """Slope and its interval as scipy has them, moved so that an end lies just beside zero."""
    from scipy import stats

    x, noise = np.arange(8.0), np.array([1.0, -1, 2, -2, 1, 0, -1, 0])
    fit = stats.linregress(x, noise)
    half = stats.t.ppf(0.975, 6) * fit.stderr
    for side in (1, -1):  # the nearer end of the interval at +-(shift - 0.01) points for each unit
        slope = side * (half + shift - 0.01) - fit.slope
        rows = [Point("", 50 + slope * a + b, a, 5.0, 8.0) for a, b in zip(x, noise, strict=True)]
        found = relations(rows)[0]
        said = found.text.value("sure")
        assert isinstance(said, Phrase)
        assert said.id == sure
        near = found.low if side > 0 else found.high
        assert near == pytest.approx(10 * side * (shift - 0.01))


# ---- percent control ----------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "said"), [
    (19.9, "control.interval"), (20.1, "control.wide"), (39.9, "control.wide"),
    (40.1, "control.very_wide"),
])  # fmt: skip
def test_how_wide_an_interval_is_said_to_be(width: float, said: str) -> None:
    from windowcast.trials.percent_control import _words

    assert _words(60.0, 60.0 - width / 2, 60.0 + width / 2, 4, nothing_left=False).id == said
    assert _words(60.0, None, 80.0, 4, nothing_left=False).id == "control.unbounded"
    assert _words(60.0, 40.0, None, 4, nothing_left=False).id == "control.unbounded"
    assert _words(100.0, None, 100.0, 4, nothing_left=True).id == "control.nothing_left"
    assert _words(100.0, 99.0, 100.0, 4, nothing_left=True).id == "control.at_least"
    assert _words(-100.0, -100.0, 0.0, 4, nothing_left=False).id == "control.very_wide"
    assert _words(-100.1, -100.0, 0.0, 4, nothing_left=False).id == "control.worse"


def test_a_check_that_may_be_zero_tells_of_no_control() -> None:
    from windowcast.core.errors import InputError

    # of checks 0 and 5 the mean is one standard error above zero: any ratio to it could be
    with pytest.raises(InputError, match="too few or too uneven"):
        control([90.0, 90.0], [0.0, 5.0])
    # two standard errors (mean 10, error 5) are the least
    found = control([5.0, 5.0, 6.0], [10.0, 10 + 8.66, 10 - 8.66])
    assert found.percent == pytest.approx(46.67, abs=0.1)
    with pytest.raises(InputError, match="too few or too uneven"):
        control([5.0, 5.0, 6.0], [10.0, 10 + 8.67, 10 - 8.67])


def test_no_control_is_below_minus_a_hundred_percent() -> None:
    found = control([90.0, 95, 85], [2.0, 2.5, 3])
    assert (found.percent, found.low, found.text.id) == (-100, -100, "control.worse")
    found = control([4.0, 5, 4.5], [2.0, 2.5, 3])
    assert found.percent == pytest.approx(-80)
    assert found.low == -100


def test_no_plant_left_gives_a_bound() -> None:
    # no plant on 4 plots is as rare as 2.5 % at a mean of 3.69 / 4 where plants lie by chance;
    # four checks of 50 without spread: at least 100 (1 - 0.922 / 50) = 98.2 % control
    found = control([0.0] * 4, [50.0, 51, 49, 50])
    low = 50 - 3.182 * np.std([50, 51, 49, 50], ddof=1) / 2
    assert found.low == pytest.approx(100 * (1 - 3.689 / 4 / low), abs=0.01)
    assert (found.percent, found.high, found.text.id) == (100, 100, "control.at_least")
    # twice the weeds before on the check: half the ratio
    with_start = control(
        [0.0] * 4, [50.0, 51, 49, 50], treated_before=[20.0] * 4, check_before=[10.0] * 4
    )
    assert 100 - (with_start.low or 0) == pytest.approx((100 - found.low) / 2)
    assert control([0.0] * 4, [50.0]).low is None  # one check: how sure that is, is not known


def test_plots_without_spread_are_right_to_half_a_step_of_their_rounding() -> None:
    found = control([10.0] * 3, [50.0] * 3)  # rated in tens
    assert (found.low, found.high) == pytest.approx((100 * (1 - 15 / 45), 100 * (1 - 5 / 55)))
    found = control([11.0] * 3, [50.0] * 3)  # in ones
    ends = 100 * (1 - 11.5 / 49.5), 100 * (1 - 10.5 / 50.5)
    assert (found.low, found.high) == pytest.approx(ends)


def test_no_plot_of_a_trial_has_had_the_sum_of_its_treatments() -> None:
    a, b = (replace(done(), trial="t", treatment=name) for name in "AB")
    until = DAY + dt.timedelta(days=3)
    assert applied_kg_ha([a, b], until) == {"glyphosate": 0.5}
    assert applied_kg_ha([a, b, a], until) == {"glyphosate": 1.0}
    assert applied_kg_ha([a, b, done()], until) == {"glyphosate": 1.0}  # all of the ground
    assert applied_kg_ha([a, replace(a, trial="u")], until) == {"glyphosate": 1.0}  # to be safe
    unsaid = replace(a, treatment="C", materials=(Material("glyphosate"),))
    assert math.isnan(applied_kg_ha([a, b, unsaid], until)["glyphosate"])
    logged = observed(Logged((), (), (), (a, done()), (), (), ()), ACTIVES, southern=False)
    assert [(one.whole, one.plots) for one in logged.applied] == [(False, ("t", "A")), (True, None)]
    today = allowance(ACTIVES["glyphosate"], logged.applied * 2, DAY)
    assert today.used_kg_ha == 2.0


def test_plots_of_a_treatment_not_noted_or_written_another_way_may_have_had_more() -> None:
    a, b = (replace(done(), trial="t", treatment=name) for name in ("early Dose", "B"))
    until = DAY + dt.timedelta(days=3)
    assert applied_kg_ha([a, b, replace(a, treatment="")], until) == {"glyphosate": 1.0}
    assert applied_kg_ha([a, b, replace(a, treatment="Early  dose")], until) == {"glyphosate": 1.0}


def test_published_formulas_by_hand() -> None:
    assert abbott_pct(80, 12) == 85.0
    assert abbott_pct(80, 100) == -25.0  # more weeds than in the check
    assert abbott_pct(80, 0) == 100.0
    assert henderson_tilton_pct(100, 100, 50, 25) == 50.0
    for wrong in ((-1.0, 2.0), (0.0, 2.0), (1.0, -2.0)):
        with pytest.raises(Exception, match="count"):
            abbott_pct(*wrong)
    assert control([1.0], [10.0]).text.id == "control.unbounded"  # one plot shows no spread


# ---- what counts of the log ---------------------------------------------------------------------


@pytest.mark.parametrize(("days", "counts"), [(-1, False), (0, True), (364, True), (365, False)])
def test_a_year_of_applications_has_365_days(days: int, counts: bool) -> None:
    found = applied_kg_ha([done()], DAY + dt.timedelta(days=days))
    assert found == ({"glyphosate": 0.5} if counts else {})


def test_amounts_add_up_and_one_that_is_not_known_hides_the_total() -> None:
    twice = done()
    twice = replace(twice, materials=twice.materials * 2)
    assert applied_kg_ha([twice, done()], DAY) == {"glyphosate": 1.5}
    unsaid = replace(done(), materials=(Material("glyphosate"),))
    total = applied_kg_ha([done(), unsaid], DAY)
    assert math.isnan(total["glyphosate"])


def test_what_is_not_known_has_no_group() -> None:
    mixed = replace(done(), materials=(Material("glyphosate"), Material("mystery")))
    (use,) = uses_in([mixed], ACTIVES, southern=False)
    assert use.groups == (9,)
    unknown = replace(done(), materials=(Material("mystery"),))
    assert uses_in([unknown], ACTIVES, southern=False) == ()
    assert looks_in([]) == ()


def test_what_the_record_filled_in_is_not_the_operators() -> None:
    marked = done(temp_c=5.0, rh_pct=60.0, wind_m_s=2.0, weather_source="humidity from station")
    assert entered_by_operator(marked) == {"temp_c": 5.0, "wind_m_s": 2.0}
    assert entered_by_operator(done(temp_c=0.0)) == {"temp_c": 0.0}


def test_trials_are_quoted_for_dormant_turf_only() -> None:
    members = [ACTIVES["glyphosate"]]
    keys = {f.key for f in expected_of(done(purpose="dormant"), members)}
    assert keys == {"effect_glyphosate", "control_glyphosate"}
    assert {f.key for f in expected_of(done(), members)} == {"effect_glyphosate"}


# ---- conditions ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def context() -> HourContext:
    site, weather = sample_site(), sample_weather()
    state, _ = build(weather.daily, site)
    return season_context(site, weather, state, dt.date(2016, 12, 1), dt.date(2017, 2, 20))


def measured(context: HourContext, **hourly: np.ndarray) -> HourContext:
    """The context with hours that were measured."""
    grades = {name: np.full(len(context.times), Grade.OBSERVED, dtype=np.uint8) for name in hourly}
    values = {name: np.atleast_2d(array) for name, array in hourly.items()}
    return replace(context, hourly={**context.hourly, **values}, grade={**context.grade, **grades})


@pytest.mark.parametrize(("at", "depth", "said", "value"), [
    (10, 0.25, "fact.hours", 10.0), (10, 0.24, "fact.more_than", 72.0),
    (0, 0.25, "fact.hours", 0.0), (LOOK_H - 1, 0.25, "fact.hours", 71.0),
    (LOOK_H, 0.25, "fact.more_than", 72.0), (10, math.nan, "fact.not_known", math.nan),
])  # fmt: skip
def test_a_quarter_of_a_millimetre_in_an_hour_ends_the_dry_time(
    context: HourContext, at: int, depth: float, said: str, value: float
) -> None:
    rain = np.zeros(len(context.times))
    stop = context.lead + 20
    rain[stop + at] = depth
    found = conditions._dry(measured(context, precip_mm=rain), stop)
    assert found.text.id == said
    assert found.value == pytest.approx(value, nan_ok=True)


def test_at_the_end_of_the_record_nothing_is_made_up(context: HourContext) -> None:
    calm = measured(
        context, precip_mm=np.zeros(len(context.times)), temp_c=np.full(len(context.times), 5.0)
    )
    last = len(context.times) - LOOK_H
    assert conditions._dry(calm, last).text.id == "fact.more_than"
    assert conditions._dry(calm, last + 1).text.id == "fact.not_known"
    assert conditions._freeze(calm, last).text.id == "fact.none_within"
    assert conditions._freeze(calm, last + 1).text.id == "fact.not_known"


@pytest.mark.parametrize(("low", "said"), [(0.0, "fact.none_within"), (-0.1, "fact.after")])
def test_water_freezes_below_zero(context: HourContext, low: float, said: str) -> None:
    temp = np.full(len(context.times), 5.0)
    stop = context.lead + 20
    temp[stop + 7] = low
    found = conditions._freeze(measured(context, temp_c=temp), stop)
    assert found.text.id == said
    assert found.value == (7.0 if low < 0 else math.inf)
    temp[stop + 9] = math.nan
    later = conditions._freeze(measured(context, temp_c=temp), stop)
    assert later.text.id == ("fact.after" if low < 0 else "fact.not_known")


def soaked(context: HourContext, depth: float, day: int) -> HourContext:
    """The context with rain on one day only."""
    rain = np.zeros_like(context.daily["precip_mm"])
    rain[0, day] = depth
    return replace(context, daily={**context.daily, "precip_mm": rain})


def simazine() -> ActiveNeeds:
    return needs_of([ACTIVES["simazine"]])


def test_watering_in_counts_to_the_last_day_and_asks_for_its_depth(context: HourContext) -> None:
    needs = simazine()
    assert needs.activation_mm is not None
    assert needs.activation_days is not None
    asked, days, today = needs.activation_mm, int(needs.activation_days), 50
    for rain, on, good in (
        (asked, 0, True), (asked, days, True), (asked, days + 1, False), (asked - 0.01, 0, False),
        (asked, -1, False),
    ):  # fmt: skip
        found = conditions._watered(soaked(context, rain, today + on), done(), needs, today)
        assert found.good is good
        assert found.text.id == ("fact.watered_enough" if good else "fact.watered_short")


def test_irrigation_counts_when_it_came_in_time_or_its_day_was_not_noted(
    context: HourContext,
) -> None:
    needs = simazine()
    assert needs.activation_mm is not None
    assert needs.activation_days is not None
    depth, days, dry = needs.activation_mm, int(needs.activation_days), soaked(context, 0.0, 0)
    for on, good in ((None, True), (0, True), (days, True), (days + 1, False)):
        date = None if on is None else DAY + dt.timedelta(days=on)
        sprayed = done(watered_in_mm=depth, watered_in_on=date)
        assert conditions._watered(dry, sprayed, needs, 50).good is good
    blind = replace(dry, daily={k: v for k, v in dry.daily.items() if k != "precip_mm"})
    assert conditions._watered(blind, done(), needs, 50).text.id == "fact.not_known"
    sprayed = done(watered_in_mm=depth)
    assert conditions._watered(blind, sprayed, needs, 50).good  # the log alone is enough
    little = conditions._watered(blind, done(watered_in_mm=depth - 1), needs, 50)
    assert little.text.id == "fact.not_known"  # rain nobody measured may have been enough
    assert little.good
    unsaid = replace(needs, activation_days=math.nan)
    assert conditions._watered(dry, done(), unsaid, 50).text.id == "fact.days_not_known"
