"""What weather of a station some way off costs: pairs of USCRN stations 10 to 120 km apart.

    python benchmarks/check_far_weather.py USCRN_FOLDER...

For each pair, both ways round: how far the daily mean air of the one is from that of the other in
the mean, and how far the soil model is from the other's probe at 5 cm, driven by its own weather
(highs, lows and rain) and by the one's. The files tell no heights, so pairs whose air differs by
more than `LIKE_K` in the mean (230 m) are left out of the sums: known heights are corrected for.
First the mean air alone, which needs no days of both probes, of pairs up to 200 km apart east
of the mountains, at `MIDDLE_KM` by the root of the distance.
See `error.far_sd` in ``windowcast/data/soil.toml``.
"""

from __future__ import annotations

import sys

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.verify.soil import in_season, in_south_east
from windowcast.verify.soil_stations import read_stations

NEAR_KM, FAR_KM = 10.0, 120.0
LEAST_DAYS = 500  # of a pair's seasons on which all is known
LIKE_K = 1.5
AIR_KM, MIDDLE_KM, WEST_DEG = 200.0, 70.0, -104.0


def root_mean_square(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def air_alone(air: np.ndarray, away: np.ndarray, lon: np.ndarray) -> None:
    """Print how far the mean air of like pairs differs at `MIDDLE_KM` [K]."""
    found = []
    for i, j in zip(*np.nonzero(np.triu((away >= NEAR_KM) & (away <= AIR_KM), 1)), strict=True):
        off = air[i] - air[j]
        lasting = float(np.nanmean(off)) if np.isfinite(off).sum() >= LEAST_DAYS else np.inf
        if abs(lasting) <= LIKE_K and lon[i] > WEST_DEG:
            found.append(lasting * np.sqrt(MIDDLE_KM / away[i, j]))
    print(
        f"air: {len(found)} pairs, {root_mean_square(np.array(found)):.2f} K at {MIDDLE_KM:.0f} km"
    )


def main() -> None:
    data = read_stations(sys.argv[1:])
    lat, lon, w = data.latitude_deg, data.longitude_deg, data.weather
    away = distance_km(lat[:, None], lon[:, None], lat[None], lon[None])
    of, at = np.nonzero((away >= NEAR_KM) & (away <= FAR_KM))
    season = in_season(data.dates)
    air = (w["tmax_c"] + w["tmin_c"]) / 2
    air_alone(air, away, lon)
    off = (air[of] - air[at])[:, season]
    probe = data.soil_c[0][at][:, season]

    def missed(weather: np.ndarray) -> np.ndarray:
        parts = (w[name][weather] for name in ("tmax_c", "tmin_c", "precip_mm"))
        forcing = SoilForcing(data.dates, *parts, lat[at], longitude_deg=lon[at])
        return simulate(forcing, SoilSite()).temp_c[..., 0][:, season] - probe

    own, far = missed(at), missed(of)
    known = np.isfinite(own) & np.isfinite(far) & np.isfinite(off)
    like = {True: [], False: []}  # in the south-east, elsewhere
    print("from, to, km, air off in the mean, RMSE of soil with its own and with far weather")
    for n in np.flatnonzero(known.sum(axis=1) >= LEAST_DAYS):
        day, i, j = known[n], of[n], at[n]
        lasting = float(off[n][day].mean())
        errors = root_mean_square(own[n][day]), root_mean_square(far[n][day])
        print(
            f"{data.names[i]:26}{data.names[j]:26}{away[i, j]:5.0f}{lasting:7.2f}"
            f"{errors[0]:6.2f}{errors[1]:6.2f}"
        )
        if abs(lasting) <= LIKE_K:
            like[bool(in_south_east(lat[j], lon[j]))].append((away[i, j], lasting, *errors))
    for south_east, rows in like.items():
        if rows:
            km, lasting, near, afar = np.array(rows).T
            added = np.sqrt(max(np.mean(afar**2) - np.mean(near**2), 0.0))
            print(
                f"{'south-east' if south_east else 'elsewhere'}: {len(rows)} ways, "
                f"{km.mean():.0f} km, air off by {root_mean_square(lasting):.2f} K in the mean, "
                f"soil {root_mean_square(near):.2f} and {root_mean_square(afar):.2f} K: "
                f"added {added:.2f} K"
            )


if __name__ == "__main__":
    main()
