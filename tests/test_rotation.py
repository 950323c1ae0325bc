"""Rotation of modes of action, and when survivors raise suspicion of resistance."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from spoken import render

from windowcast.core.phrase import Phrase, Quantity, say
from windowcast.core.values import PACKAGED
from windowcast.materials.actives import Active, load_actives
from windowcast.materials.rotation import (
    Suspicion,
    Use,
    groups_by_season,
    plan_flags,
    seasons_running,
    spent_groups,
    suspect_resistance,
    use_of,
)

ACTIVES = load_actives()
REACH = int(PACKAGED["rotation"].number("repeat.lookback_seasons"))
SPECIES = "hybrid bermudagrass"


def use(date: str, purpose: str, mixture: str, southern: bool = False) -> Use:
    return use_of(dt.date.fromisoformat(date), purpose, ACTIVES.mixture(mixture), southern=southern)


def stock(*names: str) -> list[Active]:
    return [ACTIVES[name] for name in names]


def test_seasons_and_groups() -> None:
    assert use("2025-02-10", "dormant", "glyphosate+flumioxazin") == Use(
        dt.date(2025, 2, 10), "2024/25", "dormant", ("glyphosate", "flumioxazin"), (9, 14)
    )
    assert use("2025-07-10", "dormant", "diquat", southern=True).season == "2025"
    table = groups_by_season(
        [
            use("2024-09-01", "pre-fall", "prodiamine"),
            use("2025-01-10", "dormant", "glyphosate"),
            use("2025-02-10", "dormant", "glyphosate+simazine"),
            use("2023-12-10", "dormant", "flumioxazin"),
            use("2023-10-10", "", "simazine"),
        ]
    )
    assert table == {
        "purpose not noted": {"2023/24": (5,)},
        "pre-fall": {"2024/25": (3,)},
        "dormant": {"2023/24": (14,), "2024/25": (9, 5)},
    }


def test_a_repeated_group_is_flagged_and_more_so_the_third_time() -> None:
    once = [use("2024-12-10", "dormant", "glyphosate")]
    plan = [use("2025-12-10", "dormant", "glyphosate")]
    (flag,) = plan_flags(plan, once, stock=stock("glyphosate", "flumioxazin"), species=SPECIES)
    assert (flag.level, flag.groups) == ("note", (9,))
    assert render(flag.reason) == "group 9 used for dormant application last season as well"
    assert [render(a) for a in flag.alternatives] == ["flumioxazin (group 14)"]

    twice = [use("2023-12-10", "dormant", "glyphosate"), *once]
    flags = plan_flags(plan, twice)
    assert flags[0].level == "warning"
    assert "for the third season in a row" in render(flags[0].reason)
    assert "group 9 was the only post-emergence control 3 seasons in a row" in render(
        flags[1].reason
    )


def test_a_gap_or_another_group_between_ends_the_run() -> None:
    gap = [use("2022-12-10", "dormant", "glyphosate"), use("2023-12-10", "dormant", "diquat")]
    plan = use("2024-12-10", "dormant", "glyphosate")
    assert seasons_running(plan, gap, REACH) == 0
    assert plan_flags([plan], gap) == ()
    skipped = [use("2022-12-10", "dormant", "glyphosate")]
    assert seasons_running(plan, skipped, REACH) == 0


def test_spent_groups_are_those_of_this_season_and_the_last_for_the_purpose() -> None:
    history = [
        use("2023-12-10", "dormant", "diquat"),
        use("2024-12-10", "dormant", "glyphosate"),
        use("2025-11-10", "post-early", "foramsulfuron"),
        use("2025-12-01", "dormant", "simazine+flumioxazin"),
    ]
    today = dt.date(2026, 1, 15)
    assert spent_groups(history, "dormant", today, southern=False) == {
        9: "last season",
        5: "this season",
        14: "this season",
    }
    assert spent_groups(history, "pre-fall", today, southern=False) == {}
    # nothing that lies ahead of the day counts
    assert spent_groups(history, "dormant", dt.date(2024, 12, 1), southern=False) == {
        22: "last season"
    }


def test_other_ground_does_not_count() -> None:
    plan, past = (use(date, "dormant", "glyphosate") for date in ("2025-12-10", "2024-12-10"))
    assert plan_flags([replace(plan, where="north")], [replace(past, where="south")]) == ()
    assert plan_flags([replace(plan, where="north")], [past])  # a place not noted may be the same


def test_a_mixture_counts_both_groups() -> None:
    mixed = [use("2024-12-10", "dormant", "glyphosate+simazine")]
    # either group alone repeats what the mixture used
    assert plan_flags([use("2025-12-10", "dormant", "simazine")], mixed)[0].groups == (5,)
    assert plan_flags([use("2025-12-10", "dormant", "glyphosate")], mixed)
    # the same mixture repeats, one that brings a new group does not
    assert plan_flags([use("2025-12-10", "dormant", "simazine+glyphosate")], mixed)
    assert plan_flags([use("2025-12-10", "dormant", "glyphosate+flumioxazin")], mixed) == ()


def test_a_mixture_repeats_this_season_only_where_all_its_groups_were_used() -> None:
    november = [use("2025-11-05", "post-early", "simazine")]
    for mixture, flagged in (
        ("simazine", True),
        ("simazine+glyphosate", False),  # brings group 9
        ("glyphosate", False),
    ):
        flags = plan_flags([use("2025-12-10", "dormant", mixture)], november)
        assert [render(f.reason) for f in flags] == (
            ["group 5 already used this season (2025/26)"] if flagged else []
        )
    both = [*november, use("2025-11-20", "dormant", "glyphosate")]
    (flag,) = plan_flags([use("2025-12-10", "dormant", "simazine+glyphosate")], both)
    assert flag.level == "note"
    assert flag.groups == (5, 9)


def test_applications_of_one_plan_count_against_each_other_in_order_of_time() -> None:
    early = use("2025-11-05", "post-early", "simazine")
    late = use("2025-12-10", "dormant", "simazine")
    for plan in ([early, late], [late, early]):
        assert len(plan_flags(plan, [])) == 1
        assert plan_flags(plan, [])[0].groups == (5,)


def test_a_group_alone_season_after_season_is_a_warning_whatever_the_purpose() -> None:
    dates = [("2023-11-10", "post-early"), ("2024-12-10", "dormant")]
    past = [use(date, purpose, "simazine") for date, purpose in dates]
    (flag,) = plan_flags([use("2025-11-10", "post-early", "simazine")], past)
    assert flag.level == "warning"
    assert "the only post-emergence control 3 seasons in a row" in render(flag.reason)
    mixed = [past[0], use("2024-12-10", "dormant", "simazine+glyphosate")]
    assert plan_flags([use("2025-11-10", "post-early", "simazine")], mixed) == ()
    assert plan_flags([use("2025-11-10", "post-early", "simazine")], past[1:]) == ()


def test_published_four_year_pattern() -> None:
    # Golf Course Management Aug 2018 p. 66: pre A + post X, pre B + post Y, pre A + post Y, pre B +
    # post X, with A dithiopyr, B oxadiazon, X foramsulfuron, Y pronamide. A and Y are both group 3.
    years = [
        ("dithiopyr", "foramsulfuron"),
        ("oxadiazon", "pronamide"),
        ("dithiopyr", "pronamide"),
        ("oxadiazon", "foramsulfuron"),
    ]
    plan = [
        entry
        for year, (pre, post) in enumerate(years, start=2020)
        for entry in (
            use(f"{year}-09-01", "pre-fall", pre),
            use(f"{year}-11-20", "post-early", post),
        )
    ]
    flags = plan_flags(plan, [])
    assert all(flag.level == "note" for flag in flags)  # no third season running anywhere
    within = [render(f.reason) for f in flags if f.reason.id == "rotation.again"]
    assert within == ["group 3 already used this season (2022/23)"]


def test_alternatives_leave_out_spent_groups_wrong_timing_and_unsafe_turf() -> None:
    history = [use("2024-11-20", "post-early", "trifloxysulfuron")]
    plan = [use("2025-11-20", "post-early", "foramsulfuron")]
    shelf = stock("rimsulfuron", "prodiamine", "simazine", "clethodim", "amicarbazone")
    (flag,) = plan_flags(plan, history, stock=shelf, species="zoysiagrass")
    # rimsulfuron is group 2 too, prodiamine acts on seedlings only, clethodim's safety is unknown
    shown = [render(a) for a in flag.alternatives]
    assert shown == ["simazine (group 5)", "amicarbazone (group 5)"]


def suspicion(days: int, mixed: bool | None, faults: Sequence[Phrase] | None) -> Suspicion:
    done = use("2025-12-01", "dormant", "glyphosate")
    seen = done.date + dt.timedelta(days=days)
    return suspect_resistance(done, seen, survivors_mixed=mixed, faults=faults)


def test_survivors_after_a_proper_application_raise_suspicion() -> None:
    # McCullough & Waltz 2022: some plants die and neighbours of the same size live
    raised = suspicion(40, True, [])
    assert raised.raised
    assert raised.groups == (9,)
    steps = " ".join(map(render, raised.steps))
    for step in ("untreated check", "tested", "another group"):
        assert step in steps


def test_other_explanations_come_first() -> None:
    assert not suspicion(40, None, []).raised
    cold = suspicion(40, True, [say("criterion.good", measured=Quantity(3.0, "degC"))])
    assert not cold.raised
    assert "3 °C, good" in render(cold.reason)
    unknown = suspicion(40, True, None)
    assert not unknown.raised
    assert "review" in render(unknown.steps[0])
    assert "too early" in render(suspicion(5, True, []).reason)
    assert "look alike" in render(suspicion(200, True, []).reason)


def test_rank_says_that_a_group_in_stock_is_spent() -> None:
    from windowcast.programme.answer import answer
    from windowcast.season.observed import Observed
    from windowcast.weather.sample import SAMPLE_TODAY, sample_site, sample_weather

    site = sample_site().model_copy(update={"stock": ("glyphosate", "pronamide")})
    last = use_of(
        SAMPLE_TODAY - dt.timedelta(days=330),
        "dormant",
        ACTIVES.mixture("glyphosate"),
        southern=False,
    )
    result = answer(
        site, sample_weather(), purposes=["dormant"], days=5, materials=ACTIVES, futures=5,
        observed=Observed(uses=(last,)),
    )  # fmt: skip
    by_name = {fit.active: fit for fit in result.ranking.purposes[0].stock}
    assert render(by_name["glyphosate"].reason).startswith("group 9 already used last season")
    assert by_name["glyphosate"].verdict != "fit"
    assert "already used" not in render(by_name["propyzamide"].reason)
    mixed = answer(
        site, sample_weather(), purposes=["dormant"], days=5, materials=ACTIVES, futures=5,
        actives="glyphosate", observed=Observed(uses=(last,)),
    )  # fmt: skip
    said = "Rotation: group 9 used for dormant application last season as well."
    assert said in map(render, mixed.ranking.cautions)
