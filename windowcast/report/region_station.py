"""A station of a comparison on a page of its own: its normals in words, its winters, its trends."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, Quantity, say, sentences
from windowcast.core.record import FloatArray
from windowcast.region.columns import QUANTITIES, WHOLE_WEEKS, day_of_season
from windowcast.region.compare import Compared, batches
from windowcast.region.statistics import Normals
from windowcast.region.tables import numbers, season_schema
from windowcast.report.catalogue import Voice
from windowcast.report.page import page_of, region_style
from windowcast.report.region_charts import listed_of, spread_said, trend_said
from windowcast.report.region_ribbons import Strip, shades_said, strip, winter_of
from windowcast.report.region_words import quantity_named, quantity_said

Normal = Mapping[str, Normals]  # of every station, by quantity
FOLDER = "stations"
SAID = ("soil_21", "poaan_50", "dormant", "greenup", "barrier_fall")  # in words, in this order
WEEKS = "spray_days"  # column of the spray days on dormant turf
_LONGEST = 48  # letters of a file's name
_OTHERWISE = re.compile(r"[^A-Za-z0-9_.]+")
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)


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
    plain = _OTHERWISE.sub("-", station).strip("-.")[:_LONGEST]
    if plain == station and plain.casefold() not in taken and not _RESERVED.match(plain):
        return plain
    digest = hashlib.sha256(station.encode("utf-8", "surrogatepass")).hexdigest()
    return f"{plain}-{digest[:10]}".lstrip("-")


@dataclass(frozen=True)
class Winters:
    """Spray days of a station's seasons, ``[season, week]``, by their first years."""

    seasons: list[int]
    days: list[FloatArray]


def winters_of(data: Compared, column: str) -> dict[str, Winters]:
    """Spray days of the weeks of every listed station's seasons, by its id."""
    listed = set(data.texts("station", listed_of(data)))
    found: dict[str, Winters] = {station: Winters([], []) for station in listed}
    if column not in season_schema().names:
        return found
    for every in batches(data.season_file, ["station", "season", column]):
        batch = every.filter(every["season"].is_valid())  # a station left out has no weeks
        weeks = batch[column].flatten().to_numpy(zero_copy_only=False)
        weeks = weeks.reshape(len(batch), -1)[:, :WHOLE_WEEKS].astype(np.float64)
        names, seasons = batch["station"].to_pylist(), numbers(batch, "season")
        for n, (name, season) in enumerate(zip(names, seasons.tolist(), strict=True)):
            if name in found:
                found[name].seasons.append(int(season))
                found[name].days.append(weeks[n])
    return found


def station_page(data: Compared, i: int, winters: Winters, normals: Normal, voice: Voice) -> str:
    """The page of one station, which leads back to the comparison.

    Parameters
    ----------
    i
        Its number among the stations.
    normals
        Of every station, by quantity.
    """
    name, region = (data.texts(column, [i])[0] for column in ("name", "region"))
    southern = bool(data.southern[i])
    days = np.array(winters.days).reshape(-1, WHOLE_WEEKS)
    seasons = np.array(winters.seasons, dtype=np.int64)
    picture = None
    if np.isfinite(days).any():
        winter = winter_of([np.nanmean(days, axis=0)], southern=southern)
        shown = Strip("winters", name, 0, seasons, None, days, {})
        picture = strip(shown, winter, voice)
    rows = [
        (
            voice.text(quantity_named(quantity)),
            quantity_said(found.median[i], quantity, voice, southern=southern),
            spread_said(found, i, quantity, voice, southern=southern),
            trend_said(found, i, quantity, voice),
        )
        for quantity, found in normals.items()
    ]
    return page_of("compare_station.html", voice,
        name=name,
        sub=_sub(data, i, region, seasons, voice),
        lines=[voice.text(line) for line in _lines(normals, i, southern=southern)],
        picture=picture,
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


def _lines(normals: Normal, i: int, *, southern: bool) -> Iterator[Phrase]:
    """Its usual dates in words, and whether they have moved."""
    for quantity in SAID:
        found = normals[quantity]
        days = [float(each[i]) for each in (found.median, found.p10, found.p90)]
        if not all(map(math.isfinite, days)):
            yield say("region_station.unknown", what=quantity_named(quantity))
            continue
        middle, low, high = (day_of_season(round(day), southern=southern) for day in days)
        usual = say(
            "region_station.usual", what=quantity_named(quantity), day=middle, low=low, high=high
        )
        yield sentences(usual, _trend(found, i))


def _trend(found: Normals, i: int) -> Phrase:
    """Whether it has moved, by how much."""
    middle, low, high = (
        float(each[i]) for each in (found.trend_per_decade, found.trend_low, found.trend_high)
    )
    if not (math.isfinite(middle) and (low > 0 or high < 0)):
        return say("region_station.no_trend")
    if middle < 0:
        middle, low, high = -middle, -high, -low
        way = "earlier"
    else:
        way = "later"
    days = say("region_story.days", days=round(middle))
    return say(f"region_station.moved_{way}", days=days, low=round(low), high=round(high))


def station_pages(data: Compared, voice: Voice) -> Iterator[tuple[str, str]]:
    """Address beside the comparison's page and text of every listed station's page."""
    voice = voice.on_page
    normals = {quantity: data.normals(quantity) for quantity in QUANTITIES}
    winters = winters_of(data, WEEKS)
    found = links(data)
    ids = data.texts("station", found)
    for station, (i, address) in zip(ids, found.items(), strict=True):
        yield address, station_page(data, i, winters[station], normals, voice)
