"""What a mixture needs of the weather, soil and turf: the strictest member governs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import nan

from windowcast.core.phrase import Name, Phrase, Value, names, say
from windowcast.core.values import Value as Science
from windowcast.materials.actives import Active, Formulation, groups_of
from windowcast.materials.label_values import TURF_STATES, species_key


@dataclass(frozen=True, slots=True)
class ActiveNeeds:
    """Merged needs of one active or a mixture, SI units.

    A number is ``None`` where the need does not apply (no rain-free hours for a soil-acting
    active) and NaN where a member's value is unknown: a criterion on it must then read "cannot
    tell". A flag is ``None`` when unknown.

    Attributes
    ----------
    rain_free_h
        Hours without rain after spraying; longest.
    activation_mm, activation_days
        Watering-in: deepest, soonest.
    temp_low_c, temp_good_c, temp_high_c, night_low_c, soil_temp_high_c, humidity_low_pct
        Bands of air temperature, night minimum, soil temperature, humidity; narrowest.
    light_needed
        Whether a member needs sun on the day and after.
    largest_bbch
        Largest grass weed the mixture still controls: that of its strongest leaf- or root-taken
        member, since a mixture kills what any member kills; None for purely pre-emergence ones.
    lost_bbch
        Mean stage of the plants from which that member no longer gives acceptable control; None
        where no trial says.
    turf_state
        Greenest turf state all members are safe on ("never" … "green"), "" when unknown.
    before_greenup_d
        Days to stay ahead of green-up.
    governs
        Need → name of the member that sets it.
    unknown
        A phrase for every need that cannot be told.
    used
        The values that govern.
    formulation
        Spray or granule, None where nobody said: the turf limits ask it.
    actives
        The members themselves, none for what is usual: the turf limits ask each of them.
    """

    names: tuple[str, ...]
    groups: tuple[int, ...]
    pre: bool  # some member acts on seedlings before they are up
    post: bool  # some member acts on plants that are up
    selective: bool | None
    contact: bool  # some leaf-taken member stays where it lands
    translocated: bool
    rain_free_h: float | None
    activation_mm: float | None
    activation_days: float | None
    temp_low_c: float | None
    temp_good_c: float | None
    temp_high_c: float | None
    night_low_c: float | None
    soil_temp_high_c: float | None
    humidity_low_pct: float | None
    light_needed: bool | None
    largest_bbch: float | None
    lost_bbch: float | None
    turf_state: str
    before_greenup_d: float | None
    governs: dict[str, str]
    unknown: tuple[Phrase, ...]
    used: tuple[Science, ...]
    actives: tuple[Active, ...] = ()
    formulation: Formulation | None = None


def needs_of(
    members: Sequence[Active], species: str = "", formulation: Formulation | None = None
) -> ActiveNeeds:
    """Merge the needs of a mixture's members.

    Parameters
    ----------
    members
        At least one active; see `Actives.mixture`.
    species
        Turf species of the site, to merge turf safety; "" leaves it unknown.
    formulation
        Spray or granule; None: not said.
    """
    merge = _Merge()
    leaf = [m for m in members if m.leaf]
    soil = [m for m in members if m.soil]
    post = [m for m in members if m.post]
    largest = merge.strongest("largest_bbch", post)
    strongest = [m for m in post if m.name == merge.governs.get("largest_bbch")]
    return ActiveNeeds(
        names=tuple(m.name for m in members),
        groups=groups_of(members),
        pre=any(m.pre for m in members),
        post=bool(post),
        selective=_all_true(members, "selective"),
        contact=any(m.movement.value == "contact" for m in leaf),
        translocated=any(m.movement.value == "translocated" for m in leaf),
        rain_free_h=merge.strictest("rain_free_h", leaf, max),
        activation_mm=merge.strictest("activation_mm", soil, max),
        activation_days=merge.strictest("activation_days", soil, min),
        temp_low_c=merge.strictest("temp_low_c", leaf, max),
        temp_good_c=merge.strictest("temp_good_c", leaf, max),
        temp_high_c=merge.stated("temp_high_c", leaf, min),
        night_low_c=merge.stated("night_low_c", leaf, max),
        soil_temp_high_c=merge.stated("soil_temp_high_c", soil, min),
        humidity_low_pct=merge.stated("humidity_low_pct", leaf, max),
        light_needed=_any_true(leaf, "light_needed"),
        largest_bbch=largest,
        lost_bbch=merge.stated("lost_bbch", strongest, max),
        turf_state=merge.turf(members, species),
        before_greenup_d=merge.stated("before_greenup_d", members, max),
        governs=merge.governs,
        unknown=tuple(merge.unknown),
        used=tuple(merge.used),
        actives=tuple(members),
        formulation=formulation,
    )


class _Merge:
    """Collects which member governs what, and what is unknown, while needs are merged."""

    def __init__(self) -> None:
        self.governs: dict[str, str] = {}
        self.unknown: list[Phrase] = []
        self.used: list[Science] = []

    def strictest(
        self, need: str, members: Sequence[Active], pick: Callable[[list[float]], float]
    ) -> float | None:
        """Strictest value; NaN as soon as one member's is unknown; None without members."""
        if not members:
            return None
        missing = [m.name for m in members if getattr(m, need) is None]
        if missing:
            self._ask(need, missing)
            return nan
        return self.stated(need, members, pick)

    def stated(
        self, need: str, members: Sequence[Active], pick: Callable[[list[float]], float]
    ) -> float | None:
        """Strictest of the values that are stated: an absent one means no such limit is known."""
        found: dict[str, Science] = {m.name: v for m in members if (v := getattr(m, need))}
        if not found:
            return None
        best = pick([float(value) for value in found.values()])
        name = next(n for n, value in found.items() if float(value) == best)
        self._note(need, name, found[name])
        return best

    def strongest(self, need: str, members: Sequence[Active]) -> float | None:
        """Largest value of any member; NaN when only unknown ones could raise it."""
        if not members:
            return None
        if all(getattr(m, need) is None for m in members):
            self._ask(need, [m.name for m in members])
            return nan
        return self.stated(need, members, max)

    def turf(self, members: Sequence[Active], species: str) -> str:
        """Greenest state all members are safe on; "" when one member's is unknown."""
        states = [m.safe_on(species) for m in members]
        missing = [m.name for m, state in zip(members, states, strict=True) if not state]
        if missing:
            where: Value = Name(species) if species else say("need.this_turf")
            self.unknown.append(say("need.safety", actives=names(*missing), turf=where))
            return ""
        state = min(states, key=TURF_STATES.index)
        member = members[states.index(state)]
        self._note("turf_state", member.name, member.turf[species_key(species)])
        return state

    def _note(self, need: str, name: str, value: Science) -> None:
        self.governs[need] = name
        self.used.append(value)

    def _ask(self, need: str, missing: Sequence[str]) -> None:
        what = say(f"need.what.{need}")
        self.unknown.append(say("need.unknown", need=what, actives=names(*missing)))


def _all_true(members: Sequence[Active], name: str) -> bool | None:
    flags = [getattr(m, name) for m in members]
    if any(flag is not None and not flag.value for flag in flags):
        return False
    return None if any(flag is None for flag in flags) else True


def _any_true(members: Sequence[Active], name: str) -> bool | None:
    flags = [getattr(m, name) for m in members]
    if any(flag is not None and flag.value for flag in flags):
        return True
    return None if any(flag is None for flag in flags) else False
