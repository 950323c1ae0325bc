"""Hindsight against the raw record, against the ranking, and with gaps that stay gaps."""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import json
import math
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from log_fixtures import spoiled
from spoken import METRIC, US, render

from windowcast.cli import cli, main
from windowcast.core.record import Grade, Record, Weather
from windowcast.core.site import Site
from windowcast.materials.actives import load_actives
from windowcast.records.entry_checks import to_plain
from windowcast.records.model import Application, CoverReading, Entry, FieldNote, Material, Rating
from windowcast.records.observations import applied_kg_ha, uses_in
from windowcast.records.review import LATEST, Review, review, review_log
from windowcast.records.reviewed import ReviewedApplication
from windowcast.records.store import SeasonLog
from windowcast.report.review_text import application_lines, render_review, review_lines
from windowcast.season.state import build
from windowcast.trials.timing_and_control import Point, relations
from windowcast.weather.sample import SAMPLE_TODAY, sample_folder, sample_site, sample_weather

ACTIVES = load_actives()
pytestmark = pytest.mark.usefixtures("states_once")


@pytest.fixture(scope="module")
def site() -> Site:
    plain = sample_site()
    # tall, sunny turf: close-mown turf may have had live leaf in that mild January
    tall = plain.turf.model_copy(update={"mowing_height_mm": 50.0, "shade": "none"})
    return plain.model_copy(
        update={"stock": ("glyphosate", "flumioxazin", "simazine"), "turf": tall}
    )


@pytest.fixture(scope="module")
def weather() -> Weather:
    return sample_weather()


@pytest.fixture
def look(site: Site, weather: Weather, tmp_path: Path) -> Callable[..., Review]:
    def go(*entries: Entry, **more: object) -> Review:
        path = tmp_path / "log.sqlite"
        with SeasonLog(path) as log:
            log.add(*entries)
        return review_log(site.model_copy(update=more) if more else site, weather, path)

    return go


def spray(start: str, *actives: str, hours: int = 2, **more: object) -> Application:
    moment = dt.datetime.fromisoformat(start).replace(tzinfo=sample_site().zone)
    return Application(
        start=moment,
        end=moment + dt.timedelta(hours=hours),
        materials=tuple(Material(name) for name in actives),
        **more,  # type: ignore[arg-type]
    )


def fact(item: ReviewedApplication, key: str) -> float:
    return next(f.value for f in item.facts if f.key == key)


def raw_days() -> dict[str, dict[str, str]]:
    """The sample's daily file, read without the program."""
    with gzip.open(sample_folder() / "daily.csv.gz", "rt") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    return {row["date"]: row for row in rows}


def test_a_warm_dormant_day_did_well(look: Callable[..., Review]) -> None:
    result = look(
        spray("2017-01-12 13:00", "glyphosate", purpose="dormant", wind_m_s=2.5, rh_pct=55.0)
    )
    (item,) = result.applications
    assert item.scored is not None
    assert item.scored.verdict == "fit"
    assert item.scored.score is not None
    assert item.faults == ()
    assert "wind" in map(render, item.scored.left_out)  # the season's wind was not measured
    assert item.better_days == 0


JUG = """
[[products]]
name = "jug"
active = "glyphosate"
concentration = "500 g/L"
rate = "4 L/ha"
"""


def test_the_latest_season_is_looked_into_with_the_rates_of_the_own_labels(
    site: Site, weather: Weather, tmp_path: Path
) -> None:
    labels = tmp_path / "labels.toml"
    labels.write_text(JUG)
    first, last = (
        replace(spray(day, purpose="dormant"), materials=(Material("glyphosate", 0.4),))
        for day in ("2016-01-12 13:00", "2017-01-12 13:00")
    )
    with SeasonLog(tmp_path / "log.sqlite") as log:
        log.add(first, last)
    found = review_log(site, weather, tmp_path / "log.sqlite", labels, season=LATEST)
    assert (found.seasons, found.season, found.season_known) == (
        ("2015/16", "2016/17"), "2016/17", True,
    )  # fmt: skip
    outcome, whole = found.applications
    assert outcome.scored is None
    assert outcome.verdict is not None
    assert outcome.verdict.causes == ()
    assert whole.scored is not None
    assert whole.verdict is not None
    (rate,) = [cause for cause in whole.verdict.causes if cause.name == "rate"]
    assert (rate.strength, render(rate.because)) == (
        "likely", "only 20 % of your label's rate went out",
    )  # fmt: skip
    assert "review.no_hours" not in [note.id for note in found.notes]


RAIN = {"dry_before", "rain_now", "rain_after", "chance_of_rain"}


def test_rain_at_an_hour_nobody_knows_is_neither_a_fault_nor_a_go_ahead(
    look: Callable[..., Review],
) -> None:
    assert float(raw_days()["2017-01-03"]["precip_mm"]) == 4.6  # in which hours is not kept
    (item,) = look(
        spray("2017-01-03 10:00", "glyphosate", purpose="dormant", wind_m_s=2.5, rh_pct=55.0)
    ).applications
    assert item.scored is not None
    assert item.scored.verdict == "cannot tell"
    judged = {j.criterion: j for j in item.scored.judged}
    unknown = {name for name in RAIN if judged[name].verdict == "cannot tell"}
    assert unknown == RAIN
    assert all(render(judged[name].reason).startswith("unknown") for name in RAIN)
    assert item.faults == ()
    raw = raw_days()
    assert item.scored.windows
    for window in item.scored.windows:  # nor is such an hour held against it as the better one
        assert float(raw[str(window.start.date())]["precip_mm"]) < 0.6


def test_a_days_rain_that_decides_is_judged(look: Callable[..., Review]) -> None:
    # 17.1 mm on the day and none the next: whenever it fell, less than the 25 mm of washing rain
    raw = raw_days()
    assert [raw[f"2017-01-{n}"]["precip_mm"] for n in (23, 24)] == ["17.1", "0.0"]
    wet, dry = look(
        spray("2017-01-23 10:00", "simazine", purpose="dormant"),
        spray("2017-01-24 13:00", "glyphosate", purpose="dormant"),
    ).applications
    assert wet.scored is not None
    washing = {j.criterion: j for j in wet.scored.judged}
    assert washing["washing_rain"].score == 1.0
    assert washing["rain_now"].score is None
    assert dry.scored is not None
    assert all(j.score == 1.0 for j in dry.scored.judged if j.criterion in RAIN)


def test_measured_hours_say_when_the_rain_fell(
    site: Site, weather: Weather, tmp_path: Path
) -> None:
    """The 0.6 mm of the day all fell in one measured hour, in the morning or in the afternoon."""
    times = np.datetime64("2017-02-06T05", "h") + np.arange(72)  # from local midnight (UTC-5)
    for hour, score in ((6, 1.0), (13, 0.0)):
        rain = np.zeros(72)
        rain[24 + hour] = 0.6
        grades = {"precip_mm": np.full(72, Grade.OBSERVED, dtype=np.uint8)}
        hourly = Record(weather.daily.place, times, {"precip_mm": rain}, grades)
        path = tmp_path / f"{hour}.sqlite"
        with SeasonLog(path) as log:
            log.add(spray("2017-02-07 10:00", "glyphosate", purpose="dormant"))
        (item,) = review_log(site, replace(weather, hourly=hourly), path).applications
        assert item.scored is not None
        (chance,) = (j.score for j in item.scored.judged if j.criterion == "chance_of_rain")
        assert chance == score


def test_close_before_a_gap_the_margin_to_greenup_cannot_be_told(
    look: Callable[..., Review],
) -> None:
    assert not raw_days()["2017-03-14"]["tmin_c"]  # 13 to 16 March were not measured
    (item,) = look(
        spray("2017-03-02 13:00", "glyphosate", purpose="dormant", wind_m_s=2.5, rh_pct=55.0),
        CoverReading(dt.date(2017, 3, 2), live_shoots=False),
    ).applications
    assert item.scored is not None
    assert item.scored.verdict == "cannot tell"


def test_a_frozen_morning_did_not_and_the_next_day_was_missed(look: Callable[..., Review]) -> None:
    result = look(spray("2017-01-10 09:00", "glyphosate", purpose="dormant"))
    (item,) = result.applications
    assert item.scored is not None
    assert item.scored.score == 0  # a no is a no although the wind is not known
    assert item.faults is not None
    assert any("frost" in render(text) for text in item.faults)
    assert item.better_days == len(item.scored.windows) >= 5
    assert "closest was 1 day later" in render(item.missed)


def test_no_day_is_offered_on_which_the_turf_was_green(look: Callable[..., Review]) -> None:
    # the turf model calls it dormant from 18 November 2016 on; parts of March are not measured
    (item,) = look(spray("2017-01-12 13:00", "glyphosate", purpose="dormant")).applications
    assert item.scored is not None
    assert item.scored.windows
    first = min(w.start for w in item.scored.windows)
    assert fact(item, "days_since_dormant") == (item.application.date - dt.date(2016, 11, 18)).days
    assert first.date() >= dt.date(2016, 11, 18)


def test_weeds_that_are_not_up_have_no_age(look: Callable[..., Review]) -> None:
    item, unsaid = look(
        spray("2015-09-08 08:00", "prodiamine", purpose="pre-fall"),
        spray("2015-09-08 09:00", "mystery"),
    ).applications
    assert 0 < fact(item, "share_POAAN") < 0.5  # percent
    assert not any(f.key == "young_POAAN" for f in item.facts)
    assert not any(f.key == "weeds_bbch" for f in item.facts)
    assert not any("crabgrass" in render(f.label) for f in item.facts)  # nothing it was aimed at
    assert any(f.key == "young_DIGIS" for f in unsaid.facts)
    (stage,) = (f.label for f in unsaid.facts if f.key == "weeds_bbch")
    assert render(stage) == "smooth crabgrass: mean stage of those emerged"


def test_a_weed_of_which_nothing_is_known_is_not_passed_over(
    site: Site, weather: Weather, tmp_path: Path
) -> None:
    from windowcast.records.conditions import facts_of
    from windowcast.windows.hindsight import season_context

    state, _ = build(weather.daily, site)
    grass = state.emergence["POAAN"]
    blind = replace(grass, share=np.full_like(grass.share, np.nan))
    state = replace(state, emergence={**state.emergence, "POAAN": blind})
    last = weather.daily.times[-1].astype(object)
    context = season_context(
        site, weather, state, dt.date(2016, 7, 1), min(last, dt.date(2017, 6, 30))
    )
    facts = facts_of(context, spray("2017-02-07 10:00", "glyphosate"), None, "dormant")
    assert [render(f.text) for f in facts if "POAAN" in f.key] == ["unknown"]


def test_a_fault_is_said_once(look: Callable[..., Review]) -> None:
    result = look(spray("2017-01-10 09:00", "glyphosate", purpose="dormant"))
    lines = application_lines(result.applications[0], METRIC)
    most = next(line for line in lines if "Held back most" in line)
    most = most.split(" by ", 1)[1]
    assert not any(line.endswith(most) for line in lines if "Against" in line)
    assert sum("Against" in line for line in lines) > 0
    page = render_review(result, METRIC)
    assert "slow uptake" in most
    assert page.count("slow uptake") == 1
    assert page.count("<li>▲") == sum("Against" in line for line in lines)


def test_a_place_is_known_however_it_is_written() -> None:
    done = spray("2017-02-07 10:00", "glyphosate", where="Field  2")
    done = replace(done, materials=(Material("glyphosate", rate_kg_ha=0.5),))
    until = dt.date(2017, 12, 1)
    assert applied_kg_ha([done], until, "field 2") == {"glyphosate": 0.5}
    assert applied_kg_ha([done], until, "field 3") == {}
    (use,) = uses_in([done], ACTIVES, southern=False)
    assert use.where == "Field  2"


def test_facts_agree_with_the_raw_record(look: Callable[..., Review]) -> None:
    raw = raw_days()
    day = dt.date(2017, 1, 10)

    def value(name: str, offset: int) -> float:
        return float(raw[str(day + dt.timedelta(days=offset))][name])

    (item,) = look(spray("2017-01-10 09:00", "glyphosate", purpose="dormant")).applications
    week = [(value("tmax_c", n) + value("tmin_c", n)) / 2 for n in range(1, 8)]
    assert fact(item, "week_temp_c") == pytest.approx(np.mean(week), abs=0.01)
    air = fact(item, "temp_c")
    assert value("tmin_c", 0) <= air <= value("tmax_c", 0)
    # the three nights after: the hours' lowest air lies at the lowest of the days' minima
    lows = min(value("tmin_c", n) for n in range(1, 4))
    assert fact(item, "low_c") == pytest.approx(lows, abs=0.6)
    assert math.isinf(fact(item, "freeze_h")) == (lows >= 0)


@pytest.mark.parametrize("start", ["2017-01-12 10:00", "2017-01-03 10:00", "2017-01-10 10:00"])
def test_dry_hours_agree_with_the_raw_days(look: Callable[..., Review], start: str) -> None:
    raw, day = raw_days(), dt.date.fromisoformat(start[:10])
    (item,) = look(spray(start, "glyphosate", purpose="dormant")).applications
    wet = [float(raw[str(day + dt.timedelta(days=n))]["precip_mm"]) >= 0.25 for n in range(4)]
    found = fact(item, "dry_h")
    if wet[0]:  # the hour of the day is not known
        assert math.isnan(found)
    elif any(wet[1:3]):  # from 12:00 on that day to the midnight before the wet day
        assert found == 12 + 24 * (wet.index(True) - 1)
    else:
        assert found >= 60


def test_what_was_entered_goes_before_the_record(look: Callable[..., Review]) -> None:
    cold = spray("2017-02-07 10:00", "glyphosate", purpose="dormant", wind_m_s=2.5, temp_c=3.0)
    (item,) = look(cold).applications
    assert fact(item, "temp_c") == 3.0
    assert item.faults is not None
    assert any("air temperature: 3" in render(text) for text in item.faults)
    windy = replace(cold, temp_c=None, wind_m_s=7.0)
    (_, item) = look(windy).applications
    assert item.scored is not None
    assert item.scored.score == 0
    assert any("wind" in render(text) for text in item.faults or ())


def test_missing_wind_is_never_a_go_ahead(look: Callable[..., Review]) -> None:
    (item,) = look(spray("2017-01-12 13:00", "glyphosate", purpose="dormant")).applications
    assert item.scored is not None
    assert item.scored.score is None
    assert item.scored.verdict == "cannot tell"
    assert item.scored.limiting is not None
    assert item.scored.limiting.criterion == "wind"


def test_same_hours_same_criteria_as_the_ranking(site: Site, weather: Weather) -> None:
    """What rank said of a window, hindsight says of the same hours if all came as forecast."""
    from windowcast.programme.answer import answer

    ranked = answer(site, weather, purposes=["dormant"], days=6, futures=5).ranking
    window = ranked.purposes[0].windows[0]
    state, _ = build(weather.daily, site)
    done = Application(start=window.start, end=window.end, materials=(Material("glyphosate"),),
                       purpose="dormant")  # fmt: skip
    from windowcast.records.past_windows import PastSeason
    from windowcast.windows.hindsight import season_context
    from windowcast.windows.purposes import purpose_of

    last = weather.daily.times[-1].astype(object)
    context = season_context(site, weather, state, dt.date(2017, 7, 1), last)
    scored = PastSeason(context).score(done, purpose_of("dormant").generic, "dormant")
    assert scored.block == (window.start, window.end)
    then = {j.criterion: j for j in window.judged}
    now = {j.criterion: j for j in scored.judged}
    same = {"wind", "gusts", "delta_t", "air_temperature", "humidity", "daylight", "site_hours",
            "heat", "rain_now", "season_months"} & set(now)  # fmt: skip
    assert len(same) >= 7
    for name in same:
        assert now[name].score == pytest.approx(then[name].score, abs=1e-6), name
        assert (now[name].measured is None) == (then[name].measured is None)
        assert now[name].measured in (None, pytest.approx(then[name].measured or 0.0, rel=1e-6))


def test_watering_in_counts_rain_and_the_log(look: Callable[..., Review]) -> None:
    dry = spray("2017-01-12 10:00", "simazine", purpose="dormant", where="A")
    wet = replace(dry, where="B", watered_in_mm=13.0, watered_in_on=dt.date(2017, 1, 14))
    late = replace(dry, where="C", watered_in_mm=13.0, watered_in_on=dt.date(2017, 2, 14))
    items = {i.application.where: i for i in look(dry, wet, late).applications}
    rain = fact(items["A"], "watered_mm")
    assert rain < 12.7
    assert any("too little" in render(text) for text in items["A"].faults or ())
    assert fact(items["B"], "watered_mm") == pytest.approx(rain + 13)
    assert not any("too little" in render(text) for text in items["B"].faults or ())
    assert fact(items["C"], "watered_mm") == pytest.approx(rain)


def test_unnamed_purpose_and_unknown_active(look: Callable[..., Review]) -> None:
    result = look(spray("2016-09-15 09:00", "prodiamine"), spray("2016-10-20 09:00", "mystery"))
    named, unknown = result.applications
    assert named.scored is not None
    assert named.scored.purpose == "pre-fall"
    assert any("does not say what it was for" in render(note) for note in named.notes)
    assert unknown.scored is None
    assert unknown.faults is None
    assert any("mystery is not a known active" in render(note) for note in unknown.notes)
    assert unknown.facts  # the weather of the day is there all the same


def test_outside_the_record(look: Callable[..., Review]) -> None:
    (item,) = look(spray("1999-02-07 10:00", "glyphosate", purpose="dormant")).applications
    assert item.scored is None
    assert "does not include this date" in render(item.notes[-1])


def test_overseeded_turf_is_a_fault_and_unknown_cannot_be_told(
    look: Callable[..., Review], site: Site
) -> None:
    turf = site.turf.model_copy(update={"overseeded": True})
    (item,) = look(
        spray("2017-02-07 10:00", "glyphosate", purpose="dormant", wind_m_s=2.5), turf=turf
    ).applications
    assert item.scored is not None
    assert item.scored.score == 0


def test_survivors_are_judged_by_how_the_application_was_made(look: Callable[..., Review]) -> None:
    good = spray("2017-01-12 13:00", "glyphosate", purpose="dormant", where="A", wind_m_s=2.5)
    bad = spray("2017-01-10 09:00", "glyphosate", purpose="dormant", where="B")
    calm = replace(good, where="C", wind_m_s=None)  # nobody measured the wind
    notes = [FieldNote(dt.date(2017, 3, 20), "seen", where=w, survivors_mixed=True) for w in "ABC"]
    by_place = {s.where: s.suspicion for s in look(good, bad, calm, *notes).suspicions}
    assert "unless" not in render(by_place["A"].reason)
    assert by_place["C"].raised
    assert "unless the cause was wind" in render(by_place["C"].reason)
    assert by_place["A"].raised
    assert by_place["A"].groups == (9,)
    assert not by_place["B"].raised
    assert "frost" in render(by_place["B"].reason)


def test_rotation_of_the_last_season(look: Callable[..., Review]) -> None:
    result = look(
        spray("2016-01-20 13:00", "glyphosate", purpose="dormant"),
        spray("2017-02-07 10:00", "glyphosate", purpose="dormant"),
    )
    assert result.groups == {"dormant": {"2015/16": (9,), "2016/17": (9,)}}
    (flag,) = result.rotation
    assert "last season as well" in render(flag.reason)
    shown = [render(other) for other in flag.alternatives]
    assert shown == ["flumioxazin (group 14)", "simazine (group 5)"]


def test_relations_are_lines_said_with_care() -> None:
    # y = 20 + 6 x + small known residuals: slope and interval against scipy
    from scipy import stats

    x = [30.0, 45.0, 60.0, 75.0, 90.0]
    y = [38.5, 46.5, 56.5, 64.5, 74.5]
    points = [Point(str(i), c, s, math.nan, 5.0) for i, (s, c) in enumerate(zip(x, y, strict=True))]
    score, stage, warmth = relations(points)
    fit = stats.linregress(x, y)
    assert score.slope == pytest.approx(10 * fit.slope)
    assert score.high is not None
    half = stats.t.ppf(0.975, 3) * fit.stderr
    assert score.high == pytest.approx(10 * (fit.slope + half))
    assert "does not include zero" in render(score.text)
    assert stage.slope is None  # never known
    assert warmth.slope is None  # always the same
    assert "too few, or too alike" in render(warmth.text)
    assert relations([]) == ()


def test_timing_is_told_within_treatments_and_over_trials() -> None:
    # 3 trials of 6 treatments: all of a trial were sprayed on one day, so there are three timings,
    # not eighteen; the slope is known by the trials, one degree of freedom
    rng = np.random.default_rng(8)
    own, day = rng.normal(0, 15, 6), (30.0, 55.0, 80.0)
    points = [
        Point("", 50 + own[n] + (12, -9, 4)[t] + rng.normal(0, 2), day[t], float(n), 5.0 + t, t, n)
        for t in range(3)
        for n in range(6)
    ]
    rows = [
        replace(p, trial=f"t{p.trial}", treatment=f"T{p.treatment}", occasion="one day")
        for p in points
    ]
    score, stage, warmth = relations(rows)
    means = [np.mean([p.control_pct for p in rows if p.score == d]) for d in day]
    x = np.array(day) - np.mean(day)
    slope = float(x @ means / (x @ x))
    assert score.per_unit == pytest.approx(slope)
    left = np.array(means) - np.mean(means) - slope * x
    half = 12.706 * np.sqrt(left @ left / (x @ x))  # t of one degree of freedom
    assert score.high is not None
    assert score.high - (score.slope or 0) == pytest.approx(10 * half, rel=0.01)
    assert stage.slope is None  # told by the treatment alone
    # looks beyond the one that was declared are hints
    assert score.text.id == "relation.line"
    assert warmth.text.id == "relation.hint"


def test_false_findings_of_timing_are_as_rare_as_said() -> None:
    rng = np.random.default_rng(12)
    found, sets = 0, 60
    for _ in range(sets):
        points = []
        for t in range(4):
            score, by = rng.uniform(20, 90), rng.normal(0, 12)
            for n in range(3):
                control = 60 + 10 * n + by + rng.normal(0, 5)
                points.append(Point("", control, score, math.nan, math.nan, str(t), str(n)))
        line = relations(points)[0]
        assert line.low is not None
        assert line.high is not None
        found += line.low > 0 or line.high < 0
    assert found / sets <= 0.05 + 3 * 0.028  # three standard errors


def test_a_point_is_one_application_at_its_own_place() -> None:
    from windowcast.records.review import _points
    from windowcast.records.reviewed import ReviewedApplication
    from windowcast.records.trials import trial_results

    def done(where: str, treatment: str = "A", day: int = 10) -> ReviewedApplication:
        start = dt.datetime(2017, 1, day, 12, tzinfo=dt.UTC)
        a = Application(
            start, (Material("glyphosate"),), where=where, trial="t", treatment=treatment
        )
        return ReviewedApplication(id="", application=a, purpose_noted=False)

    ratings = [
        Rating(dt.date(2017, 4, 20), value + int(block), trial="t", plot=f"{place}{name}{block}",
               treatment=name, block=block, location=place)
        for place, left in (("North", 20.0), ("South", 60.0))
        for block in "123"
        for name, value in (("untreated", 80.0), ("A", left))
    ]  # fmt: skip
    trials = trial_results(ratings)
    found = _points([done("north"), done("South"), done("elsewhere")], trials)
    assert [round(p.control_pct) for p in found] == [73, 24]  # 1 - 22/82, 1 - 62/82
    # two sprays of one treatment at one place: what they did together is told of neither
    assert len(_points([done("north"), done("north", day=20), done("South")], trials)) == 1
    assert not _points([done("")], trials)
    one = trial_results([r for r in ratings if r.location == "North"])
    assert len(_points([done("anywhere")], one)) == 1
    # quality rated beside weeds, or after them, is no control
    quality = [replace(r, measure="quality 1-9", value=6.0 + int(r.block) / 2) for r in ratings]
    later = [replace(r, date=dt.date(2017, 5, 2)) for r in quality]
    for other in (quality, later):
        both = trial_results([*ratings, *other])
        assert [p.control_pct for p in _points([done("north"), done("South")], both)] == [
            p.control_pct for p in found
        ]
    # nor does a rating tell of what was sprayed after it
    assert not _points([done("north", day=20)], trial_results(
        [replace(r, date=dt.date(2017, 1, 15)) for r in ratings]
    ))  # fmt: skip


def test_a_trial_with_a_file_is_left_to_the_command_that_knows_its_layout(
    look: Callable[..., Review], tmp_path: Path
) -> None:
    (tmp_path / "plan.toml").write_text(
        'name = "t"\ndesign = "rcbd"\nlog_file = "log.sqlite"\n'
        '[[site]]\nname = "North"\nlatitude = 33.3\nlongitude = -84.3\n'
        '[[treatment]]\nname = "untreated"\ncheck = "untreated"\n[[treatment]]\nname = "A"\n'
    )
    rows = [
        Rating(dt.date(2017, 4, 20), left + int(block), trial="t", plot=f"{name}{block}",
               treatment=name, block=block, location="North")
        for block in "123" for name, left in (("untreated", 80.0), ("A", 20.0))
    ]  # fmt: skip
    (result,) = look(*rows).trials
    assert result.analysis is None
    assert [note.id for note in result.notes] == ["trial.has_file"]
    assert "A" in result.controls


def test_trial_control_is_set_beside_timing(look: Callable[..., Review]) -> None:
    starts = ["2017-01-10 09:00", "2017-01-12 10:00", "2017-02-07 10:00", "2017-02-20 11:00"]
    rows: list[Entry] = []
    for number, start in enumerate(starts):
        trial = f"t{number}"
        rows.append(
            spray(start, "glyphosate", purpose="dormant", trial=trial, treatment="A", where=trial)
        )
        for block in "123":
            for treatment, value in (("untreated", 80.0 + number), ("A", 40.0 - 10 * number)):
                rows.append(
                    Rating(dt.date(2017, 4, 20), value + 3 * int(block), trial=trial,
                           plot=treatment + block, treatment=treatment, block=block)
                )  # fmt: skip
    result = look(*rows)
    assert len(result.trials) == 4
    assert render(result.relations[0].explanation) == "window score"
    assert len(result.relations[0].points) == 4
    assert result.relations[0].slope is not None

    html = render_review(result, US)
    assert html.count('<svg class="chart"') >= 5
    assert "http" not in html.replace("http-equiv", "").replace("http://www.w3.org", "")
    text = "\n".join(review_lines(result, US))
    assert "°C" not in text
    assert "°F" in text
    assert "Trial t0, count per m2" in text


def test_an_empty_log_is_no_error(
    look: Callable[..., Review], site: Site, weather: Weather
) -> None:
    result = look()
    assert result.applications == ()
    assert "the log has no applications" in map(render, result.notes)
    state, _ = build(weather.daily, site)
    assert review(site, weather, state, ACTIVES, applications=[]).trials == ()


# ---- command line -------------------------------------------------------------------------------


@pytest.fixture
def site_file(tmp_path: Path) -> Path:
    for name in ("daily.csv.gz", "hourly.csv.gz"):
        shutil.copy(sample_folder() / name, tmp_path)
    target = tmp_path / "site.toml"
    text = (sample_folder() / "site.toml").read_text()
    target.write_text(text + '\n[weather]\nfiles = ["daily.csv.gz", "hourly.csv.gz"]\n')
    return target


def test_review_on_the_command_line(site_file: Path) -> None:
    with SeasonLog(site_file.with_suffix(".log.sqlite")) as log:
        log.add(spray("2017-01-10 09:00", "glyphosate", purpose="dormant", where="<b>field</b>"))
    words = ["review", str(site_file), "--date", str(SAMPLE_TODAY), "--offline"]
    said = CliRunner().invoke(cli, words, catch_exceptions=False)
    assert said.exit_code == 0, said.output
    assert "2017-01-10 09:00  glyphosate" in said.output
    assert "°F" in said.output
    metric = CliRunner().invoke(cli, [*words, "--units", "metric"], catch_exceptions=False)
    assert "°C" in metric.output
    page = site_file.with_name("out.html")
    data = CliRunner().invoke(
        cli, [*words, "--format", "json", "--page", str(page)], catch_exceptions=False
    )
    document = json.loads(data.output)
    assert document["applications"][0]["scored"]["score"] == 0
    assert "&lt;b&gt;field&lt;/b&gt;" in page.read_text()
    assert "<b>field" not in page.read_text()


def test_one_bad_entry_takes_the_review_from_no_other(site_file: Path) -> None:
    sound = spray("2017-01-10 09:00", "glyphosate", purpose="dormant")
    with SeasonLog(site_file.with_suffix(".log.sqlite")) as log:
        log.add(sound)
        bad = [
            spoiled(log, sound, "application", {**to_plain(sound), "start": f"{year}-01-10T09:00Z"})
            for year in ("0001", "2991")
        ]
        bad.append(spoiled(log, sound, "probe", {"date": "2017-01-10", "depth_m": "deep"}))
    words = ["review", str(site_file), "--date", str(SAMPLE_TODAY), "--offline"]
    said = CliRunner().invoke(cli, words, catch_exceptions=False).output
    assert said.count("glyphosate  (") == 1
    shown = CliRunner().invoke(cli, [*words, "--format", "json"], catch_exceptions=False).output
    notes = str(json.loads(shown)["notes"])
    assert all(f"entry {entry[:8]}" in notes for entry in bad)
    assert "0001-01-10 is before 1950" in notes


def test_no_log_is_one_line(site_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["review", str(site_file), "--date", str(SAMPLE_TODAY), "--offline"])
    assert stop.value.code == 2
    said = capsys.readouterr().err.strip()
    assert "there is no season log" in said
    assert "\n" not in said


def test_the_sample_has_no_log(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["review", "--sample"])
    assert stop.value.code == 2
    assert "the sample has no season log" in capsys.readouterr().err
