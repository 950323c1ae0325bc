"""What expected control says beside a decision, once it is late, and of an outcome."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from spoken import render

from windowcast.core.phrase import NOTHING
from windowcast.core.values import PACKAGED, load
from windowcast.programme.control_ahead import ControlAhead, later_attempt, with_control
from windowcast.programme.model import DayAhead, Decision
from windowcast.records.expected_effect import by_trials
from windowcast.season.model import Emergence
from windowcast.windows.purposes import purpose_of
from windowcast.windows.trials import Met

DAYS = np.datetime64("2025-11-01", "D") + np.arange(40)
TODAY, LATER = dt.date(2025, 11, 1), dt.date(2025, 11, 21)
EARLY, FALL = purpose_of("post-early", PACKAGED), purpose_of("pre-fall", PACKAGED)
TABLE = load("efficacy")


def ahead(*tanks: tuple[str, ...], doubt_weeks: float = 0.0, high_c: float = 15.0) -> ControlAhead:
    """Plants that grow from two to nine leaves; from four on they tiller."""
    leaves = np.broadcast_to(np.linspace(2.0, 9.0, len(DAYS)), (3, len(DAYS)))
    share = np.ones_like(leaves)
    weed = Emergence(
        *("POAAN", "annual bluegrass", "fall", share, share, share, share, leaves),
        doubt_weeks=doubt_weeks,
    )
    state: Any = SimpleNamespace(dates=DAYS, weeds_of=lambda season: [weed])
    daily = SimpleNamespace(get=lambda name: np.full((4, len(DAYS)), high_c))
    members: Any = SimpleNamespace(daily=daily)
    return ControlAhead(tanks, state, members, TABLE)


def made(best: dt.date | None = LATER) -> Decision:
    day = None if best is None else DayAhead(best, 80.0, 80.0, None)
    return Decision(
        *("post-early", TODAY, 70.0, None, day, day, 80.0, 1.0, 0.1, None, "wait"), advice=NOTHING
    )


def test_the_fall_with_size_is_said_and_decides_nothing() -> None:
    found = with_control(made(), EARLY, ahead(("simazine",)))
    assert found.actives == ("simazine",)
    assert found.control is not None
    assert found.control_then is not None
    assert found.control_then < found.control
    said = render(found.advice)
    assert "simazine to control" in said
    assert "as the plants grow" in said
    assert (found.choice, found.wait_score) == (made().choice, made().wait_score)


def test_nothing_is_said_where_nothing_falls_or_no_trial_tells() -> None:
    for tanks in ((), (("oxadiazon",),)):
        assert with_control(made(), EARLY, ahead(*tanks)) == made()
    alone = with_control(made(None), EARLY, ahead(("simazine",)))
    assert alone.advice == NOTHING
    assert alone.control_then is None
    general = with_control(made(), EARLY, ahead(("simazine",), doubt_weeks=4.0))
    assert general.advice == NOTHING  # a general clock does not tell the stage
    assert general.control is not None
    assert general.control < (alone.control or 0.0)


def test_of_several_tanks_the_one_that_does_most() -> None:
    found = with_control(made(), EARLY, ahead(("mesotrione",), ("glyphosate", "diquat")))
    assert found.actives == ("glyphosate", "diquat")


def test_what_a_later_attempt_can_expect() -> None:
    said = render(later_attempt(ahead(("simazine",)), EARLY, LATER))
    assert "Nov" in said
    assert "simazine to control" in said
    for nothing in (
        later_attempt(ahead(("simazine",)), FALL, LATER),
        later_attempt(ahead(), EARLY, LATER),
        later_attempt(ahead(("simazine",)), EARLY, None),
        later_attempt(ahead(("simazine",)), EARLY, dt.date(2030, 1, 1)),
    ):
        assert nothing == NOTHING


@pytest.mark.parametrize(
    ("active", "stage", "reason"),
    [
        ("glyphosate", 24.0, "review.expected_more"),
        ("flumioxazin", 30.0, "review.expected_earlier"),
        ("mesotrione", 26.0, "review.expected_never"),
    ],
)
def test_timing_or_active(active: str, stage: float, reason: str) -> None:
    met = Met({"POAAN": stage}, "post", 15.0, TABLE)
    (fact,), said = by_trials(met, [active], 1.0, acceptable=0.8, poor=True)
    assert said.id == reason
    assert "annual bluegrass" in render(fact.text)
    assert 0 <= fact.value <= 100
    assert by_trials(met, [active], 1.0, acceptable=0.8, poor=False) == ((fact,), NOTHING)
    assert by_trials(met, ["oxadiazon"], 1.0, acceptable=0.8, poor=True) == ((), NOTHING)
