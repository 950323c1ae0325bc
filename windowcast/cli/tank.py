"""``windowcast tank``: rates, concentrations, nozzle check and the tank sheet."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.cli.options import Start
    from windowcast.core.phrase import Phrase
    from windowcast.core.quantity import Rate
    from windowcast.core.site import Site
    from windowcast.materials.rotation import Use
    from windowcast.materials.tank import NozzleCheck, TankSheet
    from windowcast.windows.model import Window

_PURPOSES = ("pre-fall", "post-early", "dormant", "pre-spring")


@click.group(name="tank")
def command() -> None:
    """Rates, concentrations, nozzle check and the tank sheet.

    Amounts carry their unit: "192 fl oz/acre", "0.5 oz/1000 ft2", "2 L/ha", "40 gal/acre".
    The label in hand governs every rate.
    """


@command.command("rate")
@click.argument("rate", metavar="RATE")
@click.option(
    "--concentration", required=True, help='From the label: "1 lb/gal", "480 g/L", "65 %".'
)
@click.option("--density", help='Of a liquid labelled in % by weight: "10 lb/gal".')
def rate_(rate: str, concentration: str, density: str | None) -> None:
    """Product in other units, and the active ingredient in it."""
    from windowcast.core.quantity import parse_density, parse_rate
    from windowcast.materials.rates import active_kg_ha, parse_concentration
    from windowcast.report.both_units import active_rate

    product = parse_rate(rate, "rate")
    strength = parse_concentration(concentration, parse_density(density) if density else None)
    amount = active_rate(active_kg_ha(product, strength))
    click.echo(f"product: {_in_all_units(product)}")
    click.echo(f"active ingredient: {amount}")


@command.command("equivalent")
@click.argument("rate", metavar="RATE")
@click.option("--from", "old", required=True, help="Concentration that RATE is of.")
@click.option("--to", "new", help="Concentration of the other formulation: gives its rate.")
@click.option("--to-rate", help="Rate of the other formulation: gives its concentration.")
@click.option("--unit", help='Unit of the answer: "fl oz/acre", or "lb/gal" with --to-rate.')
def equivalent(rate: str, old: str, new: str | None, to_rate: str | None, unit: str | None) -> None:
    """Rate of another formulation that carries the same active ingredient.

    With --to-rate instead of --to: the concentration at which that rate carries the same.
    """
    from windowcast.core.quantity import parse_rate, write_rate
    from windowcast.materials.rates import (
        active_kg_ha,
        equivalent_concentration,
        equivalent_rate,
        parse_concentration,
        write_concentration,
    )
    from windowcast.report.both_units import active_rate

    product, before = parse_rate(rate, "rate"), parse_concentration(old)
    if new is not None and to_rate is None:
        other = equivalent_rate(product, before, parse_concentration(new))
        liquid = other.kind == "volume"
        units = ("fl oz/acre", "L/ha") if liquid else ("oz/acre", "kg/ha")
        texts = [write_rate(other, u) for u in (unit or units[0], units[1])]
    elif to_rate is not None and new is None:
        strength = equivalent_concentration(product, before, parse_rate(to_rate, "--to-rate"))
        units = ("lb/gal", "g/L") if strength.per == "volume" else ("lb/lb", "kg/kg")
        texts = [write_concentration(strength, u) for u in (unit or units[0], units[1])]
    else:
        raise InputError(
            "takes the concentration of the other formulation, or its rate",
            field="tank equivalent",
            remedy='give one of --to "2.34 lb/gal" and --to-rate "82 fl oz/acre"',
        )
    click.echo(" = ".join(dict.fromkeys(texts)))
    click.echo(f"both carry {active_rate(active_kg_ha(product, before))} of active ingredient")


@command.command("active")
@click.argument("name", required=False)
@click.option(
    "--site",
    "site_file",
    type=click.Path(path_type=Path),
    metavar="SITE.toml",
    help="Put the numbers of its materials file over the packaged ones.",
)
def active(name: str | None, site_file: Path | None) -> None:
    """What is known of an active ingredient, with sources; without NAME, all of them.

    A value that is not listed is not known: take it from your label. Values from your materials
    file are marked and say what they replace.
    """
    from windowcast.cli.options import Start
    from windowcast.cli.output import echo
    from windowcast.materials.actives import load_actives
    from windowcast.report.both_units import value_text

    start = Start(site_file, sample=False, files=(), date=None, offline=True)
    actives = load_actives(start.beside(start.site().materials_file) if site_file else None)
    if name is None:
        for item in actives.values():
            other = f" (also {', '.join(item.also)})" if item.also else ""
            echo(f"{item.name}{other}: group {item.group.value}, {item.timing.value},"
                       f" {item.movement.value}")  # fmt: skip
        return
    found = actives[name]
    echo(found.name + (f" (also {', '.join(found.also)})" if found.also else ""))
    for key, value in found.known().items():
        mark = "yours: " if key in found.overridden else ""
        note = f"; {value.note}" if value.note else ""
        echo(f"  {key} = {value_text(value)}  [{mark}{value.status}: {value.source}{note}]")
    echo("  anything else: cannot tell: take it from your label")


@command.command("nozzle")
@click.option("--carrier", required=True, help='"40 gal/acre".')
@click.option("--speed", required=True, help='"4 mph".')
@click.option("--spacing", required=True, help='Between nozzles: "20 in".')
@click.option("--flow", help='Caught from one nozzle: "0.5 gal/min".')
def nozzle(carrier: str, speed: str, spacing: str, flow: str | None) -> None:
    """What each nozzle must give, and how far the caught flow is off."""
    from windowcast.report.tank_sheet import nozzle_lines

    check = _nozzle(carrier, speed, spacing, flow)
    if check is not None:
        click.echo("\n".join(nozzle_lines(check)))


@command.command("sheet")
@click.argument("site_file", metavar="[SITE.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--area", required=True, help='Area to treat: "12 acre".')
@click.option("--carrier", required=True, help='Carrier volume: "40 gal/acre".')
@click.option("--tank", required=True, help='What the tank takes: "300 gal".')
@click.option(
    "--product",
    "products",
    multiple=True,
    required=True,
    metavar="'NAME key=value...'",
    help="From the materials file by name, or 'glyphosate rate=16 fl oz/acre concentration=4 lb/gal"
    " formulation=SL max_per_year=2 lb/acre'; an adjuvant 'surfactant share=0.25 %"
    " formulation=NIS'.",
)
@click.option("--where", default="", help="The place, to count what the log says was put there.")
@click.option(
    "--purpose", type=click.Choice(_PURPOSES), help="Head the sheet with its best window."
)
@click.option("--speed", help='To check nozzles: "4 mph".')
@click.option("--spacing", help='Between nozzles: "20 in".')
@click.option("--flow", help='Caught from one nozzle: "0.5 gal/min".')
@click.option("--date", "date", metavar="YYYY-MM-DD", help="Day of the application (today).")
@click.option("--offline", is_flag=True, help="Use only files and what is cached.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def sheet(
    *,
    site_file: Path | None,
    area: str,
    carrier: str,
    tank: str,
    products: tuple[str, ...],
    where: str,
    purpose: str | None,
    speed: str | None,
    spacing: str | None,
    flow: str | None,
    date: str | None,
    offline: bool,
    form: str,
) -> None:
    """The tank sheet: loads, amounts in mixing order, nozzles, droplets, the year's totals."""
    from windowcast.cli.options import Start
    from windowcast.core.quantity import parse, parse_carrier
    from windowcast.materials.actives import load_actives
    from windowcast.materials.products import load_products, product_from_words, with_label_maximum
    from windowcast.materials.rotation import use_of
    from windowcast.materials.tank import tank_sheet

    start = Start(site_file, sample=False, files=(), date=date, offline=offline)
    site = start.site() if site_file else None
    file = start.beside(site.materials_file) if site else None
    actives = load_actives(file)
    known = load_products(file, actives)
    chosen = [product_from_words(text, known, actives) for text in products]
    chosen = with_label_maximum(chosen, actives)
    ground, area = _ground(site, where)
    window = _window(start, purpose, "+".join(p.active for p in chosen if p.active), area)
    day = window.date if window else _date(date)
    members = [actives[p.active] for p in chosen if p.active]
    use = None
    if site is not None and members:
        today = day or dt.datetime.now(site.zone).date()
        use = use_of(today, purpose or "", members, southern=site.place.southern, where=where)
    used, remarks = _from_log(start, day, use, where)
    if site is not None:
        from windowcast.limits.tank import tank_remarks

        on = day or dt.datetime.now(site.zone).date()
        remarks = [*tank_remarks(chosen, actives, ground or site, on), *remarks]
    result = tank_sheet(
        parse(area, "area", "area"),
        parse_carrier(carrier),
        parse(tank, "volume", "tank"),
        chosen,
        actives=actives,
        used_kg_ha=used,
        nozzle=_nozzle(carrier, speed, spacing, flow),
        remarks=remarks,
    )
    click.echo(_json(result, window) if form == "json" else _text(result, window, where, site))


def _ground(site: Site | None, where: str) -> tuple[Site | None, str]:
    """The site as it is on the area that a place names, and the area's name; "" for none.

    Raises
    ------
    InputError
        The site has areas and the place is none of them.
    """
    if site is None or not site.area:
        return site, ""
    from windowcast.records.areas import pieces

    if not where:
        raise InputError(
            "is missing: the site has several areas", field="--where",
            remedy=f"name one of {', '.join(one.name for one in site.area)}",
        )  # fmt: skip
    piece = pieces(site, None, where)[0]
    return piece.site, piece.areas[0]


def _window(start: Start, purpose: str | None, actives: str, area: str) -> Window | None:
    """The best window of a purpose for the actives in the tank, on an area of the site."""
    if purpose is None:
        return None
    from windowcast.report.catalogue import render

    (answer, *_) = start.answers(purposes=(purpose,), actives=actives, area=area)
    outlook = answer.ranking.purposes[0]
    if not outlook.windows:
        said = render(outlook.advice, answer.ranking.units)
        raise InputError(
            f"there is no window for {purpose}: {said.rstrip('.')}",
            field="--purpose",
            remedy="leave --purpose out to print the sheet without one",
        )
    return outlook.windows[0]


def _from_log(
    start: Start, day: dt.date | None, use: Use | None, where: str
) -> tuple[dict[str, float] | None, list[Phrase]]:
    """What the log says was put out there in the year before, and what the tank would repeat.

    None and nothing without a log.
    """
    if start.site_file is None:
        return None, []
    site = start.site()
    log_file = start.log_file(site)
    if log_file is None or not log_file.is_file():
        return None, []
    from windowcast.materials.actives import load_actives
    from windowcast.materials.rotation import plan_flags, remark_of
    from windowcast.records.model import Application
    from windowcast.records.observations import applied_kg_ha, uses_in
    from windowcast.records.store import SeasonLog

    with SeasonLog(log_file, create=False) as log:
        done = [s.entry for s in log.all(Application)]
    materials = load_actives(start.beside(site.materials_file))
    day = day or dt.datetime.now(site.zone).date()
    flags = plan_flags(
        [use] if use else [],
        [u for u in uses_in(done, materials, southern=site.place.southern) if u.date < day],
        stock=[materials[name] for name in site.stock],
        species=str(site.turf.species),
    )
    return applied_kg_ha(done, day, where), [remark_of(flag) for flag in flags]


def _date(text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is not a date", field="--date", remedy="write it as 2025-11-06"
        ) from None


def _nozzle(
    carrier: str, speed: str | None, spacing: str | None, flow: str | None
) -> NozzleCheck | None:
    from windowcast.core.quantity import parse, parse_carrier
    from windowcast.materials.tank import nozzle_check

    if speed is None and spacing is None and flow is None:
        return None
    if speed is None or spacing is None:
        raise InputError(
            "speed and spacing are both needed to check a nozzle",
            field="--speed" if speed is None else "--spacing",
            remedy="give both",
        )
    return nozzle_check(
        parse_carrier(carrier),
        parse(speed, "speed", "speed"),
        parse(spacing, "length", "spacing"),
        parse(flow, "flow", "flow") if flow else None,
    )


def _in_all_units(rate: Rate) -> str:
    from windowcast.core.quantity import write_rate

    units = (
        ("fl oz/acre", "gal/acre", "fl oz/1000 ft²", "L/ha", "mL/100 m²")
        if rate.kind == "volume"
        else ("oz/acre", "lb/acre", "oz/1000 ft²", "kg/ha", "g/100 m²")
    )
    return " = ".join(write_rate(rate, unit) for unit in units)


def _text(result: TankSheet, window: Window | None, where: str, site: Site | None) -> str:
    from windowcast.report.catalogue import render
    from windowcast.report.tank_sheet import sheet_text

    title = "Tank sheet" + (f" for {where}" if where else "")
    if window is not None:
        title += f", {window.start:%a %-d %b %Y %H:%M} to {window.end:%H:%M}"
    text = sheet_text(result, title)
    if window is not None and window.follow_up:
        units = site.units if site else "us"
        said = (render(item.text, units) for item in window.follow_up)
        text += "\nAfterwards\n" + "".join(f"  - {item}\n" for item in said)
    return text.rstrip("\n")


def _json(result: TankSheet, window: Window | None) -> str:
    import json

    from windowcast.report.plain import plain

    document = plain(result)
    if window is not None:
        document["window"] = {"start": window.start.isoformat(), "end": window.end.isoformat()}
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
