"""Taking an input away may widen and lower, and moves no central date by more than three days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import windows_fixtures
from spoken import render
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_ATLANTIC

from windowcast.core.phrase import NOTHING, say
from windowcast.core.record import Grade, Place, Record, Weather
from windowcast.core.site import Site, site_from
from windowcast.core.time_axis import record_of
from windowcast.core.values import PACKAGED
from windowcast.programme.answer import answer, foreseen
from windowcast.region.models import stacked
from windowcast.season.model import SiteState, Substitute
from windowcast.season.observed import Observed
from windowcast.season.runs import trailing_mean
from windowcast.season.sightings import CanopyLook, GreenCover
from windowcast.season.state import build, drivers_of
from windowcast.season.unknown_rain import note_of, substitute_of
from windowcast.sources.files import read_weather
from windowcast.sources.uscrn import read_uscrn
from windowcast.weather.ensemble import members
from windowcast.weather.gaps import filled
from windowcast.weather.load import assemble
from windowcast.weather.quality import checked
from windowcast.weather.rain_filled import told_rain_mm
from windowcast.weather.sample import SAMPLE_TODAY, sample_folder, sample_site
from windowcast.windows.covers import covers_of
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.hours import hour_context
from windowcast.windows.judge import Judge
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.reasons import missing
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.trace import left_out

SITE: Mapping[str, object] = {
    "name": "field",
    "latitude": 34.0,
    "longitude": -83.4,
    "timezone": "America/New_York",
    "turf": {"species": "hybrid bermudagrass", "overseeded": False, "mature": True,
             "irrigated": False},
    "soil": {"texture": "loam"},
    "weeds": ["POAAN", "DIGIS"],
}  # fmt: skip
DAYS = np.arange("2019-07-01", "2021-07-01", dtype="datetime64[D]")
GAP_ENDS = int(np.searchsorted(DAYS, np.datetime64("2020-10-20")))
COLUMNS = ("tmax_c", "tmin_c", "precip_mm", "rh_mean_pct", "solar_mj_m2")


def site(**changed: object) -> Site:
    turf = {**SITE["turf"], **changed}  # type: ignore[dict-item]
    return site_from({**SITE, "turf": turf})


@cache
def weather() -> Record:
    """Two years of a humid climate whose rain follows what the stations around say."""
    rng = np.random.default_rng(3)
    number = np.arange(len(DAYS))
    wet = rng.random(len(DAYS)) < 0.32
    middle = 17.5 + 10.5 * np.cos(2 * np.pi * (number - 20) / 365.25) + rng.normal(0, 2, len(DAYS))
    spread = np.where(wet, rng.uniform(5, 10, len(DAYS)), rng.uniform(9, 17, len(DAYS)))
    columns = {
        "tmax_c": middle + spread / 2,
        "tmin_c": middle - spread / 2,
        "precip_mm": np.where(wet, rng.gamma(0.6, 18.0, len(DAYS)), 0.0),
        "rh_mean_pct": np.where(wet, 85.0, 68.0) + rng.normal(0, 4, len(DAYS)),
        "solar_mj_m2": (15 + 7 * np.cos(2 * np.pi * (number + 10) / 365.25))
        * np.where(wet, 0.6, 1.1),
    }
    return record_of(Place("field", 34.0, -83.4, timezone="America/New_York"), DAYS, columns)


def without(record: Record, name: str, days: slice = slice(None)) -> Record:
    values, grade = record.get(name).copy(), record.grade(name).copy()
    values[days], grade[days] = np.nan, Grade.MISSING
    return replace(
        record,
        values={**record.values, name: values},
        grades={**record.grades, name: grade},
    )


def state_of(record: Record, **changed: object) -> SiteState:
    return build(filled(checked(record)), site(**changed))[0]


@cache
def whole() -> SiteState:
    return state_of(weather())


def first_day(above: np.ndarray, since: str) -> float:
    """Day on which a value first is positive after a date; NaN where it is not, or not known."""
    later = above[int(np.searchsorted(DAYS, np.datetime64(since))) :]
    found = np.flatnonzero((later > 0) | np.isnan(later))
    return float(found[0]) if len(found) and later[found[0]] > 0 else np.nan


def dates_of(state: SiteState) -> dict[str, float]:
    """Central dates of the second season; NaN where one is withheld."""
    week = trailing_mean(state.soil_5cm_c, 7)
    bluegrass, crabgrass = (state.emergence[code].share for code in ("POAAN", "DIGIS"))
    return {
        "soil falls": first_day(21.1 - week, "2020-08-15"),
        "soil rises": first_day(week - 12.8, "2021-01-20"),
        "bluegrass 10 %": first_day(bluegrass - 0.1, "2020-08-15"),
        "bluegrass 50 %": first_day(bluegrass - 0.5, "2020-08-15"),
        "crabgrass 10 %": first_day(crabgrass - 0.1, "2021-01-15"),
        "dormant": first_day(0.5 - state.turf.half_green_probability, "2020-09-15"),
    }


def taken_away() -> list[tuple[str, slice]]:
    gaps = [slice(GAP_ENDS - days, GAP_ENDS) for days in (5, 30, 90)]
    all_days = [(name, slice(None)) for name in COLUMNS if not name.startswith("t")]
    return all_days + [(name, gap) for name in COLUMNS for gap in gaps]


@pytest.mark.parametrize(("name", "days"), taken_away())
def test_no_central_date_moves_by_more_than_three_days(name: str, days: slice) -> None:
    before, after = dates_of(whole()), dates_of(state_of(without(weather(), name, days)))
    assert all(np.isfinite(day) for day in before.values())
    moved = {key: after[key] - before[key] for key in before if np.isfinite(after[key])}
    assert not {key: day for key, day in moved.items() if abs(day) > 3}
    if not name.startswith("t"):
        assert len(moved) == len(before)


@pytest.mark.parametrize("days", [5, 30, 90])
def test_a_gap_of_rain_widens_the_band_and_hardly_moves_the_share(days: int) -> None:
    gap = slice(GAP_ENDS - days, GAP_ENDS)
    found = state_of(without(weather(), "precip_mm", gap)).emergence["POAAN"]
    before = whole().emergence["POAAN"]
    season = slice(GAP_ENDS - days, GAP_ENDS + 60)
    assert (found.share_low <= before.share_low + 0.02)[season].all()
    assert (found.share_high >= before.share_high - 0.02)[season].all()
    width, old = (e.share_high - e.share_low for e in (found, before))
    assert width[GAP_ENDS] > old[GAP_ENDS]
    assert np.nanmax((found.share - before.share)[season]) < 0.05


def test_no_limit_rests_on_a_guess_of_the_soils_water() -> None:
    gap = slice(GAP_ENDS - 30, GAP_ENDS)
    found = state_of(without(weather(), "precip_mm", gap))
    unknown = np.isnan(found.soil_moisture)
    assert unknown[gap.start : gap.stop + 6].all()
    assert not unknown[gap.stop + 6 :].any()
    assert np.isfinite(found.soil_5cm_c[gap]).all()


def test_a_run_split_in_a_gap_is_as_one_run() -> None:
    record = filled(without(weather(), "precip_mm", slice(GAP_ENDS - 30, GAP_ENDS)))
    one, _ = build(record, site())
    for cut in (GAP_ENDS - 20, GAP_ENDS + 3):
        first, second = (
            replace(
                record,
                times=record.times[part],
                values={k: v[part] for k, v in record.values.items()},
                grades={k: g[part] for k, g in record.grades.items()},
            )
            for part in (slice(0, cut), slice(cut, None))
        )
        _, carry = build(first, site())
        then, _ = build(second, site(), start=carry)
        np.testing.assert_array_equal(then.soil_5cm_c, one.soil_5cm_c[cut:])
        np.testing.assert_array_equal(then.soil_moisture, one.soil_moisture[cut:])
        for name in ("share", "share_low", "share_high"):
            both = (getattr(s.emergence["POAAN"], name) for s in (then, one))
            np.testing.assert_array_equal(next(both), next(both)[cut:])


@cache
def station(number: str) -> Record:
    record = checked(read_uscrn([FOLDER / f"{number}.txt.gz"]))
    return record.between(record.times[0], record.times[0] + np.timedelta64(800, "D"))


@pytest.mark.parametrize("days", [slice(400, 440), slice(None)])
def test_a_region_takes_the_same_rain_as_a_single_site(days: slice) -> None:
    gappy = filled(without(station(DEEP_SOUTH), "precip_mm", days))
    beside = filled(station(MID_ATLANTIC))
    stack = stacked([beside, gappy])
    drivers, soil = drivers_of(
        stack.record,
        site(),
        latitude_deg=stack.latitude_deg,
        longitude_deg=stack.longitude_deg,
        spans=stack.spans,
    )
    alone, alone_soil = drivers_of(gappy, site())
    own = slice(int(stack.spans.first[1]), int(stack.spans.first[1] + stack.spans.length[1]))
    np.testing.assert_array_equal(soil.temp_5cm_c[1, own], alone_soil.temp_5cm_c)
    for name in ("water", "rain_7d_mm", "usual_water", "usual_rain_7d_mm"):
        together, single = getattr(drivers, name), getattr(alone, name)
        np.testing.assert_array_equal(together[1, own], single, err_msg=name)


def rain_cost(record: Record, *, irrigated: bool = False) -> Substitute | None:
    return substitute_of(filled(record), irrigated=irrigated, tables=PACKAGED)


def test_the_cost_grows_with_what_is_missing() -> None:
    length = len(DAYS)
    gaps = [1, 5, 30, 90, length]
    found = [rain_cost(without(weather(), "precip_mm", slice(length - n, None))) for n in gaps]
    assert rain_cost(weather()) is None
    costs = [(f.soil_sd_c, f.date_days, f.days) for f in found if f is not None]
    assert len(costs) == len(gaps)
    assert costs == sorted(costs)
    assert [f.none_known for f in found if f] == [False, False, False, False, True]
    old = rain_cost(without(weather(), "precip_mm", slice(length - 400, length - 300)))
    assert old is None


def test_irrigated_weeds_cost_no_more_than_the_soil() -> None:
    dry = without(weather(), "precip_mm")
    plain, watered = rain_cost(dry), rain_cost(dry, irrigated=True)
    assert plain is not None
    assert watered is not None
    assert watered.date_days < plain.date_days


def test_the_cost_is_said_in_words() -> None:
    states = [
        state_of(without(weather(), "precip_mm", slice(start, None)))
        for start in (0, len(DAYS) - 30)
    ]
    none, gap = ([render(note) for note in state.notes] for state in states)
    assert any(
        text.startswith("No rain data: this leaves dates up to 9 days less sure.") for text in none
    )
    assert any(text.startswith("No rain data on 30 of the last 180 days") for text in gap)
    assert not [text for text in map(render, whole().notes) if "rain" in text]
    small = Substitute("precip_mm", "own_years", 1, 180, False, 0.1, 1)
    assert note_of(small, PACKAGED["usual_rain"]) is None


def sample(name: str) -> Record:
    """A file of the sample."""
    return read_weather(sample_folder() / f"{name}.csv.gz", place=sample_site().place)


def sample_days(hourly: Record, daily: Record | None = None) -> Weather:
    daily = daily or sample("daily").between(
        np.datetime64("2017-10-01"), np.datetime64("2018-01-17")
    )
    return assemble([daily, hourly], sample_site().place, SAMPLE_TODAY)


def test_a_layer_of_the_forecast_that_is_impossible_is_named() -> None:
    hourly = sample("hourly")
    assert left_out(sample_days(hourly)) == []
    wild = {**hourly.values, "wind_m_s": hourly.get("wind_m_s") + 200.0}
    (said,) = map(render, left_out(sample_days(replace(hourly, values=wild))))
    assert said.startswith("Left out of the days ahead: wind")
    assert "impossible" in said


BETTER = {"fit": 2, "marginal": 1}


LAYERS = (
    "wind_m_s", "gust_m_s", "dewpoint_c", "precip_mm", "precip_prob", "cloud_fraction",
    "wind_from_deg",
)  # fmt: skip
# the soil goes on with the likeliest rain, which is now less and now more than what was told
SOIL_MAY_MOVE = {("precip_mm", "pre-spring"): 0.01}

Windows = dict[tuple[str, dt.date], tuple[int, float, float, tuple[int, int]]]


def windows(days: Record, hours: Record) -> Windows:
    """Purpose and date of each window → verdict, score, odds and hours."""
    found = answer(sample_site(), sample_days(hours, days)).ranking
    return {
        (outlook.purpose, w.start.date()): (
            BETTER[w.verdict],
            w.score,
            w.odds.share if w.odds else 0.0,
            (w.start.hour, w.end.hour),
        )
        for outlook in found.purposes
        for w in outlook.windows
    }


def check_no_better(before: Windows, after: Windows, what: str) -> None:
    """No verdict, score or odds of a day's window is above what it was, whichever the hours."""
    for key, (verdict, score, odds, _) in after.items():
        assert key in before, (what, key)
        assert verdict <= before[key][0], (what, key)
        assert score <= before[key][1], (what, key)
        assert odds <= before[key][2], (what, key)


@pytest.mark.slow
def test_no_verdict_gets_better_by_knowing_less() -> None:
    daily, hourly = sample("daily"), sample("hourly")
    month = slice(len(daily.times) - 30, None)
    cases = [(without(daily, "precip_mm", days), hourly, "rain") for days in (slice(None), month)]
    cases += [(without(daily, name), hourly, name) for name in ("rh_mean_pct", "solar_mj_m2")]
    cases += [(daily, without(hourly, name), name) for name in LAYERS]
    cases.append((cases[0][0], without(hourly, "cloud_fraction"), "rain and cloud"))
    before = windows(daily, hourly)
    assert before
    for days, hours, what in cases:
        check_no_better(before, windows(days, hours), what)


@cache
def hour_scores(without_layer: str = "", own_errors: bool = False) -> dict[str, np.ndarray]:
    """Purpose → score of each hour in the forecast as issued and each future; -1: cannot tell."""
    daily = sample("daily").between(np.datetime64("2016-10-01"), np.datetime64("2018-01-17"))
    hourly = made_up(sample("hourly"), 8)
    cloud = np.where(np.arange(len(hourly.times)) % 18 < 9, 0.9, 0.3)
    own = {"wind_sd_m_s": 0.9, "dewpoint_sd_k": 1.2, "temp_sd_k": 1.1} if own_errors else {}
    errors = {name: np.full(len(hourly.times), sd) for name, sd in own.items()}
    grades = {name: hourly.grade("temp_c") for name in own}
    hourly = replace(
        hourly,
        values={**hourly.values, "cloud_fraction": cloud, **errors},
        grades={**hourly.grades, **grades},
    )
    days = sample_days(without(hourly, without_layer) if without_layer else hourly, daily)
    found = foreseen(sample_site(), days, futures=20)
    context = hour_context(sample_site(), found.ahead, found.members, weather=days)
    judge = Judge(context, found.past, ())
    chosen = (purpose_of(name, PACKAGED) for name in PURPOSES)
    return {p.name: np.nan_to_num(judge.scores(p, p.generic).score, nan=-1.0) for p in chosen}


@pytest.mark.slow
@pytest.mark.parametrize("own_errors", [False, True])
@pytest.mark.parametrize("name", LAYERS)
def test_no_hour_of_any_future_gets_better_by_a_layer_less(name: str, own_errors: bool) -> None:
    """So no odds of the same hours rise. The best window of a day may be one of other hours."""
    whole = hour_scores(own_errors=own_errors)
    for purpose, before in whole.items():
        after = hour_scores(name, own_errors)[purpose]
        most = SOIL_MAY_MOVE.get((name, purpose), 1e-4)
        assert (after <= before + most).all(), (purpose, np.max(after - before))
    assert max((before > 0).any() for before in whole.values())


def dry_forecast(today: dt.date) -> tuple[Record, Record]:
    """The sample's record with a week's forecast without rain, and the same with rain untold."""
    daily = filled(sample("daily"))
    known = daily.between(daily.times[0], np.datetime64(today) + 6)
    week = slice(len(known.times) - 7, None)
    rain = known.get("precip_mm").copy()
    rain[week] = 0.0
    return replace(known, values={**known.values, "precip_mm": rain}), without(
        known, "precip_mm", week
    )


@pytest.mark.parametrize(
    ("amount", "said", "chance"),
    [(20.0, 20.0, 1.0), (0.0, 0.0, 0.0), (np.inf, np.nan, np.nan), (np.nan, np.nan, np.nan)],
)
def test_rain_of_untold_amount_waters_nothing_in(amount: float, said: float, chance: float) -> None:
    here = windows_fixtures.site(turf={"irrigated": False})
    rain = np.zeros((21, 24 * 8))
    rain[1:, 30:34] = amount / 4
    members = windows_fixtures.weather(here, futures=20, precip_mm=rain)
    day = np.add.reduceat(rain, np.arange(0, 192, 24), axis=1)
    full = np.zeros((21, 30))
    full[:, :8] = np.where(np.isfinite(day), day, 20.0)  # what the soil goes on with
    members.daily.values["precip_mm"][:] = full
    told = told_rain_mm(members, here.zone)
    np.testing.assert_array_equal(told[1:, 1], np.full(20, said))
    assert (told[:, [0, 2]] == 0.0).all()
    purpose = purpose_of("pre-fall", PACKAGED)
    context = DayContext(here, windows_fixtures.state(), purpose.weeds, rain_mm=told)
    found = DAY_CRITERIA["water_in"](context, purpose.generic)[0, 0]
    np.testing.assert_equal(float(found), chance)


@pytest.mark.slow
@pytest.mark.parametrize("irrigated", [False, None])
@pytest.mark.parametrize(
    ("today", "name"), [(dt.date(2017, 8, 20), "pre-fall"), (dt.date(2017, 2, 20), "pre-spring")]
)
def test_no_share_watered_in_rises_without_the_amounts_of_the_forecast(
    irrigated: bool | None, today: dt.date, name: PurposeName
) -> None:
    turf = sample_site().turf.model_copy(update={"irrigated": irrigated})
    here = sample_site().model_copy(update={"turf": turf})
    chosen = purpose_of(name, PACKAGED)
    curves = []
    for record in dry_forecast(today):
        days = Weather(record, None, today)
        found = foreseen(here, days)
        running = RunningSeason.of(here, found.past, found.ahead, found.members, daily=days.daily)
        (cover,) = covers_of(chosen, chosen.generic, running, [])
        curves.append({point.date: point for point in cover.curve})
    before, after = curves
    # emergence goes with the soil's water, and where most is up the curve ends
    assert max(after) - max(before) <= dt.timedelta(days=1)
    for date in before.keys() & after.keys():
        point = after[date]
        assert (point.watered or 0.0) <= (before[date].watered or 0.0) + 1e-9, date
        assert (point.caught or 0.0) <= (before[date].caught or 0.0) + 0.005, date


def made_up(hourly: Record, seed: int) -> Record:
    """A forecast as it might come: by half-days gusts up to 1.85 times the wind, a chance of rain,
    and as much rain as a wet day of the climate brings where it is likelier than usual.
    """
    rng = np.random.default_rng(seed)
    half = np.arange(len(hourly.times)) // 12
    parts = int(half[-1]) + 1
    wind = hourly.get("wind_m_s") * 0.8 * np.clip(rng.gamma(6.0, 1 / 6, parts), 0.4, 1.8)[half]
    gust = wind * (1 + 0.85 * rng.beta(2.0, 2.0, parts))[half]
    chance = np.clip(rng.beta(0.6, 1.6, parts), 0.02, 0.98)
    chance = np.where(rng.random(parts) < 0.5, np.minimum(chance, 0.1), chance)[half]
    rain = np.where(chance >= 0.29, chance * 6.0 / 12, 0.0)
    temp = hourly.get("temp_c") + rng.normal(4.0, 3.0)
    changed = {
        "wind_m_s": wind,
        "gust_m_s": gust,
        "precip_prob": chance,
        "precip_mm": rain,
        "temp_c": temp,
        "dewpoint_c": np.minimum(hourly.get("dewpoint_c") + 3.0, temp),
    }
    return replace(hourly, values={**hourly.values, **changed})


@pytest.mark.slow
@pytest.mark.parametrize("heavy", [1.0, 6.0])
def test_no_made_up_forecast_gets_better_by_a_layer_less(heavy: float) -> None:
    daily, windows_seen = sample("daily"), 0
    for seed in (1, 8, 9, 11):
        hourly = made_up(sample("hourly"), seed)
        values = {**hourly.values, "precip_mm": heavy * hourly.get("precip_mm")}
        hourly = replace(hourly, values=values)
        before = windows(daily, hourly)
        windows_seen += len(before)
        for name in ("gust_m_s", "precip_mm", "precip_prob", "cloud_fraction"):
            check_no_better(before, windows(daily, without(hourly, name)), name)
        check_no_better(before, windows(without(daily, "precip_mm"), hourly), "rain of the past")
    assert windows_seen >= 6


@pytest.mark.parametrize("name", ["gust_m_s", "precip_prob"])
def test_without_gusts_or_the_chance_of_rain_no_hour_is_a_yes(name: str) -> None:
    daily = sample("daily").between(np.datetime64("2016-10-01"), np.datetime64("2018-01-17"))
    found = answer(
        sample_site(), sample_days(without(sample("hourly"), name), daily), futures=20
    ).ranking
    assert any(outlook.cannot_tell for outlook in found.purposes)
    assert not [w for outlook in found.purposes for w in outlook.windows]


def test_an_input_that_several_checks_lack_is_said_once() -> None:
    criteria = PACKAGED["criteria"]

    def said(*names: str) -> str:
        unknown = missing(names, criteria)
        return render(say("advice.cannot_tell", unknown=unknown, look=NOTHING))

    everything = ("saturated_soil", "dry_before", "rain_now", "chance_of_rain", "gusts", "wind")
    assert "Unknown: rain; gusts; wind." in said(*everything)
    assert "Unknown: rain of the last hours; gusts." in said("dry_before", "gusts")


def test_rain_of_unknown_depth_is_any_depth_in_the_futures_and_none_only_where_unlikely() -> None:
    hourly = without(sample("hourly"), "precip_mm")
    chance = np.where(np.arange(len(hourly.times)) < 48, 0.1, 0.6)
    hourly = replace(hourly, values={**hourly.values, "precip_prob": chance})
    until = SAMPLE_TODAY + dt.timedelta(days=12)
    rain = members(sample_days(hourly), until=until, count=40).hourly.get("precip_mm")
    told = rain[:, :240]
    assert (told[0, :48] == 0.0).all()
    assert np.isnan(told[0, 48:]).all()
    assert set(np.unique(told[1:])) == {0.0, np.inf}
    dark = replace(hourly, values={**hourly.values, "precip_prob": chance * np.nan})
    rain = members(sample_days(dark), until=until, count=40).hourly.get("precip_mm")
    assert np.isnan(rain[..., :240]).all()


@pytest.mark.parametrize("days", [slice(None), slice(-30, None)])
def test_rain_of_the_past_taken_away_draws_no_other_rain_ahead(days: slice) -> None:
    daily, hourly = sample("daily"), sample("hourly")
    until = SAMPLE_TODAY + dt.timedelta(days=12)
    before, after = (
        members(sample_days(hourly, record), until=until, count=20)
        for record in (daily, without(daily, "precip_mm", days))
    )
    told = slice(0, 240)
    rain = before.hourly.get("precip_mm")[:, told]
    assert rain.any()
    np.testing.assert_array_equal(after.hourly.get("precip_mm")[:, told], rain)


@pytest.mark.parametrize("name", LAYERS)
def test_a_layer_taken_away_draws_no_other_future_of_the_rest(name: str) -> None:
    hourly = sample("hourly")
    until = SAMPLE_TODAY + dt.timedelta(days=12)
    before, after = (
        members(sample_days(hours), until=until, count=20)
        for hours in (hourly, without(hourly, name))
    )
    follows = {
        "wind_m_s": {"gust_m_s"},
        "dewpoint_c": {"rh_pct"},
        "precip_mm": {"precip_prob"},
        "precip_prob": {"precip_mm"},
    }
    for other in set(before.hourly.values) - {name} - follows.get(name, set()):
        np.testing.assert_array_equal(
            after.hourly.get(other), before.hourly.get(other), err_msg=other
        )


# days after a look in early winter, each of which closed weeks of them
@pytest.mark.parametrize(
    ("looked", "today"),
    [
        (dt.date(2012, 11, 25), dt.date(2013, 1, 30)),
        (dt.date(2013, 11, 15), dt.date(2013, 12, 20)),
    ],
)
def test_someone_who_found_no_leaf_has_no_fewer_days_than_one_who_never_looked(
    looked: dt.date, today: dt.date
) -> None:
    unlooked = days_open(today)
    assert unlooked.sum() > 10
    assert (days_open(today, CanopyLook(looked, live_shoots=False)) >= unlooked).all()


def days_open(today: dt.date, *seen: CanopyLook | GreenCover) -> np.ndarray:
    """Days from a date on, on which the turf's state takes a non-selective, after what was seen."""
    known = assemble([sample("daily")], sample_site().place, today)
    observed = Observed(
        looks=tuple(one for one in seen if isinstance(one, CanopyLook)),
        green_cover=tuple(one for one in seen if isinstance(one, GreenCover)),
    )
    turf = foreseen(sample_site(), known, observed=observed, futures=20).ahead.turf
    return np.asarray(turf.nonselective_safe[0] == 1.0)


def clean(date: dt.date) -> CanopyLook:
    return CanopyLook(date, live_shoots=False)


# leaf that comes back after a look that found none is a green-up, which no frost takes back
@pytest.mark.parametrize(
    ("seen", "today"),
    [
        (
            (clean(dt.date(2015, 11, 29)), CanopyLook(dt.date(2015, 12, 9), live_shoots=True)),
            dt.date(2016, 1, 6),
        ),
        (
            (clean(dt.date(2012, 11, 25)), CanopyLook(dt.date(2012, 12, 20), live_shoots=True)),
            dt.date(2013, 1, 30),
        ),
        (
            (clean(dt.date(2012, 11, 25)), GreenCover(dt.date(2012, 12, 20), 0.1)),
            dt.date(2013, 1, 30),
        ),
    ],
)
def test_leaf_seen_after_a_look_that_found_none_keeps_the_turf_shut(
    seen: tuple[CanopyLook | GreenCover, ...], today: dt.date, monkeypatch: pytest.MonkeyPatch
) -> None:
    after_leaf = days_open(today, *seen)
    assert not after_leaf.any()
    looked_again = (*seen, clean(seen[-1].date + dt.timedelta(days=7)))
    found = days_open(today, *looked_again)
    monkeypatch.setattr("windowcast.programme.answer.freer", lambda turf, unlooked: turf)
    assert (found <= days_open(today, *looked_again)).all()  # an older look opens no day by itself
