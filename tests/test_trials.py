"""Control and trial analyses against published worked examples and R reference results."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from spoken import METRIC, render

from windowcast.core.errors import InputError
from windowcast.records.entry_checks import checked
from windowcast.records.model import Rating
from windowcast.records.trials import trial_results
from windowcast.report.log_entries import entry_text
from windowcast.trials import analysis
from windowcast.trials.analysis import analyse
from windowcast.trials.families import letters_of
from windowcast.trials.mixed import fit_mixed, groups
from windowcast.trials.model import PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.percent_control import abbott_pct, control, fieller, henderson_tilton_pct

DATE = dt.date(2025, 3, 1)


def rating(treatment: str, value: float, block: str = "", **more: object) -> Rating:
    plot = f"{more.get('location', '')}{treatment}{block}{more.pop('plot', '')}"
    return Rating(DATE, value, trial="t", plot=plot, treatment=treatment, block=block, **more)  # type: ignore[arg-type]


# ---- percent control ----------------------------------------------------------------------------


def test_worked_examples() -> None:
    # Abbott 1925 and Henderson & Tilton 1955, formulas from memory; examples worked by hand:
    # 100 (1 - 12/80) = 85; 100 (1 - (100 x 30) / (120 x 90)) = 72.2
    assert abbott_pct(80, 12) == pytest.approx(85.0)
    assert henderson_tilton_pct(100, 120, 90, 30) == pytest.approx(72.2222, abs=1e-4)
    # equal starts and an unchanged check: both formulas agree
    assert henderson_tilton_pct(50, 80, 50, 12) == pytest.approx(abbott_pct(80, 12))
    # more weeds than the check is negative control, not zero
    assert abbott_pct(80, 120) == pytest.approx(-50)


def test_fewer_weeds_than_none_there_cannot_be() -> None:
    """Fieller's limit of the ratio is below zero here, so the interval ends at 100 %."""
    treated, check = [0.0, 9.0, 1.0], [60.0, 75.0, 40.0]
    low_ratio, _ = fieller(np.array(treated), np.array(check), paired=True)
    assert low_ratio is not None
    assert low_ratio < 0
    found = control(treated, check, paired=True)
    assert found.high == 100.0
    assert "100 %" in render(found.text)


@pytest.mark.parametrize("measure", ["quality 1-9", "color 1-9", "turf cover %", "quality"])
def test_of_turf_no_control_of_weeds_is_told(measure: str) -> None:
    rows = [
        rating(name, value + int(block), block, measure=measure)
        for name, value in (("untreated", 3.0), ("A", 6.0))
        for block in "123"
    ]
    (result,) = trial_results(rows)
    assert not result.controls
    assert not result.at
    assert "trial.no_count" in [note.id for note in result.notes]


@pytest.mark.parametrize(
    ("counts", "match"),
    [((0, 5), "check had no weeds after"), ((-1, 5), "negative"), ((5, -1), "negative")],
)
def test_abbott_refuses_what_cannot_be_told(counts: tuple[float, float], match: str) -> None:
    with pytest.raises(InputError, match=match):
        abbott_pct(*counts)


def test_henderson_tilton_refuses_empty_plots() -> None:
    with pytest.raises(InputError, match="check had no weeds before"):
        henderson_tilton_pct(0, 120, 90, 30)
    with pytest.raises(InputError, match="treated plots had no weeds before"):
        henderson_tilton_pct(100, 120, 0, 30)


plots = st.lists(st.floats(1, 200), min_size=3, max_size=8)


@given(plots, st.floats(0.05, 1.5), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_interval_holds_the_ratios_a_paired_t_test_does_not_reject(
    check: list[float], share: float, seed: int
) -> None:
    # Fieller's limits are where scipy's paired t-test of T - R C against 0 has p = 0.05
    noise = np.random.default_rng(seed).uniform(0.6, 1.4, len(check))
    treated = np.array(check) * share * noise
    low, high = fieller(treated, np.array(check), paired=True)
    if low is None or high is None:
        return
    for limit in (low, high):
        p = stats.ttest_rel(treated, limit * np.array(check)).pvalue
        assert p == pytest.approx(0.05, abs=1e-6)
    assert low <= treated.mean() / np.mean(check) <= high


def test_interval_covers_as_often_as_it_says() -> None:
    # 95 % of 2000 simulated trials of 6 blocks should hold the true control of 80 %
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(2000):
        fertility = rng.normal(100, 15, 6)
        check = fertility + rng.normal(0, 10, 6)
        treated = 0.2 * fertility + rng.normal(0, 8, 6)
        low, high = fieller(treated, check, paired=True)
        held += low is not None and high is not None and low <= 0.2 <= high
    assert held / 2000 == pytest.approx(0.95, abs=0.015)  # three standard errors


def test_henderson_tilton_interval_has_the_published_point_inside() -> None:
    treated_before, check_before = [90, 70, 110, 85], [100, 95, 120, 80]
    treated, check = [30, 20, 41, 25], [120, 118, 130, 99]
    found = control(
        treated, check, treated_before=treated_before, check_before=check_before, paired=True
    )
    point = henderson_tilton_pct(
        float(np.mean(check_before)),
        float(np.mean(check)),
        float(np.mean(treated_before)),
        float(np.mean(treated)),
    )
    assert found.percent == pytest.approx(point)
    assert found.low is not None
    assert found.high is not None
    assert found.low < point < found.high
    assert found.method == "Henderson-Tilton 1955"


def test_few_plots_are_said_in_words() -> None:
    two = control([10, 20], [80, 60])
    assert two.plots == 2
    assert "wide" in render(two.text) or "too few" in render(two.text)
    one = control([10], [80])
    assert (one.low, one.high) == (None, None)
    assert "too few" in render(one.text)
    none_left = control([0, 0, 0, 0], [80, 60, 70, 75])
    assert none_left.percent == 100
    assert none_left.low is not None  # a bound: the plots do say something
    assert render(none_left.text) == "at least 92 % (4 plots): no plant was left"
    assert "is unknown" in render(control([0, 0], [80]).text)
    many = control([10, 11, 12, 10, 11, 12], [80, 79, 81, 80, 82, 78], paired=True)
    assert render(many.text).endswith("%)")


# ---- analyses -----------------------------------------------------------------------------------

# Gomez & Gomez 1984, Statistical Procedures for Agricultural Research, 2nd ed., table 2.5 (grain
# yield, kg/ha, at six seeding rates in four replications): data and analysis of variance from
# memory; that the sums of squares below come out confirms the data.
YIELD = {
    "25": (5113, 5398, 5307, 4678),
    "50": (5346, 5952, 4719, 4264),
    "75": (5272, 5713, 5483, 4749),
    "100": (5164, 4831, 4986, 4410),
    "125": (4804, 4848, 4432, 4748),
    "150": (5254, 4542, 4919, 4098),
}


def blocked(values: Mapping[str, tuple[int, ...]]) -> list[PlotRow]:
    return [
        PlotRow("", str(block), f"{name}{block}", name, value)
        for name, row in values.items()
        for block, value in enumerate(row)
    ]


def means_of(found: TrialAnalysis) -> dict[str, float]:
    return {m.treatment: m.mean for m in found.means}


def test_randomised_blocks_give_the_published_error_mean_square() -> None:
    found = analyse(blocked(YIELD), TrialOptions())
    assert found.error_df == pytest.approx(15)
    assert found.variances["plot"] == pytest.approx(110_558, abs=1)  # error MS
    for name, row in YIELD.items():
        assert means_of(found)[name] == pytest.approx(np.mean(row))
    # F = 2.17 was not significant: no difference may be found by the stricter Tukey test either
    assert {m.letters for m in found.means} == {"a"}
    assert not any(d.differs for d in found.of("all"))
    assert min(d.p for d in found.of("all")) > 0.05
    # variance of a mean over blocks like these: (MS blocks + 5 MS error) / (6 x 4), its degrees of
    # freedom by Satterthwaite
    blocks, error = 6 * np.var(np.array(list(YIELD.values())).mean(0), ddof=1), 110_558.0
    variance = (blocks + 5 * error) / 24
    df = (24 * variance) ** 2 / (blocks**2 / 3 + (5 * error) ** 2 / 15)
    mean = found.means[0]
    half = stats.t.ppf(0.975, df) * np.sqrt(variance)
    assert mean.high - mean.mean == pytest.approx(half, rel=1e-4)


def test_tukey_limits_agree_with_the_reference_of_statsmodels() -> None:
    # Data and 95 % limits (rounded to 3 digits) as in statsmodels' own tests, stats/tests/
    # test_pairwise.py "ss3" and "ss5", where they are reference results of another program
    data = {
        "1": (24.5, 23.5, 26.4, 27.1, 29.9),
        "2": (28.4, 34.2, 29.5, 32.2, 30.1),
        "3": (26.1, 28.3, 24.3, 26.2, 27.8),
    }
    rows = [PlotRow("", "", f"{n}{i}", n, v) for n, row in data.items() for i, v in enumerate(row)]
    found = analyse(rows, TrialOptions(design="crd"))
    reference = {("1", "2"): (-4.6, -8.249, -0.951), ("2", "3"): (4.34, 0.691, 7.989),
                 ("1", "3"): (-0.26, -3.909, 3.389)}  # fmt: skip
    for d in found.of("all"):
        expected = reference[d.first, d.second]
        assert (d.difference, d.low, d.high) == pytest.approx(expected, abs=6e-4)
    assert {m.treatment: m.letters for m in found.means} == {"1": "b", "2": "a", "3": "b"}


def test_random_locations_and_blocks_agree_with_lme4() -> None:
    # statsmodels documents R's lmer(strength ~ (1|batch) + (1|batch:cask), Pastes) in
    # regression/tests/test_lme.py: mean 60.0533, standard error 0.6769, residual variance 0.678
    lines = (Path(__file__).parent / "data" / "pastes.csv").read_text().splitlines()[1:]
    cells = [line.replace('"', "").split(",") for line in lines]
    y = np.array([float(value) for _, value, *_ in cells])
    batch, cask = ([row[n] for row in cells] for n in (2, 3))
    fit = fit_mixed(y, np.ones((len(y), 1)), [groups(batch), groups(batch, cask)])
    assert fit.beta[0] == pytest.approx(60.0533, rel=1e-6)
    assert np.sqrt(fit.naive[0, 0]) == pytest.approx(0.6769, rel=1e-4)
    assert fit.variances[-1] == pytest.approx(0.678, rel=1e-3)
    assert fit.dfs(np.ones((1, 1)))[0] == pytest.approx(9)  # ten batches


def two_places(seed: int = 5) -> list[Rating]:
    rng = np.random.default_rng(seed)
    effects = {"untreated": 40.0, "A": 12.0, "B": 10.0}
    rows = []
    for location in ("north", "south", "east", "west"):
        level = rng.normal(0, 5)
        for block in "123":
            shift = level + rng.normal(0, 3)
            for name, effect in effects.items():
                value = effect + shift + rng.normal(0, 2)
                rows.append(rating(name, value, block=location + block, location=location))
    return rows


def plot_rows(ratings: list[Rating]) -> list[PlotRow]:
    return [PlotRow(r.location, r.block, r.plot, r.treatment, r.value) for r in ratings]


def test_over_sites_the_error_of_a_difference_is_treatment_by_site() -> None:
    # balanced: as in the analysis of variance of the site means, (t - 1)(s - 1) = 6 df
    rows = two_places()
    found = analyse(plot_rows(rows), TrialOptions())
    assert "treatment by site random" in render(found.model)
    assert found.error_df == pytest.approx(6, rel=1e-3)
    means = np.array([
        [np.mean([r.value for r in rows if (r.treatment, r.location) == (t, place)])
         for place in ("north", "south", "east", "west")]
        for t in ("untreated", "A", "B")
    ])  # fmt: skip
    left = means - means.mean(0) - means.mean(1)[:, None] + means.mean()
    error = np.sqrt(2 * (left**2).sum() / 6 / 4)
    (pair,) = (c for c in found.of("all") if {c.first, c.second} == {"A", "B"})
    limit = stats.studentized_range.ppf(0.95, 3, 6) / np.sqrt(2)
    assert pair.high - pair.difference == pytest.approx(limit * error, rel=1e-3)
    one_site = analyse([replace(r, site="") for r in plot_rows(rows)], TrialOptions())
    assert one_site.error_df == pytest.approx(22, rel=1e-3)
    assert {m.treatment: m.letters for m in found.means}["untreated"] == "a"


@given(st.data(), st.integers(2, 7))
@settings(max_examples=150, deadline=None)
def test_letters_say_exactly_which_pairs_differ(data: st.DataObject, count: int) -> None:
    names = [f"T{i}" for i in range(count)]
    means = np.array(data.draw(st.lists(st.floats(-9, 9), min_size=count, max_size=count)))
    different = [pair for pair in combinations(names, 2) if data.draw(st.booleans())]
    order = [names[n] for n in np.argsort(-means)]
    letters = {name: set(text) for name, text in letters_of(order, different).items()}
    for pair in combinations(names, 2):
        assert bool(letters[pair[0]] & letters[pair[1]]) != (pair in different)
    assert all(letters.values())
    assert "a" in letters[order[0]]


def test_too_little_to_analyse_is_said() -> None:
    rows = [PlotRow("", "", n, n, 1.0) for n in "ABC"]
    assert analyse(rows, TrialOptions()).problem.id == "analysis.no_error_left"
    assert analyse([], TrialOptions()).problem.id == "analysis.no_values"
    apart = [PlotRow("", n, f"{n}{v}", n, v) for n in "AB" for v in (1.0, 2.0)]
    assert analyse(apart, TrialOptions()).problem.id == "analysis.confounded"
    few = analyse([replace(r, block="") for r in apart], TrialOptions())
    assert any("only 2 plots of a treatment" in render(w) for w in few.notes)


def test_results_of_a_logged_trial() -> None:
    rows = [replace(r, value=abs(r.value)) for r in two_places()]
    before = [
        replace(r, date=dt.date(2025, 1, 1), value=50.0, before=True)
        for r in rows
    ]  # fmt: skip
    (result,) = trial_results([*rows, *before])
    assert set(result.controls) == {"A", "B"}
    assert result.controls["A"].method == "Henderson-Tilton 1955"
    assert 50 < result.controls["A"].percent < 90
    assert result.analysis is not None
    assert result.analysis.kind == "count"
    (plain,) = trial_results(rows)
    assert plain.controls["A"].method == "Abbott 1925"
    # all starts were 50: both methods must agree
    assert plain.controls["A"].percent == pytest.approx(result.controls["A"].percent)
    (bare,) = trial_results([r for r in rows if r.treatment != "untreated"])
    assert bare.controls == {}
    assert "control cannot be worked out" in render(bare.notes[0])


def test_a_count_before_that_is_missing_is_said_and_changes_no_method() -> None:
    rows = [replace(r, value=abs(r.value)) for r in two_places()]
    before = [
        replace(r, date=dt.date(2025, 1, 1), value=50.0 + 30 * (r.treatment == "A"), before=True)
        for r in rows
    ]
    whole, missing = trial_results([*rows, *before]), trial_results([*rows, *before[1:]])
    for name in "AB":
        full, part = (found[0].controls[name] for found in (whole, missing))
        assert part.method == full.method == "Henderson-Tilton 1955"
        assert part.percent == pytest.approx(full.percent, abs=3)
    said = [render(note) for note in missing[0].notes]
    assert "1 of 36 plots has no count before and is left out of control" in said
    assert not [n for n in whole[0].notes if n.id == "trial.before_missing"]
    bare = [b for b in before if b.treatment != "A"]
    (none,) = trial_results([*rows, *bare])
    assert set(none.controls) == {"B"}
    assert any("no plot was counted before" in render(n) for n in none.notes)


@pytest.mark.parametrize(
    "fault", [np.linalg.LinAlgError("Singular"), ZeroDivisionError(), KeyError()]
)
def test_an_analysis_that_fails_costs_no_other(
    monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    rows = [replace(r, value=abs(r.value)) for r in two_places()]
    other = [replace(r, trial="other", measure="cover %", value=min(r.value, 100)) for r in rows]
    fit = analysis.fit_linked

    def broken(*given: object, **more: object) -> object:
        if given[3].kind == "percent":  # type: ignore[attr-defined]
            raise fault
        return fit(*given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(analysis, "fit_linked", broken)
    failed, sound = sorted(trial_results([*rows, *other]), key=lambda r: r.trial)
    assert failed.analysis is None
    assert failed.controls.keys() == {"A", "B"}
    assert "could not be worked out" in render(failed.notes[-1])
    assert sound.analysis is not None


def test_samples_of_a_plot_are_not_plots() -> None:
    # two frames counted in each plot: the plot, not the frame, was treated (pseudoreplication)
    rows = [replace(r, value=abs(r.value)) for r in two_places()]
    frames = [replace(r, value=r.value * k) for r in rows for k in (0.5, 1.5)]
    (single,), (double,) = trial_results(rows), trial_results(frames)
    assert single.analysis is not None
    assert double.analysis is not None
    assert double.analysis.error_df == pytest.approx(single.analysis.error_df)
    assert double.controls["A"].text == single.controls["A"].text
    assert "72 values of 36 plots" in render(double.notes[0])
    crossed = [*rows, replace(rows[0], treatment="B")]
    assert any("two treatments" in render(note) for note in trial_results(crossed)[0].notes)


@pytest.mark.parametrize("name", ["Untreated check", "non-treated", "nontreated control"])
def test_a_check_is_known_by_its_usual_names(name: str) -> None:
    rows = [
        replace(
            r, value=abs(r.value), treatment=name if r.treatment == "untreated" else r.treatment
        )
        for r in two_places()
    ]
    assert set(trial_results(rows)[0].controls) == {"A", "B"}


def test_blocks_that_do_not_differ_leave_the_error_of_treatments_alone() -> None:
    # blocks that sum to the same: the error is that of the analysis of variance, not pooled
    rows = []
    for block in "123":
        for at, name in enumerate(("untreated", "A", "B")):
            wave = (2.0, -1.0, -1.0)[(at + int(block)) % 3]  # sums to zero in every block
            rows.append(PlotRow("", block, f"{name}{block}", name, 10.0 * at + wave))
    found = analyse(rows, TrialOptions())
    values = np.array([r.value for r in rows]).reshape(3, 3)
    left = values - values.mean(0)
    assert found.variances["plot"] == pytest.approx((left**2).sum() / 4, rel=0.03)
    assert found.variances["block"] < 0
    assert "blocks made no difference here" in map(render, found.notes)  # one site: of no other
    assert not any("did not settle" in render(w) for w in found.notes)
    assert all(m.high - m.low > 0.5 for m in found.means)  # no mean is known without error


def test_a_rating_without_a_trial_is_of_its_place_and_of_no_trial() -> None:
    place = Rating(DATE, 35.0, measure="control %", where="field 2")
    assert checked(place) == place
    assert trial_results([place]) == ()
    assert entry_text(place, METRIC) == "35, control %, field 2"


def test_a_rating_of_a_trial_says_which_plot_and_treatment() -> None:
    with pytest.raises(InputError, match="is missing for a rating of a trial") as error:
        checked(Rating(DATE, 3.0, trial="t", plot="1"))
    assert error.value.field == "treatment"
