"""Soil measured at public stations around a site: the nearest of two networks.

They are the US Climate Reference Network and the soil network of the US Natural Resources
Conservation Service. What comes is the record of a station at its own place;
`windowcast.weather.soil_nearby` judges it.
"""

from __future__ import annotations

from functools import partial

from windowcast.core.phrase import Name, say
from windowcast.core.record import Record
from windowcast.core.source_flags import remark
from windowcast.sources.fetch import Fetcher
from windowcast.sources.http_answer import FetchError, Kind
from windowcast.sources.nrcs_soil import NrcsSoil
from windowcast.sources.side_by_side import side_by_side
from windowcast.sources.soil_network import SoilStation, near
from windowcast.sources.source import Found, Request
from windowcast.sources.uscrn_network import UscrnSoil


def around(request: Request, fetcher: Fetcher) -> Found:
    """Records of the nearest stations that measure soil, as `Found.nearby`.

    A network that cannot be asked is a remark, and costs nothing else.
    """
    networks = [network for network in (UscrnSoil(), NrcsSoil()) if network.covers(request.place)]
    failed: list[FetchError] = []

    def listed(network: UscrnSoil | NrcsSoil) -> list[SoilStation]:
        try:
            return network.stations(fetcher)
        except FetchError as error:
            failed.append(error)
            return []

    def read(station: SoilStation) -> Record | None:
        try:
            return station.read(request, fetcher)
        except FetchError as error:
            failed.append(error)
            return None

    lists = side_by_side([partial(listed, network) for network in networks], len(networks))
    chosen = near([station for found in lists for station in found], request.place)
    records = side_by_side([partial(read, station) for station in chosen], len(chosen))
    nearby = tuple(record for record in records if record is not None)
    flags = [
        remark("stale-archive", say("flag.kept_soil", station=Name(record.place.name)))
        for record in nearby
        if any(origin.stale for origin in record.provenance)
    ]
    told = [error for error in failed if error.kind is not Kind.OFFLINE]
    if told:
        text = say("flag.no_soil_network", problem=Name(str(told[0])))
        flags.append(remark("soil-network-unreachable", text, count=len(told)))
    return Found((), tuple(flags), nearby)
