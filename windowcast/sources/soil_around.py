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
from windowcast.sources import nrcs_soil, uscrn_network
from windowcast.sources.fetch import Fetcher
from windowcast.sources.forecast import ForecastSource
from windowcast.sources.http_answer import FetchError, Kind
from windowcast.sources.side_by_side import side_by_side
from windowcast.sources.soil_network import SoilNetwork, SoilStation, near
from windowcast.sources.source import Found, Request

NETWORKS = (uscrn_network.NETWORK, nrcs_soil.NETWORK)


def around(request: Request, fetcher: Fetcher) -> Found:
    """Records of the nearest stations that measure soil, as `Found.nearby`.

    A network that cannot be asked is a remark, and costs nothing else.
    """
    if not ForecastSource().covers(request.place):  # both stand where that service forecasts
        return Found()
    failed: list[FetchError] = []

    def listed(network: SoilNetwork) -> list[SoilStation]:
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

    lists = side_by_side([partial(listed, each) for each in NETWORKS], len(NETWORKS))
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
