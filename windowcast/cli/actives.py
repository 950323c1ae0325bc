"""``windowcast actives``: the active ingredients, or all that is known of one."""

from __future__ import annotations

from pathlib import Path

import click

from windowcast.cli.options import Start, format_option, materials_option
from windowcast.cli.output import echo, lang_option, print_json, voice_in
from windowcast.core.errors import InputError

STATES = ("dormant", "semi-dormant", "green")
KINDS = ("grass", "broadleaf", "sedge")


@click.command(name="actives")
@click.argument("name", nargs=-1)
@click.option("--weed-type", type=click.Choice(KINDS), help="Those for this kind of weed.")
@click.option("--weed", help="Those that a source says control this weed.")
@click.option("--turf", help="Those that a source says this grass takes.")
@click.option("--state", type=click.Choice(STATES), help="State of that grass.")
@click.option("--group", type=int, help="Those of this mode of action group (WSSA/HRAC).")
@click.option("--stock", is_flag=True, help="Those in the stock of --site.")
@materials_option
@lang_option
@format_option("table", "json")
def command(
    *,
    name: tuple[str, ...],
    weed_type: str | None,
    weed: str | None,
    turf: str | None,
    state: str | None,
    group: int | None,
    stock: bool,
    site_file: Path | None,
    format_: str,
) -> None:
    """List the active ingredients, or show all that is known of NAME with its sources.

    NAME is an ISO common name. What no source says is named: take it from your label.
    """
    from windowcast.core.weed_codes import weed_code
    from windowcast.materials.actives import load_actives
    from windowcast.report.active_facts import active_lines, active_rows, chosen, list_lines

    if state and not turf:
        raise InputError("says nothing without the grass", field="--state", remedy="add --turf")
    if stock and site_file is None:
        raise InputError("needs the site file", field="--stock", remedy="add --site SITE.toml")
    start = Start(site_file, sample=False, files=(), date=None, offline=True)
    site = start.site() if site_file else None
    known = load_actives(start.beside(site.materials_file) if site else None)
    found = tuple(known.values())
    if site is not None and stock:
        found = tuple(
            {a.name: a for mix in known.at_hand(site.stock, site_file) for a in mix}.values()
        )
    if name:
        found = (known[" ".join(name)],)
    try:
        code = weed_code(weed) if weed else ""
    except ValueError as error:
        raise InputError(str(error), field="--weed") from None
    species = _grass(turf) if turf else ""
    found = chosen(
        found, kind=weed_type or "", weed=code, species=species, state=state or "", group=group,
    )  # fmt: skip
    voice = voice_in("us", site)
    if format_ == "json":
        print_json(active_rows(found), indent=2)
    elif name and found:
        echo(*active_lines(found[0], voice))
    else:
        echo(*list_lines(found, voice, species))


def _grass(text: str) -> str:
    """A species as the site file writes it."""
    from windowcast.core.turf import Species
    from windowcast.materials.label_values import species_key

    names = {species_key(s): str(s) for s in Species} | {
        species_key(str(s)): str(s) for s in Species
    }
    if species_key(text) not in names:
        raise InputError(
            f"{text!r} is no turf known here", field="--turf",
            remedy=f"use one of {', '.join(str(s) for s in Species)}",
        )  # fmt: skip
    return names[species_key(text)]
