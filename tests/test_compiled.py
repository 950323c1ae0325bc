"""Compiling with Numba where it cannot keep what it compiled."""

from __future__ import annotations

from typing import Any

import numpy as np

from windowcast.core.compiled import compiled

SOURCE = "def ratio(a, b):\n    return a / b\n"


def test_without_a_folder_for_its_code_a_function_is_compiled_all_the_same() -> None:
    made: dict[str, Any] = {}
    exec(SOURCE, made)  # of no file, so that there is no folder beside it
    ratio = compiled()(made["ratio"])
    assert ratio(1.0, 4.0) == 0.25
    assert ratio(1.0, 0.0) == np.inf  # as NumPy divides
    assert ratio.stats.cache_path is None
