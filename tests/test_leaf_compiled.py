"""Turf of many stations, compiled, is that of arrays: every number of the state, to the bit."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from region_weather import gappy

from windowcast.core.values import PACKAGED
from windowcast.season.turf import TurfCarry, history_days, turf_state


@pytest.mark.parametrize("southern", [False, True])
def test_same_as_in_arrays(southern: bool) -> None:
    draw = np.random.default_rng(int(southern))
    record = gappy(draw, southern=southern, years=(1.5, 2.5))
    shape = 3, len(record.times)
    night = record.get("tmin_c") + draw.normal(0, 2, shape)
    night[0, 200:230] = np.nan
    soil = record.get("tmax_c") - 7 + draw.normal(0, 1, shape)
    soil[1, 300:304] = np.nan
    given = soil, night, night + 6
    common: dict[str, Any] = {
        "species": "hybrid bermudagrass",
        "southern": southern,
        "soil_sd_c": np.array([0.4, 0.8, 1.2]),
    }

    def both(days: slice, carries: tuple[TurfCarry | None, ...], **more: Any) -> list[Any]:
        """The same days as arrays and compiled, from what each carried on."""
        part = tuple(values[:, days] for values in given)
        return [
            turf_state(record.times[days], *part, carry=one, compiled=compiled, **common, **more)
            for compiled, one in zip((False, True), carries, strict=True)
        ]

    def alike(pairs: list[Any]) -> None:
        (arrays, carry), (compiled, theirs) = pairs
        for own, other in ((arrays, compiled), (carry, theirs), (carry.worlds, theirs.worlds)):
            names = own._fields if own is carry.worlds else [f.name for f in fields(own)]
            for name in (name for name in names if name != "worlds"):
                values = getattr(own, name), getattr(other, name)
                np.testing.assert_array_equal(*values, name)
                assert np.asarray(values[0]).dtype == np.asarray(values[1]).dtype

    whole = both(slice(None), (None, None))
    alike(whole)
    compiled = whole[1][0]
    assert np.isfinite(compiled.green_probability).sum() > 600
    assert 0 < (compiled.greening_begun > 0).mean() < 1

    cut = 500  # goes on from a day on which the worlds differ
    begun = both(slice(cut), (None, None))
    back = slice(cut - history_days(PACKAGED["turf"]), cut)
    history = tuple(values[:, back] for values in given)
    alike(both(slice(cut, None), (begun[0][1], begun[1][1]), history=history))
