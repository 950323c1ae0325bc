"""What is said of tanks, rotation, survivors and needs: each phrase with the ground for it.

Amounts were worked out by hand; marks are those of ``data/tank.toml`` and ``data/rotation.toml``.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import pytest
from spoken import render

from windowcast.core.phrase import say
from windowcast.core.quantity import Rate, parse_rate
from windowcast.core.values import Value
from windowcast.materials.actives import Active, load_actives
from windowcast.materials.needs import needs_of
from windowcast.materials.nozzle import nozzle_check
from windowcast.materials.product import Price, Product
from windowcast.materials.products import product_from, product_from_words, with_label_maximum
from windowcast.materials.rates import Concentration, materials_from
from windowcast.materials.rotation import (
    Use,
    alternatives,
    groups_by_season,
    plan_flags,
    remark_of,
    spent_groups,
    suspect_resistance,
)
from windowcast.materials.tank import TankSheet, tank_sheet

ACTIVES = load_actives()
GLYPHOSATE = ACTIVES["glyphosate"]


def value(number: Any, **more: Any) -> Value:
    return Value("x", number, "", "a book", "handbook", **more)


# ---- a product as it is written ------------------------------------------------------------------

WRITTEN = {
    "name": "Shed jug", "active": "GLYPHOSATE", "concentration": "480 g/L", "formulation": "sl",
    "rate": "2 L/ha", "max_per_year": "4 kg/ha", "registration": "0-123", "restricted": "no",
    "price": "50 USD per 10 L",
}  # fmt: skip


def test_a_product_holds_all_that_was_written() -> None:
    assert product_from(WRITTEN, ACTIVES) == Product(
        "Shed jug", rate=Rate("volume", 2e-4), formulation="SL", active="glyphosate",
        concentration=Concentration("volume", 0.48), max_year_kg_ha=4.0, registration="0-123",
        restricted=False, price=Price(5.0, "USD", "volume"), written=tuple(WRITTEN.items()),
    )  # fmt: skip
    assert product_from({"name": "water"}, ACTIVES) == Product(
        "water", written=(("name", "water"),)
    )
    soap = product_from({"name": "soap", "share": "0.25 % v/v"}, ACTIVES)
    assert (soap.share_of_volume, soap.rate_text) == (0.0025, "0.25 % v/v")
    heavy = {**WRITTEN, "concentration": "40 %", "density": "1.2 kg/L"}
    assert product_from(heavy, ACTIVES).concentration == Concentration("volume", 0.48)


@pytest.mark.parametrize(
    ("text", "said"),
    [("yes", True), ("YES", True), ("true", True), ("no", False), ("False", False)],
)
def test_yes_and_no_of_a_label(text: str, said: bool) -> None:
    assert product_from({"name": "jug", "restricted": text}, ACTIVES).restricted is said


def test_words_on_the_command_line_go_before_the_materials_file() -> None:
    known = {"Shed jug": product_from(WRITTEN, ACTIVES)}
    assert product_from_words("shed JUG", known, ACTIVES) is known["Shed jug"]
    other = product_from_words("shed jug rate=3", known, ACTIVES)  # in the file's unit
    assert other.rate == Rate("volume", pytest.approx(3e-4))  # type: ignore[arg-type]
    assert (other.rate_text, other.registration) == ("3 L/ha", "0-123")
    share = product_from_words("shed jug share=1 %", known, ACTIVES)
    assert (share.rate, share.share_of_volume) == (None, 0.01)
    plain = product_from_words("Glyphosate rate=2 L/ha concentration=480 g/L", {}, ACTIVES)
    assert (plain.active, plain.active_kg_ha) == ("glyphosate", pytest.approx(0.96))


def test_a_label_files_maximum_is_taken_where_the_product_has_none() -> None:
    actives = load_actives()
    actives["glyphosate"] = replace(GLYPHOSATE, max_year_kg_ha=value(3.0))
    own, none = product_from(WRITTEN, ACTIVES), Product("jug", active="glyphosate")
    oil = Product("oil")
    done = with_label_maximum([own, none, oil], actives)
    assert [one.max_year_kg_ha for one in done] == [4.0, 3.0, None]


def test_materials_as_people_write_them() -> None:
    assert materials_from("Prodiamine 0.84 kg/ha; 2,4-D 1 kg/ha;; water") == [
        {"active": "prodiamine", "rate_kg_ha": pytest.approx(0.84)},
        {"active": "2,4-d", "rate_kg_ha": pytest.approx(1.0)},
        {"active": "water"},
    ]
    assert materials_from("simazine .5", "kg/ha") == [
        {"active": "simazine", "rate_kg_ha": pytest.approx(0.5)}
    ]


# ---- the tank sheet ------------------------------------------------------------------------------

JUG = product_from(WRITTEN, ACTIVES)


def sheet(*products: Product, area: float = 1e4, carrier: float = 300.0, **more: Any) -> TankSheet:
    return tank_sheet(area, carrier, 300.0, products, **more)


def said(found: TankSheet) -> list[str]:
    return [render(caution) for caution in found.cautions]


def test_a_sheet_with_its_amounts_and_costs() -> None:
    """1.5 ha at 300 L/ha from a tank of 300 L: 300 L on 1 ha and 150 L on half a hectare."""
    soap = product_from({"name": "soap", "share": "0.5 %", "price": "8 USD per L"}, ACTIVES)
    dust = product_from({"name": "dust", "rate": "2 kg/ha", "formulation": "WG"}, ACTIVES)
    found = sheet(soap, JUG, dust, area=1.5e4)
    assert (found.area_m2, found.carrier_l_ha, found.tank_l, found.total_l) == (
        1.5e4, 300.0, 300.0, 450.0,
    )  # fmt: skip
    assert [(load.volume_l, load.area_m2) for load in found.loads] == [(300.0, 1e4), (150.0, 5e3)]
    amounts = [
        [(dose.product.name, pytest.approx(dose.amount), dose.kind) for dose in load.doses]
        for load in found.loads
    ]
    assert amounts == [
        [("dust", 2.0, "mass"), ("Shed jug", 2.0, "volume"), ("soap", 1.5, "volume")],
        [("dust", 1.0, "mass"), ("Shed jug", 1.0, "volume"), ("soap", 0.75, "volume")],
    ]
    assert [(d.product.name, pytest.approx(d.amount)) for d in found.totals_used] == [
        ("dust", 3.0), ("Shed jug", 3.0), ("soap", 2.25),
    ]  # fmt: skip
    assert [(c.product, pytest.approx(c.amount), c.money) for c in found.costs] == [
        ("Shed jug", 15.0, "USD"), ("soap", 18.0, "USD"),
    ]  # fmt: skip
    assert found.unpriced == ("dust",)
    assert sheet(dust).unpriced == ()  # nobody gave a price of anything


def test_every_caution_of_a_sheet_in_words() -> None:
    label = "Your label decides every rate, mixture and use."
    assert said(sheet(JUG, used_kg_ha={})) == [label]
    assert said(sheet(JUG)) == [
        label, ("glyphosate: no season log shows what this ground has had, so the year's total is"
               " unknown."),
    ]  # fmt: skip
    assert said(sheet(JUG, used_kg_ha={"glyphosate": math.nan}))[1:] == [
        "glyphosate: an application logged this year has no rate, so the year's total is unknown."
    ]
    over = said(sheet(JUG, used_kg_ha={"glyphosate": 3.5}))[1]  # and 2 L of 480 g/L: 0.96 kg
    assert "4.46 kg/ha" in over
    assert "this year would exceed the yearly maximum of" in over
    assert "4 kg/ha" in over
    free = replace(JUG, max_year_kg_ha=None)
    (_, unknown, allowed) = said(sheet(free))
    assert "no season log" in unknown
    assert "no yearly maximum entered, so cannot tell whether" in allowed
    assert "0.96 kg/ha" in allowed
    small = said(sheet(JUG, area=1.1e4, used_kg_ha={}))
    assert small[1].startswith("The last load fills only 10 % of the tank; 2 equal loads of ")
    assert "165 L" in small[1]
    odd = said(sheet(replace(JUG, formulation="XX"), used_kg_ha={}))[1]
    assert odd.startswith("Shed jug: formulation XX; its place in the mixing order is unknown.")
    none = said(sheet(replace(JUG, formulation=""), used_kg_ha={}))[1]
    assert none.startswith("Shed jug: formulation unknown; its place")
    bare = Product("jug", parse_rate("1 L/ha"), formulation="SL")
    assert said(sheet(bare, used_kg_ha={}))[1:] == [
        "jug: no active ingredient is named, so nothing of it is counted or checked."
    ]
    last = say("tank.label_governs")
    assert sheet(JUG, used_kg_ha={}, remarks=[last]).cautions[-1] is last
    assert sheet(JUG, remarks=[last]).other_cautions == sheet(JUG, remarks=[last]).cautions


def test_a_carrier_volume_outside_the_published_range_names_the_range() -> None:
    found = said(sheet(JUG, carrier=5000.0, actives=ACTIVES, used_kg_ha={}))[1]
    span = GLYPHOSATE.carrier_l_ha
    assert span is not None
    assert found.startswith("glyphosate: the carrier volume is outside ")
    assert f"{span.low:g} L/ha" in found
    assert f"{span.high:g} L/ha" in found
    assert found.endswith(f"({span.source}).")


def test_notes_of_a_sheet_are_the_labels_or_send_to_it() -> None:
    bare = replace(GLYPHOSATE, adjuvant=None, reentry=None, buffer=None)
    full = replace(
        GLYPHOSATE, adjuvant=value("soap"), reentry=value("12 h"), buffer=value("3 m"),
    )  # fmt: skip
    for active, notes in (
        (bare, ["glyphosate: adjuvant: see label",
                "glyphosate: re-entry: see label; buffers: see label"]),
        (full, ["glyphosate: adjuvant: soap [handbook]",
                "glyphosate: re-entry: 12 h; buffers: 3 m"]),
    ):  # fmt: skip
        found = sheet(JUG, actives={"glyphosate": active})
        assert [render(note) for note in found.notes] == notes
    assert sheet(JUG).notes == ()
    assert (sheet(JUG).droplet_class, render(sheet(JUG).droplet_source)) == ("", "")
    asked = sheet(JUG, actives=ACTIVES)
    assert asked.droplet_class == "coarse"
    assert render(asked.droplet_source).startswith("glyphosate: ")
    assert render(asked.droplet_source).endswith("]")


@pytest.mark.parametrize(
    ("caught", "text"),
    [
        (None, "catch each nozzle for a minute"),
        (1.8, "as it should be"),
        (1.9, "6 % too much"),
        (1.7, "6 % too little"),
        (2.1, "17 % too much, more than 10 %: change pressure, speed or nozzle"),
        (1.5, "17 % too little, more than 10 %: change pressure, speed or nozzle"),
    ],
)
def test_a_nozzle_in_words(caught: float | None, text: str) -> None:
    """300 L/ha at 2 m/s and half a metre apart are 1.8 L/min of each nozzle."""
    found = nozzle_check(300.0, 2.0, 0.5, caught)
    assert render(found.text) == text
    assert found.caught_l_min == caught
    if caught is None:
        assert (found.error, found.within_tolerance, found.speed_m_s_to_match) == (None,) * 3


# ---- rotation ------------------------------------------------------------------------------------


def use(day: str, purpose: str, *groups: int, where: str = "") -> Use:
    date = dt.date.fromisoformat(day)
    first = date.year if date.month >= 7 else date.year - 1
    season = f"{first}/{(first + 1) % 100:02d}"
    return Use(date, season, purpose, ("x",), groups, where)


SEPTEMBERS = [use(f"{year}-09-10", "pre-fall", 3) for year in (2021, 2022, 2023, 2024)]


@pytest.mark.parametrize(
    ("plan", "history", "flags"),
    [
        (use("2025-09-10", "pre-fall", 3), SEPTEMBERS[:3], []),
        (use("2025-09-10", "pre-fall", 3), SEPTEMBERS[3:],
         [("note", "group 3 used for fall pre-emergent last season as well")]),
        (use("2025-09-10", "pre-fall", 3, 14), [use("2024-09-10", "pre-fall", 3, 14)],
         [("note", "groups 3 and 14 used for fall pre-emergent last season as well")]),
        (use("2025-09-10", "", 3), [use("2024-09-10", "", 3)],
         [("note", "group 3 used for this purpose last season as well")]),
        (use("2025-09-10", "pre-fall", 3), SEPTEMBERS[2:],
         [("warning", "group 3 for fall pre-emergent for the third season in a row")]),
        (use("2025-09-10", "pre-fall", 3), SEPTEMBERS[1:],
         [("warning", "group 3 for fall pre-emergent for the fourth season in a row")]),
        (use("2025-09-10", "pre-fall", 3), SEPTEMBERS,
         [("warning", "group 3 for fall pre-emergent for the fifth season in a row")]),
        (use("2026-02-10", "dormant", 9), [use("2025-11-10", "post-early", 9)],
         [("note", "group 9 already used this season (2025/26)")]),
        (use("2026-02-10", "dormant", 9),
         [use("2025-01-10", "post-early", 9), use("2024-01-10", "post-early", 9)],
         [("warning", ("group 9 was the only post-emergence control 3 seasons in a row: mix or"
           " alternate with another group"))]),
    ],
)  # fmt: skip
def test_a_repeated_group_in_words(
    plan: Use, history: list[Use], flags: list[tuple[str, str]]
) -> None:
    found = plan_flags([plan], history)
    assert [(flag.level, render(flag.reason)) for flag in found] == flags
    assert all(flag.groups == plan.groups for flag in found)
    assert all(render(remark_of(flag)) == f"Rotation: {render(flag.reason)}." for flag in found)


def test_what_stands_in_stock_instead_is_named() -> None:
    stock = [ACTIVES[name] for name in ("prodiamine", "indaziflam", "glyphosate")]
    (flag,) = plan_flags([use("2025-09-10", "pre-fall", 3)], SEPTEMBERS[3:], stock=stock)
    assert render(remark_of(flag)) == (
        "Rotation: group 3 used for fall pre-emergent last season as well; in stock"
        " instead: indaziflam (group 29)."
    )
    late = use("2026-02-10", "dormant", 2)
    assert [render(one) for one in alternatives(late, [], stock)] == [
        f"{name} (group {group})"
        for name, group in (("indaziflam", 29), ("glyphosate", 9))
        if ACTIVES[name].post
    ]
    used = [use("2025-01-10", "dormant", 9)]
    assert "glyphosate (group 9)" not in [render(one) for one in alternatives(late, used, stock)]


def test_groups_are_listed_by_purpose_and_season() -> None:
    uses = [use("2024-09-10", "pre-fall", 3), use("2023-09-10", "pre-fall", 14),
            use("2024-10-10", "pre-fall", 14, 3), use("2024-11-10", "", 9)]  # fmt: skip
    assert groups_by_season(uses) == {
        "pre-fall": {"2023/24": (14,), "2024/25": (3, 14)},
        "purpose not noted": {"2024/25": (9,)},
    }
    assert list(groups_by_season(uses)["pre-fall"]) == ["2023/24", "2024/25"]


def test_spent_groups_say_when() -> None:
    uses = [use("2024-09-10", "pre-fall", 3), use("2025-09-10", "pre-fall", 14),
            use("2025-09-12", "", 5), use("2025-10-01", "pre-fall", 29),
            use("2023-09-10", "pre-fall", 15), use("2025-09-10", "dormant", 9)]  # fmt: skip
    found = spent_groups(uses, "pre-fall", dt.date(2025, 9, 30), southern=False)
    assert found == {3: "last season", 14: "this season", 5: "this season"}
    again = [*uses, use("2025-09-11", "pre-fall", 3)]
    assert spent_groups(again, "pre-fall", dt.date(2025, 9, 30), southern=False)[3] == "this season"


@pytest.mark.parametrize(
    ("days", "mixed", "faults", "reason", "steps"),
    [
        (30, None, [], "no survivors were noted among dying plants", []),
        (30, False, [], "no survivors were noted among dying plants", []),
        (13, True, [], "13 days after the application is too early to judge",
         ["look again, and mark plants of known age"]),
        (400, True, [],
         "400 days after the application survivors and new seedlings look alike",
         ["look again, and mark plants of known age"]),
        (30, True, None,
         "survivors among dying plants, but how well groups 9 and 14 went on is unknown",
         ["run windowcast review on the application"]),
        (30, True, [say("verdict.cause.cold"), say("verdict.cause.rate")],
         "the application itself explains the survivors first: too cold; too little applied",
         ["repeat under better conditions with a check"]),
        (30, True, [],
         ("plants of one size survive beside dying neighbours after a proper application: suspect"
         " resistance to groups 9 and 14"),
         ["leave an untreated check next time, and rate both",
          ("collect survivors (seed or plants) and have them tested before you rely on the group"
          " again"),
          ("do not repeat the group there this season; control the survivors with another group"
          " before they set seed"),
          "next season mix or alternate groups that both control this weed"]),
    ],
)  # fmt: skip
def test_survivors_in_words(
    days: int, mixed: bool | None, faults: Any, reason: str, steps: list[str]
) -> None:
    done = use("2025-12-01", "post-early", 9, 14)
    found = suspect_resistance(
        done, done.date + dt.timedelta(days), survivors_mixed=mixed, faults=faults
    )
    assert (found.raised, found.groups) == ("suspect resistance" in reason, (9, 14))
    assert render(found.reason) == reason
    assert [render(step) for step in found.steps] == steps


# ---- needs ---------------------------------------------------------------------------------------


def bare(name: str, **of: Any) -> Active:
    """An active of which only group, movement, uptake and timing are known, and what is given."""
    kinds = {"movement": "translocated", "uptake": "leaf", "timing": "post"}
    known = {key: value(of.pop(key, kind)) for key, kind in kinds.items()}
    return Active(name, value(9), **known, **{key: value(v) for key, v in of.items()})


def test_what_is_not_known_of_a_mixture_is_asked_for_by_name() -> None:
    leaf, soil = bare("a"), bare("b", movement="soil", uptake="soil", timing="pre")
    found = needs_of([leaf, soil], "zoysiagrass")
    assert [render(one) for one in found.unknown] == [
        "largest weed stage of a: cannot tell: take it from your label",
        "rain-free hours of a: cannot tell: take it from your label",
        "watering-in depth of b: cannot tell: take it from your label",
        "days to water in of b: cannot tell: take it from your label",
        "lowest air temperature of a: cannot tell: take it from your label",
        "air temperature for full effect of a: cannot tell: take it from your label",
        "safety of a and b on zoysiagrass: cannot tell: take it from your label",
    ]
    assert render(needs_of([leaf]).unknown[-1]).startswith("safety of a on this turf")
    for need in ("rain_free_h", "activation_mm", "activation_days", "temp_low_c", "largest_bbch"):
        assert math.isnan(getattr(found, need))
    assert (found.turf_state, found.night_low_c, found.before_greenup_d) == ("", None, None)
    assert (found.selective, found.light_needed, found.governs) == (None, None, {})


def test_needs_that_do_not_apply_are_none() -> None:
    leaf, soil = needs_of([bare("a")]), needs_of([bare("b", uptake="soil", timing="pre")])
    assert (leaf.activation_mm, leaf.activation_days, leaf.soil_temp_high_c) == (None, None, None)
    assert (soil.rain_free_h, soil.temp_low_c, soil.largest_bbch) == (None, None, None)
    assert (leaf.pre, leaf.post, leaf.contact, leaf.translocated) == (False, True, False, True)
    assert (soil.pre, soil.post, soil.contact, soil.translocated) == (True, False, False, False)
    assert needs_of([bare("a", movement="contact")]).contact


def test_the_strictest_member_sets_each_need() -> None:
    """Longest, deepest, soonest; the highest floor and the lowest ceiling."""
    given = {  # need → of one, of the other, what governs
        "rain_free_h": (4.0, 6.0, 6.0), "activation_mm": (6.0, 12.0, 12.0),
        "activation_days": (7.0, 3.0, 3.0), "temp_low_c": (5.0, 10.0, 10.0),
        "temp_good_c": (12.0, 15.0, 15.0), "temp_high_c": (35.0, 30.0, 30.0),
        "night_low_c": (2.0, 4.0, 4.0), "soil_temp_high_c": (30.0, 25.0, 25.0),
        "humidity_low_pct": (30.0, 50.0, 50.0), "before_greenup_d": (10.0, 30.0, 30.0),
        "largest_bbch": (13.0, 22.0, 22.0),
    }  # fmt: skip
    kinds = {"uptake": "leaf and root", "timing": "both"}
    one = bare("one", **kinds, **{need: values[0] for need, values in given.items()})
    other = bare("other", **kinds, **{need: values[1] for need, values in given.items()})
    found = needs_of([one, other], formulation="spray")
    for need, (_, _, strictest) in given.items():
        assert getattr(found, need) == strictest, need
        assert found.governs[need] == "other"
    assert {float(v) for v in found.used} == {values[2] for values in given.values()}
    assert (found.names, found.groups, found.formulation) == (("one", "other"), (9,), "spray")
    assert found.actives == (one, other)


def test_the_stage_at_which_control_is_lost_is_that_of_the_strongest_member() -> None:
    weak, strong = bare("weak", largest_bbch=13, lost_bbch=30), bare("strong", largest_bbch=22)
    assert needs_of([weak, strong]).lost_bbch is None
    strong = bare("strong", largest_bbch=22, lost_bbch=25)
    assert needs_of([weak, strong]).lost_bbch == 25
    assert needs_of([weak, bare("unknown")]).largest_bbch == 13  # what is not known adds nothing


@pytest.mark.parametrize(
    ("flags", "selective", "light"),
    [
        ((True, True), True, True), ((True, False), False, True), ((False, False), False, False),
        ((True, None), None, True), ((False, None), False, None), ((None, None), None, None),
    ],
)  # fmt: skip
def test_a_mixture_spares_turf_only_where_all_do_and_needs_light_where_one_does(
    flags: tuple[bool | None, ...], selective: bool | None, light: bool | None
) -> None:
    members = [
        bare(str(n)) if flag is None else bare(str(n), selective=flag, light_needed=flag)
        for n, flag in enumerate(flags)
    ]
    assert needs_of(members).selective is selective
    assert needs_of(members).light_needed is light


def test_the_least_green_turf_that_all_are_safe_on() -> None:
    green = replace(bare("a"), turf={"zoysiagrass": value("green")})
    dormant = replace(bare("b"), turf={"zoysiagrass": value("dormant")})
    for pair in ((green, dormant), (dormant, green)):
        found = needs_of(pair, "zoysiagrass")
        assert (found.turf_state, found.governs["turf_state"]) == ("dormant", "b")
    assert needs_of([green, dormant], "buffalograss").turf_state == ""


def test_rules_by_the_state_of_the_turf() -> None:
    active = replace(bare("a"), turf={"zoysiagrass": value("semi-dormant")})
    said = [active.taken_by("zoysiagrass", s) for s in ("dormant", "semi-dormant", "green")]
    assert said == ["yes", "yes", "no"]
    remembered = Value("x", "semi-dormant", "", "nobody", "from memory")
    active = replace(active, turf={"zoysiagrass": remembered})
    assert [active.taken_by("zoysiagrass", s) for s in ("dormant", "green")] == ["", "no"]
    assert active.taken_by("buffalograss", "dormant") == ""
