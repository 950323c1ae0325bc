"""MET Norway's forecast: recorded answers over HTTP, its terms kept, nothing invented."""

from __future__ import annotations

import copy
import datetime as dt
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import world_forecasts as world
from loopback import Answer, Loopback, serving
from spoken import render

from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Place, Record
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetched, Fetcher
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import FetchError
from windowcast.sources.metno import (
    MetnoSource,
    address,
    answer_problem,
    contact_of,
    record_of_answer,
)
from windowcast.sources.source import Found, Request

LIMITS = Limits(0.5, 0.5, 3.0, 3, 0.01, 0.02, 2)
PLACE = Place("Long Meadow", 51.50004, -0.10009, 25.0, "Europe/London")
NOW = dt.datetime.fromtimestamp(int(time.time()), dt.UTC)
HOUR = np.timedelta64(1, "h")


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    with serving() as running:
        monkeypatch.setenv("WINDOWCAST_METNO_URL", running.url)
        monkeypatch.setenv("WINDOWCAST_CONTACT", "greens@example.org")
        put(running, world.metno_raw(NOW, PLACE))
        yield running


@pytest.fixture
def cache(tmp_path: Path) -> Iterator[Cache]:
    with Cache(tmp_path / "c.sqlite") as opened:
        yield opened


def put(server: Loopback, raw: dict[str, Any], **more: Any) -> None:
    server.routes[world.metno_path(PLACE)] = world.metno_answer(raw, **more)


def ask(cache: Cache, place: Place = PLACE, ahead_s: float = 0, **more: Any) -> Found:
    clock = lambda: time.time() + ahead_s  # noqa: E731
    cache._clock = clock
    fetcher = Fetcher(cache, Client(LIMITS), clock=clock, **more)
    return MetnoSource().fetch(Request(place, NOW.date(), NOW.date()), fetcher)


def record_of(found: Found) -> Record:
    (record,) = found.records
    return record


def at(step: dict[str, Any]) -> np.datetime64:
    return np.datetime64(step["time"].rstrip("Z"), "h")


@pytest.mark.parametrize("name", ["london", "newyork"])
def test_every_step_is_read_as_recorded(server: Loopback, cache: Cache, name: str) -> None:
    raw = world.metno_raw(NOW, PLACE, name)
    put(server, raw)
    record = record_of(ask(cache))
    for step in raw["properties"]["timeseries"]:
        (n,) = np.flatnonzero(record.times == at(step))
        said = step["data"]["instant"]["details"]
        for ours, theirs, factor in (
            ("temp_c", "air_temperature", 1.0), ("rh_pct", "relative_humidity", 1.0),
            ("wind_m_s", "wind_speed", 1.0), ("wind_from_deg", "wind_from_direction", 1.0),
            ("cloud_fraction", "cloud_area_fraction", 0.01),
            ("pressure_hpa", "air_pressure_at_sea_level", 1.0),
        ):  # fmt: skip
            assert record.get(ours)[n] == pytest.approx(said[theirs] * factor), ours
            assert record.grade(ours)[n] == Grade.FORECAST
    assert "gust_m_s" not in record, "what is not given outside the Nordic countries stays unknown"
    assert "precip_prob" not in record
    assert "temp_sd_k" not in record


def test_six_hours_have_no_hours_of_their_own(server: Loopback, cache: Cache) -> None:
    raw = world.metno_raw(NOW, PLACE)
    steps = raw["properties"]["timeseries"]
    record = record_of(ask(cache))
    late = next(n for n, s in enumerate(steps) if "next_1_hours" not in s["data"])
    start = int(np.flatnonzero(record.times == at(steps[late]))[0])
    between = np.ones(len(record.times) - start, bool)
    between[[int((at(s) - at(steps[late])) / HOUR) for s in steps[late:]]] = False
    for name in ("wind_m_s", "cloud_fraction", "pressure_hpa", "rh_pct"):
        assert np.isnan(record.get(name)[start:][between]).all(), name
    temp = record.get("temp_c")[start:]
    assert np.isfinite(temp).all()
    assert set(record.grade("temp_c")[start:][between]) == {Grade.ESTIMATED}
    for n, step in enumerate(steps[late:-1]):
        details = step["data"]["next_6_hours"]["details"]
        six = temp[6 * n : 6 * n + 7]
        assert six.min() >= min(details["air_temperature_min"], six[0], six[-1]) - 1e-9
        assert six.max() <= max(details["air_temperature_max"], six[0], six[-1]) + 1e-9
        rain = record.get("precip_mm")[start:][6 * n : 6 * n + 6]
        assert rain.sum() == pytest.approx(details["precipitation_amount"])


def test_rain_is_counted_once(server: Loopback, cache: Cache) -> None:
    raw = world.metno_raw(NOW, PLACE)
    for step in raw["properties"]["timeseries"]:
        for hours in (1, 6):
            if period := step["data"].get(f"next_{hours}_hours"):
                period["details"]["precipitation_amount"] = 0.5 * hours
    put(server, raw)
    rain = record_of(ask(cache)).get("precip_mm")
    np.testing.assert_allclose(rain[np.isfinite(rain)], 0.5)
    assert np.isnan(rain).sum() == 1, "the last step has nothing after it"


def test_percentiles_gusts_and_chances_are_used_where_given(server: Loopback, cache: Cache) -> None:
    put(server, world.with_percentiles(world.metno_raw(NOW, PLACE), 2.0, 0.8))
    record = record_of(ask(cache))
    np.testing.assert_allclose(record.get("temp_sd_k"), 4.0 / 2.563)
    wind = record.get("wind_m_s")
    known = np.isfinite(wind)
    np.testing.assert_allclose(record.get("wind_sd_m_s")[known], 1.6 / 2.563)
    np.testing.assert_allclose(record.get("gust_m_s")[known], 1.5 * wind[known])
    chance = record.get("precip_prob")[:-1]
    np.testing.assert_allclose(chance, 0.2), "that of six hours, which the futures draw as one"


def made(*steps: tuple[int, float, dict[str, float], dict[str, float]]) -> Record:
    """Read from an answer of steps: hour, temperature, and what one and six hours bring."""
    raw, start = world.metno_raw(NOW, PLACE), NOW.replace(minute=0, second=0, microsecond=0)
    raw["properties"]["timeseries"] = [
        {
            "time": f"{start + dt.timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}",
            "data": {"instant": {"details": {"air_temperature": temp}}}
            | ({"next_1_hours": {"details": one}} if one else {})
            | ({"next_6_hours": {"details": six}} if six else {}),
        }
        for hour, temp, one, six in steps
    ]
    return record_of_answer(raw, PLACE, Fetched("", True, "", NOW.timestamp()))


def test_less_than_no_rain_is_not_known() -> None:
    rain = made(*((h, 5.0, {"precipitation_amount": -999.0}, {}) for h in range(6)))
    assert "precip_mm" not in rain or np.isnan(rain.get("precip_mm")).all()


def test_rain_of_six_hours_that_overlap_is_counted_once() -> None:
    rain = made(*((h, 5.0, {}, {"precipitation_amount": 6.0}) for h in range(13)))
    assert np.nanmax(rain.get("precip_mm")) == pytest.approx(1.0)
    assert np.nansum(rain.get("precip_mm")) <= 18.0


def test_the_lowest_of_six_hours_is_kept_beside_the_highest() -> None:
    ends = {"air_temperature_max": 11.0, "air_temperature_min": -3.0}
    temp = made((0, 2.0, {}, ends), (6, 5.0, {}, ends), (12, 6.0, {}, {})).get("temp_c")
    assert np.nanmin(temp) == pytest.approx(-3.0)
    assert np.nanmax(temp) == pytest.approx(11.0)


def test_nobody_knows_the_hours_of_a_wide_gap() -> None:
    temp = made((0, 10.0, {}, {}), (1, 10.0, {}, {}), (241, 12.0, {}, {})).get("temp_c")
    assert np.isfinite(temp).sum() <= 3


def test_percentiles_the_wrong_way_round_say_nothing(server: Loopback, cache: Cache) -> None:
    put(server, world.with_percentiles(world.metno_raw(NOW, PLACE), -2.0, 0.8))
    assert "temp_sd_k" not in record_of(ask(cache))


def test_who_asks_is_named_and_the_place_is_cut_to_four_decimals(
    server: Loopback, cache: Cache
) -> None:
    ask(cache)
    (seen,) = server.requests
    assert seen.path.endswith("complete?lat=51.5&lon=-0.1&altitude=25")
    assert seen.headers["user-agent"].startswith("windowcast/")
    assert seen.headers["user-agent"].endswith(" greens@example.org")
    assert seen.headers["accept-encoding"] == "gzip"
    for written, cut in ((-33.868889, "-33.8688"), (151.20939, "151.2093"), (4.35, "4.35"),
                         (-0.00001, "0"), (100.0, "100"), (8.7, "8.7")):  # fmt: skip
        assert f"lon={cut}" in address(Place("x", 0.0, written)).partition("&")[2] + ""
    assert "altitude" not in address(Place("x", 1.0, 2.0))
    assert "altitude=-3" in address(Place("x", 1.0, 2.0, -3.4))


def test_without_anybody_to_write_to_it_is_not_asked(
    server: Loopback, cache: Cache, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("windowcast.sources.metno._project_page", lambda: "")
    monkeypatch.delenv("WINDOWCAST_CONTACT")
    with pytest.raises(FetchError, match="name yours in WINDOWCAST_CONTACT"):
        ask(cache)
    assert not server.requests
    assert contact_of("https://greens.example.org/us") == "https://greens.example.org/us"
    for odd in ("me", "a b@c.org", "x@y\r\nHost: z", "é@example.org", "@"):
        with pytest.raises(InputError, match="e-mail or web address"):
            contact_of(odd)


def test_it_is_not_asked_before_the_answer_expires_and_then_if_changed(
    server: Loopback, cache: Cache
) -> None:
    ask(cache)
    given = server.routes[world.metno_path(PLACE)].headers["Last-Modified"]
    ask(cache, ahead_s=29 * 60, refresh=True)
    assert len(server.requests) == 1
    later = world.metno_answer({}, status=304)
    later.body = b""
    server.routes[world.metno_path(PLACE)] = later
    kept = record_of(ask(cache, ahead_s=32 * 60))
    assert not kept.provenance[0].stale
    asked = server.requests[-1].headers
    assert asked["if-modified-since"] == given
    assert "if-none-match" not in asked
    assert len(server.requests) == 2


def test_a_service_to_be_withdrawn_is_used_and_says_so(server: Loopback, cache: Cache) -> None:
    put(server, world.metno_raw(NOW, PLACE), status=203)
    found = ask(cache)
    assert found.records
    (flag,) = found.flags
    assert "will be withdrawn" in render(flag.text)


@pytest.mark.parametrize("status", [403, 429])
def test_it_is_left_alone_after_a_refusal(server: Loopback, cache: Cache, status: int) -> None:
    server.routes[world.metno_path(PLACE)] = Answer(b"<html>no</html>", status, "text/html")
    for ahead_s in (0, 60, 3000):
        with pytest.raises(FetchError, match=f"status {status}") as it:
            ask(cache, ahead_s=ahead_s)
        assert "\n" not in str(it.value)
    assert "not asked until 20" in str(it.value)
    back = cache.set_back("metno", younger_than_s=1e9, fresh_s=1.0)
    assert back == 0, "its refusal is no forecast to go back to"
    with pytest.raises(FetchError, match="not asked until"):
        ask(cache, ahead_s=3000)
    assert len(server.requests) == 1, "asked once, without a second try"
    other = Place("elsewhere", 40.0, 10.0)
    with pytest.raises(FetchError, match="not asked until"):
        ask(cache, other)
    put(server, world.metno_raw(NOW, PLACE))
    assert ask(cache, ahead_s=3700).records


def test_a_kept_forecast_serves_while_it_is_left_alone(server: Loopback, cache: Cache) -> None:
    good = record_of(ask(cache))
    server.routes[world.metno_path(PLACE)] = Answer(b"", 429, headers={"Retry-After": "7200"})
    found = ask(cache, ahead_s=3600)
    np.testing.assert_array_equal(record_of(found).get("temp_c"), good.get("temp_c"))
    assert [f.check for f in found.flags] == ["stale-forecast"]
    assert "429" in render(found.flags[0].text)
    asked = len(server.requests)
    assert ask(cache, ahead_s=3600 + 7000).flags
    assert len(server.requests) == asked


WRONG = {
    "another place": lambda raw: raw["geometry"].update(coordinates=[-0.1, 52.5, 25]),
    "no place": lambda raw: raw["geometry"].update(coordinates=[]),
    "in 9 h": lambda raw: raw["properties"]["meta"].update(
        updated_at=f"{NOW + dt.timedelta(hours=9):%Y-%m-%dT%H:%M:%SZ}"
    ),
    "50 h ago": lambda raw: raw["properties"]["meta"].update(
        updated_at=f"{NOW - dt.timedelta(hours=50):%Y-%m-%dT%H:%M:%SZ}"
    ),
    "no issue": lambda raw: raw["properties"]["meta"].pop("updated_at"),
    "fahrenheit": lambda raw: raw["properties"]["meta"]["units"].update(air_temperature="degF"),
    "no steps": lambda raw: raw["properties"].update(timeseries=[]),
    "back in time": lambda raw: raw["properties"]["timeseries"].reverse(),
    "far ahead": lambda raw: [s.update(time="9999-01-01T00:00:00Z")
                              for s in raw["properties"]["timeseries"][:1]],
    "no temperatures": lambda raw: [s["data"]["instant"]["details"].pop("air_temperature")
                                    for s in raw["properties"]["timeseries"]],
}  # fmt: skip


@pytest.mark.parametrize("name", list(WRONG))
def test_a_wrong_answer_is_no_forecast_and_displaces_none(
    server: Loopback, cache: Cache, name: str
) -> None:
    good = record_of(ask(cache))
    raw = world.metno_raw(NOW, PLACE)
    WRONG[name](raw)
    put(server, raw)
    found = ask(cache, ahead_s=3600)
    np.testing.assert_array_equal(record_of(found).get("temp_c"), good.get("temp_c"))
    assert [f.check for f in found.flags] == ["stale-forecast"]
    with Cache(cache.path.with_name("other.sqlite")) as empty, pytest.raises(FetchError):
        ask(empty)


@pytest.mark.parametrize("answer", [
    Answer(b"<!DOCTYPE html><html>sorry</html>", type="text/html"),
    Answer(b"<!DOCTYPE html><html>sorry</html>", type="application/json"),
    Answer(b"", 404), Answer(b"{}", 422), Answer(b"{}", 500), Answer(b"{}"), Answer(b"[1]"),
    Answer(b"[" * 50_000, type="application/json"),
    Answer(b'{"geometry": {"coordinates": [1, 2]}, "properties": []}', type="application/json"),
])  # fmt: skip
def test_what_is_no_forecast_is_an_error_in_one_line(
    server: Loopback, cache: Cache, answer: Answer
) -> None:
    server.routes[world.metno_path(PLACE)] = answer
    with pytest.raises(FetchError) as it:
        ask(cache)
    assert "\n" not in str(it.value)


def test_a_layer_in_an_unknown_unit_is_left_out(server: Loopback, cache: Cache) -> None:
    raw = world.metno_raw(NOW, PLACE)
    raw["properties"]["meta"]["units"].update(wind_speed="km/h", precipitation_amount="in")
    put(server, raw)
    record = record_of(ask(cache))
    assert "wind_m_s" not in record
    assert "precip_mm" not in record
    assert "temp_c" in record


def test_details_may_be_empty_or_absent(server: Loopback, cache: Cache) -> None:
    raw = world.metno_raw(NOW, PLACE)
    for step in raw["properties"]["timeseries"][::2]:
        step["data"].pop("next_6_hours", None)
        if "next_1_hours" in step["data"]:
            step["data"]["next_1_hours"]["details"] = {}
    assert not answer_problem(json.dumps(raw).encode(), PLACE)
    put(server, copy.deepcopy(raw))
    rain = record_of(ask(cache)).get("precip_mm")
    assert np.isnan(rain[0])
    assert np.isfinite(rain).any()


def test_its_licence_and_issue_stand_in_the_provenance(server: Loopback, cache: Cache) -> None:
    (origin,) = record_of(ask(cache)).provenance
    assert origin.source == "metno"
    assert "issued 20" in origin.detail
    for word in ("MET Norway", "NLOD 2.0", "CC BY 4.0", "https://"):
        assert word in origin.licence
