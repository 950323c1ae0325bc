"""Assembling the weather of an answer from files."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from spoken import render

from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.local_days import local_today
from windowcast.core.record import Grade, Weather
from windowcast.core.site import Site, load_site, site_from
from windowcast.sources.files import read_weather
from windowcast.weather.load import assemble, load_weather
from windowcast.windows.trace import finding_lines

SITE = site_from({"name": "Sea Loft", "latitude": 38.7, "longitude": -9.1, "elevation_m": 60})


def table(first: dt.date, days: int, tmax: float = 15.0) -> str:
    rows = [
        f"{first + dt.timedelta(days=i)},{tmax + i % 3},{5 + i % 2},{0 if i % 4 else 2.5}"
        for i in range(days)
    ]
    return "date,tmax_c,tmin_c,precip_mm\n" + "\n".join(rows) + "\n"


def hourly_table(start: dt.datetime, hours: int) -> str:
    rows = [f"{start + dt.timedelta(hours=i):%Y-%m-%dT%H:%MZ},{8 + i % 5},0" for i in range(hours)]
    return "time,temp_c,precip_mm\n" + "\n".join(rows) + "\n"


def loaded(tmp_path: Path, *texts: str, today: dt.date | None, site: Site = SITE) -> Weather:
    files = []
    for k, text in enumerate(texts):
        files.append(tmp_path / f"part{k}.csv")
        files[-1].write_text(text)
    return load_weather(site, files=files, today=today, offline=True)


def checks(weather: Weather) -> set[str]:
    return {flag.check for flag in weather.daily.flags}


def test_measured_days_then_forecast_hours(tmp_path: Path) -> None:
    today = dt.date(2020, 1, 21)
    past = table(dt.date(2019, 1, 1), 385)  # to 20 January
    ahead = hourly_table(dt.datetime(2020, 1, 19, tzinfo=dt.UTC), 24 * 7)  # from the 19th
    weather = loaded(tmp_path, past, ahead, today=today)
    at = weather.today_index
    assert str(weather.daily.times[at]) == "2020-01-21"
    grade = weather.daily.grade("tmax_c")
    assert (grade[:at] == Grade.OBSERVED).all()  # the 19th and 20th stay measured
    assert grade[at : at + 5].tolist() == [Grade.FORECAST] * 5
    assert weather.daily.get("tmax_c")[at - 1] >= 15.0
    assert weather.hourly is not None
    assert (weather.hourly.grade("temp_c")[48:] == Grade.FORECAST).all()
    assert weather.place.name == "Sea Loft"
    assert "stale" not in checks(weather)
    assert "hindsight" in checks(weather)  # 2020 has long happened


def test_provenance_of_every_part(tmp_path: Path) -> None:
    ahead = hourly_table(dt.datetime(2020, 1, 21, tzinfo=dt.UTC), 72)
    weather = loaded(tmp_path, table(dt.date(2020, 1, 1), 20), ahead, today=dt.date(2020, 1, 21))
    assert [p.detail for p in weather.daily.provenance] == ["part0.csv", "part1.csv"]
    assert str(tmp_path) not in repr(weather.daily.provenance) + repr(weather.daily.flags)


def test_first_file_goes_before_the_second(tmp_path: Path) -> None:
    first, second = table(dt.date(2020, 1, 1), 5, 20.0), table(dt.date(2020, 1, 1), 20, 10.0)
    weather = loaded(tmp_path, first, second, today=dt.date(2020, 1, 21))
    assert (weather.daily.get("tmax_c")[:5] >= 20).all()
    assert (weather.daily.get("tmax_c")[5:20] < 20).all()
    assert "seam" in checks(weather)  # ten degrees apart on the days both have


def test_a_short_gap_at_the_seam_is_filled_and_said(tmp_path: Path) -> None:
    past = table(dt.date(2019, 12, 1), 49)  # to 18 January
    ahead = hourly_table(dt.datetime(2020, 1, 21, tzinfo=dt.UTC), 72)
    weather = loaded(tmp_path, past, ahead, today=dt.date(2020, 1, 21))
    grade = weather.daily.grade("tmax_c")[weather.today_index - 2 : weather.today_index]
    assert grade.tolist() == [Grade.ESTIMATED] * 2
    assert {"gap-filled", "stale"} <= checks(weather)


def test_a_record_that_ended_long_ago_is_said_not_stretched(tmp_path: Path) -> None:
    weather = loaded(tmp_path, table(dt.date(2019, 1, 1), 365), today=dt.date(2020, 1, 21))
    stale = next(f for f in weather.daily.flags if f.check == "stale")
    assert "2019-12-31" in render(stale.text)
    assert "20 days" in render(stale.text)  # 31 December to 20 January
    assert len(weather.daily.times) == weather.today_index == 365 + 20
    assert np.isnan(weather.daily.get("tmax_c")[-20:]).all()


def test_today_defaults_to_the_clock_of_the_site(tmp_path: Path) -> None:
    clock = local_today(SITE.zone)
    weather = loaded(tmp_path, table(clock - dt.timedelta(days=100), 100), today=None)
    assert weather.today == clock
    assert "stale" not in checks(weather)


def test_days_beyond_any_forecast_are_not_used(tmp_path: Path) -> None:
    """With an earlier date the rest of a long record would be foresight."""
    weather = loaded(tmp_path, table(dt.date(2019, 1, 1), 700), today=dt.date(2020, 1, 21))
    assert str(weather.daily.times[-1]) == "2020-02-05"  # 16 days, quality.toml


def test_only_the_recent_hours_are_kept(tmp_path: Path) -> None:
    hours = hourly_table(dt.datetime(2019, 12, 1, tzinfo=dt.UTC), 24 * 60)
    weather = loaded(tmp_path, hours, today=dt.date(2020, 1, 21))
    assert weather.hourly is not None
    assert str(weather.hourly.times[0]) == "2020-01-11T00"
    assert str(weather.daily.times[0]) == "2019-12-01"


def test_southern_site_and_date_line(tmp_path: Path) -> None:
    site = site_from({"name": "Reef Lawn", "latitude": -13.8, "longitude": -171.8})
    assert site.timezone == "Pacific/Apia"  # clock of the date line's west side
    today = dt.date(2020, 1, 21)
    ahead = hourly_table(dt.datetime(2020, 1, 20, 10, tzinfo=dt.UTC), 48)  # local midnight, UTC+14
    weather = loaded(tmp_path, table(dt.date(2020, 1, 1), 20), ahead, today=today, site=site)
    assert weather.place.southern
    assert np.isfinite(weather.daily.get("tmax_c")).tolist() == [True] * 22
    assert weather.daily.grade("tmax_c")[-2:].tolist() == [Grade.FORECAST] * 2


def test_leap_day(tmp_path: Path) -> None:
    weather = loaded(tmp_path, table(dt.date(2020, 2, 20), 15), today=dt.date(2020, 3, 1))
    assert "2020-02-29" in weather.daily.times.astype(str)
    assert str(weather.daily.times[weather.today_index]) == "2020-03-01"


def test_files_of_the_site_file_are_beside_it(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "er"
    folder.mkdir(parents=True)
    (folder / "w.csv").write_text(table(dt.date(2020, 1, 1), 20))
    text = 'name = "Sea Loft"\nlatitude = 38.7\nlongitude = -9.1\n[weather]\nfiles = ["w.csv"]\n'
    (folder / "site.toml").write_text(text)
    weather = load_weather(load_site(folder / "site.toml"), today=dt.date(2020, 1, 21))
    assert len(weather.daily.times) == 20


def test_without_temperature_there_is_no_answer(tmp_path: Path) -> None:
    file = tmp_path / "rain.csv"
    file.write_text("date,precip_mm\n2020-01-01,3\n")
    today = dt.date(2020, 1, 2)
    with pytest.raises(InputError, match=r"no daily highest and lowest temperature.*give a file"):
        assemble([read_weather(file, place=SITE.place)], SITE.place, today)
    with pytest.raises(InputError, match=r"no temperature for the site.*give weather"):
        load_weather(SITE, files=[file], today=today, offline=True)


@pytest.mark.parametrize("today", [dt.date.min, dt.date.max])
def test_dates_no_weather_has_are_refused(tmp_path: Path, today: dt.date) -> None:
    with pytest.raises(InputError, match=r"no date of weather; give one from 1700"):
        loaded(tmp_path, table(dt.date(2020, 1, 1), 30), today=today)


def test_a_record_that_begins_later_says_when(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"begins on 2020-01-01, after 2019-06-01.*later date"):
        loaded(tmp_path, table(dt.date(2020, 1, 1), 30), today=dt.date(2019, 6, 1))


def test_every_finding_is_listed_with_its_span(tmp_path: Path) -> None:
    text = table(dt.date(2020, 1, 1), 20) + "2020-01-24,99,5,0\n2020-01-25,12,5,0\n"
    found = finding_lines(loaded(tmp_path, text, today=dt.date(2020, 1, 26)))
    lines = [render(line) for line in found]
    assert (
        "weather.range [removed]: highest air temperature: impossible values (2020-01-24)" in lines
    )
    assert any(line.startswith("weather.gap [refused]: highest air temperature: a gap, 4 days")
               and "(2020-01-21 to 2020-01-24)" in line for line in lines)  # fmt: skip
    assert any(line.startswith("weather.gap-filled [filled]: lowest air") for line in lines)


def test_old_files_without_network_are_used_and_said_to_be_old(tmp_path: Path) -> None:
    clock = local_today(SITE.zone)
    weather = loaded(tmp_path, table(clock - dt.timedelta(days=130), 100), today=None)
    assert {"stale", "archive-unreachable"} <= checks(weather)
    assert np.isnan(weather.daily.get("tmax_c")[-29:]).all()


def test_without_files_and_network() -> None:
    with pytest.raises(SourceUnreachableError) as caught:
        load_weather(SITE, offline=True)
    assert caught.value.exit_code == 3
    said = str(caught.value)
    assert "nothing is kept" in said
    assert "--weather" in said
    assert "meteostat" not in said  # no host name in front of a person
