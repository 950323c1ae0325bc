"""The real server under thousands of requests: what it keeps of them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

MOST_MB = 10.0  # in 5,000 requests: a server on a small machine runs for months


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
def test_five_thousand_requests_leave_little_in_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(Path(__file__).parents[1] / "benchmarks")
    import bench_web_memory

    found: dict[str, Any] = bench_web_memory.measured(5000)
    assert set(found["answers"]) == {"200", "404", "409"}, "no page fails"
    assert found["answers"]["200"] > 4500
    assert found["grown_mb"] < MOST_MB, found["rss_mb"]
