"""Folders, and writing files so that a reader never sees half of one."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from windowcast.core.errors import InputError
from windowcast.core.given_files import refuse_special

_WAITS_S = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4)


def made_folder(path: str | os.PathLike[str]) -> Path:
    """A folder, made with those above it where it is not there.

    Raises
    ------
    InputError
        It cannot be made, or a file has its name.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"cannot be made a folder ({error.strerror or error})",
            path=folder,
            remedy="name a folder where you may write",
        ) from error
    return folder


@contextmanager
def atomic_path(path: str | os.PathLike[str], *, synced: bool = True) -> Iterator[Path]:
    """An empty file beside `path` under a temporary name; renamed into place at the end.

    `synced` makes sure that its content outlives a loss of power, which takes some milliseconds:
    too long for each of hundreds of files that can be made again.

    Raises
    ------
    InputError
        The folder does not exist or may not be written, or the disk is full. Nothing is left
        behind.
    """
    target = Path(path)
    temporary: Path | None = None
    try:
        if target.is_dir():
            raise InputError("is a folder", path=target, remedy="name a file")
        refuse_special(target)  # a rename would put a file in the place of the device
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        os.close(handle)
        temporary = Path(name)
        yield temporary
        if synced:
            with temporary.open("r+b") as written:
                os.fsync(written.fileno())
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
        put_in_place(temporary, target)
        temporary = None
    except OSError as error:
        if sys.platform == "win32" and isinstance(error, PermissionError) and target.is_file():
            raise InputError(
                "is open in another program",
                path=target,
                remedy="close it there, or name another file",
            ) from error
        raise InputError(
            f"cannot be written ({error.strerror or error})",
            path=target,
            remedy="choose a folder that exists, may be written to and has room",
        ) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def put_in_place(file: Path, target: Path) -> None:
    """Rename a file to another name, in the place of what is there.

    Windows refuses while another program has that open, as one that looks for viruses has for a
    moment: there it is tried again, for a second in all.
    """
    for wait_s in (*_WAITS_S, None) if sys.platform == "win32" else (None,):
        try:
            file.replace(target)
            return
        except PermissionError:
            if wait_s is None:
                raise
            time.sleep(wait_s)


@contextmanager
def atomic_file(path: str | os.PathLike[str], *, synced: bool = True) -> Iterator[BinaryIO]:
    """A file to write to, renamed into place at the end; raises as `atomic_path` does."""
    with atomic_path(path, synced=synced) as temporary, temporary.open("wb") as stream:
        yield stream


def put_if_first(made: Path, target: Path) -> None:
    """Give a finished file its name; what stands there already, from one that was first, stays.

    `made` lies in the same folder, and stays for the caller to remove.
    """
    try:
        os.link(made, target)
    except FileExistsError:
        pass
    except OSError:  # a file system without hard links
        made.replace(target)


@contextmanager
def alone(path: str | os.PathLike[str]) -> Iterator[None]:
    """Hold a lock beside a file: of programs that come at once one works and the others wait.

    The lock goes with the program that holds it, however that ends; its file ``<name>.lock`` stays.

    Raises
    ------
    InputError
        The folder cannot be written to, or the other program does not end (Windows: 10 s).
    """
    target = Path(path)
    lock = target.with_name(f".{target.name}.lock")
    try:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise InputError(
            f"cannot be locked ({error.strerror or error})",
            path=target,
            remedy="choose a folder that exists and may be written to",
        ) from error
    try:
        _lock(handle, target)
        yield
    finally:
        os.close(handle)


if sys.platform == "win32":

    def _lock(handle: int, target: Path) -> None:
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_LOCK, 1)
        except OSError as error:
            raise InputError(
                "is in use by another program", path=target, remedy="try again in a moment"
            ) from error

else:

    def _lock(handle: int, target: Path) -> None:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX)


def write_atomic(
    path: str | os.PathLike[str], content: str | bytes, *, synced: bool = True
) -> Path:
    """Write `content` in one go, see `atomic_file`; returns the path."""
    with atomic_file(path, synced=synced) as stream:
        stream.write(content.encode("utf-8") if isinstance(content, str) else content)
    return Path(path)
