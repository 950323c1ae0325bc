"""Redirects, site files, labels, logs and weather of odd parts: read, or refused in a line."""

from __future__ import annotations

import copy
import datetime as dt
import json
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import world_forecasts
from fuzzing import cases
from hypothesis import example, given
from hypothesis import strategies as st

from windowcast.core.errors import InputError
from windowcast.core.given_files import parsed_toml
from windowcast.core.record import Place
from windowcast.core.site import load_site, site_from
from windowcast.materials.actives import load_actives
from windowcast.records.import_export import COLUMNS, read_log_file, to_csv
from windowcast.records.kinds import KINDS
from windowcast.records.model import fields_of
from windowcast.records.store import SeasonLog
from windowcast.sources import metno, mosmix, nrcs_soil, uscrn_network
from windowcast.sources.coarse_grid import days_problem
from windowcast.sources.fetch import Fetched
from windowcast.sources.files import read_weather
from windowcast.sources.http import _joined, _same_host
from windowcast.sources.mosmix_kml import read_kmz

LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.integers(10**300, 10**310), st.floats(),
    st.text(max_size=12), st.dates().map(str), st.datetimes().map(lambda t: f"{t.isoformat()}Z"),
    st.sampled_from(["POAAN", "prodiamine", "1 acre", "0001-01-01", "9999-12-31T23:00-12:00",
                     "\x00"]),
)  # fmt: skip
ODD = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3)
    ),
    max_leaves=6,
)


def _said(error: InputError) -> None:
    assert str(error)
    assert "\n" not in str(error)


def _read_or_refused(read: Callable[[Path], Any], file: Path) -> Any:
    """What a reader makes of a file; None where it refuses it, in one line."""
    try:
        return read(file)
    except InputError as error:
        _said(error)
        return None


URL_PARTS = [
    "http://",
    "https:",
    "//",
    "[",
    "]",
    "::1",
    "127.0.0.1",
    "x",
    ":",
    "99999",
    "-1",
    "@",
    "/",
    "..",
    "?",
    "#",
    "%",
    "\n",
    "\t",
    " ",
    "\\",
    "é",
    "\ud800",
]


@given(st.lists(st.sampled_from(URL_PARTS), max_size=9).map("".join) | st.text(max_size=30))
@cases(40)
def test_a_redirect_leads_somewhere_or_nowhere(location: str) -> None:
    target = _joined("http://127.0.0.1:8080/a", location)
    assert not target or isinstance(_same_host("http://127.0.0.1:8080/a", target), bool)


TOML_PARTS = [
    "[",
    "]",
    "[[a]]",
    "a",
    "b",
    ".",
    "=",
    "\n",
    '"',
    "'''",
    "1",
    "1e999",
    "nan",
    "{",
    "}",
    ",",
    "0001-01-01",
    "#",
    "\\u",
    "name",
    "turf",
    "weather",
    "9" * 50,
    " ",
]


@given(st.lists(st.sampled_from(TOML_PARTS), max_size=30).map("".join))
@cases(50)
def test_any_text_is_toml_or_refused(text: str) -> None:
    try:
        assert isinstance(parsed_toml(text), dict)
    except InputError as error:
        _said(error)


SITE = {"name": "x", "latitude": 33.0, "longitude": -84.0}
SITE_KEYS = {
    "": ["name", "latitude", "longitude", "elevation_m", "timezone", "weeds", "stock", "units"],
    "turf": ["species", "use", "established", "rooted", "overseed", "mature"],
    "soil": ["texture", "irrigated", "thatch_mm"],
    "calendar": ["spray_hours", "spray_weekdays", "blackout"],
    "weather": ["files", "forecast", "own"],
    "advice": ["odds_threshold", "watering_in_days"],
    "alerts": ["to", "to_file"],
}


@st.composite
def odd_sites(draw: st.DrawFn) -> dict[str, Any]:
    raw: dict[str, Any] = dict(SITE)
    for table in draw(st.lists(st.sampled_from(sorted(SITE_KEYS)), min_size=1, max_size=3)):
        inner = {
            key: draw(ODD) for key in draw(st.lists(st.sampled_from(SITE_KEYS[table]), max_size=2))
        }
        raw |= {table: inner} if table else inner
    for table in ("sensitive", "area", "resistance", "sprayer"):
        if draw(st.booleans()):
            raw[table] = draw(ODD)
    return raw


@given(odd_sites())
@cases(50)
def test_any_tables_are_a_site_or_refused(raw: dict[str, Any]) -> None:
    try:
        site_from(raw)
    except InputError as error:
        _said(error)


LABEL_KEYS = [
    "rain_free_h",
    "max_year_kg_ha",
    "group",
    "soil_min_f",
    "turf.hybrid_bermudagrass",
    "last_day",
    "x",
]
LABEL_VALUES = [
    "nan",
    "inf",
    "-1",
    "1e308",
    "9" * 330,
    '"never"',
    "true",
    "[]",
    "{}",
    "0001-01-01",
    "{value = 1, low = nan}",
    "{value = {}}",
    "3",
]


@given(st.lists(st.tuples(st.sampled_from(LABEL_KEYS), st.sampled_from(LABEL_VALUES)), max_size=3))
@cases(30)
def test_any_label_is_taken_or_refused(rows: list[tuple[str, str]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "label.toml"
        text = "".join(f"{key} = {value}\n" for key, value in rows)
        file.write_text(f"[prodiamine]\n{text}", "utf-8")
        _read_or_refused(load_actives, file)


@st.composite
def odd_exports(draw: st.DrawFn) -> Any:
    """An export of a log whose parts are right or not."""

    def part(right: Any) -> Any:
        return draw(ODD) if draw(st.integers(0, 5)) == 0 else right

    kind = draw(st.sampled_from(list(KINDS)))
    names = [field.name for field in fields_of(kind)]
    body = {name: draw(ODD) for name in draw(st.lists(st.sampled_from(names), max_size=4))}
    revision = {"entry": part("e1"), "kind": part(kind), "body": part(body)}
    at, action = part("2025-10-01T00:00+00:00"), part("add")
    change = {"change": part("c1"), "at": at, "action": action, "undoes": part(None),
              "revisions": part([revision])}  # fmt: skip
    return {"format": part("season log"), "schema": part(1), "changes": part([change])}


@given(odd_exports())
@cases(50)
def test_any_export_is_imported_or_refused(document: Any) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "log.json"
        file.write_text(json.dumps(document), "utf-8")
        found = _read_or_refused(read_log_file, file)
        if found is None:
            return
        with SeasonLog(Path(folder) / "log.sqlite") as log:
            log.merge(found.changes)
            to_csv(log)


CELLS = st.one_of(
    st.sampled_from(
        ["", "=1", "-", "NaN", "1e308", "2025-10-01", "note", "add", '"', "[{}]", "{", "0001-01-01"]
    ),
    st.text(max_size=6),
)


@given(
    st.lists(st.sampled_from(COLUMNS), min_size=1, max_size=8),
    st.lists(st.lists(CELLS, max_size=9), max_size=4),
    st.booleans(),
)
@cases(50)
def test_any_table_is_imported_or_refused(
    names: list[str], rows: list[list[str]], whole: bool
) -> None:
    head = (
        ["change", "at", "action", "undoes", "entry", "kind", *names] if whole else ["kind", *names]
    )
    text = "\n".join(",".join(row) for row in [head, *rows])
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "log.csv"
        file.write_text(text, "utf-8", errors="replace")
        _read_or_refused(read_log_file, file)


HEADS = ["date", "time", "tmax_c", "tmin_c", "rain_mm", "Temp (F)", "wind mph", "", "date"]


@given(
    st.lists(st.sampled_from(HEADS), min_size=1, max_size=5),
    st.lists(st.lists(CELLS | st.floats().map(str) | st.dates().map(str), max_size=6), max_size=6),
    st.sampled_from([",", ";", "\t"]),
)
@cases(50)
@example(["date", "tmax_c"], [["0001-01-01", "1"], ["9999-12-31", "2"]], ",")
def test_any_weather_is_read_or_refused(names: list[str], rows: list[list[str]], mark: str) -> None:
    text = "\n".join(mark.join(row) for row in [names, *rows])
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")
        file = Path(folder) / "weather.csv"
        file.write_text(text, "utf-8", errors="replace")
        _read_or_refused(read_weather, file)


GRID_KEYS = [
    "properties",
    "parameter",
    "parameters",
    "header",
    "fill_value",
    "RH2M",
    "units",
    "20250401",
]
ODD_GRID = st.recursive(
    LEAVES | st.sampled_from(["%", "MJ/m^2/day", -999.0]),
    lambda inner: (
        st.dictionaries(st.sampled_from(GRID_KEYS), inner, max_size=4) | st.lists(inner, max_size=2)
    ),
    max_leaves=12,
)


@given(ODD_GRID, ODD_GRID, ODD_GRID)
@cases(60)
def test_any_answer_of_a_grid_is_understood_or_refused(days: Any, about: Any, head: Any) -> None:
    raw = {"properties": {"parameter": days}, "parameters": about, "header": head}
    for document in (raw, days):
        assert "\n" not in days_problem(json.dumps(document, default=str).encode())


SOIL_KEYS = ["data", "stationElement", "values", "elementCode", "storedUnitCode", "heightDepth",
             "date", "value", "stationTriplet", "latitude", "longitude", "elevation"]  # fmt: skip
ODD_SOIL = st.recursive(
    LEAVES | st.sampled_from(["STO", "TMAX", "degF", "in", -2, "2018-02-27 03:00", "1:AL:SCAN"]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(SOIL_KEYS), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.lists(ODD_SOIL, max_size=3))
@cases(60)
def test_any_report_of_soil_is_understood_or_refused(raw: Any) -> None:
    body = json.dumps(raw, default=str).encode()
    for problem in (nrcs_soil.data_problem, nrcs_soil.NETWORK.list_problem):
        assert "\n" not in problem(body)


SOIL_PARTS = [b"63858", b" 20180227", b" 2400", b" -9999.0", b" 12.5", b"\0", b"\r\r\n", b"\n",
              b"\x03", b" C", b" 1e999", b" nan", b"\xff"]  # fmt: skip


@given(st.lists(st.sampled_from(SOIL_PARTS), max_size=90).map(b"".join))
@cases(60)
@example(b"63858 20180227 2400 20180227 9999" + b" 1e999" * 33)
@example(b"63858" + b" nan" * 37)
def test_any_live_file_of_soil_is_read(body: bytes) -> None:
    hours = uscrn_network.hours_of(body, 63858)
    uscrn_network.day_of_hours([hours], dt.date(2018, 2, 27))
    uscrn_network.daily_problem(body)
    uscrn_network.stations_of(body)


@given(st.binary(max_size=200))
@cases(30)
def test_any_bytes_are_a_file_or_refused(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "any.toml"
        file.write_bytes(content)
        for read in (load_site, load_actives, read_log_file, read_weather):
            _read_or_refused(read, file)


# ---- forecasts ----

HERE = Place("Long Meadow", 51.5, -0.1, 25.0)
_LONDON = world_forecasts.metno_raw()
_LONDON["properties"]["timeseries"] = _LONDON["properties"]["timeseries"][50:62]
_PATHS = [
    ("geometry",), ("geometry", "coordinates"), ("properties",), ("properties", "meta"),
    ("properties", "meta", "updated_at"), ("properties", "meta", "units"),
    ("properties", "timeseries"), ("properties", "timeseries", 3),
    ("properties", "timeseries", 3, "time"), ("properties", "timeseries", 3, "data"),
    ("properties", "timeseries", 3, "data", "instant"),
    ("properties", "timeseries", 3, "data", "instant", "details"),
    ("properties", "timeseries", 3, "data", "instant", "details", "air_temperature"),
    ("properties", "timeseries", 8, "data", "next_6_hours"),
    ("properties", "timeseries", 8, "data", "next_6_hours", "details"),
    ("properties", "timeseries", 8, "data", "next_6_hours", "details", "air_temperature_max"),
]  # fmt: skip


def _kept(body: bytes) -> Fetched:
    return Fetched("http://127.0.0.1/a", True, "", 0.0, _body=lambda: body)


@given(st.lists(st.tuples(st.sampled_from(_PATHS), ODD), min_size=1, max_size=2))
@cases(40)
def test_any_forecast_of_the_world_is_read_or_refused(changes: list[tuple[Any, Any]]) -> None:
    raw = copy.deepcopy(_LONDON)
    for path, odd in changes:
        inner = raw
        try:
            for key in path[:-1]:
                inner = inner[key]
            inner[path[-1]] = odd
        except (KeyError, TypeError, IndexError):
            continue  # an earlier change has taken it away
    body = json.dumps(raw, default=str).encode("utf-8", "replace")
    why = metno.answer_problem(body, HERE)
    assert "\n" not in why
    if not why:
        metno.untimely(body, 0.0)
        metno.record_of_answer(json.loads(body), HERE, _kept(body))


KML_PARTS = [
    "<k:kml>", "</k:kml>", "<k:Placemark>", "</k:Placemark>", "<d:Forecast>", "</d:Forecast>",
    '<d:Forecast d:elementName="TTT">', "<d:value>", "</d:value>", " 273.15 - 1e999 nan",
    "<d:TimeStep>", "</d:TimeStep>", "2026-11-29T12:00:00.000Z", "0001-01-01T00:00:00+14:00",
    "<k:coordinates>", "</k:coordinates>", "1,2,3", "<d:IssueTime>", "</d:IssueTime>", "&amp;",
    "&#0;", "<!DOCTYPE k [", "<!ENTITY a 'b'>", "]>", "&a;", "<?xml version='1.0'?>", "\x00", "é",
]  # fmt: skip
_FRANKFURT = world_forecasts.mosmix_kml()


@given(
    st.one_of(
        st.lists(st.sampled_from(KML_PARTS), max_size=14).map("".join),
        st.tuples(st.integers(0, len(_FRANKFURT)), st.sampled_from(KML_PARTS)).map(
            lambda cut: _FRANKFURT[: cut[0]] + cut[1] + _FRANKFURT[cut[0] + 30 :]
        ),
    ),
    st.integers(0, 60),
)
@cases(40)
def test_any_file_of_a_station_is_read_or_refused(text: str, cut: int) -> None:
    packed = world_forecasts.kmz(text.encode("latin-1"))
    for body in (packed, packed[: len(packed) - cut], packed[cut:]):
        why = mosmix.file_problem(body)
        assert "\n" not in why
        if not why:
            file = read_kmz(body, mosmix.ELEMENTS)
            station = mosmix.MosmixStation("x", "x", 1.0, 2.0, 3.0)
            mosmix.records_of(file, station, HERE, _kept(body))


@given(st.lists(st.lists(CELLS | st.floats().map("{:.2f}".format), max_size=8), max_size=5))
@cases(40)
def test_any_list_of_stations_is_read_or_refused(rows: list[list[str]]) -> None:
    text = "\n".join(" ".join(row) for row in rows)
    for station in mosmix.station_rows(text.encode("utf-8", "replace")):
        assert abs(station.latitude_deg) <= 90
        assert abs(station.longitude_deg) <= 180
