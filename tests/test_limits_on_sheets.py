"""What a tank sheet says of the turf, and the small parts that limits are made of, in full."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from limit_values import LIMITS, entry
from spoken import ordered
from windows_fixtures import site, state

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, say
from windowcast.core.quantity import parse_rate
from windowcast.core.values import PACKAGED
from windowcast.limits.answer import codes, ground_limits, turf_answers
from windowcast.limits.ground import Ground, ground_of, nth_of
from windowcast.limits.model import Limit, TurfAnswer, TurfSpan, refused, spans
from windowcast.limits.tank import (
    formulation_of,
    ground_remarks,
    is_of_state,
    is_refusal,
    is_unknown,
    remark,
    state_not_asked,
    tank_limits,
    tank_remarks,
)
from windowcast.limits.treatment import Treatment, treatments_of
from windowcast.limits.turf_days import TurfDays
from windowcast.materials.actives import Active, Actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.materials.product import Product
from windowcast.season.model import TurfPhase
from windowcast.windows.purposes import purpose_of

BERMUDA, ZOYSIA = "hybrid bermudagrass", "zoysiagrass"
NOV = dt.date(2026, 11, 10)
WHOLE = Ground(BERMUDA, sowing="none", mature=True)
SITE = site(turf={"species": BERMUDA, "mature": True, "overseeded": False})


def active(name: str, timing: str = "post", turf: str | None = "green", **more: Any) -> Active:
    made: dict[str, Any] = {
        "selective": entry(True),
        "turf": {} if turf is None else {"hybrid_bermudagrass": entry(turf, name)},
    } | more
    return Active(
        name, entry(1), entry("translocated"), entry("leaf"), entry(timing), **made
    )  # fmt: skip


MADE = {
    one.name: one
    for one in (
        active("always"),
        active("brown", turf="dormant", selective=entry(False)),
        active("hurts", turf="never"),
        active("untried", turf=None),
        active("stops", "pre", prunes_roots=entry(True), last_day=entry("10-31", "calendar")),
    )
}
ACTIVES = Actives(MADE)


def product(name: str, formulation: str = "SC") -> Product:
    return Product(f"can of {name}", parse_rate("1 L/ha"), formulation=formulation, active=name)


# --- the sheet ------------------------------------------------------------------------------------

WHY = say("limit.thin")


@pytest.mark.parametrize(
    ("limit", "expected"),
    [
        (Limit("x", "no", WHY, "s"), {"reason": WHY}),
        (Limit("x", "no", WHY, "s", "simazine", NOV, say("limit.let_fill_in")),
         {"reason": WHY, "about": say("limit.tank_about", active=Name("simazine")),
          "until": say("limit.tank_until", day=NOV),
          "remedy": say("advice.remedy", of=say("limit.let_fill_in"))}),
        # a reason that names it is not told of what it speaks
        (Limit("x", "no", say("limit.stops_seed", what=Name("simazine")), "s", "simazine"),
         {"reason": say("limit.stops_seed", what=Name("simazine"))}),
    ],
)  # fmt: skip
def test_a_limit_in_one_sentence(limit: Limit, expected: dict[str, Phrase]) -> None:
    parts = {"about": NOTHING, "until": NOTHING, "remedy": NOTHING} | expected
    assert ordered(remark(limit)) == ordered(say("limit.tank_no", **parts))
    untold = remark(replace(limit, answer="cannot tell"))
    assert ordered(untold) == ordered(say("limit.tank_unknown", **parts))


def test_noes_come_first_and_a_yes_is_not_said() -> None:
    tank = [product(name) for name in ("untried", "always", "stops", "hurts")]
    found = tank_limits([*tank, Product("wetter", formulation="NIS")], ACTIVES, SITE, NOV)
    assert [(one.active, one.rule, one.answer) for one in found] == [
        ("stops", "time of year", "no"),
        ("hurts", "species", "no"),
        ("untried", "species", "cannot tell"),
    ]
    remarks = tank_remarks(tank, ACTIVES, SITE, NOV)
    state_of = say("limit.state_not_asked", active=Listing((Name("untried"), Name("hurts"))))
    assert remarks == [*map(remark, found), state_of]
    assert tank_remarks([product("always")], ACTIVES, SITE, NOV) == []


def test_what_is_safe_on_green_turf_asks_nothing_of_its_state() -> None:
    asked = [product(name) for name in ("always", "brown", "untried")]
    said = state_not_asked([*asked, Product("wetter", formulation="NIS")], ACTIVES, SITE)
    names = Listing((Name("brown"), Name("untried")))
    assert said == say("limit.state_not_asked", active=names)
    assert state_not_asked(asked[:1], ACTIVES, SITE) == NOTHING


@pytest.mark.parametrize("code", ["G", "GR", "GG", "FG", "MG", "gr"])
def test_granules_by_their_code(code: str) -> None:
    assert formulation_of(product("always", code)) == "granule"


@pytest.mark.parametrize("code", ["SC", "WG", ""])
def test_what_is_no_granule_is_sprayed(code: str) -> None:
    assert formulation_of(product("always", code)) == "spray"


def test_a_sheet_asks_of_a_granule_what_is_known_of_granules() -> None:
    spread = active("spread", turf="never", turf_granule={"hybrid_bermudagrass": entry("green")})
    actives = Actives({"spread": spread})
    assert tank_limits([product("spread", "GR")], actives, SITE, NOV) == []
    (limit,) = tank_limits([product("spread")], actives, SITE, NOV)
    assert limit.answer == "no"


def test_one_tank_for_several_areas_names_the_areas_that_differ() -> None:
    thin = SITE.model_copy(update={"turf": SITE.turf.model_copy(update={"thin": True})})
    brown, refused_everywhere = product("brown"), product("hurts")
    untold = say(
        "limit.tank_unknown", about=say("limit.tank_about", active=Name("brown")),
        reason=say("limit.thin"), until=NOTHING,
        remedy=say("advice.remedy", of=say("limit.let_fill_in")),
    )  # fmt: skip
    state_of = say("limit.state_not_asked", active=Listing((Name("brown"),)))
    assert ordered(ground_remarks([brown], ACTIVES, {"A": SITE, "B": thin}, NOV)) == ordered([
        state_of,
        say("limit.tank_area", areas=Listing((Name("B"),)), remark=untold),
    ])  # fmt: skip
    both = ground_remarks([brown], ACTIVES, {"B": thin, "C": thin}, NOV)
    assert ordered(both) == ordered([untold, state_of])
    # a no is said first, and then the state is no question
    found = ground_remarks([brown, refused_everywhere], ACTIVES, {"A": SITE, "B": thin}, NOV)
    assert [is_refusal(said) for said in found] == [True, False]
    assert found[0].id == "limit.tank_no"
    assert not any(map(is_of_state, found))
    assert any(map(is_of_state, both))


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("limit.tank_no", "no"),
        ("tank.over_maximum", "no"),
        ("limit.tank_unknown", "unknown"),
        ("tank.no_maximum", "unknown"),
        ("tank.no_log", "unknown"),
        ("tank.rate_missing", "unknown"),
        ("limit.state_not_asked", "state"),
        ("tank.of_year", ""),
    ],
)
def test_remarks_are_told_apart_also_where_they_name_areas(said: str, kind: str) -> None:
    plain = Phrase(said)
    for one in (plain, say("limit.tank_area", areas=Listing(()), remark=plain)):
        assert is_refusal(one) == (kind == "no")
        assert is_unknown(one) == (kind == "unknown")
        assert is_of_state(one) == (kind == "state")
    assert not is_refusal(say("limit.tank_area", areas=Listing(()), remark=Name("no phrase")))


# --- treatments -----------------------------------------------------------------------------------

PRE = purpose_of("pre-fall").generic
POST = purpose_of("post-early").generic
BROWN = purpose_of("dormant").generic


def usual(needs: ActiveNeeds, species: str = BERMUDA) -> Treatment:
    (found,) = treatments_of(needs, species, LIMITS)
    return found


def test_what_is_usual_where_no_active_is_named() -> None:
    pre = usual(replace(PRE, turf_state="semi-dormant"))
    table = LIMITS.table("usual")
    assert pre == Treatment(
        "", pre=True, post=False, nonselective=False,
        turf=replace(table.value("pre.turf"), value="semi-dormant"),
        prunes_roots=table.value("pre.prunes_roots"),
        seeding_d=table.value("pre.seeding_d"), slit_seeding_d=table.value("pre.seeding_d"),
    )  # fmt: skip
    post, brown = usual(POST), usual(BROWN)
    assert (post.pre, post.post, post.nonselective) == (False, True, False)
    assert post.turf == replace(table.value("post.turf"), value=POST.turf_state)
    assert post.seeding_d is post.prunes_roots is None
    assert (brown.pre, brown.post, brown.nonselective) == (False, True, True)
    assert brown.turf == table.value("dormant.turf")
    # a grass that is not on the list, or a state that nobody knows, is promised nothing
    assert usual(POST, ZOYSIA).turf is None
    assert usual(replace(POST, turf_state="")).turf is None
    # what acts before emergence is one, also on dormant turf
    assert not usual(replace(PRE, turf_state="dormant")).nonselective


def test_an_active_as_a_treatment() -> None:
    known: dict[str, Any] = {
        "seeding_d": entry(42), "slit_seeding_d": entry(70), "last_day": entry("10-31"),
        "overseed": {"perennial_ryegrass": entry(30)}, "prunes_roots": entry(False),
    }  # fmt: skip
    made = active(
        "made", "both", new_turf={"sod": entry(20)}, new_turf_granule={"sod": entry(10)},
        turf_granule={"hybrid_bermudagrass": entry("never")},
        new_turf_of=("hybrid_bermudagrass",), **known,
    )  # fmt: skip
    expected = Treatment(
        "made", pre=True, post=True, nonselective=False, turf=entry("green", "made"),
        new_turf={"sod": entry(20)}, tried_new=True, **known,
    )  # fmt: skip
    of = needs_of([made, MADE["brown"]], BERMUDA)
    both = treatments_of(of, BERMUDA, LIMITS)
    assert both[0] == expected
    assert [one.name for one in both] == ["made", "brown"]
    assert both[1].nonselective
    assert treatments_of(needs_of([made], BERMUDA, "spray"), BERMUDA, LIMITS) == (expected,)
    (spread,) = treatments_of(needs_of([made], BERMUDA, "granule"), BERMUDA, LIMITS)
    assert spread == replace(expected, turf=entry("never"), new_turf={"sod": entry(10)})
    (other,) = treatments_of(needs_of([made], ZOYSIA), ZOYSIA, LIMITS)
    assert other == replace(expected, turf=None, tried_new=False)
    (untold,) = treatments_of(needs_of([replace(made, selective=None)]), BERMUDA, LIMITS)
    assert untold.nonselective


@pytest.mark.parametrize(
    ("treatment", "roots", "slows", "spoken"),
    [
        (Treatment("MSMA", pre=False, post=True, nonselective=False), False, False, Name("MSMA")),
        (Treatment("", pre=True, post=False, nonselective=True), True, False,
         say("limit.a_non_selective")),
        (Treatment("", pre=True, post=False, nonselective=False, prunes_roots=entry(False)),
         False, False, say("limit.a_pre_emergent")),
        (Treatment("", pre=True, post=True, nonselective=False, prunes_roots=entry(True)),
         True, False, say("limit.a_pre_emergent")),
        (Treatment("", pre=False, post=True, nonselective=False, prunes_roots=entry(True)),
         False, False, say("limit.a_post_emergent")),
        (Treatment("", pre=False, post=False, nonselective=False), False, True,
         say("limit.a_post_emergent")),
    ],
)  # fmt: skip
def test_what_a_treatment_does(
    treatment: Treatment, roots: bool, slows: bool, spoken: Name | Phrase
) -> None:
    assert treatment.roots is roots
    assert treatment.slows_growth is slows
    assert treatment.spoken == spoken


# --- the ground -----------------------------------------------------------------------------------


def test_the_ground_says_all_that_the_site_file_says() -> None:
    turf = {
        "species": ZOYSIA, "overseeded": None, "mature": None, "thin": True,
        "established": dt.date(2026, 3, 1), "established_by": "plugs",
        "rooted": dt.date(2026, 5, 1), "winterkill": "moderate",
        "overseed": {
            "state": "planned", "date": NOV, "species": "annual ryegrass", "method": "slit",
        },
    }  # fmt: skip
    assert ground_of(site(latitude=-33.0, turf=turf)) == Ground(
        species=ZOYSIA, southern=True, species_said=True, sowing="planned", sown=NOV,
        sown_species="annual ryegrass", sown_by="slit", mature=None,
        established=dt.date(2026, 3, 1), established_by="plugs", rooted=dt.date(2026, 5, 1),
        winterkill="moderate", thin=True,
    )  # fmt: skip
    assert ground_of(site()) == Ground(BERMUDA, sowing="none", mature=True)
    unsaid = site(turf={"overseeded": None})
    bare = unsaid.turf.model_copy()
    bare.model_fields_set.discard("species")
    assert ground_of(unsaid.model_copy(update={"turf": bare})) == Ground(
        BERMUDA, species_said=False, mature=True
    )


@pytest.mark.parametrize(
    ("sowing", "overseeded"),
    [(None, None), ("none", False), ("planned", True), ("done", True), ("undated", True)],
)
def test_overseeded_ground(sowing: Any, overseeded: bool | None) -> None:
    assert Ground(BERMUDA, sowing=sowing).overseeded is overseeded


@pytest.mark.parametrize(
    ("mark", "date", "southern", "last"),
    [
        ("07-01", (2026, 7, 1), False, (2026, 7, 1)),
        ("07-01", (2026, 6, 30), False, (2025, 7, 1)),
        ("07-01", (2026, 1, 1), True, (2026, 1, 1)),
        ("06-15", (2026, 12, 14), True, (2025, 12, 15)),  # June is December there
        ("06-15", (2026, 12, 15), True, (2026, 12, 15)),
        ("08-31", (2026, 3, 1), True, (2026, 2, 28)),  # a month that is shorter
        ("08-31", (2028, 3, 1), True, (2028, 2, 29)),
        ("08-31", (2027, 2, 27), True, (2026, 2, 28)),
    ],
)
def test_the_last_such_day(mark: str, date: Any, southern: bool, last: Any) -> None:
    assert nth_of(mark, dt.date(*date), southern=southern) == dt.date(*last)


# --- answers by day -------------------------------------------------------------------------------


def test_every_rule_is_asked_of_every_active_on_every_day() -> None:
    mixture = needs_of([MADE["brown"], MADE["stops"]], BERMUDA)
    days = TurfDays.of(state(NOV, 3, phase=TurfPhase.DORMANT))
    found = turf_answers(mixture, WHOLE, replace(days, begun=np.ones(3)), count=2)
    assert [one.date for one in found] == [NOV, NOV + dt.timedelta(1)]
    for day in found:
        assert [(one.active, one.rule) for one in day.limits] == [
            ("brown", "overseeding"), ("brown", "new turf"),
            ("stops", "overseeding"), ("stops", "new turf"), ("stops", "time of year"),
            ("brown", "state of the turf"), ("brown", "canopy look"),
            ("stops", "state of the turf"),
        ]  # fmt: skip
        assert day.answer == "no"
    assert len(turf_answers(mixture, WHOLE, days)) == 3


def test_ground_alone_says_what_is_no_yes() -> None:
    ground = replace(WHOLE, species="buffalograss", thin=True)
    mixture = needs_of([MADE["brown"], MADE["hurts"]], BERMUDA)
    assert [(one.active, one.rule, one.answer) for one in ground_limits(mixture, ground, NOV)] == [
        ("brown", "species", "cannot tell"),
        ("brown", "thin turf", "cannot tell"),
        ("hurts", "species", "cannot tell"),
    ]
    varied = PACKAGED.varied({"limits.thin.nonselective": "no"})
    assert [one.answer for one in ground_limits(mixture, ground, NOV, varied)][1] == "no"


def answer(day: int, *limits: Limit) -> TurfAnswer:
    return TurfAnswer(NOV + dt.timedelta(day), limits)


YES, NO, UNTOLD = (Limit("a", a, WHY, "s") for a in ("yes", "no", "cannot tell"))


def test_answers_as_numbers() -> None:
    found = codes([answer(0, YES), answer(1, NO), answer(2, UNTOLD)])
    assert found.shape == (1, 3)
    assert found[0, :2].tolist() == [1.0, 0.0]
    assert np.isnan(found[0, 2])


def test_of_noes_the_one_without_an_end_decides_else_the_longest() -> None:
    soon, late = (replace(NO, until=NOV + dt.timedelta(n)) for n in (1, 9))
    assert answer(0, soon, late, UNTOLD).deciding is late
    assert answer(0, late, NO, soon).deciding is NO
    assert answer(0, YES, replace(UNTOLD, until=late.until), soon).deciding is soon
    assert answer(0, soon, late).until == late.until
    assert answer(0, soon, NO).until is None
    assert answer(0, YES, replace(UNTOLD, until=late.until)).until is None
    harmed = [replace(YES, harm=h) for h in (0.25, None, 0.5, 0.0)]
    assert answer(0, *harmed).harm == 0.5
    assert answer(0, YES).harm is None


def test_days_are_put_together_while_they_agree_and_follow_one_another() -> None:
    until = replace(NO, until=NOV + dt.timedelta(9), active="x", remedy=say("limit.let_root"))
    days = (
        answer(0, replace(until, harm=0.1)),
        answer(1, replace(until, harm=0.3)),
        answer(2, replace(until, harm=0.2, reason=say("limit.mature"))),
        answer(3, replace(until, until=None)),  # another end
        answer(4, replace(until, until=None, active="y")),
        answer(5, replace(until, until=None, active="y", rule="b")),
        answer(7, replace(until, until=None, active="y", rule="b")),  # a day is left out
        answer(8, YES),
        answer(9, YES),
    )
    found = spans(days)
    assert [((s.first - NOV).days, (s.last - NOV).days) for s in found] == [
        (0, 2), (3, 3), (4, 4), (5, 5), (7, 7), (8, 9),
    ]  # fmt: skip
    assert found[0] == TurfSpan(
        NOV, NOV + dt.timedelta(2), "no", "a", "x", until.until, WHY, say("limit.let_root"), "s",
        0.3,
    )  # fmt: skip
    assert found[-1].harm is None
    assert spans(()) == ()


def test_nothing_is_refused_where_one_day_is_taken_or_none_was_asked() -> None:
    no, yes, untold = (spans((answer(0, one),))[0] for one in (NO, YES, UNTOLD))
    assert refused([no, untold])
    assert not refused([no, yes])
    assert not refused([])
