"""How right forecasts and windows were at the site: scores, counts, luck, words."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import windows_fixtures as made
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from windowcast.api.here import here_report
from windowcast.cli.verify_here import command
from windowcast.core.local_days import midnights_s
from windowcast.core.record import Grade, Provenance, Record, Weather
from windowcast.core.time_axis import grades_of
from windowcast.core.values import PACKAGED
from windowcast.programme.answer import Answer
from windowcast.programme.answer import answer as answered
from windowcast.records.model import SoilReading
from windowcast.records.store import SeasonLog
from windowcast.report.catalogue import Voice
from windowcast.report.here_text import here_lines, here_view
from windowcast.report.page import page_of
from windowcast.sources.foretold import (
    DAY_S,
    Announced,
    AnnouncedOnce,
    Foretold,
    HeldWindow,
    Issue,
    Said,
)
from windowcast.verify.here import effective, luck, odds_bins, offs, windows
from windowcast.verify.remember import ground_of, held_windows, remember
from windowcast.weather.foretold_days import Case
from windowcast.weather.sample import sample_site, sample_weather

OWN = PACKAGED["ensemble"].table("own")
SITE = made.site()
ZONE = ZoneInfo(SITE.timezone)
START = int(dt.datetime(2023, 1, 10, 11, tzinfo=ZONE).timestamp())


def case(day: int, error: float, lead: int = 1, **more: float) -> Case:
    return Case("tmax_c", "forecast", lead, day * DAY_S, 20.0, more.get("low"), more.get("high"),
                None, 20.0 + error)  # fmt: skip


# ---- scores ---------------------------------------------------------------------------------


def test_bias_error_and_range_by_lead() -> None:
    rows = [case(day, 1.0 if day % 2 else 3.0, low=19.0, high=22.0) for day in range(10)]
    (off,) = offs([*rows], OWN)
    assert (off.element, off.lead_days, off.cases, off.unit) == ("tmax_c", 1, 10, "K")
    assert off.bias_k == pytest.approx(2.0)
    assert off.mae_k == pytest.approx(2.0)
    assert off.inside_10_90 == 0.5
    assert off.enough
    fewer = offs(rows[:6], OWN)[0]
    assert not fewer.enough


def test_areas_that_share_a_day_count_it_once() -> None:
    rows = [case(day, 1.0 if day % 2 else 3.0, low=19.0, high=22.0) for day in range(10)]
    assert offs([row for row in rows for _ in range(3)], OWN)[0].cases == 10
    one, three = (offs([r for r in rows for _ in range(n)], OWN)[0] for n in (1, 3))
    assert three.effective_cases == one.effective_cases
    assert three.bias_doubt_k == pytest.approx(one.bias_doubt_k)
    assert not offs([row for row in rows[:6] for _ in range(3)], OWN)[0].enough


def test_successive_days_are_worth_less() -> None:
    rng = np.random.default_rng(3)
    noise = rng.standard_normal(400)
    alike = np.zeros(400)
    for at in range(1, 400):
        alike[at] = 0.6 * alike[at - 1] + noise[at]
    days = np.arange(400.0)
    assert effective(noise, days, 0.33) > 320
    assert pytest.approx(effective(alike, days, 0.33), rel=0.3) == 400 * 0.4 / 1.6
    assert effective(noise[:2], days[:2], 0.5) == 1.0


@given(st.floats(0, 1), st.integers(1, 60))
@settings(max_examples=25)
def test_luck_holds_at_least_eight_in_ten(chance: float, trials: int) -> None:
    low, high = luck(chance, trials)
    assert 0 <= low <= high <= 1
    rng = np.random.default_rng(1)
    seen = rng.binomial(trials, chance, 2000) / trials
    assert ((seen >= low - 1e-9) & (seen <= high + 1e-9)).mean() > 0.76


def test_odds_of_one_day_count_as_one() -> None:
    day = dt.date(2023, 1, 10)
    (only,) = odds_bins([(day, 0.85, True)] * 6)
    assert (only.cases, only.effective_cases, only.came) == (6, 1.0, 1.0)
    assert (only.luck_low, only.luck_high) == (0.0, 1.0), "one day tells next to nothing"
    many = [(day + dt.timedelta(k), 0.85, k % 2 == 0) for k in range(40)]
    (half,) = odds_bins(many)
    assert half.came == 0.5 < half.luck_low


# ---- windows ---------------------------------------------------------------------------------


def announced(made_s: int, share: float | None = 0.9, start: int = START) -> AnnouncedOnce:
    window = Announced("post-early", start, start + 4 * 3600, "fit", 90.0, share, 0.8, 1.0, 100,
                       "forecast", "")  # fmt: skip
    return AnnouncedOnce("g", made_s, (start - made_s) / 3600, window)


def fate(start: int, held: bool | None) -> HeldWindow:
    unknown = () if held is not None else ("gusts",)
    return HeldWindow("g", "post-early", start, start + 4 * 3600, "", held, unknown)


def test_seven_of_nine_windows() -> None:
    starts = [START + k * DAY_S for k in range(10)]
    told = [announced(s - lead * DAY_S, start=s) for s in starts for lead in (1, 2, 2, 3)]
    fates = [fate(s, k not in (3, 5)) for k, s in enumerate(starts[:9])]
    found = windows(told, [*fates, fate(starts[9], None)], ZONE)
    assert (found.announced, found.held, found.failed, found.untold) == (10, 7, 2, 1)
    assert found.unknown == ("gusts",)
    assert sum(b.cases for b in found.odds) == 27, "each day and lead once, the untold never"
    assert windows(told, [], ZONE).announced == 0


def hours_of(wind_m_s: float = 2.5, **without: bool) -> Weather:
    """Measured hours in which all criteria hold but what is spoilt."""
    drawn = made.weather(SITE, today=dt.date(2023, 1, 8), days=8, wind_m_s=wind_m_s)
    values = {n: v[0] for n, v in drawn.hourly.values.items() if n not in without}
    hourly = Record(
        SITE.place, drawn.hourly.times, values, {n: grades_of(v) for n, v in values.items()}
    )
    days = np.arange(np.datetime64("2022-11-17"), np.datetime64("2023-01-16"))
    plain = {"tmax_c": np.full(60, 18.0), "tmin_c": np.full(60, 6.0), "precip_mm": np.zeros(60)}
    daily = Record(SITE.place, days, plain, {n: grades_of(v) for n, v in plain.items()})
    return Weather(daily, hourly, made.TODAY)


def judged(weather: Weather) -> list[HeldWindow]:
    state = made.past(made.TODAY, 60)
    return held_windows(SITE, weather, state, [announced(START - DAY_S)], lambda names: None)


def test_a_window_held_where_its_measured_hours_kept_the_criteria() -> None:
    assert [w.held for w in judged(hours_of())] == [True]
    assert [w.held for w in judged(hours_of(wind_m_s=12.0))] == [False]


def test_unknown_is_never_held() -> None:
    (window,) = judged(hours_of(gust_m_s=False))
    assert window.held is None
    assert "gusts" in window.unknown
    stormy = judged(replace(hours_of(wind_m_s=12.0), today=made.TODAY))
    assert [w.held for w in stormy] == [False], "a no is a no whatever is unknown"
    weather = hours_of()
    assert weather.hourly is not None
    guessed = {
        n: np.full(len(weather.hourly.times), Grade.ESTIMATED) for n in weather.hourly.grades
    }
    assert judged(replace(weather, hourly=replace(weather.hourly, grades=guessed))) == []


def test_a_window_is_judged_when_its_weather_is_over() -> None:
    weather = hours_of()
    state = made.past(made.TODAY, 60)
    late = [announced(START, start=START + 5 * DAY_S)]  # its rain-free hours are not over
    assert held_windows(SITE, weather, state, late, lambda names: None) == []


# ---- answers, report, words -----------------------------------------------------------------


@pytest.fixture(scope="module")
def told() -> Answer:
    """The sample's answer as one about today with a forecast issued two hours ago."""
    site, weather = sample_site(), sample_weather()
    found = answered(site, weather, purposes=["dormant"])
    now = dt.datetime.combine(weather.today, dt.time(8), site.zone)
    origin = Provenance("forecast", "cell", issued=now - dt.timedelta(hours=2), digest="d")
    daily = replace(weather.daily, provenance=(*weather.daily.provenance, origin))
    return replace(found, weather=replace(weather, daily=daily))


@pytest.fixture
def store(tmp_path: Path, told: Answer, monkeypatch: pytest.MonkeyPatch) -> Foretold:
    day = told.weather.today
    monkeypatch.setattr("windowcast.verify.remember.local_today", lambda zone: day)
    at = dt.datetime.combine(day, dt.time(8), told.site.zone).timestamp()
    return Foretold(tmp_path / "c.sqlite", clock=lambda: at)


def test_answers_are_remembered_once_and_only_of_today(store: Foretold, told: Answer) -> None:
    assert remember([told], store)
    assert remember([told], store)
    place = told.weather.place
    assert store.count(place) == 1
    said = store.said(place, 0, ground=ground_of(told.site, told.areas))
    assert {one.said.element for one in said} == {"tmax_c", "tmin_c", "soil_5cm_c"}
    assert min(one.said.start for one in said) > store.clock(), "today had begun"
    assert all(s.said.low <= s.said.value <= s.said.high for s in said)  # type: ignore[operator]
    assert len(store.announced(place, 0)) == len(told.ranking.purposes[0].windows)
    other = replace(told, weather=replace(told.weather, today=dt.date(2018, 1, 17)))
    assert remember([other], store)
    assert store.count(place) == 1
    store.path.write_bytes(b"no database" * 99)
    assert not remember([told], store), "and nothing is raised"


def report_of(store: Foretold, told: Answer, log: Path | None = None):  # type: ignore[no-untyped-def]
    return here_report(told.site, told.weather, log, store)


def test_report_of_a_site(store: Foretold, told: Answer, tmp_path: Path) -> None:
    """Highs of forty days, each forecast a day before and two degrees too cold; and soil."""
    place, today = told.weather.place, np.datetime64(told.weather.today)
    daily, zone = told.weather.daily, told.site.zone
    bounds = midnights_s(zone, today - np.arange(40, 0, -1))
    first = told.weather.today_index - 40
    high = daily.get("tmax_c")[first : first + 40]
    for at in range(40):
        issued = int(bounds[at]) - 6 * 3600
        row = Said("tmax_c", int(bounds[at]), int(bounds[at + 1]), float(high[at]) - 2.0)
        store.keep(place, Issue("", "forecast", issued, issued, str(at)), [row])
    ground = ground_of(told.site, told.areas)
    soil = Said("soil_5cm_c", int(bounds[35]), int(bounds[36]), 8.0, 6.0, 10.0)
    made_s = int(bounds[35]) - 3600
    store.keep(place, Issue(ground, "windowcast", made_s, made_s, "a"), [soil])
    with SeasonLog(tmp_path / "log.sqlite") as log:
        log.add(
            SoilReading(
                date=(today - np.timedelta64(5, "D")).astype(object), depth_m=0.05, temp_c=9.0
            )
        )
    report = report_of(store, told, tmp_path / "log.sqlite")
    month, year = report.spans
    assert (month.days, year.days) == (30, 365)
    highs = [o for o in year.off if o.element == "tmax_c"]
    seen = daily.grade("tmax_c")[first : first + 40] == Grade.OBSERVED  # a gap filled is no case
    assert [(o.lead_days, o.cases) for o in highs] == [(1, int(seen.sum()))]
    assert highs[0].bias_k == pytest.approx(2.0)
    assert [o.cases for o in month.off if o.element == "tmax_c"] == [int(seen[10:].sum())]
    (warmth,) = [o for o in month.off if o.element == "soil_5cm_c"]
    assert warmth.cases == 1
    assert warmth.bias_k == pytest.approx(1.0)
    assert not warmth.enough
    english = "\n".join(here_lines(report, Voice("metric", "en")))
    assert "Highs, 1 day ahead: off by 2 °C in the mean, it came 2 °C warmer" in english
    assert "1 day so far, too few to say" in english
    spanish = "\n".join(here_lines(report, Voice("us", "es")))
    assert "Máximas, con 1 día de anticipación: error medio de 4 °F" in spanish
    assert "[here" not in english + spanish
    card = page_of("here_card.html", Voice("us", "en"), here=here_view(report, Voice("us", "en")))
    assert "too few to say" in card


def test_an_empty_record_claims_nothing(store: Foretold, told: Answer) -> None:
    lines = here_lines(report_of(store, told), Voice("metric", "en"))
    assert len(lines) == 5, "title, nothing, and what past seasons say"
    assert "Nothing is on record yet" in lines[1]


def test_windows_and_their_chances_in_words(store: Foretold, told: Answer) -> None:
    report = report_of(store, told)
    starts = [START + k * DAY_S for k in range(10)]
    found = windows(
        [announced(s - DAY_S, start=s) for s in starts],
        [fate(s, k < 7 if k < 9 else None) for k, s in enumerate(starts)],
        ZONE,
    )
    span = replace(report.spans[0], windows=found)
    text = "\n".join(here_lines(replace(report, issues=3, spans=(span,)), Voice("us", "en")))
    assert "Of 10 windows announced 7 held and 2 did not." in text
    assert "1 cannot be judged: gusts not measured." in text
    assert "Chance of 90 %: held in 78 % of 9 cases; within what luck alone does" in text


def test_the_command_in_text_and_json(tmp_path: Path) -> None:
    site = tmp_path / "site.toml"
    site.write_text('name = "Sea Loft"\nlatitude = 38.7\nlongitude = -9.1\nelevation_m = 60\n')
    rows = "\n".join(f"2020-01-{d:02},{15 + d % 3},{5 + d % 2},0" for d in range(1, 32))
    (tmp_path / "w.csv").write_text(f"date,tmax_c,tmin_c,precip_mm\n{rows}\n")
    asked = [str(site), "--weather", str(tmp_path / "w.csv"), "--date", "2020-01-31", "--offline"]
    text = CliRunner().invoke(command, asked)
    assert text.exit_code == 0, text.output
    assert "Nothing is on record yet" in text.output
    found = json.loads(CliRunner().invoke(command, [*asked, "--format", "json"]).output)
    assert [span["days"] for span in found["spans"]] == [30, 365]
    assert found["issues"] == 0
    refused = CliRunner().invoke(command, ["--sample"])
    assert refused.exit_code == 1
    assert "the sample keeps no record" in str(refused.exception)
