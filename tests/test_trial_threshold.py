"""The weed cover above which treating pays: by hand, against statsmodels, in words."""

from __future__ import annotations

import datetime as dt
import json
import math
import random
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from click.testing import CliRunner
from scipy import stats
from trial_fixtures import rated, trial_text
from web_fixtures import client

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.materials.product import parse_area_price
from windowcast.records import trial_threshold
from windowcast.records.model import Rating
from windowcast.records.trial_analyses import analysed_rounds
from windowcast.records.trial_rounds import TrialRound
from windowcast.records.trial_threshold import TurfThreshold, turf_threshold
from windowcast.report.catalogue import Voice
from windowcast.report.trial_threshold import threshold_notes, threshold_said, threshold_sentences
from windowcast.trials.model import PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.threshold import ControlKnown, QualityLine, paying_cover, quality_line
from windowcast.trials.trial_file import TrialFile, trial_from

EN, ES = Voice("us", "en"), Voice("us", "es")
COVER = {"untreated": 40.0, "glyphosate": 6.0, "simazine": 18.0}


def test_the_line_is_that_of_the_last_day_on_which_both_were_rated() -> None:
    """Quality falls by 0.1 a percent on the first day and by 0.2 on the last."""

    def on(day: int, measure: str, fall: float, weed: str = "") -> TrialRound:
        date = dt.date(2025, 3, day)
        rows = tuple(
            PlotRow("", str(block), f"{block}{n}", "a", value, date=date, measure=measure)
            for block in (1, 2)
            for n, cover in enumerate((10.0, 20.0, 40.0))
            for value in [cover if measure == "cover %" else 9 - block / 2 - fall * cover]
        )
        return TrialRound(measure, weed, {"": date}, {}, rows, TrialOptions("percent"))

    def line(*rounds: TrialRound, weed: str = "") -> tuple[float, TrialRound] | None:
        found, seen = trial_threshold._line([(r, TrialAnalysis("percent")) for r in rounds], weed)
        return None if found is None or seen is None else (round(found.fall, 6), seen)

    early, late = on(1, "cover %", 0.1), on(20, "cover %", 0.2)
    qualities = on(1, "quality 1-9", 0.1), on(20, "quality 1-9", 0.2)
    for order in ((early, late), (late, early)):
        assert line(*order, *qualities) == (0.2, late)
        assert line(*order, qualities[0]) == (0.1, early)
    assert line(early, late) is None
    assert line(*qualities) is None
    named = on(20, "cover %", 0.2, "POAAN")
    assert line(late, named, *qualities) == (0.2, named)  # that of one weed before that of all
    assert line(late, named, *qualities, weed="STEME") == (0.2, late)
    assert line(named, *qualities, weed="STEME") is None
    over = replace(late, since={"": dt.date(2025, 3, 1)})
    assert line(over, early, *qualities) == (0.1, early)  # a mean over days has no one day


# --- by hand and against others -------------------------------------------------------------------


def test_it_pays_where_what_is_taken_out_is_worth_what_it_costs() -> None:
    """No worked example for turf was found: by hand, from the definition of Coble & Mortensen 1992.

    At 30 % cover, 75 % control takes out 22.5 % of cover, worth 4 each: 90, which is the cost.
    """
    found = paying_cover(90, 4, ControlKnown("a", 0.75, 0.60, 0.90))
    assert found.cover == pytest.approx(30)
    assert found.cover * 0.75 * 4 == pytest.approx(90)
    assert (found.low, found.high) == pytest.approx((25, 37.5))
    assert found.pays
    assert found.sure
    # twice the cost, or half of the worth, is twice the cover
    assert paying_cover(180, 4, found.known).cover == paying_cover(90, 2, found.known).cover == 60


def test_no_control_pays_nowhere_and_little_may_not() -> None:
    assert paying_cover(90, 4, ControlKnown("a", 0.0, 0.0, 0.5)).cover == math.inf
    maybe = paying_cover(90, 4, ControlKnown("a", 0.5, 0.0, 0.8))
    assert (maybe.pays, maybe.sure, maybe.high) == (True, False, math.inf)
    assert not paying_cover(90, 0.5, ControlKnown("a", 0.9, 0.8, 1.0)).pays


def test_doubt_of_the_worth_widens_the_range_on_both_sides() -> None:
    known = ControlKnown("a", 0.75, 0.60, 0.90)
    found = paying_cover(90, 4, known, math.log(1.3))
    assert found.cover == pytest.approx(30)
    assert found.high == pytest.approx(30 * math.exp(math.hypot(math.log(1.25), math.log(1.3))))
    assert found.low < paying_cover(90, 4, known).low


def plots(sites: int = 2, noise: float = 0.4) -> tuple[list[PlotRow], list[PlotRow]]:
    """Quality 7.2 less 0.06 for each percent of cover; half a step better at each further site."""
    chance, cover, quality = random.Random(2), [], []
    for site in range(sites):
        for plot in range(12):
            weeds = 4.0 * plot
            steps = 7.2 + 0.5 * site - 0.06 * weeds + chance.gauss(0, noise)
            cover.append(PlotRow(f"s{site}", "1", str(plot), "t", weeds))
            quality.append(PlotRow(f"s{site}", "1", str(plot), "t", steps))
    return cover, quality


def line() -> QualityLine:
    found = quality_line(*plots())
    assert found is not None
    return found


def test_the_line_of_quality_is_that_of_statsmodels() -> None:
    cover, quality = plots()
    x = np.array([[r.site == "s0", r.site == "s1", r.value] for r in cover], dtype=float)
    fit = sm.OLS([r.value for r in quality], x).fit()
    found = line()
    assert found.fall == pytest.approx(-fit.params[2])
    assert (found.high, found.low) == pytest.approx(tuple(-fit.conf_int()[2]))
    assert found.clean == pytest.approx(fit.params[:2].mean())
    assert found.df == fit.df_resid == 21
    # an end of Fieller's range is where the line differs from the quality by just the limit
    middle, low, high = found.cover_at(6.0)
    assert low < middle < high
    limit = stats.t.ppf(0.975, 21)
    for end in (low, high):
        test = fit.t_test(([[0.5, 0.5, end]], [6.0]))
        assert abs(float(test.tvalue.squeeze())) == pytest.approx(limit, rel=1e-6)


def hurt() -> tuple[list[PlotRow], list[PlotRow]]:
    """Quality less 0.06 for each percent of cover, and 1.5 less where treating burnt the turf."""
    chance, cover, quality = random.Random(3), [], []
    for site in ("n", "s"):
        for block in range(4 if site == "n" else 3):
            for n, (treatment, weeds) in enumerate(COVER.items()):
                seen = weeds * chance.uniform(0.6, 1.4)
                burnt = 0.0 if treatment == "untreated" else 1.5
                steps = 7.5 + 0.3 * block - 0.06 * seen - burnt + chance.gauss(0, 0.15)
                at = site, str(block), f"{block}{n}", treatment
                cover.append(PlotRow(*at, seen))
                quality.append(PlotRow(*at, steps))
    return cover, quality


def test_blocks_and_treatments_are_taken_out_as_statsmodels_does() -> None:
    import pandas as pd
    import statsmodels.formula.api as smf

    cover, quality = hurt()
    frame = pd.DataFrame(
        {"q": q.value, "w": c.value, "b": c.site + c.block, "t": c.treatment}
        for c, q in zip(cover, quality, strict=True)
    )
    fit = smf.ols("q ~ 0 + C(b) + C(t, Sum) + w", frame).fit()
    found = quality_line(cover, quality)
    assert found is not None
    assert found.fall == pytest.approx(-fit.params["w"])
    assert (found.high, found.low) == pytest.approx(tuple(-fit.conf_int().loc["w"]))
    assert found.df == fit.df_resid == 21 - 7 - 2 - 1
    of_block = {name: fit.params[name] for name in fit.params.index if name.startswith("C(b)")}
    sites = [[v for name, v in of_block.items() if f"[{s}" in name] for s in "ns"]
    assert found.clean == pytest.approx(np.mean([np.mean(site) for site in sites]))
    # turf that was burnt does not make weeds look cheap
    assert found.low < 0.06 < found.high
    plain = smf.ols("q ~ w", frame).fit()
    assert -plain.params["w"] < 0.04


@pytest.mark.parametrize(("acceptable", "seen", "unseen"), [
    (6.0, "good enough up to", "guess"), (1.0, "guess along the line", "never"),
    (8.9, "not good enough even where there are no weeds: it is about 7.4", "up to"),
])  # fmt: skip
def test_what_nobody_saw_of_quality_is_said(acceptable: float, seen: str, unseen: str) -> None:
    found = line()
    assert found.most == 44.0
    whole = TurfThreshold(None, (), (), found, None, found.cover_at(acceptable))
    said = " ".join(threshold_said(whole, Voice("us", "en")).sentences)
    assert seen in said
    assert unseen not in said


def test_quality_that_does_not_fall_says_nothing() -> None:
    cover, quality = plots(noise=30.0)
    found = quality_line(cover, quality)
    assert found is not None
    assert not found.falls
    assert found.doubt == math.inf
    assert found.cover_at(6.0)[2] == math.inf
    assert quality_line(cover[:4], quality[:4]) is None, "too few plots"
    flat = [PlotRow("s", "1", r.plot, "t", 5.0) for r in cover[:12]]
    same = [PlotRow("s", "1", r.plot, "t", r.value) for r in quality[:12]]
    assert quality_line(flat, same) is None, "cover is the same on all"


@pytest.mark.parametrize(("text", "per_m2", "money"), [
    ("45 USD per acre", 45 / 4046.8564224, "USD"), ("$45/acre", 45 / 4046.8564224, "$"),
    ("100 EUR/ha", 0.01, "EUR"), ("2 usd per 1000 ft2", 2 / 92.90304, "USD"),
])  # fmt: skip
def test_money_for_an_area_is_read(text: str, per_m2: float, money: str) -> None:
    assert parse_area_price(text, "--cost") == (pytest.approx(per_m2), money)


@pytest.mark.parametrize("text", ["45", "45/acre", "USD 45", "0 USD/acre", "45 USD per gal"])
def test_what_is_no_money_for_an_area_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_area_price(text, "--cost")


# --- a trial's own ratings ------------------------------------------------------------------------


def trial() -> TrialFile:
    return trial_from(tomllib.loads(text()))


def text() -> str:
    # the count gives way to cover and quality
    found = trial_text("glyphosate", "simazine", weed="POAAN", North="2025-11-18",
                       South="2025-11-18", West="2025-11-18")  # fmt: skip
    head = found.partition('[[measure]]\nwhat = "count')[0]
    return (
        f'{head}[[measure]]\nwhat = "cover %"\nweed = "POAAN"\n[[measure]]\nwhat = "quality 1-9"\n'
    )


def ratings(quality: bool = True) -> list[Rating]:
    seen = rated(trial(), 56, levels=COVER, measure="cover %")
    chance, found = random.Random(1), list(seen)
    for r in seen if quality else ():
        steps = round(2 * (7.2 - 0.06 * r.value + chance.gauss(0, 0.4))) / 2
        found.append(
            Rating(r.date, steps, "quality 1-9", trial=r.trial, plot=r.plot, block=r.block,
                   treatment=r.treatment, location=r.location)
        )  # fmt: skip
    return found


def test_control_comes_from_cover_against_the_check() -> None:
    rounds = analysed_rounds(trial(), ratings())
    found = turf_threshold(trial(), rounds, costs={"": 90.0}, worth=4.0)
    control = {c.treatment: c for c in found.controls}
    means = {name: np.mean([r.value for r in rounds[0][0].rows if r.treatment == name])
             for name in COVER}  # fmt: skip
    for name in ("glyphosate", "simazine"):
        left = float(means[name] / means["untreated"])
        assert control[name].control == pytest.approx(1 - left, abs=0.005)
    # drawn with 18 % beside 40 %
    assert control["simazine"].low < 1 - 18 / 40 < control["simazine"].high
    pays = {p.known.treatment: p.cover for p in found.paying}
    assert pays["glyphosate"] == pytest.approx(90 / (4 * control["glyphosate"].control))
    assert "untreated" not in pays


def test_control_is_against_the_untreated_check_wherever_the_file_has_it() -> None:
    """A weed-free check before it: what is left beside that says nothing of control."""
    for measure in ("cover %", "count per m2"):
        planned = trial_from(tomllib.loads(weed_free_first(measure)))
        seen = rated(planned, 56, levels=COVER | {"hand": 1.0}, measure=measure)
        ((found, analysis),) = analysed_rounds(planned, seen)
        assert {c.second for c in analysis.of("check")} == {"untreated"}
        known = turf_threshold(planned, [(found, analysis)], costs={}).controls
        control = {c.treatment: c for c in known}
        assert list(control) == ["glyphosate", "simazine"]
        for name, each in control.items():
            means = [
                np.mean([r.value for r in found.rows if r.treatment == t])
                for t in (name, "untreated")
            ]
            assert each.control == pytest.approx(1 - means[0] / means[1], abs=0.02)
        # without an untreated check only rated control tells of it
        treated = [t for t in planned.treatment if t.check != "untreated"]
        bare = planned.model_copy(update={"treatment": treated})
        assert not turf_threshold(bare, [(found, analysis)], costs={}).controls


def weed_free_first(measure: str) -> str:
    hand = '[[treatment]]\nname = "hand"\ncheck = "weed-free"\n'
    head = text().partition("[[measure]]")[0]
    head = head.replace(
        '[[treatment]]\nname = "untreated"', f'{hand}[[treatment]]\nname = "untreated"'
    )
    frame = 'frame = "0.25 m2"\n' if measure.startswith("count") else ""
    return f'{head}[[measure]]\nwhat = "{measure}"\nweed = "POAAN"\n{frame}'


def test_a_step_of_quality_is_worth_what_cover_takes_of_it() -> None:
    rounds = analysed_rounds(trial(), ratings())
    found = turf_threshold(
        trial(), rounds, costs={"glyphosate": 45.0}, worth_step=50.0, acceptable=6.0
    )
    assert found.quality is not None
    assert found.quality.low < 0.06 < found.quality.high
    (one,) = found.paying
    worth = 50 * found.quality.fall
    assert one.cover == pytest.approx(45 / (worth * one.known.control))
    assert one.low < paying_cover(45, worth, one.known).low
    assert found.good_up_to is not None
    assert found.good_up_to[1] < (7.2 - 6) / 0.06 < found.good_up_to[2]
    said = " ".join(EN.write(text, "sentence") for text in threshold_sentences(found))
    assert said.startswith("glyphosate pays where weeds cover more than")
    assert "Quality is good enough up to 2" in said
    assert "Quality fell by 0.6 steps for each 10 % of weed cover" in " ".join(
        EN.write(text, "sentence") for text in threshold_notes(found)
    )
    spanish = " ".join(ES.write(text, "sentence") for text in threshold_notes(found))
    assert "La calidad bajó 0.6 pasos por cada 10 % de cobertura de maleza" in spanish


def test_rated_control_goes_first_and_what_lacks_is_said() -> None:
    control = rated(trial(), 56, levels={"untreated": 0.0, "glyphosate": 85.0, "simazine": 55.0})
    rounds = analysed_rounds(trial(), [*ratings(quality=False), *control])
    found = turf_threshold(trial(), rounds, costs={"": 45.0}, worth_step=50.0)
    assert found.round is not None
    assert found.round.measure == "control %"
    assert not found.paying
    notes = [note.id for note in threshold_notes(found)]
    assert "trial_threshold.no_quality" in notes
    cover = turf_threshold(trial(), rounds, costs={"": 45.0}, worth=3.0, key="cover-poaan-56d")
    assert cover.round is not None
    assert cover.round.measure == "cover %"


def test_what_never_pays_is_said() -> None:
    rounds = analysed_rounds(trial(), ratings())
    found = turf_threshold(trial(), rounds, costs={"": 90.0}, worth=0.5)
    said = [EN.text(text) for text in threshold_sentences(found)]
    assert said[0] == "glyphosate costs more than it brings, however much the weeds cover"
    known = ControlKnown("a", 0.5, 0.0, 0.8)
    maybe = turf_threshold(trial(), rounds, costs={}, worth=0.5)
    assert not maybe.paying, "no cost, no answer"
    assert not paying_cover(90, 4, known).sure


def test_control_and_cover_are_those_of_one_weed() -> None:
    """A second weed that takes nothing of quality, on the same plots and days."""
    seen = ratings()
    chance = random.Random(5)
    other = [
        Rating(r.date, chance.uniform(1, 9), "cover %", weed="STEME", trial=r.trial, plot=r.plot,
               block=r.block, treatment=r.treatment, location=r.location)
        for r in seen if r.measure == "cover %"
    ]  # fmt: skip
    rounds = analysed_rounds(trial(), [*seen, *other])
    falls = {}
    for weed in ("POAAN", "STEME"):
        found = turf_threshold(trial(), rounds, costs={"": 90.0}, worth=4.0, weed=weed)
        assert found.round is not None
        assert found.quality_round is not None
        assert found.round.weed == found.quality_round.weed == weed
        assert found.quality is not None
        falls[weed] = found.quality.falls
    assert falls == {"POAAN": True, "STEME": False}
    unsaid = turf_threshold(trial(), rounds, costs={"": 90.0}, worth=4.0)
    assert unsaid.round is not None
    assert unsaid.quality_round is not None
    assert unsaid.round.weed == unsaid.quality_round.weed


# --- the command ----------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.toml").write_text(text())
    lines = ["site,plot,date,measure,weed,value"]
    lines += [f"{r.location},{r.plot},{r.date},{r.measure},{r.weed},{r.value}" for r in ratings()]
    (tmp_path / "r.csv").write_text("\n".join(lines))
    done = CliRunner().invoke(cli, ["trial", "import", "t.toml", "r.csv", "--yes"])
    assert done.exit_code == 0, done.output
    return tmp_path


def test_the_command_says_it_in_words_and_json(folder: Path) -> None:
    command = ["trial", "threshold", "t.toml", "--cost", "45 USD per acre", "--cost",
               "simazine=20 USD per acre", "--worth", "3 USD per acre"]  # fmt: skip
    said = CliRunner().invoke(cli, command).output
    assert "glyphosate pays where weeds cover more than 1" in said
    assert "Your label, and whether the turf takes it, decide" in said
    found = json.loads(CliRunner().invoke(cli, [*command, "--format", "json"]).output)
    each = {t["treatment"]: t for t in found["treatments"]}
    expected = 15 / each["glyphosate"]["control"]
    assert each["glyphosate"]["pays_above"] == pytest.approx(expected)
    assert each["simazine"]["pays_above"] == pytest.approx(20 / 3 / each["simazine"]["control"])
    assert found["quality"]["falls"] is True
    only = CliRunner().invoke(cli, ["trial", "threshold", "t.toml", "--acceptable", "6"]).output
    assert "Quality is good enough up to" in only
    assert "pays where" not in only
    named = [*command, "--weed", "annual bluegrass", "--format", "json"]
    assert json.loads(CliRunner().invoke(cli, named).output) == found


@pytest.mark.parametrize(("words", "problem"), [
    (["--cost", "45 USD/acre"], "--worth: is missing"),
    (["--worth", "3 USD/acre"], "--cost: no cost is given"),
    (["--cost", "45", "--worth", "3 USD/acre"], "--cost: '45' is no money for an area"),
    (["--cost", "45 EUR/acre", "--worth", "3 USD/acre"], "USD and EUR are not the same money"),
    (["--cost", "x=45 USD/acre", "--worth", "3 USD/acre"], "'x' is no treatment of the trial"),
    (["--cost", "45 USD/acre", "--worth", "3 USD/acre", "--worth-step", "9 USD/acre"],
     "--worth-step: both worths are given"),
    (["--cost", "45 USD/acre", "--worth", "3 USD/acre", "--round", "x"], "'x' is no round"),
    (["--acceptable", "6", "--weed", "xyzzy"], "--weed: 'xyzzy' is not a weed we know"),
    (["--acceptable", "6", "--weed", "common chickweed"],
     "--weed: the trial rates no common chickweed"),
])  # fmt: skip
def test_what_cannot_be_said_is_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], problem: str
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["trial", "threshold", "t.toml", *words])
    assert end.value.code == 2
    error = capsys.readouterr().err
    assert problem in error
    assert error.count("\n") == 1


@pytest.mark.parametrize(("asked", "answer"), [
    ({"cost": "45 USD per acre", "worth": "3 USD/acre"}, "glyphosate pays where weeds cover more"),
    ({"acceptable": "6,0"}, "Quality is good enough up to"),
    ({"cost": "45"}, "&#39;45&#39; is no money for an area; write it like 45 USD per acre."),
    ({"worth": "3 USD/acre"}, "No cost is given; say what treating costs"),
    ({"acceptable": "ten"}, "&#39;ten&#39; is no step from 1 to 9; use a number such as 6."),
])  # fmt: skip
def test_the_page_asks_and_answers(folder: Path, asked: dict[str, str], answer: str) -> None:
    found = client(folder).get("/trials/t/results", params=asked)
    assert found.status_code == 200
    assert answer in found.text
    for typed in asked.values():
        assert f'value="{typed}"' in found.text, "what was typed stays"


def test_nothing_is_said_before_it_is_asked(folder: Path) -> None:
    text = client(folder).get("/trials/t/results").text
    assert "What one percent of weed cover less is worth" in text
    assert "pays where" not in text
