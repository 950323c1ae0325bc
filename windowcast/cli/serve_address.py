"""Where the page can be opened: on this machine, and from a phone in the same network."""

from __future__ import annotations

import io
import ipaddress
import os
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.core.errors import InputError
from windowcast.core.extras import damage, there

if TYPE_CHECKING:
    from windowcast.cli.serve_token import ServeToken

ANY = frozenset({"0.0.0.0", "::"})
_LIGHT_ON_DARK, _PLAIN = "\033[97;40m", "\033[0m"  # scanners expect dark marks on light


def is_loopback(host: str) -> bool:
    """Whether only this machine can ask there."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def lan_address(host: str) -> str | None:
    """The number by which the network knows this machine; None where it has none.

    Nothing is sent: a datagram's socket only looks up by which way it would go.
    """
    family, elsewhere = (
        (socket.AF_INET6, "2001:db8::1") if ":" in host else (socket.AF_INET, "192.0.2.1")
    )
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as unsent:
            unsent.connect((elsewhere, 9))
            return str(unsent.getsockname()[0])
    except OSError:
        return None


def address(host: str, port: int, *, secure: bool, token: str = "") -> str:
    """What a browser is to open."""
    shown = f"[{host}]" if ":" in host else host
    query = f"?token={token}" if token else ""
    return f"http{'s' if secure else ''}://{shown}:{port}/{query}"


def scannable(text: str) -> str | None:
    """A text as a QR code for this terminal; None where it cannot be shown.

    Raises
    ------
    ImportError
        The serve extra is not installed.
    """
    import segno

    drawn = io.StringIO()
    segno.make(text, micro=False).terminal(drawn, border=2, compact=True)
    try:
        drawn.getvalue().encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return None
    lines = drawn.getvalue().splitlines()
    if os.environ.get("NO_COLOR"):
        return "\n".join(lines)
    return "\n".join(f"{_LIGHT_ON_DARK}{line}{_PLAIN}" for line in lines)


def check_tls(certificate: Path | None, key: Path | None) -> None:
    """Refuse a certificate and key that the server could not begin with.

    Raises
    ------
    InputError
        One of them is missing or cannot be read, they do not belong together, or the key has a
        password.
    """
    import ssl

    if certificate is None:
        if key is not None:
            raise InputError("needs --tls-cert", field="--tls-key", remedy="name both files")
        return
    for file in filter(None, (certificate, key)):
        try:
            with file.open("rb"):
                pass
        except OSError as error:
            raise InputError(
                f"cannot be read ({error.strerror or error})", path=file, remedy="name another file"
            ) from None
    try:
        # without a word for it, a key with a password would be asked for on the terminal
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, lambda: "")
    except (ssl.SSLError, OSError):
        raise InputError(
            "is no certificate with its key, or the key has a password",
            path=certificate,
            remedy="name PEM files with --tls-cert and --tls-key",
        ) from None


def print_addresses(
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
    except ImportError as error:
        from windowcast.report.problems import problem_text

        problem = damage(error) if there("segno") else None
        said = problem_text(problem, voice) if problem else voice.say("serve.no_code")
        click.echo(f"windowcast: {said}")
        return
    if code is not None:
        click.echo(f"{code}\nwindowcast: {voice.say('serve.scan')}")
