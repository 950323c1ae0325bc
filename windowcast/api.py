"""The public Python interface: what the command line answers, as functions.

Each function takes a site (a `Site`, the path of a site file, or its contents as a dict) and
weather (the path of a file, a `Record`, a pandas DataFrame, several of these in order of
preference, or a finished `Weather`). Without weather it is found as the command line finds it:
in the files that the site names, in the station archive and in the forecast.

``import windowcast`` loads none of this; ``windowcast.rank`` does, at its first use.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from windowcast.core import site as sites
from windowcast.core.errors import InputError
from windowcast.core.extras import require
from windowcast.core.record import Place, Record, Weather
from windowcast.core.site import Site, file_beside, log_beside
from windowcast.core.values import PACKAGED, Tables
from windowcast.sources import files
from windowcast.weather.load import RECENT_HOURS_DAYS
from windowcast.weather.load import load_weather as weather_found

Pathlike = str | PathLike[str]
SiteLike = Site | Mapping[str, Any] | Pathlike
Date = dt.date | str
ANSWERED_BY = (  # tables of data/ that an answer goes by
    "barrier", "criteria", "ensemble", "hourly", "limits", "plan", "purposes", "rotation", "soil",
    "turf", "weeds",
)  # fmt: skip

if TYPE_CHECKING:
    import pandas as pd

    from windowcast.core.phrase import Phrase
    from windowcast.core.units import System
    from windowcast.materials.actives import Actives, Formulation
    from windowcast.physics.soil import SoilResult
    from windowcast.physics.soil_site import SiteCorrection
    from windowcast.programme.answer import Answer
    from windowcast.programme.model import SeasonPlan
    from windowcast.records.areas import Piece
    from windowcast.region.compare import Compared
    from windowcast.region.stations import StationList
    from windowcast.season.observed import Observed
    from windowcast.sources.columns import FileUnits
    from windowcast.sources.source import Progress
    from windowcast.windows.model import PurposeName, Ranking

    OneWeather = Record | pd.DataFrame | Pathlike
    WeatherLike = Weather | OneWeather | list[OneWeather] | tuple[OneWeather, ...]


def load_site(source: SiteLike) -> Site:
    """Read and check a site.

    Parameters
    ----------
    source
        The path of a site file (TOML); the same as a dict; or a `Site`, which is given back.

    Returns
    -------
    Site
        Immutable; `Site.model_copy` changes a part of it.

    Raises
    ------
    InputError
        The file is missing or not TOML, or a key is unknown or out of range; names file, line, key,
        value, what is allowed and what to do.

    Notes
    -----
    ``windowcast init`` writes a site file in which every key is explained.

    Examples
    --------
    >>> import windowcast
    >>> site = windowcast.load_site(
    ...     {"name": "Practice field", "latitude": 33.5, "longitude": -86.8, "elevation_m": 190.0}
    ... )
    >>> site.timezone, str(site.turf.species)
    ('America/Chicago', 'hybrid bermudagrass')
    """
    if isinstance(source, Site):
        return source
    if isinstance(source, Mapping):
        return sites.site_from(dict(source), today=dt.date.today())  # noqa: DTZ011 - a slip, not a clock
    return sites.load_site(source)


def read_weather(
    source: Record | pd.DataFrame | Pathlike,
    *,
    place: Place | None = None,
    units: FileUnits | None = None,
) -> Record:
    """Read weather from a file or a table, without the checks of quality.

    Parameters
    ----------
    source
        The path of a file of any known layout, plain or gzip (``docs/weather_csv.md``), if need be
        followed by ``:units=us`` and the like; or a DataFrame whose index holds dates (daily) or
        times with a zone (hourly) and whose columns are named as in such a file.
    place
        Where the record belongs: replaces what a file says. A DataFrame says nothing, and counts as
        measured there.
    units
        Unit system of the columns of a DataFrame whose name says no unit.

    Returns
    -------
    Record
        Daily or hourly, in SI units, on a complete time axis; missing values are NaN.

    Raises
    ------
    InputError
        It cannot be read without a guess; names file, row, field and remedy.

    References
    ----------
    NOAA NCEI, *GHCN-Daily* ``readme.txt``; NOAA NCEI, *USCRN daily01* ``readme.txt``.

    Examples
    --------
    >>> import pandas as pd
    >>> import windowcast
    >>> days = pd.date_range("2024-10-01", periods=3)
    >>> frame = pd.DataFrame({"tmax_f": [77.0, 86.0, None], "tmin_f": [59.0, 59.0, 50.0]}, days)
    >>> windowcast.read_weather(frame).get("tmax_c").round(1)
    array([25., 30., nan])
    """
    if isinstance(source, Record):
        return source if place is None else files.placed(source, place)
    if isinstance(source, str | PathLike):
        return files.read_weather(source, place=place)
    from windowcast.sources.frames import record_of_frame

    nowhere = Place("DataFrame", float("nan"), float("nan"))
    record = record_of_frame(source, place or nowhere, units=units)
    return record if place is None else files.measured_at(record, place)


def load_weather(
    site: SiteLike,
    weather: WeatherLike | None = None,
    *,
    date: Date | None = None,
    offline: bool = False,
    hours_days: int = RECENT_HOURS_DAYS,
    progress: Progress | None = None,
    deadline_s: float | None = None,
) -> Weather:
    """All the weather an answer rests on: checked, gaps filled, on one axis.

    Parameters
    ----------
    site
        The site; where no weather is given, the files it names are read.
    weather
        What is known, in order of preference. Where it reaches to yesterday, nothing of the past is
        fetched; a forecast is fetched for today only.
    date
        Date of the answer, ``"YYYY-MM-DD"`` or a date; by default today on the site's clock.
    offline
        Use only what is given and what is cached.
    hours_days
        Days before the date for which hours are kept.
    progress
        Called with what is fetched, how much is done and how much there is.
    deadline_s
        Seconds in which all sources must have answered; ``WINDOWCAST_DEADLINE`` or 30 by default.

    Returns
    -------
    Weather
        `daily` and, where there are any, `hourly` values, each with its grade and origin.

    Raises
    ------
    InputError
        Some weather cannot be read, there is no temperature in any of it, or the date is none.
    SourceUnreachableError
        Nothing is given, and no source could be reached.

    Examples
    --------
    >>> import windowcast
    >>> weather = windowcast.sample_weather()
    >>> str(weather.today), float(weather.daily.to_pandas()["tmax_c"].loc["2018-01-17"])
    ('2018-01-18', 1.4)
    """
    site, today = load_site(site), _date(date)
    if isinstance(weather, Weather):
        if today not in (None, weather.today):
            raise InputError(
                f"the weather given is of {weather.today}", field="date",
                remedy="leave date out, or give the files themselves",
            )  # fmt: skip
        return weather
    given: list[OneWeather] = []
    if weather is not None:
        given = [*weather] if isinstance(weather, list | tuple) else [weather]
    return weather_found(
        site,
        files=[
            fspath(one) if isinstance(one, str | PathLike) else _at_site(one, site.place)
            for one in given
        ],
        today=today,
        offline=offline,
        hours_days=hours_days,
        progress=progress,
        deadline_s=deadline_s,
    )


def _at_site(weather: Record | pd.DataFrame, place: Place) -> Record:
    """Weather handed over as such, at the site; a DataFrame does not say where it was measured."""
    if isinstance(weather, Record):
        return files.placed(weather, place)
    nowhere = replace(place, latitude_deg=math.nan, longitude_deg=math.nan, elevation_m=None)
    return files.placed(read_weather(weather, place=nowhere), place)


def answer(
    site: SiteLike,
    weather: WeatherLike | None = None,
    *,
    date: Date | None = None,
    purposes: Sequence[PurposeName] | None = None,
    days: int = 10,
    actives: str = "",
    formulation: Formulation | None = None,
    futures: int = 100,
    log: Pathlike | None = None,
    materials: Pathlike | None = None,
    values: Mapping[str, Any] | None = None,
    offline: bool = False,
    progress: Progress | None = None,
    area: str = "",
) -> Answer:
    """The whole answer: the ranking, and the weather, futures and states it rests on.

    Parameters
    ----------
    site, weather, date, offline, progress
        As of `load_weather`.
    purposes
        Only these: ``"pre-fall"``, ``"post-early"``, ``"dormant"``, ``"pre-spring"``.
    days
        Days from the date that are ranked.
    actives
        Score for this active ingredient or mixture, ``"NAME[+NAME]"``, by ISO common name.
    formulation
        ``"spray"`` or ``"granule"``: some turf takes one and not the other. None: as a spray.
    futures
        How many futures the odds are counted over.
    log
        The season log; by default the one beside the site file, when a path is given.
    materials
        The file with the numbers of your labels; by default the one that the site file names.
    values
        Science values in place of the packaged ones, to see what an answer owes to them: by table
        of ``data/`` and path, such as ``{"turf.safety.margin": 21.0}``, in the table's unit. The
        ranking's cautions and trace name them.
    area
        For a site of several areas, which of them; `answers` answers for all.

    Returns
    -------
    Answer
        `ranking` (see `rank`), `weather`, `members` (the futures), `past` and `ahead` (soil, degree
        days, emergence and turf day by day, `SiteState`).

    Raises
    ------
    InputError
        Something given cannot be used; one line says what, where, and what to do.
    SourceUnreachableError
        The weather cannot be reached and nothing usable is cached.

    Examples
    --------
    Share of the season's annual bluegrass that is up on the day of the sample:

    >>> import windowcast
    >>> found = windowcast.answer(windowcast.sample_site(), windowcast.sample_weather())
    >>> 0.5 < float(found.past.emergence["POAAN"].share[-1]) <= 1.0
    True
    """
    (one,) = _answers(
        site, weather, date=date, purposes=purposes, days=days, actives=actives,
        formulation=formulation, futures=futures, log=log, materials=materials, values=values,
        offline=offline, progress=progress, area=area, single=True,
    )  # fmt: skip
    return one


def answers(
    site: SiteLike,
    weather: WeatherLike | None = None,
    *,
    date: Date | None = None,
    purposes: Sequence[PurposeName] | None = None,
    days: int = 10,
    actives: str = "",
    formulation: Formulation | None = None,
    futures: int = 100,
    log: Pathlike | None = None,
    materials: Pathlike | None = None,
    values: Mapping[str, Any] | None = None,
    offline: bool = False,
    progress: Progress | None = None,
    area: str = "",
) -> tuple[Answer, ...]:
    """An answer for every piece of the site's ground: areas that are alike share one.

    Parameters
    ----------
    site, weather, date, purposes, days, actives, formulation, futures, log, materials, values,
    offline, progress
        As of `answer`.
    area
        Only this area; "" for all.

    Returns
    -------
    tuple of Answer
        Each names its `areas`; a site without areas has one answer, which names none.

    Raises
    ------
    InputError, SourceUnreachableError
        As of `answer`.

    Examples
    --------
    >>> import windowcast
    >>> field = {"name": "Park", "latitude": 33.5, "longitude": -86.8, "elevation_m": 190.0}
    >>> field["area"] = [{"name": "field 1"}, {"name": "field 2"}, {"name": "sod", "thin": True}]
    >>> found = windowcast.answers(field, windowcast.sample_weather(), days=2)
    >>> [one.areas for one in found]
    [('field 1', 'field 2'), ('sod',)]
    """
    return tuple(
        _answers(
            site, weather, date=date, purposes=purposes, days=days, actives=actives,
            formulation=formulation, futures=futures, log=log, materials=materials,
            values=values, offline=offline, progress=progress, area=area, single=False,
        )
    )  # fmt: skip


def _answers(
    site: SiteLike,
    weather: WeatherLike | None,
    *,
    date: Date | None,
    log: Pathlike | None,
    materials: Pathlike | None,
    values: Mapping[str, Any] | None,
    offline: bool,
    progress: Progress | None,
    actives: str,
    area: str,
    single: bool,
    **asked: Any,
) -> Iterator[Answer]:
    """The answers for each piece of ground; with `single` there may only be one."""
    from windowcast.materials.actives import load_actives
    from windowcast.materials.products import load_products
    from windowcast.programme.answer import answer as answered
    from windowcast.records.areas import pieces
    from windowcast.season.soil_kept import KeptSoil
    from windowcast.sources.cache import Cache

    tables = _tables(values or {})
    site_file = Path(site) if isinstance(site, str | PathLike) else None
    site = load_site(site)
    if single and site.area and not area:
        raise InputError(
            "the site has several areas", field="area",
            remedy=f"name one ({', '.join(one.name for one in site.area)}) or ask for all answers",
        )  # fmt: skip
    log_file = Path(log) if log is not None else site_file and log_beside(site, site_file)
    found = load_weather(site, weather, date=date, offline=offline, progress=progress)
    logged = None
    if log_file is not None and log_file.is_file():
        from windowcast.records.observations import Logged

        logged = Logged.read(log_file, until=found.today, zone=site.zone)
    own = materials or file_beside(site_file, site.materials_file)
    known = load_actives(own)
    known.at_hand(site.stock, site_file)  # an error then names the site file
    with Cache() as cache:
        for piece in pieces(site, logged, area):
            seen = None
            if piece.logged is not None:
                from windowcast.records.observations import observed

                seen = observed(piece.logged, known, southern=site.place.southern)
            if piece.logged is not None or piece.site.resistance:
                seen = _with_resistance(seen, piece, found, known, own=own, tables=tables)
            one = answered(
                piece.site,
                found,
                actives=actives,
                materials=known,
                observed=seen,
                now=_now(site, found),
                areas=piece.areas,
                products=tuple(load_products(own, known).values()) if own is not None else (),
                tables=tables,
                soil_model=KeptSoil(cache),
                **asked,
            )
            yield _beside_overseeded(one, site)


def _with_resistance(
    seen: Observed | None,
    piece: Piece,
    weather: Weather,
    materials: Actives,
    *,
    own: Pathlike | None,
    tables: Tables,
) -> Observed:
    """What is known of a piece of ground, with what is known of resistance there."""
    from dataclasses import replace

    from windowcast.records.ledger import label_rates
    from windowcast.records.resistance import resistance_of
    from windowcast.season.observed import Observed

    known = resistance_of(
        piece.site, piece.logged, materials, today=weather.today, daily=weather.daily,
        label_kg_ha=label_rates(own, materials), tables=tables,
    )  # fmt: skip
    return replace(seen or Observed(), resistance=known)


def _beside_overseeded(answer: Answer, site: Site) -> Answer:
    """The answer with a caution where other areas of the site are overseeded."""
    from dataclasses import replace

    from windowcast.core.phrase import names, say
    from windowcast.limits.ground import ground_of

    sown = [a.name for a in site.area if ground_of(site.of_area(a)).overseeded]
    if not sown or set(sown) & set(answer.areas):
        return answer
    caution = say("caution.overseeded_near", areas=names(*sown))
    ranking = replace(answer.ranking, cautions=(caution, *answer.ranking.cautions))
    return replace(answer, ranking=ranking)


def _tables(values: Mapping[str, Any]) -> Tables:
    """The packaged tables with some values others; a path or kind that does not fit is refused."""
    for path, value in values.items():
        name, _, inside = path.partition(".")
        try:
            if name not in ANSWERED_BY:
                raise KeyError(name)
            usual = PACKAGED[name].value(inside).value
        except KeyError:
            raise InputError(
                f"{path} is no science value of an answer", field="values",
                remedy=f"take a path from `explain`, in {', '.join(ANSWERED_BY)}",
            ) from None  # fmt: skip
        if not _alike(value, usual):
            raise InputError(
                f"{path} cannot be {value!r}", field="values",
                remedy=f"give one of the kind of {usual!r}",
            )  # fmt: skip
    return PACKAGED.varied(values) if values else PACKAGED


def _alike(value: Any, usual: Any) -> bool:
    """Whether a value is of the kind of the packaged one: a finite number, text, or a list."""
    if isinstance(usual, list):
        same = isinstance(value, list) and len(value) == len(usual)
        return same and all(map(_alike, value, usual))
    if isinstance(usual, bool | str):
        return type(value) is type(usual)
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def rank(
    site: SiteLike,
    weather: WeatherLike | None = None,
    *,
    date: Date | None = None,
    purposes: Sequence[PurposeName] | None = None,
    days: int = 10,
    actives: str = "",
    formulation: Formulation | None = None,
    futures: int = 100,
    log: Pathlike | None = None,
    materials: Pathlike | None = None,
    values: Mapping[str, Any] | None = None,
    offline: bool = False,
    area: str = "",
) -> Ranking:
    """Rank the coming application windows of a site: ``windowcast rank``.

    Parameters
    ----------
    site, weather, date, purposes, days, actives, formulation, futures, log, materials, values,
    offline, area
        As of `answer`.

    Returns
    -------
    Ranking
        For each purpose whether it is in season, and its windows, best first, with score, odds and
        what limits them. `Ranking.to_pandas` makes a table of them; ``data/schema/`` describes it
        as JSON.

    Raises
    ------
    InputError, SourceUnreachableError
        As of `answer`.

    Notes
    -----
    The score of an hour is the product of its criteria, each 0 to 1: a no cannot be outweighed. A
    criterion that lacks its input makes the window "cannot tell", never fit. The odds of a window
    are the share of the futures in which its hours hold.

    References
    ----------
    Each criterion's source is in ``data/criteria.toml``; `Ranking.explain` lists those used.
    Wilson (1927), *J. Am. Stat. Assoc.* 22:209-212, for the interval of the odds.

    Examples
    --------
    >>> import windowcast
    >>> ranking = windowcast.rank(windowcast.sample_site(), windowcast.sample_weather(), days=5)
    >>> [outlook.purpose for outlook in ranking.purposes]
    ['pre-fall', 'post-early', 'dormant', 'pre-spring']
    >>> list(ranking.to_pandas().columns[:4])
    ['purpose', 'rank', 'verdict', 'start']
    """
    return answer(
        site, weather, date=date, purposes=purposes, days=days, actives=actives,
        formulation=formulation, futures=futures, log=log, materials=materials, values=values,
        offline=offline, area=area,
    ).ranking  # fmt: skip


def season_plan(
    site: SiteLike,
    weather: WeatherLike | None = None,
    *,
    date: Date | None = None,
    actives: str = "",
    futures: int = 100,
    log: Pathlike | None = None,
    materials: Pathlike | None = None,
    values: Mapping[str, Any] | None = None,
    offline: bool = False,
    area: str = "",
) -> SeasonPlan:
    """Where the season stands, its key dates and the plan: ``windowcast season``.

    ``windowcast.season(...)`` is the same: the package of the season's models can be called.

    Parameters
    ----------
    site, weather, date, actives, futures, log, materials, values, offline, area
        As of `answer`.

    Returns
    -------
    SeasonPlan
        Key dates with their 10 to 90 % range, for each purpose its weeks, what waiting costs, and
        what pre-emergents would still catch. `SeasonPlan.to_pandas` makes a table of the dates.

    Raises
    ------
    InputError, SourceUnreachableError
        As of `answer`.

    References
    ----------
    Each date names its own source: `KeyDate.source`.

    Examples
    --------
    >>> import windowcast
    >>> plan = windowcast.season_plan(windowcast.sample_site(), windowcast.sample_weather())
    >>> plan.season, str(plan.to_pandas()["passed"]["POAAN_50"])[:10]
    ('2017/18', '2017-10-23')
    """
    return plan_of(
        answer(
            site, weather, date=date, actives=actives, futures=futures, log=log,
            materials=materials, values=values, offline=offline, area=area,
        )
    )  # fmt: skip


def plan_of(found: Answer) -> SeasonPlan:
    """The season plan that an answer leads to; as `season_plan`, without working it out again."""
    from windowcast.programme.season_plan import season_plan as planned

    return planned(
        found.site,
        found.past,
        found.ahead,
        found.members,
        weather=found.weather,
        barriers=found.barriers,
        looks=found.looks,
        jobs=found.jobs,
        decided={o.purpose: o.decision for o in found.ranking.purposes if o.decision},
        areas=found.areas,
        resistance=found.resistance,
        now=_now(found.site, found.weather),
        tables=found.tables,
    )


def words(phrase: Phrase, *, units: System = "metric", language: str = "en") -> str:
    """What a phrase of an answer says.

    Parameters
    ----------
    phrase
        Advice, reasons and the like: an id with values in SI.
    units
        ``"metric"`` or ``"us"``.
    language
        Two letters, such as ``"en"``.

    Returns
    -------
    str
        A clause, or sentences.

    Raises
    ------
    InputError
        The program does not speak the language.

    Examples
    --------
    >>> import windowcast
    >>> plan = windowcast.season_plan(windowcast.sample_site(), windowcast.sample_weather())
    >>> windowcast.words(plan.key_dates[0].label, units="us")
    'soil at 2 in falls below 70 °F'
    """
    from windowcast.report.catalogue import Voice, languages

    if language not in languages():
        raise InputError(
            f"{language!r} is not a language of this program", field="language",
            remedy=f"use one of: {', '.join(languages())}",
        )  # fmt: skip
    return Voice(units, language).text(phrase)


def compare(
    source: Pathlike | tuple[float, float, float, float],
    out: Pathlike,
    *,
    stations: Pathlike | None = None,
    since: int | None = None,
    until: int | None = None,
    species: str = "hybrid bermudagrass",
    texture: str = "unknown",
    irrigated: bool = False,
    workers: int | None = None,
    chunk: int | None = None,
    scheduler: str | None = None,
    offline: bool = False,
    progress: Progress | None = None,
    deadline_s: float | None = None,
) -> Compared:
    """Compare stations, regions and years: ``windowcast compare``, without its tables and page.

    Parameters
    ----------
    source
        A CSV list of stations; a folder of weather files; a file or folder of GHCN-Daily by year or
        as Parquet; or a box ``(south, west, north, east)`` [degrees] of the open archive.
    out
        Folder for the results. An interrupted run carries on when it is started again.
    stations
        ``ghcnd-stations.txt``, for the places of GHCN-Daily stations.
    since, until
        First and last season, by their first year.
    species, texture, irrigated
        The turf and soil that every station is taken to have.
    workers, chunk, scheduler
        Processes (all cores); stations computed together; address of a Dask cluster instead.
    offline, progress
        As of `load_weather`; offline matters to a box only.
    deadline_s
        Seconds in which the archive must have answered for a box; by default as long as it takes.

    Returns
    -------
    Compared
        Seasons and statistics of each station; `Compared.to_pandas` and `Compared.to_xarray` make
        tables and grids of them.

    Raises
    ------
    InputError
        An extra is missing, nothing is found at the source, or no station can be used.
    SourceUnreachableError
        A box is asked for and the archive cannot be reached.

    Notes
    -----
    The models are those of `answer`, compiled; a station's normals are medians over its seasons.

    References
    ----------
    Sen (1968), *J. Am. Stat. Assoc.* 63:1379-1389, for trends; see ``docs/compare.md``.

    Examples
    --------
    Days from 1 July to half of the annual bluegrass, at the one station of the sample:

    >>> import shutil
    >>> from tempfile import TemporaryDirectory
    >>> import windowcast
    >>> with TemporaryDirectory() as folder:
    ...     _ = shutil.copy(windowcast.sample_folder() / "daily.csv.gz", folder)
    ...     data = windowcast.compare(folder, f"{folder}/out", since=2012, until=2015, workers=1)
    ...     grid = data.to_xarray()
    >>> grid["poaan_50"].values.tolist()
    [[101.0, 110.0, 112.0, 114.0]]
    """
    from windowcast.region import batch, engine
    from windowcast.region.compare import put_together

    require("compare", "region", "numba", "pyarrow", "scipy")
    options = batch.Options(species, texture, irrigated, since, until)
    options.site()  # refuses what no station could be compared with
    folder = Path(out)
    found = _stations(source, folder, stations, offline, progress, deadline_s=deadline_s)
    parts = engine.run(
        found.stations,
        batch.compute,
        options.plain(),
        folder / "parts",
        workers=workers,
        chunk_stations=chunk,
        scheduler=scheduler,
        on_progress=lambda done, total: progress and progress("stations", done, total),
    )
    data = put_together(parts, folder, found.notes)
    if not len(data):
        first = next(iter(data.problems.values()), "no season in the years asked for")
        raise InputError(f"none of {data.unusable} stations can be used; the first: {first}")
    return data


def simulate_soil(
    weather: Weather | Record | pd.DataFrame | Pathlike,
    *,
    latitude_deg: float | None = None,
    texture: str | None = None,
    irrigated: bool = False,
    turf: bool = True,
    depths_m: Sequence[float] = (0.05, 0.10),
    correction: SiteCorrection | None = None,
) -> SoilResult:
    """Soil temperature and moisture below turf or bare ground, day by day.

    Parameters
    ----------
    weather
        Daily or hourly; it is checked and its short gaps are filled.
    latitude_deg
        Degrees north; by default that of the weather's place.
    texture
        USDA texture class; None when it is not known.
    irrigated
        Whether the turf is watered while it grows.
    turf
        False for bare ground.
    depths_m
        Depths from 0 to 3 m.
    correction
        From probe readings (`windowcast.physics.soil_site.fit_site_correction`).

    Returns
    -------
    SoilResult
        `temp_c` ``[time, depth]`` and others; `SoilResult.to_pandas` and `SoilResult.to_xarray`
        make a table and a grid.

    Raises
    ------
    InputError
        The weather cannot be used, its latitude is not known, or the texture is none.
    ValueError
        A depth is out of range.

    Notes
    -----
    See `windowcast.physics.soil.simulate`.

    References
    ----------
    Johansen (1975); Sturm et al. (1997); Allen et al. (1998), FAO-56; ``data/soil.toml`` for the
    fit, ``docs/soil_skill.json`` for its errors on stations kept apart.

    Examples
    --------
    >>> import windowcast
    >>> soil = windowcast.simulate_soil(windowcast.sample_weather(), texture="sandy loam")
    >>> winter = soil.to_pandas().loc["2017-12-01":"2018-01-17"]
    >>> 0.0 < float(winter["soil_10cm_c"].mean()) < 12.0
    True
    """
    from windowcast.physics.soil import SoilSite, simulate
    from windowcast.season.state import soil_forcing

    record = _daily(weather)
    if not -90 <= (record.place.latitude_deg if latitude_deg is None else latitude_deg) <= 90:
        raise InputError(
            "the latitude of the weather is not known", field="latitude_deg",
            remedy="give latitude_deg, in degrees north",
        )  # fmt: skip
    forcing = soil_forcing(record, latitude_deg)
    return simulate(forcing, SoilSite(texture, irrigated, turf, correction), depths_m=depths_m)


def _daily(weather: Weather | Record | pd.DataFrame | Pathlike) -> Record:
    """A checked daily record; of finished weather its days."""
    from windowcast.weather.gaps import filled
    from windowcast.weather.join import hourly_to_daily
    from windowcast.weather.quality import checked

    if isinstance(weather, Weather):
        return weather.daily
    record = checked(read_weather(weather))
    return filled(record if record.daily else hourly_to_daily(record))


def _stations(
    source: Pathlike | tuple[float, float, float, float],
    out: Path,
    places: Pathlike | None,
    offline: bool,
    progress: Progress | None,
    *,
    deadline_s: float | None,
) -> StationList:
    from windowcast.region.stations import box_of, find_stations

    text = ",".join(map(str, source)) if isinstance(source, tuple) else fspath(source)
    box = box_of(text)
    if box is None:
        where = Path(places) if places is not None else None
        return find_stations(text, out / "records", places=where, progress=progress)
    from windowcast.region.box import fetch_box
    from windowcast.sources.cache import Cache
    from windowcast.sources.fetch import Fetcher

    with Cache() as cache:
        return fetch_box(
            box,
            out / "records",
            Fetcher.within(cache, deadline_s or math.inf, offline=offline),
            today=dt.datetime.now(dt.UTC).date(),
            progress=progress,
        )


def _date(date: Date | None) -> dt.date | None:
    if not isinstance(date, str):
        return date
    try:
        return dt.date.fromisoformat(date)
    except ValueError:
        raise InputError(
            f"{date!r} is not a date", field="date", remedy="write it as 2025-11-06"
        ) from None


def _now(site: Site, weather: Weather) -> dt.datetime | None:
    """The present moment, where the answer is about today."""
    now = dt.datetime.now(dt.UTC)
    return now if weather.today == now.astimezone(site.zone).date() else None
