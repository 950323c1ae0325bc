"""Fit how far forecasts of the high miss, 0 to 6 days ahead: temperature entries of ensemble.toml.

    python benchmarks/fit_forecast_spread.py FOLDER [REST]

FOLDER holds forecasts as issued for US cities, 2014-17 (``windowcast verify odds --forecasts``,
laid out as ``docs/odds.md`` says): the data set behind the 2018 data challenge of a statistical
society (public repository asa-stat-computing-and-graphics/COST-DataExpo-2018, commit bc937f3,
folder SpatialCorrelation, MIT licence; values of the US National Weather Service, public domain).
Every second city of ``cities.csv``, the first included, is fitted. The others are scored here, and
are written to REST as a folder of the same kind, so that the odds can be scored on cities no value
was fitted to.

A lead is counted from the date of issue at local midnight to the middle of the day: date difference
plus half a day. Lows serve only for how they go with the high: the observed low is that of a
calendar date, the forecast low that of a night.
"""

from __future__ import annotations

import gzip
import sys
from pathlib import Path

import numpy as np
from scipy import optimize, stats

from windowcast.core.record import Place, Record
from windowcast.core.time_axis import grades_of
from windowcast.verify.issued import LEADS, Issued, read_folder
from windowcast.weather.ensemble_years import normal_course

HALF_WIDTH = 45  # days either side, as past_years.sd_half_width
FEWEST = 50  # misses of a city's month
BIAS_SHARE = 0.12  # mean of temperature.high_bias
RANGE_C = (5.0, 30.0)  # forecasts from which the bias is taken: where treatments are decided


class City:
    """A city's misses, and how far its days stray from the normal in that part of the year."""

    def __init__(self, issued: Issued) -> None:
        high, dates = issued.came_high_c, issued.dates
        values = {"tmax_c": high}
        place = Place(issued.name, issued.latitude_deg, issued.longitude_deg)
        record = Record(place, dates, values, {"tmax_c": grades_of(high)})
        normal = normal_course(record, "tmax_c", dates)
        off = high - normal
        cycle = dates.astype(int) % 365.25
        near = np.abs((cycle[:, None] - cycle + 183) % 365.25 - 183) <= HALF_WIDTH
        count = (near & np.isfinite(off)).sum(axis=1)
        square = (near * np.nan_to_num(off) ** 2).sum(axis=1) / count
        mean = (near * np.nan_to_num(off)).sum(axis=1) / count
        self.climate = ahead(np.sqrt(square - mean**2))
        self.miss, self.issued = issued.misses_c(), issued.high_c
        self.came, self.said = ahead(off), issued.high_c - ahead(normal)
        # the low of the night that ends on the next date, against that date's low
        self.low = ahead(issued.came_low_c, 1) - issued.low_c
        self.low[np.abs(self.low) > 22] = np.nan
        self.month = dates.astype("datetime64[M]").astype(int) % 12


def ahead(values: np.ndarray, more: int = 0) -> np.ndarray:
    padded = np.append(values, np.full(LEADS + more, np.nan))
    return np.stack([padded[k + more : k + more + len(values)] for k in range(LEADS)], axis=1)


def share(lead: np.ndarray, floor: float, scale: float, power: float) -> np.ndarray:
    return floor + (1 - floor) * (1 - np.exp(-((lead / scale) ** power)))


def expected(p: np.ndarray, lead: float, climate: np.ndarray) -> np.ndarray:
    """Variance of a miss, cities' biases out."""
    return p[0] + share(lead, *p[1:]) * (climate**2 - p[0])


def pooled(cities: list[City], lead: int, bias: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Misses of a lead with the cities' biases out, and the climate's spread."""
    miss = np.concatenate([c.miss[:, lead] - b[lead] for c, b in zip(cities, bias, strict=True)])
    climate = np.concatenate([c.climate[:, lead] for c in cities])
    ok = np.isfinite(miss) & np.isfinite(climate)
    return miss[ok], climate[ok]


def scale_error(p: np.ndarray, cities: list[City], lead: int) -> float:
    """Spread of the logarithm of real over expected error, over the months of cities."""
    found = []
    for city in cities:
        miss = city.miss[:, lead] - np.nanmean(city.miss[:, lead])
        for month in range(12):
            ok = (city.month == month) & np.isfinite(miss) & np.isfinite(city.climate[:, lead])
            if ok.sum() >= FEWEST:
                told = expected(p, lead + 0.5, city.climate[ok, lead]).mean()
                found.append(np.log(np.mean(miss[ok] ** 2) / told) / 2)
    return float(np.std(found))


def correlation(a: np.ndarray, b: np.ndarray) -> float:
    ok = np.isfinite(a) & np.isfinite(b)
    return float(np.corrcoef(a[ok], b[ok])[0, 1])


def main(folder: Path) -> None:
    every = [City(issued) for issued in read_folder(folder)]
    halves = {"fitted": every[::2], "others": every[1::2]}
    biases = {n: [np.nanmean(c.miss, axis=0) for c in half] for n, half in halves.items()}
    fitted, bias = halves["fitted"], biases["fitted"]
    rows = [pooled(fitted, k, bias) for k in range(LEADS)]

    def unlikely(p: np.ndarray) -> float:
        told = [expected(p, k + 0.5, climate) for k, (_, climate) in enumerate(rows)]
        return sum(
            float(np.mean(np.log(v) + miss**2 / v)) for v, (miss, _) in zip(told, rows, strict=True)
        )

    best = optimize.minimize(unlikely, [2.0, 0.06, 9.0, 2.1], method="Nelder-Mead").x
    print(f"{len(fitted)} cities fitted: local sd {np.sqrt(best[0]):.3f} °C, ", end="")
    print("floor {:.4f}, scale {:.2f} d, power {:.2f}".format(*best[1:]))
    for name, half in halves.items():
        print(f"{name}: lead, sd of misses, expected, months' log scale off, t dof, bias, /climate")
        for k in range(LEADS):
            miss, climate = pooled(half, k, biases[name])
            told = expected(best, k + 0.5, climate)
            dof = stats.t.fit(miss / np.sqrt(told), floc=0)[0]
            raw = np.concatenate([c.miss[:, k] for c in half])
            level = np.concatenate([c.climate[:, k] for c in half])
            told_c = np.concatenate([c.issued[:, k] for c in half])
            ok = (
                np.isfinite(raw)
                & np.isfinite(level)
                & (told_c >= RANGE_C[0])
                & (told_c <= RANGE_C[1])
            )
            part = (raw[ok] @ level[ok]) / (level[ok] @ level[ok])
            print(
                f"  {k + 0.5:.1f} {miss.std():.2f} {np.sqrt(told.mean()):.2f} "
                f"{scale_error(best, half, k):.2f} {dof:.1f} {raw[ok].mean():+.2f} {part:.3f}"
            )
        level = [np.nanmean(c.climate) for c in half]
        lasting = np.array([b.mean() for b in biases[name]]) - BIAS_SHARE * np.array(level)
        print(f"  spread over cities of what lasts: {lasting.std():.2f} °C")
    print("correlation with later days of one bulletin, cities' biases out; slope; with the night")
    for k in range(LEADS):
        one = np.concatenate([c.miss[:, k] - b[k] for c, b in zip(fitted, bias, strict=True)])
        later = [
            np.concatenate([c.miss[:, j] - b[j] for c, b in zip(fitted, bias, strict=True)])
            for j in range(k + 1, LEADS)
        ]
        said, came = (
            np.concatenate([getattr(c, n)[:, k] for c in fitted]) for n in ("said", "came")
        )
        ok = np.isfinite(said) & np.isfinite(came)
        slope = np.polyfit(said[ok], came[ok], 1)[0]
        night = np.concatenate([c.low[:, k] - np.nanmean(c.low[:, k]) for c in fitted])
        row = " ".join(f"{correlation(one, other):.2f}" for other in later)
        print(f"  {k + 0.5:.1f} [{row}] slope {slope:.2f}, night {correlation(one, night):.2f}")


def write_rest(folder: Path, rest: Path) -> None:
    """Every second city, the second included, as a folder of its own."""
    rest.mkdir(parents=True, exist_ok=True)
    kept: set[str] = set()
    for name in ("cities", "forecasts", "observed"):
        packed = folder / f"{name}.csv.gz"
        raw = packed.read_bytes() if packed.exists() else (folder / f"{name}.csv").read_bytes()
        text = (gzip.decompress(raw) if packed.exists() else raw).decode()
        head, *lines = text.splitlines()
        at = head.split(",").index("CityNum")
        kept = kept or {line.split(",")[at] for line in lines[1::2]}
        chosen = [head, *(line for line in lines if line.split(",")[at] in kept)]
        (rest / f"{name}.csv").write_text("\n".join(chosen) + "\n", "utf-8")


if __name__ == "__main__":
    if len(sys.argv) not in {2, 3}:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
    if len(sys.argv) == 3:
        write_rest(Path(sys.argv[1]), Path(sys.argv[2]))
