"""A station of a comparison on a page of its own: its normals in words, its winters, its trends."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, Quantity, say, sentences
from windowcast.core.record import FloatArray
from windowcast.core.values import Table, load
from windowcast.region.columns import (
    LOST_COLUMNS,
    QUANTITIES,
    REASONS,
    WHOLE_WEEKS,
    day_of_season,
)
from windowcast.region.columns import SPRAY_DAYS as WEEKLY_SPRAY_DAYS
from windowcast.region.compare import Compared
from windowcast.region.failing import failed, main_reason
from windowcast.region.regional import Estimate
from windowcast.region.statistics import Normals
from windowcast.region.tables import batches, numbers, read
from windowcast.report.catalogue import Voice
from windowcast.report.page import page_of, region_style
from windowcast.report.region_charts import listed_of, spread_said, trend_said
from windowcast.report.region_findings import SPRAY_DAYS, Findings, shows, turned
from windowcast.report.region_ribbons import Strip, shades_said, strip, winter_of
from windowcast.report.region_words import (
    by_reason,
    quantity_named,
    quantity_said,
    season_named,
    unparted,
    why_said,
)

FOLDER = "stations"
SAID = ("soil_21", "poaan_50", "dormant", "greenup", "barrier_fall")  # in words, in this order
_BREAK = ("break_season", "break_size", "break_of", "neighbours")
_LONGEST = 48  # letters of a file's name
_OTHERWISE = re.compile(r"[^A-Za-z0-9_]+")
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)$", re.IGNORECASE)


def links(data: Compared) -> dict[int, str]:
    """Where the page of each listed station is, by its number: beside the comparison's page."""
    listed = listed_of(data)
    taken: set[str] = set()
    found = {}
    for i, station in zip(listed, data.texts("station", listed), strict=True):
        name = file_name(station, taken)
        taken.add(name.casefold())
        found[i] = str(PurePosixPath(FOLDER, f"{name}.html"))
    return found


def file_name(station: str, taken: set[str]) -> str:
    """A file name on any system, without its ending: the station's id where that is one.

    Other ids, and those of a name that is taken whatever its case, get letters of their hash.
    """
    plain = _OTHERWISE.sub("-", station).strip("-")[:_LONGEST]
    fits = plain and plain == station and not _RESERVED.match(plain)
    if fits and plain.casefold() not in taken:
        return plain
    digest = hashlib.sha256(station.encode("utf-8", "surrogatepass")).hexdigest()
    return f"{plain}-{digest[:10]}".lstrip("-")


@dataclass(frozen=True)
class Winters:
    """Seasons of one station, lists by season.

    Attributes
    ----------
    seasons
        First years.
    days
        Spray days, ``[week]``.
    safe, lost
        Days on which turf was fully dormant, and how many of them each of `columns.REASONS` took.
    """

    seasons: list[int]
    days: list[FloatArray]
    safe: list[float]
    lost: list[FloatArray]

    def failing(self, marks: Table) -> dict[int, str]:
        """Why a season failed, by its first year; `marks` as in `region.failing`."""
        fails = failed(np.array(self.days, np.float32), marks.number("days_a_week"))
        found = {}
        for n in np.flatnonzero(fails == 1).tolist():
            reason = main_reason(self.lost[n][:, None], np.array([self.safe[n]]), marks)
            found[self.seasons[n]] = reason
        return found


def winters_of(data: Compared) -> dict[str, Winters]:
    """Every listed station's seasons, by its id."""
    listed = set(data.texts("station", listed_of(data)))
    found: dict[str, Winters] = {station: Winters([], [], [], []) for station in listed}
    lost_columns = [LOST_COLUMNS[reason] for reason in REASONS]
    needed = ["station", "season", WEEKLY_SPRAY_DAYS, SPRAY_DAYS, *lost_columns]
    for every in batches(data.season_file, needed):
        batch = every.filter(every["season"].is_valid())  # a station left out has no weeks
        weeks = batch[WEEKLY_SPRAY_DAYS].flatten().to_numpy(zero_copy_only=False)
        weeks = weeks.reshape(len(batch), -1)[:, :WHOLE_WEEKS].astype(np.float64)
        names, seasons = batch["station"].to_pylist(), numbers(batch, "season")
        lost = np.stack([numbers(batch, name) for name in lost_columns])
        safe = numbers(batch, SPRAY_DAYS) + lost.sum(axis=0)
        for n, name in enumerate(names):
            if name in found:
                own = found[name]
                own.seasons.append(int(seasons[n]))
                own.days.append(weeks[n].copy())  # not a view, which would keep the batch
                own.safe.append(float(safe[n]))
                own.lost.append(lost[:, n].copy())
    return found


@dataclass(frozen=True)
class _Stations:
    """What is known of the stations that have a page, in their order."""

    data: Compared
    normals: Mapping[str, Normals]
    q: Mapping[str, FloatArray]  # q values of trends, by quantity; none where none are controlled
    breaks: Mapping[str, list[Any]]

    def trend_q(self, quantity: str, n: int) -> float:
        """The q value of a station's trend; NaN without."""
        return float(self.q[quantity][n]) if quantity in self.q else math.nan


def _station_page(every: _Stations, n: int, i: int, winters: Winters, voice: Voice) -> str:
    """The page of a station, the n-th of those with a page, which is number i of all."""
    data, normals = every.data, every.normals
    name, region = (data.texts(column, [i])[0] for column in ("name", "region"))
    southern = bool(data.southern[i])
    days = np.array(winters.days).reshape(-1, WHOLE_WEEKS)
    seasons = np.array(winters.seasons, dtype=np.int64)
    picture, failing = None, {}
    if np.isfinite(days).any():
        winter = winter_of([np.nanmean(days, axis=0)], southern=southern)
        failing = winters.failing(load("region").table("failing"))
        said = {season: why_said(reason) for season, reason in failing.items()}
        shown = Strip("winters", name, 0, seasons, None, days, said)
        picture = strip(shown, winter, voice)
    rows = [
        (
            voice.text(quantity_named(quantity)),
            quantity_said(found.median[n], quantity, voice, southern=southern),
            spread_said(found, n, quantity, voice, southern=southern),
            trend_said(found, n, quantity, voice),
        )
        for quantity, found in normals.items()
    ]
    return page_of("compare_station.html", voice,
        name=name,
        sub=_sub(data, i, region, seasons, voice),
        lines=[unparted(voice.text(line)) for line in _lines(every, n, southern=southern)],
        flag=_flag(every, n, voice, southern=southern),
        picture=picture,
        failed=_failed(failing, voice, southern=southern),
        shades=shades_said(voice),
        heads=[voice.say(f"region_head.{head}") for head in ("what", "median", "spread", "trend")],
        rows=rows,
        style=region_style(),
    )  # fmt: skip


def _sub(data: Compared, i: int, region: str, seasons: npt.NDArray[np.int64], voice: Voice) -> str:
    """Where it stands and how long its record is."""
    lat, lon = float(data.latitude_deg[i]), float(data.longitude_deg[i])
    where = [f"{abs(lat):.2f}° {'NS'[lat < 0]}", f"{abs(lon):.2f}° {'EW'[lon < 0]}"]
    height = numbers(data.stations, "elevation")[i]
    if math.isfinite(height):
        where.append(voice.write(Quantity(float(height), "m", "elevation")))
    span = voice.say("region_station.seasons", seasons=len(seasons))
    return " · ".join(part for part in (region, *where, span) if part)


def _failed(failing: Mapping[int, str], voice: Voice, *, southern: bool) -> str:
    """The winters that failed, in words; "" where none did."""
    if not failing:
        return ""
    which = by_reason(failing, southern=southern, most=len(failing))
    return voice.say("region_story.strip_failed", which=which)


def _flag(every: _Stations, n: int, voice: Voice, *, southern: bool) -> str:
    """A break of its record against its neighbours; "" without."""
    season, size, of, around = (every.breaks[name][n] for name in _BREAK)
    if season is None:
        return ""
    return voice.say(
        f"region_station.broken_{of}",
        season=season_named(season, southern=southern),
        size=Quantity(size, "K"),
        neighbours=around,
    )


def _lines(every: _Stations, i: int, *, southern: bool) -> Iterator[Phrase]:
    """Its usual dates in words, and whether they have moved."""
    normals = every.normals
    yield _spray_days(normals[SPRAY_DAYS], i)
    for quantity in SAID:
        found = normals[quantity]
        days = [float(each[i]) for each in (found.median, found.p10, found.p90)]
        named, often = quantity_named(quantity), 10 * float(found.happens[i])
        if math.isfinite(days[0]) and not all(map(math.isfinite, days)):
            day = day_of_season(round(days[0]), southern=southern)
            yield say("region_station.not_always", what=named, day=day, count=round(often))
            continue
        if math.isinf(days[0]):
            count = round(often)
            if count:
                yield say("region_station.seldom", what=named, count=count)
            else:
                yield say("region_station.hardly_ever", what=named)
            continue
        if not math.isfinite(days[0]):
            yield say("region_station.unknown", what=named)
            continue
        middle, low, high = (day_of_season(round(day), southern=southern) for day in days)
        usual = say("region_station.usual", what=named, day=middle, low=low, high=high)
        yield sentences(usual, _trend(found, i, every.trend_q(quantity, i)))


def _spray_days(found: Normals, i: int) -> Phrase:
    """How many spray days its winters have."""
    middle, low, high = (float(each[i]) for each in (found.median, found.p10, found.p90))
    if not math.isfinite(middle):
        return say("region_story.average_unknown")
    if not round(high):
        return say("region_station.never_spray_days")
    if not round(middle):
        return say("region_station.no_spray_days", days=round(high))
    days = say("region_story.spray_days", days=round(middle))
    return say("region_station.spray_days", count=days, low=round(low), high=round(high))


def _trend(found: Normals, i: int, q: float) -> Phrase:
    """Whether it has moved, by how much."""
    ends = (found.trend_per_decade, found.trend_low, found.trend_high)
    trend = Estimate(*(float(each[i]) for each in ends))
    if not (math.isfinite(trend.middle) and shows(trend, q)):
        return say("region_station.no_trend")
    way = "later" if trend.middle > 0 else "earlier"
    if trend.middle < 0:
        trend = turned(trend)
    days = say("region_story.days", days=round(trend.middle))
    low, high = round(trend.low), round(trend.high)
    return say(f"region_station.moved_{way}", days=days, low=low, high=high)


def station_pages(findings: Findings, data: Compared, voice: Voice) -> Iterator[tuple[str, str]]:
    """Address beside the comparison's page and text of every listed station's page."""
    voice = voice.on_page
    found = links(data)
    listed = list(found)
    flags = read(data.station_file, list(_BREAK)).take(listed)
    every = _Stations(
        data,
        {quantity: _some(data.normals(quantity), listed) for quantity in QUANTITIES},
        {quantity: q[listed] for quantity, q in findings.regional.station_q.items()},
        {name: flags[name].to_pylist() for name in _BREAK},
    )
    winters, ids = winters_of(data), data.texts("station", listed)
    for n, (station, (i, address)) in enumerate(zip(ids, found.items(), strict=True)):
        yield address, _station_page(every, n, i, winters[station], voice)


def _some(found: Normals, stations: list[int]) -> Normals:
    """Normals of some stations."""
    return Normals(*(getattr(found, field.name)[stations] for field in fields(found)))
