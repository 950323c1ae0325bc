"""What to mind of the archive's answers: kept ones, missing ones, old ones, odd ones."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from windowcast.core.phrase import Name, Quantity, say
from windowcast.core.record import Flag, FloatArray, Grade, Record
from windowcast.core.source_flags import remark
from windowcast.core.values import load
from windowcast.sources.archive_stations import ArchiveStation
from windowcast.sources.fetch import Fetched
from windowcast.sources.http_answer import FetchError
from windowcast.sources.morning_readings import dated_a_day_late


def list_remarks(answer: Fetched) -> Iterator[Flag]:
    """Of the list of stations: that it is a kept one, that the clocks differ."""
    if answer.stale:
        text = say("flag.kept_list", problem=Name(str(answer.problem)))
        yield remark("stale-archive", text)
    if abs(answer.skew_s) > load("sources").number("http.clock_skew_max"):
        text = say("flag.archive_clock", skew=Quantity(answer.skew_s / 60, "min"))
        yield remark("clock-skew", text)


def file_remarks(what: str, answers: Sequence[Fetched | FetchError]) -> Iterator[Flag]:
    """Of files: which could not be asked for, which are kept ones.

    Parameters
    ----------
    what
        What they hold, as a person reads it.
    """
    failed = [a for a in answers if isinstance(a, FetchError)]
    if failed:
        text = say(
            "flag.files_missing",
            what=Name(what),
            failed=len(failed),
            asked=len(answers),
            problem=Name(str(failed[0])),
        )
        yield remark("archive-incomplete", text, count=len(failed))
    stale = [a for a in answers if isinstance(a, Fetched) and a.stale]
    if stale:
        oldest = min(a.fetched_at for a in stale)
        at = dt.datetime.fromtimestamp(oldest, dt.UTC)
        text = say(
            "flag.kept_files",
            what=Name(what),
            at=Name(f"{at:%Y-%m-%d %H:%M}"),
            problem=Name(str(stale[0].problem)),
        )
        yield remark("stale-archive", text, count=len(stale))


def lag_remarks(daily: Record, today: dt.date) -> Iterator[Flag]:
    """That measured days end longer before today than is usual."""
    known = np.isfinite(daily.get("tmax_c")) & (daily.grade("tmax_c") == Grade.OBSERVED)
    day = np.datetime64(today, "D")
    past = daily.times[known & (daily.times < day)]
    lag = int(load("sources").number("archive.lag_days"))
    if len(past) and past[-1] < day - np.timedelta64(lag, "D"):
        yield remark("archive-lag", say("flag.archive_ends", day=past[-1].astype(object)))


def late_high_remarks(
    stations: Sequence[ArchiveStation], daily: Mapping[str, FloatArray]
) -> Iterator[Flag]:
    """Which stations' highs look dated a day late.

    Parameters
    ----------
    daily
        Values by variable, ``[station, day]``.
    """
    if not {"tmax_c", "tmin_c"} <= daily.keys():
        return
    for station, high, low in zip(stations, daily["tmax_c"], daily["tmin_c"], strict=True):
        if dated_a_day_late(high, low):
            named = Name(f"{station.id} {station.name}")
            text = say("flag.highs_late_station", station=named)
            yield remark("highs-a-day-late", text, variable="tmax_c")
