"""Every science value in the package can be traced: unit, source and status."""

from __future__ import annotations

import ast
import re
from importlib import resources
from pathlib import Path

import pytest

import windowcast
from windowcast.core.values import STATUSES, Table, load

TABLES = sorted(
    (package, entry.name.removesuffix(".toml"))
    for package in ("windowcast.data", "windowcast.materials", "windowcast.records")
    for entry in resources.files(package).iterdir()
    if entry.name.endswith(".toml")  # the folder of actives: tests/test_actives.py
)


@pytest.mark.parametrize(("package", "name"), TABLES)
def test_every_packaged_value_has_unit_source_and_status(package: str, name: str) -> None:
    values = list(load(name, package).values_below())
    assert values, f"{name}.toml holds no value"
    for value in values:
        assert value.status in STATUSES, value.path
        assert value.source.strip(), value.path
        if value.low is not None and value.high is not None:
            assert value.low <= value.high, value.path
        if value.status in {"published", "handbook"}:
            named = re.search(r"\d{4}|[A-Z]{2,}|[Ee]xtension", value.source)
            assert named, f"{value.path}: a published value names author and year or publisher"


def test_a_value_without_source_is_refused() -> None:
    with pytest.raises(ValueError, match=r"t\.a"):
        Table("t", {"a": {"value": 1, "unit": "degC", "status": "published"}})


def test_dotted_paths_lead_to_values_and_a_wrong_one_names_itself() -> None:
    table = Table(
        "t", {"a": {"b": {"value": 2.5, "unit": "h", "source": "test", "status": "choice"}}}
    )
    assert table.number("a.b") == 2.5
    assert table.value("a.b").path == "t.a.b"
    assert "2.5" in table.value("a.b").cite()
    band = {
        "value": -1,
        "low": -2.0,
        "high": 0.0,
        "unit": "K",
        "source": "test",
        "status": "choice",
    }
    assert "(-2 to 0)" in Table("t", {"a": band}).value("a").cite()
    with pytest.raises(KeyError, match=r"t\.a\.c"):
        table.number("a.c")
    with pytest.raises(KeyError, match=r"t\.x"):
        table.value("x")


def test_a_class_name_means_one_thing() -> None:
    defined: dict[str, list[str]] = {}
    for file in Path(windowcast.__file__).parent.rglob("*.py"):
        for node in ast.parse(file.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                defined.setdefault(node.name, []).append(file.name)
    assert {name: files for name, files in defined.items() if len(files) > 1} == {}


def test_a_varied_table_leaves_the_packaged_one_alone() -> None:
    table = load("ensemble")
    other = table.varied({"rain.wet": 1.0, "rain.day_share": 0.5})
    assert (other.number("rain.wet"), other.number("rain.day_share")) == (1.0, 0.5)
    assert table.number("rain.wet") != 1.0
    assert other.value("rain.wet").note == "varied"
    assert other.value("rain.wet").source == table.value("rain.wet").source
    assert other.number("temperature.climate_sd") == table.number("temperature.climate_sd")
    with pytest.raises(KeyError, match=r"rain\.none"):
        table.varied({"rain.none": 1.0})
