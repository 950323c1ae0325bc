"""``windowcast serve``: the local web page."""

from __future__ import annotations

import datetime as dt
import errno
import ipaddress
import secrets
import socket
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import deadline_option, given_deadline_s
from windowcast.core.errors import InputError, WindowcastError

if TYPE_CHECKING:
    from windowcast.cli.watching import Watcher
    from windowcast.programme.answer import Answer
    from windowcast.web.context import Web
    from windowcast.web.security import Guard
    from windowcast.web.sites import KnownSite

READS_PER_S = 50.0  # each client's, when others than this machine may ask


@click.command("serve")
@click.argument("place", required=False, type=click.Path(path_type=Path))
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(0, 65535))
@click.option("--name", "names", multiple=True, help="Host name the page is asked for by.")
@click.option("--token", help="Secret that the page asks for; made up when not given.")
@click.option("--no-token", is_flag=True, help="Ask for none: everyone on this machine may look.")
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
    host: str,
    port: int,
    names: tuple[str, ...],
    token: str | None,
    no_token: bool,
    regions: Path | None,
    today: dt.datetime | None,
    offline: bool,
) -> None:
    """Open the local web page for PLACE: a site file or a folder of site files.

    Without PLACE the sites are kept in your own data folder; as long as there is none, the sample
    is shown. Nobody but this machine can reach the page unless --host says otherwise. It opens
    with the address that is printed: that holds a token, which others on this machine do not know.
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
    hosts = LOOPBACK | {host.lower(), *map(str.lower, names)}
    local = _loopback(host)
    if no_token and not local:
        raise InputError(
            "would show the page to the whole network", field="--no-token", remedy="leave it out"
        )
    if no_token and token:
        raise InputError("contradicts --token", field="--no-token", remedy="leave it out")
    token = "" if no_token else token or secrets.token_urlsafe(24)
    if local:
        guard = Guard(hosts, token)
    else:
        guard = Guard(hosts, token, reads_per_s=READS_PER_S, any_ip=True)
    parts = replace(_parts(place, guard, date, offline, given_deadline_s()), regions=regions)
    watcher = _watcher(parts)
    listening = _listening(host, port)  # the address is printed once it answers
    port = listening.getsockname()[1]
    shown = f"[{host}]" if ":" in host else host
    click.echo(f"windowcast: http://{shown}:{port}/{f'?token={token}' if token else ''}")
    watcher.start()
    uvicorn.Server(uvicorn.Config(create_app(parts), **SERVER)).run([listening])


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


def _loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
