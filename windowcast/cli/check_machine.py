"""The cache's folder, the terminal, and the versions of what is installed."""

from __future__ import annotations

import errno
import os
import platform
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from importlib import metadata
from pathlib import Path

from windowcast.cli.checked import Checked
from windowcast.core.phrase import Name, names, say
from windowcast.core.version import __version__

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
    from windowcast.report.terminal_width import screen_width

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
