"""The soil of past years, kept between runs: the same weather and site give the same soil.

A run over years of weather takes longer than all else that an answer needs. `KeptSoil` keeps its
result in a store under a digest of all that the result depends on, so that it is found again only
where a run would give the same to the bit. What cannot be read is worked out anew.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Protocol

import numpy as np

from windowcast.core.digest import digest_of
from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.physics.soil import SoilForcing, SoilResult, SoilSite, SoilState, simulate
from windowcast.physics.soil_stepper import LAYERS, STATE_SIZE

SOURCE = "soil"
_DIGEST_BYTES = 16


class SoilModel(Protocol):
    """What `windowcast.physics.soil.simulate` does, or one that keeps what it did."""

    def __call__(
        self,
        forcing: SoilForcing,
        site: SoilSite,
        *,
        depths_m: Sequence[float],
        state: SoilState | None = None,
        compiled: bool = False,
    ) -> SoilResult:
        """As `simulate`."""
        ...


class Store(Protocol):
    """Where results are kept; `windowcast.sources.cache.Cache` is one.

    A method may raise `InputError` when the store cannot be used.
    """

    def derived(self, key: str, digest: str) -> bytes | None:
        """What is kept under a key, if it was made from what has this digest."""
        ...

    def put_derived(self, key: str, source: str, digest: str, body: bytes) -> None:
        """Keep something in place of what the key had."""
        ...


@dataclass(frozen=True)
class KeptSoil:
    """The soil model, with runs from a first day on kept in a store.

    There is one entry for each place, soil and set of depths: the next day's run takes the
    place of today's. A store that cannot be used changes no answer; it only saves no time.
    `model` is asked for what is not kept.
    """

    store: Store
    model: SoilModel = simulate

    def __call__(
        self,
        forcing: SoilForcing,
        site: SoilSite,
        *,
        depths_m: Sequence[float],
        state: SoilState | None = None,
        compiled: bool = False,
    ) -> SoilResult:
        """As `simulate`; a run that carries on, or of several columns, is not kept."""
        columns = (forcing.tmax_c, forcing.tmin_c, forcing.precip_mm, forcing.dates)
        at = (forcing.latitude_deg, forcing.longitude_deg)
        several = any(np.ndim(a) > 0 for a in at if a is not None) or any(
            np.ndim(a) > 1 for a in columns
        )
        if state is not None or several:
            return self.model(forcing, site, depths_m=depths_m, state=state, compiled=compiled)
        depths = tuple(depths_m)
        key = f"soil {digest_of(at, site.texture, site.irrigated, depths)}"
        digest = digest_of(_program(), forcing, site, site.values, depths)
        found = self._found(key, digest, forcing, depths)
        if found is None:
            found = self.model(forcing, site, depths_m=depths, compiled=compiled)
            self._keep(key, digest, found)
        return found

    def _found(
        self, key: str, digest: str, forcing: SoilForcing, depths_m: tuple[float, ...]
    ) -> SoilResult | None:
        """What is kept; None when there is nothing, or nothing whole."""
        try:
            body = self.store.derived(key, digest)
        except InputError:
            return None
        return None if body is None else _unpacked(body, forcing, depths_m)

    def _keep(self, key: str, digest: str, found: SoilResult) -> None:
        try:
            self.store.put_derived(key, SOURCE, digest, _packed(found))
        except InputError:
            return  # the answer does not depend on it


def _packed(result: SoilResult) -> bytes:
    """The arrays of a result of one column, with a digest of them in front."""
    numbers = (
        result.temp_c,
        result.moisture,
        result.snow_water_mm,
        result.state.temp_c,
        result.state.surface,
    )
    body = b"".join(np.ascontiguousarray(a, "<f8").tobytes() for a in numbers)
    body += np.ascontiguousarray(result.frozen, np.uint8).tobytes()
    return hashlib.blake2b(body, digest_size=_DIGEST_BYTES).digest() + body


def _unpacked(kept: bytes, forcing: SoilForcing, depths_m: tuple[float, ...]) -> SoilResult | None:
    """The reverse of `_packed`; None when it is not whole."""
    head, body = kept[:_DIGEST_BYTES], kept[_DIGEST_BYTES:]
    days, depths = len(forcing.dates), len(depths_m)
    sizes = (days * depths, days, days, LAYERS, STATE_SIZE - LAYERS)
    whole = len(body) == 8 * sum(sizes) + days
    if not whole or hashlib.blake2b(body, digest_size=_DIGEST_BYTES).digest() != head:
        return None
    parts: list[FloatArray] = []
    at = 0
    for size in sizes:
        parts.append(np.frombuffer(body, "<f8", size, at).astype(np.float64))
        at += 8 * size
    temps, moisture, snow, layers, surface = parts
    return SoilResult(
        dates=forcing.dates,
        temp_c=temps.reshape(days, depths),
        state=SoilState(forcing.dates[-1].astype("datetime64[D]"), layers, surface),
        moisture=moisture,
        frozen=np.frombuffer(body, np.uint8, days, at).astype(np.bool_),
        snow_water_mm=snow,
        depths_m=depths_m,
    )


@cache
def _program() -> str:
    """A digest of what works the soil out: the text of the model, Python, NumPy and processor."""
    folder = resources.files("windowcast.physics")
    texts = sorted((f.name, f.read_bytes()) for f in folder.iterdir() if f.name.endswith(".py"))
    built: Any = np.show_config(mode="dicts")  # numpy's own type leaves the answer out
    return digest_of(texts, sys.version, np.__version__, str(built["SIMD Extensions"]))
