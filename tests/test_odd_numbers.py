"""Cells that would be run, numbers that would overflow, and groups that contradict their active."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from fuzzing import cases
from hypothesis import given
from hypothesis import strategies as st

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse, parse_temperature
from windowcast.core.site import Site, site_from
from windowcast.core.spreadsheet_cells import as_text, as_written
from windowcast.materials.actives import load_actives
from windowcast.materials.product import parse_price
from windowcast.records.entry_checks import from_plain
from windowcast.records.import_export import read_log_file, to_csv
from windowcast.records.model import FieldNote
from windowcast.records.resistance import resistance_of
from windowcast.records.store import SeasonLog

ODD = [
    "=1+1",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "'=1",
    "''-x",
    "-3.5",
    "'-3.5",
    "plain",
    "-",
]


@given(st.text(st.sampled_from("'=+-@\t\r1.e x"), max_size=8))
@cases(100)
def test_a_cell_comes_back_as_it_was_and_is_not_run(text: str) -> None:
    cell = as_text(text)
    assert as_written(cell) == text
    assert cell[:1] not in set("=@\t\r")
    if cell[:1] in {"+", "-"}:
        float(cell)


def test_no_cell_of_a_log_is_run_and_all_come_back(tmp_path: Path) -> None:
    notes = [FieldNote(dt.date(2025, 10, 1), text, where=text) for text in ODD]
    with SeasonLog(tmp_path / "a.sqlite") as log:
        log.add(*notes)
        text = to_csv(log)
    assert not any(run in text for run in (",=", ",@", ",+1+1"))
    file = tmp_path / "a.csv"
    file.write_bytes(text.encode())
    with SeasonLog(tmp_path / "b.sqlite") as log:
        log.merge(read_log_file(file).changes)
        back = {stored.entry.text: stored.entry for stored in log.entries()}
    assert back == {note.text: note for note in notes}


@pytest.mark.parametrize("number", ["1e308", "1e13", "9" * 400])
@pytest.mark.parametrize(
    "read",
    [
        lambda n: parse(f"{n} acre", "area", "area"),
        lambda n: parse_temperature(f"{n} F", "temp"),
        lambda n: parse_price(f"${n}/gal"),
    ],
)
def test_an_amount_that_would_overflow_is_refused(
    read: Callable[[str], object], number: str
) -> None:
    with pytest.raises(InputError):
        read(number)


@pytest.mark.parametrize("number", [1e308, float("inf"), float("nan"), 10**400, -1e308])
@pytest.mark.parametrize(
    ("kind", "field", "rest"),
    [
        ("application", "area_m2", {"start": "2025-10-01T08:00Z", "materials": [{"active": "x"}]}),
        ("rating", "value", {"date": "2025-10-01"}),
        ("count", "per_m2", {"date": "2025-10-01", "weed": "POAAN"}),
        ("resistance", "plants", {"date": "2025-10-01", "weed": "POAAN", "group": 2}),
    ],
)  # fmt: skip
def test_no_log_takes_a_number_that_would_overflow(
    kind: str, field: str, rest: dict[str, object], number: float
) -> None:
    with pytest.raises(InputError) as caught:
        from_plain(kind, {**rest, field: number})
    assert field in str(caught.value)


@pytest.mark.parametrize("number", [1e308, float("inf"), float("nan"), 10**400])
@pytest.mark.parametrize("key", ["latitude", "longitude", "elevation_m", "advice.odds_threshold"])
def test_no_site_takes_it(key: str, number: float) -> None:
    raw: dict[str, object] = {"name": "x", "latitude": 33.0, "longitude": -84.0}
    table, _, last = key.rpartition(".")
    raw |= {table: {last: number}} if table else {key: number}
    with pytest.raises(InputError, match=last):
        site_from(raw)


@pytest.mark.parametrize("number", ["1e308", "inf", "nan", "9" * 400, "{value = 1.0, high = inf}"])
@pytest.mark.parametrize("key", ["rain_free_h", "max_year_kg_ha", "max_year_lb_acre"])
def test_no_label_takes_it(key: str, number: str, tmp_path: Path) -> None:
    file = tmp_path / "label.toml"
    file.write_text(f"[prodiamine]\n{key} = {number}\n")
    with pytest.raises(InputError, match=key.rpartition("_")[0]):
        load_actives(file)


def test_a_group_that_is_not_the_actives_is_refused() -> None:
    def known(**resistance: object) -> None:
        raw = {"name": "x", "latitude": 33.0, "longitude": -84.0, "resistance": [resistance]}
        site: Site = site_from(raw)
        resistance_of(site, None, load_actives(), today=dt.date(2025, 10, 1))

    known(weed="POAAN", active="simazine", group=5)
    with pytest.raises(InputError, match="simazine is of group 5, not 2"):
        known(weed="POAAN", active="simazine", group=2)
