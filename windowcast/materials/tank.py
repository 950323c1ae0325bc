"""The tank sheet: loads, amounts in mixing order, nozzle check, droplets, yearly totals.

Everything is in SI (m², L, kg, L/ha, kg/ha, m/s); `windowcast.report.tank_sheet` prints it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Share, Value, say
from windowcast.core.quantity import write
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.materials.actives import Active
from windowcast.materials.nozzle import NozzleCheck
from windowcast.materials.product import Product

MOST_LOADS = 1000  # more is a slip of the pen


@dataclass(frozen=True, slots=True)
class Dose:
    """How much of a product goes into a load: kg or L."""

    product: Product
    amount: float
    kind: Literal["mass", "volume"]


@dataclass(frozen=True, slots=True)
class Load:
    """One filling of the tank: its doses stand in mixing order."""

    volume_l: float
    area_m2: float
    doses: tuple[Dose, ...]


@dataclass(frozen=True, slots=True)
class YearTotal:
    """Active ingredient this year against the label's maximum, kg/ha.

    `before_kg_ha` is NaN when what went out before cannot be told.
    """

    active: str
    before_kg_ha: float
    now_kg_ha: float
    max_kg_ha: float | None

    @property
    def after_kg_ha(self) -> float:
        """Total once this tank is out."""
        return self.before_kg_ha + self.now_kg_ha

    @property
    def known_kg_ha(self) -> float:
        """The total as far as it can be told: at least this tank."""
        return self.now_kg_ha if math.isnan(self.before_kg_ha) else self.after_kg_ha

    @property
    def over_alone(self) -> bool:
        """Whether this tank alone would pass the maximum."""
        return self.max_kg_ha is not None and self.now_kg_ha > self.max_kg_ha * (1 + 1e-9)

    @property
    def over(self) -> bool | None:
        """Whether the maximum would be passed; None when it or what was applied is not known."""
        if self.max_kg_ha is None or math.isnan(self.after_kg_ha):
            return None
        return self.after_kg_ha > self.max_kg_ha * (1 + 1e-9)


@dataclass(frozen=True, slots=True)
class Cost:
    """What all of a product on the sheet costs; `money` as in `Price`."""

    product: str
    amount: float
    money: str


@dataclass(frozen=True, slots=True)
class TankSheet:
    """All that is on the sheet; `refusals` are the cautions that say no."""

    area_m2: float
    carrier_l_ha: float
    tank_l: float
    total_l: float
    loads: tuple[Load, ...]
    first_fill: float
    droplet_class: str
    droplet_source: Phrase
    nozzle: NozzleCheck | None
    totals: tuple[YearTotal, ...]
    notes: tuple[Phrase, ...]
    cautions: tuple[Phrase, ...]
    costs: tuple[Cost, ...] = ()
    refusals: tuple[Phrase, ...] = ()

    @property
    def other_cautions(self) -> tuple[Phrase, ...]:
        """The cautions without the refusals among them."""
        return tuple(said for said in self.cautions if said not in self.refusals)

    @property
    def totals_used(self) -> tuple[Dose, ...]:
        """How much of each product all loads take, in mixing order."""
        return tuple(
            replace(first, amount=math.fsum(load.doses[place].amount for load in self.loads))
            for place, first in enumerate(self.loads[0].doses)
        )

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Products without a price, where others have one."""
        priced = {cost.product for cost in self.costs}
        names = (dose.product.name for dose in self.loads[0].doses)
        return tuple(name for name in names if name not in priced) if priced else ()


def tank_sheet(
    area_m2: float,
    carrier_l_ha: float,
    tank_l: float,
    products: Sequence[Product],
    *,
    actives: Mapping[str, Active] | None = None,
    used_kg_ha: Mapping[str, float] | None = None,
    nozzle: NozzleCheck | None = None,
    remarks: Sequence[Phrase] = (),
    tables: Tables = PACKAGED,
) -> TankSheet:
    """Work out the loads and everything that goes with them.

    Parameters
    ----------
    area_m2, carrier_l_ha, tank_l
        Area to treat, carrier volume, what the tank takes.
    products
        At least one, in any order.
    actives
        What is known of the ingredients, for droplets, adjuvants and carrier volume.
    used_kg_ha
        Active ingredient already put out there this year, by name; NaN where the log has an
        application without its rate; None when there is no log to say.
    remarks
        Further cautions for the sheet, such as those of the rotation.
    tables
        The science values to go by: ``tank``.

    Raises
    ------
    InputError
        A value that is not above zero, no products, two of one name, no rate, a tank that would
        have to be filled more than `MOST_LOADS` times.
    """
    for name, value in (("area", area_m2), ("carrier volume", carrier_l_ha), ("tank", tank_l)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"{value:g} is not above zero", field=name)
    if not products:
        raise InputError("nothing to put into the tank", field="product", remedy="name one")
    names = [p.name for p in products]
    if len(set(names)) < len(names):
        raise InputError("two products of one name", field="product", remedy="name each once")
    table = tables["tank"]
    ordered = mixing_order(products, table)
    total_l = carrier_l_ha * area_m2 / 1e4
    if total_l / tank_l > MOST_LOADS:
        raise InputError(
            f"{write(tank_l, 'gal', 'volume')} ({write(tank_l, 'L', 'volume')}) would have to be"
            f" filled {total_l / tank_l:,.0f} times",
            field="tank", remedy="check tank, area and carrier volume",
        )  # fmt: skip
    loads = tuple(
        Load(filled, filled / carrier_l_ha * 1e4, _doses(ordered, filled, carrier_l_ha))
        for filled in load_volumes(total_l, tank_l)
    )
    members = [actives[p.active] for p in ordered if p.active and actives and p.active in actives]
    droplets, source = droplet_class(members, table)
    totals = _totals(ordered, used_kg_ha)
    sheet = TankSheet(
        area_m2=area_m2,
        carrier_l_ha=carrier_l_ha,
        tank_l=tank_l,
        total_l=total_l,
        loads=loads,
        first_fill=table.number("mixing.first_fill"),
        droplet_class=droplets,
        droplet_source=source,
        nozzle=nozzle,
        totals=totals,
        notes=_notes(members),
        cautions=(
            *_cautions(
                loads,
                tank_l,
                carrier_l_ha,
                products=ordered,
                members=members,
                totals=totals,
                logged=used_kg_ha is not None,
                table=table,
            ),
            *remarks,
        ),
    )
    return replace(sheet, costs=_costs(sheet.totals_used))


def _costs(used: Sequence[Dose]) -> tuple[Cost, ...]:
    """What is used of the products that have a price."""
    return tuple(
        Cost(dose.product.name, dose.amount * price.per_unit, price.money)
        for dose in used
        if (price := dose.product.price) is not None
    )


def load_volumes(total_l: float, tank_l: float) -> list[float]:
    """Volumes of the tank loads: full ones, then the last part."""
    full = math.floor(total_l / tank_l + 1e-9)
    rest = total_l - full * tank_l
    return [tank_l] * full + ([rest] if rest > 1e-6 * tank_l else [])


def mixing_order(products: Sequence[Product], table: Table) -> tuple[Product, ...]:
    """Products in the order they go into the tank; those of unknown formulation come last.

    `table` is ``materials/tank.toml``.
    """
    order = list(table.value("mixing.order").value)

    def place(product: Product) -> int:
        code = product.formulation.upper()
        return order.index(code) if code in order else len(order)

    return tuple(sorted(products, key=place))


def droplet_class(members: Sequence[Active], table: Table) -> tuple[str, Phrase]:
    """ASABE S572 class to aim at, the finest that a member asks for, and why; "" when unknown.

    `table` is ``materials/tank.toml``.
    """
    if not members:
        return "", NOTHING
    asked = table.table("droplets")
    classes = list(asked.value("classes").value)
    wanted = [(asked.value(str(m.movement.value) if m.leaf else "soil"), m) for m in members]
    value, member = min(wanted, key=lambda pair: classes.index(pair[0].value))
    source = say(
        "tank.droplets",
        active=Name(member.name),
        source=Name(value.source),
        status=Name(value.status),
    )
    return str(value.value), source


def _doses(products: Sequence[Product], volume_l: float, carrier_l_ha: float) -> tuple[Dose, ...]:
    doses = []
    for product in products:
        if product.rate is not None:
            amount = product.rate.on(volume_l / carrier_l_ha * 1e4)
            doses.append(Dose(product, amount, product.rate.kind))
        elif product.share_of_volume is not None and 0 < product.share_of_volume < 1:
            doses.append(Dose(product, product.share_of_volume * volume_l, "volume"))
        else:
            raise InputError("has no rate", field=product.name, remedy="take it from the label")
    return tuple(doses)


def _totals(products: Sequence[Product], used: Mapping[str, float] | None) -> tuple[YearTotal, ...]:
    now: dict[str, float] = {}
    most: dict[str, float | None] = {}
    for product in products:
        amount = product.active_kg_ha
        if product.active and amount is not None:
            now[product.active] = now.get(product.active, 0.0) + amount
            limits = [most.get(product.active), product.max_year_kg_ha]
            most[product.active] = min((x for x in limits if x is not None), default=None)
    before = {a: math.nan if used is None else used.get(a, 0.0) for a in now}
    return tuple(YearTotal(a, before[a], amount, most[a]) for a, amount in now.items())


def _notes(members: Sequence[Active]) -> tuple[Phrase, ...]:
    """Adjuvant, re-entry and buffers of each active, as its source or the user's label has them."""
    notes = []
    for m in members:
        active, label = Name(m.name), say("tank.see_label")
        adjuvant: Phrase = label
        if m.adjuvant:
            text, status = Name(str(m.adjuvant.value)), Name(m.adjuvant.status)
            adjuvant = say("tank.cited", text=text, status=status)
        entry: Value = Name(str(m.reentry.value)) if m.reentry else label
        buffer: Value = Name(str(m.buffer.value)) if m.buffer else label
        notes.append(say("tank.adjuvant", active=active, adjuvant=adjuvant))
        notes.append(say("tank.entry", active=active, entry=entry, buffer=buffer))
    return tuple(notes)


def _cautions(
    loads: Sequence[Load],
    tank_l: float,
    carrier_l_ha: float,
    *,
    products: Sequence[Product],
    members: Sequence[Active],
    totals: Sequence[YearTotal],
    logged: bool,
    table: Table,
) -> tuple[Phrase, ...]:
    cautions = [say("tank.label_governs")]
    last = loads[-1].volume_l / tank_l
    if len(loads) > 1 and last < table.number("loads.small_share"):
        each = Quantity(sum(load.volume_l for load in loads) / len(loads), "L")
        cautions.append(say("tank.small_last", share=Share(last), loads=len(loads), each=each))
    for m in members:
        span = m.carrier_l_ha
        low, high = (span.low, span.high) if span else (None, None)
        if span and low is not None and high is not None and not low <= carrier_l_ha <= high:
            cautions.append(
                say(
                    "tank.carrier_outside",
                    active=Name(m.name),
                    low=Quantity(low, "L ha-1"),
                    high=Quantity(high, "L ha-1"),
                    source=Name(span.source),
                )
            )
    order = table.value("mixing.order").value
    for p in products:
        if p.formulation.upper() not in order:
            known: Value = Name(p.formulation) if p.formulation else say("tank.unknown")
            cautions.append(say("tank.no_place", product=Name(p.name), formulation=known))
    for p in products:
        if not p.active and p.rate is not None and not p.adjuvant:
            cautions.append(say("tank.not_counted", product=Name(p.name)))
    for total in totals:
        cautions += _year_cautions(total, logged=logged)
    return tuple(cautions)


def _year_cautions(total: YearTotal, *, logged: bool) -> list[Phrase]:
    """What must be minded of an active's yearly total."""
    active, known = Name(total.active), Quantity(total.known_kg_ha, "kg ha-1")
    if total.max_kg_ha is None:
        found = [say("tank.no_maximum", active=active, total=known)]
    elif total.over or total.over_alone:
        most = Quantity(total.max_kg_ha, "kg ha-1")
        return [say("tank.over_maximum", active=active, total=known, most=most)]
    else:
        found = []
    if math.isnan(total.before_kg_ha):
        found.insert(0, say("tank.rate_missing" if logged else "tank.no_log", active=active))
    return found
