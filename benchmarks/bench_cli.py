"""Start-up and first answer, as ratios to bare imports in the same run.

    python benchmarks/bench_cli.py

Targets: ``windowcast --help`` ≤ 1.2 × ``import click``; ``windowcast rank --sample`` ≤ 1.2 ×
``import pandas``, once the soil of past years is kept in the cache. The first answer, with an empty
cache, stands beside it. Each figure is the median of alternating runs, so that a busy machine
weighs on both sides alike. Modules are compiled, as an installation leaves them, and the cache is a
folder of this run.
"""

from __future__ import annotations

import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RANK = ["-m", "windowcast", "rank", "--sample"]
# name → words, what it is measured against, whether the cache is emptied first, target
CASES = {
    "windowcast --help": (["-m", "windowcast", "--help"], "import click", False, 1.2),
    "rank --sample, again": (RANK, "import pandas", False, 1.2),
    "rank --sample, first": (RANK, "import pandas", True, None),
}


def seconds(args: list[str], cache: Path) -> tuple[float, float]:
    """CPU and wall time of one run, s."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    env["WINDOWCAST_CACHE"] = str(cache)
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *args], check=True, capture_output=True, env=env)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return cpu, wall


def main(rounds: int = 9) -> None:
    print(f"{'command':22} {'baseline':14}  {'CPU s':>13} {'ratio':>6}  {'wall s':>13} ratio")
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder) / "cache"
        for name, (args, baseline, emptied, target) in CASES.items():
            ours, theirs = [], []
            seconds(args, cache)  # compiles, and fills the cache
            for _ in range(rounds):
                if emptied:
                    shutil.rmtree(cache, ignore_errors=True)
                ours.append(seconds(args, cache))
                theirs.append(seconds(["-c", baseline], cache))
            told = [f"{name:22} {baseline:14}"]
            for i in range(2):
                a, b = (statistics.median(run[i] for run in runs) for runs in (ours, theirs))
                told.append(f"{a:6.3f} {b:6.3f} {a / b:6.2f}")
            print("  ".join(told), "" if target is None else f" target ≤ {target}")


if __name__ == "__main__":
    main()
