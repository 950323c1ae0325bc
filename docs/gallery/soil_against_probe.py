"""Soil temperature from air temperature and rain alone, beside a probe in the ground.

python docs/gallery/soil_against_probe.py
"""

import sys
from pathlib import Path

import matplotlib.pyplot as plt
from matplotlib.dates import DateFormatter

import windowcast

HERE = Path(__file__).parent
STATION = HERE.parents[1] / "tests" / "data" / "uscrn" / "AL_Selma_13_WNW.txt.gz"


def main(folder: Path = HERE) -> None:
    """Simulate, compare, draw."""
    table = windowcast.read_weather(STATION).to_pandas()
    known = table[["tmax_c", "tmin_c", "precip_mm"]]  # what every weather station has
    soil = windowcast.simulate_soil(known, latitude_deg=32.46, depths_m=[0.05]).to_pandas()

    season = slice("2016-08-01", "2017-05-31")
    model, probe = soil["soil_5cm_c"][season], table["soil_5cm_c"][season]
    error = model - probe
    print(f"RMSE {(error**2).mean() ** 0.5:.1f} K, bias {error.mean():+.1f} K over a season")
    for name, series in (("model", model), ("probe", probe)):
        week = series.rolling(7).mean()
        print(f"{name}: 7-day mean below 21.1 °C from {week[week < 21.1].index[0]:%d %b %Y}")

    with plt.style.context(HERE / "gallery.mplstyle"):
        figure, axes = plt.subplots()
        axes.plot(probe.index, probe, color="0.35", lw=2.5, alpha=0.6, label="probe")
        axes.plot(model.index, model, lw=1.2, label="windowcast, from air temperature and rain")
        axes.axhline(21.1, ls="--", color="0.3", lw=1)
        axes.text(probe.index[170], 21.4, "21.1 °C")
        axes.xaxis.set_major_formatter(DateFormatter("%b"))
        axes.set(title="Soil at 5 cm, Selma, Alabama, 2016/17", ylabel="daily mean, °C")
        axes.legend()
        figure.savefig(folder / "soil_against_probe.svg", metadata={"Date": None})


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
