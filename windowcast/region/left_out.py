"""Stations that a comparison leaves out, each with the kind of reason and its words.

Stations with normals come first: those with enough complete seasons (``at_least`` of
``data/region.toml``). Where no station has so many, as many are asked for as the longest has.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from windowcast.core.values import load
from windowcast.region.columns import NO_WEEKS

if TYPE_CHECKING:
    import pyarrow as pa

Kind = Literal["short", "incomplete", "no place", "not listed", "not usable"]
"""``short``: spans too few seasons; ``incomplete``: too many of them have gaps; ``no place``: no
latitude and longitude; ``not listed``: not on the archive's list; ``not usable``: anything else."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A station that is not compared, the kind of reason and the reason in words."""

    station: str
    name: str
    kind: Kind
    reason: str


def usual_least() -> int:
    """Complete seasons that a station has if it has normals."""
    return int(load("region").number("at_least"))


def too_few(
    spanned: npt.NDArray[np.int64], complete: npt.NDArray[np.int64], at_least: int
) -> Mapping[int, tuple[Kind, str]]:
    """Row → kind and reason of the stations that have too few complete seasons.

    Parameters
    ----------
    spanned
        Seasons from the first to the last with any temperature, ``[station]``.
    complete
        Those that are complete, ``[station]``.
    """
    least = min(at_least, int(complete.max(initial=0)))
    found: dict[int, tuple[Kind, str]] = {}
    for row in np.flatnonzero(complete < least).tolist():
        kind: Kind = "short" if spanned[row] < least else "incomplete"
        reason = f"{complete[row]} of {spanned[row]} seasons complete, fewer than {least}"
        found[row] = kind, reason
    return found


def marked(
    batch: pa.RecordBatch, reasons: Mapping[str, tuple[Kind, str]], seen: set[str]
) -> pa.RecordBatch:
    """Rows of seasons in which each station that is left out has one row, with its reason.

    `seen` holds the stations that have theirs, of this batch and those before it.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    out = pc.is_in(batch["station"], pa.array(list(reasons), pa.string()))
    if not pc.any(out).as_py():
        return batch
    pieces: list[pa.RecordBatch] = [batch.filter(pc.invert(out))]
    for row in batch.filter(out).select(["station", "name", "region"]).to_pylist():
        if row["station"] not in seen:
            seen.add(row["station"])
            kind, problem = reasons[row["station"]]
            made = [{**row, **NO_WEEKS, "left_out": kind, "problem": problem}]
            pieces.append(pa.RecordBatch.from_pylist(made, schema=batch.schema))
    whole = pa.Table.from_batches(pieces).combine_chunks()
    return next(iter(whole.to_batches()), pieces[0])


def read_left_out(batch: pa.RecordBatch) -> Iterator[LeftOut]:
    """The stations left out among rows of seasons."""
    rows: Sequence[Mapping[str, Any]] = batch.filter(batch["problem"].is_valid()).to_pylist()
    for row in rows:
        yield LeftOut(
            row["station"], row["name"] or row["station"], row["left_out"], row["problem"]
        )
