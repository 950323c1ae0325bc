"""Seasons of real stations for tests of what a comparison makes of them, computed once."""

from __future__ import annotations

import json
from functools import cache

import pyarrow as pa
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_ATLANTIC, MID_SOUTH

from windowcast.region.batch import Options, compute
from windowcast.region.compare import Compared, Summary, compared, summarise
from windowcast.region.engine import Station

STATIONS = (
    Station(
        "SELMA", str(FOLDER / f"{DEEP_SOUTH}.txt.gz"), "Selma 13 WNW", "south", elevation_m=50.3
    ),
    Station("BOWL", str(FOLDER / f"{MID_SOUTH}.txt.gz"), "Bowling Green <21> & NNE", "north"),
    Station("CHAR", str(FOLDER / f"{MID_ATLANTIC}.txt.gz"), "Charlottesville 2 SSE", "north"),
    Station("GONE", str(FOLDER / "gone.txt"), "Nowhere", "north"),
)


@cache
def seasons() -> pa.Table:
    return compute(STATIONS, json.dumps(Options().plain()))


@cache
def data() -> Compared:
    return compared([seasons()])


@cache
def summary() -> Summary:
    return summarise(data())
