"""What every output says beside its advice, in one place."""

from __future__ import annotations

from windowcast.core.phrase import Phrase, say

CAUTIONS: tuple[Phrase, ...] = (
    say("caution.label"),
    say("caution.judgement"),
    say("caution.people"),
    say("caution.water"),
    say("caution.entry"),
)
