"""How many small faults put into the code the tests notice: mutation testing.

    pip install -e ".[dev,mutants]"
    python benchmarks/mutants.py --sample 40 --seed 1 --work ~/mutants   # so many of each package
    python benchmarks/mutants.py --work ~/mutants                        # every mutant

`mutmut` makes the mutants, on a copy of the tree in --work (a temporary folder when none is given;
one that is given is used again, so that only what changed is made anew). Then the default tests run
once, and `reach.json` notes which mutated functions each of them enters and what it costs. Each
mutant is tried in a fork of a process that has collected the tests: those that enter its function,
the quickest first, until one fails. A test that kills must pass in such a fork without a mutant.
One that runs on and on counts as killed. Tests beyond `BUDGET_S` are not run, so the share is a
lower bound. Survivors are shown as differences on the error output. Ends with 1 where a package
lies below the floor.
"""

from __future__ import annotations

import argparse
import json
import marshal
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from itertools import accumulate
from math import sqrt
from pathlib import Path
from typing import Any

TOP = Path(__file__).parent.parent
PACKAGES = ("windows", "limits", "materials", "records")
BESIDE = ("sample_weather", "benchmarks", "docs", "README.md", "CHANGELOG.md", "DEVELOPERS.md")
BESIDE += ("LICENSE", "CITATION.cff")
LEFT_OUT = {".git", ".venv", "mutants", "__pycache__", ".mypy_cache", ".ruff_cache", ".hypothesis"}
# whose tests say nothing of these packages, by how their names begin; the share is a lower bound
ELSEWHERE = re.compile(
    r"test_(archive|barrier_|blend|bridging|cache|calendar|charts|degree|dialects|emergence|engine|"
    r"ensemble|files|first|forecast|gallery|gaps|ghcn|grid|hourly|http|humidity|"
    r"init|join|load|model_|morning|own_station|page|phrases|quality|region|report|sample|"
    r"site|soil|sources|state|sun|terminal|units|uscrn|usual|verify|warming|weather|"
    r"web_(ahead|api|co|fu|me|re|se)|words|write|yearly)"
)
KILLED, SURVIVED, SLOW, UNSEEN = "killed", "survived", "killed by the clock", "no test enters it"
EMPTY: dict[str, Any] = {"files": {}, "tests": {}, "at import": []}
BUDGET_S = 20.0  # of tests as they cost without a mutant; what is beyond is not run
PYTEST = ["-p", "no:cacheprovider", "-p", "no:xdist", "-m", "not slow and not browser"]


def config() -> str:
    settings = {
        "source_paths": ["windowcast"],
        "only_mutate": [f"windowcast/{package}/*" for package in PACKAGES],
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
        mutated = name.suffix == ".py" and parts[0] == "windowcast" and parts[1] in PACKAGES
        changed = _brought(source, work / name)
        target = work / "mutants" / name
        if not mutated:
            _brought(source, target)
        elif changed:
            target.unlink(missing_ok=True)
            target.with_name(f"{target.name}.meta").unlink(missing_ok=True)
    for kept in [*_files(work / "windowcast"), *_files(work / "tests")]:
        if not (TOP / kept.relative_to(work)).exists():
            kept.unlink(missing_ok=True)
            for gone in (work / "mutants" / kept.relative_to(work).parent).glob(f"{kept.name}*"):
                gone.unlink()
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
    command = [sys.executable, "-m", "mutmut", "run", "no mutant of this name*"]  # tries none
    with (work / "mutmut.log").open("w", encoding="utf-8") as log:
        subprocess.run(command, cwd=work, stdout=log, stderr=log, check=False)
    if not list((work / "mutants" / "windowcast").rglob("*.meta")):
        raise SystemExit(f"mutmut made no mutants; see {work / 'mutmut.log'}")
    names: list[str] = []
    for meta in sorted((work / "mutants" / "windowcast").rglob("*.meta")):
        names += json.loads(meta.read_text("utf-8"))["exit_code_by_key"]
    return names


class Recorder:
    """A plugin of pytest: what each test enters and costs."""

    def __init__(self, part: Path) -> None:
        self.part = part
        self.entered: set[str] = set()
        self.at_import: list[str] = []
        self.tests: dict[str, dict[str, Any]] = {}
        from mutmut.mutation import trampoline

        trampoline.record_trampoline_hit = lambda name, **_: self.entered.add(name)

    def pytest_collection_finish(self) -> None:
        self.at_import, self.since = sorted(self.entered), time.process_time()
        self.entered.clear()

    def pytest_runtest_logreport(self, report: Any) -> None:
        test = self.tests.setdefault(report.nodeid, {"passed": True, "seconds": 0.0})
        test["passed"] &= report.passed
        test["seconds"] += time.process_time() - self.since
        self.since = time.process_time()
        if report.when == "teardown":
            test["entered"] = sorted(self.entered)
            self.entered.clear()

    def pytest_sessionfinish(self, session: Any) -> None:
        entered = {"tests": self.tests, "at import": self.at_import}
        self.part.write_bytes(marshal.dumps((entered, soil_kept(session))))


class Trials:
    """A plugin of pytest: in place of a run, one fork for each mutant."""

    def __init__(
        self, plan: Mapping[str, Sequence[str]], reach: Mapping[str, Any], *, fresh: bool = False
    ) -> None:
        self.plan, self.reach = plan, reach
        self.fresh = fresh  # the mutant was there when the tests were collected

    def pytest_runtestloop(self, session: Any) -> bool:
        # soil is none of the mutated code: what the tests need of it is worked out once
        soil_kept(session).update(marshal.loads(Path("../soil").read_bytes()))
        self.items = {item.nodeid: item for item in session.items}
        with Path("../found.jsonl").open("a", encoding="utf-8") as found:
            for name, tests in self.plan.items():
                since = time.monotonic()
                what, killer = self.tried(name, [test for test in tests if test in self.items])
                print(json.dumps([name, what, killer]), file=found, flush=True)
                took = f"{time.monotonic() - since:4.0f} s {what}: {name}  {killer}"
                print(took, file=sys.stderr, flush=True)
        return True

    def tried(self, name: str, tests: list[str]) -> tuple[str, str]:
        """What comes of a mutant, and the test that says so."""
        while tests:
            code, killer = self.run(name, tests)
            if code == 0:
                return SURVIVED, ""
            if code == -signal.SIGXCPU:
                return SLOW, killer
            if self.fresh or self.run("", [killer])[0] == 0:
                return KILLED, killer
            tests.remove(killer)  # it fails without a mutant too
        return UNSEEN, ""

    def run(self, name: str, tests: Sequence[str]) -> tuple[int, str]:
        """Exit code of a fork that runs these tests, and the last one it began."""
        end, begin = os.pipe()
        pid = os.fork()
        if pid:
            os.close(begin)
            with os.fdopen(end) as pipe:
                begun = pipe.read().split("\n")
            return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), begun[-2]
        seconds = int(20 + 4 * sum(self.reach["tests"][test]["seconds"] for test in tests))
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
        os.environ["MUTANT_UNDER_TEST"] = name
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        os._exit(self.failed([self.items[test] for test in tests], begin))

    def failed(self, items: Sequence[Any], told: int) -> int:
        from _pytest.runner import runtestprotocol

        for item, following in zip(items, [*items[1:], None], strict=True):
            os.write(told, f"{item.nodeid}\n".encode())
            try:
                if any(r.failed for r in runtestprotocol(item, log=False, nextitem=following)):
                    return 1
            except BaseException:
                return 1
        return 0


def soil_kept(session: Any) -> dict[tuple[str, str], bytes]:
    conftest = str(Path("tests/conftest.py").resolve())
    kept: dict[tuple[str, str], bytes] = session.config.pluginmanager.get_plugin(
        conftest
    ).soil_memory.kept
    return kept


def within(work: Path, plugin: Any, tests: Sequence[str], mutant: str) -> int:
    """A process that runs pytest with a plugin on the mutated tree."""
    pid = os.fork()
    if pid:
        return pid
    import pytest

    tree = work / "mutants"
    os.environ |= {"MUTANT_UNDER_TEST": mutant, "PYTHONPATH": str(tree)}
    os.chdir(tree)
    sys.path[:0] = [str(tree), str(tree / "tests")]
    os.dup2(os.open(work / "pytest.log", os.O_WRONLY | os.O_CREAT | os.O_APPEND), 1)
    os._exit(int(pytest.main([*tests, "-o", "addopts=-q -s", *PYTEST], plugins=[plugin])))


def reached(work: Path, jobs: int) -> dict[str, Any]:
    """What each test enters; the files that have changed since it was asked are asked anew."""
    kept = work / "reach.json"
    files = {
        str(file.relative_to(work)): sha256(file.read_bytes()).hexdigest()
        for file in sorted((work / "tests").glob("test_*.py"))
        if not ELSEWHERE.match(file.name)
    }
    reach = json.loads(kept.read_text("utf-8")) if kept.exists() else dict(EMPTY)
    asked = [file for file in files if reach["files"].get(file) != files[file]]
    reach["tests"] = {
        test: what
        for test, what in reach["tests"].items()
        if test.split("::")[0] in {*files} - {*asked}
    }
    parts = [work / f"entered{job}" for job in range(min(jobs, len(asked)))]
    running = [
        within(work, Recorder(part), asked[job :: len(parts)], "stats")
        for job, part in enumerate(parts)
    ]
    soil = marshal.loads((work / "soil").read_bytes()) if (work / "soil").exists() else {}
    for pid, part in zip(running, parts, strict=True):
        if os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) not in (0, 1):  # 1: a test failed
            raise SystemExit(f"tests were not collected; see {work / 'pytest.log'}")
        entered, runs = marshal.loads(part.read_bytes())
        soil |= runs
        reach["tests"] |= entered["tests"]
        reach["at import"] = sorted({*reach["at import"], *entered["at import"]})
    reach["files"] = files
    kept.write_text(json.dumps(reach), "utf-8")
    (work / "soil").write_bytes(marshal.dumps(soil))
    return reach


def planned(names: Sequence[str], reach: Mapping[str, Any]) -> dict[str, list[str]]:
    """For each mutant the tests that enter its function, quickest first, within the budget."""
    plan: dict[str, list[str]] = {}
    tests = sorted(reach["tests"].items(), key=lambda test: test[1]["seconds"])
    by_function: dict[str, list[str]] = {}
    spent: Counter[str] = Counter()
    for test, what in tests:
        for function in what["entered"] if what["passed"] else ():
            spent[function] += what["seconds"]
            if spent[function] < BUDGET_S:
                by_function.setdefault(function, []).append(test)
    for name in names:
        plan[name] = by_function.get(function_of(name), [])
    return plan


def function_of(mutant: str) -> str:
    return mutant.rpartition("__mutmut_")[0]


def quickest(reach: Mapping[str, Any]) -> list[str]:
    """The quickest of all tests, within the budget."""
    passed = {test: what["seconds"] for test, what in reach["tests"].items() if what["passed"]}
    tests = sorted(passed, key=passed.__getitem__)
    return tests[: sum(total < BUDGET_S for total in accumulate(sorted(passed.values())))]


def tried(names: Sequence[str], work: Path, jobs: int) -> dict[str, str]:
    """What the tests make of each mutant."""
    import hypothesis  # noqa: F401  loaded once, for every fork
    import pandas as pd  # noqa: F401
    import pytest  # noqa: F401
    import scipy.stats  # noqa: F401

    reach = reached(work, jobs)
    plan, files = planned(names, reach), list(reach["files"])
    kept = work / "found.jsonl"
    kept.unlink(missing_ok=True)
    running = [
        within(work, Trials({name: plan[name] for name in names[job::jobs]}, reach), files, "")
        for job in range(jobs)
    ]
    for pid in running:
        os.waitpid(pid, 0)
    found = told(kept)
    if missing := {*names} - {*found}:
        raise SystemExit(f"not tried: {sorted(missing)}; see {work / 'pytest.log'}")
    # what the tests work out when they are collected, a fork finds worked out
    for name in names:
        if found[name] in (SURVIVED, UNSEEN) and function_of(name) in reach["at import"]:
            kept.unlink(missing_ok=True)
            trial = Trials({name: quickest(reach)}, reach, fresh=True)
            os.waitpid(within(work, trial, files, name), 0)
            found[name] = told(kept).get(name, KILLED)  # else not even collected
    return found


def told(kept: Path) -> dict[str, str]:
    if not kept.exists():
        return {}
    return {name: what for name, what, _ in map(json.loads, kept.read_text("utf-8").splitlines())}


def package_of(name: str) -> str:
    return name.split(".")[1]


def sampled(
    names: Sequence[str], count: int | None, seed: int, packages: Sequence[str]
) -> list[str]:
    """So many of each package, drawn by the seed alone; None: all of them."""
    chosen = []
    for package in packages:
        own = sorted(name for name in names if package_of(name) == package)
        most = len(own) if count is None else min(count, len(own))
        chosen += random.Random(f"{seed} {package}").sample(own, most)
    return chosen


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--sample", type=int, metavar="N", help="mutants of each package")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--packages", nargs="+", choices=PACKAGES, default=PACKAGES)
    parser.add_argument("--only", nargs="*", metavar="MUTANT", help="these, by their names")
    parser.add_argument("--work", type=Path)
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    parser.add_argument("--floor", type=float, default=0.85, help="share killed in each package")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        work = (asked.work or Path(scratch)).resolve()
        copied(work)
        names = made(work)  # a file that has changed has lost its mutants
        chosen = asked.only or sampled(names, asked.sample, asked.seed, asked.packages)
        return report(tried(chosen, work, asked.jobs), work, asked.floor)


def wilson(hits: int, tries: int) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22)."""
    z = 1.96
    share, scale = hits / tries, 1 + z * z / tries
    centre = (share + z * z / (2 * tries)) / scale
    half = z * sqrt(share * (1 - share) / tries + (z / (2 * tries)) ** 2) / scale
    return centre - half, centre + half


def report(found: Mapping[str, str], work: Path, floor: float) -> int:
    print("| package | mutants | killed | by the clock | survived | unseen | share | 95 % |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    below = 0
    for package in PACKAGES:
        count = Counter(what for name, what in found.items() if package_of(name) == package)
        total, killed = count.total(), count[KILLED] + count[SLOW]
        if not total:
            continue
        below += killed / total < floor
        cells: list[object] = [total, count[KILLED], count[SLOW], count[SURVIVED], count[UNSEEN]]
        low, high = wilson(killed, total)
        cells += [f"{100 * killed / total:.0f} %", f"{100 * low:.0f} to {100 * high:.0f} %"]
        print(f"| `{package}` | {' | '.join(map(str, cells))} |")
    for name, what in found.items():
        if what in (SURVIVED, UNSEEN):
            command = [sys.executable, "-m", "mutmut", "show", name]
            shown = subprocess.run(command, cwd=work, capture_output=True, text=True, check=False)
            print(f"\n{shown.stdout}", file=sys.stderr)
    return min(below, 1)


if __name__ == "__main__":
    sys.exit(main())
