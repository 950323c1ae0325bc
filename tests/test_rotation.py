"""Rotation of modes of action, resistance suspicion, and which stock fits a window."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import pytest

from windowcast.materials.actives import Active, load_actives
from windowcast.materials.rotation import (
    Suspicion,
    Use,
    groups_by_season,
    plan_flags,
    seasons_running,
    suspect_resistance,
    use_of,
)
from windowcast.materials.stock import Conditions, StockFit, stock_fit

ACTIVES = load_actives()
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
        ]
    )
    assert table == {
        "pre-fall": {"2024/25": (3,)},
        "dormant": {"2023/24": (14,), "2024/25": (9, 5)},
    }


def test_a_repeated_group_is_flagged_and_more_so_the_third_time() -> None:
    once = [use("2024-12-10", "dormant", "glyphosate")]
    plan = [use("2025-12-10", "dormant", "glyphosate")]
    (flag,) = plan_flags(plan, once, stock=stock("glyphosate", "flumioxazin"), species=SPECIES)
    assert (flag.level, flag.groups) == ("note", (9,))
    assert flag.reason == "group 9 was used for dormant last season as well"
    assert flag.alternatives == ("flumioxazin (group 14)",)

    twice = [use("2023-12-10", "dormant", "glyphosate"), *once]
    flags = plan_flags(plan, twice)
    assert flags[0].level == "warning"
    assert "in the third season running" in flags[0].reason
    assert "rested on group 9 alone for 3 seasons running" in flags[1].reason


def test_a_gap_or_another_group_between_ends_the_run() -> None:
    gap = [use("2022-12-10", "dormant", "glyphosate"), use("2023-12-10", "dormant", "diquat")]
    plan = use("2024-12-10", "dormant", "glyphosate")
    assert seasons_running(plan, gap) == 0
    assert plan_flags([plan], gap) == ()
    skipped = [use("2022-12-10", "dormant", "glyphosate")]
    assert seasons_running(plan, skipped) == 0


def test_a_mixture_counts_both_groups() -> None:
    mixed = [use("2024-12-10", "dormant", "glyphosate+simazine")]
    # either group alone repeats what the mixture used
    assert plan_flags([use("2025-12-10", "dormant", "simazine")], mixed)[0].groups == (5,)
    assert plan_flags([use("2025-12-10", "dormant", "glyphosate")], mixed)
    # the same mixture repeats, one that brings a new group does not
    assert plan_flags([use("2025-12-10", "dormant", "simazine+glyphosate")], mixed)
    assert plan_flags([use("2025-12-10", "dormant", "glyphosate+flumioxazin")], mixed) == ()


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
    within = [f.reason for f in flags if "already used this season" in f.reason]
    assert within == ["group 3 already used this season (2022/23)"]


def test_alternatives_leave_out_spent_groups_wrong_timing_and_unsafe_turf() -> None:
    history = [use("2024-11-20", "post-early", "trifloxysulfuron")]
    plan = [use("2025-11-20", "post-early", "foramsulfuron")]
    shelf = stock("rimsulfuron", "prodiamine", "simazine", "clethodim", "amicarbazone")
    (flag,) = plan_flags(plan, history, stock=shelf, species="zoysiagrass")
    # rimsulfuron is group 2 too, prodiamine acts on seedlings only, clethodim's safety is unknown
    assert flag.alternatives == ("simazine (group 5)", "amicarbazone (group 5)")


def suspicion(days: int, mixed: bool | None, faults: Sequence[str] | None) -> Suspicion:
    done = use("2025-12-01", "dormant", "glyphosate")
    seen = done.date + dt.timedelta(days=days)
    return suspect_resistance(done, seen, survivors_mixed=mixed, faults=faults)


def test_survivors_after_a_proper_application_raise_suspicion() -> None:
    # McCullough & Waltz 2022: some plants die and neighbours of the same size live
    raised = suspicion(40, True, [])
    assert raised.raised
    assert raised.groups == (9,)
    steps = " ".join(raised.steps)
    for step in ("untreated check", "tested", "another group"):
        assert step in steps


def test_other_explanations_come_first() -> None:
    assert not suspicion(40, None, []).raised
    cold = suspicion(40, True, ["3 °C at spraying"])
    assert not cold.raised
    assert "3 °C at spraying" in cold.reason
    unknown = suspicion(40, True, None)
    assert not unknown.raised
    assert "review" in unknown.steps[0]
    assert "too early" in suspicion(5, True, []).reason
    assert "look alike" in suspicion(200, True, []).reason


# ---- stock ------------------------------------------------------------------------------------

WINTER = Conditions(
    purpose="dormant",
    species=SPECIES,
    turf_state="dormant",
    temp_c=16.0,
    night_low_c=6.0,
    soil_temp_c=8.0,
    rh_pct=60.0,
    dry_hours=24.0,
    sunny=True,
    weeds_bbch=21.0,
    days_to_greenup=70.0,
    water_in_days=2.0,
)


def fit(name: str, conditions: Conditions, **more: object) -> StockFit:
    return stock_fit(stock(name), conditions, **more)[0]  # type: ignore[arg-type]


def test_a_mild_winter_day_suits_a_translocated_material() -> None:
    assert fit("glyphosate", WINTER) == StockFit("glyphosate", 9, "fit", ())


@pytest.mark.parametrize(
    ("name", "change", "fitness", "words"),
    [
        ("glyphosate", {"temp_c": 7.0}, "unfit", "7 °C is too cold for this slow active (10 °C)"),
        ("glyphosate", {"temp_c": 12.0}, "marginal", "cool for this slow active"),
        ("glyphosate", {"night_low_c": 1.0}, "marginal", "night falls to 1 °C"),
        ("glyphosate", {"turf_state": "semi-dormant"}, "unfit", "dormant turf only"),
        ("glyphosate", {"turf_state": ""}, "cannot tell", "how green it is is not known"),
        ("glyphosate", {"days_to_greenup": 5.0}, "unfit", "14 days ahead of green-up; 5 are left"),
        ("glyphosate", {"dry_hours": 2.0}, "unfit", "needs 6 h without rain; 2 h are expected"),
        ("glyphosate", {"dry_hours": float("nan")}, "cannot tell", "rain after"),
        ("glyphosate", {"temp_c": float("nan")}, "cannot tell", "temperature is not known"),
        ("glyphosate", {"species": "buffalograss"}, "cannot tell", "take it from your label"),
        (
            "flumioxazin",
            {"weeds_bbch": 25.0},
            "unfit",
            "plants too old: stage 25, it controls to 22",
        ),
        ("flumioxazin", {"weeds_bbch": float("nan")}, "cannot tell", "how old the plants are"),
        ("flumioxazin", {"sunny": False}, "marginal", "needs sun"),
        ("glufosinate", {"rh_pct": 30.0}, "marginal", "drier than 40 %"),
        ("amicarbazone", {"temp_c": 28.0}, "unfit", "over its 27 °C"),
        ("prodiamine", {}, "unfit", "acts only before plants are up"),
        ("glyphosate", {"purpose": "pre-fall"}, "unfit", "acts only on plants that are up"),
        ("propyzamide", {"water_in_days": 3.0}, "unfit", "watered in with 12.7 mm within 1 day"),
        ("propyzamide", {"soil_temp_c": 16.0, "water_in_days": 1.0}, "marginal", "soil over 13 °C"),
        ("glyphosate", {"night_low_c": float("nan")}, "cannot tell", "lowest air of the night"),
        ("diquat", {"sunny": None}, "cannot tell", "whether the sun shines"),
        ("atrazine", {}, "cannot tell", "rain-free hours"),
    ],
)
def test_why_a_material_does_not_fit(
    name: str, change: dict[str, object], fitness: str, words: str
) -> None:
    result = fit(name, replace(WINTER, **change))  # type: ignore[arg-type]
    assert result.fitness == fitness
    assert any(words in reason for reason in result.reasons), result.reasons


def test_spent_groups_and_order() -> None:
    fits = stock_fit(
        stock("prodiamine", "glyphosate", "trifloxysulfuron"), WINTER, spent_groups=(9,)
    )
    assert [f.active for f in fits] == ["trifloxysulfuron", "glyphosate", "prodiamine"]
    assert fits[1].reasons == ("group 9 already used for this purpose",)


def test_no_information_never_fits() -> None:
    nothing = Conditions(purpose="dormant", species="")
    for result in stock_fit(list(ACTIVES.values()), nothing):
        assert result.fitness in {"cannot tell", "unfit"}, result
