"""Where the page can be opened, on this machine and from a phone, and the token that it asks for.

The token comes from a file that only its owner can read, or the environment. It outlives a restart,
so that bookmarks and subscribed calendars do. It is no word of a command line, which every account
of a machine can read.
"""

from __future__ import annotations

import io
import ipaddress
import os
import re
import secrets
import socket
import stat
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import click

from windowcast.cli.output import voice_in
from windowcast.core.atomic_files import made_folder, put_if_first
from windowcast.core.errors import InputError
from windowcast.core.extras import damage, there
from windowcast.core.given_files import read_text
from windowcast.core.phrase import NOTHING, Name, Noted, Phrase, say

VARIABLE = "WINDOWCAST_TOKEN"
_RIGHT = re.compile(r"[A-Za-z0-9._~-]{16,200}")  # what an address carries as it is
_MOST_BYTES = 1000


@dataclass(frozen=True)
class ServeToken:
    """A token and where it is kept.

    Attributes
    ----------
    file
        None where it is in no file.
    remark
        What its owner should know.
    """

    text: str
    file: Path | None = None
    remark: Phrase = NOTHING


def own_token_file() -> Path:
    """Where the token lies unless another file is named."""
    import platformdirs

    return platformdirs.user_data_path("windowcast") / "serve-token"


def token_of(file: Path | None) -> ServeToken:
    """The token of a file, else of ``WINDOWCAST_TOKEN``, else of the own file.

    A file that is not there is made, with a new token. Where the own file cannot be, the token
    lasts until the server ends.

    Raises
    ------
    InputError
        The file cannot be read or made, or there is no token in it or in the variable.
    """
    if file is None and (given := os.environ.get(VARIABLE, "")):
        if not _RIGHT.fullmatch(given):
            raise InputError(
                "is no token", field=VARIABLE, remedy="use 16 or more letters and digits"
            )
        return ServeToken(given)
    if file is not None:
        return _kept(file)
    own = own_token_file()
    try:
        return _kept(own)
    except InputError as error:
        if own.exists():
            raise
        remark = say("serve.token_not_kept", problem=Noted(error.problem))
        return ServeToken(secrets.token_urlsafe(24), None, remark)


def _kept(file: Path) -> ServeToken:
    if not file.exists():
        _make(file)
    text = read_text(file, _MOST_BYTES).strip()
    if not _RIGHT.fullmatch(text):
        raise InputError(
            "has no token in it", path=file, remedy="use 16 or more letters and digits"
        )
    shared = sys.platform != "win32" and file.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)
    remark = say("serve.token_open", file=Name(str(file))) if shared else NOTHING
    return ServeToken(text, file, remark)


def _make(file: Path) -> None:
    """Put a new token into a file that only its owner can read; what is there meanwhile stays."""
    try:
        folder = made_folder(file.parent)
        handle, name = tempfile.mkstemp(dir=folder, prefix=f".{file.name}.")  # mode 0600
        made = Path(name)
        try:
            with os.fdopen(handle, "w") as stream:
                stream.write(f"{secrets.token_urlsafe(24)}\n")
                stream.flush()
                os.fsync(handle)
            put_if_first(made, file)
        finally:
            made.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            f"cannot be written ({error.strerror or error})",
            path=file,
            remedy="choose a folder that exists, may be written to and has room",
        ) from error


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
