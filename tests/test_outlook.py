"""All that is said of a purpose on weather made up for one day of it: what follows from what.

Each answer is made by `rank`; a sentence is held to the windows, the turf or the timing that it is
of, and everything that such an answer must leave out is empty.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from limit_values import entry
from spoken import ordered
from test_choices_said import active
from test_rank import ranked
from windows_fixtures import TODAY, local_index, past, site, state, weather

import windowcast
from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, merged, say
from windowcast.core.record import Flag, Provenance, Record, Weather
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED
from windowcast.limits.model import Limit
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.materials.resistance import Resistances, ResistanceStatus, status_text
from windowcast.materials.rotation import Use
from windowcast.season.model import Substitute
from windowcast.season.sightings import CanopyLook
from windowcast.windows import advice, reasons, trace
from windowcast.windows.choices import Candidate
from windowcast.windows.decision_model import Shut
from windowcast.windows.model import CAUTIONS, PurposeName, PurposeOutlook, Ranking
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Rule

CRITERIA = PACKAGED["criteria"]
RULE = Rule.of(CRITERIA)
DORMANT = purpose_of("dormant")
BERMUDA = "hybrid bermudagrass"
DAYS = 6


def about(
    purpose: PurposeName = "dormant", here: Site | None = None, **known: Any
) -> PurposeOutlook:
    here = here or site()
    members = weather(here, **{k: known.pop(k) for k in list(known) if k in WEATHER})
    return ranked(here, members, purposes=[purpose], days=DAYS, **known).purposes[0]


WEATHER = {"wind_m_s", "gust_m_s", "without", "forecast_days", "futures", "temp_c", "precip_mm"}


def label(name: str) -> Phrase:
    return reasons.label(name, CRITERIA.table(name))


def by_hour(base: float, at: dict[tuple[int, int], float]) -> np.ndarray:
    here = site()
    row = np.full(len(weather(here).hourly.times), base)
    for (day, hour), value in at.items():
        row[local_index(here, day, hour)] = value
    return row


def empty(outlook: PurposeOutlook, *names: str) -> None:
    """Every part is empty but those named."""
    nothing = {
        "windows": (), "closest": None, "would_change": NOTHING, "strip": None, "stock": (),
        "cannot_tell": False, "covers": (), "turf": (), "choices": (), "none_in_stock": False,
        "burs": (), "shut": (), "closes": None, "opens": None,
    }  # fmt: skip
    for name, value in nothing.items():
        if name not in names:
            assert getattr(outlook, name) == value, name


# --- in season ------------------------------------------------------------------------------------


def test_where_there_are_windows_the_sentence_is_of_them() -> None:
    outlook = about()
    assert (outlook.purpose, outlook.title) == ("dormant", DORMANT.title)
    assert outlook.in_season
    assert outlook.advice == advice.go(outlook.windows, RULE)
    assert [window.purpose for window in outlook.windows] == ["dormant"] * DAYS
    assert [span.answer for span in outlook.turf] == ["yes"]
    assert (outlook.turf[0].first, outlook.turf[0].last) == (TODAY, TODAY + dt.timedelta(days=5))
    assert outlook.strip is not None
    assert len(outlook.strip.times) == 24 * DAYS
    empty(outlook, "windows", "turf", "strip", "opens", "closes")
    facts = [say("purpose.dormant.fact.dormancy")]
    assert outlook.why.id == "sentence.of"
    assert set(facts) <= set(outlook.why.value("clause").items)  # type: ignore[union-attr]


def test_where_none_qualifies_the_sentence_is_of_the_closest() -> None:
    wind = by_hour(12.0, {(2, h): 5.5 for h in range(11, 15)})
    outlook = about(wind_m_s=wind, gust_m_s=wind)
    assert outlook.closest is not None
    assert outlook.advice == advice.wait(outlook.closest, DAYS)
    assert outlook.would_change.id == "sentence.of"
    assert [one.date for one in outlook.shut] == [TODAY, TODAY + dt.timedelta(days=1)]
    assert {(one.answer, one.limit) for one in outlook.shut} == {("no", label("wind"))}
    assert {one.reason.id for one in outlook.shut} == {"criterion.wind.high"}
    empty(outlook, "closest", "would_change", "shut", "turf", "strip", "opens", "closes")


@pytest.mark.parametrize("forecast_days", [7, 1, 0])
def test_what_cannot_be_told_names_hours_that_a_forecast_reaches(forecast_days: int) -> None:
    outlook = about(without=("wind_m_s",), forecast_days=forecast_days)
    known = forecast_days > 0  # the closest is today
    assert outlook.cannot_tell
    assert (outlook.closest is not None) is known
    assert outlook.advice.value("unknown") == reasons.missing(["wind", "inversion"], CRITERIA)
    assert bool(outlook.advice.value("look")) is known
    assert outlook.would_change.id == "advice.takes"
    assert {one.answer for one in outlook.shut} == {"cannot tell"}
    empty(outlook, "cannot_tell", "closest", "would_change", "shut", "turf", "strip", "opens",
          "closes")  # fmt: skip


def test_the_closest_must_lie_within_the_forecast_to_be_named() -> None:
    """Only the third day has hours that the site allows."""
    weekday = ["wed"]
    here = site(calendar={"spray_weekdays": weekday})
    for forecast_days, named in ((3, True), (2, False)):
        outlook = about(here=here, without=("wind_m_s",), forecast_days=forecast_days)
        assert outlook.cannot_tell
        assert (outlook.closest is not None) is named
        assert bool(outlook.advice.value("look")) is named
        assert outlook.shut == ()


def test_a_site_without_hours_has_no_closest() -> None:
    here = site(calendar={"spray_hours": "01:00-03:00"})
    outlook = about(here=here)
    assert outlook.advice == say("advice.no_hours_allowed", days=DAYS)
    empty(outlook, "turf", "strip", "opens", "closes")


def test_what_the_turf_refuses_on_all_days_is_said_before_the_weather() -> None:
    thin = site(turf={"winterkill": "severe", "thin": True, "overseeded": True})
    outlook = about(here=thin)
    assert {span.answer for span in outlook.turf} == {"no"}
    assert outlook.advice == advice.turf(outlook.turf)
    assert {(one.answer, one.limit) for one in outlook.shut} == {("no", label("turf_safety"))}
    assert outlook.shut[0].reason == say("advice.of_turf", reason=outlook.turf[0].reason)
    empty(outlook, "turf", "shut", "strip", "opens", "closes")
    unsaid = about(here=site(turf={"overseeded": None}), without=("wind_m_s",))
    assert {one.answer for one in unsaid.shut} == {"cannot tell"}
    assert {one.limit for one in unsaid.shut} == {label("turf_safety")}
    assert unsaid.advice == advice.turf(unsaid.turf)


def test_today_and_tomorrow_alone_are_asked_why_they_are_shut() -> None:
    wind = by_hour(2.5, {(d, h): 12.0 for d in (1, 2) for h in range(24)})
    outlook = about(wind_m_s=wind, gust_m_s=wind)
    (tomorrow,) = outlook.shut
    assert isinstance(tomorrow, Shut)
    assert (tomorrow.date, tomorrow.answer) == (TODAY + dt.timedelta(days=1), "no")
    assert len(outlook.windows) == DAYS - 2


def test_a_brief_answer_has_the_same_decision_without_the_rest() -> None:
    stock = [needs_of([active("simazine", 5)], BERMUDA)]
    whole, brief = (about(stock=stock, in_full=full) for full in (True, False))
    assert len(whole.stock) == 1
    assert whole.strip is not None
    assert brief == replace(whole, stock=(), strip=None)
    barrier = about("pre-fall", **FALL)
    assert len(barrier.covers) == 0  # nobody gave the record up to today
    assert barrier.burs == ()


FALL: dict[str, Any] = {
    "ahead": state(share=0.0, soil_c=20.0),
    "before": past(share=0.0, soil_c=20.0),
}


def test_with_nothing_in_stock_that_serves_an_open_window() -> None:
    serves, useless = chosen(), chosen(POAAN="no")
    for stock, tanks, none in (
        ([useless], [Candidate(useless)], True),
        ([serves], [Candidate(serves)], False),
        ([], [Candidate(useless)], False),
        ([useless], [], False),
    ):
        outlook = about(stock=stock, candidates=tanks, temp_c=18.0)
        assert outlook.windows
        assert outlook.none_in_stock is none
        assert bool(outlook.choices) is (tanks == [Candidate(serves)])


# --- not open -------------------------------------------------------------------------------------


def test_out_of_season_there_is_the_day_on_which_it_opens() -> None:
    outlook = about(ahead=state(share=0.0), before=past(share=0.0))
    assert not outlook.in_season
    assert outlook.why.value("clause").id == "advice.for_reason"  # type: ignore[union-attr]
    assert outlook.advice == say("advice.not_now.unknown", why=outlook.why)
    empty(outlook)


def test_a_purpose_without_its_weeds_is_not_judged() -> None:
    ahead = state()
    spring = {code: weed for code, weed in ahead.emergence.items() if weed.season == "spring"}
    outlook = about(ahead=replace(ahead, emergence=spring))
    assert outlook.advice == outlook.why == say("advice.no_weeds.fall")
    empty(outlook, "opens")


def resists(standing: Any, weed: str = "POAAN") -> Resistances:
    status = ResistanceStatus(weed, 5, standing, "declared")
    if standing == "suspected":
        status = replace(status, basis="log", date=TODAY, times=2)
    return Resistances((status,), {"simazine": 5})


def test_what_is_of_no_use_here_is_out_whatever_the_day() -> None:
    simazine = needs_of([active("simazine", 5)], BERMUDA)
    pre = needs_of([active("stops", 5, "pre")], BERMUDA)
    misses = needs_of([active("MSMA", 0, spectrum={"POAAN": "no"})], BERMUDA)
    actives = Listing((Name("MSMA"),), "plus")
    weeds = Listing((say("weed.POAAN"),), "or")
    for mixture, resistance, said in (
        (pre, Resistances(), advice.serves_not(pre)),
        (misses, Resistances(), say("advice.wrong_weeds", actives=actives, weeds=weeds)),
        (simazine, resists("resistant"), None),
    ):
        outlook = about(mixture=mixture, resistance=resistance)
        assert not outlook.in_season
        assert outlook.advice == outlook.why
        if said is None:
            assert outlook.advice.id == "advice.resisted"
        else:
            assert ordered(outlook.advice) == ordered(said)
        empty(outlook)
    for standing, weed in (("suspected", "POAAN"), ("resistant", "DIGIS")):
        assert about(mixture=simazine, resistance=resists(standing, weed)).in_season


@pytest.mark.parametrize(
    ("overseeded", "answers"), [(False, []), (None, ["cannot tell"]), (True, ["cannot tell"])]
)
def test_the_ground_is_told_of_the_day_on_which_it_opens(
    overseeded: bool | None, answers: list[str]
) -> None:
    """In ten days enough weeds are up; the ground is overseeded, or nobody says so."""
    share = np.zeros((41, 30))
    share[:, 10:] = 0.9
    ahead, before = state(), past(share=0.0)
    ahead = replace(ahead, emergence={"POAAN": replace(ahead.emergence["POAAN"], share=share)})
    before = replace(before, emergence={"POAAN": before.emergence["POAAN"]})
    here = site(turf={"overseeded": overseeded})
    outlook = about("post-early", here=here, ahead=ahead, before=before, futures=40)
    opens = TODAY + dt.timedelta(days=10)
    assert (outlook.in_season, outlook.opens) == (False, opens)
    assert [(span.first, span.answer) for span in outlook.turf] == [(opens, a) for a in answers]
    empty(outlook, "opens", "turf")


# --- what stands beside the answer ----------------------------------------------------------------


def asked(**known: Any) -> Ranking:
    return ranked(site(), None, purposes=["dormant"], days=DAYS, **known)


def chosen(group: int = 5, **spectrum: str) -> ActiveNeeds:
    made = replace(
        active("simazine", group, spectrum=spectrum or None),
        turf={"hybrid_bermudagrass": entry("green")}, rain_free_h=entry(4.0),
        light_needed=entry(False), largest_bbch=entry(30.0),
    )  # fmt: skip
    return needs_of([made], BERMUDA)


def test_cautions_of_the_answer() -> None:
    assert asked().cautions == CAUTIONS
    assert [said.id for said in CAUTIONS] == [
        "caution.label", "caution.judgement", "caution.people", "caution.water", "caution.entry",
    ]  # fmt: skip
    varied = PACKAGED.varied({"criteria.rule.even": 0.4, "criteria.rule.fit": 0.7})
    changed = Listing((Name("criteria.rule.even = 0.4"), Name("criteria.rule.fit = 0.7")))
    assert asked(tables=varied).cautions == (*CAUTIONS, say("caution.varied", values=changed))


def test_what_a_chosen_active_repeats_is_a_caution() -> None:
    def use(season: str, purpose: str = "dormant") -> Use:
        date = dt.date(int(season[:4]) + 1, 1, 10)
        return Use(date, season, purpose, ("simazine",), (5,))

    uses = [use("2020/21"), use("2021/22")]
    repeated = [
        said for said in asked(mixture=chosen(), uses=uses).cautions if said not in CAUTIONS
    ]
    assert {said.id for said in repeated} == {"caution.rotation"}
    assert repeated
    assert asked(uses=uses).cautions == CAUTIONS  # none was chosen
    assert asked(mixture=chosen(9), uses=uses).cautions == CAUTIONS
    closed = asked(mixture=chosen(), uses=uses, ahead=state(share=0.0), before=past(share=0.0))
    assert closed.cautions == CAUTIONS


def test_that_no_source_says_what_a_chosen_active_controls_is_a_caution() -> None:
    told = say(
        "caution.reach_unknown", actives=Listing((Name("simazine"),), "plus"),
        weeds=Listing((say("weed.POAAN"),)),
    )  # fmt: skip
    unknown = asked(mixture=chosen(STEME="controls"))
    assert unknown.purposes[0].windows
    assert ordered(unknown.cautions) == ordered((*CAUTIONS, told))
    assert asked(mixture=chosen()).cautions == CAUTIONS


@pytest.mark.parametrize(
    ("standing", "weed", "told"),
    [("suspected", "POAAN", True), ("resistant", "", True), ("suspected", "DIGIS", False),
     ("susceptible", "POAAN", False)],
)  # fmt: skip
def test_what_is_known_against_a_mode_of_action_is_a_caution(
    standing: Any, weed: str, told: bool
) -> None:
    known = resists(standing, weed)
    expected = map(status_text, known.statuses if told else ())
    assert asked(resistance=known).cautions == (*CAUTIONS, *expected)


def test_the_answer_names_site_day_and_clock() -> None:
    whole = asked()
    assert (whole.site, whole.today, whole.timezone) == ("Test Field", TODAY, "Europe/Madrid")
    assert whole.units == site().units
    assert whole.hours is not None
    assert len(whole.hours.times) == 24 * DAYS
    assert whole.explain
    brief = asked(in_full=False)
    assert (brief.hours, brief.explain) == (None, ())
    assert brief.program_version == whole.program_version != ""
    several = ranked(site(), None, days=3)
    assert len(several.purposes[2].windows) == 3


def test_limits_of_single_actives_stand_beside_the_turfs() -> None:
    spent = Limit("year", "no", say("limit.thin"), "season log", "simazine")
    outlook = asked(mixture=chosen(), further={"simazine": spent}).purposes[0]
    assert outlook.advice.value("said") == say(
        "advice.turf_no", reason=spent.reason, before=NOTHING
    )
    assert asked(mixture=chosen(), further={"MSMA": spent}).purposes[0].windows


def source(name: str) -> Provenance:
    return Provenance(name, "a place")


def test_the_answer_tells_the_weather_and_the_past_that_it_rests_on() -> None:
    members = weather(site(), forecast_days=3)
    named = {n: replace(getattr(members, n), provenance=(source(n),)) for n in ("daily", "hourly")}
    members = replace(members, **named)
    alone = ranked(site(), members, purposes=["dormant"], days=DAYS)
    assert alone.provenance == trace.provenance_lines(named["daily"], named["hourly"])
    reach = say("weather.forecast_reaches", days=3)
    assert alone.weather_notes == merged([reach])
    flag = Flag("stale", "tmax_c", "2023-01-01", "2023-01-02", 2, "kept", say("limit.thin"))
    record = Record(members.daily.place, members.daily.times, {}, {}, (source("file"),), (flag,))
    before = replace(
        past(), notes=(say("limit.mature"),),
        substitutes=(Substitute("solar_mj_m2", "grid", 3, 30, False, 0.5, 2),),
    )  # fmt: skip
    known = Weather(record, None, TODAY)
    found = ranked(site(), members, purposes=["dormant"], days=DAYS, weather=known, before=before)
    assert found.provenance == trace.provenance_lines(record, None)
    assert found.weather_notes == merged([reach, flag.text, *before.notes])
    assert found.substitutes == before.substitutes
    assert found.explain[-1] == trace.finding_lines(known)[0]
    assert alone.explain == found.explain[:-1]


def test_a_look_into_the_canopy_and_the_present_moment_count() -> None:
    zoysia = site(turf={"species": "zoysiagrass"})
    assert not about(here=zoysia).windows  # keeps live shoots under the straw
    look = CanopyLook(TODAY - dt.timedelta(days=1), live_shoots=False)
    days = [window.date for window in about(here=zoysia, looks=[look]).windows]
    assert TODAY in days
    noon = dt.datetime.combine(TODAY, dt.time(12), site().zone)
    today = [window for window in about(now=noon).windows if window.date == TODAY]
    assert [window.start >= noon for window in today] == [True]


def test_windows_as_a_table() -> None:
    whole = asked()
    table = whole.to_pandas()
    assert list(table.columns) == [
        "purpose", "rank", "verdict", "start", "end", "score", "odds", "odds_low", "odds_high",
        "limited_by",
    ]  # fmt: skip
    windows = whole.purposes[0].windows
    assert table["rank"].tolist() == [1, 2, 3, 4, 5, 6]
    assert table["purpose"].tolist() == ["dormant"] * DAYS
    for name in ("verdict", "start", "end", "score"):
        assert table[name].tolist() == [getattr(window, name) for window in windows]
    assert table["odds"].isna().all()  # no futures were counted
    some = ranked(site(), weather(site(), futures=20, temp_c=12.0), purposes=["dormant"], days=2)
    first, odds = some.to_pandas().iloc[0], some.purposes[0].windows[0].odds
    assert odds is not None
    assert (first["odds"], first["odds_low"], first["odds_high"]) == (
        odds.share, odds.low, odds.high,
    )  # fmt: skip
    limit = some.purposes[0].windows[0].limiting
    assert limit is not None
    assert first["limited_by"] == limit.criterion


@pytest.mark.parametrize("today", ["2016-01-26", "2016-01-30"])
def test_dormant_turf_kept_shut_by_the_chance_of_harm_is_neither_over_nor_awaited(
    today: str,
) -> None:
    ground = {
        "name": "field", "latitude": 36.0, "longitude": -79.1, "elevation_m": 171.0,
        "timezone": "America/New_York", "soil": {"texture": "clay loam"},
        "turf": {"species": "hybrid bermudagrass", "overseeded": False, "mature": True,
                 "irrigated": True},
    }  # fmt: skip
    days = windowcast.sample_folder() / "daily.csv.gz"
    (found,) = windowcast.rank(ground, days, date=today, purposes=["dormant"]).purposes
    assert not found.in_season
    assert not found.over  # a few days later it opens again
    assert "limit.leaf_may_come" in repr(found.advice)
    assert "advice.turf_no" in repr(found.advice)
