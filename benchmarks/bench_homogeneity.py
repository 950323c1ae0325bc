"""How often a break is flagged where there is none, and found where there is one, by simulation.

Networks of stations at random places in a square of 600 km. Each year's temperature departs by
0.8 K in common (correlation falls by distance, to 1/e at 800 km) and by 0.2 K at each station
alone; that own part may resemble the year before. A third of the stations lacks some years. A step
is put into the highs of a tenth of the stations, between the fifth year and the last but five.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.values import load
from windowcast.region.homogeneity import breaks

STATIONS = 60
SIDE_KM, SCALE_KM, COMMON_K, OWN_K = 600.0, 800.0, 0.8, 0.2
KM_PER_DEGREE = 111.2


def simulated(seasons: int, memory: float, step_k: float, networks: int, seed: int = 7) -> tuple[
    float, float, float
]:  # fmt: skip
    """Share of whole stations flagged, of broken ones flagged, and of those within two years."""
    rng = np.random.default_rng(seed)
    marks = load("homogeneity")
    false, found, close, whole, broken = 0, 0, 0, 0, 0
    for _ in range(networks):
        x, y = rng.uniform(0, SIDE_KM, (2, STATIONS))
        apart = np.hypot(x[:, None] - x, y[:, None] - y)
        root = np.linalg.cholesky(np.exp(-apart / SCALE_KM) + 1e-9 * np.eye(STATIONS))
        both = []
        for _ in range(2):
            common = COMMON_K * root @ rng.standard_normal((STATIONS, seasons))
            own = rng.standard_normal((STATIONS, seasons + 20))
            for year in range(1, own.shape[1]):
                own[:, year] = memory * own[:, year - 1] + np.sqrt(1 - memory**2) * own[:, year]
            both.append(common + OWN_K * own[:, 20:] + 0.03 * np.arange(seasons))
        gaps = (rng.random((STATIONS, seasons)) < 0.1) & (np.arange(STATIONS) % 3 == 0)[:, None]
        some = np.arange(STATIONS) < STATIONS // 10 if step_k else np.zeros(STATIONS, bool)
        when = rng.integers(5, seasons - 5, STATIONS)
        both[0] += step_k * (some[:, None] & (np.arange(seasons) >= when[:, None]))
        highs, lows = (np.where(gaps, np.nan, values) for values in both)
        told = breaks(highs, lows, y / KM_PER_DEGREE, x / KM_PER_DEGREE, marks)
        flagged = told.season >= 0
        false, whole = false + int(flagged[~some].sum()), whole + int((~some).sum())
        found, broken = found + int(flagged[some].sum()), broken + int(some.sum())
        close += int((flagged & (np.abs(told.season - when) <= 2))[some].sum())
    return false / whole, found / max(broken, 1), close / max(broken, 1)


def main() -> None:
    print("seasons memory step_K  false  found  within two years")
    for seasons in (15, 30, 60):
        for memory in (0.0, 0.2):
            for step_k in (0.0, 0.3, 0.5, 1.0):
                told = simulated(seasons, memory, step_k, 30)
                print(
                    f"{seasons:7d} {memory:6.1f} {step_k:6.1f} "
                    + " ".join(f"{v:6.3f}" for v in told)
                )


if __name__ == "__main__":
    main()
