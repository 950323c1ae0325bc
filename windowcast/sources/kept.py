"""What the cache holds and how old it is, in words."""

from __future__ import annotations

from windowcast.sources.cache import Cache


def kept_text(cache: Cache, now: float) -> str:
    """What the cache holds and how old it is, in a clause."""
    parts = [
        f"{h.source} ({h.entries} answers, the newest {age_text(now - h.newest)} old)"
        for h in cache.holdings()
    ]
    return f"kept: {', '.join(parts)}" if parts else "nothing is kept"


def age_text(seconds: float) -> str:
    """An age in words: ``"40 min"``, ``"5 h"``, ``"12 days"``."""
    minutes = max(seconds, 0.0) / 60
    if minutes < 90:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 48 * 60 else f"{minutes / 1440:.0f} days"
