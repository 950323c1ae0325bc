"""Functions compiled with Numba, for thousands of stations; needs the ``region`` extra.

A single site never comes here: it would wait longer for Numba than for its answer.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from numba import njit


def compiled(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Decorator that compiles a function with arithmetic as NumPy does it.

    Machine code is kept on disk beside the source or in Numba's own folder, and is made anew in
    each process only where neither can be written to.

    Parameters
    ----------
    options
        Further options of `numba.njit`.
    """
    options = {"error_model": "numpy", "nogil": True, **options}

    def decorate(function: Callable[..., Any]) -> Any:
        try:
            return njit(**options, cache=True)(function)
        except RuntimeError:  # no folder to keep it in
            return njit(**options)(function)

    return decorate
