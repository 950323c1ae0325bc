"""Which weeds are known by their EPPO code: the keys of ``data/weeds.toml``."""

from __future__ import annotations

from windowcast.core.values import load


def supported() -> tuple[str, ...]:
    """EPPO codes that have an emergence model."""
    return tuple(code for code in load("weeds") if code not in ("common", "unsupported", "check"))


def why_unsupported(code: str) -> str | None:
    """Why a known weed has no emergence model; None for one that has."""
    reason = load("weeds").table("unsupported").get(code)
    return None if reason is None else str(reason)
