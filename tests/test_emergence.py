"""Emergence curves against published dates and figures they were not made from.

What each curve is made from is in data/weeds.toml. Checks against the same source test only that
the parameters say what the source says, and are marked so.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spoken import render
from uscrn_sites import DEEP_SOUTH, MID_ATLANTIC, MID_SOUTH, OHIO, record, state

from windowcast.core import weed_codes
from windowcast.core.errors import InputError
from windowcast.core.phrase import say
from windowcast.core.season_calendar import on_date, season_slices
from windowcast.season import weeds
from windowcast.season.clocks import Drivers, clocks
from windowcast.season.dates import share_date
from windowcast.season.degree_days import accumulate, heating
from windowcast.season.emergence import WeedCarry, emerge
from windowcast.season.runs import trailing_mean, trailing_sum

F_PER_C = 1.8


def share_at(code, total):
    return float(weeds.weed(code).share({"emergence": np.array(total), "late": np.array(0.0)}, 0.0))


def date_of(days):
    return days.astype("datetime64[D]") if np.isfinite(days) else None


def month_days(days):
    return [str(np.datetime64(int(d), "D"))[5:] for d in days if np.isfinite(d)]


def drivers(*, days=420, seed=1, first="2019-05-01", latitude=38.0, southern=False, members=()):
    rng = np.random.default_rng(seed)
    dates = np.datetime64(first) + np.arange(days)
    doy = (dates - dates.astype("datetime64[Y]")).astype(float)
    turn = 182.6 if southern else 0.0
    air = 13 - 12 * np.cos(2 * np.pi * (doy - 20 - turn) / 365.25)
    air = air + rng.normal(0, 3, (*members, days))
    soil = air + rng.normal(0, 1, (*members, days))
    rain = rng.exponential(3, (*members, days)) * (rng.random((*members, days)) < 0.3)
    return Drivers(
        dates,
        air,
        soil,
        np.clip(rng.normal(0.5, 0.2, soil.shape), 0, 1),
        trailing_sum(rain, 7),
        southern,
        -latitude if southern else latitude,
    )


# ---- smooth crabgrass -----------------------------------------------------------------------


def test_crabgrass_curve_says_what_its_source_says():
    # Fidanza, Dernoeden & Zhang 1996, Crop Science 36:990-996 (the source of the curve): first
    # emergence at 42-78 degree days, the main period at 140-230.
    assert 0.0005 < share_at("DIGIS", 42) < 0.01 < share_at("DIGIS", 78) < 0.05
    assert share_at("DIGIS", 230) - share_at("DIGIS", 140) > 0.4
    # the spread covers the three years' first emergence (52, 42, 78 degree days)
    low, high = (60 * np.exp(s * weeds.Z90 * weeds.weed("DIGIS").spread) for s in (-1, 1))
    assert low < 42
    assert high > 78


def test_crabgrass_emerges_at_the_published_soil_temperature():
    # Fidanza et al. 1996: 7-day mean soil temperature before first emergence 15.6, 13.9 and
    # 17.5 °C in three Maryland years. The curve is made from degree days alone; here the model's
    # first emergence (1 %) in Virginia is held against the soil probe of the same days.
    found, _ = state(MID_ATLANTIC)
    week = trailing_mean(record(MID_ATLANTIC).get("soil_5cm_c"), 7)
    days = share_date(found.emergence["DIGIS"], found.dates, 0.01)
    at = [int(d - found.dates[0].astype(np.int64)) for d in days if np.isfinite(d)]
    soil = week[[i for i in at if i < len(week)]]
    assert len(soil) >= 7
    assert np.mean((soil > 13.4) & (soil < 18.0)) >= 0.85
    assert 13.9 <= np.median(soil) <= 17.5


def test_crabgrass_air_rules_come_first():
    # Virginia rule (Goatley, Askew et al. 2007): emergence starts at 70-140 °F·d above 50 °F;
    # Ohio State Univ. Extension 2019: 155. Both speak of the very first plants and are meant as
    # a lead; the soil curve must not be ahead of the earliest of them, nor more than seven weeks
    # behind (sources disagree by weeks).
    for station in (MID_ATLANTIC, OHIO):
        found, _ = state(station)
        weather = record(station)
        air = F_PER_C * accumulate(
            heating((weather.get("tmax_c") + weather.get("tmin_c")) / 2, 10.0),
            on_date(weather.times, "01-01", southern=False),
        )
        first = share_date(found.emergence["DIGIS"], found.dates, 0.01)
        lag = []
        for (_, part), day in zip(season_slices(found.dates, southern=False), first, strict=True):
            late = np.isfinite(air[part]) & (
                found.dates[part].astype("datetime64[M]").astype(int) % 12 < 6
            )
            for rule, gap in ((70, 0), (155, 0)):
                reached = np.flatnonzero(late & (air[part] >= rule))
                if reached.size and np.isfinite(day):
                    when = found.dates[part][reached[0]].astype("datetime64[D]").astype(int)
                    lag.append((rule, day - when - gap))
        assert min(days for rule, days in lag if rule == 70) >= 0
        assert np.median([days for rule, days in lag if rule == 155]) < 49


def test_large_crabgrass_starts_at_the_published_total():
    # Ohio State Univ. Extension (Akron Beacon Journal, 7 March 2019), source of the curve:
    # 211 °F·d above 50 °F from 1 January.
    assert share_at("DIGSA", 211 / F_PER_C) == pytest.approx(0.01, abs=0.001)
    # Cardina, Herms & Herms 2011: smooth crabgrass reaches each stage before large crabgrass;
    # held against half emergence in Ohio, each species on its own base.
    found, _ = state(OHIO)
    smooth, large = (share_date(found.emergence[c], found.dates, 0.5) for c in ("DIGIS", "DIGSA"))
    assert np.nanmedian(large - smooth) >= 0


# ---- annual bluegrass -----------------------------------------------------------------------


def test_annual_bluegrass_in_maryland_like_seasons_held_back():
    # Kaminski & Dernoeden 2007, Crop Science 47:775-781: 76 % up by early November (24 % come
    # November-May), 50-70 % between late September and mid-October, peak in early October. The
    # curve is anchored on these figures in seasons that begin in even years
    # (benchmarks/fit_poaan.py); those that begin in odd years were held back.
    found, _ = state(MID_ATLANTIC)
    share = found.emergence["POAAN"].share
    at = lambda d: share[np.searchsorted(found.dates, np.datetime64(d))]  # noqa: E731
    years = [2013, 2015, 2017, 2019]
    november = np.array([at(f"{y}-11-05") for y in years])
    assert np.mean(november) == pytest.approx(0.76, abs=0.06)
    assert np.ptp(november) < 0.12
    # The slice of three weeks: 50-70 % in the study, placed late September to mid-October. The
    # model's own best three weeks carry that much on average; they wander more from year to year
    # than the study saw, latest in the record-warm autumns of 2017 and 2019.
    starts, slices = zip(*(best_three_weeks(found, y) for y in years), strict=True)
    assert 0.48 <= np.mean(slices) <= 0.70
    assert all(0.4 < s < 0.72 for s in slices)
    assert "09-15" < sorted(starts)[1] < "10-15"
    assert all("09-15" < s < "10-20" for s in starts)


def best_three_weeks(found, year):
    """First day and gain of the three weeks with most emergence."""
    i = np.searchsorted(found.dates, np.datetime64(f"{year}-08-15"))
    share = found.emergence["POAAN"].share[i : i + 110]
    gain = share[21:] - share[:-21]
    return str(found.dates[i + int(gain.argmax())])[5:], float(gain.max())


def fastest_day(found, year):
    """Day of the fastest change of the emerged share over a week."""
    i = np.searchsorted(found.dates, np.datetime64(f"{year}-08-01"))
    week = np.convolve(np.diff(found.emergence["POAAN"].share[i : i + 150]), np.ones(7), "valid")
    return str(found.dates[i + int(week.argmax()) + 4])[5:]


def test_annual_bluegrass_peaks_in_the_published_weeks_in_the_mid_south():
    # Taylor et al. 2021, Scientific Reports 11: fastest change between week 40 and week 43
    # (about 1-25 October), mid-South. The curve is anchored in Maryland, not there.
    found, _ = state(MID_SOUTH)
    peaks = [fastest_day(found, y) for y in range(2012, 2018)]
    assert all("09-27" < p < "11-01" for p in peaks)
    assert sum("10-01" <= p <= "10-25" for p in peaks) >= 4


def test_annual_bluegrass_first_seedlings():
    # Taylor 2021 (used for the curve's early part): first emergence at 8-12 CDD21C
    assert 0.002 < share_at("POAAN", 8) <= 0.01
    assert 0.005 < share_at("POAAN", 12) < 0.02


def test_fall_pre_emergence_windows():
    # South Georgia: mid-September to mid-October (Murphy / McCullough, ugaurbanag.com); Selma
    # lies at the latitude between the Georgia Piedmont and south Georgia. Treated in the window,
    # the main flush is still to come, and the window ends near the soil's fall through 70 °F.
    south, _ = state(DEEP_SOUTH)
    half = month_days(share_date(south.emergence["POAAN"], south.dates, 0.5))
    tenth = month_days(share_date(south.emergence["POAAN"], south.dates, 0.1))
    assert len(half) >= 5
    assert all(day > "10-15" for day in half)
    assert all(day > "09-15" for day in tenth)
    # Delaware: late August, before soil drops below 70 °F (Univ. Delaware 2008); Virginia's
    # piedmont is a little warmer.
    north, _ = state(MID_ATLANTIC)
    assert all(
        day > "08-25" for day in month_days(share_date(north.emergence["POAAN"], north.dates, 0.1))
    )


def test_late_winter_flush_is_small_by_default():
    # Sources disagree: none in Maryland, present in Georgia and North Carolina; at most 24 % can
    # come after early November (Kaminski & Dernoeden 2007).
    late = [f for f in weeds.weed("POAAN").flushes if f.clock == "late"]
    assert len(late) == 1
    assert 0 < late[0].weight <= 0.24
    assert sum(f.weight for f in weeds.weed("POAAN").flushes) == pytest.approx(1.0)


def test_late_winter_flush_is_an_option():
    weed = weeds.weed("POAAN")
    for share in (0.0, 0.24):
        other = weeds.with_late_share(weed, share)
        assert sum(f.weight for f in other.flushes) == pytest.approx(1.0)
        assert all(f.weight >= 0 for f in other.flushes)
        assert sum(f.weight for f in other.flushes if f.clock == "late") == share
    assert weeds.with_late_share(weed, None) is weed
    inputs = drivers(days=420, first="2019-06-21")
    by_may = np.searchsorted(inputs.dates, np.datetime64("2020-05-01"))
    new_year = np.searchsorted(inputs.dates, np.datetime64("2020-01-01"))
    gain = [emerge(weeds.with_late_share(weed, share), inputs)[0].share for share in (0.0, 0.24)]
    spring = [g[by_may] - g[new_year] for g in gain]
    assert spring[1] > spring[0] + 0.1


# ---- plants' ages -----------------------------------------------------------------------------


def test_leaf_numbers_against_the_published_phyllochron():
    # Gramig & Stoltenberg, Weed Technology: large crabgrass, base 4.5 °C, 42.2 °C·d per leaf. A
    # single cohort in constant 20 °C must unfold a leaf each 42.2 / 15.5 days.
    weed = weeds.weed("DIGSA")
    burst = replace(weed, flushes=(weeds.Flush(1.0, "emergence", "gompertz", (50.0, 5.0)),))
    days = 30
    warm = np.full(days, 20.0)
    dates = np.datetime64("2021-01-01") + np.arange(days)
    inputs = Drivers(dates, warm, warm, np.ones(days), np.full(days, 99.0), False, 40.0)
    found, _, _ = emerge(burst, inputs)
    assert found.share[0] > 0.99
    expected = np.arange(days) * 15.5 / 42.2
    np.testing.assert_allclose(found.mean_leaf, expected, atol=1e-6)
    np.testing.assert_array_equal(found.youngest_share, (expected < 4).astype(float))
    assert found.mean_bbch[5] == pytest.approx(10 + expected[5])
    assert 21 <= found.mean_bbch[12] < 22


def brute_ages(share, leaf, limit):
    """Plants in daily cohorts, one by one."""
    born = np.diff(share, prepend=0.0)
    young = [
        sum(b for e, b in enumerate(born[: t + 1]) if leaf[t] - leaf[e] < limit)
        for t in range(len(share))
    ]
    mean = [
        sum(b * (leaf[t] - leaf[e]) for e, b in enumerate(born[: t + 1])) for t in range(len(share))
    ]
    return np.array(young) / share, np.array(mean) / share


def test_ages_against_cohorts_one_by_one():
    inputs = drivers(days=200, first="2019-06-21")
    weed = weeds.weed("POAAN")
    found, _, _ = emerge(weed, inputs)
    leaf = clocks(weed, inputs).leaf_time
    up = found.share > 1e-9
    young, mean = brute_ages(found.share[up], leaf[up], weed.young_below * weed.phyllochron)
    np.testing.assert_allclose(found.youngest_share[up], young, atol=1e-9)
    np.testing.assert_allclose(found.mean_leaf[up], mean / weed.phyllochron, atol=1e-6)
    np.testing.assert_allclose(sum(found.stages.values()), 1.0)


# ---- properties -------------------------------------------------------------------------------

CODES = st.sampled_from(["POAAN", "DIGIS", "DIGSA"])


@settings(max_examples=25, deadline=None)
@given(CODES, st.integers(0, 50), st.booleans())
def test_share_rises_within_a_season_and_stays_a_share(code, seed, southern):
    inputs = drivers(seed=seed, southern=southern)
    found, _, _ = emerge(weeds.weed(code), inputs)
    reset = np.flatnonzero(on_date(inputs.dates, weeds.weed(code).biofix, southern))
    assert np.isnan(found.share[: reset[0]]).all()  # the record begins in May
    for curve in (found.share_low, found.share, found.share_high):
        known = curve[max(reset[0], 6) :]
        assert ((known >= 0) & (known <= 1)).all()
        steps = np.diff(curve)
        assert (np.delete(steps, reset - 1)[max(reset[0], 6) :] >= -1e-12).all()
    known = slice(max(reset[0], 6), None)
    assert (found.share_low[known] <= found.share[known] + 1e-12).all()
    assert (found.share[known] <= found.share_high[known] + 1e-12).all()
    assert (found.youngest_share[known] >= 0).all()


def equal_curves(a, b):
    for name in ("share", "share_low", "share_high", "youngest_share", "mean_leaf", "share_prior"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)
    for name, stage in a.stages.items():
        np.testing.assert_array_equal(stage, b.stages[name])


def part_of(inputs, part):
    return replace(
        inputs,
        dates=inputs.dates[part],
        **{k: getattr(inputs, k)[..., part] for k in ("air_c", "soil_c", "water", "rain_7d_mm")},
    )


@settings(max_examples=25, deadline=None)
@given(CODES, st.integers(1, 419), st.integers(0, 9))
def test_a_run_split_in_two_is_the_same_to_the_bit(code, cut, seed):
    inputs = drivers(seed=seed)
    whole, total, _ = emerge(weeds.weed(code), inputs)
    first, _, carry = emerge(weeds.weed(code), part_of(inputs, slice(0, cut)))
    second, rest, _ = emerge(weeds.weed(code), part_of(inputs, slice(cut, None)), carry)
    for name in ("share", "share_low", "share_high", "youngest_share", "mean_leaf"):
        joined = np.concatenate([getattr(first, name), getattr(second, name)])
        np.testing.assert_array_equal(joined, getattr(whole, name), err_msg=name)
    np.testing.assert_array_equal(rest, total[cut:])


def test_members_are_the_same_as_one_by_one():
    many = drivers(days=500, members=(4,))
    carry: WeedCarry | None
    together, _, _ = emerge(weeds.weed("POAAN"), many)
    for m in range(4):
        one = replace(
            many, **{k: getattr(many, k)[m] for k in ("air_c", "soil_c", "water", "rain_7d_mm")}
        )
        alone, _, carry = emerge(weeds.weed("POAAN"), one)
        np.testing.assert_array_equal(together.share[m], alone.share)
        np.testing.assert_array_equal(together.youngest_share[m], alone.youngest_share)
        assert carry.season_share.shape[-1] > 0


def test_missing_air_is_never_no_emergence():
    inputs = drivers()
    air = inputs.air_c.copy()
    air[120] = np.nan  # late August
    found, total, _ = emerge(weeds.weed("POAAN"), replace(inputs, air_c=air))
    assert np.isfinite(found.share[60:120]).all()
    assert np.isnan(found.share[120:400]).all()
    assert np.isnan(total[120:400]).all()
    assert np.isnan(found.youngest_share[120:400]).all()
    again = np.flatnonzero(on_date(inputs.dates, "06-21", southern=False))[1]
    assert np.isfinite(found.share[again:]).all()


def test_a_record_that_begins_soon_after_the_biofix_counts_from_zero():
    weed = weeds.weed("POAAN")
    soon, _, _ = emerge(weed, drivers(first="2019-07-03"))
    late, _, _ = emerge(weed, drivers(first="2019-07-12"))
    assert np.isfinite(soon.share[6:340]).all()
    assert np.isnan(late.share[:340]).all()


def test_unknown_rain_widens_the_band_only():
    inputs = drivers()
    rain = inputs.rain_7d_mm.copy()
    rain[120:180] = np.nan
    blind, _, _ = emerge(weeds.weed("POAAN"), replace(inputs, rain_7d_mm=rain))
    seen, _, _ = emerge(weeds.weed("POAAN"), inputs)
    assert (blind.share[60:] >= seen.share[60:] - 1e-12).all()
    assert (blind.share_low[60:400] <= seen.share_low[60:400] + 1e-12).all()
    assert blind.share_low[200] < seen.share_low[200]


def test_hemispheres_are_half_a_year_apart():
    north, south = drivers(days=800), drivers(days=800, southern=True)
    for code in weed_codes.supported():
        up = [emerge(weeds.weed(code), d)[0].share for d in (north, south)]
        half = [int(np.flatnonzero((s[1:] >= 0.5) & (s[:-1] < 0.5))[0]) for s in up]
        assert abs(abs(half[0] - half[1]) - 182) < 25


def test_weeds_that_nothing_times_are_refused_with_a_reason():
    reason = say(f"unsupported.{weed_codes.unsupported()['TRFRE']}")
    assert "perennial" in render(reason)
    with pytest.raises(InputError, match="POAAN"):
        weeds.weed("NOSUCH")
    assert not set(weed_codes.unsupported()) & set(weed_codes.supported())


def test_band_is_wider_outside_the_latitudes_of_origin():
    weed = weeds.weed("DIGIS")
    assert weed.spread_at(30.0) > weed.spread_at(39.0)
    assert weed.spread_at(-39.0) == weed.spread_at(39.0)


def test_a_value_common_to_all_weeds_can_be_varied() -> None:
    weed = weeds.weed("POAAN")
    inputs = drivers()
    never = replace(weed, common=replace(weed.common, germination_min_c=60.0))
    assert np.nanmax(emerge(weed, inputs)[0].share) > 0.1
    assert np.nanmax(emerge(never, inputs)[0].share) == pytest.approx(0.0, abs=1e-9)
