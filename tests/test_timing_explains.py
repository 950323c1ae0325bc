"""Timing as an explanation of control: how often it is said wrongly, and timings compared."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from windowcast.core.record import FloatArray
from windowcast.records.model import Application, Material, Rating
from windowcast.records.review import _with_timings
from windowcast.records.stored import Stored
from windowcast.records.trial_analyses import analysed_rounds
from windowcast.records.trial_threshold import turf_threshold
from windowcast.records.trials import trial_results
from windowcast.report.catalogue import Voice
from windowcast.report.review_text import trial_lines
from windowcast.report.trial_results import result_lines
from windowcast.trials.timing_and_control import Point, relations
from windowcast.trials.trial_file import trial_from

VOICE = Voice("metric", "en")


def points(control: FloatArray, score: FloatArray, sites_of: int = 1) -> list[Point]:
    """Points of ``[site, day, treatment]`` with the score of ``[site, day]``."""
    return [
        Point(
            "", float(control[s, d, t]), float(score[s, d]), np.nan, np.nan,
            f"t{s // sites_of}", str(t), f"s{s}", str(d),
        )
        for s, d, t in np.ndindex(control.shape)
    ]  # fmt: skip


@pytest.mark.parametrize(("sites", "days"), [(4, 1), (4, 2)])
def test_treatments_of_one_day_are_one_look_at_its_timing(sites: int, days: int) -> None:
    """Three treatments at sites that differ: said to explain in 5 % of sets, not in 30 %."""
    rng = np.random.default_rng(6)
    found, sets = 0, 150
    for _ in range(sets):
        there = rng.normal(0, 6, (sites, 1, 1)) + rng.normal(0, 6, (sites, days, 1))
        control = 70 + there + rng.normal(0, 5, (sites, days, 3))
        line = relations(points(control, rng.uniform(0, 100, (sites, days)), sites_of=4))[0]
        assert line.low is not None
        assert line.high is not None
        found += line.low > 0 or line.high < 0
    assert found / sets <= 0.05 + 3 * 0.0178


def test_days_of_a_site_give_the_regression_of_their_means_within_sites() -> None:
    """A balanced set: least squares on means of days with sites and score, by scipy."""
    rng = np.random.default_rng(2)
    score = rng.uniform(0, 100, (4, 2))
    control = (
        60 + 0.2 * score[:, :, None] + rng.normal(0, 6, (4, 2, 1)) + rng.normal(0, 4, (4, 2, 3))
    )
    line = relations(points(control, score))[0]
    apart = control.mean(axis=2)
    y, x = (m - m.mean(axis=1, keepdims=True) for m in (apart, score))
    slope = float((x * y).sum() / (x * x).sum())
    left = float(((y - slope * x) ** 2).sum()) / 3  # 8 days, less 4 sites and the slope
    half = stats.t.ppf(0.975, 3) * np.sqrt(left / (x * x).sum())
    assert line.per_unit == pytest.approx(slope)
    assert line.low == pytest.approx(10 * (slope - half))
    assert line.high == pytest.approx(10 * (slope + half))


def test_a_score_that_is_the_same_on_all_days_of_a_site_is_told_between_sites() -> None:
    rng = np.random.default_rng(3)
    score = np.repeat(rng.uniform(0, 100, (6, 1)), 2, axis=1)
    control = 60 + 0.3 * score[:, :, None] + rng.normal(0, 2, (6, 2, 2))
    line = relations(points(control, score))[0]
    assert line.per_unit == pytest.approx(0.3, abs=0.1)


def crossed(design: str) -> str:
    treatments = (
        '[[treatment]]\nname = "early"\ntiming = ["A"]\nmaterials = ["prodiamine 0.84 kg/ha"]\n'
        '[[treatment]]\nname = "late"\ntiming = ["B"]\nmaterials = ["prodiamine 0.84 kg/ha"]\n'
        '[[treatment]]\nname = "low"\ntiming = ["B"]\nmaterials = ["prodiamine 0.42 kg/ha"]\n'
    )
    return (
        f'name = "T"\ndesign = "{design}"\nseed = 3\n[[site]]\nname = "N"\nlatitude = 33.0\n'
        'longitude = -84.0\n[[timing]]\ncode = "A"\n[[timing]]\ncode = "B"\n'
        f'[[treatment]]\nname = "check"\ncheck = "untreated"\n{treatments}'
        '[[measure]]\nwhat = "count per m2"\nframe = "1 m2"\n'
    )


COUNTS = {"check": (60, 70, 66, 58), "early": (4, 6, 5, 3), "late": (28, 35, 31, 24),
          "low": (40, 38, 46, 35)}  # fmt: skip


def rated(trial: str = "T") -> list[Rating]:
    return [
        Rating(
            dt.date(2026, 1, 20), float(count), "count per m2", "POAAN", trial=trial,
            plot=f"{name}{block}", treatment=name, block=str(block), location="N",
        )
        for name, counts in COUNTS.items()
        for block, count in enumerate(counts)
    ]  # fmt: skip


def test_treatments_that_differ_in_their_timing_alone_are_compared() -> None:
    import tomllib

    trial = trial_from(tomllib.loads(crossed("rcbd")))
    said = "\n".join(result_lines("T", analysed_rounds(trial, rated()), VOICE))
    assert "Only the timing differs between early and late: early against late" in said
    assert "between late and low" not in said  # another rate
    assert "between early and low" not in said


@pytest.mark.parametrize(("late", "told"), [("2025-11-20", True), ("2026-02-20", False)])
def test_what_was_sprayed_after_the_rating_tells_nothing_of_its_timing(
    late: str, told: bool
) -> None:
    import tomllib

    text = (
        crossed("rcbd")
        .replace('code = "A"\n', 'code = "A"\napplied = { N = 2025-09-12 }\n', 1)
        .replace(
            '[[timing]]\ncode = "B"\n', f'[[timing]]\ncode = "B"\napplied = {{ N = {late} }}\n'
        )
    )
    trial = trial_from(tomllib.loads(text))
    rounds = analysed_rounds(trial, rated())
    said = "\n".join(result_lines("T", rounds, VOICE))
    assert ("Only the timing differs between early and late" in said) == told
    assert ("Not yet applied in full when it was rated" in said) != told
    assert rounds[0][0].pending == (() if told else ("late", "low"))
    paying = turf_threshold(trial, rounds, costs={"": 1.0}, worth=0.1)
    names = {known.treatment for known in paying.controls}
    assert names == ({"early", "late", "low"} if told else {"early"})


def test_twice_as_much_is_no_other_timing() -> None:
    import tomllib

    text = crossed("rcbd").replace(
        'name = "late"\ntiming = ["B"]', 'name = "late"\ntiming = ["A", "B"]'
    )
    rounds = analysed_rounds(trial_from(tomllib.loads(text)), rated())
    assert rounds[0][0].timings == ()


def test_a_review_compares_them_by_what_was_logged() -> None:
    def put_out(name: str, day: int, rate: float | None) -> Stored[Application]:
        start = dt.datetime(2025, 9, day, 9, tzinfo=dt.UTC)
        entry = Application(
            start, (Material("prodiamine", rate),), where="N", trial="T", treatment=name
        )
        return Stored(f"{name}{day}", entry, 1, 1, start)

    logged = [put_out("early", 5, 0.84), put_out("late", 25, 0.84), put_out("low", 25, 0.42)]
    (result,) = (_with_timings(r, logged) for r in trial_results(rated()))
    assert result.timings == (("early", "late"),)
    said = "\n".join(trial_lines(result, VOICE))
    assert "Only the timing differs between early and late" in said
    later = [*logged[:1], replace(logged[1], entry=replace(
        logged[1].entry, start=dt.datetime(2026, 2, 5, 9, tzinfo=dt.UTC)))]  # fmt: skip
    (result,) = (_with_timings(r, later) for r in trial_results(rated()))
    assert result.timings == ()  # sprayed after the plots were rated
    unsaid = [put_out("early", 5, None), put_out("late", 25, None)]
    (result,) = (_with_timings(r, unsaid) for r in trial_results(rated()))
    assert result.timings == ()  # of a rate that is not known nobody can say it is the same


def test_sprays_are_compared_in_the_order_of_their_days_however_they_are_stored() -> None:
    def put_out(name: str, day: int, active: str) -> Stored[Application]:
        start = dt.datetime(2025, 9, day, 9, tzinfo=dt.UTC)
        entry = Application(start, (Material(active, 0.5),), where="N", trial="T", treatment=name)
        return Stored(f"{name}{day}", entry, 1, 1, start)

    early = [put_out("early", 5, "prodiamine"), put_out("early", 12, "glyphosate")]
    late = [put_out("late", 15, "prodiamine"), put_out("late", 25, "glyphosate")]
    for logged in ([*early, *late], [*early[::-1], *late], [*late[::-1], *early]):
        (result,) = (_with_timings(r, logged) for r in trial_results(rated()))
        assert {frozenset(pair) for pair in result.timings} == {frozenset(("early", "late"))}
