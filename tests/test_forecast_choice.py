"""Which forecast service serves a place, what stands in for it, and how the answer says so."""

from __future__ import annotations

import datetime as dt
import json
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import archive_world as archive
import click
import numpy as np
import nws
import pytest
import world_forecasts as world
from archive_world import Where
from click.testing import CliRunner
from loopback import Answer, Loopback, serving
from spoken import render

from windowcast.cli.options import Start, site_options
from windowcast.core.errors import InputError
from windowcast.core.record import Place, Record, Weather
from windowcast.core.site import Site
from windowcast.core.time_axis import record_of
from windowcast.sources import by_name
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetcher
from windowcast.sources.http import Client, Limits
from windowcast.sources.source import Found
from windowcast.weather import gather as gathering
from windowcast.weather.load import load_weather

LIMITS = Limits(0.4, 0.4, 2.0, 2, 0.01, 0.02, 2)
NOW = dt.datetime.now(dt.UTC)
US = {"name": "Long Meadow", "latitude": 30.5, "longitude": -85.25, "elevation_m": 71.0,
      "timezone": "Etc/GMT+6"}  # fmt: skip
SOUTH = {"name": "Oval", "latitude": -33.85, "longitude": 151.05, "elevation_m": 20.0,
         "timezone": "Australia/Sydney"}  # fmt: skip


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    monkeypatch.setattr(by_name, "AUTOMATIC", ("nws", "mosmix", "metno"))
    monkeypatch.setenv("WINDOWCAST_CONTACT", "greens@example.org")
    with serving() as running:
        for service in ("ARCHIVE", "FORECAST", "METNO", "MOSMIX"):
            monkeypatch.setenv(f"WINDOWCAST_{service}_URL", running.url)
        yield running


def site(where: dict[str, Any], **more: Any) -> Site:
    return Site.model_validate({**where, **more})


def fill(server: Loopback, here: Site) -> None:
    """All three services have a forecast for the site."""
    nws.serve(server, f"{here.latitude:g}", f"{here.longitude:g}", nws.gridpoint("BMX_32-69", NOW))
    world.serve_mosmix(server, NOW, here.place)
    raw = world.metno_raw(NOW, here.place)
    server.routes[world.metno_path(here.place)] = world.metno_answer(raw)


def ask(here: Site, deadline_s: float = 30.0, **more: Any) -> Found:
    client = Client(LIMITS, stop=time.monotonic() + deadline_s)
    today = NOW.astimezone(here.zone).date()
    fetcher = Fetcher(Cache(), client)
    return gathering.gather(here, today=today, fetcher=fetcher, past=False, **more)


def by(found: Found) -> list[str]:
    return list(dict.fromkeys(p.source for r in found.records for p in r.provenance))


def said(found: Found) -> list[str]:
    return [render(flag.text) for flag in found.flags]


def test_the_national_service_then_the_nearest_station_then_the_world(server: Loopback) -> None:
    here = site(US)
    fill(server, here)
    assert by(ask(here)) == ["forecast"]
    assert not said(ask(here))
    server.routes["/points/30.5,-85.25"] = Answer(b"{}", 503)
    Cache().clear()
    found = ask(here)
    assert by(found) == ["mosmix"]
    (text,) = [t for t in said(found) if "forecast data" in t]
    assert text.startswith(
        "forecast data from Deutscher Wetterdienst, CC BY 4.0, adapted; not from"
    )
    assert "the US National Weather Service" in text
    assert "status 503" in text
    server.routes.pop(world.mosmix_path("10637"))
    Cache().clear()
    found = ask(here)
    assert by(found) == ["metno"]
    (text,) = [t for t in said(found) if "forecast data" in t]
    assert text.startswith("forecast data from MET Norway, NLOD 2.0 and CC BY 4.0, adapted; not fr")
    assert "SOMEWHERE has no forecast file now" in text


def test_nobody_has_one_and_each_is_named(server: Loopback) -> None:
    found = ask(site(US))
    assert by(found) == []
    texts = " ".join(said(found))
    assert "the service has no forecast for this place" in texts
    assert "its list of stations is gone" in texts
    assert "it has no forecast for this place" in texts


def test_a_site_beyond_the_reach_of_stations_has_the_world_service(server: Loopback) -> None:
    here = site(SOUTH)
    fill(server, here)
    assert by(ask(here)) == ["mosmix"]
    far = Place("", -35.0, 149.0, 20.0)
    world.serve_mosmix(server, NOW, far)
    Cache().clear()
    found = ask(here)
    assert by(found) == ["metno"]
    (text,) = [t for t in said(found) if "forecast data" in t]
    assert "the nearest station with a forecast, SOMEWHERE, is too far: 227 km away" in text
    assert not any("points" in path for path in server.paths()), "the US service is not asked"


@pytest.mark.parametrize(("wanted", "expected"), [
    ("metno", ["metno"]), ("mosmix, metno", ["mosmix"]), ("metno,auto", ["metno"]),
    ("none", []), ("archive", []), ("auto", ["forecast"]),
])  # fmt: skip
def test_a_site_may_fix_its_service(server: Loopback, wanted: str, expected: list[str]) -> None:
    here = site(US, weather={"forecast": wanted})
    fill(server, here)
    assert by(ask(here)) == expected


def test_an_unknown_service_is_refused(server: Loopback) -> None:
    with pytest.raises(InputError, match="nws, mosmix, metno"):
        ask(site(US, weather={"forecast": "mosmix, mine"}))


def test_the_option_goes_before_the_site_file(tmp_path: Path) -> None:
    taken = []

    @click.command()
    @site_options
    def command(start: Start) -> None:
        taken.append(start.site().weather.forecast)

    file = tmp_path / "site.toml"
    file.write_text('name = "x"\nlatitude = 30.0\nlongitude = -85.0\n')
    for more in ([], ["--forecast", "metno"]):
        done = CliRunner().invoke(command, [str(file), *more], catch_exceptions=False)
        assert done.exit_code == 0, done.output
    assert taken == ["auto", "metno"]


def test_a_service_that_hangs_leaves_time_for_the_next(
    server: Loopback, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = site(US, weather={"forecast": "nws, metno"})
    server.routes["/points/30.5,-85.25"] = Answer(fault="hang")
    with serving() as other:
        monkeypatch.setenv("WINDOWCAST_METNO_URL", other.url)
        fill(other, here)
        began = time.monotonic()
        slow = Client(Limits(5.0, 15.0, 60.0, 4, 0.01, 0.02, 2), stop=began + 1.6)
        fetcher = Fetcher(Cache(), slow)
        today = NOW.astimezone(here.zone).date()
        found = gathering.gather(here, today=today, fetcher=fetcher, past=False)
    assert by(found) == ["metno"]
    assert time.monotonic() - began < 1.8
    assert not fetcher.cut, "the time for the command was not over"


def climate(days: np.ndarray, place: Place, warmest: int) -> Record:
    """Three plain years, warmest on a day of the year."""
    number = (days - days.astype("datetime64[Y]")).astype(int)
    middle = 17 + 8 * np.cos((number - warmest) / 365.25 * 2 * np.pi) + np.sin(np.arange(len(days)))
    columns = {"tmax_c": middle + 6, "tmin_c": middle - 6,
               "precip_mm": np.where(np.arange(len(days)) % 4 == 0, 3.0, 0.0)}  # fmt: skip
    return record_of(place, days, columns)


def put_air(server: Loopback, here: Site, level_c: float, service: str) -> None:
    """The service's temperatures moved so that their mean is at a level; dew points with them."""
    if service == "mosmix":
        text = world.mosmix_kml(NOW, here.place)
        pattern = r'(elementName="{}">\s*<dwd:value>)([^<]*)'
        (_, air), (_, dew) = (
            re.search(pattern.format(name), text).groups()  # type: ignore[union-attr]
            for name in ("TTT", "Td")
        )
        up = level_c + 273.15 - np.mean([float(k) for k in air.split()])
        for said in (air, dew):
            text = text.replace(said, " ".join(f"{float(k) + up:.2f}" for k in said.split()))
        server.routes[world.mosmix_path("10637")] = Answer(world.kmz(text), type=world.KMZ)
        return
    raw = world.metno_raw(NOW, here.place)
    steps = raw["properties"]["timeseries"]
    details = [step["data"]["instant"]["details"] for step in steps]
    up = level_c - np.mean([said["air_temperature"] for said in details])
    for step, said in zip(steps, details, strict=True):
        said["air_temperature"] += up
        said["dew_point_temperature"] += up
        step["data"].pop("next_6_hours", None)
    server.routes[world.metno_path(here.place)] = world.metno_answer(raw)


def test_a_forecast_that_cannot_be_true_gives_way_to_another_service(server: Loopback) -> None:
    here = site(SOUTH)
    fill(server, here)
    today = NOW.astimezone(here.zone).date()
    days = np.arange(np.datetime64(today) - np.timedelta64(1000, "D"), np.datetime64(today))
    past = climate(days, here.place, 20)
    usual = float((past.get("tmax_c") + past.get("tmin_c"))[-4:].mean() / 2)
    put_air(server, here, usual * 1.8 + 32, "mosmix")
    put_air(server, here, usual, "metno")

    def weather() -> Weather:
        fetcher = Fetcher(Cache(), Client(LIMITS))
        return load_weather(here, files=[past], fetcher=fetcher)

    found = weather()
    texts = [render(flag.text) for flag in found.daily.flags]
    assert any("not to be trusted (mosmix)" in text for text in texts)
    assert any("forecast data from MET Norway" in text for text in texts)
    assert found.hourly is not None
    assert {p.source for p in found.hourly.provenance} == {"metno"}
    put_air(server, here, usual, "mosmix")
    Cache().clear()
    texts = [render(flag.text) for flag in weather().daily.flags]
    assert not any("not to be trusted" in text for text in texts)


def southern(server: Loopback, here: Site) -> None:
    """An archive whose winter is in July, and its stations' list."""
    server.routes["/stations.db"] = Answer(
        archive.database([Where("NEAR1", -33.9, 151.05, 20, "Australia/Sydney")]),
        type="application/octet-stream",
    )
    yesterday = NOW.astimezone(here.zone).date() - dt.timedelta(1)

    def day(when: dt.date) -> dict[str, object]:
        shifted = archive.climate(when + dt.timedelta(182))
        return {**shifted, "prcp": 2.5 if when.day % 4 == 0 else 0.0}

    archive.serve_daily(
        server, "NEAR1", range(yesterday.year - 2, yesterday.year + 1), yesterday, day
    )


@pytest.mark.slow
def test_a_southern_site_is_answered_end_to_end(server: Loopback) -> None:
    from windowcast.programme.answer import answer

    here = site(SOUTH, units="metric", turf={"species": "hybrid bermudagrass", "overseeded": False,
                "mature": True}, soil={"texture": "loam"}, weeds=("POAAN",))  # fmt: skip
    fill(server, here)
    southern(server, here)
    put_air(server, here, 25.0, "mosmix")
    weather = load_weather(here, fetcher=Fetcher(Cache(), Client(LIMITS)))
    assert {p.source for p in weather.daily.provenance} == {"archive", "mosmix"}
    assert weather.hourly is not None
    for name in ("temp_c", "wind_m_s", "gust_m_s", "precip_mm", "precip_prob"):
        assert name in weather.hourly
    given = answer(here, weather).past
    green = given.turf.half_green_probability
    month = given.dates.astype("datetime64[M]").astype(int) % 12 + 1
    assert np.nanmean(green[month == 7]) < 0.3
    assert np.nanmean(green[month == 1]) > 0.7


NORTH = {"name": "Oval", "latitude": 33.6, "longitude": -7.6, "elevation_m": 20.0,
         "timezone": "Africa/Casablanca"}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("gusts", [False, True])
def test_without_gusts_no_hour_is_a_yes_and_the_best_are_named(
    server: Loopback, gusts: bool
) -> None:
    """Outside the Nordic countries MET Norway gives no gusts and no chance of rain."""
    from windowcast.programme.answer import answer

    turf = {"species": "hybrid bermudagrass", "overseeded": False, "mature": True}
    here = site(NORTH, turf=turf, soil={"texture": "loam"}, weeds=("POAAN",),
                weather={"forecast": "metno"})  # fmt: skip
    today = NOW.astimezone(here.zone).date()
    past = climate(
        np.arange(np.datetime64(today) - np.timedelta64(1000, "D"), np.datetime64(today)),
        here.place,
        200,
    )
    usual = float((past.get("tmax_c") + past.get("tmin_c"))[-4:].mean() / 2)
    put_air(server, here, usual, "metno")
    if gusts:
        path = world.metno_path(here.place)
        raw = json.loads(server.routes[path].body)  # type: ignore[union-attr]
        server.routes[path] = world.metno_answer(world.with_percentiles(raw, 1.0, 0.6))
    weather = load_weather(here, files=[past], fetcher=Fetcher(Cache(), Client(LIMITS)))
    found = answer(here, weather, futures=30).ranking
    advice = " ".join(render(o.advice) for o in found.purposes if o.cannot_tell)
    assert ("gusts" in advice) == (bool(advice) and not gusts)
    if not gusts:
        assert not [w for outlook in found.purposes for w in outlook.windows]
