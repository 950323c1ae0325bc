"""What a trial can show before it is laid out: published figures, words, command and page."""

from __future__ import annotations

import json
import math
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats
from trial_fixtures import rated, trial_text
from web_fixtures import client

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.values import PACKAGED
from windowcast.records.trial_analyses import analysed_rounds
from windowcast.report.catalogue import Voice
from windowcast.report.trial_power import advice, power_lines, power_paragraphs
from windowcast.trials.analysis import analyse
from windowcast.trials.model import PlotRow, TrialOptions
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.showable import (
    TrialPlan,
    Wanted,
    other_mean,
    power_answer,
    showable,
    smallest,
    usual_layout,
)
from windowcast.trials.spread import PlotSpread, SpreadKnown, past_spread, typical_spread
from windowcast.trials.trial_file import trial_from

EN, ES = Voice("us", "en"), Voice("us", "es")
TABLE = PACKAGED["trial_spread"]
FLAX = {  # percent oil of flax seed by block: Steel, Torrie & Dickey 1997, page 207
    "seedling": (34.4, 35.9, 36.0, 34.1), "early bloom": (33.3, 31.9, 34.9, 37.1),
    "late bloom": (34.4, 34.0, 34.5, 33.1), "full bloom": (36.8, 36.6, 37.0, 36.4),
    "ripening": (36.3, 34.9, 35.9, 37.2), "control": (36.4, 37.3, 37.7, 36.7),
}  # fmt: skip


# --- against published figures --------------------------------------------------------------------


def test_two_treatments_have_the_power_that_r_prints() -> None:
    # power.t.test(n = 20, delta = 1): power = 0.8689528; power.t.test(power = .90, delta = 1):
    # n = 22.02110 (from memory) lies between 22 and 23
    assert TrialPlan(2, 20, design="crd").power(1.0) == pytest.approx(0.8689528, abs=1e-5)
    assert TrialPlan(2, 20, design="crd").detectable(power=0.8689528) == pytest.approx(1, abs=1e-4)
    ninety = [TrialPlan(2, n, design="crd").power(1.0) for n in (22, 23)]
    assert ninety[0] < 0.9 < ninety[1]


def test_a_past_trial_gives_the_published_error_and_its_power() -> None:
    # analysis of variance of the flax (MSE 1.326, 15 df) and power of its F test, 0.904, as SAS
    # prints it (course notes on randomized blocks after Steel & Torrie, "RCBD: Power Calculation")
    rows = [PlotRow("", str(b), f"{b}{t}", t, y) for t, row in FLAX.items()
            for b, y in enumerate(row)]  # fmt: skip
    found = analyse(rows, TrialOptions("amount"))
    assert found.variances["plot"] == pytest.approx(1.326, abs=5e-4)
    plan = TrialPlan(6, 4, plot_variance=found.variances["plot"])
    assert plan.df == 15
    means = np.array([np.mean(row) for row in FLAX.values()])
    # the F test of all treatments, from the error of a difference of two
    shift = 2 * float(((means - means.mean()) ** 2).sum()) / plan.error**2
    assert stats.ncf.sf(stats.f.ppf(0.95, 5, 15), 5, 15, shift) == pytest.approx(0.904, abs=1e-3)


def test_the_least_difference_is_the_one_with_that_power() -> None:
    even = PlotSpread("amount", 4.0, 0.0, 0.0, 1.0)
    known = SpreadKnown("control %", even, even, even, 50.0)
    (found,) = showable(known, Wanted(6, "rcbd", 50.0), [4], [1])
    assert found.least == pytest.approx(TrialPlan(6, 4, 1, 4.0).detectable(), rel=1e-3)
    spread = typical_spread("control %", TABLE)
    (one,) = showable(spread, Wanted(6, "rcbd", 80.0, 20.0, True), [4], [1])
    assert one.least is not None
    (again,) = showable(spread, Wanted(6, "rcbd", 80.0, one.least, True), [4], [1])
    assert again.chance == pytest.approx(0.8, abs=2e-3)


@pytest.mark.parametrize(("means", "family", "blocks"), [
    ([0.8, 0.437, 0.7, 0.6, 0.6, 0.7], "all", 4), ([0.3, 0.09, 0.2, 0.2, 0.2, 0.2], "check", 6),
])  # fmt: skip
def test_simulated_trials_show_it_about_as_often(
    means: list[float], family: str, blocks: int
) -> None:
    """Shares from a beta law with factor 0.06, analysed as trials are: never less than promised."""
    measure, usual = (
        "control %" if family == "all" else "cover %",
        PlotSpread("percent", 0.06, 0.0, 0.0, 100.0),
    )
    known = SpreadKnown(measure, usual, usual, usual, 100 * means[0])
    asked = Wanted(6, "rcbd", 100 * means[0], 100 * (means[0] - means[1]), family == "all")
    (promised,) = showable(known, asked, [blocks], [1])
    rng, seen, sets = np.random.default_rng(4), 0, 100
    for _ in range(sets):
        rows = [
            PlotRow("", str(b), f"{b}{n}", f"T{n}",
                    100 * rng.beta(m * (1 / 0.06 - 1), (1 - m) * (1 / 0.06 - 1)))
            for b in range(blocks) for n, m in enumerate(means)
        ]  # fmt: skip
        found = analyse(rows, TrialOptions("percent", standard="T0"))
        seen += any(c.differs and {c.first, c.second} == {"T0", "T1"}
                    for c in found.of("all" if family == "all" else "check"))  # fmt: skip
    assert promised.chance == pytest.approx(0.8, abs=0.02)
    assert promised.chance - 0.08 < seen / sets < promised.chance + 0.14


# --- what is known of plots -----------------------------------------------------------------------


@pytest.mark.parametrize("measure", list(MEASURES))
def test_every_measure_has_typical_figures_with_their_source(measure: str) -> None:
    found = typical_spread(measure, TABLE)
    assert found.least.variance(found.mean) < found.usual.variance(found.mean)
    assert found.usual.variance(found.mean) < found.most.variance(found.mean)
    assert found.least.treatment_site < found.usual.treatment_site < found.most.treatment_site
    assert {value.status for value in found.values} <= {"derived", "choice"}
    answer = power_answer(usual_layout(None) | {"treatments": 5, "measure": measure}, found)
    assert power_lines(answer, ES, 80)


def test_the_variance_of_a_plot_is_that_of_its_measure() -> None:
    share = PlotSpread("percent", 0.06, 0.0, 0.0, 100.0)
    # standard deviation of 9.8 points at 80 %, and by the slope of the logit 0.16
    assert share.variance(80.0) == pytest.approx(0.06 / 0.16)
    assert math.sqrt(share.variance(80.0)) * 0.16 == pytest.approx(0.098, abs=1e-3)
    count = PlotSpread("count", 1.0, 0.0, shape=0.3)
    assert count.variance(20.0) == pytest.approx(1 / 20 + 0.3)
    assert share.mean(share.linear(37.0)) == pytest.approx(37.0)


def past(*days: int, **sites: str) -> SpreadKnown | None:
    trial = trial_from(tomllib.loads(trial_text("a", "b", weed="POAAN", **sites)))
    seen = rated(trial, *days, levels={"untreated": 0.0, "a": 80.0, "b": 60.0})
    found = [(r, a) for r, a in analysed_rounds(trial, seen) if not r.since]
    looks = [(r.rows, r.options, a) for r, a in found]
    return past_spread("control %", looks, TABLE, sites=len(sites))


def test_a_past_trial_says_how_its_plots_varied() -> None:
    found = past(14, 28, North="2025-11-18")
    assert found is not None
    # ratings were drawn with a standard deviation of 6 points around 80 and 60 %
    assert found.usual.factor == pytest.approx(0.06**2 / 0.2, rel=0.6)
    assert found.least.factor < found.usual.factor < found.most.factor
    assert found.mean == pytest.approx(70, abs=4), "of the treated plots"
    assert [value.path for value in found.values] == ["trial_spread.treatment_site.percent"]
    assert found.usual.treatment_site == 0.25, "one site cannot say"
    three = past(14, North="2025-11-18", South="2025-11-18", West="2025-11-18")
    assert three is not None
    assert three.usual.treatment_site < 0.05, "drawn without any"
    assert three.most.treatment_site >= 0.05, "which chance may hide"
    assert three.most.factor / three.usual.factor < found.most.factor / found.usual.factor
    assert past_spread("control %", [], TABLE, sites=1) is None


def test_typical_figures_follow_from_the_tables_they_cite() -> None:
    """C.V. and means of entries as the NTEP tables print them."""
    cover = {  # C.V. and the means of the entries, %
        6.0: (99.0, 99.0, 97.7, 97.7, 96.0, 94.7, 93.3, 92.7, 88.0, 85.0, 75.0),  # zoysia, NC1
        16.8: (97.3, 86.7, 90.7, 90.0, 83.3, 71.7, 70.7),  # bentgrass, ND1
        13.8: (80.0, 90.0, 80.0, 70.0, 76.7, 81.3, 73.3),  # OK1
        16.9: (72.3, 88.3, 55.3), 12.1: (90.0, 65.3, 53.3),  # sheep fescue, IA1, NC1
        16.6: (66.7, 71.7, 60.0), 64.3: (53.3, 41.7, 15.0),  # QE1, WA1
    }  # fmt: skip
    factors = []
    for cv, entries in cover.items():
        mean = float(np.mean(entries)) / 100
        factors.append((cv / 100 * mean) ** 2 / (mean * (1 - mean)))
    value = TABLE.value("percent.factor")
    assert float(value) == pytest.approx(float(np.median(factors)), abs=0.005)
    assert value.low == pytest.approx(min(factors), abs=0.005)
    assert value.high == pytest.approx(sorted(factors)[-2], abs=0.005)
    # weeds per square foot of Kentucky bluegrass: C.V. 73.8 % at 6.4, 66.1 % at 3.2
    shapes = [0.738**2 - 1 / 6.4, 0.661**2 - 1 / 3.2]
    shape = TABLE.value("count.shape")
    assert min(shapes) - 0.03 < float(shape) < max(shapes)
    # quality of zoysia on single days, steps of 1 to 9
    days = [(cv / 100 * 6.3 / 8) ** 2 / ((6.3 - 1) / 8 * (9 - 6.3) / 8)
            for cv in (6.8, 5.9, 6.7, 18.3, 16.0, 14.7, 7.5, 14.0)]  # fmt: skip
    ordinal = TABLE.value("ordinal.factor")
    assert min(days) < float(ordinal) < max(days)
    assert ordinal.ends[0] == pytest.approx(min(days), abs=0.003)


# --- layouts --------------------------------------------------------------------------------------


def test_more_blocks_help_one_site_and_hardly_several() -> None:
    spread = typical_spread("control %", TABLE)
    found = {(e.blocks, e.sites): e.least for e in
             showable(spread, Wanted(6, "rcbd", 80.0, None, True), [4, 8], [1, 3])}  # fmt: skip
    one, many = (found[8, 1], found[4, 1]), (found[8, 3], found[4, 3])
    assert None not in (*one, *many)
    assert one[0] / one[1] < 0.7  # type: ignore[operator]
    assert many[0] / many[1] > 0.9  # type: ignore[operator]


def test_the_fewest_plots_are_looked_for_among_as_many_sites() -> None:
    spread = typical_spread("control %", TABLE)
    found = showable(spread, Wanted(4, "rcbd", 80.0, 25.0, True), [4, 8], [1, 3])
    best = smallest(found, 1)
    assert best is not None
    assert (best.blocks, best.sites) == (8, 1)
    assert smallest(found, 3) is None


@pytest.mark.parametrize(("measure", "mean", "difference", "other"), [
    ("control %", 80.0, 20.0, 60.0), ("injury %", 10.0, 20.0, 30.0), ("cover %", 30.0, 10.0, 20.0),
    ("count per m2", 40.0, 75.0, 10.0), ("quality 1-9", 7.0, 1.5, 5.5),
])  # fmt: skip
def test_a_difference_is_counted_as_its_measure_is(
    measure: str, mean: float, difference: float, other: float
) -> None:
    spread = typical_spread(measure, TABLE).usual
    assert other_mean(measure, spread, mean, difference) == pytest.approx(other)


@pytest.mark.parametrize(("mean", "difference"), [
    (100.0, None), (0.0, None), (80.0, 80.0), (80.0, -5.0), (80.0, 0.0)
])  # fmt: skip
def test_means_and_differences_beyond_the_scale_are_refused(
    mean: float, difference: float | None
) -> None:
    spread = typical_spread("control %", TABLE)
    with pytest.raises(InputError, match="leaves room for"):
        showable(spread, Wanted(4, "rcbd", mean, difference), [4], [1])


# --- words ----------------------------------------------------------------------------------------


def said(voice: Voice, **asked: float | str) -> str:
    layout = usual_layout(None) | {"treatments": 6}
    spread = typical_spread("control %", TABLE)
    return "\n".join(power_lines(power_answer(layout, spread, **asked), voice, 100))  # type: ignore[arg-type]


def test_the_answer_says_what_to_do_first() -> None:
    text = said(EN)
    first = text.splitlines()[2]
    assert first == (
        "  With 4 blocks at 1 site you will see differences of 40 points or more, in 8 of 10 such"
        " trials."
    )
    assert "What more brings: 30 points with 6 blocks at 1 site" in text
    assert "with 4 blocks at 2 sites" not in text, "less is not brought"
    assert "One site speaks for itself only." in text
    assert "Name a past trial of yours with --from." in text
    assert "NTEP" in text
    assert "4       40 (24–62)" in text
    spanish = said(ES, difference=20.0)
    assert "Con 4 bloques en 1 sitio, mostrar 20 puntos es improbable" in spanish
    assert "medio logit" in spanish


def test_a_difference_that_no_layout_shows_is_said() -> None:
    assert "None of these layouts shows 5 points in 8 of 10 such trials." in said(EN, difference=5)
    text = said(EN, difference=30)
    assert "Fewest plots that show it in 8 of 10 such trials: 6 blocks at 1 site." in text
    assert "Chance that the trial shows 30 points" in text


def test_nothing_left_for_the_error_is_said() -> None:
    layout = usual_layout(None) | {"treatments": 3, "blocks": 1}
    answer = power_answer(layout, typical_spread("control %", TABLE))
    assert answer.asked is None
    assert EN.text(advice(answer)[0]).startswith("With 1 block at 1 site nothing is left")
    paragraphs = power_paragraphs(answer, EN.on_page)
    assert not any("--" in text for text in paragraphs), "nobody types options on a page"


def test_main_plots_vary_besides() -> None:
    raw = tomllib.loads(trial_text("a", "b", North="2025-11-18"))
    raw |= {"design": "split-plot", "timing": [{"code": "A"}, {"code": "B"}]}
    raw["treatment"] = [{"name": "u", "check": "untreated"}, {"name": "x"}, {"name": "y"}]
    layout = usual_layout(trial_from(raw))
    assert (layout["treatments"], layout["main_plots"]) == (5, True)
    answer = power_answer(layout, typical_spread("control %", TABLE))
    assert any("Main plots vary besides" in text for text in power_paragraphs(answer, EN))
    assert "Main plots" not in said(EN)


# --- the command and the page ---------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    text = trial_text("a", "b", weed="POAAN", North="2025-11-18", South="2025-11-18")
    (tmp_path / "past.toml").write_text(text)
    (tmp_path / "next.toml").write_text(text.replace('"Timing"', '"Next"'))
    trial = trial_from(tomllib.loads(text))
    lines = ["site,plot,date,measure,value"]
    lines += [f"{r.location},{r.plot},{r.date},{r.measure},{r.value}" for r in
              rated(trial, 14, 28, levels={"untreated": 0.0, "a": 80.0, "b": 60.0})]  # fmt: skip
    (tmp_path / "r.csv").write_text("\n".join(lines))
    done = CliRunner().invoke(cli, ["trial", "import", "past.toml", "r.csv", "--yes"])
    assert done.exit_code == 0, done.output
    return tmp_path


def test_the_command_takes_the_layout_of_a_trial_and_the_spread_of_another(folder: Path) -> None:
    command = ["trial", "power", "next.toml", "--from", "past.toml", "--difference", "20"]
    text = CliRunner().invoke(cli, command).output
    assert "With 4 blocks at 2 sites" in text
    assert "3 treatments, every one compared with every other" in text
    assert "Plots vary as in Timing, rated on 2 Dec 2025 and 16 Dec 2025." in text
    found = json.loads(CliRunner().invoke(cli, [*command, "--format", "json"]).output)
    assert found["spread"]["past"] == "Timing"
    assert (found["treatments"], found["blocks"], found["sites"]) == (3, 4, 2)
    assert {each["chance"] is None for each in found["layouts"]} == {False}
    more = [*command, "--treatments", "8", "--blocks", "5", "--format", "json"]
    found = json.loads(CliRunner().invoke(cli, more).output)
    assert (found["treatments"], found["blocks"]) == (8, 5)
    assert any(each["blocks"] == 5 for each in found["layouts"])


@pytest.mark.parametrize(("words", "problem"), [
    ([], "--treatments: is missing; say how many there are, or name a trial file"),
    (["next.toml", "--from", "past.toml", "--measure", "cover %"],
     "past.toml: --from: has no analysis of cover % that says how plots vary"),
    (["next.toml", "--from", "next.toml"], "next.toml: has no ratings yet"),
    (["next.toml", "--mean", "120"], "--mean: 120 is no mean that leaves room"),
    (["nope.toml"], "nope.toml: "),
])  # fmt: skip
def test_what_cannot_be_said_is_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], problem: str
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["trial", "power", *words])
    assert end.value.code == 2
    error = capsys.readouterr().err
    assert problem in error
    assert error.count("\n") == 1


def test_the_page_of_a_trial_without_ratings_says_what_it_can_show(folder: Path) -> None:
    browser = client(folder)
    text = browser.get("/trials/next").text
    assert "What this trial can show" in text
    assert "With 4 blocks at 2 sites" in text
    assert "--from" not in text
    assert "What this trial can show" not in browser.get("/trials/past").text


@pytest.mark.parametrize("command", [
    ["power", "next.toml"], ["dose", "past.toml"],
    ["threshold", "past.toml", "--acceptable", "6"],
])  # fmt: skip
def test_without_scipy_a_line_says_what_to_install(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: list[str],
) -> None:
    monkeypatch.setitem(sys.modules, "scipy", None)
    with pytest.raises(SystemExit) as end:
        main(["trial", *command])
    assert end.value.code == 2
    said = capsys.readouterr().err
    assert f"windowcast trial {command[0]} needs the trials extra" in said
    assert said.count("\n") == 1
    page = client(folder).get("/trials/next")
    assert page.status_code == 200
    assert "What this trial can show" not in page.text
