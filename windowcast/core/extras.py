"""Packages that come with an extra of this one: one line says so when they are missing."""

from __future__ import annotations

from windowcast.core.errors import InputError


def require(what: str, extra: str, *packages: str) -> None:
    """Refuse to begin without packages; none of them is loaded.

    Parameters
    ----------
    what
        What needs them, as the user named it.
    extra
        The extra of windowcast that installs them.

    Raises
    ------
    InputError
        One of them is not installed.
    """
    if not installed(*packages):
        raise InputError(
            f"{what} needs the {extra} extra", remedy=f"pip install 'windowcast[{extra}]'"
        )


def installed(*packages: str) -> bool:
    """Whether packages are there; none of them is loaded."""
    from importlib.util import find_spec

    return all(map(find_spec, packages))
