"""What trials let expect of the tank on the days ahead: now, on the best day, and once it is late.

It stands beside a decision and decides nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from windowcast.core.phrase import NOTHING, Phrase, Share, names, say, sentences
from windowcast.core.record import Members
from windowcast.core.site import Site
from windowcast.core.time_axis import day_index
from windowcast.core.values import Table
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import NO_RESISTANCE, Resistances
from windowcast.programme.model import Decision
from windowcast.season.model import SiteState
from windowcast.windows.model import TrialControl
from windowcast.windows.purposes import Purpose
from windowcast.windows.trials import Met, said_of

WORTH_SAYING = 0.02  # of a fall of control
Tank = tuple[str, ...]


@dataclass(frozen=True)
class ControlAhead:
    """The mixtures that may be used, and what they meet on the days ahead.

    Attributes
    ----------
    state
        From today on, for each member.
    efficacy
        ``data/efficacy.toml``.
    """

    tanks: tuple[Tank, ...]
    state: SiteState
    members: Members
    efficacy: Table
    resistance: Resistances = NO_RESISTANCE

    def met(self, purpose: Purpose, date: dt.date) -> Met | None:
        """What an application meets on a date; None beyond the days looked at."""
        day = day_index(self.state.dates, date)
        if not 0 <= day < len(self.state.dates):
            return None
        air_c = float(self.members.daily.get("tmax_c")[1:, day].mean())
        return Met.on(
            day,
            purpose,
            self.state,
            air_c=air_c,
            efficacy=self.efficacy,
            resistance=self.resistance,
        )

    def best(self, met: Met) -> tuple[Tank, tuple[TrialControl, ...]] | None:
        """The tank that trials let expect most of; None where none was tried."""
        tried = [(tank, trials) for tank in self.tanks if (trials := met.by(tank))]
        return max(tried, key=lambda pair: met.share(pair[1]) or 0.0, default=None)


def tanks_of(needs: ActiveNeeds, site: Site) -> tuple[Tank, ...]:
    """The mixture asked for, or those in stock."""
    if needs.names:
        return (needs.names,)
    return tuple(tuple(name.strip() for name in entry.split("+")) for entry in site.stock)


def with_control(made: Decision, purpose: Purpose, ahead: ControlAhead) -> Decision:
    """The decision with what trials let expect on the day to act and on the best day ahead.

    The fall is said where control falls as the plants grow.
    """
    now = ahead.met(purpose, made.act_on)
    found = None if now is None else ahead.best(now)
    if now is None or found is None:
        return made
    tank, trials = found
    made = replace(made, actives=tank, control=now.share(trials))
    best = made.best_ahead
    then = None if best is None else ahead.met(purpose, best.date)
    if best is None or then is None:
        return made
    later = then.by(tank)
    made = replace(made, control_then=then.share(later))
    return replace(made, advice=sentences(made.advice, _fall(tank, trials, later, best.date)))


def _fall(
    tank: Tank, now: Sequence[TrialControl], then: Sequence[TrialControl], date: dt.date
) -> Phrase:
    """The largest fall of a weed's control; nothing where none is worth saying."""
    falls = [(a.middle - b.middle, a, b) for a, b in zip(now, then, strict=True)]
    fall, before, after = max(falls, key=lambda one: one[0])
    if fall < WORTH_SAYING:
        return NOTHING
    return say(
        "decide.control_falls",
        actives=names(*tank, join="plus"),
        weed=say(f"weed.{before.weed}"),
        now=Share(before.middle),
        then=Share(after.middle),
        day=date,
    )


def later_attempt(ahead: ControlAhead, purpose: Purpose, date: dt.date | None) -> Phrase:
    """What trials let expect of the best tank once the time is over, of the hardest weed.

    Nothing for a pre-emergent, or where no trial tells.
    """
    met = None if date is None or purpose.barrier else ahead.met(purpose, date)
    found = None if met is None else ahead.best(met)
    if found is None or date is None:
        return NOTHING
    tank, trials = found
    worst = min(trials, key=lambda trial: trial.middle)
    return say(
        "decide.later_attempt",
        actives=names(*tank, join="plus"),
        day=date,
        **said_of(worst),
    )
