"""Whether dates of weeds are days of the calendar where winters are warm or summers cool.

    python benchmarks/check_calendar_dates.py STATION.txt.gz...

For each USCRN daily01 file and weed, from highs, lows and rain: the day of 1 and 10 % emergence,
and of the first plants by air, in the years that came: median, standard deviation, first to last,
and the share of the years that have the median day itself. A curve that the place does not bear is
said not to be used.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from windowcast.core.site import site_from, timezone_at
from windowcast.season.model import Emergence
from windowcast.season.state import build
from windowcast.sources.files import measured_at
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.as_known import KNOWN as KNOWN_BY_READERS
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked

WEEDS = {"POAAN": "06-21", "DIGIS": "01-01", "DIGSA": "01-01"}  # where its year begins
LEAST_YEARS, YEAR_DAYS, KNOWN = 8, 365, 0.9


def reached(weed: Emergence) -> dict[str, np.ndarray]:
    """What is asked for by its name: 1, 0 or NaN, ``[day]``."""
    parts = {"1 %": weed.share / 0.01, "10 %": weed.share / 0.1}
    if weed.first_by_air is not None:
        parts["by air"] = weed.first_by_air
    return {name: np.where(np.isnan(p), np.nan, p >= 1.0) for name, p in parts.items()}


def main() -> None:
    for path in sys.argv[1:]:
        record = read_uscrn([path])
        at = record.place
        zone = timezone_at(at.latitude_deg, at.longitude_deg) or "UTC"
        own = {name: v for name, v in record.values.items() if name in KNOWN_BY_READERS}
        grades = {name: record.grade(name) for name in own}
        record = measured_at(record, replace(at, timezone=zone))
        record = filled(checked(replace(record, values=own, grades=grades)))
        about = {"latitude": at.latitude_deg, "longitude": at.longitude_deg, "timezone": zone}
        site = site_from({"name": at.name, "weeds": list(WEEDS)} | about)
        state, _ = build(record, site)
        years = np.unique(state.dates.astype("datetime64[Y]")).astype(str)
        for code, begin in WEEDS.items():
            starts = np.array([f"{y}-{begin}" for y in years], dtype="datetime64[D]")
            first = (starts - state.dates[0]).astype(int)
            for name, came in reached(state.emergence[code]).items():
                spans = [
                    came[i : i + YEAR_DAYS]
                    for i in first
                    if 0 <= i <= len(came) - YEAR_DAYS
                    and np.isfinite(came[i : i + YEAR_DAYS]).mean() >= KNOWN
                ]
                days = np.array([np.argmax(s == 1) for s in spans if (s == 1).any()])
                if len(days) < LEAST_YEARS:
                    print(f"{at.name:26}{code:6} {name:7} not used, or seldom reached")
                    continue
                middle = np.median(days)
                date = np.datetime64(f"2001-{begin}") + int(middle)
                print(
                    f"{at.name:26}{code:6} {name:7} {date!s:.10} {days.std():4.0f} d "
                    f"{np.ptp(days):4} d {np.mean(days == middle):5.2f} of {len(days)} years"
                )


if __name__ == "__main__":
    main()
