"""What an answer tells of the weather and values behind it: every note, line and value."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from spoken import ordered, render
from windows_fixtures import TODAY, site, state, weather

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Quantity, Value, say
from windowcast.core.record import Flag, Grade, Members, Place, Provenance, Record, Weather
from windowcast.core.values import load
from windowcast.windows import trace
from windowcast.windows.grade import sources_of
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.purposes import purpose_of
from windowcast.windows.reasons import label

HERE = site()
PLACE = Place("Test Field", 41.0, 2.0)
SAID = say("limit.thin")  # stands for the words of a check


def daily(*flags: Flag, sources: tuple[Provenance, ...] = ()) -> Record:
    times = np.datetime64(TODAY, "D") - 30 + np.arange(60)
    return Record(PLACE, times, {}, {}, sources, flags)


def hourly(*flags: Flag, sources: tuple[Provenance, ...] = ()) -> Record:
    times = np.datetime64(TODAY, "h") + np.arange(48)
    return Record(PLACE, times, {}, {}, sources, flags)


def flag(check: str, **about: Any) -> Flag:
    usual: dict[str, Any] = {
        "variable": "tmax_c", "first": "2023-01-10", "last": "2023-01-12", "count": 3,
        "action": "kept", "text": SAID,
    }  # fmt: skip
    return Flag(check, **(usual | about))


def notes(
    members: Members | None = None,
    known: Weather | None = None,
    days: int = 7,
    ctx: HourContext | None = None,
) -> tuple[Phrase, ...]:
    members = members or weather(HERE)
    ctx = ctx or hour_context(HERE, state(), members)
    found = trace.weather_notes(ctx, members, known, days)
    assert all(render(note) for note in found)
    return found


# --- notes on the hours ---------------------------------------------------------------------------


def lack(*names: str) -> Phrase:
    what = Listing(tuple(say(f"weather.needed.{name}") for name in names), "or")
    return say("weather.hours_lack", what=what, number=len(names))


@pytest.mark.parametrize(
    ("changes", "days", "expected"),
    [
        ({}, 7, []),
        ({"forecast_days": 7}, 8, [say("weather.forecast_reaches", days=7)]),
        ({"forecast_days": 0}, 7, [say("weather.no_forecast")]),
        ({"without": ("wind_m_s",)}, 7, [lack("wind_m_s")]),
        ({"without": ("temp_c", "precip_mm", "wind_m_s")}, 7,
         [lack("temp_c", "wind_m_s", "precip_mm")]),
        ({"without": ("dewpoint_c",)}, 7, [lack("dewpoint_c")]),
        ({"without": ("dewpoint_c",), "rh_pct": 60.0}, 7, []),
        ({"without": ("dewpoint_c", "wind_m_s"), "rh_pct": 60.0}, 7, [lack("wind_m_s")]),
        ({"without": ("gust_m_s", "cloud_fraction", "precip_prob")}, 7, []),  # not needed for a yes
        ({"wind_m_s": np.nan}, 7, [lack("wind_m_s")]),
        # known in some hours, or in some future alone
        ({"wind_m_s": np.where(np.arange(192) < 5, 2.0, np.nan)}, 7, []),
        ({"futures": 1, "wind_m_s": np.array([[np.nan], [2.0]])}, 7, [lack("wind_m_s")]),
    ],
)  # fmt: skip
def test_what_the_hours_lack_and_how_far_a_forecast_reaches(
    changes: dict[str, Any], days: int, expected: list[Phrase]
) -> None:
    assert notes(weather(HERE, **changes), days=days) == tuple(expected)


@pytest.mark.parametrize(
    ("hour", "forecast_days", "built"), [(0, 2, True), (47, 2, True), (48, 2, False), (0, 0, False)]
)
def test_hours_made_from_days_are_told_where_a_forecast_reaches(
    hour: int, forecast_days: int, built: bool
) -> None:
    members = weather(HERE, forecast_days=forecast_days)
    grades = members.hourly.grades["temp_c"].copy()
    grades[hour] = Grade.ESTIMATED
    record = replace(members.hourly, grades={**members.hourly.grades, "temp_c": grades})
    found = notes(replace(members, hourly=record), days=forecast_days)
    assert (say("weather.hours_built") in found) is built


# --- what the checks found ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("about", "told"),
    [
        ({"check": "stale"}, True),
        ({"check": "hindsight"}, True),
        ({"check": "cut-off"}, True),
        ({"check": "stuck"}, False),
        ({"check": "unlike-season", "last": "2022-07-01"}, True),
        ({"check": "unlike-season", "last": "2022-06-30"}, False),  # before this season
        ({"check": "unlike-season", "variable": "precip_mm"}, False),
        ({"check": "unlike-season", "variable": "tmin_c"}, True),
        ({"check": "stuck", "action": "refused"}, True),
        ({"check": "stuck", "action": "refused", "variable": "wind_mean_m_s"}, False),
        ({"check": "stuck", "action": "refused", "last": "2022-06-30"}, False),
        ({"check": "coarse-grid", "last": "2022-07-01T05"}, True),
        ({"check": "coarse-grid", "last": "2022-06-30", "variable": "tmax_c"}, False),
        ({"check": "coarse-grid", "variable": "solar_mj_m2"}, True),
    ],
)
def test_a_finding_that_bears_on_this_season_is_told(about: dict[str, Any], told: bool) -> None:
    # a finding on an hour is no news of the season
    known = Weather(daily(flag(**about)), hourly(flag(**about)), TODAY)
    assert notes(known=known) == ((SAID,) if told else ())


def test_the_season_of_the_south_begins_in_january() -> None:
    south = site(latitude=-33.0, timezone="Australia/Sydney")
    members = weather(south)
    ctx = hour_context(south, state(), members)
    for last, told in (("2022-12-31", False), ("2023-01-01", True)):
        for check in ("unlike-season", "coarse-grid"):
            known = Weather(daily(flag(check, last=last)), None, TODAY)
            assert bool(notes(members, known, ctx=ctx)) is told


def test_what_the_checks_took_out_of_the_days_ahead() -> None:
    other = say("limit.mature")
    known = Weather(
        daily(flag("a", action="removed", last="2023-01-16"),
              flag("b", action="removed", last="2023-01-15", text=other),
              flag("c", action="kept", last="2023-01-20", text=other)),
        hourly(flag("a", action="removed", last="2023-01-16T05"),
               flag("d", action="removed", last="2023-01-17T05", text=say("limit.rooted"))),
        TODAY,
    )  # fmt: skip
    expected = [say("weather.left_out", what=what) for what in (SAID, say("limit.rooted"))]
    assert trace.left_out(known) == expected
    assert notes(known=known) == tuple(expected)
    assert trace.left_out(replace(known, hourly=None)) == expected[:1]


def test_sources_that_are_out_of_date_are_named() -> None:
    old = Provenance("archive", "a station", stale=True)
    older = Provenance("forecast", "a cell", stale=True)
    fresh = Provenance("file", "mine.csv")
    known = Weather(daily(sources=(fresh, old)), hourly(sources=(older,)), TODAY)
    told = [
        say("weather.out_of_date", source=Name(p.source), detail=Name(p.detail))
        for p in (old, older)
    ]
    assert notes(known=known) == tuple(told)
    assert notes(known=replace(known, hourly=None)) == (told[0],)


# --- provenance and findings ----------------------------------------------------------------------


def named(*parts: Value) -> Phrase:
    head = say("source.named", source=Name("archive"), detail=Name("a station"))
    return say("source.line", parts=Listing((head, *parts), "comma"))


@pytest.mark.parametrize(
    ("known", "parts"),
    [
        ({}, []),
        ({"first": "2001-01-01", "last": "2023-01-16"},
         [say("source.reach", first=Name("2001-01-01"), last=Name("2023-01-16"))]),
        ({"first": "2001-01-01"},
         [say("source.reach", first=Name("2001-01-01"), last=Name(""))]),
        ({"last": "2001-01-01"},
         [say("source.reach", first=Name(""), last=Name("2001-01-01"))]),
        ({"distance_km": 0.0, "elevation_m": 0.0, "weight": 0.0},
         [say("source.away", distance=Quantity(0.0, "km")),
          say("source.height", height=Quantity(0.0, "m", "elevation")),
          say("source.weight", weight=0.0)]),
        ({"fetched": dt.datetime(2023, 1, 16, 5, 7, tzinfo=dt.UTC), "licence": "CC BY 4.0"},
         [say("source.fetched", at=Name("2023-01-16 05:07")), Name("CC BY 4.0")]),
    ],
)  # fmt: skip
def test_a_line_for_a_source(known: dict[str, Any], parts: list[Value]) -> None:
    source = Provenance("archive", "a station", **known)
    (line,) = trace.provenance_lines(daily(sources=(source,)), None)
    assert ordered(line) == ordered(named(*parts))
    assert render(line)


def test_each_source_has_one_line() -> None:
    one, two = Provenance("archive", "a station"), Provenance("file", "mine.csv")
    lines = trace.provenance_lines(daily(sources=(one, two)), hourly(sources=(two,)))
    assert [render(line).split(":")[0] for line in lines] == ["archive", "file"]


def test_a_line_for_each_finding() -> None:
    def finding(check: str, action: str, span: Value) -> Phrase:
        values: dict[str, Value] = {
            "check": Name(check),
            "action": Name(action),
            "text": SAID,
            "span": span,
        }
        return say("trace.finding", **values)

    days = Listing((Name("2023-01-10"), Name("2023-01-12")), "to")
    known = Weather(
        daily(flag("stuck"), flag("stuck"), flag("gap", first="", last="", action="filled")),
        hourly(flag("stuck", first="2023-01-12")),
        TODAY,
    )
    lines = trace.finding_lines(known)
    expected = (
        finding("stuck", "kept", say("trace.span", ends=days)),
        finding("gap", "filled", NOTHING),
        finding("stuck", "kept", say("trace.span", ends=Listing((Name("2023-01-12"),), "to"))),
    )
    assert ordered(lines) == ordered(expected)
    assert all(render(line) for line in lines)
    assert trace.finding_lines(replace(known, hourly=None)) == lines[:2]


# --- values ---------------------------------------------------------------------------------------


def test_every_value_behind_an_answer_is_cited_once() -> None:
    criteria, purpose = load("criteria"), purpose_of("dormant")
    used = criteria.value("wind.at")  # stands for a value of the season's models
    ahead = replace(state(), used=(used,))
    lines = trace.explain_lines([purpose, purpose], None, ahead, criteria)
    assert len(set(lines)) == len(lines)
    assert all(render(line) for line in lines)
    grades = purpose.grades(purpose.generic)
    about = [
        say("trace.criterion", label=label(name, criteria.table(name)),
            inputs=say(f"criterion.{name}.inputs"))
        for name in grades
    ]  # fmt: skip
    assert [line for line in lines if line.id == "trace.criterion"] == about
    rules = [
        say("trace.value", cited=Name(v.cite())) for v in criteria.table("rule").values_below()
    ]
    assert list(lines[: len(rules)]) == rules
    for name, grade in grades.items():
        own = trace.cited(sources_of(name, grade, purpose.generic, criteria))
        assert set(own) <= set(lines)
    assert say("trace.value", cited=Name(used.cite())) in lines
    none = trace.explain_lines([], None, ahead, criteria)
    assert list(none) == [*rules, *trace.cited([used])]
    dry = replace(purpose.generic, rain_free_h=None)
    ids = {line.value("inputs").id for line in trace.explain_lines([purpose], dry, ahead, criteria)  # type: ignore[union-attr]
           if line.id == "trace.criterion"}  # fmt: skip
    assert "criterion.rain_after.inputs" not in ids  # asked of what is taken up by leaves alone
