"""Where alerts go: addresses from the site file, a file of secrets, the environment, an option.

An address may hold a password or a token. It is never printed or logged: what people read is its
`shown` form, and what is kept on disk its `mark`, which is made without the password.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qsl, quote, urlencode, urlsplit, urlunsplit

from windowcast.core.errors import InputError
from windowcast.core.given_files import read_text
from windowcast.core.site import Alerts

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
