"""Dose and response as PNG, drawn by matplotlib (the ``trials`` extra)."""

from __future__ import annotations

from textwrap import wrap
from typing import Any

from windowcast.report.catalogue import Voice
from windowcast.report.dose_chart import dose_axis, dose_ends, dose_ticks, drawn_at
from windowcast.report.drawing_library import figure_class, png_of
from windowcast.report.trial_dose import DoseSaid, population_phrase
from windowcast.trials.dose_populations import DoseFindings
from windowcast.trials.dose_table import DoseTable

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
