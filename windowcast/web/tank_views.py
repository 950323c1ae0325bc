"""The tank sheet on the plan screen: filled in by an address, so it can be kept and printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase
from windowcast.core.quantity import parse, parse_carrier
from windowcast.limits.tank import tank_remarks
from windowcast.materials.actives import load_actives
from windowcast.materials.products import load_products, product_from_words, with_label_maximum
from windowcast.materials.tank import NozzleCheck, TankSheet, nozzle_check, tank_sheet
from windowcast.records.model import Application
from windowcast.records.observations import applied_kg_ha
from windowcast.report import both_units
from windowcast.report.catalogue import render
from windowcast.report.tank_sheet import dose_text, nozzle_lines
from windowcast.web.fields import Field, sentence_of, wrong_by_field
from windowcast.web.log_views import open_log, today_of
from windowcast.web.sites import KnownSite

PRODUCTS = 4
SPRAYER = (
    Field("area", "Area to treat", hint="e.g. 12 acre or 4.8 ha", needed=True),
    Field("carrier", "Water carried", hint="e.g. 40 gal/acre or 370 L/ha", needed=True),
    Field("tank", "Tank holds", hint="e.g. 300 gal or 1100 L", needed=True),
    Field("where", "Where", hint="to count what the log says was put there"),
    Field("speed", "Speed", hint="to check nozzles: e.g. 4 mph"),
    Field("spacing", "Nozzle spacing", hint="e.g. 20 in"),
    Field("flow", "Caught from one nozzle", hint="e.g. 0.5 gal/min"),
)
_PRODUCT_KEYS = ("rate", "concentration", "formulation", "share", "max_per_year")


def product_fields(row: int) -> tuple[Field, ...]:
    """The fields of one product."""
    return (
        Field(f"p{row}.name", "Name", hint="active ingredient or adjuvant", needed=row == 0),
        Field(f"p{row}.rate", "Rate of product", hint="e.g. 16 fl oz/acre"),
        Field(f"p{row}.concentration", "Concentration", hint="from the label: 4 lb/gal, 65 %"),
        Field(f"p{row}.formulation", "Formulation", hint="SC, WG, SL, NIS …"),
        Field(f"p{row}.share", "Or share of volume", hint="adjuvants: 0.25 %"),
        Field(f"p{row}.max_per_year", "Most in a year", hint="label's limit: 2 lb/acre"),
    )


GROUPS = (
    ("Sprayer", SPRAYER),
    *((f"Product {row + 1}", product_fields(row)) for row in range(PRODUCTS)),
)


@dataclass(frozen=True)
class SheetView:
    """What the screen shows: the form as typed, the sheet or what is wrong."""

    typed: dict[str, str]
    groups: tuple[tuple[str, tuple[Field, ...]], ...]
    sheet: TankSheet | None
    nozzle: list[str]
    wrong: dict[str, str]
    problem: str
    units: Any = both_units

    def dose(self, dose: Any) -> str:
        """An amount of product in both systems."""
        return dose_text(dose)

    def text(self, phrase: Phrase) -> str:
        """What the sheet says, amounts in both systems."""
        return render(phrase)


def sheet_view(request: Request, site: KnownSite) -> SheetView:
    """The tank sheet the address asks for, when it asks for one."""
    typed = {name: text.strip()[:200] for name, text in request.query_params.items()}
    sheet, problem = None, None
    if typed.get("area") or typed.get("carrier") or typed.get("tank"):
        try:
            sheet = _sheet(request, site, typed)
        except InputError as error:
            problem = error
    names = {field.name for _, group in GROUPS for field in group}
    wrong = wrong_by_field(problem, names)
    return SheetView(
        typed=typed,
        groups=GROUPS,
        sheet=sheet,
        nozzle=nozzle_lines(sheet.nozzle) if sheet is not None and sheet.nozzle else [],
        wrong=wrong,
        problem=_named(problem) if problem and not wrong else "",
    )


def _named(problem: InputError) -> str:
    text = sentence_of(problem)
    return f"{problem.field}: {text}" if problem.field else text


def _sheet(request: Request, site: KnownSite, typed: Mapping[str, str]) -> TankSheet:
    assert site.site is not None
    area_m2 = parse(typed.get("area", ""), "area", "area")
    tank_l = parse(typed.get("tank", ""), "volume", "tank")
    carrier_l_ha = parse_carrier(typed.get("carrier", ""))
    file = site.beside(site.site.materials_file)
    actives = load_actives(file)
    known = load_products(file, actives)
    products = [
        product_from_words(words, known, actives)
        for words in (_words(typed, row) for row in range(PRODUCTS))
        if words
    ]
    return tank_sheet(
        area_m2,
        carrier_l_ha,
        tank_l,
        with_label_maximum(products, actives),
        actives=actives,
        used_kg_ha=_used(request, site, typed.get("where", "")),
        nozzle=_nozzle(carrier_l_ha, typed),
        remarks=tank_remarks(products, actives, site.site, today_of(request, site)),
    )


def _words(typed: Mapping[str, str], row: int) -> str:
    """A product as the command line would name it."""
    name = typed.get(f"p{row}.name", "")
    given = ((key, typed.get(f"p{row}.{key}", "")) for key in _PRODUCT_KEYS)
    return " ".join([name, *(f"{key}={text}" for key, text in given if text)]) if name else ""


def _nozzle(carrier_l_ha: float, typed: Mapping[str, str]) -> NozzleCheck | None:
    if not any(typed.get(name) for name in ("speed", "spacing", "flow")):
        return None
    flow = typed.get("flow", "")
    return nozzle_check(
        carrier_l_ha,
        parse(typed.get("speed", ""), "speed", "speed"),
        parse(typed.get("spacing", ""), "length", "spacing"),
        parse(flow, "flow", "flow") if flow else None,
    )


def _used(request: Request, site: KnownSite, where: str) -> dict[str, float] | None:
    if site.log_path is None or not site.log_path.exists():
        return None
    with open_log(site) as log:
        done = [stored.entry for stored in log.all(Application)]
    return applied_kg_ha(done, today_of(request, site), where)
