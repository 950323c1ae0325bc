"""A station's own page of a comparison: its file's name, its words, its way back."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from region_fixtures import data, told
from spoken import METRIC

from windowcast.core.values import load
from windowcast.region.columns import QUANTITIES
from windowcast.report import region_station
from windowcast.report.catalogue import Voice
from windowcast.report.region_charts import trend_said
from windowcast.report.region_station import Winters, file_name, links, station_pages

MARKS = load("region").table("failing")


@pytest.mark.parametrize("station", ["CON", "nul.txt", "a/b", "..", "../up", "", "x" * 99, "Größe"])
def test_a_name_that_some_system_refuses_gets_letters_of_its_hash(station: str) -> None:
    name = file_name(station, set())
    assert name != station
    assert name == file_name(station, set())
    assert not {*name} - {*"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._"}
    assert not name.startswith((".", "-"))
    assert 10 <= len(name) < 64
    assert name.upper().partition(".")[0] != "NUL"


def test_names_that_differ_by_case_alone_are_kept_apart() -> None:
    assert file_name("USW1", set()) == "USW1"
    assert file_name("usw1", {"usw1"}) != file_name("USW1", {"usw1"})
    assert list(links(data()).values()) == [
        f"stations/{name}.html" for name in ("SELMA", "BOWL", "CHAR")
    ]


def test_each_station_has_a_page_with_its_normals_in_words_and_a_way_back() -> None:
    pages = dict(station_pages(told(), data(), METRIC))
    assert list(pages) == list(links(data()).values())
    page = pages["stations/BOWL.html"]
    assert "Bowling Green &lt;21&gt; &amp; NNE" in page
    assert "<21>" not in page
    assert 'href="../index.html"' in page
    assert "north · 37.25° N · 86.23° W" in page
    assert "Soil falls below 21.1\N{NO-BREAK SPACE}°C: usually " in page
    assert "Half of the winters have at least " in page
    assert 'class="chart fluid strip"' in page
    assert "default-src 'none'" in page
    assert "nan" not in page.partition("</style>")[2]
    assert "50 m" in pages["stations/SELMA.html"]
    us = dict(station_pages(told(), data(), Voice("us", "es")))["stations/SELMA.html"]
    assert "165 ft" in us
    assert "Suelo baja de 70" in us


@pytest.mark.parametrize(
    ("ends", "text"),
    [
        (
            (1.0, 0.0, 4.0),
            "Half of the winters have at least 1 spray day on fully dormant turf, 8 of 10 have 0",
        ),
        (
            (0.4, 0.0, 3.0),
            "Half of the winters have no spray day on fully dormant turf, 9 of 10 have at most 3.",
        ),
        ((0.0, 0.0, 0.2), "9 of 10 winters have no spray day on fully dormant turf."),
    ],
)
def test_spray_days_of_winters_without_any_are_said_so(
    ends: tuple[float, float, float], text: str
) -> None:
    of = data().normals("spray_days_total")
    middle, low, high = (np.array([end]) for end in ends)
    found = replace(of, median=middle, p10=low, p90=high)
    assert METRIC.text(region_station._spray_days(found, 0)).startswith(text)


@pytest.mark.parametrize(
    ("happens", "text"), [(0.31, "Turf dormant: only in 3 of 10 years."), (0.02, "hardly ever.")]
)
def test_a_date_that_does_not_come_in_half_of_the_years_is_not_unknown(
    happens: float, text: str
) -> None:
    """Nor is there a speed at which it has moved."""
    normals = {quantity: data().normals(quantity) for quantity in QUANTITIES}
    rare = np.full(3, happens)
    shut = replace(normals["dormant"], median=np.full(3, np.inf), happens=rare)
    every = region_station._Stations(data(), {**normals, "dormant": shut}, {}, {})
    lines = [METRIC.text(line) for line in region_station._lines(every, 0, southern=False)]
    assert next(line for line in lines if line.startswith("Turf dormant")).endswith(text)
    moved = replace(shut, trend_per_decade=np.full(3, 4.0))
    assert trend_said(moved, 0, "dormant", METRIC) == "cannot tell: not every year"
    assert trend_said(normals["soil_21"], 0, "soil_21", METRIC).endswith(" years")


def test_a_small_p_value_is_not_nothing() -> None:
    found = data().normals("soil_21")
    sure = replace(found, p_value=np.full(3, 0.0004))
    assert ", p <\N{NO-BREAK SPACE}0.01, " in trend_said(sure, 0, "soil_21", METRIC)


def test_a_break_of_the_record_is_flagged() -> None:
    broken = {"break_season": [2010], "break_size": [1.5], "break_of": ["lows"], "neighbours": [4]}
    every = region_station._Stations(data(), {}, {}, broken)
    assert region_station._flag(every, 0, METRIC, southern=False) == (
        "Check this record: from 2010/11 on its lows differ by 1.5 °C from before, against 4 "
        "neighbors. Nothing is adjusted."
    )
    none = region_station._Stations(data(), {}, {}, {**broken, "break_season": [None]})
    assert region_station._flag(none, 0, METRIC, southern=False) == ""


def test_winters_without_a_week_of_two_spray_days_are_named_with_what_took_most() -> None:
    good, bad, unknown = np.zeros(52), np.zeros(52), np.zeros(52)
    good[30], bad[30], unknown[30] = 2, 1, math.nan
    lost = np.array([20.0, 0.0, 9.0, 0.0])  # wet, windy, cold, warm
    seen = Winters([2001, 2002, 2003, 2004], [good, bad, unknown, bad], [40, 30, 30, 3], [lost] * 4)
    assert seen.failing(MARKS) == {2002: "wet", 2004: "not_dormant"}
