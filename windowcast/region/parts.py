"""Finished chunks of stations on disk: tables that count only with their checksums."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from windowcast.core.atomic_files import write_atomic

if TYPE_CHECKING:
    import pyarrow as pa

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
        stated = [line.split("  ") for line in part.checksums.read_text("ascii").splitlines()]
        return bool(stated) and all(
            hashlib.sha256((part.folder / name).read_bytes()).hexdigest() == digest
            for digest, name in stated
        )
    except (OSError, ValueError):  # ValueError: the checksums themselves are damaged
        return False


def to_parquet(table: pa.Table) -> bytes:
    """A table as Parquet bytes, the same bytes for the same table."""
    import pyarrow.parquet as pq

    sink = io.BytesIO()
    pq.write_table(table, sink, compression="zstd")
    return sink.getvalue()
