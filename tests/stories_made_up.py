"""A made-up season that the advice lost, as its story and its picture need it."""

from __future__ import annotations

import datetime as dt

import numpy as np

from windowcast.verify.regret import Regret, Residual, SeasonSeen

DAYS = tuple(dt.date(2019, 8, 1) + dt.timedelta(days=7 * n) for n in range(44))


def _rising(first: dt.date, last: dt.date) -> tuple[float, ...]:
    """From none to all between two days."""
    ends = [first.toordinal(), last.toordinal()]
    return tuple(np.interp([day.toordinal() for day in DAYS], ends, [0.0, 1.0]).tolist())


SEASON = Regret(
    station="Long Field",
    season=2019,
    controlled={"advice": 0.8, "calendar": 0.86, "foresight": 0.95},
    lost=0.15,
    purpose="pre-fall",
    cost=0.12,
    sprayed=dt.date(2019, 10, 23),
    best=dt.date(2019, 9, 17),
    said="wait",
    cause="forecast",
    dates={
        "advice": {
            "pre-fall": ("2019-10-23",),
            "post-early": ("2019-11-15", "2019-12-20"),
            "dormant": ("2019-12-28",),
            "pre-spring": ("2020-01-28",),
        },
        "calendar": {"pre-fall": ("2019-09-30",), "post-early": ("2019-12-03",)},
        "foresight": {"pre-fall": ("2019-09-17",), "post-early": ("2019-11-26",)},
    },
    seen=SeasonSeen(
        DAYS,
        {
            # two fifths of the 50 days lie before 23 October
            "POAAN": _rising(dt.date(2019, 10, 3), dt.date(2019, 11, 22)),
            "DIGSA": _rising(dt.date(2020, 2, 20), dt.date(2020, 5, 28)),
        },
        {"advice": (Residual("pre-fall", dt.date(2019, 10, 23), dt.date(2020, 3, 1)),)},
        ((dt.date(2019, 12, 20), dt.date(2020, 1, 18)),),
    ),
)
