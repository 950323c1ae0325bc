"""Names of weather columns in Spanish, Portuguese, French and German, without their accents.

They count like the English ones (`windowcast.sources.column_names`): only as a whole, and a unit
stands in brackets, behind a comma, or behind the name. Our own list of plain words.
"""

from __future__ import annotations

from collections.abc import Mapping

_BOTH: Mapping[str, tuple[str, ...]] = {
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
    **_BOTH,
    "precip": (*_BOTH["precip"], "lluvia diaria", "chuva diaria"),
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
    **_BOTH,
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
DATES_ABROAD = frozenset({"fecha", "data", "datum"})
CLOCKS_ABROAD = frozenset({"hora", "heure", "uhrzeit", "zeit"})
MOMENTS_ABROAD = frozenset(
    {"fecha y hora", "fecha hora", "data e hora", "data hora", "date et heure", "date heure"}
    | {"datum und uhrzeit", "datum uhrzeit", "datum zeit"}
)
