"""Made-up values of turf limits, so that a test can be read without the tables in data/."""

from __future__ import annotations

from typing import Any

from windowcast.core.values import Table, Value

MEMORY = "from memory"


def entry(value: Any, source: str = "a trial", status: str = "published") -> Value:
    """A value by itself."""
    return Value("made.up", value, "", source, status)


def _raw(value: Any, source: str, status: str = "published") -> dict[str, Any]:
    return {"value": value, "unit": "", "source": source, "status": status}


LIMITS = Table(
    "limits",
    {
        "overseed": {
            "stand_ends": _raw("07-01", "ends"),
            "sowing_ends": _raw("12-31", "sowing"),
            "transition_starts": _raw("02-01", "transition"),
        },
        "new_turf": {
            "root_pruner": _raw(112, "roots"),
            "full_growth": _raw(240, "growth"),
        },
        "winterkill": {
            "pre": {
                "none": _raw("yes", "whole"),
                "minimal": _raw("cannot tell", "little"),
                "severe": _raw("no", "much"),
            },
            "slows_growth": _raw("no", "slow"),
        },
        "thin": {
            "nonselective": _raw("cannot tell", "thin canopy"),
            "slows_growth": _raw("no", "thin and slow"),
            "root_pruner": _raw("no", "thin roots"),
        },
        "greening": {
            "post": _raw("no", "green-up, post"),
            "slows_growth": _raw("cannot tell", "green-up, slow"),
            "pre": {
                "hybrid_bermudagrass": _raw("yes", "green-up, bermuda"),
                "centipedegrass": _raw("cannot tell", "green-up, centipede"),
            },
        },
        "look": {"days": _raw(7, "look"), "always": {"zoysiagrass": _raw(True, "live straw")}},
        "usual": {
            "pre": {
                "turf": _raw("green", "usual pre"),
                "turf_of": _raw(["hybrid_bermudagrass"], "list"),
                "prunes_roots": _raw(True, "usual roots"),
                "seeding_d": _raw(112, "usual days"),
            },
            "post": {
                "turf": _raw("green", "usual post"),
                "turf_of": _raw(["hybrid_bermudagrass"], "list"),
            },
            "dormant": {
                "turf": _raw("dormant", "usual dormant"),
                "turf_of": _raw(["hybrid_bermudagrass"], "list"),
            },
        },
    },
)
TURF = Table(
    "turf",
    {
        "safety": {
            "harm_cap": _raw(0.05, "cap"),
            "look_from": _raw(0.1, "begun"),
            "margin": _raw(9, "margin"),
        }
    },
)
