"""Science values that a user gives in place of the packaged ones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.values import PACKAGED, Tables

ANSWERED_BY = (  # tables of data/ that an answer goes by
    "barrier", "criteria", "ensemble", "hourly", "limits", "plan", "purposes", "rotation", "soil",
    "turf", "weeds",
)  # fmt: skip


def tables_with(values: Mapping[str, Any]) -> Tables:
    """The packaged tables with some values others; a path or kind that does not fit is refused."""
    for path, value in values.items():
        name, _, inside = path.partition(".")
        try:
            if name not in ANSWERED_BY:
                raise KeyError(name)
            usual = PACKAGED[name].value(inside).value
        except KeyError:
            raise InputError(
                f"{path} is no science value of an answer", field="values",
                remedy=f"take a path from `explain`, in {', '.join(ANSWERED_BY)}",
            ) from None  # fmt: skip
        if not _alike(value, usual):
            raise InputError(
                f"{path} cannot be {value!r}", field="values",
                remedy=f"give one of the kind of {usual!r}",
            )  # fmt: skip
    return PACKAGED.varied(values) if values else PACKAGED


def _alike(value: Any, usual: Any) -> bool:
    """Whether a value is of the kind of the packaged one: a finite number, text, or a list."""
    if isinstance(usual, list):
        same = isinstance(value, list) and len(value) == len(usual)
        return same and all(map(_alike, value, usual))
    if isinstance(usual, bool | str):
        return type(value) is type(usual)
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
