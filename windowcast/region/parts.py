"""Finished chunks of stations on disk: tables that count only with their checksums.

A part says in its table `MADE_OF` whose rows it holds and what they rest on (a key for each
station), so that another part can be put together from them.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from windowcast.core.atomic_files import write_atomic

if TYPE_CHECKING:
    import pyarrow as pa

MADE_OF = "made_of"
"""Table of a part: ``station``, ``key`` of all its rows rest on, ``same``: what is so for all."""

Bodies = Mapping[str, bytes]
"""Tables of a part as Parquet, by name."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """A chunk of stations that is done: a Parquet file for each of its tables."""

    folder: Path
    id: str

    def file(self, table: str) -> Path:
        """Where one of its tables lies."""
        return self.folder / f"{self.id}.{table}.parquet"

    @property
    def checksums(self) -> Path:
        """Lists its files as ``sha256sum`` does."""
        return self.folder / f"{self.id}.sha256"


def part_of(folder: Path, keys: Sequence[str]) -> Chunk:
    """The part made of stations with these keys, in this order."""
    return Chunk(folder, hashlib.sha256("\n".join(keys).encode()).hexdigest()[:32])


def keep(part: Chunk, bodies: Bodies) -> None:
    """Write the tables of a part, then their checksums, with which alone they count."""
    lines = []
    for name, body in bodies.items():
        file = write_atomic(part.file(name), body)
        lines.append(f"{hashlib.sha256(body).hexdigest()}  {file.name}\n")
    write_atomic(part.checksums, "".join(lines))


def is_whole(part: Chunk) -> bool:
    """Whether every file of a part is there and matches its checksum."""
    try:
        stated = _stated(part)
        return bool(stated) and all(
            hashlib.sha256((part.folder / name).read_bytes()).hexdigest() == digest
            for digest, name in stated
        )
    except (OSError, ValueError):  # ValueError: the checksums themselves are damaged
        return False


def _stated(part: Chunk) -> list[list[str]]:
    return [line.split("  ") for line in part.checksums.read_text("ascii").splitlines()]


def found_in(folder: Path, keys: Iterable[str]) -> dict[str, Chunk]:
    """Key → a whole part in the folder with the rows of its station, of those that have one."""
    wanted, found = set(keys), dict[str, Chunk]()
    for part in _parts(folder) if wanted else ():
        held = wanted.intersection(_made_of(part, "key")) - found.keys()
        if held and is_whole(part):
            found |= dict.fromkeys(held, part)
    return found


def gathered(ids: Mapping[str, str], held: Mapping[str, Chunk]) -> dict[str, bytes]:
    """Tables of a part of some stations, from parts that hold them.

    Parameters
    ----------
    ids
        Key → station, in order.
    held
        Key → part with its rows.
    """
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    groups: dict[Chunk, list[str]] = {}
    for key, station in ids.items():
        groups.setdefault(held[key], []).append(station)
    names = _tables(next(iter(groups)))
    order = pa.array(list(ids.values()))
    bodies = {}
    for name in names:
        rows = []
        for part, stations in groups.items():
            whole = pq.read_table(part.file(name))
            rows.append(whole.filter(pc.is_in(whole["station"], pa.array(stations))))
        table = pa.concat_tables(rows).combine_chunks()
        place = pc.index_in(table["station"], order).to_numpy()
        bodies[name] = to_parquet(table.take(np.argsort(place, kind="stable")).combine_chunks())
    return bodies


def forget(folder: Path, final: Sequence[Chunk], same: str) -> None:
    """Remove parts of which newer ones now hold every station.

    Parameters
    ----------
    final
        The newer parts.
    same
        What these rows rest on beside their stations: other options are left alone.
    """
    stations = {station for part in final for station in _made_of(part, "station")}
    for part in set(_parts(folder)) - set(final):
        own, theirs = _made_of(part, "station"), _made_of(part, "same")
        if stations.issuperset(own) and set(theirs) == {same}:
            names = [name for _, name in _stated(part)]
            part.checksums.unlink(missing_ok=True)  # first: without it the others do not count
            for name in names:
                (folder / name).unlink(missing_ok=True)


def _parts(folder: Path) -> list[Chunk]:
    return [Chunk(folder, path.stem) for path in sorted(folder.glob("*.sha256"))]


def _tables(part: Chunk) -> list[str]:
    """Names of a part's tables, but for `MADE_OF`."""
    names = [name.removeprefix(f"{part.id}.").removesuffix(".parquet") for _, name in _stated(part)]
    return [name for name in names if name != MADE_OF]


def _made_of(part: Chunk, column: str) -> list[str]:
    """A column of `MADE_OF`; empty where it cannot be read."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        values: list[str] = pq.read_table(part.file(MADE_OF), columns=[column])[column].to_pylist()
    except (OSError, pa.ArrowException):
        return []
    return values


def to_parquet(table: pa.Table) -> bytes:
    """A table as Parquet bytes, the same bytes for the same table."""
    import pyarrow.parquet as pq

    sink = io.BytesIO()
    pq.write_table(table, sink, compression="zstd")
    return sink.getvalue()
