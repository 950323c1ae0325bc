"""``windowcast watch``: for cron. Silent unless a window's odds crossed the site's threshold."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import Start, site_options
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.programme.news import News, Told

OPENED, FELL_BACK = 10, 11
_VERSION = 1


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
@click.pass_context
def command(
    ctx: click.Context,
    *,
    site_file: Path | None,
    sample: bool,
    files: tuple[str, ...],
    date: str | None,
    offline: bool,
    state: Path | None,
    threshold: float | None,
    calendar: Path | None,
) -> None:
    """Tell, once, when a window's odds pass the threshold or fall back below it.

    \b
    Exit status, for scripts:
      0   nothing new, nothing printed
      10  a window passed the threshold: a paragraph is printed
      11  a window told of before fell back below it, and none passed
      2   bad input
      3   no weather could be reached and none is cached
    """
    from windowcast.core.atomic_files import alone

    path = _state_path(state, site_file)
    with alone(path):  # cron may start a second one while the first still fetches
        news, name = _look(
            path, Start(site_file, sample, files, date, offline), threshold, calendar
        )
    if not news:
        return
    click.echo(_paragraph(name, news))
    ctx.exit(OPENED if any(n.kind == "opened" for n in news) else FELL_BACK)


def _look(
    path: Path, start: Start, threshold: float | None, calendar: Path | None
) -> tuple[tuple[News, ...], str]:
    """What is new and the site's name; what is told is kept, the calendar brought up to date."""
    from windowcast.programme.news import compare

    told = read_state(path)
    answers = start.answers()
    answer = answers[0]
    least = threshold if threshold is not None else answer.site.advice.odds_threshold
    now = dt.datetime.now(dt.UTC)
    today = dt.datetime.combine(answer.ranking.today, dt.time(), answer.site.zone)
    if today.date() != now.astimezone(answer.site.zone).date():
        now = today  # an answer about another day
    news, kept = compare(told, [one.ranking for one in answers], least, now)
    if calendar is not None:
        from windowcast.report.calendar import write_calendar

        write_calendar(calendar, *answers)
    write_state(path, kept)  # before the message: a message twice is worse than one lost
    return news, answer.site.name


def _state_path(state: Path | None, site_file: Path | None) -> Path:
    if state is not None:
        return state
    if site_file is None:
        raise InputError(
            "the sample has no place for what was told", field="--state", remedy="name a file"
        )
    return site_file.with_suffix(".watch.json")


def _paragraph(site: str, news: tuple[News, ...]) -> str:
    from windowcast.report.catalogue import render

    return f"{site}. " + " ".join(render(item.text) for item in news)


def read_state(path: Path) -> dict[str, Told]:
    """Purpose → the window last told of; empty when there is no file yet.

    Raises
    ------
    InputError
        The file cannot be read or is not one of ours.
    """
    from windowcast.programme.news import Told

    try:
        raw: Any = json.loads(path.read_text("utf-8"))
        if raw["version"] != _VERSION:
            raise ValueError(f"version {raw['version']}")
        return {
            str(name): Told(_time(entry["start"]), _time(entry["end"]), float(entry["share"]))
            for name, entry in raw["told"].items()
        }
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", path=path) from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise InputError(
            "does not hold what was told before",
            path=path,
            remedy="delete it (messages may then come once more)",
        ) from None


def _time(text: str) -> dt.datetime:
    time = dt.datetime.fromisoformat(text)
    if time.tzinfo is None:
        raise ValueError("a time without its zone")
    return time


def write_state(path: Path, told: dict[str, Told]) -> None:
    """Keep what was told."""
    from windowcast.core.atomic_files import write_atomic

    entries = {
        name: {"start": t.start.isoformat(), "end": t.end.isoformat(), "share": t.share}
        for name, t in sorted(told.items())
    }
    write_atomic(path, json.dumps({"version": _VERSION, "told": entries}, indent=2) + "\n")
