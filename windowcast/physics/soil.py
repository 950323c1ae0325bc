"""Soil temperature from daily weather: the public face of the column model.

`simulate` runs heat conduction in layered soil below turf, thatch and snow for any number of
places and members at once. See `soil_column` (conduction, freezing), `soil_surface` (snow, water,
sward, energy balance), `soil_forcing` (estimates from daily weather), `soil_properties`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from windowcast.core.frames import grid_of, table_of
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table, load
from windowcast.physics.soil_forcing import SoilForcing, columns_of, drivers
from windowcast.physics.soil_properties import texture
from windowcast.physics.soil_region import regional_c, regional_parts
from windowcast.physics.soil_site import (
    NEAR_SURFACE_M,
    ProbeReading,
    SiteCorrection,
    fit_site_correction,
)
from windowcast.physics.soil_stepper import GRID, STATE_SIZE, Columns, Setup, Stepper
from windowcast.physics.soil_surface import Cover, parameters

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

BLOCK = 4096  # columns run together: enough to outweigh the overhead of array operations
FEW = 8  # columns that run faster one by one, on floats
COMPILED_BLOCK = 128  # where there is no such overhead: few enough to stay in the cache
YEAR = 365  # days prepared at a time, and days to spin up on
EXTRAS = 3  # outputs beside the temperatures
_UNITS = {"moisture": "1", "frozen": "1", "snow_water_mm": "mm"}
UNSETTLED_DAYS = 90  # withheld at the start of a record too short to spin up on


__all__ = [
    "ProbeReading",
    "SiteCorrection",
    "SoilForcing",
    "SoilResult",
    "SoilSite",
    "SoilState",
    "fit_site_correction",
    "simulate",
]


@dataclass(frozen=True)
class SoilSite:
    """What is known of the place.

    Attributes
    ----------
    texture
        USDA class, None when unknown.
    irrigated
        Keeps the soil from drying below a set share of its available water while it is warm.
    turf
        False for bare soil: no sward, no thatch.
    correction
        From probe readings at the site, see `fit_site_correction`.
    values
        The model's parameters, as in ``data/soil.toml``; see `Table.varied`.
    """

    texture: str | None = None
    irrigated: bool = False
    turf: bool = True
    correction: SiteCorrection | None = None
    values: Table = field(default_factory=lambda: load("soil"), compare=False, repr=False)


@dataclass(frozen=True)
class SoilState:
    """All that the next day needs, arrays ``[...]`` or ``[..., layer]``."""

    date: np.datetime64 | DateArray  # of the last day; ``[...]`` where columns have their own
    temp_c: FloatArray
    surface: FloatArray  # [..., 8], in the order of `Surface`


@dataclass(frozen=True)
class SoilResult:
    """Daily results.

    Attributes
    ----------
    temp_c
        Daily mean soil temperature ``[..., time, depth]``; NaN where it is unknown.
    state
        At the end of the last day.
    moisture
        Available water in the top 10 cm, 0 to 1, ``[..., time]``.
    frozen
        More than half of the freezable water at 5 cm is ice, ``[..., time]``.
    snow_water_mm
        Water held in snow, ``[..., time]``.
    """

    dates: DateArray
    temp_c: FloatArray
    state: SoilState
    moisture: FloatArray
    frozen: npt.NDArray[np.bool_]
    snow_water_mm: FloatArray
    depths_m: tuple[float, ...]

    def to_pandas(self) -> pd.DataFrame:
        """A row a day: ``soil_5cm_c`` and so on for each depth, and the other results by name.

        Raises
        ------
        ValueError
            There are several places or members: see `to_xarray`.
        """
        temps = {f"soil_{100 * z:g}cm_c": self.temp_c[..., n] for n, z in enumerate(self.depths_m)}
        return table_of(self.dates, temps | self._others)

    def to_xarray(self) -> xr.Dataset:
        """Variables ``soil_temp_c`` by time and depth, and the other results by time.

        Several places lie along ``place``.

        Raises
        ------
        InputError
            xarray is not installed.
        ValueError
            The places begin on different days, or lie along more than one axis.
        """
        about = {name: {"units": unit} for name, unit in _UNITS.items()}
        if self.dates.ndim > 1:
            raise ValueError("places that begin on different days are no grid")
        grid = grid_of(self.dates, self._others, about, leading="place")
        along = (*grid["moisture"].dims, "depth")
        grid["soil_temp_c"] = (along, self.temp_c, {"units": "degC"})
        return grid.assign_coords(depth=list(self.depths_m))

    @property
    def _others(self) -> dict[str, npt.NDArray[Any]]:
        """The results beside the temperatures."""
        return {name: getattr(self, name) for name in _UNITS}


def simulate(
    forcing: SoilForcing,
    site: SoilSite,
    *,
    depths_m: Sequence[float] = (0.05, 0.10),
    state: SoilState | None = None,
    compiled: bool = False,
) -> SoilResult:
    """Daily mean soil temperature at any depth down to 3 m.

    Parameters
    ----------
    forcing
        Daily weather; leading axes broadcast against each other and against `state`.
    site
        The soil and what covers it.
    depths_m
        Where temperatures are wanted.
    state
        To carry on from, as returned for the day before the first of `forcing`. Without it the
        column is spun up on the first year, run twice; with less than a year the first 90 days
        are withheld (NaN), because the start still shows in them.
    compiled
        Compile the step with Numba (ten seconds, once on a machine); the results are the same to
        the bit.

    Returns
    -------
    SoilResult
        NaN on days without air temperature and on as many days after a gap as it was long
        (at most 60).

    Raises
    ------
    ValueError
        The state is not of the day before, or a depth is out of range.

    Notes
    -----
    Heat is conducted through layers down to 3 m, ``C dT/dt = d/dz (k dT/dz)``, with water that
    freezes. The surface gives it air temperature, sun, long-wave loss and evaporation through the
    resistance of sward, thatch and snow. The parameters of the surface are fitted on stations of
    the US Climate Reference Network; ``docs/soil_skill.json`` has the errors on stations kept
    apart from the fit. Last, what stations around tell of the model's error there is added
    (`soil_region`), if the longitude is known.

    References
    ----------
    Carslaw & Jaeger (1959), *Conduction of Heat in Solids*; Johansen (1975) for the conductivity;
    Allen et al. (1998), FAO-56, for radiation and humidity that were not measured.

    Examples
    --------
    Two years that repeat one day of weather: the soil below bare ground comes to rest.

    >>> import numpy as np
    >>> from windowcast.physics.soil import SoilForcing, SoilSite, simulate
    >>> days = np.arange("2022-01-01", "2024-01-01", dtype="datetime64[D]")
    >>> even = np.ones(len(days))
    >>> weather = SoilForcing(days, 25 * even, 15 * even, 2 * even, latitude_deg=0.0)
    >>> soil = simulate(weather, SoilSite("loam", turf=False), depths_m=(0.05, 0.5))
    >>> soil.temp_c.shape
    (730, 2)
    >>> bool(np.ptp(soil.temp_c[-30:, 1]) < 0.5)
    True
    """
    first = forcing.dates[..., 0].astype("datetime64[D]")
    if state is not None and np.any(state.date + np.timedelta64(1, "D") != first):
        raise ValueError(f"the state is of {state.date}, the weather starts on {first}")
    if not all(0 <= z <= GRID.node_m[-1] for z in depths_m):
        raise ValueError("depths must lie between 0 and 3 m")
    shape = np.broadcast_shapes(
        *(np.shape(a)[:-1] for a in forcing.by_day().values()),
        np.shape(forcing.latitude_deg),
        () if forcing.longitude_deg is None else np.shape(forcing.longitude_deg),
        () if state is None else state.temp_c.shape[:-1],
    )
    days, columns = forcing.dates.shape[-1], int(np.prod(shape))
    asked = (*depths_m, *NEAR_SURFACE_M) if site.correction is not None else tuple(depths_m)
    out = _time_first(len(asked) + EXTRAS, columns, days, compiled=compiled)
    ends = np.empty((columns, STATE_SIZE))
    withheld = np.empty((days, columns), dtype=np.bool_)
    start = None if state is None else _flat_state(state, shape)
    weights = [_depth_weights(z) for z in asked]
    thermal = texture(site.texture, site.values).thermal()
    setup = Setup(parameters(site.values), thermal, Cover(site.turf, site.irrigated))
    block = COMPILED_BLOCK if compiled else BLOCK if columns > FEW else 1
    for begin in range(0, columns, block):
        part = slice(begin, min(begin + block, columns))
        weather = columns_of(forcing, shape, part, "F" if compiled else "C")
        soil = _columns(part.stop - begin, setup, compiled=compiled)
        if start is None:
            soil.spin_up(drivers(weather.between(0, YEAR), site.values))
        else:
            soil.load(start[part])
        for day in range(0, days, YEAR):
            piece = drivers(weather.between(day, day + YEAR), site.values)
            soil.run(piece, weights, out[day : day + YEAR, :, part])
        ends[part] = soil.dump()
        withheld[:, part] = weather.blind
    _add_regional(out[:, :-EXTRAS], forcing, shape, site.values)
    if start is None and days < YEAR:
        withheld[:UNSETTLED_DAYS] = True
    if withheld.any():
        for depth in range(len(asked)):
            out[:, depth][withheld] = np.nan
    out = out.transpose(2, 0, 1)
    temps = out[:, :, :-EXTRAS].reshape(*shape, days, len(asked))
    water, ice, snow = (out[:, :, i].reshape(*shape, days) for i in (-3, -2, -1))
    if site.correction is not None:
        near = site.correction.at(forcing.dates, temps[..., -2], temps[..., -1])
        temps = temps[..., :-2] + near[..., None]
    return SoilResult(
        dates=forcing.dates,
        temp_c=temps,
        state=_state(forcing.dates[..., -1], ends, shape),
        moisture=water,
        frozen=ice > 0.5,
        snow_water_mm=snow,
        depths_m=tuple(depths_m),
    )


def _add_regional(
    temps: FloatArray, forcing: SoilForcing, shape: tuple[int, ...], values: Table
) -> None:
    """Add what stations around tell of the model's error, to ``[time, depth, column]``."""
    if forcing.longitude_deg is None:
        return
    north, east = (
        np.broadcast_to(np.asarray(at, dtype=np.float64), shape).reshape(-1)
        for at in (forcing.latitude_deg, forcing.longitude_deg)
    )
    parts = regional_parts(north, east, values)
    if not parts.any():
        return
    dates = forcing.dates
    if dates.ndim > 1:
        days = dates.shape[-1]
        dates = np.broadcast_to(dates, (*shape, days)).reshape(-1, days).T
    temps += regional_c(dates, parts, temps.swapaxes(0, 1), values).swapaxes(0, 1)


def _columns(count: int, setup: Setup, *, compiled: bool) -> Columns:
    if compiled:
        from windowcast.physics.soil_compiled import CompiledColumns

        return CompiledColumns(setup)
    return Stepper(count, setup)


def _time_first(rows: int, columns: int, days: int, *, compiled: bool) -> FloatArray:
    """Room for ``[time, row, column]``; compiled, the days of a column lie side by side."""
    if compiled:
        return np.empty((rows, columns, days)).transpose(2, 0, 1)
    return np.empty((days, rows, columns))


def _depth_weights(depth_m: float) -> list[tuple[int, float]]:
    """Layers and weights that interpolate to a depth; above the top node, the top node's."""
    nodes = np.array(GRID.node_m)
    weights = np.array([np.interp(depth_m, nodes, row) for row in np.eye(len(nodes))])
    return [(int(i), float(weights[i])) for i in np.flatnonzero(weights)]


def _flat_state(state: SoilState, shape: tuple[int, ...]) -> FloatArray:
    """State as ``[columns, STATE_SIZE]``."""
    joined = np.concatenate([state.temp_c, state.surface], axis=-1)
    return np.broadcast_to(joined, (*shape, STATE_SIZE)).reshape(-1, STATE_SIZE)


def _state(date: np.datetime64 | DateArray, flat: FloatArray, shape: tuple[int, ...]) -> SoilState:
    """The reverse of `_flat_state`."""
    layers = len(GRID.node_m)
    full = flat.reshape(*shape, STATE_SIZE)
    return SoilState(
        date=date.astype("datetime64[D]"),
        temp_c=full[..., :layers],
        surface=full[..., layers:],
    )
