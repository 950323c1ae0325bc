"""How long the tests that make their own input look: short and the same each time, long by hand.

    WINDOWCAST_FUZZ=100 pytest -n0 -m "slow or not slow" tests/test_fuzz.py tests/test_web_fuzz.py

makes 100 times as many cases, new ones each time.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

LONG = int(os.environ.get("WINDOWCAST_FUZZ", "1"))


def cases(count: int) -> settings:
    """Settings of a test with so many cases, or `LONG` times as many by hand."""
    return settings(
        max_examples=count * LONG,
        deadline=None,
        derandomize=LONG == 1,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
