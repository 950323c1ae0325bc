"""The figures of a trial as PNG, drawn by matplotlib (the ``trials`` extra)."""

from __future__ import annotations

from windowcast.report.drawing_library import figure_class, png_of
from windowcast.report.trial_figures import span_of
from windowcast.report.trial_results import Analysed, RoundSaid


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
