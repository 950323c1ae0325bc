"""The plan of a trial: as a map in text, as a drawing, as a table, and as a page to print."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from html import escape
from itertools import groupby
from textwrap import shorten

from windowcast.core.phrase import Name, Phrase, names, say
from windowcast.core.quantity import parse
from windowcast.core.spreadsheet_cells import as_text
from windowcast.core.weed_codes import weed_name
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import el, label
from windowcast.trials.layout import PlannedPlot, TrialArm, arms_of, plan_of
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_file import RatedMeasure, TrialFile

_CELL, _NARROWEST, _LEFT = 72.0, 30.0, 64.0  # of the drawing [px]
COLUMNS = ("site", "plot", "block", "row", "column", "main_plot", "treatment_number", "treatment",
           "timing", "materials", "adjuvant")  # fmt: skip


def plan_lines(trial: TrialFile, plots: Sequence[PlannedPlot], voice: Voice) -> list[str]:
    """The map of every site with what each plot gets by number, and what the numbers stand for."""
    lines = [voice.say("trial_plan.title", trial=trial.name), ""]
    for site, inside in groupby(plots, key=lambda plot: plot.site):
        found = list(inside)
        lines += [site_head(site, found, voice), *map_lines(found, voice), ""]
    rows = treatment_rows(trial, voice)
    wide = max(len(row[1]) for row in rows)
    lines += [f"{number:>3}  {name:<{wide}}  {what}".rstrip() for number, name, what in rows]
    return [*lines, "", voice.say("trial_plan.seed", seed=trial.seed or 0)]


def site_head(site: str, plots: Sequence[PlannedPlot], voice: Voice) -> str:
    """``"North field: 24 plots in 4 blocks"``."""
    blocks = len({plot.block for plot in plots if plot.block})
    if not blocks:
        return voice.say("trial_plan.site_unblocked", site=site, plots=len(plots))
    return voice.say("trial_plan.site", site=site, plots=len(plots), blocks=blocks)


def map_lines(plots: Sequence[PlannedPlot], voice: Voice) -> list[str]:
    """One line of plot numbers and one of treatments for each row of the field."""
    head = max(len(voice.say("trial_plan.block", block=plot.block)) for plot in plots) + 2
    wide = max(len(plot.plot) for plot in plots) + 2
    across = max(plot.column for plot in plots)
    lines = []
    for (block, _), row in groupby(plots, key=lambda plot: (plot.block, plot.row)):
        at = {plot.column: plot for plot in row}
        cells = [at.get(column) for column in range(1, across + 1)]
        name = voice.say("trial_plan.block", block=block) if block else ""
        upper = "".join(f"{plot.plot if plot else '':>{wide}}" for plot in cells)
        lower = "".join(f"{plot.arm.number if plot else '':>{wide}}" for plot in cells)
        lines += [f"{name:<{head}}{upper}".rstrip(), f"{'':<{head}}{lower}".rstrip()]
    return lines


def treatment_rows(trial: TrialFile, voice: Voice) -> list[tuple[str, str, str]]:
    """Number, name and what is sprayed of every treatment."""
    return [(str(arm.number), arm.name, arm_text(arm, trial, voice)) for arm in arms_of(trial)]


def arm_text(arm: TrialArm, trial: TrialFile, voice: Voice) -> str:
    """What a treatment is: its kind of check, its mixture with rates, and when."""
    named = {timing.code: timing.name for timing in trial.timing}
    parts = [say(f"trial_plan.check.{arm.check.replace('-', '_')}")] if arm.check else []
    if arm.materials:
        parts.append(say("trial_plan.mixture", materials=names(*arm.materials, join="plus")))
    if arm.adjuvant:
        parts.append(say("trial_plan.with", adjuvant=Name(arm.adjuvant)))
    for code in arm.timing:
        if named[code]:
            parts.append(say("trial_plan.at_named", code=Name(code), name=Name(named[code])))
        else:
            parts.append(say("trial_plan.at", code=Name(code)))
    return ", ".join(map(voice.text, parts))


def measure_phrase(measure: str, weed: str) -> Phrase:
    """``weed control (%), annual bluegrass``."""
    return _of_weed(say(f"trial_measure.{_word(measure)}"), weed)


def asked_phrase(measure: RatedMeasure) -> Phrase:
    """The same as it is asked for on a plot: a count or weight per frame."""
    what = say(f"trial_measure.{_word(measure.what)}")
    if measure.frame:
        area = Name(re.sub(r"(?<=[a-z])2\b", "²", measure.frame))
        what = say("trial_import.per", what=what, area=area)
    return _of_weed(what, measure.weed or "")


def value_phrase(measure: str, weed: str) -> Phrase:
    """The same as its values are kept: counts and weights per m²."""
    what, known = say(f"trial_measure.{_word(measure)}"), MEASURES[measure]
    per_area = say(f"trial_plan.per_m2.{known.scale}", what=what) if known.per_area else what
    return _of_weed(per_area, weed)


def _of_weed(what: Phrase, weed: str) -> Phrase:
    return say("trial_plan.measure_of", measure=what, weed=weed_name(weed)) if weed else what


def _word(measure: str) -> str:
    """The id of a measure as part of a phrase's id."""
    return measure.replace(" ", "_").replace("%", "pct")


def plan_csv(plots: Sequence[PlannedPlot]) -> str:
    """A row for each plot, for a field tablet or a spreadsheet."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for plot in plots:
        arm = plot.arm
        cells = (
            plot.site, plot.plot, plot.block or "", plot.row, plot.column, plot.main, arm.number,
            arm.name, " ".join(arm.timing), "; ".join(arm.materials), arm.adjuvant,
        )  # fmt: skip
        writer.writerow([as_text(str(cell)) for cell in cells])
    return stream.getvalue()


def plan_svg(trial: TrialFile, plots: Sequence[PlannedPlot], voice: Voice) -> str:
    """The map of one site as a drawing: plots in their places, with number and treatment."""
    wide, high = _cell(trial)
    across, down = max(p.column for p in plots), max(p.row for p in plots)
    parts = []
    for plot in plots:
        x, y = _LEFT + (plot.column - 1) * wide, (plot.row - 1) * high + 1
        parts += [
            el(
                "rect",
                x=x,
                y=y,
                width=wide - 3,
                height=high - 3,
                class_="check" if plot.arm.check else "plot",
            ),
            label(x + wide / 2 - 1.5, y + high / 2 - 4, plot.plot, "plot-number", "middle"),
            label(x + wide / 2 - 1.5, y + high / 2 + 13, str(plot.arm.number), "lab", "middle"),
        ]
    for block, inside in groupby(plots, key=lambda plot: plot.block):
        first = next(inside)
        if block:
            y = (first.row - 1) * high + high / 2 + 4
            parts.append(label(0, y, voice.say("trial_plan.block", block=block), "lab"))
    title = site_head(plots[0].site, plots, voice)
    width, height = _LEFT + across * wide, down * high
    return el(
        "svg", el("title", escape(title)), *parts,
        class_="trial-map", viewBox=f"0 0 {width:g} {height:g}", role="img",
        width=f"{width:g}", height=f"{height:g}",
    )  # fmt: skip


def _cell(trial: TrialFile) -> tuple[float, float]:
    """Width and height of a plot in the drawing [px], in the shape of the real one."""
    if trial.plot_width is None or trial.plot_length is None:
        return _CELL, 0.75 * _CELL
    ratio = parse(trial.plot_length, "length") / parse(trial.plot_width, "length")
    return _CELL, min(max(_CELL * ratio, _NARROWEST + 14), 2 * _CELL)


def render_trial_plan(trial: TrialFile, voice: Voice) -> str:
    """The plan of every site as a self-contained page, a sheet of paper for each."""
    return _page(trial, voice, "trial_plan_page.html", {})


def render_sheets(trial: TrialFile, voice: Voice, *, blind: bool) -> str:
    """Rating sheets to print: a page for each site with its map and a row for each plot.

    `blind` leaves the treatments out, so that nobody rates what he expects.
    """
    heads = [head for measure in trial.measure for head in _sheet_heads(measure, voice)]
    return _page(trial, voice, "trial_sheet_page.html", {"heads": heads, "blind": blind})


def _sheet_heads(measure: RatedMeasure, voice: Voice) -> list[str]:
    name = voice.text(asked_phrase(measure))
    if measure.frames == 1:
        return [name]
    return [
        voice.say("trial_plan.frame", measure=name, frame=n) for n in range(1, measure.frames + 1)
    ]


def _page(trial: TrialFile, voice: Voice, template: str, more: dict[str, object]) -> str:
    from windowcast.report.page import page_of, style_sheet

    sites = []
    for site, inside in groupby(plan_of(trial), key=lambda plot: plot.site):
        plots = list(inside)
        head = site_head(site, plots, voice)
        sites.append({"head": head, "map": plan_svg(trial, plots, voice), "plots": plots})
    treatments = treatment_rows(trial, voice)
    return page_of(
        template, voice.on_page, trial=trial, sites=sites, treatments=treatments,
        short=lambda text: shorten(text, 40, placeholder="…"), style=style_sheet(), **more,
    )  # fmt: skip
