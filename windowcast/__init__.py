"""Timing of winter weed control in warm-season turf, answered from weather data.

The names below are the public interface; ``docs/api.md`` describes it. They are loaded at their
first use, so that ``import windowcast`` costs next to nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from windowcast.core.version import __version__

if TYPE_CHECKING:
    from windowcast.api import (
        answer,
        answers,
        compare,
        load_site,
        load_weather,
        rank,
        read_weather,
        season_plan,
        simulate_soil,
        words,
    )
    from windowcast.api import season_plan as season
    from windowcast.core.errors import InputError, SourceUnreachableError, WindowcastError
    from windowcast.core.record import Place, Record, Weather
    from windowcast.core.site import Site
    from windowcast.physics.soil import SoilResult
    from windowcast.programme.answer import Answer
    from windowcast.programme.model import SeasonPlan
    from windowcast.region.compare import Compared
    from windowcast.weather.sample import sample_folder, sample_site, sample_weather
    from windowcast.windows.model import Ranking

__all__ = [
    "Answer",
    "Compared",
    "InputError",
    "Place",
    "Ranking",
    "Record",
    "SeasonPlan",
    "Site",
    "SoilResult",
    "SourceUnreachableError",
    "Weather",
    "WindowcastError",
    "__version__",
    "answer",
    "answers",
    "compare",
    "load_site",
    "load_weather",
    "rank",
    "read_weather",
    "sample_folder",
    "sample_site",
    "sample_weather",
    "season",
    "season_plan",
    "simulate_soil",
    "words",
]

_HOME = {
    "Answer": "programme.answer",
    "Compared": "region.compare",
    "InputError": "core.errors",
    "Place": "core.record",
    "Ranking": "windows.model",
    "Record": "core.record",
    "SeasonPlan": "programme.model",
    "Site": "core.site",
    "SoilResult": "physics.soil",
    "SourceUnreachableError": "core.errors",
    "Weather": "core.record",
    "WindowcastError": "core.errors",
    "sample_folder": "weather.sample",
    "sample_site": "weather.sample",
    "sample_weather": "weather.sample",
}  # the others are functions of `windowcast.api`


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    if name == "season":  # the package, which can be called
        return import_module(f"{__name__}.season")
    found = getattr(import_module(f"{__name__}.{_HOME.get(name, 'api')}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
