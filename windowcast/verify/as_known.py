"""What a reader's station knows of a station that measures more."""

from __future__ import annotations

from dataclasses import replace

from windowcast.core.record import Record

KNOWN = ("tmax_c", "tmin_c", "tmean_c", "precip_mm")


def as_known(record: Record) -> Record:
    """A record's daily highs, lows, means and rain alone."""
    return replace(
        record,
        values={n: v for n, v in record.values.items() if n in KNOWN},
        grades={n: g for n, g in record.grades.items() if n in KNOWN},
    )
