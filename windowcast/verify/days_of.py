"""Some days of a site's state, so that what is asked of them is asked of these alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from windowcast.season.model import SiteState


def days_of(state: SiteState, part: slice) -> SiteState:
    """The state on some of its days, everything in it that has a day axis cut alike."""
    cut: SiteState = _cut(state, len(state.dates), part)
    return cut


def _cut(value: Any, count: int, part: slice) -> Any:
    """Arrays whose last axis is the days, wherever they stand."""
    if isinstance(value, np.ndarray):
        return value[..., part] if value.ndim and value.shape[-1] == count else value
    if is_dataclass(value) and not isinstance(value, type):
        parts = {f.name: _cut(getattr(value, f.name), count, part) for f in fields(value)}
        return replace(value, **{n: p for n, p in parts.items() if p is not getattr(value, n)})
    if isinstance(value, Mapping):
        return {name: _cut(one, count, part) for name, one in value.items()}
    return value
