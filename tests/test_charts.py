"""The charts: well-formed SVG (xml.etree), named axes, honest gaps, numbers behind each."""

from __future__ import annotations

import datetime as dt
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_fixtures import HOSTILE, hours, ranking, strip
from spoken import US

from windowcast.core import season_calendar
from windowcast.core.phrase import NOTHING, say
from windowcast.core.values import PACKAGED
from windowcast.limits.model import TurfSpan
from windowcast.report import season_numbers
from windowcast.report.answer_page import hour_levels
from windowcast.report.chartkit import (
    Chart,
    Line,
    Scale,
    band_path,
    el,
    line_path,
    month_starts,
    ticks,
    time_chart,
)
from windowcast.report.charts import cover_chart, workable_chart
from windowcast.report.strips import hour_panels
from windowcast.windows.score import Rule

NS = "{http://www.w3.org/2000/svg}"
DATES = np.arange(np.datetime64("2023-07-01"), np.datetime64("2024-07-01"))
TODAY = dt.date(2023, 11, 6)


def _charts() -> list[Chart]:
    ramp = np.linspace(0, 1, len(DATES))
    cover = cover_chart(
        "cover",
        "Cover",
        DATES,
        US,
        cover=ramp,
        band=(ramp - 0.1, ramp + 0.1),
        best=TODAY,
        today=TODAY,
    )
    weeks = [dt.date(2023, 9, 4) + dt.timedelta(days=7 * n) for n in range(12)]
    workable = workable_chart(
        "work",
        "Workable days",
        weeks,
        US,
        days=np.array([3.0] * 11 + [np.nan]),
        band=(np.full(12, 1.0), np.full(12, 5.0)),
    )
    return [cover, workable]


CHARTS = _charts()


@pytest.mark.parametrize("chart", CHARTS, ids=lambda c: c.key)
def test_chart_is_well_formed_named_and_without_style_or_script(chart: Chart) -> None:
    root = ET.fromstring(chart.svg)
    assert root.get("role") == "img"
    names = root.get("aria-labelledby", "").split()
    ids = {node.get("id") for node in root.iter() if node.get("id")}
    assert set(names) == ids
    assert root.find("title").text == chart.title  # type: ignore[union-attr]
    assert root.find("desc").text == chart.desc  # type: ignore[union-attr]
    for node in root.iter():
        assert node.tag not in {"script", "style", "foreignObject", "image", "use"}
        assert "style" not in node.attrib
        assert not any(key.startswith("on") or "href" in key for key in node.attrib)


@pytest.mark.parametrize("chart", CHARTS, ids=lambda c: c.key)
def test_chart_fits_its_box_and_names_its_axis(chart: Chart) -> None:
    root = ET.fromstring(chart.svg)
    _, _, width, height = map(float, root.get("viewBox", "").split())
    assert width == 360
    for node in root.iter("rect"):
        assert float(node.get("x", 0)) >= 0
        assert float(node.get("x", 0)) + float(node.get("width", 0)) <= width + 0.1
    for node in root.iter("text"):
        assert 0 <= float(node.get("x", 0)) <= width
        assert float(node.get("y", 0)) <= height
    assert any(node.get("class") == "axis-title" and node.text for node in root.iter("text"))


@pytest.mark.parametrize("chart", CHARTS, ids=lambda c: c.key)
def test_numbers_behind_the_chart_match_its_columns(chart: Chart) -> None:
    assert chart.rows
    assert {len(row) for row in chart.rows} == {len(chart.columns)}


def test_each_day_is_drawn_with_its_hours_shaded_and_its_window_framed() -> None:
    criteria, level = PACKAGED["criteria"], hour_levels(strip(), Rule.of(PACKAGED["criteria"]))
    outlook = ranking().purposes[1]
    view = hour_panels(outlook, hours(), strip(), level, criteria=criteria, voice=US)
    assert [panel.best for panel in view.panels].count(True) == 1
    for n, panel in enumerate(view.panels):
        rects = [r.get("class", "").split() for r in ET.fromstring(panel.svg).iter("rect")]
        of_day = [level[24 * n + clock] for clock in range(8, 17)]
        assert sum(r[:2] == ["shade", "fit"] for r in rects) == of_day.count("fit")
        assert sum(r[:2] == ["shade", "cannot-tell"] for r in rects) == of_day.count("cannot tell")
        dates = [w.date for w in outlook.windows]
        assert (["frame"] in rects) == (TODAY + dt.timedelta(days=n) in dates)
        assert (["wind"] in rects) == (n < 6)  # the last day's wind is not known
        spans = [span.hours for span in panel.hours]
        assert spans[0].startswith("08:00")
        assert spans[-1].endswith("17:00")


def test_a_day_that_the_turf_refuses_offers_no_hours() -> None:
    no = TurfSpan(
        TODAY, TODAY, "no", "overseeding", "", None, say("answer.wait"), NOTHING, "", None
    )
    outlook = replace(ranking().purposes[1], turf=(no,), windows=())
    level = hour_levels(strip(), Rule.of(PACKAGED["criteria"]))
    view = hour_panels(outlook, hours(), strip(), level, criteria=PACKAGED["criteria"], voice=US)
    assert view.panels[0].css == "refused"
    assert view.panels[0].offers == "do not spray"
    assert not view.panels[0].hours
    assert "hatch-refused" in view.panels[0].svg
    assert view.panels[1].css != "refused"


def test_a_day_that_cannot_be_told_is_not_called_a_no() -> None:
    outlook = replace(ranking().purposes[1], turf=(), windows=())
    for level, said in (("unfit", "no: "), ("cannot tell", "cannot tell: ")):
        view = hour_panels(
            outlook, hours(), strip(), [level] * len(strip().times),
            criteria=PACKAGED["criteria"], voice=US,
        )  # fmt: skip
        assert all(panel.offers.startswith(said) for panel in view.panels)


def test_levels_follow_the_limits_of_the_windows() -> None:
    # limits 0.6 and 0.3 are the program's own choice, written in criteria.toml
    hours = strip()
    for score, level in zip(
        hours.scores, hour_levels(hours, Rule.of(PACKAGED["criteria"])), strict=True
    ):
        if score is None:
            assert level == "cannot tell"
        elif score >= 60:
            assert level == "fit"
        elif score < 30:
            assert level == "unfit"
        else:
            assert level == "marginal"


def test_hostile_names_are_escaped_in_markup() -> None:
    flat = np.full(len(DATES), 0.5)
    chart = cover_chart(
        "e", HOSTILE, DATES, US, cover=flat, band=(flat, flat), best=None, today=TODAY
    )
    assert "<script" not in chart.svg
    assert ET.fromstring(chart.svg).find("title").text.startswith("<script>")  # type: ignore[union-attr]


def test_gaps_break_lines_and_bands() -> None:
    x = np.arange(5.0)
    y = np.array([1.0, 2.0, np.nan, 3.0, 4.0])
    assert line_path(x, y) == "M0 1L1 2M3 3L4 4"
    assert band_path(x, y, y + 1) == "M0 2L1 3L1 2L0 1ZM3 4L4 5L4 4L3 3Z"
    assert line_path(x, np.full(5, np.nan)) == ""


def test_all_missing_series_still_draws_a_chart() -> None:
    svg = time_chart(
        "k", "t", "d", DATES, [Line(np.full(len(DATES), np.nan), "now", "x")],
        y_title="°C", y_range=(0, 1), voice=US,
    )  # fmt: skip
    ET.fromstring(svg)
    assert "nan" not in svg


@given(st.floats(-1e6, 1e6), st.floats(0.01, 1e6), st.integers(2, 8))
def test_ticks_are_round_inside_and_few(low: float, span: float, count: int) -> None:
    marks = ticks(low, low + span, count)
    tolerance = 1e-6 * (abs(low) + span)
    assert all(low - tolerance <= m <= low + span + tolerance for m in marks)
    assert len(marks) <= count + 1


def test_scale_maps_ends_to_ends() -> None:
    scale = Scale(10, 20, 100, 0)
    assert (scale(10), scale(20), scale(15)) == (100, 0, 50)


def test_attributes_are_escaped() -> None:
    assert el("a", class_='"><b', x1=None) == '<a class="&quot;&gt;&lt;b"></a>'


def test_month_starts_on_a_leap_year() -> None:
    dates = np.arange(np.datetime64("2024-02-28"), np.datetime64("2024-03-03"))
    assert month_starts(dates, US) == [(2, "Mar")]


def test_past_band_is_the_percentile_of_the_same_days() -> None:
    # by hand: seasons hold the constants 1..9, so 10 % is 1.8 and 90 % is 8.2 (linear, numpy)
    own = np.arange(np.datetime64("2014-07-01"), np.datetime64("2023-11-06"))
    season = own.astype("datetime64[M]").astype(int)
    value = ((season - 6) // 12 - 44 + 1).astype(float)
    low, high, years = season_numbers.past_band(DATES, own, value)
    assert years == 9
    assert low[100] == pytest.approx(1.8)
    assert high[100] == pytest.approx(8.2)


def test_few_past_seasons_give_no_band() -> None:
    own = np.arange(np.datetime64("2021-07-01"), np.datetime64("2023-11-06"))
    low, _, years = season_numbers.past_band(DATES, own, np.ones(len(own)))
    assert years == 2
    assert np.isnan(low).all()


def test_fan_leaves_the_forecast_as_issued_out_of_the_odds() -> None:
    members = np.vstack([np.full(10, 99.0), np.ones((9, 10))])
    fan = season_numbers.fan(DATES, DATES[:10], members)
    assert fan.high[0] == 1.0
    assert np.isnan(fan.high[10])


def test_percentiles_are_those_of_numpy_whatever_is_missing() -> None:
    rng = np.random.default_rng(1)
    members = rng.normal(size=(37, len(DATES)))
    members[rng.random(members.shape) < 0.3] = np.nan
    members[:, 5] = 1.0
    wanted = np.nanpercentile(members, (10, 50, 90), axis=0)
    found = season_numbers.fan_of_futures(DATES, DATES, members)
    assert np.array([found.low, found.mid, found.high]) == pytest.approx(wanted)
    members[:, 7] = np.nan
    assert np.isnan(season_numbers.fan_of_futures(DATES, DATES, members).mid[7])


def test_mean_of_futures_is_not_told_where_half_of_them_are_unknown() -> None:
    futures = np.array([[0, 1, np.nan], [1, np.nan, np.nan], [1, 1, 1]])
    mean = season_numbers.mean_of_futures(futures)
    assert mean[:2] == pytest.approx([2 / 3, 1])  # by hand
    assert np.isnan(mean[2])


@pytest.mark.parametrize(
    ("today", "southern", "start"),
    [
        (dt.date(2024, 6, 30), False, dt.date(2023, 7, 1)),
        (dt.date(2024, 7, 1), False, dt.date(2024, 7, 1)),
        (dt.date(2024, 6, 30), True, dt.date(2024, 1, 1)),
    ],
)
def test_season_start(today: dt.date, southern: bool, start: dt.date) -> None:
    assert season_calendar.season_start(today, southern=southern) == start
