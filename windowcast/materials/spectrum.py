"""What an active does to a weed: by the weed itself where a source names it, else by its kind.

Weeds are named by EPPO code; their kinds are in ``data/known_weeds.toml``. What nobody says is
unknown, and what is only remembered may rule an active out, never recommend it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from windowcast.core.weed_codes import known
from windowcast.materials.actives import Active

CONTROLS, NO = "controls", "no"


def action(active: Active, code: str) -> str:
    """What an active does to a weed: "controls", "suppresses", "some", "no"; "" when unknown."""
    kind = known()[code].kind if code in known() else ""
    found = active.spectrum.get(code) or active.spectrum.get(kind)
    if found is None or (found.value != NO and found.status == "from memory"):
        return ""
    return str(found.value)


class Reach(NamedTuple):
    """Which weeds a mixture controls, which it does nothing to, and of which nobody says.

    What is only suppressed, or controlled in part of a kind, counts as not told.
    """

    controls: tuple[str, ...]
    misses: tuple[str, ...]
    unknown: tuple[str, ...]


def reach(members: Sequence[Active], codes: Iterable[str], *, pre: bool) -> Reach:
    """What a mixture does to weeds: the members that act at the stage count, the best decides.

    Parameters
    ----------
    codes
        EPPO codes.
    pre
        Whether the weeds are still to emerge.
    """
    acting = [m for m in members if (m.pre if pre else m.post)]
    found: dict[str, list[str]] = {CONTROLS: [], NO: [], "": []}
    for code in codes:
        said = {action(member, code) for member in acting}
        found[CONTROLS if CONTROLS in said else NO if said <= {NO} else ""].append(code)
    return Reach(tuple(found[CONTROLS]), tuple(found[NO]), tuple(found[""]))


def does_nothing(active: Active, codes: Sequence[str], *, pre: bool) -> bool:
    """Whether an active is known to control none of some weeds at a stage: there must be some."""
    found = reach([active], codes, pre=pre)
    return bool(codes) and found.misses == tuple(codes)
