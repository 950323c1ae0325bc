"""What an answer is made of: the data that flows from `windows` to `report`.

These dataclasses are the program's public answer: ``rank --format json`` is their serialisation
and the shipped JSON Schema is generated from them. Plain values and phrases only; SI units; times
aware. What is said is a `Phrase`; JSON has its words under the field's name and its meaning beside
them under the name with ``_phrase`` (``_phrases`` for several).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from windowcast.core.phrase import Phrase, say
from windowcast.limits.model import TurfSpan
from windowcast.materials.resistance import Standing
from windowcast.season.model import Substitute
from windowcast.windows.decision_model import Decided, Effect, Shut
from windowcast.windows.hour_model import HoursAhead, HourStrip

if TYPE_CHECKING:
    import pandas as pd

CAUTIONS: tuple[Phrase, ...] = (
    say("caution.label"),
    say("caution.judgement"),
    say("caution.people"),
    say("caution.water"),
    say("caution.entry"),
)

Verdict = Literal["fit", "marginal", "unfit", "cannot tell"]
PurposeName = Literal["pre-fall", "post-early", "dormant", "pre-spring"]
WINDOW_COLUMNS = (
    "purpose", "rank", "verdict", "start", "end", "score", "odds", "odds_low", "odds_high",
    "limited_by",
)  # fmt: skip
PURPOSES: tuple[PurposeName, ...] = ("pre-fall", "post-early", "dormant", "pre-spring")


@dataclass(frozen=True, slots=True)
class Judged:
    """One criterion's judgement of a window.

    `score` is 0..1, or None when it cannot be told. `measured` is the value that decided, in SI.
    """

    criterion: str  # id in criteria.toml
    label: Phrase  # what it is called: "air temperature"
    verdict: Verdict
    score: float | None
    measured: float | None
    unit: str
    reason: Phrase  # one plain clause
    source: str


@dataclass(frozen=True, slots=True)
class Odds:
    """A chance, with a 10–90 % interval from the members' sampling.

    Of a window: that its own hours hold. Of a day of the season plan: that some hours of that day
    are workable, whichever they are.
    """

    share: float
    low: float
    high: float
    members: int
    basis: Literal["forecast", "forecast and past years", "past years"]


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Something that must happen, or must not, after the application."""

    what: str  # "keep dry", "water in", "no mowing", ...
    by: dt.datetime | None
    text: Phrase


@dataclass(frozen=True, slots=True)
class Window:
    """The best continuous block of hours on a day for a purpose."""

    purpose: PurposeName
    start: dt.datetime  # aware, site's zone
    end: dt.datetime
    score: float | None  # 0..100; None when it cannot be told
    verdict: Verdict
    odds: Odds | None
    limiting: Judged | None  # the criterion that holds the score down most
    judged: tuple[Judged, ...]
    follow_up: tuple[FollowUp, ...]
    grade: Phrase  # of the hours used: "forecast", "partly estimated from daily values", ...
    actives: tuple[str, ...] = ()
    harm: float | None = None  # chance that the turf is hurt, 0..1; None where none is worked out
    washed: float | None = None  # chance that rain comes too soon and takes it off, 0..1; as `harm`
    effect: Effect | None = None  # of the first choice for it, or of what was asked for
    lost: float | None = None  # as of `Option`

    @property
    def date(self) -> dt.date:
        """The local date."""
        return self.start.date()


@dataclass(frozen=True, slots=True)
class StockFit:
    """How one active at hand would do for a purpose: its best window, or why there is none."""

    active: str
    verdict: Verdict
    start: dt.datetime | None
    end: dt.datetime | None
    score: float | None  # 0..100
    reason: Phrase


@dataclass(frozen=True, slots=True)
class CoverPoint:
    """A barrier applied on one date.

    Attributes
    ----------
    caught, low, high
        Share of the season's weeds that emerge while the residual holds, in the mean over the
        futures, with its 10-90 % band over weather, half-life, energy of its loss and emergence;
        None when it cannot be told.
    cover
        The same as a share of what is still to come on the date.
    up
        Share already up, which needs a post-emergence partner.
    watered
        Share of the ground that rain waters in within the days asked for, in the mean over the
        futures: the chance that a spot is watered in in time.
    """

    date: dt.date
    caught: float | None
    low: float | None
    high: float | None
    cover: float | None
    up: float | None
    watered: float | None


@dataclass(frozen=True, slots=True)
class TrialControl:
    """Control of a weed to expect by published trials, 0..1: median and 80 % interval.

    `trials` is how many there are of it with the active or mixture, `own` are the names of the
    user's own.
    """

    weed: str  # EPPO code
    low: float
    high: float
    source: str
    note: str
    middle: float
    trials: int
    own: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CoverPlan:
    """Cover of a barrier over dates, the best date with the cost of missing it, the best split.

    `better` says of a day a week off, on which the share is larger, why it is not the one named.
    """

    purpose: PurposeName
    active: str  # "" for a usual one
    half_life_d: tuple[float, float, float]  # low, usual, high
    half_life_source: str
    weeds: tuple[Phrase, ...]
    curve: tuple[CoverPoint, ...]
    best: CoverPoint | None
    week_early: float | None  # share caught when a week earlier than best
    week_late: float | None
    split: tuple[dt.date, dt.date] | None  # when halves of the dose on two dates catch more
    split_caught: float | None
    needs_partner: bool | None
    text: Phrase
    better: tuple[Phrase, ...] = ()
    trials: tuple[TrialControl, ...] = ()


@dataclass(frozen=True, slots=True)
class Allowance:
    """What is left of an active's yearly maximum on a piece of ground.

    Attributes
    ----------
    used_kg_ha
        Put out there in the 365 days up to today; None where an application has no rate.
    max_kg_ha
        The label's yearly maximum as the user entered it; None: not entered.
    rate_kg_ha
        Rate it went out with last; None: never, or not noted.
    """

    active: str
    used_kg_ha: float | None
    max_kg_ha: float | None
    rate_kg_ha: float | None

    @property
    def left_kg_ha(self) -> float | None:
        """What may still go out; None when that cannot be told."""
        if self.used_kg_ha is None or self.max_kg_ha is None:
            return None
        return max(self.max_kg_ha - self.used_kg_ha, 0.0)

    @property
    def more(self) -> int | None:
        """Applications left at the last rate; None when that cannot be told."""
        left = self.left_kg_ha
        return None if left is None or not self.rate_kg_ha else int(left / self.rate_kg_ha + 1e-9)

    @property
    def spent(self) -> bool:
        """Whether nothing more of it may go out.

        Nor may it where the log lacks a rate, so that what is left cannot be told.
        """
        untold = self.max_kg_ha is not None and self.left_kg_ha is None
        return untold or self.left_kg_ha == 0 or self.more == 0


@dataclass(frozen=True, slots=True)
class Choice:
    """An active or mixture for an open window.

    Attributes
    ----------
    score
        Of the window's hours for it as forecast, 0..100.
    effect
        Expected effect, 0..1: of a pre-emergent the share of the season's weeds that emerge while
        it is active, of others the mean control of the watched weeds that trials let expect, a weed
        that it was not tried on counting as not controlled; None: no source tells.
    repeats
        Whether all its groups were used for the purpose this season or last.
    speaks_for, speaks_against
        Clauses.
    left
        What is left of the yearly maximum of each active.
    controls
        EPPO codes of the watched weeds that a source says it controls.
    cost_per_ha, money
        What the label rate of the user's own product costs on a hectare, and in what money; None
        and "" where the materials file gives no price.
    resistance
        What is known against it on this ground: some plants survive ("segregating"), or they are
        suspected to; None: nothing is known. What fails there is no choice.
    """

    actives: tuple[str, ...]
    groups: tuple[int, ...]
    verdict: Verdict
    score: float
    effect: float | None
    repeats: bool
    speaks_for: tuple[Phrase, ...]
    speaks_against: tuple[Phrase, ...]
    left: tuple[Allowance, ...] = ()
    cost_per_ha: float | None = None
    money: str = ""
    resistance: Standing | None = None
    controls: tuple[str, ...] = ()


JobState = Literal["not due", "due", "partly done", "done", "re-treat", "look", "failed"]


@dataclass(frozen=True, slots=True)
class Job:
    """Where a purpose stands on the ground, by what the season log says was done.

    Attributes
    ----------
    state
        ``"done"``, ``"partly done"``, ``"re-treat"`` (what is left of it no longer holds, or will
        not hold long enough), ``"look"`` (for the effect, before anything else), ``"failed"``;
        ``"due"`` or ``"not due"`` where nothing was applied this season.
    text
        What was done and what is left of it, in sentences; empty where nothing was.
    to_do
        What to do next, in sentences; empty where nothing is.
    applied, actives
        The last application that served it, with its active ingredients.
    residual_until
        10, 50 and 90 % dates until which a pre-emergent is expected to hold; None where it is none
        or cannot be told. A date is None where it lies beyond the days looked at.
    again
        Day from which it may be treated again; None: from any day.
    look_from, look_to
        Days between which the effect shows.
    """

    state: JobState
    text: Phrase
    to_do: Phrase
    applied: dt.date | None = None
    actives: tuple[str, ...] = ()
    residual_until: tuple[dt.date | None, dt.date | None, dt.date | None] | None = None
    again: dt.date | None = None
    look_from: dt.date | None = None
    look_to: dt.date | None = None

    @property
    def open(self) -> bool:
        """Whether there is ground still to treat, now or later."""
        return self.state not in ("done", "look")


@dataclass(frozen=True, slots=True)
class PurposeOutlook:
    """What can be said of one purpose today.

    `turf` says what the turf takes on the days ranked: limits that no weather outvotes.
    `covers` says of a barrier what each material catches by the day it is laid on; the season plan
    has the same.
    """

    purpose: PurposeName
    title: Phrase
    in_season: bool
    why: Phrase  # why in or out of season
    opens: dt.date | None
    closes: dt.date | None
    advice: Phrase  # the sentence that answers
    windows: tuple[Window, ...]  # ranked, best first; fit and marginal
    closest: Window | None  # what came closest when nothing qualifies; None without a forecast
    would_change: Phrase  # what would have to change
    strip: HourStrip | None = None
    stock: tuple[StockFit, ...] = ()  # the actives at hand, when none was chosen
    cannot_tell: bool = False  # in season, but what is missing keeps it from being told
    covers: tuple[CoverPlan, ...] = ()
    turf: tuple[TurfSpan, ...] = ()
    job: Job | None = None  # by the season log; None without one
    choices: tuple[Choice, ...] = ()  # with what, best first; none where an active was chosen
    none_in_stock: bool = False  # whether nothing of the stock serves the best window
    burs: tuple[Phrase, ...] = ()  # of its weeds, which a post-emergent has to come before
    shut: tuple[Shut, ...] = ()  # today and tomorrow, where they have no spray window
    over: bool = False  # this season, without an application
    decision: Decided | None = None  # None only before the season log was looked at


@dataclass(frozen=True, slots=True)
class Ranking:
    """The whole answer of ``windowcast rank`` for a site, or for areas of it that are alike.

    `areas` names them; none where the site file names none.
    """

    site: str
    today: dt.date
    timezone: str
    units: Literal["us", "metric"]
    purposes: tuple[PurposeOutlook, ...]
    weather_notes: tuple[Phrase, ...]
    provenance: tuple[Phrase, ...]
    cautions: tuple[Phrase, ...]
    explain: tuple[Phrase, ...] = field(default=())
    program_version: str = ""
    areas: tuple[str, ...] = ()
    substitutes: tuple[Substitute, ...] = ()  # what stands in for inputs that are unknown
    hours: HoursAhead | None = None

    def to_pandas(self) -> pd.DataFrame:
        """A row for each window, best first within its purpose; none where nothing qualifies.

        Columns: ``purpose``, ``rank``, ``verdict``, ``start``, ``end`` (on the site's clock),
        ``score`` (0 to 100), ``odds`` with ``odds_low`` and ``odds_high`` (10 to 90 %), and the
        criterion that limits it.
        """
        import pandas as pd

        rows = [
            (
                window.purpose, place, window.verdict, window.start, window.end, window.score,
                *((o.share, o.low, o.high) if (o := window.odds) else (None, None, None)),
                window.limiting.criterion if window.limiting else None,
            )
            for outlook in self.purposes
            for place, window in enumerate(outlook.windows, start=1)
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(WINDOW_COLUMNS))
