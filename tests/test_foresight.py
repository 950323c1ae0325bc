"""The best in hindsight: never worse than another schedule under the same limits."""

from __future__ import annotations

import numpy as np
import pytest
from lived_seasons import FORAMSULFURON, GLYPHOSATE, PRODIAMINE, worlds
from uscrn_sites import DEEP_SOUTH, MID_SOUTH

from windowcast.verify.foresight import Hindsight, allowed, foresight
from windowcast.windows.model import PurposeName

TANKS = {
    "pre-fall": PRODIAMINE,
    "post-early": FORAMSULFURON,
    "dormant": GLYPHOSATE,
    "pre-spring": PRODIAMINE,
}
SEASONS = [(DEEP_SOUTH, 2013), (DEEP_SOUTH, 2015), (MID_SOUTH, 2013), (MID_SOUTH, 2016)]


@pytest.fixture(scope="module", params=SEASONS, ids=lambda p: f"{p[0][:2]}{p[1]}")
def hindsight(request: pytest.FixtureRequest) -> Hindsight:
    name, year = request.param
    return Hindsight.of(worlds(name, year), TANKS)  # type: ignore[arg-type]


def test_no_other_schedule_is_better(hindsight: Hindsight) -> None:
    rng = np.random.default_rng(3)
    for most in (1, 2, 3, 4):
        best = hindsight.value(hindsight.best(most, least_gain=0.0))
        for _ in range(300):
            names: list[PurposeName] = rng.permutation(list(hindsight.could))[:most].tolist()
            chosen = [(n, int(rng.integers(len(hindsight.could[n].dates)))) for n in names]
            assert hindsight.value(chosen) <= best + 1e-5


def test_one_and_two_are_the_best_there_are(hindsight: Hindsight) -> None:
    """By brute force over all days, and all pairs of days."""
    each = max(
        hindsight.value([(name, at)])
        for name, own in hindsight.could.items()
        for at in range(len(own.dates))
    )
    assert hindsight.value(hindsight.best(1, least_gain=0.0)) == pytest.approx(each, abs=1e-5)
    names = list(hindsight.could)
    pairs = max(
        1.0 - float(hindsight._pairs(one, other, []).min())
        for n, one in enumerate(names)
        for other in names[n + 1 :]
    )
    assert hindsight.value(hindsight.best(2, least_gain=0.0)) == pytest.approx(pairs, abs=1e-4)


def test_more_applications_are_never_worse(hindsight: Hindsight) -> None:
    values = [hindsight.value(hindsight.best(most)) for most in range(5)]
    assert values[0] == 0.0
    assert (np.diff(values) >= 0).all()


def test_what_it_does_is_allowed_worked_and_scored_alike(hindsight: Hindsight) -> None:
    played = hindsight.worlds
    done = foresight(played, TANKS, 4)  # type: ignore[arg-type]
    assert 1 <= len(done) <= 4
    assert len({one.applied.purpose for one in done}) == len(done)
    found = played.worth(done)
    assert found.lost == {}
    assert found.hurt == {}
    assert (found.hurt_chance <= played.tables["turf"].number("safety.harm_cap")).all()
    for one in done:
        assert allowed(played, one.applied.actives, one.applied.date)
        assert one.start < one.end
        assert one.start.astimezone(played.site.zone).date() == one.applied.date
    value = hindsight.value(hindsight.best(4))
    both = (found.winter.mean() + found.summer.mean()) / 2
    assert both == pytest.approx(value, abs=1e-4)
    assert value > 0.8


def test_a_day_that_waits_for_a_look_is_taken_where_the_canopy_is_bare(
    hindsight: Hindsight, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who knows the canopy needs no look; live leaf in it, or too much chance of harm, forbids."""
    played = hindsight.worlds
    dates = [date.item() for date in played.came.dates[120:270]]
    answers = {date: played.permits(GLYPHOSATE, date).answer for date in dates}
    waits = [date for date, answer in answers.items() if answer == "cannot tell"]
    assert waits
    for date in waits:
        monkeypatch.setattr(type(played), "hurt_chance", lambda *_: 0.0)
        monkeypatch.setattr(type(played), "green_on", lambda *_: False)
        assert allowed(played, GLYPHOSATE, date)
        monkeypatch.setattr(type(played), "green_on", lambda *_: True)
        assert not allowed(played, GLYPHOSATE, date)
        monkeypatch.setattr(type(played), "green_on", lambda *_: False)
        monkeypatch.setattr(type(played), "hurt_chance", lambda *_: 0.2)
        assert not allowed(played, GLYPHOSATE, date)
    noes = [date for date, answer in answers.items() if answer == "no"]
    assert not any(allowed(played, GLYPHOSATE, date) for date in noes)
