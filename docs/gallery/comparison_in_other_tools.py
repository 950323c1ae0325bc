"""What `windowcast compare` leaves in its folder, taken up with pandas and xarray.

python docs/gallery/comparison_in_other_tools.py
"""

import json
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import matplotlib.pyplot as plt
import pandas as pd
import xarray as xr

HERE = Path(__file__).parent
STATIONS = HERE.parents[1] / "tests" / "data" / "uscrn"


def main(folder: Path = HERE) -> None:
    """Compare four stations, say what a column means, draw the weeks of the dormant application."""
    with TemporaryDirectory() as kept:
        command = ["compare", STATIONS, "--out", kept, "--netcdf", "--at-least", "1"]
        subprocess.run(
            [sys.executable, "-m", "windowcast", *command], check=True, stdout=subprocess.DEVNULL
        )
        seasons = pd.read_parquet(f"{kept}/seasons.parquet")
        files = json.loads(Path(kept, "datapackage.json").read_text("utf-8"))["resources"]
        with xr.open_dataset(f"{kept}/seasons.nc", decode_timedelta=False) as found:
            weeks = found["workable_dormant_mean"].sortby("lat").load()

    fields = next(f for f in files if f["path"] == "seasons.parquet")["schema"]["fields"]
    meaning = {field["name"]: field["description"] for field in fields}
    frost = seasons[seasons["complete"] > 0.9].groupby("name", observed=True)["frost_days"].mean()
    print(f"{meaning['frost_days']}, mean of the seasons:")
    for name, days in frost.items():
        print(f"{name}: {days:.0f}")

    with plt.style.context(HERE / "gallery.mplstyle"):
        figure, axes = plt.subplots()
        start = pd.Timestamp(2018, 7, 1)
        dates = start + pd.to_timedelta(weeks["whole_week"].values, unit="D")
        for station in weeks:
            axes.plot(dates, station, label=str(station["station_name"].values))
        months = pd.date_range(start, "2019-07-01", freq="2MS")
        axes.set_xticks(months, [f"{month:%b}" for month in months])
        axes.set(title="Days a week whose weather suits a dormant application", ylim=(0, 7))
        figure.legend(loc="outside lower center", ncols=2)
        figure.savefig(folder / "comparison_in_other_tools.svg", metadata={"Date": None})


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
