"""Turf of many stations, compiled, is that of arrays: every number of the state, to the bit."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from region_weather import gappy

from windowcast.season.turf import turf_state


@pytest.mark.parametrize("southern", [False, True])
def test_same_as_in_arrays(southern: bool) -> None:
    draw = np.random.default_rng(int(southern))
    record = gappy(draw, southern=southern, years=(1.5, 2.5))
    shape = 3, len(record.times)
    night = record.get("tmin_c") + draw.normal(0, 2, shape)
    night[0, 200:230] = np.nan
    soil = record.get("tmax_c") - 7 + draw.normal(0, 1, shape)
    soil[1, 300:304] = np.nan
    given = record.times, soil, night, night + 6
    common = {"species": "hybrid bermudagrass", "southern": southern}
    doubt = np.array([0.4, 0.8, 1.2])
    arrays, carry = turf_state(*given, soil_sd_c=doubt, **common)
    compiled, none = turf_state(*given, soil_sd_c=doubt, compiled=True, **common)
    assert carry is not None
    assert none is None
    for field in fields(arrays):
        own, theirs = (getattr(state, field.name) for state in (arrays, compiled))
        np.testing.assert_array_equal(own, theirs, field.name)
    assert np.isfinite(compiled.green_probability).sum() > 600
    assert 0 < (compiled.greening_begun > 0).mean() < 1
