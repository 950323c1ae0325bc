"""A forecast that cannot be true is left out, as if it had never come, and the answer says so."""

from __future__ import annotations

import copy
import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import nws
import pytest
from loopback import serving
from spoken import METRIC, render

from windowcast.core.phrase import names, say, sentence
from windowcast.core.record import Flag, Grade, Place, Provenance, Record, Weather
from windowcast.core.site import Site
from windowcast.core.time_axis import record_of
from windowcast.core.values import PACKAGED
from windowcast.programme.answer import answer
from windowcast.report import board
from windowcast.report.board import message_text
from windowcast.report.terminal import table_text
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.fetch import Fetcher
from windowcast.sources.files import read_weather
from windowcast.sources.http import Client, Limits
from windowcast.weather.load import assemble, load_weather
from windowcast.weather.quality import checked
from windowcast.weather.sample import SAMPLE_TODAY, sample_folder, sample_site
from windowcast.weather.trust import beyond_k, trusted

TODAY = dt.date(2026, 1, 20)
PLACE = Place("Long Meadow", 33.0, -84.0, timezone="Etc/GMT+5")
FIRST_HOUR = np.datetime64("2026-01-20T05", "h")
TABLE = PACKAGED["trust"]


def days(last: str = "2026-01-20", first: str = "2023-01-01") -> Record:
    """Three measured years: 8 °C in January, 28 °C in July."""
    axis = np.arange(first, last, dtype="datetime64[D]")
    turn = 2 * np.pi * ((axis - axis[0]).astype(float) - 15) / 365.25
    middle = 18 - 10 * np.cos(turn) + 2 * np.sin(np.arange(len(axis)))
    made = {"tmax_c": middle + 6, "tmin_c": middle - 6, "wind_mean_m_s": np.full(len(axis), 3.0)}
    return record_of(PLACE, axis, made)


def hours(middle_c: float = 9.0, source: str = "forecast", **changed: float) -> Record:
    """A week ahead by the hour."""
    axis = FIRST_HOUR + np.arange(7 * 24)
    usual = {"wind_m_s": 3.0, "gust_m_s": 4.5, "precip_prob": 0.0, "precip_mm": 0.0}
    values = {name: np.full(len(axis), changed.get(name, value)) for name, value in usual.items()}
    values["temp_c"] = middle_c + 6 * np.sin(2 * np.pi * np.arange(len(axis)) / 24)
    values["dewpoint_c"] = values["temp_c"] - 8
    made = record_of(PLACE, axis, values)
    grades = {n: np.full(len(axis), Grade.FORECAST, np.uint8) for n in values}
    return replace(made, grades=grades, provenance=(Provenance(source, "a cell"),))


def in_fahrenheit(record: Record) -> Record:
    """The record with °F where it says °C."""
    warm = {n: v * 1.8 + 32 if n.endswith("_c") else v for n, v in record.values.items()}
    return replace(record, values=warm)


def said(parts: list[Record]) -> tuple[list[Record], list[str]]:
    kept, flags = trusted(parts, PLACE, TODAY)
    return kept, [render(flag.text) for flag in flags]


def test_a_sound_forecast_is_kept() -> None:
    for middle_c in (0.0, 9.0, 18.0):
        kept, texts = said([days(), hours(middle_c)])
        assert not texts
        assert len(kept) == 2


@pytest.mark.parametrize("held", ["both", "measured only lately", "long ago"])
def test_fahrenheit_for_celsius_is_left_out(held: str) -> None:
    past = days("2026-01-01" if held == "long ago" else "2026-01-20")
    if held == "measured only lately":
        past = past.between(np.datetime64("2026-01-10"), past.times[-1])
    kept, texts = said([past, in_fahrenheit(hours())])
    assert kept == [past]
    assert len(texts) == 1
    assert texts[0].startswith(
        "this forecast is not to be trusted (forecast): its first days are +"
    )
    assert "as if °F had been read as °C" in texts[0]


def test_celsius_for_fahrenheit_is_left_out() -> None:
    kept, texts = said([days(), hours((9.0 - 32) / 1.8)])
    assert len(kept) == 1
    assert "as if °C had been read as °F" in texts[0]


def test_what_a_file_measured_stays_where_its_days_ahead_are_left_out() -> None:
    axis = np.arange("2023-01-01", "2026-01-27", dtype="datetime64[D]")
    past = days()
    ahead = np.full(len(axis) - len(past.times), 48.0)
    both = {n: np.append(past.values[n], ahead + s) for n, s in (("tmax_c", 5), ("tmin_c", -5))}
    (kept,), texts = said([record_of(PLACE, axis, both)])
    assert "left out" in texts[0]
    assert kept.times[-1] == np.datetime64("2026-01-19")


@pytest.mark.parametrize(
    ("wind", "gust", "why"),
    [
        (3.0 * 3.6, 4.5 * 3.6, "it is 3.6 times the wind of the last days"),
        (3.0 / 4.5, 4.5 / 4.5, "it is 0.2 times the wind of the last days"),
        (2.1, 2.1 * 3.6, "its gusts are 3.6 times its mean wind"),
    ],
)
def test_wind_in_another_unit_is_left_out_and_the_rest_stays(
    wind: float, gust: float, why: str
) -> None:
    kept, texts = said([days(), hours(wind_m_s=wind, gust_m_s=gust)])
    start = f"the wind of this forecast is not to be trusted (forecast): {why}"
    assert texts[0].startswith(start), texts
    assert "wind_m_s" not in kept[1]
    assert "gust_m_s" not in kept[1]
    assert np.isfinite(kept[1].get("temp_c")).all()


def test_of_two_forecasts_that_disagree_the_one_farther_from_the_measurements_goes() -> None:
    kept, texts = said([days(), hours(-2.0, "nws"), hours(11.0, "archive")])
    assert [part.provenance[0].source for part in kept[1:]] == ["archive"]
    (text,) = texts
    assert text.startswith("this forecast is not to be trusted (nws): it differs by 13 °C from")
    kept, texts = said([hours(-2.0, "nws"), hours(11.0, "archive")])
    assert not kept, "nothing tells which of them is right"
    assert len(texts) == 2


def test_nothing_known_of_the_past_leaves_a_lone_forecast_alone() -> None:
    kept, texts = said([in_fahrenheit(hours(source="nws"))])
    assert len(kept) == 1
    assert not texts


def test_only_a_departure_from_both_past_and_usual_counts() -> None:
    ahead = np.array([20.0, 20.0, 20.0, -10.0])
    recent = np.array([5.0, 15.0, np.nan, 5.0])
    usual = np.array([6.0, 6.0, 6.0, 15.0])
    assert beyond_k(ahead, recent, usual, TABLE).tolist() == [14.0, 0.0, 0.0, -15.0]
    assert beyond_k(np.nan, 5.0, 6.0, TABLE) == 0


def test_weeks_in_another_unit_are_taken_out_of_a_record() -> None:
    record = days(first="2014-01-01")
    for changed in (lambda v: v * 1.8 + 32, lambda v: (v - 32) / 1.8):
        values = {n: v.copy() for n, v in record.values.items()}
        for name in ("tmax_c", "tmin_c"):
            values[name][-25:] = changed(values[name][-25:])
        found = checked(replace(record, values=values))
        assert "unlike-season" in {flag.check for flag in found.flags}
        assert np.isnan(found.get("tmax_c")[-20:]).all()
        assert np.isfinite(found.get("tmax_c")[:-45]).all()
    assert not checked(record).flags


# ---- the answer ----


def sample_parts() -> tuple[Record, Record]:
    place = sample_site().place
    folder = sample_folder()
    daily, hourly = (
        read_weather(folder / n, place=place) for n in ("daily.csv.gz", "hourly.csv.gz")
    )
    return daily.between(np.datetime64("2016-10-01"), np.datetime64("2018-01-17")), hourly


def sample_weather(*parts: Record) -> Weather:
    return assemble(parts, sample_site().place, SAMPLE_TODAY, judged=True)


def test_a_distrusted_forecast_raises_nothing() -> None:
    """As if it had never come: no window at all, where the sound one has some."""
    daily, hourly = sample_parts()
    found = sample_weather(daily, in_fahrenheit(hourly))
    never = sample_weather(daily)
    assert found.hourly is None
    np.testing.assert_array_equal(found.daily.times, never.daily.times)
    for name in never.daily.values:
        np.testing.assert_array_equal(found.daily.get(name), never.daily.get(name))
    ranking = answer(sample_site(), found, futures=5).ranking
    assert not [w for outlook in ranking.purposes for w in outlook.windows]
    first = table_text(ranking, voice=METRIC, width=200).splitlines()[0]
    assert first.startswith("! This forecast is not to be trusted (file): ")
    assert "! This forecast is not to be trusted" in message_text(ranking, voice=METRIC)
    assert table_text(ranking, voice=METRIC).count("not to be trusted") == 1


def test_a_distrusted_wind_opens_no_hour() -> None:
    daily, hourly = sample_parts()
    blows = {n: hourly.get(n) * (1 if n == "gust_m_s" else 0.25) for n in ("wind_m_s", "gust_m_s")}
    found = sample_weather(daily, replace(hourly, values={**hourly.values, **blows}))
    assert found.hourly is not None
    assert "wind_m_s" not in found.hourly
    ranking = answer(sample_site(), found, futures=5).ranking
    assert not [w for outlook in ranking.purposes for w in outlook.windows]
    assert any("wind of this forecast is not to be trusted" in METRIC.text(n)
               for n in board.urgent(ranking))  # fmt: skip


def test_the_sample_itself_is_trusted() -> None:
    weather = sample_weather(*sample_parts())
    assert "distrusted" not in {flag.check for flag in weather.daily.flags}
    assert weather.hourly is not None


def test_what_was_cut_off_stands_in_the_first_line() -> None:
    daily, hourly = sample_parts()
    weather = sample_weather(daily, hourly)
    said = say("flag.cut_off", sources=names("archive", "forecast", join="comma"))
    cut = Flag("cut-off", "", "", "", 0, "kept", said)
    weather = replace(weather, daily=replace(weather.daily, flags=(cut,)))
    ranking = answer(sample_site(), weather, futures=5).ranking
    assert sentence(said) in ranking.weather_notes
    assert table_text(ranking, voice=METRIC, width=200).startswith(
        "! Not all weather arrived in the time given (archive, forecast): saved weather"
    )


# ---- over HTTP ----

SITE = {
    "name": "Long Meadow", "latitude": 30.5, "longitude": -85.25, "timezone": "Etc/GMT+6",
    "turf": {"overseeded": False, "mature": True}, "soil": {"texture": "loam"},
}  # fmt: skip


def test_the_forecast_before_stands_in_and_the_source_is_asked_again_in_minutes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = dt.datetime.now(dt.UTC)
    days = np.arange(
        np.datetime64(now.date()) - np.timedelta64(900, "D"),
        np.datetime64(now.date()) - np.timedelta64(1, "D"),
    )
    middle = 14 + np.sin(np.arange(len(days)))
    place = Place("Long Meadow", 30.5, -85.25, 71.0, "Etc/GMT+6")
    past = record_of(place, days, {"tmax_c": middle + 5, "tmin_c": middle - 5})
    good = nws.gridpoint("BMX_32-69", now)
    wrong = copy.deepcopy(good)
    for item in wrong["properties"]["temperature"]["values"]:
        item["value"] = item["value"] * 1.8 + 32
    with serving() as server, Cache(tmp_path / FILE) as cache:
        monkeypatch.setenv("WINDOWCAST_ARCHIVE_URL", server.url)
        monkeypatch.setenv("WINDOWCAST_FORECAST_URL", server.url)

        def asked(later_s: float) -> tuple[Weather, set[str]]:
            clock = lambda: now.timestamp() + later_s  # noqa: E731
            cache._clock = clock
            fetcher = Fetcher(cache, Client(Limits.default()), clock=clock)
            weather = load_weather(Site.model_validate(SITE), files=[past], fetcher=fetcher)
            said = {render(flag.text) for flag in weather.daily.flags}
            return weather, {text.split(" (")[0] for text in said if "forecast" in text}

        nws.serve(server, "30.5", "-85.25", wrong)
        weather, texts = asked(0)
        assert weather.hourly is None
        assert "this forecast is not to be trusted" in texts
        nws.serve(server, "30.5", "-85.25", good)
        sound, texts = asked(301)
        assert sound.hourly is not None, texts
        assert "this forecast is not to be trusted" not in texts
        nws.serve(server, "30.5", "-85.25", wrong)
        before, texts = asked(2 * 3600)
        assert {
            "this forecast is not to be trusted",
            "the forecast before that one stands in",
        } <= texts
        assert before.hourly is not None
        np.testing.assert_array_equal(before.hourly.get("temp_c"), sound.hourly.get("temp_c"))
