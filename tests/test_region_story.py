"""What the sentences of a comparison say: a number where a difference shows, none where it does
not."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from region_fixtures import data
from regions_made_up import (
    UNKNOWN,
    quantity,
    region,
    regional_of,
    seldom,
    two_regions,
    with_difference,
    with_quantity,
)
from spoken import METRIC

from windowcast.region.regional import Estimate, FailingSeason
from windowcast.report.catalogue import Voice
from windowcast.report.region_findings import Findings
from windowcast.report.region_story import story, sub_line

ES = Voice("metric", "es")


def said(found: Findings, voice: Voice = METRIC) -> list[str]:
    told = story(found)
    return [voice.text(line) for line in (told.title, *told.lines)]


def alone(**given: object) -> Findings:
    one = replace(region("", Estimate(24.0, 20.0, 28.0), 3.0), **given)
    return Findings(regional_of(one), {"": ""})


def test_two_regions_that_differ() -> None:
    assert said(two_regions()) == [
        "Coastal plain has twice the spray days of Highlands on fully dormant turf",
        (
            "In an average winter Coastal plain has 31 spray days on fully dormant turf (26 to 36) "
            "and Highlands 16 (12 to 20). Coastal plain has 15 days more than Highlands (9 to 21)."
        ),
        (
            "The fall window opens 12 days later in Coastal plain than in Highlands (8 to 17). "
            "In Coastal plain it has moved later by 5 days a decade (0 to 10), 22 seasons. "
            "In Highlands no trend shows in 22 seasons."
        ),
        "Turf goes dormant at least 9 days later in Coastal plain than in Highlands (5 to 13).",
        "Coastal plain had a week with two spray days on fully dormant turf in each of 22 winters.",
        (
            "In 3 of 22 winters Highlands had no week with two spray days on fully dormant turf: "
            "2010/11, 2013/14 (cold), 2018/19 (wet)."
        ),
    ]


def test_the_same_in_spanish() -> None:
    title, average, fall, *_, failed = said(two_regions("Costa", "Sierra"), ES)
    assert title.endswith(" de días de aplicación en césped en latencia total que Sierra")
    assert "31 días de aplicación en césped en latencia total (26 a 36) y Sierra 16" in average
    assert "abre 12 días más tarde en Costa que en Sierra (8 a 17)" in fall
    assert "se ha atrasado 5 días por década (0 a 10), 22 temporadas" in fall
    assert failed.endswith("2010/11, 2013/14 (frío), 2018/19 (mojado).")


def test_of_a_window_that_stays_shut_in_some_falls_the_chance_is_said_to_have_changed() -> None:
    """Not that its dates moved: how far is unknown where some are beyond all others."""
    fewer = with_quantity(two_regions(), 0, "soil_21", seldom(Estimate(-0.213, -0.348, -0.078)))
    assert said(fewer)[2].endswith(
        "In Coastal plain it does not open every fall, and less often than before. The chance has "
        "fallen by 21 percentage points a decade (8 to 35), 22 seasons. "
        "In Highlands no trend shows in 22 seasons."
    )
    assert "La probabilidad ha bajado 21 puntos porcentuales por década (8 a 35)" in " ".join(
        said(fewer, ES)
    )
    more = with_quantity(two_regions(), 0, "soil_21", seldom(Estimate(0.1, 0.01, 0.19)))
    assert "risen by 10 percentage points a decade (1 to 19)" in said(more)[2]
    for change, q in ((Estimate(0.1, -0.01, 0.2), 0.01), (Estimate(0.1, 0.01, 0.19), 0.2)):
        still = said(with_quantity(two_regions(), 0, "soil_21", seldom(change, q)))[2]
        assert still.endswith(
            "In Highlands no trend shows in 22 seasons. In Coastal plain it does not open every "
            "fall. No trend shows in how often it does in 22 seasons."
        )


def test_where_the_window_stays_shut_in_most_falls_that_is_said() -> None:
    shut = replace(seldom(UNKNOWN), typical=Estimate(math.inf, 150.0, math.inf))
    both = with_difference(two_regions(), "soil_21", UNKNOWN)
    for n in (0, 1):
        both = with_quantity(both, n, "soil_21", shut)
    assert said(both)[2] == (
        "In at least half of the falls the fall window does not open in Coastal plain and "
        "Highlands."
    )
    one = replace(shut, typical=Estimate(150.0, 140.0, math.inf))
    assert said(alone(quantities={**alone().regions[0].quantities, "soil_21": one}))[2] == (
        "The fall window opens on 28 Nov (18 Nov or later). In some falls it does not open."
    )


def test_what_rounds_to_no_day_is_less_than_a_day() -> None:
    little = with_difference(two_regions(), "soil_21", Estimate(0.4, 0.1, 0.7))
    assert said(little)[2].startswith("The fall window opens less than a day later in Coastal")


@pytest.mark.parametrize("difference", [Estimate(4.0, -1.0, 9.0), Estimate(-4.0, -9.0, 0.0)])
def test_an_interval_that_includes_0_is_no_number(difference: Estimate) -> None:
    found = with_difference(two_regions(), "soil_21", difference)
    fall = said(with_difference(found, "spray_days_total", difference))
    assert fall[0].endswith(": no difference shows in spray days on fully dormant turf")
    assert fall[1].endswith("(12 to 20). No difference shows.")
    assert fall[2].startswith("No difference shows between ")
    assert "4 days" not in " ".join(fall)


def test_a_trend_beside_many_others_needs_a_small_q_value() -> None:
    found = two_regions()
    plain = found.regions[0]
    moved = replace(plain.quantities["soil_21"], trend_q=0.2)
    quiet = replace(plain, quantities={**plain.quantities, "soil_21": moved})
    regions = replace(found.regional, regions=(quiet, found.regions[1]))
    fall = said(replace(found, regional=regions))[2]
    assert fall.endswith("In Coastal plain and Highlands no trend shows in 22 seasons.")


@pytest.mark.parametrize(
    ("total", "title"),
    [
        (Estimate(16.0 * 3, 40.0, 55.0), "Coastal plain has three times the spray days of"),
        (
            Estimate(16.0 + 9, 20.0, 30.0),
            "Coastal plain has 15 more spray days on fully dormant turf than Highlands in an",
        ),
    ],
)
def test_the_title_counts_times_or_days(total: Estimate, title: str) -> None:
    found = two_regions()
    plain = found.regions[0]
    days = replace(plain.quantities["spray_days_total"], typical=total)
    more = replace(plain, quantities={**plain.quantities, "spray_days_total": days})
    regions = replace(found.regional, regions=(more, found.regions[1]))
    assert said(replace(found, regional=regions))[0].startswith(title)


def test_the_window_is_the_finding_where_spray_days_do_not_differ() -> None:
    found = with_difference(two_regions(), "spray_days_total", Estimate(1.0, -3.0, 5.0))
    assert (
        said(found)[0] == "The fall window opens 12 days later in Coastal plain than in Highlands"
    )


def test_what_is_unknown_is_said_to_be() -> None:
    found = with_difference(two_regions(), "soil_21", UNKNOWN)
    assert said(found)[2].startswith("Cannot tell when the fall window opens")
    lines = said(alone(quantities=dict.fromkeys(alone().regions[0].quantities, _nothing())))
    assert lines[0] == ""
    assert lines[1].startswith("Cannot tell how many spray days a winter has")
    assert not any("nan" in line for line in lines)


def _failed(seasons: range, reason: str) -> tuple[FailingSeason, ...]:
    return tuple(FailingSeason(season, reason, 0.8) for season in seasons)


def test_where_most_winters_failed_the_others_are_named() -> None:
    bad = (*_failed(range(2002, 2018), "not_dormant"), *_failed(range(2020, 2023), "cold"))
    assert said(alone(failing=bad))[-1] == (
        "In 19 of 22 winters this area had no week with two spray days on fully dormant turf "
        "(16 not fully dormant, 3 cold); 2018/19, 2019/20 and 2023/24 had one."
    )
    every = _failed(range(2002, 2024), "not_dormant")
    assert said(alone(failing=every))[-1] == (
        "This area had no week with two spray days on fully dormant turf in any of 22 winters "
        "(not fully dormant)."
    )
    assert said(alone(failing=bad), ES)[-1].endswith("; en 2018/19, 2019/20 y 2023/24 sí.")
    assert "2002/03" in said(alone(failing=bad[:16]))[-1]  # 16 of 22 are fewer than 75 %


def test_a_winter_of_which_a_week_is_unknown_is_not_said_to_have_had_one() -> None:
    weekly = alone().regions[0].weekly
    assert weekly is not None
    gap = weekly.by_season.copy()
    gap[-1, 30] = math.nan
    bad = _failed(range(2002, 2023), "cold")
    lines = said(alone(failing=bad, weekly=replace(weekly, by_season=gap)))
    assert lines[-1].endswith("2006/07, 2007/08, 15 more (cold).")


def _nothing() -> object:
    whole = alone().regions[0].quantities["soil_21"]
    return replace(whole, typical=UNKNOWN, trend_per_decade=UNKNOWN, happens=None)


def test_one_region_that_nobody_named() -> None:
    lines = said(alone())
    assert lines[0] == "This area: 24 spray days on fully dormant turf in an average winter"
    assert (
        lines[1]
        == "In an average winter this area has 24 spray days on fully dormant turf (20 to 28)."
    )
    assert lines[2] == "The fall window opens on 19 Oct (14 Oct to 24 Oct)."


def test_a_date_that_half_of_the_seasons_lack_is_no_date() -> None:
    whole = alone().regions[0]
    never = replace(whole.quantities["soil_21"], typical=Estimate(math.inf, 110.0, math.inf))
    lines = said(alone(quantities={**whole.quantities, "soil_21": never}))
    assert lines[2].startswith("In at least half of the falls the fall window does not open in th")
    seldom = replace(whole.quantities["dormant"], happens=Estimate(0.81, 0.66, 1.02))
    lines = said(alone(quantities={**whole.quantities, "dormant": seldom}))
    assert "In this area turf goes dormant in 8 of 10 winters (7 to 10)." in lines


def test_many_winters_of_one_reason_are_counted() -> None:
    dry = tuple(FailingSeason(2002 + n, "not_dormant", 1.0) for n in range(9))
    (line,) = (line for line in said(alone(failing=dry)) if line.startswith("In 9 of 22"))
    assert line.endswith(
        "2002/03, 2003/04, 2004/05, 2005/06, 2006/07, 2007/08, 3 more (not fully dormant)."
    )


def test_only_winters_that_could_be_judged_are_counted() -> None:
    assert said(alone(judged=9))[-1].endswith("turf in each of 9 winters.")
    wet = (FailingSeason(2010, "wet", 1.0),)
    assert said(alone(judged=9, failing=wet))[-1].startswith("In 1 of 9 winters this area had")
    assert said(alone(judged=0))[-1] == (
        "Cannot tell in which winters this area had a week with two spray days "
        "on fully dormant turf."
    )


def test_one_winter_is_no_row_of_winters() -> None:
    one = alone(judged=1, seasons=np.array([2010]))
    assert said(one)[-1] == (
        "This area had a week with two spray days on fully dormant turf in the only winter that "
        "can be judged."
    )
    wet = (FailingSeason(2010, "wet", 1.0),)
    always = alone(judged=1, seasons=np.arange(2009, 2012), failing=wet)
    assert said(always)[-1] == (
        "This area had no week with two spray days on fully dormant turf in the only winter that "
        "can be judged (wet)."
    )
    assert said(always, ES)[-1].endswith(" en el único invierno que se puede juzgar (mojado).")
    for found in (one, always):
        for voice in (METRIC, ES):
            assert not re.search(
                r"\b1 (of|de) 1\b|\b1 (winters|inviernos)", " ".join(said(found, voice))
            )
    assert sub_line(data(), one, METRIC).endswith("1 winter, 2010/11")


def test_where_each_winter_that_could_be_judged_failed_none_had_a_week() -> None:
    """Also where others are unknown: not in 3 of 3."""
    bad = (*_failed(range(2002, 2004), "cold"), *_failed(range(2005, 2006), "wet"))
    assert said(alone(failing=bad, judged=3))[-1] == (
        "This area had no week with two spray days on fully dormant turf in any of 3 winters "
        "(2 cold, 1 wet)."
    )


def test_what_hardly_happens_is_not_said_to_happen_in_0_of_10() -> None:
    whole = alone().regions[0]
    rare = replace(whole.quantities["dormant"], happens=Estimate(0.03, 0.0, 0.14))
    lines = said(alone(quantities={**whole.quantities, "dormant": rare}))
    assert "In this area turf hardly ever goes dormant (0 to 1 of 10 winters)." in lines


def test_a_difference_of_less_than_half_a_day_is_no_number() -> None:
    found = with_difference(two_regions(), "spray_days_total", Estimate(0.4, 0.1, 0.7))
    found = with_quantity(found, 0, "spray_days_total", quantity(Estimate(16.4, 12.0, 20.0)))
    title, average, *_ = said(found)
    assert title == (
        "Coastal plain has slightly more spray days on fully dormant turf than Highlands in an "
        "average winter"
    )
    assert average.endswith("Coastal plain has less than a day more than Highlands (0 to 1).")


def test_a_region_across_the_equator_is_said_to_be() -> None:
    assert said(alone(across=True))[1] == (
        "Stations of this area lie on both sides of the equator. "
        "Dates and winters are named as in the north."
    )
    assert "equator" not in " ".join(said(alone()))


def test_southern_winters_have_the_name_of_their_year() -> None:
    wet = (FailingSeason(2010, "wet", 1.0),)
    assert said(alone(failing=wet, southern=True))[-1].endswith(": 2010 (wet).")


def test_stations_compared_as_regions_are_called_stations() -> None:
    found = two_regions()
    third = region("Farm", Estimate(22.0, 18.0, 26.0), 2.6)
    three = replace(found.regional, regions=(*found.regions, third), of_stations=True)
    many = Findings(three, {**found.called, "Farm": "Farm"})
    assert said(many)[0].startswith("Of 3 stations, Coastal plain has the most spray days")
    assert said(many, ES)[0].startswith("De 3 estaciones, Coastal plain tiene más días")


def test_of_many_regions_the_first_and_the_last_are_named() -> None:
    found = two_regions()
    third = region("Piedmont", Estimate(22.0, 18.0, 26.0), 2.6)
    regions = replace(found.regional, regions=(*found.regions, third))
    many = Findings(regions, {**found.called, "Piedmont": "Piedmont"})
    assert said(many)[0] == (
        "Of 3 regions, Coastal plain has the most spray days on fully dormant turf and Highlands "
        "the fewest"
    )
