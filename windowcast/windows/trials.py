"""Control in published trials, to stand beside the share that emerges while a residual holds."""

from __future__ import annotations

from collections.abc import Sequence

from windowcast.core.phrase import Name, Phrase, Share, say
from windowcast.core.values import Table
from windowcast.windows.model import TrialControl


def trials_of(active: str, codes: Sequence[str], efficacy: Table) -> tuple[TrialControl, ...]:
    """What trials of an active say of the weeds, by EPPO code; none where no trial is at hand.

    Parameters
    ----------
    efficacy
        ``data/efficacy.toml``.
    """
    found = []
    for code in codes:
        if active in efficacy and code in efficacy.table(active):
            value = efficacy.table(active).value(code)
            low, high = value.ends
            found.append(TrialControl(code, low / 100, high / 100, value.source, value.note))
    return tuple(found)


def trial_phrases(trials: Sequence[TrialControl]) -> list[Phrase]:
    """A sentence for each weed."""
    return [
        say(
            "cover.trials",
            low=Share(trial.low),
            high=Share(trial.high),
            weed=say(f"weed.{trial.weed}"),
            source=Name(trial.source),
        )
        for trial in trials
    ]
