"""Sources that may be turned off: by the site file, or by the environment."""

from __future__ import annotations

import os

GRID_SWITCH = "WINDOWCAST_COARSE_GRID"
SOIL_SWITCH = "WINDOWCAST_SOIL_NETWORKS"


def switched_on(variable: str, *, wanted: bool) -> bool:
    """Whether a source may be asked: the site wants it and the environment does not forbid it."""
    return wanted and os.environ.get(variable, "").lower() not in ("off", "0", "no", "false")
