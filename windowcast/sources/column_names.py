"""Names that people and other programs give to columns of weather, and how they write units there.

A name counts only as a whole: ``Max temp (°F)`` is the highest temperature, ``Max temp inside`` is
not ours. The unit stands in brackets, behind a comma, or behind the name. Names in Spanish,
Portuguese, French and German, without their accents, count like the English ones: our own list of
plain words.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from windowcast.sources.written_dates import Order, offset_written

# quantity of the schema without its unit → names; blanks, _, -, / and . count alike
_BOTH = {
    "precip": (
        "precip", "precipitation", "rain", "rainfall", "prcp", "rain total", "total rain",
        "precip total", "total precip", "total precipitation", "rain amount", "rain depth",
    ),
    "soil_5cm": (
        "soil temp 5cm", "soil temp 5 cm", "soil temperature 5 cm", "soil 5 cm", "soil temp 2in",
        "soil temp 2 in", "soil temperature 2 in", "5 cm soil temp", "2 in soil temp",
        "soil temp 2 inch", "2 inch soil temp",
    ),
}  # fmt: skip
DAILY_NAMES: Mapping[str, tuple[str, ...]] = {
    **_BOTH,
    "precip": (*_BOTH["precip"], "daily rain", "daily precip", "daily rainfall", "rain 24h"),
    "tmax": (
        "tmax", "t max", "max temp", "temp max", "maximum temp", "max temperature",
        "maximum temperature", "temperature max", "temperature maximum", "high", "high temp",
        "temp high", "high temperature", "temperature high", "daily high", "max air temp",
        "air temp max", "maximum air temp", "max air temperature", "maximum air temperature",
        "air temperature max",
    ),
    "tmin": (
        "tmin", "t min", "min temp", "temp min", "minimum temp", "min temperature",
        "minimum temperature", "temperature min", "temperature minimum", "low", "low temp",
        "temp low", "low temperature", "temperature low", "daily low", "min air temp",
        "air temp min", "minimum air temp", "min air temperature", "minimum air temperature",
        "air temperature min",
    ),
    "tmean": (
        "tmean", "tavg", "t avg", "avg temp", "temp avg", "average temp", "mean temp", "temp mean",
        "avg temperature", "average temperature", "mean temperature", "temperature avg",
        "temperature average", "temperature mean", "temp average", "mean air temp",
        "air temp mean", "avg air temp", "air temp avg", "average air temperature",
        "mean air temperature",
    ),
    "snow_depth": ("snow depth", "snowdepth", "snow on ground", "snwd"),
    "rh_mean": (
        "rh mean", "mean rh", "rh avg", "avg rh", "average rh", "rh", "humidity",
        "relative humidity", "mean humidity", "avg humidity", "average humidity",
        "mean relative humidity", "average relative humidity", "humidity avg", "humidity mean",
    ),
    "wind_mean": (
        "wind mean", "mean wind", "wind avg", "avg wind", "average wind", "wind", "wind speed",
        "windspeed", "avg wind speed", "average wind speed", "mean wind speed", "wind speed avg",
        "wind speed mean", "wind speed average", "awnd",
    ),
    "solar": (
        "solar", "solar radiation", "solar rad", "global radiation", "radiation", "srad",
        "total solar radiation", "solar total",
    ),
    "soil_10cm": (
        "soil temp 10cm", "soil temp 10 cm", "soil temperature 10 cm", "soil 10 cm",
        "soil temp 4in", "soil temp 4 in", "soil temperature 4 in", "10 cm soil temp",
        "4 in soil temp", "soil temp 4 inch", "4 inch soil temp",
    ),
}  # fmt: skip
HOURLY_NAMES: Mapping[str, tuple[str, ...]] = {
    **_BOTH,
    "precip": (*_BOTH["precip"], "hourly rain", "hourly precip", "hourly rainfall", "rain 1h"),
    "temp": (
        "temp", "temperature", "air temp", "air temperature", "outdoor temp", "outdoor temperature",
        "temp out", "outside temp", "outside temperature", "t air", "airtemp",
    ),
    "dewpoint": (
        "dewpoint", "dew point", "dew pt", "dew point temp", "dew point temperature", "dewpt",
    ),
    "rh": (
        "rh", "humidity", "relative humidity", "rel humidity", "rel hum", "outdoor humidity",
        "outside humidity", "out hum", "hum out",
    ),
    "wind": (
        "wind", "wind speed", "windspeed", "avg wind", "avg wind speed", "average wind speed",
        "wind speed avg", "wind avg", "mean wind speed", "wind spd",
    ),
    "gust": ("gust", "wind gust", "gust speed", "wind gust speed", "peak gust", "max gust"),
    "wind_from": (
        "wind direction", "wind dir", "winddir", "wind from", "wind direction from", "wdir",
    ),
    "precip_prob": ("rain probability", "probability of rain", "precip probability", "pop"),
    "cloud_fraction": ("cloud cover", "clouds", "cloudiness", "sky cover"),
    "pressure": ("sea level pressure", "slp", "mslp", "relative pressure"),
}  # fmt: skip
# the same in other languages
_BOTH_ABROAD: Mapping[str, tuple[str, ...]] = {
    "precip": (
        "lluvia", "lluvia total", "precipitacion", "precipitacion total", "chuva", "chuva total",
        "precipitacao", "precipitacao total", "pluie", "precipitations", "cumul de pluie",
        "niederschlag", "niederschlagssumme", "niederschlagsmenge", "regen", "regenmenge",
    ),
    "soil_5cm": (
        "temperatura del suelo 5 cm", "temperatura suelo 5 cm", "temp suelo 5 cm", "suelo 5 cm",
        "temperatura do solo 5 cm", "temp solo 5 cm", "solo 5 cm", "temperature du sol 5 cm",
        "temperature sol 5 cm", "sol 5 cm", "bodentemperatur 5 cm", "boden 5 cm",
    ),
}  # fmt: skip
DAILY_ABROAD: Mapping[str, tuple[str, ...]] = {
    **_BOTH_ABROAD,
    "precip": (*_BOTH_ABROAD["precip"], "lluvia diaria", "chuva diaria"),
    "tmax": (
        "temperatura maxima", "temp maxima", "t maxima", "maxima", "temperatura max",
        "temperature maximale", "temp maximale", "maximale", "hochsttemperatur",
        "maximaltemperatur", "temperatur max", "temperatur maximum", "lufttemperatur max",
    ),
    "tmin": (
        "temperatura minima", "temp minima", "t minima", "minima", "temperatura min",
        "temperature minimale", "temp minimale", "minimale", "tiefsttemperatur",
        "minimaltemperatur", "temperatur min", "temperatur minimum", "lufttemperatur min",
    ),
    "tmean": (
        "temperatura media", "temp media", "t media", "temperature moyenne", "temp moyenne",
        "mitteltemperatur", "temperatur mittel", "mittlere temperatur", "lufttemperatur mittel",
    ),
    "rh_mean": (
        "humedad", "humedad relativa", "humedad media", "humedad relativa media", "umidade",
        "umidade relativa", "umidade media", "umidade relativa media", "humidade relativa",
        "humidite", "humidite relative", "humidite moyenne", "luftfeuchte", "luftfeuchtigkeit",
        "relative luftfeuchte", "relative feuchte", "relative luftfeuchtigkeit",
    ),
    "wind_mean": (
        "viento", "viento medio", "velocidad del viento", "velocidad viento",
        "velocidad media del viento", "vento", "vento medio", "velocidade do vento",
        "velocidade media do vento", "vent", "vent moyen", "vitesse du vent",
        "vitesse moyenne du vent", "windgeschwindigkeit", "mittlere windgeschwindigkeit",
    ),
    "solar": (
        "radiacion", "radiacion solar", "radiacion global", "radiacao", "radiacao solar",
        "radiacao global", "rayonnement", "rayonnement global", "rayonnement solaire",
        "globalstrahlung", "strahlung", "sonneneinstrahlung",
    ),
    "soil_10cm": (
        "temperatura del suelo 10 cm", "temperatura suelo 10 cm", "temp suelo 10 cm",
        "suelo 10 cm", "temperatura do solo 10 cm", "temp solo 10 cm", "solo 10 cm",
        "temperature du sol 10 cm", "temperature sol 10 cm", "sol 10 cm", "bodentemperatur 10 cm",
        "boden 10 cm",
    ),
}  # fmt: skip
HOURLY_ABROAD: Mapping[str, tuple[str, ...]] = {
    **_BOTH_ABROAD,
    "temp": (
        "temperatura", "temperatura del aire", "temperatura do ar", "temperature de l'air",
        "temperatur", "lufttemperatur",
    ),
    "dewpoint": (
        "punto de rocio", "temperatura de rocio", "ponto de orvalho", "point de rosee",
        "taupunkt", "taupunkttemperatur",
    ),
    "rh": (
        "humedad", "humedad relativa", "umidade", "umidade relativa", "humidade relativa",
        "humidite", "humidite relative", "luftfeuchte", "luftfeuchtigkeit",
        "relative luftfeuchte", "relative feuchte", "relative luftfeuchtigkeit",
    ),
    "wind": (
        "viento", "velocidad del viento", "velocidad viento", "vento", "velocidade do vento",
        "vent", "vitesse du vent", "windgeschwindigkeit",
    ),
    "gust": (
        "rafaga", "racha", "racha maxima", "rafaga maxima", "rajada", "rajada maxima", "rafale",
        "rafale maximale", "boe", "windboe", "spitzenboe",
    ),
    "wind_from": (
        "direccion del viento", "direccion viento", "direcao do vento", "direction du vent",
        "windrichtung",
    ),
}  # fmt: skip
# as a person writes a unit in a heading, where `core.units` does not know the spelling
_SPELLINGS = {
    "in.": "in", "inch.": "in", "m s-1": "m/s", "mps": "m/s", "km/hr": "km/h", "mi/h": "mph",
    "miles/hr": "mph", "mi/hr": "mph", "kts": "kn", "knot": "kn", "w/m2": "w_m2", "w/m²": "w_m2",
    "w m-2": "w_m2", "mj/m2": "mj_m2", "mj/m²": "mj_m2", "mj m-2": "mj_m2", "mb": "hpa",
    "mbar": "hpa", "millibars": "hpa", "in hg": "inhg", "in. hg": "inhg", "deg": "deg",
    "deg.": "deg", "degrees": "deg", "percent": "pct", "° f": "f", "° c": "c", "deg. f": "f",
    "deg. c": "c",
}  # fmt: skip
_BRACKETS = re.compile(r"[(\[]\s*([^()\[\]]*?)\s*[)\]]\s*$")
_ORDERS: Mapping[str, Order] = {"mdy": "mdy", "dmy": "dmy"}
_OFFSET = re.compile(r"(?:utc|gmt)?\s*([+-]\d\d:?\d\d)", re.ASCII)
Role = Literal["date", "clock", "moment"]
# what a column of times holds → names
_TIME_NAMES: Mapping[Role, frozenset[str]] = {
    "date": frozenset({
        "date", "obs date", "observation date", "local date", "date local",
        "fecha", "data", "datum",
    }),
    "clock": frozenset({
        "time", "time utc", "local time", "time local", "clock", "clock time",
        "hora", "heure", "uhrzeit", "zeit",
    }),
    "moment": frozenset({
        "datetime", "date time", "date and time", "date & time", "timestamp", "time stamp",
        "datetime utc", "date time utc", "timestamp utc", "obs time", "observation time",
        "valid time", "local datetime",
        "fecha y hora", "fecha hora", "data e hora", "data hora", "date et heure", "date heure",
        "datum und uhrzeit", "datum uhrzeit", "datum zeit",
    }),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TimeName:
    """What the name of a column says of the times in it.

    `remark` is what stands in brackets and is neither an order of the date nor a zone.
    """

    role: Role
    order: Order | None = None
    zone: dt.tzinfo | None = None
    remark: str = ""


def normal(name: str) -> str:
    """A name in lower case, its words apart by one blank each."""
    name = name.strip().strip('"').lower().replace("º", "°")
    return " ".join(re.sub(r"([%°])", r" \1", re.sub(r"[_,]", " ", name)).split())


def without_accents(name: str) -> str:
    """A name with plain letters: ``"precipitación"`` as ``"precipitacion"``."""
    apart = unicodedata.normalize("NFD", name)
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def parted(header: str) -> tuple[str, str]:
    """A name in lower case without what stands in brackets at its end, and that."""
    text = header.strip().strip('"')
    bracket = _BRACKETS.search(text)
    name = normal(text[: bracket.start()] if bracket else text)
    return name, bracket[1].lower().replace("º", "°") if bracket else ""


def quantity_named(header: str, *, daily: bool) -> tuple[str, str, str] | None:
    """The quantity a name begins with, what follows it, and what stands in brackets behind.

    None when it begins with none of ours.
    """
    names = _BY_NAME[daily]
    name, bracket = parted(header)
    words = re.sub(r"[-/.](?=[a-z0-9])", " ", name).split()
    raw = name.split()
    for size in range(len(words), 0, -1):
        found = names.get(without_accents(" ".join(words[:size])))
        if found is None:
            continue
        written = " ".join(raw[size:]) if len(raw) == len(words) else " ".join(words[size:])
        return found, written, bracket
    return None


def unit_spelled(text: str) -> str:
    """A unit as it stands in a heading, in a spelling that `core.units` knows."""
    text = text.strip().lower().replace("º", "°")
    text = text.removeprefix("in ") if text.startswith("in ") and len(text) > 3 else text
    return _SPELLINGS.get(text, text)


def time_named(header: str) -> TimeName | None:
    """What a column of dates or times says of them; None when its name is of another kind."""
    name, bracket = parted(header)
    if offset := _OFFSET.search(name):  # "Date Time, GMT-05:00"
        name, bracket = name[: offset.start()].strip(), offset[0]
    name = without_accents(re.sub(r"[-/.]", " ", name))
    role = next((role for role, names in _TIME_NAMES.items() if name in names), None)
    if role is None:
        return None
    order = _order_of(bracket)
    utc = name.endswith(" utc") or bracket in {"utc", "gmt", "z"}
    offset = _OFFSET.fullmatch(bracket)
    zone = dt.UTC if utc else offset_written(offset[1]) if offset else None
    known = (
        order or zone or bracket in {"", "local", "local time"} or re.search("hh?:|24|12", bracket)
    )
    return TimeName(role, order, zone, "" if known else bracket)


def _order_of(text: str) -> Order | None:
    """``"mm/dd/yyyy hh:mm"`` → ``"mdy"``."""
    letters = re.sub(r"[^mdy]", "", text.split(" ", maxsplit=1)[0])
    return _ORDERS.get(re.sub(r"(.)\1+", r"\1", letters))


def _by_name(*tables: Mapping[str, tuple[str, ...]]) -> dict[str, str]:
    pairs = [pair for table in tables for pair in table.items()]
    return {name: quantity for quantity, names in pairs for name in names}


_BY_NAME = {
    True: _by_name(DAILY_ABROAD, DAILY_NAMES),
    False: _by_name(HOURLY_ABROAD, HOURLY_NAMES),
}
