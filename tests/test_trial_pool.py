"""Trials of several years and sites taken together: what is matched, pooled, and left out."""

from __future__ import annotations

import datetime as dt
import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from windowcast.cli import cli, main
from windowcast.materials.actives import load_actives
from windowcast.records.place_effects import given_at, read_trials
from windowcast.records.pooled_trials import pool_trials
from windowcast.trials.analysis import analyse
from windowcast.trials.contrasts import effect_of, pooled_effect, scale_of, spread_said, told
from windowcast.trials.given import Given, why_other
from windowcast.trials.layout import arms_of, plan_of
from windowcast.trials.model import AdjustedMean, Comparison, PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.trial_file import load_trial

PLACES = {"North": (33.3, -84.3), "South": (31.4, -83.5), "West": (32.4, -84.9)}


def write_trial(
    folder: Path, name: str, sprayed: str, sites: str = "North South", *,
    more: str = "", check: str = "untreated", days: int = 90, **treated: tuple[str, float],
) -> Path:  # fmt: skip
    """A trial with counts: each treatment with its material and the share of weeds it leaves."""
    where = "".join(
        '[[site]]\nname = "{}"\nlatitude = {}\nlongitude = {}\n'.format(s, *PLACES[s])
        for s in sites.split()
    )
    applied = "".join(f"{s} = {sprayed}\n" for s in sites.split())
    arms = "".join(
        f'[[treatment]]\nname = "{arm}"\ntiming = ["A"]\n'
        + (f'materials = ["{material}"]\n' if material else "")
        for arm, (material, _) in treated.items()
    )
    file = folder / f"{name}.toml"
    file.write_text(
        f'name = "{name}"\ndesign = "rcbd"\nseed = 1\n{more}\n{where}[[timing]]\ncode = "A"\n'
        f'[timing.applied]\n{applied}[[treatment]]\nname = "untreated"\ncheck = "{check}"\n'
        f'{arms}[[measure]]\nwhat = "count per m2"\nframe = "1 m2"\n'
    )
    chance = np.random.default_rng([3, *name.encode()])
    rated = dt.date.fromisoformat(sprayed) + dt.timedelta(days=days)
    rows = ["site,plot,treatment,date,count per m2"]
    for plot in plan_of(load_trial(file)):
        left = treated[plot.arm.name][1] if plot.arm.name in treated else 1.0
        count = chance.negative_binomial(8, 8 / (8 + 80 * left))
        rows.append(f"{plot.site},{plot.plot},{plot.arm.name},{rated},{count}")
    table = file.with_suffix(".csv")
    table.write_text("\n".join(rows) + "\n")
    main(["trial", "import", str(file), str(table), "--yes"])
    return file


def pool(*arguments: object) -> Result:
    return CliRunner().invoke(cli, ["trial", "pool", *map(str, arguments)])


# --- the arithmetic, against what others print ---------------------------------------------------


def test_the_clasp_trials_give_the_published_random_effects() -> None:
    """DerSimonian & Kacker 2007, Contemp. Clin. Trials 28:105-114, Tables 3 and 4, Paule-Mandel.

    Data and figures as in the R package metafor, test_analysis_example_dersimonian2007.r.
    """
    treated, of = (5, 5, 12, 69, 9, 313), (156, 303, 565, 1570, 103, 4659)
    control, of_control = (8, 17, 9, 94, 11, 352), (74, 303, 477, 1565, 105, 4650)
    a, b = np.array(treated), np.array(of) - treated
    c, d = np.array(control), np.array(of_control) - control
    effects, errors = np.log(a * d / (b * c)), np.sqrt(1 / a + 1 / b + 1 / c + 1 / d)
    found = pooled_effect(list(effects), list(errors))
    assert math.sqrt(found.between) == pytest.approx(0.3681, abs=5e-5)
    assert found.mean == pytest.approx(-0.3811, abs=5e-5)
    half = stats.t.ppf(0.975, 5) * 0.2060  # Hartung and Knapp: at this variance the error stays
    assert found.high - found.mean == pytest.approx(half, abs=3e-4)


# cases and others of vaccinated and of control persons: Colditz et al. 1994, JAMA 271:698-702, as
# in the R package metafor (dat.bcg)
BCG = (
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
    (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892),
    (29, 7470, 45, 7232), (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338),
    (27, 16886, 29, 17825),
)  # fmt: skip


def test_the_vaccine_trials_give_what_statsmodels_gives() -> None:
    """Paule-Mandel with Hartung and Knapp; log risk ratios as metafor's vignette prints them."""
    a, b, c, d = np.array(BCG, dtype=float).T
    effects = np.log(a / (a + b) / (c / (c + d)))
    variances = 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    assert effects[:4] == pytest.approx([-0.8893, -1.5854, -1.3481, -1.4416], abs=5e-5)
    assert variances[:4] == pytest.approx([0.3256, 0.1946, 0.4154, 0.0200], abs=5e-5)
    found = pooled_effect(list(effects), list(np.sqrt(variances)))
    theirs = combine_effects(effects, variances, method_re="iterated", use_t=False)
    assert found.between == pytest.approx(theirs.tau2, rel=1e-6)
    assert found.mean == pytest.approx(theirs.mean_effect_re)
    half = stats.t.ppf(0.975, 12) * theirs.sd_eff_w_re_hksj
    assert (found.low, found.high) == pytest.approx((found.mean - half, found.mean + half))
    assert found.share == pytest.approx(0.9212, abs=5e-5)  # metafor: Q = 152.233, 12 df
    assert spread_said(found).id == "pool.much"


def test_a_ratio_of_shares_has_the_error_of_draws_of_their_logits() -> None:
    means = {"A": (-2.0, 0.30), "check": (0.5, 0.25)}
    between, rng = 0.33, np.random.default_rng(5)
    together = (0.30**2 + 0.25**2 - between**2) / 2
    covariance = [[0.30**2, together], [together, 0.25**2]]
    drawn = rng.multivariate_normal([-2.0, 0.5], covariance, 200_000)
    log_share = -np.log1p(np.exp(-drawn))
    analysis = TrialAnalysis(
        "percent", link="logit",
        means=tuple(
            AdjustedMean(n, 4, 0.0, 0.0, 0.0, linear=at, error=error)
            for n, (at, error) in means.items()
        ),
        comparisons=(Comparison("all", "A", "check", -2.5, -4, -1, 9.0, 0.01, error=between),),
    )  # fmt: skip
    found = effect_of(analysis, "A", "check", "left")
    assert found is not None
    assert found.error == pytest.approx(float(np.std(log_share[:, 0] - log_share[:, 1])), rel=0.03)
    assert found.value == pytest.approx(math.log(0.1192 / 0.6225), abs=1e-3)
    beside = effect_of(analysis, "check", "A", "beside")
    assert beside is not None
    assert (beside.value, beside.base) == (2.5, -2.0)
    shown = told("beside", (2.5, 2.0, 3.0), -2.0, 0.0, 100.0)
    assert shown.middle == pytest.approx(100 / (1 + math.exp(-0.5)))


def test_the_effect_at_one_place_is_the_log_ratio_of_its_analysis() -> None:
    counts = {"untreated": (60, 80, 58, 74), "A": (4, 10, 5, 9)}
    rows = [
        PlotRow("", str(b), f"{n}{b}", n, float(v))
        for n, each in counts.items() for b, v in enumerate(each)
    ]  # fmt: skip
    analysis = analyse(rows, TrialOptions("count", checks=("untreated",)))
    found = effect_of(analysis, "A", "untreated", "left")
    assert found is not None
    assert found.value == pytest.approx(math.log(28 / 272), abs=0.02)
    assert found.error == pytest.approx(math.sqrt(1 / 28 + 1 / 272), rel=0.4)  # counts as by chance
    (dunnett,) = analysis.of("check")
    low, high = found.interval()
    assert (low, high) == pytest.approx((dunnett.low, dunnett.high), rel=0.1)


@pytest.mark.parametrize(("measure", "link", "check", "scale"), [
    ("count per m2", "log", True, "left"), ("cover %", "logit", True, "left"),
    ("control %", "logit", True, "level"), ("control %", "logit", False, "beside"),
    ("injury 0-10", "logit", True, "level"), ("quality 1-9", "logit", True, "beside"),
    ("count per m2", "none", True, None),
])  # fmt: skip
def test_every_measure_has_its_scale(
    measure: str, link: str, check: bool, scale: str | None
) -> None:
    assert scale_of(measure, link, check=check) == scale


def test_plots_that_all_gave_the_same_are_right_to_their_rounding() -> None:
    rows = [
        PlotRow("", str(b), f"{n}{b}", n, value)
        for n, value in (("untreated", 0.0), ("A", 80.0), ("B", 100.0)) for b in range(4)
    ]  # fmt: skip
    analysis = analyse(rows, TrialOptions("percent", checks=("untreated",)))
    middle = effect_of(analysis, "A", "untreated", "level")
    assert middle is not None
    step = (math.log(0.85 / 0.15) - math.log(0.75 / 0.25)) / 2 / 1.96  # rated in tens
    assert middle.error == pytest.approx(step, rel=0.01)
    top = effect_of(analysis, "B", "untreated", "level")
    assert top is not None
    assert top.error == pytest.approx(math.sqrt(2))  # half a unit
    assert top.value > middle.value


# --- what is the same ----------------------------------------------------------------------------

FALL = Given("Fall", (("prodiamine", 0.84),), ("A",), (75.0,))


@pytest.mark.parametrize(("other", "why"), [
    (Given("Program 1", (("prodiamine", 0.80),), ("S",), (83.0,)), ""),
    (Given("Fall", (("simazine", 0.84),), ("A",), (75.0,)), "pool.other_actives"),
    (Given("Fall", (("prodiamine", 0.42),), ("A",), (75.0,)), "pool.other_rate"),
    (Given("Fall", (("prodiamine", None),), ("A",), (75.0,)), "pool.no_rate"),
    (Given("Fall", (("prodiamine", 0.84),), ("A",), (110.0,)), "pool.other_time"),
    (Given("Fall", (("prodiamine", 0.84),), ("A", "B"), (75.0, 160.0)), "pool.other_number"),
    (Given("Fall", (("prodiamine", 0.84),), ("a",), (math.nan,)), ""),
    (Given("Fall", (("prodiamine", 0.84),), ("S",), (math.nan,)), "pool.no_date"),
    (Given("Fall", check="untreated"), "pool.other_actives"),
    (Given("Fall", (("prodiamine", 0.84),), ("A",), (75.0,), "NIS"), "pool.other_adjuvant"),
])  # fmt: skip
def test_what_was_put_out_counts_not_its_name(other: Given, why: str) -> None:
    assert why_other(FALL, other).id == why
    assert why_other(other, FALL).id == why


def test_names_tell_only_where_nothing_else_does() -> None:
    bare = Given("Mix 1", (), ("A",), (75.0,))
    assert not why_other(bare, Given("mix 1 ", (), ("A",), (80.0,)))
    assert why_other(bare, Given("Mix 2", (), ("A",), (80.0,))).id == "pool.no_materials"
    weedy = Given("untreated", check="untreated")
    assert not why_other(weedy, Given("weedy check", check="untreated"))


def test_days_of_the_south_are_those_of_its_own_season(tmp_path: Path) -> None:
    north = write_trial(tmp_path, "n", "2024-09-12", "North", F=("prodiamine 0.84 kg/ha", 0.1))
    text = north.read_text().replace("33.3", "-33.3").replace("2024-09-12", "2025-03-12")
    south = tmp_path / "s.toml"
    south.write_text(text)
    given = [
        given_at(trial, arms_of(trial)[1], trial.site[0], load_actives())
        for trial in (load_trial(north), load_trial(south))
    ]
    assert given[0].days[0] == pytest.approx(given[1].days[0], abs=4)


# --- files ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("pool")
    full, low = "prodiamine 0.84 kg/ha", "prodiamine 0.42 kg/ha"
    write_trial(made, "one", "2023-09-10", Fall=(full, 0.05), Std=("simazine 1.7 kg/ha", 0.2))
    write_trial(
        made, "two", "2024-09-22", "North West",
        Program=("prodiamine 0.75 lb/acre", 0.08), Low=(low, 0.3), S2=("simazine 1.5 lb/acre", 0.2),
    )  # fmt: skip
    write_trial(made, "late", "2025-11-20", "North", Program=(full, 0.5))
    return made


def files(folder: Path, *names: str) -> list[Path]:
    return [folder / f"{name}.toml" for name in names]


def test_several_applications_and_two_hemispheres_are_said(tmp_path: Path) -> None:
    twice = '[[timing]]\ncode = "B"\n[timing.applied]\nNorth = {}\n'
    files = []
    for year in (2023, 2024):
        file = write_trial(
            tmp_path, f"t{year}", f"{year}-09-12", "North", F=("prodiamine 0.42 kg/ha", 0.2)
        )
        text = file.read_text().replace('timing = ["A"]', 'timing = ["A", "B"]')
        file.write_text(text + twice.format(f"{year}-10-12"))
        files.append(file)
    said = " ".join(pool(*files).output.split())
    assert "prodiamine 0.37 lb/acre, applied 2 times from about 12 Sep" in said
    assert "hemispheres" not in said
    south = write_trial(tmp_path, "s", "2024-03-14", "North", F=("prodiamine 0.84 kg/ha", 0.2))
    south.write_text(south.read_text().replace("latitude = 33.3", "latitude = -33.3"))
    north = write_trial(tmp_path, "n", "2024-09-12", "North", F=("prodiamine 0.84 kg/ha", 0.2))
    assert "Places lie in both hemispheres" in pool(north, south).output


def test_treatments_called_differently_are_pooled_and_others_named(folder: Path) -> None:
    found = pool_trials(read_trials(files(folder, "one", "two", "late")), load_actives())
    by_name = {c.given.name: c for c in found.contrasts}
    fall = by_name["Fall"]
    assert [(p.trial, p.site) for p in fall.places] == [
        ("one", "North"), ("one", "South"), ("two", "North"), ("two", "West"),
    ]  # fmt: skip
    theirs = combine_effects(
        np.array([p.effect.value for p in fall.places]),
        np.array([p.effect.error**2 for p in fall.places]), method_re="iterated",
    )  # fmt: skip
    assert fall.pooled.mean == pytest.approx(theirs.mean_effect_re)
    assert fall.shown.middle == pytest.approx(100 * (1 - math.exp(theirs.mean_effect_re)))
    assert 85 < fall.shown.middle < 99
    assert set(by_name) == {"Fall", "Std", "Low"}  # Low at two sites of one trial
    assert "pool.one_season" in [note.id for note in by_name["Low"].notes]
    (left,) = found.left_out
    assert left.id == "pool.left_treatment"


def test_the_command_says_it_in_words_as_json_and_as_a_page(folder: Path) -> None:
    page = folder / "page.html"
    given = files(folder, "one", "two", "late")
    result = pool(*given, "--page", page)
    assert result.exit_code == 0
    assert "prodiamine 0.75 lb/acre, applied about 10 Sep, against untreated" in result.output
    assert "The trials call it Fall, Program." in result.output
    assert "71 days earlier or later in the season than elsewhere" in result.output
    text = page.read_text()
    assert text.count('class="chart"') == 3
    assert "2023/24" in text
    document = json.loads(pool(*given, "--format", "json").output)
    first = document["contrasts"][0]
    assert first["given"]["actives"] == [["prodiamine", 0.84]] or first["title"]
    assert {len(c["places"]) for c in document["contrasts"]} == {2, 4}
    assert all(c["pooled"]["low"] < c["pooled"]["high"] for c in document["contrasts"])
    spanish = pool(*given, "--lang", "es").output
    assert "Todos juntos" in spanish
    assert "No se juntaron" in spanish


def test_another_treatment_can_be_the_one_compared_with(folder: Path) -> None:
    result = pool(*files(folder, "one", "two", "late"), "--against", "std")
    assert result.exit_code == 0
    assert "against simazine" in result.output
    assert "late: no treatment like std" in result.output
    with pytest.raises(SystemExit) as ended:
        main(["trial", "pool", str(folder / "one.toml"), "--against", "Nothing"])
    assert ended.value.code == 2


def test_a_trial_without_ratings_or_check_or_dates_is_named(tmp_path: Path, folder: Path) -> None:
    bare = tmp_path / "bare.toml"
    bare.write_text((folder / "one.toml").read_text().replace('"one"', '"bare"'))
    result = pool(*files(folder, "one"), bare)
    assert "bare: nothing was rated yet" in result.output
    standard = write_trial(
        tmp_path,
        "nocheck",
        "2024-09-12",
        "North",
        check="standard",
        F=("prodiamine 0.84 kg/ha", 0.1),
    )
    assert "nocheck: no untreated check" in pool(standard).output
    undated = write_trial(
        tmp_path, "undated", "2024-09-12", "North", F=("prodiamine 0.84 kg/ha", 0.1)
    )
    text = undated.read_text()
    undated.write_text(text.replace("[timing.applied]\nNorth = 2024-09-12\n", ""))
    result = pool(undated)
    assert "the trial file does not say when it was sprayed" in result.output
    assert "Nothing could be pooled." in result.output


def test_a_treatment_that_a_trial_has_twice_counts_once(tmp_path: Path) -> None:
    full = ("prodiamine 0.84 kg/ha", 0.1)
    one = write_trial(tmp_path, "one", "2023-09-12", "North", F=full)
    two = write_trial(tmp_path, "two", "2024-09-12", "North", F=full, Again=full)
    result = pool(one, two)
    assert "two, Again: the trial has it twice" in result.output
    assert result.output.count("Sep, against untreated") == 1


def test_every_timing_of_a_factorial_is_a_contrast_of_its_own(tmp_path: Path) -> None:
    for year in (2023, 2024):
        full = ("prodiamine 0.84 kg/ha", 0.1)
        file = write_trial(tmp_path, f"y{year}", f"{year}-09-12", "North", Full=full)
        late = f'[[timing]]\ncode = "B"\n[timing.applied]\nNorth = {year}-11-12\n'
        text = file.read_text().replace('design = "rcbd"', 'design = "factorial"')
        text = text.replace('timing = ["A"]\n', "").replace(
            "[[treatment]]", f"{late}[[treatment]]", 1
        )
        file.write_text(text)
        rows = ["plot,treatment,date,count per m2"]
        for n, plot in enumerate(plan_of(load_trial(file))):
            left = {"untreated": 80, "Full A": 6, "Full B": 30}[plot.arm.name]
            rows.append(f"{plot.plot},{plot.arm.name},{year}-12-20,{left + n % 5}")
            early = left if plot.arm.name != "Full B" else 80
            rows.append(f"{plot.plot},{plot.arm.name},{year}-10-12,{early + n % 5}")
        file.with_suffix(".csv").write_text("\n".join(rows) + "\n")
        file.with_suffix(".log.sqlite").unlink()
        main(["trial", "import", str(file), str(file.with_suffix(".csv")), "--yes"])
    result = pool(tmp_path / "y2023.toml", tmp_path / "y2024.toml")
    heads = [line for line in result.output.splitlines() if "against untreated" in line]
    assert [line[line.index(", ") :].split(":")[0] for line in heads] == [
        ", 30 days after treatment", ", 99 days after treatment", ", 38 days after treatment",
    ]  # fmt: skip
    assert "12 Nov" in heads[2]
    assert "Full B: North: rated before all of it was applied" in result.output


def test_looks_far_apart_are_not_one(tmp_path: Path) -> None:
    treated = ("prodiamine 0.84 kg/ha", 0.1)
    early = write_trial(tmp_path, "early", "2023-09-12", "North", days=30, F=treated)
    late = write_trial(tmp_path, "late", "2024-09-12", "North", days=120, F=treated)
    result = pool(early, late)
    assert "rated 30 days after treatment, elsewhere 120" in result.output


@pytest.mark.parametrize("name", ["one", "missing"])
def test_bad_input_is_one_line(folder: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    named = str(folder / f"{name}.toml")
    with pytest.raises(SystemExit) as ended:
        main(["trial", "pool", str(folder / "one.toml"), named])
    assert ended.value.code == 2
    said = capsys.readouterr().err.strip()
    assert "\n" not in said
    assert f"{name}.toml" in said
