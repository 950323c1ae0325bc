"""Scouting counts: likelihood against scipy, direction, recovery of a known season, prior shown."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from windowcast.core.errors import InputError
from windowcast.season.clocks import ClockSpeed
from windowcast.season.emergence import Counted
from windowcast.season.scouting import Count, log_negative_binomial, posterior
from windowcast.season.weeds import Z90, weed

DAY = dt.date(2024, 10, 10)
SPREAD = 0.29


def post(totals, counts):
    """Posterior of counts with the clocks of their days."""
    rows = [
        Counted(t, c.per_m2 * c.area_m2, c.area_m2) for t, c in zip(totals, counts, strict=True)
    ]
    return posterior(weed("POAAN"), SPREAD, rows)


def clock(total):
    return {"emergence": float(total), "late": 0.0}


def count(plants, area=1.0):
    return Count(DAY, "POAAN", plants / area, area)


def test_likelihood_against_scipy():
    from scipy.stats import nbinom

    for n in (0, 1, 7, 40):
        for mean in (0.5, 10.0, 33.0):
            expected = nbinom.logpmf(n, 2.0, 2.0 / (2.0 + mean))
            assert log_negative_binomial(n, np.array(mean), 2.0) == pytest.approx(expected)


def test_no_count_is_the_prior():
    found = post([], [])
    prior = ClockSpeed.prior(SPREAD)
    assert found.mid == pytest.approx(0.0, abs=1e-9)
    assert found.low == pytest.approx(prior.low, abs=0.005)
    assert found.high == pytest.approx(Z90 * SPREAD, abs=0.005)


def test_one_count_says_little_of_timing():
    # with the season's number of seedlings unknown, one count cannot tell early from many
    found = post([clock(100)], [count(30)])
    assert abs(found.mid) < 0.5 * SPREAD


def test_counts_that_stop_rising_mean_the_flush_is_over():
    # still few at 60 and level from 100 on: the clock runs fast; rising on late: it runs slow
    totals = [clock(t) for t in (50, 70, 90, 120)]
    early = post(totals, [count(n, 4.0) for n in (400, 470, 500, 520)])
    late = post(totals, [count(n, 4.0) for n in (0, 2, 20, 200)])
    assert late.mid < -0.1 < 0.1 < early.mid
    assert late.high - late.low < 2 * Z90 * SPREAD


def test_zero_counts_late_pull_the_curve_back():
    totals = [clock(t) for t in (60, 80, 100)]
    zeros = post(totals, [count(0)] * 3)
    assert zeros.mid <= 0
    # zeros and then plants say more than zeros alone
    more = post([*totals, clock(150)], [count(0), count(0), count(0), count(300)])
    assert more.mid < zeros.mid


def test_recovers_a_known_season_and_covers_it():
    # Simulation: seasons with a known speed of the clock, counted weekly in 8 frames; the 80 %
    # interval must hold the truth in about 80 % of them, and the error must shrink.
    rng = np.random.default_rng(3)
    entry = weed("POAAN")
    held, errors = 0, []
    runs = 120
    for _ in range(runs):
        shift = rng.normal(0, SPREAD)
        density = 10 ** rng.uniform(1, 3)
        totals = [clock(t) for t in np.linspace(25, 190, 8)]
        counts = []
        for total in totals:
            mean = density * 2.0 * float(entry.share(total, shift))
            # eight clumped frames of 0.25 m2, k = 2 each (data/weeds.toml), are k = 16
            counts.append(count(int(rng.poisson(rng.gamma(16.0, mean / 16.0))), 2.0))
        found = post(totals, counts)
        held += found.low <= shift <= found.high
        errors.append(found.mid - shift)
    assert 0.70 <= held / runs <= 0.90
    assert np.std(errors) < 0.75 * SPREAD


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 400), st.integers(0, 5000)), min_size=1, max_size=6),
    st.floats(0.05, 20),
)
def test_the_interval_is_ordered_and_finite(rows, area):
    found = post([clock(t) for t, _ in rows], [count(n, area) for _, n in rows])
    assert np.isfinite([found.low, found.mid, found.high]).all()
    assert found.low <= found.mid <= found.high
    assert abs(found.mid) <= 4 * SPREAD


@pytest.mark.parametrize(("per_m2", "area"), [(-1.0, 1.0), (3.0, 0.0), (float("nan"), 1.0)])
def test_impossible_counts_are_refused(per_m2, area):
    with pytest.raises(InputError, match="count"):
        Count(DAY, "POAAN", per_m2, area)
