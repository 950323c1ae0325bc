"""Control to expect by published trials, to stand beside what a window or a residual offers."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from windowcast.core.phrase import Phrase, Share, say
from windowcast.core.values import Table
from windowcast.materials.efficacy import Timing, expected_control
from windowcast.windows.model import TrialControl


def trials_of(
    actives: Sequence[str],
    stages_bbch: Mapping[str, float | None],
    *,
    timing: Timing,
    air_c: float | None,
    efficacy: Table,
    rate_share: float | None = 1.0,
    resistant_groups: Collection[int] = (),
) -> tuple[TrialControl, ...]:
    """What trials let expect of actives on weeds; none where no trial is at hand.

    Parameters
    ----------
    stages_bbch
        EPPO code → stage of the weed; see `expected_control` for the rest.
    efficacy
        ``data/efficacy.toml``.
    """
    found = []
    for code, stage in stages_bbch.items():
        control = expected_control(
            code,
            actives,
            timing=timing,
            stage_bbch=stage,
            rate_share=rate_share,
            air_c=air_c,
            resistant_groups=resistant_groups,
            table=efficacy,
        )
        if control is not None:
            ends = control.low, control.high
            source = "; ".join(control.sources)
            found.append(TrialControl(code, *ends, source, "", control.middle, control.trials))
    return tuple(found)


def trial_phrases(trials: Sequence[TrialControl]) -> list[Phrase]:
    """A sentence for each weed."""
    return [
        say(
            "cover.trials",
            trials=trial.trials,
            middle=Share(trial.middle),
            low=Share(trial.low),
            high=Share(trial.high),
            weed=say(f"weed.{trial.weed}"),
        )
        for trial in trials
    ]
