"""What people saw of the turf: green from above, and looks into the canopy."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.season.runs import BoolArray

HALF = 0.5


@dataclass(frozen=True)
class GreenCover:
    """What someone saw from above: live green turf as a share of the ground, 0..1."""

    date: dt.date
    share: float


@dataclass(frozen=True, slots=True)
class CanopyLook:
    """What a look into the canopy found on a date: whether any live shoot was there.

    `where` is the place in the user's words, "" for the whole site.
    """

    date: dt.date
    live_shoots: bool
    where: str = ""


@dataclass(frozen=True)
class TurfSeen:
    """What was logged of the turf: looks into the canopy, and green from above."""

    looks: tuple[CanopyLook, ...]
    covers: tuple[GreenCover, ...]

    @property
    def up_to_leaf(self) -> TurfSeen:
        """Those up to the last that found live leaf; what found none before it dates its coming."""
        with_leaf = [look.date for look in self.looks if look.live_shoots]
        with_leaf += [cover.date for cover in self.covers if cover.share > 0]
        last = max(with_leaf, default=dt.date.min)
        return TurfSeen(
            tuple(look for look in self.looks if look.date <= last),
            tuple(cover for cover in self.covers if cover.date <= last),
        )


def holding(looks: Sequence[CanopyLook], today: dt.date) -> tuple[CanopyLook, ...]:
    """The looks that tell of the whole site on a date.

    Live shoots in one place forbid everywhere; that there were none in one place says nothing of
    the others. What was seen after the date permits nothing on it.
    """
    return tuple(
        look for look in looks if look.live_shoots or (look.date <= today and not look.where)
    )


@dataclass(frozen=True)
class Sightings:
    """What was seen on each day, ``[day]``.

    Attributes
    ----------
    leaf, half
        Chance that live leaf, and that half the leaf, is there; NaN where nobody looked.
    none
        Days on which someone parted the canopy and found no live shoot.
    """

    leaf: FloatArray
    half: FloatArray
    none: BoolArray

    @classmethod
    def of(
        cls,
        dates: DateArray,
        covers: Sequence[GreenCover],
        looks: Sequence[CanopyLook],
        *,
        green_below: bool,
        full_cover: float,
    ) -> Sightings:
        """From observations; of two on a day the one that saw more counts.

        Brown seen from above is no look into the canopy, and says nothing of a grass that keeps
        green below the straw. `full_cover` is the cover [0..1] that stands for live leaf for sure.
        """
        days = dates.astype("datetime64[D]")
        leaf, half = np.full(len(days), np.nan), np.full(len(days), np.nan)
        none = np.zeros(len(days), bool)
        for cover in covers:
            day = days == np.datetime64(cover.date, "D")
            half[day] = np.fmax(half[day], float(cover.share >= HALF))
            if cover.share > 0 or not green_below:
                leaf[day] = np.fmax(leaf[day], min(cover.share / full_cover, 1.0))
        for look in looks:
            day = days == np.datetime64(look.date, "D")
            leaf[day] = np.fmax(leaf[day], float(look.live_shoots))
            none[day] = not look.live_shoots
        none &= leaf == 0.0
        half[none] = 0.0
        return cls(leaf, half, none)
