"""What is said of resistance: each status, step and survey in words, from what was found.

Marks and surveys are those of ``data/resistance.toml`` (Brosnan et al. 2020: golf courses of the
mid-South; 866 samples of turf); each line was worked out by hand.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from spoken import render

from windowcast.materials.resistance import (
    Failing,
    Resistances,
    ResistanceStatus,
    already_resistant,
    class_of,
    next_steps,
    settled,
    status_text,
    surveyed,
    told,
)

DAY = dt.date(2025, 3, 10)
TESTED = ResistanceStatus("POAAN", 9, "resistant", "tested", "glyphosate", "post", DAY)
PLANTS = "Test 59 plants or more."


def status(standing: str, basis: str = "tested", **more: Any) -> ResistanceStatus:
    return replace(TESTED, standing=standing, basis=basis, **more)


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (TESTED, ("Annual bluegrass is resistant to glyphosate (group 9) on this ground (test of"
         " Mon 10 Mar). Do not rely on it there.")),
        (status("resistant", survivors=0.4), ("Annual bluegrass is resistant to glyphosate (group"
         " 9) on this ground (test of Mon 10 Mar: 40 % survived). Do not rely on it there.")),
        (status("resistant", survivors=0.4, plants=50), ("Annual bluegrass is resistant to"
         " glyphosate (group 9) on this ground (test of Mon 10 Mar: 40 % of 50 plants survived). Do"
         " not rely on it there.")),
        (status("segregating", "declared", active=""), ("Some annual bluegrass plants on this"
         " ground survive group 9 (as your site file says). Use it only with another group that"
         " works on the weed.")),
        (status("susceptible", "declared", weed="", group=0), ("The plants tested show no"
         " resistance of the weed to glyphosate (unknown mode of action) (as your site file says)."
         " It speaks for those plants only.")),
        (status("suspected", "log", times=2), ("Suspect that annual bluegrass is resistant to"
         " glyphosate (group 9). Plants survived beside dead ones after 2 applications in a row,"
         " last seen Mon 10 Mar. Rate, rain and cold do not explain it.")),
        (status("unknown", survivors=0.0, plants=20), ("Annual bluegrass and glyphosate (group 9):"
         f" too few plants were tested to tell (test of Mon 10 Mar: 0 % of 20 plants survived)."
         f" {PLANTS}")),
        (status("unknown", date=None), ("Annual bluegrass and glyphosate (group 9): too few plants"
         f" were tested to tell. {PLANTS}")),
    ],
)  # fmt: skip
def test_a_status_in_words(found: ResistanceStatus, said: str) -> None:
    assert render(status_text(found)) == said


@pytest.mark.parametrize(
    ("standing", "said"),
    [
        ("resistant", "annual bluegrass is resistant to glyphosate on this ground"),
        ("segregating", "some annual bluegrass plants survive glyphosate on this ground"),
        ("suspected", "annual bluegrass may be resistant to glyphosate on this ground"),
    ],
)
def test_a_failing_active_in_words(standing: Any, said: str) -> None:
    assert render(Failing(standing, "glyphosate", TESTED).text) == said
    of_any = render(Failing(standing, "glyphosate", replace(TESTED, weed="")).text)
    assert of_any == said.replace("annual bluegrass", "the weed")


CHANGE = "use another mode of action group that works on this weed there"
NO_SEED = "kill or remove the survivors before they set seed"
SAMPLE = "sample 59 plants, or seed heads of as many, over the whole area and have them tested"
CHECK = "leave an untreated check next time, and rate both"


@pytest.mark.parametrize(
    ("standings", "steps"),
    [
        (["resistant"], [CHANGE, NO_SEED]),
        (["segregating"], [CHANGE, NO_SEED, CHECK]),
        (["suspected"], [CHANGE, NO_SEED, SAMPLE, CHECK]),
        (["unknown"], [SAMPLE]),
        (["susceptible"], []),
        (["unknown", "segregating"], [CHANGE, NO_SEED, SAMPLE, CHECK]),
        ([], []),
    ],
)
def test_what_to_do_by_what_is_known(standings: list[str], steps: list[str]) -> None:
    assert [render(step) for step in next_steps([status(s) for s in standings])] == steps


def survey(share: int, group: int) -> str:
    return (
        f"In a survey of golf courses of the mid-South in 2018, {share} % had some annual bluegrass"
        f" resistant to group {group}."
    )


ANY = (
    "Of 866 turf samples across the United States, 17 % had annual bluegrass suspected of"
    " resistance to at least one of five active ingredients."
)


@pytest.mark.parametrize(
    ("weed", "groups", "golf", "said", "chances"),
    [
        ("POAAN", (9, 2), True, [survey(21, 2), survey(64, 9)], {2: 0.21, 9: 0.64}),
        ("POAAN", (3, 5, 29), True, [survey(58, 3), survey(97, 5)], {3: 0.58, 5: 0.97, 29: 0.0}),
        ("POAAN", (29,), False, [ANY], {29: 0.168, 9: 0.168}),
        ("POAAN", (), False, [], {}),
        ("DIGIS", (1,), True, [], {1: 0.0}),
        ("DIGIS", (1,), False, [], {1: 0.0}),
    ],
)
def test_surveys_stand_in_where_nobody_tested(
    weed: str, groups: tuple[int, ...], golf: bool, said: list[str], chances: dict[int, float]
) -> None:
    assert [render(one) for one in surveyed(weed, groups, golf=golf)] == said
    for group, chance in chances.items():
        assert already_resistant(Resistances(), weed, group, golf=golf) == pytest.approx(chance)


@pytest.mark.parametrize(
    ("statuses", "chance"),
    [
        ([TESTED], 1.0), ([status("segregating")], 1.0), ([status("suspected", "log")], 1.0),
        ([status("susceptible")], 0.0), ([status("unknown")], 0.64),
        ([status("susceptible"), TESTED], 1.0),  # other plants did resist
        ([replace(TESTED, weed="")], 1.0),  # of any weed
        ([replace(TESTED, weed="DIGIS")], 0.64), ([replace(TESTED, group=2)], 0.64),
    ],
)  # fmt: skip
def test_what_was_found_here_goes_before_the_surveys(
    statuses: list[ResistanceStatus], chance: float
) -> None:
    known = Resistances(tuple(statuses))
    assert already_resistant(known, "POAAN", 9, golf=True) == pytest.approx(chance)


def test_all_that_is_to_say_stands_in_order() -> None:
    """Statuses, then what to do, then the surveys of groups at hand that nobody tested."""
    known = Resistances((status("segregating", "declared"),), {}, frozenset({9, 2}))
    assert [render(one) for one in told(known, ["POAAN", "DIGIS"], golf=True)] == [
        (
            "Some annual bluegrass plants on this ground survive glyphosate (group 9) (as your site"
            " file says). Use it only with another group that works on the weed."
        ),
        f"Next: {CHANGE}; {NO_SEED}; {CHECK}.",
        f"Not tested here. {survey(21, 2)}",
    ]
    of_log = Resistances((status("suspected", "log", times=2),), {}, frozenset({9}))
    assert render(told(of_log, ["POAAN"], golf=True)[-1]) == f"Not tested here. {survey(64, 9)}"
    few = Resistances((status("unknown"),), {}, frozenset({9}))
    assert [render(one)[-30:] for one in told(few, ["POAAN"], golf=True)] == [
        f"(test of Mon 10 Mar). {PLANTS}"[-30:], f"Next: {SAMPLE}."[-30:],
    ]  # fmt: skip
    assert told(Resistances(), ["POAAN"], golf=True) == ()


def test_a_test_that_found_none_ends_a_suspicion_of_the_same_before_it() -> None:
    log, clear = status("suspected", "log", times=2), status("susceptible", active="")
    for other, kept in (
        (clear, False), (replace(clear, active="glyphosate"), False),
        (replace(clear, date=DAY - dt.timedelta(1)), True), (replace(clear, date=None), True),
        (replace(clear, weed="DIGIS"), True), (replace(clear, group=2), True),
        (replace(clear, active="diquat"), True), (status("unknown", active=""), True),
        (replace(clear, basis="declared"), True),
    ):  # fmt: skip
        assert (log in settled([log, other])) == kept
        assert TESTED in settled([TESTED, other])
    assert replace(log, date=None) in settled([replace(log, date=None), clear])


def test_the_worst_stands_first_and_nothing_twice() -> None:
    order = [TESTED, *map(status, ("segregating", "suspected", "susceptible", "unknown"))]
    assert settled([*order[::-1], TESTED]) == tuple(order)
    weeds = [replace(TESTED, weed="DIGIS"), replace(TESTED, group=2), TESTED]
    assert settled(weeds[::-1]) == tuple(weeds)


@pytest.mark.parametrize(
    ("percent", "plants", "method", "standing"),
    [
        (30.1, None, "", "resistant"), (30.0, None, "", "segregating"),
        (5.0, None, "whole plants", "segregating"), (4.9, 59, "agar", "susceptible"),
        (4.9, 58, "agar", "unknown"), (4.9, None, "agar", "unknown"),
        (80.1, None, "water culture", "resistant"), (80.0, None, "water culture", "segregating"),
        (10.0, None, "water culture", "segregating"), (9.9, 59, "water culture", "susceptible"),
    ],
)  # fmt: skip
def test_a_test_is_classed_by_its_method(
    percent: float, plants: int | None, method: str, standing: str
) -> None:
    """At least 59 plants without a survivor rule out one in twenty: 0.95 ** 59 = 0.0485."""
    assert class_of(percent / 100, plants, method) == standing


def test_the_worst_of_a_tank_on_the_weeds_in_question() -> None:
    groups = {"glyphosate": 9, "diquat": 22, "simazine": 5, "water": 0, "vinegar": 0}
    known = Resistances(
        (status("suspected", "log"), TESTED, status("segregating", group=5, active="simazine"),
         status("resistant", group=0, active="water", weed="")),
        groups,
    )  # fmt: skip

    def found(*actives: str, weeds: tuple[str, ...] = ("POAAN",), timing: Any = "post") -> Any:
        failing = known.against(actives, weeds, timing)
        return failing and (failing.standing, failing.active)

    assert found("glyphosate") == ("resistant", "glyphosate")
    assert found("simazine", "glyphosate") == ("resistant", "glyphosate")
    assert found("simazine") == ("segregating", "simazine")
    assert found("diquat") is None
    assert found("glyphosate", weeds=("DIGIS",)) is None
    assert found("glyphosate", timing="pre") == ("suspected", "glyphosate")  # seen after emergence
    assert found("water", weeds=("DIGIS",)) == ("resistant", "water")  # of any weed
    assert found("vinegar") is None  # another mode of action that nobody knows
    assert known.weeds == {"POAAN", ""}
    assert Resistances((status("susceptible"),)).weeds == frozenset()
