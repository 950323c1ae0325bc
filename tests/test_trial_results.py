"""What a trial's analyses say, and the report with the files that let others check it."""

from __future__ import annotations

import csv
import datetime as dt
import json
import random
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient
from trial_fixtures import trial_text
from web_fixtures import client

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.phrase import say
from windowcast.core.record import Record, Weather
from windowcast.core.site import Site
from windowcast.records.model import Rating
from windowcast.records.trial_analyses import analysed_rounds
from windowcast.records.trial_log import trial_files
from windowcast.records.trial_rounds import days_after, rounds_of
from windowcast.records.trial_weather import applied_hours
from windowcast.records.trials import trial_results
from windowcast.report.catalogue import Voice
from windowcast.report.trial_chart import means_chart
from windowcast.report.trial_dataset import APPLICATIONS, application_rows, table_csv
from windowcast.report.trial_results import methods_text, result_lines, round_said
from windowcast.trials.layout import plan_of
from windowcast.trials.model import AdjustedMean, Comparison, TrialAnalysis
from windowcast.trials.trial_file import TrialFile, trial_from

TOML = trial_text(
    "glyphosate", "simazine", more='authors = ["A. Writer"]', weed="POAAN",
    North="2025-11-18", South="2025-11-20", West="2025-11-25",
).replace('["A"]', '["A"]\nmaterials = ["glyphosate 0.5 lb/acre"]', 1).replace(
    'weed = "POAAN"', 'weed = "POAAN"\ndays = [14, 28]', 1
)  # fmt: skip
EN = Voice("us", "en")
SITES = ("North", "South", "West")


def trial(**changes: Any) -> TrialFile:
    return trial_from(tomllib.loads(TOML) | changes)


def ratings(*days: int, measure: str = "control %") -> list[Rating]:
    """Every plot rated so many days after its site's treatment, give or take a day."""
    chance = random.Random(3)
    found = []
    for plot in plan_of(trial()):
        applied = trial().timing[0].date_at(plot.site)
        assert applied is not None
        middle = {"untreated": 0, "glyphosate": 85, "simazine": 55}[plot.arm.name]
        for day in days:
            late = {"North": 0, "South": 1, "West": 2}[plot.site]
            share = 0 if plot.arm.check else min(100, max(0, round(middle + chance.gauss(0, 6))))
            value = float(share) if measure == "control %" else 4.0 * round((100 - share) / 5)
            found.append(
                Rating(
                    applied + dt.timedelta(days=day + late), value, measure, weed="POAAN",
                    trial="Timing", plot=plot.plot, treatment=plot.arm.name, block=str(plot.block),
                    location=plot.site,
                )
            )  # fmt: skip
    return found


# --- rounds ---------------------------------------------------------------------------------------


def test_a_round_is_the_same_look_at_every_site_though_on_days_of_its_own() -> None:
    found = rounds_of(trial(), ratings(14, 28))
    assert [(r.key, r.day, len(r.dates), len(r.rows)) for r in found] == [
        ("control-poaan-15d", 15, 3, 36), ("control-poaan-29d", 29, 3, 36),
    ]  # fmt: skip
    assert found[0].dates["West"] == dt.date(2025, 12, 11)
    assert found[0].options.checks == ("untreated",)
    assert (found[0].options.kind, found[0].options.high) == ("percent", 100.0)
    assert [row.treatment for row in found[0].rows[::12]] == ["untreated", "glyphosate", "simazine"]


def test_without_planned_days_the_first_of_each_site_go_together() -> None:
    counts = rounds_of(trial(), ratings(40, 80, measure="count per m2"))
    assert [(r.day, r.options.kind) for r in counts] == [(41, "count"), (81, "count")]
    uneven = [r for r in ratings(40, 80, measure="count per m2") if r.location != "West"]
    some = [r for r in ratings(40, measure="count per m2") if r.location == "West"]
    assert len(rounds_of(trial(), uneven + some)) == 5, "else each day for itself"


@pytest.mark.parametrize(
    ("days", "asked"),
    [((21, 28, 35), (14, 28, 56)), ((42, 56, 70), (56,)), ((60, 69), (56,)), ((11, 14, 17), (14,))],
)
def test_no_round_mixes_days_of_one_site(days: tuple[int, ...], asked: tuple[int, ...]) -> None:
    measure = [{"what": "control %", "weed": "POAAN", "days": list(asked)}]
    found = rounds_of(trial(measure=measure), ratings(*days))
    assert sorted(r.days["North"] for r in found if "North" in r.days) == list(days)
    assert [r.frames for r in found] == [1] * len(found)
    assert sum(len(r.rows) for r in found) == 36 * len(days)


def test_rounds_as_long_after_two_applications_are_two_with_two_names() -> None:
    dates = {"North": "2025-12-28", "South": "2025-12-30", "West": "2026-01-04"}
    timing = [t.model_dump() for t in trial().timing] + [{"code": "B", "applied": dates}]
    found = rounds_of(trial(timing=timing), ratings(28, 68))
    assert [(r.key, len(r.rows)) for r in found] == [
        ("control-poaan-29d", 36), ("control-poaan-29d-2", 36),
    ]  # fmt: skip


def test_looks_at_different_ages_are_no_round_though_each_site_has_one() -> None:
    late = [r for r in ratings(80) if r.location == "West"]
    found = rounds_of(trial(), [*(r for r in ratings(45) if r.location != "West"), *late])
    assert sorted(len(r.rows) for r in found) == [12, 12, 12]


def test_before_is_told_by_the_day_and_what_the_trial_file_says_now() -> None:
    counts = ratings(28, measure="count per m2")
    early = [replace(r, date=dt.date(2025, 11, 1), value=40.0) for r in counts]
    (found,) = rounds_of(trial(), [*counts, *early])
    assert {row.before for row in found.rows} == {40.0}, "stored before the treatment was known"
    stale = [replace(r, before=True) for r in counts]
    assert [len(r.rows) for r in rounds_of(trial(), stale)] == [36]
    earlier = [replace(r, date=dt.date(2025, 10, 1), value=90.0) for r in counts]
    (found,) = rounds_of(trial(), [*counts, *early, *earlier])
    assert {row.before for row in found.rows} == {40.0}, "the last day before, not the mean of two"


def test_counts_before_are_a_covariate_and_frames_are_averaged() -> None:
    after = ratings(28, measure="count per m2")
    before = [
        Rating(dt.date(2025, 11, 1), 40.0, r.measure, weed=r.weed, before=True, trial=r.trial,
               plot=r.plot, treatment=r.treatment, block=r.block, location=r.location)
        for r in after[1:]
    ]  # fmt: skip
    (found,) = rounds_of(trial(), [*after, *after, *before])
    assert found.options.before == "covariate"
    assert found.frames == 2
    assert sum(row.before is None for row in found.rows) == 1, "said by the analysis, not hidden"
    assert days_after(trial(), "North", dt.date(2025, 11, 1)) is None


def test_a_factorial_names_its_factors_and_a_split_plot_its_main_plots() -> None:
    raw = tomllib.loads(TOML)
    raw |= {"design": "split-plot", "timing": [{"code": "A"}, {"code": "B"}]}
    raw["treatment"] = [{"name": "u", "check": "untreated"}, {"name": "x"}, {"name": "y"}]
    asked = trial_from(raw)
    day = dt.date(2025, 12, 1)
    rated = [
        Rating(day, 5.0, "injury %", trial="Timing", plot=p.plot, treatment=p.arm.name,
               block=str(p.block), location=p.site)
        for p in plan_of(asked)
    ]  # fmt: skip
    (found,) = rounds_of(asked, [*rated, Rating(day, 5.0, "injury %", plot="9", treatment="z")])
    assert found.strangers == ("z",)
    assert {row.whole_plot for row in found.rows} == {"A", "B"}
    factors = {row.treatment: dict(row.factors) for row in found.rows}
    assert factors["x B"] == {"timing": "B", "treatment": "x"}
    assert factors["u"] == {}


@pytest.mark.parametrize("measure", ["control %", "count per m2"])
def test_review_and_trial_analyse_take_the_same_ratings_alike(measure: str) -> None:
    seen = [replace(r, date=dt.date(2025, 12, 20)) for r in ratings(28, measure=measure)]
    before = [replace(r, date=dt.date(2025, 11, 1), value=40.0 + 2 * int(r.block), before=True)
              for r in seen]  # fmt: skip
    ((found, ours),) = analysed_rounds(trial(), [*seen, *before])
    (reviewed,) = trial_results([*seen, *before])
    assert found.options.before == ("covariate" if measure == "count per m2" else "none")
    theirs = reviewed.analysis
    assert theirs is not None
    assert (ours.kind, ours.model, ours.notes) == (theirs.kind, theirs.model, theirs.notes)
    means = {m.treatment: m for m in theirs.means}
    for mean in ours.means:
        other = means[mean.treatment]
        assert (mean.letters, mean.plots, mean.bound) == (other.letters, other.plots, other.bound)
        assert (mean.mean, mean.low, mean.high) == pytest.approx(
            (other.mean, other.low, other.high)
        )


def test_of_a_trial_with_a_file_beside_the_log_review_names_the_command(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(TOML)
    (tmp_path / "broken.toml").write_text("name = ")
    log = tmp_path / "t.log.sqlite"
    files = {name: file.name for name, file in trial_files(log).items()}
    assert files == {"Timing": "t.toml"}
    assert not trial_files(tmp_path / "other.log.sqlite"), "its ratings are kept elsewhere"
    seen = ratings(28)
    other = [replace(r, trial="By hand") for r in seen]
    results = trial_results([*seen, *other], files)
    assert [r.analysis is None for r in results if r.trial == "Timing"] == [True] * 3
    assert all(r.analysis is not None for r in results if r.trial == "By hand")
    said = [EN.text(note) for r in results for note in r.notes if note.id == "trial.has_file"]
    assert len(said) == 3
    assert said[0].endswith("windowcast trial analyse t.toml")


# --- words and figures ----------------------------------------------------------------------------


def analysis() -> TrialAnalysis:
    means = (
        AdjustedMean("untreated", 12, 0.0, 0.0, 7.2, "b", bound=True),
        AdjustedMean("glyphosate", 12, 85.8, 80.0, 90.2, "a"),
    )
    against = Comparison("check", "glyphosate", "untreated", 3.1, 2.0, 4.2, 20.0, 0.0004)
    return TrialAnalysis(
        "percent", means=means, comparisons=(against,), model=say("trial_page.rate")
    )


def test_a_table_gives_means_ranges_letters_and_the_check() -> None:
    (found,) = rounds_of(trial(), ratings(28))
    said = round_said(found, analysis(), EN)
    assert said.title == "Weed control (%), annual bluegrass, 29 days after treatment"
    assert said.dates == "North 16 Dec 2025, South 19 Dec 2025, West 25 Dec 2025"
    assert said.rows == (
        ("untreated", "12", "0.0", "at most 7.2", "b", ""),
        ("glyphosate", "12", "85.8", "80.0 to 90.2", "a", "p < 0.001, differs"),
    )
    text = "\n".join(result_lines("Timing", [(found, analysis())], EN))
    assert "Against untreated" in text
    spanish = round_said(found, analysis(), Voice("us", "es"))
    assert spanish.rows[0][3] == "como máximo 7.2"


def test_the_methods_name_the_model_the_error_of_the_check_and_what_was_missing() -> None:
    found = rounds_of(trial(), [r for r in ratings(28, 60) if r.plot != "101"])
    title = "weed control (%), annual bluegrass, {} days after treatment"
    with_check = replace(analysis(), variances={"check": 1.0, "plot": 1.0})
    failed = TrialAnalysis("percent", problem=say("analysis.no_error_left"))
    text = methods_text([(found[0], with_check), (found[1], failed)], EN, planned=36)
    assert text.startswith(f"A model was fitted to {title.format(29)}: ")
    for sentence in (
        "estimated by REML", "those of Kenward and Roger.", "(Dunnett)",
        "Plots of untreated had a variance of their own.",
        f"3 of 36 plots are missing ({title.format(29)}; {title.format(61)}).",
        f"repeat each treatment in more blocks ({title.format(61)}).", "Worked out with windowcast",
    ):  # fmt: skip
        assert sentence in text
    one = [(found[0], analysis())]
    assert "variance of their own" not in methods_text(one, EN)
    assert "No plot was missing." in methods_text(one, EN, planned=len(found[0].rows))
    assert "missing" not in methods_text(one, EN), "without a plan nobody knows"


@pytest.mark.parametrize(("low", "high", "text"), [
    (0.0, 7.2, "at most 7.2"), (92.8, 100.0, "at least 92.8"),
    (49.5, 50.5, "49.5 to 50.5, a bound"),
    (0.0, 100.0, "0.0 to 100.0, a bound"),
])  # fmt: skip
def test_a_bound_at_the_end_of_the_scale_is_one_number(low: float, high: float, text: str) -> None:
    (found,) = rounds_of(trial(), ratings(28))
    mean = AdjustedMean("untreated", 12, (low + high) / 2, low, high, "a", bound=True)
    said = round_said(found, replace(analysis(), means=(mean,)), EN)
    assert said.rows[0][3] == text
    assert said.remarks[0].startswith("Between treatments that share a letter no difference shows")


def test_one_analysis_that_failed_says_so_and_costs_no_other() -> None:
    (found,) = rounds_of(trial(), ratings(28))
    failed = TrialAnalysis("percent", problem=say("trial_page.none_rated"))
    lines = result_lines("Timing", [(found, failed), (found, analysis())], EN)
    assert "  No analysis: Nothing was rated yet.." in lines
    assert any("85.8" in line for line in lines)


def test_a_figure_shows_each_mean_within_its_range() -> None:
    (found,) = rounds_of(trial(), ratings(28))
    result = (found, analysis())
    chart = means_chart(result, round_said(*result, EN), EN)
    assert chart is not None
    assert chart.svg.count('class="dot"') == 2
    assert chart.svg.count("stroke-dasharray") == 1, "a bound is dotted"
    assert ">Weed control (%), annual bluegrass</text>" in chart.svg, "no title is cut at the edge"
    assert ">29 days after treatment</text>" in chart.svg


# --- from ratings to report -----------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.toml").write_text(TOML)
    lines = ["site,plot,date,measure,value"]
    for rating in [*ratings(28), *ratings(56, measure="count per m2")]:
        value = rating.value / 4 if rating.measure[:5] == "count" else rating.value
        lines.append(f"{rating.location},{rating.plot},{rating.date},{rating.measure},{value}")
    (tmp_path / "r.csv").write_text("\n".join(lines))
    done = CliRunner().invoke(cli, ["trial", "import", "t.toml", "r.csv", "--yes"])
    assert done.exit_code == 0, done.output
    return tmp_path


def test_analyse_says_means_letters_and_control(folder: Path) -> None:
    text = CliRunner().invoke(cli, ["trial", "analyse", "t.toml"]).output
    assert "Weed control (%), annual bluegrass, 29 days after treatment" in text
    assert "Weed count per m², annual bluegrass, 57 days after treatment" in text
    assert "% less (" in text
    found = json.loads(
        CliRunner().invoke(cli, ["trial", "analyse", "t.toml", "--format", "json"]).output
    )
    assert [r["kind"] for r in found["rounds"]] == ["percent", "count"]
    control = {m["treatment"]: m["mean"] for m in found["rounds"][0]["means"]}
    assert control["glyphosate"] == pytest.approx(85, abs=4)
    assert control["untreated"] == 0


def test_against_names_a_treatment_and_no_ratings_are_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = CliRunner().invoke(cli, ["trial", "analyse", "t.toml", "--against", "simazine"]).output
    assert "Against simazine" in text
    (folder / "u.toml").write_text(TOML)
    for words, said in (
        (["t.toml", "--against", "x"], "'x' is no treatment of the trial"),
        (["u.toml"], "u.toml: has no ratings yet; read some with windowcast trial import"),
    ):
        with pytest.raises(SystemExit) as end:
            main(["trial", "analyse", *words])
        assert end.value.code == 2
        assert said in capsys.readouterr().err


def test_each_site_was_sprayed_in_its_own_weather(tmp_path: Path) -> None:
    asked: list[tuple[str, dt.date]] = []

    def load(site: Site, until: dt.date) -> Weather:
        asked.append((site.name, until))
        if site.name == "West":
            raise InputError("cannot be read", path="west.csv")
        days = np.array([until - dt.timedelta(1)], "datetime64[D]")
        warm = {"North": 9.0, "South": 14.0}[site.name]
        hours = days[0].astype("datetime64[h]") + np.arange(24)
        daily, hourly = ({"tmax_c": np.array([warm])}, {"temp_c": np.full(24, warm)})
        return Weather(
            Record(site.place, days, daily, {"tmax_c": np.zeros(1, np.uint8)}),
            Record(site.place, hours, hourly, {"temp_c": np.zeros(24, np.uint8)}),
            until,
        )

    applied = {s: f"2025-11-{18 + n}T10:15:00" for n, s in enumerate(SITES)}
    asked_of = trial(timing=[{"code": "A", "applied": applied}, {"code": "B"}])
    found = applied_hours(asked_of, tmp_path, load)
    assert [hour.weather.temp_c for hour in found] == [9.0, 14.0, None]
    assert found[2].problem is not None
    assert asked[1] == ("South", dt.date(2025, 11, 20))
    rows = application_rows(found)
    assert rows[0]["applied"] == "2025-11-18T10:15:00-05:00"
    assert table_csv(APPLICATIONS, rows).splitlines()[1].startswith("North,A,2025-11-18T10:15:00")


@pytest.mark.slow
def test_the_report_holds_all_and_its_script_finds_the_same_means(folder: Path) -> None:
    import subprocess
    import sys

    done = CliRunner().invoke(cli, ["trial", "report", "t.toml", "--out", "rep"])
    assert done.exit_code == 0, done.output
    files = {path.name for path in Path("rep").iterdir()}
    assert files >= {
        "report.html", "methods.txt", "ratings.csv", "rounds.csv", "means.csv", "comparisons.csv",
        "plan.csv", "datapackage.json", "reproduce.py", "control-poaan-29d.svg",
        "control-poaan-29d.png", "count-poaan-57d.svg", "count-poaan-57d.png",
    }  # fmt: skip
    assert Path("rep/control-poaan-29d.png").read_bytes()[:4] == b"\x89PNG"
    package = json.loads(Path("rep/datapackage.json").read_text("utf-8"))
    assert package["contributors"] == [{"title": "A. Writer", "role": "author"}]
    for resource in package["resources"]:
        with Path("rep", resource["path"]).open(encoding="utf-8") as stream:
            header = next(csv.reader(stream))
        assert header == [field["name"] for field in resource["schema"]["fields"]]
    command = [sys.executable, "-I", "reproduce.py"]
    out = subprocess.run(command, cwd="rep", capture_output=True, text=True, check=True).stdout
    rows = [line.split() for line in out.splitlines()[1:]]
    assert len(rows) == 6
    for key, name, reported, refitted, bare in rows:
        near = max(1.0, 0.05 * float(bare))
        assert float(reported) == pytest.approx(float(refitted), abs=near), (key, name)
    assert "windowcast" not in Path("rep/reproduce.py").read_text("utf-8").partition("import")[2]


@pytest.mark.slow
def test_a_report_writes_over_no_ratings_of_somebody_else(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    raw = folder / "ratings.csv"
    raw.write_text("plot,control\n101,85\n")
    before = sorted(folder.iterdir())
    with pytest.raises(SystemExit) as ended:
        main(["trial", "report", "t.toml", "--out", "."])
    assert ended.value.code == 2
    assert "has a ratings.csv that is not of a report; name a new folder" in capsys.readouterr().err
    assert raw.read_text() == "plot,control\n101,85\n"
    assert sorted(folder.iterdir()) == before
    for _ in range(2):  # a report is written anew over itself
        main(["trial", "report", "t.toml", "--out", "report"])
    assert (folder / "report" / "ratings.csv").is_file()


@pytest.mark.parametrize("words", [
    ["trial", "sheet", "t.toml", "--out", "t.toml"],
    ["trial", "plan", "t.toml", "--page", "t.toml"],
    ["rank", "--sample", "--page", "t.toml"],
])  # fmt: skip
def test_a_page_is_written_over_no_file_but_a_page(
    folder: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    before = (folder / "t.toml").read_text()
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert "t.toml is there already, and is no page; end the page's name in .html" in said
    assert (folder / "t.toml").read_text() == before


def test_the_page_shows_the_results(folder: Path) -> None:
    browser: TestClient = client(folder)
    text = browser.get("/trials/t/results").text
    assert text.count('<svg class="chart"') == 2
    assert "85" in text
    (folder / "v.toml").write_text(TOML.replace('"Timing"', '"Other"'))
    assert "Nothing was rated yet." in browser.get("/trials/v/results").text
