"""Critical values of the standard normal homogeneity test, by simulation of white noise.

Printed for ``windowcast/data/homogeneity.toml``: a row for each length, a column for each level.
"""

from __future__ import annotations

import numpy as np

from windowcast.region.homogeneity import snht

LENGTHS = (10, 12, 15, 20, 25, 30, 40, 50, 70, 100, 150)
LEVELS = (0.5, 0.2, 0.1, 0.05, 0.025, 0.01, 0.005, 0.001)
DRAWS, BLOCK = 400_000, 20_000


def main() -> None:
    rng = np.random.default_rng(20_261_129)
    for n in LENGTHS:
        found = [snht(rng.standard_normal((BLOCK, n))).statistic for _ in range(0, DRAWS, BLOCK)]
        marks = np.quantile(np.concatenate(found), 1 - np.array(LEVELS))
        print(f"  [{', '.join(f'{mark:.2f}' for mark in marks)}],  # {n}")


if __name__ == "__main__":
    main()
