"""Control to expect by published trials, to stand beside what a window or a residual offers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from windowcast.core.phrase import Phrase, Share, Value, names, say
from windowcast.core.values import Table
from windowcast.materials.efficacy import Timing, expected_control
from windowcast.materials.resistance import NO_RESISTANCE, Resistances
from windowcast.season.model import Emergence, SiteState
from windowcast.windows.model import TrialControl
from windowcast.windows.purposes import Purpose


@dataclass(frozen=True)
class Met:
    """What an application meets; see `expected_control`.

    Attributes
    ----------
    stages_bbch
        EPPO code of each weed that it is aimed at → its stage; None: not known.
    efficacy
        ``data/efficacy.toml``.
    resisted
        EPPO code → groups that are known to fail on the weed here.
    up
        Of a spray on the leaves: share of the season's weeds that are up, in the mean over weeds
        and futures; None where it cannot be told.
    """

    stages_bbch: Mapping[str, float | None]
    timing: Timing
    air_c: float | None
    efficacy: Table
    resisted: Mapping[str, frozenset[int]] = field(default_factory=dict)
    up: float | None = None

    @classmethod
    def on(
        cls,
        day: int,
        purpose: Purpose,
        state: SiteState,
        *,
        air_c: float | None,
        efficacy: Table,
        resistance: Resistances = NO_RESISTANCE,
    ) -> Met:
        """On a day of the state, the weeds of a purpose.

        A pre-emergent meets none of them: what came up before it is told apart from it.
        """
        pre = purpose.barrier
        weeds = state.weeds_of(purpose.weeds)
        stages = {w.weed: 0.0 if pre else _stage(w, day) for w in weeds}
        resisted = {code: _resisted(code, resistance) for code in stages}
        up = None if pre else _up(weeds, day)
        return cls(stages, "pre" if pre else "post", air_c, efficacy, resisted, up)

    def by(
        self, actives: Sequence[str], rate_share: float | None = 1.0
    ) -> tuple[TrialControl, ...]:
        """What trials let expect of actives, weed by weed; none where no trial is at hand."""
        found = []
        for code, stage in self.stages_bbch.items():
            control = expected_control(
                code,
                actives,
                timing=self.timing,
                stage_bbch=stage,
                rate_share=rate_share,
                air_c=self.air_c,
                resistant_groups=self.resisted.get(code, frozenset()),
                table=self.efficacy,
            )
            if control is not None:
                ends = control.low, control.high
                source = "; ".join(control.sources)
                found.append(
                    TrialControl(
                        code, *ends, source, "", control.middle, control.trials, control.own_trials
                    )
                )
        return tuple(found)

    def share(self, trials: Sequence[TrialControl]) -> float | None:
        """Mean control of the weeds, of one without a trial none; None where none has one."""
        if not trials:
            return None
        return sum(trial.middle for trial in trials) / len(self.stages_bbch)


def _stage(weed: Emergence, day: int) -> float | None:
    """Mean stage over the futures; None where one does not tell, or by a general clock."""
    stages = np.atleast_2d(weed.mean_bbch)[:, day]
    return None if weed.doubt_weeks or np.isnan(stages).any() else float(stages.mean())


def _up(weeds: Sequence[Emergence], day: int) -> float | None:
    """Share of the season's weeds up on a day; None where it is not told of each."""
    shares = [float(np.atleast_2d(weed.share)[:, day].mean()) for weed in weeds]
    return None if not shares or np.isnan(shares).any() else sum(shares) / len(shares)


def _resisted(code: str, resistance: Resistances) -> frozenset[int]:
    return frozenset(
        status.group
        for status in resistance.statuses
        if status.standing == "resistant" and status.weed in ("", code)
    )


def evidence_said(trial: TrialControl) -> Phrase:
    """How many published trials and which own ones a figure rests on."""
    if not trial.own:
        return say("evidence.published", trials=trial.trials)
    if not trial.trials:
        return say("evidence.own", trials=len(trial.own), own=names(*trial.own))
    return say("evidence.both", trials=trial.trials, own=names(*trial.own))


def said_of(trial: TrialControl) -> dict[str, Value]:
    """The values of a sentence on what to expect."""
    return {
        "evidence": evidence_said(trial),
        "middle": Share(trial.middle),
        "low": Share(trial.low),
        "high": Share(trial.high),
        "weed": say(f"weed.{trial.weed}"),
    }


def trial_phrases(trials: Sequence[TrialControl]) -> list[Phrase]:
    """A sentence for each weed."""
    return [say("cover.trials", **said_of(trial)) for trial in trials]
