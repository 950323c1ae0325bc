"""``windowcast init``: write a commented site file, by asking or from flags."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from windowcast.cli.output import echo, voice_in
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.site import timezone_at, units_at
from windowcast.core.site_template import Answers, site_toml
from windowcast.core.towns import named, search
from windowcast.core.turf import Species, Texture
from windowcast.core.weed_codes import weed_code

_YES_NO = {"yes": True, "no": False, "unknown": None}
_SPECIES = click.Choice([str(species) for species in Species])
_TEXTURE = click.Choice([str(texture) for texture in Texture])
_USE = click.Choice(["golf", "sports", "lawn", "sod", "other"])
_UNITS = click.Choice(["us", "metric"])
_KNOWN = click.Choice(list(_YES_NO))


class _OrEmpty(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.5
    """A number in a range, or nothing."""

    name = "number"

    def __init__(self, within: click.FloatRange) -> None:
        self.within = within

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        return value if value == "" else self.within.convert(value, param, ctx)


_WEEDS = "annual bluegrass, smooth crabgrass"
_ASK_TOWN = "Nearest town, as in Macon, GA (empty to type coordinates)"
_OFFERED = 6  # towns of one name


def _weeds(names: str) -> tuple[str, ...]:
    """EPPO codes of weeds named with commas between."""
    try:
        return tuple(weed_code(name) for name in names.split(",") if name.strip())
    except ValueError as error:
        raise InputError(str(error), field="--weeds") from None


# As in site.Site: a slip is asked again at once, not told when all else has been answered.
_LATITUDE, _LONGITUDE = click.FloatRange(-66, 66), click.FloatRange(-180, 180)
_ELEVATION = click.FloatRange(-430, 5000)


@click.command("init")
@click.argument("out", type=click.Path(path_type=Path), default=Path("site.toml"))
@click.option("--name", help="Name of the site.")
@click.option("--town", metavar="TOWN", help='Nearest town, for the coordinates: "Macon, GA".')
@click.option("--lat", type=float, help="Degrees north, negative in the south.")
@click.option("--lon", type=float, help="Degrees east, negative in the west.")
@click.option("--elevation", type=float, help="Metres above sea level.")
@click.option("--timezone", help="IANA time zone; found from the coordinates by default.")
@click.option(
    "--turf", type=_SPECIES, metavar="SPECIES", help=f"Turf species: {', '.join(Species)}."
)
@click.option("--use", type=_USE, help="What the turf is for.")
@click.option(
    "--texture", type=_TEXTURE, metavar="TEXTURE", help=f"Soil texture, USDA: {', '.join(Texture)}."
)
@click.option("--overseeded", type=_KNOWN, help="Overseeded for winter?")
@click.option("--irrigated", type=_KNOWN, help="Irrigation at hand?")
@click.option(
    "--mature", type=_KNOWN, help="Is the turf older than two growing seasons, full and undamaged?"
)
@click.option("--units", type=_UNITS, help="Units of reports; by the time zone if not given.")
@click.option("--weather", "weather_files", multiple=True, metavar="FILE", help="Weather file.")
@click.option("--sample", is_flag=True, help="Put the sample's weather beside it, to learn with.")
@click.option("--weeds", metavar="NAMES", help="Weeds to watch, with commas; see windowcast weeds.")
@click.option("--yes", "-y", is_flag=True, help="Ask nothing; take defaults where no flag says.")
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def command(out: Path, sample: bool, yes: bool, force: bool, **flags: Any) -> None:
    """Write a commented site file to OUT (site.toml by default)."""
    copies = _sample_beside(out) if sample else {}
    for path in (out, *copies):
        if path.exists() and not force:
            raise InputError("exists already", path=path, remedy="name another file or add --force")
    flags["weather_files"] += tuple(path.name for path in copies)
    ask = not yes and _can_ask()
    if town := _town(flags, ask=ask):
        flags |= {key: value for key, value in town.items() if flags[key] is None}
    text = site_toml(_answers(flags, ask=ask))
    for path, file in copies.items():
        write_atomic(path, file.read_bytes())
    write_atomic(out, text)
    echo(voice_in("metric").say("cli.wrote_site", file=str(out)))


def _sample_beside(out: Path) -> dict[Path, Path]:
    """Where the sample's weather files go, and where they lie."""
    from windowcast.weather.sample import SAMPLE_FILES, sample_folder

    return {out.with_name(f"sample-{name}"): sample_folder() / name for name in SAMPLE_FILES}


def _can_ask() -> bool:
    """Whether somebody is there to answer."""
    return sys.stdin.isatty()


def _town(flags: Mapping[str, Any], *, ask: bool) -> dict[str, Any]:
    """Name and coordinates of the nearest town, where it is named, or asked for and known."""
    words = flags["town"]
    if words is None:
        if not ask or flags["lat"] is not None or flags["lon"] is not None:
            return {}
        words = click.prompt(_ASK_TOWN, default="", show_default=False)
    while words:
        found = named(words)
        if len(found) == 1:
            town = found[0]
            click.echo(f"{town.full_name}: {town.latitude:.3f}, {town.longitude:.3f}", err=True)
            return {"name": town.name, "lat": town.latitude, "lon": town.longitude}
        near = found or search(words)  # one that only sounds like it is never taken
        some = "; ".join(town.full_name for town in near[:_OFFERED])
        if found:
            problem, remedy = f"{words!r} is more than one town", f"say which: {some}"
        else:
            problem = f"no town of 5,000 people is called {words!r}"
            remedy = "give --lat and --lon" + (f", or one of these: {some}" if near else "")
        if not ask:
            raise InputError(problem, field="--town", remedy=remedy)
        click.echo(f"{problem}; {remedy}", err=True)
        words = click.prompt(_ASK_TOWN, default="", show_default=False)
    return {}


def _answers(flags: dict[str, Any], *, ask: bool) -> Answers:
    """Flags first, then questions, then defaults."""

    def value(key: str, question: str, default: Any, kind: Any = str) -> Any:
        if flags[key] is not None:
            return flags[key]
        if ask:
            return click.prompt(question, default=default, type=kind, show_default=default != "")
        if default is None:
            raise InputError("is missing", field=f"--{key}", remedy="give it as a flag")
        return default

    name = value("name", "Name of the site", None)
    lat = value("lat", "Latitude, degrees north (negative in the south)", None, _LATITUDE)
    lon = value("lon", "Longitude, degrees east (negative in the west)", None, _LONGITUDE)
    elevation = value(
        "elevation", "Metres above sea level (empty if unknown)", "", _OrEmpty(_ELEVATION)
    )
    zone = value("timezone", "Time zone", timezone_at(lat, lon))
    return Answers(
        name=name,
        latitude=lat,
        longitude=lon,
        elevation_m=None if elevation == "" else float(elevation),
        timezone=zone,
        units=value("units", "Units of reports", units_at(zone), _UNITS),
        species=value("turf", "Turf species", str(Species.HYBRID_BERMUDAGRASS), _SPECIES),
        use=value("use", "Use", "sports", _USE),
        texture=value("texture", "Soil texture", str(Texture.UNKNOWN), _TEXTURE),
        overseeded=_YES_NO[value("overseeded", "Overseeded for winter", "unknown", _KNOWN)],
        irrigated=_YES_NO[value("irrigated", "Irrigation at hand", "unknown", _KNOWN)],
        mature=_YES_NO[
            value(
                "mature",
                "Turf older than two growing seasons, full and undamaged",
                "unknown",
                _KNOWN,
            )
        ],
        weather_files=tuple(flags["weather_files"]),
        weeds=_weeds(value("weeds", "Weeds to watch (windowcast weeds lists them)", _WEEDS)),
    )
