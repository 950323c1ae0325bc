"""The sprayers of a site as they were set and measured, and who drives them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Annotated

from pydantic import Field, ValidationInfo, field_validator, model_validator

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse, parse_carrier
from windowcast.core.turf import Name, SiteTable
from windowcast.core.units import Dimension

_MEASURED: dict[str, Dimension] = {
    "tank": "volume",
    "pressure": "pressure",
    "speed": "speed",
    "spacing": "length",
    "flow": "flow",
}
_NO_COMMA = r"^[^,;]+$"


class Sprayer(SiteTable):
    """One sprayer; amounts are written with their units, "300 gal", and empty where nobody said.

    `flow` is what was measured from one nozzle, on the day `measured`.
    """

    name: Annotated[Name, Field(pattern=_NO_COMMA)]
    """What it is called."""
    tank: str = ""
    """What the tank takes, as `300 gal`."""
    carrier: str = ""
    """Carrier volume, as `40 gal/acre`."""
    nozzle: Annotated[str, Field(max_length=120)] = ""
    """Nozzle, as you call it."""
    pressure: str = ""
    """Pressure, as `40 psi`."""
    speed: str = ""
    """Speed, as `4 mph`."""
    spacing: str = ""
    """Between nozzles, as `20 in`."""
    flow: str = ""
    """Measured from one nozzle, as `0.5 gal/min`."""
    measured: dt.date | None = None
    """Day on which the flow was measured."""
    boom_height_m: Annotated[float, Field(ge=0.2, le=2.0, strict=True)] | None = None
    """Height of the boom."""
    droplet_class: Annotated[str, Field(max_length=40)] = ""
    """ASABE S572 name, as coarse."""

    @field_validator("carrier", *_MEASURED)
    @classmethod
    def _amount(cls, text: str, info: ValidationInfo) -> str:
        if text:
            name = str(info.field_name)
            try:
                parse_carrier(text) if name == "carrier" else parse(text, _MEASURED[name])
            except InputError as error:
                raise ValueError(f"{error.problem}: {error.remedy}") from None
        return text

    @model_validator(mode="after")
    def _of_a_flow(self) -> Sprayer:
        if self.measured is not None and not self.flow:
            raise ValueError("measured needs flow, what one nozzle gave on that day")
        return self


class Operator(SiteTable):
    """Who sprays, where no other is named."""

    name: Annotated[str, Field(max_length=120)] = ""
    """Name of the applicator."""
    certification: Annotated[str, Field(max_length=120)] = ""
    """Number of licence or certificate."""


def sprayer_named(sprayers: Sequence[Sprayer], name: str) -> Sprayer | None:
    """A sprayer by its name, whatever capitals; with none given the only one there is.

    None where no name is given and there is none, or several.

    Raises
    ------
    InputError
        There is none of this name.
    """
    if not name:
        return sprayers[0] if len(sprayers) == 1 else None
    found = next((one for one in sprayers if one.name.casefold() == name.casefold()), None)
    if found is None:
        raise InputError(
            f"{name!r} is not a sprayer of this site", field="sprayer",
            remedy=f"use one of {', '.join(one.name for one in sprayers)}"
            if sprayers else "name it in the site file under [[sprayer]], or leave it out",
        )  # fmt: skip
    return found
