"""Dose-response against published estimates, and what a layout can show before it is sown."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from windowcast.core.errors import InputError
from windowcast.trials.dose_response import DoseCurve, fit_curve, resistance_ratio
from windowcast.trials.showable import TrialPlan

# Root length (cm) of perennial ryegrass in ferulic acid (mM): Inderjit, Streibig & Olofsdotter
# 2002, Physiol. Plant. 114:422-428, as in the data set `ryegrass` of the R package drc
ROOTS = {
    0.0: (7.58, 8.0, 8.328571429, 7.25, 7.375, 7.9625),
    0.94: (8.355555556, 6.914285714, 7.75),
    1.88: (6.871428571, 6.45, 5.922222222),
    3.75: (1.925, 2.885714286, 4.233333333),
    7.5: (1.1875, 0.857142857, 1.057142857),
    15.0: (0.6875, 0.525, 0.825),
    30.0: (0.25, 0.22, 0.44),
}


def roots(factor: float = 1.0) -> DoseCurve:
    pairs = [(factor * dose, y) for dose, row in ROOTS.items() for y in row]
    return fit_curve([dose for dose, _ in pairs], [y for _, y in pairs])


def test_the_worked_example_of_drc_comes_out() -> None:
    # drm(rootl ~ conc, fct = LL.4()): b 2.982, c 0.481, d 7.793, e 3.058, residual 0.5196 with 20
    # df (from memory); ED10, 50, 90 and lack of fit as the reference pages of ED.drc and neill.test
    # of the package print them (github.com/hreinwald/drc, docs/reference)
    found = roots()
    estimates = found.slope, found.low, found.high, found.ed50
    assert estimates == pytest.approx((2.98222, 0.48141, 7.79296, 3.05795), abs=2e-4)
    assert found.residual == pytest.approx(0.5196, abs=1e-4)
    assert found.df == 20
    assert found.errors[3] == pytest.approx(0.18573, rel=2e-3)
    doses = [found.dose_of(p) for p in (10, 50, 90)]
    assert [d.dose for d in doses] == pytest.approx([1.46371, 3.05795, 6.38864], rel=1e-4)
    assert all(d.low < d.dose < d.high and d.tested for d in doses)
    assert found.misfit_p == pytest.approx(0.8665, abs=1e-4)
    assert not found.dose_of(99.9).tested  # beyond what was given
    half = stats.t.ppf(0.975, 20) * found.errors[3] / found.ed50
    assert doses[1].low == pytest.approx(found.ed50 * math.exp(-half))


def test_a_population_that_needs_four_times_the_dose_is_resistant() -> None:
    found = resistance_ratio(roots(4.0), roots())
    assert found.ratio == pytest.approx(4)
    # each logarithm has the error of its ED50; 40 df in all
    half = stats.t.ppf(0.975, 40) * math.sqrt(2) * roots().errors[3] / roots().ed50
    assert found.low == pytest.approx(4 * math.exp(-half), rel=1e-6)
    assert found.resistant
    assert not resistance_ratio(roots(1.1), roots()).resistant
    assert resistance_ratio(roots(4.0), roots(), percent=90).ratio == pytest.approx(4)


def test_survivors_end_at_none() -> None:
    rng = np.random.default_rng(3)
    doses = np.repeat([0.0, 0.25, 0.5, 1, 2, 4, 8], 4)
    true = 40 / (1 + (np.maximum(doses, 1e-9) / 1.2) ** 2)
    found = fit_curve(list(doses), list(true + rng.normal(0, 1.5, len(doses))), low=0.0)
    assert found.low == found.errors[1] == 0
    fifty = found.dose_of(50)
    assert fifty.low < 1.2 < fifty.high
    assert found.df == 25


def test_values_without_a_curve_are_refused() -> None:
    with pytest.raises(InputError, match="too few for a curve"):
        fit_curve([0, 1, 2] * 4, [1.0] * 12)
    with pytest.raises(InputError, match="too few for a curve"):
        fit_curve([0, 1, 2, 4, 8], [5.0, 4, 3, 2, 1])
    with pytest.raises(InputError, match="below zero"):
        fit_curve([-1.0, 1, 2, 4] * 3, [5.0] * 12)
    with pytest.raises(InputError, match="no curve"):
        fit_curve([0, 1, 2, 4] * 3, [5.0] * 12)
    with pytest.raises(InputError, match="needs a dose"):
        fit_curve([0, 1, 2], [5.0, 4])


def test_power_is_that_of_the_noncentral_t() -> None:
    plan = TrialPlan(6, 4)
    assert plan.df == 15
    assert plan.error == pytest.approx(math.sqrt(0.5))
    limit = plan.limit(all_pairs=False)
    expected = stats.nct.sf(limit, 15, 2 / plan.error)
    assert plan.power(2.0) == pytest.approx(expected, abs=1e-5)
    assert plan.power(0.0) == pytest.approx(2 * stats.t.sf(limit, 15), abs=1e-5)
    least = plan.detectable()
    assert plan.power(least) == pytest.approx(0.8, abs=1e-4)
    assert plan.detectable(all_pairs=True) > least
    assert TrialPlan(6, 4, design="crd").df == 18


def test_more_blocks_cannot_stand_in_for_sites() -> None:
    # treatment by site is shared by all blocks of a site
    few, more = (TrialPlan(6, b, sites=3, treatment_site_variance=0.5) for b in (4, 40))
    assert few.df == more.df == 10
    assert more.error > math.sqrt(2 * 0.5 / 3)
    sites = TrialPlan(6, 4, sites=6, treatment_site_variance=0.5)
    assert sites.detectable() < more.detectable() < few.detectable()
    with pytest.raises(InputError, match="nothing to tell the error from"):
        TrialPlan(6, 1)
