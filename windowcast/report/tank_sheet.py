"""The tank sheet as plain text to print and carry along, in both unit systems."""

from __future__ import annotations

from math import isnan

from windowcast.core.quantity import write
from windowcast.core.units import KG_PER_LB, L_PER_US_GAL
from windowcast.materials.tank import Dose, NozzleCheck, TankSheet, YearTotal
from windowcast.report.both_units import active_rate, area, carrier, flow, speed, volume
from windowcast.report.catalogue import render

WIDTH = 78
_LABEL = 14


def sheet_text(sheet: TankSheet, title: str = "Tank sheet") -> str:
    """The whole sheet; every amount as US (metric)."""
    lines = [title, "=" * min(len(title), WIDTH), ""]
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
    for heading, texts in (("Notes", sheet.notes), ("Mind", sheet.cautions)):
        if texts:
            lines += ["", heading, *(part for text in texts for part in _wrap(render(text)))]
    return "\n".join(part for line in lines for part in _to_width(line)) + "\n"


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
    if dose.kind == "mass":
        us_unit = "lb" if dose.amount >= KG_PER_LB else "oz"
        metric = "kg" if dose.amount >= 1 else "g"
    else:
        us_unit = "gal" if dose.amount >= L_PER_US_GAL else "fl oz"
        metric = "L" if dose.amount >= 1 else "mL"
    return f"{write(dose.amount, us_unit, dose.kind)} ({write(dose.amount, metric, dose.kind)})"


def _row(label: str, text: str) -> str:
    return f"{label:<{_LABEL}}{text}"


def _to_width(line: str) -> list[str]:
    """A line broken to the width of a page, its rest under its text."""
    from textwrap import wrap

    if len(line) <= WIDTH:
        return [line]
    indent = len(line) - len(line.lstrip())
    rest = indent if indent >= _LABEL else indent + 4
    return wrap(line, WIDTH, subsequent_indent=" " * rest, drop_whitespace=True)


def _wrap(text: str) -> list[str]:
    from textwrap import wrap

    return wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
