"""A station's record as a reader has it: in the zone of its place, with what is usual measured."""

from __future__ import annotations

from dataclasses import replace

from windowcast.core.record import Record
from windowcast.core.site import timezone_at
from windowcast.sources.files import measured_at

KNOWN = ("tmax_c", "tmin_c", "tmean_c", "precip_mm")


def in_its_zone(record: Record) -> Record:
    """The record with its days in the zone of its place."""
    place = record.place
    zone = timezone_at(place.latitude_deg, place.longitude_deg) or "UTC"
    return measured_at(record, replace(place, timezone=zone))


def as_known(record: Record) -> Record:
    """A record's daily highs, lows, means and rain alone."""
    return replace(
        record,
        values={n: v for n, v in record.values.items() if n in KNOWN},
        grades={n: g for n, g in record.grades.items() if n in KNOWN},
    )
