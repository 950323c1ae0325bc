"""Every example in the public interface, its page in docs/, and beside the formulas is run.

Each runs in an empty namespace, so that it can be copied as it stands.
"""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from itertools import pairwise
from pathlib import Path

import pytest

import windowcast
import windowcast.physics
import windowcast.season

PAGE = Path(__file__).parents[1] / "docs" / "api.md"
PACKAGES = (windowcast.physics, windowcast.season)
MODULES = [f"{p.__name__}.{m.name}" for p in PACKAGES for m in pkgutil.iter_modules(p.__path__)]
MODULES += ["windowcast.core.season_calendar"]
MODULES += [f"windowcast.region.{name}" for name in ("effects", "statistics")]
FUNCTIONS = [n for n in windowcast.__all__ if inspect.isfunction(getattr(windowcast, n))]
SLOW = {"compare"}  # compiles the models


def run(tests: list[doctest.DocTest]) -> int:
    """Run examples; how many there were."""
    runner = doctest.DocTestRunner()
    for test in tests:
        report: list[str] = []
        failed = runner.run(test, out=report.append).failed
        assert not failed, "".join(report)
    return sum(len(test.examples) for test in tests)


@pytest.mark.parametrize("name", MODULES)
def test_examples_of_a_module(name: str) -> None:
    run(doctest.DocTestFinder().find(importlib.import_module(name), globs={}))


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] if n in SLOW else []) for n in FUNCTIONS]
)
def test_example_of_a_public_function(name: str) -> None:
    finder = doctest.DocTestFinder(recurse=False)
    assert run(finder.find(getattr(windowcast, name), name, globs={})), "has no example"


def test_examples_of_the_page() -> None:
    text = PAGE.read_text("utf-8")
    assert run([doctest.DocTestParser().get_doctest(text, {}, "api.md", str(PAGE), 0)]) > 10
    for name in FUNCTIONS:
        assert f"`{name}(" in text, f"{name} is not described"


def sections(function: object) -> set[str]:
    """Headings of a docstring in the numpydoc form."""
    lines = (inspect.getdoc(function) or "").split("\n")
    return {heading for heading, line in pairwise(lines) if line and set(line) == {"-"}}


@pytest.mark.parametrize("name", ["answer", "compare", "rank", "season_plan", "simulate_soil"])
def test_public_functions_say_what_they_take_give_and_refuse(name: str) -> None:
    found = sections(getattr(windowcast, name))
    assert {"Parameters", "Returns", "Raises", "Examples"} <= found
    if name != "answer":
        assert "References" in found


# modules whose public functions are all formulas, and what each must have
FORMULAS = {
    "physics.humidity": {"Parameters", "Returns", "Notes", "References", "Examples"},
    "physics.sun": {"Parameters", "Returns", "Examples"},
    "season.degree_days": {"Parameters", "Examples"},
    "season.runs": {"Examples"},
}


@pytest.mark.parametrize("name", FORMULAS)
def test_every_formula_has_its_sections(name: str) -> None:
    module = importlib.import_module(f"windowcast.{name}")
    functions = [f for f in vars(module).values() if inspect.isfunction(f)]
    own = [f for f in functions if f.__module__ == module.__name__ and f.__name__[0] != "_"]
    assert own
    for function in own:
        assert FORMULAS[name] <= sections(function), function.__name__
