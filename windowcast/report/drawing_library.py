"""The library that draws figures as PNG (the ``trials`` extra), loaded for files alone."""

from __future__ import annotations

import io
import logging
from typing import TYPE_CHECKING

from windowcast.core.extras import require

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def figure_class() -> type[Figure]:
    """The class of its figures.

    Raises
    ------
    InputError
        matplotlib is not installed.
    """
    # else it reports a home without room for its settings, and goes on all the same
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    require("figures as PNG", "trials", "matplotlib")
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib.figure import Figure

    return Figure


def png_of(figure: Figure) -> bytes:
    """A figure as PNG that tells nothing of the program."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": None})
    return stream.getvalue()
