"""A tank and its record: what comes from the words, the sprayer, the areas and the log."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import pytest
from spoken import render

from windowcast.core.site import Site, site_from
from windowcast.materials.actives import load_actives
from windowcast.materials.products import product_from
from windowcast.records.model import Application, Material
from windowcast.records.tank_job import (
    AsSprayed,
    TankJob,
    TankRequest,
    application_of,
    setting,
    tank_job,
)

ACTIVES = load_actives()
DAY, START = dt.date(2025, 2, 10), dt.datetime(2025, 2, 10, 9, tzinfo=dt.UTC)
JUG = product_from(
    {"name": "jug", "active": "glyphosate", "concentration": "480 g/L", "rate": "2 L/ha",
     "formulation": "SL", "registration": "0-1", "restricted": "no"}, ACTIVES,
)  # fmt: skip
SOAP = product_from({"name": "soap", "share": "0.5 %", "formulation": "NIS"}, ACTIVES)
DYE = product_from({"name": "dye", "rate": "1 L/ha", "formulation": "SL"}, ACTIVES)
BOOM = {
    "name": "boom", "tank": "300 L", "carrier": "300 L/ha", "nozzle": "flat fan", "speed": "2 m/s",
    "spacing": "50 cm", "flow": "1.8 L/min", "measured": dt.date(2025, 1, 10),
    "pressure": "200 kPa", "droplet_class": "coarse", "boom_height_m": 0.5,
}  # fmt: skip


def place(**more: Any) -> Site:
    plain = {
        "name": "A", "latitude": 33.0, "longitude": -84.0, "sprayer": [BOOM],
        "turf": {"species": "zoysiagrass", "use": "sports"},
        "area": [{"name": "greens", "size": "1 ha"}, {"name": "tees", "size": "0.5 ha"},
                 {"name": "rough"}],
        "operator": {"name": "R. Vega", "certification": "C-17"},
    }  # fmt: skip
    return site_from({**plain, **more})


def asked(*products: Any, **more: Any) -> TankRequest:
    return TankRequest(products or (JUG,), **{"where": "greens, tees", **more})


def job(
    request: TankRequest | None = None, site: Site | None = None, log: Any = (), day: dt.date = DAY
) -> TankJob:
    return tank_job(request or asked(), site or place(), ACTIVES, log, day)


def test_a_record_holds_all_that_the_tank_the_site_and_the_sprayer_know() -> None:
    """1.5 ha: 3 L of jug with 0.96 kg/ha, 1.5 L of dye; soap is half a percent of 450 L."""
    done = AsSprayed(START, START + dt.timedelta(hours=1), target="POAAN", notes="Windy later.")
    found = application_of(job(asked(JUG, SOAP, DYE, purpose="dormant")), done)
    (tank,) = found.materials
    assert tank.rate_kg_ha == pytest.approx(0.96)
    assert replace(tank, rate_kg_ha=None) == Material(
        "glyphosate", None, product="jug", registration="0-1", product_rate="2 L/ha",
        product_total=tank.product_total, restricted=False,
    )  # fmt: skip
    assert "3 L" in tank.product_total
    assert found.adjuvant.startswith("soap 0.5 %, ")
    assert "2.25 L" in found.adjuvant
    assert found.notes.startswith("Also in the tank: dye 1 L/ha, ")
    assert found.notes.endswith(". Windy later.")
    assert "1.5 L" in found.notes
    assert found.area_m2 == pytest.approx(1.5e4)
    assert found.speed_m_s == pytest.approx(2.0)
    assert found.pressure_kpa == pytest.approx(200.0)
    assert replace(
        found, materials=(tank,), adjuvant="", notes="", area_m2=None, speed_m_s=None,
        pressure_kpa=None,
    ) == Application(
        START, (tank,), end=START + dt.timedelta(hours=1), where="greens, tees",
        site_kind="sports turf, zoysiagrass", purpose="dormant", target="POAAN",
        carrier_l_ha=300.0, nozzle="flat fan", droplet_class="coarse", boom_height_m=0.5,
        operator="R. Vega", certification="C-17",
    )  # fmt: skip


def test_a_record_without_a_site_has_what_the_words_say() -> None:
    words = TankRequest((JUG,), "back field", area="1 ha", carrier="200 L/ha", tank="100 L")
    found = application_of(tank_job(words, None, ACTIVES, None, DAY), AsSprayed(START))
    assert (found.where, found.area_m2, found.carrier_l_ha) == ("back field", 1e4, 200.0)
    assert (found.site_kind, found.nozzle, found.droplet_class, found.operator) == ("",) * 4
    assert (found.pressure_kpa, found.boom_height_m, found.speed_m_s) == (None, None, None)
    assert (found.notes, found.adjuvant, found.certification) == ("", "", "")


@pytest.mark.parametrize(
    ("operator", "certification", "kept"),
    [("", "", ("R. Vega", "C-17")), ("R. Vega", "", ("R. Vega", "C-17")),
     ("J. Ortiz", "", ("J. Ortiz", "")), ("J. Ortiz", "C-2", ("J. Ortiz", "C-2")),
     ("", "C-9", ("R. Vega", "C-9"))],
)  # fmt: skip
def test_a_certificate_is_that_of_the_one_who_sprayed(
    operator: str, certification: str, kept: tuple[str, str]
) -> None:
    done = AsSprayed(START, operator=operator, certification=certification)
    found = application_of(job(), done)
    assert (found.operator, found.certification) == kept


def test_the_boom_is_as_high_as_the_sprayer_says_else_the_site() -> None:
    low = {**BOOM, "boom_height_m": None}
    del low["boom_height_m"]
    for sprayer, height in ((BOOM, 0.5), (low, 0.7)):
        site = place(sprayer=[sprayer], equipment={"boom_height_m": 0.7})
        assert application_of(job(site=site), AsSprayed(START)).boom_height_m == height


def test_the_kind_of_ground_is_said_as_far_as_the_site_file_does() -> None:
    mixed = [{"name": "greens", "size": "1 ha", "species": "hybrid bermudagrass"},
             {"name": "tees", "size": "1 ha"}]  # fmt: skip
    for turf, areas, kind in (
        ({"species": "zoysiagrass", "use": "other"}, None, "turf, zoysiagrass"),
        ({"use": "golf"}, None, "golf turf"), ({}, None, "turf"),
        ({"species": "zoysiagrass", "use": "golf"}, mixed,
         "golf turf, hybrid bermudagrass; golf turf, zoysiagrass"),
    ):  # fmt: skip
        site = place(turf=turf, **({"area": areas} if areas else {}))
        assert application_of(job(site=site), AsSprayed(START)).site_kind == kind


def test_what_is_asked_goes_before_the_sprayer_and_a_bare_number_has_its_unit() -> None:
    site = place()
    kept = setting(asked(), site)
    assert (kept.area_m2, kept.carrier_l_ha, kept.tank_l, kept.speed_m_s) == pytest.approx(
        (1.5e4, 300.0, 300.0, 2.0)
    )
    assert [area.name for area in kept.areas] == ["greens", "tees"]
    assert kept.nozzle is not None
    assert kept.nozzle.needed_l_min == pytest.approx(1.8)
    assert kept.nozzle.caught_l_min == pytest.approx(1.8)
    words = asked(area="2 ha", carrier="400", tank="200", speed="3", spacing="0.4 m", flow="2")
    mine = setting(words, site)
    assert (mine.area_m2, mine.carrier_l_ha, mine.tank_l, mine.speed_m_s) == pytest.approx(
        (2e4, 400.0, 200.0, 3.0)
    )
    assert mine.nozzle is not None
    assert mine.nozzle.needed_l_min == pytest.approx(400 / 1e4 * 3 * 0.4 * 60)
    assert mine.nozzle.caught_l_min == pytest.approx(2.0)
    bare = {key: BOOM[key] for key in ("name", "tank", "carrier")}
    none = setting(asked(), place(sprayer=[bare]))
    assert (none.nozzle, none.speed_m_s) == (None, None)


def cautions(found: TankJob) -> list[str]:
    return [render(one) for one in found.sheet.cautions]


@pytest.mark.parametrize(
    ("measured", "caution"),
    [
        (dt.date(2024, 8, 11), ""),  # 183 days before
        (dt.date(2024, 8, 10), ("boom: its flow was measured 184 days ago, on 10 Aug 2024."
                               " Measure it again.")),
        (None, ("boom: nobody noted when its flow was measured. Measure it again, and note the"
               " day.")),
    ],
)  # fmt: skip
def test_a_flow_that_is_old_or_of_an_unknown_day_is_to_be_measured_again(
    measured: dt.date | None, caution: str
) -> None:
    boom = {key: value for key, value in BOOM.items() if key != "measured"}
    site = place(sprayer=[boom if measured is None else {**boom, "measured": measured}])
    said = [one for one in cautions(job(site=site)) if one.startswith("boom: ")]
    assert said == ([caution] if caution else [])
    mine = cautions(job(asked(flow="1.8 L/min"), site))  # measured now
    assert not [one for one in mine if one.startswith("boom: ")]


def test_droplets_finer_than_the_sheet_asks_for_are_said() -> None:
    finer = "The sprayer gives {} droplets. They are finer than coarse and drift further."
    for own, said in (("coarse", False), ("Fine", True), ("very coarse", False), ("odd", False),
                      ("", False), ("medium", True)):  # fmt: skip
        found = cautions(job(site=place(sprayer=[{**BOOM, "droplet_class": own}])))
        assert (finer.format(own.lower()) in found) == said


def logged(rate: float | None, where: str, days: int = 30, **more: Any) -> Application:
    start = START - dt.timedelta(days)
    return Application(start, (Material("glyphosate", rate),), where=where, **more)


@pytest.mark.parametrize(
    ("log", "before"),
    [
        (None, math.nan), ([], 0.0), ([logged(1.0, "greens"), logged(0.4, "tees")], 1.0),
        ([logged(1.0, "greens"), logged(0.4, "greens, tees")], 1.4), ([logged(2.0, "rough")], 0.0),
        ([logged(1.0, "greens"), logged(None, "tees")], math.nan),
        ([logged(None, "greens"), logged(1.0, "tees")], math.nan),
        ([logged(1.0, "greens", 400)], 0.0),
    ],
)  # fmt: skip
def test_the_year_is_that_of_the_area_that_had_most(log: Any, before: float) -> None:
    (total,) = job(log=log).sheet.totals
    assert total.before_kg_ha == pytest.approx(before, nan_ok=True)
    assert total.now_kg_ha == pytest.approx(0.96)


def test_a_group_that_the_log_has_on_this_ground_is_repeated() -> None:
    again = "Rotation: group 9 already used this season (2024/25)."
    for log, said in (
        ([logged(1.0, "greens", purpose="post-early")], True),
        ([logged(1.0, "rough", purpose="post-early")], False),
        ([logged(1.0, "greens", 0, purpose="post-early")], False),  # that day's is this one
        (None, False),
    ):  # fmt: skip
        found = cautions(job(asked(purpose="dormant"), log=log))
        assert (again in found) == said
    stocked = place(stock=["simazine"])
    log = [logged(1.0, "greens", purpose="post-early")]
    found = cautions(job(asked(purpose="dormant"), stocked, log))
    assert "Rotation: group 9 already used this season (2024/25); in stock instead: simazine" in (
        " ".join(found)
    )


def test_the_area_asked_for_is_written_as_the_site_file_has_it() -> None:
    found = job(asked(where=" TEES ; greens"))
    assert found.asked.where == "tees, greens"
    assert [area.name for area in found.areas] == ["tees", "greens"]
    assert found.sprayer is not None
    assert (found.sprayer.name, found.speed_m_s) == ("boom", 2.0)
    assert set(found.sheet.refusals) <= set(found.sheet.cautions)
