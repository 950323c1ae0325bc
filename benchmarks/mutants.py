"""How many small faults put into the code the tests notice: mutation testing.

    pip install -e ".[dev,mutants]"
    python benchmarks/mutants.py                          # every mutant: a night or two
    python benchmarks/mutants.py --sample 60 --seed 1     # so many of each package

`mutmut` makes the mutants, on a copy of the tree in --work (a temporary folder when none is given;
one that is given is used again, so that only what changed is made anew). Each mutant is then tried
in a process forked from this one, by the tests that `TESTS` names for its package, quick ones
first, until one fails. One that runs on and on counts as killed. Survivors are shown as differences
on the error output. Ends with 1 where a package lies below the floor.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

TOP = Path(__file__).parent.parent
TESTS = {  # package → what tests it, quick ones first
    "windows": (
        "score",
        "boundaries",
        "criteria",
        "hours",
        "timing",
        "odds",
        "barrier",
        "rank",
        "choices",
        "plan",
    ),
    "limits": ("limit_boundaries", "limits", "boundaries"),
    "materials": ("rotation", "rates", "actives", "tank"),
    "records": (
        "review_limits",
        "verdict",
        "jobs",
        "log_observed",
        "log_fields",
        "trials",
        "store",
        "review",
        "cli_log",
    ),
}
BESIDE = ("sample_weather", "benchmarks", "docs", "README.md", "CHANGELOG.md", "DEVELOPERS.md")
BESIDE += ("LICENSE", "CITATION.cff")
LEFT_OUT = {".git", ".venv", "mutants", "__pycache__", ".mypy_cache", ".ruff_cache", ".hypothesis"}
KILLED, SURVIVED, SLOW = "killed", "survived", "killed by the clock"
SECONDS = 300  # of the processor, for the tests of one mutant


def config() -> str:
    settings = {
        "source_paths": ["windowcast"],
        "only_mutate": [f"windowcast/{package}/*" for package in TESTS],
        "also_copy": list(BESIDE),
        "pytest_add_cli_args_test_selection": ["tests/test_score.py"],  # only to make the mutants
        "pytest_add_cli_args": ["-p", "no:cacheprovider", "-o", "addopts=-q -n0"],
    }
    return "\n[tool.mutmut]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in settings.items())


def copied(work: Path) -> None:
    """Bring the tree into the folder; a mutated file that has changed is to be mutated anew."""
    for source in _files(TOP):
        name = source.relative_to(TOP)
        parts = name.parts
        mutated = name.suffix == ".py" and parts[0] == "windowcast" and parts[1] in TESTS
        changed = _brought(source, work / name)
        target = work / "mutants" / name
        if not mutated:
            _brought(source, target)
        elif changed:
            target.unlink(missing_ok=True)
            target.with_name(f"{target.name}.meta").unlink(missing_ok=True)
    project = work / "pyproject.toml"
    project.write_text(project.read_text("utf-8") + config(), "utf-8")


def _brought(source: Path, target: Path) -> bool:
    """Copy a file where the copy is not the same; whether it was not."""
    if target.exists() and target.read_bytes() == source.read_bytes():
        return False
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    return True


def _files(folder: Path) -> Iterator[Path]:
    for entry in sorted(folder.iterdir()):
        if entry.name in LEFT_OUT:
            continue
        if entry.is_dir():
            yield from _files(entry)
        else:
            yield entry


def made(work: Path) -> list[str]:
    """Make the mutants; their names."""
    command = [
        sys.executable,
        "-m",
        "mutmut",
        "run",
        "no mutant of this name*",
    ]  # makes, tries none
    with (work / "mutmut.log").open("w", encoding="utf-8") as log:
        subprocess.run(command, cwd=work, stdout=log, stderr=log, check=False)
    if not list((work / "mutants" / "windowcast").rglob("*.meta")):
        raise SystemExit(f"mutmut made no mutants; see {work / 'mutmut.log'}")
    names: list[str] = []
    for meta in sorted((work / "mutants" / "windowcast").rglob("*.meta")):
        names += json.loads(meta.read_text("utf-8"))["exit_code_by_key"]
    return names


def tried(names: Sequence[str], work: Path, jobs: int) -> dict[str, str]:
    """What the tests make of each mutant."""
    import hypothesis  # noqa: F401  loaded once, for every fork
    import pandas as pd  # noqa: F401
    import pytest  # noqa: F401
    import scipy.stats  # noqa: F401

    waiting, running, found = list(reversed(names)), {}, {}
    while waiting or running:
        while waiting and len(running) < jobs:
            name = waiting.pop()
            running[_forked(name, work)] = name, time.monotonic()
        pid, status = os.wait()
        name, since = running.pop(pid)
        code = os.waitstatus_to_exitcode(status)
        found[name] = SURVIVED if code == 0 else SLOW if code == -signal.SIGXCPU else KILLED
        print(
            f"{time.monotonic() - since:4.0f} s {found[name]}: {name}", file=sys.stderr, flush=True
        )
    return found


def _forked(name: str, work: Path) -> int:
    """A process that tries one mutant, or the code as it is for an empty name."""
    pid = os.fork()
    if pid:
        return pid
    import pytest

    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 5))
    os.environ["MUTANT_UNDER_TEST"] = "" if name in TESTS else name
    os.chdir(work / "mutants")
    sys.path[:0] = [str(work / "mutants"), str(work / "mutants" / "tests")]
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.dup2(1, 2)
    package = name if name in TESTS else package_of(name)
    files = [f"tests/test_{test}.py" for test in TESTS[package]]
    addopts = ["-o", "addopts=-q -x -n0", "-p", "no:cacheprovider", "-m", "not slow"]
    os._exit(int(pytest.main([*files, *addopts])))


def package_of(name: str) -> str:
    return name.split(".")[1]


def sampled(names: Sequence[str], count: int | None, seed: int) -> list[str]:
    """So many of each package, drawn by the seed alone."""
    if count is None:
        return list(names)
    chosen = []
    for package in TESTS:
        own = sorted(name for name in names if package_of(name) == package)
        chosen += random.Random(f"{seed} {package}").sample(own, min(count, len(own)))
    return chosen


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--sample", type=int, metavar="N", help="mutants of each package")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", metavar="MUTANT", help="these, by their names")
    parser.add_argument("--work", type=Path)
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    parser.add_argument("--floor", type=float, default=0.85, help="share killed in each package")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        work = (asked.work or Path(scratch)).resolve()
        copied(work)
        chosen = asked.only or sampled(made(work), asked.sample, asked.seed)
        broken = [
            name for name, what in tried(list(TESTS), work, asked.jobs).items() if what != SURVIVED
        ]
        if not chosen or broken:
            print(f"the tests fail without a mutant: {broken}; see {work}", file=sys.stderr)
            return 2
        return report(tried(chosen, work, asked.jobs), work, asked.floor)


def report(found: Mapping[str, str], work: Path, floor: float) -> int:
    print("| package | mutants | killed | by the clock | survived | share killed |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    below = 0
    for package in TESTS:
        count = Counter(what for name, what in found.items() if package_of(name) == package)
        if not count.total():
            continue
        share = 1 - count[SURVIVED] / count.total()
        below += share < floor
        cells = [count.total(), count[KILLED], count[SLOW], count[SURVIVED]]
        print(f"| `{package}` | {' | '.join(map(str, cells))} | {100 * share:.0f} % |")
    for name, what in found.items():
        if what == SURVIVED:
            command = [sys.executable, "-m", "mutmut", "show", name]
            shown = subprocess.run(command, cwd=work, capture_output=True, text=True, check=False)
            print(f"\n{shown.stdout}", file=sys.stderr)
    return min(below, 1)


if __name__ == "__main__":
    sys.exit(main())
