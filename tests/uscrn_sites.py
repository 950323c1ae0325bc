"""USCRN records of tests/data/uscrn as checked records and site states, each built once."""

from functools import cache
from pathlib import Path

from windowcast.core.record import Record
from windowcast.core.site import Site, site_from
from windowcast.season.model import SiteState
from windowcast.season.state import Carry, build
from windowcast.sources.uscrn import read_uscrn
from windowcast.weather.gaps import filled

FOLDER = Path(__file__).parent / "data" / "uscrn"
MID_ATLANTIC = "VA_Charlottesville_2_SSE"
MID_SOUTH = "KY_Bowling_Green_21_NNE"
DEEP_SOUTH = "AL_Selma_13_WNW"
OHIO = "OH_Coshocton_8_NNE"


def site(**keys: object) -> Site:
    """An invented site; the place of the weather comes with the record."""
    plain: dict[str, object] = {
        "name": "Test ground",
        "latitude": 38.0,
        "longitude": -78.5,
        "timezone": "America/New_York",
        "weeds": ["POAAN", "DIGIS", "DIGSA"],
        "turf": {"species": "hybrid bermudagrass", "overseeded": False, "mature": True},
    }
    return site_from({**plain, **keys})


@cache
def record(station: str) -> Record:
    """The station's record with short gaps filled."""
    return filled(read_uscrn(FOLDER / f"{station}.txt.gz"))


@cache
def state(station: str) -> tuple[SiteState, Carry]:
    """The state of the invented site in the station's weather."""
    return build(record(station), site())
