"""The site file: place, turf, soil, equipment, limits and the calendar of events, in TOML.

`load_site` reads and checks one; every problem is an `InputError` that names the file, the key,
the value found, what is allowed, and what to do. ``windowcast init`` writes one
(`windowcast.core.site_template`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import (
    AfterValidator,
    Field,
    SecretStr,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from windowcast.core.errors import InputError
from windowcast.core.given_files import parsed_toml, read_text
from windowcast.core.phrase import Language
from windowcast.core.record import Place
from windowcast.core.spray_calendar import Calendar
from windowcast.core.sprayer import Operator, Sprayer
from windowcast.core.turf import Area, KnownResistance, Name, Sensitive, SiteTable, Soil, Turf
from windowcast.core.validation import UNSHOWN, Location, dotted, first_problem, line_of
from windowcast.core.weed_codes import weed_code

MAX_SITE_BYTES = 1_000_000
T = TypeVar("T", Area, Sprayer)


class Equipment(SiteTable):
    """Limits of the sprayer and its operator."""

    wind_max_m_s: Annotated[float, Field(ge=1.0, le=8.0, strict=True)] | None = None
    """Your own limit of the wind, if stricter than the label's."""
    boom_height_m: Annotated[float, Field(ge=0.2, le=2.0, strict=True)] | None = None
    """Height of the boom, where no sprayer says its own."""


class SensorColumn(SiteTable):
    """One column of an own logger's file."""

    column: str
    """Head of the column in the file."""
    quantity: str
    """What it holds: a name of the weather columns below."""
    unit: str
    """Its unit, as degF, mph or in."""


class OwnStation(SiteTable):
    """The site's own logger: which file, which columns, which zone."""

    file: str
    """CSV or Excel file of the logger, beside the site file."""
    time_column: str
    """Head of the column with the times."""
    clock_column: str = ""
    """Head of the column with the times of day, where `time_column` holds only dates."""
    timezone: str = ""
    """IANA time zone of its times; empty: the site's."""
    time_format: str = ""
    """Form of the times in codes of `strptime`; empty: as they are written."""
    dates: Literal["", "mdy", "dmy"] = ""
    """What comes first in 9/4/2025; empty: the file tells."""
    delimiter: str = ","
    """Mark between columns."""
    sheet: str = ""
    """Sheet of a workbook; empty: the only one."""
    columns: tuple[SensorColumn, ...] = ()
    """What is read of it."""


class WeatherSources(SiteTable):
    """Where the weather comes from; files are taken relative to the site file."""

    files: tuple[str, ...] = ()
    """Weather files, beside the site file, in order of preference."""
    station: str = ""
    """Id of an archive station; empty: the best ones nearby are blended."""
    forecast: str = "auto"
    """`auto`, `none`, `archive`, or forecast services in order, as `mosmix, metno`."""
    contact: str = ""
    """E-mail or web address, given to services that want somebody to write to."""
    coarse_grid: bool = True
    """Whether a global grid may stand in for what no station gave."""
    soil_networks: bool = True
    """Whether soil measured at stations nearby corrects the soil model."""
    own: tuple[OwnStation, ...] = ()
    """Your own loggers."""


class Advice(SiteTable):
    """How the advice is given."""

    odds_threshold: Annotated[float, Field(ge=0.05, le=0.99, strict=True)] = 0.6
    """Chance from which a window is announced."""
    watering_in_days: Annotated[int, Field(ge=1, le=21, strict=True)] | None = None
    """Days within which a pre-emergent must be watered in, if stricter than the label."""
    late_winter_share: Annotated[float, Field(ge=0.0, le=0.24, strict=True)] | None = None
    """Share of annual bluegrass that emerges in late winter; sources disagree."""


class Alerts(SiteTable):
    """Where news of spray windows is sent."""

    to: tuple[SecretStr, ...] = ()
    """Addresses that get news of spray windows; `${NAME}` stands for an environment variable."""
    to_file: str = ""
    """File with further addresses, one a line, that only its owner can read."""

    @field_validator("to", mode="before")
    @classmethod
    def _addresses(cls, raw: Any) -> Any:
        if not isinstance(raw, list | tuple) or not all(isinstance(one, str) for one in raw):
            raise PydanticCustomError(UNSHOWN, "is not a list of addresses in quotes")
        return raw


class Site(SiteTable):
    """A checked site file."""

    name: Name
    """Name of the site."""
    latitude: Annotated[float, Field(ge=-66.0, le=66.0, strict=True)]
    """Degrees north, negative in the south."""
    longitude: Annotated[float, Field(ge=-180.0, le=180.0, strict=True)]
    """Degrees east, negative in the west."""
    elevation_m: Annotated[float, Field(ge=-430.0, le=5000.0, strict=True)] | None = None
    """Metres above sea level; corrects temperatures for height."""
    timezone: str = ""
    """IANA time zone; empty: that of the coordinates."""
    units: Literal["us", "metric"] = "metric"
    """Units of what is shown."""
    language: Language | None = None
    """Of what is said to people; left out: English, or the browser's."""
    turf: Turf = Field(default_factory=Turf)
    """What grows there."""
    soil: Soil = Field(default_factory=Soil)
    """What it grows on."""
    weeds: tuple[Annotated[str, AfterValidator(weed_code)], ...] = ("POAAN", "DIGIS")
    """Weeds to watch, by name or EPPO code; `windowcast weeds` lists them."""
    stock: tuple[str, ...] = ()
    """Active ingredients at hand, by ISO common name; empty: all that are known."""
    materials_file: str = ""
    """File with the numbers of your labels, beside the site file."""
    log_file: str = ""
    """Season log; empty: beside the site file, with its name."""
    own_trials: tuple[str, ...] = ()
    """Trial files whose results count in what control to expect."""
    equipment: Equipment = Field(default_factory=Equipment)
    """Limits of the sprayer and its operator."""
    calendar: Calendar = Field(default_factory=Calendar)
    """When spraying is possible at all."""
    sensitive: tuple[Sensitive, ...] = ()
    """Ground that no drift may reach."""
    area: tuple[Area, ...] = ()
    """Areas that differ; none: the whole site is one."""
    resistance: tuple[KnownResistance, ...] = ()
    """Weeds known to survive a mode of action here."""
    sprayer: tuple[Sprayer, ...] = ()
    """Sprayers as they were set and measured."""
    operator: Operator = Field(default_factory=Operator)
    """Who sprays, where no other is named."""
    weather: WeatherSources = Field(default_factory=WeatherSources)
    """Where the weather comes from."""
    advice: Advice = Field(default_factory=Advice)
    """How the advice is given."""
    alerts: Alerts = Field(default_factory=Alerts)
    """Where news of spray windows is sent."""

    @field_validator("timezone")
    @classmethod
    def _zone(cls, name: str) -> str:
        if name:
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError) as error:
                raise ValueError("is not an IANA time zone such as Europe/Lisbon") from error
        return name

    @model_validator(mode="before")
    @classmethod
    def _look_up_zone(cls, raw: Any) -> Any:
        if isinstance(raw, dict) and not raw.get("timezone"):
            lat, lon = raw.get("latitude"), raw.get("longitude")
            if isinstance(lat, int | float) and isinstance(lon, int | float):
                raw = {**raw, "timezone": timezone_at(lat, lon)}
        return raw

    @field_validator("area", "sprayer")
    @classmethod
    def _named_apart(cls, items: tuple[T, ...], info: ValidationInfo) -> tuple[T, ...]:
        names = [item.name.casefold() for item in items]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"two {info.field_name}s are called {twice!r}")
        return items

    @model_validator(mode="after")
    def _areas_agree(self) -> Site:
        for area in self.area:
            try:
                area.turf(self.turf)
            except ValidationError as error:
                why = error.errors()[0]["msg"].removeprefix("Value error, ")
                raise ValueError(f"area {area.name!r} and [turf] do not agree: {why}") from None
        names = {area.name.casefold() for area in self.area}
        for known in self.resistance:
            if known.area and known.area.casefold() not in names:
                raise ValueError(f"resistance names the area {known.area!r}, which is none of them")
        return self

    def of_area(self, area: Area) -> Site:
        """The site as it is on one of its areas, which is then its only one."""
        return self.model_copy(
            update={
                "turf": area.turf(self.turf),
                "sensitive": (*self.sensitive, *area.sensitive),
                "area": (area,),
                "resistance": tuple(
                    known.model_copy(update={"area": ""})
                    for known in self.resistance
                    if known.area.casefold() in ("", area.name.casefold())
                ),
            }
        )

    @property
    def place(self) -> Place:
        """The place in the weather schema's terms."""
        return Place(self.name, self.latitude, self.longitude, self.elevation_m, self.timezone)

    @property
    def zone(self) -> ZoneInfo:
        """The time zone."""
        return ZoneInfo(self.timezone)


def timezone_at(latitude_deg: float, longitude_deg: float) -> str:
    """IANA zone of a point, looked up offline; "" for a point outside the map."""
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        return ""
    import tzfpy

    return str(tzfpy.get_tz(longitude_deg, latitude_deg))


def units_at(zone: str) -> Literal["us", "metric"]:
    """The units usual in a time zone: US in those of the United States, metric elsewhere.

    Those are the zones that the tz database's ``zone.tab`` gives the country code US, with the
    old names ``US/...``.
    """
    return "us" if zone in _US_ZONES or zone.startswith(_US_STATES) else "metric"


_US_STATES = ("America/Indiana/", "America/Kentucky/", "America/North_Dakota/", "US/")
_US_ZONES = frozenset(
    {"America/New_York", "America/Detroit", "America/Chicago", "America/Menominee"}
    | {"America/Denver", "America/Boise", "America/Phoenix", "America/Los_Angeles"}
    | {"America/Anchorage", "America/Juneau", "America/Sitka", "America/Metlakatla"}
    | {"America/Yakutat", "America/Nome", "America/Adak", "Pacific/Honolulu"}
)


def file_beside(site_file: Path | None, name: str) -> Path | None:
    """A file that a site file names, taken relative to it; None when it names none."""
    if not name:
        return None
    return site_file.parent / name if site_file is not None else Path(name)


def log_beside(site: Site, site_file: Path) -> Path:
    """Where the season log of a site file lies, whether or not it is there yet."""
    return file_beside(site_file, site.log_file) or site_file.with_suffix(".log.sqlite")


def load_site(path: str | PathLike[str]) -> Site:
    """Read and check a site file; files it names are taken relative to its folder.

    Raises
    ------
    InputError
        File missing, not TOML, or a key is unknown or out of range; names file, line, key, value,
        what is allowed and what to do.
    """
    text = read_text(path, MAX_SITE_BYTES, remedy="write one with windowcast init")
    return site_from(parsed_toml(text, path), path, text, today=dt.date.today())  # noqa: DTZ011 - a slip, not a clock


def site_from(
    raw: dict[str, Any],
    path: str | PathLike[str] | None = None,
    text: str = "",
    *,
    today: dt.date | None = None,
) -> Site:
    """Check the contents of a site file; see `load_site`.

    Parameters
    ----------
    raw
        The parsed TOML.
    path, text
        The file and its contents, for messages; relative files are looked up beside it.
    today
        Dates of what was done may not lie more than a day after it; None: they are not looked at.
    """
    try:
        site = Site.model_validate(raw)
    except ValidationError as error:
        raise first_problem(error, path, model=Site, text=text) from None
    if today is not None:
        last = today + dt.timedelta(days=1)
        parts: list[tuple[Location, Turf]] = [(("turf",), site.turf)]
        parts += [(("area", n), area) for n, area in enumerate(site.area)]
        for place, turf in parts:
            _refuse_done_later(_done(turf, place), last=last, path=path, text=text)
        measured = [(("sprayer", n, "measured"), s.measured) for n, s in enumerate(site.sprayer)]
        _refuse_done_later(measured, last=last, path=path, text=text)
    return site if path is None else _files_beside(site, Path(path).parent)


def _done(turf: Turf, place: Location) -> list[tuple[Location, dt.date | None]]:
    """What is said to be done on a turf, and when: laid, rooted, sown."""
    sown = turf.overseed
    return [
        ((*place, "established"), turf.established),
        ((*place, "rooted"), turf.rooted),
        ((*place, "overseed", "date"), sown.date if sown and sown.state == "done" else None),
    ]


def _refuse_done_later(
    done: Sequence[tuple[Location, dt.date | None]],
    *,
    last: dt.date,
    path: str | PathLike[str] | None,
    text: str,
) -> None:
    """Refuse what is said to be done after today."""
    for location, date in done:
        if date is not None and date > last:
            planned = ' or write state = "planned"' if location[-1] == "date" else ""
            raise InputError(
                f"{date} lies after today", path=path, row=line_of(text, location),
                field=dotted(location), remedy=f"correct it{planned}",
            )  # fmt: skip


def _files_beside(site: Site, folder: Path) -> Site:
    """The site with relative paths of its weather files and own trials taken from `folder`."""
    weather = site.weather.model_copy(
        update={
            "files": tuple(str(folder / name) for name in site.weather.files),
            "own": tuple(
                own.model_copy(update={"file": str(folder / own.file)}) for own in site.weather.own
            ),
        }
    )
    trials = tuple(str(folder / name) for name in site.own_trials)
    return site.model_copy(update={"weather": weather, "own_trials": trials})
