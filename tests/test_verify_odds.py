"""Verification of the odds: scores against the `scores` package, replay on the sample's record."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from windowcast.cli import cli
from windowcast.core.record import Record
from windowcast.core.values import load
from windowcast.verify.issued_odds import crps_of_members
from windowcast.verify.issued_scores import crps_normal
from windowcast.verify.odds import (
    Replayed,
    brier,
    calibration_by_chance,
    calibration_error,
    joined,
    last_seasons,
    reliability,
    replay,
    report,
    skill,
    skill_interval,
)
from windowcast.verify.simulated import Truth, archived_misses_c, forecast
from windowcast.weather.ensemble_errors import variance_share
from windowcast.weather.sample import SAMPLE_TODAY, sample_weather
from windowcast.windows.purposes import purpose_of


@pytest.fixture(scope="module")
def record() -> Record:
    daily = sample_weather().daily
    return daily.between(daily.times[0], np.datetime64(SAMPLE_TODAY) - np.timedelta64(1, "D"))


@pytest.fixture(scope="module")
def replayed(record: Record) -> Replayed:
    purpose = purpose_of("post-early")
    return replay(record, purpose, seasons=(2014, 2015, 2016), every_days=5)


def test_brier_is_that_of_scores() -> None:
    """Reference: scores 2, ``scores.probability.brier_score`` (Bureau of Meteorology)."""
    from scores.probability import brier_score
    from xarray import DataArray

    rng = np.random.default_rng(1)
    odds, came = rng.random(500), (rng.random(500) < 0.4).astype(float)
    odds[7] = np.nan
    reference = float(brier_score(DataArray(odds, dims="t"), DataArray(came, dims="t")))
    assert brier(odds, came) == pytest.approx(reference, abs=1e-12)
    half = np.full(500, 0.4)
    ok = np.isfinite(odds)
    better = 1 - reference / float(
        brier_score(DataArray(half[ok], dims="t"), DataArray(came[ok], dims="t"))
    )
    assert skill(odds[ok], half[ok], came[ok]) == pytest.approx(better, abs=1e-12)


def test_crps_is_that_of_scores() -> None:
    """Reference: scores 2, ``crps_for_ensemble``; normal: forecasts of 20,000 members."""
    from scores.probability import crps_for_ensemble
    from xarray import DataArray

    rng = np.random.default_rng(1)
    members, came = rng.normal(size=(30, 50)), rng.normal(size=50)
    wanted = crps_for_ensemble(
        DataArray(members, dims=("m", "t")),
        DataArray(came, dims="t"),
        ensemble_member_dim="m",
        preserve_dims="t",
        method="ecdf",
    )
    assert crps_of_members(members, came) == pytest.approx(wanted.to_numpy())
    z = np.array([-1.7, 0.0, 0.4])
    many = np.repeat(rng.normal(size=(20_000, 1)), 3, axis=1)
    assert crps_normal(z) == pytest.approx(crps_of_members(many, z), abs=0.02)


def test_reliability_is_that_of_scores() -> None:
    """Binned by hand with the contingency counts of `scores`: events and forecasts in each bin.

    ``scores.categorical.BinaryContingencyManager`` counts the hits of "odds in this bin".
    """
    from scores.categorical import BinaryContingencyManager
    from xarray import DataArray

    rng = np.random.default_rng(2)
    odds = rng.random(2000)
    came = (rng.random(2000) < odds**1.3).astype(float)
    table = reliability(odds, came)
    assert sum(b.count for b in table) == 2000
    for line in table:
        inside = ((odds >= line.low) & (odds < line.high)).astype(float)
        counts = BinaryContingencyManager(
            DataArray(inside, dims="t"), DataArray(came, dims="t")
        ).get_counts()
        hits, false = float(counts["tp_count"]), float(counts["fp_count"])
        assert line.count == hits + false
        assert line.came == pytest.approx(hits / (hits + false))
    by_hand = sum(b.count * abs(b.said - b.came) for b in table) / 2000
    assert calibration_error(table) == pytest.approx(by_hand)


def test_perfect_and_useless_odds() -> None:
    came = (np.random.default_rng(3).random(400) < 0.3).astype(float)
    assert brier(came, came) == 0
    assert calibration_error(reliability(came, came)) == 0
    assert skill(came, np.full(400, 0.3), came) == 1
    assert skill(np.full(400, 0.3), np.full(400, 0.3), came) == 0
    assert calibration_error(reliability(1 - came, came)) == 1


def test_well_calibrated_draws_show_no_error_beyond_chance() -> None:
    rng = np.random.default_rng(4)
    odds = rng.random(40_000)
    came = (rng.random(40_000) < odds).astype(float)
    assert calibration_error(reliability(odds, came)) < 0.01


def test_chance_alone_is_what_right_odds_show() -> None:
    """One bin of n cases at p: mean absolute deviation of a binomial share, exactly.

    From memory: De Moivre 1730 (Diaconis & Zabell 1991, *Statistical Science* 6:284):
    E|X - np| is twice m·C(n, m)·p^m·(1 - p)^(n - m + 1), m the first whole number above n·p.
    """
    n, p = 60, 0.35
    m = math.floor(n * p) + 1
    exact = 2 * m * math.comb(n, m) * p**m * (1 - p) ** (n - m + 1) / n
    assert calibration_by_chance(np.full(n, p), draws=20_000) == pytest.approx(exact, rel=0.03)
    assert calibration_by_chance(np.array([0.0, 1.0, np.nan])) == 0


def test_archived_misses_are_those_measured() -> None:
    """Fitted on all bulletins: sd 1.63 and 1.89 °C of the high, bias +0.14 to +0.20 °C.

    benchmarks/fit_forecast_errors.py; this file is a sample of 3000, so 5 %.
    """
    misses = archived_misses_c()
    assert len(misses) == 3000
    assert misses[:, 0].std() == pytest.approx(1.63, rel=0.05)
    assert misses[:, 2].std() == pytest.approx(1.89, rel=0.05)
    assert 0.05 < misses[:, 0].mean() < 0.35
    assert set(misses[:, 4]) == set(range(1, 13))


def test_simulated_forecasts_lose_skill_as_stated(record: Record) -> None:
    """Error variance by lead as a share of the climate's, near the figures taken from memory."""
    truth = Truth.of(record)
    rng = np.random.default_rng(5)
    errors, climate = [], []
    for issue in range(1500, 3600, 7):
        said = forecast(truth, issue, 10, rng)
        if said is None:
            continue
        errors.append(record.get("tmax_c")[issue : issue + 10] - said.get("tmax_c")[-10:])
        climate.append(truth.departure("tmax_c")[issue : issue + 10])
        assert np.array_equal(said.get("tmax_c")[:issue], record.get("tmax_c")[:issue], True)
    share = np.var(errors, axis=0) / np.var(climate)
    for day, lost in ((3, 0.255), (5, 0.42), (7, 0.69)):
        assert share[day - 1] == pytest.approx(lost, rel=0.25)
    assert (share[:2] < 0.2).all()
    # not the ensemble's own figures: joined by straight lines, and harder in some weeks
    assert abs(share[4] - variance_share(np.array([5.0]), load("ensemble"))[0]) > 0.005


def test_replay_uses_only_what_was_known(record: Record) -> None:
    """Changing the record after an issue's ten days changes nothing of that issue's climate."""
    purpose = purpose_of("post-early")
    plain = replay(record, purpose, seasons=(2015,), every_days=40, count=20)
    cut = record.between(record.times[0], np.datetime64("2016-05-15"))
    short = replay(cut, purpose, seasons=(2015,), every_days=40, count=20)
    assert plain.issues == short.issues > 3
    assert np.array_equal(plain.climate, short.climate, equal_nan=True)
    assert np.array_equal(plain.came, short.came, equal_nan=True)


def test_scores_of_the_sample(replayed: Replayed) -> None:
    """Targets on held-back years, with the slack that 140 issues of one station need."""
    made = report(replayed, purpose_of("post-early"), ["sample"], (2014, 2015, 2016))
    assert replayed.issues >= 130
    assert made.skill_climate > 0.05
    assert made.calibration_error < 0.08
    for lead in made.leads:
        assert lead.brier < lead.brier_certain + (0.01 if lead.lead < 3 else 0)
        assert lead.skill_climate > -0.1
    assert made.leads[0].skill_climate > 0.2 > made.leads[-1].skill_climate
    near = skill_interval(replayed, replayed.climate, 0)
    assert near[0] < made.leads[0].skill_climate < near[1]


def test_join_keeps_stations_apart(replayed: Replayed) -> None:
    both = joined([replayed, replayed])
    assert both.issues == 2 * replayed.issues
    assert len(np.unique(both.group)) == 2 * len(np.unique(replayed.group))


def test_last_seasons(record: Record) -> None:
    assert last_seasons(record, 3) == (2014, 2015, 2016)
    assert last_seasons(record.between(record.times[0], record.times[800]), 3) == ()


def test_command_prints_json_and_draws(tmp_path: Path) -> None:
    picture = tmp_path / "reliability.svg"
    args = ["verify", "odds", "--sample", "--seasons", "1", "--every", "20", "--members", "30"]
    result = CliRunner().invoke(cli, [*args, "--format", "json", "--diagram", str(picture)])
    assert result.exit_code == 0, result.output
    data = json.loads(result.output)
    assert [lead["lead"] for lead in data["leads"]] == list(range(1, 11))
    assert {"said", "came", "count"} <= set(data["reliability"][0])
    assert any("simulated" in note for note in data["notes"])
    root = ET.parse(picture).getroot()
    dots = [e for e in root if e.get("class") == "dot"]
    assert len(dots) == len(data["reliability"])
    table = CliRunner().invoke(cli, args)
    assert "skill" in table.output
    assert "calibration error" in table.output


def test_command_needs_a_record_long_enough(tmp_path: Path) -> None:
    assert CliRunner().invoke(cli, ["verify", "odds"]).exit_code != 0
    short = tmp_path / "short.csv"
    short.write_text(
        "# name: Short\n# latitude: 36\n# longitude: -79\ndate,tmax_c,tmin_c,precip_mm\n"
        "2018-01-01,5,-2,0\n2018-01-02,6,-1,0\n"
    )
    result = CliRunner().invoke(cli, ["verify", "odds", str(short)])
    assert result.exit_code != 0
    assert "four whole years" in str(result.exception)
