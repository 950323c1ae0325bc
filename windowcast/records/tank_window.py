"""The spray window that a tank is for, and the tank as the ranking has judged it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from windowcast.limits.tank import is_of_state
from windowcast.programme.answer import Answer
from windowcast.records.tank_job import TankJob
from windowcast.windows.model import Window

Hours = tuple[dt.datetime, dt.datetime]


def window_for(
    answers: Sequence[Answer], purpose: str, areas: Sequence[str] = (), asked: Hours | None = None
) -> Window | None:
    """The window of a purpose on the ground that a tank is for.

    Grounds that differ may have different windows: then the first hours that all of them have
    count, as the ground that may least has them. Where they have none in common nobody can tell,
    and one ground without a window leaves the tank without.

    Parameters
    ----------
    answers
        For the actives in the tank.
    areas
        Names of the tank's areas; none for the whole site.
    asked
        Hours that somebody chose, on the site's clock without its zone: then the window of that
        day that shares hours with them; None for the best window.
    """
    found: list[list[Window]] = []
    for answer in answers:
        if areas and not set(areas) & set(answer.ranking.areas):
            continue
        windows = [
            window
            for outlook in answer.ranking.purposes
            if outlook.purpose == purpose
            for window in outlook.windows
            if asked is None or _share_hours(window, asked)
        ]
        if not windows:
            return None
        found.append(windows)
    if not found:
        return None
    for first in found[0]:
        near = [next((w for w in some if _meet(w, first)), None) for some in found]
        same = [window for window in near if window is not None]
        start, end = max(w.start for w in same), min(w.end for w in same)
        if len(same) == len(found) and start < end:
            return replace(min(same, key=_may), start=start, end=end)
    return replace(min((some[0] for some in found), key=_may), verdict="cannot tell")


def _meet(one: Window, other: Window) -> bool:
    return one.start < other.end and other.start < one.end


def _may(window: Window) -> tuple[bool, float]:
    """How much a window allows: its verdict before its score."""
    return window.verdict == "fit", window.score or 0.0


def _share_hours(window: Window, asked: Hours) -> bool:
    start, end = (moment.replace(tzinfo=None) for moment in (window.start, window.end))
    return start < asked[1] and asked[0] < end


def as_judged(job: TankJob, window: Window | None) -> TankJob:
    """The tank without the remark that nobody asked for the turf's state: the ranking did."""
    if window is None or window.verdict == "cannot tell":
        return job
    left = tuple(said for said in job.sheet.cautions if not is_of_state(said))
    return replace(job, sheet=replace(job.sheet, cautions=left))
