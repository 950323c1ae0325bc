"""What is believed of the soil model's parameters before they are fitted, and a bounded step."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.physics.soil_surface import Parameters

FloatArray = npt.NDArray[np.float64]

# start, how far it may plausibly be from there, lowest, highest; unit
PRIORS: dict[str, tuple[float, float, float, float, str]] = {
    "snow_midpoint_c": (-1.0, 1.0, -4.0, 3.0, "degC"),
    "snow_catch": (1.0, 0.3, 0.3, 2.5, "1"),
    "melt_mm_per_k": (3.7, 1.0, 0.5, 8.0, "mm K-1 d-1"),
    "melt_from_c": (0.0, 1.0, -3.0, 3.0, "degC"),
    "snow_settling_kg_l": (0.002, 0.001, 0.0, 0.02, "kg l-1 d-1"),
    "snow_hiding_mm": (15.0, 6.0, 0.5, 60.0, "mm"),
    "snow_resistance": (0.8, 0.3, 0.1, 3.0, "1"),
    "top_water_mm": (30.0, 10.0, 8.0, 80.0, "mm"),
    "root_water_mm": (200.0, 100.0, 40.0, 900.0, "mm"),
    "soil_evaporation": (0.4, 0.2, 0.05, 2.0, "1"),
    "transpiration": (0.3, 0.1, 0.05, 1.0, "1"),
    "water_exchange_mm": (1.0, 0.5, 0.0, 6.0, "mm d-1"),
    "sward_aridity": (0.2, 0.1, 0.005, 3.0, "1"),
    "green_from_c": (6.0, 3.0, -5.0, 20.0, "degC"),
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
    "freezing_water": (0.05, 0.03, 0.0, 0.3, "m3 m-3"),
    "freezing_water_wet": (0.15, 0.1, 0.0, 0.8, "m3 m-3"),
    "end_of_day_weight": (0.9, 0.1, 0.4, 1.2, "1"),
    "solar_warm": (0.0, 0.2, -0.8, 0.8, "1"),
    "evaporation_root": (0.0, 0.3, -1.0, 1.5, "K d mm-1"),
    "evaporation_humid": (0.0, 0.3, -1.5, 1.5, "1"),
    "cooling_limit": (0.0, 0.05, 0.0, 0.5, "K-1"),
    "offset_humid": (0.0, 1.0, -4.0, 4.0, "K"),
    "air_lag": (0.0, 0.05, -0.5, 0.5, "1"),
    "resistance_humid": (0.0, 0.15, -0.3, 0.5, "m2 K W-1"),
}
NAMES = Parameters._fields
START, SPREAD, LOW, HIGH = (np.array([PRIORS[n][i] for n in NAMES]) for i in range(4))


def step(x: FloatArray, normal: FloatArray, gradient: FloatArray, damping: float) -> FloatArray:
    """Damped Gauss-Newton step; parameters pushed against a bound are held there."""
    held = np.zeros(len(x), dtype=bool)
    for _ in range(6):
        free = ~held
        matrix = normal[np.ix_(free, free)]
        move = np.zeros(len(x))
        move[free] = -np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), gradient[free])
        target = x + np.clip(move, -1.5 * SPREAD, 1.5 * SPREAD)
        pushed = held | ((target <= LOW) & (x <= LOW)) | ((target >= HIGH) & (x >= HIGH))
        if (pushed == held).all():
            break
        held = pushed
    return np.clip(target, LOW, HIGH)
