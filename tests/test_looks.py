"""What one day's look says of an application: in words, how it went, and what it rests on.

Worked by hand from the marks of ``data/verdict.toml``: control from 80 % worked and below 50 %
failed; up to 2 % of cover or 2 plants per m² worked, from 10 % or 20 plants on failed.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from spoken import render

from windowcast.materials.actives import load_actives
from windowcast.records.looks import Lookbook, SeenAfter, seen_after
from windowcast.records.model import (
    Application,
    CoverReading,
    FieldNote,
    Material,
    Rating,
    ScoutingCount,
)

DAY, SPRAYED = dt.date(2025, 3, 10), dt.datetime(2025, 2, 1, 9, tzinfo=dt.UTC)
BEFORE = dt.date(2025, 1, 20)
ON = "on 10 Mar 2025"


def done(**more: Any) -> Application:
    return Application(SPRAYED, (Material("glyphosate", 0.8),), where="field 1", **more)


def look(*entries: Any, of: Application | None = None, pre: bool = False) -> SeenAfter:
    application = of or done()
    book = Lookbook(entries).with_trials([e for e in entries if isinstance(e, Rating)])
    return seen_after(application, book, members=[], pre=pre, until=dt.date(2026, 1, 1))


def rating(value: float, measure: str, day: dt.date = DAY, **more: Any) -> Rating:
    return Rating(day, value, measure, where=more.pop("where", "field 1"), **more)


def count(value: float, day: dt.date = DAY, weed: str = "POAAN", **more: Any) -> ScoutingCount:
    return ScoutingCount(day, weed, per_m2=value, where="field 1", **more)


def test_ratings_of_a_trial_tell_of_its_plots_and_of_no_place() -> None:
    plot = rating(80.0, "control %", trial="T", plot="1", treatment="a")
    place = rating(60.0, "control %")
    book = Lookbook([plot, place])
    days = (DAY, DAY)
    assert book.between("field 1", *days) == [place]
    assert book.between("", *days, trial="T") == [place]
    with_plots = book.with_trials([plot, place])
    assert with_plots.between("field 1", *days) == [place]
    assert with_plots.between("", *days, trial="T") == [place, plot]
    assert with_plots.between("tees", *days, trial="T") == [plot]
    assert with_plots.between("tees", *days, trial="other") == []


def test_what_was_seen_at_two_places_is_told_once_in_order_of_time() -> None:
    early, late = DAY - dt.timedelta(1), DAY + dt.timedelta(1)
    both = FieldNote(DAY, "x", where="a; b")
    rest = [FieldNote(late, "y", where="a"), FieldNote(early, "z", where="b")]
    book = Lookbook([*rest, both])
    assert book.between("a, b", early, late) == [rest[1], both, rest[0]]
    assert book.between("a", DAY, DAY) == [both]
    assert book.between("", early, DAY) == [rest[1], both]


CHECK: dict[str, Any] = {"treatment": "untreated"}

# entries → how it went, in words, whether an untreated check was looked at
LOOKS: dict[str, tuple[list[Any], str | None, str, bool]] = {
    "control": ([rating(80.0, "control %")], "worked", f"rated 80 % control {ON}", False),
    "control, in capitals": (
        [rating(79.9, " Control ")], "partly", f"rated 80 % control {ON}", False
    ),
    "mean of spots": (
        [rating(40.0, "control %", plot="a"), rating(50.0, "control %", plot="b")],
        "failed", f"rated 45 % control {ON}", False,
    ),
    "impossible control": ([rating(101.0, "control %")], None, "", False),
    "all that control may be": (
        [rating(-100.0, "control %"), rating(100.0, "control %")],
        "failed", f"rated 0 % control {ON}", False,
    ),
    "control before treatment": ([rating(20.0, "control %", before=True)], None, "", False),
    "few plants": ([count(2.0)], "worked", f"2 per m² of annual bluegrass {ON}", False),
    "some plants": ([count(19.9)], "partly", f"19.9 per m² of annual bluegrass {ON}", False),
    "many plants": ([count(20.0)], "failed", f"20 per m² of annual bluegrass {ON}", False),
    "a count as a rating": (
        [rating(20.0, "count per m2")], "failed", f"20 per m² {ON}", False
    ),
    "a count without an area": ([rating(20.0, "count")], "failed", f"20 per m² {ON}", False),
    "plants in a frame nobody knows": (
        [rating(20.5, "count per frame", weed="POAAN")], None,
        f"20.5 counted of annual bluegrass {ON}", False,
    ),
    "little cover": ([rating(2.0, "cover %")], "worked", f"2 % weed cover {ON}", False),
    "much cover": (
        [rating(10.0, "weed cover", weed="POAAN")], "failed",
        f"10 % weed cover of annual bluegrass {ON}", False,
    ),
    "cover that was scouted": (
        [ScoutingCount(DAY, "POAAN", cover_pct=9.0)], "partly",
        f"9 % weed cover of annual bluegrass {ON}", False,
    ),
    "a count goes before its cover": (
        [ScoutingCount(DAY, "POAAN", per_m2=1.0, cover_pct=90.0)], "worked",
        f"1 per m² of annual bluegrass {ON}", False,
    ),
    "a stage alone": ([ScoutingCount(DAY, "POAAN", stage_bbch=12)], None, "", False),
    "less than nothing": ([rating(-1.0, "cover %")], None, "", False),
    "another measure": ([rating(7.0, "quality 1-9")], None, "", False),
    "against a check": (
        [count(10.0), rating(100.0, "count per m2", **CHECK)], "worked",
        ("10 per m² of annual bluegrass against 100 per m² in the untreated check (90 % control)"
        f" {ON}"), True,
    ),
    "against a check of that weed": (
        [count(60.0), rating(100.0, "count per m2", weed="POAAN", **CHECK),
         rating(10.0, "count per m2", weed="STEME", **CHECK)], "failed",
        ("60 per m² of annual bluegrass against 100 per m² in the untreated check (40 % control)"
        f" {ON}"), True,
    ),
    "a bare check says nothing": (
        [count(10.0), rating(0.0, "count per m2", **CHECK)], "partly",
        f"10 per m² of annual bluegrass {ON}", True,
    ),
    "cover against a check": (
        [rating(15.0, "cover %"), rating(30.0, "cover %", **CHECK)], "partly",
        f"15 % weed cover against 30 % weed cover in the untreated check (50 % control) {ON}", True,
    ),
    "against the count before": (
        [count(40.0, BEFORE), count(4.0)], "worked",
        f"4 per m² of annual bluegrass against 40 per m² before (90 % fewer) {ON}", False,
    ),
    "a check goes before the count before": (
        [count(40.0, BEFORE), count(4.0), rating(8.0, "count per m2", **CHECK)], "partly",
        ("4 per m² of annual bluegrass against 8 per m² in the untreated check (50 % control)"
        f" {ON}"), True,
    ),
    "a count before of another weed": (
        [count(40.0, BEFORE, "STEME"), count(4.0)], "partly",
        f"4 per m² of annual bluegrass {ON}", False,
    ),
    "control goes before plants": (
        [rating(90.0, "control %"), count(30.0)], "worked",
        f"rated 90 % control, 30 per m² of annual bluegrass {ON}", False,
    ),
    "control beside a check": (
        [rating(90.0, "control %"), rating(55.0, "cover %", **CHECK)], "worked",
        f"rated 90 % control, 55 % weed cover in the untreated check {ON}", True,
    ),
    "two weeds that went apart": (
        [count(1.0), count(30.0, weed="STEME")], "partly",
        f"1 per m² of annual bluegrass, 30 per m² of common chickweed {ON}", False,
    ),
    "green": (
        [CoverReading(DAY, 12.0, where="field 1")], None,
        f"12 % green (turf and weeds together) {ON}", False,
    ),
    "shoots say nothing of weeds": ([CoverReading(DAY, live_shoots=True)], None, "", False),
    "a note": ([FieldNote(DAY, "patchy")], None, f"“patchy” {ON}", False),
    "survivors": (
        [FieldNote(DAY, "x", survivors_mixed=True)], "partly",
        f"“x”, live plants beside dying ones {ON}", False,
    ),
    "survivors beside control": (
        [rating(90.0, "control %"), FieldNote(DAY, "x", survivors_mixed=True)], "worked",
        f"rated 90 % control, “x”, live plants beside dying ones {ON}", False,
    ),
    "another treatment": ([rating(20.0, "control %", treatment="b")], None, "", False),
    "a check alone": ([rating(55.0, "cover %", **CHECK)], None, "", False),
}  # fmt: skip


@pytest.mark.parametrize("what", LOOKS)
def test_a_look_in_words_and_what_it_decides(what: str) -> None:
    entries, level, said, checked = LOOKS[what]
    found = look(*entries)
    words = [render(one.text) for one in found.looks]
    assert words == ([said] if said else [])
    assert [(one.date, one.level, one.checked) for one in found.looks] == [
        (DAY, level, checked) for _ in words
    ]
    assert found.checked == (checked and bool(words))


@pytest.mark.parametrize(
    ("values", "even"),
    [([95.0], None), ([95.0, 85.0], True), ([95.0, 60.0], None), ([95.0, 40.0], False),
     ([60.0, 40.0], None), ([40.0, 30.0], True), ([95.0, 60.0, 40.0], False)],
)  # fmt: skip
def test_spots_are_uneven_where_one_is_clean_and_another_is_not(
    values: list[float], even: bool | None
) -> None:
    spots = [rating(value, "control %", plot=str(n)) for n, value in enumerate(values)]
    assert look(*spots).even is even
    # 1, 10 and 30 plants per m² worked, worked in part and failed, as 95, 60 and 40 % control did
    plants = {95.0: 1.0, 85.0: 1.5, 60.0: 10.0, 40.0: 30.0, 30.0: 40.0}
    assert look(*[count(plants[value]) for value in values]).even is even


def test_a_look_before_the_effect_shows_decides_nothing() -> None:
    """After a fortnight, or when the slowest of its actives shows."""
    early, due = SPRAYED.date() + dt.timedelta(13), SPRAYED.date() + dt.timedelta(14)
    for day, level, is_early in ((early, None, True), (due, "failed", False)):
        found = look(rating(20.0, "control %", day), rating(20.0, "control %", day, plot="b"))
        (one,) = found.looks
        assert (one.level, one.early, one.date) == (level, is_early, day)
        assert found.even is (None if is_early else True)
        assert found.first == due
    slow = [a for a in load_actives().values() if a.effect_weeks is not None]
    slowest = max(slow, key=lambda a: a.effect_weeks.ends[0])  # type: ignore[union-attr]
    weeks = slowest.effect_weeks.ends[0]  # type: ignore[union-attr]
    assert weeks > 2
    for members in ([slowest], [slow[0], slowest]):
        found = seen_after(
            done(), Lookbook([]), members=members, pre=False, until=dt.date(2026, 1, 1)
        )
        assert found.first == SPRAYED.date() + dt.timedelta(round(7 * weeks))
    pre = seen_after(done(), Lookbook([]), members=[slowest], pre=True, until=DAY)
    assert pre.first == SPRAYED.date() + dt.timedelta(42)  # of a pre-emergent weeds must come up


@pytest.mark.parametrize(("pre", "last"), [(False, 120), (True, 240)])
def test_what_is_seen_speaks_of_it_for_so_many_days(pre: bool, last: int) -> None:
    for days, known in ((0, False), (1, True), (last, True), (last + 1, False)):
        note = FieldNote(SPRAYED.date() + dt.timedelta(days), "x", where="field 1")
        assert bool(look(note, pre=pre).looks) == known
    for days, known in ((60, True), (61, False), (0, True)):
        old = count(40.0, SPRAYED.date() - dt.timedelta(days))
        (one,) = look(old, count(4.0)).looks
        assert ("before" in render(one.text)) == known
        assert "before" not in render(look(old, count(4.0), pre=True).looks[0].text)


def test_only_the_weed_it_was_aimed_at_counts() -> None:
    aimed = done(target="POAAN")
    found = look(count(1.0), count(30.0, weed="STEME"), of=aimed)
    assert [(one.level, render(one.text)) for one in found.looks] == [
        ("worked", f"1 per m² of annual bluegrass {ON}")
    ]
    assert look(rating(30.0, "count per m2"), of=aimed).looks[0].level == "failed"  # of no weed


def test_a_plot_speaks_of_the_treatment_it_had() -> None:
    plot = done(trial="T", treatment="a")
    mine = rating(30.0, "control %", trial="T", treatment="a", plot="1", where="")
    for of, entry, known in (
        (plot, mine, True),
        (plot, rating(30.0, "control %", trial="T", treatment="b", plot="2", where=""), False),
        (plot, rating(30.0, "control %", trial="U", treatment="a", plot="1", where=""), False),
        (done(), mine, False),
        (done(treatment="a"), rating(30.0, "control %", treatment="a"), True),
        (done(treatment="a"), rating(30.0, "control %", treatment="b"), False),
    ):  # fmt: skip
        assert bool(look(entry, of=of).looks) == known


def test_survivors_and_injury_are_kept_with_their_day() -> None:
    found = look(
        FieldNote(DAY, "x", survivors_mixed=True),
        FieldNote(DAY + dt.timedelta(7), "y", survivors_mixed=False),
        FieldNote(DAY + dt.timedelta(9), "z"),
        rating(15.0, "Injury %"), rating(20.0, "injury %", before=True),
    )  # fmt: skip
    assert (found.survivors_mixed, found.survivors_on) == (False, DAY + dt.timedelta(7))
    assert [render(harm) for harm in found.harm] == [f"15 % turf injury {ON}"]
    assert (look().survivors_mixed, look().survivors_on, look().deciding) == (None, None, None)


def test_the_last_look_that_decides_counts() -> None:
    found = look(
        rating(90.0, "control %", DAY), rating(20.0, "control %", DAY + dt.timedelta(14)),
        FieldNote(DAY + dt.timedelta(20), "x"),
    )  # fmt: skip
    assert found.deciding is found.looks[1]
    assert [one.level for one in found.looks] == ["worked", "failed", None]
