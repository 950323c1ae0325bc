"""The spray record sheet: what record-keeping rules ask of an application, item by item."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from windowcast.core import values
from windowcast.materials.both_units import active_rate, area, carrier, speed, temperature
from windowcast.records.model import Application, Material, fields_of

NOT_ENTERED = "not entered"
_TITLES = {f.name: f.asked.title for kind in ("application", "material") for f in fields_of(kind)}
WIDTH = 78  # of a page of plain text
_LABEL = 42


@dataclass(frozen=True, slots=True)
class SheetItem:
    """One line of the sheet; `missing` marks an item that is asked for and not there."""

    label: str
    text: str
    asked: bool
    missing: bool


@dataclass(frozen=True, slots=True)
class RecordSheet:
    """The sheet of one application: a block of items for it and one for each material."""

    title: str
    source: str
    common: tuple[SheetItem, ...]
    materials: tuple[tuple[SheetItem, ...], ...]
    note: str

    @property
    def missing(self) -> tuple[str, ...]:
        """Labels of what is asked for and not entered."""
        items = [*self.common, *(item for block in self.materials for item in block)]
        return tuple(dict.fromkeys(item.label for item in items if item.missing))


def record_sheet(application: Application) -> RecordSheet:
    """The record of an application, with the items of the US federal list and those states add."""
    rules = values.load("record_rules", "windowcast.records").table("federal")
    asked: Sequence[tuple[str, str]] = rules.value("items").value
    common = [
        _item(label, _common(application, field))
        for label, field in asked
        if field not in _MATERIAL_FIELDS
    ]
    common += [
        SheetItem(label, text or NOT_ENTERED, asked=False, missing=False)
        for label, text in _often_asked(application)
    ]
    blocks = []
    for material in application.materials:
        block = [SheetItem(_TITLES["active"], _active(material), asked=False, missing=False)]
        block += [
            _item(label, str(getattr(material, field)))
            for label, field in asked
            if field in _MATERIAL_FIELDS
        ]
        said = {True: "yes", False: "no", None: NOT_ENTERED}[material.restricted]
        block.append(SheetItem(_TITLES["restricted"], said, asked=False, missing=False))
        if material.product_rate:
            block.append(SheetItem(_TITLES["product_rate"], material.product_rate, False, False))
        blocks.append(tuple(block))
    items = rules.value("items")
    note = (
        f"To be written within {rules.number('within_days'):.0f} days and kept for"
        f" {rules.number('keep_years'):.0f} years ({items.source}); {items.note}."
    )
    return RecordSheet(
        title=str(rules.value("title").value),
        source=items.source,
        common=tuple(common),
        materials=tuple(blocks),
        note=note,
    )


def sheet_lines(sheet: RecordSheet) -> list[str]:
    """The sheet as text lines to print; ``*`` marks what the rule asks for."""
    lines = [sheet.title, "-" * len(sheet.title)]
    lines += [part for item in sheet.common for part in _lines(item)]
    for number, block in enumerate(sheet.materials, start=1):
        lines += ["", f"Material {number}", *(part for item in block for part in _lines(item))]
    ends = [f"* asked for by {sheet.source}", sheet.note]
    if sheet.missing:
        ends.append(f"Still to enter: {'; '.join(sheet.missing)}.")
    return [*lines, "", *(part for text in ends for part in wrap(text, WIDTH))]


_MATERIAL_FIELDS = frozenset(field.name for field in fields_of("material"))


def _lines(item: SheetItem) -> list[str]:
    head = f"{'*' if item.asked else ' '} {item.label + ':':<{_LABEL}}"
    return wrap(item.text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))


def _item(label: str, text: str) -> SheetItem:
    return SheetItem(label, text or NOT_ENTERED, asked=True, missing=not text)


def _common(application: Application, field: str) -> str:
    if field == "date":
        return application.date.isoformat()
    if field == "area_m2":
        return "" if application.area_m2 is None else area(application.area_m2)
    return str(getattr(application, field))


def _active(material: Material) -> str:
    if material.rate_kg_ha is None:
        return material.active
    return f"{material.active}, {active_rate(material.rate_kg_ha)}"


def _often_asked(a: Application) -> list[tuple[str, str]]:
    """What states and insurers often ask for besides (common practice)."""
    wind = "" if a.wind_m_s is None else speed(a.wind_m_s)
    if wind and a.wind_from_deg is not None:
        wind += f" from {a.wind_from_deg:.0f}°"
    clock = f"{a.start:%H:%M}" + (f" to {a.end:%H:%M}" if a.end else "")
    said = {
        "target": a.target,
        "purpose": a.purpose,
        "carrier_l_ha": "" if a.carrier_l_ha is None else carrier(a.carrier_l_ha),
        "nozzle": ", ".join(filter(None, [a.nozzle, a.droplet_class])),
        "adjuvant": a.adjuvant,
        "wind_m_s": wind,
        "temp_c": "" if a.temp_c is None else temperature(a.temp_c),
        "rh_pct": "" if a.rh_pct is None else f"{a.rh_pct:.0f} %",
        "weather_source": a.weather_source,
        "notes": a.notes,
    }
    rows = [(_TITLES[name], text) for name, text in said.items()]
    return [("Time", f"{clock} ({a.start:%z})"), *rows]
