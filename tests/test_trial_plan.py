"""The trial as a thing: its file, the randomised plan, rating sheets."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.given_files import parsed_toml
from windowcast.report.catalogue import Voice
from windowcast.report.trial_plan import plan_csv, plan_lines, plan_svg, render_sheets
from windowcast.trials.layout import PlannedPlot, arms_of, plan_of
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_file import TrialFile, trial_from
from windowcast.trials.trial_template import NewTrial, trial_toml

SITES = [("North", 33.26, -84.28), ("South", 31.4, -83.5)]
DESIGNS = ("rcbd", "crd", "factorial", "split-plot")


def trial(**changes: Any) -> TrialFile:
    raw: dict[str, Any] = {
        "name": "Timing",
        "design": "rcbd",
        "seed": 7,
        "site": [{"name": n, "latitude": lat, "longitude": lon} for n, lat, lon in SITES],
        "timing": [{"code": "A"}, {"code": "B"}, {"code": "C"}],
        "treatment": [
            {"name": "untreated", "check": "untreated", "plots": 2},
            {"name": "glyphosate", "timing": ["A"], "materials": ["glyphosate 0.5 lb/acre"]},
            {"name": "simazine", "timing": ["B"], "materials": ["simazine 1 lb/acre"]},
        ],
    }
    return trial_from(raw | changes)


def crossed(**changes: Any) -> TrialFile:
    treatments = [{"name": "untreated", "check": "untreated"}, {"name": "x"}, {"name": "y"}]
    return trial(treatment=treatments, **changes)


def keys(plots: tuple[PlannedPlot, ...]) -> list[tuple[str, str, int]]:
    return [(p.site, p.plot, p.arm.number) for p in plots]


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**9), replicates=st.integers(1, 8), design=st.sampled_from(DESIGNS))
def test_the_same_seed_gives_the_same_plan_with_each_treatment_in_each_block(
    seed: int, replicates: int, design: str
) -> None:
    make = crossed if design in {"factorial", "split-plot"} else trial
    asked = make(seed=seed, replicates=replicates, design=design)
    plots = plan_of(asked)
    assert plots == plan_of(make(seed=seed, replicates=replicates, design=design))
    assert len({(p.site, p.plot) for p in plots}) == len(plots)
    assert len({(p.site, p.row, p.column) for p in plots}) == len(plots)
    for site in ("North", "South"):
        counts = Counter((p.block, p.arm.number) for p in plots if p.site == site)
        arms = {arm.number: arm for arm in arms_of(asked)}
        if design == "split-plot":  # the check stands in each of three main plots
            assert {n for (_, a), n in counts.items() if arms[a].check} == {3}
        elif design == "crd":
            assert all(n == arms[a].plots * replicates for (_, a), n in counts.items())
        else:
            assert all(n == arms[a].plots for (_, a), n in counts.items())
            assert {a for b, a in counts if b == 1} == set(arms), "checks in every block"


def test_a_plan_is_the_same_on_every_machine() -> None:
    """Written down once: whoever changes the drawing changes the plans of staked trials."""
    plots = plan_of(crossed(design="factorial", replicates=2))
    assert [p.arm.number for p in plots if p.site == "North"] == [
        1,
        7,
        3,
        6,
        2,
        5,
        4,
        7,
        5,
        4,
        1,
        6,
        3,
        2,
    ]


def test_sites_do_not_change_each_other_and_seeds_do() -> None:
    both, one = plan_of(trial()), plan_of(trial(site=[trial().site[0].model_dump()]))
    assert keys(both)[: len(one)] == keys(one)
    assert keys(plan_of(trial(seed=8))) != keys(both)


def test_main_plots_stay_together() -> None:
    for kind, mains in (("timing", {"A", "B", "C"}), ("treatment", {"untreated", "x", "y"})):
        plots = plan_of(crossed(design="split-plot", main_plots=kind))
        block = [p.main for p in plots if p.site == "North" and p.block == 1]
        runs = [m for n, m in enumerate(block) if n == 0 or block[n - 1] != m]
        assert set(runs) == mains
        assert len(runs) == len(mains)


def test_numbers_follow_rows_and_turn_back_where_asked() -> None:
    plots = plan_of(trial(columns=2, serpentine=True, replicates=2))
    first = [(p.plot, p.row, p.column) for p in plots if p.site == "North" and p.block == 1]
    assert first == [("101", 1, 1), ("102", 1, 2), ("103", 2, 2), ("104", 2, 1)]
    crd = plan_of(trial(design="crd", columns=3, serpentine=True))
    assert [(p.plot, p.column) for p in crd[3:6]] == [("201", 3), ("202", 2), ("203", 1)]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"design": "latin"}, "give one of rcbd, crd, split-plot, factorial"),
        ({"design": "factorial"}, "names its timing, but this design gives every treatment"),
        ({"timing": [{"code": "A"}, {"code": "a"}]}, "two timings are called 'A'"),
        ({"timing": [{"code": "A"}]}, "has timing 'B', which is none"),
        ({"timing": [{"code": c, "applied": {"East": "2026-01-01"}} for c in "AB"]},
         "names the site 'East', which is none"),
        ({"measure": [{"what": "vigor"}]}, "is not one of control %"),
        ({"measure": [{"what": "count per m2", "frame": "1 ft"}]}, "is not an area"),
        ({"plot_width": "5"}, "is not a length"),
        ({"site": []}, "site"),
        ({"replicates": 0}, "a whole number from 1 to 50"),
    ],
)  # fmt: skip
def test_a_faulty_file_is_refused_in_one_line(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as error:
        trial(**changes)
    assert said in str(error.value)
    assert "\n" not in str(error.value)


def test_a_mixture_is_read_and_a_volume_or_a_sprayed_check_refused() -> None:
    untreated = {"name": "u", "check": "untreated"}
    mixed = {"name": "m", "materials": ["simazine 1 lb/acre", "glyphosate 0.5 lb/acre"]}
    assert arms_of(trial(treatment=[untreated, mixed]))[1].materials == tuple(mixed["materials"])
    for wrong, said in (
        ({**mixed, "materials": ["simazine 1 qt/acre"]}, "is a volume of product"),
        ({**untreated, "materials": ["simazine 1 lb/acre"]}, "is an untreated check, yet sprayed"),
    ):
        with pytest.raises(InputError, match=said):
            trial(treatment=[wrong, {"name": "other"}])


@pytest.mark.parametrize("design", DESIGNS)
def test_the_template_is_a_trial_and_so_is_each_of_its_examples(design: Any) -> None:
    text = trial_toml(NewTrial("Fall timing", SITES, design=design, seed=3))
    plain = trial_from(parsed_toml(text))
    assert (plain.name, plain.design, plain.seed) == ("Fall timing", design, 3)
    lines = [
        line[2:] if line.startswith("# ") and ("=" in line or line[2] == "[") and ":" not in line
        else line
        for line in text.splitlines()
    ]  # fmt: skip
    used = "\n".join(line for line in lines if not line.startswith("log_file"))
    assert trial_from(parsed_toml(used.replace("North =", '"North" ='))).columns == 6


def test_sheets_name_each_plot_and_blind_ones_no_treatment() -> None:
    rated = trial(
        measure=[{"what": "control %", "weed": "POAAN"},
                 {"what": "count per m2", "frame": "1 ft2", "frames": 2}],
    )  # fmt: skip
    page = render_sheets(rated, Voice("us", "en"), blind=False)
    assert page.count('class="sheet"') == 2
    assert page.count("<td>1 untreated</td>") == 16
    assert "weed count per 1 ft², frame 2" in page
    blind = render_sheets(rated, Voice("us", "es"), blind=True)
    assert blind.count(">101</th>") == 2
    assert "untreated" not in blind
    assert "control de maleza (%)" in blind


def test_map_table_and_drawing_say_the_same() -> None:
    asked = trial()
    plots = plan_of(asked)
    text = "\n".join(plan_lines(asked, plots, Voice("us", "en")))
    rows = list(csv.DictReader(io.StringIO(plan_csv(plots))))
    inside = [p for p in plots if p.site == "South"]
    drawn = ElementTree.fromstring(plan_svg(asked, inside, Voice("us", "en")))
    numbers = [t.text for t in drawn.iter("text") if t.get("class") == "plot-number"]
    assert numbers == [p.plot for p in inside] == [r["plot"] for r in rows if r["site"] == "South"]
    assert "South: 16 plots in 4 blocks" in text
    assert "glyphosate 0.5 lb/acre, timing A" in text


def test_the_commands_write_plan_and_sheets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run = CliRunner().invoke
    made = run(cli, ["trial", "new", "t.toml", "--site", "North=33.3,-84.3", "--seed", "4"])
    assert made.exit_code == 0, made.output
    shown = run(cli, ["trial", "plan", "t.toml", "--page", "p.html", "--lang", "es"])
    assert "Bloque 1" in shown.output
    assert Path("p.html").read_text("utf-8").count('class="plot-number"') == 12
    svg = run(cli, ["trial", "plan", "t.toml", "--format", "svg"]).output
    assert ElementTree.fromstring(svg).get("viewBox")
    plots = json.loads(run(cli, ["trial", "plan", "t.toml", "--format", "json"]).output)
    assert {p["arm"]["number"] for p in plots if p["block"] == 2} == {1, 2, 3}
    assert run(cli, ["trial", "sheet", "t.toml"]).output == "Written to t-sheets.html.\n"
    for words, said in (
        (["plan", "t.toml", "--site", "x"], "'x' is no site of the trial; use one of North"),
        (["new", "t.toml", "--site", "N=1,1"], "exists already"),
        (["new", "u.toml", "--site", "N=1"], "'N=1' is not NAME=LAT,LON"),
        (["new", "u.toml"], "--site: is missing"),
    ):
        with pytest.raises(SystemExit) as end:
            main(["trial", *words])
        assert end.value.code == 2
        assert said in capsys.readouterr().err


def test_measures_have_names_of_their_own() -> None:
    names = [name for measure in MEASURES.values() for name in measure.names]
    assert len(set(names)) == len(names)
    assert not MEASURES["quality 1-9"].is_step(6.3)
    assert MEASURES["quality 1-9"].is_step(6.5)
    assert MEASURES["count per m2"].is_step(0.3)
