"""The site settings as a form, put into the site file without touching its comments."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args
from zoneinfo import ZoneInfo

from windowcast.core.phrase import LANGUAGES
from windowcast.core.site import Site, site_from
from windowcast.core.turf import Species, Texture
from windowcast.core.weed_codes import Cycle, known
from windowcast.report.catalogue import Voice, catalogue
from windowcast.web.fields import Field, Kind, read, show
from windowcast.web.site_rows import LISTS, read_rows, show_rows, toml_rows

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SOWN = ("perennial ryegrass", "annual ryegrass", "roughstalk bluegrass")
NEW_TURF = ("sod", "sprigs", "plugs", "seed")
WINTERKILL = ("none", "minimal", "moderate", "severe")
DATES = ("established", "rooted", "date")
USES = ("golf", "sports", "lawn", "sod", "other")


@dataclass(frozen=True)
class SiteField:
    """A field of the site settings before it is put into words; as `web.fields.Field`."""

    name: str
    kind: Kind = "text"
    measure: str = ""
    needed: bool = False
    options: tuple[str, ...] = ()
    hinted: bool = False

    def said(self, voice: Voice) -> Field:
        """The field with its label, its hint and the words of its choices."""
        key = self.name.replace(".", "_")
        return Field(
            self.name,
            voice.say(f"site_field.label.{key}"),
            self.kind,
            self.measure,
            hint=voice.say(f"site_field.hint.{key}") if self.hinted else "",
            needed=self.needed,
            options=tuple((value, _choice_said(value, voice)) for value in self.options),
        )


def _choice_said(value: str, voice: Voice) -> str:
    """A choice in words; the site file keeps its own for it."""
    if value in {"yes", "no"}:
        return voice.say("form.yes" if value == "yes" else "form.no")
    if value in LANGUAGES:
        return str(catalogue(value).language["name"])
    if not value:
        return voice.say("form.not_said")
    return voice.say(f"site_choice.{value.replace('.', '').replace(' ', '_')}")


def groups(voice: Voice) -> list[tuple[str, list[Field]]]:
    """The parts of the form, each with its heading."""
    return [
        (voice.say(f"site_field.{name}"), [field.said(voice) for field in fields])
        for name, fields in GROUPS.items()
    ]


def fields(voice: Voice) -> list[Field]:
    """Every field of the form."""
    return [field for _, group in groups(voice) for field in group]


PLACE = (
    SiteField("name", needed=True),
    SiteField("latitude", "number", needed=True, hinted=True),
    SiteField("longitude", "number", needed=True, hinted=True),
    SiteField("elevation_m", "number", "m"),
    SiteField("timezone", hinted=True),
    SiteField("units", "choice", needed=True, options=("us", "metric")),
    SiteField("weather.station", hinted=True),
    SiteField("language", "choice", options=("", *LANGUAGES)),
)
TURF = (
    SiteField("turf.species", "choice", needed=True, options=tuple(map(str, Species))),
    SiteField("turf.use", "choice", needed=True, options=USES),
    SiteField("turf.overseeded", "yesno", options=("", "yes", "no"), hinted=True),
    SiteField("turf.overseed.state", "choice", options=("", "none", "planned", "done")),
    SiteField("turf.overseed.date", "date"),
    SiteField("turf.overseed.species", "choice", options=("", *SOWN)),
    SiteField("turf.overseed.method", "choice", options=("", "broadcast", "slit")),
    SiteField("turf.irrigated", "yesno", options=("", "yes", "no")),
    SiteField("turf.mature", "yesno", options=("", "yes", "no")),
    SiteField("turf.established", "date"),
    SiteField("turf.established_by", "choice", options=("", *NEW_TURF)),
    SiteField("turf.rooted", "date"),
    SiteField("turf.winterkill", "choice", options=("", *WINTERKILL)),
    SiteField("turf.thin", "yesno", options=("", "yes", "no")),
    SiteField("turf.thatch_mm", "number", "mm", hinted=True),
    SiteField("turf.mowing_height_mm", "number", "mm", hinted=True),
    SiteField("turf.shade", "choice", options=("", "none", "partial", "full")),
    SiteField("turf.covered", "yesno", options=("", "yes", "no")),
    SiteField("soil.texture", "choice", needed=True, options=tuple(map(str, Texture))),
)
LIMITS = (
    SiteField("equipment.wind_max_m_s", "number", "m s-1"),
    SiteField("equipment.boom_height_m", "number", "depth"),
    SiteField("calendar.spray_hours", needed=True, hinted=True),
    SiteField("advice.odds_threshold", "number", "share", hinted=True),
    SiteField("advice.watering_in_days", "number", hinted=True),
    SiteField("stock", "lines", hinted=True),
)
GROUPS: Mapping[str, tuple[SiteField, ...]] = {"place": PLACE, "turf": TURF, "limits": LIMITS}


def weed_choices(voice: Voice) -> dict[str, list[tuple[str, str]]]:
    """EPPO code and name of every weed that can be watched, by life cycle."""
    found: dict[str, list[tuple[str, str]]] = {cycle: [] for cycle in get_args(Cycle)}
    for code, weed in known().items():
        found[weed.cycle].append((code, voice.say(f"weed.{code}")))
    return found


def settings_from(typed: Mapping[str, str], voice: Voice) -> dict[str, Any]:
    """Dotted key → plain value (None: not set) of a filled-in settings form.

    Raises
    ------
    InputError
        A field does not read as what it asks for.
    """
    asked = fields(voice)
    found: dict[str, Any] = dict.fromkeys(field.name for field in asked)
    found |= read(asked, typed, voice.units, ZoneInfo("UTC"))
    found["stock"] = found["stock"] or []
    found["timezone"] = found["timezone"] or ""
    found["weeds"] = [code for code in known() if typed.get(f"weed.{code}")]
    found["calendar.spray_weekdays"] = [day for day in DAYS if typed.get(f"day.{day}")]
    return found | read_rows(typed)


def settings_values(site: Site, voice: Voice) -> dict[str, str]:
    """What to fill the settings form with."""
    plain = flat(site.model_dump(mode="json"))
    values = show(fields(voice), plain, site.units, site.zone)
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
