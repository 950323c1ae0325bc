"""The review in words, for the terminal, in the site's units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from windowcast.core.phrase import Name, Phrase, Share, Value, say
from windowcast.core.units import Display, System
from windowcast.records.causes import Cause
from windowcast.records.review import Review
from windowcast.records.reviewed import ReviewedApplication
from windowcast.records.trials import TrialResult
from windowcast.records.verdict import Verdict
from windowcast.records.what_worked import TrackRecord
from windowcast.report import wording
from windowcast.report.catalogue import render, written
from windowcast.report.log_entries import fact_text
from windowcast.windows.purposes import purpose_of


def review_lines(review: Review, display: Display) -> list[str]:
    """The whole review, a line each: verdicts, what worked, then what they rest on."""
    units = display.system
    lines = [render(say("review_of.head", site=Name(review.site))), ""]
    brief = []
    for item in review.applications:
        if looked_into(item):
            lines += [*application_lines(item, units), ""]
        elif item.verdict is not None:
            brief.append(f"  {render(item.verdict.sentence, units)}")
    if brief:
        lines += [render(say("verdict.other_seasons")), *brief, ""]
    if review.worked:
        lines += [*worked_lines(review, units), ""]
    if review.groups:
        lines.append(render(say("review_of.groups")))
        for purpose, seasons in review.groups.items():
            used = "; ".join(f"{s}: {', '.join(map(str, g))}" for s, g in seasons.items())
            lines.append(f"  {purpose}: {used}")
        for flag in review.rotation:
            lines.append(f"  {flag.level}: {render(flag.reason, units)}")
            if flag.alternatives:
                others = ", ".join(render(other, units) for other in flag.alternatives)
                lines.append("    " + render(say("review_of.instead", others=Name(others))))
        lines.append("")
    for suspected in review.suspicions:
        where = f", {suspected.where}" if suspected.where else ""
        reason = render(suspected.suspicion.reason, units)
        head = say(
            "review_of.survivors", day=suspected.date, where=Name(where), reason=Name(reason)
        )
        lines.append(render(head))
        lines += [f"  - {render(step, units)}" for step in suspected.suspicion.steps]
    for result in review.trials:
        lines += [*trial_lines(result), ""]
    if review.relations:
        lines.append(render(say("review_of.timing")))
        lines += [f"  {render(relation.text, units)}" for relation in review.relations]
    return lines + [_note("note", note, units) for note in review.notes]


def looked_into(item: ReviewedApplication) -> bool:
    """Whether more than its outcome is told."""
    return bool(item.facts or item.notes or item.scored or item.verdict is None)


def verdict_lines(verdict: Verdict, units: System) -> list[str]:
    """A verdict, what was seen, each cause with its evidence, and what to do."""
    lines = [render(verdict.sentence, units)]
    lines += [f"  {render(say('verdict.line.seen', what=p), units)}" for p in verdict.seen]
    lines += [f"  {render(say('verdict.line.harm', what=p), units)}" for p in verdict.harm]
    for cause in verdict.causes:
        said = "; ".join(render(p, units) for p in evidence_in_order(cause))
        lines.append(f"  {label_text(cause)}: {strength_text(cause)} – {said}")
    return lines + [
        f"  {render(say('verdict.line.next', what=step), units)}" for step in verdict.next_steps
    ]


def evidence_in_order(cause: Cause) -> tuple[Phrase, ...]:
    """What speaks for a cause, against it, and what is not known."""
    return (*cause.speaks_for, *cause.speaks_against, *cause.unknown)


def label_text(cause: Cause) -> str:
    """A cause's name at the start of a line."""
    return written(cause.label, form="cap")


def strength_text(cause: Cause) -> str:
    """How likely a cause is, in a word."""
    return render(say(f"verdict.strength.{cause.strength.replace(' ', '_')}"))


def worked_lines(review: Review, units: System) -> list[str]:
    """What worked on this ground: a table in columns."""
    heads, rows = worked_table(review.worked, units)
    widths = [max(len(row[n]) for row in (heads, *rows)) for n in range(len(heads))]
    lines = [render(say("verdict.page.worked"))]
    for row in (heads, *rows):
        lines.append(
            "  " + "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip()
        )
    return lines


def worked_table(
    records: Sequence[TrackRecord], units: System
) -> tuple[list[str], list[list[str]]]:
    """Heads and cells of the table of what worked."""
    heads = [
        render(say(f"verdict.column.{name}"))
        for name in ("where", "purpose", "actives", "times", "worked", "partly", "failed",
                     "unknown", "timing")
    ]  # fmt: skip
    rows = []
    for r in records:
        timing = say("verdict.days", first=r.earliest, last=r.latest)
        if (r.earliest.month, r.earliest.day) == (r.latest.month, r.latest.day):
            timing = say("verdict.one_day", day=r.earliest)
        if not math.isnan(r.up):
            timing = say("verdict.days_up", days=timing, share=Share(r.up))
        purpose = say(f"verdict.what.{r.purpose or 'application'}")
        where: Value = Name(r.where) if r.where else say("verdict.whole_site")
        rows.append(
            [
                written(where), written(purpose, units, "en", "cap"), r.actives,
                *map(str, (r.applications, r.worked, r.partly, r.failed, r.unknown)),
                render(timing, units),
            ]
        )  # fmt: skip
    return heads, rows


def application_lines(item: ReviewedApplication, units: System) -> list[str]:
    """One application: its verdict, then facts, score, what limited it, what was missed."""
    a = item.application
    place = f", {a.where}" if a.where else ""
    lines = [] if item.verdict is None else verdict_lines(item.verdict, units)
    lines.append(f"{a.date} {a.start:%H:%M}  {' + '.join(a.actives)}{place}  ({item.id[:8]})")
    scored = item.scored
    if scored is not None:
        purpose = say("purpose.within", title=purpose_of(scored.purpose).title)
        points = Name(f"{scored.compared_score if scored.score is None else scored.score:.0f}")
        said = say("review_of.partly_scored", purpose=purpose, score=points)
        if scored.score is not None:
            verdict = wording.verdict(scored.verdict)
            said = say("review_of.scored", purpose=purpose, score=points, verdict=verdict)
        grade = render(say("review_of.weather", grade=scored.grade), units)
        lines.append(f"  {render(said)} ({grade})")
        if item.held_down_by:
            lines.append("  " + render(say("review_of.held_back", fault=item.held_down_by), units))
        lines += ["  " + _note("against", fault, units) for fault in item.other_faults]
    lines += [f"  {fact_text(fact, units)}" for fact in item.facts]
    if item.missed:
        lines.append(f"  {render(item.missed, units)}")
    return [*lines, *("  " + _note("note", note, units) for note in item.notes)]


def _note(kind: str, said: Phrase, units: System = "metric") -> str:
    """``Note: the weather record does not include this date.``"""
    return render(say(f"review_note.{kind}", said=said), units)


def trial_lines(result: TrialResult) -> list[str]:
    """One measure of a trial: control, adjusted means with letters, what to mind."""
    weed = f", {result.weed}" if result.weed else ""
    head = Name(f"{result.trial}, {result.measure}{weed}, {result.date}")
    lines = [render(say("review_of.trial", trial=head))]
    for name, control in result.controls.items():
        said = say("review_of.control", treatment=Name(name), control=control.text)
        lines.append(f"  {render(said)} [{control.method}]")
    if result.analysis is not None:
        analysis = result.analysis
        model = render(analysis.model)
        df = round(analysis.residual_df)
        lines.append("  " + render(say("review_of.means", model=Name(model), df=df)))
        lines += [
            f"    {m.treatment}: {m.mean:.3g} ({m.low:.3g} to {m.high:.3g}), {m.plots} plots,"
            f" {m.letters}"
            for m in sorted(analysis.means, key=lambda m: m.mean)
        ]
        lines += ["  " + _note("mind", text) for text in analysis.warnings]
    return [*lines, *("  " + _note("note", note) for note in result.notes)]
