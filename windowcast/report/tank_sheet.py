"""The tank sheet as plain text to print and carry along, in both unit systems."""

from __future__ import annotations

from math import fsum, isnan
from textwrap import wrap

from windowcast.core.quantity import write_amount
from windowcast.core.units import M2_PER_ACRE, M2_PER_HA, System
from windowcast.materials.tank import Dose, NozzleCheck, TankSheet, YearTotal
from windowcast.report.both_units import active_rate, area, carrier, flow, speed, volume
from windowcast.report.catalogue import render

WIDTH = 78
_LABEL = 14


def sheet_text(sheet: TankSheet, title: str = "Tank sheet", units: System = "us") -> str:
    """The whole sheet; every amount as US (metric), money per acre or hectare by `units`."""
    lines = [title, "=" * min(len(title), WIDTH), ""]
    for said in sheet.refusals:
        lines += [*wrap(render(said), WIDTH), ""]
    lines += [
        _row("Area", area(sheet.area_m2)),
        _row("Carrier", carrier(sheet.carrier_l_ha)),
        _row("Tank", volume(sheet.tank_l)),
        _row("Spray in all", volume(sheet.total_l)),
        _row("Droplets", f"{sheet.droplet_class or 'see label'} (ASABE S572)"),
    ]
    if sheet.droplet_source:
        lines.append(_row("", render(sheet.droplet_source)))
    lines += ["", *_loads(sheet)]
    if sheet.nozzle is not None:
        lines += ["", "Nozzles", *(f"  {line}" for line in nozzle_lines(sheet.nozzle))]
    if sheet.totals:
        lines += ["", "Active ingredient in the last 365 days, this tank included"]
        lines += [
            f"  {t.active}: {_year(t)}; label's maximum "
            + (active_rate(t.max_kg_ha) if t.max_kg_ha is not None else "not entered")
            for t in sheet.totals
        ]
    lines += (
        ["", "Cost", *(f"  {line}" for line in costs)]
        if (costs := cost_lines(sheet, units))
        else []
    )
    for heading, texts in (("Notes", sheet.notes), ("Mind", sheet.other_cautions)):
        if texts:
            lines += ["", heading, *(part for text in texts for part in _wrap(render(text)))]
    return "\n".join(part for line in lines for part in _to_width(line)) + "\n"


def cost_lines(sheet: TankSheet, units: System) -> list[str]:
    """What each product and the whole sheet cost; nothing where no product has a price."""
    area, unit = (M2_PER_ACRE, "acre") if units == "us" else (M2_PER_HA, "ha")
    lines = [f"{cost.product}: {money(cost.amount, cost.money)}" for cost in sheet.costs]
    for currency in dict.fromkeys(cost.money for cost in sheet.costs):
        total = fsum(cost.amount for cost in sheet.costs if cost.money == currency)
        each = money(total / sheet.area_m2 * area, currency)
        lines.append(f"in all: {money(total, currency)}, {each} per {unit}")
    if sheet.unpriced:
        lines.append(f"without {', '.join(sheet.unpriced)}: no price in the materials file")
    return lines


def money(amount: float, currency: str) -> str:
    """An amount of money: ``31.20 USD``, ``$31.20``."""
    return f"{amount:,.2f} {currency}" if currency.isalpha() else f"{currency}{amount:,.2f}"


def _year(total: YearTotal) -> str:
    if isnan(total.after_kg_ha):
        return f"cannot tell; this tank alone {active_rate(total.now_kg_ha)}"
    return active_rate(total.after_kg_ha)


def _loads(sheet: TankSheet) -> list[str]:
    lines: list[str] = []
    full = [load for load in sheet.loads if load.volume_l == sheet.loads[0].volume_l]
    groups = [(full[0], len(full))] + [(load, 1) for load in sheet.loads[len(full) :]]
    for load, count in groups:
        which = "full load" if load.volume_l >= sheet.tank_l * (1 - 1e-9) else "part load"
        lines += [
            f"{count} {which}{'s' if count > 1 else ''} of {volume(load.volume_l)}"
            f" for {area(load.area_m2)}" + (" each" if count > 1 else ""),
            f"  1. fill to {volume(load.volume_l * sheet.first_fill)} of water, agitate",
        ]
        lines += [
            f"  {step}. {dose.product.name}"
            + (f" ({dose.product.formulation})" if dose.product.formulation else "")
            + f": {dose_text(dose)}"
            for step, dose in enumerate(load.doses, start=2)
        ]
        lines += [f"  {len(load.doses) + 2}. fill up to {volume(load.volume_l)}", ""]
    return lines[:-1]


def nozzle_lines(check: NozzleCheck) -> list[str]:
    """What each nozzle must give and what was caught."""
    lines = [f"each nozzle must give {flow(check.needed_l_min)}"]
    if check.caught_l_min is not None:
        lines.append(f"caught {flow(check.caught_l_min)}: {render(check.text)}")
        assert check.speed_m_s_to_match is not None
        lines.append(f"the caught flow would suit {speed(check.speed_m_s_to_match)}")
    else:
        lines.append(render(check.text))
    return lines


def dose_text(dose: Dose) -> str:
    """An amount of product in the units people measure with."""
    return write_amount(dose.amount, dose.kind)


def _row(label: str, text: str) -> str:
    return f"{label:<{_LABEL}}{text}"


def _to_width(line: str) -> list[str]:
    """A line broken to the width of a page, its rest under its text."""
    if len(line) <= WIDTH:
        return [line]
    indent = len(line) - len(line.lstrip())
    rest = indent if indent >= _LABEL else indent + 4
    return wrap(line, WIDTH, subsequent_indent=" " * rest, drop_whitespace=True)


def _wrap(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
