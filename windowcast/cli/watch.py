"""``windowcast watch``: for cron. Silent unless a window's odds crossed the site's threshold."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start, site_options
from windowcast.cli.output import echo, lang_option, voice_in
from windowcast.core.atomic_files import alone
from windowcast.core.errors import DeliveryError, InputError

if TYPE_CHECKING:
    from windowcast.report.alerts import AlertAddress, Sent

OPENED, FELL_BACK = 10, 11


@click.command(name="watch")
@site_options
@click.option(
    "--state",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where what was told is kept  [default: <site file>.watch.json]",
)
@click.option(
    "--threshold",
    type=click.FloatRange(0.05, 0.99),
    help="Least odds of a fit window  [default: the site file's]",
)
@click.option(
    "--calendar",
    type=click.Path(path_type=Path),
    metavar="OUT.ics",
    help="Write or update a calendar file; entries move rather than multiply.",
)
@click.option(
    "--to",
    multiple=True,
    metavar="URL",
    help="Also send the news there, e.g. mailtos://… or jsons://…; may be repeated.",
)
@click.option(
    "--test", is_flag=True, help="Send a test message to every address, and look no further."
)
@lang_option
@click.pass_context
def command(
    ctx: click.Context,
    *,
    start: Start,
    state: Path | None,
    threshold: float | None,
    calendar: Path | None,
    to: tuple[str, ...],
    test: bool,
) -> None:
    """Tell, once, when a window's odds pass the threshold or fall back below it.

    The news is printed, and sent to the addresses of the site file, of --to, and of the environment
    variable WINDOWCAST_ALERTS_TO. What did not arrive is sent again at the next look.

    \b
    Exit status, for scripts:
      0   nothing new, nothing printed
      2   bad input
      3   no weather could be reached and none is cached
      4   news did not arrive at an address; a line on standard error names it
      10  a window passed the threshold: a paragraph is printed
      11  a window told of before fell back below it, and none passed
    """
    from windowcast.report.alerts import addresses, usable

    targets = addresses(start.site().alerts, start.site_file, to)
    usable(targets)
    if test:
        _test(start, targets)
        return
    path = _state_path(state, start.site_file)
    with alone(path):  # cron may start a second one while the first still fetches
        from windowcast.cli.watching import look

        answers = start.answers()
        voice = voice_in(answers[0].ranking.units, answers[0].site)
        if calendar is not None:
            from windowcast.report.calendar import write_calendar

            write_calendar(calendar, *answers, voice=voice)
        found = look(path, answers, targets, voice=voice, threshold=threshold, printing=echo)
    if found.failed:
        raise _undelivered(found.failed, "it is tried again at the next look")
    if found.news:
        ctx.exit(FELL_BACK if all(n.kind == "fell back" for n in found.news) else OPENED)


def _test(start: Start, targets: tuple[AlertAddress, ...]) -> None:
    """Send the test message, and say where it went."""
    from windowcast.cli.watching import send_test

    if not targets:
        raise InputError(
            "there is no address to send to",
            field="--test",
            remedy="add --to URL, or [alerts] to the site file (docs/alerts.md)",
        )
    site = start.site()
    voice = voice_in(site.units, site)
    sent = send_test(site.name, targets, voice)
    for one in sent:
        if not one.problem:
            echo(voice.say("cli.took_test", address=one.address.shown))
    failed = tuple(one for one in sent if one.problem)
    if failed:
        raise _undelivered(failed, "check the address with your provider")


def _undelivered(failed: tuple[Sent, ...], then: str) -> DeliveryError:
    """One line for all of them; without secrets."""
    return DeliveryError(f"{'; '.join(one.line for one in failed)}; {then}")


def _state_path(state: Path | None, site_file: Path | None) -> Path:
    from windowcast.cli.watching import state_beside

    if state is not None:
        return state
    if site_file is None:
        raise InputError(
            "the sample has no place for what was told", field="--state", remedy="name a file"
        )
    return state_beside(site_file)
