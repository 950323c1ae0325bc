"""Soil temperature and moisture from weather alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from windowcast.api.inputs import read_weather
from windowcast.core.errors import InputError
from windowcast.core.record import Record, Weather

if TYPE_CHECKING:
    import pandas as pd

    from windowcast.api.inputs import Pathlike
    from windowcast.physics.soil import SoilResult
    from windowcast.physics.soil_site import SiteCorrection


def simulate_soil(
    weather: Weather | Record | pd.DataFrame | Pathlike,
    *,
    latitude_deg: float | None = None,
    texture: str | None = None,
    irrigated: bool = False,
    turf: bool = True,
    depths_m: Sequence[float] = (0.05, 0.10),
    correction: SiteCorrection | None = None,
) -> SoilResult:
    """Soil temperature and moisture below turf or bare ground, day by day.

    Parameters
    ----------
    weather
        Daily or hourly; it is checked and its short gaps are filled.
    latitude_deg
        Degrees north; by default that of the weather's place.
    texture
        USDA texture class; None when it is not known.
    irrigated
        Whether the turf is watered while it grows.
    turf
        False for bare ground.
    depths_m
        Depths from 0 to 3 m.
    correction
        From probe readings (`windowcast.physics.soil_site.fit_site_correction`).

    Returns
    -------
    SoilResult
        `temp_c` ``[time, depth]`` and others; `SoilResult.to_pandas` and `SoilResult.to_xarray`
        make a table and a grid.

    Raises
    ------
    InputError
        The weather cannot be used, its latitude is not known, or the texture is none.
    ValueError
        A depth is out of range.

    Notes
    -----
    See `windowcast.physics.soil.simulate`.

    References
    ----------
    Johansen (1975); Sturm et al. (1997); Allen et al. (1998), FAO-56; ``data/soil.toml`` for the
    fit, ``docs/soil_skill.json`` for its errors on stations kept apart.

    Examples
    --------
    >>> import windowcast
    >>> soil = windowcast.simulate_soil(windowcast.sample_weather(), texture="sandy loam")
    >>> winter = soil.to_pandas().loc["2017-12-01":"2018-01-17"]
    >>> 0.0 < float(winter["soil_10cm_c"].mean()) < 12.0
    True
    """
    from windowcast.physics.soil import SoilSite, simulate
    from windowcast.season.soil_days import soil_forcing

    record = _daily(weather)
    if not -90 <= (record.place.latitude_deg if latitude_deg is None else latitude_deg) <= 90:
        raise InputError(
            "the latitude of the weather is not known", field="latitude_deg",
            remedy="give latitude_deg, in degrees north",
        )  # fmt: skip
    forcing = soil_forcing(record, latitude_deg)
    return simulate(forcing, SoilSite(texture, irrigated, turf, correction), depths_m=depths_m)


def _daily(weather: Weather | Record | pd.DataFrame | Pathlike) -> Record:
    """A checked daily record; of finished weather its days."""
    from windowcast.weather.gaps import filled
    from windowcast.weather.join import hourly_to_daily
    from windowcast.weather.quality import checked

    if isinstance(weather, Weather):
        return weather.daily
    record = checked(read_weather(weather))
    return filled(record if record.daily else hourly_to_daily(record))
