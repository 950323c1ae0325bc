"""Every example in the docstrings of the public interface and of the formulas is run.

Each runs in an empty namespace, so that it can be copied as it stands.
"""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from types import ModuleType

import pytest

import windowcast.physics
import windowcast.season


def modules() -> list[str]:
    """Names of the modules whose examples are run."""
    packages = (windowcast.physics, windowcast.season)
    return [
        f"{package.__name__}.{found.name}"
        for package in packages
        for found in pkgutil.iter_modules(package.__path__)
    ]


def examples(module: ModuleType) -> Iterator[doctest.DocTest]:
    return (test for test in doctest.DocTestFinder().find(module, globs={}) if test.examples)


@pytest.mark.parametrize("name", modules())
def test_examples_give_what_they_say(name: str) -> None:
    runner = doctest.DocTestRunner()
    for test in examples(importlib.import_module(name)):
        report: list[str] = []
        failed = runner.run(test, out=report.append).failed
        assert not failed, "".join(report)


# modules all of whose public functions are formulas
FORMULAS = ("physics.humidity", "physics.sun", "season.degree_days", "season.rolling")
SECTIONS = {
    "physics.humidity": ("Parameters", "Returns", "Notes", "References", "Examples"),
    "physics.sun": ("Parameters", "Returns", "Examples"),
}


@pytest.mark.parametrize("name", FORMULAS)
def test_every_formula_has_an_example(name: str) -> None:
    module = importlib.import_module(f"windowcast.{name}")
    for function_name, function in inspect.getmembers(module, inspect.isfunction):
        if function_name.startswith("_") or function.__module__ != module.__name__:
            continue
        text = inspect.getdoc(function) or ""
        for section in SECTIONS.get(name, ("Examples",)):
            assert f"\n{section}\n{'-' * len(section)}\n" in text, (function_name, section)
