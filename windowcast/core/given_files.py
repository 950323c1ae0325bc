"""Files that a user names, read with a bound: a pipe or a device is refused, never waited for."""

from __future__ import annotations

import errno
import os
import stat
import tomllib
from os import PathLike
from pathlib import Path
from typing import Any

from windowcast.core.errors import InputError

MAX_TEXT_BYTES = 16 * 1024 * 1024
_SPECIAL = "is a pipe or a device, not a file"
_DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)),
}


def refuse_special(path: str | PathLike[str]) -> None:
    """InputError where a path leads to a pipe or a device, not where nothing is there."""
    try:
        mode = Path(path).stat().st_mode
    except (OSError, ValueError):
        return
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise InputError(_SPECIAL, path=path, remedy="name a file")


def file_state(path: str | PathLike[str]) -> tuple[int, int]:
    """Time of the last change and size, by which a change is noticed; zeros without the file."""
    try:
        found = Path(path).stat()
    except (OSError, ValueError):
        return 0, 0
    return found.st_mtime_ns, found.st_size


def read_regular(path: str | PathLike[str], limit: int) -> bytes:
    """The contents of a regular file, one byte more than `limit` [byte] where it is larger.

    Raises
    ------
    InputError
        A pipe or a device, which has no end of its own.
    OSError
        It cannot be read, or is a folder.
    """
    if Path(path).is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    # without O_NONBLOCK, opening a pipe waits for somebody to write into it
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        handle = os.open(path, flags)
    except ValueError:  # a name with a null character
        raise OSError(errno.EINVAL, os.strerror(errno.EINVAL), repr(path)) from None
    with os.fdopen(handle, "rb") as stream:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise InputError(_SPECIAL, path=path, remedy="save it as a file first")
        return stream.read(limit + 1)


def read_text(
    path: str | PathLike[str],
    limit: int = MAX_TEXT_BYTES,
    *,
    remedy: str = "name another file",
) -> str:
    """The text of a regular file of at most `limit` [byte], without a mark at its start.

    Raises
    ------
    InputError
        It cannot be read, is too large, a folder, a pipe or a device, or is not UTF-8.
    """
    try:
        content = read_regular(path, limit)
        if len(content) <= limit:
            return content.decode("utf-8-sig")
        problem = f"is too large (more than {limit:,} bytes)"
    except UnicodeDecodeError:
        problem = "is not text in UTF-8"
    except OSError as error:
        problem = f"cannot be read ({error.strerror or error})"
    raise InputError(problem, path=path, remedy=remedy)


def text_if_there(path: str | PathLike[str]) -> str | None:
    """As `read_text`; None where there is no such file."""
    try:
        Path(path).stat()
    except FileNotFoundError:
        return None
    except OSError:
        pass  # `read_text` says what is wrong
    return read_text(path)


def parsed_toml(text: str, path: str | PathLike[str] | None = None) -> dict[str, Any]:
    """The tables of a TOML text; InputError where it is none, or nested beyond sense."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        slash = "\\" in str(error)  # a path as Windows writes it
        remedy = "write a path with /, or between single quotes" if slash else "correct it"
        raise InputError(f"is not valid TOML: {error}", path=path, remedy=remedy) from None
    except RecursionError:
        raise InputError(
            "is nested too deep", path=path, remedy="write lists and tables as the examples do"
        ) from None
    except ValueError as error:  # a number of thousands of digits
        raise InputError(f"is not valid TOML: {error}", path=path, remedy="correct it") from None


def is_device(name: str) -> bool:
    """Whether Windows takes a file of this name, whatever its ending, for a device.

    Examples
    --------
    >>> is_device("con.toml"), is_device("contour.toml")
    (True, False)
    """
    return name.partition(".")[0].strip().lower() in _DEVICES
