"""Fit the soil model to USCRN stations, by robust least squares, with stations held out.

    python benchmarks/fit_soil.py PATH... [--folds 6] [--write]

PATH are USCRN daily01 files or folders. Everything "our fit" in ``data/soil.toml`` and
``data/soil_baselines.toml`` comes from here: the radiation and dew point estimates, the surface
parameters, the regression the model is compared with, and the variances that say how far probe
readings may move the model. Two stations are never fitted, because tests use them. Cross-
validation leaves out whole stations, in groups, and fits again without them (Gauss-Newton rounds
from the fit on all, which undo what the left-out stations contributed); the reported skill and the
variances rest on these held-out predictions.

The loss is pseudo-Huber (scale 2 K) on daily means at 5 cm and, with less weight, 10 cm;
September to April counts in full, the rest a quarter. No measured surface temperature and no
measured soil moisture is used.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from windowcast.physics.soil_forcing import SoilForcing, SoilWeather, columns_of, drivers
from windowcast.physics.soil_properties import texture
from windowcast.physics.soil_site import site_parts
from windowcast.physics.soil_stepper import GRID, Setup, Stepper
from windowcast.physics.soil_surface import Cover, Parameters, parameters
from windowcast.verify import soil_baselines as baselines
from windowcast.verify.soil import in_season, south_east
from windowcast.verify.soil_stations import Stations, read_stations

FloatArray = npt.NDArray[np.float64]
DOCS = Path(__file__).parents[1] / "docs"
DATA = Path(__file__).parents[1] / "windowcast" / "data"
LOSS_K = 2.0
WEIGHT_10CM = 0.3
WEIGHT_WARM_HALF = 0.25
HELD_BACK = ("63849", "54851")  # Bowling Green KY and Coshocton OH: in tests/data
EVERY = 4  # of the scored days, every fourth: neighbours are alike

# start, how far it may plausibly be from there, lowest, highest; unit
PRIORS: dict[str, tuple[float, float, float, float, str]] = {
    "snow_midpoint_c": (-1.0, 1.0, -4.0, 3.0, "degC"),
    "snow_catch": (1.0, 0.3, 0.5, 2.5, "1"),
    "melt_mm_per_k": (3.7, 1.0, 0.5, 8.0, "mm K-1 d-1"),
    "melt_from_c": (0.0, 1.0, -3.0, 3.0, "degC"),
    "snow_settling_kg_l": (0.002, 0.001, 0.0, 0.02, "kg l-1 d-1"),
    "snow_hiding_mm": (15.0, 6.0, 0.5, 60.0, "mm"),
    "snow_resistance": (0.8, 0.3, 0.1, 3.0, "1"),
    "top_water_mm": (30.0, 10.0, 8.0, 80.0, "mm"),
    "root_water_mm": (200.0, 50.0, 40.0, 400.0, "mm"),
    "soil_evaporation": (0.4, 0.2, 0.05, 2.0, "1"),
    "transpiration": (0.3, 0.1, 0.05, 1.0, "1"),
    "water_exchange_mm": (1.0, 0.5, 0.0, 6.0, "mm d-1"),
    "sward_aridity": (0.2, 0.1, 0.005, 3.0, "1"),
    "green_from_c": (6.0, 3.0, -5.0, 15.0, "degC"),
    "green_range_k": (12.0, 4.0, 3.0, 25.0, "K"),
    "season_rate": (0.04, 0.02, 0.01, 0.3, "d-1"),
    "solar": (0.05, 0.02, 0.0, 0.2, "K m2 W-1"),
    "solar_sward": (0.0, 0.02, -0.1, 0.1, "K m2 W-1"),
    "solar_wet": (-0.02, 0.02, -0.1, 0.1, "K m2 W-1"),
    "solar_green": (0.0, 0.02, -0.1, 0.1, "K m2 W-1"),
    "longwave": (0.08, 0.03, 0.0, 0.3, "K m2 W-1"),
    "longwave_sward": (0.0, 0.03, -0.2, 0.2, "K m2 W-1"),
    "offset_k": (0.0, 1.0, -4.0, 4.0, "K"),
    "evaporation_wet": (0.6, 0.4, -1.0, 3.0, "K d mm-1"),
    "evaporation_green": (0.4, 0.4, -1.0, 3.0, "K d mm-1"),
    "resistance": (0.1, 0.05, 0.01, 1.0, "m2 K W-1"),
    "resistance_sward": (0.4, 0.1, 0.0, 2.0, "m2 K W-1"),
    "resistance_green": (0.0, 0.1, -0.5, 1.0, "m2 K W-1"),
    "conductivity_top": (0.45, 0.15, 0.1, 2.0, "1"),
    "conductivity_deep": (0.45, 0.15, 0.1, 2.0, "1"),
    "freezing_width_k": (1.5, 0.7, 0.3, 8.0, "K"),
    "freezing_water": (0.05, 0.03, 0.005, 0.3, "m3 m-3"),
    "freezing_water_wet": (0.15, 0.05, 0.0, 0.4, "m3 m-3"),
    "end_of_day_weight": (0.9, 0.1, 0.4, 1.2, "1"),
}
VARIANCES = {
    "offset_variance": "K2",
    "annual_variance": "K2",
    "warmth_variance": "K2",
    "heat_flow_variance": "1",
    "drift_variance": "K2",
    "drift_days": "d",
    "reading_variance": "K2",
}
NAMES = Parameters._fields
START, SPREAD, LOW, HIGH = (np.array([PRIORS[n][i] for n in NAMES]) for i in range(4))


@dataclass(frozen=True)
class Problem:
    """Weather and targets of some stations, ready to run with many parameter sets at once."""

    weather: SoilWeather  # [time, station]
    target: FloatArray  # [depth, picked day, station], NaN where missing
    weight: FloatArray  # same shape
    picked: npt.NDArray[np.int64]
    dates: npt.NDArray[np.datetime64]

    def stations(self, keep: npt.NDArray[np.bool_]) -> Problem:
        cut = {}
        for f in fields(self.weather):
            values = getattr(self.weather, f.name)
            cut[f.name] = None if values is None else np.ascontiguousarray(values[:, keep])
        return replace(
            self,
            weather=SoilWeather(**cut),
            target=self.target[:, :, keep],
            weight=self.weight[:, :, keep],
        )


def run(weather: SoilWeather, sets: FloatArray, picked: npt.NDArray[np.int64]) -> FloatArray:
    """Temperatures at 5 and 10 cm ``[set, depth, picked day, station]``."""
    count, stations = len(sets), weather.tmax_c.shape[1]
    repeated = Parameters(**{n: np.repeat(sets[:, i], stations) for i, n in enumerate(NAMES)})
    setup = Setup(repeated, texture(None).thermal(), Cover(turf=True, irrigated=False))
    stepper = Stepper(count * stations, setup)
    stepper.single = False

    def tiled(first: int, last: int):
        one = drivers(weather.between(first, last))
        return replace(
            one,
            **{
                f.name: np.tile(getattr(one, f.name), (1, count))
                for f in fields(one)
                if getattr(one, f.name) is not None
            },
        )

    days = len(weather.tmax_c)
    stepper.spin_up(tiled(0, 365))
    result = np.empty((2, len(picked), count * stations))
    weights = [[(GRID.node_m.index(0.05), 1.0)], [(GRID.node_m.index(0.10), 1.0)]]
    for first in range(0, days, 365):
        part = tiled(first, first + 365)
        out = np.empty((len(part.air_c), 5, count * stations))
        stepper.run(part, weights, out)
        here = (picked >= first) & (picked < first + 365)
        result[:, here] = out[picked[here] - first, :2].transpose(1, 0, 2)
    return result.reshape(2, len(picked), count, stations).transpose(2, 0, 1, 3)


def loss(error: FloatArray, weight: FloatArray) -> FloatArray:
    """Pseudo-Huber loss summed over all but the first axis."""
    return (weight * 2 * LOSS_K**2 * (np.sqrt(1 + (error / LOSS_K) ** 2) - 1)).sum(axis=(1, 2, 3))


def fit(
    problem: Problem, *, start: FloatArray = START, rounds: int = 20, say: bool = False
) -> FloatArray:
    """Levenberg-Marquardt with bounds, drawn weakly towards the priors."""
    target, weight = np.nan_to_num(problem.target), problem.weight
    x, damping = start.copy(), 0.03

    def cost(sets: FloatArray, temps: FloatArray) -> FloatArray:
        return loss(temps - target, weight) + (((sets - START) / SPREAD) ** 2).sum(axis=1)

    for round_ in range(rounds):
        nudge = SPREAD * 0.03 * np.where(x + SPREAD * 0.03 > HIGH, -1, 1)
        sets = np.vstack([x, x + np.diag(nudge)])
        temps = run(problem.weather, sets, problem.picked)
        now = cost(sets[:1], temps[:1])[0]
        error = temps[0] - target
        robust = (weight / np.sqrt(1 + (error / LOSS_K) ** 2)).ravel()
        slopes = ((temps[1:] - temps[:1]) / nudge[:, None, None, None]).reshape(len(x), -1)
        normal = (slopes * robust) @ slopes.T + np.diag(1 / SPREAD**2)
        gradient = (slopes * robust) @ error.ravel() + (x - START) / SPREAD**2
        del temps, slopes
        better = False
        for _ in range(3):
            tries = np.array(
                [_step(x, normal, gradient, damping * f) for f in (0.03, 0.3, 1.0, 3.0, 30.0)]
            )
            costs = cost(tries, run(problem.weather, tries, problem.picked))
            best = int(np.argmin(costs))
            if costs[best] < now:
                x, better = tries[best], True
                damping = min(max(damping * (0.03, 0.3, 1.0, 3.0, 30.0)[best], 1e-4), 1e4)
                break
            damping *= 100
        if say:
            print(f"  round {round_}: {now:.0f} -> {costs[best]:.0f}", file=sys.stderr, flush=True)
        if not better or now - costs[best] < now * 4e-4:
            break
    return x


def _step(x: FloatArray, normal: FloatArray, gradient: FloatArray, damping: float) -> FloatArray:
    """Damped step; parameters pushed against a bound are held there."""
    held = np.zeros(len(x), dtype=bool)
    for _ in range(6):
        free = ~held
        matrix = normal[np.ix_(free, free)]
        step = np.zeros(len(x))
        step[free] = -np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), gradient[free])
        target = x + np.clip(step, -1.5 * SPREAD, 1.5 * SPREAD)
        pushed = held | ((target <= LOW) & (x <= LOW)) | ((target >= HIGH) & (x >= HIGH))
        if (pushed == held).all():
            break
        held = pushed
    return np.clip(target, LOW, HIGH)


def problem_of(data: Stations, *, radiation: bool = True) -> Problem:
    """Everything of the stations from a year before the first soil temperature."""
    first = max(int(np.argmax(np.isfinite(data.soil_c).any(axis=(0, 1)))) - 365, 0)
    dates = data.dates[first:]
    weather = {k: v[:, first:] for k, v in data.weather.items()}
    forcing = SoilForcing(
        dates=dates,
        tmax_c=weather["tmax_c"],
        tmin_c=weather["tmin_c"],
        precip_mm=weather["precip_mm"],
        latitude_deg=data.latitude_deg,
        solar_mj_m2=weather["solar_mj_m2"] if radiation else None,
        rh_mean_pct=weather["rh_mean_pct"] if radiation else None,
    )
    shape = (len(data.names),)
    columns = columns_of(forcing, shape, slice(0, shape[0]))
    soil = data.soil_c[:, :, first:].transpose(0, 2, 1)
    soil = np.where(columns.blind, np.nan, soil)
    weight = np.isfinite(soil) * np.where(in_season(dates), 1.0, WEIGHT_WARM_HALF)[:, None]
    per_station = weight.sum(axis=(0, 1))
    weight = weight / np.sqrt(np.maximum(per_station, 1) / per_station.mean())
    weight[1] *= WEIGHT_10CM
    picked = np.flatnonzero(np.isfinite(soil).any(axis=(0, 2)))[::EVERY]
    return Problem(columns, soil[:, picked], weight[:, picked], picked, dates)


def held_out(
    problem: Problem, x: FloatArray, folds: int, rounds: int, *, seed: int = 0
) -> FloatArray:
    """Predictions for stations that the fit behind them did not see, on the picked days."""
    stations = problem.target.shape[2]
    fold = np.random.default_rng(seed).permutation(stations) % folds
    predicted = np.full(problem.target.shape, np.nan)
    for k in range(folds):
        without = fit(problem.stations(fold != k), start=x, rounds=rounds)
        test = problem.stations(fold == k)
        predicted[:, :, fold == k] = run(test.weather, without[None], problem.picked)[0]
        print(f"  fold {k}: {skill(problem, predicted, fold == k)}", file=sys.stderr, flush=True)
    return predicted


def regression_held_out(problem: Problem, folds: int, *, seed: int = 0) -> FloatArray:
    """What the linear regression says of stations it has not seen, ``[picked day, station]``."""
    stations = problem.target.shape[2]
    fold = np.random.default_rng(seed).permutation(stations) % folds
    features = baselines.regression_features(problem.weather, problem.dates)[problem.picked]
    predicted = np.full(problem.target.shape[1:], np.nan)
    for k in range(folds):
        coefficients, _ = fit_baselines(problem.stations(fold != k))
        predicted[:, fold == k] = features[:, fold == k] @ coefficients
    return predicted


def skill_report(problem: Problem, data: Stations, predicted: FloatArray, folds: int) -> dict:
    """Held-out skill beside the baselines, pooled and by station, on the same days."""
    picked, east = problem.picked, south_east(data)
    air = problem.weather
    season = in_season(problem.dates[picked])
    models = {
        "windowcast": predicted[0],
        "linear regression": regression_held_out(problem, folds),
        "own day-of-year mean": baselines.own_normal(problem.target[0], problem.dates[picked]),
        "exponential smoothing": baselines.exponential(air)[picked],
        "11-day air mean": baselines.running_mean(air)[picked],
        "same-day air mean": baselines.same_day(air)[picked],
    }
    errors = {k: (m - problem.target[0])[season] for k, m in models.items()}

    def rmse(error: FloatArray) -> float:
        return round(float(np.sqrt(np.nanmean(error**2))), 2)

    return {
        "what": "5 cm daily mean, September to April, RMSE in K, stations held out of the fit",
        "folds": folds,
        "days": "every fourth day with a probe value",
        "all": {k: rmse(e) for k, e in errors.items()},
        "south_east": {k: rmse(e[:, east]) for k, e in errors.items()},
        "stations": {
            name: {
                "rmse_c": rmse(errors["windowcast"][:, i]),
                "bias_c": round(float(np.nanmean(errors["windowcast"][:, i])), 2),
                "regression_rmse_c": rmse(errors["linear regression"][:, i]),
                "south_east": bool(east[i]),
            }
            for i, name in enumerate(data.names)
        },
    }


def fit_variances(problem: Problem, predicted: FloatArray) -> dict[str, float]:
    """Parts of the error between stations, by maximum likelihood on held-out predictions."""
    from scipy.linalg import cho_factor, cho_solve
    from scipy.optimize import minimize

    dates = problem.dates[problem.picked]
    random = np.random.default_rng(0)
    cases = []
    for i in range(problem.target.shape[2]):
        error = problem.target[0, :, i] - predicted[0, :, i]
        days = np.flatnonzero(np.isfinite(error) & in_season(dates))
        days = np.sort(random.choice(days, min(80, len(days)), replace=False))
        parts = site_parts(dates[days], predicted[0, days, i], predicted[1, days, i])
        apart = np.abs((dates[days][:, None] - dates[days][None]).astype(np.float64))
        cases.append((error[days], parts, apart))

    def unlikely(logs: FloatArray) -> float:
        v = np.exp(logs)
        lasting = np.array([v[0], v[1], v[1], v[2], v[3]])
        total = 0.0
        for error, parts, apart in cases:
            cov = (parts * lasting) @ parts.T + v[4] * np.exp(-apart / v[5])
            factor = cho_factor(cov + v[6] * np.eye(len(error)), lower=True)
            total += 2 * np.log(np.diag(factor[0])).sum() + error @ cho_solve(factor, error)
        return total

    start = np.log([0.2, 0.25, 0.1, 0.3, 0.5, 20.0, 0.6])
    best = minimize(
        unlikely, start, method="L-BFGS-B", bounds=[(-6, 6)] * 7, options={"maxiter": 25}
    ).x
    return dict(zip(VARIANCES, np.exp(best).round(4).tolist(), strict=True))


def skill(
    problem: Problem, predicted: FloatArray, which: npt.NDArray[np.bool_]
) -> dict[str, float]:
    """RMSE at 5 cm, September to April, of some stations."""
    error = (predicted - problem.target)[0][in_season(problem.dates[problem.picked])][:, which]
    return {"rmse_c": round(float(np.sqrt(np.nanmean(error**2))), 3)}


def fit_baselines(problem: Problem) -> tuple[FloatArray, tuple[float, float]]:
    """Coefficients of the linear regression, and memory and offset of exponential smoothing."""
    picked = problem.picked
    target = problem.target[0]
    weight = problem.weight[0].ravel()
    features = baselines.regression_features(problem.weather, problem.dates)[picked]
    features = features.reshape(-1, features.shape[-1])
    scale = np.sqrt(np.average(features**2, axis=0, weights=weight))
    scaled = features / scale
    normal = (scaled * weight[:, None]).T @ scaled / weight.sum() + 1e-6 * np.eye(len(scale))
    moment = (scaled * weight[:, None]).T @ np.nan_to_num(target).ravel() / weight.sum()
    air = baselines.same_day(problem.weather)
    best = (np.inf, 0.0, 0.0)
    for memory in np.arange(4.0, 15.0, 0.5):
        lag = target.ravel() - baselines.smoothed(air, (float(memory),))[0][picked].ravel()
        known = np.isfinite(lag)
        offset = np.average(lag[known], weights=weight[known])
        spread = np.average((lag[known] - offset) ** 2, weights=weight[known])
        best = min(best, (float(spread), float(memory), float(offset)))
    return np.linalg.solve(normal, moment) / scale, best[1:]


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


def write_section(section: str, values: dict[str, float], units: dict[str, str], how: str) -> None:
    """Replace all entries of a section of ``data/soil.toml``."""
    path = DATA / "soil.toml"
    text = re.sub(rf"\[{section}\.[^\[]*", "", path.read_text("utf-8")).rstrip() + "\n\n"
    text += "\n".join(
        f'[{section}.{name}]\nvalue = {value:.5g}\nunit = "{units[name]}"\n'
        f'source = "benchmarks/fit_soil.py, {how}"\nstatus = "our fit"\n'
        for name, value in values.items()
    )
    path.write_text(text, "utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("paths", nargs="+")
    parser.add_argument("--folds", type=int, default=0, help="0: no cross-validation")
    parser.add_argument(
        "--carry-on", action="store_true", help="start from the packaged values, not the priors"
    )
    parser.add_argument("--rounds", type=int, default=20, help="of the fit on all; 0: keep")
    parser.add_argument("--fold-rounds", type=int, default=2, help="of each fit without a group")
    parser.add_argument("--write", action="store_true", help="write the data files")
    arguments = parser.parse_args()
    data = read_stations(arguments.paths)
    problem = problem_of(data)
    used = ~np.isin(data.numbers, HELD_BACK)
    everyone, east = np.ones(len(used), bool), south_east(data)
    start = START
    if arguments.carry_on:
        start = np.array([getattr(parameters(), name) for name in NAMES])
    x = fit(problem.stations(used), start=start, rounds=arguments.rounds, say=True)
    predicted = run(problem.weather, x[None], problem.picked)[0]
    values = dict(zip(NAMES, x.tolist(), strict=True))
    report: dict[str, object] = {
        "stations": len(used),
        "south_east_stations": int(east.sum()),
        "parameters": {k: round(v, 5) for k, v in values.items()},
        "fitted": {
            "all": skill(problem, predicted, everyone),
            "se": skill(problem, predicted, east),
        },
        "never_fitted": skill(problem, predicted, ~used),
    }
    if arguments.write:
        units = {name: prior[4] for name, prior in PRIORS.items()}
        write_section("surface", values, units, f"{used.sum()} USCRN stations")
        write_baselines(*fit_baselines(problem.stations(used)))
    if arguments.folds:
        predicted = held_out(problem, x, arguments.folds, arguments.fold_rounds)
        report["held_out"] = {
            "folds": arguments.folds,
            "all": skill(problem, predicted, everyone),
            "south_east": skill(problem, predicted, east),
        }
        report["variances"] = variances = fit_variances(problem, predicted)
        if arguments.write:
            skilled = skill_report(problem, data, predicted, arguments.folds)
            (DOCS / "soil_skill.json").write_text(json.dumps(skilled, indent=1) + "\n", "utf-8")
            write_section("site", variances, VARIANCES, "stations held out of the fit")
    print(json.dumps(report, indent=1))


if __name__ == "__main__":
    main()
