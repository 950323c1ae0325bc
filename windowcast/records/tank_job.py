"""A tank for a piece of ground: from what was asked to the sheet, and from there to the record."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.quantity import parse, parse_carrier, with_unit_of, write_amount
from windowcast.core.site import Site
from windowcast.core.sprayer import Sprayer, sprayer_named
from windowcast.core.turf import Area
from windowcast.core.values import PACKAGED, Table
from windowcast.limits.tank import ground_remarks, is_refusal
from windowcast.materials.actives import Actives
from windowcast.materials.nozzle import NozzleCheck, nozzle_check
from windowcast.materials.product import Product
from windowcast.materials.products import with_label_maximum
from windowcast.materials.rotation import plan_flags, remark_of, use_of
from windowcast.materials.tank import TankSheet, tank_sheet
from windowcast.records.areas import areas_named
from windowcast.records.model import Application, Material
from windowcast.records.observations import applied_kg_ha, uses_in

_IN_SITE_FILE = "give it, or keep it in the site file under [[sprayer]]"


@dataclass(frozen=True, slots=True)
class TankRequest:
    """What a tank is asked for, as written; what is empty is taken from sprayer and areas."""

    products: tuple[Product, ...]
    where: str = ""
    purpose: str = ""
    sprayer: str = ""
    area: str = ""
    carrier: str = ""
    tank: str = ""
    speed: str = ""
    spacing: str = ""
    flow: str = ""


@dataclass(frozen=True, slots=True)
class AsSprayed:
    """What only the one who sprayed knows; `operator` and `certification` are kept per site."""

    start: dt.datetime
    end: dt.datetime | None = None
    target: str = ""
    operator: str = ""
    certification: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class GroundAndSprayer:
    """Ground and sprayer of a tank, in m², L/ha, L and m/s."""

    areas: tuple[Area, ...]
    sprayer: Sprayer | None
    area_m2: float
    carrier_l_ha: float
    tank_l: float
    nozzle: NozzleCheck | None
    speed_m_s: float | None


@dataclass(frozen=True)
class TankJob:
    """A tank sheet with what it was made for.

    `areas` are those of the site file that `asked.where` names; `speed_m_s` is None where it was
    not said.
    """

    asked: TankRequest
    site: Site | None
    areas: tuple[Area, ...]
    sprayer: Sprayer | None
    sheet: TankSheet
    speed_m_s: float | None


def tank_job(
    asked: TankRequest,
    site: Site | None,
    actives: Actives,
    applications: Sequence[Application] | None,
    day: dt.date,
) -> TankJob:
    """Work out the sheet for what was asked.

    Parameters
    ----------
    applications
        Of the season log; None where there is no log.
    day
        On which it is to be sprayed.

    Raises
    ------
    InputError
        As `tank_sheet`; also what neither the words nor the site file say.
    """
    set_up = setting(asked, site)
    areas, sprayer = set_up.areas, set_up.sprayer
    if areas:
        asked = replace(asked, where=", ".join(area.name for area in areas))
    products = with_label_maximum(asked.products, actives)
    grounds = _grounds(site, areas)
    table = PACKAGED["tank"]
    of_turf = ground_remarks(products, actives, grounds, day)
    sheet = tank_sheet(
        set_up.area_m2,
        set_up.carrier_l_ha,
        set_up.tank_l,
        products,
        actives=actives,
        used_kg_ha=_used(applications, day, areas, asked.where),
        nozzle=set_up.nozzle,
        remarks=(
            *of_turf,
            *_rotation(asked, site, actives, applications, day),
            *(_measured_on(sprayer, asked, day, table) if sprayer is not None else ()),
        ),
    )
    return TankJob(
        asked,
        site,
        areas,
        sprayer,
        replace(
            _with_droplets(sheet, sprayer, table),
            refusals=tuple(filter(is_refusal, dict.fromkeys([*of_turf, *sheet.cautions]))),
        ),
        set_up.speed_m_s,
    )


def setting(asked: TankRequest, site: Site | None) -> GroundAndSprayer:
    """Ground and sprayer for what was asked, without the products.

    Raises
    ------
    InputError
        What does not read as an amount, or neither the words nor the site file say.
    """
    areas = areas_named(site, asked.where) if site is not None else ()
    sprayer = sprayer_named(site.sprayer if site is not None else (), asked.sprayer)
    area_m2 = _area_m2(asked.area, areas)
    carrier = parse_carrier(_needed("carrier", asked, sprayer))
    tank_l = parse(_needed("tank", asked, sprayer), "volume", "tank")
    speed = _said("speed", asked, sprayer)
    speed_m_s = parse(speed, "speed", "speed") if speed else None
    spacing, flow = (_said(name, asked, sprayer) for name in ("spacing", "flow"))
    return GroundAndSprayer(
        areas,
        sprayer,
        area_m2,
        carrier,
        tank_l,
        _nozzle(carrier, speed_m_s, spacing, flow),
        speed_m_s,
    )


def application_of(job: TankJob, done: AsSprayed) -> Application:
    """The spray record of a tank; weather is left to be filled in.

    Raises
    ------
    InputError
        Nothing in the tank has an active ingredient.
    """
    asked, sheet, sprayer, site = job.asked, job.sheet, job.sprayer, job.site
    used = sheet.totals_used
    materials = tuple(
        Material(
            dose.product.active,
            dose.product.active_kg_ha,
            product=dose.product.name,
            registration=dose.product.registration,
            product_rate=dose.product.rate_text,
            product_total=write_amount(dose.amount, dose.kind),
            restricted=dose.product.restricted,
        )
        for dose in used
        if dose.product.active
    )
    if not materials:
        raise InputError(
            "nothing in the tank has an active ingredient", field="product",
            remedy="add active= and its concentration to a product",
        )  # fmt: skip
    beside = [dose for dose in used if not dose.product.active]
    said = {
        helps: "; ".join(
            f"{dose.product.name} {dose.product.rate_text}".strip()
            + f", {write_amount(dose.amount, dose.kind)}"
            for dose in beside
            if dose.product.adjuvant == helps
        )
        for helps in (True, False)
    }
    other = f"Also in the tank: {said[False]}." if said[False] else ""
    operator = done.operator or (site.operator.name if site else "")
    own = site is not None and operator == site.operator.name
    return Application(
        done.start,
        materials,
        end=done.end,
        where=asked.where,
        site_kind=_kind_of_ground(site, job.areas),
        area_m2=sheet.area_m2,
        purpose=asked.purpose,
        target=done.target,
        carrier_l_ha=sheet.carrier_l_ha,
        nozzle=sprayer.nozzle if sprayer else "",
        droplet_class=sprayer.droplet_class if sprayer else "",
        pressure_kpa=parse(sprayer.pressure, "pressure") if sprayer and sprayer.pressure else None,
        boom_height_m=_boom_height_m(site, sprayer),
        speed_m_s=job.speed_m_s,
        adjuvant=said[True],
        operator=operator,
        certification=done.certification or (site.operator.certification if site and own else ""),
        notes=" ".join(filter(None, [other, done.notes])),
    )


def _boom_height_m(site: Site | None, sprayer: Sprayer | None) -> float | None:
    """The sprayer's, else what the site file says of all."""
    own = sprayer.boom_height_m if sprayer else None
    return own if own is not None or site is None else site.equipment.boom_height_m


def _needed(name: str, asked: TankRequest, sprayer: Sprayer | None) -> str:
    text = _said(name, asked, sprayer)
    if not text:
        raise InputError("is missing", field=name, remedy=_IN_SITE_FILE)
    return text


def _said(name: str, asked: TankRequest, sprayer: Sprayer | None) -> str:
    """An amount as it was asked, else the sprayer's; "" for neither.

    A bare number is in the unit that the sprayer's own is written in.
    """
    kept = str(getattr(sprayer, name)) if sprayer is not None else ""
    given = str(getattr(asked, name))
    return with_unit_of(given, kept) if given else kept


def _area_m2(text: str, areas: Sequence[Area]) -> float:
    if text:
        return parse(text, "area", "area")
    if not areas:
        raise InputError(
            "is missing", field="area",
            remedy="give it, or name areas of the site file that have a size",
        )  # fmt: skip
    unsized = [area.name for area in areas if area.size_m2 is None]
    if unsized:
        raise InputError(
            f"is missing: {' and '.join(unsized)} {'have' if len(unsized) > 1 else 'has'} no size",
            field="area", remedy="give it, or add size to the area in the site file",
        )  # fmt: skip
    return math.fsum(area.size_m2 for area in areas if area.size_m2 is not None)


def _grounds(site: Site | None, areas: Sequence[Area]) -> Mapping[str, Site]:
    """The site as it is on each area, by its name; under "" where it is one."""
    if site is None:
        return {}
    return {area.name: site.of_area(area) for area in areas} or {"": site}


def _used(
    applications: Sequence[Application] | None, day: dt.date, areas: Sequence[Area], where: str
) -> dict[str, float] | None:
    """Active ingredient put out already, kg/ha: the most that any of the areas has had."""
    if applications is None:
        return None
    most: dict[str, float] = {}
    for name in [area.name for area in areas] or [where]:
        for active, amount in applied_kg_ha(applications, day, name).items():
            before = most.get(active, 0.0)
            known = not math.isnan(before + amount)
            most[active] = max(before, amount) if known else math.nan
    return most


def _nozzle(
    carrier_l_ha: float, speed_m_s: float | None, spacing: str, flow: str
) -> NozzleCheck | None:
    if speed_m_s is None and not spacing and not flow:
        return None
    if speed_m_s is None or not spacing:
        raise InputError(
            "speed and spacing are both needed to check a nozzle",
            field="speed" if speed_m_s is None else "spacing", remedy="give both",
        )  # fmt: skip
    return nozzle_check(
        carrier_l_ha,
        speed_m_s,
        parse(spacing, "length", "spacing"),
        parse(flow, "flow", "flow") if flow else None,
    )


def _measured_on(
    sprayer: Sprayer, asked: TankRequest, day: dt.date, table: Table
) -> tuple[Phrase, ...]:
    """That the kept flow of a sprayer is old, or of an unknown day."""
    if not sprayer.flow or asked.flow:
        return ()
    name = Name(sprayer.name)
    if sprayer.measured is None:
        return (say("nozzle.undated", sprayer=name),)
    days = (day - sprayer.measured).days
    if days <= table.number("nozzle.measured_within_days"):
        return ()
    return (say("nozzle.old", sprayer=name, day=sprayer.measured, days=days),)


def _with_droplets(sheet: TankSheet, sprayer: Sprayer | None, table: Table) -> TankSheet:
    """The sheet with a caution where the sprayer's droplets are finer than the sheet asks for."""
    classes = list(table.value("droplets.classes").value)
    own = sprayer.droplet_class.lower() if sprayer else ""
    if own not in classes or sheet.droplet_class not in classes:
        return sheet
    if classes.index(own) >= classes.index(sheet.droplet_class):
        return sheet
    finer = say("tank.finer", own=Name(own), aim=Name(sheet.droplet_class))
    return replace(sheet, cautions=(*sheet.cautions, finer))


def _rotation(
    asked: TankRequest,
    site: Site | None,
    actives: Actives,
    applications: Sequence[Application] | None,
    day: dt.date,
) -> list[Phrase]:
    """What the tank would repeat of the groups that the log says were used there."""
    members = [actives[p.active] for p in asked.products if p.active]
    if site is None or not members or applications is None:
        return []
    southern = site.place.southern
    use = use_of(day, asked.purpose, members, southern=southern, where=asked.where)
    flags = plan_flags(
        [use],
        [u for u in uses_in(applications, actives, southern=southern) if u.date < day],
        stock=[actives[name] for name in site.stock],
        species=str(site.turf.species),
    )
    return [remark_of(flag) for flag in flags]


def _kind_of_ground(site: Site | None, areas: Sequence[Area]) -> str:
    """What was treated, in the words of a record: ``sports turf, hybrid bermudagrass``."""
    if site is None:
        return ""
    kinds = []
    for turf in [area.turf(site.turf) for area in areas] or [site.turf]:
        use = f"{turf.use} turf" if "use" in turf.model_fields_set and turf.use != "other" else ""
        species = str(turf.species) if "species" in turf.model_fields_set else ""
        kinds.append(", ".join(filter(None, [use or "turf", species])))
    return "; ".join(dict.fromkeys(kinds))
