"""How often a season's dates, foretold in August, fall within the 10 to 90 % given for them.

    python benchmarks/check_key_dates.py YEARS STATION.txt.gz...

For each USCRN daily01 file and each of its last YEARS whole seasons, the dates foretold on 20
August (with what then came as a week of forecast) are compared with those the same models give
once the season is over. It measures the spread over years, not the models of weeds and turf.

Measured on eight stations from Kansas to North Carolina, seasons 2015/16 to 2019/20: 81 % of 418
dates fell within (70 % before ranges were widened for few years), medians missed by 7 to 14 days.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

from windowcast.core.record import Record, Weather
from windowcast.core.site import Site, timezone_at
from windowcast.programme.answer import answer
from windowcast.programme.key_dates import key_dates
from windowcast.programme.model import KeyDate
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.odds import last_seasons
from windowcast.weather.gaps import filled
from windowcast.windows.season_axis import SeasonAxis

FORECAST_DAYS = 7


def dates_on(record: Record, site: Site, today: dt.date) -> dict[str, KeyDate]:
    last = np.datetime64(today) + FORECAST_DAYS - 1
    found = answer(site, Weather(record.between(record.times[0], last), None, today))
    years = found.members.past_years
    axis = SeasonAxis.of(found.past, found.ahead, southern=False, overseeded=False, years=years)
    return {key.name: key for key in key_dates(axis, southern=False)}


def main(seasons: int, paths: list[Path]) -> None:
    seen: dict[str, list[tuple[bool, float, float]]] = defaultdict(list)
    for path in paths:
        record = read_uscrn(path)
        lat, lon = record.place.latitude_deg, record.place.longitude_deg
        zone = timezone_at(lat, lon)
        record = filled(replace(record, place=replace(record.place, timezone=zone)))
        site = Site(name=record.place.name, latitude=lat, longitude=lon, timezone=zone)
        for year in last_seasons(record, seasons):
            said = dates_on(record, site, dt.date(year, 8, 20))
            came = dates_on(record, site, dt.date(year + 1, 6, 22))
            for name, key in said.items():
                after = came[name].ahead
                sure = after.median if after and after.early == after.late else None
                date = came[name].passed or sure
                ahead = key.ahead
                if not (date and ahead and ahead.early and ahead.median and ahead.late):
                    continue
                width = (ahead.late - ahead.early).days
                miss = abs((date - ahead.median).days)
                seen[name].append((ahead.early <= date <= ahead.late, miss, width))
    print(f"{'date':12} {'n':>4} {'within':>7} {'miss d':>7} {'width d':>8}")
    for name, rows in seen.items():
        within, miss, width = np.mean(rows, axis=0)
        print(f"{name:12} {len(rows):4d} {within:7.2f} {miss:7.1f} {width:8.1f}")
    every = np.concatenate([np.array(rows) for rows in seen.values()])
    print(f"{'all':12} {len(every):4d} {every[:, 0].mean():7.2f}")


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    main(int(sys.argv[1]), [Path(name) for name in sys.argv[2:]])
