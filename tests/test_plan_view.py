"""The plan's and the comparison's charts and words, on the packaged sample."""

from __future__ import annotations

import dataclasses
import datetime as dt
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from report_fixtures import TODAY, job_plan, plan
from spoken import US, voice_of
from web_fixtures import sample_plan

from windowcast.core.phrase import NOTHING, Quantity, say
from windowcast.core.season_calendar import start_of_named
from windowcast.limits.model import TurfSpan
from windowcast.programme.model import KeyDate, YearDate
from windowcast.report.charts import years_chart
from windowcast.report.plan_view import date_row, days_apart, plan_view
from windowcast.windows.odds import DateRange


def test_charts_are_well_formed_and_stay_inside() -> None:
    view = sample_plan().of(US)[0]
    charts = [chart for row in view.purposes for chart in row.charts]
    assert len(charts) > 3
    for chart in (*charts, years_chart(view.plan, voice_of(view.plan))):
        _is_well_formed(chart)


def _is_well_formed(chart: object) -> None:
    root = ET.fromstring(chart.svg)  # type: ignore[attr-defined]
    _, _, width, height = map(float, root.get("viewBox", "").split())
    for node in root.iter("line"):
        for name, most in (("x1", width), ("x2", width), ("y1", height), ("y2", height)):
            assert -6 <= float(node.get(name, 0)) <= most  # swatches stand on their base
    columns, rows = chart.columns, chart.rows  # type: ignore[attr-defined]
    assert rows
    assert {len(row) for row in rows} == {len(columns)}


def test_what_can_be_done_now_comes_first() -> None:
    order = [row.plan.status for row in sample_plan().of(US)[0].purposes]
    assert order == sorted(order, key=["open", "cannot tell", "ahead", "over"].index)
    assert order[0] == "open"


def test_cover_is_drawn_only_where_there_is_a_curve() -> None:
    plan = sample_plan().of(US)[0].plan
    bare = replace(
        plan,
        purposes=tuple(
            replace(p, covers=tuple(replace(c, curve=()) for c in p.covers)) for p in plan.purposes
        ),
    )
    assert plan_view(bare, voice_of(bare)).cover_charts == ()
    assert sample_plan().of(US)[0].cover_charts


def _key(passed: dt.date | None, ahead: DateRange | None, normal: DateRange | None) -> KeyDate:
    label = say("key_date.soil_falls", depth=Quantity(5, "cm"), limit=Quantity(21.1, "degC"))
    return KeyDate("k", label, passed, ahead, normal, (), "source")


def _range(day: int) -> DateRange:
    date = dt.date(2023, 10, day)
    return DateRange(date, date, date, 0.0, 0.0, 10)


def test_key_dates_in_words() -> None:
    row = date_row(_key(dt.date(2023, 10, 3), None, _range(8)), US)
    assert row.label == "soil at 2 in falls below 70 °F"
    assert (row.this_season, row.interval) == ("3 Oct", "past")
    assert row.against_normal == "5 days early"
    unknown = date_row(_key(None, None, None), US)
    assert unknown.this_season == "cannot tell"
    assert unknown.normal == ""  # no past season to tell of, as of what comes by the calendar
    assert unknown.against_normal == ""
    seasons = (YearDate("2021/22", None), YearDate("2022/23", None))
    untold = dataclasses.replace(_key(None, None, None), years=seasons)
    assert date_row(untold, US).normal == "cannot tell"


@pytest.mark.parametrize(
    ("days", "words"), [(-1, "1 day early"), (0, "as usual"), (12, "12 days late")]
)
def test_days_apart(days: int, words: str) -> None:
    assert days_apart(days, US) == words


@pytest.mark.parametrize(
    ("season", "start"), [("2016/17", dt.date(2016, 7, 1)), ("2017", dt.date(2017, 1, 1))]
)
def test_seasons_start_by_hemisphere(season: str, start: dt.date) -> None:
    assert start_of_named(season) == start


def test_a_date_that_may_have_come_says_how_likely() -> None:
    late = dt.date(2023, 10, 20)
    ahead = dataclasses.replace(_range(8), late=late)
    probably = dataclasses.replace(_key(None, ahead, None), came=0.82)
    assert date_row(probably, US).interval == "8 Oct to 20 Oct, by now: likely (8 in 10)"
    not_yet = dataclasses.replace(_key(None, ahead, None), came=0.01)
    assert date_row(not_yet, US).interval == "8 Oct to 20 Oct"
    passed = _key(dt.date(2023, 10, 10), None, None)
    passed = dataclasses.replace(passed, passed_between=(dt.date(2023, 10, 8), late))
    assert date_row(passed, US).interval == "8 Oct to 20 Oct, past"


@pytest.mark.parametrize(
    ("answer", "said", "css"),
    [
        ("no", "the turf does not take it", "do-not-spray"),
        ("cannot tell", "cannot tell whether the turf takes it", "cannot-tell"),
        ("yes", "open now", "go"),
    ],
)
def test_a_job_that_the_turf_refuses_is_not_called_open(answer: str, said: str, css: str) -> None:
    turf = (TurfSpan(TODAY, TODAY, answer, "new turf", "", None, NOTHING, NOTHING, "", None),)  # type: ignore[arg-type]
    job = job_plan("dormant", "open", opened=TODAY, turf=turf)
    row = plan_view(plan(job), US).purposes[0]
    assert (row.status, row.css) == (said, css)
