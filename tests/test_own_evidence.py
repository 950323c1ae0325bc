"""A user's own trials beside published ones: how they move expected control, and how not."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats
from spoken import render
from test_trial_pool import write_trial

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.site import load_site
from windowcast.core.values import PACKAGED, load
from windowcast.materials.actives import load_actives
from windowcast.materials.efficacy import Control, expected_control
from windowcast.materials.own_evidence import OwnResult, with_own
from windowcast.records import own_evidence
from windowcast.records.model import Application, Material
from windowcast.records.own_evidence import evidence_of, over_places
from windowcast.records.place_effects import PlaceEffect
from windowcast.records.review import review_log
from windowcast.records.site_trials import with_own_trials
from windowcast.records.store import SeasonLog
from windowcast.trials.contrasts import ContrastEffect, ShownEffect
from windowcast.trials.given import Given
from windowcast.trials.layout import plan_of
from windowcast.trials.trial_file import load_trial
from windowcast.weather.sample import sample_site, sample_weather

TABLE = load("efficacy")
MINE = OwnResult("Fall 2024", "POAAN", ("prodiamine",), "pre", 1.0, 0.4, 0.0, 1.0)
PRE = {"timing": "pre", "stage_bbch": 0.0, "rate_share": 1.0, "air_c": None}
POST = {"timing": "post", "stage_bbch": 21.0, "rate_share": 1.0, "air_c": 12.0}


def logit(share: float) -> float:
    return math.log(share / (1 - share))


def expect(
    actives: list[str], own: list[OwnResult], weed: str = "POAAN", **meets: object
) -> Control | None:
    where = PRE | meets
    return expected_control(weed, actives, table=with_own(TABLE, own), **where)  # type: ignore[arg-type]


def width(control: Control | None) -> float:
    """Of the interval on the logit scale, where certainty does not hang on the level."""
    return math.inf if control is None else logit(control.high) - logit(control.low)


RESULTS = st.lists(
    st.builds(
        OwnResult, trial=st.sampled_from(["a", "b", "c"]), weed=st.just("POAAN"),
        actives=st.sampled_from([("prodiamine",), ("simazine",), ("prodiamine", "simazine"),
                                 ("foramsulfuron",), ("glyphosate",), ("dithiopyr",)]),
        timing=st.sampled_from(["pre", "post"]), logit=st.floats(-4, 6),
        error=st.floats(0.05, 3), stage_bbch=st.none() | st.floats(0, 39),
        rate_share=st.none() | st.floats(0.1, 5),
    ),
    max_size=4,
)  # fmt: skip


@given(RESULTS, st.sampled_from(["pre", "post"]), st.sampled_from([None, 0.0, 12.0, 30.0]),
       st.sampled_from([None, 0.5, 1.0]))  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_taking_own_evidence_away_never_makes_a_figure_surer(
    own: list[OwnResult], timing: str, stage: float | None, rate: float | None
) -> None:
    meets = {"timing": timing, "stage_bbch": stage, "rate_share": rate, "air_c": 12.0}
    for actives in (["prodiamine"], ["simazine"], ["prodiamine", "simazine"]):
        found = [expect(actives, own[:n], **meets) for n in range(len(own) + 1)]
        known = [f is not None for f in found]
        assert known == sorted(known)  # what is known stays known
        if len(actives) > 1 or stage is None or rate is None:
            continue  # the best part of a mixture, and the worst of what is unknown, may change
        widths = [width(f) for f in found]
        assert all(b <= a + 1e-9 for a, b in pairwise(widths))


@given(RESULTS)
@settings(max_examples=60, deadline=None)
def test_no_figure_is_surer_than_the_spread_between_trials(own: list[OwnResult]) -> None:
    found = expect(["prodiamine"], own * 10)
    assert found is not None
    least = 2 * 1.2816 * TABLE.number("slope.narrowed") * TABLE.number("slope.new_trial")
    assert width(found) >= least - 1e-6


@pytest.mark.parametrize("other", [
    replace(MINE, weed="DIGIS"), replace(MINE, timing="post"), replace(MINE, actives=("simazine",)),
    replace(MINE, actives=("prodiamine", "simazine")), replace(MINE, weed="XXXXX"),
])  # fmt: skip
def test_evidence_of_another_weed_timing_or_active_changes_nothing(other: OwnResult) -> None:
    assert expect(["prodiamine"], [other]) == expect(["prodiamine"], [])
    late = expect(["foramsulfuron"], [other], **POST)
    assert late == expect(["foramsulfuron"], [], **POST)


def test_one_more_trial_is_weighed_as_normal_theory_has_it() -> None:
    """By hand for plants not up and the full rate, where only the level counts."""
    level, level_sd = TABLE.value("pre.POAAN.prodiamine").value[:2]
    scatter = TABLE.number("slope.new_trial") ** 2 + MINE.error**2
    precision = 1 / level_sd**2 + 1 / scatter
    mean = (level / level_sd**2 + MINE.logit / scatter) / precision
    found = expect(["prodiamine"], [MINE])
    assert found is not None
    assert logit(found.middle) == pytest.approx(mean, abs=1e-6)
    sd = math.sqrt(1 / precision + TABLE.number("slope.new_trial") ** 2)
    half = 1.2815516 * TABLE.number("slope.narrowed") * sd
    assert width(found) == pytest.approx(2 * half, rel=1e-6)
    assert (found.own, found.own_trials, found.trials) == (1, ("Fall 2024",), 1)


def by_information(result: OwnResult, size: float, easier: float, doubt: float) -> list[float]:
    """Level, fall, their standard deviations and covariance once a result is in: precisions add."""
    cell = TABLE.value(f"{result.timing}.{result.weed}.{result.actives[0]}").value
    known = np.linalg.inv([[cell[1] ** 2, cell[4]], [cell[4], cell[3] ** 2]])
    row, scatter = np.array([1.0, size]), TABLE.number("slope.new_trial") ** 2 + result.error**2
    spread = np.linalg.inv(known + np.outer(row, row) / (scatter + doubt))
    seen = row * (result.logit - easier) / (scatter + doubt)
    level, fall = spread @ (known @ [cell[0], cell[2]] + seen)
    return [level, math.sqrt(spread[0, 0]), fall, math.sqrt(spread[1, 1]), spread[0, 1]]


def test_what_an_own_trial_met_moves_the_fit_as_normal_theory_has_it() -> None:
    """What nobody wrote down lies anywhere in its range: a variance of a twelfth of its square."""
    sizes, (low, high) = TABLE.value("scale.size").value, TABLE.value("scale.rate").ends
    rate, rate_sd = TABLE.value("slope.rate").value
    cold, cold_sd = TABLE.value("slope.cold").value
    coldest = TABLE.number("scale.coldest")
    chill = (cold * coldest) ** 2 / 12 + cold_sd**2 * coldest**2 / 3  # mean square of 0 to coldest
    falls = {timing: max(abs(v.value[2]) for v in TABLE.table(timing).values_below())
             for timing in ("pre", "post")}  # fmt: skip
    post = replace(MINE, actives=("foramsulfuron",), timing="post", stage_bbch=21.0)
    for result, size, share, doubt in (
        (MINE, 0.0, 1.0, 0.0),
        (replace(MINE, stage_bbch=12.0), float(np.interp(12.0, *scale())), 1.0, 0.0),
        (replace(MINE, stage_bbch=None), sizes[0], 1.0,
         (falls["pre"] * (sizes[-1] - sizes[0])) ** 2 / 12),
        (replace(MINE, rate_share=None), 0.0, high, (rate * math.log(high / low)) ** 2 / 12),
        (replace(MINE, rate_share=0.5), 0.0, 0.5, 0.0),
        (replace(MINE, rate_share=5.0), 0.0, 5.0, 0.0),  # beyond what was tried it counts
        (replace(MINE, rate_share=low / 2), 0.0, low, 0.0),
        (post, float(np.interp(21.0, *scale())), 1.0, chill),
        (replace(post, stage_bbch=0.0), sizes[1], 1.0, chill),  # they were up
        (replace(post, stage_bbch=None, rate_share=None), sizes[1], high,
         chill + (falls["post"] * (sizes[-1] - sizes[1])) ** 2 / 12
         + (rate * math.log(high / low)) ** 2 / 12),
    ):  # fmt: skip
        cell = with_own(TABLE, [result]).value(f"{result.timing}.POAAN.{result.actives[0]}")
        of_rate = (rate_sd * math.log(share)) ** 2
        wanted = by_information(result, size, rate * math.log(share), doubt + of_rate)
        assert cell.value[:5] == pytest.approx(wanted, rel=1e-9, abs=1e-12)
        published = TABLE.value(f"{result.timing}.POAAN.{result.actives[0]}")
        assert cell.value[5:] == [published.value[5], 1]
        assert cell.source == f"{published.source}; Fall 2024"
        assert (cell.unit, cell.status) == ("logit", "derived")


def scale() -> tuple[list[float], list[float]]:
    """Stages and the sizes that they have in the fit."""
    return TABLE.value("scale.size_bbch").value, TABLE.value("scale.size").value


def test_the_order_of_trials_makes_no_difference() -> None:
    own = [MINE, replace(MINE, trial="B", logit=3.0, stage_bbch=12.0),
           replace(MINE, trial="C", logit=-1.0, error=1.0)]  # fmt: skip
    one, other = expect(["prodiamine"], own), expect(["prodiamine"], own[::-1])
    assert one is not None
    assert other is not None
    assert one.middle == pytest.approx(other.middle)
    assert one.low == pytest.approx(other.low)


def test_what_nobody_wrote_down_of_a_good_trial_promises_less() -> None:
    post = replace(MINE, actives=("foramsulfuron",), timing="post", logit=5.0, stage_bbch=26.0)
    told = expect(["foramsulfuron"], [post], **POST)
    usual = expect(["foramsulfuron"], [], **POST)
    assert told is not None
    assert usual is not None
    assert usual.middle < told.middle
    for unsaid in (replace(post, stage_bbch=None), replace(post, rate_share=None)):
        found = expect(["foramsulfuron"], [unsaid], **POST)
        assert found is not None
        assert found.middle < told.middle
        assert width(found) > width(told)


def test_own_trials_alone_give_a_wide_figure_and_none_without_them() -> None:
    mine = replace(MINE, actives=("simazine",), logit=3.0)
    assert expect(["simazine"], []) is None
    found = expect(["simazine"], [mine])
    assert found is not None
    assert found.trials == 0
    assert found.high - found.low > 0.25
    twice = math.sqrt(2) * TABLE.number("slope.narrowed") * TABLE.number("slope.new_trial")
    assert width(found) > 2 * 1.2816 * twice  # the doubt of one trial about the next


@given(st.lists(st.tuples(st.floats(-4, 6), st.floats(0.01, 3)), min_size=1, max_size=6))
def test_places_that_differ_leave_the_error_of_their_mean(
    places: list[tuple[float, float]],
) -> None:
    """As scipy's standard error of the mean has it, and no less than their own errors add up to."""
    mean, error = over_places(places)
    values, errors = np.array(places).T
    assert mean == pytest.approx(values.mean())
    assert error >= 0.999999 * np.linalg.norm(errors) / len(values)
    if len(values) > 1:
        assert error >= 0.999999 * stats.sem(values)
    # places that agree are as sure as one large one
    alike = over_places([(1.0, 0.3)] * 4)
    assert alike == (1.0, pytest.approx(0.15))


@given(st.floats(-9, 3), st.floats(0.02, 3), st.sampled_from(["left", "level"]))
@settings(max_examples=100, deadline=None)
def test_a_doubtful_result_is_no_surer_as_control_than_as_weeds_left(
    value: float, error: float, scale: str
) -> None:
    """Drawn from the doubt itself: what 95 % of the draws say lies within 95 % of the result."""
    effect = ContrastEffect(value, error, math.inf)
    day = dt.date(2025, 3, 1)
    place = PlaceEffect(
        "t", "s", day, 90, "", (), Given("F", (), (), (), "", ""), scale, effect,  # type: ignore[arg-type]
        ShownEffect(0, 0, 0),
    )  # fmt: skip
    middle, found = own_evidence._logit(place)
    drawn = stats.norm(value, error).ppf(np.linspace(0.0251, 0.9749, 1001))
    control = -np.expm1(drawn) if scale == "left" else special.expit(drawn)
    said = special.logit(np.clip(control, 0.01, 0.998))
    assert said.min() >= middle - 1.96 * found - 1e-9
    assert said.max() <= middle + 1.96 * found + 1e-9
    assert (
        found >= 0.9999 * error
    )  # the slope of the logit over that of log left is 1 / control, never < 1


def test_a_result_of_more_weeds_than_in_the_check_keeps_its_doubt() -> None:
    """Twice the weeds of the check, give or take: both ends are no control."""
    effect = ContrastEffect(0.7, 0.3, math.inf)
    place = PlaceEffect(
        "t", "s", dt.date(2025, 3, 1), 90, "", (), Given("F", (), (), (), "", ""), "left", effect,
        ShownEffect(0, 0, 0),
    )  # fmt: skip
    assert own_evidence._logit(place) == (
        pytest.approx(logit(0.01)), pytest.approx(0.3, rel=1e-3),
    )  # fmt: skip
    huge = replace(place, effect=ContrastEffect(0.7, 900.0, 1.0))
    assert math.isfinite(own_evidence._logit(huge)[1])


# --- files ---------------------------------------------------------------------------------------

SITE = """
name = "Demo"
latitude = 33.3
longitude = -84.3
stock = ["prodiamine"]
own_trials = [{trials}]
[turf]
species = "hybrid bermudagrass"
overseeded = false
established = 2015-05-01
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "trials").mkdir()
    treated = {"Full": ("prodiamine 0.84 kg/ha", 0.5), "Half": ("prodiamine 0.42 kg/ha", 0.9)}
    for year in (2023, 2024):
        file = write_trial(tmp_path / "trials", f"y{year}", f"{year}-09-12", **treated)
        text = file.read_text().replace(
            'what = "count per m2"', 'what = "count per m2"\nweed = "POAAN"'
        )
        file.write_text(text)
        main(["trial", "import", str(file), f"{file.with_suffix('.csv')}:weed=POAAN", "--yes"])
    return tmp_path


def site_file(folder: Path, *trials: str) -> Path:
    file = folder / "site.toml"
    named = ", ".join(f'"trials/{name}.toml"' for name in trials)
    file.write_text(SITE.format(trials=named))
    return file


def test_a_site_file_names_its_trials_and_each_counts_once(folder: Path) -> None:
    site = load_site(site_file(folder, "y2023", "y2024"))
    found = evidence_of(site, PACKAGED, load_actives())
    assert [(r.trial, r.actives, r.timing) for r in found.results] == [
        ("y2023", ("prodiamine",), "pre"), ("y2024", ("prodiamine",), "pre"),
    ]  # fmt: skip
    assert all(
        r.rate_share == pytest.approx(0.84 / 0.836) for r in found.results
    )  # not the half one
    assert all(-1.5 < r.logit < 1.5 for r in found.results)  # half of the weeds were left
    tables = with_own_trials(site, PACKAGED, load_actives())
    assert with_own_trials(site, PACKAGED, load_actives()) is tables  # kept while nothing changes
    assert tables["barrier"] is PACKAGED["barrier"]
    bare = load_site(site_file(folder))
    assert with_own_trials(bare, PACKAGED, load_actives()) is PACKAGED


def test_a_trial_is_read_again_only_when_it_has_changed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from windowcast.trials import trial_file

    read: list[str] = []
    load = trial_file.load_trial
    monkeypatch.setattr(
        trial_file, "load_trial", lambda path: (read.append(path.name), load(path))[1]
    )
    names = [str(folder / "trials" / f"y{year}.toml") for year in (2023, 2024)]
    states = [own_evidence.trial_states(names) for _ in range(3)]
    assert states[0] == states[1] == states[2]
    assert read == ["y2023.toml", "y2024.toml"]
    file = Path(names[0])
    file.write_text(file.read_text().replace("prodiamine 0.84", "prodiamine 0.8"))
    assert own_evidence.trial_states(names) != states[0]
    assert read[2:] == ["y2023.toml"]


def test_plan_and_review_go_by_own_trials_and_say_so(folder: Path) -> None:
    run = CliRunner().invoke
    plan = ["plan", str(site_file(folder)), "--date", "2026-07-15"]
    usual = run(cli, plan).output
    site_file(folder, "y2023", "y2024")
    mine = run(cli, plan).output
    assert "your own: y2023 and y2024" in " ".join(mine.split())
    assert "your own:" not in " ".join(usual.split())
    said = run(cli, ["trial", "evidence", plan[1]])
    assert said.exit_code == 0
    assert "by 1 published trial; with your own y2023 and y2024:" in said.output
    spanish = run(cli, ["trial", "evidence", plan[1], "--lang", "es"]).output
    assert "con los suyos, y2023 y y2024" in spanish


def test_a_review_goes_by_own_trials(folder: Path) -> None:
    site = sample_site().model_copy(
        update={"own_trials": load_site(site_file(folder, "y2023", "y2024")).own_trials}
    )
    start = dt.datetime(2016, 9, 20, 9, tzinfo=site.zone)
    with SeasonLog(folder / "log.sqlite") as log:
        log.add(Application(start, (Material("prodiamine", 0.84),), purpose="pre-fall"))
    said = {}
    for name, one in (("usual", sample_site()), ("mine", site)):
        (item,) = review_log(one, sample_weather(), folder / "log.sqlite").applications
        (fact,) = [fact for fact in item.facts if fact.key == "expected_control"]
        said[name] = fact.value, render(fact.text)
    assert said["mine"][0] < said["usual"][0]
    assert "1 published trial; your own: y2023 and y2024" in said["mine"][1]
    assert said["usual"][1].endswith("1 published trial)")


def test_what_does_not_count_is_named(folder: Path) -> None:
    file = folder / "trials" / "y2023.toml"
    file.write_text(file.read_text().replace("prodiamine 0.84", "simazine 0.84"))
    said = CliRunner().invoke(cli, ["trial", "evidence", str(site_file(folder, "y2023"))]).output
    assert "y2023, Full: say the stage of the weeds at timing A (stage_bbch)" in said
    file.write_text(file.read_text().replace('code = "A"', 'code = "A"\nstage_bbch = 21'))
    assert load_trial(file).timing[0].stage_bbch == 21
    said = CliRunner().invoke(cli, ["trial", "evidence", str(site_file(folder, "y2023"))]).output
    assert "simazine on annual bluegrass, after emergence" in said


@pytest.mark.parametrize("command", ["rank", "plan", "evidence"])
def test_a_trial_that_is_not_there_is_one_line(
    folder: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [command] if command != "evidence" else ["trial", "evidence"]
    with pytest.raises(SystemExit) as ended:
        main(
            [*words, str(site_file(folder, "gone")), *(["--offline"] if command == "rank" else [])]
        )
    assert ended.value.code in (2, 3)
    said = capsys.readouterr().err.strip().splitlines()[-1]
    if ended.value.code == 2:
        assert "gone.toml" in said
        assert "own_trials" in said


def test_a_trial_elsewhere_that_keeps_its_ratings_in_the_log_is_found(tmp_path: Path) -> None:
    from windowcast.records.trial_log import trial_files

    (tmp_path / "trials").mkdir()
    trial = write_trial(
        tmp_path / "trials", "far", "2024-09-12", more='log_file = "../site.log.sqlite"',
        F=("prodiamine 0.84 kg/ha", 0.1),
    )  # fmt: skip
    log = tmp_path / "site.log.sqlite"
    assert log.is_file()
    assert trial_files(log) == {}
    assert trial_files(log, [trial]) == {"far": trial}


# --- what says less than it seems ----------------------------------------------------------------


def said_of(folder: Path, file: Path, *changes: tuple[str, str]) -> str:
    """What ``trial evidence`` says of a trial some words of which are others."""
    text = file.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    file.write_text(text)
    said = CliRunner().invoke(cli, ["trial", "evidence", str(site_file(folder, file.stem))])
    return " ".join(said.output.split())


@pytest.mark.parametrize(("named", "seen"), [
    ([("prodiamine 0.84 kg/ha", "xyzzy 0.84 kg/ha")], "xyzzy is no active ingredient"),
    ([("prodiamine 0.84 kg/ha", "foramsulfuron 0.03 kg/ha"),
      ('code = "A"', 'code = "A"\nstage_bbch = 0')], "no weeds were up (stage_bbch)"),
    ([('timing = ["A"]', "timing = []")], "gives it no timing"),
    ([("prodiamine 0.84 kg/ha", "2,4-D 1 kg/ha; prodiamine 0.84 kg/ha"),
      ('code = "A"', 'code = "A"\nstage_bbch = 0')],
     "2,4-D + prodiamine on annual bluegrass, before emergence"),
    ([("prodiamine 0.84 kg/ha", "prodiamine 0.84 kg/ha; simazine 1.1 kg/ha"),
      ('code = "A"', 'code = "A"\nstage_bbch = 21')],
     "prodiamine + simazine on annual bluegrass, after emergence"),
])  # fmt: skip
def test_a_result_counts_for_what_was_put_out_at_the_stage_that_was_met(
    folder: Path, named: list[tuple[str, str]], seen: str
) -> None:
    assert seen in said_of(folder, folder / "trials" / "y2023.toml", *named)


def test_one_trial_under_two_names_of_files_is_refused(folder: Path) -> None:
    copy = folder / "trials" / "copy.toml"
    text = (folder / "trials" / "y2023.toml").read_text()
    copy.write_text(text.replace("seed = 1", 'seed = 1\nlog_file = "y2023.log.sqlite"'))
    site = load_site(site_file(folder, "y2023", "copy"))
    with pytest.raises(InputError, match=r"copy\.toml: own_trials: has the name of the trial"):
        with_own_trials(site, PACKAGED, load_actives())


def counted(folder: Path, name: str, check: list[int], left: list[int]) -> Path:
    """A trial at one site with counts of annual bluegrass on four plots of the check and of F."""
    file = write_trial(folder, name, "2024-09-12", "North", F=("prodiamine 0.84 kg/ha", 0.1))
    file.with_suffix(".log.sqlite").unlink()
    rows, left_of = ["site,plot,treatment,date,count per m2"], {"untreated": check, "F": left}
    seen: Counter[str] = Counter()
    for plot in plan_of(load_trial(file)):
        value = left_of[plot.arm.name][seen[plot.arm.name]]
        rows.append(f"North,{plot.plot},{plot.arm.name},2024-12-11,{value}")
        seen[plot.arm.name] += 1
    table = file.with_suffix(".csv")
    table.write_text("\n".join(rows) + "\n")
    main(["trial", "import", str(file), f"{table}:weed=POAAN", "--yes"])
    return file


@pytest.mark.parametrize("check", [[0, 0, 0, 0], [1, 0, 0, 0], [9, 0, 0, 0]])
def test_a_check_that_may_have_had_no_weeds_tells_nothing_of_control(
    folder: Path, check: list[int]
) -> None:
    counted(folder / "trials", "bare", check, [0, 0, 0, 0])
    site = load_site(site_file(folder, "bare"))
    found = evidence_of(site, PACKAGED, load_actives())
    assert not found.results
    assert "too few weeds, or too uneven ones" in render(found.left_out[0])
    assert with_own_trials(site, PACKAGED, load_actives()) is PACKAGED


def test_the_last_look_counts_though_an_earlier_one_was_a_count(folder: Path) -> None:
    file = counted(folder / "trials", "late", [80, 90, 100, 70], [4, 6, 3, 5])
    first = evidence_of(load_site(site_file(folder, "late")), PACKAGED, load_actives())
    file.write_text(file.read_text() + '[[measure]]\nwhat = "control %"\nweed = "POAAN"\n')
    rows = ["site,plot,treatment,date,control %"]
    for n, plot in enumerate(plan_of(load_trial(file))):
        value = 0 if plot.arm.check else 30 + 5 * (n % 3)
        rows.append(f"North,{plot.plot},{plot.arm.name},2025-02-20,{value}")
    table = folder / "late-control.csv"
    table.write_text("\n".join(rows) + "\n")
    main(["trial", "import", str(file), f"{table}:weed=POAAN", "--yes"])
    then = evidence_of(load_site(site_file(folder, "late")), PACKAGED, load_actives())
    assert first.results[0].logit > 2
    assert then.results[0].logit < 0


def test_a_last_look_that_tells_nothing_leaves_the_result_out_and_says_so(folder: Path) -> None:
    file = counted(folder / "trials", "late", [80, 90, 100, 70], [4, 6, 3, 5])
    rows = ["site,plot,treatment,date,count per m2"]
    for plot in plan_of(load_trial(file)):  # by spring the check has none either
        rows.append(f"North,{plot.plot},{plot.arm.name},2025-03-20,0")
    table = folder / "spring.csv"
    table.write_text("\n".join(rows) + "\n")
    main(["trial", "import", str(file), f"{table}:weed=POAAN", "--yes"])
    found = evidence_of(load_site(site_file(folder, "late")), PACKAGED, load_actives())
    assert not found.results
    (said,) = found.left_out
    assert "the last rating decides, not an earlier one" in render(said)


def test_a_treatment_that_was_not_rated_again_keeps_its_last_look(folder: Path) -> None:
    file = counted(folder / "trials", "late", [80, 90, 100, 70], [4, 6, 3, 5])
    before = evidence_of(load_site(site_file(folder, "late")), PACKAGED, load_actives())
    rows = ["site,plot,treatment,date,count per m2"]
    for n, plot in enumerate(plan_of(load_trial(file))):
        if plot.arm.check:
            rows.append(f"North,{plot.plot},{plot.arm.name},2025-03-20,{60 + n}")
    table = folder / "spring.csv"
    table.write_text("\n".join(rows) + "\n")
    main(["trial", "import", str(file), f"{table}:weed=POAAN", "--yes"])
    then = evidence_of(load_site(site_file(folder, "late")), PACKAGED, load_actives())
    assert then == before


def test_rates_of_one_active_in_a_tank_add_up(folder: Path) -> None:
    file = folder / "trials" / "y2023.toml"
    file.write_text(
        file.read_text().replace(
            "prodiamine 0.84 kg/ha", "prodiamine 0.5 kg/ha; prodiamine 0.34 kg/ha"
        )
    )
    (found,) = evidence_of(load_site(site_file(folder, "y2023")), PACKAGED, load_actives()).results
    assert found.rate_share == pytest.approx(0.84 / 0.836)


def test_a_rate_far_beyond_the_full_one_promises_less_than_the_highest_that_was_tried() -> None:
    found = [
        expect(["simazine"], [replace(MINE, actives=("simazine",), rate_share=share, logit=5.0)])
        for share in (1.0, 4.0, 20.0)
    ]
    middles = [control.middle for control in found if control is not None]
    assert len(middles) == 3
    assert all(more < less for less, more in pairwise(middles))
    assert width(found[2]) > width(found[1])


def test_a_trial_that_was_renamed_says_where_its_ratings_are(folder: Path) -> None:
    file = folder / "trials" / "y2023.toml"
    said = said_of(folder, file, ('name = "y2023"', 'name = "Fall 2023"'))
    assert "Fall 2023: nothing was rated under this name, its log has ratings of y2023" in said
    with pytest.raises(SystemExit) as ended:
        main(["trial", "analyse", str(file)])
    assert ended.value.code == 2


def test_a_name_that_no_file_can_have_is_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = site_file(folder, "y2023")
    file.write_text(file.read_text().replace("y2023", "y2023\\u0000"))
    with pytest.raises(SystemExit) as ended:
        main(["trial", "evidence", str(file)])
    assert ended.value.code == 2
    assert "own_trials: cannot be read" in capsys.readouterr().err


def test_an_underdosed_partner_promises_no_more() -> None:
    """What the full rate of one part may have done is not put down to a quarter of the other."""
    full = TABLE.table("full_rate").number
    tank = (("foramsulfuron", full("foramsulfuron")), ("simazine", full("simazine") / 4))
    given = Given("tank", tank, ("A",), (150.0,), "", "")
    assert own_evidence._rate(given, load_actives(), PACKAGED) == pytest.approx(1.0)
