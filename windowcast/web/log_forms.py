"""The forms of the season log: the fields of each kind of entry, and how they become entries."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.core.units import Display
from windowcast.records.model import Entry, from_plain, kind_of, to_plain
from windowcast.web.fields import YES_NO, Field, read, show
from windowcast.windows.model import PURPOSES

TITLES: Mapping[str, str] = {
    "application": "Application",
    "probe": "Soil probe reading",
    "count": "Scouting count",
    "rating": "Plot rating",
    "cover": "Green cover",
    "note": "Field note",
}
MATERIALS = 4  # rows of the form for what is in the tank

_DATE = Field("date", "Date", "date", needed=True)
_WHERE = Field("where", "Where", hint="area, field or hole")
_NOTES = Field("notes", "Notes", "area")
_WEED = Field("weed", "Weed", hint="EPPO code, e.g. POAAN annual bluegrass, DIGIS smooth crabgrass")
_PURPOSE = tuple((name, name) for name in PURPOSES)


def _material(row: int) -> tuple[Field, ...]:
    key = f"materials.{row}."
    return (
        Field(
            f"{key}active", "Active ingredient", needed=row == 0, hint="ISO common name, no brand"
        ),
        Field(f"{key}rate_kg_ha", "Rate of active", "number", "dose"),
        Field(f"{key}product", "Product as on the label"),
        Field(f"{key}registration", "Registration number"),
        Field(f"{key}product_rate", "Product rate as read", hint="e.g. 0.5 fl oz/1000 ft²"),
        Field(f"{key}product_total", "Product used in all"),
        Field(f"{key}restricted", "Restricted use", "yesno", options=YES_NO),
    )


FORMS: Mapping[str, tuple[tuple[str, tuple[Field, ...]], ...]] = {
    "application": (
        (
            "When and where",
            (
                Field("start", "Start", "moment", needed=True, hint="local time"),
                Field("end", "End", "moment", hint="local time"),
                _WHERE,
                Field("site_kind", "Kind of ground", hint="e.g. sports field turf"),
                Field("area_m2", "Area treated", "number", "area"),
                Field("purpose", "Purpose", "choice", options=(("", "not said"), *_PURPOSE)),
                Field("target", "Target weed", hint="EPPO code"),
            ),
        ),
        *((f"Material {row + 1}", _material(row)) for row in range(MATERIALS)),
        (
            "How",
            (
                Field("carrier_l_ha", "Water carried", "number", "carrier"),
                Field("nozzle", "Nozzle"),
                Field("droplet_class", "Droplet class", hint="ASABE S572 name, e.g. coarse"),
                Field("pressure_kpa", "Pressure", "number", "pressure"),
                Field("boom_height_m", "Boom height", "number", "height"),
                Field("speed_m_s", "Speed", "number", "speed"),
                Field("adjuvant", "Adjuvant"),
            ),
        ),
        (
            "Weather at the time",
            (
                Field("wind_m_s", "Wind", "number", "speed"),
                Field("wind_from_deg", "Wind from", "number", "degrees", hint="0 north, 90 east"),
                Field("temp_c", "Air temperature", "number", "temperature"),
                Field("rh_pct", "Relative humidity", "number", "percent"),
                Field("weather_source", "Measured with", hint="own meter, station, forecast"),
            ),
        ),
        (
            "After and by whom",
            (
                Field("watered_in_mm", "Watered in with", "number", "water"),
                Field("watered_in_on", "Watered in on", "date"),
                Field("operator", "Applicator"),
                Field("certification", "Licence or certificate number"),
                _NOTES,
            ),
        ),
    ),
    "probe": (
        (
            "Reading",
            (
                _DATE,
                Field("time", "Time", "time", hint="local; leave empty for a daily mean"),
                Field("depth_m", "Depth", "number", "depth", needed=True),
                Field("temp_c", "Soil temperature", "number", "temperature", needed=True),
                _WHERE,
                _NOTES,
            ),
        ),
    ),
    "count": (
        (
            "Count",
            (
                _DATE,
                Field("weed", _WEED.label, hint=_WEED.hint, needed=True),
                Field("per_m2", "Plants", "number", "density"),
                Field("cover_pct", "Cover", "number", "percent"),
                Field("stage_bbch", "Stage of most", "whole", hint="BBCH, e.g. 12 two leaves"),
                _WHERE,
                _NOTES,
            ),
        ),
    ),
    "rating": (
        (
            "Rating",
            (
                _DATE,
                Field("trial", "Trial", needed=True),
                Field("plot", "Plot", needed=True),
                Field("treatment", "Treatment", needed=True, hint='"untreated" for a check'),
                Field("value", "Value", "number", needed=True),
                Field("measure", "What was taken", hint="count per m2, cover %, injury %"),
                Field("before", "Taken before treatment", "yesno", options=YES_NO),
                Field("block", "Block"),
                Field("location", "Location"),
                _WEED,
                _NOTES,
            ),
        ),
    ),
    "cover": (
        (
            "Green cover",
            (
                _DATE,
                Field("green_pct", "Green", "number", "percent"),
                Field(
                    "live_shoots",
                    "Live shoots",
                    "yesno",
                    hint="after parting the canopy down to the soil; not said if nobody did",
                    options=YES_NO,
                ),
                _WHERE,
                _NOTES,
            ),
        ),
    ),
    "note": (
        (
            "Note",
            (
                _DATE,
                Field("text", "What was seen", "area", needed=True),
                _WHERE,
                _WEED,
                Field(
                    "survivors_mixed",
                    "Live plants beside dying ones of the same size",
                    "yesno",
                    options=YES_NO,
                ),
            ),
        ),
    ),
}


def fields_of(kind: str) -> list[Field]:
    """Every field of a kind's form."""
    return [field for _, group in FORMS[kind] for field in group]


def entry_from(kind: str, typed: Mapping[str, str], display: Display, zone: ZoneInfo) -> Entry:
    """The entry a filled-in form stands for.

    Raises
    ------
    InputError
        With the form's field named.
    """
    flat = read(fields_of(kind), typed, display, zone)
    plain = {name: value for name, value in flat.items() if not name.startswith("materials.")}
    if kind == "application":
        plain["materials"] = _materials(flat)
    return from_plain(kind, plain)


def form_values(entry: Entry, display: Display, zone: ZoneInfo) -> dict[str, str]:
    """What to fill the form with for an entry."""
    plain: dict[str, Any] = dict(to_plain(entry))
    for row, material in enumerate(plain.pop("materials", [])):
        plain |= {f"materials.{row}.{name}": value for name, value in material.items()}
    return show(fields_of(kind_of(entry)), plain, display, zone)


def _materials(flat: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The filled rows of the tank, in order."""
    rows: dict[int, dict[str, Any]] = {}
    for name, value in flat.items():
        if name.startswith("materials."):
            _, place, key = name.split(".")
            rows.setdefault(int(place), {})[key] = value
    for number, material in rows.items():
        if "active" not in material:
            raise InputError(
                "is missing", field=f"materials.{number}.active", remedy="name it or empty its row"
            )
    return [rows[number] for number in sorted(rows)]
