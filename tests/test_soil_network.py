"""Soil measured at public stations: read in its real forms, judged, and taken by its distance."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soil_served as served
from loopback import Answer, Loopback, closed_port, serving
from spoken import render

from windowcast.core.record import NearbySoil, Place, Record
from windowcast.core.site import Site
from windowcast.core.time_axis import record_of
from windowcast.physics.soil import ProbeReading, SoilSite, simulate
from windowcast.physics.soil_site import NEAR_SURFACE_M, fit_site_correction
from windowcast.programme.answer import foreseen
from windowcast.season.observed import Observed, soil_correction
from windowcast.season.soil_days import soil_forcing
from windowcast.sources import nrcs_soil, uscrn_network
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.fetch import Fetcher
from windowcast.sources.soil_around import around
from windowcast.sources.soil_network import SoilStation, near
from windowcast.sources.source import Request
from windowcast.sources.uscrn import read_uscrn
from windowcast.weather.gaps import filled
from windowcast.weather.load import load_weather
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.weather.soil_nearby import judged_nearby

HERE = Place("Long Meadow", 32.6, -87.5, 70.0, "Etc/GMT+6")
TODAY = served.TODAY
YESTERDAY = TODAY - dt.timedelta(1)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    with serving() as running:
        monkeypatch.setenv("WINDOWCAST_SOIL_NETWORKS", "on")
        monkeypatch.setenv("WINDOWCAST_USCRN_URL", running.url)
        monkeypatch.setenv("WINDOWCAST_NRCS_URL", running.url)
        served.serve_uscrn(running, YESTERDAY)
        running.routes[f"{served.SERVICE}/stations?stationTriplets=*:*:SCAN&activeOnly=true"] = (
            Answer(b'[{"stationTriplet": "9:AK:SCAN", "latitude": 65, "longitude": -150}]')
        )
        yield running


def asked(home: Path, place: Place = HERE) -> Any:
    with Cache(home / FILE) as cache:
        return around(Request(place, TODAY, TODAY), Fetcher(cache))


def selma() -> Record:
    """Two years of Selma, Alabama, up to the day before."""
    whole = read_uscrn(next(served.SELMA.parent.glob("*Selma*")))
    place = Place("AL Selma 13 WNW", 32.46, -87.24, 57.9)
    last = np.datetime64(YESTERDAY)
    return replace(whole.between(last - np.timedelta64(729, "D"), last), place=place)


def test_the_daily_files_are_read_as_published(server: Loopback, tmp_path: Path) -> None:
    found = asked(tmp_path)
    (record,) = found.nearby
    truth = selma()
    assert record.place.elevation_m == pytest.approx(190 * 0.3048)
    both = truth.between(record.times[0], record.times[-1])
    for name in ("soil_5cm_c", "tmax_c", "precip_mm"):
        np.testing.assert_array_equal(record.get(name)[-len(both.times) :], both.get(name))
    assert str(record.times[-1]) == str(YESTERDAY)
    assert record.times[0] >= np.datetime64("2016-03-01")
    assert found.flags == ()
    count = len(server.requests)
    asked(tmp_path)
    assert len(server.requests) == count, "what is kept asks nobody"


def test_yesterday_comes_from_the_live_files_where_the_daily_file_ends_before(
    server: Loopback, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    served.serve_uscrn(server, YESTERDAY - dt.timedelta(1))
    start = dt.datetime.combine(YESTERDAY, dt.time())
    for hour, url in enumerate(uscrn_network.live_urls(YESTERDAY, -87.24), start=1):
        end = start + dt.timedelta(hours=hour)
        body = served.live_file(
            served.hour_line(end, 50.0, number=53131),  # another station
            b"63858 \x00\x00\x00 20180228",
            served.hour_line(end, -9999.0 if hour == 3 else 12.0 + hour / 10),
        )
        server.routes[url.removeprefix(server.url)] = served.text(body)
    (record,) = asked(tmp_path).nearby
    assert str(record.times[-1]) == str(YESTERDAY)
    hours = [12.0 + hour / 10 for hour in range(1, 25) if hour != 3]
    assert record.get("soil_5cm_c")[-1] == pytest.approx(np.mean(hours))
    assert record.get("precip_mm")[-1] == pytest.approx(24 * 0.2)
    assert record.get("tmax_c")[-1] == 16.0


def test_too_few_live_hours_make_no_day() -> None:
    start = dt.datetime.combine(YESTERDAY, dt.time())
    rows = [served.hour_line(start + dt.timedelta(hours=h), 12.0) for h in range(1, 20)]
    hours = uscrn_network.hours_of(served.live_file(*rows), served.NUMBER)
    assert len(hours) == 19
    assert uscrn_network.day_of_hours([hours], YESTERDAY) is None
    assert uscrn_network.day_of_hours([], YESTERDAY) is None


def test_damaged_lines_are_left_out() -> None:
    good = served.lines()[0]
    body = b"\n".join(
        [good, good.replace(b" ", b"\0", 1), good + b" 1", good.replace(b"2012", b"2x12"), b""]
    )
    assert len(uscrn_network.rows_of(body, 28, served.NUMBER, (1,))) == 1
    assert len(uscrn_network.rows_of(body, 28, 12345, (1,))) == 0


def test_a_list_has_heights_in_feet_and_closed_stations() -> None:
    closed = served.SELMA_ROW.replace("Operational", "Closed").replace("63858", "63859")
    odd = served.SELMA_ROW.replace("32.46", "north")
    high = served.SELMA_ROW.replace("\t190\t", "\tNA\t").replace("63858", "63860")
    body = "\n".join([served.HEADER, served.SELMA_ROW, closed, odd, high]).encode()
    found = uscrn_network.stations_of(body)
    assert [s.id for s in found] == ["63858", "63860"]
    assert found[0].place.elevation_m == pytest.approx(57.9, abs=0.1)
    assert found[1].place.elevation_m is None
    assert uscrn_network.stations_of(b"<html>") == []


def test_reports_of_the_soil_network_are_read_with_unit_depth_and_clock(tmp_path: Path) -> None:
    hours = [
        {"date": f"2018-02-27 {h:02d}:00", "value": 50.0 if h % 2 else 54.0} for h in range(24)
    ]
    soil = served.element("STO", "degF", hours, {"value": -2, "unitCode": "in"})
    deep = served.element("STO", "degF", hours, {"value": -20, "unitCode": "in"})
    rain = served.element("PRCP", "in", [{"date": "2018-02-27", "value": 1.0}])
    air = [
        served.element("TMAX", "degC", [{"date": "2018-02-27", "value": 20.0}]),
        served.element("TMIN", "degC", [{"date": "2018-02-27", "value": None}]),
    ]
    import json

    found = nrcs_soil.values_of(json.loads(served.station(deep, soil, rain, *air)))
    assert found["soil_5cm_c"][1][0] == pytest.approx((54 - 32) / 1.8)
    assert found["precip_mm"][1] == pytest.approx([25.4])
    assert np.isnan(found["tmin_c"][1]).all()
    only_deep = nrcs_soil.values_of(json.loads(served.station(deep)))
    assert "soil_5cm_c" not in only_deep
    unknown = served.element("STO", "furlong", hours, -2)
    assert nrcs_soil.values_of(json.loads(served.station(unknown))) == {}
    assert nrcs_soil.data_problem(b"{}") == "its answer is not as documented"
    assert nrcs_soil.data_problem(b"[]") == "its answer holds nothing of the station"


def test_a_station_of_the_soil_network_over_the_network(server: Loopback, tmp_path: Path) -> None:
    days = np.arange("2017-02-01", "2018-03-01", dtype="datetime64[D]").astype(object)
    long_ago = {"date": "-2000-01-01", "value": 1.0}  # a date that nobody asked for
    each = lambda value: [long_ago, *({"date": f"{d}", "value": value} for d in days)]  # noqa: E731
    hourly = [
        # the clock of its reports stands two hours behind the place: days begin at 22:00 there
        {"date": f"{day} {h:02d}:00", "value": 50.0 if h >= 22 else 59.0}
        for day in days
        for h in range(24)
    ]
    base = f"{served.SERVICE}/data?stationTriplets=2057:AL:SCAN&beginDate=2016-03-01"
    base += "&endDate=2100-01-01"
    server.routes |= {
        f"{served.FOLDER}/stations.tsv": Answer(b"", 404),
        f"{served.SERVICE}/stations?stationTriplets=*:*:SCAN&activeOnly=true": Answer(
            served.nrcs_list(dataTimeZone=-8)
        ),
        f"{base}&duration=HOURLY&elements=STO:-2&periodRef=END": Answer(
            served.station(served.element("STO", "degF", hourly, -2))
        ),
        f"{base}&duration=DAILY&elements=TMAX,TMIN,PRCP&periodRef=START": Answer(
            served.station(
                served.element("TMAX", "degF", each(68.0)),
                served.element("TMIN", "degF", each(50.0)),
                served.element("PRCP", "in", each(0.1)),
            )
        ),
    }
    found = asked(tmp_path)
    (record,) = found.nearby
    assert record.place.elevation_m == pytest.approx(57.9, abs=0.1)
    assert record.get("tmax_c")[5] == pytest.approx(20.0)
    assert record.get("soil_5cm_c")[5] == pytest.approx((22 * 15 + 2 * 10) / 24)
    assert str(record.times[-1]) == str(YESTERDAY)
    assert found.flags == ()


def test_height_counts_as_distance_and_far_stations_are_not_asked() -> None:
    def listed(name: str, north_deg: float, height: float | None) -> SoilStation:
        place = Place(name, HERE.latitude_deg + north_deg, HERE.longitude_deg, height)
        return SoilStation(name, place, lambda request, fetcher: None)

    stations = [
        listed("far", 2.0, 70.0), listed("high", 0.1, 1070.0), listed("near", 0.5, 70.0),
        listed("unknown", 0.6, None), listed("third", 0.7, 80.0),
    ]  # fmt: skip
    assert [s.id for s in near(stations, HERE)] == ["near", "unknown"]
    assert near([], HERE) == []


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        (lambda soil: np.full(len(soil), 17.3), "its probe is stuck"),
        (lambda soil: np.full(len(soil), 99.0) + np.arange(len(soil)) % 7, "than the air allows"),
        (lambda soil: soil * 1.8 + 32, "than the air allows"),
        (lambda soil: soil + 20.0 * (np.arange(len(soil)) % 2), "jumps from day to day"),
    ],
)
def test_a_wrong_value_is_refused_and_named(fault: Any, why: str) -> None:
    record = selma()
    soil = record.get("soil_5cm_c").copy()
    soil[-60:] = fault(soil[-60:])
    wrong = replace(record, values={**record.values, "soil_5cm_c": soil})
    kept, (flag,) = judged_nearby([wrong], HERE, TODAY)
    assert kept == ()
    assert flag.check == "soil-refused"
    assert why in render(flag.text)


def test_a_sound_station_is_told_with_its_distance_and_height() -> None:
    (station,), (flag,) = judged_nearby([selma()], HERE, TODAY)
    assert station.distance_km == pytest.approx(29, abs=1)
    assert station.above_m == pytest.approx(-12.1, abs=0.1)
    assert flag.check == "soil-nearby"
    said = render(flag.text)
    assert "soil measured 29 km away, 12 m lower, corrects the soil model" in said
    nowhere = replace(HERE, elevation_m=None)
    _, (flag,) = judged_nearby([selma()], nowhere, TODAY)
    assert "at an unknown height" in render(flag.text)
    silent = selma().between(np.datetime64("2016-03-01"), np.datetime64("2017-06-01"))
    assert judged_nearby([silent], HERE, TODAY) == ((), ()), "no soil of late"


DAYS = np.arange("2017-11-01", "2018-03-01", dtype="datetime64[D]")
MODEL = np.full((len(DAYS), 2), 12.0)
STEP = np.where(np.arange(len(DAYS)) >= len(DAYS) - 30, 2.0, 0.0)  # a drift of late


def moved(km: float, station: str = "a") -> list[ProbeReading]:
    return [
        ProbeReading(day, 0.05, 12.0 + step, station=station, away_km=(km, 0.0, 0.0))
        for day, step in zip(DAYS, STEP, strict=True)
    ]


def correction(readings: list[ProbeReading], ahead: int = 0) -> float:
    found = fit_site_correction(MODEL, DAYS, readings)
    assert found is not None
    at = DAYS[-1:] + np.timedelta64(ahead, "D")
    return float(found.at(at, np.array([12.0]), np.array([12.0]))[0])


def test_the_nearer_it_was_measured_the_more_it_counts() -> None:
    got = [correction(moved(km)) for km in (1.0, 40.0, 150.0, 800.0)]
    assert got == sorted(got, reverse=True)
    assert 0.5 < got[0] < 1.2
    assert got[-1] < 0.1
    assert correction(moved(1.0), ahead=60) < 0.1 * got[0], "a drift fades"


def test_own_readings_weigh_most() -> None:
    own = [ProbeReading(day, 0.05, 11.0) for day in DAYS[-30::3]]
    alone, both = correction(own), correction(own + moved(5.0))
    assert alone < -0.7
    assert both < -0.5, "the site's own probe decides"
    found = fit_site_correction(MODEL, DAYS, own + moved(5.0))
    assert found is not None
    assert found.readings == len(own), "only they narrow what is left open"


def test_what_lasts_at_a_station_is_its_own_ground() -> None:
    lasting = [replace(r, temp_c=15.0) for r in moved(1.0)]
    assert abs(correction(lasting)) < 1.0
    assert abs(correction(lasting, ahead=120)) < 0.05


def test_two_stations_that_agree_say_more_than_one() -> None:
    one = correction(moved(60.0))
    two = correction([*moved(60.0), *moved(-60.0, "b")])
    assert one < two < 2 * one


def test_a_station_that_goes_missing_leaves_the_model_as_it_was() -> None:
    record = filled(selma())
    site = Site.model_validate(
        {"name": "x", "latitude": 32.6, "longitude": -87.5, "timezone": "Etc/GMT+6"}
    )
    find = partial(soil_correction, record, site, Observed())
    assert find() is None
    station = NearbySoil("Selma", record, 29.0, -12.0)
    found = find(nearby=(station,))
    assert found is not None
    assert found.readings == 0, "it narrows nothing, so that losing it cannot"


@pytest.mark.slow
@pytest.mark.parametrize("off_k", [3.0, -3.0])
def test_a_station_opens_no_day_for_the_turf_nor_does_its_going(off_k: float) -> None:
    site, weather = sample_site(), sample_weather()
    past = weather.daily.between(
        weather.daily.times[0], np.datetime64(weather.today) - np.timedelta64(1, "D")
    )
    soil_c = simulate(soil_forcing(past), SoilSite(), depths_m=NEAR_SURFACE_M).temp_c[:, 0]
    soil_c[-40:] += off_k
    columns = {name: past.get(name) for name in ("tmax_c", "tmin_c", "precip_mm")}
    record = record_of(past.place, past.times, {**columns, "soil_5cm_c": soil_c})
    station = NearbySoil("x", record, 10.0, 0.0)
    alone = foreseen(site, weather, futures=20).ahead.turf
    near_by = foreseen(site, replace(weather, nearby=(station,)), futures=20).ahead.turf
    assert not np.array_equal(near_by.injury_probability, alone.injury_probability) or off_k < 0
    assert (near_by.injury_probability >= alone.injury_probability - 1e-12).all()
    assert (near_by.nonselective_safe <= alone.nonselective_safe + 1e-12).all()


def test_the_answer_tells_and_one_switch_turns_it_off(
    server: Loopback, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    raw: dict[str, Any] = {
        "name": "x", "latitude": 32.6, "longitude": -87.5, "elevation_m": 70.0,
        "timezone": "Etc/GMT+6", "weather": {"forecast": "none"},
    }  # fmt: skip
    monkeypatch.setattr("windowcast.weather.load.local_today", lambda zone: TODAY)
    record = replace(selma(), place=HERE)
    with Cache(tmp_path / FILE) as cache:
        weather = load_weather(Site.model_validate(raw), files=[record], fetcher=Fetcher(cache))
        assert [near.station for near in weather.nearby] == ["station 63858 AL Selma 13 WNW"]
        said = [render(f.text) for f in weather.daily.flags if f.check == "soil-nearby"]
        assert len(said) == 1
        assert "29 km away" in said[0]
        count = len(server.requests)
        raw["weather"]["soil_networks"] = False
        off = load_weather(Site.model_validate(raw), files=[record], fetcher=Fetcher(cache))
        assert off.nearby == ()
        assert len(server.requests) == count


def test_networks_that_are_away_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("USCRN", "NRCS"):
        monkeypatch.setenv(f"WINDOWCAST_{name}_URL", f"http://127.0.0.1:{closed_port()}")
    monkeypatch.setattr("windowcast.sources.http.Client._pause", lambda *_: 0.0)
    found = asked(tmp_path)
    assert found.nearby == ()
    assert [flag.check for flag in found.flags] == ["soil-network-unreachable"]
    assert asked(tmp_path, Place("Perth", -31.9, 115.9)).flags == (), "asked only near its stations"
