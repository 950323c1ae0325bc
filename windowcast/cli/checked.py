"""What a look at one thing of the machine found: one line for people, and values for programs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from windowcast.core.errors import WindowcastError
from windowcast.core.phrase import NOTHING, Phrase

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
