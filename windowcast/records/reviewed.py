"""One application in hindsight: what was against it, and what the season offered beside it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Phrase, Quantity, Span, Value, joined, say
from windowcast.records.conditions import Fact
from windowcast.records.model import Application
from windowcast.records.past_windows import Scored, SeasonWindow
from windowcast.records.verdict import Verdict
from windowcast.windows.reasons import because

BETTER_BY = 10.0  # points; less is not worth regretting
NEAR_DAYS = 21


@dataclass(frozen=True, kw_only=True)
class ReviewedApplication:
    """One application in hindsight.

    Attributes
    ----------
    scored
        How its hours scored; None when the record does not hold its date, or no active is known.
    purpose_noted
        Whether the log says what it was for; else the likeliest purpose is taken.
    faults
        What was wrong with it, worst first, as clauses; None when it could not be scored.
    verdict
        Whether it worked and why not; None only where the entry could not be reviewed at all.
    share_up
        Share of the weeds it was aimed at that were up that day, 0..1; NaN where not known.
    """

    id: str
    application: Application
    facts: tuple[Fact, ...] = ()
    scored: Scored | None = None
    purpose_noted: bool
    better_days: int = 0
    missed: Phrase = NOTHING
    faults: tuple[Phrase, ...] | None = None
    notes: tuple[Phrase, ...] = ()
    verdict: Verdict | None = None
    share_up: float = math.nan

    @property
    def held_down_by(self) -> Phrase:
        """What held its score down most, as a clause; empty when nothing did or it has none."""
        limit = self.scored.limiting if self.scored else None
        return because(limit.label, limit.reason) if limit else NOTHING

    @property
    def other_faults(self) -> tuple[Phrase, ...]:
        """Its faults but for the one that held it down most."""
        return tuple(fault for fault in self.faults or () if fault != self.held_down_by)


def faults_of(scored: Scored, facts: Sequence[Fact]) -> tuple[Phrase, ...]:
    """What was against the application, worst first; what cannot be told is no fault."""
    bad = [j for j in scored.judged if j.verdict == "unfit" and j.score is not None]
    said = [because(j.label, j.reason) for j in sorted(bad, key=lambda j: j.score or 0.0)]
    said += [because(f.label, f.text) for f in facts if f.key == "watered_mm" and not f.good]
    return tuple(said)


def missed_by(scored: Scored, application: Application) -> Phrase:
    """What the season offered beside it."""
    without = NOTHING
    if scored.left_out:
        without = say("review.without", criteria=joined(*scored.left_out, join="comma"))
    if not scored.windows:
        return say("review.no_workable", without=without)
    own, best = scored.compared_score, scored.windows[0]
    values: dict[str, Value] = {
        "days": len(scored.windows),
        "best": Span(best.start, best.end),
        "score": _out_of_100(best.score),
        "own": _out_of_100(own),
        "without": without,
    }
    better = [w for w in scored.windows if w.score >= own + BETTER_BY]
    if not better:
        return say("review.none_better", **values)
    nearest = _nearest(better, application.date)
    return say("review.better", better=len(better), nearest=nearest, **values)


def _nearest(better: Sequence[SeasonWindow], date: dt.date) -> Phrase:
    """The better window nearest in time, within three weeks; nothing without one."""
    near = [w for w in better if abs((w.start.date() - date).days) <= NEAR_DAYS]
    if not near:
        return NOTHING
    nearest = min(near, key=lambda w: (abs((w.start.date() - date).days), -w.score))
    days = (nearest.start.date() - date).days
    window, score = Span(nearest.start, nearest.end), _out_of_100(nearest.score)
    if not days:
        return say("review.nearest_same", window=window, score=score)
    if days > 0:
        return say("review.nearest_later", days=days, window=window, score=score)
    return say("review.nearest_before", days=-days, window=window, score=score)


def _out_of_100(score: float) -> Quantity:
    return Quantity(score, "1", "score")
