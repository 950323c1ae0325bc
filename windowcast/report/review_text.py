"""The review in words, for the terminal; quantities in the site's units."""

from __future__ import annotations

from windowcast.core.units import Display
from windowcast.records.review import Review, ReviewedApplication
from windowcast.records.trials import TrialResult
from windowcast.report.wording import in_units, text


def review_lines(review: Review, display: Display) -> list[str]:
    """The whole review, a line each."""
    lines = [f"Review of {review.site}", ""]
    for item in review.applications:
        lines += [*application_lines(item, display), ""]
    if review.groups:
        lines.append("Groups used (WSSA/HRAC)")
        for purpose, seasons in review.groups.items():
            used = "; ".join(f"{s}: {', '.join(map(str, g))}" for s, g in seasons.items())
            lines.append(f"  {purpose}: {used}")
        for flag in review.rotation:
            lines.append(f"  {flag.level}: {flag.reason}")
            if flag.alternatives:
                lines.append(f"    in stock instead: {', '.join(flag.alternatives)}")
        lines.append("")
    for suspected in review.suspicions:
        where = f", {suspected.where}" if suspected.where else ""
        reason = text(suspected.suspicion.reason, display)
        lines.append(f"Survivors noted {suspected.date}{where}: {reason}")
        lines += [f"  - {step}" for step in suspected.suspicion.steps]
    for result in review.trials:
        lines += [*trial_lines(result), ""]
    if review.relations:
        lines.append("Timing as an explanation of control")
        lines += [f"  {relation.text}" for relation in review.relations]
    lines += [f"Note: {note}." for note in review.notes]
    return [in_units(line, display) for line in lines]


def application_lines(item: ReviewedApplication, display: Display) -> list[str]:
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
        weather = text(scored.grade, display)
        lines.append(f"  As a window for {scored.purpose}: {score} (weather {weather})")
        if item.held_down_by:
            lines.append(f"  Held down most by {text(item.held_down_by, display)}")
        lines += [f"  Against it: {text(fault, display)}" for fault in item.other_faults]
    lines += [f"  {fact.label}: {fact.text} [{fact.source}]" for fact in item.facts]
    if item.missed:
        lines.append(f"  {text(item.missed, display)}")
    return [*lines, *(f"  Note: {note}." for note in item.notes)]


def trial_lines(result: TrialResult) -> list[str]:
    """One measure of a trial: control, adjusted means with letters, what to mind."""
    weed = f", {result.weed}" if result.weed else ""
    lines = [f"Trial {result.trial}, {result.measure}{weed}, {result.date}"]
    lines += [f"  {name}: control {c.text} [{c.method}]" for name, c in result.controls.items()]
    if result.analysis is not None:
        analysis = result.analysis
        lines.append(f"  Means ({analysis.model}; {analysis.residual_df:.0f} df); treatments that")
        lines.append("  share a letter do not differ at 5 % (Tukey):")
        lines += [
            f"    {m.treatment}: {m.mean:.3g} ({m.low:.3g} to {m.high:.3g}), {m.plots} plots,"
            f" {m.letters}"
            for m in sorted(analysis.means, key=lambda m: m.mean)
        ]
        lines += [f"  Mind: {text}." for text in analysis.warnings]
    return [*lines, *(f"  Note: {note}." for note in result.notes)]
