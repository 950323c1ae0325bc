"""Odds and date ranges against hand counts, brute force and statsmodels."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from windowcast.core.record import Members
from windowcast.core.time_axis import first_day, last_day
from windowcast.weather.ensemble import members
from windowcast.weather.sample import sample_weather
from windowcast.windows.odds import (
    basis_of,
    date_range,
    effective_members,
    odds,
    wilson,
    worth_of,
)


@pytest.fixture(scope="module")
def ahead() -> Members:
    return members(sample_weather(), until=dt.date(2018, 6, 30))


@given(st.integers(0, 60), st.integers(1, 60), st.sampled_from([0.5, 0.8, 0.95]))
def test_interval_is_wilsons(hits: int, extra: int, level: float) -> None:
    """Reference: statsmodels 0.14, ``proportion_confint(method="wilson")``."""
    trials = hits + extra
    wanted = proportion_confint(hits, trials, alpha=1 - level, method="wilson")
    assert wilson(hits / trials, trials, level) == pytest.approx(wanted, abs=1e-9)


def test_certain_forecast_gives_odds_of_0_or_1() -> None:
    certain = members(sample_weather(), until=dt.date(2018, 6, 30), certain=True)
    high = certain.daily.get("tmax_c")[1:]
    for day in range(certain.forecast_days):
        for limit in (0.0, 10.0, 20.0):
            result = odds((high[:, day] > limit).astype(float), certain, day, day)
            assert result is not None
            assert result.share in (0.0, 1.0)
            assert result.basis == "forecast"


def test_odds_agree_with_brute_force(ahead: Members) -> None:
    """All outcomes of three independent hours, counted out, against the share over members.

    Each outcome stands as often among the members as its probability says.
    """
    chances = (0.5, 0.2, 0.1)
    rows = []
    for outcome in itertools.product((0, 1), repeat=3):
        weight = np.prod([p if o else 1 - p for p, o in zip(chances, outcome, strict=True)])
        rows += [outcome] * round(weight * 1000)
    array = np.array(rows, dtype=float)
    dry_two = ((array.sum(axis=1)) <= 1).astype(float)
    result = odds(dry_two, ahead, 0, 1)
    assert result is not None
    exact = 0.5 * 0.8 * 0.9 + 0.5 * 0.8 * 0.9 + 0.5 * 0.2 * 0.9 + 0.5 * 0.8 * 0.1
    assert result.share == pytest.approx(exact)
    assert result.low < exact < result.high


def test_odds_of_a_normal_error_are_the_normal_share(ahead: Members) -> None:
    """P(T >= x) of the drawn highs against a brute-force draw of the same figures."""
    high = ahead.daily.get("tmax_c")[1:, 1]
    big = members(sample_weather(), until=dt.date(2018, 6, 30), count=5000)
    for limit in (high.mean() - 1, high.mean() + 1):
        result = odds((high > limit).astype(float), ahead, 1, 1)
        assert result is not None
        brute = float((big.daily.get("tmax_c")[1:, 1] > limit).mean())
        assert result.share == pytest.approx(brute, abs=0.08)


def test_what_cannot_be_told_is_never_a_yes(ahead: Members) -> None:
    holds = np.concatenate([np.ones(40), np.zeros(40), np.full(20, np.nan)])
    result = odds(holds, ahead, 0, 2)
    plain = odds(np.concatenate([np.ones(40), np.zeros(60)]), ahead, 0, 2)
    assert result is not None
    assert plain is not None
    assert result.share == plain.share == 0.4
    assert result.high > plain.high
    assert result.low == plain.low
    assert odds(np.full(100, np.nan), ahead, 0, 2) is None


def test_past_years_count_once_each(ahead: Members) -> None:
    assert effective_members(100, 10, "forecast") == 100
    assert effective_members(100, 10, "past years") == 10
    assert 10 < effective_members(100, 10, "forecast and past years") < 100
    assert basis_of(0, 3, 7) == "forecast"
    assert basis_of(5, 7, 7) == "forecast and past years"
    assert basis_of(7, 9, 7) == "past years"
    near = odds(np.repeat([0.0, 1.0], 50), ahead, 0, 1)
    far = odds(np.repeat([0.0, 1.0], 50), ahead, 60, 60)
    assert near is not None
    assert far is not None
    assert far.high - far.low > 2 * (near.high - near.low)


def test_first_and_last_day() -> None:
    reached = np.array([[0, 0, 1, 1], [0, 0, 0, 0], [0, 1, 0, 1], [0, 0, 0, 1]], bool)
    unknown = np.zeros_like(reached)
    unknown[3, 1] = True
    assert first_day(reached, unknown) == pytest.approx([2, np.inf, 1, np.nan], nan_ok=True)
    assert last_day(reached, unknown) == pytest.approx([3, np.inf, 3, 3])


def test_date_range_counts_members_that_never_get_there() -> None:
    dates = np.arange(np.datetime64("2017-10-01"), np.datetime64("2017-10-31"))
    index = np.concatenate([np.arange(18.0), [np.inf, np.inf]])
    found = date_range(index, dates)
    assert found is not None
    assert (found.early, found.median) == (dt.date(2017, 10, 2), dt.date(2017, 10, 10))
    assert found.late == dt.date(2017, 10, 18)
    assert found.never == 0.1
    most_never = date_range(np.concatenate([np.arange(8.0), np.full(12, np.inf)]), dates)
    assert most_never is not None
    assert most_never.median is None
    assert date_range(np.full(20, np.nan), dates) is None


@pytest.mark.parametrize("years", [6, 10, 30])
def test_range_from_few_years_holds_four_new_years_in_five(years: int) -> None:
    """Brute force: a new year against the widened range of `years` old ones (100 members).

    A new draw falls within the least and greatest of n old ones in (n - 1) / (n + 1) of cases, so
    six years cannot hold more than 71 %.
    """
    rng = np.random.default_rng(years)
    dates = np.arange(np.datetime64("2017-01-01"), np.datetime64("2018-01-01"))
    inside = plain = 0
    for _ in range(2000):
        old = np.clip(180 + 20 * rng.standard_normal(years), 0, 364).round()
        new = dates[int(np.clip(180 + 20 * rng.standard_normal(), 0, 364))].astype(object)
        deck = np.resize(old, 100)
        year_of = np.arange(100) % years
        wide, narrow = date_range(deck, dates, year_of), date_range(deck, dates)
        assert wide is not None
        assert narrow is not None
        inside += wide.early <= new <= wide.late  # type: ignore[operator]
        plain += narrow.early <= new <= narrow.late  # type: ignore[operator]
    most = (years - 1) / (years + 1)
    assert inside / 2000 == pytest.approx(min(0.8, most), abs=0.05)
    assert abs(inside / 2000 - 0.8) < abs(plain / 2000 - 0.8) + 0.02


@pytest.mark.parametrize("years", [6, 12])
def test_errors_of_the_models_are_not_widened_as_if_they_came_from_few_years(years: int) -> None:
    """Brute force: most of the variance is each member's own, and so is that of a new year."""
    rng = np.random.default_rng(years)
    dates = np.arange(np.datetime64("2017-01-01"), np.datetime64("2018-01-01"))
    year_of = np.arange(100) % years
    low = 0.1 - 0.4 / years
    inside = by_years = 0
    for _ in range(1000):
        old, own = rng.standard_normal(years)[year_of], rng.standard_normal(100)
        deck = (180 + 7 * (old + 2 * own)).round()
        new = round(180 + 7 * (rng.standard_normal() + 2 * rng.standard_normal()))
        found = date_range(deck, dates, year_of)
        assert found is not None
        inside += found.early <= dates[new].astype(object) <= found.late  # type: ignore[operator]
        least, most = np.quantile(deck, [low, 1 - low])
        by_years += least <= new <= most
    assert inside / 1000 == pytest.approx(0.8, abs=0.04)
    assert by_years > inside + 20


def test_members_are_worth_their_years_at_least() -> None:
    rng = np.random.default_rng(3)
    year_of = np.arange(99) % 9
    for own in (0.0, 0.3, 3.0):
        index = rng.standard_normal(9)[year_of] + own * rng.standard_normal(99)
        index[:4] = np.inf
        assert 9 <= worth_of(index, year_of) <= 95
    assert worth_of(np.full(99, np.nan), year_of) == 1


def test_futures_that_a_gap_hides_came_later_than_the_rest() -> None:
    # left out, they would pull the middle to early dates and make the range narrow
    days = np.datetime64("2019-11-01") + np.arange(100)
    index = np.array([10.0, 11, 12, 13, 14, 15, 16, np.nan, np.nan, np.nan])
    kept = date_range(index, days, unknown_as=np.inf)
    assert kept is not None
    assert kept.early == dt.date(2019, 11, 11)
    assert kept.median == dt.date(2019, 11, 15)
    assert kept.late is None
    assert (kept.never, round(kept.unknown, 6)) == (0.0, 0.3)
    last = date_range(index, days, unknown_as=-np.inf)
    assert last is not None
    assert last.early is None
    assert last.late == dt.date(2019, 11, 16)
    # neither the dates nor "never" have half of the futures: it cannot be told
    index[3:7] = np.inf
    assert date_range(index, days, unknown_as=np.inf) is None
