"""What seasons were worth to each who sprayed by the advice, by a rule or in hindsight, compared.

Plain figures of seasons in, tables of means with their intervals out. Seasons of one station are
alike, and so are stations in one year: both are drawn again, stations and years apart, and an
interval is 5 to 95 % of what comes out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.windows.model import PURPOSES

RULES = ("calendar", "soil", "warm_day")
ADVICE, FORESIGHT = "advice", "foresight"
WHO = (ADVICE, *RULES, FORESIGHT)
DRAWN_AGAIN = 1000
LEAST_STATIONS, LEAST_YEARS = 4, 3  # below which no interval is told
LEAST_ALONE = 5  # years of a place by itself
LEAST_TO_GAIN = 0.02  # of the weeds, that hindsight must gain for a share of it to mean anything
ENDS = (0.05, 0.95)
LOSSES = ("rain", "wind", "cold", "dry")


@dataclass(frozen=True)
class SeasonScore:
    """One season of a station as somebody sprayed it.

    Attributes
    ----------
    ground
        Name of the follower whose ground and hours it is.
    who
        One of `WHO`.
    winter, summer
        Share of the season's winter annuals and of its summer grasses controlled, mean over the
        draws, 0..1.
    sprays
        Applications that went out.
    lost
        Of them lost, by cause, see `LOSSES`.
    hurt
        Of them on a day on which a limit of the turf says no, with the weather that came.
    cost
        What the products cost [money per hectare]; NaN: no price is known.
    hurt_chance
        Mean number of them, over the drawn turfs, that met live leaf or green-up.
    within
        Share of winter and summer weeds alike that those applications control which hurt nothing,
        0..1: what is left of a rule held to the limits of the turf.
    alone
        Purpose → share of the weeds it is for that its application controls by itself, 0..1, none
        where it hurts the turf; of hindsight on its best day were it the only one.
    dates
        Purpose → ISO dates.
    """

    station: str
    region: str
    season: int
    ground: str
    who: str
    winter: float
    summer: float
    sprays: int
    lost: Mapping[str, int] = field(default_factory=dict)
    hurt: int = 0
    hurt_chance: float = 0.0
    cost: float = math.nan
    within: float = math.nan
    alone: Mapping[str, float] = field(default_factory=dict)
    dates: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def both(self) -> float:
        """Winter and summer weeds alike, 0..1; of a place without curves of one, the other."""
        known = [share for share in (self.winter, self.summer) if not math.isnan(share)]
        return sum(known) / len(known) if known else math.nan


Ends = list[float | None]  # mean, 5 and 95 %
Figure = Callable[[SeasonScore], float]


ALONE = tuple(f"alone_{name}" for name in PURPOSES)


def _lost_by(why: str) -> Figure:
    return lambda s: float(s.lost.get(why, 0))


def _alone(name: str) -> Figure:
    return lambda s: s.alone.get(name, math.nan)


FIGURES: Mapping[str, Figure] = {
    "controlled": lambda s: s.both,
    "within": lambda s: s.within,
    "winter": lambda s: s.winter,
    "summer": lambda s: s.summer,
    "sprays": lambda s: float(s.sprays),
    **{f"lost_{why}": _lost_by(why) for why in LOSSES},
    **{f"alone_{name}": _alone(name) for name in PURPOSES},
    "hurt": lambda s: float(s.hurt),
    "hurt_chance": lambda s: s.hurt_chance,
    "cost": lambda s: s.cost,
}


def tables(scores: Sequence[SeasonScore]) -> dict[str, dict[str, Any]]:
    """Ground → region → who → figure → ``[mean, low, high]``, and the comparisons.

    Beside the figures of each stand, of the ground and region, ``seasons``, ``stations``, and
    ``against``: see `comparisons`.
    """
    found: dict[str, dict[str, Any]] = {}
    for ground in dict.fromkeys(s.ground for s in scores):
        own = [s for s in scores if s.ground == ground]
        regions = {"all": own} | {
            region: [s for s in own if s.region == region]
            for region in sorted({s.region for s in own})
        }
        found[ground] = {name: _table(rows) for name, rows in regions.items()}
    return found


def _table(rows: Sequence[SeasonScore]) -> dict[str, Any]:
    grid = SeasonsBeside.of(rows)
    return {
        "stations": len(grid.stations),
        "seasons": grid.seasons,
        **{
            who: {name: grid.mean(who, figure) for name, figure in FIGURES.items()}
            for who in grid.who
        },
        "against": comparisons(grid),
    }


@dataclass(frozen=True)
class SeasonsBeside:
    """Seasons that everybody sprayed, beside one another, with draws of stations and years.

    Attributes
    ----------
    by
        Who → (station, season) → score.
    weights
        How often each season counts in each draw, ``[draw, season]``.
    """

    stations: tuple[str, ...]
    who: tuple[str, ...]
    keys: tuple[tuple[str, int], ...]
    by: Mapping[str, Mapping[tuple[str, int], SeasonScore]]
    weights: FloatArray

    @property
    def seasons(self) -> int:
        """How many seasons of stations are compared."""
        return len(self.keys)

    @classmethod
    def of(cls, rows: Sequence[SeasonScore]) -> SeasonsBeside:
        """Only seasons that all have are compared."""
        who = tuple(w for w in WHO if any(s.who == w for s in rows))
        by = {w: {(s.station, s.season): s for s in rows if s.who == w} for w in who}
        keys = sorted(set.intersection(*(set(found) for found in by.values())))
        stations, years = [name for name, _ in keys], [year for _, year in keys]
        return cls(
            tuple(dict.fromkeys(stations)),
            who,
            tuple(keys),
            by,
            _drawn(stations) * _drawn(years, seed=1),
        )

    @property
    def enough(self) -> bool:
        """Whether stations and years, or the years of one place, tell how far means may be off."""
        years = len({year for _, year in self.keys})
        if len(self.stations) == 1:
            return years >= LEAST_ALONE
        return len(self.stations) >= LEAST_STATIONS and years >= LEAST_YEARS

    def values(self, who: str, figure: Figure) -> FloatArray:
        """A figure of every season."""
        return np.array([figure(self.by[who][key]) for key in self.keys])

    def mean(self, who: str, figure: Figure) -> Ends:
        """Mean of a figure with its interval."""
        values = self.values(who, figure)
        return self.with_ends(lambda w: weighted(w, values))

    def with_ends(self, of: Callable[[FloatArray], FloatArray]) -> Ends:
        """What comes of the seasons as they are, and 5 and 95 % over the draws; None: not known."""
        middle = float(of(np.ones((1, self.seasons)))[0])
        if not math.isfinite(middle):
            return [None, None, None]
        draws = of(self.weights)
        draws = draws[np.isfinite(draws)]
        if not self.enough or not len(draws):
            return [round(middle, 4), None, None]
        return [round(float(x), 4) for x in (middle, *np.quantile(draws, ENDS))]


def comparisons(grid: SeasonsBeside) -> dict[str, Any]:
    """The advice against each other: difference of the share controlled, and of the sprays.

    ``gain_share``: of what foresight gains over the calendar held to the limits of the turf, how
    much the advice does, for all applications together (``"within"``) and for each by itself; not
    known where foresight gains hardly anything. ``best_rule``: the advice against the rule that is
    best in the mean.
    """
    if ADVICE not in grid.who:
        return {}
    others = [who for who in grid.who if who != ADVICE]
    found: dict[str, Any] = {
        who: {name: _apart(grid, who, name) for name in ("controlled", "within", "sprays", *ALONE)}
        for who in others
    }
    if {FORESIGHT, "calendar"} <= set(others):
        found["gain_share"] = {name: _gain_share(grid, name) for name in ("within", *ALONE)}
    rules = [who for who in RULES if who in others]
    if rules:
        found["best_rule"] = {
            name: _best_rule(grid, rules, name) for name in ("controlled", "within", *ALONE)
        }
    return found


def _apart(grid: SeasonsBeside, who: str, name: str) -> Ends:
    apart = grid.values(ADVICE, FIGURES[name]) - grid.values(who, FIGURES[name])
    return grid.with_ends(lambda w: weighted(w, apart))


def _gain_share(grid: SeasonsBeside, name: str) -> Ends:
    calendar, advice, best = (
        grid.values(who, FIGURES[name]) for who in ("calendar", ADVICE, FORESIGHT)
    )
    possible, least, _ = grid.with_ends(lambda w: weighted(w, best - calendar))
    if possible is None or possible < LEAST_TO_GAIN or (least is not None and least <= 0):
        return [None, None, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        return grid.with_ends(
            lambda w: weighted(w, advice - calendar) / weighted(w, best - calendar)
        )


def _best_rule(grid: SeasonsBeside, rules: Sequence[str], name: str) -> dict[str, Any]:
    best = max(rules, key=lambda who: grid.mean(who, FIGURES[name])[0] or 0.0)
    return {"name": best, "apart": _apart(grid, best, name)}


def weighted(weights: FloatArray, values: FloatArray) -> FloatArray:
    """Mean of the values that are known by each row of weights, ``[draw]``; NaN: none is."""
    known = np.isfinite(values)
    with np.errstate(invalid="ignore", divide="ignore"):
        result: FloatArray = (weights[:, known] @ values[known]) / weights[:, known].sum(axis=-1)
    return result


def _drawn(names: Iterable[Any], seed: int = 0) -> FloatArray:
    """How often each name counts when as many are drawn with replacement, ``[draw, row]``."""
    names = list(names)
    own = list(dict.fromkeys(names))
    rng = np.random.default_rng(seed)
    counts = rng.multinomial(len(own), np.full(len(own), 1 / len(own)), size=DRAWN_AGAIN)
    place = {name: n for n, name in enumerate(own)}
    return counts[:, [place[name] for name in names]].astype(np.float64)
