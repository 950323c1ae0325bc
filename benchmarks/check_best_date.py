"""How far the best day of a pre-emergent moves when it is asked for again a week later.

    python benchmarks/check_best_date.py YEARS STATION.txt.gz... [--every N]

For each USCRN daily01 file (with --every N each Nth of them) and each of its last YEARS whole
seasons, the best day is asked for on 1, 8, 15 and 22 August (fall) and February (spring), each time
with the weather that came in between and what then came as a week of forecast. A pair of answers a
week apart counts as `free` where the first day named is not over by the second. Beside the moves:
how often a day a week off is better by more than half a per cent of the season's weeds although it
is allowed, and how often a better one is ruled out and named.

Measured on nine stations (every 13th by name outside Alaska), four seasons, 69 to 82 pairs a case:
median 0 or 1 days, mean 2.2 to 4.0, no allowed day a week off better by half a per cent.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from windowcast.core.record import Record, Weather
from windowcast.core.site import Site, timezone_at
from windowcast.core.values import PACKAGED
from windowcast.materials.actives import load_actives
from windowcast.programme.answer import foreseen
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.odds import last_seasons
from windowcast.weather.gaps import filled
from windowcast.windows.covers import covers_of
from windowcast.windows.model import CoverPlan, PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import material_of
from windowcast.windows.running_season import RunningSeason

FORECAST_DAYS, WEEK = 7, dt.timedelta(7)
DAYS = 1, 8, 15, 22
MONTHS: dict[PurposeName, tuple[int, int]] = {
    "pre-fall": (0, 8),
    "pre-spring": (1, 2),
}  # year of the season, month
ACTIVES = "", "prodiamine"
TOO_MUCH = 0.005  # of the season's weeds that a day a week off may have more

Case = tuple[str, str, str]  # purpose, active, how it is watered in


def covers_on(
    record: Record, site: Site, purpose: PurposeName, today: dt.date
) -> dict[Case, CoverPlan]:
    """The cover of each active, watered in by rain and by irrigation, as told on a day."""
    last = np.datetime64(today) + FORECAST_DAYS - 1
    weather = Weather(record.between(record.times[0], last), None, today)
    found = foreseen(site, weather)
    aim = purpose_of(purpose, PACKAGED)
    actives = load_actives()
    told: dict[Case, CoverPlan] = {}
    for water in ("rain", "irrigation"):
        turf = site.turf.model_copy(update={"irrigated": water == "irrigation"})
        running = RunningSeason.of(
            site.model_copy(update={"turf": turf}), found.past, found.ahead, found.members,
            daily=weather.daily,
        )  # fmt: skip
        for name in ACTIVES:
            materials = [m for m in [material_of(actives[name])] if m] if name else []
            for cover in covers_of(aim, aim.generic, running, materials):
                told[purpose, name or "usual", water] = cover
    return told


def weeks(record: Record, site: Site, year: int) -> Iterator[tuple[Case, dt.date, CoverPlan]]:
    """Each case on each day of asking of a season, in the order of the days."""
    for purpose, (after, month) in MONTHS.items():
        for day in DAYS:
            today = dt.date(year + after, month, day)
            for case, cover in covers_on(record, site, purpose, today).items():
                yield case, today, cover


def better_by(cover: CoverPlan) -> float:
    """By how much the share is larger on an allowed day a week off, from today on."""
    by_date = {point.date: point.caught for point in cover.curve}
    best = cover.best
    if best is None or best.caught is None:
        return 0.0
    others = (cover.week_early if best.date - WEEK in by_date else None, cover.week_late)
    dates = best.date - WEEK, best.date + WEEK
    shares = [s for s, date in zip(others, dates, strict=True) if s is not None and date in by_date]
    return max((share - best.caught for share in shares), default=0.0)


def main(seasons: int, paths: list[Path]) -> None:
    moves: dict[Case, list[tuple[int, bool]]] = defaultdict(list)
    worse: dict[Case, list[tuple[float, bool]]] = defaultdict(list)
    for path in paths:
        record = read_uscrn(path)
        lat, lon = record.place.latitude_deg, record.place.longitude_deg
        zone = timezone_at(lat, lon)
        record = filled(replace(record, place=replace(record.place, timezone=zone)))
        site = Site(name=record.place.name, latitude=lat, longitude=lon, timezone=zone)
        for year in last_seasons(record, seasons):
            before: dict[Case, tuple[dt.date, CoverPlan]] = {}
            for case, today, cover in weeks(record, site, year):
                asked, last = before.get(case, (today, cover))
                if cover.best and last.best and asked == today - WEEK:
                    moved = abs((cover.best.date - last.best.date).days)
                    moves[case].append((moved, last.best.date >= today))
                if cover.best:
                    shut = any(p.id.startswith("cover_better.shut") for p in cover.better)
                    worse[case].append((better_by(cover), shut))
                before[case] = today, cover
        print(path.name, flush=True)
    heads = ("pairs", "median", "mean", "free", "median", "90 %", "better", "named")
    print(f"{'purpose':10} {'active':10} {'water':10}" + "".join(f"{h:>8}" for h in heads))
    for case in sorted(moves):
        days, free = (np.array(column) for column in zip(*moves[case], strict=True))
        gain, named = (np.array(column) for column in zip(*worse[case], strict=True))
        open_ = days[free] if free.any() else np.array([np.nan])
        values = (
            f"{len(days)}", f"{np.median(days):.0f}", f"{days.mean():.1f}", f"{free.sum()}",
            f"{np.median(open_):.0f}", f"{np.quantile(open_, 0.9):.0f}",
            f"{100 * (gain > TOO_MUCH).mean():.0f} %", f"{100 * named.mean():.0f} %",
        )  # fmt: skip
        print("{:10} {:10} {:10}".format(*case) + "".join(f"{v:>8}" for v in values))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("years", type=int)
    parser.add_argument("stations", type=Path, nargs="+")
    parser.add_argument("--every", type=int, default=1)
    asked = parser.parse_args()
    main(asked.years, sorted(asked.stations, key=lambda p: p.name)[:: asked.every])
