"""``windowcast weeds``: every weed that may be watched, or all that is known of one."""

from __future__ import annotations

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import echo, lang_option, print_json, voice_in
from windowcast.core.errors import InputError


@click.command(name="weeds")
@click.argument("name", nargs=-1)
@format_option("table", "json")
@lang_option
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", show_default=True)
def command(name: tuple[str, ...], format_: str, units: str) -> None:
    """List the weeds, or show all that is known of NAME with its sources.

    NAME is a common name, a Latin name or an EPPO code.
    """
    from windowcast.core.weed_codes import known, weed_code
    from windowcast.report.weed_facts import list_lines, weed_lines, weed_rows

    voice = voice_in("us" if units == "us" else "metric")
    codes = list(known())
    if name:
        try:
            codes = [weed_code(" ".join(name))]
        except ValueError as error:
            raise InputError(str(error), field="NAME") from None
    if format_ == "json":
        print_json(weed_rows(codes), indent=2)
    else:
        echo(*(weed_lines(codes[0], voice) if name else list_lines(voice)))
