"""The errors a user can meet, each with the exit code the command line ends with.

One class per kind of failure. Every message is one line that says what is wrong, where, and
what to do about it; `windowcast.cli` prints it without a traceback.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from os import PathLike

    from windowcast.core.phrase import Phrase


DEBUG = "WINDOWCAST_DEBUG"  # in the environment: show where an unforeseen fault arose


def traces_asked() -> bool:
    """Whether the user asked for the traces of unforeseen faults (``windowcast --debug``)."""
    return bool(os.environ.get(DEBUG))


class WindowcastError(Exception):
    """Base of every error this package raises on purpose."""

    exit_code = 1


class InputError(WindowcastError):
    """Something the user gave cannot be used.

    Parameters
    ----------
    problem
        What is wrong, as a short clause without a final full stop.
    path, row, field
        Where: file, 1-based row of the file (header included), and column or key.
    remedy
        What to do, as an imperative clause.
    because
        What led to it, as phrases that a report words behind the message.
    """

    exit_code = 2

    def __init__(
        self,
        problem: str,
        *,
        path: str | PathLike[str] | None = None,
        row: int | None = None,
        field: str | None = None,
        remedy: str | None = None,
        because: tuple[Phrase, ...] = (),
    ) -> None:
        self.because = because
        self.problem, self.path, self.row, self.field, self.remedy = (
            problem,
            path,
            row,
            field,
            remedy,
        )
        where = [
            str(path) if path is not None else "",
            f"row {row}" if row is not None else "",
            field or "",
        ]
        text = ": ".join([*filter(None, where), problem])
        if remedy:
            text += f"; {remedy}"
        super().__init__(" ".join(text.split()))

    def at(
        self,
        *,
        path: str | PathLike[str] | None = None,
        row: int | None = None,
        field: str | None = None,
    ) -> InputError:
        """The same problem with its place, from a caller that knows it; None: as it was."""
        return InputError(
            self.problem,
            path=self.path if path is None else path,
            row=self.row if row is None else row,
            field=self.field if field is None else field,
            remedy=self.remedy,
            because=self.because,
        )


class SourceUnreachableError(WindowcastError):
    """A weather source did not answer and nothing usable is cached."""

    exit_code = 3


class Terminated(BaseException):
    """Another program asked this one to end (SIGTERM): not caught by what catches errors."""

    exit_code = 143  # as a shell writes the end by that signal


class DeliveryError(WindowcastError):
    """A message could not be delivered; it is tried again at the next look."""

    exit_code = 4
