"""Seasons laid out and compared: within limits, repeatable, silent where nothing is known."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from log_fixtures import spoiled
from spoken import METRIC
from test_jobs import site

import windowcast
from windowcast.cli import cli
from windowcast.core.errors import InputError
from windowcast.core.season_calendar import season_name
from windowcast.core.values import PACKAGED
from windowcast.limits.answer import ground_limits
from windowcast.limits.ground import ground_of
from windowcast.materials.actives import Actives, load_actives
from windowcast.materials.efficacy import Control
from windowcast.materials.needs import needs_of
from windowcast.materials.resistance import Resistances, ResistanceStatus
from windowcast.programme.seasons_ahead import ProgrammeAhead, SeasonsAhead, seasons_ahead
from windowcast.programme.tanks_ahead import GroundAhead, jobs_ahead
from windowcast.records.model import FieldNote
from windowcast.records.resistance import group_of
from windowcast.records.store import SeasonLog
from windowcast.report.seasons_ahead import ahead_svg, ahead_text, said
from windowcast.season.observed import Applied
from windowcast.windows.model import PURPOSES

TODAY = dt.date(2026, 8, 1)
ACTIVES = load_actives()
GROUPS = {active.name: group_of(active) for active in ACTIVES.values()}
KNOWN = {"prodiamine": 0.9, "indaziflam": 0.92, "glyphosate": 0.9, "glufosinate": 0.88,
         "foramsulfuron": 0.9, "simazine": 0.85}  # fmt: skip


def expected(weed: str, names: list[str], **about: Any) -> Control | None:
    """A stand-in for what trials say."""
    middle = KNOWN.get(names[0])
    return None if middle is None else Control(middle, middle - 0.1, middle + 0.05, 3, ("x",))


def ahead(
    *applied: Applied,
    stock: tuple[str, ...] = tuple(KNOWN),
    materials: Actives = ACTIVES,
    known: Resistances | None = None,
    labels: Mapping[str, float] | None = None,
    turf: Mapping[str, Any] | None = None,
    **about: Any,
) -> SeasonsAhead:
    where = windowcast.load_site({**site(**dict(turf or {})), "stock": list(stock)})
    ground = GroundAhead(
        where, materials, known or Resistances((), GROUPS), labels or {}, PACKAGED, expected
    )
    return seasons_ahead(ground, applied, TODAY, **({"draws": 60} | about))


def named(found: SeasonsAhead, name: str) -> ProgrammeAhead:
    return next(one for one in found.programmes if one.name == name)


def with_maximum(**kg_ha: float) -> Actives:
    changed = dict(ACTIVES)
    some = next(iter(ACTIVES.values())).group
    for name, most in kg_ha.items():
        changed[name] = replace(ACTIVES[name], max_year_kg_ha=replace(some, value=most))
    return Actives(changed)


BEFORE = (
    Applied(dt.date(2025, 9, 15), "pre-fall", (("prodiamine", 0.8),)),
    Applied(dt.date(2026, 1, 15), "dormant", (("glyphosate", 0.5),)),
)


def test_the_seasons_asked_for_are_laid_out_in_order() -> None:
    for seasons in (2, 3, 4):
        found = ahead(seasons=seasons)
        assert len(found.seasons) == seasons
        assert found.seasons[0] == "2026/27"
        jobs = found.programmes[0].jobs
        assert [job.about for job in jobs] == sorted(job.about for job in jobs)
        assert all(job.about > TODAY for job in jobs)


def test_what_was_done_is_repeated_and_left_out_where_nothing_was_logged() -> None:
    now = named(ahead(*BEFORE), "as now")
    done = {job.purpose: job.actives for job in now.jobs}
    assert (done["pre-fall"], done["dormant"]) == (("prodiamine",), ("glyphosate",))
    assert done["post-early"] == ()
    assert "as now" not in {one.name for one in ahead().programmes}


def test_rotation_does_not_repeat_the_group_of_last_season_where_another_works() -> None:
    jobs = [job for job in named(ahead(), "rotate").jobs if job.purpose == "dormant"]
    assert all(not set(a.groups) & set(b.groups) for a, b in pairwise(jobs))


def test_mixtures_have_two_modes_of_action() -> None:
    for name in ("mix", "rotate mixtures"):
        filled = [job for job in named(ahead(), name).jobs if len(job.actives) > 1]
        assert filled
        assert all(len(job.groups) == len(job.actives) for job in filled)


def test_nothing_is_planned_that_the_turf_does_not_surely_take() -> None:
    found = ahead(*BEFORE, stock=())
    where = windowcast.load_site(site())
    for programme in found.programmes:
        for job in programme.jobs:
            least = PACKAGED["seed_bank"].table(f"job.{job.purpose}")["turf"]
            for name in job.actives:
                active = ACTIVES[name]
                assert active.taken_by(str(where.turf.species), least) == "yes", (job, name)
                needs = needs_of([active], str(where.turf.species))
                assert not ground_limits(needs, ground_of(where), job.about), (job, name)


@pytest.mark.parametrize("grass", ["centipedegrass", "st. augustinegrass", "zoysiagrass"])
def test_what_a_grass_is_only_remembered_to_take_is_not_planned(grass: str) -> None:
    remembered = {name for name in KNOWN if ACTIVES[name].taken_by(grass, "dormant") != "yes"}
    assert "indaziflam" in remembered
    found = ahead(*BEFORE, turf={"species": grass, "use": "lawn"})
    assert not remembered & {n for p in found.programmes for job in p.jobs for n in job.actives}


def test_only_what_controls_the_weed_and_acts_at_the_time_is_planned() -> None:
    # 2,4-D does nothing to grasses, flurprimidol kills nothing, glyphosate stops no seedling
    found = ahead(stock=("2,4-D", "flurprimidol", "glyphosate"))
    out = {(job.purpose, n) for p in found.programmes for job in p.jobs for n in job.actives}
    assert out == {("dormant", "glyphosate")}


@pytest.mark.parametrize("day", ["2027-01-15", "2027-03-01", "2027-02-28", "2028-02-29"])
@pytest.mark.parametrize("southern", [False, True])
def test_each_job_comes_once_a_year_across_leap_days(day: str, southern: bool) -> None:
    today = dt.date.fromisoformat(day)
    jobs = jobs_ahead(
        PURPOSES, {"fall": "POAAN", "spring": "DIGIS"}, today, 4, southern=southern,
        season_of=lambda date: season_name(date, southern), tables=PACKAGED,
    )  # fmt: skip
    for purpose in PURPOSES:
        dates = [job.date for job in jobs if job.purpose.name == purpose]
        years = [date.year for date in dates]
        assert years == list(range(years[0], years[0] + len(years)))
        assert len(dates) >= 3
        assert today <= dates[0]


def test_ground_of_which_nothing_is_said_gets_no_pre_emergent() -> None:
    found = ahead(turf={"mature": None, "overseeded": None})
    assert all(job.actives == () for p in found.programmes for job in p.jobs
               if job.purpose in ("pre-fall", "pre-spring"))  # fmt: skip


@pytest.mark.parametrize("most", [0.5, 0.8, 1.5, 1.7])
def test_no_year_goes_beyond_the_maximum_of_the_label(most: float) -> None:
    rate = 0.8
    found = ahead(
        *BEFORE, materials=with_maximum(prodiamine=most), labels={"prodiamine": rate}, seasons=4
    )
    for programme in found.programmes:
        days = [BEFORE[0].date]
        days += [job.about for job in programme.jobs if "prodiamine" in job.actives]
        for last in days[1:]:
            within = [d for d in days if last - dt.timedelta(days=364) <= d <= last]
            assert rate * len(within) <= most, programme.name


def test_a_maximum_without_a_rate_keeps_the_active_out() -> None:
    found = ahead(materials=with_maximum(prodiamine=5.0))
    assert all("prodiamine" not in job.actives for p in found.programmes for job in p.jobs)


def test_what_was_tested_resistant_is_not_planned() -> None:
    bad = ResistanceStatus("POAAN", 9, "resistant", "tested", "glyphosate")
    found = ahead(*BEFORE, known=Resistances((bad,), GROUPS))
    assert all("glyphosate" not in job.actives for p in found.programmes for job in p.jobs)


def test_without_a_figure_for_a_tank_nothing_is_told_of_its_programme() -> None:
    odd = Applied(dt.date(2026, 1, 15), "dormant", (("rimsulfuron", 0.03),))
    found = ahead(odd, purposes=["dormant"])
    (course,) = (c for c in named(found, "as now").weeds if c.weed == "POAAN")
    assert not course.known
    assert (course.control, course.bank, course.resistant) == ((), (), None)
    assert "Cannot tell" in ahead_text(found, METRIC, 100)
    told = named(found, "mix")
    assert next(c for c in told.weeds if c.weed == "POAAN").known


def test_the_same_seed_gives_the_same_plan_and_figures() -> None:
    assert ahead(*BEFORE) == ahead(*BEFORE)
    assert ahead(*BEFORE, seed=2).programmes != ahead(*BEFORE).programmes


def test_one_programme_is_proposed_and_its_risk_is_the_least() -> None:
    found = ahead(*BEFORE, purposes=["pre-fall", "dormant"])
    (best,) = (one for one in found.programmes if one.proposed)

    def risk(programme: ProgrammeAhead) -> float:
        return max((sum(c.risk) for c in programme.weeds if c.known), default=99.0)

    assert risk(best) == min(map(risk, found.programmes))


def test_text_and_picture_name_every_programme() -> None:
    found = ahead(*BEFORE, purposes=["pre-fall", "dormant"])
    said, drawn = ahead_text(found, METRIC, 100), ahead_svg(found, METRIC)
    for name in ("As you do now", "Change the group every time", "The strongest mixture"):
        assert name in said
        assert name in drawn
    assert drawn.count("<polyline") >= len(found.programmes)


def test_programmes_that_come_out_the_same_are_shown_once() -> None:
    found = ahead(purposes=["pre-fall"], materials=ACTIVES, stock=["prodiamine"])
    assert len({one.jobs for one in found.programmes}) == 1 < len(found.programmes)
    said = ahead_text(found, METRIC, 100)
    assert said.count("Every programme comes out the same") == 1
    assert said.count("Fall pre-emergent about") == len(found.seasons)
    assert "the best of those compared" not in said


def test_a_job_that_was_never_logged_is_not_said_to_find_nothing() -> None:
    found = ahead(*BEFORE)
    logged = {one.purpose for one in BEFORE}
    for job in named(found, "as now").jobs:
        assert job.unlogged is (job.purpose not in logged)
    others = [job for one in found.programmes if one.name != "as now" for job in one.jobs]
    assert not any(job.unlogged for job in others)
    now, *_ = said(found, METRIC)
    lines = [line for _, jobs in now.seasons for line in jobs]
    assert (
        sum("nothing in your log" in line for line in lines)
        == sum(job.unlogged and not job.actives for job in named(found, "as now").jobs)
        > 0
    )


def test_programmes_of_the_same_tanks_share_their_lines() -> None:
    found = ahead(*BEFORE, purposes=["pre-fall", "dormant"])
    first, *others = found.programmes
    jobs = others[0].jobs
    alike = replace(found, programmes=(first, *(replace(one, jobs=jobs) for one in others)))
    now, rest = said(alike, METRIC)
    assert now.head.startswith("As you do now")
    assert rest.head.startswith("Change the group every time; The strongest mixture")
    assert (now.proposed, rest.proposed) == (first.proposed, not first.proposed)
    assert len(said(found, METRIC)) == len({one.jobs for one in found.programmes}) > 2


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_a_date_beyond_all_calendars_is_refused_in_one_line(tmp_path: Path, day: str) -> None:
    file = tmp_path / "park.toml"
    file.write_text('name = "Park"\nlatitude = 33.5\nlongitude = -86.8\n')
    result = CliRunner().invoke(cli, ["plan", str(file), "--date", day])
    assert isinstance(result.exception, InputError)
    assert result.exception.field == "--date"


def test_the_command_prints_json_and_writes_the_picture(tmp_path: Path) -> None:
    file = tmp_path / "park.toml"
    file.write_text(
        'name = "Park"\nlatitude = 33.5\nlongitude = -86.8\nstock = ["glyphosate", "simazine"]\n'
        '[turf]\nspecies = "hybrid bermudagrass"\nmature = true\noverseeded = false\n'
    )
    out = tmp_path / "plan.svg"
    words = ["plan", str(file), "--date", "2026-08-01", "--seasons", "2", "--picture", str(out)]
    result = CliRunner().invoke(cli, [*words, "--purpose", "dormant", "--format", "json"])
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert document["seasons"] == ["2026/27", "2027/28"]
    assert out.read_text("utf-8").startswith("<svg")


def test_an_entry_that_cannot_be_read_is_named_and_not_passed_over(tmp_path: Path) -> None:
    """It might be a test that found resistance: the plan says that it goes without it."""
    file, log_file = tmp_path / "park.toml", tmp_path / "park.log.sqlite"
    file.write_text(
        'name = "Park"\nlatitude = 33.5\nlongitude = -86.8\nstock = ["glyphosate"]\n'
        '[turf]\nspecies = "hybrid bermudagrass"\nmature = true\n'
        "overseeded = false\n"
    )
    with SeasonLog(log_file) as log:
        spoiled(log, FieldNote(dt.date(2026, 1, 5), "rust"), "resistance", {"date": "warm"})
    words = ["plan", str(file), "--date", "2026-08-01", "--seasons", "2", "--purpose", "dormant"]
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 0, result.output
    assert "resistance" in result.stderr
    assert "is left out" in result.stderr or "Left out" in result.stderr


def test_every_weed_watched_is_told_of_and_one_without_trials_silences_no_other() -> None:
    watched = ("POAAN", "LAMAM", "DIGIS")

    def on_grass(weed: str, names: list[str], **about: Any) -> Control | None:
        return None if weed == "LAMAM" else expected(weed, names, **about)

    where = windowcast.load_site({**site(), "stock": list(KNOWN), "weeds": list(watched)})
    ground = GroundAhead(where, ACTIVES, Resistances((), GROUPS), {}, PACKAGED, on_grass)
    found = seasons_ahead(ground, (), TODAY, draws=60)
    for programme in found.programmes:
        assert {c.weed: c.known for c in programme.weeds} == {
            "POAAN": True, "LAMAM": False, "DIGIS": True,
        }  # fmt: skip
    assert sum(programme.proposed for programme in found.programmes) == 1
    assert "first weed of its season" in ahead_text(found, METRIC, 200)


def test_a_second_weed_has_the_figures_of_its_own_trials() -> None:
    def by_weed(weed: str, names: list[str], **about: Any) -> Control | None:
        return Control(0.2, 0.1, 0.3, 3, ("x",)) if weed == "LAMAM" else expected(weed, names)

    where = windowcast.load_site({**site(), "stock": list(KNOWN), "weeds": ["POAAN", "LAMAM"]})
    ground = GroundAhead(where, ACTIVES, Resistances((), GROUPS), {}, PACKAGED, by_weed)
    for programme in seasons_ahead(ground, (), TODAY, draws=60).programmes:
        first, second = programme.weeds
        assert second.control[0].middle < first.control[0].middle
        assert second.bank[-1].middle > first.bank[-1].middle
