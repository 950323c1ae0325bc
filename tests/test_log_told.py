"""What the season log tells models, forms and reviews: each value of each entry, worked by hand."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from spoken import render
from windows_fixtures import site as field
from windows_fixtures import weather as hours_of

from windowcast.core.phrase import NOTHING
from windowcast.core.record import Grade, Provenance, Record, Weather
from windowcast.core.site import site_from
from windowcast.core.values import PACKAGED, Value
from windowcast.materials.actives import load_actives
from windowcast.materials.needs import needs_of
from windowcast.records.conditions import Fact
from windowcast.records.evidence import Evidence
from windowcast.records.expected_effect import by_trials, expected_of, met_by, rate_of
from windowcast.records.hour_weather import entered_by_operator, hour_weather, prefilled
from windowcast.records.ledger import Ledger
from windowcast.records.looks import Lookbook
from windowcast.records.model import (
    Application,
    CoverReading,
    FieldNote,
    Material,
    Rating,
    ResistanceTest,
    ScoutingCount,
    SoilReading,
)
from windowcast.records.observations import Logged, applied_kg_ha, looks_in, observed, uses_in
from windowcast.records.resistance import classed, evidence_in
from windowcast.records.used_before import used_before
from windowcast.records.what_worked import Tried, what_worked
from windowcast.season.observed import Applied
from windowcast.windows.trials import Met

ACTIVES = load_actives()
DAY, ZONE = dt.date(2025, 2, 10), ZoneInfo("America/Chicago")
NAN = math.nan


def done(day: dt.date = DAY, *tank: tuple[str, float | None], **more: Any) -> Application:
    materials = tuple(Material(*one) for one in tank or (("glyphosate", 0.8),))
    return Application(dt.datetime.combine(day, dt.time(10), ZONE), materials, **more)


# ---- for the models ------------------------------------------------------------------------------


def test_every_entry_in_the_terms_of_the_models() -> None:
    later = done(
        DAY + dt.timedelta(9), ("prodiamine", 0.5), ("simazine", None), purpose="pre-fall",
        watered_in_mm=13.0, watered_in_on=DAY + dt.timedelta(10), where="tees",
    )  # fmt: skip
    plot = done(DAY + dt.timedelta(3), trial="T", treatment="a")
    logged = Logged(
        readings=(SoilReading(DAY, 0.05, 9.5, dt.time(9, 30)), SoilReading(DAY, 0.1, 8.0)),
        counts=(ScoutingCount(DAY, "POAAN", per_m2=12.0, frame_m2=0.25, where="tees"),
                ScoutingCount(DAY, "POAAN", cover_pct=5.0)),
        covers=(CoverReading(DAY, 20.0), CoverReading(DAY, 0.0), CoverReading(DAY, 0.0, where="a"),
                CoverReading(DAY, 4.0, where="a"), CoverReading(DAY, live_shoots=True)),
        applications=(later, plot, done()),
        notes=(FieldNote(DAY, "x", survivors_mixed=True), FieldNote(DAY, "y")),
        ratings=(Rating(DAY, 85.0, "Control %"), Rating(DAY, 85.0, "control %", before=True),
                 Rating(DAY, 85.0, "control %", trial="T"), Rating(DAY, 5.0, "cover %"),
                 Rating(DAY, 85.0, "control %", treatment="untreated")),
    )  # fmt: skip
    found = observed(logged, ACTIVES, southern=False)
    assert [(r.date, r.depth_m, r.temp_c, r.hour) for r in found.readings] == [
        (np.datetime64(DAY), 0.05, 9.5, 9.5), (np.datetime64(DAY), 0.1, 8.0, None),
    ]  # fmt: skip
    (count,) = found.counts
    assert (count.date, count.weed, count.per_m2, count.area_m2, count.where) == (
        DAY, "POAAN", 12.0, 0.25, "tees",
    )  # fmt: skip
    assert [(c.date, c.share) for c in found.green_cover] == [(DAY, 0.2), (DAY, 0.0), (DAY, 0.04)]
    assert found.control == ((DAY, 0.85),)
    assert found.survivors == (DAY,)
    assert found.applied == (
        Applied(DAY, "", (("glyphosate", 0.8),)),
        Applied(plot.date, "", (("glyphosate", 0.8),), whole=False, plots=("T", "a")),
        Applied(later.date, "pre-fall", (("prodiamine", 0.5), ("simazine", None)), 13.0,
                DAY + dt.timedelta(10), "tees", whole=False),
    )  # fmt: skip
    assert [(u.date, u.actives, u.groups, u.where) for u in found.uses] == [
        (later.date, ("prodiamine", "simazine"), (3, 5), "tees"),
        (plot.date, ("glyphosate",), (9,), ""), (DAY, ("glyphosate",), (9,), ""),
    ]  # fmt: skip


def test_any_green_is_a_live_shoot_and_none_says_nothing_without_a_look() -> None:
    covers = [
        CoverReading(DAY + dt.timedelta(2), 5.0, where="a"), CoverReading(DAY, 0.0),
        CoverReading(DAY + dt.timedelta(1), 0.0, live_shoots=False), CoverReading(DAY, None, True),
    ]  # fmt: skip
    assert [(look.date, look.live_shoots, look.where) for look in looks_in(covers)] == [
        (DAY, True, ""), (DAY + dt.timedelta(1), False, ""), (DAY + dt.timedelta(2), True, "a"),
    ]  # fmt: skip


def test_actives_that_nobody_knows_have_no_group() -> None:
    odd = done(DAY, ("water", 1.0), ("glyphosate", 1.0), purpose="dormant", where="a")
    (use,) = uses_in([odd, done(DAY, ("water", 1.0))], ACTIVES, southern=True)
    assert (use.actives, use.groups, use.purpose, use.where) == (
        ("glyphosate",), (9,), "dormant", "a",
    )  # fmt: skip
    assert use.season == "2025"  # south of the equator a season is a calendar year


@pytest.mark.parametrize(
    ("days", "where", "asked", "counted"),
    [(0, "", "", True), (364, "", "", True), (365, "", "", False), (-1, "", "", False),
     (5, "a", "b", False), (5, "a", "a", True), (5, "", "b", True), (5, "a", "", True)],
)  # fmt: skip
def test_a_year_of_an_active_goes_by_day_and_place(
    days: int, where: str, asked: str, counted: bool
) -> None:
    log = [done(DAY - dt.timedelta(days), where=where)]
    assert applied_kg_ha(log, DAY, asked) == ({"glyphosate": 0.8} if counted else {})


def test_a_year_adds_up_and_plots_of_a_trial_do_not() -> None:
    plots = [done(DAY, ("glyphosate", rate), trial="T", treatment=name)
             for name, rate in (("a", 1.0), ("b", 2.0), ("b", 2.0))]  # fmt: skip
    assert applied_kg_ha([done(), *plots], DAY)["glyphosate"] == pytest.approx(4.8)
    unknown = applied_kg_ha([done(), done(DAY, ("glyphosate", None))], DAY)
    assert math.isnan(unknown["glyphosate"])


def test_tests_of_resistance_with_their_class() -> None:
    tests = [
        ResistanceTest(DAY, "POAAN", active="Glyphosate", survivors_pct=40.0, plants=50,
                       method="whole plants", timing="post"),
        ResistanceTest(DAY, "POAAN", group=9, mutation="Pro-106-Ala"),
        ResistanceTest(DAY, "POAAN", active="water", group=2, survivors_pct=0.0, plants=59),
        ResistanceTest(DAY, "POAAN", active="water", survivors_pct=0.0),
        ResistanceTest(DAY, "POAAN", active="prodiamine", group=2, survivors_pct=15.0,
                       method="water culture"),
    ]  # fmt: skip
    assert [
        (s.weed, s.group, s.standing, s.basis, s.active, s.timing, s.date, s.survivors, s.plants,
         s.mutation)
        for s in classed(tests, ACTIVES)
    ] == [
        ("POAAN", 9, "resistant", "tested", "glyphosate", "post", DAY, 0.4, 50, ""),
        ("POAAN", 9, "resistant", "tested", "", "", DAY, None, None, "Pro-106-Ala"),
        ("POAAN", 2, "susceptible", "tested", "", "", DAY, 0.0, 59, ""),
        ("POAAN", 3, "segregating", "tested", "prodiamine", "", DAY, 0.15, None, ""),
    ]  # fmt: skip


def daily(**values: list[float]) -> Record:
    days = len(next(iter(values.values())))
    dates = np.datetime64(DAY) + np.arange(days)
    arrays = {name: np.array(value) for name, value in values.items()}
    grades = {name: np.zeros(days, dtype=np.uint8) for name in values}
    return Record(field().place, dates, arrays, grades)


@pytest.mark.parametrize(
    ("rain", "dry", "that_day"),
    [([0.0, 0.0, 9.0], math.inf, False), ([2.0, 0.0, 0.0], NAN, True),
     ([0.0, 2.0, 0.0], NAN, False), ([NAN, 0.0, 0.0], NAN, False),
     ([2.0, NAN, 0.0], NAN, True), ([0.0], NAN, False)],
)  # fmt: skip
def test_daily_rain_alone_says_at_most_that_two_days_were_dry(
    rain: list[float], dry: float, that_day: bool
) -> None:
    ledger = Ledger([], Lookbook([]), [], label_kg_ha={"glyphosate": 1.6}, today=DAY)
    needs = needs_of([ACTIVES["glyphosate"]])
    found = evidence_in(done(), needs, ledger, daily(precip_mm=rain))
    assert found.dry_h == pytest.approx(dry, nan_ok=True)
    assert found.rain_that_day is that_day
    assert (found.pre, found.groups, found.rate_share) == (False, (9,), 0.5)
    assert math.isnan(evidence_in(done(), needs, ledger, None).dry_h)


def test_daily_weather_and_counts_as_evidence() -> None:
    """Highs of 10 to 16 °C and lows of 0 to 6 °C: the week has 8 °C on average."""
    record = daily(tmax_c=[10.0 + n for n in range(7)], tmin_c=[0.0 + n for n in range(7)])
    needs = needs_of([ACTIVES["glyphosate"]])

    def found(application: Application, *counts: ScoutingCount) -> Evidence:
        ledger = Ledger([], Lookbook(counts), [], label_kg_ha={}, today=DAY)
        return evidence_in(application, needs, ledger, record)

    plain = found(done())
    assert (plain.air_c, plain.week_c, plain.night_c) == (10.0, 8.0, 1.0)
    assert found(done(temp_c=7.0)).air_c == 7.0  # as the operator entered it
    assert (plain.low_c, plain.good_c, plain.night_low_c) == (
        needs.temp_low_c, needs.temp_good_c, needs.night_low_c,
    )  # fmt: skip
    assert (plain.largest, plain.lost) == (needs.largest_bbch, needs.lost_bbch)
    assert plain.rain_free_h == needs.rain_free_h
    assert math.isnan(plain.stage)
    assert not plain.stage_counted
    stages = [
        ScoutingCount(DAY + dt.timedelta(days), weed, per_m2=1.0, stage_bbch=stage)
        for days, weed, stage in ((-14, "POAAN", 13), (3, "STEME", 21), (15, "POAAN", 29))
    ]
    assert (found(done(), *stages).stage, found(done(), *stages).stage_counted) == (21.0, True)
    assert found(done(target="POAAN"), *stages).stage == 13.0
    short = evidence_in(
        done(), needs, Ledger([], Lookbook([]), [], label_kg_ha={}, today=DAY),
        daily(tmax_c=[10.0] * 6, tmin_c=[0.0] * 6),
    )  # fmt: skip
    assert math.isnan(short.week_c)  # a week is seven days
    early = evidence_in(
        done(DAY - dt.timedelta(1)), needs,
        Ledger([], Lookbook([]), [], label_kg_ha={}, today=DAY), record,
    )  # fmt: skip
    assert math.isnan(early.air_c)


def test_evidence_of_the_log_has_what_the_actives_ask_for() -> None:
    ledger = Ledger([], Lookbook([]), [], label_kg_ha={}, today=DAY)
    simazine = replace(needs_of([ACTIVES["simazine"]]), lost_bbch=24.0, largest_bbch=22.0)
    found = evidence_in(done(), simazine, ledger, None)
    assert (found.lost, found.largest, found.groups) == (24.0, 22.0, (5,))


# ---- for forms -----------------------------------------------------------------------------------


def test_forms_offer_the_site_files_names_first_then_the_latest_of_the_log() -> None:
    place = site_from(
        {"name": "A", "latitude": 33.0, "longitude": -84.0, "area": [{"name": "greens"}],
         "stock": ["simazine"], "operator": {"name": "R. Vega", "certification": "C-17"},
         "sprayer": [{"name": "boom", "nozzle": "flat fan", "droplet_class": "coarse"}]}
    )  # fmt: skip
    old = done(where="tees", operator="J. Ortiz", certification="C-2", nozzle="cone",
               droplet_class="fine", site_kind="turf", adjuvant="oil")  # fmt: skip
    tank = Material("glyphosate", 0.8, product="jug", registration="0-1")
    new = replace(old, where="greens", materials=(tank,), site_kind="", operator="R. Vega")
    assert used_before(place, ["shed jug"], [new, old]) == {
        "where": ("greens", "tees"), "operator": ("R. Vega", "J. Ortiz"),
        "certification": ("C-17", "C-2"), "nozzle": ("flat fan", "cone"),
        "droplet_class": ("coarse", "fine"), "site_kind": ("turf",), "adjuvant": ("oil",),
        "active": ("simazine", "glyphosate"), "product": ("shed jug", "jug"),
        "registration": ("0-1",),
    }  # fmt: skip
    many = [done(where=str(n)) for n in range(40)]
    assert used_before(place, [], many)["where"] == ("greens", *map(str, range(29)))
    assert "product" not in used_before(place, [], [old])


# ---- for the review ------------------------------------------------------------------------------


def test_what_worked_by_place_purpose_and_mixture() -> None:
    """Days go by the season: July to June in the north, the calendar year in the south."""
    tank = (("simazine", 1.0), ("prodiamine", 0.5))
    autumn, spring = dt.date(2024, 9, 20), dt.date(2024, 2, 3)
    tried = [
        Tried(done(autumn, *tank, where="Tees"), "pre-fall", "worked", 0.2),
        Tried(done(spring, *tank, where="tees; Greens"), "pre-fall", "failed", 0.6),
        Tried(done(spring, *tank[::-1], where="TEES"), "pre-fall", "partly", NAN),
        Tried(done(autumn, where="tees"), "pre-fall", "cannot tell", NAN),
    ]
    assert [
        (r.where, r.purpose, r.actives, r.applications, r.worked, r.partly, r.failed, r.unknown)
        for r in what_worked(tried, southern=False)
    ] == [
        ("Greens", "pre-fall", "prodiamine + simazine", 1, 0, 0, 1, 0),
        ("TEES", "pre-fall", "prodiamine + simazine", 3, 1, 1, 1, 0),
        ("tees", "pre-fall", "glyphosate", 1, 0, 0, 0, 1),
    ]
    north, south = (
        next(r for r in what_worked(tried, southern=southern) if r.applications == 3)
        for southern in (False, True)
    )
    assert (north.earliest, north.latest) == (autumn, spring)
    assert (south.earliest, south.latest) == (spring, autumn)
    assert north.up == pytest.approx(0.4)  # the median of those that are known
    assert math.isnan(what_worked(tried[3:], southern=False)[0].up)


def test_a_place_of_several_words_keeps_them() -> None:
    tried = [Tried(done(DAY, where="South  field; hole 3, Tees"), "dormant", "worked", NAN)]
    assert [r.where for r in what_worked(tried, southern=False)] == [
        "South field", "Tees", "hole 3",
    ]  # fmt: skip
    nowhere = [Tried(done(DAY), "dormant", "worked", NAN)]
    assert [r.where for r in what_worked(nowhere, southern=False)] == [""]


def test_what_worked_most_often_stands_first() -> None:
    tried = [Tried(done(DAY, (name, 1.0)), "dormant", outcome, NAN)
             for name, outcome in (("a", "failed"), ("a", "worked"), ("b", "worked"),
                                   ("c", "worked"), ("c", "worked"))]  # fmt: skip
    assert [r.actives for r in what_worked(tried, southern=False)] == ["b", "c", "a"]  # type: ignore[arg-type]


def cited(value: float, **more: Any) -> Value:
    return Value("x", value, "", "a book", "handbook", **more)


@pytest.mark.parametrize(
    ("weeks", "text", "value"),
    [
        (cited(2.0), "Mon 24 Feb (2 weeks after)", 2.0),
        (cited(1.0), "Mon 17 Feb (1 week after)", 1.0),
        (cited(2.0, low=1.0, high=3.5), "Mon 17 Feb to Thu 6 Mar (1 to 3.5 weeks after)", 2.0),
    ],
)
def test_when_to_look_for_the_effect(weeks: Value, text: str, value: float) -> None:
    active = replace(ACTIVES["glyphosate"], effect_weeks=weeks, dormant_control_pct=None)
    (fact,) = expected_of(done(purpose="dormant"), [active])
    assert isinstance(fact, Fact)
    assert (fact.key, render(fact.label), fact.value, fact.unit, render(fact.text)) == (
        "effect_glyphosate", "look for the effect of glyphosate", value, "weeks", text,
    )  # fmt: skip
    assert render(fact.source) == "handbook: a book"


def test_control_that_trials_gave_is_said_of_dormant_turf_alone() -> None:
    for control, text in (
        (cited(90.0), "90 % control"), (cited(90.0, low=80.0, high=95.0), "80 to 95 % control"),
        (cited(90.0, note="in one year"), "90 % control, in one year"),
    ):  # fmt: skip
        active = replace(ACTIVES["glyphosate"], effect_weeks=None, dormant_control_pct=control)
        (fact,) = expected_of(done(purpose="dormant"), [active])
        assert (fact.key, render(fact.label), fact.value, fact.unit, render(fact.text)) == (
            "control_glyphosate", "glyphosate in trials on dormant turf", 90.0, "%", text,
        )  # fmt: skip
        assert expected_of(done(purpose="post-early"), [active]) == ()


EFFICACY = PACKAGED["efficacy"]


def test_weeds_whose_size_nobody_knows_would_have_been_young_at_best() -> None:
    for stage in (None, NAN):
        met = Met({"POAAN": stage}, "post", 12.0, EFFICACY)
        (fact,), said = by_trials(met, ["foramsulfuron"], 1.0, acceptable=0.9, poor=True)
        assert fact.value < 90
        (best,) = replace(met, stages_bbch={"POAAN": 12.0}, air_c=math.inf).by(["foramsulfuron"])
        assert f"{100 * best.middle:.0f} %" in render(said)


def test_what_an_application_met_and_its_rate() -> None:
    pre, post = Evidence(pre=True, air_c=9.0), Evidence(pre=False, air_c=9.0, stage=21.0)
    weeds = ["POAAN", "STEME"]
    assert met_by(done(), pre, weeds, EFFICACY) == Met(
        {"POAAN": 0.0, "STEME": 0.0}, "pre", 9.0, EFFICACY
    )
    assert met_by(done(target="DIGIS"), post, weeds, EFFICACY) == Met(
        {"DIGIS": 21.0}, "post", 9.0, EFFICACY
    )
    assert rate_of(done(), replace(post, rate_share=0.7), EFFICACY) == 0.7  # the own label's
    full = EFFICACY.number("full_rate.simazine")
    half = done(DAY, ("simazine", full / 2), ("prodiamine", 9.0))
    assert rate_of(half, post, EFFICACY) == pytest.approx(0.5)
    assert rate_of(done(DAY, ("simazine", full), ("water", 1.0)), post, EFFICACY) is None


@pytest.mark.parametrize(
    ("air", "stage", "rate", "acceptable", "said"),
    [
        (12.0, 12.0, 1.0, 0.05, "look for the reason in the weather, the spraying, or resistance"),
        (12.0, 12.0, 1.0, 0.999, "the choice of active: trials let expect "),
        (-10.0, 12.0, 1.0, None, "the timing or the rate: trials let expect "),
        (12.0, 30.0, 1.0, None, "the timing or the rate: trials let expect "),
        (12.0, 12.0, 0.3, None, "the timing or the rate: trials let expect "),
    ],
)
def test_trials_say_whether_timing_or_active_was_the_reason(
    air: float, stage: float, rate: float, acceptable: float | None, said: str
) -> None:
    """Between what it did as applied and what it does in mild weather on young plants."""
    active = ["foramsulfuron"]

    def figure(air_c: float, stage_bbch: float, share: float) -> float:
        (one,) = Met({"POAAN": stage_bbch}, "post", air_c, EFFICACY).by(active, share)
        return one.middle

    as_applied, best = figure(air, stage, rate), figure(math.inf, 12.0, 1.0)
    mark = (as_applied + best) / 2 if acceptable is None else acceptable
    met = Met({"POAAN": stage}, "post", air, EFFICACY)
    (fact,), why = by_trials(met, active, rate, acceptable=mark, poor=True)
    assert said in render(why)
    assert f"{100 * as_applied:.0f} %" in render(why)
    if "look for" not in said:
        assert f"{100 * best:.0f} %" in render(why)
    assert (fact.key, fact.value, fact.unit) == (
        "expected_control", pytest.approx(100 * as_applied), "%"
    )  # fmt: skip
    assert render(fact.label) == "expected control by trials"
    assert render(fact.source).startswith("our fit: ")
    assert by_trials(met, active, rate, acceptable=mark, poor=False) == ((fact,), NOTHING)
    assert by_trials(met, ["water"], rate, acceptable=mark, poor=True)[0] == ()


# ---- the weather of its hour ---------------------------------------------------------------------


def record(*, hourly: bool = True, **values: float) -> Weather:
    """Eight days of the same hour after hour but for 10 o'clock of the first day."""
    place = field()
    made = hours_of(place).hourly
    known = {"temp_c": 16.0, "rh_pct": 59.0, "wind_m_s": 2.5, "wind_from_deg": 270.4, **values}
    arrays = {name: np.full(len(made.times), value) for name, value in known.items()}
    arrays["temp_c"][10] = 12.34
    grades = {n: np.full(len(made.times), Grade.OBSERVED, dtype=np.uint8) for n in arrays}
    grades["wind_m_s"][:] = Grade.ESTIMATED
    origin = (Provenance("station", "Mill Lane"), Provenance("station", "Mill Lane"))
    hours = Record(made.place, made.times, arrays, grades, origin)
    dates = np.datetime64("2023-01-16") + np.arange(8)
    days = {"tmax_c": np.full(8, 20.0), "tmin_c": np.full(8, 4.0)}
    marks = {n: np.full(8, Grade.OBSERVED, dtype=np.uint8) for n in days}
    whole = Record(made.place, dates, days, marks)
    return Weather(whole, hours if hourly else None, dt.date(2023, 1, 16))


AT = dt.datetime(2023, 1, 16, 10, 59, tzinfo=ZoneInfo("Europe/Madrid"))


def test_the_hour_that_holds_a_time() -> None:
    found = hour_weather(record(), AT)
    assert (found.temp_c, found.rh_pct, found.wind_m_s, found.wind_from_deg) == (
        12.3, 59.0, 2.5, 270.0,
    )  # fmt: skip
    assert found.source == "Mill Lane, the hour from 10:00 (estimated and observed)"
    assert hour_weather(record(), AT + dt.timedelta(minutes=1)).temp_c == 16.0
    calm = hour_weather(record(wind_m_s=NAN), AT)
    assert calm.wind_m_s is None
    assert calm.source == "Mill Lane, the hour from 10:00 (observed)"


def test_without_hours_the_air_is_estimated_from_the_day_and_the_rest_unknown() -> None:
    found = hour_weather(record(hourly=False), AT)
    assert found.temp_c is not None
    assert 4.0 <= found.temp_c <= 20.0
    assert (found.rh_pct, found.wind_m_s, found.wind_from_deg) == (None, None, None)
    assert found.source.endswith("the hour from 10:00 (estimated from the day)")
    none = hour_weather(record(hourly=False), AT + dt.timedelta(days=8))
    assert (none.temp_c, none.source) == (None, "")
    late = hour_weather(record(), AT - dt.timedelta(days=1))
    assert (late.temp_c, late.source) == (None, "")


@pytest.mark.parametrize(
    ("entered", "source"),
    [
        ({}, "air temperature, humidity, wind at 10 m, wind direction from {from_}"),
        ({"temp_c": 5.0}, ("humidity, wind at 10 m, wind direction from {from_}; the rest as"
                          " entered")),
        ({"temp_c": 5.0, "weather_source": "own meter"},
         "humidity, wind at 10 m, wind direction from {from_}; own meter"),
        ({"temp_c": 5.0, "rh_pct": 50.0, "wind_m_s": 0.0, "wind_from_deg": 0.0}, ""),
    ],
)  # fmt: skip
def test_empty_weather_fields_are_filled_and_marked_and_nothing_entered_is_replaced(
    entered: dict[str, Any], source: str
) -> None:
    plain = replace(done(), start=AT, **entered)
    found = prefilled(plain, record())
    mill = "Mill Lane, the hour from 10:00 (estimated and observed)"
    if "temp_c" in entered:
        mill = mill if "wind_m_s" not in entered else ""
    assert found.weather_source == source.format(from_=mill)
    known = {"temp_c": 12.3, "rh_pct": 59.0, "wind_m_s": 2.5, "wind_from_deg": 270.0}
    for name, value in known.items():
        assert getattr(found, name) == entered.get(name, value)
    mine = {name: value for name, value in entered.items() if name in known}
    assert entered_by_operator(found) == mine
    assert replace(found, **{name: getattr(plain, name) for name in known},
                   weather_source=plain.weather_source) == plain  # fmt: skip
