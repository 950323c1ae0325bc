"""Figures of trials as PNG, drawn by matplotlib (the ``trials`` extra), loaded for files alone."""

from __future__ import annotations

import io
import logging
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from windowcast.core.extras import require
from windowcast.report.catalogue import Voice
from windowcast.report.dose_chart import dose_axis, dose_ends, dose_ticks, drawn_at
from windowcast.report.trial_chart import span_of
from windowcast.report.trial_dose import DoseSaid, population_phrase
from windowcast.report.trial_results import Analysed, RoundSaid
from windowcast.trials.dose_populations import DoseFindings
from windowcast.trials.dose_table import DoseTable

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


_MPL = ("-", "--", ":", "-.")
_MPL_MARKS = ("o", "s", "^", "D")


def dose_png(said: DoseSaid, table: DoseTable, found: DoseFindings, voice: Voice) -> bytes:
    """The same as PNG, for papers and slides.

    Raises
    ------
    InputError
        matplotlib is not installed.
    """
    factor, axis = dose_axis(table, voice)
    least, most = (dose * factor for dose in dose_ends(found))
    figure = figure_class()(figsize=(6.0, 4.0), dpi=200, layout="constrained")
    axes = figure.add_subplot()
    axes.set_xscale("log")
    for n, one in enumerate(found.populations):
        doses = [dose * factor if dose > 0 else least / 2 for dose in one.doses]
        look: dict[str, Any] = {
            "marker": _MPL_MARKS[n % 4], "markerfacecolor": "white", "markeredgecolor": "#1e2a2c",
        }  # fmt: skip
        line = _MPL[n % 4] if one.curve is not None else ""
        axes.plot(doses, one.responses, linestyle="", **look)
        if one.curve is not None:
            across = drawn_at(one.curve)
            axes.plot(across * factor, one.curve.response(across), line, color="#0b5a6b", zorder=1)
        name = voice.write(population_phrase(one.name, table))
        axes.plot([], [], linestyle=line, color="#0b5a6b", label=name, **look)
    shown = dose_ticks(least, most)
    zero = any(0.0 in one.doses for one in found.populations)
    places, words = list(shown), [voice.number(dose, 4) for dose in shown]
    axes.set_xticks([least / 2] * zero + places, ["0"] * zero + words)
    axes.minorticks_off()
    axes.set_xlabel(axis)
    axes.set_ylabel("\n".join(wrap(said.response, 44)))
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False)
    return png_of(figure)


def means_png(result: Analysed, said: RoundSaid) -> bytes:
    """The same figure as PNG, for papers and slides.

    Raises
    ------
    InputError
        matplotlib is not installed.
    """
    found, analysis = result
    low, high = span_of(analysis.means, found.options.low, found.options.high)
    figure = figure_class()(
        figsize=(6.0, 1.0 + 0.36 * len(analysis.means)), dpi=200, layout="constrained"
    )
    axes = figure.add_subplot()
    for row, mean in enumerate(reversed(analysis.means)):
        style = ":" if mean.bound else "-"
        axes.plot([mean.low, mean.high], [row, row], color="#1e2a2c", linewidth=1, linestyle=style)
        axes.plot([mean.mean], [row], "o", color="#1e2a2c", markerfacecolor="white")
        axes.annotate(mean.letters, (1.01, row), xycoords=("axes fraction", "data"), va="center")
    names = [mean.treatment for mean in reversed(analysis.means)]
    axes.set_yticks(range(len(names)), names)
    axes.set_xlim(low, high)
    axes.set_xlabel(said.title)
    axes.spines[["top", "right"]].set_visible(False)
    return png_of(figure)
