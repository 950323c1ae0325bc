"""A measure rated on several days: each plot's mean over these days, as an analysis of its own."""

from __future__ import annotations

import csv
import datetime as dt
import json
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from trial_fixtures import rated, trial_text

from windowcast.cli import cli
from windowcast.records.model import Rating
from windowcast.records.trial_analyses import analysed_rounds, rounds_over_days
from windowcast.records.trial_rounds import rounds_of
from windowcast.report.catalogue import Voice
from windowcast.report.trial_results import methods_text, round_said
from windowcast.trials.trial_file import TrialFile, trial_from

DAYS = {"North": "2025-11-18", "South": "2025-11-20"}
TOML = trial_text("glyphosate", "simazine", weed="POAAN", **DAYS)
EN, ES = Voice("us", "en"), Voice("us", "es")
LEVELS = {"untreated": 0.0, "glyphosate": 80.0, "simazine": 50.0}


def trial() -> TrialFile:
    return trial_from(tomllib.loads(TOML))


def ratings(*days: int) -> list[Rating]:
    return rated(trial(), *days, levels=LEVELS)


def test_two_ratings_or_more_make_one_more_round_over_their_days() -> None:
    rounds = rounds_of(trial(), ratings(14, 28, 56))
    (over,) = rounds_over_days(trial(), rounds)
    assert (over.key, over.span, over.day) == ("control-poaan-14-to-56d", (14, 56), None)
    assert over.since == {"North": dt.date(2025, 12, 2), "South": dt.date(2025, 12, 4)}
    assert over.dates == {"North": dt.date(2026, 1, 13), "South": dt.date(2026, 1, 15)}
    # by hand, for the first plot: half of the sum of neighbours times the days between
    plot = over.rows[5]
    one, two, three = (
        next(r.value for r in found.rows if (r.site, r.plot) == (plot.site, plot.plot))
        for found in rounds
    )
    area = 14 * (one + two) / 2 + 28 * (two + three) / 2
    assert plot.value == pytest.approx(area / 42)
    assert not rounds_over_days(trial(), rounds_of(trial(), ratings(14)))


def test_only_ratings_that_every_site_has_are_taken() -> None:
    measure = [{"what": "control %", "weed": "POAAN", "days": [14, 28, 56]}]
    planned = trial_from(tomllib.loads(TOML) | {"measure": measure})
    seen = [r for r in ratings(14, 28, 56) if r.location == "North" or r.date.month == 12]
    (over,) = rounds_over_days(planned, rounds_of(planned, seen))
    assert (over.span, over.apart) == ((14, 28), 1)
    said = round_said(*analysed_rounds(planned, seen)[-1], EN)
    assert "1 rating is left out, because not every site has it." in said.remarks
    alone = [r for r in ratings(14, 28) if r.location == "North" or r.date.day < 10]
    assert not rounds_over_days(trial(), rounds_of(trial(), alone))


def test_an_application_between_is_no_span_of_days_after_one() -> None:
    again = {"North": "2025-12-10", "South": "2025-12-12"}
    timing = [t.model_dump() for t in trial().timing] + [{"code": "B", "applied": again}]
    between = trial_from(tomllib.loads(TOML) | {"timing": timing})
    (over,) = rounds_over_days(between, rounds_of(between, ratings(14, 40)))
    assert over.span is None
    assert over.key == "control-poaan-2025-12-02-to-2025-12-30"
    found = [r for r in analysed_rounds(between, ratings(14, 40)) if r[0].since]
    assert round_said(*found[0], EN).title.endswith(", mean over 2 Dec 2025 to 30 Dec 2025")


def test_it_is_an_analysis_apart_and_says_what_it_is() -> None:
    found = analysed_rounds(trial(), ratings(14, 28, 56))
    assert len(found) == 4
    early = [r for r in ratings(14, 28, 56) if r.date < dt.date(2025, 12, 10)]
    # as texts: NaN is no longer equal to itself in data classes from Python 3.13 on
    assert repr(analysed_rounds(trial(), early)) == repr(found[:1]), "as if there were no other"
    over, analysis = found[-1]
    means = {m.treatment: m.mean for m in analysis.means}
    assert means["glyphosate"] == pytest.approx(80, abs=3)
    said = round_said(over, analysis, EN)
    assert said.title.endswith(", mean over 14 to 56 days after treatment")
    assert said.dates == "North 2 Dec 2025 to 13 Jan 2026, South 4 Dec 2025 to 15 Jan 2026"
    assert any("no further proof" in text for text in said.remarks)
    assert "media de 14 a 56 días después de aplicar" in round_said(over, analysis, ES).title
    assert "the area under the ratings of each plot" in methods_text(found, EN)
    assert "the area under the ratings" not in methods_text(found[:3], EN)


def test_a_plot_without_the_last_rating_is_missing_not_shortened() -> None:
    seen = ratings(14, 28)
    seen = [r for r in seen if (r.location, r.plot, r.date.day) != ("North", "101", 16)]
    over, analysis = analysed_rounds(trial(), seen)[-1]
    assert sum(row.value != row.value for row in over.rows) == 1
    assert any(note.id == "analysis.missing" for note in analysis.notes)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.toml").write_text(TOML)
    lines = ["site,plot,date,measure,value"]
    lines += [f"{r.location},{r.plot},{r.date},control %,{r.value}" for r in ratings(14, 28)]
    (tmp_path / "r.csv").write_text("\n".join(lines))
    done = CliRunner().invoke(cli, ["trial", "import", "t.toml", "r.csv", "--yes"])
    assert done.exit_code == 0, done.output
    return tmp_path


def test_json_tells_it_from_a_single_day(folder: Path) -> None:
    command = ["trial", "analyse", "t.toml", "--format", "json"]
    found = json.loads(CliRunner().invoke(cli, command).output)["rounds"]
    assert [r["over_days"] for r in found] == [None, None, [14, 28]]
    assert found[2]["since"] == {"North": "2025-12-02", "South": "2025-12-04"}
    assert found[0]["since"] == {}


@pytest.mark.slow
def test_the_report_has_its_values_and_the_script_works_them_out_again(folder: Path) -> None:
    done = CliRunner().invoke(cli, ["trial", "report", "t.toml", "--out", "rep"])
    assert done.exit_code == 0, done.output
    with Path("rep/over_days.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 24
    assert {row["round"] for row in rows} == {"control-poaan-14-to-28d"}
    with Path("rep/ratings.csv").open(encoding="utf-8") as stream:
        rounds = {row["round"] for row in csv.DictReader(stream)}
    assert rounds == {"control-poaan-14d", "control-poaan-28d"}, "a rating is of its own day"
    command = [sys.executable, "-I", "reproduce.py"]
    out = subprocess.run(command, cwd="rep", capture_output=True, text=True, check=True).stdout
    lines = [line.split() for line in out.splitlines()[1:]]
    over = [line for line in lines if line[0] == "control-poaan-14-to-28d"]
    assert len(over) == 3
    for _, _, reported, refitted, bare in over:
        near = max(1.0, 0.05 * float(bare))
        assert float(reported) == pytest.approx(float(refitted), abs=near)


def test_ratings_before_treatment_are_no_part_of_it() -> None:
    early = [replace(r, date=dt.date(2025, 11, 1)) for r in ratings(14)]
    assert not rounds_over_days(trial(), rounds_of(trial(), [*early, *ratings(14)]))
