"""``windowcast review``: hindsight over the season log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start, format_option, page_option, site_options, units_option
from windowcast.cli.output import lang_option, print_fitted, print_json, voice_in
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.units import System

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.records.review import Review

PAST_HOURS_DAYS = 366 * 6  # hours kept for hindsight: the seasons of a log


@click.command(name="review")
@site_options
@lang_option
@units_option
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
    site, review = look_back(start, season)
    if season and not review.season_known:
        raise InputError(
            f"{season!r} is not a season of the log",
            field="--season",
            remedy=f"use one of {', '.join(review.seasons)}, or latest"
            if review.seasons
            else "log an application first",
        )
    voice = voice_in(units or site.units, site)
    if page is not None:
        from windowcast.report.review_text import render_review

        write_atomic(page, render_review(review, voice))
    if format_ == "json":
        from windowcast.report.plain import plain

        print_json({"units": voice.units, **plain(review, voice, date=str)})
    else:
        from windowcast.report.review_text import review_lines

        print_fitted(review_lines(review, voice))


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
