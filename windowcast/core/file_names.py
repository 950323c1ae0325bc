"""Names that a file may have on every system."""

from __future__ import annotations

_DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)),
}


def is_device(name: str) -> bool:
    """Whether Windows takes a file of this name, whatever its ending, for a device.

    Examples
    --------
    >>> is_device("con.toml"), is_device("contour.toml")
    (True, False)
    """
    return name.partition(".")[0].strip().lower() in _DEVICES
