"""A kept run of the soil is the run itself, to the bit, or it is not taken."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from spoken import voice_of

from windowcast import api
from windowcast.core.values import load
from windowcast.materials.actives import load_actives
from windowcast.physics.soil import (
    ProbeReading,
    SoilForcing,
    SoilResult,
    SoilSite,
    fit_site_correction,
    simulate,
)
from windowcast.programme.answer import answer
from windowcast.report.tables import json_text
from windowcast.season import soil_kept
from windowcast.season.soil_kept import KeptSoil
from windowcast.sources.cache import Cache
from windowcast.weather.sample import sample_site, sample_weather

DEPTHS = (0.025, 0.05, 0.10)
DAYS = np.arange("2020-11-01", "2021-12-15", dtype="datetime64[D]")


def forcing() -> SoilForcing:
    rng = np.random.default_rng(5)
    count = len(DAYS)
    mean = 12 + 12 * np.sin(2 * np.pi * (np.arange(count) - 60) / 365) + rng.normal(0, 4, count)
    rain = np.where(rng.random(count) < 0.3, rng.gamma(1.0, 8.0, count), 0.0)
    mean[100] = np.nan  # a gap, so that some days are withheld
    return SoilForcing(DAYS, mean + 6, mean - 6, rain, 34.0)


def correction(weather: SoilForcing) -> Any:
    plain = simulate(weather, SoilSite("loam"), depths_m=(0.05, 0.10))
    readings = [ProbeReading(DAYS[i], 0.05, plain.temp_c[i, 0] + 1.5) for i in (200, 230, 260)]
    return fit_site_correction(plain.temp_c, DAYS, readings)


ARRAYS = ("dates", "temp_c", "moisture", "frozen", "snow_water_mm")


def same(one: SoilResult, other: SoilResult) -> bool:
    """All values alike to the bit."""
    pairs = [(getattr(one, name), getattr(other, name)) for name in ARRAYS]
    pairs += [(one.state.temp_c, other.state.temp_c), (one.state.surface, other.state.surface)]
    alike = all(
        (a.dtype, a.shape, a.tobytes()) == (b.dtype, b.shape, b.tobytes()) for a, b in pairs
    )
    ends = one.state.date == other.state.date
    return bool(alike and ends and one.depths_m == other.depths_m)


class Runs(list[SoilForcing]):
    """The soil model, and what it was asked for: what was not found."""

    def __call__(self, forcing: SoilForcing, site: SoilSite, **more: Any) -> SoilResult:
        self.append(forcing)
        return simulate(forcing, site, **more)


@pytest.fixture
def runs() -> Runs:
    return Runs()


@pytest.mark.parametrize("corrected", [False, True])
def test_a_kept_run_is_the_run_to_the_bit(runs: Runs, *, corrected: bool) -> None:
    weather = forcing()
    site = SoilSite("loam", correction=correction(weather) if corrected else None)
    fresh = simulate(weather, site, depths_m=DEPTHS)
    assert np.isnan(fresh.temp_c).any()
    assert np.isfinite(fresh.temp_c).any()
    with Cache() as cache:
        first = KeptSoil(cache, runs)(weather, site, depths_m=DEPTHS)
    assert len(runs) == 1
    with Cache() as cache:
        again = KeptSoil(cache, runs)(weather, site, depths_m=DEPTHS)
    assert len(runs) == 1
    assert same(first, fresh)
    assert same(again, fresh)


def test_whatever_a_run_depends_on_makes_it_run_again(runs: Runs) -> None:
    weather, loam = forcing(), SoilSite("loam")
    bit = weather.tmax_c.copy()
    bit[7] = np.nextafter(bit[7], 99.0)
    dry = weather.precip_mm.copy()
    dry[9] = np.nan
    asked: list[tuple[SoilForcing, SoilSite, tuple[float, ...]]] = [
        (weather, loam, DEPTHS),
        (replace(weather, tmax_c=bit), loam, DEPTHS),
        (replace(weather, tmin_c=bit - 9), loam, DEPTHS),
        (replace(weather, precip_mm=dry), loam, DEPTHS),
        (replace(weather, solar_mj_m2=np.full(len(DAYS), 14.0)), loam, DEPTHS),
        (replace(weather, rh_mean_pct=np.full(len(DAYS), 14.0)), loam, DEPTHS),
        (replace(weather, snow_depth_mm=np.zeros(len(DAYS))), loam, DEPTHS),
        (replace(weather, dates=weather.dates + np.timedelta64(1, "D")), loam, DEPTHS),
        (replace(weather, latitude_deg=34.001), loam, DEPTHS),
        (weather, SoilSite("clay"), DEPTHS),
        (weather, SoilSite(None), DEPTHS),
        (weather, SoilSite("loam", irrigated=True), DEPTHS),
        (weather, SoilSite("loam", turf=False), DEPTHS),
        (weather, SoilSite("loam", correction=correction(weather)), DEPTHS),
        (weather, replace(loam, values=load("soil").varied({"surface.solar": 0.9})), DEPTHS),
        (weather, loam, (0.02, 0.05, 0.10)),
        (weather, loam, (0.05, 0.10)),
    ]
    runs.clear()
    with Cache() as cache:
        for count, (forced, site, depths) in enumerate(asked, 1):
            found = KeptSoil(cache, runs)(forced, site, depths_m=depths)
            assert len(runs) == count
            assert same(found, simulate(forced, site, depths_m=depths))


def test_another_program_runs_again(runs: Runs, monkeypatch: pytest.MonkeyPatch) -> None:
    with Cache() as cache:
        KeptSoil(cache, runs)(forcing(), SoilSite(), depths_m=DEPTHS)
        monkeypatch.setattr(soil_kept, "_program", lambda: "a line of the model was changed")
        KeptSoil(cache, runs)(forcing(), SoilSite(), depths_m=DEPTHS)
    assert len(runs) == 2


def test_the_program_is_known_by_the_text_of_its_model(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def digest(text: str) -> str:
        (tmp_path / "soil.py").write_text(text)
        monkeypatch.setattr(soil_kept.resources, "files", lambda package: tmp_path)
        return soil_kept._program.__wrapped__()

    assert digest("a = 1.0") == digest("a = 1.0")
    assert digest("a = 1.0") != digest("a = 1.1")


def test_a_run_that_carries_on_and_several_columns_are_not_kept(runs: Runs) -> None:
    weather, site = forcing(), SoilSite("loam")
    whole = simulate(weather, site, depths_m=DEPTHS)
    days = len(DAYS) - 30
    cut = {f.name: getattr(weather, f.name) for f in fields(weather)}
    early, late = (
        SoilForcing(**{k: v[part] if isinstance(v, np.ndarray) else v for k, v in cut.items()})
        for part in (slice(0, days), slice(days, None))
    )
    with Cache() as cache:
        kept = KeptSoil(cache, runs)
        before = kept(early, site, depths_m=DEPTHS)
        carried = kept(late, site, depths_m=DEPTHS, state=kept(early, site, depths_m=DEPTHS).state)
        pair = replace(weather, tmax_c=np.stack([weather.tmax_c, weather.tmax_c + 1]))
        assert kept(pair, site, depths_m=DEPTHS).temp_c.shape == (2, len(DAYS), 3)
        assert _rows(cache) == 1
    np.testing.assert_array_equal(before.temp_c, whole.temp_c[:days])
    np.testing.assert_array_equal(carried.temp_c, whole.temp_c[days:])


def test_one_entry_a_place_however_many_days_are_asked_for() -> None:
    weather = forcing()
    with Cache() as cache:
        for days in range(370, 374):
            cut = {f.name: getattr(weather, f.name) for f in fields(weather)}
            part = {k: v[:days] if isinstance(v, np.ndarray) else v for k, v in cut.items()}
            KeptSoil(cache)(SoilForcing(**part), SoilSite(), depths_m=DEPTHS)
        assert _rows(cache) == 1


def _rows(cache: Cache) -> int:
    with sqlite3.connect(cache.path) as db:
        found: int = db.execute("SELECT count(*) FROM derived").fetchone()[0]
    return found


def _flipped(body: bytes) -> bytes:
    middle = len(body) // 2
    return body[:middle] + bytes([body[middle] ^ 1]) + body[middle + 1 :]


@pytest.mark.parametrize(
    "broken", [_flipped, lambda body: body[:-8], lambda body: b"", lambda body: b"\0" * len(body)]
)
def test_a_broken_entry_is_worked_out_anew(broken: Callable[[bytes], bytes], runs: Runs) -> None:
    weather, site = forcing(), SoilSite("loam")
    with Cache() as cache:
        KeptSoil(cache, runs)(weather, site, depths_m=DEPTHS)
        with sqlite3.connect(cache.path) as db:
            key, digest = db.execute("SELECT key, digest FROM derived").fetchone()
        body = cache.derived(key, digest)
        assert body is not None
        cache.put_derived(key, "soil", digest, broken(body))
        mended = KeptSoil(cache, runs)(weather, site, depths_m=DEPTHS)
        assert len(runs) == 2
        assert same(mended, simulate(weather, site, depths_m=DEPTHS))
        KeptSoil(cache, runs)(weather, site, depths_m=DEPTHS)
        assert len(runs) == 2


def test_what_does_not_unpack_is_worked_out_anew(runs: Runs) -> None:
    with Cache() as cache:
        KeptSoil(cache, runs)(forcing(), SoilSite(), depths_m=DEPTHS)
        with sqlite3.connect(cache.path) as db:
            db.execute("UPDATE derived SET body = x'00'")
        found = KeptSoil(cache, runs)(forcing(), SoilSite(), depths_m=DEPTHS)
    assert len(runs) == 2
    assert same(found, simulate(forcing(), SoilSite(), depths_m=DEPTHS))


def test_a_damaged_file_changes_no_answer(tmp_path: Path) -> None:
    path = tmp_path / "weather.sqlite"
    with Cache(path) as cache:
        KeptSoil(cache)(forcing(), SoilSite(), depths_m=DEPTHS)
    whole = path.read_bytes()
    fresh = simulate(forcing(), SoilSite(), depths_m=DEPTHS)
    for start in range(100, len(whole), max(1, len(whole) // 12)):
        for suffix in ("-wal", "-shm"):
            Path(f"{path}{suffix}").unlink(missing_ok=True)
        path.write_bytes(whole[:start] + b"\xff" * 400 + whole[start + 400 :])
        with Cache(path) as cache:
            assert same(KeptSoil(cache)(forcing(), SoilSite(), depths_m=DEPTHS), fresh)


def test_without_a_place_to_keep_it_the_answer_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("WINDOWCAST_CACHE", str(tmp_path / "file" / "cache"))
    with Cache() as cache:
        found = KeptSoil(cache)(forcing(), SoilSite(), depths_m=DEPTHS)
    assert same(found, simulate(forcing(), SoilSite(), depths_m=DEPTHS))


def test_an_answer_is_the_same_with_nothing_kept_kept_and_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    site, weather = sample_site(), sample_weather()
    plain = answer(site, weather, materials=load_actives())
    first = api.answer(site, weather)

    def ahead_only(*given: Any, state: Any = None, **more: Any) -> SoilResult:
        assert state is not None, "the past was simulated again"
        return simulate(*given, state=state, **more)

    monkeypatch.setattr(soil_kept, "KeptSoil", lambda cache: KeptSoil(cache, ahead_only))
    again = api.answer(site, weather)
    assert (
        json_text(plain.ranking, voice=voice_of(plain.ranking))
        == json_text(first.ranking, voice=voice_of(first.ranking))
        == json_text(again.ranking, voice=voice_of(again.ranking))
    )
    for other in (first, again):
        for mine, theirs in ((plain.past, other.past), (plain.ahead, other.ahead)):
            for name in ("soil_5cm_c", "soil_10cm_c", "soil_moisture", "soil_frozen"):
                assert getattr(mine, name).tobytes() == getattr(theirs, name).tobytes()
            for code, curve in mine.emergence.items():
                assert curve.share.tobytes() == theirs.emergence[code].share.tobytes()
            assert np.array_equal(
                mine.turf.days_to_greenup, theirs.turf.days_to_greenup, equal_nan=True
            )
