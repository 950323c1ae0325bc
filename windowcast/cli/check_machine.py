"""What a look at this machine finds: cache folder, terminal, versions, and which extras load."""

from __future__ import annotations

import errno
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from windowcast.core.errors import WindowcastError
from windowcast.core.extras import EXTRAS
from windowcast.core.phrase import NOTHING, Name, Phrase, joined, names, say
from windowcast.core.version import __version__
from windowcast.report.terminal_width import screen_width

State = Literal["ok", "note", "wrong"]


@dataclass(frozen=True)
class Checked:
    """One thing that was looked at.

    Attributes
    ----------
    check
        What was looked at, as `--format json` names it.
    state
        ``"wrong"`` where it keeps answers from being made; a ``"note"`` does not.
    what, fix
        What was found, and what to do about it; an error says both.
    values
        The same for programs; nothing secret.
    """

    check: str
    state: State
    what: Phrase | WindowcastError
    fix: Phrase = NOTHING
    values: Mapping[str, Any] = field(default_factory=dict)


_LITTLE_ROOM_B = 50_000_000
_TRIED_B = 65_536
_NARROW = 60
_SHOWN = ("numpy", "pandas", "requests", "click", "starlette", "uvicorn")


def cache() -> Checked:
    """Where the weather is kept, whether it can be, and how much room there is."""
    from windowcast.sources.cache_file import FILE, folder

    place = folder()
    size = sum(_size(Path(f"{place / FILE}{suffix}")) for suffix in ("", "-wal"))
    free = None
    with suppress(OSError):
        free = shutil.disk_usage(_nearest(place)).free
    values = {"folder": str(place), "bytes": size, "free_bytes": free}
    where = Name(str(place))
    if problem := _write_problem(place):
        what = say("doctor.cache.not_writable", folder=where, problem=Name(problem))
        return Checked("cache", "wrong", what, say("doctor.cache.elsewhere"), values)
    if size and not _is_database(place / FILE):
        what = say("doctor.cache.damaged", folder=where)
        return Checked("cache", "note", what, say("doctor.cache.clear"), values)
    shown = {"size": Name(_megabytes(size)), "free": Name(_megabytes(free))}
    if free is not None and free < _LITTLE_ROOM_B:
        what = say("doctor.cache.little_room", folder=where, **shown)
        return Checked("cache", "note", what, say("doctor.cache.make_room"), values)
    return Checked("cache", "ok", say("doctor.cache.good", folder=where, **shown), values=values)


def _size(file: Path) -> int:
    try:
        return file.stat().st_size
    except OSError:
        return 0


def _nearest(place: Path) -> Path:
    """The folder itself, or the nearest above it that is there."""
    return next((p for p in (place, *place.absolute().parents) if p.exists()), Path.cwd())


def _write_problem(place: Path) -> str:
    """Why nothing can be kept in a folder; "" where it can. A folder that is missing stays so."""
    there = _nearest(place)
    if not there.is_dir():
        return os.strerror(errno.ENOTDIR)
    try:
        if there == place:
            with tempfile.TemporaryFile(dir=place) as tried:
                tried.write(bytes(_TRIED_B))
        else:
            with tempfile.TemporaryDirectory(dir=there):
                pass
    except OSError as error:
        return error.strerror or str(error)
    return ""


def _is_database(file: Path) -> bool:
    try:
        with file.open("rb") as opened:
            return opened.read(16) == b"SQLite format 3\0"
    except OSError:
        return False


def _megabytes(size: int | None) -> str:
    if size is None:
        return "?"
    return f"{size / 1e9:,.0f} GB" if size >= 1e10 else f"{size / 1e6:,.0f} MB"


def terminal() -> Checked:
    """Which marks the output can show, and how wide it is."""

    encoding = (getattr(sys.stdout, "encoding", "") or "ascii").lower()
    width = screen_width()
    values = {"encoding": encoding, "columns": width}
    if "utf" not in encoding:
        what = say("doctor.terminal.marks", encoding=Name(encoding))
        return Checked("terminal", "note", what, say("doctor.terminal.use_utf8"), values)
    if width is not None and width < _NARROW:
        what = say("doctor.terminal.narrow", columns=width)
        return Checked("terminal", "note", what, say("doctor.terminal.widen"), values)
    if width is None:
        return Checked("terminal", "ok", say("doctor.terminal.not_one"), values=values)
    return Checked("terminal", "ok", say("doctor.terminal.good", columns=width), values=values)


def versions() -> Iterator[Checked]:
    """What is installed, and what of it is missing or older than the program was tested with."""
    try:
        required = metadata.requires("windowcast") or []
    except metadata.PackageNotFoundError:
        required = []
    installed: dict[str, str | None] = {}
    bad = False
    for line in required:
        if (found := re.match(r"[\w.-]+", line)) is None:
            continue
        name, extra = found[0], "extra ==" in line
        have = _installed(name)
        if not extra:
            installed[name] = have
        if have is None and not extra:
            bad = True
            what = say("doctor.versions.missing", name=Name(name))
            yield Checked("versions", "wrong", what, say("doctor.versions.again"), {"name": name})
        elif have is not None and (least := _least(line)) and _numbers(have) < _numbers(least):
            bad = True
            what = say("doctor.versions.old", name=Name(name), have=Name(have), least=Name(least))
            fix = say("doctor.versions.renew", name=Name(name))
            yield Checked("versions", "note", what, fix, {"name": name, "version": have})
    python = platform.python_version()
    values = {"windowcast": __version__, "python": python, **installed}
    if not required:
        what = say("doctor.versions.not_installed", python=Name(python), version=Name(__version__))
        yield Checked("versions", "note", what, values=values)
    elif not bad:
        shown = names(*(f"{name} {installed.get(name)}" for name in _SHOWN), join="comma")
        what = say(
            "doctor.versions.good", version=Name(__version__), python=Name(python), parts=shown
        )
        yield Checked("versions", "ok", what, values=values)


def _installed(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def _least(requirement: str) -> str:
    """The lowest version that a requirement allows; "" where it names none."""
    found = re.search(r">=\s*([\d.]+)", requirement.partition(";")[0])
    return found[1] if found else ""


def _numbers(version: str) -> tuple[int, ...]:
    """The release of a version, for comparing: of ``2.1rc1`` its 2.1."""
    found = re.match(r"\d+(\.\d+)*", version)
    numbers = [int(part) for part in found[0].split(".")] if found else []
    while numbers and numbers[-1] == 0:
        numbers.pop()
    return tuple(numbers)


_TRY = """\
import importlib, json, sys
for name in sys.argv[1:]:
    print(json.dumps([name, None]), flush=True)
    try:
        importlib.import_module(name)
        said = ""
    except BaseException as error:
        said = f"{type(error).__name__}: {error}"
    print(json.dumps([name, said]), flush=True)
"""


def extras(until: float) -> Iterator[Checked]:
    """Each optional part that is damaged, then which are there and which are not.

    Parameters
    ----------
    until
        When loading must have ended [monotonic s]; what was not reached is said to be so.
    """
    modules = dict.fromkeys(module for some in EXTRAS.values() for module in some)
    there = [module for module in modules if find_spec(module) is not None]
    loaded = tried(there, until)
    whole, missing, late = [], [], []
    for extra, needed in EXTRAS.items():
        problems = {m: loaded[m] for m in needed if loaded.get(m)}
        if problems:
            why = joined(*(Name(f"{m}: {p}") for m, p in problems.items()), join="clauses")
            what = say("doctor.extras.damaged", extra=Name(extra), problem=why)
            fix = say("doctor.extras.again", extra=Name(extra))
            yield Checked("extras", "note", what, fix, {"extra": extra, "problems": problems})
        elif any(module not in there for module in needed):
            missing.append(extra)
        elif any(module not in loaded for module in needed):
            late.append(extra)
        else:
            whole.append(extra)
    values = {"loaded": whole, "not_installed": missing, "not_tried": late}
    if late:
        what = say("doctor.extras.late", extras=names(*late))
        yield Checked("extras", "note", what, values={"not_tried": late})
    if not missing:
        yield Checked("extras", "ok", say("doctor.extras.all", extras=names(*whole)), values=values)
        return
    lacking, together = names(*missing), Name(",".join(missing))
    what = (
        say("doctor.extras.some", extras=names(*whole), missing=lacking, together=together)
        if whole
        else say("doctor.extras.none", missing=lacking, together=together)
    )
    yield Checked("extras", "ok", what, values=values)


def tried(modules: Sequence[str], until: float) -> dict[str, str]:
    """What loading each module says: "" where it is loaded; those not reached in time are left out.

    A module that ends its process, as a compiled one for another processor does, is named too.
    """
    found: dict[str, str] = {}
    left = list(modules)
    while left and (seconds := until - time.monotonic()) > 0:
        command = [sys.executable, "-P", "-c", _TRY, *left]
        try:
            done = subprocess.run(
                command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=seconds,
                check=False,
            )  # fmt: skip
            said, code = done.stdout, done.returncode
        except subprocess.TimeoutExpired as error:
            said, code = error.stdout or b"", 0
            left = []
        begun = ""
        for line in said.decode("utf-8", "replace").splitlines():
            try:
                name, problem = json.loads(line)
            except ValueError:  # something that the module itself printed
                continue
            begun = name if problem is None else ""
            if problem is not None:
                found[name] = " ".join(str(problem).split())
        if begun and code:
            found[begun] = f"exit {code}"
        elif code and not found:
            break
        left = [module for module in left if module not in found]
    return found
