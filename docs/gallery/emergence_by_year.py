"""How much of the season's annual bluegrass has emerged, fall by fall at one place.

python docs/gallery/emergence_by_year.py
"""

import sys
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd

import windowcast

HERE = Path(__file__).parent
STATION = HERE.parents[1] / "tests" / "data" / "uscrn" / "VA_Charlottesville_2_SSE.txt.gz"
SITE = {"name": "Charlottesville", "latitude": 38.0, "longitude": -78.47, "weeds": ["POAAN"]}
YEARS = (2015, 2017, 2019)  # one cool fall and two warm ones


def main(folder: Path = HERE) -> None:
    """Follow the weed through the whole record, cut out falls, draw."""
    past = windowcast.answer(SITE, STATION, date="2020-12-31", offline=True).past
    curves = past.to_pandas()

    with plt.style.context(HERE / "gallery.mplstyle"):
        figure, axes = plt.subplots()
        for year, style in zip(YEARS, ("-", "--", "-."), strict=True):
            fall = curves[f"{year}-08-15" : f"{year}-12-31"]
            day = (fall.index - pd.Timestamp(year, 8, 15)).days
            axes.fill_between(day, fall["POAAN_share_low"], fall["POAAN_share_high"], alpha=0.15)
            axes.plot(day, fall["POAAN_share"], style, label=f"{year}")
            half = fall.index[fall["POAAN_share"] >= 0.5][0]
            print(f"{year}: half has emerged by {half:%d %b}")
        starts = pd.to_datetime([f"2019-{month:02}-01" for month in (9, 10, 11, 12)])
        axes.set_xticks((starts - pd.Timestamp(2019, 8, 15)).days, [f"{s:%d %b}" for s in starts])
        axes.set(
            title="Annual bluegrass, Charlottesville, Virginia (band: 10 to 90 %)",
            ylabel="share of the season's emergence", ylim=(0, 1), xlim=(0, 138),
        )  # fmt: skip
        axes.legend()
        figure.savefig(folder / "emergence_by_year.svg", metadata={"Date": None})


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
