"""Finding a source by its name: the built-in ones, and those that installed packages offer."""

from __future__ import annotations

from windowcast.core.errors import InputError
from windowcast.sources.source import Source

GROUP = "windowcast.sources"  # entry-point group; see ``docs/add_a_source.md``


def source_named(name: str) -> Source:
    """The built-in source of this name, or one that an installed package offers.

    Raises
    ------
    InputError
        There is none, or it does not have the members of `Source`.
    """
    from importlib.metadata import entry_points

    if name == "archive":
        from windowcast.sources.archive import ArchiveSource

        return ArchiveSource()
    if name == "nws":
        from windowcast.sources.forecast import ForecastSource

        return ForecastSource()
    offered = entry_points(group=GROUP)
    for entry in offered:
        if entry.name == name:
            made = entry.load()()
            if not isinstance(made, Source):
                raise InputError(
                    f"the installed source {name!r} lacks name, covers or fetch",
                    field="weather.forecast",
                    remedy="ask its authors; see docs/add_a_source.md",
                )
            return made
    known = ", ".join(["auto", "none", "nws", "archive", *sorted(e.name for e in offered)])
    raise InputError(
        f"{name!r} is not a known source", field="weather.forecast", remedy=f"name one of {known}"
    )
