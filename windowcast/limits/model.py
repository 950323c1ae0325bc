"""What the turf limits say: one answer for each rule, the strictest for a day, days in a row.

A limit is never a score. *Yes* needs a source; what is not known is "cannot tell"; a no stands
whatever the weather, and says until when where that is known.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from windowcast.core.phrase import NOTHING, Phrase

Permission = Literal["yes", "no", "cannot tell"]
STATE = "state of the turf"  # the rule that works out a chance of harm
_STRICTNESS: tuple[Permission, ...] = ("yes", "cannot tell", "no")


@dataclass(frozen=True, slots=True)
class Limit:
    """What one rule says of one treatment on one day.

    Attributes
    ----------
    rule
        ``"species"``, ``"overseeding"``, ``"new turf"``, ``"winterkill"``, ``"thin turf"``,
        ``"time of year"``, ``"state of the turf"`` or ``"canopy look"``.
    answer
        Whether the turf takes it.
    active
        ISO common name of the active ingredient it is about, "" for any.
    until
        First day on which this rule no longer says no; None when it is not known.
    reason, remedy
        One plain clause each: why, and what would let it be told or done.
    source
        Status and citation.
    harm
        Chance that the turf is hurt, 0..1, where the rule works one out.
    """

    rule: str
    answer: Permission
    reason: Phrase
    source: str
    active: str = ""
    until: dt.date | None = None
    remedy: Phrase = NOTHING
    harm: float | None = None


@dataclass(frozen=True, slots=True)
class TurfAnswer:
    """What the turf takes on one day: the strictest of all its limits decides."""

    date: dt.date
    limits: tuple[Limit, ...]

    @property
    def answer(self) -> Permission:
        """The strictest answer."""
        return max((limit.answer for limit in self.limits), key=_STRICTNESS.index)

    @property
    def deciding(self) -> Limit:
        """The limit that decides: a no before what cannot be told, of noes the longest."""
        return max(
            self.limits,
            key=lambda limit: (
                _STRICTNESS.index(limit.answer),
                limit.answer == "no" and limit.until is None,
                limit.until or dt.date.min,
            ),
        )

    @property
    def until(self) -> dt.date | None:
        """First day on which no rule known says no any more; None when that is not known."""
        noes = [limit.until for limit in self.limits if limit.answer == "no"]
        known = [date for date in noes if date is not None]
        return max(known) if known and len(known) == len(noes) else None

    @property
    def harm(self) -> float | None:
        """Greatest chance that the turf is hurt, of the rules that work one out."""
        found = [limit.harm for limit in self.limits if limit.harm is not None]
        return max(found, default=None)


@dataclass(frozen=True, slots=True)
class TurfSpan:
    """Days in a row with the same answer for the same reason.

    Attributes
    ----------
    first, last
        First and last day.
    harm
        Greatest chance on these days that the turf is hurt, 0..1; None where none is worked out.
    """

    first: dt.date
    last: dt.date
    answer: Permission
    rule: str
    active: str
    until: dt.date | None
    reason: Phrase
    remedy: Phrase
    source: str
    harm: float | None


def refused(turf: Sequence[TurfSpan]) -> bool:
    """Whether the turf takes it on none of the days: no day to apply it may then be named."""
    return bool(turf) and not any(span.answer == "yes" for span in turf)


def spans(answers: tuple[TurfAnswer, ...]) -> tuple[TurfSpan, ...]:
    """Answers of days in a row, those that agree in answer, rule, active and end put together.

    The reason is that of the first of the days.
    """
    found: list[TurfSpan] = []
    for day in answers:
        limit = day.deciding
        same = (limit.answer, limit.rule, limit.active, limit.until)
        last = found[-1] if found else None
        if (
            last is not None
            and day.date - last.last == dt.timedelta(days=1)
            and same == (last.answer, last.rule, last.active, last.until)
        ):
            harms = [h for h in (last.harm, day.harm) if h is not None]
            found[-1] = replace(last, last=day.date, harm=max(harms, default=None))
            continue
        found.append(
            TurfSpan(
                day.date, day.date, limit.answer, limit.rule, limit.active, limit.until,
                limit.reason, limit.remedy, limit.source, day.harm,
            )
        )  # fmt: skip
    return tuple(found)
