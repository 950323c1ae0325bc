"""Humidity against FAO-56 worked examples, MetPy, psychrolib and a table of wet bulbs."""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from windowcast.physics import humidity as h

temps = st.floats(-20, 45)


def test_fao56_example_2_pressure_and_psychrometric_constant() -> None:
    # FAO-56 example 2: 1800 m → 81.8 kPa, gamma 0.054 kPa/°C (0.665e-3 P, eq. 8)
    assert h.pressure_hpa(1800) / 10 == pytest.approx(81.8, abs=0.05)
    assert 0.665e-3 * h.pressure_hpa(1800) / 10 == pytest.approx(0.054, abs=0.0005)


def test_fao56_example_3_saturation() -> None:
    # FAO-56 example 3: 24.5 °C → 3.075 kPa, 15 °C → 1.705 kPa
    got = h.saturation_vapour_pressure_hpa([24.5, 15.0]) / 10
    assert got == pytest.approx([3.075, 1.705], abs=0.0006)


def psychrometer_hpa(temp_c: float, wet_c: float, station_hpa: float) -> float:
    """Vapour pressure from the bulbs of a ventilated psychrometer, FAO-56 eq. 15 and 16."""
    saturated = 6.108 * math.exp(17.27 * wet_c / (wet_c + 237.3))
    return saturated - 0.000662 * float(station_hpa) * (temp_c - wet_c)


def test_fao56_example_4_psychrometer() -> None:
    # FAO-56 example 4: dry 25.6, wet 19.5 °C at 1200 m, ventilated → 1.91 kPa
    vapour = psychrometer_hpa(25.6, 19.5, h.pressure_hpa(1200))
    assert vapour / 10 == pytest.approx(1.91, abs=0.005)
    # and back again: the wet bulb of that air
    dew = h.dewpoint_from_rh_c(25.6, 100 * vapour / h.saturation_vapour_pressure_hpa(25.6))
    assert h.wet_bulb_c(25.6, dew, h.pressure_hpa(1200)) == pytest.approx(19.5, abs=0.01)


def test_fao56_example_5_mean_vapour_pressure() -> None:
    # FAO-56 example 5: 18 °C at 82 % and 25 °C at 54 % → mean 1.70 kPa
    dew = h.dewpoint_from_rh_c([18.0, 25.0], [82.0, 54.0])
    assert h.saturation_vapour_pressure_hpa(dew).mean() / 10 == pytest.approx(1.70, abs=0.005)


@pytest.mark.parametrize(
    ("temp", "rh", "expected"),
    [
        # Psychrometer equation at 101.3 kPa, a = 0.000662, solved independently by bisection
        (20, 50, 13.84),
        (16, 40, 9.33),
        (21.1, 30, 11.74),
        (25, 40, 16.28),
        (10, 90, 9.17),
        (10, 30, 3.66),
        (30, 20, 15.83),
    ],
)
def test_wet_bulb_table(temp: float, rh: float, expected: float) -> None:
    assert h.wet_bulb_c(temp, h.dewpoint_from_rh_c(temp, rh)) == pytest.approx(expected, abs=0.006)


def test_wet_bulb_against_psychrolib(monkeypatch: pytest.MonkeyPatch) -> None:
    """psychrolib's thermodynamic wet bulb; the psychrometer reads within 0.2 °C of it."""
    monkeypatch.setitem(sys.modules, "numba", None)  # it would spend its time on compiling itself
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    grid = [
        (t, rh, z) for t in (2.0, 8.0, 15.0, 22.0, 30.0) for rh in (30, 60, 95) for z in (0, 900)
    ]
    for temp, rh, height in grid:
        station = float(h.pressure_hpa(height))
        want = psychrolib.GetTWetBulbFromRelHum(temp, rh / 100, station * 100)
        if want < 0:  # psychrolib turns to the ice bulb there; we keep the bulb wet
            continue
        got = float(h.wet_bulb_c(temp, h.dewpoint_from_rh_c(temp, rh), station))
        assert got == pytest.approx(want, abs=0.2), (temp, rh, height)


def test_against_metpy() -> None:
    """MetPy 1.6 or later: dew point and vapour pressure within 0.1 °C and 0.5 %."""
    mpcalc = pytest.importorskip("metpy.calc")
    from metpy.units import units

    temp, rh = np.meshgrid([0.0, 10.0, 20.0, 30.0], [30.0, 60.0, 90.0])
    dew = mpcalc.dewpoint_from_relative_humidity(temp * units.degC, rh * units.percent)
    assert h.dewpoint_from_rh_c(temp, rh) == pytest.approx(dew.m_as("degC"), abs=0.1)
    vapour = mpcalc.saturation_vapor_pressure(temp * units.degC).m_as("hPa")
    assert h.saturation_vapour_pressure_hpa(temp) == pytest.approx(vapour, rel=0.005)
    back = mpcalc.relative_humidity_from_dewpoint(temp * units.degC, dew).m_as("percent")
    assert h.relative_humidity_pct(temp, dew.m_as("degC")) == pytest.approx(back, abs=0.3)


@given(temps, st.floats(1, 100), st.floats(-400, 4000))
def test_wet_bulb_lies_between_dew_point_and_air(temp: float, rh: float, height: float) -> None:
    dew = h.dewpoint_from_rh_c(temp, rh)
    station = h.pressure_hpa(height)
    wet = h.wet_bulb_c(temp, dew, station)
    assert dew - 1e-6 <= wet <= temp + 1e-6
    # 0.001 °C either side the psychrometer reads drier and wetter air: the root lies between
    vapour = float(h.saturation_vapour_pressure_hpa(dew))
    below, above = (psychrometer_hpa(temp, float(wet) + d, station) for d in (-0.001, 0.001))
    assert below < vapour < above


@given(temps, st.floats(1, 99))
def test_dew_point_and_humidity_are_inverse(temp: float, rh: float) -> None:
    assert h.relative_humidity_pct(temp, h.dewpoint_from_rh_c(temp, rh)) == pytest.approx(rh)


def test_missing_stays_missing_and_leading_axes_broadcast() -> None:
    temp = np.array([[20.0, np.nan], [10.0, 5.0]])
    dew = np.array([5.0, 1.0])
    wet = h.wet_bulb_c(temp, dew)
    assert wet.shape == (2, 2)
    assert np.isnan(wet[0, 1])
    assert np.isfinite(wet[1]).all()
    assert np.isnan(h.dewpoint_from_rh_c(20.0, 0.0))
