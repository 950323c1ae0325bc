"""Hold the scoring of replayed seasons against published trials by date (docs/advice_seen.md).

    python benchmarks/check_advice_seen.py WEATHER... [--sightings FILE] [--in-sample]

WEATHER: daily files with their places, at most 150 km from the trials. Prints JSON.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from advice_seen import seen_scores

from windowcast.sources.files import read_weather

TRIALS = Path(__file__).parent / "trials_by_date.csv"


def main() -> None:
    """Print the totals and every trial."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("weather", nargs="+")
    parser.add_argument("--sightings", help="CSV of dated sightings of turf")
    parser.add_argument("--in-sample", action="store_true", help="fitted on these trials too")
    given = parser.parse_args()
    found = seen_scores(
        TRIALS,
        [read_weather(file) for file in given.weather],
        sightings=given.sightings,
        left_out=not given.in_sample,
        on_trial=lambda name: print(name, file=sys.stderr),
    )
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
