"""The trial file: sites, design, timings, treatments and what is rated, in TOML.

The file says what was meant to be done; what was seen on the plots is kept in a season log
(`records.trial_log`). The plan of the plots is not written down anywhere: it follows from the file
and its seed (`trials.layout`).
"""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from os import PathLike
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, Field, ValidationError, field_validator, model_validator

from windowcast.core.errors import InputError
from windowcast.core.given_files import file_state, parsed_toml, read_text
from windowcast.core.phrase import Language
from windowcast.core.quantity import parse
from windowcast.core.site import MAX_SITE_BYTES, Site, WeatherSources, timezone_at
from windowcast.core.turf import Name, SiteTable, Soil, Turf
from windowcast.core.units import Dimension
from windowcast.core.validation import first_problem
from windowcast.core.weed_codes import weed_code
from windowcast.materials.rates import materials_from
from windowcast.trials.rated_measures import MEASURES

TrialDesign = Literal["rcbd", "crd", "split-plot", "factorial"]
CheckKind = Literal["untreated", "weed-free", "standard"]
Count = Annotated[int, Field(ge=1, le=50, strict=True)]
MOST_PLOTS = 20_000  # of all sites: a plan is drawn anew at each reading


def _parsed(dimension: Dimension, what: str) -> AfterValidator:
    """Checks that a text is a quantity of a dimension; it stays as it was written."""

    def checked(text: str) -> str:
        try:
            parse(text, dimension)
        except InputError as error:
            raise ValueError(f"is not {what}; {error.remedy}") from None
        return text

    return AfterValidator(checked)


_LENGTH, _AREA = _parsed("length", "a length"), _parsed("area", "an area")


def _materials(text: str) -> str:
    try:
        found = materials_from(text)
    except InputError as error:
        raise ValueError(f"cannot be read ({error.problem}); {error.remedy}") from None
    if not found:
        raise ValueError("names no active ingredient")
    return text


def _measure(text: str) -> str:
    if text not in MEASURES:
        raise ValueError(f"is not one of {', '.join(MEASURES)}")
    return text


class TrialSite(SiteTable):
    """One location of a trial, with its own weather."""

    name: Name
    latitude: Annotated[float, Field(ge=-66.0, le=66.0, strict=True)]
    longitude: Annotated[float, Field(ge=-180.0, le=180.0, strict=True)]
    elevation_m: Annotated[float, Field(ge=-430.0, le=5000.0, strict=True)] | None = None
    timezone: str = ""
    replicates: Count | None = None  # None: as the trial has
    turf: Turf = Field(default_factory=Turf)
    soil: Soil = Field(default_factory=Soil)
    weather: WeatherSources = Field(default_factory=WeatherSources)

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        if name:
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                raise ValueError("is not an IANA time zone such as America/New_York") from None
        return name

    @property
    def zone(self) -> ZoneInfo:
        """The site's clock."""
        return ZoneInfo(self.timezone or timezone_at(self.latitude, self.longitude) or "UTC")

    def as_site(self, units: Literal["us", "metric"], folder: Path) -> Site:
        """The same as a site file holds it, so that its weather is read and judged like any.

        Files of weather are taken relative to `folder`.
        """
        files = tuple(str(folder / name) for name in self.weather.files)
        return Site(
            name=self.name, latitude=self.latitude, longitude=self.longitude, units=units,
            elevation_m=self.elevation_m, timezone=str(self.zone), turf=self.turf, soil=self.soil,
            weather=self.weather.model_copy(update={"files": files}),
        )  # fmt: skip


class TrialTiming(SiteTable):
    """One application of the trial: when it is meant to be, and when each site was sprayed."""

    code: Annotated[str, Field(min_length=1, max_length=12, pattern=r"^[\w.-]+$")]
    name: str = ""
    planned: dt.date | None = None
    applied: dict[str, dt.datetime | dt.date] = Field(default_factory=dict)  # by site, local
    stage_bbch: Annotated[float, Field(ge=0, le=99)] | None = None  # of the weeds; 0: not up yet

    def date_at(self, site: str) -> dt.date | None:
        """The day a site was sprayed; None where nobody says."""
        at = self.applied.get(site)
        return at.date() if isinstance(at, dt.datetime) else at


class TrialTreatment(SiteTable):
    """What a plot gets."""

    name: Name
    check: CheckKind | None = None
    timing: tuple[str, ...] = ()  # codes; none in a crossed design: all of them
    materials: tuple[Annotated[str, AfterValidator(_materials)], ...] = ()  # a mixture: several
    adjuvant: str = ""
    carrier: str = ""
    plots: Annotated[int, Field(ge=1, le=10, strict=True)] = 1  # in every block

    @property
    def untreated(self) -> bool:
        """Whether it stands for doing nothing."""
        return self.check == "untreated"


class RatedMeasure(SiteTable):
    """Something that is rated on every plot."""

    what: Annotated[str, AfterValidator(_measure)]
    weed: Annotated[str, AfterValidator(weed_code)] | None = None
    days: tuple[Annotated[int, Field(ge=0, le=730, strict=True)], ...] = ()  # after the last timing
    before: bool = False  # also once before anything is sprayed
    frame: Annotated[str, _AREA] | None = None  # what one count covers
    frames: Annotated[int, Field(ge=1, le=20, strict=True)] = 1  # counted on each plot

    @property
    def frame_m2(self) -> float | None:
        """Area of one frame [m²]; None where nobody says."""
        return None if self.frame is None else parse(self.frame, "area")


class TrialFile(SiteTable):
    """A checked trial file."""

    name: Name
    design: TrialDesign
    replicates: Count = 4
    seed: Annotated[int, Field(ge=0, le=2**63 - 1, strict=True)] | None = None  # None: not ours
    main_plots: Literal["timing", "treatment"] = "timing"  # of a split plot
    columns: Annotated[int, Field(ge=1, le=100, strict=True)] | None = None  # plots side by side
    serpentine: bool = False  # plot numbers run back in every second row
    plot_width: Annotated[str, _LENGTH] | None = None
    plot_length: Annotated[str, _LENGTH] | None = None
    units: Literal["us", "metric"] = "us"
    language: Language | None = None
    log_file: str = ""  # season log with the ratings; empty: <trial file>.log.sqlite
    authors: tuple[str, ...] = ()  # for the report's metadata
    site: Annotated[tuple[TrialSite, ...], Field(min_length=1)]
    timing: tuple[TrialTiming, ...] = ()
    treatment: Annotated[tuple[TrialTreatment, ...], Field(min_length=2)]
    measure: tuple[RatedMeasure, ...] = ()

    @property
    def crossed(self) -> bool:
        """Whether every treatment is given at every timing."""
        return self.design in {"factorial", "split-plot"}

    @model_validator(mode="after")
    def _agrees(self) -> TrialFile:
        for names, what in (
            ([s.name for s in self.site], "sites"),
            ([t.code for t in self.timing], "timings"),
            ([t.name for t in self.treatment], "treatments"),
        ):
            folded = [name.casefold() for name in names]
            twice = next((n for n, f in zip(names, folded, strict=True) if folded.count(f) > 1), "")
            if twice:
                raise ValueError(f"two {what} are called {twice!r}")
        codes, sites = {t.code for t in self.timing}, {s.name for s in self.site}
        for treatment in self.treatment:
            lost = next((code for code in treatment.timing if code not in codes), None)
            if lost is not None:
                raise ValueError(f"treatment {treatment.name!r} has timing {lost!r}, which is none")
            if treatment.untreated and (treatment.materials or treatment.timing):
                raise ValueError(f"treatment {treatment.name!r} is an untreated check, yet sprayed")
            if self.crossed and treatment.timing:
                raise ValueError(
                    f"treatment {treatment.name!r} names its timing, but this design gives every"
                    " treatment at every timing"
                )
        for timing in self.timing:
            lost = next((name for name in timing.applied if name not in sites), None)
            if lost is not None:
                raise ValueError(f"timing {timing.code!r} names the site {lost!r}, which is none")
        if self.crossed and len(self.timing) < 2:
            raise ValueError("needs two timings or more, which every treatment is given at")
        if self._plots > MOST_PLOTS:
            raise ValueError(f"makes {self._plots} plots, and {MOST_PLOTS} are the most")
        return self

    @property
    def _plots(self) -> int:
        """How many plots the plans of all sites have at most."""
        each = sum(t.plots for t in self.treatment) * (len(self.timing) if self.crossed else 1)
        return each * sum(site.replicates or self.replicates for site in self.site)

    def site_named(self, name: str) -> TrialSite | None:
        """The site of a name, whatever its capitals; the only one for "". None: no such one."""
        if not name:
            return self.site[0] if len(self.site) == 1 else None
        return next((s for s in self.site if s.name.casefold() == name.strip().casefold()), None)


def load_trial(path: str | PathLike[str]) -> TrialFile:
    """Read and check a trial file.

    Raises
    ------
    InputError
        File missing, not TOML, or a key is unknown or out of range; names file, line, key, value,
        what is allowed and what to do.
    """
    text = read_text(path, MAX_SITE_BYTES, remedy="write one with windowcast trial new")
    return trial_from(parsed_toml(text, path), path, text)


def kept_trial(path: str | PathLike[str]) -> TrialFile:
    """As `load_trial`, but a file is read again only when it has changed."""
    return _read(Path(path), file_state(path))


@lru_cache(maxsize=64)
def _read(path: Path, state: tuple[int, int]) -> TrialFile:
    return load_trial(path)


def trial_from(
    raw: dict[str, Any], path: str | PathLike[str] | None = None, text: str = ""
) -> TrialFile:
    """Check the contents of a trial file; see `load_trial`."""
    try:
        return TrialFile.model_validate(raw)
    except ValidationError as error:
        raise first_problem(error, path, model=TrialFile, text=text) from None
