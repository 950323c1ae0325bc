"""Uploaded weather files: read in a process of their own, with limits, before they are kept."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.web.sites import KnownSite

SECONDS, MEMORY = 30, 2 * 1024**3
SUFFIXES = (".csv", ".csv.gz", ".dly", ".dly.gz", ".txt", ".txt.gz")
MOST_FILES = 20


def stored_weather(site: KnownSite, filename: str, content: bytes) -> str:
    """Check an uploaded weather file and keep it beside the site file; its relative name.

    Raises
    ------
    InputError
        The name or the content is not a weather file's, or reading it passed the limits.
    """
    assert site.path is not None
    name = safe_name(filename)
    folder = site.path.parent / f"{site.slug}-weather"
    if folder.is_dir() and len(list(folder.iterdir())) >= MOST_FILES:
        raise InputError("has weather files enough", field="file", remedy="remove old ones first")
    with tempfile.TemporaryDirectory() as scratch:
        trial = Path(scratch) / name
        trial.write_bytes(content)
        _read_in_worker(trial, site)
    write_atomic(made_folder(folder) / name, content)
    return f"{folder.name}/{name}"


def safe_name(filename: str) -> str:
    """A file name of letters, digits, dots and hyphens, with a known ending.

    Raises
    ------
    InputError
        The ending is not one of a weather file.
    """
    last = re.split(r"[/\\]", filename)[-1]
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", last).strip(".-")[-80:]
    if not name.lower().endswith(SUFFIXES) or name.startswith("."):
        raise InputError(
            "is not named like a weather file", field="file", remedy=f"use {', '.join(SUFFIXES)}"
        )
    return name


def _read_in_worker(file: Path, site: KnownSite) -> None:
    command = [sys.executable, "-m", "windowcast.web.worker", str(file), str(site.path)]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=SECONDS, check=False, cwd=file.parent
        )
    except subprocess.TimeoutExpired:
        raise InputError(
            "takes too long to read", field="file", remedy="give a smaller file"
        ) from None
    if done.returncode == 2:
        raise InputError(done.stderr.strip().replace(str(file), file.name), field="file")
    if done.returncode != 0:
        raise InputError("cannot be read", field="file", remedy="give a plain weather file")
