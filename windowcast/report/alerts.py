"""Sending a message to where people are: e-mail, webhooks and message services, through Apprise.

Addresses come from the site file, a file of secrets, the environment and an option. One may hold a
password or a token. It is never printed or logged: what people read is its `shown` form, and what
is kept on disk its `mark`, which is made without the password.

Every address has a thread of its own and one deadline for all that it does, so that a slow server
keeps no other waiting. What the library logs is read for what went wrong and goes nowhere else,
since it may hold addresses with their secrets.
"""

from __future__ import annotations

import hashlib
import logging
import os
import re
import stat
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, quote, urlencode, urlsplit, urlunsplit

from windowcast.core.errors import InputError
from windowcast.core.extras import require
from windowcast.core.given_files import read_text
from windowcast.core.site import Alerts
from windowcast.core.values import PACKAGED, Tables

if TYPE_CHECKING:
    from apprise import NotifyBase


ENVIRONMENT = "WINDOWCAST_ALERTS_TO"
_SERVERS = ("mailto", "mailtos", "json", "jsons", "xml", "xmls", "form", "forms")  # host: no secret
_VARIABLE = re.compile(r"\$\{(\w+)\}")
_SECRET_KEYS = ("pass", "password", "token", "key", "apikey", "secret")


@dataclass(frozen=True)
class AlertAddress:
    """One address that alerts are sent to.

    Attributes
    ----------
    url
        With its secrets.
    shown
        For people: the service, and the server where that gives nothing away.
    mark
        What tells it from the others on disk; a changed password does not change it.
    """

    url: str = field(repr=False)
    shown: str
    mark: str

    @classmethod
    def of(cls, url: str, named: str) -> AlertAddress:
        """An address as written; `named` says where, for messages.

        Raises
        ------
        InputError
            It is not written as an address.
        """
        scheme, colon, rest = url.partition("://")
        if not colon or not rest or not re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]*", scheme):
            raise InputError(
                "is not an address that alerts can be sent to",
                field=named,
                remedy="write it as mailtos://… or jsons://…, see docs/alerts.md",
            )
        scheme = scheme.lower()
        host = rest.split("/", 1)[0].split("?", 1)[0].rsplit("@", 1)[-1]
        shown = f"{scheme}://{host}" if scheme in _SERVERS else f"{scheme}://…"
        return cls(url, shown, _mark(url))


def _mark(url: str) -> str:
    """A digest of an address without its password."""
    try:
        parts = urlsplit(url)
        who, at, host = parts.netloc.rpartition("@")
        query = [(k, v) for k, v in parse_qsl(parts.query) if k.lower() not in _SECRET_KEYS]
        bare = parts._replace(netloc=f"{who.partition(':')[0]}{at}{host}", query=urlencode(query))
        known = urlunsplit(bare)
    except ValueError:  # as the service alone understands it
        known = url
    return hashlib.sha256(known.encode()).hexdigest()[:16]


def addresses(
    alerts: Alerts,
    site_file: Path | None,
    given: Sequence[str] = (),
    environment: Mapping[str, str] = os.environ,
) -> tuple[AlertAddress, ...]:
    """All addresses, each once.

    Parameters
    ----------
    alerts
        What the site file says.
    site_file
        `to_file` is taken relative to it.
    given
        Addresses of the command line.
    environment
        `ENVIRONMENT` holds further ones, separated by blanks; others stand in for ``${NAME}``.

    Raises
    ------
    InputError
        An address or the file cannot be used, or an environment variable is not set.
    """
    written = [(url.get_secret_value(), f"alerts.to {n}") for n, url in enumerate(alerts.to, 1)]
    if alerts.to_file:
        beside = Path(alerts.to_file).expanduser()
        path = beside if site_file is None else site_file.parent / beside
        written += [(url, f"{path.name} line {n}") for n, url in _lines(path)]
    written += [
        (url, f"{ENVIRONMENT} {n}")
        for n, url in enumerate(environment.get(ENVIRONMENT, "").split(), 1)
    ]
    written += [(url, f"--to {n}") for n, url in enumerate(given, 1)]
    found = [AlertAddress.of(_filled(url, name, environment), name) for url, name in written]
    return tuple({address.mark: address for address in found}.values())


def _lines(path: Path) -> list[tuple[int, str]]:
    """Addresses of a file that nobody else can read, with their line numbers."""
    try:
        mode = path.stat().st_mode
        if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise InputError(
                "can be read by others on this machine",
                path=path,
                remedy="make it yours alone: chmod 600",
            )
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror})", path=path, field="alerts.to_file"
        ) from None
    try:
        text = read_text(path)
    except InputError as error:
        raise error.at(field="alerts.to_file") from None
    lines = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1)]
    return [(n, line) for n, line in lines if line and not line.startswith("#")]


def _filled(url: str, named: str, environment: Mapping[str, str]) -> str:
    """The address with environment variables put in for ``${NAME}``."""

    def value(found: re.Match[str]) -> str:
        if found[1] not in environment:
            raise InputError(
                f"the environment variable {found[1]} is not set", field=named, remedy="set it"
            )
        return quote(environment[found[1]], safe="")

    return _VARIABLE.sub(value, url)


_LIBRARY = "apprise"
_SPARE_S = 1.0  # the library's own time-outs end first and say more


@dataclass(frozen=True)
class Sent:
    """What became of a message to one address; `problem` is empty where it was delivered."""

    address: AlertAddress
    problem: str = ""

    @property
    def line(self) -> str:
        """The failure in one line, without secrets."""
        return f"{self.address.shown} did not get the message: {self.problem}"


@dataclass(frozen=True)
class AlertMessage:
    """A message to one address."""

    address: AlertAddress
    title: str
    body: str


def usable(addresses: Sequence[AlertAddress]) -> None:
    """Refuse addresses before anything is worked out for them.

    Raises
    ------
    InputError
        The extra is not installed, or no service is known for an address.
    """
    if not addresses:
        return
    with _Overheard():
        require("sending alerts", "alerts", _LIBRARY)
        from apprise import Apprise

        for address in addresses:
            if not Apprise().add(address.url):
                raise InputError(
                    "no message service understands this address",
                    field=address.shown,
                    remedy="see docs/alerts.md for how it is written",
                )


def send(messages: Sequence[AlertMessage], tables: Tables = PACKAGED) -> tuple[Sent, ...]:
    """Send messages, all at once; what became of each, in their order."""
    deadline_s = tables["alerts"].number("deadline")
    services = [_service(m.address, deadline_s) for m in messages]  # loads the library
    results: dict[int, str] = {}

    def deliver(number: int) -> None:
        results[number] = _delivered(services[number], messages[number], deadline_s)

    threads = [
        threading.Thread(target=deliver, args=(n,), daemon=True) for n in range(len(messages))
    ]
    for thread in threads:
        thread.start()
    end = time.monotonic() + deadline_s + _SPARE_S
    for thread in threads:
        thread.join(max(0.0, end - time.monotonic()))
    late = _late(deadline_s)
    return tuple(Sent(m.address, results.get(n, late)) for n, m in enumerate(messages))


def _service(address: AlertAddress, deadline_s: float) -> NotifyBase | None:
    """The library's service for an address; None where it knows none."""
    with _Overheard():
        from apprise import Apprise

        service = Apprise.instantiate(address.url)
    if service is not None:
        service.socket_connect_timeout = service.socket_read_timeout = deadline_s
    return service


def _delivered(service: NotifyBase | None, message: AlertMessage, deadline_s: float) -> str:
    """Why a message was not delivered; "" where it was."""
    if service is None:
        return "no message service understands the address"
    with _Overheard() as heard:
        from apprise import NotifyFormat

        try:
            # the service itself, in this thread: the library's own threads outlive a deadline
            if service.notify(
                body=message.body, title=message.title, body_format=NotifyFormat.TEXT
            ):
                return ""
        except Exception as error:  # a plug-in's own: its text may hold the address
            heard.lines.append(type(error).__name__)
    return _why("\n".join(heard.lines), deadline_s)


def _late(deadline_s: float) -> str:
    return f"no answer within {deadline_s:.0f} s"


def _why(heard: str, deadline_s: float) -> str:
    """What went wrong, by what the library logged; nothing of its own words is passed on."""
    smtp = re.search(r"\((\d{3}), b?['\"]", heard)
    if smtp:
        login = smtp[1] in ("530", "534", "535", "538")
        return f"the mail server refused {'the login' if login else 'it'} ({smtp[1]})"
    status = re.search(r"error=(\d{3})", heard)
    if status:
        return f"the server answered {status[1]}"
    for pattern, said in (
        (r"timed? ?out", _late(deadline_s)),
        (r"certificate|SSL", "its certificate or encryption is not accepted"),
        (r"refused|reset|closed|Disconnected|unreachable|aborted", "the server is not reachable"),
        (r"getaddrinfo|not known|resol", "there is no server of that name"),
    ):
        if re.search(pattern, heard, re.I):
            return said
    return "it was not accepted"


class _Overheard(logging.Filter):
    """Keeps what the library logs in this thread, and from everyone else: it may hold secrets."""

    _lock, _open, _level = threading.Lock(), 0, logging.NOTSET

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self._thread = threading.get_ident()

    def filter(self, record: logging.LogRecord) -> bool:
        """Take a record of this thread out of the stream."""
        if record.thread != self._thread:
            return True
        self.lines.append(record.getMessage())
        return False

    def __enter__(self) -> _Overheard:
        logger, own = logging.getLogger(_LIBRARY), _Overheard
        with own._lock:
            if not own._open:
                own._level = logger.level
                logger.setLevel(logging.DEBUG)
            own._open += 1
        logger.addFilter(self)
        return self

    def __exit__(self, *_: object) -> None:
        logger, own = logging.getLogger(_LIBRARY), _Overheard
        logger.removeFilter(self)
        with own._lock:
            own._open -= 1
            if not own._open:
                logger.setLevel(own._level)
