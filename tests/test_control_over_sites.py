"""Percent control over several sites: plots of one site do not speak for others."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from spoken import render

from windowcast.records.model import Rating
from windowcast.records.trials import trial_results
from windowcast.trials.percent_control import MeasuredControl, control

DAY = dt.date(2026, 1, 10)
Counts = dict[str, list[list[float]]]  # treatment → site → plots


def ratings(counts: Counts, measure: str = "count per m2", *, before: bool = False) -> list[Rating]:
    return [
        Rating(
            DAY - dt.timedelta(days=60 * before), value, measure, weed="POAAN", trial="t",
            plot=f"{site}{block}{name}", treatment=name, block=str(block), location=f"s{site}",
            before=before,
        )
        for name, sites in counts.items()
        for site, plots in enumerate(sites)
        for block, value in enumerate(plots)
    ]  # fmt: skip


def control_of(counts: Counts, name: str = "A", **more: str) -> MeasuredControl:
    (result,) = trial_results(ratings(counts, **more))
    return result.controls[name]


# the treatment leaves 10, 16 and 20 in 100
UNEVEN: Counts = {
    "untreated": [[410, 390, 405, 395], [800, 790, 810, 805], [205, 198, 200, 202]],
    "A": [[41, 39, 40, 42], [130, 126, 129, 127], [41, 40, 39, 41]],
}


def test_the_interval_is_that_of_site_means_where_plots_hardly_differ() -> None:
    """The t-test of logarithms of the sites' ratios, by scipy."""
    found = control_of(UNEVEN)
    ratios = [
        math.log(np.mean(a) / np.mean(c))
        for a, c in zip(UNEVEN["A"], UNEVEN["untreated"], strict=True)
    ]
    ends = stats.ttest_1samp(ratios, 0).confidence_interval()
    assert found.sites == 3
    assert found.percent == pytest.approx(-100 * math.expm1(np.mean(ratios)), abs=1)
    assert found.high == pytest.approx(-100 * math.expm1(ends.low), abs=1)
    assert found.low == pytest.approx(-100 * math.expm1(ends.high), abs=5)
    assert "12 plots at 3 sites" in render(found.text)


def test_a_check_may_have_another_name_at_each_site() -> None:
    named = ["untreated", "nontreated", "check"]
    known = ratings(UNEVEN)
    renamed = [
        r if r.treatment == "A" else replace(r, treatment=named[int(r.location[1:])]) for r in known
    ]
    (one,), (other,) = trial_results(known), trial_results(renamed)
    assert one.controls["A"] == other.controls["A"]
    assert one.at == other.at


def test_plots_of_all_sites_as_one_claim_more_than_they_know() -> None:
    pooled = control(
        [v for site in UNEVEN["A"] for v in site],
        [v for site in UNEVEN["untreated"] for v in site], paired=True,
    )  # fmt: skip
    found = control_of(UNEVEN)
    assert pooled.low is not None
    assert pooled.high is not None
    assert found.low is not None
    assert found.high is not None
    assert found.high - found.low > pooled.high - pooled.low


def test_sites_that_agree_give_a_narrow_interval() -> None:
    rng = np.random.default_rng(3)
    counts = {
        name: [[float(rng.poisson(mean)) for _ in range(4)] for _ in range(3)]
        for name, mean in (("untreated", 400), ("A", 40), ("B", 100))
    }
    found = control_of(counts)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 90 < found.high
    assert found.high - found.low < 12


def test_nothing_left_at_any_site_is_a_bound() -> None:
    rng = np.random.default_rng(4)
    counts: Counts = {
        "untreated": [[float(rng.poisson(60)) for _ in range(4)] for _ in range(3)],
        "A": [[0.0] * 4] * 3,
        "B": [[float(rng.poisson(20)) for _ in range(4)] for _ in range(3)],
    }
    found = control_of(counts)
    assert (found.percent, found.high) == (100, 100)
    assert found.low is not None
    assert 80 < found.low < 100
    assert found.text.id == "control.at_least"


def test_cover_is_a_ratio_too_and_one_site_stays_with_its_plots() -> None:
    cover: Counts = {
        "untreated": [[60, 55, 65, 62], [40, 45, 38, 42]], "A": [[6, 5, 8, 7], [4, 6, 3, 5]],
    }  # fmt: skip
    found = control_of(cover, measure="cover %")
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.percent < found.high
    assert found.percent == pytest.approx(100 * (1 - 5.5 / 50.9), abs=1.5)
    one = control_of({name: sites[:1] for name, sites in cover.items()}, measure="cover %")
    plain = control([6, 5, 8, 7], [60, 55, 65, 62], paired=True)
    assert (one.low, one.high, one.sites) == (plain.low, plain.high, 1)


def test_treatments_that_never_meet_the_check_have_no_interval() -> None:
    apart: Counts = {"untreated": [[60, 55, 65, 62]], "A": [[], [6, 5, 8, 7]]}
    found = control_of(apart)
    assert found.low is None
    assert found.high is None
    assert found.text.id == "control.unbounded"


def test_the_interval_over_three_sites_holds_with_interaction() -> None:
    rng = np.random.default_rng(12)
    held = []
    for _ in range(40):
        counts: Counts = {}
        for name, effect in (("untreated", 0.0), ("A", -2.0), ("B", -1.0), ("C", -0.5)):
            own = rng.normal(0, 0.5, 3)
            means = 80 * np.exp(effect + own)
            counts[name] = [
                [float(rng.negative_binomial(5, 5 / (5 + m))) for _ in range(4)] for m in means
            ]
        found = control_of(counts)
        if found.low is not None and found.high is not None:
            held.append(found.low <= 100 * (1 - math.exp(-2)) <= found.high)
    assert len(held) >= 38
    assert np.mean(held) >= 0.95 - 3 * 0.0345  # plots as independent: 0.8
