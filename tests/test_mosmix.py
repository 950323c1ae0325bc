"""MOSMIX: the nearest station's file over HTTP, its figures as recorded, its faults named."""

from __future__ import annotations

import datetime as dt
import re
import time
import zipfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import world_forecasts as world
from loopback import Answer, Loopback, serving
from spoken import render

from windowcast.core.record import Grade, Place, Record
from windowcast.core.values import load
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetcher
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import FetchError
from windowcast.sources.mosmix import (
    ELEMENTS,
    LIST_PATH,
    MosmixSource,
    file_problem,
    station_rows,
)
from windowcast.sources.mosmix_kml import MOST_BYTES, read_kml, read_kmz
from windowcast.sources.source import Found, Request

LIMITS = Limits(0.5, 0.5, 3.0, 3, 0.01, 0.02, 2)
PLACE = Place("Long Meadow", 50.05, 8.6, 111.0, "Europe/Berlin")
NOW = dt.datetime.fromtimestamp(int(time.time()), dt.UTC)
STATION = "10637"


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    with serving() as running:
        monkeypatch.setenv("WINDOWCAST_MOSMIX_URL", running.url)
        world.serve_mosmix(running, NOW, PLACE)
        yield running


@pytest.fixture
def cache(tmp_path: Path) -> Iterator[Cache]:
    with Cache(tmp_path / "c.sqlite") as opened:
        yield opened


def ask(cache: Cache, place: Place = PLACE, ahead_s: float = 0) -> Found:
    clock = lambda: time.time() + ahead_s  # noqa: E731
    cache._clock = clock
    fetcher = Fetcher(cache, Client(LIMITS), clock=clock)
    return MosmixSource().fetch(Request(place, NOW.date(), NOW.date()), fetcher)


def put(server: Loopback, body: bytes, station: str = STATION) -> None:
    server.routes[world.mosmix_path(station)] = Answer(body, type=world.KMZ)


def series(text: str, element: str) -> np.ndarray:
    """The slow way: numbers of one element as written."""
    said = re.search(rf'elementName="{element}">\s*<dwd:value>(.*?)</dwd:value>', text, re.DOTALL)
    assert said
    return np.array([np.nan if word == "-" else float(word) for word in said[1].split()])


def test_every_series_is_read_as_recorded(server: Loopback, cache: Cache) -> None:
    text = world.mosmix_kml(NOW)
    hours, sun = ask(cache).records
    steps = np.array(
        [np.datetime64(t.rstrip("Z"), "h") for t in re.findall(r"<dwd:TimeStep>([^<]+)<", text)]
    )
    at = np.searchsorted(hours.times, steps)
    for name, element, factor, offset in (
        ("temp_c", "TTT", 1, -273.15), ("dewpoint_c", "Td", 1, -273.15), ("wind_m_s", "FF", 1, 0),
        ("wind_from_deg", "DD", 1, 0), ("cloud_fraction", "N", 0.01, 0),
        ("pressure_hpa", "PPPP", 0.01, 0),
    ):  # fmt: skip
        wanted = series(text, element) * factor + offset
        np.testing.assert_allclose(hours.get(name)[at], wanted, atol=1e-9, err_msg=name)
        assert set(hours.grade(name)[at]) == {Grade.FORECAST}
    for name, element in (("gust_m_s", "FX1"), ("precip_mm", "RR1c")):
        # of the hour that ends at the step
        np.testing.assert_allclose(hours.get(name)[at - 1], series(text, element), err_msg=name)
    for name, element in (("temp_sd_k", "E_TTT"), ("dewpoint_sd_k", "E_Td"),
                          ("wind_sd_m_s", "E_FF")):  # fmt: skip
        np.testing.assert_allclose(hours.get(name)[at], series(text, element) / 0.798, rtol=2e-3)
    assert "soil_5cm_c" not in hours, "its T5cm is air above the ground"
    assert "solar_mj_m2" in sun


def test_the_chance_of_six_hours_stands_at_each_of_them(server: Loopback, cache: Cache) -> None:
    text = world.mosmix_kml(NOW)
    hours = ask(cache).records[0]
    six, twelve = series(text, "R602"), series(text, "Rh02")
    steps = np.arange(hours.times[1], hours.times[-1] + np.timedelta64(1, "h"))
    chance = hours.get("precip_prob")
    told = 0
    for step, value in zip(steps, six, strict=True):
        if np.isfinite(value):
            before = (hours.times >= step - np.timedelta64(6, "h")) & (hours.times < step)
            np.testing.assert_allclose(chance[before], value / 100)
            told += 1
    assert told == 41
    after = hours.times >= steps[np.flatnonzero(np.isfinite(six))[-1]]
    assert np.isnan(chance[after]).all() == (not np.isfinite(twelve[-4:]).any())


def test_gusts_of_three_hours_stand_in_for_those_of_one(server: Loopback, cache: Cache) -> None:
    text = world.mosmix_kml(NOW)
    gone = re.sub(r'(elementName="FX1">\s*<dwd:value>)[^<]*', rf"\1{' -' * 247}", text)
    put(server, world.kmz(gone))
    gust, three = ask(cache).records[0].get("gust_m_s"), series(text, "FX3")
    assert np.isfinite(gust[:245]).all()
    assert (gust[:245] >= three[:245] - 1e-9).all()


def test_the_days_of_sun_are_whole_local_days(server: Loopback, cache: Cache) -> None:
    hours, sun = ask(cache).records
    per_hour = series(world.mosmix_kml(NOW), "Rad1h") / 1000
    known = sun.get("solar_mj_m2")
    assert np.isnan(known[[0, -1]]).any(), "begun days have no sum"
    assert 8 <= np.isfinite(known).sum() <= 10
    assert np.nansum(known) <= np.nansum(per_hour) + 1e-9
    assert np.nansum(known) > 0.7 * np.nansum(per_hour)
    assert len(hours.times) == 248


def test_the_list_writes_degrees_and_minutes() -> None:
    new = (
        "ID    ICAO NAME                 LAT    LON     ELEV\n"
        "----- ---- -------------------- -----  ------- -----\n"
        "01001 ENJA JAN MAYEN             70.56   -8.40    10\n"
        "A762  ---- WITTENBORN            53.55   10.14    38\n"
        "X001  ---- NOWHERE               10.75   10.14    38\n"
        "94578 YBBN BRISBANE AIRPORT     -27.23  153.06     5\n"
        "03772 EGLL LONDON HEATHROW       51.29   -0.27    25\n"
    )
    old = "99803 22    01001 ENJA JAN MAYEN             70.56   -8.40    10        SYNOP\n"
    rows = station_rows(new.encode("latin-1"))
    assert [row.id for row in rows] == ["01001", "A762", "94578", "03772"], "75 minutes are none"
    assert rows[0].latitude_deg == pytest.approx(70 + 56 / 60)
    assert rows[0].longitude_deg == pytest.approx(-(8 + 40 / 60))
    assert rows[2].latitude_deg == pytest.approx(-(27 + 23 / 60))
    assert rows[3].longitude_deg == pytest.approx(-27 / 60), "minus nought degrees"
    assert (rows[2].name, rows[2].height_m) == ("BRISBANE AIRPORT", 5)
    assert station_rows(old.encode())[0].latitude_deg == rows[0].latitude_deg


def test_the_recorded_places_are_those_of_the_list() -> None:
    """The file has decimal degrees (A762: 53.92 N), where the list has 53.55."""
    file = read_kmz((world.FOLDER / "mosmix_l_A762.kmz").read_bytes(), ELEMENTS)
    (row,) = station_rows(b"A762  ---- WITTENBORN            53.55   10.14    38\n")
    assert file.station == "A762"
    assert row.latitude_deg == pytest.approx(file.latitude_deg, abs=0.01)
    assert row.longitude_deg == pytest.approx(file.longitude_deg, abs=0.01)
    assert not file_problem((world.FOLDER / "mosmix_l_A762.kmz").read_bytes(), row)
    assert dt.datetime.fromtimestamp(file.issued_s, dt.UTC).hour == 21
    assert len(file.times) == 247


def hours_at(server: Loopback, cache: Cache, place: Place) -> Record:
    return ask(cache, place).records[0]


def test_distance_and_height_are_in_the_error(server: Loopback, cache: Cache) -> None:
    near = hours_at(server, cache, PLACE)
    away = Place("Hill", 50.25, 8.6, 311.0, "Europe/Berlin")
    far = hours_at(server, cache, away)
    (origin,) = far.provenance
    assert origin.distance_km == pytest.approx(22.2, abs=0.2)
    assert origin.elevation_m == 111
    np.testing.assert_allclose(far.get("temp_c"), near.get("temp_c") - 1.3)
    table = load("sources").table("mosmix")
    counted = np.hypot(origin.distance_km, 20.0)
    for name, more in (("temp_sd_k", table.number("temperature_sd") * counted),
                       ("wind_sd_m_s", table.number("wind_sd") * origin.distance_km)):  # fmt: skip
        wanted = np.hypot(near.get(name), more)
        np.testing.assert_allclose(far.get(name), wanted, rtol=1e-6)


def test_beyond_reach_no_station_serves_and_the_nearest_is_named(
    server: Loopback, cache: Cache
) -> None:
    for place in (Place("Far", 50.6, 8.6, 111.0), Place("High", 50.1, 8.6, 900.0)):
        found = ask(cache, place)
        assert not found.records
        (flag,) = found.flags
        said = render(flag.text)
        assert "the nearest station with a forecast, SOMEWHERE, is too far" in said
        assert ("789 m" in said) == (place.name == "High")
    assert server.paths() == [LIST_PATH], "asked once, and no file"


def test_an_empty_folder_is_missing_and_the_next_station_serves(
    server: Loopback, cache: Cache
) -> None:
    rows = (
        ("10001", "NEARER", 50.05, 8.6, 111.0),
        (STATION, "NEXT", 50.05, 8.6 + 1 / 6, 111.0),
    )
    server.routes[LIST_PATH] = Answer(world.station_list(*rows), type="text/plain")
    there = Place("", 50.05, 8.6 + 1 / 6, 111.0)
    put(server, world.kmz(world.mosmix_kml(NOW, there)))
    assert "NEXT" in ask(cache).records[0].provenance[0].detail
    server.routes.pop(world.mosmix_path(STATION))
    with Cache(cache.path.with_name("b.sqlite")) as other:
        (flag,) = ask(other).flags
    assert render(flag.text) == "NEARER has no forecast file now"


def test_its_licence_and_station_stand_in_the_provenance(server: Loopback, cache: Cache) -> None:
    (origin,) = ask(cache).records[0].provenance
    assert origin.source == "mosmix"
    assert origin.detail.startswith("MOSMIX station 10637 SOMEWHERE, issued 20")
    assert "Deutscher Wetterdienst" in origin.licence
    assert "CC BY 4.0" in origin.licence


def _moved(hours: int) -> bytes:
    return world.kmz(world.mosmix_kml(NOW + dt.timedelta(hours=hours), PLACE))


def _with(old: str, new: str) -> bytes:
    text = world.mosmix_kml(NOW, PLACE)
    changed = re.sub(old, new, text, count=1, flags=re.DOTALL)
    assert changed != text
    return world.kmz(changed)


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE k [<!ENTITY a "aaaaaaaaaa">'
    + "".join(
        f'<!ENTITY {c}{c} "{f"&{b};" * 10}">' for b, c in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]><k>&ii;</k>"
)
TWO = BytesIO()
with zipfile.ZipFile(TWO, "w") as packed:
    packed.writestr("a.kml", "a")
    packed.writestr("b.kml", "b")
ODD = bytearray(world.kmz("x"))
for mark, at in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
    ODD[ODD.index(mark) + at] = 14  # says LZMA, and is not
FAULTS = {
    "another packing": bytes(ODD),
    "a page": b"<!DOCTYPE html><html><body>Down</body></html>",
    "nothing": b"",
    "no zip": b"PKnot a zip file at all",
    "cut": _moved(0)[: len(_moved(0)) // 2],
    "a byte changed": _moved(0)[:3000] + b"~~~" + _moved(0)[3003:],
    "another member": world.kmz("x", "readme.txt"),
    "two forecasts": TWO.getvalue(),
    "entities": world.kmz(BOMB),
    "an outer entity": world.kmz('<!DOCTYPE k [<!ENTITY a SYSTEM "file:///etc/hosts">]><k>&a;</k>'),
    "far too much": world.kmz(b" " * (MOST_BYTES + 10)),
    "broken XML": _with("</kml:Placemark>", ""),
    "unknown encoding": _with("ISO-8859-1", "klingon"),
    "no issue": _with("<dwd:IssueTime>.*?</dwd:IssueTime>", ""),
    "issued in 9 h": _moved(15),
    "issued 50 h ago": _moved(-50),
    "another station": _with(">10637<", ">10638<"),
    "another place": _with("<kml:coordinates>[^<]*", "<kml:coordinates>8.6,51.05,111.0"),
    "no place": _with("<kml:coordinates>[^<]*", "<kml:coordinates>8.6,nan,111.0"),
    "a step gone": _with("<dwd:TimeStep>[^<]*</dwd:TimeStep>", ""),
    "a number gone": _with(r'(elementName="TTT">\s*<dwd:value>)\s*\S+', r"\1"),
    "a word": _with(r'(elementName="TTT">\s*<dwd:value>)\s*\S+', r"\1 warm"),
    "no temperatures": _with(r'elementName="TTT"', 'elementName="TTU"'),
    "two stations": _with("</kml:Placemark>", "</kml:Placemark><kml:Placemark></kml:Placemark>"),
}  # fmt: skip


def test_a_long_line_of_the_list_is_read_at_once() -> None:
    began = time.process_time()
    assert station_rows(b"01001 ENJA " + b" " * 2000 + b"x") == []
    assert time.process_time() - began < 1.0, "was cubic: a minute"


def test_a_station_is_named_in_letters_that_show() -> None:
    line = "01001 ENJA JAN\x1b[2J MAYEN             70.56   -8.40   10"
    (row,) = station_rows(line.encode())
    assert row.name.isprintable()


@pytest.mark.parametrize("kept", [True, False])
def test_a_wrong_file_is_no_forecast_and_displaces_none(
    server: Loopback, cache: Cache, kept: bool
) -> None:
    good = ask(cache).records[0]
    if not kept:
        with cache.writing() as db:
            db.execute("DELETE FROM entry WHERE url LIKE '%kmz'")
    for number, (name, body) in enumerate(FAULTS.items()):
        put(server, body)
        ahead_s = 3700 + 400 * number
        if kept:
            found = ask(cache, ahead_s=ahead_s)
            same = np.array_equal(
                found.records[0].get("temp_c"), good.get("temp_c"), equal_nan=True
            )
            assert same, name
            assert [f.check for f in found.flags] == ["stale-forecast"], name
        else:
            with pytest.raises(FetchError) as it:
                ask(cache, ahead_s=ahead_s)
            assert "\n" not in str(it.value)
    world.serve_mosmix(server, NOW, PLACE)
    healed = ask(cache, ahead_s=3700 + 400 * len(FAULTS))
    np.testing.assert_array_equal(healed.records[0].get("temp_c"), good.get("temp_c"))
    assert not healed.flags


def test_entities_are_refused_before_they_are_unfolded() -> None:
    began = time.process_time()
    for name in ("entities", "an outer entity"):
        assert "entities" in file_problem(FAULTS[name])
    assert time.process_time() - began < 0.5
    with pytest.raises(ValueError, match="no forecast of one station"):
        read_kml(b"<a/>", ELEMENTS)
