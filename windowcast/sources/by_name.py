"""Finding a source by its name: the built-in ones, and those that installed packages offer."""

from __future__ import annotations

from windowcast.core.errors import InputError
from windowcast.sources.source import Source

AUTOMATIC = ("nws", "mosmix", "metno")  # forecasts in the order in which a site asks them
GROUP = "windowcast.sources"  # entry-point group; see ``docs/add_a_source.md``
# those of this program, found as those of others are: name → module and class
_OURS = {
    "archive": "archive:ArchiveSource",
    "nws": "forecast:ForecastSource",
    "mosmix": "mosmix:MosmixSource",
    "metno": "metno:MetnoSource",
}


def chosen(forecast: str) -> tuple[str, ...]:
    """The sources that ``[weather] forecast`` of a site file names, in order, each once.

    Parameters
    ----------
    forecast
        Names with commas between; ``auto`` stands for those of this program, ``none`` for nothing.

    Examples
    --------
    >>> chosen("metno, auto"), chosen("none")
    (('metno', 'nws', 'mosmix'), ())
    """
    named = (name.strip() for name in forecast.split(","))
    spelled = (name for one in named for name in (AUTOMATIC if one == "auto" else (one,)))
    return tuple(dict.fromkeys(name for name in spelled if name != "none"))


def source_named(name: str) -> Source:
    """The built-in source of this name, or one that an installed package offers.

    Raises
    ------
    InputError
        There is none, or it does not have the members of `Source`.
    """
    from importlib.metadata import EntryPoint, entry_points

    ours = [EntryPoint(own, f"{GROUP}.{where}", GROUP) for own, where in _OURS.items()]
    offered = entry_points(group=GROUP)
    for entry in (*ours, *offered):
        if entry.name == name:
            made = entry.load()()
            if not isinstance(made, Source):
                raise InputError(
                    f"the installed source {name!r} lacks name, covers or fetch",
                    field="weather.forecast",
                    remedy="ask its authors; see docs/add_a_source.md",
                )
            return made
    known = ", ".join(["auto", "none", *AUTOMATIC, "archive", *sorted(e.name for e in offered)])
    raise InputError(
        f"{name!r} is not a known source", field="weather.forecast", remedy=f"name one of {known}"
    )
