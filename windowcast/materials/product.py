"""One thing that goes into the tank."""

from __future__ import annotations

from dataclasses import dataclass

from windowcast.core.quantity import Rate
from windowcast.materials.price import Price
from windowcast.materials.rates import Concentration, active_kg_ha

_ADJUVANTS = ("NIS", "OIL", "DRIFT", "WATER CONDITIONER")


@dataclass(frozen=True, slots=True)
class Product:
    """One thing that goes into the tank.

    Attributes
    ----------
    name
        In the user's own words.
    rate
        Of product, per area. An adjuvant may instead have `share_of_volume` (0.0025 = 0.25 % v/v).
    formulation
        CropLife code ("SC", "WG", …), "NIS", "OIL", "DRIFT" or "WATER CONDITIONER"; "" unknown.
    active, concentration
        To count the active ingredient; both or neither.
    max_year_kg_ha
        The label's yearly maximum of active ingredient, entered by the user.
    registration, restricted
        From the label, for the record; "" and None where nobody said.
    price
        None where nobody said.
    written
        Its values as they were written, by key of the materials file.
    """

    name: str
    rate: Rate | None = None
    share_of_volume: float | None = None
    formulation: str = ""
    active: str = ""
    concentration: Concentration | None = None
    max_year_kg_ha: float | None = None
    registration: str = ""
    restricted: bool | None = None
    price: Price | None = None
    written: tuple[tuple[str, str], ...] = ()

    @property
    def rate_text(self) -> str:
        """The rate, or the share of the volume, as it was written."""
        said = dict(self.written)
        return said.get("rate", "") or said.get("share", "")

    @property
    def adjuvant(self) -> bool:
        """Whether it only helps others along, by its formulation."""
        return self.formulation.upper() in _ADJUVANTS

    @property
    def active_kg_ha(self) -> float | None:
        """Active ingredient per hectare, None for an adjuvant or an unknown concentration."""
        if self.rate is None or self.concentration is None:
            return None
        return active_kg_ha(self.rate, self.concentration)
