"""Which actives a purpose should not count on: what its weeds resist on this ground."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from windowcast.core.weed_codes import known
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import Failing, Resistances
from windowcast.windows.covers import covers_of
from windowcast.windows.model import CoverPlan
from windowcast.windows.purposes import Purpose
from windowcast.windows.residual import ResidualActive
from windowcast.windows.running_season import RunningSeason

Against = Callable[[Sequence[str]], Failing | None]


def against_of(resistance: Resistances, purpose: Purpose) -> Against:
    """What speaks against the actives of a tank, by their names, on the weeds of a purpose."""
    aimed = aimed_at(resistance, purpose)
    return partial(resistance.against, weeds=aimed, timing="pre" if purpose.barrier else "post")


def aimed_at(resistance: Resistances, purpose: Purpose) -> set[str]:
    """The weeds of a purpose that resist something here; "" for one that nobody named.

    A weed of another season is not of the purpose; one of which no season is known may be.
    """
    return {weed for weed in resistance.weeds if _season(weed) in ("", purpose.weeds)}


def covers_working(
    purpose: Purpose,
    needs: ActiveNeeds,
    running: RunningSeason,
    barriers: Sequence[ResidualActive],
    against: Against,
) -> tuple[CoverPlan, ...]:
    """`windowcast.windows.covers.covers_of` without pre-emergents that fail on a weed here."""
    found = ((material, against((material.name,))) for material in barriers)
    left = [m for m, failing in found if failing is None or failing.standing != "resistant"]
    return covers_of(purpose, needs, running, left) if left or not barriers else ()


def _season(weed: str) -> str:
    """The season of a weed, "fall" or "spring"; "" where none is known."""
    return known()[weed].season if weed in known() else ""
