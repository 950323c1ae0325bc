"""Resistance on a piece of ground: tested, stated or suspected, and what answers make of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from spoken import METRIC
from test_jobs import applied, site

import windowcast
from windowcast.cli import cli
from windowcast.core.errors import InputError
from windowcast.core.turf import KnownResistance
from windowcast.materials.actives import load_actives
from windowcast.materials.resistance import (
    Resistances,
    ResistanceStatus,
    class_of,
    next_steps,
    sample_size,
    settled,
    status_text,
    surveyed,
)
from windowcast.programme.answer import Answer
from windowcast.records.areas import pieces
from windowcast.records.entry_checks import from_plain
from windowcast.records.model import FieldNote, Material, ResistanceTest
from windowcast.records.observations import Logged
from windowcast.records.resistance import classed, group_of, resistance_of
from windowcast.records.store import SeasonLog
from windowcast.report.season import plan_text

ACTIVES = load_actives()
GROUPS = {active.name: group_of(active) for active in ACTIVES.values()}
GLYPHOSATE = Material("glyphosate", 0.56)
LABEL = {"glyphosate": 0.56}
TEST = ResistanceTest(
    dt.date(2017, 9, 1), "POAAN", active="glyphosate", survivors_pct=40.0, plants=60, timing="post"
)


def known(**about: Any) -> Resistances:
    status = ResistanceStatus(
        **{"weed": "POAAN", "standing": "resistant", "basis": "tested"} | about
    )
    return Resistances((status,), GROUPS)


def standing(found: Resistances, active: str, timing: Any = "post", weed: str = "POAAN") -> Any:
    failing = found.against([active], {weed}, timing)
    return failing and failing.standing


# --- tests ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("survivors", "plants", "method", "expected"),
    [
        (0.31, 60, "", "resistant"),  # Brosnan et al. 2020: above 30 %
        (0.30, 60, "", "segregating"),  # 5 to 30 %
        (0.05, 60, "whole plants", "segregating"),
        (0.04, 60, "", "susceptible"),  # below 5 %
        (0.0, 58, "", "unknown"),  # too few to rule out 5 %
        (0.0, 59, "", "susceptible"),
        (0.0, None, "", "unknown"),
        (0.9, 3, "", "resistant"),  # survivors are survivors
        (0.81, 60, "water culture", "resistant"),  # fewer than 20 % with club roots
        (0.80, 60, "water culture", "segregating"),
        (0.09, 60, "water culture", "susceptible"),  # more than 90 %
    ],
)
def test_a_test_has_the_published_class(
    survivors: float, plants: int | None, method: str, expected: str
) -> None:
    assert class_of(survivors, plants, method) == expected


def test_the_size_of_a_sample_without_survivors() -> None:
    assert [sample_size(share) for share in (0.01, 0.05, 0.10, 0.30)] == [299, 59, 29, 9]


def test_a_test_that_names_an_active_nobody_knows_counts_by_its_group() -> None:
    odd = replace(TEST, active="mystery")
    assert classed([odd], ACTIVES) == []
    (status,) = classed([replace(odd, group=9)], ACTIVES)
    assert (status.group, status.active) == (9, "")


def test_only_a_later_test_of_susceptible_plants_ends_a_suspicion() -> None:
    suspected = ResistanceStatus(
        "POAAN", 9, "suspected", "log", "glyphosate", date=dt.date(2017, 3, 1), times=2
    )
    clear = ResistanceStatus(
        "POAAN", 9, "susceptible", "tested", "glyphosate", date=dt.date(2017, 9, 1)
    )
    assert settled([suspected, clear]) == (clear,)
    early = replace(clear, date=dt.date(2017, 1, 1))
    assert settled([early, suspected]) == (suspected, early)
    other = replace(clear, active="glufosinate", group=10)
    assert settled([suspected, other]) == (suspected, other)
    bad = replace(clear, standing="resistant", date=dt.date(2016, 1, 1))
    assert settled([clear, bad]) == (bad, clear)


# --- a group is not enough --------------------------------------------------------------------


def test_nothing_known_is_no_word_and_another_weed_or_group_is_not_meant() -> None:
    found = known(group=9, active="glyphosate")
    assert standing(Resistances((), GROUPS), "glyphosate") is None
    assert standing(found, "glyphosate") == "resistant"
    assert standing(found, "glyphosate", weed="DIGIS") is None
    assert standing(found, "diquat") is None


def test_simazine_that_fails_takes_amicarbazone_with_it_and_casts_doubt_on_metribuzin() -> None:
    found = known(group=5, active="simazine")
    assert standing(found, "amicarbazone") == "resistant"
    assert standing(found, "metribuzin") == "suspected"


def test_indaziflam_that_fails_on_plants_still_works_before_they_emerge() -> None:
    found = known(group=29, active="indaziflam", timing="post")
    assert standing(found, "indaziflam", "post") == "resistant"
    assert standing(found, "indaziflam", "pre") is None
    before = known(group=29, active="indaziflam", timing="pre")
    assert standing(before, "indaziflam", "pre") == "resistant"


def test_a_change_of_the_dna_takes_some_of_a_group_and_leaves_doubt_of_others() -> None:
    found = known(weed="ELEIN", group=3, mutation="Leu-136-Phe")
    assert standing(found, "pendimethalin", "pre", "ELEIN") == "resistant"
    assert standing(found, "prodiamine", "pre", "ELEIN") == "suspected"
    whole = known(weed="ELEIN", group=3)
    assert standing(whole, "prodiamine", "pre", "ELEIN") == "resistant"


def test_the_rest_of_a_group_is_never_taken_for_sound() -> None:
    for active in ACTIVES.values():
        found = known(group=group_of(active), active=active.name)
        for other in ACTIVES.values():
            # modes of action that nobody knows (0) are no common group
            if group_of(other) == group_of(active) and (group_of(active) or other is active):
                assert standing(found, other.name) in ("resistant", "suspected"), other.name


# --- what the log shows -----------------------------------------------------------------------


def log_of(*entries: Any) -> Logged:
    def kind(of: type) -> tuple[Any, ...]:
        return tuple(e for e in entries if isinstance(e, of))

    from windowcast.records.model import Application, CoverReading, Rating, ScoutingCount

    return Logged(
        (), kind(ScoutingCount), kind(CoverReading), kind(Application), kind(FieldNote),
        kind(Rating), kind(ResistanceTest),
    )  # fmt: skip


def note(day: str, *, mixed: bool = True, weed: str = "POAAN") -> FieldNote:
    return FieldNote(dt.date.fromisoformat(day), "seen", weed=weed, survivors_mixed=mixed)


TWICE = (
    applied("2016-01-12", GLYPHOSATE, purpose="dormant"), note("2016-02-20"),
    applied("2017-01-12", GLYPHOSATE, purpose="dormant"), note("2017-02-20"),
)  # fmt: skip


def suspected(*entries: Any, daily: Any = None, label: Any = LABEL) -> tuple[Any, ...]:
    found = resistance_of(
        windowcast.load_site(site()), log_of(*entries), ACTIVES, today=dt.date(2017, 6, 1),
        daily=daily, label_kg_ha=label,
    )  # fmt: skip
    return found.statuses


def test_survivors_twice_in_a_row_raise_a_suspicion_of_weed_and_group() -> None:
    (status,) = suspected(*TWICE)
    assert (status.weed, status.group, status.standing, status.times) == (
        "POAAN", 9, "suspected", 2,
    )  # fmt: skip
    assert status.active == "glyphosate"
    assert suspected(*TWICE[:2]) == ()


def test_a_time_that_worked_between_ends_the_run_and_one_nobody_looked_at_does_not() -> None:
    third = (applied("2017-03-20", GLYPHOSATE), note("2017-04-20"))
    worked = (TWICE[2], replace(TWICE[3], survivors_mixed=False))
    assert suspected(*TWICE[:2], *worked, *third) == ()
    (status,) = suspected(*TWICE[:2], TWICE[2], *third)
    assert status.times == 2


def test_a_low_rate_rain_or_cold_explains_survivors() -> None:
    low = applied("2017-01-12", Material("glyphosate", 0.3), purpose="dormant")
    assert suspected(*TWICE[:2], low, TWICE[3]) == ()
    cold = applied("2017-01-12", GLYPHOSATE, purpose="dormant", temp_c=-2.0)
    assert suspected(*TWICE[:2], cold, TWICE[3]) == ()


def test_rain_of_the_day_explains_survivors_and_dry_days_do_not(tmp_path: Path) -> None:
    from windowcast.weather.sample import sample_weather

    daily = sample_weather().daily
    rain = daily.get("precip_mm")
    days = daily.times.astype("datetime64[D]")
    warm = (daily.get("tmax_c") > 18) & (daily.get("tmin_c") > 8)
    ok = [n for n in range(60, len(days) - 60) if warm[n - 1 : n + 8].all()]
    wet = [n for n in ok if rain[n] > 5]
    dry = [n for n in ok if rain[n] == 0 and rain[n + 1] == 0]

    def entries(n: int) -> list[Any]:
        day = days[n].astype(object)
        return [applied(str(day), GLYPHOSATE), note(str(day + dt.timedelta(40)))]

    def found(one: int, other: int) -> Any:
        return resistance_of(
            windowcast.load_site(site()), log_of(*entries(one), *entries(other)), ACTIVES,
            today=dt.date(2020, 1, 1), daily=daily, label_kg_ha=LABEL,
        ).statuses  # fmt: skip

    far = next(n for n in dry if n > dry[0] + 90)
    soaked = next(n for n in wet if n > dry[0] + 90)
    assert [s.standing for s in found(dry[0], far)] == ["suspected"]
    assert found(dry[0], soaked) == ()


def test_a_pre_emergent_is_not_suspected_by_its_survivors() -> None:
    entries = [
        entry
        for year in (2015, 2016)
        for entry in (applied(f"{year}-09-12", purpose="pre-fall"), note(f"{year}-12-01"))
    ]
    assert suspected(*entries) == ()


# --- answers ----------------------------------------------------------------------------------


STOCK = ["glyphosate", "foramsulfuron", "glufosinate"]
SOME = replace(TEST, active="foramsulfuron", survivors_pct=20.0)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Answer:
    """The sample's answer where glyphosate fails and some plants survive foramsulfuron."""
    file = tmp_path_factory.mktemp("resistance") / "log.sqlite"
    with SeasonLog(file) as log:
        log.add(TEST, SOME)
    (only,) = windowcast.answers(
        {**site(), "stock": STOCK}, windowcast.sample_weather(), log=file, futures=4, days=3,
        purposes=["dormant"],
    )  # fmt: skip
    return only


def test_what_a_test_found_resistant_is_not_offered_and_what_may_be_comes_last(
    found: Answer,
) -> None:
    (outlook,) = found.ranking.purposes
    first, last = outlook.choices
    assert (first.actives, last.actives) == (("glufosinate",), ("foramsulfuron",))
    assert (first.resistance, last.resistance) == (None, "segregating")
    assert "survive foramsulfuron" in METRIC.text(last.speaks_against[0])
    fits = {fit.active: fit for fit in outlook.stock}
    assert fits["glyphosate"].verdict == "unfit"
    assert "resistant to glyphosate" in METRIC.text(fits["glyphosate"].reason)
    assert fits["foramsulfuron"].verdict == "marginal"
    cautions = " ".join(map(METRIC.text, found.ranking.cautions))
    assert "Annual bluegrass is resistant to glyphosate (group 9)" in cautions


def test_season_shows_it_with_what_to_do(found: Answer) -> None:
    said = plan_text(windowcast.api.plan_of(found), METRIC, 100)
    assert "Resistance" in said
    assert "use another mode of action group" in " ".join(said.split())


@pytest.mark.slow
def test_an_active_that_fails_there_has_no_window_when_it_is_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "log.sqlite"
    with SeasonLog(file) as log:
        log.add(TEST)
    (one,) = windowcast.answers(
        site(), windowcast.sample_weather(), log=file, futures=4, days=3, purposes=["dormant"],
        actives="glyphosate",
    )  # fmt: skip
    (outlook,) = one.ranking.purposes
    assert not outlook.windows
    assert METRIC.text(outlook.advice).startswith("Do not rely on it here")


def test_the_site_file_states_it_for_one_area_only() -> None:
    where = windowcast.load_site(
        {
            **site(),
            "area": [{"name": "greens"}, {"name": "fields"}],
            "resistance": [{"weed": "POAAN", "active": "glyphosate", "area": "greens"}],
        }
    )
    by_area = {
        piece.areas: resistance_of(piece.site, None, ACTIVES, today=dt.date(2018, 1, 1))
        for piece in pieces(where, None)
    }
    assert standing(by_area["greens",], "glyphosate") == "resistant"
    assert standing(by_area["fields",], "glyphosate") is None


@pytest.mark.parametrize(
    ("entry", "named"),
    [
        ({"weed": "POAAN"}, "group nor active"),
        ({"weed": "POAAN", "group": 9, "standing": "susceptible"}, "standing"),
        ({"weed": "POAAN", "group": 9, "area": "moon"}, "moon"),
        ({"weed": "moonwort", "group": 9}, "weed"),
        ({"weed": "POAAN", "group": 99}, "group"),
    ],
)
def test_what_a_site_file_cannot_state_is_refused(entry: dict[str, Any], named: str) -> None:
    with pytest.raises(InputError, match=named):
        windowcast.load_site({**site(), "resistance": [entry]})


def test_an_unknown_active_of_the_site_file_is_named() -> None:
    where = windowcast.load_site(
        {**site(), "resistance": [{"weed": "POAAN", "active": "glyphosat"}]}
    )
    assert where.resistance == (KnownResistance(weed="POAAN", active="glyphosat"),)
    with pytest.raises(InputError, match=r"resistance.active.*glyphosat"):
        resistance_of(where, None, ACTIVES, today=dt.date(2018, 1, 1))


# --- what is said -----------------------------------------------------------------------------


def test_a_status_says_what_to_do_next() -> None:
    (status,) = classed([TEST], ACTIVES)
    assert METRIC.text(status_text(status)).startswith(
        "Annual bluegrass is resistant to glyphosate (group 9) on this ground"
    )
    assert "40 % of 60 plants survived" in METRIC.text(status_text(status))
    few = replace(TEST, survivors_pct=0.0, plants=20)
    (unknown,) = classed([few], ACTIVES)
    assert "Test 59 plants or more" in METRIC.text(status_text(unknown))
    said = " ".join(METRIC.text(step) for step in next_steps([unknown]))
    assert "sample 59 plants" in said
    assert "another mode of action group" not in said


def test_surveys_stand_in_for_a_test_and_say_what_they_are() -> None:
    (golf,) = surveyed("POAAN", {3, 14}, golf=True)
    assert "58 %" in METRIC.text(golf)
    (lawn,) = surveyed("POAAN", {3}, golf=False)
    assert "17 %" in METRIC.text(lawn)
    assert surveyed("DIGIS", {3}, golf=True) == []


def test_the_command_classes_a_test_and_refuses_one_without_a_result(tmp_path: Path) -> None:
    def run(*words: str) -> Any:
        return CliRunner().invoke(
            cli, ["log", "add", "resistance", *words, "--log", str(tmp_path / "log.sqlite")]
        )

    done = run("date=2017-09-01", "weed=POAAN", "active=glyphosate", "survivors=40%", "plants=60")
    assert done.exit_code == 0, done.output
    assert "Do not rely on it there." in done.output


@pytest.mark.parametrize(
    ("plain", "named"),
    [({"active": "glyphosate"}, "survivors_pct"), ({"survivors_pct": 4.0}, "active")],
)
def test_a_test_without_a_result_or_of_nothing_is_refused(
    plain: dict[str, Any], named: str
) -> None:
    with pytest.raises(InputError, match=named):
        from_plain("resistance", {"date": "2017-09-01", "weed": "POAAN", **plain})
