"""``windowcast review``: hindsight over the season log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start, format_option, page_option, site_options
from windowcast.cli.output import lang_option
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.core.units import System
    from windowcast.records.review import Review
    from windowcast.report.catalogue import Voice

PAST_HOURS_DAYS = 366 * 6  # hours kept for hindsight: the seasons of a log


@click.command(name="review")
@site_options
@lang_option
@click.option("--units", type=click.Choice(["us", "metric"]), help="Units shown (site's own).")
@format_option("text", "json")
@page_option("Also write a page with charts.")
@click.option(
    "--season",
    default="",
    metavar="YYYY/YY",
    help="Look into this season only (or: latest); of the others only the outcome is told.",
)
def command(
    *,
    start: Start,
    units: System | None,
    format_: str,
    page: Path | None,
    season: str,
) -> None:
    """Look back: was the timing why it worked or failed?

    Each application of the site's log is set in the weather and the state of turf and weeds of
    its day, scored like a coming window, and put beside what the season offered. Trials in the
    log are analysed against their untreated checks.
    """
    from windowcast.cli.output import voice_in

    site, review = look_back(start, season)
    if season and not review.season_known:
        raise InputError(
            f"{season!r} is not a season of the log",
            field="--season",
            remedy=f"use one of {', '.join(review.seasons)}, or latest",
        )
    voice = voice_in(units or site.units, site)
    if page is not None:
        from windowcast.core.atomic_files import write_atomic
        from windowcast.report.review_page import render_review

        write_atomic(page, render_review(review, voice))
    if format_ == "json":
        click.echo(_json(review, voice))
    else:
        from windowcast.report.review_text import review_lines
        from windowcast.report.terminal_width import fitted, prose_width

        click.echo("\n".join(fitted(review_lines(review, voice), prose_width())).rstrip())


def look_back(start: Start, season: str = "") -> tuple[Site, Review]:
    """The review of a site's log, looking into one season or, for "", into all.

    Raises
    ------
    InputError
        There is no log yet, or something in the site, weather or log cannot be used.
    """
    from windowcast.records.review import review_log

    site = start.site()
    log_file = start.log_file(site)
    if log_file is None:
        raise InputError(
            "the sample has no season log to look back on", remedy="name a site file of your own"
        )
    if not log_file.is_file():
        raise InputError(
            "there is no season log to look back on",
            path=log_file,
            remedy="begin one with windowcast log add",
        )
    _, weather = start.load(hours_days=PAST_HOURS_DAYS)
    return site, review_log(
        site, weather, log_file, start.beside(site.materials_file), season=season
    )


def _json(review: Review, voice: Voice) -> str:
    """The review as JSON: what is said in the reader's units with its meaning in SI beside it."""
    import json

    from windowcast.report.plain import plain

    document = {"units": voice.units, **plain(review, voice, date=str)}
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
