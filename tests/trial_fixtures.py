"""The file of a small trial in blocks, as text that a test may alter."""

from __future__ import annotations

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
