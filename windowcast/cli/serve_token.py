"""The token that the page asks for: from a file that only its owner can read, or the environment.

It outlives a restart, so that bookmarks and subscribed calendars do. It is no word of a command
line, which every account of a machine can read.
"""

from __future__ import annotations

import os
import re
import secrets
import stat
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from windowcast.core.atomic_files import made_folder, put_if_first
from windowcast.core.errors import InputError
from windowcast.core.given_files import read_text
from windowcast.core.phrase import NOTHING, Name, Noted, Phrase, say

VARIABLE = "WINDOWCAST_TOKEN"
_RIGHT = re.compile(r"[A-Za-z0-9._~-]{16,200}")  # what an address carries as it is
_MOST_BYTES = 1000


@dataclass(frozen=True)
class ServeToken:
    """A token and where it is kept.

    Attributes
    ----------
    file
        None where it is in no file.
    remark
        What its owner should know.
    """

    text: str
    file: Path | None = None
    remark: Phrase = NOTHING


def own_token_file() -> Path:
    """Where the token lies unless another file is named."""
    import platformdirs

    return platformdirs.user_data_path("windowcast") / "serve-token"


def token_of(file: Path | None) -> ServeToken:
    """The token of a file, else of ``WINDOWCAST_TOKEN``, else of the own file.

    A file that is not there is made, with a new token. Where the own file cannot be, the token
    lasts until the server ends.

    Raises
    ------
    InputError
        The file cannot be read or made, or there is no token in it or in the variable.
    """
    if file is None and (given := os.environ.get(VARIABLE, "")):
        if not _RIGHT.fullmatch(given):
            raise InputError(
                "is no token", field=VARIABLE, remedy="use 16 or more letters and digits"
            )
        return ServeToken(given)
    if file is not None:
        return _kept(file)
    own = own_token_file()
    try:
        return _kept(own)
    except InputError as error:
        if own.exists():
            raise
        remark = say("serve.token_not_kept", problem=Noted(error.problem))
        return ServeToken(secrets.token_urlsafe(24), None, remark)


def _kept(file: Path) -> ServeToken:
    if not file.exists():
        _make(file)
    text = read_text(file, _MOST_BYTES).strip()
    if not _RIGHT.fullmatch(text):
        raise InputError(
            "has no token in it", path=file, remedy="use 16 or more letters and digits"
        )
    shared = sys.platform != "win32" and file.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)
    remark = say("serve.token_open", file=Name(str(file))) if shared else NOTHING
    return ServeToken(text, file, remark)


def _make(file: Path) -> None:
    """Put a new token into a file that only its owner can read; what is there meanwhile stays."""
    try:
        folder = made_folder(file.parent)
        handle, name = tempfile.mkstemp(dir=folder, prefix=f".{file.name}.")  # mode 0600
        made = Path(name)
        try:
            with os.fdopen(handle, "w") as stream:
                stream.write(f"{secrets.token_urlsafe(24)}\n")
                stream.flush()
                os.fsync(handle)
            put_if_first(made, file)
        finally:
            made.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            f"cannot be written ({error.strerror or error})",
            path=file,
            remedy="choose a folder that exists, may be written to and has room",
        ) from error
