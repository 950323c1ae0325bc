"""Answers for a site on a day: the ranking of windows, the season plan, and what a phrase says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from windowcast.api.ground import answers_by_ground, moment
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.api.inputs import Date, Pathlike, SiteLike, WeatherLike
    from windowcast.core.phrase import Phrase
    from windowcast.core.units import System
    from windowcast.materials.actives import Formulation
    from windowcast.programme.answer import Answer
    from windowcast.programme.model import SeasonPlan
    from windowcast.sources.source import Progress
    from windowcast.windows.model import PurposeName, Ranking


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
    (one,) = answers_by_ground(
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
        answers_by_ground(
            site, weather, date=date, purposes=purposes, days=days, actives=actives,
            formulation=formulation, futures=futures, log=log, materials=materials,
            values=values, offline=offline, progress=progress, area=area, single=False,
        )
    )  # fmt: skip


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
        found.running,
        found.weather,
        barriers=found.barriers,
        looks=found.looks,
        jobs=found.jobs,
        decided={o.purpose: o.decision for o in found.ranking.purposes if o.decision},
        areas=found.areas,
        resistance=found.resistance,
        now=moment(found.site, found.weather),
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
