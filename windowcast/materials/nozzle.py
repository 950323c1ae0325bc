"""Whether the nozzles give the flow that the carrier volume needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase, Share, say
from windowcast.core.values import PACKAGED, Tables


@dataclass(frozen=True, slots=True)
class NozzleCheck:
    """What each nozzle must give, and what was caught.

    `error` is the share by which the caught flow is off; `speed_m_s_to_match` the speed at which
    the caught flow would give the carrier volume.
    """

    needed_l_min: float
    caught_l_min: float | None
    error: float | None
    within_tolerance: bool | None
    speed_m_s_to_match: float | None
    text: Phrase


def nozzle_check(
    carrier_l_ha: float,
    speed_m_s: float,
    spacing_m: float,
    caught_l_min: float | None = None,
    *,
    tables: Tables = PACKAGED,
) -> NozzleCheck:
    """Flow each nozzle must give, compared with what was caught from it.

    In US units this is gal/min = gal/acre × mph × inches / 5940 (Univ. Florida IFAS WG013), where
    5940 is exact: 43,560 ft² × 12 in ÷ 88 ft/min.
    """
    for name, value in (("carrier", carrier_l_ha), ("speed", speed_m_s), ("spacing", spacing_m)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"{value:g} is not above zero", field=name)
    needed = carrier_l_ha / 1e4 * speed_m_s * spacing_m * 60
    if caught_l_min is None:
        return NozzleCheck(needed, None, None, None, None, say("nozzle.catch"))
    if not caught_l_min > 0:
        raise InputError(f"{caught_l_min:g} is not above zero", field="flow")
    error = caught_l_min / needed - 1
    tolerance = tables["tank"].number("nozzle.tolerance")
    good = abs(error) <= tolerance
    text = _off(error)
    if not good:
        text = say("nozzle.change", off=text, most=Share(tolerance))
    return NozzleCheck(needed, caught_l_min, error, good, speed_m_s * caught_l_min / needed, text)


def _off(error: float) -> Phrase:
    """How far a flow is off, as it is written: in whole percent."""
    if round(100 * abs(error)) == 0:
        return say("nozzle.right")
    return say("nozzle.too_much" if error > 0 else "nozzle.too_little", share=Share(abs(error)))
