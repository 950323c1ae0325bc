"""Which weeds are known by their EPPO code: the keys of ``data/weeds.toml``."""

from __future__ import annotations

from collections.abc import Mapping

from windowcast.core.values import load


def supported() -> tuple[str, ...]:
    """EPPO codes that have an emergence model."""
    return tuple(code for code in load("weeds") if code not in ("common", "unsupported", "check"))


def unsupported() -> Mapping[str, str]:
    """Known weeds without an emergence model, each with the id of the text that says why."""
    return load("weeds").table("unsupported")
