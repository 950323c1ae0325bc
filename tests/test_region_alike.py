"""A station's seasons are its own: whoever is beside it, however the work is shared out.

Records have holes of every kind (`region_weather.gappy`). Everything is compared to the last bit:
with the station alone, with other neighbours, orders, chunks and processes, and with what a single
site works out.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from region_weather import gappy

from windowcast.core.record import FloatArray, Record
from windowcast.core.season_calendar import on_date, season_day, season_slices, season_starts
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED
from windowcast.programme.workable_days import day_scores, workable
from windowcast.region import models
from windowcast.region.batch import Options, compute
from windowcast.region.box import record_csv
from windowcast.region.columns import BARRIERS, HAPPENED_COLUMNS, KEY_DATES, WEEDS, WORKABLE_COLUMNS
from windowcast.region.compare import put_together
from windowcast.region.engine import Station, run
from windowcast.region.models import Seasons, seasons_of, stacked, workable_weeks
from windowcast.season.dates import key_dates
from windowcast.season.model import SiteState
from windowcast.season.state import build
from windowcast.season.weeds import weed
from windowcast.windows.barrier import best_day, cover
from windowcast.windows.days import DayContext
from windowcast.windows.model import PURPOSES
from windowcast.windows.opening import judged_days
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import Laying, usual_material

SHORT, LONG = (1.1, 1.9), (1.1, 4.0)  # years


@dataclass(frozen=True)
class Drawn:
    """Stations of one hemisphere, and the options to compare them with."""

    records: list[Record]
    options: Options

    @classmethod
    def of(cls, seed: int, most: int, years: tuple[float, float]) -> Drawn:
        draw = np.random.default_rng(seed)
        southern = bool(draw.random() < 0.4)
        count = int(draw.integers(2, most + 1))
        records = [gappy(draw, southern=southern, years=years) for _ in range(count)]
        return cls(records, Options(irrigated=bool(draw.random() < 0.3)))

    def seasons(self, *stations: int) -> Seasons:
        some = [self.records[n] for n in stations]
        site = self.options.site(southern=some[0].place.southern)
        return seasons_of(stacked(some), site)


def columns(found: Seasons) -> dict[str, FloatArray]:
    """Every array, ``[station, season, ...]``, by name."""
    weeks = {f"weeks of {name}": value.astype(np.float64) for name, value in found.weeks.items()}
    return {"complete": found.complete, **found.values, **weeks}


def assert_alike(alone: Seasons, among: Seasons, row: int, what: str) -> int:
    """The seasons of a station alone are those of a row; gives how many numbers were known."""
    first = int(alone.first_years[0] - among.first_years[0])
    own = slice(first, first + len(alone.first_years))
    theirs = columns(among)
    known = 0
    for name, values in columns(alone).items():
        np.testing.assert_array_equal(theirs[name][row, own], values[0], f"{what}: {name}")
        known += int(np.isfinite(values).sum())
    return known


def check_neighbours(drawn: Drawn, seed: int) -> None:
    draw = np.random.default_rng(seed)
    order = draw.permutation(len(drawn.records)).tolist()
    cut = int(draw.integers(0, len(order)))
    groups = [group for group in (order, order[:cut], order[cut:]) if group]
    alone = [drawn.seasons(n) for n in range(len(order))]
    known = 0
    for group in groups:
        among = drawn.seasons(*group)
        for row, n in enumerate(group):
            known += assert_alike(alone[n], among, row, f"seed {seed}, station {n} in {group}")
    assert known > 100


def check_single_site(drawn: Drawn, seed: int) -> None:
    among = drawn.seasons(*range(len(drawn.records)))
    for row, record in enumerate(drawn.records):
        single = single_site(record, drawn.options)
        years = [int(name[:4]) for name, _ in season_slices(record.times, record.place.southern)]
        first = years[0] - int(among.first_years[0])
        theirs = columns(among)
        for name, values in single.items():
            np.testing.assert_array_equal(
                theirs[name][row, first : first + len(years)],
                values,
                f"seed {seed}, station {row}: {name}",
            )


def single_site(record: Record, options: Options) -> Mapping[str, FloatArray]:
    """What the path of a single site gives for each season of a record, ``[season, ...]``."""
    southern = record.place.southern
    site = options.site(southern=southern)
    state, _ = build(record, site)
    dates = key_dates(state, southern=southern)
    found: dict[str, FloatArray] = dict(dates.days)
    assert set(found) == set(KEY_DATES)
    found |= {HAPPENED_COLUMNS[name]: came for name, came in dates.happened.items()}
    slices = season_slices(record.times, southern)
    whole = [part.start for _, part in slices[1:]]
    lead = int(season_day(record.times[:1], southern=southern)[0])
    parts = [
        slice(a, b) for a, b in pairwise([0, *(w + lead for w in whole), lead + len(state.dates)])
    ]
    for name in PURPOSES:
        entry = purpose_of(name)
        score = day_scores(record, entry, entry.generic, frozen=state.soil_frozen)
        can = from_season(workable(score, entry.rule), lead)
        found[f"weeks of {WORKABLE_COLUMNS[name]}"] = workable_weeks(can, parts)[0].astype(
            np.float64
        )
    for season in BARRIERS:
        each = [barrier(record, state, season, site, part.start) for part in parts]
        found[f"barrier_{season}"], found[f"cover_{season}"] = np.array(each).T
    return found


def from_season(values: FloatArray, lead: int) -> FloatArray:
    """Days from the first of the season on, NaN before the record, ``[1, day]``."""
    return np.pad(np.atleast_2d(values), ((0, 0), (lead, 0)), constant_values=np.nan)


def barrier(
    record: Record, state: SiteState, season: str, site: Site, start: int
) -> tuple[float, float]:
    """Day to lay a barrier and what it catches, from `cover` over a whole season.

    `start` is the season's first day on an axis that begins as the record's first season does.
    """
    southern = record.place.southern
    lead = int(season_day(record.times[:1], southern=southern)[0])
    code, purpose = WEEDS[season], purpose_of(BARRIERS[season])
    first_day = record.times[0] + np.timedelta64(start - lead, "D")
    year = season_starts(int(str(first_day)[:4]) + 1, southern) - first_day
    begin = int(PACKAGED["plan"].number("spring_from")) if season == "spring" else 0
    ahead = first_day + np.arange(begin + 1, year.astype(int) + 62)
    again = np.flatnonzero(on_date(ahead, weed(code).biofix, southern))
    stop = begin + 1 + (int(again[0]) if again.size else len(ahead))
    days = slice(start + begin, start + stop)
    if days.stop > lead + len(record.times):
        return np.nan, np.nan
    score = judged_days(purpose, purpose.generic, DayContext(site, state, season))[1]
    own = min(int(year.astype(int)), stop) - begin
    allowed = from_season(score, lead)[0, days][:own] >= purpose.rule.season
    values = PACKAGED["barrier"]
    laid = usual_material(purpose, values).laid(Laying.of(site, values))
    series = (state.emergence[code].share, state.soil_5cm_c, record.get("precip_mm"))
    share, soil_c, rain_mm = (from_season(each, lead)[:, days] for each in series)
    caught = cover(share, soil_c, rain_mm, laid).caught[0, :own]
    best = int(best_day(caught, allowed, values.number("later_worth")))
    if best < 0 or np.isnan(share[0, -1]):
        return np.nan, np.nan
    day = first_day + np.timedelta64(begin + best, "D")
    return (float(day.astype(int)) if caught[best] >= 0.005 else np.nan), float(caught[best])


@pytest.mark.parametrize("seed", range(2))
def test_neighbours_change_nothing(seed: int) -> None:
    check_neighbours(Drawn.of(seed, 3, SHORT), seed)


@pytest.mark.parametrize("seed", range(10, 12))
def test_a_single_site_gives_the_same(seed: int) -> None:
    check_single_site(Drawn.of(seed, 3, SHORT), seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 108))
def test_many_neighbours_change_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(models, "SLICE", 1 + seed % 7)
    check_neighbours(Drawn.of(seed, 12, LONG), seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200, 208))
def test_many_single_sites_give_the_same(seed: int) -> None:
    check_single_site(Drawn.of(seed, 8, LONG), seed)


def listed(folder: Path, count: int, years: tuple[float, float]) -> list[Station]:
    """Files of made-up stations of both hemispheres, in a random order."""
    draw = np.random.default_rng(7)
    stations = []
    for n in range(count):
        record = gappy(draw, southern=bool(n % 3 == 0), years=years)
        file = folder / f"S{n:02d}.csv"
        file.write_text(record_csv(record), "ascii")
        place = record.place.latitude_deg, record.place.longitude_deg
        stations.append(Station(file.stem, str(file), "", "ab"[n % 2], *place))
    return [stations[n] for n in draw.permutation(count)]


def written(stations: list[Station], folder: Path, **how: Any) -> dict[str, bytes]:
    """The tables of a comparison as they are written."""
    folder.mkdir()
    put_together(run(stations, compute, Options().plain(), folder / "parts", **how), folder)
    return {path.name: path.read_bytes() for path in folder.glob("*.parquet")}


def test_chunks_change_nothing(tmp_path: Path) -> None:
    """Normals, trends and weeks too."""
    stations, options = listed(tmp_path, 3, (5.6, 6.2)), json.dumps(Options().plain())
    whole = compute(tuple(stations), options)
    alone = [compute((station,), options) for station in stations]
    assert set(whole) == {"seasons", "stations"}
    for name, table in whole.items():
        assert table.equals(pa.concat_tables([part[name] for part in alone]).combine_chunks())


@pytest.mark.slow
def test_chunks_processes_and_clusters_change_nothing(tmp_path: Path) -> None:
    from distributed import LocalCluster

    stations = listed(tmp_path, 7, (1.1, 6.0))
    whole = written(stations, tmp_path / "whole", workers=1, chunk_stations=7)
    for workers, size in ((1, 3), (2, 2)):
        folder = tmp_path / f"{workers} {size}"
        assert written(stations, folder, workers=workers, chunk_stations=size) == whole
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        address, folder = cluster.scheduler_address, tmp_path / "cluster"
        assert written(stations, folder, scheduler=address, chunk_stations=2) == whole
