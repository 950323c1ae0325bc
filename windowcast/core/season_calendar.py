"""The season: it runs from 1 July (1 January in the south) and is named by its years."""

from __future__ import annotations

import datetime as dt

import numpy as np


def season_name(date: np.datetime64 | dt.date, southern: bool) -> str:
    """Name of the season a date lies in: "2024/25" in the north, "2025" in the south."""
    year = int(str(date)[:4])
    if southern:
        return str(year)
    year -= int(str(date)[5:7]) < 7
    return f"{year}/{(year + 1) % 100:02d}"
