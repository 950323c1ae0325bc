"""Files given to the page: kept aside, read in a worker, shown, and stored when confirmed.

A weather file that leaves no doubt (plain layout) is stored at once. Everything else is shown first
as it was understood; what a table cannot tell is asked with a form, not guessed.
"""

from __future__ import annotations

import json
import re
import secrets
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError, traces_asked
from windowcast.core.given_files import is_device
from windowcast.records.kinds import KINDS
from windowcast.report.catalogue import Voice
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


Purpose = Literal["weather", "log"]
MOST_ASIDE, KEPT_S = 5, 24 * 3600.0  # files kept aside for a site, and how long
_NAME = re.compile(r"[0-9a-f]{16}\.[A-Za-z0-9._-]+", re.ASCII)
_OF_TABLES = {"dates": ("mdy", "dmy"), "decimal": ("point", "comma")}
CHOICES: Mapping[Purpose, Mapping[str, tuple[str, ...]]] = {  # "" besides: not said
    "weather": {**_OF_TABLES, "units": ("us", "metric")},
    "log": {**_OF_TABLES, "kind": KINDS, "unknown": ("ignore",)},
}


def choices_said(purpose: Purpose, voice: Voice) -> list[tuple[str, str, list[tuple[str, str]]]]:
    """What can be said of a file beside it: key, label, and each value with its words."""
    return [
        (
            key,
            voice.say(f"incoming_choice.{key}.label"),
            [("", voice.say(f"incoming_choice.{key}.unsaid"))]
            + [(value, _choice_said(key, value, voice)) for value in values],
        )
        for key, values in CHOICES[purpose].items()
    ]


def _choice_said(key: str, value: str, voice: Voice) -> str:
    return voice.say(f"log_kind.{value}" if key == "kind" else f"incoming_choice.{key}.{value}")


@dataclass(frozen=True, slots=True)
class Incoming:
    """A file kept aside: its name there, and the name it came with."""

    token: str
    name: str
    path: Path


def keep_aside(site: KnownSite, purpose: Purpose, filename: str, content: bytes) -> Incoming:
    """Keep a file until it is confirmed; older ones give way.

    Raises
    ------
    InputError
        Its name has none of the known endings.
    """
    name = safe_name(filename, SUFFIXES if purpose == "weather" else LOG_SUFFIXES)
    folder = made_folder(_folder(site))
    others = sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)
    for count, path in enumerate(others, start=1):
        if count >= MOST_ASIDE or time.time() - path.stat().st_mtime > KEPT_S:
            path.unlink(missing_ok=True)
    token = f"{secrets.token_hex(8)}.{name}"
    write_atomic(folder / token, content)
    return Incoming(token, name, folder / token)


def found_aside(site: KnownSite, token: str) -> Incoming:
    """A file that was kept aside before.

    Raises
    ------
    InputError
        It is not there any more.
    """
    path = _folder(site) / token
    if not _NAME.fullmatch(token) or not path.is_file():
        raise InputError(
            "the file is not there any more", field="file", remedy="choose the file again"
        )
    return Incoming(token, token.partition(".")[2], path)


def spec_of(incoming: Incoming, options: Mapping[str, str]) -> str:
    """The file with what its owner says of it, as the readers take it."""
    return f"{incoming.path}{options_text(options)}"


def options_text(options: Mapping[str, str]) -> str:
    """``":dates=mdy,sheet=Sprays"``; "" where nothing is said."""
    said = ",".join(f"{key}={value}" for key, value in options.items() if value)
    return f":{said}" if said else ""


def options_from(typed: Mapping[str, str], purpose: Purpose) -> dict[str, str]:
    """What a form says of a file.

    Raises
    ------
    InputError
        A value is none of the choices, or the sheet's name cannot be one.
    """
    said = {"sheet": typed.get("sheet", "")[:64]}
    if re.search(r"[:=,]", said["sheet"]):
        raise InputError("has a sign that no option takes (: = ,)", field="sheet")
    for key, values in CHOICES[purpose].items():
        said[key] = typed.get(key, "")
        if said[key] not in ("", *values):
            raise InputError("is not one of the choices", field=key)
    return said


def shown(
    incoming: Incoming,
    options: Mapping[str, str],
    site: KnownSite,
    purpose: Purpose,
    *,
    lang: str,
) -> FileReading:
    """How a file is understood, read in a process of its own.

    Raises
    ------
    InputError
        It cannot be read without a guess.
    """
    report = read_in_worker(spec_of(incoming, options), site, purpose, incoming.name, lang=lang)
    return FileReading(tuple(report["lines"]), bool(report["plain"]))


@dataclass(frozen=True, slots=True)
class FileReading:
    """How a file was understood, in lines; `plain` where nothing in it left a doubt."""

    lines: tuple[str, ...]
    plain: bool


def _folder(site: KnownSite) -> Path:
    assert site.path is not None
    return site.path.parent / f"{site.slug}-incoming"
