"""Odds of dry hours by the program's futures on drawn forecasts, against the hours that came.

    python benchmarks/check_rain_odds.py RECORD... [--seasons YEAR...] [--every DAYS]

RECORD are USCRN daily01 files. Seasons are lived through as `windowcast verify advice` does, with
forecasts drawn from what came (docs/drawn_forecasts.md). Prints, for one to six days ahead,
September to April: the share of wet days and of wet quarters of days as told by the forecast, in
the futures and as it came; and of dry mornings, dry daytimes and dry days the odds, the share that
came, the calibration error (ten bins) and the Brier score.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.local_days import local_dates
from windowcast.core.record import FloatArray
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.drawn_forecast import LEADS, PERIOD_H, PERIODS
from windowcast.verify.lived import Lived, lived
from windowcast.verify.odds import brier, calibration_error, reliability
from windowcast.weather.ensemble import members

WET_MM = 0.254
FUTURES = 50
DAYS = 236  # from 1 September
SPANS = {"8 to 14 h": slice(8, 14), "8 to 20 h": slice(8, 20), "whole day": slice(0, 24)}


def days_of(season: Lived, every: int) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Chance told ``[hour]``, rain of the futures ``[future, hour]`` and rain that came [mm]."""
    zone = ZoneInfo(season.daily.place.timezone)
    when, rain = local_dates(zone, season.hourly.times), season.hourly.get("precip_mm")
    first = np.datetime64(f"{season.season}-09-01")
    for today in first + np.arange(0, DAYS, every):
        known = season.on(today.astype(object))
        ahead = members(known, until=(today + LEADS).astype(object), count=FUTURES)
        hours, told = ahead.hourly, known.hourly
        if told is None:
            continue
        of_future, of_told = local_dates(zone, hours.times), local_dates(zone, told.times)
        for lead in range(1, LEADS):
            day = today + lead
            came, chance = rain[when == day], told.get("precip_prob")[of_told == day]
            future = hours.get("precip_mm")[1:, of_future == day]
            if len(came) == len(chance) == future.shape[-1] == PERIODS * PERIOD_H:
                yield chance, future, came


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("records", nargs="+", type=Path)
    parser.add_argument("--seasons", nargs="+", type=int, default=[2014, 2016, 2018])
    parser.add_argument("--every", type=int, default=5)
    asked = parser.parse_args()
    chances, futures, fallen = [], [], []
    for path in asked.records:
        record = read_uscrn([path])
        for year in asked.seasons:
            if (season := lived(record, year)) is not None:
                for chance, future, came in days_of(season, asked.every):
                    chances.append(chance[::PERIOD_H])
                    futures.append(future)
                    fallen.append(came)
    future, came = np.array(futures), np.array(fallen)

    def quarters(rain_mm: FloatArray) -> FloatArray:
        parts = rain_mm.reshape(*rain_mm.shape[:-1], PERIODS, PERIOD_H).sum(axis=-1)
        return np.asarray(parts >= WET_MM)

    print(f"{len(came)} days")
    said, of_futures, of_came = np.mean(chances), quarters(future), quarters(came)
    print(
        f"wet quarters: told {said:.3f}, futures {of_futures.mean():.3f}, came {of_came.mean():.3f}"
    )
    wet = of_futures.any(axis=-1).mean(), of_came.any(axis=-1).mean()
    print(f"days with one: futures {wet[0]:.3f}, came {wet[1]:.3f}")
    for name, span in SPANS.items():
        odds = (future[..., span].sum(axis=-1) < WET_MM).mean(axis=-1)
        dry = (came[..., span].sum(axis=-1) < WET_MM).astype(np.float64)
        error = calibration_error(reliability(odds, dry))
        print(
            f"dry {name}: told {odds.mean():.3f}, came {dry.mean():.3f}, "
            f"calibration error {error:.3f}, Brier score {brier(odds, dry):.3f}"
        )


if __name__ == "__main__":
    main()
