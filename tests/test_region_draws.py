"""A region's own numbers are the same whichever others are compared, and in whatever order."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from region_fixtures import data, listed_as
from scipy.stats import kstest

from windowcast.core.record import FloatArray
from windowcast.region.effects import DRAWS, station_draws
from windowcast.region.grids import Kept, SeasonRows
from windowcast.region.outputs import write_regional
from windowcast.region.regional import Regional, WeeksBetween
from windowcast.region.regional_fit import regional
from windowcast.region.statistics import Normals, normals

YEARS = np.arange(1995, 2025)


@dataclass(frozen=True)
class Listed:
    """Stations of a list, with the rows of all their seasons; only dormancy and weeks vary."""

    ids: list[str]
    region: list[str]
    place: npt.NDArray[np.int64]
    dormant: FloatArray

    def of(self, order: list[int]) -> Listed:
        """Some of them in another order; seasons that none of these has are not there."""
        ids, region = ([each[n] for n in order] for each in (self.ids, self.region))
        return Listed(ids, region, self.place[order], self.dormant[order])

    @property
    def known(self) -> npt.NDArray[np.bool_]:
        """Years in which any of them has a season."""
        return ~np.isnan(self.dormant).all(axis=0)

    @property
    def years(self) -> npt.NDArray[np.int64]:
        return YEARS[self.known]

    @property
    def southern(self) -> npt.NDArray[np.bool_]:
        return np.zeros(len(self), dtype=bool)

    def __len__(self) -> int:
        return len(self.ids)

    def texts(self, column: str, stations: Iterable[int]) -> list[str]:
        return [(self.ids if column == "station" else self.region)[n] for n in stations]

    def places(self) -> npt.NDArray[np.int64]:
        return self.place

    def normals(self, quantity: str) -> Normals:
        return normals(self.years.astype(float), self.grid(quantity))

    def counting(self) -> npt.NDArray[np.int64]:
        return (~np.isnan(self.grid("dormant"))).astype(np.int64)

    def grid(self, column: str) -> FloatArray:
        days = self.dormant[:, self.known]
        if column == "happened_dormant":
            return np.where(np.isnan(days), np.nan, np.isfinite(days))
        if column == "dormant":
            return np.where(np.isfinite(days), days, np.nan)
        return np.where(np.isnan(days), np.nan, 1.0)

    def weeks(self, _: str, weeks: int) -> npt.NDArray[np.float32]:
        days = np.where(np.isinf(self.dormant[:, self.known]), 300.0, self.dormant[:, self.known])
        return np.repeat((days[..., None] / 50).astype(np.float32), weeks, axis=-1)


def listed(seed: int) -> Listed:
    """Three regions of one to five stations, with gaps, spans of their own and dates that miss."""
    draw = np.random.default_rng(seed)
    names = [name for name in "ABC" for _ in range(int(draw.integers(1, 6)))]
    days = 150 + draw.normal(0, 8, (len(names), 1)) + draw.normal(0, 6, len(YEARS))
    days = days + draw.normal(0, 3, days.shape)
    days[draw.random(days.shape) < 0.1] = np.inf
    days[draw.random(days.shape) < 0.1] = np.nan
    for n, name in enumerate(names):
        first = {"A": 5, "B": 0, "C": 9}[name] + int(draw.integers(0, 6))
        days[n, :first] = np.nan
        days[n, 26 if name == "A" else 30 :] = np.nan
    ids = [f"S{n}" for n in draw.permutation(len(names))]
    return Listed(ids, names, draw.integers(0, 9, len(names)), days)


def tables(found: Regional) -> dict[str, list[dict[str, str]]]:
    """What the written tables say of each region; q values count the other regions' tests."""
    said: dict[str, list[dict[str, str]]] = {region.name: [] for region in found.regions}
    with TemporaryDirectory() as folder:
        for path in write_regional(Path(folder), found):
            with path.open(encoding="utf-8", newline="") as stream:
                for row in csv.DictReader(stream):
                    own = {k: v for k, v in row.items() if not k.endswith(("q_value", "_q"))}
                    if "region" in row:
                        said[row["region"]].append(own)
    return said


def _apart(found: list[WeeksBetween]) -> FloatArray:
    """How A differs from B, week by week."""
    (one,) = (each for each in found if {each.first, each.second} == {"A", "B"})
    ends = np.array([one.middle, one.low, one.high])
    return ends if one.first == "A" else -ends[[0, 2, 1]]


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10_000), st.data())
def test_a_region_says_the_same_whoever_is_beside_it_in_any_order(
    seed: int, choice: st.DataObject
) -> None:
    whole = listed(seed)
    order = choice.draw(st.permutations(range(len(whole))))
    others = choice.draw(st.sampled_from(["AB", "ABC", "ACB"]))
    some = [n for n in order if whole.region[n] in others]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SeasonRows, "of", lambda kept: kept)
        told = regional(cast("Kept", whole))
        again = regional(cast("Kept", whole.of(some)))
    before, after = tables(told), tables(again)
    assert set(after) == set(others)
    for name, rows in after.items():
        assert len(rows) > 100
        assert rows == before[name]
    pairs = {frozenset((b.first, b.second)): b for b in told.between if b.quantity == "dormant"}
    for b in again.between:
        if b.quantity != "dormant":
            continue
        first = pairs[frozenset((b.first, b.second))]
        ends = np.array([b.difference.middle, b.difference.low, b.difference.high])
        same = first.difference.middle, first.difference.low, first.difference.high
        turned = ends if b.first == first.first else -ends[[0, 2, 1]]
        np.testing.assert_allclose(turned, same, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(b.p, first.p, rtol=1e-6)
    np.testing.assert_allclose(
        _apart(list(again.weeks_between)), _apart(list(told.weeks_between)), atol=1e-9
    )


def test_a_place_draws_its_own_weights() -> None:
    """Exponential as SciPy knows it, and of one place nothing that another has."""
    places = np.array([7, 5_400_000_123, 7, 0])
    drawn = station_draws(places)
    assert drawn.shape == (DRAWS, 4)
    np.testing.assert_array_equal(drawn[:, 0], drawn[:, 2])
    np.testing.assert_array_equal(drawn[:, [1]], station_draws(places[[1]]))
    many = station_draws(np.arange(300))
    assert kstest(many.ravel(), "expon").pvalue > 0.01
    between = np.corrcoef(many.T)[np.triu_indices(300, 1)]
    assert abs(between).max() < 5.5 / DRAWS**0.5  # of 44,850 pairs
    assert between.std() == pytest.approx(1 / DRAWS**0.5, rel=0.03)


def test_a_place_has_the_same_number_in_every_comparison() -> None:
    at = {"latitude": [30.0, -0.0001, 0.0001], "longitude": [-180.0, 7.0004, 6.9996]}
    numbers = listed_as(data().stations, **at).places()
    assert numbers[1] == numbers[2]
    at = {"latitude": [-0.0001, 30.0, 30.0], "longitude": [7.0004, 180.0, -180.0004]}
    others = listed_as(data().stations, **at).places()
    assert others.tolist() == numbers[[1, 0, 0]].tolist()
    assert len({*numbers.tolist()}) == 2
