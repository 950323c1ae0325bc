"""Errors of the models drawn for a place, one draw for each future."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from windowcast.core.record import DateArray, Place
from windowcast.core.season_calendar import season_start
from windowcast.core.weed_codes import known
from windowcast.physics.soil_error import SoilError
from windowcast.season.errors import ModelErrors
from windowcast.season.soil_doubt import even_scores, soil_doubt

BACK_DAYS = 366  # before the season begins, for weeds whose year began before it


def model_errors(
    place: Place, codes: Iterable[str], dates: DateArray, count: int, soil: SoilError
) -> ModelErrors:
    """Draw the errors of the models for some futures.

    Parameters
    ----------
    codes
        EPPO codes of the weeds.
    dates
        Days ahead, ``[day]``; errors of the season's days before them are drawn too.
    count
        Futures, without the forecast as issued.
    soil
        Sizes of the soil model's error there (`windowcast.season.soil_error_at`), and of the air's.
    """
    today = dates[0].astype("datetime64[D]").astype(object)
    begins = np.datetime64(season_start(today, southern=place.southern), "D")
    seed = [
        round((place.latitude_deg + 90) * 1e4),
        round((place.longitude_deg + 180) * 1e4),
        int(begins.astype(np.int64)) & 0xFFFFFFFF,
    ]
    doubt = soil_doubt(
        np.random.default_rng(seed),
        count,
        begins - np.timedelta64(BACK_DAYS, "D"),
        dates[-1].astype("datetime64[D]"),
        soil,
    )
    clocks = {  # weeds on one general clock err alike
        code: even_scores(np.random.default_rng([*seed, *known()[code].clock.encode()]), count)
        for code in codes
    }
    air = None
    if soil.air_sd_c > 0:
        air = soil.air_sd_c * even_scores(np.random.default_rng([*seed, *b"air"]), count)
    return ModelErrors(doubt, clocks, air)
