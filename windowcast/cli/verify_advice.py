"""``windowcast verify advice``: whole seasons replayed, the advice against rules and hindsight."""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import Start, deadline_option, format_option
from windowcast.cli.output import lang_option, print_json, voice_in
from windowcast.cli.progress import at_work
from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.report.terminal_width import table_width
from windowcast.windows.model import PURPOSES

if TYPE_CHECKING:
    from windowcast.core.record import Record
    from windowcast.region.engine import Station
    from windowcast.verify.regret import Regret
    from windowcast.windows.model import PurposeName

SEASONS = 10


@click.command(name="advice")
@click.argument(
    "paths", nargs=-1, required=False, metavar="[PATH...]", type=click.Path(path_type=Path)
)
@click.option(
    "--site",
    "site_file",
    type=click.Path(path_type=Path),
    metavar="SITE.toml",
    help="Live the seasons of your own site instead; verify here then shows what came of them.",
)
@click.option("--offline", is_flag=True, help="Use only the site's files and what is cached.")
@deadline_option
@click.option(
    "--seasons",
    type=click.IntRange(1, 60),
    help="Last seasons of each station that are lived; earlier ones are what is known.  "
    "[default: 10; of a site those since 2005]",
)
@click.option(
    "--others-every",
    type=click.IntRange(1, 60),
    default=5,
    show_default=True,
    help="Followers on other ground or with other habits live every n-th of them.",
)
@click.option(
    "--only",
    multiple=True,
    metavar="APPLICATION",
    type=click.Choice(PURPOSES),
    help="Only this application; repeatable: pre-fall, post-early, dormant, pre-spring.",
)
@click.option(
    "--forecasts",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Forecasts as issued, as for windowcast verify odds: used where a city lies near by.",
)
@click.option(
    "--prices",
    metavar="MATERIALS.toml",
    type=click.Path(path_type=Path),
    help="Label file with rate and price of a product of each active ingredient: tell the money.",
)
@click.option(
    "--every-morning",
    is_flag=True,
    help="Read the answer on each morning while an application is open, not half-way to its day.",
)
@click.option(
    "--futures",
    type=click.IntRange(10, 1000),
    default=30,
    show_default=True,
    help="Futures counted for the odds of each answer; a user's own counts 100.",
)
@click.option(
    "--workers", type=click.IntRange(1, 256), help="Processes at once.  [default: all cores]"
)
@click.option(
    "--pictures",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Also write the ten worst seasons there: stories.md, with a picture (SVG) of each.",
)
@lang_option
@format_option("table", "json")
def command(
    *,
    paths: tuple[Path, ...],
    site_file: Path | None,
    offline: bool,
    seasons: int | None,
    others_every: int,
    only: tuple[PurposeName, ...],
    forecasts: Path | None,
    prices: Path | None,
    every_morning: bool,
    futures: int,
    workers: int | None,
    pictures: Path | None,
    format_: str,
) -> None:
    """Live past seasons by the advice, and score them against rules and hindsight.

    PATHs are daily records: files that name their place (USCRN daily01 and the like), folders of
    them, or a CSV list of stations as for windowcast compare. A season takes some seconds. --lang
    is the language of the stories.

    With --site, someone keeps mature hybrid bermudagrass that is not overseeded at your site, and
    sprays in the hours and on the weekdays of your site file.
    """
    from windowcast.verify.advice import Replay, verify_advice
    from windowcast.verify.issued import read_folder

    asked: dict[str, Any] = {
        "every_morning": every_morning, "futures": futures, "purposes": only or PURPOSES,
    }  # fmt: skip
    asked["costs"], money = ({}, "") if prices is None else costs_of(prices)
    asked["issued"] = () if forecasts is None else read_folder(forecasts)
    if bool(paths) == (site_file is not None):
        raise InputError(
            "both PATHs and --site are given" if paths else "no PATH is given, and no site",
            field="--site",
            remedy="give daily records, or --site SITE.toml",
        )
    folder = None if pictures is None else made_folder(pictures)  # before the long part
    worst: list[Regret] = []
    on_worst = None if folder is None else worst.extend
    if site_file is not None:
        start = Start(site_file, sample=False, files=(), date=None, offline=offline)
        result = seasons_lived(start, seasons, asked, on_worst)
    else:
        with TemporaryDirectory() as work:
            replays = [
                Replay(
                    name,
                    partial(read_station, station),
                    seasons=seasons or SEASONS,
                    others_every=others_every,
                    **asked,
                )
                for name, station in by_name(stations_of(paths, Path(work))).items()
            ]
            result = verify_advice(replays, processes=workers, on_station=_told, on_worst=on_worst)
    result["money"] = money
    if format_ == "json":
        print_json(result)
    else:
        from windowcast.cli.verify_advice_table import advice_table

        click.echo(advice_table(result, table_width()))
    if folder is not None:
        write_stories(folder, worst)


def write_stories(folder: Path, worst: Sequence[Regret]) -> None:
    """Seasons as ``stories.md`` with a picture each; those that lost nothing are left out."""
    from windowcast.report.advice_story import FILE, stories, stories_text

    voice = voice_in("metric")
    found = stories([regret for regret in worst if regret.lost > 0], voice)
    for one in found:
        write_atomic(folder / one.file, one.svg)
    write_atomic(folder / FILE, stories_text(found, voice))


def seasons_lived(
    start: Start,
    seasons: int | None,
    asked: dict[str, Any],
    on_worst: Callable[[Sequence[Regret]], object] | None,
) -> dict[str, Any]:
    """The seasons of a site; what came of all its applications together is kept.

    Raises
    ------
    InputError
        Seasons cannot be played on the site's ground or by its record.
    """
    from windowcast.sources.cache import Cache
    from windowcast.verify.advice import verify_advice
    from windowcast.verify.advice_here import replay_at
    from windowcast.verify.advice_kept import keep, kept, summary

    site, weather = start.load()
    replay = replay_at(site, weather, seasons=seasons, **asked)
    with at_work():
        result = verify_advice([replay], processes=1, on_worst=on_worst)
    if set(asked["purposes"]) == set(PURPOSES):
        found = summary(result, irrigated=bool(site.turf.irrigated))
        with Cache() as cache:
            before = kept(cache, site)
            if before is None or found.seasons >= before.seasons:  # a quick try replaces nothing
                keep(cache, site, found)
    return result


def costs_of(path: Path) -> tuple[dict[str, float], str]:
    """Active ingredient → cost of its product by a label file [money per hectare], and the money.

    Raises
    ------
    InputError
        One that the followers use has no product with rate and price, or they differ in money.
    """
    from windowcast.materials.actives import load_actives
    from windowcast.materials.products import load_products
    from windowcast.programme.candidates import cost_of
    from windowcast.verify.followers import TANKS

    known = load_actives(path)
    products = tuple(load_products(path, known).values())
    found = {name: cost_of([known[name]], products) for name in dict.fromkeys(TANKS.values())}
    missing = [name for name, cost in found.items() if not cost]
    if missing:
        raise InputError(
            f"no product of {', '.join(missing)} has a rate and a price",
            path=path,
            field="products",
            remedy="give each a rate and a price, or leave --prices out",
        )
    money = {cost["money"] for cost in found.values()}
    if len(money) > 1:
        raise InputError(
            f"prices are in {' and '.join(sorted(money))}",
            path=path,
            field="products",
            remedy="write all prices in one money",
        )
    return {name: cost["cost_per_ha"] for name, cost in found.items()}, money.pop()


def stations_of(paths: tuple[Path, ...], work: Path) -> list[Station]:
    """The stations of files, folders and lists; `work` is a folder for bulk files sorted anew.

    Raises
    ------
    InputError
        A path is missing or holds no station, or one says no place.
    """
    from windowcast.region.stations import find_stations

    return [one for path in paths for one in find_stations(path, work).stations]


def by_name(stations: Sequence[Station]) -> dict[str, Station]:
    """Stations by what tables call them: their name, with their id where several have it.

    Raises
    ------
    InputError
        One is given twice.
    """
    names = Counter(station.name or station.id for station in stations)
    found: dict[str, Station] = {}
    for station in stations:
        name = station.name or station.id
        name = name if names[name] == 1 or name == station.id else f"{name} ({station.id})"
        if name in found:
            raise InputError(
                f"{name} is given twice", path=station.path, remedy="give each station once"
            )
        found[name] = station
    return found


def read_station(station: Station) -> Record:
    """A station's record where its list or its file says that it stands."""
    from windowcast.core.record import Place
    from windowcast.sources.files import placed, read_weather

    if math.isnan(station.latitude_deg):
        return read_weather(station.path)
    height = None if math.isnan(station.elevation_m) else station.elevation_m
    place = Place(station.name or station.id, station.latitude_deg, station.longitude_deg, height)
    return placed(read_weather(station.path, place=place), place)


def _told(name: str, done: int, of: int) -> None:
    """Which station is done, where somebody looks."""
    if sys.stderr.isatty():
        click.echo(f"{done} of {of}: {name}", err=True)
