"""The site settings as a form, put into the site file without touching its comments."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from windowcast.core.site import Site, site_from
from windowcast.core.turf import Species, Texture
from windowcast.core.units import System
from windowcast.core.weed_codes import supported
from windowcast.season.weeds import weed
from windowcast.web.fields import YES_NO, Field, read, show
from windowcast.web.site_rows import LISTS, read_rows, show_rows, toml_rows

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SOWN = ("perennial ryegrass", "annual ryegrass", "roughstalk bluegrass")
NEW_TURF = ("sod", "sprigs", "plugs", "seed")
WINTERKILL = ("none", "minimal", "moderate", "severe")
DATES = ("established", "rooted", "date")
USES = ("golf", "sports", "lawn", "sod", "other")


def _choices(*words: str) -> tuple[tuple[str, str], ...]:
    return tuple((word, word) for word in words)


def _maybe(*words: str) -> tuple[tuple[str, str], ...]:
    """Choices of which none need be said."""
    return (("", "not said"), *_choices(*words))


PLACE = (
    Field("name", "Name of the site", needed=True),
    Field(
        "latitude", "Latitude", "number", needed=True, hint="degrees north, negative in the south"
    ),
    Field(
        "longitude", "Longitude", "number", needed=True, hint="degrees east, negative in the west"
    ),
    Field("elevation_m", "Height above sea level", "number", "m"),
    Field("timezone", "Time zone", hint="IANA name; found from the place when left empty"),
    Field("units", "Units", "choice", needed=True, options=(("us", "US"), ("metric", "metric"))),
)
TURF = (
    Field("turf.species", "Turf", "choice", needed=True, options=_choices(*map(str, Species))),
    Field("turf.use", "Use", "choice", needed=True, options=_choices(*USES)),
    Field(
        "turf.overseeded",
        "Overseeded for winter",
        "yesno",
        options=YES_NO,
        hint="Until it is said, nothing is ever rated fit.",
    ),
    Field("turf.overseed.state", "Sowing", "choice", options=_maybe("none", "planned", "done")),
    Field("turf.overseed.date", "Sown on, or to be sown on", "date"),
    Field("turf.overseed.species", "What is sown", "choice", options=_maybe(*SOWN)),
    Field("turf.overseed.method", "How", "choice", options=_maybe("broadcast", "slit")),
    Field("turf.irrigated", "Irrigation at hand", "yesno", options=YES_NO),
    Field(
        "turf.mature", "Older than two growing seasons, full and undamaged", "yesno", options=YES_NO
    ),
    Field("turf.established", "New turf: laid, sprigged or sown on", "date"),
    Field("turf.established_by", "As", "choice", options=_maybe(*NEW_TURF)),
    Field("turf.rooted", "Seen well rooted and mown on", "date"),
    Field("turf.winterkill", "Winterkill", "choice", options=_maybe(*WINTERKILL)),
    Field("turf.thin", "Thin or worn", "yesno", options=YES_NO),
    Field(
        "turf.thatch_mm",
        "Depth of the thatch",
        "number",
        hint="mm; deep thatch needs more water to take a pre-emergent in",
    ),
    Field(
        "turf.mowing_height_mm",
        "Mowing height",
        "number",
        hint="mm; close-mown turf keeps leaf longer and greens up earlier",
    ),
    Field("turf.shade", "Shade", "choice", options=_choices("", "none", "partial", "full")),
    Field("turf.covered", "Under a tarp or blanket", "yesno", options=YES_NO),
    Field(
        "soil.texture", "Soil texture", "choice", needed=True, options=_choices(*map(str, Texture))
    ),
)
LIMITS = (
    Field("equipment.wind_max_m_s", "Own wind limit", "number", "m s-1"),
    Field("equipment.boom_height_m", "Boom height", "number", "depth"),
    Field("calendar.spray_hours", "Hours for spraying", needed=True, hint="e.g. 06:00-19:00"),
    Field("advice.odds_threshold", "Announce from odds of", "number", "share", hint="5 to 99 %"),
    Field(
        "advice.watering_in_days",
        "Water in within days",
        "number",
        hint="if stricter than the label",
    ),
    Field("stock", "Actives at hand", "lines", hint="ISO common names, one a line"),
)
GROUPS = (("Place", PLACE), ("Turf and soil", TURF), ("Limits and stock", LIMITS))
FIELDS = (*PLACE, *TURF, *LIMITS)


def weed_choices() -> tuple[tuple[str, str], ...]:
    """EPPO code and name of every weed that can be watched."""
    return tuple((code, weed(code).name) for code in supported())


def settings_from(typed: Mapping[str, str], units: System) -> dict[str, Any]:
    """Dotted key → plain value (None: not set) of a filled-in settings form.

    Raises
    ------
    InputError
        A field does not read as what it asks for.
    """
    found: dict[str, Any] = dict.fromkeys(field.name for field in FIELDS)
    found |= read(FIELDS, typed, units, ZoneInfo("UTC"))
    found["stock"] = found["stock"] or []
    found["timezone"] = found["timezone"] or ""
    found["weeds"] = [code for code, _ in weed_choices() if typed.get(f"weed.{code}")]
    found["calendar.spray_weekdays"] = [day for day in DAYS if typed.get(f"day.{day}")]
    return found | read_rows(typed)


def settings_values(site: Site) -> dict[str, str]:
    """What to fill the settings form with."""
    plain = flat(site.model_dump(mode="json"))
    values = show(FIELDS, plain, site.units, site.zone)
    values |= {f"weed.{code}": "yes" for code in site.weeds}
    values |= {f"day.{day}": "yes" for day in site.calendar.spray_weekdays}
    return values | show_rows(plain)


def flat(table: Mapping[str, Any], prefix: str = "") -> dict[str, Any]:
    """Nested tables as dotted keys."""
    out: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, Mapping):
            out |= flat(value, f"{prefix}{key}.")
        else:
            out[f"{prefix}{key}"] = value
    return out


def changed_file(text: str, settings: Mapping[str, Any]) -> str:
    """A site file's text with the settings put in; comments and other keys stay as they are.

    Raises
    ------
    InputError
        The settings are not a site; the key is named.
    """
    import tomlkit

    lists = {item.key: item for item in LISTS}
    document = tomlkit.parse(text)
    for dotted, value in settings.items():
        *tables, key = dotted.split(".")
        here: Any = document
        empty = value is None or value == []
        for name in tables:
            if name not in here:
                if empty:
                    here = {}
                    break
                here[name] = tomlkit.table()
            here = here[name]
        if empty:
            if key in here:
                del here[key]
        elif key not in here or _plain(here[key]) != value:
            here[key] = toml_rows(lists[dotted], value) if dotted in lists else _toml(key, value)
    if not document.get("turf", {}).get("overseed", True):
        del document["turf"]["overseed"]  # the last of its keys was taken out
    new = tomlkit.dumps(document)
    site_from(document.unwrap(), today=dt.datetime.now(ZoneInfo("UTC")).date())
    return new


def _plain(item: Any) -> Any:
    value = item.unwrap() if hasattr(item, "unwrap") else item
    return value.isoformat() if hasattr(value, "isoformat") else value


def _toml(key: str, value: Any) -> Any:
    """A date as a TOML date."""
    return dt.date.fromisoformat(value) if key in DATES else value
