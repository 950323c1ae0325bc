"""Limits of rates, tank sheet, needs and rotation, each on the value itself and just beside it."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import pytest
from spoken import render

from windowcast.core.errors import InputError
from windowcast.core.places import same_place
from windowcast.core.quantity import Rate, parse, parse_rate
from windowcast.core.values import PACKAGED
from windowcast.materials.actives import Active, load_actives
from windowcast.materials.needs import needs_of
from windowcast.materials.nozzle import nozzle_check
from windowcast.materials.product import Product
from windowcast.materials.rates import (
    Concentration,
    active_kg_ha,
    equivalent_concentration,
    parse_concentration,
    product_rate,
)
from windowcast.materials.rotation import (
    Use,
    alternatives,
    plan_flags,
    remark_of,
    seasons_running,
    spent_groups,
    suspect_resistance,
    use_of,
)
from windowcast.materials.tank import MOST_LOADS, TankSheet, droplet_class, load_volumes, tank_sheet

ACTIVES = load_actives()
TANK = PACKAGED["tank"]
REACH = int(PACKAGED["rotation"].number("repeat.lookback_seasons"))
ONE = Concentration("volume", 1.0)  # kg/L, so that litres are kilograms


def product(name: str, litres_ha: float, **more: object) -> Product:
    """So many kg/ha of glyphosate."""
    rate = Rate("volume", litres_ha / 1e4)
    return Product(name, rate, active="glyphosate", concentration=ONE, formulation="SL", **more)  # type: ignore[arg-type]


def sheet(*products: Product, area_m2: float = 1e4, **more: object) -> TankSheet:
    """One hectare with 100 L from a tank of 100 L, unless told otherwise."""
    return tank_sheet(area_m2, 100.0, 100.0, products, **more)  # type: ignore[arg-type]


def cautions(found: TankSheet) -> list[str]:
    return [caution.id for caution in found.cautions]


# ---- yearly totals ------------------------------------------------------------------------------


def test_the_stricter_of_two_labels_maxima_holds_in_either_order() -> None:
    strict = product("strict", 0.5, max_year_kg_ha=1.0)
    loose = product("loose", 0.5, max_year_kg_ha=4.0)
    unsaid = product("unsaid", 0.5)
    for tank in ((strict, loose), (loose, strict), (unsaid, strict, loose), (strict, unsaid)):
        (total,) = sheet(*tank).totals
        assert total.max_kg_ha == 1.0
        assert total.now_kg_ha == pytest.approx(0.5 * len(tank))  # every product counts
    (total,) = sheet(unsaid).totals
    assert total.max_kg_ha is None


@pytest.mark.parametrize(
    ("before", "now", "over", "alone"),
    [
        (0.0, 1.0, False, False),  # exactly what is allowed
        (0.0, 1.001, True, True),
        (0.5, 0.5, False, False),
        (0.5, 0.501, True, False),
        (1.0, 0.001, True, False),
        (math.nan, 1.0, None, False),  # what went out before is not known
        (math.nan, 1.001, None, True),  # but this tank alone is too much
    ],
)
def test_a_year_may_hold_the_maximum_and_no_more(
    before: float, now: float, over: bool | None, alone: bool
) -> None:
    found = sheet(product("jug", now, max_year_kg_ha=1.0), used_kg_ha={"glyphosate": before})
    (total,) = found.totals
    assert (total.over, total.over_alone) == (over, alone)
    assert ("tank.over_maximum" in cautions(found)) == bool(over or alone)
    assert ("tank.rate_missing" in cautions(found)) == (math.isnan(before) and not alone)
    assert total.known_kg_ha == pytest.approx(now if math.isnan(before) else before + now)


def test_what_is_not_known_of_a_year_is_said_by_its_cause() -> None:
    jug = product("jug", 0.5, max_year_kg_ha=1.0)
    assert "tank.no_log" in cautions(sheet(jug))
    assert "tank.no_log" not in cautions(sheet(jug, used_kg_ha={}))
    assert "tank.rate_missing" in cautions(sheet(jug, used_kg_ha={"glyphosate": math.nan}))
    assert "tank.no_maximum" in cautions(sheet(product("jug", 0.5), used_kg_ha={}))
    assert "tank.no_maximum" not in cautions(sheet(jug, used_kg_ha={}))


# ---- loads and nozzles --------------------------------------------------------------------------


def test_the_tank_may_be_filled_as_often_as_is_allowed_and_no_more() -> None:
    jug = product("jug", 0.5)
    assert MOST_LOADS == 1000
    assert len(sheet(jug, area_m2=1e4 * MOST_LOADS).loads) == MOST_LOADS
    with pytest.raises(InputError, match="would have to be filled"):
        sheet(jug, area_m2=1e4 * (MOST_LOADS + 0.01))


def test_a_last_load_of_a_fifth_is_not_small() -> None:
    jug = product("jug", 0.5)
    limit = TANK.number("loads.small_share")
    assert "tank.small_last" in cautions(sheet(jug, area_m2=1e4 * (1 + limit - 0.01)))
    assert "tank.small_last" not in cautions(sheet(jug, area_m2=1e4 * (1 + limit + 0.01)))
    assert "tank.small_last" not in cautions(sheet(jug, area_m2=1e4 * 0.1))  # nothing to share with
    small = next(c for c in sheet(jug, area_m2=1.1e4).cautions if c.id == "tank.small_last")
    assert small.value("loads") == 2
    assert small.value("each").value == pytest.approx(55.0)  # type: ignore[union-attr]


def test_a_remainder_is_a_load_unless_it_is_a_rounding_error() -> None:
    assert load_volumes(200.0, 100.0) == [100.0, 100.0]
    assert load_volumes(200.1, 100.0) == pytest.approx([100.0, 100.0, 0.1])
    assert load_volumes(200.0 + 1e-9, 100.0) == [100.0, 100.0]


@pytest.mark.parametrize(
    ("off", "good", "said"),
    [
        (0.0, True, "nozzle.right"),
        (0.0049, True, "nozzle.right"),  # written as 0 %
        (0.0999, True, "nozzle.too_much"),
        (-0.0999, True, "nozzle.too_little"),
        (0.1001, False, "nozzle.change"),
        (-0.1001, False, "nozzle.change"),
    ],
)
def test_a_nozzle_may_be_off_by_a_tenth(off: float, good: bool, said: str) -> None:
    # 300 L/ha x 2 m/s x 0.5 m x 60 s / 10 000 = 1.8 L/min, by hand
    check = nozzle_check(300.0, 2.0, 0.5, 1.8 * (1 + off))
    assert check.needed_l_min == pytest.approx(1.8)
    assert check.error == pytest.approx(off, abs=1e-9)
    assert (check.within_tolerance, check.text.id) == (good, said)
    assert check.speed_m_s_to_match == pytest.approx(2.0 * (1 + off))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_amounts_that_are_none_are_refused(bad: float) -> None:
    jug = product("jug", 0.5)
    for values_ in ((bad, 100.0, 100.0), (1e4, bad, 100.0), (1e4, 100.0, bad)):
        with pytest.raises(InputError):
            tank_sheet(*values_, [jug])
    for asked in ((bad, 2.0, 0.5), (300.0, bad, 0.5), (300.0, 2.0, bad)):
        with pytest.raises(InputError):
            nozzle_check(*asked)
    if bad <= 0:
        with pytest.raises(InputError):
            nozzle_check(300.0, 2.0, 0.5, bad)


@pytest.mark.parametrize(
    ("share", "taken"), [(0.0, False), (0.001, True), (0.999, True), (1.0, False)]
)
def test_a_share_of_the_volume_lies_between_nothing_and_all(share: float, taken: bool) -> None:
    soap = Product("soap", share_of_volume=share, formulation="NIS")
    if taken:
        (load,) = sheet(soap).loads
        assert load.doses[0].amount == pytest.approx(share * 100.0)
    else:
        with pytest.raises(InputError, match="has no rate"):
            sheet(soap)


def test_the_carrier_volume_may_be_either_end_of_the_published_range() -> None:
    glyphosate = ACTIVES["glyphosate"]
    span = glyphosate.carrier_l_ha
    assert span is not None
    assert span.low is not None
    assert span.high is not None
    for carrier, outside in (
        (span.low, False), (span.low * 0.99, True), (span.high, False), (span.high * 1.01, True),
    ):  # fmt: skip
        found = tank_sheet(1e4, carrier, 1000.0, [product("jug", 0.5)], actives=ACTIVES)
        assert ("tank.carrier_outside" in cautions(found)) == outside


def test_only_what_has_no_active_and_is_no_adjuvant_goes_uncounted() -> None:
    jug = Product("jug", parse_rate("1 L/ha"), formulation="SL")
    oil = Product("oil", parse_rate("1 L/ha"), formulation="OIL")
    soap = Product("soap", share_of_volume=0.01, formulation="SL")
    assert "tank.not_counted" in cautions(sheet(jug))
    assert "tank.not_counted" not in cautions(sheet(oil))
    assert "tank.not_counted" not in cautions(sheet(soap))
    assert "tank.no_place" in cautions(sheet(Product("jug", parse_rate("1 L/ha"))))
    assert "tank.no_place" not in cautions(sheet(jug))


def test_the_finest_droplets_that_a_member_asks_for() -> None:
    contact, moving, soil = ACTIVES["diquat"], ACTIVES["glyphosate"], ACTIVES["prodiamine"]
    for members, wanted in (
        ([soil, moving, contact], "medium"), ([contact, soil], "medium"),
        ([soil, moving], "coarse"), ([soil], "very coarse"),
    ):  # fmt: skip
        assert droplet_class(members, TANK)[0] == wanted


# ---- rates --------------------------------------------------------------------------------------


def test_a_product_may_be_all_active_and_no_more() -> None:
    assert parse_concentration("100 %").value == 1.0
    with pytest.raises(InputError, match="more active ingredient than product"):
        parse_concentration("100.1 %")
    heaviest = TANK.number("water.heaviest_kg_l")
    assert parse_concentration(f"{heaviest} kg/L").value == pytest.approx(heaviest)
    with pytest.raises(InputError, match="than a litre can carry"):
        parse_concentration(f"{heaviest * 1.001} kg/L")


@pytest.mark.parametrize(("text", "water"), [
    ("8.33 lb/gal", True), ("998 g/L", True), ("0.9935 kg/L", True), ("1.003 kg/L", True),
    ("0.993 kg/L", False), ("1.0035 kg/L", False), ("480 g/L", False),
])  # fmt: skip
def test_the_density_of_water_is_no_concentration(text: str, water: bool) -> None:
    # 0.9982 kg/L at 20 °C (CRC Handbook) within half a percent: 0.99321 to 1.00319
    if water:
        with pytest.raises(InputError, match="density of water"):
            parse_concentration(text)
    else:
        assert parse_concentration(text).per == "volume"


def test_an_equivalent_may_be_as_strong_as_a_product_can_be() -> None:
    rate = parse_rate("1 kg/ha")
    pure = Concentration("mass", 1.0)
    assert equivalent_concentration(rate, pure, parse_rate("1 kg/ha")).value == pytest.approx(1.0)
    with pytest.raises(InputError, match="more than a product can"):
        equivalent_concentration(rate, pure, parse_rate("0.99 kg/ha"))
    with pytest.raises(InputError, match="not above zero"):
        product_rate(0.0, pure)


def test_a_rate_and_a_concentration_must_count_the_same() -> None:
    assert active_kg_ha(parse_rate("2 L/ha"), Concentration("volume", 0.48)) == pytest.approx(0.96)
    assert active_kg_ha(parse_rate("2 kg/ha"), Concentration("mass", 0.65)) == pytest.approx(1.3)
    for rate, per in (("2 L/ha", "mass"), ("2 kg/ha", "volume")):
        with pytest.raises(InputError):
            active_kg_ha(parse_rate(rate), Concentration(per, 0.5))  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["0 gal", "-1 gal"])
def test_nothing_is_no_amount(text: str) -> None:
    with pytest.raises(InputError, match="not above zero"):
        parse(text, "volume")


# ---- needs --------------------------------------------------------------------------------------


def made(name: str, **needs: float) -> Active:
    """Glyphosate with other needs."""
    base = ACTIVES["glyphosate"].rain_free_h
    assert base is not None
    given = {
        key: dataclasses.replace(base, path=f"{name}.{key}", value=value, low=None, high=None)
        for key, value in needs.items()
    }
    return dataclasses.replace(ACTIVES["glyphosate"], name=name, **given)  # type: ignore[arg-type]


def test_the_strictest_member_governs_every_need_of_a_mixture() -> None:
    low = made("low", rain_free_h=1.0, temp_low_c=4.0, temp_good_c=10.0, temp_high_c=30.0)
    high = made("high", rain_free_h=6.0, temp_low_c=8.0, temp_good_c=15.0, temp_high_c=25.0)
    for pair in ((low, high), (high, low)):
        needs = needs_of(pair)
        assert needs.rain_free_h == 6.0  # the longest
        assert needs.temp_low_c == 8.0  # the highest floor
        assert needs.temp_good_c == 15.0
        assert needs.temp_high_c == 25.0  # the lowest ceiling
        assert needs.governs["rain_free_h"] == "high"


# ---- rotation -----------------------------------------------------------------------------------


def use(date: str, purpose: str, *groups: int, where: str = "") -> Use:
    season = use_of(dt.date.fromisoformat(date), purpose, [], southern=False).season
    return Use(dt.date.fromisoformat(date), season, purpose, ("x",), groups, where)


def reasons(plan: Use, *history: Use) -> set[str]:
    return {flag.reason.id for flag in plan_flags([plan], history)}


def test_a_season_is_spent_only_when_all_groups_of_the_mixture_were_used() -> None:
    plan = use("2025-12-10", "dormant", 9, 14)
    one, both = use("2025-11-01", "post-early", 9), use("2025-11-02", "post-early", 14)
    assert reasons(plan, one) == set()  # the other group is new
    assert reasons(plan, one, both) == {"rotation.again"}
    assert reasons(plan, use("2024-12-10", "dormant", 9)) == set()
    assert reasons(plan, use("2024-12-10", "dormant", 9, 14)) == {"rotation.last_season"}
    assert reasons(plan, use("2024-12-10", "dormant", 9, 14, 5)) == {"rotation.last_season"}
    assert reasons(use("2025-12-10", "dormant"), one) == set()  # no group is known


def test_post_emergence_rests_on_one_group_only_while_it_is_alone() -> None:
    plan = use("2025-12-10", "dormant", 9)
    alone = [use("2024-12-10", "post-early", 9), use("2023-12-10", "dormant", 9)]
    assert "rotation.alone" in reasons(plan, *alone)
    assert "rotation.alone" not in reasons(plan, alone[0])  # one season before is not two
    assert "rotation.alone" not in reasons(
        plan, alone[0], alone[1], use("2024-11-01", "dormant", 2)
    )
    assert "rotation.alone" not in reasons(use("2025-09-10", "pre-fall", 9), *alone)
    mixed = use("2025-12-10", "dormant", 9, 14)
    both = [use("2024-12-10", "post-early", 9, 14), use("2023-12-10", "post-early", 9, 14)]
    assert "rotation.alone" not in reasons(mixed, *both)
    barrier = use("2024-09-10", "pre-fall", 3)  # says nothing of post-emergence
    assert "rotation.alone" in reasons(plan, *alone, barrier)
    (flag,) = (f for f in plan_flags([plan], alone) if f.reason.id == "rotation.alone")
    assert flag.level == "warning"
    assert flag.reason.value("seasons") == 3


@pytest.mark.parametrize(("before", "level", "said"), [
    (0, None, None), (1, "note", "rotation.last_season"), (2, "warning", "rotation.running"),
    (4, "warning", "rotation.running"),
])  # fmt: skip
def test_the_third_season_running_is_a_warning(before: int, level: str, said: str) -> None:
    history = [use(f"{2025 - n}-09-10", "pre-fall", 3) for n in range(1, before + 1)]
    flags = plan_flags([use("2025-09-10", "pre-fall", 3)], history)
    assert [(flag.level, flag.reason.id) for flag in flags] == ([(level, said)] if said else [])


def test_no_run_is_followed_beyond_the_seasons_looked_back_on() -> None:
    reach = REACH
    history = [use(f"{2025 - n}-09-10", "pre-fall", 3) for n in range(1, reach + 3)]
    assert seasons_running(use("2025-09-10", "pre-fall", 3), history, REACH) == reach
    southern = [
        Use(dt.date(2025 - n, 3, 1), str(2025 - n), "pre-fall", (), (3,)) for n in range(1, 3)
    ]
    plan = Use(dt.date(2025, 3, 1), "2025", "pre-fall", (), (3,))
    assert seasons_running(plan, southern, REACH) == 2
    assert seasons_running(plan, southern[1:], REACH) == 0  # the season before is missing


def test_every_run_that_can_be_found_has_a_word() -> None:
    reach = REACH
    history = [use(f"{2025 - n}-09-10", "pre-fall", 3) for n in range(1, reach + 1)]
    words = []
    for seasons in range(2, reach + 1):
        (flag,) = plan_flags([use("2025-09-10", "pre-fall", 3)], history[:seasons])
        words.append(render(flag.reason).split(" for the ")[1])
    assert words == [f"{nth} season in a row" for nth in ("third", "fourth", "fifth")]


def test_a_flag_becomes_a_sentence_with_what_stands_in_stock() -> None:
    plan, past = (use(f"{year}-12-10", "dormant", 9) for year in (2025, 2024))
    (bare,) = plan_flags([plan], [past])
    (stocked,) = plan_flags([plan], [past], stock=[ACTIVES["flumioxazin"], ACTIVES["simazine"]])
    said = "Rotation: group 9 used for dormant application last season as well"
    assert render(remark_of(bare)) == f"{said}."
    others = "flumioxazin (group 14), simazine (group 5)"
    assert render(remark_of(stocked)) == f"{said}; in stock instead: {others}."
    both = use("2025-12-10", "dormant", 9, 14)
    (flag,) = plan_flags([both], [use("2024-12-10", "dormant", 9, 14)])
    assert render(flag.reason).startswith("groups 9 and 14 ")


def test_plans_are_read_in_order_of_time_and_count_for_each_other() -> None:
    first, second = use("2025-11-01", "post-early", 2), use("2025-12-01", "dormant", 2)
    for plan in ([first, second], [second, first]):
        flags = plan_flags(plan, [])
        assert [flag.reason.id for flag in flags] == ["rotation.again"]


def test_a_group_is_spent_from_the_day_it_was_used_on() -> None:
    done = use("2025-12-10", "dormant", 9)
    for day, spent in ((dt.date(2025, 12, 9), {}), (done.date, {9: "this season"})):
        assert spent_groups([done], "dormant", day, southern=False) == spent
    assert spent_groups([done], "dormant", dt.date(2026, 7, 1), southern=False) == {
        9: "last season"
    }
    assert spent_groups([done], "dormant", dt.date(2027, 7, 1), southern=False) == {}
    both = [use("2024-12-10", "dormant", 9), done]  # the later one is said
    assert spent_groups(both, "dormant", done.date, southern=False) == {9: "this season"}


def test_alternatives_leave_out_what_was_used_within_two_seasons_and_what_is_planned() -> None:
    shelf = [ACTIVES["simazine"], ACTIVES["glyphosate"], ACTIVES["flumioxazin"]]
    plan = use("2025-12-10", "dormant", 9)

    def offered(*history: Use) -> list[object]:
        return [item.value("group") for item in alternatives(plan, history, shelf)]

    assert offered() == [5, 14]  # its own group is no alternative
    assert offered(use("2025-09-10", "pre-fall", 5)) == [14]
    assert offered(use("2024-12-10", "dormant", 5)) == [14]
    assert offered(use("2023-12-10", "dormant", 5)) == [14]
    assert offered(use("2022-12-10", "dormant", 5)) == [5, 14]  # three seasons ago


def test_alternatives_act_at_the_same_time_as_what_they_replace() -> None:
    shelf = [ACTIVES["prodiamine"], ACTIVES["foramsulfuron"]]  # seedlings only, plants only
    for purpose, group in (("pre-fall", 3), ("post-early", 2), ("dormant", 2)):
        offered = alternatives(use("2025-10-10", purpose, 9), [], shelf)
        assert [item.value("group") for item in offered] == [group]


def test_a_season_counts_for_its_own_purpose_only() -> None:
    other = [use("2024-11-10", "post-early", 9)]
    assert seasons_running(use("2025-12-10", "dormant", 9), other, REACH) == 0
    assert seasons_running(use("2025-12-10", "dormant", 9), other, REACH, any_=True) == 1


@pytest.mark.parametrize(("one", "other", "same"), [
    ("field 2", "Field  2", True), ("field 2", "field 3", False), ("", "field 3", True),
    ("field 2", "", True), ("", "", True),
])  # fmt: skip
def test_a_place_that_was_not_noted_may_be_any(one: str, other: str, same: bool) -> None:
    assert same_place(one, other) is same
    plan, past = (
        use("2025-12-10", "dormant", 9, where=one),
        use("2024-12-10", "dormant", 9, where=other),
    )
    assert bool(reasons(plan, past)) is same


@pytest.mark.parametrize(("days", "said", "raised"), [
    (13, "suspicion.too_early", False), (14, "suspicion.raised", True),
    (120, "suspicion.raised", True), (121, "suspicion.look_alike", False),
])  # fmt: skip
def test_survivors_tell_something_only_in_their_time(days: int, said: str, raised: bool) -> None:
    done = use("2025-12-01", "dormant", 9)
    seen = done.date + dt.timedelta(days=days)
    found = suspect_resistance(done, seen, survivors_mixed=True, faults=[])
    assert (found.raised, found.reason.id) == (raised, said)
    assert found.groups == (9,)
    for mixed in (False, None):
        other = suspect_resistance(done, seen, survivors_mixed=mixed, faults=[])
        assert (other.raised, other.reason.id) == (False, "suspicion.none_mixed")
