"""What a site's own record of its forecast is worth (windowcast/weather/own_misses.py).

    python benchmarks/check_own_record.py FOLDER LATER [EVERY]

FOLDER holds forecasts as issued for US cities, 2014-17, laid out as ``docs/odds.md`` says (origin:
benchmarks/fit_forecast_spread.py). Every second city, the first left out, is replayed with futures
at each EVERYth issue (28), with the general error alone and with the city's own misses up to that
issue; the other cities fitted the general error.

The rule's three numbers come from a learning curve over cities of the same years. So LATER is the
test on cities and dates that had no part in it: forecasts of 2021-22 for 62 cities up to two days
ahead (``nws_city_forecast_vs_observed.csv.gz`` of benchmarks/fit_forecast_errors.py). They are
scored as normals, since there is no climate of these cities to draw futures from. A low is that of
the night it was issued for, held against the next morning's reading.
"""

from __future__ import annotations

import csv
import gzip
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

from windowcast.core.crps import crps_normal
from windowcast.core.values import PACKAGED
from windowcast.verify.issued import LEADS, OUTLIER_C, read_folder
from windowcast.verify.issued_odds import events_of, replay_issued
from windowcast.verify.odds import calibration_error, reliability
from windowcast.weather.ensemble_errors import ErrorPart, bias_c, middle_of_days, spread_of
from windowcast.weather.own_misses import with_own
from windowcast.windows.purposes import purpose_of

VALUES = PACKAGED["ensemble"]
WINDOW = int(VALUES.number("own.window"))
LATER = {  # title → (column, part, dates ahead, column of what came)
    "high, 2 days ahead": ("forecast_hi_2_prev_PM", ErrorPart.HIGH, 2, "actual_hi_current_PM"),
    "high, 1 day ahead": ("forecast_hi_prev_PM", ErrorPart.HIGH, 1, "actual_hi_current_PM"),
    "high, of the date": ("forecast_hi_current_AM", ErrorPart.HIGH, 0, "actual_hi_current_PM"),
    "night low, 1 day ahead": ("forecast_lo_prev_PM", ErrorPart.LOW, 1, "actual_lo_next_AM"),
    "night low, of the date": ("forecast_lo_current_PM", ErrorPart.LOW, 0, "actual_lo_next_AM"),
}


def replayed(folder: Path, every: int) -> None:
    """The first part: futures drawn from forecasts of 2014-17."""
    cities, events = read_folder(folder)[1::2], events_of(purpose_of("post-early"))
    print(f"{len(cities)} cities, 2014-17, leads 0 to {LEADS - 1}")
    for title, own in (("general", False), ("own record", True)):
        drawn = replay_issued(cities, events, every_days=every, own=own)
        error = np.sqrt(np.nanmean((drawn.came_c - drawn.mean_c) ** 2, axis=0))
        worst = [
            max(calibration_error(reliability(drawn.odds[k][:, lead], drawn.came[k][:, lead]))
                for k in drawn.odds)
            for lead in range(LEADS)
        ]  # fmt: skip
        for name, row in (
            ("CRPS, K", np.nanmean(drawn.crps_k, axis=0)),
            ("spread / error", np.sqrt(np.nanmean(drawn.variance_k2, axis=0)) / error),
            ("worst calibration error", np.array(worst)),
        ):
            figures = "".join(f"{v:8.3f}" for v in row)
            print(f"{f'{title}, {name}':36}{figures}  ({drawn.issues} issues)")


def later(path: Path) -> None:
    """The second part: 2021-22, city by city and day by day, as it would have gone."""
    with gzip.open(path, "rt") as lines:
        rows = list(csv.DictReader(lines))
    print("\n2021-22: cases, CRPS [K] general, own; mean PIT spread (1 is right) general, own")
    for title, (said, part, lead, came) in LATER.items():
        errors: dict[tuple[str, str], dict[np.datetime64, float]] = defaultdict(dict)
        for row in rows:
            if "NA" not in (row[said], row[came]):
                off = (float(row[came]) - float(row[said])) / 1.8
                if abs(off) <= OUTLIER_C:
                    errors[row["city"], row["state"]][np.datetime64(row["date"])] = off
        scores = np.array([s for one in errors.values() for s in _city(one, part, lead)])
        crps, square = scores[:, :2].mean(axis=0), scores[:, 2:].mean(axis=0)
        print(f"{title:26}{len(scores):7}" + "".join(f"{v:8.3f}" for v in (*crps, *square)))


def _city(errors: dict[np.datetime64, float], part: ErrorPart, lead: int) -> list[list[float]]:
    """CRPS and squared standard miss of each day, general and own."""
    first, last = min(errors), max(errors)
    series = np.full(int((last - first).astype(int)) + 1, np.nan)
    for day, off in errors.items():
        series[int((day - first).astype(int))] = off
    leads = middle_of_days(lead + 1)
    climate = VALUES.number("temperature.climate_sd")
    shift, spread = bias_c(part, leads, climate, VALUES), spread_of(part, leads, climate, VALUES)
    half = "low" if part == ErrorPart.LOW else "high"
    place = VALUES.number(f"temperature.{half}_lasting_sd")
    may, told = np.ones(lead + 1, dtype=bool), np.zeros(lead + 1, dtype=bool)
    found = []
    for day in np.flatnonzero(np.isfinite(series)):
        issue = day - lead  # errors of dates before the issue are known
        if issue < 1:
            continue
        known = np.full((WINDOW, lead + 1), np.nan)
        seen = series[max(issue - WINDOW, 0) : issue]
        known[WINDOW - len(seen) :, lead] = seen
        own = with_own(shift, spread, known, place, VALUES, may=may, told=told)
        pair = [(shift[lead], spread.sd_c[lead]), (own.bias_c[lead], own.spread.sd_c[lead])]
        z = [(series[day] - centre) / sd for centre, sd in pair]
        crps = [sd * float(crps_normal(np.array(v))) for v, (_, sd) in zip(z, pair, strict=True)]
        found.append([*crps, z[0] ** 2, z[1] ** 2])
    return found


if __name__ == "__main__":
    later(Path(sys.argv[2]))
    replayed(Path(sys.argv[1]), int(sys.argv[3]) if len(sys.argv) > 3 else 28)
