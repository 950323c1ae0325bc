"""A small trial in blocks: its file as text that a test may alter, and ratings of its plots."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Mapping

from windowcast.records.model import Rating
from windowcast.trials.layout import plan_of
from windowcast.trials.trial_file import TrialFile

PLACES = {"North": (33.3, -84.3), "South": (31.3, -84.3), "West": (32.3, -86.3)}


def trial_text(*treated: str, more: str = "", weed: str = "", **applied: str) -> str:
    """Trial "Timing": `treated` beside an untreated check, each site sprayed when `applied` says.

    Rated are control of POAAN, and a count of `weed` in frames of 0.25 m². `more` are other keys
    of the trial.
    """
    sites = "".join(
        '[[site]]\nname = "{}"\nlatitude = {}\nlongitude = {}\n'.format(site, *PLACES[site])
        for site in applied
    )
    sprayed = "".join(f"{site} = {when}\n" for site, when in applied.items())
    treatments = "".join(f'[[treatment]]\nname = "{name}"\ntiming = ["A"]\n' for name in treated)
    return f"""
name = "Timing"
design = "rcbd"
seed = 7
{more}
{sites}[[timing]]
code = "A"
[timing.applied]
{sprayed}[[treatment]]
name = "untreated"
check = "untreated"
{treatments}[[measure]]
what = "control %"
weed = "POAAN"
[[measure]]
what = "count per m2"
frame = "0.25 m2"
{f'weed = "{weed}"' if weed else ""}
"""


def rated(
    trial: TrialFile, *days: int, levels: Mapping[str, float], measure: str = "control %"
) -> list[Rating]:
    """Every plot of the trial so many days after its site was sprayed, near its treatment's level.

    A level of 0 stays 0; a percentage stays within 0 and 100.
    """
    chance, found = random.Random(3), []
    for plot in plan_of(trial):
        applied, level = trial.timing[0].date_at(plot.site), levels[plot.arm.name]
        assert applied is not None
        for day in days:
            value = float(round(level + chance.gauss(0, 6))) if level else 0.0
            found.append(
                Rating(
                    applied + dt.timedelta(days=day), min(max(value, 0.0), 100.0), measure,
                    weed="POAAN", trial=trial.name, plot=plot.plot, treatment=plot.arm.name,
                    block=str(plot.block), location=plot.site,
                )
            )  # fmt: skip
    return found
