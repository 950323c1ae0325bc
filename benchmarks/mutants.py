"""How many small faults put into the code the tests notice: mutation testing by `mutmut`.

    pip install -e ".[dev,mutants]"
    python benchmarks/mutants.py                          # every mutant: a night
    python benchmarks/mutants.py --sample 60 --seed 1     # so many of each package

It works on a copy of the tree in --work (a temporary folder when none is given; a folder that is
given is used again, so that only what changed is made anew). mutmut asks only those tests about a
mutant that come through the changed function. A mutant no test comes through counts as survived,
one that runs much longer than its tests do as killed. Ends with 1 where a package lies below the
floor.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

TOP = Path(__file__).parent.parent
PACKAGES = ("windows", "limits", "materials", "records")
TESTS = (  # what comes through those packages, without the network, the pages and the regions
    "actives", "api", "barrier", "boundaries", "cli_log", "cli_rank", "criteria", "decide", "hours",
    "limit_boundaries", "limits", "log_fields", "log_observed", "odds", "phrases", "plan", "rank",
    "rates", "report_tables", "review", "rotation", "score", "store", "tank", "timing", "trials",
    "review_limits", "values", "verify_turf", "watch",
)  # fmt: skip
BESIDE = ("sample_weather", "benchmarks", "docs", "README.md", "CHANGELOG.md", "DEVELOPERS.md")
BESIDE += ("LICENSE", "CITATION.cff")
LEFT_OUT = {".git", ".venv", "mutants", "__pycache__", ".mypy_cache", ".ruff_cache", ".hypothesis"}
KILLED, SURVIVED, UNTESTED = "killed", "survived", "no test"
_SURVIVED, _UNTESTED = 0, 33  # exit codes in mutmut's records; any other means that it was noticed


def config(packages: Sequence[str]) -> str:
    tests = [f"tests/test_{name}.py" for name in TESTS]
    settings = {
        "source_paths": ["windowcast"],
        "only_mutate": [f"windowcast/{package}/*" for package in packages],
        "also_copy": list(BESIDE),
        "pytest_add_cli_args_test_selection": [name for name in tests if (TOP / name).exists()],
        "pytest_add_cli_args": ["-p", "no:cacheprovider", "-o", "addopts=-q -n0", "-m", "not slow"],
    }
    return "\n[tool.mutmut]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in settings.items())


def copied(work: Path, packages: Sequence[str]) -> None:
    """Bring the tree into the folder; a mutated file that has changed is to be mutated anew."""
    for source in _files(TOP):
        name = source.relative_to(TOP)
        parts = name.parts
        mutated = name.suffix == ".py" and parts[0] == "windowcast" and parts[1] in packages
        changed = _brought(source, work / name)
        target = work / "mutants" / name
        if not mutated:
            _brought(source, target)
        elif changed:
            target.unlink(missing_ok=True)
            target.with_name(f"{target.name}.meta").unlink(missing_ok=True)
    project = work / "pyproject.toml"
    project.write_text(project.read_text("utf-8") + config(packages), "utf-8")


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


def results(work: Path) -> dict[str, int | None]:
    """Mutant → exit code of its tests, None where it was not asked."""
    found = {}
    for meta in sorted((work / "mutants" / "windowcast").rglob("*.meta")):
        found.update(json.loads(meta.read_text("utf-8"))["exit_code_by_key"])
    return found


def mutmut(work: Path, *names: str) -> int:
    command = [sys.executable, "-m", "mutmut", "run", *names]
    with (work / "mutmut.log").open("a", encoding="utf-8") as log:
        return subprocess.run(command, cwd=work, stdout=log, stderr=log, check=False).returncode


def package_of(name: str) -> str:
    return name.split(".")[1]


def sampled(names: Sequence[str], count: int | None, seed: int) -> list[str]:
    """So many of each package, drawn by the seed alone."""
    if count is None:
        return list(names)
    chosen = []
    for package in PACKAGES:
        own = sorted(name for name in names if package_of(name) == package)
        chosen += random.Random(f"{seed} {package}").sample(own, min(count, len(own)))
    return chosen


def verdict(code: int | None) -> str:
    return {_SURVIVED: SURVIVED, _UNTESTED: UNTESTED, None: UNTESTED}.get(code, KILLED)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--sample", type=int, metavar="N", help="mutants of each package")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--package", action="append", choices=PACKAGES, dest="packages")
    parser.add_argument("--again", action="store_true", help="only those that survived last time")
    parser.add_argument("--work", type=Path)
    parser.add_argument("--floor", type=float, default=0.85, help="share killed in each package")
    asked = parser.parse_args()
    packages = asked.packages or PACKAGES
    with tempfile.TemporaryDirectory() as scratch:
        work = asked.work or Path(scratch)
        before = {name: code for name, code in results(work).items() if code is not None}
        copied(work, PACKAGES)
        mutmut(work, "no mutant of this name*")  # makes the mutants and asks which test sees what
        names = [name for name in results(work) if package_of(name) in packages]
        if asked.again:
            chosen = [name for name in names if verdict(before.get(name, 1)) != KILLED]
        else:
            chosen = sampled(names, asked.sample, asked.seed)
        if not chosen or mutmut(work, *chosen):
            print((work / "mutmut.log").read_text("utf-8")[-3000:])
            return 2
        codes = results(work)
        return report({name: verdict(codes[name]) for name in chosen}, work, asked.floor)


def report(found: dict[str, str], work: Path, floor: float) -> int:
    print("| package | mutants | killed | survived | no test | share killed |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    below = 0
    for package in PACKAGES:
        count = Counter(what for name, what in found.items() if package_of(name) == package)
        if not count.total():
            continue
        share = count[KILLED] / count.total()
        below += share < floor
        cells = [count.total(), count[KILLED], count[SURVIVED], count[UNTESTED]]
        print(f"| `{package}` | {' | '.join(map(str, cells))} | {100 * share:.0f} % |")
    for name, what in found.items():
        if what != KILLED:
            command = [sys.executable, "-m", "mutmut", "show", name]
            shown = subprocess.run(command, cwd=work, capture_output=True, text=True, check=False)
            print(f"\n{what}: {shown.stdout}", file=sys.stderr)
    return min(below, 1)


if __name__ == "__main__":
    sys.exit(main())
