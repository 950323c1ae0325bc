"""Remarks on where the weather came from: every report shows them, whatever else it leaves out."""

from __future__ import annotations

from windowcast.core.phrase import Phrase
from windowcast.core.record import Flag

COARSE_GRID = "grid"  # the name of the coarse grid as a source
REMARKS = frozenset(
    {
        "archive-incomplete",
        "archive-lag",
        "archive-unreachable",
        "clock-skew",
        "cut-off",
        "distrusted",
        "forecast-layer",
        "forecast-service",
        "forecast-unreachable",
        "grid-unreachable",
        "highs-a-day-late",
        "no-elevation",
        "no-forecast",
        "no-place",
        "no-station",
        "not-on-record",
        "own-bias",
        "own-drift",
        "soil-nearby",
        "soil-network-unreachable",
        "soil-refused",
        "stale-archive",
        "stale-forecast",
        "unreadable-file",
    }
)


def remark(
    check: str, text: Phrase, *, variable: str = "", first: str = "", last: str = "", count: int = 0
) -> Flag:
    """A flag of `REMARKS`: nothing was changed, the reader is told."""
    if check not in REMARKS:
        raise KeyError(check)
    return Flag(check, variable, first, last, count, "kept", text)
