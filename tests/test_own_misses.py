"""A site's own record in the place of the general error: the rule, its floor, its proof."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from windows_fixtures import state

from windowcast.core.crps import crps_normal
from windowcast.core.record import Misses
from windowcast.core.values import PACKAGED
from windowcast.programme.answer import foreseen
from windowcast.season.model import TurfPhase
from windowcast.season.turf_safety import stricter
from windowcast.verify.issued_odds import crps_of_members
from windowcast.weather.ensemble import members
from windowcast.weather.ensemble_errors import (
    ErrorPart,
    bias_c,
    middle_of_days,
    spread_of,
)
from windowcast.weather.foretold_days import Case, misses_of
from windowcast.weather.own_misses import (
    Error,
    narrower_is_proven,
    own_days,
    with_own,
)
from windowcast.weather.sample import sample_site, sample_weather

VALUES = PACKAGED["ensemble"]
OWN = VALUES.table("own")
LEADS = 7
LEAD = middle_of_days(LEADS)
GENERAL = spread_of(ErrorPart.HIGH, LEAD, 5.0, VALUES)
BIAS = bias_c(ErrorPart.HIGH, LEAD, 5.0, VALUES)
SHRINK = 15 * GENERAL.sd_c**2 / GENERAL.sd_c[1] ** 2
PLACE_SD = VALUES.number("temperature.high_lasting_sd")
YES, NO = np.ones(LEADS, dtype=bool), np.zeros(LEADS, dtype=bool)


def ruled(errors: np.ndarray | None, told: np.ndarray = NO, may: np.ndarray = YES) -> Error:
    return with_own(BIAS, GENERAL, errors, PLACE_SD, VALUES, may=may, told=told)


def drawn(bias: float, sd: float, days: int = 90, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    errors = np.full((90, LEADS), np.nan)
    errors[90 - days :] = bias + sd * rng.standard_normal((days, LEADS))
    return errors


def test_below_seven_days_nothing_changes() -> None:
    for errors in (None, drawn(5.0, 9.0, days=6)):
        error = ruled(errors)
        assert (error.bias_c == BIAS).all()
        assert (error.spread.sd_c == GENERAL.sd_c).all()
        assert np.allclose(error.spread.lasting, GENERAL.lasting)
        assert not error.own.any()
    assert ruled(drawn(5.0, 9.0, days=7)).own.all()


@pytest.mark.parametrize(("bias", "sd"), [(2.0, 0.8), (-1.5, 6.0), (0.3, 1.2)])
def test_a_forecaster_of_known_bias_and_spread_is_recovered(bias: float, sd: float) -> None:
    """What n / (n + 15) of the way from the general error is, to what 90 draws leave open."""
    share = 90 / (90 + SHRINK)
    centre, spread = [], []
    for seed in range(12):
        error = ruled(drawn(bias, sd, seed=seed))
        centre.append(error.bias_c)
        spread.append(error.spread.sd_c**2)
    wanted = BIAS + share * (bias - BIAS)
    assert np.abs(np.mean(centre, axis=0) - wanted).max() < 4 * sd / np.sqrt(90 * 12)
    wanted = GENERAL.sd_c**2 + share * (sd**2 - GENERAL.sd_c**2)
    assert np.abs(np.mean(spread, axis=0) / wanted - 1).max() < 0.12


def test_shrinkage_by_hand() -> None:
    """Fifteen errors of 1 and 3 in turn: mean and variance go half of the way."""
    errors = np.full((90, LEADS), np.nan)
    errors[75:] = np.where(np.arange(15) % 2, 9.0, -5.0)[:, None]
    error = ruled(errors)
    some = errors[75:, 0]
    assert error.bias_c[1] == pytest.approx((BIAS[1] + some.mean()) / 2)
    assert error.spread.sd_c[1] ** 2 == pytest.approx((GENERAL.sd_c[1] ** 2 + some.var(ddof=1)) / 2)
    lasting = GENERAL.lasting[1] * GENERAL.sd_c[1] ** 2 - PLACE_SD**2 / 2
    assert error.spread.lasting[1] * error.spread.sd_c[1] ** 2 == pytest.approx(lasting)
    share = (error.bias_c - BIAS) / (some.mean() - BIAS)
    assert (np.diff(share) < 0).all(), "larger misses say less of the place"


@settings(max_examples=15)
@given(
    arrays(np.float64, (90, 3), elements=st.one_of(st.just(np.nan), st.floats(-15, 15))),
    st.integers(0, 90),
)
def test_never_narrower_without_proof(errors: np.ndarray, from_day: int) -> None:
    errors[:from_day] = np.nan
    error = ruled(errors, may=YES[:LEADS])
    assert np.isfinite(error.spread.sd_c).all()
    assert ((error.spread.lasting >= 0) & (error.spread.lasting <= 1)).all()
    for lead in range(3):
        narrower = error.spread.sd_c[lead] < GENERAL.sd_c[lead] - 1e-9
        if narrower:
            column = errors[:, lead]
            pooled = float(GENERAL.sd_c[lead] ** 2)
            assert np.isfinite(column).sum() >= OWN.number("proof")
            assert narrower_is_proven(
                column, lead, (float(BIAS[lead]), pooled), float(SHRINK[lead]), OWN
            )
    assert (error.spread.sd_c[3:] == GENERAL.sd_c[3:]).all(), "leads of which nothing is known"


def test_a_narrow_month_is_no_proof() -> None:
    tight = drawn(0.5, 0.3, days=29)
    assert (ruled(tight).spread.sd_c >= GENERAL.sd_c - 1e-12).all()
    assert (ruled(drawn(0.5, 0.3)).spread.sd_c < GENERAL.sd_c).all()


def test_the_proof_is_of_days_foretold_from_those_before() -> None:
    """What is as wide as the general error proves nothing; what is half as wide does."""
    rng = np.random.default_rng(4)
    noise = 2.0 * rng.standard_normal((25, 90))
    proven = [narrower_is_proven(row, 1, (0.0, 4.0), 15.0, OWN) for row in noise]
    assert sum(proven) <= 6
    assert all(narrower_is_proven(row / 2, 1, (0.0, 4.0), 15.0, OWN) for row in noise)
    late = noise[0].copy()
    late[60:] = 0.0  # the last month alone is narrow, and too few days of it were foretold so
    assert narrower_is_proven(late, 40, (0.0, 4.0), 15.0, OWN) is False


def test_today_goes_by_tomorrow_and_is_never_narrowed() -> None:
    errors = drawn(3.0, 0.4)
    errors[:, 0] = np.nan
    error = ruled(errors)
    assert error.bias_c[0] - BIAS[0] == pytest.approx(
        (errors[:, 1].mean() - BIAS[0]) * 90 / (90 + SHRINK[0])
    )
    assert error.spread.sd_c[0] == GENERAL.sd_c[0]
    assert error.spread.sd_c[1] < GENERAL.sd_c[1]


def test_a_spread_that_the_forecast_tells_stays() -> None:
    error = ruled(drawn(3.0, 9.0), told=YES)
    assert (error.spread.sd_c == GENERAL.sd_c).all()
    assert (error.bias_c > BIAS).all()
    assert (ruled(drawn(3.0, 9.0), may=NO).bias_c == BIAS).all()


def test_scores_agree_with_published_reference_values() -> None:
    """CRPS of N(0, 1) and of small ensembles; Gneiting & Raftery 2007."""
    normal = crps_normal(np.array([0.0, 1.0, 2.0]))
    assert normal == pytest.approx([0.233695, 0.602441, 1.452792], abs=1e-6)
    three = np.array([1.0, 2.0, 3.0])
    for came, score in ((2.0, 0.222222), (0.0, 1.555556)):
        assert float(crps_of_members(three, np.array(came))) == pytest.approx(score, abs=1e-6)
    rng = np.random.default_rng(5)
    perfect = 2.0 * crps_normal(rng.standard_normal(20_000))
    assert perfect.mean() == pytest.approx(2.0 * 0.564190, rel=0.02)


# ---- from cases to futures ------------------------------------------------------------------


def case(day: dt.date, lead: int, error: float, source: str = "forecast") -> Case:
    zone = ZoneInfo("America/New_York")
    start = int(dt.datetime.combine(day, dt.time(), zone).timestamp())
    return Case("tmax_c", source, lead, start, 20.0, None, None, None, 20.0 + error)


def test_only_the_source_in_hand_and_the_last_ninety_days_count() -> None:
    today, zone = dt.date(2018, 1, 18), ZoneInfo("America/New_York")
    days = [today - dt.timedelta(k) for k in range(1, 120)]
    cases = [case(d, 1, 1.0) for d in days] + [case(d, 1, 9.0, "other") for d in days]
    found = misses_of(cases, "forecast", today, zone, VALUES)
    assert found is not None
    assert np.isfinite(found.errors_k["tmax_c"]).sum() == 90
    assert np.nanmax(found.errors_k["tmax_c"]) == 1.0
    assert own_days(found, VALUES) == 90
    assert misses_of([case(today, 1, 1.0)], "forecast", today, zone, VALUES) is None
    assert own_days(None, VALUES) == 0
    few = misses_of(cases[:6], "forecast", today, zone, VALUES)
    assert own_days(few, VALUES) == 0


def with_misses(bias: float, sd: float, days: int = 90) -> Misses:
    errors = drawn(bias, sd, days)
    dates = np.datetime64("2018-01-18") - np.arange(90, 0, -1)
    return Misses("forecast", dates, {"tmax_c": errors, "tmin_c": errors.copy()})


def test_futures_move_with_the_record_and_the_forecast_as_issued_stays() -> None:
    weather = sample_weather()
    plain = members(weather, until=weather.today, count=10)
    warm = members(replace(weather, misses=with_misses(4.0, 1.0)), until=weather.today, count=10)
    thin = members(replace(weather, misses=with_misses(4.0, 1.0, 6)), until=weather.today, count=10)
    for name in ("tmax_c", "tmin_c"):
        assert (thin.daily.get(name) == plain.daily.get(name)).all(), "a thin record: the general"
        assert (warm.daily.get(name)[0, :5] == plain.daily.get(name)[0, :5]).all()
    gain = (warm.daily.get("tmax_c") - plain.daily.get("tmax_c"))[1:, 1:5].mean()
    assert 2.0 < gain < 4.0


# ---- harm: no record opens what a limit of the turf closes --------------------------------------


def test_turf_is_taken_as_the_more_careful_has_it() -> None:
    rng = np.random.default_rng(2)
    turf = state().turf

    def worlds() -> object:
        share = rng.random((20, 30))
        phase = rng.choice([int(p) for p in TurfPhase], (20, 30)).astype(np.int8)
        return replace(
            turf, phase=phase, injury_probability=share, greening_begun=share**2,
            dormant_probability=1 - share, green_probability=share, half_green_probability=share,
            unseen=rng.random((20, 30)) < 0.2, nonselective_safe=(share < 0.5).astype(float),
            days_to_greenup=rng.random((20, 30)),
        )  # fmt: skip

    one, other = worlds(), worlds()
    both = stricter(one, other)  # type: ignore[arg-type]
    for each in (one, other):
        assert (both.injury_probability >= each.injury_probability).all()  # type: ignore[attr-defined]
        assert (both.greening_begun >= each.greening_begun).all()  # type: ignore[attr-defined]
        assert (both.nonselective_safe <= each.nonselective_safe).all()  # type: ignore[attr-defined]
        for phase in (TurfPhase.GREENING, TurfPhase.UNKNOWN):
            mine = each.phase == phase  # type: ignore[attr-defined]
            assert np.isin(both.phase[mine], [TurfPhase.GREENING, phase]).all()


@pytest.mark.slow
def test_a_record_never_makes_turf_safer() -> None:
    """A record that says days come much colder would keep the turf brown: the limit stays."""
    site, weather = sample_site(), sample_weather()
    plain = foreseen(site, weather, futures=20).ahead.turf
    for bias in (-6.0, 6.0):
        owned = replace(weather, misses=with_misses(bias, 0.5))
        turf = foreseen(site, owned, futures=20).ahead.turf
        more = turf.injury_probability - plain.injury_probability
        assert np.nanmin(more) >= -1e-12
        assert not ((turf.nonselective_safe == 1) & (plain.nonselective_safe != 1)).any()
