"""``windowcast service``: have the system keep the page served; see it, and end it."""

from __future__ import annotations

import http.client
import shlex
import ssl
from typing import TYPE_CHECKING

import click

from windowcast.cli.output import echo, lang_option, voice_in
from windowcast.cli.serve_options import Serving, serving_options
from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.cli.service_systems import ServiceSystem
    from windowcast.report.catalogue import Voice

_ANSWER_S = 3.0


@click.group("service")
def command() -> None:
    """Have the system keep the page served: at log-in, and again after a fault.

    On Linux it writes a user unit of systemd, on macOS an agent of launchd. No administrator is
    needed. The token is in a file, so it outlives every restart.
    """


@command.command()
@serving_options
@click.option("--dry-run", is_flag=True, help="Only show what would be written and run.")
@lang_option
def install(*, serving: Serving, dry_run: bool) -> None:
    """Serve PLACE from now on, with the options of windowcast serve."""
    from windowcast.cli.serve_address import ServeToken, own_token_file, print_addresses, token_of
    from windowcast.cli.service_systems import around, program, run, this_system

    if serving.port == 0:
        raise InputError("would change the address with each start", field="--port",
                         remedy="name a port above 1023")  # fmt: skip
    system, voice = this_system(serving.words()), voice_in("metric")
    token_file = (serving.token_file or own_token_file()).absolute()
    words = [*program(), *serving.words(), "--hide-token"]
    if not serving.no_token and serving.token_file is None:
        words += ["--token-file", str(token_file)]
    text = system.text(words, around())
    if dry_run:
        commands = "\n".join(shlex.join(one) for one in system.starting())
        click.echo(f"# {system.file}\n{text}\n# {voice.say('kept_served.then')}\n{commands}")
        return
    secret = ServeToken("") if serving.no_token else token_of(token_file)
    before = system.file.read_text("utf-8") if system.file.is_file() else None
    made_folder(system.file.parent)
    write_atomic(system.file, text)
    if before is not None:
        for one in system.stopping():
            run(one)
    for one in system.starting():
        done = run(one)
        if done.code != 0:
            _back(system, before)
            raise InputError(
                f"did not start it ({done.said or done.code})",
                field=" ".join(one[:2]),
                remedy="log in as this user, without su or sudo, and try again",
            )
    echo(voice.say("kept_served.installed", file=str(system.file)))
    if secret.remark:
        click.echo(voice.text(secret.remark), err=True)
    print_addresses(serving.host, serving.port, secret, secure=serving.secure, hidden=False)
    if system.file.suffix == ".service":
        echo(voice.say("kept_served.linger"))


def _back(system: ServiceSystem, before: str | None) -> None:
    """Leave things as they were."""
    from windowcast.cli.service_systems import run

    for one in system.stopping():
        run(one)
    if before is None:
        system.file.unlink(missing_ok=True)
    else:
        write_atomic(system.file, before)


@command.command()
@lang_option
@click.pass_context
def status(ctx: click.Context) -> None:
    """Say whether the page is served, and where. Exit code 1 where it is not."""
    from windowcast.cli.service_systems import this_system

    system, voice = this_system(), voice_in("metric")
    if not system.file.is_file():
        echo(voice.say("kept_served.none"))
        ctx.exit(1)
    state = system.state()
    echo(voice.say("kept_served.state", file=str(system.file), state=state))
    serving = _serving(system.words(system.file.read_text("utf-8")))
    if serving is None:
        echo(voice.say("kept_served.not_ours"))
        ctx.exit(1)
    answers = _answers(serving)
    _where(serving, answers, voice)
    if not answers:
        ctx.exit(1)


def _serving(words: list[str]) -> Serving | None:
    """What the words of a service start; None where they are not of this program."""
    from windowcast.cli.serve import command as serve

    if "serve" not in words:
        return None
    try:
        context = serve.make_context("serve", words[words.index("serve") + 1 :])
    except click.ClickException:
        return None
    known = {name: context.params[name] for name in Serving.__dataclass_fields__
             if name in context.params}  # fmt: skip
    return Serving(**known)


def _answers(serving: Serving) -> bool:
    """Whether something answers at the address as our server does."""
    from windowcast.cli.serve_address import ANY

    host = ("::1" if ":" in serving.host else "127.0.0.1") if serving.host in ANY else serving.host
    if serving.secure:  # on this machine, whatever name the certificate is for
        trusting = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        trusting.check_hostname, trusting.verify_mode = False, ssl.CERT_NONE
        asked: http.client.HTTPConnection = http.client.HTTPSConnection(
            host, serving.port, timeout=_ANSWER_S, context=trusting
        )
    else:
        asked = http.client.HTTPConnection(host, serving.port, timeout=_ANSWER_S)
    try:
        asked.request("GET", "/healthz")
        return asked.getresponse().status == http.client.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        asked.close()


def _where(serving: Serving, answers: bool, voice: Voice) -> None:
    """Where the page is, where it answers; else what to do."""
    from windowcast.cli.serve_address import ServeToken, print_addresses, token_of

    if not answers:
        echo(voice.say("kept_served.silent"))
        return
    secret = ServeToken("") if serving.no_token else token_of(serving.token_file)
    print_addresses(serving.host, serving.port, secret, secure=serving.secure, hidden=False)


@command.command()
@lang_option
def remove() -> None:
    """End the service and take it out. Sites, logs and the token stay."""
    from windowcast.cli.service_systems import run, this_system

    system, voice = this_system(), voice_in("metric")
    if not system.file.is_file():
        echo(voice.say("kept_served.none"))
        return
    for one in system.stopping():
        run(one)
    system.file.unlink()
    if system.file.suffix == ".service":
        run(["systemctl", "--user", "daemon-reload"])
    echo(voice.say("kept_served.removed", file=str(system.file)))
