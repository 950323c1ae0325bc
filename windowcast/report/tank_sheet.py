"""The tank sheet in words: a page of plain text to carry along, and the parts its screen shows."""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum, isnan
from textwrap import wrap

from windowcast.core.phrase import Name, Phrase, Quantity, Share, Unit, Value, names, say
from windowcast.core.quantity import write_amount
from windowcast.core.units import M2_PER_ACRE, M2_PER_HA
from windowcast.materials.nozzle import NozzleCheck
from windowcast.materials.tank import Dose, Load, TankSheet, YearTotal
from windowcast.report.catalogue import Voice

WIDTH = 78
_LABEL = 14


@dataclass(frozen=True)
class SaidSheet:
    """A tank sheet in words, every amount in both systems.

    Attributes
    ----------
    loads
        How to fill a load.
    rows
        Of each load its spray, the area it covers and the dose of each product.
    """

    area: str
    carrier: str
    tank: str
    total: str
    droplets: str
    loads: str
    rows: tuple[tuple[str, ...], ...]
    nozzle: tuple[str, ...]
    year: tuple[str, ...]
    costs: tuple[str, ...]


def said_sheet(sheet: TankSheet, voice: Voice) -> SaidSheet:
    """The parts of a sheet; money is said by the reader's unit of area."""
    nozzle = [] if sheet.nozzle is None else nozzle_lines(sheet.nozzle, voice)
    rows = (
        (
            _both(load.volume_l, "L", voice),
            _both(load.area_m2, "m2", voice),
            *(dose_text(dose) for dose in load.doses),
        )
        for load in sheet.loads
    )
    return SaidSheet(
        area=_both(sheet.area_m2, "m2", voice),
        carrier=_both(sheet.carrier_l_ha, "L ha-1", voice),
        tank=_both(sheet.tank_l, "L", voice),
        total=_both(sheet.total_l, "L", voice),
        droplets=voice.say(
            "sheet.droplet_class", droplets=sheet.droplet_class or say("tank.see_label")
        ),
        loads=voice.say("sheet.loads", share=Share(sheet.first_fill)),
        rows=tuple(rows),
        nozzle=tuple(nozzle),
        year=tuple(voice.text(_year(total)) for total in sheet.totals),
        costs=tuple(cost_lines(sheet, voice)),
    )


def sheet_text(sheet: TankSheet, voice: Voice, title: str = "") -> str:
    """The whole sheet as plain text; under its own title where none is given."""
    said = said_sheet(sheet, voice)
    title = title or voice.say("sheet.title")
    lines = [title, "=" * min(len(title), WIDTH), ""]
    if sheet.refusals:
        lines += [voice.say("sheet.refused"), ""]
    for refusal in sheet.refusals:
        lines += [*wrap(voice.text(refusal), WIDTH), ""]
    lines.append(_row(voice.say("sheet.area"), said.area))
    year = (say("sheet.year"), said.year)
    parts: tuple[tuple[Phrase, tuple[str, ...]], ...] = (year,)
    if not sheet.refusals:  # nobody mixes what must not be sprayed
        lines += [
            _row(voice.say("sheet.carrier"), said.carrier),
            _row(voice.say("sheet.tank"), said.tank),
            _row(voice.say("sheet.total"), said.total),
            _row(voice.say("sheet.droplets"), said.droplets),
        ]
        if sheet.droplet_source:
            lines.append(_row("", voice.text(sheet.droplet_source)))
        lines += [part for load in mixing_lines(sheet, voice) for part in ("", *load)]
        parts = ((say("sheet.nozzles"), said.nozzle), year, (say("sheet.cost"), said.costs))
    for heading, items in parts:
        if items:
            lines += ["", voice.text(heading), *(f"  {item}" for item in items)]
    for heading, notes in (
        (say("sheet.notes"), sheet.notes),
        (say("sheet.mind"), sheet.other_cautions),
    ):
        if notes:
            lines += ["", voice.text(heading)]
            lines += (part for note in notes for part in _wrap(voice.text(note)))
    return "\n".join(part for line in lines for part in to_width(line)) + "\n"


def cost_lines(sheet: TankSheet, voice: Voice) -> list[str]:
    """What each product and the whole sheet cost; nothing where no product has a price."""
    lines = [
        voice.say("sheet.cost_of", product=cost.product, cost=money(cost.amount, cost.money))
        for cost in sheet.costs
    ]
    area_m2 = M2_PER_ACRE if voice.units == "us" else M2_PER_HA
    per = say(f"sheet.per.{voice.units}")
    for currency in dict.fromkeys(cost.money for cost in sheet.costs):
        total = fsum(cost.amount for cost in sheet.costs if cost.money == currency)
        each = money(total / sheet.area_m2 * area_m2, currency)
        whole = money(total, currency)
        lines.append(voice.say("sheet.cost_in_all", cost=whole, each=each, per=per))
    if sheet.unpriced:
        lines.append(voice.say("sheet.unpriced", products=names(*sheet.unpriced, join="comma")))
    return lines


def money(amount: float, currency: str) -> str:
    """An amount of money: ``31.20 USD``, ``$31.20``."""
    return f"{amount:,.2f} {currency}" if currency.isalpha() else f"{currency}{amount:,.2f}"


def _year(total: YearTotal) -> Phrase:
    """What a year's use comes to with this tank, and what the label allows."""
    year = say("sheet.with_this", after=Quantity(total.after_kg_ha, "kg ha-1"))
    if isnan(total.after_kg_ha):
        year = say("sheet.before_unknown", now=Quantity(total.now_kg_ha, "kg ha-1"))
    most = say("sheet.most_unknown")
    if total.max_kg_ha is not None:
        most = say("sheet.most", most=Quantity(total.max_kg_ha, "kg ha-1"))
    return say("sheet.year_line", active=Name(total.active), year=year, most=most)


def mixing_lines(sheet: TankSheet, voice: Voice) -> list[list[str]]:
    """Heading and steps of each load; loads of the same size are said once."""
    full = [load for load in sheet.loads if load.volume_l == sheet.loads[0].volume_l]
    groups = [(full[0], len(full))] + [(load, 1) for load in sheet.loads[len(full) :]]
    sizes = ["full" if load.volume_l >= sheet.tank_l * (1 - 1e-9) else "part" for load, _ in groups]
    return [
        [voice.text(step) for step in _mixing(load, count, size, sheet.first_fill)]
        for (load, count), size in zip(groups, sizes, strict=True)
    ]


def _mixing(load: Load, count: int, size: str, first_fill: float) -> list[Phrase]:
    volume, area = Quantity(load.volume_l, "L"), Quantity(load.area_m2, "m2")
    water = Quantity(load.volume_l * first_fill, "L")
    steps = [
        say(f"sheet.{size}_load", count=count, volume=volume, area=area),
        say("sheet.fill", step=1, water=water),
    ]
    for step, dose in enumerate(load.doses, start=2):
        product: Value = Name(dose.product.name)
        if dose.product.formulation:
            formulation = Name(dose.product.formulation)
            product = say("sheet.formulated", product=product, formulation=formulation)
        steps.append(say("sheet.product", step=step, product=product, dose=Name(dose_text(dose))))
    return [*steps, say("sheet.fill_up", step=len(load.doses) + 2, volume=volume)]


def nozzle_lines(check: NozzleCheck, voice: Voice) -> list[str]:
    """What each nozzle must give and what was caught."""
    said = [say("nozzle.needed", flow=Quantity(check.needed_l_min, "L min-1")), check.text]
    if check.caught_l_min is not None:
        assert check.speed_m_s_to_match is not None
        caught = Quantity(check.caught_l_min, "L min-1")
        said[1] = say("nozzle.caught", flow=caught, text=check.text)
        said.append(say("nozzle.suits", speed=Quantity(check.speed_m_s_to_match, "m s-1")))
    return [voice.text(phrase) for phrase in said]


def dose_text(dose: Dose) -> str:
    """An amount of product in the units people measure with."""
    return write_amount(dose.amount, dose.kind)


def _both(value: float, unit: Unit, voice: Voice) -> str:
    return voice.write(Quantity(value, unit), "both")


def _row(label: str, text: str) -> str:
    return f"{label:<{_LABEL}}{text}"


def to_width(line: str) -> list[str]:
    """A line broken to the width of a page, its rest under its text."""
    if len(line) <= WIDTH:
        return [line]
    indent = len(line) - len(line.lstrip())
    rest = indent if indent >= _LABEL else indent + 4
    return wrap(line, WIDTH, subsequent_indent=" " * rest, drop_whitespace=True)


def _wrap(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
