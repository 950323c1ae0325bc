"""``windowcast serve``: the local web page."""

from __future__ import annotations

import datetime as dt
import errno
import socket
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import deadline_option, given_deadline_s
from windowcast.cli.serve_address import (
    ANY,
    address,
    check_tls,
    is_loopback,
    lan_address,
    scannable,
)
from windowcast.cli.serve_token import ServeToken, token_of
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
@click.argument("place", required=False, type=click.Path(path_type=Path))
@click.option("--host", help="Address to listen on  [default: 127.0.0.1]")
@click.option("--lan", is_flag=True, help="Let phones in the same network in, as --host 0.0.0.0.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535))
@click.option("--name", "names", multiple=True, help="Host name the page is asked for by.")
@click.option(
    "--token-file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="The secret that the page asks for; made if it is not there  [default: in your own data "
    "folder, or what WINDOWCAST_TOKEN says]",
)
@click.option("--hide-token", is_flag=True, help="Print the address without it, for logs.")
@click.option("--token", help="The secret itself: others can read it, use --token-file.")
@click.option("--no-token", is_flag=True, help="Ask for none: everyone on this machine may look.")
@click.option(
    "--tls-cert",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Certificate (PEM), for https.",
)
@click.option(
    "--tls-key",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Its key, where that is a file of its own.",
)
@click.option(
    "--regions",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Also show the comparison that windowcast compare wrote there.",
)
@click.option("--date", "today", type=click.DateTime(["%Y-%m-%d"]), help="Answer as on this day.")
@click.option("--offline", is_flag=True, help="Use only files and what is cached.")
@deadline_option
def command(
    *,
    place: Path | None,
    host: str | None,
    lan: bool,
    port: int,
    names: tuple[str, ...],
    token_file: Path | None,
    hide_token: bool,
    token: str | None,
    no_token: bool,
    tls_cert: Path | None,
    tls_key: Path | None,
    regions: Path | None,
    today: dt.datetime | None,
    offline: bool,
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

    place = place or _own_folder()
    if place.suffix == ".toml" and not place.is_file():
        raise InputError("no such site file", path=place, remedy="write one with windowcast init")
    if regions is not None and not (regions / "index.html").is_file():
        raise InputError(
            "holds no comparison", path=regions, remedy="make one with windowcast compare"
        )
    date = today.date() if today is not None else None
    if lan and host is not None:
        raise InputError("contradicts --host", field="--lan", remedy="leave one of them out")
    host = host or ("0.0.0.0" if lan else "127.0.0.1")
    hosts = LOOPBACK | {host.lower(), *map(str.lower, names)}
    local = is_loopback(host)
    if no_token and not local:
        raise InputError(
            "would show the page to the whole network", field="--no-token", remedy="leave it out"
        )
    if (no_token or token_file) and token:
        other = "--no-token" if no_token else "--token-file"
        raise InputError("contradicts --token", field=other, remedy="leave one of them out")
    check_tls(tls_cert, tls_key)
    secret = ServeToken("") if no_token else _secret(token, token_file)
    if local:
        guard = Guard(hosts, secret.text)
    else:
        guard = Guard(hosts, secret.text, reads_per_s=READS_PER_S, any_ip=True)
    parts = replace(_parts(place, guard, date, offline, given_deadline_s()), regions=regions)
    watcher = _watcher(parts)
    listening = _listening(host, port)  # the address is printed once it answers
    port = listening.getsockname()[1]
    _print_addresses(host, port, secret, secure=tls_cert is not None, hidden=hide_token)
    watcher.start()
    config = uvicorn.Config(create_app(parts), ssl_certfile=tls_cert, ssl_keyfile=tls_key, **SERVER)
    try:
        uvicorn.Server(config).run([listening])
    except Terminated:
        pass  # the usual end of a service
    finally:
        watcher.stop(STOP_S)


def _secret(token: str | None, file: Path | None) -> ServeToken:
    """The token by what the options say, with a line on standard error for its remark."""
    from windowcast.cli.output import voice_in

    voice = voice_in("metric")
    if token:
        click.echo(f"windowcast: {voice.say('serve.token_seen')}", err=True)
        return ServeToken(token)
    found = token_of(file)
    if found.remark:
        click.echo(f"windowcast: {voice.text(found.remark)}", err=True)
    return found


def _print_addresses(
    host: str, port: int, secret: ServeToken, *, secure: bool, hidden: bool
) -> None:
    """Where the page is to be opened, also from a phone, with a code to scan in a terminal."""
    from windowcast.cli.output import voice_in

    voice = voice_in("metric")
    seen = lan_address(host) if host in ANY else host
    here = ("::1" if ":" in host else "127.0.0.1") if host in ANY else host
    token = "" if hidden else secret.text
    first = address(seen or here, port, secure=secure, token=token)
    click.echo(f"windowcast: {first}")
    if hidden and secret.file is not None:
        click.echo(f"windowcast: {voice.say('serve.token_in', file=str(secret.file))}")
    if host in ANY:
        local = address(here, port, secure=secure, token=token)
        said = voice.say("serve.here", address=local) if seen else voice.say("serve.no_network")
        click.echo(f"windowcast: {said}")
    if is_loopback(host) or not seen or hidden or not sys.stdout.isatty():
        return
    try:
        code = scannable(first)
    except ImportError:
        click.echo(f"windowcast: {voice.say('serve.no_code')}")
        return
    if code is not None:
        click.echo(f"{code}\nwindowcast: {voice.say('serve.scan')}")


def _listening(host: str, port: int) -> socket.socket:
    """A socket that listens there; port 0 takes a free one.

    Raises
    ------
    InputError
        The port is taken, or the address is none of this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
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


def _parts(
    place: Path, guard: Guard, date: dt.date | None, offline: bool, deadline_s: float | None
) -> Web:
    """The server's parts; answers, plans and reviews are made as the commands make them."""
    from windowcast.api import plan_of
    from windowcast.cli.options import Start
    from windowcast.cli.review import look_back
    from windowcast.report.catalogue import Voice
    from windowcast.report.here_text import HereView, here_view
    from windowcast.report.plan_view import PlanView, plan_view
    from windowcast.report.review_page import ReviewBook, ReviewView, review_view
    from windowcast.web.answers import InVoices, Keeper, Ready
    from windowcast.web.context import Web
    from windowcast.web.sites import SiteBook

    def start(known: KnownSite) -> Start:
        as_on = None if known.sample or date is None else date.isoformat()
        return Start(known.path, known.sample, (), as_on, offline, deadline_s)

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
        book=SiteBook(place),
        answers=answers,
        plans=Keeper(plans_of),
        reviews=Keeper(reviews_of),
        guard=guard,
        heres=Keeper(here_of),
        today=date,
    )


def _own_folder() -> Path:
    import platformdirs

    return platformdirs.user_data_path("windowcast") / "sites"
