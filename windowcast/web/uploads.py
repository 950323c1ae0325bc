"""Files from the page: read in a process of their own, with limits, before they are kept."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Sequence
from typing import Any

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError, traces_asked
from windowcast.core.given_files import is_device
from windowcast.web.sites import KnownSite

SECONDS, MEMORY = 30, 2 * 1024**3
_TABLES = (".csv", ".tsv", ".txt", ".xlsx")
SUFFIXES = (*_TABLES, ".csv.gz", ".dly", ".dly.gz", ".txt.gz")
LOG_SUFFIXES = (*_TABLES, ".json")
MOST_FILES = 20


def kept_weather(site: KnownSite, name: str, content: bytes) -> str:
    """Keep a weather file that was read beside the site file; its relative name.

    Raises
    ------
    InputError
        The site has as many as it may have.
    """
    assert site.path is not None
    folder = site.path.parent / f"{site.slug}-weather"
    if folder.is_dir() and len(list(folder.iterdir())) >= MOST_FILES:
        raise InputError("has weather files enough", field="file", remedy="remove old ones first")
    write_atomic(made_folder(folder) / name, content)
    return f"{folder.name}/{name}"


def safe_name(filename: str, suffixes: Sequence[str] = SUFFIXES) -> str:
    """A file name of letters, digits, dots and hyphens, with a known ending.

    Raises
    ------
    InputError
        The ending is another.
    """
    last = re.split(r"[/\\]", filename)[-1]
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", last).strip(".-")[-80:]
    if not name.lower().endswith(tuple(suffixes)) or name.startswith("."):
        raise InputError(
            "is not named like a file that is read here",
            field="file",
            remedy=f"use {', '.join(suffixes)}",
        )
    return f"file-{name}" if is_device(name) else name


def read_in_worker(
    spec: str, site: KnownSite, purpose: str, name: str, *, lang: str
) -> dict[str, Any]:
    """What the worker says of a file (see `web.worker`).

    Parameters
    ----------
    spec
        The file, with options behind it.
    purpose
        "weather" or "log".
    name
        Of the file in messages.
    lang
        Of what the worker says.

    Raises
    ------
    InputError
        It cannot be read, or reading it passed the limits.
    """
    command = [sys.executable, "-m", "windowcast.web.worker", spec, str(site.path), purpose, lang]
    folder = site.path.parent if site.path else None
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=SECONDS, check=False, cwd=folder
        )
    except subprocess.TimeoutExpired:
        raise InputError(
            "takes too long to read", field="file", remedy="give a smaller file"
        ) from None
    if done.returncode == 2:
        wrong = json.loads(done.stdout)
        raise InputError(path=name if wrong.pop("of_file") else None, **wrong)
    if done.returncode != 0:
        if traces_asked():
            sys.stderr.write(done.stderr)
        raise InputError("cannot be read", field="file", remedy="give a plain table")
    report: dict[str, Any] = json.loads(done.stdout)
    return report
