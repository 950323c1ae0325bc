"""Fit the soil model to USCRN stations, by robust least squares, with stations held out.

    python benchmarks/fit_soil.py PATH... [--rounds 20] [--write]

PATH are USCRN daily01 files or folders. What is "our fit" in ``data/soil.toml`` (but for the
radiation and dew point estimates) and ``data/soil_baselines.toml`` comes from here: the surface
parameters, the regression the model is compared with, the variances that say how far probe
readings may move the model, and the sizes of the error that futures carry. Two stations are never
fitted, because tests use them.

Every station is fitted twice: from daily highs, lows and rain alone, which is what most users have
and counts in full, and with measured radiation and humidity, at a third of the weight. Stations
where warm-season turf grows count double. The loss is pseudo-Huber (scale 2 K) on daily means at
5 cm and, with less weight, 10 cm; September to April counts in full, the rest a quarter. No
measured surface temperature and no measured soil moisture is used.

Cross-validation leaves out one station at a time, with all others of its town or within 30 km: a
Gauss-Newton step from the fit on all undoes what they contributed, and the model runs again with
those parameters. What the errors of stations have in common over a region (`fit_soil_region`) is
added, again without them. Reported skill, variances and error sizes rest on these held-out
predictions.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import numpy.typing as npt
from fit_soil_error import error_sizes, fit_variances
from fit_soil_region import apart_km, with_region
from report_soil import skill_report
from soil_priors import HIGH, NAMES, PRIORS, SPREAD, START, step

from windowcast.core.values import load
from windowcast.physics.soil_compiled import CompiledColumns
from windowcast.physics.soil_forcing import (
    SoilDrivers,
    SoilForcing,
    SoilWeather,
    columns_of,
    drivers,
)
from windowcast.physics.soil_properties import texture
from windowcast.physics.soil_stepper import GRID, Setup
from windowcast.physics.soil_surface import Cover, Parameters, parameters
from windowcast.verify import soil_baselines as baselines
from windowcast.verify.soil import in_season, south_east
from windowcast.verify.soil_stations import Stations, read_stations

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
DATA = Path(__file__).parents[1] / "windowcast" / "data"
LOSS_K = 2.0
WEIGHT_10CM = 0.3
WEIGHT_WARM_HALF = 0.25
WEIGHT_TURF = 2.0
WEIGHT_OF_WAY = (1.0, 0.35)  # highs, lows and rain alone; radiation and humidity measured
HELD_BACK = ("63849", "54851")  # Bowling Green KY and Coshocton OH: in tests/data
EVERY = 4  # of the scored days, every fourth: neighbours are alike
NEAR_KM = 30.0
AT = [[(GRID.node_m.index(z), 1.0)] for z in (0.05, 0.10)]
VARIANCES = {
    "offset_variance": "K2",
    "annual_variance": "K2",
    "warmth_variance": "K2",
    "heat_flow_variance": "1",
    "drift_variance": "K2",
    "drift_days": "d",
    "reading_variance": "K2",
}
ERRORS = {
    "bias_sd": "K",
    "bias_sd_many_readings": "K",
    "half_readings": "1",
    "slow_sd_humid": "K",
    "slow_sd_elsewhere": "K",
    "slow_days": "d",
    "fast_sd": "K",
}
REGION = {"reach": "km", "latitude": "deg", "longitude": "deg"}
REGION |= {"offset": "K", "cosine": "K", "sine": "K"}


@dataclass(frozen=True)
class Problem:
    """Drivers and targets of all stations, once for each way of driving the model, side by side."""

    driven: SoilDrivers  # [time, way x station]
    target: FloatArray  # [depth, picked day, way x station], NaN where missing
    weight: FloatArray  # same shape
    picked: npt.NDArray[np.int64]
    dates: npt.NDArray[np.datetime64]
    blind: Mask  # [time, station]
    weather: SoilWeather  # of the stations, with nothing but highs, lows and rain

    @property
    def stations(self) -> int:
        return self.target.shape[2] // len(WEIGHT_OF_WAY)

    def of(self, stations: Mask) -> npt.NDArray[np.int64]:
        """Columns of some stations."""
        return np.flatnonzero(np.tile(stations, len(WEIGHT_OF_WAY)))


def neighbours(data: Stations) -> npt.NDArray[np.int64]:
    """A number for each station, shared by stations of one town or within 30 km."""
    near = apart_km(data) < NEAR_KM
    towns = [re.split(r" \d", name)[0] for name in data.names]
    number = np.arange(len(towns))
    for i in range(len(towns)):
        for j in range(i):
            if near[i, j] or towns[i] == towns[j]:
                number[number == number[i]] = number[j]
    return number


def cut(whole: SoilDrivers, columns: npt.NDArray[np.int64] | slice, days: slice) -> SoilDrivers:
    found = {f.name: getattr(whole, f.name) for f in fields(whole)}
    return SoilDrivers(**{k: None if v is None else v[days][:, columns] for k, v in found.items()})


def run(driven: SoilDrivers, x: FloatArray) -> FloatArray:
    """Temperatures at 5 and 10 cm ``[depth, time, column]``."""
    setup = Setup(Parameters(*x.tolist()), texture(None).thermal(), Cover(True, False))
    soil = CompiledColumns(setup)
    soil.spin_up(cut(driven, slice(None), slice(0, 365)))
    days, columns = driven.air_c.shape
    out = np.empty((5, columns, days)).transpose(2, 0, 1)
    soil.run(driven, AT, out)
    return out[:, :2].transpose(1, 0, 2)


def problem_of(data: Stations) -> Problem:
    """Everything of the stations from a year before the first soil temperature."""
    first = max(int(np.argmax(np.isfinite(data.soil_c).any(axis=(0, 1)))) - 365, 0)
    dates = data.dates[first:]
    weather = {k: v[:, first:] for k, v in data.weather.items()}
    shape = (len(data.names),)
    air = [weather[k] for k in ("tmax_c", "tmin_c", "precip_mm")]
    ways = []
    for measured in (False, True):
        more = (weather["solar_mj_m2"], weather["rh_mean_pct"]) if measured else (None, None)
        forcing = SoilForcing(dates, *air, data.latitude_deg, *more)
        ways.append(columns_of(forcing, shape, slice(0, shape[0]), "F"))
    driven = [drivers(way) for way in ways]
    together = {
        f.name: np.concatenate([getattr(d, f.name) for d in driven], axis=1)
        for f in fields(SoilDrivers)
        if f.name != "snow_depth_mm"
    }
    soil = np.where(ways[0].blind, np.nan, data.soil_c[:, :, first:].transpose(0, 2, 1))
    weight = np.isfinite(soil) * np.where(in_season(dates), 1.0, WEIGHT_WARM_HALF)[:, None]
    per_station = weight.sum(axis=(0, 1))
    weight = weight / np.sqrt(np.maximum(per_station, 1) / per_station.mean())
    weight *= np.where(south_east(data), WEIGHT_TURF, 1.0)
    weight[1] *= WEIGHT_10CM
    picked = np.flatnonzero(np.isfinite(soil).any(axis=(0, 2)))[::EVERY]
    return Problem(
        driven=SoilDrivers(**together, snow_depth_mm=None),
        target=np.concatenate([soil[:, picked]] * len(ways), axis=2),
        weight=np.concatenate([w * weight[:, picked] for w in WEIGHT_OF_WAY], axis=2),
        picked=picked,
        dates=dates,
        blind=ways[0].blind,
        weather=ways[0],
    )


@dataclass(frozen=True)
class Slopes:
    """The problem about a set of parameters: model, its slopes, and weights of the robust loss."""

    x: FloatArray
    temps: FloatArray
    by_parameter: npt.NDArray[np.float32]  # [parameter, depth, picked day, column]
    robust: FloatArray

    def normal(self, target: FloatArray, columns: npt.NDArray[np.int64]) -> tuple:
        """Normal matrix and gradient of some columns."""
        count = len(self.x)
        matrix, gradient = np.zeros((count, count)), np.zeros(count)
        for c in columns:
            slopes = self.by_parameter[..., c].reshape(count, -1).astype(np.float64)
            weight = self.robust[..., c].ravel()
            matrix += (slopes * weight) @ slopes.T
            gradient += slopes @ (weight * (self.temps[..., c] - target[..., c]).ravel())
        return matrix, gradient


def slopes_at(problem: Problem, x: FloatArray) -> Slopes:
    temps = run(problem.driven, x)[:, problem.picked]
    by_parameter = np.empty((len(x), *temps.shape), dtype=np.float32)
    nudge = SPREAD * 0.03 * np.where(x + SPREAD * 0.03 > HIGH, -1, 1)
    for i, small in enumerate(nudge):
        moved = x.copy()
        moved[i] += small
        by_parameter[i] = (run(problem.driven, moved)[:, problem.picked] - temps) / small
    error = temps - np.nan_to_num(problem.target)
    robust = problem.weight / np.sqrt(1 + (error / LOSS_K) ** 2)
    return Slopes(x, temps, by_parameter, robust)


def fit(
    problem: Problem, used: Mask, *, start: FloatArray, rounds: int
) -> tuple[FloatArray, Slopes]:
    """Levenberg-Marquardt with bounds, drawn weakly towards the priors; slopes near the end."""
    columns, target = problem.of(used), np.nan_to_num(problem.target)
    x, damping = start.copy(), 0.03

    def cost(x: FloatArray) -> float:
        error = (run(problem.driven, x)[:, problem.picked] - target)[..., columns]
        loss = 2 * LOSS_K**2 * (np.sqrt(1 + (error / LOSS_K) ** 2) - 1)
        return float(
            (problem.weight[..., columns] * loss).sum() + (((x - START) / SPREAD) ** 2).sum()
        )

    now = cost(x)
    slopes = slopes_at(problem, x)
    for round_ in range(rounds):
        matrix, gradient = slopes.normal(target, columns)
        matrix += np.diag(1 / SPREAD**2)
        gradient += (x - START) / SPREAD**2
        best, found, factor = np.inf, x, 1.0
        for factor_ in (0.03, 0.3, 1.0, 3.0, 30.0, 1000.0):
            tried = step(x, matrix, gradient, damping * factor_)
            if (value := cost(tried)) < best:
                best, found, factor = value, tried, factor_
            elif best < now:
                break
        print(f"  round {round_}: {now:.0f} -> {best:.0f}", file=sys.stderr, flush=True)
        if best >= now:
            break
        gained, now, x = now - best, best, found
        damping = float(np.clip(damping * factor, 1e-4, 1e4))
        slopes = slopes_at(problem, x)
        if gained < now * 3e-4:
            break
    return x, slopes


def held_out(
    problem: Problem, slopes: Slopes, used: Mask, number: npt.NDArray[np.int64]
) -> FloatArray:
    """Predictions for stations that the parameters behind them have not seen.

    ``[depth, time, way x station]``, all days.
    """
    target, x = np.nan_to_num(problem.target), slopes.x
    matrix, gradient = slopes.normal(target, problem.of(used))
    matrix += np.diag(1 / SPREAD**2)
    gradient += (x - START) / SPREAD**2
    predicted = np.full((2, *problem.driven.air_c.shape), np.nan)
    for one in np.unique(number):
        left = number == one
        theirs, pull = slopes.normal(target, problem.of(left & used))
        without = step(x, matrix - theirs, gradient - pull, 1e-3)
        columns = problem.of(left)
        predicted[..., columns] = run(cut(problem.driven, columns, slice(None)), without)
    predicted[:, np.tile(problem.blind, len(WEIGHT_OF_WAY))] = np.nan
    return predicted


def fit_baselines(problem: Problem, stations: Mask) -> tuple[FloatArray, tuple[float, float]]:
    """Coefficients of the linear regression, and memory and offset of exponential smoothing."""
    picked, which = problem.picked, np.flatnonzero(stations)
    target, weight = problem.target[0][:, which], problem.weight[0][:, which].ravel()
    features = baselines.regression_features(problem.weather, problem.dates)[picked][:, which]
    features = features.reshape(-1, features.shape[-1])
    scale = np.sqrt(np.average(features**2, axis=0, weights=weight))
    scaled = features / scale
    normal = (scaled * weight[:, None]).T @ scaled / weight.sum() + 1e-6 * np.eye(len(scale))
    moment = (scaled * weight[:, None]).T @ np.nan_to_num(target).ravel() / weight.sum()
    air = baselines.same_day(problem.weather)[:, which]
    best = (np.inf, 0.0, 0.0)
    for memory in np.arange(4.0, 15.0, 0.5):
        lag = (target - baselines.smoothed(air, (float(memory),))[0][picked]).ravel()
        known = np.isfinite(lag)
        offset = np.average(lag[known], weights=weight[known])
        spread = np.average((lag[known] - offset) ** 2, weights=weight[known])
        best = min(best, (float(spread), float(memory), float(offset)))
    return np.linalg.solve(normal, moment) / scale, best[1:]


def regression_held_out(
    problem: Problem, used: Mask, number: npt.NDArray[np.int64], folds: int = 8
) -> FloatArray:
    """What the linear regression says of stations it has not seen, ``[time, station]``."""
    fold = np.random.default_rng(0).permutation(number.max() + 1)[number] % folds
    features = baselines.regression_features(problem.weather, problem.dates)
    predicted = np.full(features.shape[:2], np.nan)
    for k in range(folds):
        coefficients, _ = fit_baselines(problem, (fold != k) & used)
        predicted[:, fold == k] = features[:, fold == k] @ coefficients
    return predicted


def write_baselines(coefficients: FloatArray, exponential: tuple[float, float]) -> None:
    """Write ``data/soil_baselines.toml``."""
    about = 'source = "benchmarks/fit_soil.py"\nstatus = "our fit"\n'
    numbers = ", ".join(f"{c:.6g}" for c in coefficients)
    memory, offset = exponential
    (DATA / "soil_baselines.toml").write_text(
        "# Estimates of soil temperature without physics, which the soil model has to beat.\n\n"
        f'[exponential.memory]\nvalue = {memory:.4g}\nunit = "d"\n{about}\n'
        f'[exponential.offset]\nvalue = {offset:.4g}\nunit = "K"\n{about}\n'
        f'[regression.coefficients]\nvalue = [{numbers}]\nunit = "K per unit of each feature"\n'
        f'{about}note = "features in the order of verify/soil_baselines.py: regression_features"\n',
        "utf-8",
    )


def write_section(section: str, values: dict, units: dict[str, str], how: str) -> None:
    """Replace those entries of a section of ``data/soil.toml`` that are named."""

    def shown(value: float | list[float]) -> str:
        return str(value) if isinstance(value, list) else f"{value:.5g}"

    path = DATA / "soil.toml"
    text = path.read_text("utf-8")
    for name in values:
        text = re.sub(rf"\[{section}\.{name}\]\n(.+\n)*\n?", "", text)
    text = text.rstrip() + "\n\n"
    text += "\n".join(
        f'[{section}.{name}]\nvalue = {shown(value)}\nunit = "{units[name]}"\n'
        f'source = "benchmarks/fit_soil.py, {how}"\nstatus = "our fit"\n'
        for name, value in values.items()
    )
    path.write_text(text, "utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("paths", nargs="+")
    parser.add_argument(
        "--carry-on", action="store_true", help="start from the packaged values, not the priors"
    )
    parser.add_argument("--rounds", type=int, default=20, help="of the fit on all; 0: keep")
    parser.add_argument("--write", action="store_true", help="write the data files")
    arguments = parser.parse_args()
    data = read_stations(arguments.paths)
    problem, number = problem_of(data), neighbours(data)
    used = ~np.isin(data.numbers, HELD_BACK)
    start = START
    if arguments.carry_on:
        start = np.array([getattr(parameters(), name) for name in NAMES])
    x, slopes = fit(problem, used, start=start, rounds=arguments.rounds)
    values = dict(zip(NAMES, x.tolist(), strict=True))
    if arguments.write:
        units = {name: prior[4] for name, prior in PRIORS.items()}
        write_section("surface", values, units, f"{used.sum()} USCRN stations")
        write_baselines(*fit_baselines(problem, used))
    predicted = held_out(problem, slopes, used, number)
    first = len(data.dates) - len(problem.dates)
    alone, measured = np.split(predicted, 2, axis=2)
    region, added = with_region(data, first, alone, used, number)
    alone, measured = alone + added, measured + added
    variances = fit_variances(data, first, alone)
    fitted = load("soil").varied(
        {f"surface.{k}": v for k, v in values.items()}
        | {f"site.{k}": v for k, v in variances.items()}
        | {f"region.{k}": v for k, v in region.items()}
    )
    sizes = error_sizes(data, first, alone, fitted)
    regression = regression_held_out(problem, used, number)
    report = skill_report(data, first, alone, measured, regression=regression, fitted=fitted)
    if arguments.write:
        write_section("site", variances, VARIANCES, "stations held out of the fit")
        write_section("region", region, REGION, "errors of stations held out of the fit")
        write_section("error", sizes, ERRORS, "stations held out of the fit")
    shown = {k: v for k, v in report.items() if k != "stations"}
    print(json.dumps({"parameters": values, "site": variances, "error": sizes} | shown, indent=1))
    if arguments.write:
        path = Path(__file__).parents[1] / "docs" / "soil_skill.json"
        path.write_text(json.dumps(report, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
