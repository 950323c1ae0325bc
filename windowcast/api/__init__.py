"""The public Python interface: what the command line answers, as functions.

Each function takes a site (a `Site`, the path of a site file, or its contents as a dict) and
weather (the path of a file, a `Record`, a pandas DataFrame, several of these in order of
preference, or a finished `Weather`). Without weather it is found as the command line finds it:
in the files that the site names, in the station archive and in the forecast.

``import windowcast`` loads none of this; ``windowcast.rank`` does, at its first use.
"""

from windowcast.api.answers import answer, answers, plan_of, rank, season_plan, words
from windowcast.api.inputs import load_site, load_weather, read_weather
from windowcast.api.regions import compare
from windowcast.api.soil import simulate_soil

__all__ = [
    "answer",
    "answers",
    "compare",
    "load_site",
    "load_weather",
    "plan_of",
    "rank",
    "read_weather",
    "season_plan",
    "simulate_soil",
    "words",
]
