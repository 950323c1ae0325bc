"""Reading a MOSMIX file: a zip with one KML of hourly series, a missing value written ``-``.

The XML is taken apart by the library's own parser, which is stopped at the first declaration of a
document type or an entity; sizes are bounded before and while anything is unpacked.
"""

from __future__ import annotations

import io
import math
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from xml.parsers import expat

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.sources.intervals import HOUR_S, instant_s

MOST_BYTES = 4_000_000  # of the KML; real ones have 0.35 MB
MOST_STEPS = 400
_DWD = "https://opendata.dwd.de/weather/lib/pointforecast_dwd_extension_V1_0.xsd"
_KML = "http://www.opengis.net/kml/2.2"


@dataclass(frozen=True)
class StationForecast:
    """One file.

    Attributes
    ----------
    station, name
        Id and name of the station.
    latitude_deg, longitude_deg, height_m
        Of the station; decimal degrees.
    issued_s
        POSIX seconds.
    times
        Ends of the hours, ``datetime64[h]`` UTC, ``[step]``, in a row.
    series
        Element → values in the service's units, ``[step]``, NaN where missing.
    """

    station: str
    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float
    issued_s: float
    times: DateArray
    series: dict[str, FloatArray]

    def get(self, element: str) -> FloatArray:
        """Values of an element, all NaN where the file has none."""
        return self.series.get(element, np.full(len(self.times), np.nan))


def read_kmz(body: bytes, elements: Iterable[str]) -> StationForecast:
    """The file as served.

    Parameters
    ----------
    elements
        Names of the series that are read; the others are skipped.

    Raises
    ------
    ValueError
        It is no such file; the message is a clause that says why.
    """
    return read_kml(_unzipped(body), elements)


def _unzipped(body: bytes) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as packed:
            names = [i for i in packed.infolist() if i.filename.lower().endswith(".kml")]
            if len(names) != 1:
                raise ValueError(f"its zip file holds {len(names)} forecasts instead of one")
            if names[0].compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise ValueError("its zip file is packed in an unknown way")
            with packed.open(names[0]) as file:
                text = file.read(MOST_BYTES + 1)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError):
        raise ValueError("its zip file is damaged") from None
    if len(text) > MOST_BYTES:
        raise ValueError("its zip file unpacks to far too much")
    return text


class _Taken:
    """What the parser has come across."""

    def __init__(self, elements: Iterable[str]) -> None:
        self.wanted = frozenset(elements)
        self.texts: dict[str, str] = {}  # the first of each
        self.steps: list[str] = []
        self.series: dict[str, str] = {}
        self.stations = 0
        self._element = ""
        self._into: list[str] | None = None

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        space, _, name = tag.rpartition(" ")
        if space == _DWD and name == "Forecast":
            self._element = attributes.get(f"{_DWD} elementName", "")
        self.stations += space == _KML and name == "Placemark"
        wanted = (space == _DWD and name in ("IssueTime", "TimeStep")) or (
            space == _KML and name in ("name", "description", "coordinates")
        )
        if wanted or (space == _DWD and name == "value" and self._element in self.wanted):
            self._into = []

    def text(self, text: str) -> None:
        if self._into is not None:
            self._into.append(text)

    def end(self, tag: str) -> None:
        if self._into is None:
            return
        name, said = tag.rpartition(" ")[2], "".join(self._into).strip()
        self._into = None
        if name == "TimeStep":
            self.steps.append(said)
            if len(self.steps) > MOST_STEPS:
                raise ValueError("its forecast has too many steps")
        elif name == "value":
            self.series[self._element] = said
        else:
            self.texts.setdefault(name, said)


def _refused(*_: object) -> None:
    raise ValueError("its answer declares a document type or entities")


def read_kml(text: bytes, elements: Iterable[str]) -> StationForecast:
    """The KML of one station; see `read_kmz`.

    Raises
    ------
    ValueError
        As for `read_kmz`.
    """
    taken = _Taken(elements)
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _refused
    parser.EntityDeclHandler = _refused
    parser.StartElementHandler = taken.start
    parser.CharacterDataHandler = taken.text
    parser.EndElementHandler = taken.end
    try:
        parser.Parse(text, True)
    except (expat.ExpatError, LookupError):  # an unknown encoding is a LookupError
        raise ValueError("its XML is broken") from None
    if taken.stations != 1 or not taken.steps:
        raise ValueError("its answer is no forecast of one station")
    try:
        issued_s = instant_s(taken.texts["IssueTime"])
        at = np.array([instant_s(step) for step in taken.steps])
        east, north, height = (float(x) for x in taken.texts["coordinates"].split(","))
        series = {name: _numbers(said, len(at)) for name, said in taken.series.items()}
    except (KeyError, ValueError, OverflowError):
        raise ValueError("its answer is not as documented") from None
    if (np.diff(at) != HOUR_S).any() or at[0] % HOUR_S:
        raise ValueError("its steps are not hours in a row")
    if abs(at[0] - issued_s) > 2 * 86400:
        raise ValueError("its hours do not belong to its time of issue")
    if not all(map(math.isfinite, (east, north, height))):
        raise ValueError("its answer does not say where the station is")
    times = (at / HOUR_S).astype(np.int64).astype("datetime64[h]")
    name = taken.texts.get("description", "")
    return StationForecast(
        taken.texts.get("name", ""), name, north, east, height, issued_s, times, series
    )


def _numbers(said: str, count: int) -> FloatArray:
    """Blank-separated numbers, ``-`` where missing.

    Raises
    ------
    ValueError
        Not as many as there are steps, or something else among them.
    """
    words = said.split()
    if len(words) != count:
        raise ValueError
    values = np.array([np.nan if word == "-" else float(word) for word in words])
    return np.where(np.isfinite(values), values, np.nan)
