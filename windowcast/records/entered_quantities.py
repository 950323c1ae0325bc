"""How people write quantities of the log in words, read into SI.

A quantity goes by its row of `windowcast.report.measures`, which says the unit a form asks for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from windowcast.core.errors import InputError
from windowcast.core.quantity import is_number, parse, parse_carrier, parse_rate, parse_temperature


def _bare(text: str, name: str) -> str:
    """A number that needs no unit and is still to be checked; a sign of percent may follow it."""
    return text.removesuffix("%").strip()


def _length(text: str, name: str) -> float:
    return parse(text, "length", name)


def _area(text: str, name: str) -> float:
    return parse(text, "area", name)


def _active(text: str, name: str) -> float:
    rate = parse_rate(text, name)
    if rate.kind != "mass":
        raise InputError(
            f"{text!r} is a volume of product, not a weight of active ingredient", field=name,
            remedy="work it out with windowcast tank rate",
        )  # fmt: skip
    return rate.per_ha


def _per_area(text: str, name: str) -> float:
    """``"12 per ft2"`` or ``"130/m2"`` → plants per m²."""
    number, _, area = text.replace(" per ", "/").partition("/")
    if not is_number(number) or not area.strip():
        raise InputError(f"{text!r}: says no area", field=name, remedy="write it like 12 per ft2")
    return float(number) / _area(f"1 {area.strip()}", name)


@dataclass(frozen=True)
class Entered:
    """How a quantity is entered.

    `unit` is the sign of the SI unit that the log holds, `suffix` what it is in names of fields.
    `read` takes a text with its unit and the name to say in an error, and raises `InputError` where
    it cannot.
    """

    unit: str = ""
    suffix: str = ""
    read: Callable[[str, str], float | str] = _bare


ENTERED: Mapping[str, Entered] = {
    "": Entered(),
    "degC": Entered("°C", "_c", parse_temperature),
    "m s-1": Entered("m/s", "_m_s", lambda text, name: parse(text, "speed", name)),
    "mm": Entered("mm", "_mm", lambda text, name: _length(text, name) * 1000),
    "depth": Entered("m", "_m", _length),
    "m2": Entered("m²", "_m2", _area),
    "frame": Entered("m²", "_m2", _area),
    "m-2": Entered("per m²", "", _per_area),
    "kg ha-1": Entered("kg/ha", "_kg_ha", _active),
    "L ha-1": Entered("L/ha", "_l_ha", parse_carrier),
    "kPa": Entered("kPa", "_kpa", lambda text, name: parse(text, "pressure", name)),
    "%": Entered("%", "_pct"),
    "degree": Entered("°", "_deg"),
    "stage": Entered("BBCH", "_bbch"),
}
