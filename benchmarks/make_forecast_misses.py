"""Make ``windowcast/data/forecast_misses.csv``: real misses of whole forecast bulletins.

    python benchmarks/make_forecast_misses.py FORECASTS.csv.gz

FORECASTS is the table described in ``fit_forecast_errors.py``. A row of the result is one evening
bulletin: observed minus forecast, in whole °F, of the high and the low of the next day and of the
day after (the low is that of the night before the day). Bulletins are drawn at random, a month
given the same share as any other; misses beyond 40 °F are decoding errors and are left out.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

TARGET = Path(__file__).parents[1] / "windowcast" / "data" / "forecast_misses.csv"
ROWS_PER_MONTH = 250
OUTLIER_F = 40
HEADER = """\
# Observed minus forecast, whole degrees Fahrenheit, of evening bulletins for US cities, 2021-22:
# high and low of the next day and of the day after. Underlying values: US National Weather Service
# (public domain), collected by the public project speegled/weather_forecasts.
# Drawn by benchmarks/make_forecast_misses.py.
"""


def main(path: Path) -> None:
    table = pd.read_csv(path, parse_dates=["date"])
    table["place"] = table.city + " " + table.state.fillna("")
    table = table.drop_duplicates(["place", "date"])
    day = pd.Timedelta(days=1)

    def miss(forecast: str, observed: str, shift: int) -> pd.Series:
        """Misses, dated by the day on whose evening the bulletin came out."""
        frame = table.assign(miss=table[observed] - table[forecast], date=table.date - shift * day)
        return frame.set_index(["place", "date"]).miss

    bulletins = pd.DataFrame(
        {
            "high_day1": miss("forecast_hi_prev_PM", "actual_hi_next_AM", 1),
            "low_day1": miss("forecast_lo_current_PM", "actual_lo_next_AM", 0),
            "high_day2": miss("forecast_hi_2_prev_PM", "actual_hi_next_AM", 2),
            "low_day2": miss("forecast_lo_prev_PM", "actual_lo_next_AM", 1),
        }
    ).dropna()
    bulletins = bulletins[(bulletins.abs() <= OUTLIER_F).all(axis=1)].astype(int)
    months = bulletins.index.get_level_values("date").month
    rng = np.random.default_rng(1)
    picked = [
        bulletins[months == month].sample(ROWS_PER_MONTH, random_state=rng)
        for month in range(1, 13)
    ]
    rows = pd.concat(picked).assign(month=np.repeat(range(1, 13), ROWS_PER_MONTH))
    TARGET.write_text(HEADER + rows.to_csv(index=False, lineterminator="\n"), "utf-8")
    print(f"{len(rows)} of {len(bulletins)} bulletins written to {TARGET.name}")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
