"""Which treatment a name means: as in the trial file, by its number, or as trials call a check."""

from __future__ import annotations

import re
from collections.abc import Sequence

from windowcast.trials.layout import TrialArm
from windowcast.trials.trial_file import CheckKind

_NUMBER = re.compile(r"(?:trt|treatment|t|no\.?|#)?\s*(\d+)(?:\.0)?", re.IGNORECASE)
# words of a check, without spaces, hyphens and capitals
_CHECKS: dict[CheckKind, tuple[str, ...]] = {
    "untreated": (
        "utc", "ntc", "ut", "nt", "unt", "untreated", "nontreated", "untreatedcheck", "check",
        "nontreatedcheck", "untreatedcontrol", "nontreatedcontrol", "control", "weedy", "unsprayed",
        "weedycheck", "nontreatedweedy", "testigo", "testigosintratar", "sintratar",
        "testigoabsoluto",
    ),
    "weed-free": (
        "weedfree", "weedfreecheck", "wfc", "handweeded", "handweededcheck", "testigolimpio",
        "libredemaleza",
    ),
    "standard": ("standard", "std", "standardcheck", "grower", "estandar"),
}  # fmt: skip
_KIND = {word: kind for kind, words in _CHECKS.items() for word in words}


def arm_named(text: str, timing: str, arms: Sequence[TrialArm]) -> TrialArm | None:
    """The treatment that a cell means; None where it could be none or several.

    `timing` is the code beside it in a table of a factorial; "" where there is none.
    """
    name = text.strip().casefold()
    whole = [arm for arm in arms if arm.name.casefold() == name]
    crossed = [
        arm
        for arm in arms
        if arm.factor.casefold() == name
        and timing
        and timing.casefold() in map(str.casefold, arm.timing)
    ]
    for found in (crossed, whole):
        if len(found) == 1:
            return found[0]
    if number := _NUMBER.fullmatch(name):
        return next((arm for arm in arms if arm.number == int(number[1])), None)
    kind = _KIND.get(re.sub(r"[\W_]+", "", name))
    checks = [arm for arm in arms if kind is not None and arm.check == kind]
    return checks[0] if len(checks) == 1 else None
