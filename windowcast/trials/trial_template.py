"""The commented trial file that ``windowcast trial new`` writes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from windowcast.core.given_files import parsed_toml
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_file import TrialDesign, trial_from

_TEMPLATE = """\
# A plot trial for windowcast. Lines that begin with # are comments; take the # away to use them.
# What was seen on the plots is not written here: windowcast trial import reads it from your tables.

name = {name}
# rcbd: complete blocks; crd: no blocks; factorial: every treatment at every timing, in blocks;
# split-plot: the same, with the timings (or the treatments) as main plots.
design = {design}
replicates = {replicates}  # blocks at each site; without blocks, plots of each treatment
# The same seed always gives the same plan. Another seed, another order or name of sites, or another
# number of treatments gives another plan: change none of them once the plots are staked.
# Without it the trial was randomised elsewhere, and your tables say what each plot got.
seed = {seed}
# main_plots = "treatment"  # of a split plot; else the timings
# columns = 6  # plots side by side; left out, a block is one row
# serpentine = true  # plot numbers run back in every second row
# plot_width = "5 ft"
# plot_length = "10 ft"
units = "{units}"  # "us" or "metric", of what is shown
# language = "es"  # of sheets and reports: "en" or "es"
# log_file = "season.log.sqlite"  # where ratings are kept; left out, a log beside this file
# authors = ["R. Vega"]  # for the report

# Each site with its own place and weather.
{sites}
# When treatments are given. Under applied, write the day (and hour) each site was sprayed: days
# after treatment are counted from there, and the weather of that hour is looked up.
[[timing]]
code = "A"
name = "early post-emergent"
# planned = 2026-11-15
# stage_bbch = 12  # of the weeds that day; 0: not up yet
# [timing.applied]
# {site} = 2026-11-18T10:15:00

[[timing]]
code = "B"
name = "dormant application"
# planned = 2027-01-20

# Treatments. No brands: active ingredients by ISO common name with their rate, a mixture has more.
# A check is "untreated", "weed-free" (kept clean by hand) or "standard" (what is usual).
[[treatment]]
name = "untreated"
check = "untreated"
# plots = 2  # of it in every block

{treatments}
# What is rated: {measures}.
[[measure]]
what = "control %"
weed = {weed}
days = [14, 28, 56]  # after the treatment

[[measure]]
what = "injury %"
days = [7, 14, 28]

# [[measure]]
# what = "count per m2"
# weed = {weed}
# before = true  # also before anything is sprayed
# frame = "1 ft2"  # what one count covers
# frames = 3  # counted on each plot
"""
_SITE = """\
[[site]]
name = {name}
latitude = {latitude}  # degrees north
longitude = {longitude}  # degrees east, negative west of Greenwich
# elevation_m = 250
# replicates = 3  # if other than above
# [site.turf]
# species = "hybrid bermudagrass"
# [site.weather]
# files = ["north-station.csv"]  # none: the station archive, as in a site file
"""
_TREATMENT = """\
[[treatment]]
name = {name}
{timing}
materials = [{rate}]
# adjuvant = "nonionic surfactant 0.25 %"
"""


@dataclass(frozen=True, slots=True)
class NewTrial:
    """What is known of a new trial; sites by name, latitude and longitude [degree]."""

    name: str
    sites: Sequence[tuple[str, float, float]]
    design: TrialDesign = "rcbd"
    replicates: int = 4
    seed: int = 0
    units: str = "us"
    weed: str = "POAAN"


def trial_toml(new: NewTrial) -> str:
    """A commented trial file; it is checked before it is given back.

    Raises
    ------
    InputError
        Something in it is out of range; named by its key.
    """
    crossed = new.design in {"factorial", "split-plot"}
    timing = "# every timing, by the design" if crossed else 'timing = ["{}"]'
    pairs = [("glyphosate", "B", "glyphosate 0.5 lb/acre"), ("simazine", "A", "simazine 1 lb/acre")]
    text = _TEMPLATE.format(
        name=_quoted(new.name),
        design=_quoted(new.design),
        replicates=new.replicates,
        seed=new.seed,
        units=new.units,
        site=_quoted(new.sites[0][0]),
        sites="\n".join(
            _SITE.format(name=_quoted(name), latitude=float(lat), longitude=float(lon))
            for name, lat, lon in new.sites
        ),
        treatments="\n".join(
            _TREATMENT.format(name=_quoted(name), timing=timing.format(code), rate=_quoted(rate))
            for name, code, rate in pairs
        ),
        measures=", ".join(MEASURES),
        weed=_quoted(new.weed),
    )
    trial_from(parsed_toml(text))
    return text


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
