"""What rain, sun and humidity of a coarse grid cost the modelled soil, judged by stations nearby.

    python benchmarks/cost_of_coarse_grid.py USCRN_FOLDER...

A cell of the grid is 50 to 70 km wide, so what it says of a place is taken to be as wrong as what a
station 10 to 200 km away measures there; as a second judge, sun and humidity measured at the place
get the errors that were published for the grid (Rodrigues & Braga 2021, Agronomy 11:1207: 20 % of
the mean and no more, without any correction). The soil at 5 cm is modelled with the place's own
highs and lows, and is held against its probe and against the run with all that was measured there.
The figures are those of ``cost.grid`` in ``windowcast/data/usual_rain.toml``, ``coarse_grid`` in
``windowcast/data/sources.toml``, and of ``docs/unknowns.md``.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
from cost_of_unknown_rain import rms, stations_around

from windowcast.core.great_circle import distance_km
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.physics.soil_forcing import (
    estimate_solar_mj_m2,
    estimate_vapour_kpa,
    saturation_kpa,
)
from windowcast.physics.sun import day_of_year, extraterrestrial_radiation_mj_m2
from windowcast.physics.usual_rain import filled_rain
from windowcast.verify.soil import PASSINGS, date_errors, in_season, observed_days
from windowcast.verify.soil_stations import read_stations

NEAR_KM, FAR_KM = 10.0, 200.0
LIKE_K = 1.5  # mean air further apart than that: another height
HUMID_MM = 2.0  # mean rain a day
LEAST_DAYS = 500
PUBLISHED = 0.20  # of the mean


def main() -> None:
    data = read_stations(sys.argv[1:])
    lat, lon, w, dates = data.latitude_deg, data.longitude_deg, data.weather, data.dates
    away = distance_km(lat[:, None], lon[:, None], lat[None], lon[None])
    air = (w["tmax_c"] + w["tmin_c"]) / 2
    of, at = np.nonzero((away >= NEAR_KM) & (away <= FAR_KM))
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # pairs without a day in common
        like = np.abs(np.nanmean(air[of] - air[at], axis=1)) <= LIKE_K
    of, at = of[like], at[like]
    own = {name: values[at] for name, values in w.items()}
    far = {name: values[of] for name, values in w.items()}
    usual = np.stack(
        [
            filled_rain(dates, w["tmax_c"][i], w["tmin_c"][i], np.full(len(dates), np.nan),
                        climate=stations_around(float(lat[i]), float(lon[i])))
            for i in at
        ]
    )  # fmt: skip
    random = np.random.default_rng(1)

    def noisy(values: np.ndarray, most: float) -> np.ndarray:
        mean = np.nanmean(values, axis=-1, keepdims=True)
        lasting = random.normal(0, PUBLISHED / np.sqrt(2), (len(values), 1))
        daily = random.normal(0, PUBLISHED / np.sqrt(2), values.shape)
        return np.clip(values + mean * (lasting + daily), 0.1, most)

    def soil(rain: np.ndarray, sun: np.ndarray | None = None, rh: np.ndarray | None = None):
        forcing = SoilForcing(
            dates, own["tmax_c"], own["tmin_c"], rain, lat[at],
            solar_mj_m2=sun, rh_mean_pct=rh, longitude_deg=lon[at],
        )  # fmt: skip
        return simulate(forcing, SoilSite(), compiled=True).temp_c[..., 0]

    rain, sun, rh = (own[name] for name in ("precip_mm", "solar_mj_m2", "rh_mean_pct"))
    plain = np.where(np.isnan(rain), usual, rain)
    of_range = estimated(dates, lat[at], own["tmax_c"], own["tmin_c"], plain)

    def half(*grid: np.ndarray) -> list[np.ndarray]:
        pairs = zip(grid, of_range, strict=True)
        return [np.where(np.isnan(said), plain, (said + plain) / 2) for said, plain in pairs]

    known, measured = soil(plain), soil(plain, sun, rh)
    far_sun, far_rh = half(far["solar_mj_m2"], far["rh_mean_pct"])
    noise_sun, noise_rh = noisy(sun, 45.0), noisy(rh, 100.0)
    far_rain = np.where(np.isnan(far["precip_mm"]), usual, far["precip_mm"])
    runs = {
        "own rain": (known, known),
        "rain of the other": (soil(far_rain), known),
        "usual rain": (soil(usual), known),
        "own sun, humidity": (measured, measured),
        "estimated ones": (known, measured),
        "of the other": (soil(plain, far["solar_mj_m2"], far["rh_mean_pct"]), measured),
        "half of the other": (soil(plain, far_sun, far_rh), measured),
        "published error": (soil(plain, noise_sun, noise_rh), measured),
        "half of that": (soil(plain, *half(noise_sun, noise_rh)), measured),
        "half, sun only": (soil(plain, far_sun, None), soil(plain, sun, None)),
        "half, humidity": (soil(plain, None, far_rh), soil(plain, None, rh)),
    }
    season, probe = in_season(dates), data.soil_c[0][at]
    both = np.isfinite(probe) & np.isfinite(far["precip_mm"]) & np.isfinite(far["solar_mj_m2"])
    enough = (both & season).sum(axis=1) >= LEAST_DAYS
    humid = np.nanmean(rain, axis=1) >= HUMID_MM
    print(
        f"{enough.sum()} ways, {(enough & humid).sum()} humid, {away[of, at][enough].mean():.0f} km"
    )
    for name, (run, reference) in runs.items():
        for group, which in (("humid", enough & humid), ("dry", enough & ~humid)):
            shown = season & both[which]
            off = np.where(shown, run[which] - probe[which], np.nan)
            apart = np.where(shown, run[which] - reference[which], np.nan)
            moved = np.concatenate(
                [
                    date_errors(run[which], dates, p, observed_days(reference[which], dates, p))
                    .ravel() for p in PASSINGS
                ]
            )  # fmt: skip
            moved = np.abs(moved[np.isfinite(moved)])
            print(
                f"{name:18s} {group:6s} rmse {rms(off):.2f}; apart {rms(apart):.2f}; dates 90 % "
                f"within {np.quantile(moved, 0.9):.0f} d, {np.mean(moved <= 3):.0%} within 3"
            )


def estimated(
    dates: np.ndarray, lat: np.ndarray, tmax: np.ndarray, tmin: np.ndarray, rain: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Sun [MJ/m2] and humidity [%] from the range of the temperature, ``[station, day]``."""
    outside = extraterrestrial_radiation_mj_m2(lat[:, None], day_of_year(dates)[None])
    vapour = estimate_vapour_kpa(tmax, tmin, rain)
    humidity = np.clip(100 * vapour / saturation_kpa((tmax + tmin) / 2), 0, 100)
    return estimate_solar_mj_m2(tmax, tmin, rain, outside), humidity


if __name__ == "__main__":
    main()
