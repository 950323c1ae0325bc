"""The seasons that lost most, told and drawn."""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
from lived_seasons import PRODIAMINE, WATER_MM, done, worlds
from spoken import METRIC
from stories_made_up import SEASON

from windowcast.cli.verify_advice import write_stories
from windowcast.report.advice_story import SeasonTold, stories, story
from windowcast.report.catalogue import Voice
from windowcast.verify.foresight import allowed
from windowcast.verify.regret import Cause, Regret, season_seen
from windowcast.verify.worth import Tank
from windowcast.windows.model import PurposeName

SPANISH = Voice("metric", "es")
SVG = "{http://www.w3.org/2000/svg}"


def drawn(regret: Regret = SEASON) -> ET.Element:
    (one,) = stories([regret], METRIC)
    return ET.fromstring(one.svg)


def with_class(root: ET.Element, class_: str) -> list[ET.Element]:
    return [part for part in root.iter() if part.get("class") == class_]


def x_of(day: dt.date) -> float:
    """1 August at 136, 31 May at 690."""
    first, last = dt.date(2019, 8, 1), dt.date(2020, 5, 31)
    return 136 + (690 - 136) * (day - first).days / (last - first).days


# --- in words ------------------------------------------------------------------------------------


def test_a_story_says_what_when_what_was_said_and_what_it_cost() -> None:
    assert story(SEASON, METRIC) == (
        "The advice controlled 80 % of the season's weeds, calendar dates 86 %, "
        "the best dates 95 %. "
        "Most was lost on one application, the fall pre-emergent: the best day was 17 Sep; "
        "the calendar sprayed on 30 Sep; the advice on 23 Oct. "
        "The last answer read up to 17 Sep said to wait: the forecast had no good hours. "
        "By 17 Sep, 0 % of the season's annual bluegrass had emerged, by 23 Oct 40 %. "
        "That alone let 12 % of the season's weeds through."
    )


def test_a_story_has_three_to_five_sentences_in_both_languages() -> None:
    for voice in (METRIC, SPANISH):
        for cause in get_args(Cause):
            if cause != "none":
                told = story(replace(SEASON, cause=cause, said=""), voice)
                assert "[" not in told  # a text that is missing
                assert 3 <= len(re.findall(r"[.](?: |$)", told)) <= 5


def test_a_spray_that_never_went_out_or_was_better_left_out() -> None:
    never = story(replace(SEASON, sprayed=None), METRIC)
    assert "the advice never sprayed it" in never
    assert "By 17 Sep, 0 % of the season's annual bluegrass had emerged." in never
    spared = story(replace(SEASON, best=None, cause="early"), METRIC)
    assert "the best dates leave it out" in spared
    assert "With the weather known, it brought nothing more." in spared


def test_a_dormant_spray_is_told_by_what_the_turf_takes() -> None:
    dormant = replace(SEASON, purpose="dormant", best=dt.date(2020, 1, 10), sprayed=None)
    # 20 December to 18 January
    assert "took a dormant application on 30 days, between 20 Dec and 18 Jan" in story(
        dormant, METRIC
    )


def test_a_weed_without_a_curve_is_said_to_be_unknown() -> None:
    assert SEASON.seen is not None
    crabgrass = {"DIGSA": SEASON.seen.emerged["DIGSA"]}
    bare = replace(SEASON, seen=replace(SEASON.seen, emerged=crabgrass))
    assert "The emergence of annual bluegrass is unknown for this season" in story(bare, METRIC)
    assert not with_class(drawn(bare), "line POAAN")


# --- drawn ---------------------------------------------------------------------------------------


def test_marks_lie_at_their_dates() -> None:
    root = drawn()
    circles = [float(c.get("cx", "")) for c in root.iter(f"{SVG}circle")]
    posts = [dt.date(2019, 11, 15), dt.date(2019, 12, 3), dt.date(2019, 11, 26)]
    for day in posts:  # an early post-emergent is a circle
        assert min(abs(x - x_of(day)) for x in circles) < 0.1
    lost = with_class(root, "lost")
    in_plot = [float(line.get("x1", "")) for line in lost if line.get("x1") != "13"]
    assert in_plot == pytest.approx([x_of(dt.date(2019, 9, 17))] * 4, abs=0.1)


def test_bars_and_bands_span_their_days() -> None:
    root = drawn()
    bars = with_class(root, "residual")
    begins = [float(bar.get("x", "")) for bar in bars[1:]]  # after the legend's
    first, last = dt.date(2019, 10, 23), dt.date(2020, 3, 1)
    assert begins == pytest.approx([x_of(first)], abs=0.1)
    assert float(bars[1].get("width", "")) == pytest.approx(x_of(last) - x_of(first), abs=0.1)
    bands = with_class(root, "permitted")[1:]
    assert len(bands) == 3  # a lane each
    for band in bands:
        assert float(band.get("x", "")) == pytest.approx(x_of(dt.date(2019, 12, 20)), abs=0.1)


def test_a_picture_carries_its_style_for_light_and_dark() -> None:
    style = "".join(part.text or "" for part in drawn().iter(f"{SVG}style"))
    assert "prefers-color-scheme: dark" in style
    classes = {c for part in drawn().iter() for c in (part.get("class") or "").split()}
    assert {name for name in classes if f".{name}" not in style} == {"lab"}  # as all text


def test_a_season_that_was_not_seen_is_not_drawn() -> None:
    with pytest.raises(ValueError, match="was not seen"):
        stories([replace(SEASON, seen=None)], METRIC)


def test_two_stations_of_one_name_have_a_file_each(tmp_path: Path) -> None:
    found: list[SeasonTold] = stories([SEASON, SEASON, replace(SEASON, station="??")], METRIC)
    names = [one.file for one in found]
    assert names == ["long-field-2019.svg", "long-field-2019_2.svg", "station-2019.svg"]
    write_stories(tmp_path, [SEASON, replace(SEASON, station="Even", lost=0.0)])
    assert {path.name for path in tmp_path.iterdir()} == {"stories.md", "long-field-2019.svg"}
    assert "](long-field-2019.svg)" in (tmp_path / "stories.md").read_text("utf-8")


def test_no_season_that_lost_is_said(tmp_path: Path) -> None:
    write_stories(tmp_path, [])
    assert "No season lost anything" in (tmp_path / "stories.md").read_text("utf-8")


# --- what a picture shows ------------------------------------------------------------------------


def test_what_is_seen_of_a_season_is_what_scored_it() -> None:
    lived = worlds("KY_Bowling_Green_21_NNE", 2015, draws=5)
    tanks: dict[PurposeName, Tank] = {"pre-fall": PRODIAMINE, "dormant": (("glyphosate", 0.42),)}
    day = dt.date(2015, 9, 15)
    dates = {"advice": {"pre-fall": (day.isoformat(),)}}
    seen = season_seen(lived, tanks, dates)
    bluegrass = seen.emerged["POAAN"]
    assert list(bluegrass) == sorted(bluegrass)
    rows = lived.emerging("fall")["POAAN"]
    at = lived.index(seen.days[10])
    assert bluegrass[10] == pytest.approx(rows[:, : at + 1].sum(axis=1).mean(), abs=1e-9)
    assert seen.emerged_by("POAAN", seen.days[10]) == pytest.approx(bluegrass[10])
    (left,) = seen.residuals["advice"]
    held = lived.held(done(lived, "pre-fall", PRODIAMINE, day, water_mm=WATER_MM).applied)
    mean = held.mean(axis=0)
    assert left.first == day
    last = (left.last - dt.date(2015, 7, 1)).days
    assert mean[last] >= 0.5 > mean[last + 1]
    permitted = {
        first + dt.timedelta(days=n)
        for first, last in seen.permitted
        for n in range((last - first).days + 1)
    }
    for n in range(0, 300, 7):
        some = dt.date(2015, 8, 1) + dt.timedelta(days=n)
        assert (some in permitted) == allowed(lived, tanks["dormant"], some)
    assert len(str(seen.as_json())) < 5000
