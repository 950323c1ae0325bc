"""What the analyses of a trial say, in the words of the trade."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from windowcast.core.phrase import Name, Phrase, joined, names, say
from windowcast.records.trial_rounds import TrialRound
from windowcast.report.catalogue import Voice
from windowcast.report.terminal_width import table_lines
from windowcast.report.trial_plan import value_phrase
from windowcast.trials.model import AdjustedMean, Comparison, TrialAnalysis, TrialOptions

Analysed = tuple[TrialRound, TrialAnalysis]


@dataclass(frozen=True, slots=True)
class RoundSaid:
    """One round in words.

    Attributes
    ----------
    title, dates
        What was rated how long after treatment, and on which days.
    problem
        Why there is no analysis; "" where there is one.
    columns, rows
        A row for each treatment: plots, mean, range, letters, what it is against the check.
    remarks
        What the letters mean, the tests of factors, what to mind.
    """

    key: str
    title: str
    dates: str
    problem: str
    model: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    remarks: tuple[str, ...]


def round_title(found: TrialRound) -> Phrase:
    """What was rated, and how long after treatment."""
    what = value_phrase(found.measure, found.weed)
    if found.span is not None:
        first, last = found.span
        return say("trial_result.over_days", what=what, first=first, last=last)
    if found.since:
        ends = min(found.since.values()), max(found.dates.values())
        return say("trial_result.over_dates", what=what, first=ends[0], last=ends[1])
    if found.day is None:
        return what
    return say("trial_import.days", what=what, days=found.day)


def round_said(found: TrialRound, analysis: TrialAnalysis, voice: Voice) -> RoundSaid:
    """One round in words."""
    days = sorted(found.dates.items())
    dates = joined(
        *(
            say("trial_result.from_to", site=names(site), first=found.since[site], last=date)
            if site in found.since
            else say("trial_result.on", site=names(site), day=date)
            for site, date in days
        ),
        join="comma",
    )
    head = (found.key, voice.write(round_title(found), "cap"), voice.write(dates))
    if analysis.problem:
        problem = voice.say("trial_result.none", why=analysis.problem)
        return RoundSaid(*head, problem, "", (), (), tuple(map(voice.text, _notes(found))))
    against = {c.first: c for c in analysis.of("check")}
    columns = [voice.say("trial_result.treatment"), voice.say("trial_result.plots")]
    columns += [voice.say("trial_result.mean"), voice.say("trial_result.range")]
    columns.append(voice.say("trial_result.letters"))
    if against:
        standard = next(c.second for c in against.values())
        columns.append(voice.say("trial_result.against", standard=standard))
    rows = [
        (
            mean.treatment,
            str(mean.plots),
            _number(mean.mean, voice),
            _range(mean, found.options, voice),
            mean.letters,
            *([_against(against.get(mean.treatment), voice)] if against else []),
        )
        for mean in analysis.means
    ]
    return RoundSaid(
        *head,
        "",
        voice.write(analysis.model, "sentence"),
        tuple(columns),
        tuple(rows),
        tuple(_remarks(found, analysis, voice)),
    )


def _remarks(found: TrialRound, analysis: TrialAnalysis, voice: Voice) -> list[str]:
    said = [say("trial_result.shared")] if any(m.letters for m in analysis.means) else []
    said += [
        say(
            "trial_result.factor", term=names(test.term), f=round(test.f, 2), df=round(test.df, 1),
            error=round(test.error_df, 1), p=_p(test.p, voice),
        )
        for test in analysis.factors
    ]  # fmt: skip
    said += timings_said(found.timings, analysis, voice)
    return [voice.write(text, "sentence") for text in (*said, *analysis.notes, *_notes(found))]


def timings_said(
    timings: Sequence[tuple[str, str]], analysis: TrialAnalysis, voice: Voice
) -> list[Phrase]:
    """How treatments compare that differ in their timing alone."""
    found = {(c.first, c.second): c for c in analysis.of("all")}
    pairs = [found.get(pair) or found.get(pair[::-1]) for pair in timings]
    return [
        say(
            "trial_result.timing", first=Name(c.first), second=Name(c.second),
            result=Name(_against(c, voice)),
        )
        for c in pairs
        if c is not None
    ]  # fmt: skip


def _notes(found: TrialRound) -> list[Phrase]:
    """What was done to the ratings before they were analysed."""
    said = [say("trial_result.area")] if found.since else []
    if found.pending:
        said.append(say("trial_result.pending", treatments=names(*found.pending)))
    if found.apart:
        said.append(say("trial_result.apart", ratings=found.apart))
    if found.frames > 1:
        said.append(say("trial_result.frames", frames=found.frames))
    if found.strangers:
        said.append(say("trial_result.strangers", treatments=names(*found.strangers)))
    return said


def _number(value: float, voice: Voice) -> str:
    return voice.say("fact.not_known") if math.isnan(value) else voice.number(value, 1, fixed=True)


def _range(mean: AdjustedMean, options: TrialOptions, voice: Voice) -> str:
    """The range of a mean; of a bound that reaches the end of the scale, the other end alone."""
    low, high = (names(_number(end, voice)) for end in (mean.low, mean.high))
    if not mean.bound:
        return voice.say("review_page.to", low=low, high=high)
    least = mean.low <= options.low
    most = options.kind in {"percent", "ordinal"} and mean.high >= options.high
    if least and not most:
        return voice.say("trial_result.bound_most", high=high)
    if most and not least:
        return voice.say("trial_result.bound_least", low=low)
    return voice.say("trial_result.bound", low=low, high=high)


def _against(found: Comparison | None, voice: Voice) -> str:
    """Percent control with its range where a measure has one, else how sure a difference is."""
    if found is None:
        return ""
    star = say("trial_result.differs") if found.differs else say("trial_result.same")
    if math.isnan(found.percent):
        return voice.say("trial_result.chance", p=_p(found.p, voice), sure=star)
    ends = (found.percent, found.percent_low, found.percent_high)
    middle, low, high = (names(_number(end, voice)) for end in ends)
    return voice.say("trial_result.control", percent=middle, low=low, high=high, sure=star)


def _p(p: float, voice: Voice) -> Phrase:
    """A p value as papers print it."""
    if math.isnan(p):
        return say("fact.not_known")
    if p < 0.001:
        return say("trial_result.p_least", p=names(voice.number(0.001, 3)))
    return say("trial_result.p", p=names(voice.number(p, 3, fixed=True)))


def result_lines(
    trial: str, rounds: Sequence[Analysed], voice: Voice, width: int | None = None
) -> list[str]:
    """Every round of a trial for a terminal, its tables at most `width` wide."""
    inner = None if width is None else width - 2
    lines = [voice.say("trial_result.title", trial=trial)]
    for found, analysis in rounds:
        said = round_said(found, analysis, voice)
        lines += ["", said.title, f"  {said.dates}"]
        if said.problem:
            lines += [f"  {text}" for text in (said.problem, *said.remarks)]
            continue
        lines += [
            f"  {line}".rstrip() for line in table_lines(said.columns, said.rows, width=inner)
        ]
        lines += [f"  {text}" for text in (said.model, *said.remarks)]
    return lines


def methods_text(rounds: Sequence[Analysed], voice: Voice, planned: int = 0) -> str:
    """How the trial was analysed, in sentences for a paper, with the versions of the programs.

    Parameters
    ----------
    planned
        Plots of the trial's plan, to tell those that were not rated; 0 where that is not known.
    """
    from importlib.metadata import version
    from platform import python_version

    from windowcast.core.version import __version__

    worked = [(found, analysis) for found, analysis in rounds if not analysis.problem]
    models: dict[Phrase, list[Phrase]] = {}
    for found, analysis in worked:
        models.setdefault(analysis.model, []).append(round_title(found))
    said = []
    for model, titles in models.items():
        which = joined(*titles, join="clauses")
        bare = model.id == "analysis.bounds"
        said.append(
            say("trial_result.method_bounds", rounds=which, model=model)
            if bare
            else say("trial_result.method", rounds=which, model=model)
        )
    if any(found.since for found, _ in worked):
        said.append(say("trial_result.area_method"))
    if any(analysis.variances for _, analysis in worked):
        said.append(say("trial_result.reml"))
    own = [f.options.checks for f, a in worked if "check" in a.variances]
    if own:
        checks = dict.fromkeys(name for each in own for name in each)
        said.append(say("trial_result.own_error", checks=names(*checks)))
    against = dict.fromkeys(c.second for _, a in worked for c in a.of("check"))
    if against:
        standards = names(*against)
        said.append(say("trial_result.family_check", standard=standards))
    if any(analysis.of("all") for _, analysis in worked):
        said.append(say("trial_result.family"))
    lacking = _lacking(rounds, planned)
    said += lacking or ([say("trial_result.all_there")] if planned else [])
    programs = [f"windowcast {__version__}", f"Python {python_version()}"]
    listed = names(*programs, *(f"{name} {version(name)}" for name in ("numpy", "scipy")))
    said.append(say("trial_result.programs", programs=listed))
    return " ".join(map(voice.text, said))


def _lacking(rounds: Sequence[Analysed], planned: int) -> list[Phrase]:
    """What was not there to be analysed, and what for that reason was not, round by round."""
    found: dict[Phrase, list[Phrase]] = {}
    for each, analysis in rounds:
        notes = [
            n for n in analysis.notes if n.id in {"analysis.missing", "analysis.before_missing"}
        ]
        missing = planned - len(each.rows)
        if missing > 0:
            notes.append(say("analysis.missing", missing=missing, plots=planned))
        if analysis.problem:
            notes.append(analysis.problem)
        for note in notes:
            found.setdefault(note, []).append(round_title(each))
    return [
        say("trial_result.of_rounds", rounds=joined(*titles, join="clauses"), said=note)
        for note, titles in found.items()
    ]


def result_plain(trial: str, rounds: Sequence[Analysed], voice: Voice) -> dict[str, Any]:
    """The same as JSON holds it."""
    from windowcast.report.plain import plain

    found = [
        {
            "round": found.key,
            "measure": found.measure,
            "weed": found.weed or None,
            "dates": {site: date.isoformat() for site, date in found.dates.items()},
            "days": found.day,
            "since": {site: date.isoformat() for site, date in found.since.items()},
            "over_days": list(found.span) if found.span else None,
            **plain(analysis, voice),
        }
        for found, analysis in rounds
    ]
    return {"trial": trial, "rounds": found}
