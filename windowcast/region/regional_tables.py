"""Regions as CSV files: what is typical, seasons, weeks, differences of weeks, failing seasons."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from windowcast.region.columns import DATE_COLUMNS, QUANTITIES, day_label
from windowcast.region.csv_files import plain, write_rows
from windowcast.region.regional import Estimate, Region, Regional

Row = Sequence[Any]


def write_regional(folder: Path, found: Regional) -> list[Path]:
    """The files of `dictionary.toml` that tell of regions; all figures of the page are in them."""
    regions = found.regions
    return [
        write_rows(folder / "regions.csv", (r for each in regions for r in _typical(each))),
        write_rows(folder / "region_seasons.csv", (r for each in regions for r in _seasons(each))),
        write_rows(folder / "region_weeks.csv", (r for each in regions for r in _weeks(each))),
        write_rows(folder / "difference_weeks.csv", _difference_weeks(found)),
        write_rows(
            folder / "failing.csv",
            (
                (each.name, failed.season, failed.reason, round(failed.share, 4))
                for each in regions
                for failed in each.failing
            ),
        ),
    ]


def _typical(region: Region) -> Iterator[Row]:
    for name, told in region.quantities.items():
        dated = name in DATE_COLUMNS
        label = day_label(told.typical.middle, southern=region.southern) if dated else ""
        yield (
            region.name, region.stations, name, QUANTITIES[name], told.seasons,
            *_ends(told.typical), str(told.median).lower(), label,
            *_ends(told.happens), *_ends(told.trend_per_decade),
            _number(told.trend_p), _number(told.trend_q), *_ends(told.happens_trend),
            _number(told.happens_trend_p), _number(told.happens_trend_q),
        )  # fmt: skip


def _seasons(region: Region) -> Iterator[Row]:
    seasons = zip(region.seasons.tolist(), region.stations_per_season.tolist(), strict=True)
    for at, (season, stations) in enumerate(seasons):
        for name, told in region.quantities.items():
            yield region.name, season, stations, name, _number(float(told.by_season[at]))


def _weeks(region: Region) -> Iterator[Row]:
    weekly = region.weekly
    if weekly is None:
        return
    columns = (plain(each) for each in (weekly.mean, weekly.low, weekly.high))
    for week, values in enumerate(zip(*columns, strict=True)):
        yield region.name, week, day_label(7 * week, southern=region.southern), *values


def _difference_weeks(found: Regional) -> Iterator[Row]:
    for each in found.weeks_between:
        columns = (plain(values) for values in (each.middle, each.low, each.high))
        for week, values in enumerate(zip(*columns, strict=True)):
            yield each.first, each.second, week, each.seasons, *values


def _ends(told: Estimate | None) -> tuple[Any, Any, Any]:
    if told is None:
        return None, None, None
    return _number(told.middle), _number(told.low), _number(told.high)


def _number(value: float) -> float | None:
    """Rounded, empty where it is unknown; infinite as it is, which a Table Schema allows."""
    return None if math.isnan(value) else round(value, 4) + 0.0  # never -0.0
