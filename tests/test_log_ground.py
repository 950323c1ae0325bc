"""The log by ground and by column: areas, what went before an application, names people write."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from trial_fixtures import trial_text

from windowcast.core.site import Site, site_from
from windowcast.materials.actives import load_actives
from windowcast.materials.rotation import Use
from windowcast.records.areas import areas_named, pieces
from windowcast.records.by_hand import LogTableOptions
from windowcast.records.hand_columns import fields_named
from windowcast.records.import_export import read_log_file
from windowcast.records.ledger import Ledger, is_pre, label_rates
from windowcast.records.looks import Lookbook
from windowcast.records.model import Application, CoverReading, Material, Rating, ScoutingCount
from windowcast.records.observations import Logged
from windowcast.records.trial_log import differing, trial_files, trial_log_path
from windowcast.trials.trial_file import load_trial

ACTIVES = load_actives()
DAY, ZONE = dt.date(2025, 2, 10), ZoneInfo("America/Chicago")


def place(*areas: dict[str, Any]) -> Site:
    plain = {"name": "A", "latitude": 33.0, "longitude": -84.0,
             "turf": {"species": "zoysiagrass", "overseeded": False}}  # fmt: skip
    return site_from({**plain, **({"area": list(areas)} if areas else {})})


GREENS = {"name": "greens", "size": "1 ha", "species": "hybrid bermudagrass"}
TEES, ROUGH = {"name": "tees", "size": "2 ha"}, {"name": "rough", "size": "3 ha"}


def done(day: dt.date = DAY, **more: Any) -> Application:
    return Application(
        dt.datetime.combine(day, dt.time(10), ZONE), (Material("glyphosate", 0.8),), **more
    )


def logged(**of: Any) -> Logged:
    return Logged(**{"readings": (), "counts": (), "covers": (), "applications": (), "notes": (),
                     **of})  # fmt: skip


# ---- areas ---------------------------------------------------------------------------------------


def test_areas_that_differ_in_nothing_are_one_piece_with_their_size_together() -> None:
    site = place(GREENS, TEES, ROUGH)
    assert [(p.areas, p.size_m2, p.site.turf.species) for p in pieces(site, None)] == [
        (("greens",), 1e4, "hybrid bermudagrass"), (("tees", "rough"), 5e4, "zoysiagrass"),
    ]  # fmt: skip
    (one,) = pieces(site, None, "TEES")
    assert (one.areas, one.size_m2, one.logged) == (("tees",), 2e4, None)
    unsized = {"name": "rough"}
    assert [p.size_m2 for p in pieces(place(TEES, unsized), None)] == [None]
    (whole,) = pieces(place(), None)
    assert (whole.areas, whole.size_m2, whole.logged) == ((), None, None)


def test_what_was_done_on_one_area_parts_it_from_its_like() -> None:
    log = logged(
        applications=(
            done(where="tees"),
            done(DAY - dt.timedelta(5), where="greens, rough"),
        )
    )
    found = pieces(place(GREENS, TEES, ROUGH), log)
    assert [p.areas for p in found] == [("greens",), ("tees",), ("rough",)]
    for piece in found:
        assert piece.logged is not None
        assert len(piece.logged.applications) == 1
    everywhere = logged(applications=(done(),))
    found = pieces(place(GREENS, TEES, ROUGH), everywhere)
    assert [p.areas for p in found] == [("greens",), ("tees", "rough")]
    (whole,) = pieces(place(), logged(applications=(done(where="A"),)))
    assert whole.logged is not None
    assert whole.logged.applications[0].where == ""  # the site's own name is all of it


def test_live_shoots_of_a_like_area_forbid_until_someone_looks() -> None:
    """On areas of the same species that are bare of winter grass."""
    shoots = CoverReading(DAY, 5.0, where="rough")
    for other, known in (
        (ROUGH, True), ({**ROUGH, "species": "hybrid bermudagrass"}, False),
        ({**ROUGH, "overseeded": True}, False), ({**ROUGH, "covered": True}, False),
    ):  # fmt: skip
        found = pieces(place(TEES, other), logged(covers=(shoots,)), "tees")
        (tees,) = found
        assert tees.logged is not None
        covers = tees.logged.covers
        kept = (CoverReading(DAY, None, live_shoots=True, where="rough"),)
        assert covers == (kept if known else ())
    bare = pieces(place(TEES, ROUGH), logged(covers=(replace(shoots, green_pct=0.0),)), "tees")[0]
    assert bare.logged is not None
    assert bare.logged.covers == ()


@pytest.mark.parametrize(
    ("where", "names"),
    [("greens", ["greens"]), (" Tees , GREENS", ["tees", "greens"]), ("tees; tees", ["tees"]),
     ("rough", ["rough"])],
)  # fmt: skip
def test_areas_are_found_however_they_are_written(where: str, names: list[str]) -> None:
    assert [area.name for area in areas_named(place(GREENS, TEES, ROUGH), where)] == names
    assert areas_named(place(), where) == ()


# ---- what went before and after ------------------------------------------------------------------


def test_counts_of_a_fortnight_about_an_application_on_its_ground() -> None:
    def count(days: int, where: str = "tees") -> ScoutingCount:
        return ScoutingCount(DAY + dt.timedelta(days), "POAAN", per_m2=1.0, where=where)

    near = [count(-14), count(0, ""), count(14)]
    rest = [count(-15), count(15), count(1, "greens"), Rating(DAY, 1.0, where="tees")]
    ledger = Ledger([], Lookbook([*near, *rest]), [], label_kg_ha={}, today=DAY)
    assert ledger.counts_near(done(where="tees")) == near


@pytest.mark.parametrize(
    ("where", "later", "ends"),
    [("", "tees", True), ("tees", "", True), ("tees", "greens", False), ("tees", "tees", True),
     ("tees, greens", "greens", True)],
)  # fmt: skip
def test_the_next_application_on_the_same_ground_ends_the_time_to_look(
    where: str, later: str, ends: bool
) -> None:
    first, then = done(where=where), done(DAY + dt.timedelta(30), where=later)
    ledger = Ledger([then, first], Lookbook([]), [], label_kg_ha={}, today=DAY)
    assert ledger._next(first, pre=False) == (then.date if ends else dt.date.max)
    assert ledger._next(then, pre=False) == dt.date.max


def test_the_second_half_of_a_split_does_not_end_it() -> None:
    first = done(purpose="pre-fall")
    later = [done(DAY + dt.timedelta(n), purpose=purpose)
             for n, purpose in ((20, "pre-fall"), (40, "dormant"))]  # fmt: skip
    ledger = Ledger([first, *later], Lookbook([]), [], label_kg_ha={}, today=DAY)
    assert ledger._next(first, pre=True) == later[1].date
    assert ledger._next(first, pre=False) == later[0].date
    unsaid = [replace(one, purpose="") for one in (first, *later)]
    ledger = Ledger(unsaid, Lookbook([]), [], label_kg_ha={}, today=DAY)
    assert ledger._next(unsaid[0], pre=True) == later[0].date


@pytest.mark.parametrize(
    ("history", "seasons"),
    [
        ([], 0), ([("2024/25", "pre-fall", 3, "")], 1), ([("2023/24", "pre-fall", 3, "")], 0),
        ([("2024/25", "pre-fall", 3, ""), ("2023/24", "pre-fall", 3, "tees")], 2),
        ([("2024/25", "pre-fall", 14, "")], 0), ([("2024/25", "dormant", 3, "")], 0),
        ([("2024/25", "pre-fall", 3, "greens")], 0),
        ([("2024/25", "pre-fall", 14, "tees"), ("2024/25", "pre-fall", 3, "tees")], 1),
    ],
)  # fmt: skip
def test_seasons_running_of_a_group_on_the_same_ground(
    history: list[tuple[str, str, int, str]], seasons: int
) -> None:
    uses = [Use(DAY, season, purpose, ("x",), (group,), where)
            for season, purpose, group, where in history]  # fmt: skip
    ledger = Ledger([], Lookbook([]), uses, label_kg_ha={}, today=DAY)
    here = Use(dt.date(2025, 9, 10), "2025/26", "pre-fall", ("x",), (3,), "tees")
    assert ledger.group_seasons(here) == seasons
    assert ledger.group_seasons(replace(here, groups=())) == 0
    everywhere = sum(season == "2024/25" and (purpose, group) == ("pre-fall", 3)
                     for season, purpose, group, _ in history)  # fmt: skip
    assert min(1, ledger.group_seasons(replace(here, where=""))) == min(1, everywhere)


def test_before_or_after_the_weeds_by_the_purpose_else_by_all_actives() -> None:
    pre, post, both = (ACTIVES[name] for name in ("prodiamine", "glyphosate", "indaziflam"))
    for purpose, early in (("pre-fall", True), ("pre-spring", True), ("post-early", False),
                           ("dormant", False)):  # fmt: skip
        assert is_pre(done(purpose=purpose), [post]) is early
    assert is_pre(done(), [pre])
    assert not is_pre(done(), [pre, post])
    assert not is_pre(done(), [])
    assert is_pre(done(), [both]) == (both.timing.value == "pre")


def test_label_rates_are_the_lowest_of_each_active(tmp_path: Path) -> None:
    file = tmp_path / "materials.toml"
    jug = '[[products]]\nname = "{}"\nactive = "glyphosate"\nconcentration = "500 g/L"\n'
    file.write_text(
        "".join(jug.format(name) + f'rate = "{rate}"\n' for name, rate in
                (("a", "4 L/ha"), ("b", "2 L/ha"), ("c", "3 L/ha")))
        + '[[products]]\nname = "soap"\nshare = "1 %"\n'
    )  # fmt: skip
    assert label_rates(file, ACTIVES) == {"glyphosate": pytest.approx(1.0)}
    assert label_rates(None, ACTIVES) == {}
    file.write_text("products = 1")
    assert label_rates(file, ACTIVES) == {}  # its fault is named where products are needed


# ---- names of columns ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "kind", "name", "unit"),
    [
        ("area_m2", "application", "area_m2", ""),
        ("Area (acre)", "application", "area_m2", "acre"),
        ("area acre", "application", "area_m2", "acre"), ("GPA", "application", None, ""),
        ("Spray volume (gal/acre)", "application", "carrier_l_ha", "gal/acre"),
        ("Wind speed (mph)", "application", "wind_m_s", "mph"),
        ("wind acre", "application", None, ""),
        ("Applied by", "application", "operator", ""),
        ("Location", "rating", "location", ""), ("Location", "note", "where", ""),
        ("Hole", "note", "where", ""), ("soil temp (F)", "probe", "temp_c", "f"),
        ("Humidity", "application", "rh_pct", ""), ("plants per ft2", "count", "per_m2", "per ft2"),
        ("date", "application", "date", ""), ("time", "application", "time", ""),
        ("Start (local)", "application", "start", "local"), ("colour", "note", None, ""),
        ("Tank mix (kg/ha)", "application", "materials", "kg/ha"),
        ("Tank mix (L/ha)", "application", None, ""), ("Notes (acre)", "note", None, ""),
    ],
)  # fmt: skip
def test_a_column_by_the_names_people_give_it(
    header: str, kind: str, name: str | None, unit: str
) -> None:
    fields, said = fields_named(header)
    found = fields[kind].name if kind in fields else None
    assert (found, said.lower()) == (name, unit)


CELLS = {
    "kind,date,depth (in),temp (F),notes\nprobe,2025-12-03,2,50,-999\n":
        {"depth_m": 0.0508, "temp_c": 10.0, "notes": "-999"},
    "kind,date,depth,temp\nprobe,2025-12-03,2 in,10 C\n": {"depth_m": 0.0508, "temp_c": 10.0},
    "kind,date,depth_m,temp_c,time\nprobe,2025-12-03,0.05,10,7:05 pm\n":
        {"depth_m": 0.05, "temp_c": 10.0, "time": "19:05:00"},
    "kind,date,weed,count (per ft2),cover,stage\ncount,2025-12-03,poaan ,,8 %,12\n":
        {"weed": "POAAN", "cover_pct": 8.0, "stage_bbch": 12},
    "kind,date,text,survivors_mixed\nField note,2025-12-03,-999,true\n":
        {"text": "-999", "survivors_mixed": True},
    "kind,date,weed,per_m2,cover\ncount,2025-12-03,POAAN,4,-999\n":
        {"weed": "POAAN", "per_m2": 4.0},
    "kind,date,weed,per_m2,cover\ncount,2025-12-03,POAAN,4,n/a\n":
        {"weed": "POAAN", "per_m2": 4.0},
}  # fmt: skip


@pytest.mark.parametrize(("text", "values"), CELLS.items())
def test_cells_as_people_write_them(text: str, values: dict[str, Any], tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text(text)
    (revision,) = read_log_file(file, asked=LogTableOptions(ZONE)).revisions
    assert revision.body is not None
    assert revision.body.pop("date") == "2025-12-03"
    assert revision.body == {
        name: pytest.approx(value) if isinstance(value, float) else value
        for name, value in values.items()
    }


def test_an_application_with_its_date_and_times_in_columns_of_their_own(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    head = "kind,date,time,end,materials,wind (mph)\n"
    for row, start, end, wind in (
        ("application,2025-12-03,10:15,11:00,glyphosate 0.5 kg/ha,0\n", "10:15", "11:00", 0.0),
        ("application,12/25/2025,8 am,,glyphosate 0.5 kg/ha,5\n", "08:00", None, 2.2352),
    ):
        file.write_text(head + row)
        (revision,) = read_log_file(file, asked=LogTableOptions(ZONE)).revisions
        entry = revision.entry
        assert isinstance(entry, Application)
        assert (f"{entry.start:%H:%M}", entry.start.utcoffset()) == (start, dt.timedelta(hours=-6))
        assert (entry.end and f"{entry.end:%H:%M}") == end
        assert entry.wind_m_s == pytest.approx(wind)
        assert entry.materials == (Material("glyphosate", pytest.approx(0.5)),)  # type: ignore[arg-type]


# ---- trials beside a log -------------------------------------------------------------------------


def test_ratings_differ_where_a_field_does_and_not_in_the_last_digits() -> None:
    old = Rating(DAY, 5.0, "control %", weed="POAAN", trial="T", plot="1", treatment="a")
    assert differing(old, replace(old, value=5.0 + 1e-12)) == ()
    assert differing(old, replace(old, value=5.1)) == ("value",)
    assert differing(old, replace(old, value=5.1, notes="x")) == ("value", "notes")
    assert differing(replace(old, notes="x"), old) == ("notes",)


def test_a_trials_log_is_beside_its_file_and_found_by_it(tmp_path: Path) -> None:
    file = tmp_path / "timing.toml"
    file.write_text(trial_text("glyphosate", North="2025-11-01"))
    (tmp_path / "site.toml").write_text("name = 'A'\n")
    log = tmp_path / "timing.log.sqlite"
    assert trial_log_path(load_trial(file), file) == log
    assert trial_files(log) == {"Timing": file}
    assert trial_files(tmp_path / "other.sqlite") == {}
    away = tmp_path / "away" / "timing.toml"
    away.parent.mkdir()
    away.write_text(
        trial_text("glyphosate", more='log_file = "../kept.sqlite"', North="2025-11-01")
    )
    assert trial_files(tmp_path / "kept.sqlite", [away]) == {"Timing": away}
