"""The season's picture: what its rows show, say and leave open."""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from report_fixtures import TODAY, answer, applied_job, between, job_plan, plan, with_season_of
from spoken import METRIC, US

from windowcast.core.values import PACKAGED
from windowcast.programme.model import PurposePlan
from windowcast.report.catalogue import catalogue
from windowcast.report.fluid import Plot, month_middles
from windowcast.report.page import page_of
from windowcast.report.season_numbers import (
    Fan,
    SeasonNumbers,
    chance_open,
    control_left,
    per_week,
    season_numbers,
)
from windowcast.report.season_picture import SeasonPicture, job_row, season_picture
from windowcast.report.season_rows import Row, Setting, day_by_day, weed_row
from windowcast.season.model import SiteState
from windowcast.windows.loss import Loss

DATES = np.arange(np.datetime64("2023-07-01"), np.datetime64("2024-07-01"))
LOSS = Loss.of(PACKAGED["barrier"])


@cache
def picture(units: str = "us") -> SeasonPicture:
    voice = US if units == "us" else METRIC
    return season_picture(answer(units=units), plan(), voice, "-1")


@cache
def numbers() -> SeasonNumbers:
    return season_numbers(answer())


def row(name: str, of: SeasonPicture | None = None) -> Row:
    return next(r for r in (of or picture()).rows if r.name == name)


def day(text: str) -> int:
    return int((np.datetime64(text) - DATES[0]).astype(int))


# --- the markup -----------------------------------------------------------------------------------


@pytest.mark.parametrize("shown", picture().rows, ids=lambda r: r.name)
def test_a_row_is_well_formed_named_and_free_of_words_styles_and_scripts(shown: Row) -> None:
    root = ET.fromstring(shown.svg)
    ids = {node.get("id") for node in root.iter() if node.get("id")}
    assert root.get("role") == "img"
    assert set(root.get("aria-labelledby", "").split()) <= ids
    assert root.find("title").text == shown.name  # type: ignore[union-attr]
    assert root.find("desc").text  # type: ignore[union-attr]
    tags = {node.tag for node in root.iter()}
    assert not tags & {"text", "script", "style", "foreignObject", "image", "use"}
    for node in root.iter():
        assert "style" not in node.attrib
        assert not any(key.startswith("on") or "href" in key for key in node.attrib)
    for used in re.findall(r"url\(#(s-[^)]+)\)", shown.svg):
        assert used in ids
    assert "nan" not in shown.svg


def test_no_id_stands_twice() -> None:
    ids = [i for r in picture().rows for i in re.findall(r'\bid="([^"]+)"', r.svg)]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("shown", picture().rows, ids=lambda r: r.name)
def test_every_row_says_each_day_and_each_week(shown: Row) -> None:
    assert len(shown.days) == len(DATES) == 366
    assert len(shown.weeks) == len(picture().weeks) == 53
    assert all(shown.days)
    assert all(shown.weeks)


def test_rows_come_from_soil_to_jobs() -> None:
    kinds = [r.kind for r in picture().rows]
    assert kinds == ["soil", "weed", "weed", "turf", "safe", *["job"] * 4]


def test_days_alike_are_written_once() -> None:
    assert day_by_day(["a", "a", "b~", "a"]) == "a~2|b~|a"


@pytest.mark.parametrize(
    ("first", "names"), [("2023-07-01", "Jul Aug Sep"), ("2024-01-01", "Jan Feb Mar")]
)
def test_months_begin_with_the_season(first: str, names: str) -> None:
    start = np.datetime64(first)
    days = (start + np.arange(91)).astype("datetime64[D]").tolist()
    middles = month_middles(days)
    assert " ".join(f"{date:%b}" for _, date in middles) == names
    assert middles[0][0] == 15.5


def test_a_southern_season_runs_from_january_to_december() -> None:
    made = answer()
    south = made.site.model_copy(update={"latitude": -33.0})
    shown = season_picture(with_season_of(made, site=south), plan(), METRIC)
    assert re.findall(r">(\w+)</text>", shown.months)[::11] == ["Jan", "Dec"]


# --- what it says ---------------------------------------------------------------------------------


def test_the_title_says_where_the_season_is_and_what_is_next() -> None:
    assert picture().title == (
        "The turf is hardening off; open now: early post-emergent; "
        "next: spring pre-emergent, about 10\N{NO-BREAK SPACE}Mar."
    ).replace("10\N{NO-BREAK SPACE}Mar", "10 Mar")


def test_without_jobs_ahead_the_next_key_date_is_named() -> None:
    shown = season_picture(answer(), plan(job_plan("dormant", "over")), US)
    assert shown.title.endswith("next: last fully dormant day before green-up, about 5 Apr.")


@pytest.mark.parametrize(("units", "marks"), [("us", "70 55"), ("metric", "21.1 12.8")])
def test_the_temperatures_that_matter_stand_at_the_axis_in_the_readers_units(
    units: str, marks: str
) -> None:
    soil = picture(units).rows[0]
    assert re.findall(r">([\d.]+)</text>", soil.marks) == marks.split()
    assert all(mark in soil.note for mark in marks.split())
    assert ("°F" if units == "us" else "°C") in soil.note
    assert soil.svg.count('class="mark"') == 2


def test_weeds_without_a_curve_are_named_below() -> None:
    assert picture().no_curve == ""
    made = answer()
    more = made.site.model_copy(update={"weeds": ("POAAN", "DIGIS", "STEME", "TRFRE")})
    shown = season_picture(with_season_of(made, site=more), plan(), US)
    assert shown.no_curve.endswith("common chickweed and white clover.")
    assert [r.kind for r in shown.rows].count("weed") == 2


def test_twelve_weeds_have_a_row_each_within_the_weight_of_a_page() -> None:
    made, codes = (
        answer(),
        sorted(id_[5:] for id_ in catalogue("en").raw if id_.startswith("weed."))[:12],
    )

    def many(state: SiteState) -> SiteState:
        curve = state.emergence["POAAN"]
        return replace(state, emergence={code: replace(curve, weed=code) for code in codes})

    twelve = with_season_of(made, past=many(made.past), ahead=many(made.ahead))
    shown = season_picture(twelve, plan(), US)
    assert [r.kind for r in shown.rows].count("weed") == len(codes) == 12
    assert len(page_of("season_picture.html", US, picture=shown).encode()) < 110_000


def test_a_weed_whose_time_is_unknown_is_hatched_and_names_no_day() -> None:
    setting, weed = Setting(numbers(), (), US, ""), numbers().weeds[1]
    blank = np.where(np.arange(len(DATES)) < 140, 0.0, np.nan)
    shown = weed_row(setting, replace(weed, rate=Fan(blank, blank, blank)))
    assert shown.note == "cannot tell"
    assert shown.svg.count('class="unknown"') == 1
    assert 'class="unknown"' not in weed_row(setting, weed).svg


def test_a_general_clock_says_how_rough_it_is() -> None:
    made = answer()
    curve = replace(made.past.emergence["POAAN"], doubt_weeks=3.0)
    rough = with_season_of(
        made, past=replace(made.past, emergence={**made.past.emergence, "POAAN": curve})
    )
    bluegrass = row("Annual bluegrass", season_picture(rough, plan(), US))
    assert bluegrass.note.endswith("; by a general clock, good to 3 weeks")
    assert "clock" not in row("Annual bluegrass").note


@pytest.mark.parametrize(
    ("name", "note"),
    [
        ("Fall pre-emergent", r"done; prodiamine on 20 Sep; \d+ % of it left, gone about 30 Jan"),
        (
            "Early post-emergent",
            r"open now: 20 Oct to about 31 Dec; best Wed 8 Nov, 10:00 to 15:00",
        ),
        ("Dormant application", "cannot tell"),
        ("Spring pre-emergent", r"still to come: about 10 Mar to about 30 Apr"),
    ],
)
def test_a_job_says_where_it_stands(name: str, note: str) -> None:
    assert re.fullmatch(note, row(name).note.replace("\N{NO-BREAK SPACE}", " "))


def test_a_job_whose_days_cannot_be_told_is_hatched_and_says_so() -> None:
    unknown = row("Dormant application")
    assert 'class="unknown"' in unknown.svg
    assert 'class="job"' not in unknown.svg
    assert set(unknown.days) == {"cannot tell"}


def test_what_is_left_of_a_residual_is_said_day_by_day_and_ends() -> None:
    days = row("Fall pre-emergent").days
    left = [re.search(r"(\d+).% of the residual", text) for text in days]
    shares = [int(m[1]) for m in left if m]
    assert left[day("2023-09-19")] is None
    assert shares[0] == 100
    assert shares == sorted(shares, reverse=True)
    assert left[day("2024-02-01")] is None


# --- the numbers ----------------------------------------------------------------------------------


def test_emergence_shows_the_count_of_this_season_only() -> None:
    # the made-up crabgrass counts from 1 January; what last spring brought is not drawn
    crabgrass = next(w for w in numbers().weeds if w.code == "DIGIS")
    assert crabgrass.emerged.mid[day("2023-07-15")] == 0
    assert crabgrass.emerged.mid[day("2024-03-30")] == 0


def test_what_emerges_by_week_adds_up_to_what_has_emerged() -> None:
    # by hand: 2 % a day for 50 days is 14 % a week; at the ends of the record no day is made up
    share = np.clip((np.arange(90.0) - 20) * 0.02, 0, 1)
    rate = per_week(share)
    assert rate[40] == pytest.approx(0.14)
    assert rate.sum() / 7 == pytest.approx(1.0)
    assert rate[:15].max() == 0


def test_a_count_that_begins_anew_takes_nothing_away() -> None:
    share = np.concatenate([np.full(20, 0.9), np.linspace(0.0, 0.2, 21)])
    assert per_week(share).min() >= 0
    assert per_week(share)[35] == pytest.approx(0.07)


def test_unknown_days_stay_unknown() -> None:
    share = np.linspace(0, 1, 40)
    share[10:20] = np.nan
    found = np.isnan(per_week(share))
    assert found[10:21].all()  # the day after a gap does not know what came before it
    assert found.sum() == 11


OPEN_CASES = {
    "known days": (
        {"opened": dt.date(2023, 9, 1), "closed": dt.date(2023, 9, 30), "status": "over"},
        {"2023-08-31": 0, "2023-09-01": 1, "2023-09-30": 1, "2023-10-01": 0},
    ),
    "a range": (
        {
            "opens": between(dt.date(2024, 2, 10), dt.date(2024, 3, 1), dt.date(2024, 3, 11)),
            "closes": between(dt.date(2024, 5, 1), dt.date(2024, 5, 11), dt.date(2024, 5, 21)),
        },
        {"2024-01-15": 0, "2024-02-10": 0.1, "2024-03-01": 0.5, "2024-03-11": 0.9,
         "2024-04-10": 1, "2024-05-12": 0.5, "2024-06-20": 0},
    ),
    "not in every future": (
        {
            "opens": between(dt.date(2024, 2, 10), dt.date(2024, 3, 1), None),
            "closes": between(dt.date(2024, 5, 1), dt.date(2024, 5, 1), dt.date(2024, 5, 1)),
        },
        {"2024-04-10": 0.5, "2024-05-20": 0},
    ),
    "never": ({"opens": between(None, None, None), "closes": between(None, None, None)},
              {"2024-01-01": 0, "2024-06-01": 0}),
    "unknown": ({"status": "cannot tell"}, {"2024-01-01": np.nan}),
    "an unknown end": (
        {"opened": dt.date(2023, 10, 1), "status": "open"},
        {"2023-09-30": 0, "2023-10-02": np.nan},
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", OPEN_CASES)
def test_edges_are_as_soft_as_the_dates(case: str) -> None:
    known, wanted = OPEN_CASES[case]
    chance = chance_open(job_plan("dormant", **known), DATES)  # type: ignore[arg-type]
    found = [chance[day(text)] for text in wanted]
    assert found == pytest.approx(list(wanted.values()), abs=0.011, nan_ok=True)


@pytest.mark.parametrize(
    "until",
    [
        (dt.date(2023, 12, 20), dt.date(2024, 1, 30), dt.date(2024, 3, 1)),
        (dt.date(2023, 12, 20), dt.date(2024, 8, 1), None),
        (None, None, None),
    ],
)
def test_a_residual_falls_to_nothing_on_its_dates(until: tuple[dt.date | None, ...]) -> None:
    start = dt.date(2023, 9, 20)
    left = control_left(applied_job(start, *until), numbers(), LOSS)
    assert left is not None
    for line, end in zip((left.low, left.mid, left.high), until, strict=True):
        assert (line[: day("2023-09-20")] == 0).all()
        if end is None:
            assert np.isnan(line[day("2023-09-20") :]).all()
            continue
        assert line[day("2023-09-20")] == pytest.approx(1, abs=0.02)
        assert (np.diff(line[day("2023-09-20") :]) <= 1e-12).all()
        gone = (np.datetime64(end) - DATES[0]).astype(int)
        assert gone >= len(DATES) or line[gone] == pytest.approx(0, abs=1e-9)
        assert line[min(gone, len(DATES)) - 2] > 0


def test_nothing_is_left_where_nothing_lasts() -> None:
    assert control_left(applied_job(TODAY), numbers(), LOSS) is None


def test_a_residual_without_a_known_end_is_hatched_as_unknown() -> None:
    setting = Setting(numbers(), (), US, "")
    done = replace(plan().purposes[0], job=applied_job(dt.date(2023, 9, 20), None, None, None))
    assert 'class="unknown"' in job_row(setting, done, None, LOSS).svg
    assert 'class="residual"' not in job_row(setting, done, None, LOSS).svg


@pytest.mark.parametrize("applied", [dt.date(2022, 9, 20), dt.date(2025, 9, 20)])
def test_what_lies_outside_the_season_is_not_drawn(applied: dt.date) -> None:
    setting = Setting(numbers(), (), US, "")
    elsewhere: PurposePlan = replace(plan().purposes[0], job=applied_job(applied))
    assert "circle" not in job_row(setting, elsewhere, None, LOSS).svg


def test_all_that_is_missing_draws_nothing_and_breaks_nothing() -> None:
    plot, nothing = Plot("k", 30), np.full(30, np.nan)
    assert plot.line(nothing, "known") == ""
    assert plot.area(nothing, nothing, "likely", "a") == ""
    assert plot.shade(nothing, ("safe",), "s", (0, 1)).count("unknown") == 1
