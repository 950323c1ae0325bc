"""What is asked of the turf: each active of a mixture, or what is usual where none is named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.values import Table, Value
from windowcast.materials.actives import Active, Formulation
from windowcast.materials.label_values import species_key
from windowcast.materials.needs import ActiveNeeds


@dataclass(frozen=True)
class Treatment:
    """What is known of how one active ingredient acts on turf. None: not known.

    Attributes
    ----------
    name
        ISO common name; "" for what is usual.
    pre, post
        Whether it acts on seedlings before they are up, on plants that are up.
    nonselective
        Whether it kills what is green; None counts as yes.
    turf
        Greenest state of the turf in which it is safe ("never" < "dormant" < "semi-dormant" <
        "green").
    prunes_roots
        Whether it stops roots; None counts as yes.
    seeding_d, slit_seeding_d
        Days it must lie before grass is sown.
    overseed, new_turf
        As in `windowcast.materials.actives.Active`.
    tried_new
        Whether `new_turf` was found on this grass; else it may forbid and permits nothing.
    """

    name: str
    pre: bool
    post: bool
    nonselective: bool
    turf: Value | None = None
    prunes_roots: Value | None = None
    seeding_d: Value | None = None
    slit_seeding_d: Value | None = None
    last_day: Value | None = None
    overseed: Mapping[str, Value] = field(default_factory=dict)
    new_turf: Mapping[str, Value] = field(default_factory=dict)
    tried_new: bool = False

    @property
    def roots(self) -> bool:
        """Whether roots must be feared for."""
        return self.pre and (self.prunes_roots is None or bool(self.prunes_roots.value))

    @property
    def slows_growth(self) -> bool:
        """Whether it only slows growth: that of the turf as well."""
        return not (self.pre or self.post)

    @property
    def spoken(self) -> Name | Phrase:
        """Its name in a sentence."""
        if self.name:
            return Name(self.name)
        if self.nonselective:
            return say("limit.a_non_selective")
        return say("limit.a_pre_emergent") if self.pre else say("limit.a_post_emergent")


def treatments_of(needs: ActiveNeeds, species: str, values: Table) -> tuple[Treatment, ...]:
    """Each active of a mixture, or what is usual for the treatment where none is named.

    Where nobody said whether it is sprayed or spread, it is asked as a spray.

    Parameters
    ----------
    species
        Of the turf, as in the site file.
    values
        ``data/limits.toml``.
    """
    if needs.actives:
        return tuple(_of_active(active, species, needs.formulation) for active in needs.actives)
    kind = "pre" if needs.pre else "dormant" if needs.turf_state == "dormant" else "post"
    usual: dict[str, Value] = dict(values.table(f"usual.{kind}"))
    on = species_key(species) in usual["turf_of"].value
    turf = replace(usual["turf"], value=needs.turf_state) if needs.turf_state and on else None
    return (
        Treatment(
            name="",
            pre=needs.pre,
            post=needs.post,
            nonselective=kind == "dormant",
            turf=turf,
            prunes_roots=usual.get("prunes_roots"),
            seeding_d=usual.get("seeding_d"),
            slit_seeding_d=usual.get("seeding_d"),
        ),
    )


def _of_active(active: Active, species: str, formulation: Formulation | None) -> Treatment:
    turf, new_turf = dict(active.turf), dict(active.new_turf)
    if formulation == "granule":
        turf |= active.turf_granule
        new_turf |= active.new_turf_granule
    return Treatment(
        name=active.name,
        pre=active.pre,
        post=active.post,
        nonselective=active.selective is None or not active.selective.value,
        turf=turf.get(species_key(species)),
        prunes_roots=active.prunes_roots,
        seeding_d=active.seeding_d,
        slit_seeding_d=active.slit_seeding_d,
        last_day=active.last_day,
        overseed=active.overseed,
        new_turf=new_turf,
        tried_new=species_key(species) in active.new_turf_of,
    )
