"""The command line: one module per command, imported only when that command runs."""

from __future__ import annotations

import atexit
import errno
import gc
import importlib
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn, cast

gc.set_threshold(100_000, 50, 50)  # a short run gains nothing from looking through its imports
atexit.register(gc.freeze)  # nor from looking through all of it once more at its end

import click  # noqa: E402

from windowcast.cli.ending import heeding_signals  # noqa: E402
from windowcast.core.errors import (  # noqa: E402
    DEBUG,
    InputError,
    SourceUnreachableError,
    Terminated,
    WindowcastError,
    traces_asked,
)
from windowcast.core.extras import damage  # noqa: E402
from windowcast.core.version import __version__  # noqa: E402

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)

# command name → (module below windowcast.cli with its command's name after a colon, short help)
COMMANDS: dict[str, tuple[str, str]] = {
    "init": ("init", "Write a commented site file."),
    "rank": ("rank", "Rank the coming application windows."),
    "season": ("season", "Where the season stands: key dates, plan, what a pre-emergent controls."),
    "plan": ("plan", "Two to four seasons of jobs, and what each programme does."),
    "weather": ("weather", "Fetch weather, show what is cached and how old it is."),
    "actives": (
        "actives",
        "Active ingredients: what each controls, what turf takes it.",
    ),
    "weeds": ("weeds", "The weeds by name, and what is known of each."),
    "tank": ("tank", "Rates, concentrations and the tank sheet."),
    "log": ("log", "Season log: applications, probe readings, counts, ratings."),
    "review": ("review", "Hindsight: was the timing why it worked or failed?"),
    "trial": ("trial", "Plot trials: plan, rating sheets, ratings, analysis, report."),
    "watch": ("watch", "For cron: tell when a window's odds cross the threshold."),
    "compare": ("compare", "Compare stations, regions and years."),
    "verify": ("verify", "Measure the models against observations."),
    "serve": ("serve", "Open the local web page."),
    "service": ("service", "Have the system keep that page served."),
    "docs": ("docs", "Read the documentation here, without a network."),
    "doctor": ("doctor", "What on this machine keeps answers away, and what helps."),
    "completion": ("completion", "What a shell needs to complete commands and names."),
    "man": ("man", "The manual page."),
}


@contextmanager
def _read_to_its_end_or_not() -> Iterator[None]:
    """End well where the reader of a pipe has gone, as ``| head -1`` does; click ends with 1."""
    try:
        yield
    except OSError as error:
        # of a pipe that nobody reads any more, Windows says that the argument is invalid
        gone = sys.platform == "win32" and error.errno == errno.EINVAL and not error.filename
        if not gone and not isinstance(error, BrokenPipeError):
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # for what is still to be flushed at the end
        raise click.exceptions.Exit(0) from None


class LazyGroup(click.Group):
    """A group that knows its commands' names and imports a command only to run it."""

    def __init__(
        self, *args: Any, table: dict[str, tuple[str, str]] = COMMANDS, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.table = table

    def make_context(self, *args: Any, **more: Any) -> click.Context:
        """Read the words; help that nobody reads to its end is no fault."""
        with _read_to_its_end_or_not():
            return super().make_context(*args, **more)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; output that nobody reads to its end is no fault."""
        with _read_to_its_end_or_not():
            return super().invoke(ctx)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import ``windowcast.cli.<module>`` and return its `command`, or the one named there."""
        if cmd_name not in self.table:
            return None
        module, _, name = self.table[cmd_name][0].partition(":")
        found = getattr(importlib.import_module(f"windowcast.cli.{module}"), name or "command")
        return cast("click.Command", found)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.table.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Names that begin so, without importing the commands."""
        from click.shell_completion import CompletionItem

        return [
            *(
                CompletionItem(n, help=t)
                for n, (_, t) in self.table.items()
                if n.startswith(incomplete)
            ),
            *click.Command.shell_complete(self, ctx, incomplete),
        ]

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Suggest a close name for an unknown command."""
        if args and args[0] not in self.table and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], self.table, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            ctx.fail(f"No such command '{args[0]}'.{hint}")
        return super().resolve_command(ctx, args)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="windowcast")
@click.option("--debug", is_flag=True, help="Show where in the program an unforeseen fault arose.")
def cli(*, debug: bool) -> None:  # what `main` does with it serves the processes it starts too
    """Timing of winter weed control in warm-season turf, from weather data.

    Start with: windowcast rank --sample

    Learn it with: windowcast docs tutorial
    """


def main(args: list[str] | None = None) -> Any:
    """Run the command line; every expected failure ends in one line and its exit code."""
    words = sys.argv[1:] if args is None else args
    if "--debug" in words:
        os.environ[DEBUG] = "1"
    if any(
        "utf" not in f"{getattr(out, 'encoding', '')}".lower() for out in (sys.stdout, sys.stderr)
    ):
        from windowcast.cli.plain_marks import print_what_it_can

        print_what_it_can(sys.stdout, sys.stderr)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "true")  # spares a look through packages
    try:
        with heeding_signals():
            code = cli.main(args=args, prog_name="windowcast", standalone_mode=False)
        if isinstance(code, int):  # what a command, or --help, gave to ctx.exit
            sys.exit(code)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(error.exit_code)
    except click.UsageError as error:
        _say(_misused(error, words), words)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        _say(InputError(error.format_message()), words)
        sys.exit(error.exit_code)
    except click.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(130)
    except Terminated as end:
        sys.exit(end.exit_code)
    except click.exceptions.Exit as error:
        sys.exit(error.exit_code)
    except SourceUnreachableError as error:
        _say(error, words, doctor="--offline" not in words)
        sys.exit(error.exit_code)
    except WindowcastError as error:
        _say(error, words)
        sys.exit(error.exit_code)
    except OSError as error:
        if error.errno in _FULL:  # files that cannot be written are named where they are written
            said = f"the output cannot be written ({error.strerror})"
            _say(InputError(said, remedy="make room and try again"), words)
            sys.exit(InputError.exit_code)
        _fault(error, f"cannot go on ({error.strerror or error})", words)
    except Exception as error:
        if (damaged := damage(error)) is not None:
            _say(damaged, words)
            sys.exit(damaged.exit_code)
        said = f"met a fault of its own ({type(error).__name__})"
        _fault(error, f"{said}; show it with --debug", words)


def _say(error: Exception, words: Sequence[str], *, doctor: bool = False) -> None:
    """One line on standard error, in the language that the command line asks for."""
    from windowcast.cli.output import voice_of_words
    from windowcast.report.problems import problem_text

    voice = voice_of_words(words)
    said = problem_text(error, voice)
    click.echo(
        f"windowcast: {voice.say('cli.see_doctor', problem=said) if doctor else said}", err=True
    )


def _fault(error: Exception, said: str, words: Sequence[str]) -> NoReturn:
    """The last resort: one line and exit code 1, with the trace only where it was asked for."""
    if traces_asked():
        import traceback

        traceback.print_exception(error)
    _say(WindowcastError(" ".join(said.split())), words)
    sys.exit(1)


def _misused(error: click.UsageError, words: Sequence[str]) -> InputError:
    """What is wrong with the words of a command line, with where to read about them."""
    option = error.option_name if isinstance(error, click.NoSuchOption) else ""
    if option[:1] == "-" and option[1:2].isdigit():  # an amount, which click takes for options
        amount = next((word for word in words if word.startswith(option)), option)
        return InputError(
            "is not above zero", field=amount, remedy="write the amount without the minus"
        )
    said = error.format_message().rstrip(".")
    named = [word for word in words[:1] if word in COMMANDS]  # not every error knows its command
    command = error.ctx.command_path if error.ctx else " ".join(["windowcast", *named])
    return InputError(said, remedy=None if said.endswith("?") else f"see {command} --help")
