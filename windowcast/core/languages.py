"""The languages people are spoken to in: those of ``windowcast/report/messages``."""

from __future__ import annotations

from typing import Literal, get_args

Language = Literal["en", "es"]
LANGUAGES: tuple[str, ...] = get_args(Language)
