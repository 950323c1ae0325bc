"""Weather tables in Spanish, Portuguese, French and German: names, decimal commas, dates.

All values here are invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from windowcast.core.errors import InputError
from windowcast.core.record import Place
from windowcast.sources.column_names import DAILY_ABROAD, DAILY_NAMES, HOURLY_ABROAD, HOURLY_NAMES
from windowcast.sources.files import read_weather

SOUTH = Place("Canchas del Sur", -34.6, -58.4, 25.0, "America/Argentina/Buenos_Aires")
ROWS = (
    "14/01/2025;31,5;18,2;0,0;62,5;3,4;24,1;26,3\n"
    "15/01/2025;28,0;17,4;12,6;81,0;4,0;15,2;24,9\n"
    "16/01/2025;;16,9;;70,0;2,1;22,8;24,0\n"
)
DAILY = {
    "es": "Fecha;Temperatura máxima (°C);Temperatura mínima (°C);Lluvia (mm);Humedad relativa (%);"
    "Velocidad del viento (m/s);Radiación solar (MJ/m2);Temperatura del suelo 5 cm (°C)",
    "pt": "Data;Temperatura máxima (°C);Temperatura mínima (°C);Precipitação (mm);"
    "Umidade relativa (%);Velocidade do vento (m/s);Radiação global (MJ/m²);Solo 5 cm (°C)",
    "fr": "Date;Température maximale (°C);Température minimale (°C);Pluie (mm);Humidité (%);"
    "Vitesse du vent (m/s);Rayonnement global (MJ/m²);Température du sol 5 cm (°C)",
    "de": "Datum;Höchsttemperatur (°C);Tiefsttemperatur (°C);Niederschlag (mm);"
    "Relative Luftfeuchte (%);Windgeschwindigkeit (m/s);Globalstrahlung (MJ/m²);"
    "Bodentemperatur 5 cm (°C)",
}
HOURS = {
    "es": "Fecha y hora;Temperatura (°C);Punto de rocío (°C);Ráfaga (km/h);Dirección del viento",
    "pt": "Data e hora;Temperatura do ar (°C);Ponto de orvalho (°C);Rajada (km/h);Direção do vento",
    "fr": "Date et heure;Température (°C);Point de rosée (°C);Rafale (km/h);Direction du vent",
    "de": "Datum und Uhrzeit;Lufttemperatur (°C);Taupunkt (°C);Windböe (km/h);Windrichtung",
}


def written(folder: Path, text: str) -> Path:
    path = folder / "wetter.csv"
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("language", DAILY)
def test_days_in_the_words_of_the_land(language: str, tmp_path: Path) -> None:
    text = f"{DAILY[language]}\n{ROWS}"
    record = read_weather(written(tmp_path, text), place=SOUTH)
    assert [str(day) for day in record.times] == ["2025-01-14", "2025-01-15", "2025-01-16"]
    np.testing.assert_array_equal(record.get("tmax_c"), [31.5, 28.0, np.nan])
    np.testing.assert_array_equal(record.get("tmin_c"), [18.2, 17.4, 16.9])
    np.testing.assert_array_equal(record.get("precip_mm"), [0.0, 12.6, np.nan])
    for name, first in (
        ("rh_mean_pct", 62.5), ("wind_mean_m_s", 3.4), ("solar_mj_m2", 24.1), ("soil_5cm_c", 26.3),
    ):  # fmt: skip
        assert record.get(name)[0] == first
    assert record.place.southern


@pytest.mark.parametrize("language", HOURS)
def test_hours_in_the_words_of_the_land(language: str, tmp_path: Path) -> None:
    rows = "14/01/2025 13:00;31,5;18,2;36,0;270\n14/01/2025 14:00;32,0;18,0;18,0;180\n"
    record = read_weather(written(tmp_path, f"{HOURS[language]}\n{rows}"), place=SOUTH)
    assert record.get("temp_c").tolist() == [31.5, 32.0]
    assert record.get("dewpoint_c").tolist() == [18.2, 18.0]
    assert record.get("gust_m_s").tolist() == pytest.approx([10.0, 5.0])
    assert record.get("wind_from_deg").tolist() == [270.0, 180.0]


def test_a_name_that_only_begins_like_one_is_not_ours(tmp_path: Path) -> None:
    text = "Fecha;Temperatura máxima (°C);Temperatura mínima (°C);Lluvia efectiva (mm)\n"
    record = read_weather(written(tmp_path, text + "14/01/2025;31,5;18,2;4,0\n"), place=SOUTH)
    assert "precip_mm" not in record.values


def test_a_name_without_a_unit_is_asked_for(tmp_path: Path) -> None:
    text = "Datum;Höchsttemperatur;Tiefsttemperatur\n14.01.2025;31,5;18,2\n"
    with pytest.raises(InputError, match="names no unit"):
        read_weather(written(tmp_path, text), place=SOUTH)


@pytest.mark.parametrize(
    ("abroad", "english"), [(DAILY_ABROAD, DAILY_NAMES), (HOURLY_ABROAD, HOURLY_NAMES)]
)
def test_no_name_means_two_things(
    abroad: dict[str, tuple[str, ...]], english: dict[str, tuple[str, ...]]
) -> None:
    pairs = [(n, q) for table in (abroad, english) for q, names in table.items() for n in names]
    assert len(dict(pairs)) == len(set(pairs))
