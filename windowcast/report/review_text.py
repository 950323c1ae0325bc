"""The review in words, in the site's units: for the terminal, and as a page with its charts."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import Name, Phrase, Share, Value, names, say
from windowcast.records.causes import Cause
from windowcast.records.resistance import AreaResistance
from windowcast.records.review import LATEST, Review
from windowcast.records.reviewed import ReviewedApplication
from windowcast.records.trials import TrialResult
from windowcast.records.verdict import Verdict
from windowcast.records.what_worked import TrackRecord
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart
from windowcast.report.log_entries import fact_text
from windowcast.report.page import page_of, style_sheet
from windowcast.report.trial_chart import control_chart, relation_chart
from windowcast.report.trial_results import timings_said
from windowcast.windows.purposes import purpose_of


def review_lines(review: Review, voice: Voice) -> list[str]:
    """The whole review, a line each: verdicts, what worked, then what they rest on."""
    lines = [voice.say("review_of.head", site=Name(review.site)), ""]
    brief = []
    for item in review.applications:
        if looked_into(item):
            lines += [*application_lines(item, voice), ""]
        elif item.verdict is not None:
            brief.append(f"  {voice.text(item.verdict.sentence)}")
    if brief:
        lines += [voice.say("verdict.other_seasons"), *brief, ""]
    if review.worked:
        lines += [*worked_lines(review, voice), ""]
    if review.groups:
        lines.append(voice.say("review_of.groups"))
        for purpose, seasons in review.groups.items():
            used = "; ".join(f"{s}: {', '.join(map(str, g))}" for s, g in seasons.items())
            lines.append(f"  {purpose}: {used}")
        for flag in review.rotation:
            lines.append(f"  {flag.level}: {voice.text(flag.reason)}")
            if flag.alternatives:
                others = ", ".join(voice.text(other) for other in flag.alternatives)
                lines.append("    " + voice.say("review_of.instead", others=Name(others)))
        lines.append("")
    for suspected in review.suspicions:
        where = f", {suspected.where}" if suspected.where else ""
        reason = voice.text(suspected.suspicion.reason)
        head = say(
            "review_of.survivors", day=suspected.date, where=Name(where), reason=Name(reason)
        )
        lines.append(voice.text(head))
        lines += [f"  - {voice.text(step)}" for step in suspected.suspicion.steps]
    for known in review.resistance:
        lines += [*resistance_lines(known, voice), ""]
    for result in review.trials:
        lines += [*trial_lines(result, voice), ""]
    if review.relations:
        lines.append(voice.say("review_of.timing"))
        lines += [f"  {voice.text(relation.text)}" for relation in review.relations]
    return lines + [_note("note", note, voice) for note in review.notes]


def resistance_lines(known: AreaResistance, voice: Voice) -> list[str]:
    """What is known of resistance on a piece of ground, under its head."""
    head = say("resistance.head")
    if known.areas:
        head = say("resistance.head_of", areas=names(*known.areas))
    return [voice.text(head), *(f"  {voice.text(said)}" for said in known.said)]


def looked_into(item: ReviewedApplication) -> bool:
    """Whether more than its outcome is told."""
    return bool(item.facts or item.notes or item.scored or item.verdict is None)


def verdict_lines(verdict: Verdict, voice: Voice) -> list[str]:
    """A verdict, what was seen, each cause with its evidence, and what to do."""
    lines = [voice.text(verdict.sentence)]
    lines += [f"  {voice.say('verdict.line.seen', what=p)}" for p in verdict.seen]
    lines += [f"  {voice.say('verdict.line.harm', what=p)}" for p in verdict.harm]
    for cause in verdict.causes:
        said = "; ".join(voice.text(p) for p in evidence_in_order(cause))
        lines.append(f"  {label_text(cause, voice)}: {strength_text(cause, voice)} – {said}")
    return lines + [f"  {voice.say('verdict.line.next', what=step)}" for step in verdict.next_steps]


def evidence_in_order(cause: Cause) -> tuple[Phrase, ...]:
    """What speaks for a cause, against it, and what is not known."""
    return (*cause.speaks_for, *cause.speaks_against, *cause.unknown)


def label_text(cause: Cause, voice: Voice) -> str:
    """A cause's name at the start of a line."""
    return voice.write(cause.label, "cap")


def strength_text(cause: Cause, voice: Voice) -> str:
    """How likely a cause is, in a word."""
    return voice.say(f"verdict.strength.{cause.strength.replace(' ', '_')}")


def worked_lines(review: Review, voice: Voice) -> list[str]:
    """What worked on this ground, a line for each way: a table would be wider than a screen."""
    heads, rows = worked_table(review.worked, voice)
    return [voice.say("verdict.page.worked"), *(_in_a_line(heads, row) for row in rows)]


def _in_a_line(heads: Sequence[str], row: Sequence[str]) -> str:
    """A row of the table, of its counts only those that are not zero."""
    counts = [
        f"{head.lower()} {count}"
        for head, count in zip(heads[3:-1], row[3:-1], strict=True)
        if count != "0"
    ]
    about, applied = ", ".join(filter(None, row[:3])), f"{heads[-1].lower()} {row[-1]}"
    return f"  {about}: {', '.join(counts)}; {applied}"


def worked_table(records: Sequence[TrackRecord], voice: Voice) -> tuple[list[str], list[list[str]]]:
    """Heads and cells of the table of what worked."""
    heads = [
        voice.say(f"verdict.column.{name}")
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
                voice.write(where), voice.write(purpose, "cap"), r.actives,
                *map(str, (r.applications, r.worked, r.partly, r.failed, r.unknown)),
                voice.text(timing),
            ]
        )  # fmt: skip
    return heads, rows


def application_lines(item: ReviewedApplication, voice: Voice) -> list[str]:
    """One application: its verdict, then facts, score, what limited it, what was missed."""
    a = item.application
    place = f", {a.where}" if a.where else ""
    lines = [] if item.verdict is None else verdict_lines(item.verdict, voice)
    lines.append(f"{a.date} {a.start:%H:%M}  {' + '.join(a.actives)}{place}  ({item.id[:8]})")
    scored = item.scored
    if scored is not None:
        purpose = say("purpose.within", title=purpose_of(scored.purpose).title)
        points = Name(f"{scored.compared_score if scored.score is None else scored.score:.0f}")
        said = say("review_of.partly_scored", purpose=purpose, score=points)
        if scored.score is not None:
            verdict = wording.verdict(scored.verdict)
            said = say("review_of.scored", purpose=purpose, score=points, verdict=verdict)
        grade = voice.say("review_of.weather", grade=scored.grade)
        lines.append(f"  {voice.text(said)} ({grade})")
        if item.held_down_by:
            lines.append("  " + voice.say("review_of.held_back", fault=item.held_down_by))
        lines += ["  " + _note("against", fault, voice) for fault in item.other_faults]
    lines += [f"  {fact_text(fact, voice)}" for fact in item.facts]
    if item.missed:
        lines.append(f"  {voice.text(item.missed)}")
    return [*lines, *("  " + _note("note", note, voice) for note in item.notes)]


def _note(kind: str, said: Phrase, voice: Voice) -> str:
    """``Note: the weather record does not include this date.``"""
    return voice.say(f"review_note.{kind}", said=said)


def timing_lines(result: TrialResult, voice: Voice) -> list[str]:
    """How treatments of a trial compare that differ in their timing alone."""
    if result.analysis is None:
        return []
    said = timings_said(result.timings, result.analysis, voice)
    return [voice.write(text, "sentence") for text in said]


def trial_lines(result: TrialResult, voice: Voice) -> list[str]:
    """One measure of a trial: control, adjusted means with letters, what to mind."""
    weed = f", {result.weed}" if result.weed else ""
    head = Name(f"{result.trial}, {result.measure}{weed}, {result.date}")
    lines = [voice.say("review_of.trial", trial=head)]
    for name, control in result.controls.items():
        said = say("review_of.control", treatment=Name(name), control=control.text)
        lines.append(f"  {voice.text(said)} [{control.method}]")
    if result.analysis is not None:
        analysis = result.analysis
        model = voice.text(analysis.model)
        df = round(analysis.error_df) if math.isfinite(analysis.error_df) else 0
        lines.append("  " + voice.say("review_of.means", model=Name(model), df=df))
        for m in sorted(analysis.means, key=lambda m: m.mean):
            shares = {"mean": f"{m.mean:.3g}", "low": f"{m.low:.3g}", "high": f"{m.high:.3g}"}
            of = {"treatment": m.treatment, "letters": m.letters}
            lines.append("    " + voice.say("review_of.mean", plots=m.plots, **of, **shares))
        lines += [f"  {text}" for text in timing_lines(result, voice)]
        lines += ["  " + _note("mind", text, voice) for text in analysis.notes]
    return [*lines, *("  " + _note("note", note, voice) for note in result.notes)]


@dataclass(frozen=True)
class ReviewView:
    """What the review's template shows."""

    review: Review
    charts: tuple[Chart, ...]
    heads: list[str]
    rows: list[list[str]]
    timings: tuple[tuple[str, ...], ...] = ()  # of each trial, what only differs in timing

    looked_into = staticmethod(looked_into)
    evidence = staticmethod(evidence_in_order)
    label = staticmethod(label_text)
    strength = staticmethod(strength_text)


class ReviewBook:
    """The reviews of a site, a season at a time: each is made once, when it is asked for."""

    def __init__(self, make: Callable[[str, Voice], ReviewView]) -> None:
        self._make = make
        self._made: dict[tuple[str, Voice], ReviewView] = {}
        self._bodies: dict[tuple[str, Voice], str] = {}
        self._lock = threading.Lock()

    def of(self, season: str, voice: Voice) -> ReviewView:
        """The review that looks into a season, the latest for "" or a season that is not there."""
        with self._lock:
            latest = self._kept(LATEST, voice)
            if season == latest.review.season or season not in latest.review.seasons:
                return latest
            return self._kept(season, voice)

    def _kept(self, season: str, voice: Voice) -> ReviewView:
        if (season, voice) not in self._made:
            self._made[season, voice] = self._make(season, voice)
        return self._made[season, voice]

    def body(self, season: str, voice: Voice) -> str:
        """What a page says of a season, as HTML: written once, since a long log takes long."""
        view = self.of(season, voice)
        key = (view.review.season, voice)
        if key not in self._bodies:
            self._bodies[key] = review_body(view, voice)
        return self._bodies[key]


def review_body(view: ReviewView, voice: Voice) -> str:
    """The body of a review's page: HTML in which every text is escaped."""
    return page_of("review_body.html", voice, view=view)


def review_view(review: Review, voice: Voice) -> ReviewView:
    """A review with its charts drawn."""
    drawn = [control_chart(r, f"trial-{n}", voice) for n, r in enumerate(review.trials)]
    drawn += [relation_chart(r, f"relation-{n}", voice) for n, r in enumerate(review.relations)]
    heads, rows = worked_table(review.worked, voice)
    timings = tuple(tuple(timing_lines(result, voice)) for result in review.trials)
    return ReviewView(review, tuple(c for c in drawn if c is not None), heads, rows, timings)


def render_review(review: Review, voice: Voice) -> str:
    """The review as one HTML file: no script, no outside host."""
    return page_of("review_page.html", voice, view=review_view(review, voice), style=style_sheet())
