"""What the turf takes: limits on dates, ground and state, each answer with a source."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from spoken import render
from windows_fixtures import past, site, state, weather

from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING, say
from windowcast.core.quantity import parse_rate
from windowcast.core.site import Site, load_site
from windowcast.core.turf import Species
from windowcast.core.values import Tables, load
from windowcast.limits.answer import codes, turf_answers
from windowcast.limits.ground import Ground, ground_of, nth_of
from windowcast.limits.model import Limit, TurfAnswer, spans
from windowcast.limits.rules import limits_on
from windowcast.limits.tank import tank_limits
from windowcast.limits.treatment import treatments_of
from windowcast.limits.turf_days import StateRule, TurfDays
from windowcast.materials.actives import Actives, load_actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.materials.product import Product
from windowcast.report.board import chance
from windowcast.season.model import TurfPhase
from windowcast.season.sightings import CanopyLook
from windowcast.windows.model import PurposeOutlook
from windowcast.windows.purposes import purpose_of
from windowcast.windows.rank import rank
from windowcast.windows.running_season import RunningSeason

ACTIVES: Actives = load_actives()
pytestmark = pytest.mark.usefixtures("limits_said")
BERMUDA = "hybrid bermudagrass"
WHOLE = Ground(BERMUDA, sowing="none", mature=True)
SEPT = dt.date(2026, 9, 12)
JAN = dt.date(2027, 1, 16)


@cache
def needs(name: str, species: str = BERMUDA, formulation: Any = None) -> ActiveNeeds:
    return needs_of(ACTIVES.mixture(name), species, formulation)


@cache
def turf_days(
    first: dt.date, phase: TurfPhase, days: int = 3, *, looks: tuple[CanopyLook, ...] = ()
) -> TurfDays:
    safe = 1.0 if phase == TurfPhase.DORMANT else 0.0
    return TurfDays.of(state(first, days, phase=phase, safe=safe), looks)


def ask(
    name: str,
    ground: Ground = WHOLE,
    date: dt.date = SEPT,
    phase: TurfPhase = TurfPhase.GROWING,
    **more: Any,
) -> TurfAnswer:
    days = turf_days(date, phase, looks=more.pop("looks", ()))
    asked = needs(name, ground.species, more.pop("formulation", None))
    return turf_answers(asked, ground, days, **more)[0]


# --- overseeding --------------------------------------------------------------------------------


def test_a_pre_emergent_before_seeding_is_refused_until_the_stand_takes_it() -> None:
    # 112 and 84 days: Keeley & Zhou, Weed Technology 19(1); Johnson & Bundschuh 1993
    sown = replace(WHOLE, sowing="planned", sown=dt.date(2026, 10, 5), sown_by="slit")
    for name in ("prodiamine", "pendimethalin", "dithiopyr", "indaziflam", "oxadiazon"):
        assert ask(name, sown).answer == "no"
    assert ask("prodiamine", replace(sown, sown=SEPT + dt.timedelta(days=111))).answer == "no"
    assert ask("prodiamine", replace(sown, sown=SEPT + dt.timedelta(days=112))).answer == "yes"


def test_slit_seeding_needs_the_longer_interval_and_so_does_a_method_not_said() -> None:
    sown = replace(WHOLE, sowing="planned", sown=SEPT + dt.timedelta(days=60))
    assert ask("pendimethalin", replace(sown, sown_by="broadcast")).answer == "yes"  # 8 weeks
    assert ask("pendimethalin", replace(sown, sown_by="slit")).answer == "no"  # 10 weeks
    assert ask("pendimethalin", sown).answer == "no"


def test_an_interval_from_memory_can_forbid_and_never_permit() -> None:
    sown = replace(WHOLE, sowing="planned", sown=SEPT + dt.timedelta(days=27))
    assert ask("flazasulfuron", sown, phase=TurfPhase.DORMANT).answer == "no"
    later = replace(sown, sown=SEPT + dt.timedelta(days=200))
    (limit,) = [
        x for x in ask("flazasulfuron", later, phase=TurfPhase.DORMANT).limits
        if x.rule == "overseeding"
    ]  # fmt: skip
    assert limit.answer == "cannot tell"
    assert limit.remedy.id == "limit.on_label"


@pytest.mark.parametrize(
    "name", ["foramsulfuron", "trifloxysulfuron", "flazasulfuron", "glyphosate"]
)
@pytest.mark.parametrize("species", ["perennial ryegrass", "roughstalk bluegrass", None])
def test_what_kills_the_overseeding_is_refused(name: str, species: str | None) -> None:
    sown = replace(WHOLE, sowing="done", sown=dt.date(2026, 10, 5), sown_species=species)
    assert ask(name, sown, JAN, TurfPhase.DORMANT).answer == "no"
    undated = replace(WHOLE, sowing="undated")
    assert ask(name, undated, JAN, TurfPhase.DORMANT).answer == "no"


def test_ethofumesate_on_ryegrass_waits_45_days() -> None:
    # NC State Extension AG-763W page 107: first 30 to 45 d after sowing
    sown = Ground(
        BERMUDA, sowing="done", sown=dt.date(2026, 10, 5), sown_species="perennial ryegrass",
        mature=True,
    )  # fmt: skip
    early = ask("ethofumesate", sown, dt.date(2026, 11, 18), TurfPhase.DORMANT)
    assert (early.answer, early.until) == ("no", dt.date(2026, 11, 19))
    assert ask("ethofumesate", sown, dt.date(2026, 11, 19), TurfPhase.DORMANT).answer == "yes"


def test_an_overseeding_of_the_season_before_and_one_nobody_mentions_cannot_be_told() -> None:
    last = replace(
        WHOLE, sowing="done", sown=dt.date(2025, 10, 5), sown_species="perennial ryegrass"
    )
    assert ask("prodiamine", last).answer == "cannot tell"
    assert ask("prodiamine", replace(WHOLE, sowing=None)).answer == "cannot tell"
    assert ask("prodiamine", replace(WHOLE, sowing="undated")).answer == "no"  # seed may be to come


def test_a_planned_day_that_has_passed_is_no_permission() -> None:
    sown = replace(
        WHOLE, sowing="planned", sown=dt.date(2026, 7, 20), sown_species="perennial ryegrass"
    )
    assert ask("ethofumesate", sown, SEPT, TurfPhase.DORMANT).answer == "cannot tell"


# --- new, damaged and thin turf -------------------------------------------------------------------


def test_root_pruners_wait_until_new_turf_has_rooted() -> None:
    laid = SEPT - dt.timedelta(weeks=5)
    sod = replace(WHOLE, mature=None, established=laid, established_by="sod")
    five_weeks = ask("prodiamine", sod)
    assert five_weeks.answer == "no"
    assert five_weeks.until == laid + dt.timedelta(days=112)
    half_year = replace(sod, established=SEPT - dt.timedelta(days=180))
    assert ask("prodiamine", half_year).answer == "cannot tell"
    assert ask("prodiamine", replace(half_year, rooted=SEPT)).answer == "yes"
    # rooting was normal 8 months after: McCarty, Porter & Colvin 1995, Agronomy Journal 87:503
    assert (
        ask("prodiamine", replace(sod, established=SEPT - dt.timedelta(days=239))).answer != "yes"
    )
    assert (
        ask("prodiamine", replace(sod, established=SEPT - dt.timedelta(days=240))).answer == "yes"
    )


@pytest.mark.parametrize(("name", "by"), [("foramsulfuron", "seed"), ("simazine", "sprigs")])
def test_days_found_on_new_bermudagrass_permit_nothing_on_another_grass(name: str, by: Any) -> None:
    # trials on bermudagrass: Willis, Ricker & Askew 2007, Weed Technology 21:1035; Green 1985
    new = replace(WHOLE, mature=None, established=SEPT - dt.timedelta(days=8), established_by=by)
    phase = TurfPhase.HARDENING
    assert ask(name, new, phase=phase).answer == "yes"
    for species in ("zoysiagrass", "centipedegrass"):
        assert ask(name, replace(new, species=species), phase=phase).answer != "yes"


@pytest.mark.parametrize("name", ["flurprimidol", "paclobutrazol"])
def test_what_slows_growth_is_kept_off_turf_that_must_grow(name: str) -> None:
    assert ask("flurprimidol").answer == "yes"
    assert ask(name, phase=TurfPhase.GREENING).answer == "cannot tell"
    assert ask(name, replace(WHOLE, winterkill="minimal")).answer == "no"
    assert ask(name, replace(WHOLE, thin=True)).answer == "no"


@pytest.mark.parametrize("purpose", ["post-early", "dormant"])
@pytest.mark.parametrize("species", ["st. augustinegrass", "centipedegrass", "seashore paspalum"])
def test_where_no_active_is_named_a_grass_that_most_of_them_hurt_is_promised_nothing(
    species: str, purpose: Any
) -> None:
    asked = purpose_of(purpose).generic
    dormant = purpose == "dormant"
    days = turf_days(JAN, TurfPhase.DORMANT if dormant else TurfPhase.GROWING)
    assert turf_answers(asked, WHOLE, days)[0].answer == "yes"
    clear = replace(days, looks=(CanopyLook(JAN, live_shoots=False),))
    other = turf_answers(asked, replace(WHOLE, species=species), clear)[0]
    assert other.answer == "cannot tell"


def test_a_tank_sheet_refuses_what_the_grass_never_takes() -> None:
    # sheets ask nothing of the weather, but a grass that takes it in no state needs none
    for name, species in (
        ("MSMA", "centipedegrass"), ("MSMA", "st. augustinegrass"),
        ("glyphosate", "centipedegrass"),
        ("sethoxydim", BERMUDA), ("quinclorac", "st. augustinegrass"),
    ):  # fmt: skip
        product = Product(name, parse_rate("1 L/ha"), active=name)
        here = site(turf={"species": species, "use": "lawn"})
        first, *_ = tank_limits([product], ACTIVES, here, SEPT)
        assert (first.answer, first.rule) == ("no", "species"), name
    product = Product("2,4-D", parse_rate("1 L/ha"), active="2,4-D")
    (limit,) = tank_limits([product], ACTIVES, site(turf={"species": "centipedegrass"}), SEPT)
    assert limit.answer == "cannot tell"
    assert tank_limits([product], ACTIVES, site(), SEPT) == []


def test_the_age_of_the_turf_must_be_known() -> None:
    assert ask("prodiamine", replace(WHOLE, mature=None)).answer == "cannot tell"


def test_oxadiazon_granules_over_sprigs_and_never_the_spray_on_green_turf() -> None:
    # granules without limit of state, sprays on dormant turf only: Brosnan, Univ. Tennessee 2013-15
    sprigs = replace(WHOLE, mature=None, established=SEPT, established_by="sprigs")
    assert ask("oxadiazon", sprigs, formulation="granule").answer == "yes"
    assert ask("oxadiazon", sprigs, formulation="spray").answer == "no"
    assert ask("oxadiazon", sprigs).answer == "no"  # not said: as a spray


@pytest.mark.parametrize(
    ("damage", "answer"),
    [("none", "yes"), ("minimal", "cannot tell"), ("moderate", "no"), ("severe", "no")],
)
def test_winterkill_in_four_classes(damage: Any, answer: str) -> None:
    ground = replace(WHOLE, winterkill=damage)
    assert ask("prodiamine", ground, dt.date(2027, 3, 1), TurfPhase.DORMANT).answer == answer


def test_thin_turf_takes_no_root_pruner_and_nothing_non_selective() -> None:
    thin = replace(WHOLE, thin=True)
    assert ask("prodiamine", thin).answer == "no"
    assert ask("glyphosate", thin, JAN, TurfPhase.DORMANT).answer == "cannot tell"


# --- state of the turf ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "phase", "answer"),
    [
        ("prodiamine", TurfPhase.GROWING, "yes"),
        ("prodiamine", TurfPhase.GREENING, "yes"),
        ("prodiamine", TurfPhase.UNKNOWN, "yes"),  # safe in every state
        ("foramsulfuron", TurfPhase.GROWING, "yes"),
        ("foramsulfuron", TurfPhase.GREENING, "no"),  # Univ. Georgia Extension 2019
        ("foramsulfuron", TurfPhase.UNKNOWN, "cannot tell"),
        ("simazine", TurfPhase.GROWING, "no"),
        ("simazine", TurfPhase.HARDENING, "yes"),
        ("glyphosate", TurfPhase.HARDENING, "no"),
        ("glyphosate", TurfPhase.DORMANT, "yes"),
        ("glyphosate", TurfPhase.GREENING, "no"),
        ("metribuzin", TurfPhase.DORMANT, "cannot tell"),  # only from memory
    ],
)
def test_state_of_the_turf(name: str, phase: TurfPhase, answer: str) -> None:
    assert ask(name, date=JAN, phase=phase).answer == answer


def test_centipedegrass_in_green_up_cannot_be_told() -> None:
    label = replace(ACTIVES["prodiamine"], turf={"centipedegrass": replace(
        ACTIVES["prodiamine"].turf["centipedegrass"], status="label guidance")})  # fmt: skip
    days = turf_days(JAN, TurfPhase.GREENING)
    ground = replace(WHOLE, species="centipedegrass")
    (first, *_) = turf_answers(needs_of([label], "centipedegrass"), ground, days)
    assert first.answer == "cannot tell"


def test_a_chance_of_harm_above_the_cap_is_a_no_whatever_the_forecast() -> None:
    futures = np.full((41, 5), int(TurfPhase.DORMANT), dtype=np.int8)
    base = state(JAN, 5)
    safe = np.ones((41, 5))
    for hurt, answer in ((2, "yes"), (3, "no")):  # of 40 futures; the forecast itself counts not
        safe[1:, 0] = 1.0
        safe[1 : 1 + hurt, 0] = 0.0
        turf = replace(
            base.turf, phase=futures, nonselective_safe=safe, injury_probability=1.0 - safe
        )
        days = TurfDays.of(replace(base, turf=turf))
        found = turf_answers(needs("glyphosate"), WHOLE, days)[0]
        assert found.answer == answer
        assert found.harm == pytest.approx(hurt / 40)
    assert found.until == JAN + dt.timedelta(days=1)


def test_zoysiagrass_and_turf_that_has_begun_to_green_up_need_a_look() -> None:
    zoysia = replace(WHOLE, species="zoysiagrass")
    dormant = TurfPhase.DORMANT
    assert ask("glyphosate", zoysia, JAN, dormant).answer == "cannot tell"
    clear = CanopyLook(JAN - dt.timedelta(days=7), live_shoots=False)
    assert ask("glyphosate", zoysia, JAN, dormant, looks=(clear,)).answer == "yes"
    old = CanopyLook(JAN - dt.timedelta(days=8), live_shoots=False)
    assert ask("glyphosate", zoysia, JAN, dormant, looks=(old,)).answer == "cannot tell"
    live = CanopyLook(JAN - dt.timedelta(days=20), live_shoots=True)
    assert ask("glyphosate", zoysia, JAN, dormant, looks=(live,)).answer == "no"
    assert ask("glyphosate", WHOLE, JAN, dormant, looks=(live,)).answer == "no"
    assert ask("glyphosate", WHOLE, JAN, dormant, looks=(live, clear)).answer == "yes"


def test_frost_after_green_up_began_does_not_reopen_a_non_selective() -> None:
    march = dt.date(2027, 3, 10)
    frozen = state(march, 3)  # brown again after a false start
    begun = replace(frozen, turf=replace(frozen.turf, greening_begun=np.ones(3)))
    days = TurfDays.of(begun)
    answers = turf_answers(needs("glyphosate"), WHOLE, days)
    assert answers[0].answer == "cannot tell"
    assert answers[0].deciding.remedy.id == "limit.part_canopy"
    assert turf_answers(needs("glyphosate"), WHOLE, TurfDays.of(state(march, 3)))[0].answer == "yes"


def test_ethofumesate_ends_with_the_year_on_bermudagrass() -> None:
    # NC State Extension AG-763W page 107
    assert ask("ethofumesate", date=dt.date(2026, 12, 31), phase=TurfPhase.DORMANT).answer == "yes"
    after = ask("ethofumesate", date=dt.date(2027, 1, 1), phase=TurfPhase.DORMANT)
    assert after.answer == "no"
    assert after.until is not None
    assert after.until > dt.date(2027, 6, 30)


def test_a_mixture_is_as_strict_as_its_strictest_member() -> None:
    assert ask("prodiamine+glyphosate").answer == "no"
    assert ask("prodiamine+glyphosate").deciding.active == "glyphosate"


# --- every combination ----------------------------------------------------------------------------

SOWINGS = [
    {"sowing": "none"},
    {"sowing": None},
    {"sowing": "undated"},
    *(
        {"sowing": s, "sown": d, "sown_species": g, "sown_by": m}
        for s, d in (
            ("planned", SEPT + dt.timedelta(days=30)),
            ("done", SEPT - dt.timedelta(days=50)),
        )
        for g in ("perennial ryegrass", "roughstalk bluegrass", None)
        for m in ("broadcast", "slit", None)
    ),
]
AGES: list[dict[str, Any]] = [
    {"mature": True},
    {},
    *(
        {"established": SEPT - dt.timedelta(days=d), "established_by": by}
        for d in (35, 300)
        for by in ("sod", "sprigs", "plugs", "seed", None)
    ),
]
PHASES = list(TurfPhase)
NOT_A_SOURCE = ("from memory", "common practice", "no source")


GROUNDS = [sowing | age for sowing in SOWINGS for age in AGES]


def strictest(limits: list[Limit]) -> str:
    return TurfAnswer(SEPT, tuple(limits)).answer


@cache
def asked_on_ground(name: str, formulation: Any) -> list[tuple[str, list[str]]]:
    # what the rules on ground and date say does not depend on the species of the turf
    limits = load("limits")
    (treatment,) = treatments_of(needs(name, BERMUDA, formulation), BERMUDA, limits)
    asked = []
    for facts in GROUNDS:
        ground = Ground(BERMUDA, **facts)
        found = limits_on(treatment, ground, SEPT, limits)
        if strictest(found) == "yes":
            assert ground.sowing is not None
            assert ground.mature or ground.established
        asked.append((strictest(found), [limit.source for limit in found]))
    return asked


@pytest.mark.parametrize("species", [str(s) for s in Species])
def test_no_cell_is_a_yes_without_a_source(species: str) -> None:
    # ground and state are asked apart and the strictest decides, so that a cell of the whole table
    # (species x state x active x overseeding x age x formulation) is a pair of these
    limits, turf = load("limits"), load("turf")
    cells = {"yes": 0, "no": 0, "cannot tell": 0}
    forms = [(name, "spray") for name in ACTIVES]
    forms += [(name, "granule") for name, a in ACTIVES.items() if a.turf_granule]  # else the same
    for name, formulation in forms:
        (treatment,) = treatments_of(needs(name, species, formulation), species, limits)
        on_ground = asked_on_ground(name, formulation)
        for phase in PHASES:
            rule = StateRule(treatment, species, turf_days(SEPT, phase), limits, turf)
            in_state = [rule.limits(1)[0], *filter(None, rule.looks(1))]
            of_state = strictest(in_state)
            for of_ground, ground_sources in on_ground:
                answer = min(of_ground, of_state, key=("no", "cannot tell", "yes").index)
                cells[answer] += 1
                if answer == "yes":
                    sources = [*ground_sources, *(limit.source for limit in in_state)]
                    assert all(sources)
                    assert not any(source.startswith(NOT_A_SOURCE) for source in sources)
    assert sum(cells.values()) == len(forms) * len(GROUNDS) * len(PHASES)
    assert cells["no"] > 0
    assert cells["cannot tell"] > 0
    assert (cells["yes"] > 0) == (species != "kikuyugrass")  # no source


@pytest.mark.parametrize(
    "blind",
    [
        {"sowing": None, "sown": None, "sown_species": None, "sown_by": None},
        {"mature": None, "established": None, "established_by": None},
        {"established_by": None},
        {"sown_by": None},
        {"sown_species": None},
    ],
)
def test_knowing_less_of_the_ground_never_permits_more(blind: dict[str, Any]) -> None:
    limits = load("limits")
    for name in ACTIVES:
        (treatment,) = treatments_of(needs(name), BERMUDA, limits)
        less = {
            ground: strictest(limits_on(treatment, ground, SEPT, limits))
            for ground in {Ground(BERMUDA, **(facts | blind)) for facts in GROUNDS}
        }
        for facts, (full, _) in zip(GROUNDS, asked_on_ground(name, None), strict=True):
            if less[Ground(BERMUDA, **(facts | blind))] == "yes":
                assert full == "yes", (name, facts)


def test_knowing_less_of_the_state_never_permits_more() -> None:
    for name in ACTIVES:
        if ask(name, phase=TurfPhase.UNKNOWN).answer == "yes":
            assert all(ask(name, phase=phase).answer == "yes" for phase in TurfPhase)


# --- through the ranking --------------------------------------------------------------------------


def ranked(here: Site, today: dt.date, purpose: Any, name: str, **changes: Any) -> PurposeOutlook:
    ahead, before = state(today, **changes), past(today, **changes)
    members = weather(here, today=today)
    mixture = needs(name, str(here.turf.species))
    running = RunningSeason.of(here, before, ahead, members)
    return rank(running, purposes=[purpose], mixture=mixture).purposes[0]


FALL = {"phase": TurfPhase.GROWING, "safe": 0.0, "share": 0.0, "soil_c": 20.0}


@pytest.mark.parametrize(
    "turf",
    [
        {"overseeded": True},
        {"overseeded": None, "overseed": {"state": "planned", "date": dt.date(2026, 10, 5)}},
        {"overseeded": None},
        {"mature": None, "established": dt.date(2026, 8, 8)},
        {"mature": None},
        {"winterkill": "severe"},
    ],
)
def test_a_barrier_is_never_fit_on_turf_that_it_would_hurt(turf: dict[str, Any]) -> None:
    whole = ranked(site(), SEPT, "pre-fall", "prodiamine", **FALL)
    assert whole.windows
    assert whole.windows[0].verdict == "fit"
    hurt = ranked(site(turf=turf), SEPT, "pre-fall", "prodiamine", **FALL)
    assert hurt.in_season
    assert hurt.windows == ()
    assert render(hurt.advice).startswith(("Do not spray: ", "Cannot tell: "))
    assert hurt.turf[0].answer in ("no", "cannot tell")
    assert hurt.turf[0].source


def test_a_ryegrass_killer_is_never_fit_on_overseeded_turf() -> None:
    young = {"share": 0.6, "young": 0.9, "leaf": 2.0, "soil_c": 12.0}
    date = dt.date(2026, 11, 20)
    assert ranked(site(), date, "post-early", "foramsulfuron", **young).windows
    here = site(turf={"overseeded": True})
    assert ranked(here, date, "post-early", "foramsulfuron", **young).windows == ()


def test_the_turf_is_named_also_where_the_weather_says_no() -> None:
    here = site(turf={"overseeded": True})
    today = SEPT
    members = weather(here, today=today, wind_m_s=15.0, gust_m_s=20.0)
    running = RunningSeason.of(here, past(today, **FALL), state(today, **FALL), members)
    outlook = rank(running, purposes=["pre-fall"], mixture=needs("prodiamine")).purposes[0]
    assert render(outlook.advice).startswith("Do not spray: ")


# --- the site file --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("turf", "problem"),
    [
        ({"overseed": {"state": "planned"}}, "date of sowing"),
        ({"overseed": {"state": "none", "date": dt.date(2026, 10, 5)}}, "left out"),
        ({"overseeded": False, "overseed": {"state": "done", "date": SEPT}}, "contradicts"),
        ({"species": "fescue"}, "fescue"),
        ({"mature": True, "established": SEPT}, "contradict"),
        ({"mature": None, "rooted": SEPT}, "rooted needs established"),
        ({"mature": None, "established": SEPT, "rooted": dt.date(2026, 9, 1)}, "before"),
    ],
)
def test_turf_that_contradicts_itself_is_refused_in_one_line(turf: Any, problem: str) -> None:
    turf = {"overseeded": None} | turf
    with pytest.raises(InputError, match=problem) as caught:
        site(turf=turf)
    assert "turf" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_is_done_may_not_lie_after_today(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    head = 'name = "A"\nlatitude = 35.0\nlongitude = -90.0\n[turf]\n'
    later = dt.datetime.now(dt.UTC).date() + dt.timedelta(days=3)
    for line, field in (
        (f"established = {later}", "turf.established"),
        (f'overseed = {{ state = "done", date = {later} }}', "turf.overseed.date"),
    ):
        file.write_text(f"{head}{line}\n")
        with pytest.raises(InputError, match="lies after today") as caught:
            load_site(file)
        assert f"{file}: row 5: {field}" in str(caught.value)
    file.write_text(f'{head}overseed = {{ state = "planned", date = {later} }}\n')
    assert load_site(file).turf.overseed is not None


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "none"), (0.01, "1 in 100"), (0.05, "1 in 20"), (0.49, "1 in 2"), (0.5, "5 in 10"),
     (0.96, "9 in 10"), (1.0, "certain")],
)  # fmt: skip
def test_chances_in_words(share: float, text: str) -> None:
    assert render(chance(share)) == text


# --- small parts ----------------------------------------------------------------------------------


def test_the_strictest_limit_decides_and_all_noes_must_end() -> None:
    may = Limit("a", "yes", NOTHING, "x")
    until = Limit("b", "no", NOTHING, "x", until=dt.date(2026, 10, 1))
    later = Limit("c", "no", NOTHING, "x", until=dt.date(2026, 11, 1))
    ever = Limit("d", "no", NOTHING, "x")
    unknown = Limit("e", "cannot tell", NOTHING, "x")
    assert TurfAnswer(SEPT, (may, unknown)).answer == "cannot tell"
    assert TurfAnswer(SEPT, (may, unknown, until)).deciding is until
    assert TurfAnswer(SEPT, (until, later)).until == later.until
    assert TurfAnswer(SEPT, (until, ever)).until is None
    assert TurfAnswer(SEPT, (until, ever)).deciding is ever


def test_days_with_the_same_answer_are_put_together() -> None:
    no = Limit("a", "no", say("limit.thin"), "x", harm=0.2)
    worse = replace(no, harm=0.4)
    yes = Limit("a", "yes", NOTHING, "x")
    days = [SEPT + dt.timedelta(days=i) for i in range(4)]
    answers = tuple(
        TurfAnswer(d, (x,)) for d, x in zip(days, (no, worse, yes, yes), strict=True)
    )  # fmt: skip
    first, second = spans(answers)
    assert (first.first, first.last, first.answer, first.harm) == (days[0], days[1], "no", 0.4)
    assert (second.first, second.last, second.answer) == (days[2], days[3], "yes")
    assert codes(answers).tolist()[0][:3] == [0.0, 0.0, 1.0]


def test_seasons_turn_half_a_year_later_in_the_south() -> None:
    assert nth_of("07-01", dt.date(2027, 3, 1), southern=False) == dt.date(2026, 7, 1)
    assert nth_of("07-01", dt.date(2027, 3, 1), southern=True) == dt.date(2027, 1, 1)
    assert nth_of("12-31", dt.date(2027, 3, 1), southern=True) == dt.date(2026, 6, 30)


def test_ground_of_a_site_file() -> None:
    here = site(turf={"overseeded": True})
    assert ground_of(here).sowing == "undated"
    assert ground_of(site()).sowing == "none"
    planned = site(turf={"overseeded": None, "overseed": {"state": "planned", "date": SEPT}})
    assert (ground_of(planned).sowing, ground_of(planned).sown) == ("planned", SEPT)


def test_values_can_be_varied() -> None:
    days = turf_days(SEPT, TurfPhase.GROWING)
    sod = replace(WHOLE, mature=None, established=SEPT - dt.timedelta(days=250))
    assert turf_answers(needs("prodiamine"), sod, days)[0].answer == "yes"
    longer = Tables().varied({"limits.new_turf.full_growth": 300})
    assert turf_answers(needs("prodiamine"), sod, days, longer)[0].answer == "cannot tell"


def test_state_and_permission_have_different_words() -> None:
    november = dt.date(2026, 11, 10)
    base = state(november, 5, phase=TurfPhase.DORMANT)
    safe = np.array([0.0, 0.0, 0.0, 1.0, 1.0])
    turf = replace(
        base.turf, nonselective_safe=safe, injury_probability=1.0 - safe,
        dormant_probability=np.full(5, 0.82), green_probability=1.0 - safe,
    )  # fmt: skip
    days = TurfDays.of(replace(base, turf=turf))
    found = turf_answers(needs("glyphosate"), WHOLE, days)[0]
    assert found.until == november + dt.timedelta(days=3)
    words = render(found.deciding.reason).replace("\N{NO-BREAK SPACE}", " ")
    assert words == "the turf is 82 % dormant, not yet safe for glyphosate"


@pytest.mark.parametrize(
    ("leaf", "reason"),
    [
        (0.0, "limit.leaf_may_come"),
        (0.05, "limit.leaf_may_come"),
        (0.06, "limit.not_surely_dormant"),
        (np.nan, "limit.not_surely_dormant"),
    ],
)
def test_bare_turf_is_refused_for_what_may_come_and_no_look_opens_it(
    leaf: float, reason: str
) -> None:
    base = state(JAN, 5, phase=TurfPhase.DORMANT)
    turf = replace(
        base.turf, injury_probability=np.full(5, 0.1), green_probability=np.full(5, leaf)
    )
    for looks in ((), (CanopyLook(JAN, live_shoots=False),)):
        days = TurfDays.of(replace(base, turf=turf), looks)
        found = turf_answers(needs("glyphosate"), WHOLE, days)[0]
        assert (found.answer, found.deciding.reason.id) == ("no", reason)
        assert found.deciding.remedy is NOTHING
    if reason == "limit.leaf_may_come":
        assert render(found.deciding.reason) == (
            "the turf is dormant, but warm days may bring live leaf within 14 days, and glyphosate "
            "hurts it"
        )
