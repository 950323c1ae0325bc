"""What grows on a site and on what, the ground beside it, and the areas it is made of."""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse
from windowcast.core.weed_codes import weed_code


class Species(StrEnum):
    """Warm-season turf species."""

    HYBRID_BERMUDAGRASS = "hybrid bermudagrass"
    COMMON_BERMUDAGRASS = "common bermudagrass"
    ZOYSIAGRASS = "zoysiagrass"  # either kind
    JAPONICA_ZOYSIAGRASS = "japonica zoysiagrass"
    MATRELLA_ZOYSIAGRASS = "matrella zoysiagrass"
    CENTIPEDEGRASS = "centipedegrass"
    ST_AUGUSTINEGRASS = "st. augustinegrass"
    SEASHORE_PASPALUM = "seashore paspalum"
    KIKUYUGRASS = "kikuyugrass"
    BAHIAGRASS = "bahiagrass"
    BUFFALOGRASS = "buffalograss"


class Texture(StrEnum):
    """USDA soil texture classes."""

    SAND = "sand"
    LOAMY_SAND = "loamy sand"
    SANDY_LOAM = "sandy loam"
    LOAM = "loam"
    SILT_LOAM = "silt loam"
    SANDY_CLAY_LOAM = "sandy clay loam"
    CLAY_LOAM = "clay loam"
    SILTY_CLAY_LOAM = "silty clay loam"
    CLAY = "clay"
    UNKNOWN = "unknown"


def _shown(name: str) -> str:
    if not name.isprintable():
        raise ValueError("holds a character that cannot be shown")
    return name


Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_shown)]


class SiteTable(BaseModel):
    """A table of the site file: its keys are known, its values do not change."""

    # built at first use: most parts are only ever checked within a whole site file
    model_config = ConfigDict(
        extra="forbid", frozen=True, str_strip_whitespace=True, defer_build=True
    )


class Overseed(SiteTable):
    """Cool-season grass sown into the turf for winter: whether, what, when and how."""

    state: Literal["none", "planned", "done"]
    """Whether cool-season grass is sown into the turf for winter."""
    date: dt.date | None = None
    """Day of sowing; needed where it is planned or done."""
    species: Literal["perennial ryegrass", "annual ryegrass", "roughstalk bluegrass"] | None = None
    """What is sown."""
    method: Literal["broadcast", "slit"] | None = None
    """How; not said: the longer interval counts."""

    @model_validator(mode="after")
    def _dated(self) -> Overseed:
        if self.state != "none" and self.date is None:
            raise ValueError(f"is {self.state}, so the date of sowing must be given")
        if self.state == "none" and (self.date or self.species or self.method):
            raise ValueError("is none, so date, species and method must be left out")
        return self


class Turf(SiteTable):
    """What grows there, how old it is and what was sown into it.

    What is not said is not known: no treatment is then allowed that depends on it.
    """

    species: Species = Species.HYBRID_BERMUDAGRASS
    """What grows there."""
    use: Literal["golf", "sports", "lawn", "sod", "other"] = "sports"
    """What it is for."""
    overseeded: bool | None = None
    """Short for `overseed`; true leaves open when it was sown."""
    overseed: Overseed | None = None
    """What was or will be sown into it for winter."""
    irrigated: bool | None = None
    """Whether it can be irrigated."""
    mature: bool | None = None
    """Older than two growing seasons, full and undamaged."""
    established: dt.date | None = None
    """Day of laying sod, sprigging, plugging or sowing."""
    established_by: Literal["sod", "sprigs", "plugs", "seed"] | None = None
    """How it was established."""
    rooted: dt.date | None = None
    """Day on which it was seen well rooted and mown several times."""
    winterkill: Literal["none", "minimal", "moderate", "severe"] | None = None
    """Damage after winter."""
    thin: bool | None = None
    """Worn or thin turf."""
    thatch_mm: Annotated[float, Field(ge=0.0, le=150.0, strict=True)] | None = None
    """Depth of the thatch: a pre-emergent needs more water through deep thatch; not said counts as
    deep."""
    mowing_height_mm: Annotated[float, Field(ge=2.0, le=150.0, strict=True)] | None = None
    """Height of cut; not said: the careful side counts."""
    shade: Literal["none", "partial", "full"] | None = None
    """Shade; not said: the careful side counts."""
    covered: bool = False
    """Under a tarp or blanket at this time."""

    @model_validator(mode="after")
    def _agrees(self) -> Turf:
        if self.overseed is not None and self.overseeded is not None:
            said = self.overseed.state != "none"
            if said != self.overseeded:
                raise ValueError(
                    f"overseeded = {str(self.overseeded).lower()} contradicts "
                    f"overseed.state = {self.overseed.state!r}"
                )
        if self.rooted is not None and self.established is None:
            raise ValueError("rooted needs established, the date it was laid or sown")
        if self.rooted and self.established and self.rooted < self.established:
            raise ValueError("rooted lies before established")
        if self.mature and self.established is not None:
            raise ValueError("mature and established contradict each other: keep one of them")
        return self


class Soil(SiteTable):
    """What it grows on."""

    texture: Texture = Texture.UNKNOWN
    """USDA texture class."""


Bearing = Annotated[float, Field(ge=0.0, le=360.0, strict=True)]


class Sensitive(SiteTable):
    """Ground that no drift may reach: what it spans on the compass as seen from the turf.

    Clockwise from the first bearing to the second, so that 330 to 20 lies about north.
    """

    name: Name
    """What it is called."""
    bearing_from_deg: Bearing
    """First bearing as seen from the turf, clockwise from north."""
    bearing_to_deg: Bearing
    """Last bearing: 330 to 20 lies about north."""

    @property
    def width_deg(self) -> float:
        """Angle it spans; 0 to 360 is all round."""
        span = self.bearing_to_deg - self.bearing_from_deg
        return span if span == 360 else span % 360


class KnownResistance(SiteTable):
    """A weed that is known to survive a mode of action, or an active of it, on this ground.

    "Resistant": it fails there. "Segregating": some of the plants survive.
    """

    weed: Annotated[str, AfterValidator(weed_code)]
    """Name or EPPO code."""
    group: Annotated[int, Field(ge=0, le=34, strict=True)] | None = None
    """Mode of action group, WSSA/HRAC number."""
    active: str = ""
    """ISO common name, where it is known of one only."""
    standing: Literal["resistant", "segregating"] = "resistant"
    """It fails there, or some of the plants survive."""
    mutation: str = ""
    """Change of the DNA, where a laboratory found one, as Leu-136-Phe."""
    area: str = ""
    """Area where it is so; empty: everywhere on the site."""

    @model_validator(mode="after")
    def _names_something(self) -> KnownResistance:
        if self.group is None and not self.active:
            raise ValueError("names neither group nor active: give one of them")
        return self


class Area(Turf):
    """One area of a site: greens, tees, field 2. What it does not say it has of the site.

    `size` is written with its unit, "3 acre".
    """

    name: Annotated[Name, Field(pattern=r"^[^,;]+$")]
    """What it is called, also in the season log."""
    size: str = ""
    """Its size with the unit, as `3 acre`."""
    sensitive: tuple[Sensitive, ...] = ()
    """Ground that no drift from it may reach, beside that of the site."""

    @field_validator("size")
    @classmethod
    def _sized(cls, text: str) -> str:
        if text:
            try:
                parse(text, "area")
            except InputError as error:
                raise ValueError(f"{error.problem}: {error.remedy}") from None
        return text

    @property
    def size_m2(self) -> float | None:
        """Its size; None where none is given."""
        return parse(self.size, "area") if self.size else None

    def turf(self, site: Turf) -> Turf:
        """What grows there: what it says itself, and else what the site says.

        Keys that tell one thing together, such as how old the turf is, are taken from one of them.

        Raises
        ------
        ValueError
            The two contradict each other.
        """
        own = {key: getattr(self, key) for key in self.model_fields_set if key in Turf.model_fields}
        shadowed = {key for group in _TOGETHER if group & own.keys() for key in group}
        theirs = {key: getattr(site, key) for key in site.model_fields_set - shadowed}
        return Turf.model_validate({**theirs, **own})


_TOGETHER = (
    frozenset({"overseeded", "overseed"}),
    frozenset({"mature", "established", "established_by", "rooted"}),
)
