"""Every figure of the sentences stands in the tables that are written beside them."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from region_fixtures import told
from regions_made_up import seldom, two_regions, with_quantity
from spoken import METRIC

from windowcast.region.csv_text import write_rows
from windowcast.region.outputs import gap_rows, write_regional
from windowcast.region.regional import Estimate
from windowcast.report.region_findings import FALSE_FINDS, Findings
from windowcast.report.region_story import story

Row = dict[str, str]
TURF = ("dormant", "greenup")
TREND = ("trend", "trend_low", "trend_high")
FEWER = Estimate(-0.213, -0.348, -0.078)  # of its chance, in ten years


class Tables:
    """The written tables, read back as anybody would read them."""

    def __init__(self, folder: Path) -> None:
        self.regions = _read(folder / "regions.csv")
        self.differences = _read(folder / "differences.csv")
        self.failing = _read(folder / "failing.csv")
        seasons = _read(folder / "region_seasons.csv")
        names = dict.fromkeys(row["region"] for row in self.regions)
        self.winters = {
            name: sorted({int(row["season"]) for row in seasons if row["region"] == name})
            for name in names
        }

    def typical(self, region: str, quantity: str) -> Row:
        return next(
            row for row in self.regions if (row["region"], row["quantity"]) == (region, quantity)
        )

    def apart(self, quantity: str) -> Row:
        (row,) = (row for row in self.differences if row["quantity"] == quantity)
        return row


def _read(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _ends(row: Row, middle: str = "difference", low: str = "low", high: str = "high") -> list[int]:
    """Middle, low and high end as whole numbers, from the smaller side of 0 to the larger."""
    ends = [float(row[name]) for name in (middle, low, high)]
    if ends[0] < 0:
        ends = [-ends[0], -ends[2], -ends[1]]
    return [round(end) for end in ends]


def _shows(row: Row, low: str = "low", high: str = "high") -> bool:
    q = float(row["q_value"] or 0)
    return (float(row[low]) > 0 or float(row[high]) < 0) and q <= FALSE_FINDS


def figures(tables: Tables) -> Iterator[list[int]]:
    """The whole numbers that each sentence should have, by the tables alone."""
    names = list(tables.winters)
    days = [tables.typical(name, "spray_days_total") for name in names]
    average = [max(0, round(float(row[end]))) for row in days for end in ("typical", "low", "high")]
    apart = tables.apart("spray_days_total")
    yield average + (_ends(apart) if _shows(apart) else [])
    fall = tables.apart("soil_21")
    found = _ends(fall) if _shows(fall) else []
    still: dict[str, list[int]] = {}
    for name in names:
        row = tables.typical(name, "soil_21")
        seasons, median = int(row["seasons"]), row["is_median"]
        if median == "true":  # its chance in percentage points
            ends = {end: 100 * float(row[f"happens_{end}"]) for end in TREND}
            row |= {end: str(value) for end, value in ends.items()}
            row["q_value"] = row["happens_trend_q"]
            row["trend_per_decade"] = row["trend"]
        if _shows(row, "trend_low", "trend_high"):
            found += [*_ends(row, "trend_per_decade", "trend_low", "trend_high"), seasons]
        else:
            still.setdefault(median, []).append(seasons)
    yield found + [max(some) for some in still.values()]
    turf = [n for q in TURF if _shows(tables.apart(q)) for n in _ends(tables.apart(q))]
    for name in names:
        row = tables.typical(name, "dormant")
        if float(row["happens"]) < 0.95:
            ends = (float(row[end]) for end in ("happens", "happens_low", "happens_high"))
            count, *interval = (round(10 * min(max(end, 0), 1)) for end in ends)
            turf += [count, 10, *interval]
    if turf:
        yield turf
    for name in names:
        bad = [row for row in tables.failing if row["region"] == name]
        winters = len(tables.winters[name])
        if not bad:
            yield [winters]
            continue
        order = sorted(
            dict.fromkeys(row["reason"] for row in bad),
            key=lambda why: -sum(row["reason"] == why for row in bad),
        )
        seasons = [[int(row["season"]) for row in bad if row["reason"] == why] for why in order]
        if len(bad) == winters:
            counts = [len(some) for some in seasons]
            yield [winters, *(counts if len(counts) > 1 else [])]
            continue
        if len(bad) >= 0.75 * winters:
            failed = {season for some in seasons for season in some}
            others = [n for s in tables.winters[name] if s not in failed for n in (s, s % 100 + 1)]
            counts = [len(some) for some in seasons] if len(seasons) > 1 else []
            yield [len(bad), winters, *counts, *others]
            continue
        named = [
            n
            for some in seasons
            for first in some[:6]
            for n in (first, (first + 1) % 100)
        ]  # fmt: skip
        more = [len(some) - 6 for some in seasons if len(some) > 6]
        yield [len(bad), winters, *named, *more]


MADE_UP = {
    "every fall": two_regions,
    "fewer falls": lambda: with_quantity(two_regions(), 0, "soil_21", seldom(FEWER)),
    "as many": lambda: with_quantity(two_regions(), 0, "soil_21", seldom(FEWER, q=0.2)),
}


@pytest.mark.parametrize("kind", [*MADE_UP, pytest.param("real", marks=pytest.mark.slow)])
def test_every_figure_of_the_sentences_is_in_the_tables(kind: str, tmp_path: Path) -> None:
    made_up = kind != "real"
    found: Findings = MADE_UP[kind]() if made_up else told()
    write_rows(tmp_path / "differences.csv", gap_rows(found.regional.between))
    write_regional(tmp_path, found.regional)
    names = [str(METRIC.write(found.name(region))) for region in found.regions]
    plain = re.compile("|".join(map(re.escape, names)))
    said = [plain.sub("", METRIC.text(line)) for line in story(found).lines]
    numbers = [
        [int(n) for n in re.findall(r"\d+", line)] for line in said if re.search(r"\d", line)
    ]
    assert sum(map(len, numbers)) > 20
    dates = map(Tables(tmp_path).apart, ("soil_21", *TURF))
    least = [row["at_least"] == "true" for row in dates if row["low"] and _shows(row)]
    assert " ".join(said).count("at least") == sum(least)
    assert any(least) or not made_up
    assert [sorted(n) for n in numbers] == [sorted(n) for n in figures(Tables(tmp_path))]
