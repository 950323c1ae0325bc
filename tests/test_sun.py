"""Sun position and extraterrestrial radiation against FAO-56 and pvlib."""

from __future__ import annotations

import numpy as np
import pytest

from windowcast.physics import sun


def test_fao56_example_8_and_9() -> None:
    # Allen et al. 1998, FAO-56, examples 8 and 9: 3 September, 20 degrees south.
    assert sun.extraterrestrial_radiation_mj_m2(-20, 246) == pytest.approx(32.2, abs=0.05)
    assert sun.day_length_h(-20, 246) == pytest.approx(11.7, abs=0.05)


@pytest.mark.parametrize(
    ("latitude", "day", "radiation", "hours"),
    [
        (13.73, 105, 38.06, 12.31),  # FAO-56 example 17, Bangkok
        (50.80, 187, 41.09, 16.10),  # FAO-56 example 18, Uccle
    ],
)
def test_fao56_examples_17_and_18(
    latitude: float, day: int, radiation: float, hours: float
) -> None:
    assert sun.extraterrestrial_radiation_mj_m2(latitude, day) == pytest.approx(radiation, abs=0.02)
    assert sun.day_length_h(latitude, day) == pytest.approx(hours, abs=0.02)


def test_polar_night_and_day() -> None:
    assert sun.extraterrestrial_radiation_mj_m2(75, 355) == 0
    assert sun.day_length_h([75, -75], 355).tolist() == [0, 24]
    rise, fall = sun.sunrise_sunset_utc(75, 20, np.array(["2023-12-21"], "datetime64[D]"))
    assert np.isnat(rise).all()
    assert np.isnat(fall).all()


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(35.1, -90.0), (-33.9, 151.2), (68.0, 20.0), (0.0, 179.5)]
)
def test_elevation_against_pvlib(latitude: float, longitude: float) -> None:
    # pvlib's NREL SPA implementation (Reda & Andreas 2004).
    import pandas as pd
    from pvlib import solarposition

    times = pd.date_range("2024-01-01", "2024-12-31", freq="5h", tz="UTC")
    expected = solarposition.spa_python(times, latitude, longitude)["elevation"].to_numpy()
    ours = sun.solar_elevation_deg(
        latitude, longitude, times.tz_localize(None).to_numpy("datetime64[s]")
    )
    assert np.abs(ours - expected).max() < 0.03


@pytest.mark.parametrize(("latitude", "longitude"), [(35.1, -90.0), (-33.9, 151.2), (60.0, 20.0)])
def test_rise_and_set_against_pvlib(latitude: float, longitude: float) -> None:
    import pandas as pd
    from pvlib import solarposition

    dates = np.arange("2023-01-01", "2025-01-01", 3, dtype="datetime64[D]")
    offset_h = round(longitude / 15)
    noons = pd.DatetimeIndex(dates).tz_localize(f"Etc/GMT{-offset_h:+d}") + pd.Timedelta(hours=12)
    expected = solarposition.sun_rise_set_transit_spa(noons, latitude, longitude)
    rise, fall = sun.sunrise_sunset_utc(latitude, longitude, dates)
    for ours, name in ((rise, "sunrise"), (fall, "sunset")):
        theirs = expected[name].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[s]")
        assert np.abs((ours - theirs).astype(int)).max() < 90


def test_rise_follows_the_clock_across_the_date_line() -> None:
    # Apia keeps UTC+13 at 171.8° W: its noon of 2 January is 1 January in solar time there.
    date = np.array(["2024-01-02"], "datetime64[D]")
    rise, fall = sun.sunrise_sunset_utc(-13.8, -171.8, date, utc_offset_h=13)
    local = [(t + np.timedelta64(13, "h")).astype("datetime64[D]")[0] for t in (rise, fall)]
    assert local == [date[0], date[0]]


def test_arguments_broadcast() -> None:
    days = np.arange(1, 366)
    assert sun.extraterrestrial_radiation_mj_m2(np.array([[10.0], [40.0]]), days).shape == (2, 365)
    dates = np.array(["2024-12-31", "2024-03-01", "2023-01-01"], "datetime64[D]")
    assert sun.day_of_year(dates).tolist() == [366, 61, 1]
