"""Dose and response as a reader meets it: tables in, curves, ratios, figure and words out."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import cast

import numpy as np
import pytest
import xlsxwriter
from click.testing import CliRunner
from dose_data import BENTAZONE, DIURON, GLYPHOSATE, SECALONIC, paired
from trial_fixtures import rated, trial_text
from web_fixtures import client

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.phrase import Name
from windowcast.records.dose_trials import doses_of_file, doses_of_round
from windowcast.records.trial_rounds import rounds_of
from windowcast.report.catalogue import Voice
from windowcast.report.dose_chart import dose_chart, dose_ticks
from windowcast.report.figures_png import dose_png
from windowcast.report.trial_dose import dose_said
from windowcast.trials.dose_populations import dose_findings
from windowcast.trials.dose_response import fit_curve, fit_together, resistance_ratio
from windowcast.trials.dose_table import DoseColumns, DoseRow, DoseTable, read_doses
from windowcast.trials.trial_file import trial_from

EN, ES = Voice("us", "en"), Voice("us", "es")
MUSTARD = {"Bentazone": paired(cast("dict[float, tuple[float, ...]]", BENTAZONE)),
           "Glyphosate": paired(cast("dict[float, tuple[float, ...]]", GLYPHOSATE))}  # fmt: skip
BARE = DoseColumns({})


# --- against published figures --------------------------------------------------------------------


def test_curves_with_the_same_ends_are_those_of_drc() -> None:
    # drm(DryMatter~Dose, Herbicide, fct=LL.4(), pmodels=data.frame(Herbicide,1,1,Herbicide)), as
    # the reference page S.alba of the R package prints it (github.com/hreinwald/drc)
    curves, between = fit_together(MUSTARD)
    bentazone, glyphosate = curves["Bentazone"], curves["Glyphosate"]
    assert (bentazone.slope, bentazone.ed50) == pytest.approx((5.046141, 28.632355), rel=3e-3)
    assert (glyphosate.slope, glyphosate.ed50) == pytest.approx((2.390218, 66.890545), rel=3e-3)
    assert (bentazone.low, bentazone.high) == pytest.approx((0.716559, 3.854861), rel=3e-3)
    assert bentazone.residual == pytest.approx(0.3705151, rel=1e-4)
    assert bentazone.residual < 0.37051515, "no worse than its least squares"
    assert bentazone.df == 62
    # its errors come from the observed information, ours from the expected one
    assert bentazone.errors[1:3] == pytest.approx((0.089245, 0.076255), rel=0.06)
    assert bentazone.errors[3] == pytest.approx(2.038098, rel=0.06)
    assert glyphosate.errors[3] == pytest.approx(5.968819, rel=0.06)
    ratio = resistance_ratio(
        glyphosate, bentazone, between=between["Glyphosate", "Bentazone"]
    )  # fmt: skip
    assert ratio.ratio == pytest.approx(66.890545 / 28.632355, rel=2e-3)
    assert ratio.resistant


def test_separate_curves_give_the_ratio_of_drc() -> None:
    # EDcomp(spinach.LL.4, c(50, 50)): 4/5:50/50 is 0.9361120, p 0.416 with the error of all five
    # curves (reference page EDcomp, github.com/hreinwald/drc)
    four, five = (fit_curve(*paired(cast("dict[float, tuple[float, ...]]", DIURON[name])))
                  for name in "45")  # fmt: skip
    ratio = resistance_ratio(four, five)
    assert ratio.ratio == pytest.approx(0.9361120, rel=1e-3)
    assert ratio.p > 0.2
    assert not ratio.resistant


def test_seven_means_give_the_curve_of_drc() -> None:
    # drm(rootl ~ dose, fct = LL.4()): reference page secalonic (github.com/hreinwald/drc)
    found = fit_curve(list(SECALONIC), list(SECALONIC.values()))
    numbers = found.slope, found.low, found.high, found.ed50
    assert numbers == pytest.approx((2.6542086, 0.0917852, 5.5297495, 0.0803547), rel=1e-4)
    assert found.residual == pytest.approx(0.2957497, rel=1e-5)
    assert found.errors == pytest.approx((0.6962333, 0.3747246, 0.2010300, 0.0078829), rel=0.09)
    assert math.isnan(found.misfit_p), "no dose was repeated"


def test_what_rises_with_the_dose_is_the_same_curve_upside_down() -> None:
    found = fit_curve(list(SECALONIC), list(SECALONIC.values()))
    control = fit_curve(list(SECALONIC), [100 - 10 * y for y in SECALONIC.values()])
    assert control.ed50 == pytest.approx(found.ed50, rel=1e-5)
    assert control.slope == pytest.approx(found.slope, rel=1e-5)
    assert control.dose_of(90).dose == pytest.approx(found.dose_of(90).dose, rel=1e-5)
    assert control.low > control.high, "control is highest at the highest doses"
    assert control.response(np.array([0.0]))[0] == control.high


def test_a_curve_that_misses_the_means_is_found_out() -> None:
    rng = np.random.default_rng(1)
    doses = np.repeat([0.0, 1, 2, 4, 8, 16, 32], 4)
    hump = np.where(doses == 2, 14.0, 10 / (1 + (doses / 8) ** 2)) + rng.normal(0, 0.3, len(doses))
    assert fit_curve(list(doses), list(hump)).misfit_p < 0.001


# --- tables ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("header", "unit"), [
    ("rate (g ai/ha),biotype,dry weight (g)", "g ai/ha"), ("dose_g_ha;Population;Biomass", "g/ha"),
    ("Dosis,Población,Peso seco", ""), ("Rate lb/acre,accession,control %", "lb/acre"),
])  # fmt: skip
def test_columns_are_read_by_the_names_people_use(header: str, unit: str) -> None:
    mark = ";" if ";" in header else ","
    rows = [mark.join(cells) for cells in (("0", "S", "4.5"), ("20", "S", "2"), ("20", "R", ""))]
    found = read_doses("\n".join([header, *rows]), "pots.csv", BARE)
    assert found.rows == (DoseRow("S", 0.0, 4.5), DoseRow("S", 20.0, 2.0))
    assert (found.unit, found.empty) == (unit, 1)


def test_population_and_active_together_tell_curves_apart() -> None:
    text = "rep,curve,herbicide,dose,y\n1,a,x,1,5\n1,b,x,1,5"
    found = read_doses(text, "p.csv", BARE)
    assert list(found.populations) == ["a, x", "b, x"]
    assert found.unused == ("rep",)


@pytest.mark.parametrize(("text", "said", "problem"), [
    ("dose,SLOPE\n1,2", {}, "no column that is plainly the response; name it: FILE:response=NAME"),
    ("dose,weight,height\n1,2,3", {}, "'weight' and 'height' could both be the response"),
    ("dose,weight,height\n1,2,3", {"response": "depth"}, "no column is called 'depth'"),
    ("dose,weight,run\n1,2,3", {}, "row 1: run: column 'run' is not known"),
    ("dose,weight\n1,2\n-3,2", {}, "row 3: dose: -3 is below zero"),
    ("dose,weight\n1,2\n3,dead", {}, "row 3: weight: 'dead' is not a number"),
    ("dose,weight\n1,inf", {}, "row 2: weight: 'inf' is not a number"),
    ("dose,weight\nNaN,1", {}, "row 2: dose: 'NaN' is not a number"),
    ("dose,weight\n", {}, "has a header but no rows"),
    ('dose,weight\n1,"1,234"', {}, "could be 1234 or 1.234"),
])  # fmt: skip
def test_what_a_table_leaves_open_is_asked(text: str, said: dict[str, str], problem: str) -> None:
    with pytest.raises(InputError) as error:
        read_doses(text, "pots.csv", DoseColumns(said))  # type: ignore[arg-type]
    assert problem in str(error.value)


# --- words and figure -----------------------------------------------------------------------------


def table(**populations: tuple[list[float], list[float]]) -> DoseTable:
    rows = [DoseRow(name, *each) for name, pair in populations.items()
            for each in zip(*pair, strict=True)]  # fmt: skip
    return DoseTable(tuple(rows), "dry weight", "dose", "g/ha")


def test_doses_beyond_those_tested_are_marked() -> None:
    of = table(Glyphosate=MUSTARD["Glyphosate"], Bentazone=MUSTARD["Bentazone"])
    found = dose_findings(of.populations, low=0.0, susceptible="Bentazone")
    said = dose_said("k", Name(of.response), of, found, EN)
    assert said.title == "Dose and response: dry weight"
    assert said.columns == ("Population", "Values", "ED50", "ED90", "Slope")
    assert said.rows[0][3] == "440 g/ha (272 to 711) *"
    assert not said.rows[1][3].endswith("*")
    text = " ".join(said.remarks)
    assert "ED90 of Glyphosate lies above the highest dose tested, 320 g/ha." in text
    assert "Glyphosate needs 2.55 times the dose of Bentazone for 50 %" in text
    assert "name it with --susceptible" not in text
    spanish = dose_said("k", Name(of.response), of, found, ES)
    assert "necesita 2.55 veces la dosis de Bentazone" in " ".join(spanish.remarks)


def test_a_population_without_a_curve_costs_no_other() -> None:
    doses, weights = MUSTARD["Bentazone"]
    alive = [4.1] * len(doses)
    of = table(S=(doses, weights), R=(doses, alive), few=([0.0, 1.0, 2.0], [4.0, 4.0, 4.0]))
    found = dose_findings(of.populations, susceptible="S")
    said = dose_said("k", Name(of.response), of, found, EN)
    assert said.rows[0][2].startswith("29.3")
    assert said.rows[2][2] == "–"
    text = " ".join(said.remarks)
    assert "few: 3 values of 3 doses are too few for a curve." in text
    assert "R: no curve fits these values. Test doses on both sides" in text
    assert "R: the highest dose, 640 g/ha, did less than half" in text
    with pytest.raises(InputError, match="'Z' is no population here; use one of S, R, few"):
        dose_findings(of.populations, susceptible="Z")


@pytest.mark.parametrize(("seed", "values", "middle", "spread", "cell"), [
    (5, 2, 30.0, 1.2, "1740 g/ha (could be any) *"),
    (4, 3, 12.0, 1.2, "294 g/ha (5.43 or more) *"),
])  # fmt: skip
def test_ranges_without_an_end_say_so(
    seed: int, values: int, middle: float, spread: float, cell: str
) -> None:
    """An end a thousand times beyond what was tested is none."""
    doses = np.repeat([0.0, 1, 2, 4, 8], values)
    slope = 0.7 if values == 2 else 1.0
    noise = np.random.default_rng(seed).normal(0, spread, len(doses))
    of = table(R=(list(doses), list(10 / (1 + (doses / middle) ** slope) + noise)))
    found = dose_findings(of.populations, low=0.0)
    assert dose_said("k", Name(of.response), of, found, EN).rows[0][3] == cell


def test_the_figure_has_a_mark_for_each_value_and_a_line_for_each_curve() -> None:
    of = table(Glyphosate=MUSTARD["Glyphosate"], Bentazone=MUSTARD["Bentazone"])
    found = dose_findings(of.populations)
    said = dose_said("k", Name(of.response), of, found, EN)
    chart = dose_chart(said, of, found, EN)
    assert chart.svg.count('class="dot"') == 68 + 2, "each value, and the legend"
    assert chart.svg.count('<path d="M') - chart.svg.count('Z" class="dot"') == 2
    assert ">dose (g/ha)</text>" in chart.svg
    assert ">Glyphosate</text>" in chart.svg
    assert dose_png(said, of, found, EN)[:4] == b"\x89PNG"
    assert dose_ticks(10, 640) == [10, 20, 50, 100, 200, 500]
    assert dose_ticks(0.001, 1000) == [0.001, 0.01, 0.1, 1, 10, 100, 1000]


# --- the command, a trial, its report and page ----------------------------------------------------


@pytest.fixture
def pots(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    lines = ["rate (g/ha),herbicide,dry weight"]
    lines += [f"{dose},{name},{y}" for name, pair in MUSTARD.items()
              for dose, y in zip(*pair, strict=True)]  # fmt: skip
    (tmp_path / "pots.csv").write_text("\n".join(lines))
    return tmp_path


def test_the_command_says_it_in_words_json_and_a_picture(pots: Path) -> None:
    run = CliRunner().invoke
    text = run(cli, ["trial", "dose", "pots.csv", "--same-ends", "--picture", "p.svg"]).output
    assert "Glyphosate needs 2.34 times the dose of Bentazone for 50 %" in text
    assert "name it with --susceptible" in text
    assert "begin and end at the same responses" in text
    assert (pots / "p.svg").read_text("utf-8").startswith("<svg")
    found = json.loads(run(cli, ["trial", "dose", "pots.csv", "--format", "json"]).output)
    (one,) = found["analyses"]
    assert one["unit"] == "g/ha"
    assert one["susceptible"] == "Bentazone"
    assert one["susceptible_named"] is False
    assert one["populations"][0]["curve"]["df"] == 32
    assert one["ratios"][0]["resistant"] is True


@pytest.mark.parametrize(("words", "problem"), [
    (["none.csv"], "none.csv: "),
    (["pots.csv", "--susceptible", "X"], "pots.csv: susceptible: 'X' is no population here"),
    (["pots.csv", "--picture", "p.gif"], "'p.gif' is neither SVG nor PNG"),
    (["pots.csv", "--round", "x"], "--round: is for a trial file"),
    (["pots.csv:response=nope"], "no column is called 'nope'"),
    (["t.toml"], "has no active ingredient at 4 rates or more"),
])  # fmt: skip
def test_what_cannot_be_done_is_one_line(
    pots: Path, capsys: pytest.CaptureFixture[str], words: list[str], problem: str
) -> None:
    of_rates(pots, "0.5 lb/acre")
    with pytest.raises(SystemExit) as end:
        main(["trial", "dose", *words])
    assert end.value.code == 2
    error = capsys.readouterr().err
    assert problem in error
    assert error.count("\n") == 1


def of_rates(folder: Path, *rates: str) -> None:
    """A trial of rates of glyphosate at two sites, with its ratings read in."""
    names = [f"glyphosate {rate}" for rate in rates]
    text = trial_text(*names, weed="POAAN", North="2025-11-18", South="2025-11-18")
    for name in names:
        text = text.replace(f'name = "{name}"', f'name = "{name}"\nmaterials = ["{name}"]')
    (folder / "t.toml").write_text(text)
    asked = trial_from(tomllib.loads(text))
    levels = {"untreated": 0.0}
    for name, rate in zip(names, rates, strict=True):
        levels[name] = 98 / (1 + (0.3 / float(rate.split()[0])) ** 2.5)
    lines = ["site,plot,date,measure,value"]
    lines += [f"{r.location},{r.plot},{r.date},{r.measure},{r.value}"
              for r in rated(asked, 28, levels=levels)]  # fmt: skip
    (folder / "r.csv").write_text("\n".join(lines))
    done = CliRunner().invoke(cli, ["trial", "import", "t.toml", "r.csv", "--yes"])
    assert done.exit_code == 0, done.output


def test_a_trial_of_rates_gives_a_curve_for_each_site_in_the_readers_unit(pots: Path) -> None:
    of_rates(pots, *(f"{rate} lb/acre" for rate in (0.1, 0.2, 0.4, 0.8)))
    run = CliRunner().invoke
    found = json.loads(run(cli, ["trial", "dose", "t.toml", "--format", "json"]).output)
    (one,) = found["analyses"]
    assert one["key"] == "control-poaan-28d"
    assert one["unit"] == "kg ha-1"
    assert [p["population"] for p in one["populations"]] == [
        "glyphosate, North", "glyphosate, South"
    ]  # fmt: skip
    for population in one["populations"]:  # drawn with 0.3 lb/acre, 0.336 kg/ha
        ends = population["doses"][0]
        assert ends["low"] < 0.336 < ends["high"]
    text = run(cli, ["trial", "dose", "t.toml", "--round", "control-poaan-28d"]).output
    assert "lb/acre" in text
    assert "Weed control (%), annual bluegrass, 28 days after treatment" not in text
    assert "weed control (%), annual bluegrass, 28 days after treatment" in text


def test_doses_of_a_trial_are_told_without_fitting_its_plots(
    pots: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_rates(pots, *(f"{rate} lb/acre" for rate in (0.1, 0.2, 0.4, 0.8)))

    def never(*_: object, **__: object) -> None:
        raise AssertionError("an analysis that nobody reads")

    monkeypatch.setattr("windowcast.trials.analysis.analyse", never)
    done = CliRunner().invoke(cli, ["trial", "dose", "t.toml"], catch_exceptions=False)
    assert "ED50" in done.output


def test_treatments_that_are_more_than_a_rate_are_no_doses() -> None:
    names = ("glyphosate 0.2 lb/acre", "glyphosate 0.4 lb/acre", "glyphosate 0.8 lb/acre")
    text = trial_text(*names, "mix", weed="POAAN", North="2025-11-18")
    for name in names:
        text = text.replace(f'name = "{name}"', f'name = "{name}"\nmaterials = ["{name}"]')
    text = text.replace(
        'name = "mix"', 'name = "mix"\nmaterials = ["glyphosate 1 lb/acre; simazine 1 lb/acre"]'
    )
    trial = trial_from(tomllib.loads(text))
    levels = {"untreated": 0.0, "mix": 99.0, **dict.fromkeys(names, 50.0)}
    (found,) = rounds_of(trial, rated(trial, 28, levels=levels))
    of = doses_of_round(trial, found)
    assert of is not None
    assert len(of.rows) == 16, "not the mixture"
    apart = text.replace(
        '["glyphosate 0.8 lb/acre"]', '["glyphosate 0.8 lb/acre"]\nadjuvant = "oil"'
    )
    assert doses_of_round(trial_from(tomllib.loads(apart)), found) is None, "three doses alike"


@pytest.mark.slow
def test_report_and_page_show_the_curves(pots: Path) -> None:
    of_rates(pots, *(f"{rate} lb/acre" for rate in (0.1, 0.2, 0.4, 0.8)))
    done = CliRunner().invoke(cli, ["trial", "report", "t.toml", "--out", "rep"])
    assert done.exit_code == 0, done.output
    files = {path.name for path in Path("rep").iterdir()}
    assert {"doses.csv", "dose-control-poaan-28d.svg", "dose-control-poaan-28d.png"} <= files
    assert len(Path("rep/doses.csv").read_text().splitlines()) == 5
    html = Path("rep/report.html").read_text("utf-8")
    page = client(pots).get("/trials/t/results").text
    for text in (html, page):
        assert "Dose and response: weed control (%), annual bluegrass" in text
        assert "--susceptible" not in text, "nobody types commands on a page"


def test_doses_are_read_from_the_sheet_that_is_named(tmp_path: Path) -> None:
    rows = [("dose", "response"), *((dose, 10.0 - dose) for dose in (0.0, 1.0, 2.0, 4.0, 8.0))]
    with xlsxwriter.Workbook(tmp_path / "both.xlsx") as book:
        for name in ("notes", "doses"):
            sheet = book.add_worksheet(name)
            for row, cells in enumerate(rows if name == "doses" else [("what", "who")]):
                sheet.write_row(row, 0, cells)
    (tmp_path / "one.csv").write_text("".join(f"{a},{b}\n" for a, b in rows))
    named = doses_of_file(f"{tmp_path / 'both.xlsx'}:sheet=doses")
    assert named.rows == doses_of_file(tmp_path / "one.csv").rows
    with pytest.raises(InputError, match="sheet"):
        doses_of_file(tmp_path / "both.xlsx")
