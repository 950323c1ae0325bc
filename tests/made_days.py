"""Daily records made up: seasons, spells, rain on three days in ten."""

from __future__ import annotations

import numpy as np

from windowcast.core.lingering import lingering
from windowcast.core.record import Place, Record
from windowcast.core.time_axis import record_of

PLACE = Place("Invented Field", 33.0, -87.0, 60.0, "UTC")


def made_record(
    first: str = "2008-01-01", last: str = "2016-12-31", *, seed: int = 1, place: Place = PLACE
) -> Record:
    """Days of a warm climate: highs and lows °C whose departures last, rain mm."""
    times = np.arange(np.datetime64(first), np.datetime64(last) + np.timedelta64(1, "D"))
    rng = np.random.default_rng(seed)
    new = rng.multivariate_normal([0.0, 0.0], [[1.0, 0.6], [0.6, 1.0]], len(times))
    spells = 5.0 * lingering(new.T, 0.66)  # as departures of stations: 0.66 to 0.68, together 0.6
    course = 17.0 - 10.0 * np.cos(2 * np.pi * (times.astype(int) % 365.25 - 20) / 365.25)
    low = course + spells[0] - 5.0
    high = np.maximum(course + spells[1] + 7.0, low + 1.0)
    rain = np.where(rng.random(len(times)) < 0.3, rng.gamma(0.6, 14.0, len(times)) + 0.3, 0.0)
    values = {"tmax_c": high, "tmin_c": low, "tmean_c": (high + low) / 2, "precip_mm": rain}
    return record_of(place, times, values)
