"""When the marks of a season come at four places, and how much that varies from year to year.

python docs/gallery/season_by_place.py
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import matplotlib.pyplot as plt
import pandas as pd

import windowcast

HERE = Path(__file__).parent
STATIONS = HERE.parents[1] / "tests" / "data" / "uscrn"
MARKS = {
    "soil_21": "soil at 5 cm below 21.1 °C",
    "poaan_50": "half of the annual bluegrass emerged",
    "soil_13": "soil at 5 cm above 12.8 °C",
    "digis_10": "first tenth of the smooth crabgrass emerged",
}


def main(folder: Path = HERE) -> None:
    """Compare the stations of a folder, draw the medians and the span of the years."""
    with TemporaryDirectory() as kept:
        grid = windowcast.compare(STATIONS, kept, workers=1, at_least=1).to_xarray()
    grid = grid.sortby("latitude")
    names = ["Selma AL", "Bowling Green KY", "Charlottesville VA", "Coshocton OH"]  # by latitude
    july = pd.Timestamp(2018, 7, 1)

    with plt.style.context(HERE / "gallery.mplstyle"):
        figure, axes = plt.subplots()
        rows = range(len(names))
        for mark, marker in zip(MARKS, "osD^", strict=True):
            low, middle, high = (grid[mark].quantile(q, "season").values for q in (0, 0.5, 1))
            whiskers = [middle - low, high - middle]
            axes.errorbar(middle, rows, xerr=whiskers, fmt=marker, label=MARKS[mark], capsize=3)
            dates = ", ".join(f"{july + pd.Timedelta(days=day):%d %b}" for day in middle)
            print(f"{MARKS[mark]}: {dates}")
        starts = pd.date_range("2018-08-01", "2019-06-01", freq="MS")
        axes.set_xticks((starts - july).days, [f"{s:%b}" for s in starts])
        axes.set_yticks(rows, names)
        axes.set(title="Median and span of the years", ylim=(-0.5, len(names) - 0.5))
        figure.legend(loc="outside lower center", ncols=2)
        figure.savefig(folder / "season_by_place.svg", metadata={"Date": None})


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
