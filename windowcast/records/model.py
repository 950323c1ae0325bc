"""What the season log holds: applications, readings, counts, ratings, cover, notes.

Plain dataclasses in SI units. `entry_checks.from_plain` checks every value on its way in, so that
the store never holds a negative area or a naive time.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field

from windowcast.core.weed_codes import weed_code
from windowcast.materials.resistance import METHODS
from windowcast.records.fields import Asked, LogField, rows_of
from windowcast.windows.model import PURPOSES


def _encodable(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError("holds a broken character") from None
    return text


def _purpose(text: str) -> str:
    if text and text not in PURPOSES:
        raise ValueError(f"is not one of {', '.join(PURPOSES)}")
    return text


def _one_of(*known: str) -> Any:
    def check(text: str) -> str:
        if text and text not in known:
            raise ValueError(f"is not one of {', '.join(known)}")
        return text

    return AfterValidator(check)


def _weed(code: str) -> str:
    code = code.strip()
    with suppress(ValueError):
        return weed_code(code)  # by its name, or a code that is known
    if code and not (len(code) in {5, 6} and code.isascii() and code.isalnum()):
        raise ValueError("is not a weed we know, nor an EPPO code such as POAAN")
    return code.upper()


MOST = 1e12  # of any quantity: far above what there is, far below what overflows


def _number(low: float | None = None, high: float | None = None, above: float | None = None) -> Any:
    if low is None and above is None:
        low = -MOST
    return Field(ge=low, le=MOST if high is None else high, gt=above, allow_inf_nan=False)


Text = Annotated[str, Field(max_length=4000), AfterValidator(_encodable)]
Amount = Annotated[float, _number(above=0.0)]
AtLeastZero = Annotated[float, _number(low=0.0)]
Temperature = Annotated[float, _number(low=-60.0, high=70.0)]
Percent = Annotated[float, _number(low=0.0, high=100.0)]
Weed = Annotated[str, AfterValidator(_weed)]
Name = Annotated[Text, Field(min_length=1)]
Where = Annotated[Text, Asked("Where", hint="area, field or hole")]  # in the user's words
Notes = Annotated[Text, Asked("Notes", long=True)]
WeedSeen = Annotated[
    Weed, Asked("Weed", hint="name or EPPO code, e.g. henbit, POAAN annual bluegrass")
]

_STRICT = ConfigDict(extra="forbid")


@dataclass(frozen=True, slots=True)
class Material:
    """One product in the tank: what the record must name, in the user's own words.

    `active` is the ISO common name; `product` and `registration` are free text from the label in
    hand; `rate_kg_ha` is active ingredient; `product_rate` is the label's rate as read
    ("0.5 fl oz/1000 ft²") and `product_total` the amount of product used.
    """

    __pydantic_config__ = _STRICT

    active: Annotated[Name, Asked("Active ingredient", hint="ISO common name, no brand")]
    rate_kg_ha: Annotated[Amount | None, Asked("Rate of active", "kg ha-1")] = None
    product: Annotated[Text, Asked("Product as on the label")] = ""
    registration: Annotated[Text, Asked("Registration number")] = ""
    product_rate: Annotated[Text, Asked("Product rate as read", hint="e.g. 0.5 fl oz/1000 ft²")] = (
        ""
    )
    product_total: Annotated[Text, Asked("Product used in all")] = ""
    restricted: Annotated[bool | None, Asked("Restricted use")] = None


@dataclass(frozen=True, slots=True)
class Application:
    """One application: when, where, what, how, in which weather, by whom."""

    __pydantic_config__ = _STRICT

    start: Annotated[AwareDatetime, Asked("Start", hint="local time", heading="When and where")]
    materials: Annotated[tuple[Material, ...], Field(min_length=1), Asked("Materials")]
    end: Annotated[AwareDatetime | None, Asked("End", hint="local time")] = None
    where: Where = ""
    site_kind: Annotated[Text, Asked("Kind of ground", hint="e.g. sports field turf")] = ""
    area_m2: Annotated[Amount | None, Asked("Area treated", "m2")] = None
    purpose: Annotated[str, AfterValidator(_purpose), Asked("Purpose", choices=PURPOSES)] = ""
    target: Annotated[Weed, Asked("Target weed", hint="name or EPPO code")] = ""
    carrier_l_ha: Annotated[Amount | None, Asked("Carrier volume", "L ha-1", heading="How")] = None
    nozzle: Annotated[Text, Asked("Nozzle")] = ""
    droplet_class: Annotated[Text, Asked("Droplet class", hint="ASABE S572 name, e.g. coarse")] = ""
    pressure_kpa: Annotated[Amount | None, Asked("Pressure", "kPa")] = None
    boom_height_m: Annotated[Amount | None, Asked("Boom height", "depth")] = None
    speed_m_s: Annotated[Amount | None, Asked("Speed", "m s-1")] = None
    adjuvant: Annotated[Text, Asked("Adjuvant")] = ""
    wind_m_s: Annotated[
        AtLeastZero | None,
        Asked("Wind", "m s-1", heading="Weather at the time", filled=("wind at 10 m", 1)),
    ] = None
    wind_from_deg: Annotated[
        Annotated[float, _number(low=0.0, high=360.0)] | None,
        Asked("Wind from", "degree", hint="0 north, 90 east", filled=("wind direction", 0)),
    ] = None
    temp_c: Annotated[
        Temperature | None, Asked("Air temperature", "degC", filled=("air temperature", 1))
    ] = None
    rh_pct: Annotated[Percent | None, Asked("Relative humidity", "%", filled=("humidity", 0))] = (
        None
    )
    weather_source: Annotated[Text, Asked("Weather from", hint="own meter, station, forecast")] = ""
    watered_in_mm: Annotated[
        AtLeastZero | None,
        Asked("Watered in with", "mm", heading="After and by whom", hint="0: not at all"),
    ] = None
    watered_in_on: Annotated[dt.date | None, Asked("Watered in on")] = None
    trial: Annotated[Text, Asked("Trial", hint="if it treated plots of a trial")] = ""
    treatment: Annotated[Text, Asked("Treatment", hint="of that trial")] = ""
    operator: Annotated[Text, Asked("Applicator")] = ""
    certification: Annotated[Text, Asked("Licence or certificate number")] = ""
    notes: Notes = ""

    @property
    def date(self) -> dt.date:
        """The local date, in the zone it was entered in."""
        return self.start.date()

    @property
    def actives(self) -> tuple[str, ...]:
        """Active ingredients in the tank."""
        return tuple(material.active for material in self.materials)


@dataclass(frozen=True, slots=True)
class SoilReading:
    """A soil temperature taken with a probe."""

    __pydantic_config__ = _STRICT

    date: Annotated[dt.date, Asked("Date", heading="Reading")]
    depth_m: Annotated[float, _number(low=0.005, high=3.0), Asked("Depth", "depth")]
    temp_c: Annotated[float, _number(low=-40.0, high=65.0), Asked("Soil temperature", "degC")]
    time: Annotated[dt.time | None, Asked("Time", hint="local; leave empty for a daily mean")] = (
        None
    )
    where: Where = ""
    notes: Notes = ""


@dataclass(frozen=True, slots=True)
class ScoutingCount:
    """Weeds counted in a frame, or their cover, with the stage of most of them."""

    __pydantic_config__ = _STRICT

    date: Annotated[dt.date, Asked("Date", heading="Count")]
    weed: Annotated[WeedSeen, Field(min_length=1)]
    per_m2: Annotated[
        AtLeastZero | None, Asked("Plants", "m-2", also=("count", "density", "per"))
    ] = None
    frame_m2: Annotated[Amount | None, Asked("Area counted", "frame", hint="of all frames")] = None
    cover_pct: Annotated[Percent | None, Asked("Cover", "%")] = None
    stage_bbch: Annotated[
        Annotated[int, Field(ge=0, le=99)] | None,
        Asked("Stage of most", "stage", hint="BBCH, e.g. 12 two leaves"),
    ] = None
    where: Where = ""
    notes: Notes = ""


@dataclass(frozen=True, slots=True)
class Rating:
    """One value taken on a place, or on one plot of a trial.

    Without a `trial` it is of the place `where`, as it was treated, and `plot` may name the spot;
    with one it needs plot and treatment. `treatment` is "untreated" for a check, in a trial or a
    strip left out at a place. `measure` says what was taken: "control %" (100: no weed left),
    "count per m2", "cover %" of weeds, "injury %" of the turf …; `before` marks a value from
    before the application.
    """

    __pydantic_config__ = _STRICT

    date: Annotated[dt.date, Asked("Date", heading="Rating")]
    value: Annotated[float, _number(), Asked("Value")]
    measure: Annotated[
        Name, Asked("What was taken", hint="control %, count per m2, cover %, injury %")
    ] = "count per m2"
    where: Where = ""
    weed: WeedSeen = ""
    before: Annotated[bool, Asked("Taken before treatment")] = False
    trial: Annotated[
        Text, Asked("Trial", hint="empty: a rating of the place", heading="Of a trial")
    ] = ""
    plot: Annotated[Text, Asked("Plot", hint="in a trial; else the spot, if several")] = ""
    treatment: Annotated[
        Text, Asked("Treatment", hint='"untreated" for a check; needed in a trial')
    ] = ""
    block: Annotated[Text, Asked("Block")] = ""
    location: Annotated[Text, Asked("Location")] = ""
    notes: Notes = ""


@dataclass(frozen=True, slots=True)
class CoverReading:
    """Green seen on the turf: its share of the ground, and what a look into the canopy found.

    `live_shoots` says whether a live shoot was there once the canopy was parted; None when nobody
    parted it. A share of 0 % does not answer that: shoots turn green under brown leaves first.
    """

    __pydantic_config__ = _STRICT

    date: Annotated[dt.date, Asked("Date", heading="Green cover")]
    green_pct: Annotated[Percent | None, Asked("Green", "%")] = None
    live_shoots: Annotated[
        bool | None,
        Asked(
            "Live shoots", hint="after parting the canopy down to the soil; not said if nobody did"
        ),
    ] = None
    where: Where = ""
    notes: Notes = ""


@dataclass(frozen=True, slots=True)
class FieldNote:
    """Anything seen; `survivors_mixed`: live plants beside dying ones of the same size."""

    __pydantic_config__ = _STRICT

    date: Annotated[dt.date, Asked("Date", heading="Note")]
    text: Annotated[Name, Asked("What was seen", long=True)]
    where: Where = ""
    weed: WeedSeen = ""
    survivors_mixed: Annotated[
        bool | None, Asked("Live plants beside dying ones of the same size")
    ] = None


@dataclass(frozen=True, slots=True)
class ResistanceTest:
    """Plants of one weed tested for resistance: by a laboratory, or in pots of your own.

    `survivors_pct` is the share of plants that lived on (in water culture: whose roots did not
    swell). `timing` says whether the active was given before or after the weeds emerged.
    """

    __pydantic_config__ = _STRICT

    date: Annotated[dt.date, Asked("Date", heading="Resistance test")]
    weed: Annotated[WeedSeen, Field(min_length=1)]
    active: Annotated[Text, Asked("Active ingredient", hint="ISO common name")] = ""
    group: Annotated[
        Annotated[int, Field(ge=0, le=34)] | None,
        Asked("Mode of action group", hint="WSSA/HRAC number, where no active is named"),
    ] = None
    survivors_pct: Annotated[Percent | None, Asked("Plants that survived", "%")] = None
    plants: Annotated[Annotated[int, Field(ge=1, le=1_000_000)] | None, Asked("Plants tested")] = (
        None
    )
    method: Annotated[str, _one_of(*METHODS), Asked("Method", choices=METHODS)] = ""
    timing: Annotated[
        str,
        _one_of("pre", "post"),
        Asked("Given before or after they emerged", choices=("pre", "post")),
    ] = ""
    mutation: Annotated[Text, Asked("Change of the DNA", hint="if one was found: Thr-239-Ile")] = ""
    where: Where = ""
    notes: Notes = ""


Entry = (
    Application | SoilReading | ScoutingCount | Rating | CoverReading | FieldNote | ResistanceTest
)
E = TypeVar(
    "E",
    Application,
    SoilReading,
    ScoutingCount,
    Rating,
    CoverReading,
    FieldNote,
    ResistanceTest,
)

KINDS: Mapping[str, type[Entry]] = {
    "application": Application,
    "probe": SoilReading,
    "count": ScoutingCount,
    "rating": Rating,
    "cover": CoverReading,
    "note": FieldNote,
    "resistance": ResistanceTest,
}
_NAMES = {kind: name for name, kind in KINDS.items()}


@cache
def fields_of(kind: str) -> tuple[LogField, ...]:
    """The fields of a kind, or of "material", in order."""
    return rows_of(Material if kind == "material" else KINDS[kind])


def kind_of(entry: Entry | type[Entry]) -> str:
    """The short name of an entry's kind, a key of `KINDS`."""
    return _NAMES[entry if isinstance(entry, type) else type(entry)]
