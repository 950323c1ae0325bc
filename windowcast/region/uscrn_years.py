"""USCRN as the network publishes it, a file for each station and year, joined by station."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from pathlib import Path

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.sources.textfile import read_text_bytes

_YEARLY = re.compile(r"CRND\d{4}-\d{4}-(?P<station>.+)\.txt(\.gz)?$", re.IGNORECASE)
_YEAR_FOLDER = "[12][0-9][0-9][0-9]"


def yearly_files(folder: Path) -> dict[str, list[Path]]:
    """Station → its yearly files, in order; of a folder or of folders of years in it."""
    found: dict[str, list[Path]] = {}
    for path in sorted([*folder.glob("CRND*"), *folder.glob(f"{_YEAR_FOLDER}/CRND*")]):
        if match := _YEARLY.fullmatch(path.name):
            found.setdefault(match["station"], []).append(path)
    return found


def joined(files: Sequence[Path], station: str, work: Path) -> Path:
    """One file of a station's years under `work`, made once for files that have not changed.

    Raises
    ------
    InputError
        A file cannot be read, or the folder cannot be made.
    """
    digest = hashlib.sha256()
    for file in files:
        stat = file.stat()
        digest.update(f"{file.resolve()} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    home = made_folder(work / f"uscrn-{digest.hexdigest()[:16]}")
    whole = home / f"{station}.txt"
    if not whole.is_file():
        lines = (read_text_bytes(file).rstrip(b"\n") for file in files)
        write_atomic(whole, b"\n".join(lines) + b"\n")
    return whole
