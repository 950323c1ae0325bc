"""``windowcast verify here``: forecasts and answers on record at the site against what came."""

from __future__ import annotations

import click

from windowcast.cli.options import Start, format_option, site_options, units_option
from windowcast.cli.output import echo, lang_option, print_json, voice_in
from windowcast.core.errors import InputError
from windowcast.core.units import System


@click.command(name="here")
@site_options
@lang_option
@units_option
@format_option("text", "json", help="What is printed; JSON has all leads, in SI units.")
def command(
    *,
    start: Start,
    units: System | None,
    format_: str,
) -> None:
    """How right the forecasts and answers were at your site, by the record kept there.

    Every forecast fetched and every answer given is kept (docs/odds.md). Here they are held
    against what was measured, over the last 30 and 365 days.
    """
    from windowcast.api.here import here_report
    from windowcast.report.here_text import here_lines

    if start.sample:
        raise InputError("the sample keeps no record", remedy="name a site file of your own")
    site, weather = start.load()
    report = here_report(site, weather, start.log_file(site))
    voice = voice_in(units or site.units, site)
    if format_ == "json":
        print_json(report, voice)
    else:
        echo(*here_lines(report, voice))
