"""Seasons of real stations for tests of what a comparison makes of them, computed once."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from regions_made_up import regional_of
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_ATLANTIC, MID_SOUTH

from windowcast.region import parts
from windowcast.region.batch import Options, compute
from windowcast.region.compare import Compared, put_together
from windowcast.region.engine import Station
from windowcast.region.parts import Chunk
from windowcast.report.region_findings import Findings, findings_of

STATIONS = (
    Station(
        "SELMA", str(FOLDER / f"{DEEP_SOUTH}.txt.gz"), "Selma 13 WNW", "south", elevation_m=50.3
    ),
    Station("BOWL", str(FOLDER / f"{MID_SOUTH}.txt.gz"), "Bowling Green <21> & NNE", "north"),
    Station("CHAR", str(FOLDER / f"{MID_ATLANTIC}.txt.gz"), "Charlottesville 2 SSE", "north"),
    Station("GONE", str(FOLDER / "gone.txt"), "Nowhere", "north"),
)
_HOME = TemporaryDirectory()


@cache
def computed() -> dict[str, pa.Table]:
    return compute(STATIONS, json.dumps(Options().plain()))


def seasons() -> pa.Table:
    return computed()["seasons"]


def kept(folder: Path, *groups: Sequence[str]) -> list[Chunk]:
    """Parts in a folder, each with the stations of those ids."""
    made = []
    for n, ids in enumerate(groups):
        part = Chunk(folder, f"part{n}")
        some = {
            name: parts.to_parquet(table.filter(pc.is_in(table["station"], pa.array(ids))))
            for name, table in computed().items()
        }
        parts.keep(part, some)
        made.append(part)
    return made


def untold(found: Compared) -> Findings:
    """A comparison of which nothing is said of regions."""
    return findings_of(found, regional_of())


def repeated(folder: Path, times: int, stations: int = 200) -> list[Chunk]:
    """Parts of `stations` stations, made by repeating a real one under other names and places."""
    made = []
    for first in range(0, times * stations, stations):
        many = {}
        for name, table in computed().items():
            own = table.filter(pc.equal(table["station"], "CHAR"))
            count = len(own)
            whole = own.take(np.tile(np.arange(count), stations))
            ids = [f"S{first + n:06d}" for n in range(stations) for _ in range(count)]
            north = [30 + (first + n) % 997 / 50 for n in range(stations) for _ in range(count)]
            east = [-120 + (first + n) % 991 / 20 for n in range(stations) for _ in range(count)]
            for column, values in (
                ("station", ids), ("name", ids), ("latitude", north), ("longitude", east),
            ):  # fmt: skip
                at = whole.schema.get_field_index(column)
                field = whole.schema.field(column)
                whole = whole.set_column(at, field, pa.array(values, field.type))
            many[name] = parts.to_parquet(whole)
        part = Chunk(folder, f"part{first:06d}")
        parts.keep(part, many)
        made.append(part)
    return made


@cache
def data() -> Compared:
    home = Path(_HOME.name)
    return put_together(kept(home, [s.id for s in STATIONS]), home)


@cache
def told() -> Findings:
    return findings_of(data(), data().regional())


def listed_as(stations: pa.Table, **columns: Sequence[object]) -> Compared:
    """The comparison of real stations with another list."""
    for name, values in columns.items():
        field = stations.schema.field(name)
        at = stations.schema.get_field_index(name)
        stations = stations.set_column(at, field, pa.array(values, field.type))
    return replace(data(), stations=stations)
