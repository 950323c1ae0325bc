"""What the season log tells the models: probe readings, counts, green cover."""

from __future__ import annotations

from os import PathLike

import numpy as np

from windowcast.answer import Observed
from windowcast.physics.soil_site import ProbeReading
from windowcast.records.model import GreenCover, ScoutingCount, SoilReading
from windowcast.records.store import SeasonLog
from windowcast.season.scouting import Count
from windowcast.season.turf import GreenCover as SeenGreen


def observed_in(path: str | PathLike[str]) -> Observed:
    """The observations of a season log.

    Counts given per square metre stand for one square metre; cover in per cent tells nothing of
    how many plants have emerged and is left out.
    """
    with SeasonLog(path, create=False) as log:
        readings = [item.entry for item in log.all(SoilReading)]
        counts = [item.entry for item in log.all(ScoutingCount)]
        green = [item.entry for item in log.all(GreenCover)]
    return Observed(
        readings=tuple(ProbeReading(np.datetime64(r.date), r.depth_m, r.temp_c) for r in readings),
        counts=tuple(
            Count(c.date, c.weed, round(c.per_m2), 1.0) for c in counts if c.per_m2 is not None
        ),
        green_cover=tuple(SeenGreen(g.date, g.green_pct / 100) for g in green),
    )
