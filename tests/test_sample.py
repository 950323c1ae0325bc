"""The embedded sample: complete where it must be, fast, and there after an installation."""

from __future__ import annotations

import datetime as dt
import gzip
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from windowcast.core.record import Grade
from windowcast.weather.sample import SAMPLE_TODAY, sample_folder, sample_site, sample_weather

ROOT = Path(__file__).parents[1]


def test_site_is_invented_but_whole() -> None:
    site = sample_site()
    assert site.timezone == "America/New_York"
    assert site.turf.overseeded is False
    assert site.elevation_m is not None


def test_record_reaches_from_years_past_to_the_days_ahead() -> None:
    weather = sample_weather()
    daily = weather.daily
    assert weather.today == SAMPLE_TODAY == dt.date(2018, 1, 18)
    assert weather.today_index == len(daily.times) - 10
    assert len(daily.times) > 10 * 365
    past = slice(weather.today_index - 200, weather.today_index)
    for name in ("tmax_c", "tmin_c", "rain_filled_mm", "soil_5cm_c"):
        assert np.isfinite(daily.get(name)[past]).all(), name
    assert np.isnan(daily.get("precip_mm")[past]).sum() == 1  # a day missing at the station
    assert (daily.grade("tmax_c")[weather.today_index :] == Grade.FORECAST).all()


def test_hours_ahead_have_what_every_criterion_asks_for() -> None:
    hourly = sample_weather().hourly
    assert hourly is not None
    assert len(hourly.times) == 240
    for name in ("temp_c", "dewpoint_c", "wind_m_s", "gust_m_s", "precip_mm", "precip_prob",
                 "cloud_fraction"):  # fmt: skip
        assert np.isfinite(hourly.get(name)).all(), name
        assert (hourly.grade(name) == Grade.FORECAST).all()
    assert (hourly.get("dewpoint_c") < hourly.get("temp_c")).all()
    assert (hourly.get("gust_m_s") > hourly.get("wind_m_s")).all()
    assert not [f for f in hourly.flags if f.action == "removed"]


def test_real_days_are_unchanged() -> None:
    """Read by eye from the station's daily01 file, 17 January 2018: 1.4 / -6.0 °C, 8.9 mm."""
    weather = sample_weather()
    day = weather.today_index - 1
    assert weather.daily.get("tmax_c")[day] == 1.4
    assert weather.daily.get("tmin_c")[day] == -6.0
    assert weather.daily.get("precip_mm")[day] == 8.9
    assert weather.daily.get("soil_5cm_c")[day] == 4.3


def test_origin_is_told_and_files_are_small() -> None:
    folder = sample_folder()
    text = (folder / "ORIGIN.md").read_text("utf-8")
    for word in ("real", "invented", "public domain", "daily01", SAMPLE_TODAY.strftime("%B %Y")):
        assert word in text
    assert sum(f.stat().st_size for f in folder.iterdir()) < 150_000
    assert gzip.decompress((folder / "hourly.csv.gz").read_bytes()).count(b"\n") == 6 + 1 + 240


def test_sample_path_needs_no_heavy_library() -> None:
    """`--sample` must cost little more than numpy: no pandas, meteostat, requests, sqlite."""
    code = (
        "import sys; from windowcast.weather.sample import sample_weather; sample_weather();"
        "print([m for m in ('pandas','meteostat','requests','scipy','sqlite3','rich','jinja2')"
        " if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.slow
def test_sample_from_an_installed_wheel(tmp_path: Path) -> None:
    """Build the wheel, install it into an empty folder, and load the sample from elsewhere."""
    if (
        shutil.which("pip") is None
        and subprocess.run(
            [sys.executable, "-m", "pip", "--version"], capture_output=True, check=False
        ).returncode
    ):
        pytest.skip("needs pip")
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    build = [*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", str(tmp_path), str(ROOT)]
    built = subprocess.run(build, capture_output=True, text=True, check=False)
    if "hatchling" in built.stderr and built.returncode:
        pytest.skip("needs hatchling to build without a network")
    assert built.returncode == 0, built.stderr
    wheel = next(tmp_path.glob("*.whl"))
    target = tmp_path / "site"
    subprocess.run([*pip, "install", "--no-deps", "--target", str(target), str(wheel)], check=True)
    code = (
        f"import sys; sys.path.insert(0, {str(target)!r});"
        "from windowcast.weather import sample; import windowcast;"
        "print(windowcast.__file__); print(sample.sample_folder());"
        "print(len(sample.sample_weather().daily.times), sample.sample_site().name)"
    )
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    ).stdout.splitlines()
    assert out[0].startswith(str(target))
    assert out[1] == str(target / "windowcast" / "sample_weather")
    assert out[2] == f"{len(sample_weather().daily.times)} {sample_site().name}"
