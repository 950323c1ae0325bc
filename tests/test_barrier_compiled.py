"""Barriers of many stations, compiled, catch what arrays say, to the bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from windowcast.core.record import FloatArray
from windowcast.core.values import load
from windowcast.windows.barrier import caught_by_day
from windowcast.windows.barrier_compiled import caught_on
from windowcast.windows.exposure import Barrier
from windowcast.windows.loss import Loss

LAID = Barrier(14.0, 12.7, 7, Loss.of(load("barrier")), waiting_per_day=0.08)
STATIONS, DAYS = 9, 240


def holed(draw: np.random.Generator, values: FloatArray, often: float) -> FloatArray:
    """With a gap of up to two months in some rows, and an unknown end in others."""
    for row in values:
        if draw.random() < often:
            first = draw.integers(0, DAYS)
            row[first : first + draw.integers(1, 60)] = np.nan
        if draw.random() < often / 3:
            row[draw.integers(0, DAYS) :] = np.nan
    return values


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "laid",
    [LAID, replace(LAID, dose=0.5, at_once_mm=5.0), replace(LAID, at_once_mm=12.7),
     replace(LAID, at_once_mm=90.0), replace(LAID, activation_mm=0.0),
     replace(LAID, half_life_d=2.0)],
)  # fmt: skip
def test_same_as_in_arrays(seed: int, laid: Barrier) -> None:
    draw = np.random.default_rng(seed)
    shape = STATIONS, DAYS
    soil = 12 + 14 * np.sin(np.arange(DAYS) / 58) + draw.normal(0, 3, shape)
    share = np.clip(np.cumsum(draw.random(shape) ** 4, axis=1) / 30, 0, 1)
    rain = np.where(draw.random(shape) < 0.25, draw.gamma(0.7, 11, shape), 0.0).round(1)
    given = [holed(draw, series, 0.3) for series in (share, soil, rain)]
    wanted = draw.random((STATIONS, 180)) < 0.7
    found = caught_on(*given, laid, wanted)
    expected, _ = caught_by_day(*given, laid, slice(0, 180))
    np.testing.assert_array_equal(found, np.where(wanted, expected, np.nan))
    assert np.isfinite(found).sum() > 300
