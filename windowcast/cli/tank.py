"""``windowcast tank``: rates, concentrations, nozzle check and the tank sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import materials_option
from windowcast.cli.output import lang_option
from windowcast.cli.tank_sheet import sheet
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.core.phrase import Value
    from windowcast.core.quantity import Rate
    from windowcast.materials.actives import Active


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
    from windowcast.cli.output import voice_in
    from windowcast.core.phrase import Quantity
    from windowcast.core.quantity import parse_density, parse_rate
    from windowcast.materials.rates import active_kg_ha, parse_concentration

    product = parse_rate(rate, "rate")
    strength = parse_concentration(concentration, parse_density(density) if density else None)
    voice = voice_in("us")
    click.echo(voice.say("cli.product", rates=_in_all_units(product)))
    amount = Quantity(active_kg_ha(product, strength), "kg ha-1")
    click.echo(voice.say("cli.active", rate=amount))


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
    from windowcast.cli.output import voice_in
    from windowcast.core.phrase import Quantity
    from windowcast.core.quantity import parse_rate, write_rate
    from windowcast.materials.rates import (
        active_kg_ha,
        equivalent_concentration,
        equivalent_rate,
        parse_concentration,
        write_concentration,
    )

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
    amount = Quantity(active_kg_ha(product, before), "kg ha-1")
    click.echo(voice_in("us").say("cli.both_have", rate=amount))


@command.command("active")
@click.argument("name", required=False)
@materials_option
@lang_option
def active(name: str | None, site_file: Path | None) -> None:
    """What is known of an active ingredient, with sources; without NAME, all of them.

    A value that is not listed is not known: take it from your label. Values from your materials
    file are marked and say what they replace.
    """
    from windowcast.cli.options import Start
    from windowcast.cli.output import echo, voice_in
    from windowcast.materials.actives import load_actives
    from windowcast.report.both_units import value_text

    start = Start(site_file, sample=False, files=(), date=None, offline=True)
    site = start.site() if site_file else None
    actives = load_actives(start.beside(site.materials_file) if site else None)
    voice = voice_in("us", site)
    if name is None:
        for item in actives.values():
            kind = {key: str(getattr(item, key).value) for key in ("group", "timing", "movement")}
            echo(voice.say("cli.known_active", active=_also(item), **kind))
        return
    found = actives[name]
    echo(voice.write(_also(found)))
    for key, value in found.known().items():
        said = {
            "key": key,
            "value": value_text(value),
            "mark": voice.say("cli.yours") if key in found.overridden else "",
            "status": value.status,
            "source": value.source,
        }
        if value.note:
            echo(voice.say("cli.value_noted", note=value.note, **said))
        else:
            echo(voice.say("cli.value", **said))
    echo(voice.say("cli.anything_else"))


def _also(item: Active) -> Value:
    """An active with its other names."""
    from windowcast.core.phrase import Name, names, say

    if not item.also:
        return Name(item.name)
    return say("cli.also", active=Name(item.name), others=names(*item.also, join="comma"))


@command.command("nozzle")
@click.option("--carrier", required=True, help='"40 gal/acre".')
@click.option("--speed", required=True, help='"4 mph".')
@click.option("--spacing", required=True, help='Between nozzles: "20 in".')
@click.option("--flow", help='Caught from one nozzle: "0.5 gal/min".')
def nozzle(carrier: str, speed: str, spacing: str, flow: str | None) -> None:
    """What each nozzle must give, and how far the caught flow is off."""
    from windowcast.cli.output import voice_in
    from windowcast.core.quantity import parse, parse_carrier
    from windowcast.materials.nozzle import nozzle_check
    from windowcast.report.tank_sheet import nozzle_lines

    check = nozzle_check(
        parse_carrier(carrier),
        parse(speed, "speed", "speed"),
        parse(spacing, "length", "spacing"),
        parse(flow, "flow", "flow") if flow else None,
    )
    click.echo("\n".join(nozzle_lines(check, voice_in("us"))))


command.add_command(sheet)


def _in_all_units(rate: Rate) -> str:
    from windowcast.core.quantity import write_rate

    units = (
        ("fl oz/acre", "gal/acre", "fl oz/1000 ft²", "L/ha", "mL/100 m²")
        if rate.kind == "volume"
        else ("oz/acre", "lb/acre", "oz/1000 ft²", "kg/ha", "g/100 m²")
    )
    return " = ".join(write_rate(rate, unit) for unit in units)
