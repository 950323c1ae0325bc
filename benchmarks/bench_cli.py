"""Start-up and first answer, as ratios to bare imports in the same run.

    python benchmarks/bench_cli.py

Targets: ``windowcast --help`` ≤ 2 × ``import click``; ``windowcast rank --sample`` ≤ 2.5 ×
``import pandas``. Each figure is the median of alternating runs, so that a busy machine weighs
on both sides alike.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

PAIRS = [
    ("windowcast --help", ["-m", "windowcast", "--help"], "import click", 1.2),
    ("windowcast rank --sample", ["-m", "windowcast", "rank", "--sample"], "import pandas", 1.2),
]


def seconds(args: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *args], check=True, capture_output=True)
    return time.perf_counter() - start


def main(rounds: int = 9) -> None:
    print(f"{'command':28} {'s':>7}  {'baseline':16} {'s':>7} {'ratio':>6}  target")
    for name, args, baseline, target in PAIRS:
        ours, theirs = [], []
        for _ in range(rounds):
            ours.append(seconds(args))
            theirs.append(seconds(["-c", baseline]))
        a, b = statistics.median(ours), statistics.median(theirs)
        print(f"{name:28} {a:7.3f}  {baseline:16} {b:7.3f} {a / b:6.2f}  ≤ {target}")


if __name__ == "__main__":
    main()
