"""The open station archive: the best stations around a site, blended to it.

Files come from the archive's hosts through our own HTTP and cache; `archive_series` reads them.
"Nothing there" and "could not be asked" stay apart, and each series says when it was fetched and
where its observations end.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib import metadata
from itertools import count
from typing import Literal

import numpy as np

from windowcast.core.phrase import Name, Quantity, Share, names, say
from windowcast.core.record import DateArray, Flag, Grade, Place, Provenance, Record
from windowcast.core.source_flags import remark
from windowcast.core.values import load
from windowcast.sources import archive_series, archive_stations
from windowcast.sources.archive_remarks import (
    file_remarks,
    lag_remarks,
    late_high_remarks,
    list_remarks,
)
from windowcast.sources.archive_series import READER, Series, SeriesNotes, Step, UnreadableError
from windowcast.sources.archive_stations import ArchiveStation
from windowcast.sources.blend import NEAREST, TEMPERATURES, blend, height_shift_c, station_weights
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetched, Fetcher, Terms
from windowcast.sources.http_answer import Expect, FetchError, base_url
from windowcast.sources.source import Found, Request

NAME = "archive"
HOST = "https://data.meteostat.net"
LICENCE = "Meteostat and the services it names, generally CC BY 4.0"


class ArchiveSource:
    """The archive as a `windowcast.sources.source.Source`."""

    name = NAME

    def covers(self, place: Place) -> bool:
        """It is asked everywhere."""
        return True

    def stations_in_box(
        self, box: tuple[float, float, float, float], fetcher: Fetcher
    ) -> list[ArchiveStation]:
        """Stations between south, west, north and east [degrees], in order of their ids.

        Raises
        ------
        FetchError
            The archive could not be reached and no list is kept.
        """
        answer = station_list(fetcher)
        try:
            return archive_stations.stations_in_box(answer.body(), box)
        except sqlite3.Error:
            raise answer.unfit("its list of stations is not as documented") from None

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """Daily and hourly values at the site: measured ones, and apart those of forecast grade.

        Raises
        ------
        FetchError
            The archive could not be reached and too little is kept.
        """
        return _Asking(request, fetcher).found()


@dataclass
class _Asking:
    """One asking of the archive for one place."""

    request: Request
    fetcher: Fetcher
    flags: list[Flag] = field(default_factory=list)
    failed: list[FetchError] = field(default_factory=list)

    def found(self) -> Found:
        """Choose stations, read them, blend them."""
        ask = self.request
        near = self._candidates()
        if not near:
            radius = load("sources").number("archive.radius_km")
            if ask.station:
                text = say("flag.no_such_station", station=Name(ask.station))
            else:
                text = say("flag.no_station_near", radius=Quantity(radius, "km"))
            return Found(flags=(remark("no-station", text),))
        records: list[Record] = []
        if ask.past:
            stations = self._choose(near)
            least = load("sources").number("archive.completeness_min")
            if self.failed and not any(s.completeness >= least for s in stations):
                raise self.failed[0]  # with the files that failed there might have been one
            if stations:
                years = range(ask.first.year, ask.today.year + 1)
                daily = self._read("daily", stations, years, "daily record")
                records += self._blended(stations, daily, "D")
                if not records:
                    ids = names(*(s.id for s in stations), join="comma")
                    text = say("flag.no_daily_record", stations=ids)
                    self.flags.append(remark("no-station", text))
            else:
                text = say("flag.incomplete_stations", least=Share(least))
                self.flags.append(remark("no-station", text))
        try:
            records += self._hours(near)
        except FetchError as error:
            if not records:
                raise
            text = say("flag.no_hours", problem=Name(str(error)))
            self.flags.append(remark("archive-incomplete", text))
        return Found(tuple(records), tuple(self.flags))

    # ---- stations ----

    def _candidates(self) -> list[ArchiveStation]:
        answer = station_list(self.fetcher)
        self.flags += list_remarks(answer)
        at = self.request.place
        key = (
            f"stations {READER} {at.latitude_deg:.4f} {at.longitude_deg:.4f} {at.elevation_m}"
            f" {self.request.station}"
        )
        kept = self.fetcher.cache.derived(key, answer.digest)
        if kept is not None:
            return archive_stations.unpacked(kept)
        try:
            database = answer.body()
            if self.request.station:
                one = archive_stations.station_named(database, self.request.station, at)
                near = [one] if one else []
            else:
                near = archive_stations.stations_near(database, at)
        except sqlite3.Error:
            raise answer.unfit("its list of stations is not as documented") from None
        self.fetcher.cache.put_derived(key, NAME, answer.digest, archive_stations.packed(near))
        return near

    def _choose(self, near: list[ArchiveStation]) -> list[ArchiveStation]:
        """The stations to blend, after a look at how complete their last two years are."""
        last = self.request.today.year
        probed = self._read("daily", near, range(last - 2, last + 1), "choice of stations")
        share = {
            s.id: archive_stations.completeness(
                series.times,
                series.known("tmax_c", "tmin_c"),
                np.datetime64(self.request.today, "D"),
                self.request.place.southern,
            )
            for s, (series, _) in zip(near, probed, strict=True)
        }
        if self.request.station:
            return [replace(near[0], completeness=share[near[0].id])]
        return archive_stations.chosen(near, share)

    # ---- files ----

    def _read(
        self, step: Step, stations: Sequence[ArchiveStation], years: range, what: str
    ) -> list[tuple[Series, list[Fetched]]]:
        """Each station's series over the years, with the answers it rests on."""
        base = base_url("WINDOWCAST_ARCHIVE_URL", HOST)
        urls = {
            (s.id, year): f"{base}/{step}/{year}/{s.id}.csv.gz" for s in stations for year in years
        }
        now_year = dt.datetime.fromtimestamp(self.fetcher.clock(), dt.UTC).year
        terms = {
            url: Terms.named(
                NAME,
                "archive_recent" if year >= now_year - 1 else "archive_past",
                Expect.CSV,
                problem=lambda body, year=year: archive_series.file_problem(
                    body, step, year, self._catalogue
                ),
            )
            for (_, year), url in urls.items()
        }
        counter = count(1)  # several threads count

        def done() -> None:
            self.request.progress(what, next(counter), len(urls))

        answers = self.fetcher.get_all(list(urls.values()), terms.__getitem__, done)
        by_key = dict(zip(urls, answers, strict=True))
        failed = [a for a in answers if isinstance(a, FetchError)]
        if failed and len(failed) == len(answers):
            raise failed[0]
        self.failed += failed
        self.flags += file_remarks(what, answers)
        read = []
        for number, station in enumerate(stations, start=1):
            read.append(self._series(step, station, {y: by_key[station.id, y] for y in years}))
            self.request.progress(f"{what}: reading", number, len(stations))
        return read

    def _series(
        self, step: Step, station: ArchiveStation, answers: dict[int, Fetched | FetchError]
    ) -> tuple[Series, list[Fetched]]:
        """Arrays from the cache where the same files were read before, else from the files."""
        cache = self.fetcher.cache
        found = {y: a for y, a in answers.items() if isinstance(a, Fetched) and a.found}
        parts = []
        for year, answer in sorted(found.items()):
            key = f"{step} {READER} {station.id} {year}"
            kept = cache.derived(key, answer.digest)
            if kept is not None:
                parts.append(archive_series.unpacked(kept))
                continue
            try:
                series = archive_series.read_year(answer.body(), step, year, self._catalogue)
            except UnreadableError as error:
                text = say(
                    "flag.file_left_out",
                    file=Name(f"{step} {year}"),
                    station=Name(station.id),
                    problem=Name(str(error)),
                )
                self.flags.append(remark("unreadable-file", text))
                continue
            cache.put_derived(key, NAME, answer.digest, archive_series.packed(series))
            parts.append(series)
        return archive_series.joined(parts), list(found.values())

    @cached_property
    def _catalogue(self) -> SeriesNotes:
        return series_notes(self.fetcher.cache)

    # ---- records ----

    def _hours(self, near: list[ArchiveStation]) -> list[Record]:
        """Hours of the last days and those ahead, from the nearest stations that have any."""
        table = load("sources").table("archive")
        start = self.request.today - dt.timedelta(days=int(table.number("hourly_past_days")))
        ahead = self.request.today + dt.timedelta(days=int(table.number("hourly_ahead_days")))
        years = range(start.year, ahead.year + 1)
        read = self._read("hourly", near, years, "hours")
        first = np.datetime64(start, "h")
        pairs = []
        for station, (series, answers) in zip(near, read, strict=True):
            late = series.times >= first
            cut = Series(
                series.times[late],
                {n: v[late] for n, v in series.values.items()},
                {n: g[late] for n, g in series.grades.items()},
            )
            if cut.known("temp_c").any():
                pairs.append((station, (cut, answers)))
        pairs = pairs[: int(table.number("blend_max"))]
        if not pairs:
            return []
        return self._blended([p[0] for p in pairs], [p[1] for p in pairs], "h")

    def _blended(
        self,
        stations: Sequence[ArchiveStation],
        read: Sequence[tuple[Series, list[Fetched]]],
        unit: Literal["D", "h"],
    ) -> list[Record]:
        """The stations' series at the site: what was measured, and apart what is forecast-grade.

        Apart, because another source's forecast may go before the archive's, never before a
        measurement.
        """
        pairs = [(s, r) for s, r in zip(stations, read, strict=True) if len(r[0].times)]
        if not pairs:
            return []
        first = min(r[0].times[0] for _, r in pairs)
        if unit == "D":
            first = max(first, np.datetime64(self.request.first, "D"))
        axis: DateArray = np.arange(
            first, max(r[0].times[-1] for _, r in pairs) + np.timedelta64(1, unit)
        )
        if not len(axis):
            return []
        away = np.array([s.effective_km for s, _ in pairs])
        share = np.nan_to_num([s.completeness for s, _ in pairs], nan=1.0)
        weights = station_weights(away, np.clip(share, 0.01, 1.0))
        values, grades, grids = {}, {}, {}
        for name in dict.fromkeys(n for _, (series, _) in pairs for n in series.values):
            grid = np.full((len(pairs), len(axis)), np.nan)
            graded = np.full(grid.shape, Grade.MISSING, dtype=np.uint8)
            for i, (station, (series, _)) in enumerate(pairs):
                if name not in series.values:
                    continue
                shift = (
                    height_shift_c(station.elevation_m, self.request.place.elevation_m)
                    if name in TEMPERATURES
                    else 0.0
                )
                rows = (series.times - axis[0]).astype(np.int64)
                inside = rows >= 0
                grid[i, rows[inside]] = series.values[name][inside] + shift
                graded[i, rows[inside]] = series.grades[name][inside]
            grids[name] = grid
            values[name], grades[name] = blend(grid, graded, weights, nearest=name in NEAREST)
        origins = tuple(
            self._origin(station, series, answers, float(weight), unit)
            for (station, (series, answers)), weight in zip(pairs, weights, strict=True)
        )
        whole = Record(self.request.place, axis, values, grades, origins)
        if unit == "D":
            self.flags += lag_remarks(whole, self.request.today)
            self.flags += late_high_remarks([station for station, _ in pairs], grids)
        return [_only(whole, forecast=False), replace(_only(whole, forecast=True), provenance=())]

    def _origin(
        self,
        station: ArchiveStation,
        series: Series,
        answers: list[Fetched],
        weight: float,
        unit: str,
    ) -> Provenance:
        lead = "tmax_c" if unit == "D" else "temp_c"
        measured = series.known(lead)
        measured &= series.grades.get(lead, np.zeros(len(measured))) == Grade.OBSERVED
        times = series.times[measured]
        latest = [a.fetched_at for a in answers[-1:]]
        step = "daily" if unit == "D" else "hourly"
        return Provenance(
            NAME,
            f"station {station.id} {station.name}, {step}",
            tuple(series.values),
            str(times[0]) if len(times) else "",
            str(times[-1]) if len(times) else "",
            dt.datetime.fromtimestamp(latest[0], dt.UTC) if latest else None,
            station.distance_km,
            station.elevation_m,
            round(weight, 4),
            LICENCE,
            any(a.stale for a in answers),
        )


def series_notes(cache: Cache) -> SeriesNotes:
    """What the client says of the files, asked once for each version of it."""
    version, key = metadata.version("meteostat"), f"catalogue {READER}"
    kept = cache.derived(key, version)
    if kept is not None:
        return SeriesNotes.unpacked(kept)
    catalogue = SeriesNotes.of_client()
    cache.put_derived(key, NAME, version, catalogue.packed())
    return catalogue


def station_list(fetcher: Fetcher) -> Fetched:
    """The archive's list of stations, an SQLite database.

    Raises
    ------
    FetchError
        It could not be reached and none is kept.
    """
    url = f"{base_url('WINDOWCAST_ARCHIVE_URL', HOST)}/stations.db"
    terms = Terms.named(
        NAME,
        "stations",
        Expect.SQLITE,
        max_bytes=250_000_000,
        problem=archive_stations.list_problem,
    )
    answer = fetcher.get(url, terms)
    if not answer.found:
        raise answer.unfit("it has no list of stations")
    return answer


def _only(record: Record, *, forecast: bool) -> Record:
    """The values that are of forecast grade, or those that are not; the rest missing."""
    values, grades = {}, {}
    for name, value in record.values.items():
        take = (record.grades[name] == Grade.FORECAST) == forecast
        values[name] = np.where(take, value, np.nan)
        grades[name] = np.where(take, record.grades[name], np.uint8(Grade.MISSING))
    return replace(record, values=values, grades=grades)
