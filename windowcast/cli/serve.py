"""``windowcast serve``: the local web page."""

from __future__ import annotations

import datetime as dt
import errno
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start
from windowcast.cli.output import voice_in
from windowcast.cli.serve_address import ServeToken, print_addresses, token_of
from windowcast.cli.serve_options import Serving, own_folder, serving_options
from windowcast.core.errors import InputError, Terminated, WindowcastError

if TYPE_CHECKING:
    from windowcast.cli.watching import Watcher
    from windowcast.programme.answer import Answer
    from windowcast.web.context import Web
    from windowcast.web.security import Guard
    from windowcast.web.sites import KnownSite

READS_PER_S = 50.0  # each client's, when others than this machine may ask
STOP_S = 5.0  # given to a message that is under way when the server ends


@click.command("serve")
@serving_options
@click.option("--hide-token", is_flag=True, help="Print the address without it, for logs.")
@click.option("--token", help="The secret itself: others can read it, use --token-file.")
@click.option("--date", "today", type=click.DateTime(["%Y-%m-%d"]), help="Answer as on this day.")
def command(
    *, serving: Serving, hide_token: bool, token: str | None, today: dt.datetime | None
) -> None:
    """Open the local web page for PLACE: a site file or a folder of site files.

    Without PLACE the sites are kept in your own data folder; as long as there is none, the sample
    is shown. Nobody but this machine can reach the page unless --lan or --host says otherwise. It
    opens with the address that is printed: that holds a token, which others do not know. The token
    is kept for the next start.
    """
    import uvicorn

    from windowcast.web.app import create_app
    from windowcast.web.connections import SERVER
    from windowcast.web.security import LOOPBACK, Guard

    if (serving.no_token or serving.token_file) and token:
        other = "--no-token" if serving.no_token else "--token-file"
        raise InputError("contradicts --token", field=other, remedy="leave one of them out")
    secret = ServeToken("") if serving.no_token else _secret(token, serving.token_file)
    hosts = LOOPBACK | {serving.host.lower(), *map(str.lower, serving.names)}
    if serving.local:
        guard = Guard(hosts, secret.text)
    else:
        guard = Guard(hosts, secret.text, reads_per_s=READS_PER_S, any_ip=True)
    parts = _parts(serving, guard, today.date() if today is not None else None)
    watcher = _watcher(parts)
    listening = _listening(serving.host, serving.port)  # the address is printed once it answers
    port = listening.getsockname()[1]
    print_addresses(serving.host, port, secret, secure=serving.secure, hidden=hide_token)
    watcher.start()
    config = uvicorn.Config(
        create_app(parts),
        ssl_certfile=serving.tls_cert,
        ssl_keyfile=serving.tls_key,
        **SERVER,
    )
    try:
        uvicorn.Server(config).run([listening])
    except Terminated:
        pass  # the usual end of a service
    finally:
        watcher.stop(STOP_S)


def _secret(token: str | None, file: Path | None) -> ServeToken:
    """The token by what the options say, with a line on standard error for its remark."""

    voice = voice_in("metric")
    if token:
        click.echo(f"windowcast: {voice.say('serve.token_seen')}", err=True)
        return ServeToken(token)
    found = token_of(file)
    if found.remark:
        click.echo(f"windowcast: {voice.text(found.remark)}", err=True)
    return found


def _listening(host: str, port: int) -> socket.socket:
    """A socket that listens there; port 0 takes a free one.

    Raises
    ------
    InputError
        The port is taken, or the address is none of this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        listening = socket.create_server((host, port), family=family)
        # connections take it over; else a short answer waits 40 ms for the reader's receipt
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return listening
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise InputError(
                f"port {port} is taken, perhaps by a server that still runs",
                field="--port",
                remedy="stop that one, or give --port 0 for a free port",
            ) from None
        why = str(error.strerror).partition(" (while")[0]
        raise InputError(
            f"cannot listen at {host}, port {port} ({why})",
            field="--host",
            remedy="give an address of this machine, and a port above 1023",
        ) from None


def _watcher(parts: Web) -> Watcher:
    """What sends alerts in the background, from the answers that the page shows."""
    from windowcast.cli.watching import Watcher
    from windowcast.core.values import PACKAGED

    return Watcher(
        parts.book,
        lambda known: parts.answers.get(known).answers,
        lambda line: click.echo(f"windowcast: {line}", err=True),
        60 * PACKAGED["alerts"].number("look_every"),
    )


def _parts(serving: Serving, guard: Guard, date: dt.date | None) -> Web:
    """The server's parts; answers, plans and reviews are made as the commands make them."""
    from windowcast.api import plan_of
    from windowcast.cli.review import look_back
    from windowcast.report.catalogue import Voice
    from windowcast.report.here_text import HereView, here_view
    from windowcast.report.plan_view import PlanView, plan_view
    from windowcast.report.review_text import ReviewBook, ReviewView, review_view
    from windowcast.web.answers import InVoices, Keeper, Ready
    from windowcast.web.context import Web
    from windowcast.web.sites import SiteBook

    def start(known: KnownSite) -> Start:
        as_on = None if known.sample or date is None else date.isoformat()
        return Start(known.path, known.sample, (), as_on, serving.offline, serving.deadline_s)

    def reviews_of(known: KnownSite) -> ReviewBook:
        def season(name: str, voice: Voice) -> ReviewView:
            _, review = look_back(start(known), season=name)
            return review_view(review, voice)

        return ReviewBook(season)

    def plans_of(known: KnownSite) -> InVoices[tuple[PlanView, ...]]:
        plans = [(plan_of(answer), answer) for answer in answers.get(known).answers]
        return InVoices(lambda voice: tuple(plan_view(plan, voice, of) for plan, of in plans))

    def here_of(known: KnownSite) -> InVoices[HereView | None]:
        from windowcast.api.here import here_report

        nothing: InVoices[HereView | None] = InVoices(lambda voice: None)
        try:  # the review stands without it
            weather = answers.get(known).answer.weather
            if known.site is None:
                return nothing
            report = here_report(known.site, weather, known.log_path)
        except WindowcastError:
            return nothing
        return InVoices(lambda voice: here_view(report, voice))

    def ready(known: KnownSite) -> Ready:
        begun = start(known)
        found = begun.answers()

        def rank(purpose: str, actives: str) -> tuple[Answer, ...]:
            weather = found[0].weather
            return begun.answers(weather, purposes=(purpose,), actives=actives)

        return Ready(found, known.slug, rank)

    answers = Keeper(ready)
    return Web(
        book=SiteBook(serving.place or own_folder()),
        answers=answers,
        plans=Keeper(plans_of),
        reviews=Keeper(reviews_of),
        guard=guard,
        heres=Keeper(here_of),
        regions=serving.regions,
        today=date,
    )
