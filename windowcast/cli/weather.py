"""``windowcast weather``: fetch a site's weather, show what is kept and how old it is, clear it."""

from __future__ import annotations

import datetime as dt
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import (
    deadline_option,
    forecast_option,
    format_option,
    given_deadline_s,
    units_option,
    with_given_forecast,
)
from windowcast.cli.output import echo, print_json, print_table, voice_in
from windowcast.cli.progress import fetch_progress
from windowcast.cli.weather_bundle import export, import_
from windowcast.core.errors import InputError
from windowcast.core.phrase import Quantity
from windowcast.core.units import System

if TYPE_CHECKING:
    from windowcast.core.record import Provenance
    from windowcast.report.catalogue import Voice
    from windowcast.sources.cache import Cache, Holding
    from windowcast.sources.doctor import Done
    from windowcast.sources.source import Found

BAD_LEFT = 10  # exit code of `doctor` where it found bad answers and left them
_FORMAT = format_option("table", "json")


@click.group(name="weather")
def command() -> None:
    """Fetch weather, show what is cached and how old it is.

    WINDOWCAST_CACHE names the folder of the cache; WINDOWCAST_ARCHIVE_URL and
    WINDOWCAST_FORECAST_URL name other hosts for the station archive and the forecast.
    """


@command.command()
@_FORMAT
def status(format_: str) -> None:
    """Show what the cache holds of each source, and how old it is."""
    from windowcast.sources.cache import Cache

    with Cache() as cache:
        holdings = cache.holdings() if cache.path.exists() else []
    now = time.time()
    if format_ == "json":
        print_json({"holdings": [_holding(h) for h in holdings]}, indent=2)
        return
    if not holdings:
        echo(voice_in("metric").say("cli.nothing_cached"))
        return
    from windowcast.sources.fetch import age_text

    rows = [
        [
            h.source,
            str(h.entries),
            str(h.fresh),
            age_text(now - h.newest),
            age_text(now - h.oldest),
            f"{h.bytes / 1e6:.1f} MB",
        ]
        for h in holdings
    ]
    print_table(
        ("source", "answers", "fresh", "newest", "oldest", "size"), rows, voice_in("metric")
    )


def _holding(h: Holding) -> dict[str, Any]:
    return {
        "source": h.source,
        "answers": h.entries,
        "fresh": h.fresh,
        "newest": _iso(h.newest),
        "oldest": _iso(h.oldest),
        "bytes": h.bytes,
    }


@command.command()
@click.option(
    "--mend", is_flag=True, help="Put the answers before in place of bad ones, or remove."
)
@_FORMAT
@click.pass_context
def doctor(ctx: click.Context, *, mend: bool, format_: str) -> None:
    """Look for answers in the cache that are no use, and mend them.

    Names the source, place, age and fault of each. Ends with exit code 10 where bad ones are left.
    """
    from windowcast.sources.cache import Cache
    from windowcast.sources.doctor import examined, mended
    from windowcast.sources.fetch import age_text
    from windowcast.sources.foretold import Foretold

    voice, now = voice_in("metric"), time.time()
    with Cache() as cache:
        looked_at = len(cache.entries()) if cache.path.exists() else 0
        findings = list(examined(cache, now)) if looked_at else []
        done = [mended(cache, finding) if mend else None for finding in findings]
        record = Foretold(cache.path).problem()
    if format_ == "json":
        rows = [
            {
                "source": f.source, "place": f.place, "checked": _iso(f.checked_at),
                "age_s": round(now - f.checked_at), "why": f.why, "bad": f.bad, "mended": how,
            }
            for f, how in zip(findings, done, strict=True)
        ]  # fmt: skip
        told = {"looked_at": looked_at, "findings": rows, "record_problem": record}
        print_json(told, indent=2)
    elif not findings:
        echo(voice.say("cli.cache_sound", count=looked_at))
    else:
        cells = [
            [f.source, f.place, age_text(now - f.checked_at), f.why, *_done(how, voice)]
            for f, how in zip(findings, done, strict=True)
        ]
        names = ("source", "what", "age", "why", *(("mended",) if mend else ()))
        print_table(names, cells, voice)
    if record and format_ != "json":
        echo(voice.say("cli.record_damaged", problem=record))
    if record or (not mend and any(finding.bad for finding in findings)):
        ctx.exit(BAD_LEFT)


def _done(how: Done | None, voice: Voice) -> list[str]:
    return [] if how is None else [voice.say(f"cache_done.{how.replace(' ', '_')}")]


@command.command()
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option("--years", type=click.IntRange(1, 100), help="Years of record (30).")
@click.option("--offline", is_flag=True, help="Ask nobody: show what is kept for the site.")
@deadline_option
@forecast_option
@_FORMAT
def fetch(site_file: Path, years: int | None, offline: bool, format_: str) -> None:
    """Fetch a site's weather into the cache and show where it comes from.

    Answers still fresh are asked for again, and cost little where nothing has changed.
    """
    from windowcast.core.local_days import local_today
    from windowcast.core.site import load_site
    from windowcast.sources.cache import Cache
    from windowcast.sources.fetch import Fetcher
    from windowcast.weather.gather import gather

    site = with_given_forecast(load_site(site_file))
    today = local_today(site.zone)
    first = dt.date(today.year - years, 1, 1) if years else None
    with Cache() as cache, fetch_progress() as progress:
        fetcher = Fetcher.within(cache, given_deadline_s(), offline=offline, refresh=not offline)
        found = gather(site, today=today, first=first, fetcher=fetcher, progress=progress)
        asked = fetcher.client.requests_sent
    voice = voice_in(site.units, site)
    if format_ == "json":
        origins = [_origin(p) for p in _origins(found)]
        remarks = [{"check": f.check, "text": voice.text(f.text)} for f in found.flags]
        raw = {"requests": asked, "sources": origins, "remarks": remarks}
        print_json(raw, indent=2)
    else:
        _show(found, voice, asked)


@command.command()
@click.argument("file", metavar="FILE[:key=value]")
@click.option(
    "--site", "site_file", type=click.Path(path_type=Path), metavar="SITE.toml", help="For a site."
)
@units_option
@_FORMAT
def check(file: str, site_file: Path | None, units: System | None, format_: str) -> None:
    """Show how a weather file is understood, and what the checks find in it.

    Nothing is stored. What a file cannot tell by itself is said behind its name, e.g.
    "old.csv:units=us,dates=mdy"; see docs/weather_csv.md.
    """
    from windowcast.core.site import load_site
    from windowcast.report.table_understood import as_json, remarks, weather_lines
    from windowcast.sources.files import read_and_understand

    site = load_site(site_file) if site_file else None
    record, table = read_and_understand(file, place=site.place if site else None)
    voice = voice_in(units or (site.units if site else "metric"))
    if format_ == "json":
        raw = {
            "first": str(record.times[0]),
            "last": str(record.times[-1]),
            "variables": list(record.values),
            "table": as_json(table) if table else None,
            "remarks": [{"check": name, "text": text} for name, text in remarks(record, voice)],
        }
        print_json(raw, indent=2)
    else:
        echo(*weather_lines(record, table, voice))


def _origins(found: Found) -> list[Provenance]:
    return list(dict.fromkeys(p for record in found.records for p in record.provenance))


def _origin(p: Provenance) -> dict[str, Any]:
    return {
        "source": p.source,
        "detail": p.detail,
        "variables": list(p.variables),
        "first": p.first,
        "last": p.last,
        "fetched": p.fetched.isoformat(timespec="seconds") if p.fetched else None,
        "distance_km": p.distance_km,
        "elevation_m": p.elevation_m,
        "weight": p.weight,
        "licence": p.licence,
        "stale": p.stale,
    }


def _show(found: Found, voice: Voice, asked: int) -> None:
    from windowcast.sources.fetch import age_text

    now = dt.datetime.now(dt.UTC)
    rows = []
    for p in _origins(found):
        age = age_text((now - p.fetched).total_seconds()) if p.fetched else "–"
        rows.append(
            [
                p.source,
                p.detail,
                "–" if p.distance_km is None else voice.write(Quantity(p.distance_km, "km")),
                "–" if p.elevation_m is None else voice.write(Quantity(p.elevation_m, "m")),
                "–" if p.weight is None else f"{p.weight:.0%}",
                f"{p.first} to {p.last}" if p.last else "–",
                voice.say("cli.stale", age=age) if p.stale else age,
            ]
        )
    if rows:
        print_table(("source", "what", "away", "height", "weight", "time", "age"), rows, voice)
    for flag in found.flags:
        echo(voice.say("cli.note", text=flag.text))
    echo(voice.say("cli.requests", count=asked))


@command.command()
@click.option("--source", metavar="NAME", help="Only this source, e.g. forecast.")
@click.option("--all", "all_", is_flag=True, help="The whole file, even if it is damaged.")
def clear(source: str | None, all_: bool) -> None:
    """Remove what is cached."""
    from windowcast.sources.cache import Cache
    from windowcast.sources.cache_file import remove

    if all_ == (source is not None):
        raise InputError(
            "--all and --source exclude each other" if all_ else "what to clear is not said",
            remedy="give either --source NAME or --all",
        )
    voice = voice_in("metric")
    if all_:
        echo(voice.say("cli.cache_removed" if remove() else "cli.no_cache"))
        return
    with Cache() as cache:
        _known(cache, str(source))
        echo(voice.say("cli.answers_removed", count=cache.clear(source)))


def _known(cache: Cache, source: str) -> None:
    names = [h.source for h in cache.holdings()]
    if source not in names:
        raise InputError(
            f"nothing of {source!r} is cached",
            field="--source",
            remedy=f"name one of: {', '.join(names)}" if names else "the cache is empty",
        )


def _iso(seconds: float) -> str:
    return dt.datetime.fromtimestamp(seconds, dt.UTC).isoformat(timespec="seconds")


command.add_command(export)
command.add_command(import_)
