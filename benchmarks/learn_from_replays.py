"""What a rule of timing is worth: one application of seasons lived by it, under other values.

Usage: python benchmarks/learn_from_replays.py PURPOSE FOLLOWER VARIANTS.json WEATHER...

VARIANTS.json holds, by a name, the science values to try in place of the packaged ones, by table
and path: ``{"later": {"purposes.post-early.grade.share_up.at": [0.35, 0.75]}}``. Each season is
lived by FOLLOWER ("golf", "rain_only"; see verify/followers.py), who sprays for PURPOSE alone; what
is printed is the share of the weeds that this controls, and how many sprays it took, beside rules
and hindsight.
Stations that a rule is learnt on are not those it is scored on (docs/advice.md names them).
"""

from __future__ import annotations

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, cast

import numpy as np

from windowcast.core.values import PACKAGED
from windowcast.materials.actives import load_actives
from windowcast.sources.files import read_weather
from windowcast.verify.advice import ReplayedStation, alone
from windowcast.verify.as_known import in_its_zone
from windowcast.verify.followers import FOLLOWERS, Follower, tanks_of
from windowcast.verify.following import ForeseenMornings, follow
from windowcast.verify.foresight import foresight
from windowcast.verify.lived import lived
from windowcast.verify.simple_rules import by_rules
from windowcast.verify.worth import Worlds
from windowcast.windows.model import PurposeName

SEASONS = (2014, 2017)
Variants = dict[str, dict[str, Any]]


def station(
    path: str, purpose: PurposeName, follower: Follower, variants: Variants
) -> list[dict[str, tuple[float, int]]]:
    """Each season of a station: variant, rule or hindsight → share controlled, and sprays."""
    here = ReplayedStation(in_its_zone(read_weather(path)), load_actives())
    found = []
    for season in SEASONS:
        came = lived(here.known(season), season)
        if came is None:
            continue
        worlds = Worlds.of(here.ground(follower), came)
        tanks = tanks_of(here.materials, worlds.tables["efficacy"])
        done = {}
        for name, values in {"as it is": {}, **variants}.items():
            mornings = ForeseenMornings(came, PACKAGED.varied(values), compiled=True)
            lives = follow(mornings, {follower: worlds}, here.materials, purposes=(purpose,))
            done[name] = lives[follower].done
        done |= by_rules(came, worlds, tanks, known=came.on)
        done["hindsight"] = foresight(worlds, {purpose: tanks[purpose]}, 1, least_gain=0.0)
        its = {who: [d for d in own if d.applied.purpose == purpose] for who, own in done.items()}
        found.append({who: (alone(purpose, own, worlds), len(own)) for who, own in its.items()})
    return found


def main(purpose: str, follower: str, variants: str, *paths: str) -> None:
    """Print the table."""
    tried = json.loads(Path(variants).read_text(encoding="utf-8"))
    name, count = cast(PurposeName, purpose), len(paths)
    who = next(one for one in FOLLOWERS if one.name == follower)
    with ProcessPoolExecutor() as pool:
        results = pool.map(station, paths, [name] * count, [who] * count, [tried] * count)
        seasons = [season for one in results for season in one]
    print(f"{len(seasons)} seasons of {count} stations, {purpose}, {follower}")
    for who in seasons[0]:
        shares, sprays = np.array([season[who] for season in seasons]).T
        print(f"{who:24} {np.nanmean(shares):6.1%}  sprays {sprays.mean():.2f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
