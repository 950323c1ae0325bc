"""Every science value in the package can be traced: unit, source and status."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from windowcast.values import STATUSES, Table, load

TABLES = sorted(
    entry.name.removesuffix(".toml")
    for entry in resources.files("windowcast.data").iterdir()
    if entry.name.endswith(".toml")
)


@pytest.mark.parametrize("name", TABLES)
def test_every_packaged_value_has_unit_source_and_status(name: str) -> None:
    values = list(load(name).values_below())
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
    with pytest.raises(KeyError, match=r"t\.a\.c"):
        table.number("a.c")
    with pytest.raises(KeyError, match=r"t\.x"):
        table.value("x")
