"""Every interval of the active ingredients on the day before it ends and on the day it ends.

The intervals are read from the tables: days before seeding, age of what was sown, age of new turf.
What is only remembered forbids until then and permits nothing after (`permits`).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from windowcast.core.values import Value, load
from windowcast.limits.ground import Ground
from windowcast.limits.model import Limit
from windowcast.limits.rules import limits_on, new_turf, overseeding, permits
from windowcast.limits.treatment import Treatment, treatments_of
from windowcast.materials.actives import load_actives
from windowcast.materials.label_values import NEVER, species_key
from windowcast.materials.needs import needs_of

pytestmark = pytest.mark.usefixtures("limits_said")
VALUES = load("limits")
BERMUDA = "hybrid bermudagrass"
DATE = dt.date(2026, 11, 10)
WHOLE = Ground(BERMUDA, sowing="none", mature=True)
DAY = dt.timedelta(days=1)
RYE = "perennial_ryegrass"
SOWN = dt.date(2026, 9, 15)
TRANSITION = dt.date.fromisoformat(f"2027-{VALUES.value('overseed.transition_starts').value}")


def treatment(name: str) -> Treatment:
    actives = load_actives()
    (found,) = treatments_of(needs_of(actives.mixture(name), BERMUDA), BERMUDA, VALUES)
    return found


TREATMENTS = {active.name: treatment(active.name) for active in load_actives().values()}
BEFORE_SEED = [
    (name, way, value)
    for name, found in TREATMENTS.items()
    for way, value in (("broadcast", found.seeding_d), ("slit", found.slit_seeding_d))
    if value is not None
]
ON_THE_STAND = [
    (name, grass, value)
    for name, found in TREATMENTS.items()
    for grass, value in found.overseed.items()
]
ON_NEW_TURF = [
    (name, way, value)
    for name, found in TREATMENTS.items()
    for way, value in found.new_turf.items()
]


def ids(case: object) -> str:
    return str(case.path) if isinstance(case, Value) else str(case)


def test_there_are_intervals_of_each_kind() -> None:
    assert len(BEFORE_SEED) > 5
    assert len(ON_THE_STAND) > 5
    assert len(ON_NEW_TURF) > 2


@pytest.mark.parametrize(("name", "way", "value"), BEFORE_SEED, ids=ids)
def test_days_before_seeding(name: str, way: str, value: Value) -> None:
    def asked(left: int) -> Limit:
        ground = replace(WHOLE, sowing="planned", sown=DATE + left * DAY, sown_by=way)  # type: ignore[arg-type]
        found = overseeding(TREATMENTS[name], ground, DATE, VALUES)
        assert found is not None
        return found

    days = int(float(value))
    assert asked(days - 1).answer == "no"
    assert asked(days).answer == ("yes" if permits(value) else "cannot tell")


@pytest.mark.parametrize(("name", "grass", "value"), ON_THE_STAND, ids=ids)
def test_age_of_what_was_sown(name: str, grass: str, value: Value) -> None:
    species = grass.replace("_", " ")
    assert species_key(species) == grass

    ground = replace(WHOLE, sowing="done", sown=SOWN, sown_species=species)

    def asked(age: int) -> Limit:
        found = overseeding(TREATMENTS[name], ground, SOWN + age * DAY, VALUES)
        assert found is not None
        return found

    if value.value == NEVER:
        assert asked(100).answer == "no"
        assert asked(100).until is None
        return
    days = int(float(value))
    grown = SOWN + days * DAY
    young = asked(days - 1)
    assert (young.answer, young.until) == ("no", grown)
    # from the start of transition on, sources disagree about what stops roots
    rooting = TREATMENTS[name].roots and grown >= TRANSITION and value.status != "label guidance"
    assert asked(days).answer == ("yes" if permits(value) and not rooting else "cannot tell")


@pytest.mark.parametrize(("name", "way", "value"), ON_NEW_TURF, ids=ids)
def test_age_of_new_turf(name: str, way: str, value: Value) -> None:
    def asked(age: int) -> Limit:
        laid = DATE - age * DAY
        ground = replace(WHOLE, mature=None, established=laid, established_by=way)  # type: ignore[arg-type]
        found = new_turf(TREATMENTS[name], ground, DATE, VALUES)
        assert found is not None
        return found

    if value.value == NEVER:
        assert asked(1000).answer == "no"
        return
    days = int(float(value))
    if days > 0:
        young = asked(days - 1)
        assert (young.answer, young.until) == ("no", DATE + DAY)
    grown = days >= VALUES.number("new_turf.full_growth")
    assert asked(days).answer == ("yes" if permits(value) or grown else "cannot tell")


@pytest.mark.parametrize("name", sorted(TREATMENTS))
def test_new_turf_that_no_table_names_waits_for_full_growth(name: str) -> None:
    found = replace(TREATMENTS[name], new_turf={})
    full = int(VALUES.number("new_turf.full_growth"))
    for age, answer in ((full - 1, "cannot tell"), (full, "yes")):
        ground = replace(WHOLE, mature=None, established=DATE - age * DAY, established_by="sod")
        limit = new_turf(found, ground, DATE, VALUES)
        assert limit is not None
        assert limit.answer == answer
    ground = replace(ground, established=DATE + DAY)
    limit = new_turf(found, ground, DATE, VALUES)
    assert limit is not None
    assert limit.answer == "cannot tell"


@pytest.mark.parametrize("name", sorted(TREATMENTS))
def test_nothing_said_of_the_ground_is_no_permission(name: str) -> None:
    found = limits_on(TREATMENTS[name], Ground(BERMUDA), DATE, VALUES)
    answers = {limit.rule: limit.answer for limit in found}
    assert answers["overseeding"] == answers["new turf"] == "cannot tell"
    assert all(limit.remedy for limit in found if limit.answer == "cannot tell")


@pytest.mark.parametrize("name", sorted(n for n, t in TREATMENTS.items() if t.last_day))
def test_last_day_of_the_year(name: str) -> None:
    last_day = TREATMENTS[name].last_day
    assert last_day is not None
    month, day = (int(part) for part in str(last_day.value).split("-"))
    last = dt.date(2026, month, day)
    for date, refused in ((last, False), (last + DAY, True)):
        rules = [limit.rule for limit in limits_on(TREATMENTS[name], WHOLE, date, VALUES)]
        assert ("time of year" in rules) is refused


@pytest.mark.parametrize(
    ("status", "sown", "answer"),
    [
        ("published", SOWN, "cannot tell"),  # sources disagree about root pruners in spring
        ("label guidance", SOWN, "yes"),  # the user's own label decides
        ("published", TRANSITION, "yes"),  # sown when transition began
        ("from memory", TRANSITION, "cannot tell"),
    ],
)
def test_root_pruners_in_spring_on_what_was_sown(status: str, sown: dt.date, answer: str) -> None:
    value = replace(ON_THE_STAND[0][2], value=60, status=status)
    found = replace(TREATMENTS["prodiamine"], overseed={RYE: value})
    ground = replace(WHOLE, sowing="done", sown=sown, sown_species="perennial ryegrass")
    date = TRANSITION + 60 * DAY
    limit = overseeding(found, ground, date, VALUES)
    assert found.roots
    assert limit is not None
    assert limit.answer == answer
