"""Packages that come with an extra of this one: one line says so when they cannot be loaded."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import import_module
from types import TracebackType

from windowcast.core.errors import InputError

# extra of the package → modules that it brings
EXTRAS: Mapping[str, tuple[str, ...]] = {
    "alerts": ("apprise",),
    "excel": ("python_calamine",),
    "region": ("numba", "pyarrow", "scipy"),
    "netcdf": ("netCDF4",),
    "xarray": ("xarray",),
    "cluster": ("dask", "distributed"),
    "trials": ("scipy", "matplotlib"),
    "serve": ("segno",),
}


def require(what: str, extra: str, *packages: str) -> None:
    """Refuse to begin without packages; they are loaded.

    Parameters
    ----------
    what
        What needs them, as the user named it.
    extra
        The extra of windowcast that installs them.

    Raises
    ------
    InputError
        One of them is not installed, or cannot be loaded; then with the cause.
    """
    if not all(map(there, packages)):
        raise InputError(
            f"{what} needs the {extra} extra", remedy=f"pip install 'windowcast[{extra}]'"
        )
    for package in packages:
        if cause := _cause(package):
            raise _damaged(package, extra, cause)


def there(package: str) -> bool:
    """Whether a package is installed, whole or not; it is not loaded."""
    return importlib.util.find_spec(package.partition(".")[0]) is not None


def installed(*packages: str) -> bool:
    """Whether packages are there and can be loaded; they are."""
    return all(there(package) and not _cause(package) for package in packages)


@cache
def _cause(package: str) -> str:
    """What keeps an installed package from being loaded; "" where it is loaded."""
    try:
        import_module(package)
    except Exception as error:  # a package raises what it likes
        return _said(error)
    return ""


def damage(error: BaseException) -> InputError | None:
    """What to tell where loading a package of an extra failed; None where that is not the cause.

    For what fails deep in a package that was there when the work began.
    """
    if not isinstance(error, ImportError):
        return None
    roots = [*_where(error.__traceback__), (error.name or "").partition(".")[0]]
    for extra, packages in EXTRAS.items():
        for package in packages:
            if package in roots:
                if isinstance(error, ModuleNotFoundError) and not there(package):
                    return InputError(
                        f"{package} is not installed", remedy=f"pip install 'windowcast[{extra}]'"
                    )
                return _damaged(package, extra, _said(error))
    return None


def _where(trace: TracebackType | None) -> Iterator[str]:
    while trace is not None:
        yield str(trace.tb_frame.f_globals.get("__name__", "")).partition(".")[0]
        trace = trace.tb_next


def _said(error: BaseException) -> str:
    return " ".join(str(error).split())[:300] or type(error).__name__


def _damaged(package: str, extra: str, cause: str) -> InputError:
    return InputError(
        f"{package} cannot be loaded ({cause})",
        remedy=f"pip install --force-reinstall 'windowcast[{extra}]'",
    )
