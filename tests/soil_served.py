"""Stations that measure soil as their networks publish them, made of real USCRN lines (Selma AL).

The live file of an hour and the reports of the second network are made up in their documented form
from the same values: no recorded ones were at hand.
"""

from __future__ import annotations

import datetime as dt
import gzip
import json
from pathlib import Path
from typing import Any

from loopback import Answer, Loopback

SELMA = Path(__file__).parent / "data" / "uscrn" / "CRND0103-AL_Selma_13_WNW.txt.gz"
NUMBER = 63858
FOLDER = "/pub/data/uscrn/products"
SERVICE = "/awdbRestApi/services/v1"
TODAY = dt.date(2018, 3, 1)
HEADER = (
    "WBAN\tCOUNTRY\tSTATE\tLOCATION\tVECTOR\tNAME\tLATITUDE\tLONGITUDE\tELEVATION\tSTATUS"
    "\tCOMMISSIONING\tCLOSING\tOPERATION\tPAIRING\tNETWORK\tSTATION_ID"
)
SELMA_ROW = (
    "63858\tUS\tAL\tSelma\t13 WNW\tAuburn University\t32.46\t-87.24\t190\tCommissioned"
    "\t2005-01-01\tNA\tOperational\tNA\tUSCRN\t1195"
)


def lines() -> list[bytes]:
    """The station's days, as published."""
    return gzip.decompress(next(SELMA.parent.glob("*Selma*")).read_bytes()).splitlines()


def year_of(year: int, last: dt.date | None = None) -> bytes:
    """A yearly file, up to a day."""
    end = f"{last or dt.date(year, 12, 31):%Y%m%d}".encode()
    return b"".join(
        line + b"\n" for line in lines() if line[6:10] == b"%d" % year and line[6:14] <= end
    )


def text(body: bytes) -> Answer:
    return Answer(body, type="text/plain")


def serve_uscrn(server: Loopback, last: dt.date) -> None:
    """List and daily files; nothing after a day."""
    server.routes[f"{FOLDER}/stations.tsv"] = text(f"{HEADER}\n{SELMA_ROW}\n".encode())
    for year in range(2015, last.year + 1):
        path = f"{FOLDER}/daily01/{year}/CRND0103-{year}-AL_Selma_13_WNW.txt"
        server.routes[path] = text(year_of(year, last))


def hour_line(end: dt.datetime, soil_c: float, number: int = NUMBER) -> bytes:
    """A line of the hourly product for the hour that ends at a local time (UTC-6)."""
    utc = end + dt.timedelta(hours=6)
    stamps = f"{number:05d} {utc:%Y%m%d %H%M} {end:%Y%m%d %H%M}"
    cells = "3 -87.24 32.46 15.0 14.8 16.0 13.5 0.2 120 0 200 0 50 0 C 16.0 0 17.0 0 14.0 0 80 0"
    return (
        f"{stamps} {cells} -99.000 -99 -99 -99 -99 {soil_c:.1f} 14.1 13.9 -9999.0 -9999.0".encode()
    )


def live_file(*rows: bytes) -> bytes:
    """A live file: five header lines, two of them with CR CR LF, and an ETX at the end."""
    head = b"header one\r\r\nheader two\nheader three\nheader four\r\r\nheader five\n"
    return head + b"\n".join(rows) + b"\n\r\r\n\x03"


def nrcs_list(**changed: Any) -> bytes:
    row = {
        "stationTriplet": "2057:AL:SCAN",
        "stationId": "2057",
        "stateCode": "AL",
        "networkCode": "SCAN",
        "name": "Long Field",
        "elevation": 190.0,
        "latitude": 32.46,
        "longitude": -87.24,
        "dataTimeZone": -6.0,
    }
    return json.dumps([row | changed, {"stationTriplet": "odd"}, None]).encode()


def element(code: str, unit: str, values: list[dict[str, Any]], depth: Any = None) -> Any:
    about = {"elementCode": code, "ordinal": 1, "storedUnitCode": unit, "heightDepth": depth}
    return {"stationElement": about, "values": values}


def station(*elements: Any) -> bytes:
    return json.dumps([{"stationTriplet": "2057:AL:SCAN", "data": list(elements)}]).encode()


def serve_both(server: Loopback) -> None:
    """Selma of the one network and a made-up field a little farther off of the other."""
    serve_uscrn(server, TODAY - dt.timedelta(1))
    days = [dt.date(2017, 6, 1) + dt.timedelta(n) for n in range(273)]
    hours = [{"date": f"{day} {h:02d}:00", "value": 55.0} for day in days for h in range(24)]
    each = [{"date": f"{day}", "value": 60.0} for day in days]
    base = f"{SERVICE}/data?stationTriplets=2057:AL:SCAN&beginDate=2016-03-01&endDate=2100-01-01"
    server.routes |= {
        f"{SERVICE}/stations?stationTriplets=*:*:SCAN&activeOnly=true": Answer(
            nrcs_list(latitude=32.7)
        ),
        f"{base}&duration=HOURLY&elements=STO:-2&periodRef=END": Answer(
            station(element("STO", "degF", hours, -2))
        ),
        f"{base}&duration=DAILY&elements=TMAX,TMIN,PRCP&periodRef=START": Answer(
            station(element("TMAX", "degF", each), element("TMIN", "degF", each))
        ),
    }
