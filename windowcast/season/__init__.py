"""State of weeds and turf from weather: degree days, emergence, dormancy, key dates.

The package can be called: ``windowcast.season(site, weather)`` is `windowcast.season_plan`, since
that is the name of the command and of what people look for.
"""

import sys
from types import ModuleType
from typing import Any


class _CallablePackage(ModuleType):
    """A package that answers a call as the public interface does."""

    def __call__(self, *args: Any, **asked: Any) -> Any:
        return sys.modules["windowcast"].season_plan(*args, **asked)


sys.modules[__name__].__class__ = _CallablePackage
