"""The review in words, for the terminal, in the site's units."""

from __future__ import annotations

from windowcast.core.units import Display, System
from windowcast.records.review import Review, ReviewedApplication
from windowcast.records.trials import TrialResult
from windowcast.report.catalogue import render
from windowcast.report.log_entries import fact_text


def review_lines(review: Review, display: Display) -> list[str]:
    """The whole review, a line each."""
    units = display.system
    lines = [f"Review of {review.site}", ""]
    for item in review.applications:
        lines += [*application_lines(item, units), ""]
    if review.groups:
        lines.append("Groups used (WSSA/HRAC)")
        for purpose, seasons in review.groups.items():
            used = "; ".join(f"{s}: {', '.join(map(str, g))}" for s, g in seasons.items())
            lines.append(f"  {purpose}: {used}")
        for flag in review.rotation:
            lines.append(f"  {flag.level}: {render(flag.reason, units)}")
            if flag.alternatives:
                others = ", ".join(render(other, units) for other in flag.alternatives)
                lines.append(f"    in stock instead: {others}")
        lines.append("")
    for suspected in review.suspicions:
        where = f", {suspected.where}" if suspected.where else ""
        reason = render(suspected.suspicion.reason, units)
        lines.append(f"Survivors noted {suspected.date}{where}: {reason}")
        lines += [f"  - {render(step, units)}" for step in suspected.suspicion.steps]
    for result in review.trials:
        lines += [*trial_lines(result), ""]
    if review.relations:
        lines.append("Timing as an explanation of control")
        lines += [f"  {render(relation.text, units)}" for relation in review.relations]
    return lines + [f"Note: {render(note, units)}." for note in review.notes]


def application_lines(item: ReviewedApplication, units: System) -> list[str]:
    """One application: facts, score, what limited it, what was missed."""
    a = item.application
    place = f", {a.where}" if a.where else ""
    lines = [f"{a.date} {a.start:%H:%M}  {' + '.join(a.actives)}{place}  ({item.id[:8]})"]
    scored = item.scored
    if scored is not None:
        score = (
            f"score {scored.score:.0f} of 100, {scored.verdict}"
            if scored.score is not None
            else f"cannot be scored in full; {scored.compared_score:.0f} of 100 on what is known"
        )
        grade = render(scored.grade, units)
        lines.append(f"  As a window for {scored.purpose}: {score} (weather {grade})")
        if item.held_down_by:
            lines.append(f"  Held down most by {render(item.held_down_by, units)}")
        lines += [f"  Against it: {render(fault, units)}" for fault in item.other_faults]
    lines += [f"  {fact_text(fact, units)}" for fact in item.facts]
    if item.missed:
        lines.append(f"  {render(item.missed, units)}")
    return [*lines, *(f"  Note: {render(note, units)}." for note in item.notes)]


def trial_lines(result: TrialResult) -> list[str]:
    """One measure of a trial: control, adjusted means with letters, what to mind."""
    weed = f", {result.weed}" if result.weed else ""
    lines = [f"Trial {result.trial}, {result.measure}{weed}, {result.date}"]
    for name, control in result.controls.items():
        lines.append(f"  {name}: control {render(control.text)} [{control.method}]")
    if result.analysis is not None:
        analysis = result.analysis
        model = render(analysis.model)
        lines.append(f"  Means ({model}; {analysis.residual_df:.0f} df); treatments that")
        lines.append("  share a letter do not differ at 5 % (Tukey):")
        lines += [
            f"    {m.treatment}: {m.mean:.3g} ({m.low:.3g} to {m.high:.3g}), {m.plots} plots,"
            f" {m.letters}"
            for m in sorted(analysis.means, key=lambda m: m.mean)
        ]
        lines += [f"  Mind: {render(text)}." for text in analysis.warnings]
    return [*lines, *(f"  Note: {render(note)}." for note in result.notes)]
