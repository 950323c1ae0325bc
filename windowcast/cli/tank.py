"""``windowcast tank``: rates, concentrations, nozzle check and the tank sheet."""

from __future__ import annotations

import click

from windowcast.cli.actives import command as actives
from windowcast.cli.output import echo, voice_in
from windowcast.cli.tank_sheet import sheet
from windowcast.core.errors import InputError
from windowcast.core.phrase import Quantity
from windowcast.core.quantity import (
    Rate,
    parse,
    parse_carrier,
    parse_density,
    parse_rate,
    write_rate,
)


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
    from windowcast.materials.rates import active_kg_ha, parse_concentration

    product = parse_rate(rate, "rate")
    strength = parse_concentration(concentration, parse_density(density) if density else None)
    voice = voice_in("us")
    echo(voice.say("cli.product", rates=_in_all_units(product)))
    amount = Quantity(active_kg_ha(product, strength), "kg ha-1")
    echo(voice.say("cli.active", rate=amount))


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
    echo(" = ".join(dict.fromkeys(texts)))
    amount = Quantity(active_kg_ha(product, before), "kg ha-1")
    echo(voice_in("us").say("cli.both_have", rate=amount))


@command.command("nozzle")
@click.option("--carrier", required=True, help='"40 gal/acre".')
@click.option("--speed", required=True, help='"4 mph".')
@click.option("--spacing", required=True, help='Between nozzles: "20 in".')
@click.option("--flow", help='Caught from one nozzle: "0.5 gal/min".')
def nozzle(carrier: str, speed: str, spacing: str, flow: str | None) -> None:
    """What each nozzle must give, and how far the caught flow is off."""
    from windowcast.materials.nozzle import nozzle_check
    from windowcast.report.tank_sheet import nozzle_lines

    check = nozzle_check(
        parse_carrier(carrier),
        parse(speed, "speed", "speed"),
        parse(spacing, "length", "spacing"),
        parse(flow, "flow", "flow") if flow else None,
    )
    echo(*nozzle_lines(check, voice_in("us")))


command.add_command(sheet)
command.add_command(actives, "active")


def _in_all_units(rate: Rate) -> str:

    units = (
        ("fl oz/acre", "gal/acre", "fl oz/1000 ft²", "L/ha", "mL/100 m²")
        if rate.kind == "volume"
        else ("oz/acre", "lb/acre", "oz/1000 ft²", "kg/ha", "g/100 m²")
    )
    return " = ".join(write_rate(rate, unit) for unit in units)
