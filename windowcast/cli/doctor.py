"""``windowcast doctor``: what on this machine keeps answers from being made, and what helps."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.checked import Checked
from windowcast.cli.options import format_option
from windowcast.cli.output import lang_option, voice_in
from windowcast.core.phrase import Phrase
from windowcast.report.problems import problem_text
from windowcast.report.terminal_width import screen_width, wrapped
from windowcast.sources.side_by_side import side_by_side

if TYPE_CHECKING:
    from windowcast.cli.check_site import FoundSite
    from windowcast.core.site import Site
    from windowcast.report.catalogue import Voice
    from windowcast.sources.reach import Reached

_WHOLE = 10_000  # columns of a pipe, where each thing is one line
WITHIN_S = 8.0  # for all that is waited for: the network, and loading of optional parts


@click.command("doctor")
@click.argument("site_file", metavar="[SITE.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--offline", is_flag=True, help="Ask no weather source.")
@format_option("table", "json")
@lang_option
@click.pass_context
def command(ctx: click.Context, *, site_file: Path | None, offline: bool, format_: str) -> None:
    """Look at this machine: network, proxy, certificates, clock, cache, optional parts, terminal,
    versions, and a site file.

    SITE.toml is by default site.toml here, else the sites in your own data folder. Each thing is
    one line, with what helps where something is wrong. Ends with exit code 1 where answers cannot
    be made. The kept weather itself is looked through by windowcast weather doctor.
    """
    from windowcast.cli.check_site import found_sites

    sites = found_sites(site_file)
    site = next((one.site for one in sites if one.site is not None), None)
    voice = voice_in(site.units if site else "metric", site)
    found = list(_looked_at(sites, site, offline))
    well = all(finding.state != "wrong" for finding in found)
    if format_ == "json":
        rows = [
            {
                "check": f.check,
                "state": f.state,
                "text": _said(f, voice),
                "fix": voice.text(f.fix),
                "values": f.values,
            }
            for f in found
        ]
        click.echo(json.dumps({"well": well, "checks": rows}, indent=2, ensure_ascii=False))
    else:
        states = {state: voice.say(f"doctor_state.{state}") for state in ("ok", "note", "wrong")}
        checks = {f.check: voice.say(f"doctor_check.{f.check}") for f in found}
        wide, long = (max(map(len, some.values())) for some in (states, checks))
        for f in found:
            text = f"{_said(f, voice)} {voice.text(f.fix)}".rstrip()
            head = f"{states[f.state]:<{wide}}  {checks[f.check]:<{long}}  "
            lines = wrapped(text, (screen_width() or _WHOLE) - len(head)) or [""]
            click.echo(head + f"\n{' ' * len(head)}".join(lines))
    if not well:
        ctx.exit(1)


def _looked_at(sites: Sequence[FoundSite], site: Site | None, offline: bool) -> Iterator[Checked]:
    """Everything, in the order in which it is shown; what is waited for is looked at together."""
    from windowcast.cli import check_machine, check_network
    from windowcast.cli.check_extras import extras
    from windowcast.cli.check_site import site_findings

    until = time.monotonic() + WITHIN_S
    asked: list[Reached] = []

    def network() -> list[Checked]:
        found, answers = check_network.network(site, offline)
        asked.extend(answers)
        return found

    about_site = list(site_findings(sites))
    states = [f.state for f in about_site if f.check == "weather"]
    kept = bool(states) and set(states) == {"ok"}
    reached, loaded = side_by_side([network, lambda: list(extras(until))], 2)
    for found in reached:  # what is kept answers without a network
        yield replace(found, state="note") if kept and found.state == "wrong" else found
    yield check_network.proxy()
    yield from check_network.certificates()
    yield check_network.clock(asked, str(site.zone) if site else "")
    yield check_machine.cache()
    yield from loaded
    yield check_machine.terminal()
    yield from about_site
    yield from check_machine.versions()


def _said(finding: Checked, voice: Voice) -> str:
    if isinstance(finding.what, Phrase):
        return voice.text(finding.what)
    return f"{problem_text(finding.what, voice)}."
