"""What a season plan is made of: the data that flows from `programme.season_plan` to `report`.

Plain values in SI units and phrases, like `windowcast.windows.model`; ``season --format json`` is
their serialisation.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from windowcast.core.phrase import NOTHING, Phrase
from windowcast.limits.model import TurfSpan
from windowcast.season.model import Substitute
from windowcast.windows.model import CoverPlan, Job, Odds, PurposeName
from windowcast.windows.odds import DateRange

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class YearDate:
    """When something happened in one past season; None: it did not."""

    season: str  # "2016/17", or "2017" in the southern hemisphere
    date: dt.date | None


@dataclass(frozen=True, slots=True)
class KeyDate:
    """One date that steers the season.

    Attributes
    ----------
    passed
        When it came this season, if it has.
    ahead
        When it will come, over the members; None when it has passed or cannot be told.
    normal
        When it came in past seasons, as dates of this one.
    came
        Share of the futures in which it has come before today, 0..1: the models err in the season
        so far too.
    passed_between
        10 and 90 % dates of one that has passed; None where the day is sure.
    """

    name: str
    label: Phrase
    passed: dt.date | None
    ahead: DateRange | None
    normal: DateRange | None
    years: tuple[YearDate, ...]
    source: str
    came: float = 0.0
    passed_between: tuple[dt.date, dt.date] | None = None


@dataclass(frozen=True, slots=True)
class Week:
    """Workable days expected in one week.

    `days` is the mean over the members, `low` and `high` their 10 and 90 %; None when it cannot be
    told. `open_days` are those the site's calendar leaves.
    """

    start: dt.date
    days: float | None
    low: float | None
    high: float | None
    open_days: int


@dataclass(frozen=True, slots=True)
class Fortnight:
    """Workable days expected in fourteen days: mean over the members, 10 and 90 %."""

    start: dt.date
    days: float
    low: float
    high: float
    open_days: int


@dataclass(frozen=True, slots=True)
class DayAhead:
    """What one coming day offers: score 0..100 as forecast and its mean over the futures.

    `odds` are those that the day has a workable window at any hour; those of the ranking's window,
    whose hours are chosen now, are never better.
    """

    date: dt.date
    forecast_score: float
    expected_score: float
    odds: Odds | None


@dataclass(frozen=True, slots=True)
class Decision:
    """Decide now or wait.

    Attributes
    ----------
    act_on
        Best of today and tomorrow.
    act_score, act_odds
        Expected score 0..100 of acting then, and odds that the day has a workable window.
    best_ahead, surest
        Of the days after tomorrow that are judged by the hour, the one that scores best as
        forecast (the ranking's), and the one with the highest expected score; None where none is
        workable.
    wait_score
        Expected score of waiting by the best rule, `wait_error` its standard error.
    none_risk
        Chance that no workable window comes after tomorrow before the purpose closes.
    choice
        As the ranking decides.
    advice
        Its one sentence, what waiting risks, and what control falls by as the plants grow where
        trials tell.
    actives, control, control_then
        The tank that it goes by, and the control of the watched weeds that trials let expect of it
        on the day to act and on the best day ahead, 0..1 (see `Choice.effect`); None: no trial
        tells, or there is no such day.
    """

    purpose: PurposeName
    act_on: dt.date
    act_score: float
    act_odds: Odds | None
    best_ahead: DayAhead | None
    surest: DayAhead | None
    wait_score: float
    wait_error: float
    none_risk: float
    closes: dt.date | None
    choice: Literal["act", "wait", "neither", "cannot tell"]
    advice: Phrase
    actives: tuple[str, ...] = ()
    control: float | None = None
    control_then: float | None = None


@dataclass(frozen=True, slots=True)
class PurposePlan:
    """One purpose through the season.

    Attributes
    ----------
    reopens
        Of a purpose that is over: share of the futures in which it opens once more this season.
    turf
        What the turf takes, from today on, on the days on which it may be in season.
    fewest
        The fortnight of its time with the fewest workable days; None when it cannot be told.
    """

    purpose: PurposeName
    title: Phrase
    status: Literal["open", "ahead", "over", "cannot tell"]
    opened: dt.date | None
    opens: DateRange | None
    closes: DateRange | None
    closed: dt.date | None
    reopens: float
    normal_opens: DateRange | None
    normal_closes: DateRange | None
    years: tuple[tuple[str, dt.date | None, dt.date | None], ...]  # season, opened, closed
    weeks: tuple[Week, ...]
    fewest: Fortnight | None
    covers: tuple[CoverPlan, ...]
    decision: Decision | None
    if_missed: Phrase
    delay_cost: Phrase
    turf: tuple[TurfSpan, ...] = ()
    job: Job | None = None  # by the season log; None without one
    paused: Phrase = NOTHING  # when it opens again, where it is shut for the days ahead

    @property
    def to_do(self) -> bool:
        """Whether there is ground still to treat for it."""
        return self.job is None or self.job.open

    @property
    def missed(self) -> bool:
        """Whether it is over this season, and no application for it is known."""
        return self.status == "over" and (self.job is None or self.job.applied is None)


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """The whole plan of a site, or of areas of it that are alike."""

    site: str
    season: str
    today: dt.date
    units: Literal["us", "metric"]
    standing: tuple[Phrase, ...]  # where the season stands, in sentences
    key_dates: tuple[KeyDate, ...]
    purposes: tuple[PurposePlan, ...]
    assumptions: tuple[Phrase, ...]
    past_seasons: int
    members: int
    explain: tuple[Phrase, ...]  # every science value the plan rests on, with its source
    program_version: str
    areas: tuple[str, ...] = ()
    substitutes: tuple[Substitute, ...] = ()  # what stands in for inputs that are unknown
    resistance: tuple[Phrase, ...] = ()  # what is known of it on this ground, in sentences

    def to_pandas(self) -> pd.DataFrame:
        """A row for each key date, indexed by its name.

        Columns: ``passed``, the date if it has come; ``early``, ``median`` and ``late``, its 10, 50
        and 90 % dates if it lies ahead; and ``normal``, the median of past seasons.
        """
        import pandas as pd

        rows = {
            key.name: (
                key.passed,
                *((a.early, a.median, a.late) if (a := key.ahead) else (None, None, None)),
                key.normal.median if key.normal else None,
            )
            for key in self.key_dates
        }  # fmt: skip
        dates = ["passed", "early", "median", "late", "normal"]
        frame = pd.DataFrame.from_dict(rows, orient="index", columns=dates)
        dated: pd.DataFrame = frame.apply(pd.to_datetime)
        return dated
